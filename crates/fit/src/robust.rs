//! Circles and ellipses among stray points: a start that half the points can not spoil, then re-weighting.

use crate::circle::{Circle, Scatter, fit_circle, taubin_circle};
use crate::ellipse::{Ellipse, direct_ellipse, fit_ellipse, refit_ellipse, reweigh_ellipse};
use crate::error::FitError;

/// How a point's influence falls with its distance from the curve.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Loss {
    /// Tukey's biweight: points further than 4.685 scales count nothing.
    #[default]
    Tukey,
    /// Huber's: points further than 1.345 scales count in proportion to 1/distance, never nothing.
    Huber,
}

/// Tuning constants with 95 % efficiency on normal errors (Holland, Welsch, Commun. Stat. A6 (1977) 813).
const TUKEY_CUT: f64 = 4.685;
const HUBER_CUT: f64 = 1.345;
/// Median absolute deviation to standard deviation of a normal distribution, `1/Φ⁻¹(3/4)`.
const MAD_TO_SD: f64 = 1.482_602_218_505_602;
/// A point nearer than this many scales counts as lying on the curve (99.7 % of normal errors do).
const INLIER_SCALES: f64 = 3.0;
/// Rounds of re-weighting; the scale is frozen after half of them so that they can not chase each other.
const ROUNDS: usize = 60;
/// Smallest scale against the extent of the curve: rounding of coordinates, so that exact points do not divide by 0.
const SCALE_FLOOR: f64 = 1e-12;
/// Trial subsets of the start; with half the points astray some 40 of 300 triples are clean.
const CIRCLE_TRIALS: usize = 300;
/// Trial subsets of 8 points; with 3 points in 10 astray some 20 of 400 are clean.
const ELLIPSE_TRIALS: usize = 400;
/// Points used to score one trial.
const SCORED: usize = 200;

impl Loss {
    fn weight(self, u: f64) -> f64 {
        match self {
            Self::Tukey if u.abs() < TUKEY_CUT => (1.0 - (u / TUKEY_CUT).powi(2)).powi(2),
            Self::Tukey => 0.0,
            Self::Huber => HUBER_CUT / u.abs().max(HUBER_CUT),
        }
    }

    /// Derivative of `u · weight(u)`.
    fn slope(self, u: f64) -> f64 {
        match self {
            Self::Tukey if u.abs() < TUKEY_CUT => {
                let q = (u / TUKEY_CUT).powi(2);
                (1.0 - q) * (1.0 - 5.0 * q)
            }
            Self::Tukey => 0.0,
            Self::Huber => f64::from(u8::from(u.abs() < HUBER_CUT)),
        }
    }
}

/// A robust fit: the curve, and what each point contributed to it.
#[derive(Debug, Clone, PartialEq)]
pub struct Robust<C> {
    /// The curve; its covariance allows for the down-weighting, its `rms` is that of the weighted points.
    pub curve: C,
    /// Weight of each point, 0 to 1, in the points' order (given weights included).
    pub weights: Vec<f64>,
    /// Whether each point lies within 3 scales of the curve.
    pub inliers: Vec<bool>,
    /// Robust standard deviation across the curve (median absolute deviation × 1.4826), in the points' unit; strays
    /// raise it, a quarter of them by some 40 %.
    pub scale: f64,
}

/// Median absolute deviation about `centre`, times 1.4826: the standard deviation if the values are normal.
///
/// Gives `None` for an empty list or one with a NaN.
pub fn mad_scale(values: &[f64], centre: f64) -> Option<f64> {
    let mut away: Vec<f64> = values.iter().map(|v| (v - centre).abs()).collect();
    if away.iter().any(|v| v.is_nan()) {
        return None;
    }
    median(&mut away).map(|m| m * MAD_TO_SD)
}

/// Middle value, of an even number the mean of the middle two; the values are left in another order.
///
/// Gives `None` for an empty list. A NaN counts as larger than every number.
pub fn median(values: &mut [f64]) -> Option<f64> {
    let n = values.len();
    if n == 0 {
        return None;
    }
    let (below, middle, _) = values.select_nth_unstable_by(n / 2, f64::total_cmp);
    let middle = *middle;
    if n % 2 == 1 {
        return Some(middle);
    }
    let lower = below.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    Some((lower + middle) / 2.0)
}

/// A curve that can be fitted robustly.
trait Curve: Copy {
    const PARAMETERS: usize;
    fn residual(&self, point: [f64; 2]) -> f64;
    fn extent(&self) -> f64;
    /// The curve fitted with these weights, started from `self`.
    fn refit(&self, points: &[[f64; 2]], weights: &[f64]) -> Result<Self, FitError>;
    /// The same curve, its covariance that of unit scatter and these weights.
    fn reweigh(&self, points: &[[f64; 2]], weights: &[f64]) -> Result<Self, FitError>;
    fn scale_covariance(&mut self, factor: f64);
    fn shift_from(&self, other: &Self) -> f64;
}

