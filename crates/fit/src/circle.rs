//! Circles by orthogonal distance, with the uncertainty that the arc really allows.

use crate::error::{FitError, all_finite, none_negative, same_length};
use crate::marquardt::{self, Sums};
use nalgebra::{Matrix3, SVector, Vector2, Vector3};

/// Where the size of a point's error comes from.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub enum Scatter {
    /// From the residuals of this very fit: `σ² = Σ w d² / (n − parameters)`.
    #[default]
    FromResiduals,
    /// Known standard deviation, across the curve, of a point of weight 1, in the points' unit.
    Known(f64),
}

/// A fitted circle, in the unit of the points.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Circle {
    /// Centre (x, y).
    pub centre: [f64; 2],
    /// Radius, above 0.
    pub radius: f64,
    /// Covariance of (centre x, centre y, radius) for independent point errors.
    pub covariance: Matrix3<f64>,
    /// Root of the weighted mean of the squared distances from the circle.
    pub rms: f64,
}

impl Circle {
    /// Signed distance of a point from the circle, positive outside.
    pub fn distance(&self, point: [f64; 2]) -> f64 {
        (point[0] - self.centre[0]).hypot(point[1] - self.centre[1]) - self.radius
    }

    /// Standard uncertainty of the radius.
    pub fn radius_uncertainty(&self) -> f64 {
        self.covariance[(2, 2)].max(0.0).sqrt()
    }
}

/// Circle whose orthogonal distances from the points have the least (weighted) sum of squares.
///
/// Minimises `Σ w (|p − c| − r)²` by Levenberg–Marquardt in the distance to, direction at and curvature of a point
/// on the circle, in which short arcs stay well conditioned, starting from Taubin's algebraic fit.
///
/// - **Takes** one `[x, y]` a point; weights, if given, one a point, 0 or above (0 leaves a point out).
/// - **Fails** with fewer than 3 points (4 when the scatter comes from the residuals), numbers that are not finite,
///   or points on a straight line.
/// - **Holds** for errors small against the radius. The covariance is first order, and treats the errors of
///   neighbouring points as independent. The radius carries a positive bias of about σ²/2r for a full circle, more on
///   short arcs.
/// - **Source** Gander, Golub, Strebel, BIT 34 (1994) 558; Chernov, *Circular and Linear Regression* (2010).
pub fn fit_circle(
    points: &[[f64; 2]],
    weights: Option<&[f64]>,
    scatter: Scatter,
) -> Result<Circle, FitError> {
    let cloud = Cloud::new(points, weights, 3, "a circle fit", scatter)?;
    let start = taubin(&cloud).ok_or(cloud.no_curve("circle"))?;
    let (centre, radius) = geometric(&cloud, start)?;
    cloud.circle(centre, radius, scatter)
}

/// Taubin's algebraic circle: fast, nearly unbiased; the start of [`fit_circle`]. No covariance is claimed.
///
/// - **Gives** centre and radius.
/// - **Fails** as [`fit_circle`] does.
/// - **Source** Taubin, IEEE Trans. PAMI 13 (1991) 1115, in the form of Chernov (2010), § 5.8.
pub fn taubin_circle(points: &[[f64; 2]], weights: Option<&[f64]>) -> Result<([f64; 2], f64), FitError> {
    let cloud = Cloud::new(points, weights, 3, "a circle fit", Scatter::Known(1.0))?;
    let (centre, radius) = taubin(&cloud).ok_or(cloud.no_curve("circle"))?;
    Ok(cloud.restore(centre, radius))
}

/// The same circle with the covariance of unit scatter that the given weights allow.
pub(crate) fn reweigh_circle(points: &[[f64; 2]], weights: &[f64], at: &Circle) -> Result<Circle, FitError> {
    let known = Scatter::Known(1.0);
    let cloud = Cloud::new(points, Some(weights), 3, "a circle fit", known)?;
    let centre = (Vector2::from(at.centre) - cloud.origin) / cloud.scale;
    cloud.circle(centre, at.radius / cloud.scale, known)
}

/// Points moved to their centroid and scaled to unit spread, with their weights.
pub(crate) struct Cloud {
    pub(crate) points: Vec<Vector2<f64>>,
    pub(crate) weights: Vec<f64>,
    pub(crate) origin: Vector2<f64>,
    pub(crate) scale: f64,
    pub(crate) used: usize,
}

