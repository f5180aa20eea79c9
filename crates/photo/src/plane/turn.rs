//! The path from the muzzle round to the gun from the part that is seen: how far it leaves its circle, and what hidden
//! pieces may do.

use nalgebra::{DMatrix, DVector, SMatrix, SVector};

/// Terms of the path's distance from the circle: circle (3), open path (3), second and third wave (2 each).
const TERMS: usize = 10;
/// Standard deviations expected of the terms, in parts of the radius.
///
/// A path that does not close (loss of energy, gradient of the field, drift along the axis seen at a slant): its ends stand
/// apart by this over one turn. Earth's 50 µT on a field of 1.5 mT moves the beam 3 % of the radius along the axis, of
/// which a camera 8° off sees 0.4 %; a gas takes some 0.5 % of the radius a turn. The field of a pair falls off with the
/// fourth power of the distance, so the waves of a ring that is not concentric with it are smaller.
const OPEN: f64 = 0.006;
const SECOND_WAVE: f64 = 0.002;
const THIRD_WAVE: f64 = 0.0005;
/// Points are averaged over this share of a turn: the beam's shape is slower, the arithmetic a hundred times faster.
const BINS: usize = 180;
/// The circle has three unknowns and the priors hold the rest; a few points set by hand must do.
const FEWEST: usize = 5;
/// Length, in radii, over which slow errors of the centre line (haze, veil, glass) stay alike.
const SLOW_LENGTH: f64 = 0.4;
/// Averages further than this from the path, in parts of their usual distance, are left out once.
const FAR: f64 = 5.0;

/// Part of a turn from the muzzle to where the beam meets the back of the gun, where the frame or the dark hides it; seen
/// rings of common tubes reach 0.88 to 0.95.
///
/// What a diameter measured on a photograph means hangs on it, so that whoever predicts one needs it too.
pub const TO_THE_GUN: f64 = 0.91;

/// Where the path ends is not always where the line ends: it may pass before or behind the gun, or end on its edge. This
/// part of what the rest of the turn would change is taken for a standard uncertainty.
const BEYOND: f64 = 0.3;

/// What is known of the trace beside its points.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct TurnHints {
    /// Where the path begins, in pixels: the muzzle.
    pub muzzle_px: Option<[f64; 2]>,
    /// Whether the points run in the electrons' direction, so that the path begins before the first of them.
    pub travel_known: bool,
    /// Standard uncertainty of the centre line that varies slowly along the beam, in pixels.
    pub slow_u_px: f64,
    /// Standard uncertainty of the centre line that is the same all along it, in pixels.
    pub common_u_px: f64,
}

/// A point of the path about the circle through what is seen: angle along the path, distance outwards.
#[derive(Debug, Clone, Copy)]
pub(super) struct Departure {
    pub(super) angle: f64,
    pub(super) distance: f64,
}

/// The circle through the path from the muzzle to the gun, against the circle through what is seen.
#[derive(Debug, Clone)]
pub(super) struct Turn {
    /// To be added to (centre along angle 0, centre along 90°, radius).
    pub(super) change: [f64; 3],
    /// Standard uncertainties of the three.
    pub(super) u: [f64; 3],
    /// Part of each average in the change, to carry further changes of the points: (angles' bin, weights of the three).
    weights: Vec<(usize, [f64; 3])>,
}

/// From where to where the path runs, in angles: two equal spans, or either of two.
pub(super) type Spans = [[f64; 2]; 2];

/// The spans of a path seen from angle `first` to `last`, with the muzzle at angle 0 where that is known.
///
/// The gun's body begins at the muzzle, so that the arc seen between its faces is the path; where much more is hidden, the
/// path goes on for its usual part of a turn.
pub(super) fn spans(first: f64, last: f64, muzzle_known: bool) -> Spans {
    let usual = TO_THE_GUN * std::f64::consts::TAU;
    if muzzle_known {
        return [[0.0_f64.min(first), last.max(usual)]; 2];
    }
    if last - first >= usual {
        return [[first, last]; 2];
    }
    [[first, first + usual], [last - usual, last]]
}