impl Curve for Circle {
    const PARAMETERS: usize = 3;
    fn residual(&self, point: [f64; 2]) -> f64 {
        self.distance(point)
    }
    fn extent(&self) -> f64 {
        self.radius
    }
    fn refit(&self, points: &[[f64; 2]], weights: &[f64]) -> Result<Self, FitError> {
        fit_circle(points, Some(weights), Scatter::Known(1.0))
    }
    fn reweigh(&self, points: &[[f64; 2]], weights: &[f64]) -> Result<Self, FitError> {
        crate::circle::reweigh_circle(points, weights, self)
    }
    fn scale_covariance(&mut self, factor: f64) {
        self.covariance *= factor;
    }
    fn shift_from(&self, other: &Self) -> f64 {
        let [x, y] = self.centre;
        let [p, q] = other.centre;
        (x - p).abs() + (y - q).abs() + (self.radius - other.radius).abs()
    }
}

impl Curve for Ellipse {
    const PARAMETERS: usize = 5;
    fn residual(&self, point: [f64; 2]) -> f64 {
        self.distance(point)
    }
    fn extent(&self) -> f64 {
        self.semi_axes[0]
    }
    fn refit(&self, points: &[[f64; 2]], weights: &[f64]) -> Result<Self, FitError> {
        refit_ellipse(points, weights, self)
    }
    fn reweigh(&self, points: &[[f64; 2]], weights: &[f64]) -> Result<Self, FitError> {
        reweigh_ellipse(points, weights, self)
    }
    fn scale_covariance(&mut self, factor: f64) {
        self.covariance *= factor;
    }
    fn shift_from(&self, other: &Self) -> f64 {
        let [x, y] = self.centre;
        let [p, q] = other.centre;
        let axes: f64 = self.semi_axes.iter().zip(&other.semi_axes).map(|(a, b)| (a - b).abs()).sum();
        (x - p).abs() + (y - q).abs() + axes
    }
}

/// Orthogonal-distance circle that stray points can not pull away.
///
/// Starts from the least median of distances over circles through three points (a fixed, spread choice of triples,
/// so the same points always give the same circle), then re-weights about a scale from the median deviation.
///
/// - **Takes** one `[x, y]` a point; prior weights, if given, one a point, 0 or above.
/// - **Fails** as [`fit_circle`] with the scatter from the residuals does.
/// - **Holds** while more than half of the points lie on the circle.
/// - **Source** Rousseeuw, J. Am. Stat. Assoc. 79 (1984) 871 (start); Huber, *Robust Statistics* (1981), § 7.6 (covariance).
pub fn fit_circle_robust(
    points: &[[f64; 2]],
    weights: Option<&[f64]>,
    loss: Loss,
) -> Result<Robust<Circle>, FitError> {
    let plain = fit_circle(points, weights, Scatter::FromResiduals);
    let triple = |some: &[[f64; 2]]| {
        let (centre, radius) = taubin_circle(some, None).ok()?;
        Some(Circle { centre, radius, covariance: Default::default(), rms: 0.0 })
    };
    let start = best_start(points, weights, plain, CIRCLE_TRIALS, 3, triple)?;
    reweight(points, weights, loss, start)
}

/// Orthogonal-distance ellipse that stray points can not pull away.
///
/// - **Takes**, **fails** as [`fit_ellipse`] with the scatter from the residuals does.
/// - **Holds** while some seven in ten of the points lie on the ellipse.
/// - **Source** as [`fit_circle_robust`], started from direct ellipses through eight points.
pub fn fit_ellipse_robust(
    points: &[[f64; 2]],
    weights: Option<&[f64]>,
    loss: Loss,
) -> Result<Robust<Ellipse>, FitError> {
    let plain = fit_ellipse(points, weights, Scatter::FromResiduals);
    let eight = |some: &[[f64; 2]]| direct_ellipse(some, None).ok();
    let start = best_start(points, weights, plain, ELLIPSE_TRIALS, 8, eight)?;
    reweight(points, weights, loss, start)
}

/// The trial curve with the least median distance; bad data (but not a plain fit that failed to settle) stop it.
fn best_start<C: Curve>(
    points: &[[f64; 2]],
    weights: Option<&[f64]>,
    plain: Result<C, FitError>,
    trials: usize,
    size: usize,
    make: impl Fn(&[[f64; 2]]) -> Option<C>,
) -> Result<C, FitError> {
    let plain = match plain {
        Err(FitError::NotConverged { fit, iterations }) => Err(FitError::NotConverged { fit, iterations }),
        Err(stop) => return Err(stop),
        Ok(curve) => Ok(curve),
    };
    let usable = |i: usize| weights.is_none_or(|w| w.get(i).is_some_and(|w| *w > 0.0));
    let kept: Vec<[f64; 2]> =
        points.iter().enumerate().filter(|(i, _)| usable(*i)).map(|(_, p)| *p).collect();
    let step = kept.len().div_ceil(SCORED).max(1);
    let score = |curve: &C| {
        let mut away: Vec<f64> = kept.iter().step_by(step).map(|p| curve.residual(*p).abs()).collect();
        median(&mut away).filter(|m| m.is_finite()).unwrap_or(f64::INFINITY)
    };
    let tried = (1..=trials).filter_map(|k| make(&subset(&kept, k, size)?));
    let best = tried.chain(plain.clone().ok()).map(|c| (score(&c), c)).min_by(|a, b| a.0.total_cmp(&b.0));
    match best {
        Some((_, curve)) => Ok(curve),
        None => plain,
    }
}