impl Cloud {
    pub(crate) fn new(
        points: &[[f64; 2]],
        weights: Option<&[f64]>,
        parameters: usize,
        fit: &'static str,
        scatter: Scatter,
    ) -> Result<Self, FitError> {
        all_finite("point coordinate", points.iter().flatten().copied())?;
        let weights = weights.map_or_else(|| vec![1.0; points.len()], <[f64]>::to_vec);
        same_length("weight", "points", points.len(), weights.len())?;
        none_negative("weight", weights.iter().copied())?;
        if let Scatter::Known(sigma) = scatter {
            crate::error::all_positive("known scatter", &[sigma])?;
        }
        let used = weights.iter().filter(|w| **w > 0.0).count();
        let needed = parameters + usize::from(scatter == Scatter::FromResiduals);
        if used < needed {
            return Err(FitError::TooFewPoints { fit, needed, found: used });
        }
        Ok(Self::centred(points, weights, used))
    }

    fn centred(points: &[[f64; 2]], weights: Vec<f64>, used: usize) -> Self {
        let total: f64 = weights.iter().sum();
        let raw: Vec<Vector2<f64>> = points.iter().map(|p| Vector2::new(p[0], p[1])).collect();
        let origin = raw.iter().zip(&weights).fold(Vector2::zeros(), |m, (p, w)| m + p * (*w / total));
        let spread =
            raw.iter().zip(&weights).map(|(p, w)| w * (p - origin).norm_squared()).sum::<f64>() / total;
        // A cloud on one spot keeps scale 1 and is refused later for having no curve.
        let scale = if spread > 0.0 { spread.sqrt() } else { 1.0 };
        let points = raw.iter().map(|p| (p - origin) / scale).collect();
        Self { points, weights, origin, scale, used }
    }

    pub(crate) fn no_curve(&self, shape: &'static str) -> FitError {
        FitError::NoCurve { points: self.used, shape }
    }

    pub(crate) fn total(&self) -> f64 {
        self.weights.iter().sum()
    }

    pub(crate) fn pairs(&self) -> impl Iterator<Item = (&Vector2<f64>, f64)> {
        self.points.iter().zip(self.weights.iter().copied())
    }

    fn restore(&self, centre: Vector2<f64>, radius: f64) -> ([f64; 2], f64) {
        let c = self.origin + centre * self.scale;
        ([c.x, c.y], radius * self.scale)
    }

    /// Variance of a point of weight 1, in the points' unit squared.
    pub(crate) fn variance(&self, cost: f64, parameters: usize, scatter: Scatter) -> f64 {
        match scatter {
            Scatter::Known(sigma) => sigma * sigma,
            Scatter::FromResiduals => cost * self.scale * self.scale / (self.used - parameters) as f64,
        }
    }

    fn circle(&self, centre: Vector2<f64>, radius: f64, scatter: Scatter) -> Result<Circle, FitError> {
        let mut sums = Sums::<3>::new();
        for (p, w) in self.pairs() {
            let away = p - centre;
            let reach = away.norm().max(f64::MIN_POSITIVE);
            sums.add(w, reach - radius, &Vector3::new(-away.x / reach, -away.y / reach, -1.0));
        }
        let inverse = sums.normal.cholesky().ok_or(self.no_curve("circle"))?.inverse();
        let covariance = inverse * self.variance(sums.cost, 3, scatter);
        let (centre, radius) = self.restore(centre, radius);
        Ok(Circle { centre, radius, covariance, rms: (sums.cost / self.total()).sqrt() * self.scale })
    }
}

/// Flattest spread, across against along, that still counts as curved: rounding of coordinates, not physics.
const FLAT: f64 = 1e-12;