/// Lengths of the problem, all in millimetres.
#[derive(Debug, Clone, Copy)]
pub(super) struct Sizes {
    pub(super) radius: f64,
    /// Standard uncertainty of a point, 0 if only the scatter is to tell.
    pub(super) point_u: f64,
    pub(super) slow_u: f64,
}

impl Turn {
    /// Fits the path's shape to its departures from the circle and completes it.
    ///
    /// `d(φ) = circle + open path + waves`, Gaussian priors on all but the circle, errors alike along the beam; the
    /// result is the least-squares circle of `d` over the whole path, a linear function of the terms.
    pub(super) fn completed(points: &[Departure], spans: Spans, sizes: Sizes) -> Option<Self> {
        let mut bins = averaged(points);
        if bins.len() < FEWEST {
            return None;
        }
        let mut solved = Solved::of(&bins, sizes)?;
        let far = FAR * solved.scatter;
        let kept: Vec<Bin> =
            bins.iter().zip(&solved.left).filter(|(_, l)| l.abs() <= far).map(|(b, _)| *b).collect();
        if kept.len() < bins.len() && 10 * kept.len() > 8 * bins.len() {
            solved = Solved::of(&kept, sizes)?;
            bins = kept;
        }
        let [first, second] = spans.map(circle_of_terms);
        let (first, second) = (first?, second?);
        let mean = (first + second) * 0.5;
        let change = mean * solved.terms;
        let apart = (first - second) * solved.terms * 0.5;
        let whole = circle_of_terms([0.0, std::f64::consts::TAU])?;
        let beyond = (whole - mean) * solved.terms * BEYOND;
        let covariance = mean * solved.covariance * mean.transpose();
        let reach = mean * &solved.gain;
        let weights =
            bins.iter().enumerate().map(|(k, b)| (b.number, [0, 1, 2].map(|i| reach[(i, k)]))).collect();
        Some(Self {
            change: change.into(),
            u: [0, 1, 2].map(|i| covariance[(i, i)].max(0.0).sqrt().hypot(apart[i]).hypot(beyond[i])),
            weights,
        })
    }

    /// What the circle's (centre, radius) change by when its points do.
    pub(super) fn moved_by(&self, points: &[Departure]) -> [f64; 3] {
        let bins = averaged(points);
        let mut sum = [0.0; 3];
        for (number, weights) in &self.weights {
            if let Ok(at) = bins.binary_search_by_key(number, |b| b.number)
                && let Some(bin) = bins.get(at)
            {
                for (s, w) in sum.iter_mut().zip(weights) {
                    *s += w * bin.distance;
                }
            }
        }
        sum
    }
}

/// The average of neighbouring points.
#[derive(Debug, Clone, Copy)]
struct Bin {
    number: usize,
    angle: f64,
    distance: f64,
    count: f64,
}

fn averaged(points: &[Departure]) -> Vec<Bin> {
    let step = std::f64::consts::TAU / BINS as f64;
    let mut bins: Vec<Bin> = Vec::new();
    let mut sorted: Vec<&Departure> = points.iter().collect();
    sorted.sort_by(|a, b| a.angle.total_cmp(&b.angle));
    for p in sorted {
        // the turn may begin a little after the first point
        let number = (p.angle / step).floor() as i64 + BINS as i64;
        let number = usize::try_from(number).unwrap_or(0);
        match bins.last_mut().filter(|b| b.number == number) {
            Some(b) => {
                b.angle += p.angle;
                b.distance += p.distance;
                b.count += 1.0;
            }
            None => bins.push(Bin { number, angle: p.angle, distance: p.distance, count: 1.0 }),
        }
    }
    for b in &mut bins {
        b.angle /= b.count;
        b.distance /= b.count;
    }
    bins
}