/// Multiples of the roots of the first primes, modulo 1, spread evenly in every combination (Weyl).
const PRIMES: [f64; 8] = [2.0, 3.0, 5.0, 7.0, 11.0, 13.0, 17.0, 19.0];

/// The `k`-th fixed choice of `size` different points; none when a point came up twice.
fn subset(points: &[[f64; 2]], k: usize, size: usize) -> Option<Vec<[f64; 2]>> {
    let place = |prime: &f64| ((k as f64 * prime.sqrt()).fract() * points.len() as f64) as usize;
    let mut chosen: Vec<usize> = PRIMES.iter().take(size).map(place).collect();
    chosen.sort_unstable();
    chosen.dedup();
    (chosen.len() == size).then(|| chosen.iter().filter_map(|i| points.get(*i).copied()).collect())
}

fn reweight<C: Curve>(
    points: &[[f64; 2]],
    prior: Option<&[f64]>,
    loss: Loss,
    start: C,
) -> Result<Robust<C>, FitError> {
    let prior = prior.map_or_else(|| vec![1.0; points.len()], <[f64]>::to_vec);
    let mut curve = start;
    let mut scale = robust_scale(&curve, points, &prior);
    for round in 0..ROUNDS {
        let weights = weights_of(&curve, points, &prior, loss, scale);
        let next = curve.refit(points, &weights)?;
        let moved = next.shift_from(&curve);
        curve = next;
        if round < ROUNDS / 2 {
            scale = robust_scale(&curve, points, &prior);
        }
        if moved <= 1e-9 * scale.max(curve.extent() * SCALE_FLOOR) {
            break;
        }
    }
    finish(curve, points, &prior, loss, scale)
}

fn robust_scale<C: Curve>(curve: &C, points: &[[f64; 2]], prior: &[f64]) -> f64 {
    let used = points.iter().zip(prior).filter(|(_, w)| **w > 0.0);
    let away: Vec<f64> = used.map(|(p, w)| curve.residual(*p) * w.sqrt()).collect();
    let few = away.len() as f64 / away.len().saturating_sub(C::PARAMETERS).max(1) as f64;
    // The fit pulls the residuals in; the same correction as for a sum of squares, on the scale.
    let scale = mad_scale(&away, 0.0).unwrap_or(0.0) * few.sqrt();
    scale.max(curve.extent() * SCALE_FLOOR)
}

fn weights_of<C: Curve>(curve: &C, points: &[[f64; 2]], prior: &[f64], loss: Loss, scale: f64) -> Vec<f64> {
    let row = |(p, w): (&[f64; 2], &f64)| w * loss.weight(curve.residual(*p) * w.sqrt() / scale);
    points.iter().zip(prior).map(row).collect()
}

/// Huber's covariance over the points that count: `Σψ²/(n−p) / mean(ψ')² · (JᵀJ)⁻¹`.
fn finish<C: Curve>(
    curve: C,
    points: &[[f64; 2]],
    prior: &[f64],
    loss: Loss,
    scale: f64,
) -> Result<Robust<C>, FitError> {
    let weights = weights_of(&curve, points, prior, loss, scale);
    let u: Vec<f64> = points.iter().zip(prior).map(|(p, w)| curve.residual(*p) * w.sqrt() / scale).collect();
    let counting: Vec<f64> =
        weights.iter().zip(prior).map(|(w, p)| if *w > 0.0 { *p } else { 0.0 }).collect();
    let n = counting.iter().filter(|w| **w > 0.0).count();
    if n <= C::PARAMETERS {
        let (fit, needed) = ("a robust fit after its stray points left", C::PARAMETERS + 1);
        return Err(FitError::TooFewPoints { fit, needed, found: n });
    }
    let kept = || u.iter().zip(&counting).filter(|(_, w)| **w > 0.0).map(|(u, _)| *u);
    let psi: f64 = kept().map(|u| (u * loss.weight(u)).powi(2)).sum::<f64>() / (n - C::PARAMETERS) as f64;
    let slope = kept().map(|u| loss.slope(u)).sum::<f64>() / n as f64;
    let mut curve = curve.reweigh(points, &counting)?;
    curve.scale_covariance(psi * scale * scale / (slope * slope).max(f64::MIN_POSITIVE));
    let inliers = u.iter().zip(prior).map(|(u, w)| *w > 0.0 && u.abs() <= INLIER_SCALES).collect();
    Ok(Robust { curve, weights, inliers, scale })
}