/// Taubin's fit in the cloud's own coordinates.
fn taubin(cloud: &Cloud) -> Option<(Vector2<f64>, f64)> {
    let total = cloud.total();
    let mean = |f: &dyn Fn(&Vector2<f64>) -> f64| cloud.pairs().map(|(p, w)| w * f(p)).sum::<f64>() / total;
    let (mxx, myy, mxy) = (mean(&|p| p.x * p.x), mean(&|p| p.y * p.y), mean(&|p| p.x * p.y));
    let z = |p: &Vector2<f64>| p.norm_squared();
    let (mxz, myz, mzz) = (mean(&|p| p.x * z(p)), mean(&|p| p.y * z(p)), mean(&|p| z(p) * z(p)));
    let mz = mxx + myy;
    let cov_xy = mxx * myy - mxy * mxy;
    if cov_xy <= FLAT * mz * mz {
        return None;
    }
    let var_z = mzz - mz * mz;
    let a3 = 4.0 * mz;
    let a2 = -3.0 * mz * mz - mzz;
    let a1 = var_z * mz + 4.0 * cov_xy * mz - mxz * mxz - myz * myz;
    let a0 = mxz * (mxz * myy - myz * mxy) + myz * (myz * mxx - mxz * mxy) - var_z * cov_xy;
    let root = newton_from_zero(a0, a1, a2, a3);
    let det = root * root - root * mz + cov_xy;
    let centre = Vector2::new(mxz * (myy - root) - myz * mxy, myz * (mxx - root) - mxz * mxy) / (2.0 * det);
    let radius = (centre.norm_squared() + mz).sqrt();
    (radius.is_finite() && det.abs() > 0.0).then_some((centre, radius))
}

/// Smallest non-negative root of the cubic, by Newton's method from 0, which is monotone here (Chernov 2010).
fn newton_from_zero(a0: f64, a1: f64, a2: f64, a3: f64) -> f64 {
    let mut x = 0.0_f64;
    let mut y = a0.abs();
    for _ in 0..100 {
        let slope = a1 + x * (2.0 * a2 + 3.0 * a3 * x);
        let next = x - (a0 + x * (a1 + x * (a2 + x * a3))) / slope;
        let value = (a0 + next * (a1 + next * (a2 + next * a3))).abs();
        if !next.is_finite() || value >= y {
            break;
        }
        (x, y) = (next, value);
    }
    x
}

/// Circle held by a point near the arc: shift along the normal, direction of the normal, curvature.
///
/// With `h = p − anchor − δ n`, `T = κ h·h − 2 h·n` and `W = √(1 + κ T)` the signed distance is `T / (1 + W)`,
/// which stays exact as the curvature goes to 0 (Karimäki, Nucl. Instrum. Meth. A 305 (1991) 187).
struct Anchored {
    anchor: Vector2<f64>,
}

impl Anchored {
    fn sums(&self, cloud: &Cloud, q: &Vector3<f64>) -> Option<Sums<3>> {
        let (shift, curvature) = (q[0], q[2]);
        let (sin, cos) = q[1].sin_cos();
        let (normal, tangent) = (Vector2::new(cos, sin), Vector2::new(-sin, cos));
        let mut sums = Sums::new();
        for (p, w) in cloud.pairs() {
            let h = p - self.anchor - normal * shift;
            let (square, along) = (h.norm_squared(), h.dot(&normal));
            let t = curvature * square - 2.0 * along;
            let reach = (1.0 + curvature * t).max(0.0).sqrt();
            let distance = t / (1.0 + reach);
            let safe = reach.max(1e-9);
            let row = Vector3::new(
                (1.0 - curvature * along) / safe,
                -(1.0 + curvature * shift) * h.dot(&tangent) / safe,
                (square - distance * distance) / (2.0 * safe),
            );
            sums.add(w, distance, &row);
        }
        sums.cost.is_finite().then_some(sums)
    }
}

fn geometric(cloud: &Cloud, start: (Vector2<f64>, f64)) -> Result<(Vector2<f64>, f64), FitError> {
    let (centre, radius) = start;
    // From the side where the points are, towards the centre; any direction does for a full circle.
    let inward = centre.try_normalize(1e-12).unwrap_or(Vector2::x());
    let frame = Anchored { anchor: centre - inward * radius };
    let first: SVector<f64, 3> = Vector3::new(0.0, inward.y.atan2(inward.x), 1.0 / radius);
    let q = marquardt::minimise(first, |q| frame.sums(cloud, q))
        .ok_or(FitError::NotConverged { fit: "the circle fit", iterations: marquardt::STEPS })?;
    // Curvature below 0 turns the normal about; below rounding the arc is straight.
    if q[2].abs() < FLAT {
        return Err(cloud.no_curve("circle"));
    }
    let normal = Vector2::new(q[1].cos(), q[1].sin());
    Ok((frame.anchor + normal * (q[0] + 1.0 / q[2]), 1.0 / q[2].abs()))
}