/// The terms at an angle.
fn terms(angle: f64) -> [f64; TERMS] {
    let (s, c) = angle.sin_cos();
    let (s2, c2) = (2.0 * angle).sin_cos();
    let (s3, c3) = (3.0 * angle).sin_cos();
    let open = angle / std::f64::consts::TAU - 0.5;
    [1.0, c, s, open, open * c, open * s, c2, s2, c3, s3]
}

fn expected(radius: f64) -> [Option<f64>; TERMS] {
    let of = |share: f64| Some(share * radius);
    let (open, two, three) = (of(OPEN), of(SECOND_WAVE), of(THIRD_WAVE));
    [None, None, None, open, open, open, two, two, three, three]
}

/// The fitted terms.
struct Solved {
    terms: SVector<f64, TERMS>,
    covariance: SMatrix<f64, TERMS, TERMS>,
    /// The terms' change for a change of each average.
    gain: nalgebra::OMatrix<f64, nalgebra::Const<TERMS>, nalgebra::Dyn>,
    left: Vec<f64>,
    scatter: f64,
}

impl Solved {
    fn of(bins: &[Bin], sizes: Sizes) -> Option<Self> {
        let n = bins.len();
        let design = DMatrix::from_fn(n, TERMS, |k, i| bins.get(k).map_or(0.0, |b| terms(b.angle)[i]));
        let seen = DVector::from_iterator(n, bins.iter().map(|b| b.distance));
        let prior = expected(sizes.radius);
        let inverse_prior = |noise: f64| {
            SMatrix::<f64, TERMS, TERMS>::from_fn(|i, j| {
                let free = (1e3 * sizes.radius).powi(-2);
                if i == j { noise * noise * prior[i].map_or(free, |p| p.powi(-2)) } else { 0.0 }
            })
        };
        // first as if all averages were independent: what is left tells how large errors are, and how alike
        let floor = sizes.point_u;
        let flat = |m: &DMatrix<f64>| SMatrix::<f64, TERMS, TERMS>::from_fn(|i, j| m[(i, j)]);
        let column = |v: &DVector<f64>| SVector::<f64, TERMS>::from_fn(|i, _| v[i]);
        let product = flat(&(design.transpose() * &design));
        let guess = floor.max(sizes.slow_u).max(1e-4 * sizes.radius);
        let first = (product + inverse_prior(guess)).cholesky()?;
        let rough = first.solve(&column(&(design.transpose() * &seen)));
        let left: Vec<f64> =
            (0..n).map(|k| seen[k] - (0..TERMS).map(|i| design[(k, i)] * rough[i]).sum::<f64>()).collect();
        let freedom = (n as f64 - TERMS as f64).max(5.0);
        let scatter = (left.iter().map(|l| l * l).sum::<f64>() / freedom).sqrt();
        let count = bins.iter().map(|b| b.count).sum::<f64>() / n as f64;
        let noise = scatter.max(sizes.point_u / count.sqrt()).max(1e-6 * sizes.radius);
        let length = alike_over(bins, &left);
        let covariance = DMatrix::from_fn(n, n, |j, k| {
            let apart = match (bins.get(j), bins.get(k)) {
                (Some(a), Some(b)) => (a.angle - b.angle).abs(),
                _ => 0.0,
            };
            let slow = (-0.5 * (apart / SLOW_LENGTH).powi(2)).exp();
            let own = if j == k { 1.0 + 1e-9 } else { (-apart / length).exp() };
            noise * noise * own + sizes.slow_u * sizes.slow_u * slow
        });
        let weighted = covariance.cholesky()?.solve(&design);
        let normal = flat(&(design.transpose() * &weighted)) + inverse_prior(1.0);
        let covariance = normal.try_inverse()?;
        let gain = covariance * weighted.transpose().fixed_rows::<TERMS>(0);
        let terms = &gain * &seen;
        Some(Self { terms, covariance, gain, left, scatter })
    }
}

/// Angle over which what is left stays alike: the correlation of neighbours read as an exponential.
fn alike_over(bins: &[Bin], left: &[f64]) -> f64 {
    let (mut product, mut power) = (0.0, 0.0);
    let mut steps: Vec<f64> = Vec::new();
    for (pair, l) in bins.windows(2).zip(left.windows(2)) {
        product += l[0] * l[1];
        power += 0.5 * (l[0] * l[0] + l[1] * l[1]);
        steps.push(pair[1].angle - pair[0].angle);
    }
    let step = crate::ring_curve::median(steps).max(1e-6);
    let rho = if power > 0.0 { (product / power).clamp(0.0, 0.95) } else { 0.0 };
    if rho > 0.05 { -step / rho.ln() } else { 0.3 * step }
}

/// The least-squares circle (centre, radius) of each term over a span of the path.
fn circle_of_terms([from, to]: [f64; 2]) -> Option<SMatrix<f64, 3, TERMS>> {
    let count = 240;
    let mut normal = SMatrix::<f64, 3, 3>::zeros();
    let mut right = SMatrix::<f64, 3, TERMS>::zeros();
    for k in 0..count {
        let angle = from + (to - from) * (f64::from(k) + 0.5) / f64::from(count);
        let t = terms(angle);
        let row = SVector::<f64, 3>::new(t[1], t[2], 1.0);
        normal += row * row.transpose();
        right += row * SVector::<f64, TERMS>::from_row_slice(&t).transpose();
    }
    Some(normal.cholesky()?.solve(&right))
}

#[cfg(test)]
mod tests {
    use super::*;

    const RADIUS: f64 = 40.0;
    const SIZES: Sizes = Sizes { radius: RADIUS, point_u: 0.002, slow_u: 0.002 };

    /// Departures of a path that opens by 1 % and has a small second wave, seen between two angles.
    fn path(from: f64, to: f64) -> Vec<Departure> {
        let at = |k: i32| {
            let angle = f64::from(k) * 0.01;
            let open = angle / std::f64::consts::TAU - 0.5;
            let distance = RADIUS * (0.01 * open * angle.sin() + 0.001 * (2.0 * angle).cos());
            Departure { angle, distance }
        };
        (0..=628).map(at).filter(|d| (from..=to).contains(&d.angle)).collect()
    }

    const WHOLE: Spans = [[0.0, std::f64::consts::TAU]; 2];

    fn radius(t: Option<Turn>) -> (f64, f64) {
        t.map_or((f64::NAN, f64::NAN), |t| (t.change[2], t.u[2]))
    }

    #[test]
    fn a_hidden_sixth_of_an_open_path_is_completed_from_what_is_seen() {
        let (all, _) = radius(Turn::completed(&path(0.0, 6.29), WHOLE, SIZES));
        let (seen, u) = radius(Turn::completed(&path(0.0, 5.2), WHOLE, SIZES));
        // over a whole turn the mean of open · sin φ is −1/2π
        let want = -0.01 * RADIUS / std::f64::consts::TAU;
        assert!((all - want).abs() < 2e-5 * RADIUS, "{all} {want}");
        assert!((seen - all).abs() < 2.0 * u && u < 2e-4 * RADIUS, "{seen} ± {u}, {all}");
    }

    #[test]
    fn half_a_turn_is_less_certain_and_says_so() {
        let (half, u) = radius(Turn::completed(&path(0.0, 3.2), WHOLE, SIZES));
        let want = -0.01 * RADIUS / std::f64::consts::TAU;
        assert!(u > 5e-4 * RADIUS && (half - want).abs() < 2.5 * u, "{half} ± {u}, {want}");
    }

    #[test]
    fn a_path_that_may_end_on_either_side_is_less_certain() {
        assert_eq!(spans(0.3, 6.1, false), [[0.3, 6.1]; 2], "the gun fills the gap");
        let one = radius(Turn::completed(&path(0.5, 4.7), spans(0.5, 4.7, true), SIZES)).1;
        let either = radius(Turn::completed(&path(0.5, 4.7), spans(0.5, 4.7, false), SIZES)).1;
        assert!(either > 1.05 * one, "{either} {one}");
    }
}
