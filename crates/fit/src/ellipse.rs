//! Ellipses by orthogonal distance, in a form that stays smooth where an ellipse is all but a circle.

use crate::circle::{Cloud, Scatter};
use crate::error::{FitError, all_finite, all_positive};
use crate::marquardt::{self, Sums};
use nalgebra::{Matrix2, Matrix3, Matrix5, Rotation2, SVector, SymmetricEigen, Vector2, Vector3};
use std::f64::consts::PI;

/// A fitted ellipse, in the unit of the points.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Ellipse {
    /// Centre (x, y).
    pub centre: [f64; 2],
    /// Semi-axes, the larger first; both above 0.
    pub semi_axes: [f64; 2],
    /// Angle of the major axis from +x towards +y, in radians, above −π/2 and up to π/2; 0 for a circle.
    pub angle_rad: f64,
    /// Covariance of (centre x, centre y, semi-major, semi-minor, angle), first order.
    ///
    /// Where the ellipse is too round for its angle to be known, the angle's standard deviation is held at π/√12,
    /// that of an angle spread evenly over half a turn.
    pub covariance: Matrix5<f64>,
    /// Root of the weighted mean of the squared orthogonal distances.
    pub rms: f64,
}

impl Ellipse {
    /// Signed orthogonal distance of a point from the ellipse, positive outside.
    pub fn distance(&self, point: [f64; 2]) -> f64 {
        let shape = Shape::from_axes(Vector2::from(self.centre), self.semi_axes, self.angle_rad);
        shape.project(&Vector2::from(point)).distance
    }

    /// Standard uncertainties of the two semi-axes, the larger first.
    pub fn semi_axis_uncertainties(&self) -> [f64; 2] {
        [self.covariance[(2, 2)].max(0.0).sqrt(), self.covariance[(3, 3)].max(0.0).sqrt()]
    }
}

/// Nearest point of an ellipse centred at the origin with semi-axes along x and y.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct EllipseFoot {
    /// The nearest point.
    pub foot: [f64; 2],
    /// Distance from it, 0 or above.
    pub distance: f64,
}

/// Nearest point of the ellipse `(x/a)² + (y/b)² = 1` to a point.
///
/// Where two points are equally near, the one with the positive coordinate is given.
///
/// - **Fails** when a semi-axis is not above 0 or a coordinate is not finite.
/// - **Source** Eberly, *Distance from a point to an ellipse* (2013), with Newton's monotone iteration for the root.
pub fn ellipse_foot(semi_axes: [f64; 2], point: [f64; 2]) -> Result<EllipseFoot, FitError> {
    all_positive("semi-axis", &semi_axes)?;
    all_finite("point coordinate", point)?;
    let q = Vector2::from(point);
    let f = if semi_axes[0] >= semi_axes[1] {
        foot_of(semi_axes[0], semi_axes[1], q)
    } else {
        foot_of(semi_axes[1], semi_axes[0], Vector2::new(q.y, q.x)).yx()
    };
    Ok(EllipseFoot { foot: [f.x, f.y], distance: (q - f).norm() })
}

/// Foot point for a ≥ b > 0.
fn foot_of(a: f64, b: f64, q: Vector2<f64>) -> Vector2<f64> {
    let (x, y) = (q.x.abs(), q.y.abs());
    let f = if y > 0.0 && x > 0.0 {
        let ratio = (a / b) * (a / b);
        let s = foot_root(ratio, x / a, y / b);
        Vector2::new(ratio * x / (s + ratio), y / (s + 1.0))
    } else if y > 0.0 {
        Vector2::new(0.0, b)
    } else {
        let (near, limit) = (a * x, a * a - b * b);
        if near < limit {
            let c = near / limit;
            Vector2::new(a * c, b * (1.0 - c * c).sqrt())
        } else {
            Vector2::new(a, 0.0)
        }
    };
    Vector2::new(f.x.copysign(q.x), f.y.copysign(q.y))
}

/// Root of `(ρ u/(s+ρ))² + (v/(s+1))² = 1`, approached from below, where the function is convex and falling.
fn foot_root(ratio: f64, u: f64, v: f64) -> f64 {
    let n = ratio * u;
    let mut s = (v - 1.0).max(n - ratio);
    for _ in 0..100 {
        let (p, q) = (n / (s + ratio), v / (s + 1.0));
        let value = p * p + q * q - 1.0;
        let slope = -2.0 * (p * p / (s + ratio) + q * q / (s + 1.0));
        let next = s - value / slope;
        if !next.is_finite() || next <= s {
            break;
        }
        s = next;
    }
    s
}

/// Centre and the symmetric stretch `S` that carries the unit circle to the ellipse, with its axes at hand.
#[derive(Clone, Copy)]
pub(crate) struct Shape {
    centre: Vector2<f64>,
    stretch: [f64; 3],
    axes: [f64; 2],
    turn: Rotation2<f64>,
}

/// A point seen from an ellipse: signed distance, outward normal and the unit-circle point of its foot.
struct Projection {
    distance: f64,
    normal: Vector2<f64>,
    unit: Vector2<f64>,
}

impl Shape {
    /// None unless the stretch is positive definite.
    fn new(centre: Vector2<f64>, [s11, s12, s22]: [f64; 3]) -> Option<Self> {
        let (mean, half) = ((s11 + s22) / 2.0, (s11 - s22) / 2.0);
        let reach = half.hypot(s12);
        let axes = [mean + reach, mean - reach];
        let angle = if reach > 0.0 { 0.5 * s12.atan2(half) } else { 0.0 };
        let sound = axes[1] > 0.0 && axes[0].is_finite();
        sound.then(|| Self { centre, stretch: [s11, s12, s22], axes, turn: Rotation2::new(angle) })
    }

    fn from_axes(centre: Vector2<f64>, axes: [f64; 2], angle: f64) -> Self {
        let (mean, reach) = ((axes[0] + axes[1]) / 2.0, (axes[0] - axes[1]) / 2.0);
        let (sin, cos) = (2.0 * angle).sin_cos();
        let stretch = [mean + reach * cos, reach * sin, mean - reach * cos];
        Self { centre, stretch, axes, turn: Rotation2::new(angle) }
    }

    fn parameters(&self) -> SVector<f64, 5> {
        let [s11, s12, s22] = self.stretch;
        SVector::from([self.centre.x, self.centre.y, s11, s12, s22])
    }

    fn at(p: &SVector<f64, 5>) -> Option<Self> {
        Self::new(Vector2::new(p[0], p[1]), [p[2], p[3], p[4]])
    }

    fn project(&self, point: &Vector2<f64>) -> Projection {
        let [a, b] = self.axes;
        let local = self.turn.inverse() * (point - self.centre);
        let foot = foot_of(a, b, local);
        let unit = Vector2::new(foot.x / a, foot.y / b);
        let normal = Vector2::new(unit.x / a, unit.y / b).normalize();
        Projection {
            distance: normal.dot(&(local - foot)),
            normal: self.turn * normal,
            unit: self.turn * unit,
        }
    }

    fn sums(&self, cloud: &Cloud) -> Sums<5> {
        let mut sums = Sums::new();
        for (p, w) in cloud.pairs().filter(|(_, w)| *w > 0.0) {
            let Projection { distance, normal: n, unit: u } = self.project(p);
            // The foot glides along the ellipse as it changes; only the motion along the normal counts.
            let row = SVector::from([-n.x, -n.y, -n.x * u.x, -(n.x * u.y + n.y * u.x), -n.y * u.y]);
            sums.add(w, distance, &row);
        }
        sums
    }
}

/// Ellipse whose orthogonal distances from the points have the least (weighted) sum of squares.
///
/// Starts from the direct algebraic fit, then Levenberg–Marquardt on centre and symmetric stretch matrix.
///
/// - **Takes** one `[x, y]` a point; weights, if given, one a point, 0 or above (0 leaves a point out).
/// - **Fails** with fewer than 5 points (6 when the scatter comes from the residuals), numbers that are not finite,
///   points on a line, or an arc so short that no ellipse settles.
/// - **Holds** for errors small against the minor axis. The larger axis of a true circle is biased up by the order of
///   its uncertainty, because the larger of the two is always named first.
/// - **Source** Gander, Golub, Strebel, BIT 34 (1994) 558; start: Halíř, Flusser, Proc. WSCG (1998) 125.
pub fn fit_ellipse(
    points: &[[f64; 2]],
    weights: Option<&[f64]>,
    scatter: Scatter,
) -> Result<Ellipse, FitError> {
    let cloud = Cloud::new(points, weights, 5, "an ellipse fit", scatter)?;
    let start = direct(&cloud).ok_or(cloud.no_curve("ellipse"))?;
    refine(&cloud, &start)?.finish(&cloud, scatter)
}

/// Direct least-squares ellipse by Halíř and Flusser: algebraic, fast, always an ellipse; the start of
/// [`fit_ellipse`]. Its covariance is that of the orthogonal-distance fit taken at this ellipse.
///
/// - **Fails** as [`fit_ellipse`] does.
pub fn direct_ellipse(points: &[[f64; 2]], weights: Option<&[f64]>) -> Result<Ellipse, FitError> {
    let cloud = Cloud::new(points, weights, 5, "an ellipse fit", Scatter::Known(1.0))?;
    direct(&cloud).ok_or(cloud.no_curve("ellipse"))?.finish(&cloud, Scatter::Known(1.0))
}

/// Refines a known ellipse against re-weighted points; for robust fits.
pub(crate) fn refit_ellipse(
    points: &[[f64; 2]],
    weights: &[f64],
    from: &Ellipse,
) -> Result<Ellipse, FitError> {
    let known = Scatter::Known(1.0);
    let cloud = Cloud::new(points, Some(weights), 5, "an ellipse fit", known)?;
    let centre = (Vector2::from(from.centre) - cloud.origin) / cloud.scale;
    let axes = [from.semi_axes[0] / cloud.scale, from.semi_axes[1] / cloud.scale];
    refine(&cloud, &Shape::from_axes(centre, axes, from.angle_rad))?.finish(&cloud, known)
}

/// The same ellipse with the covariance of unit scatter that the given weights allow.
pub(crate) fn reweigh_ellipse(
    points: &[[f64; 2]],
    weights: &[f64],
    at: &Ellipse,
) -> Result<Ellipse, FitError> {
    let known = Scatter::Known(1.0);
    let cloud = Cloud::new(points, Some(weights), 5, "an ellipse fit", known)?;
    let centre = (Vector2::from(at.centre) - cloud.origin) / cloud.scale;
    let axes = [at.semi_axes[0] / cloud.scale, at.semi_axes[1] / cloud.scale];
    Shape::from_axes(centre, axes, at.angle_rad).finish(&cloud, known)
}

fn refine(cloud: &Cloud, start: &Shape) -> Result<Shape, FitError> {
    marquardt::minimise(start.parameters(), |p| Shape::at(p).map(|s| s.sums(cloud)))
        .and_then(|p| Shape::at(&p))
        .ok_or(FitError::NotConverged { fit: "the ellipse fit", iterations: marquardt::STEPS })
}

impl Shape {
    fn finish(&self, cloud: &Cloud, scatter: Scatter) -> Result<Ellipse, FitError> {
        let sums = self.sums(cloud);
        let inverse = sums.normal.cholesky().ok_or(cloud.no_curve("ellipse"))?.inverse();
        let unit = inverse * (cloud.variance(sums.cost, 5, scatter) / (cloud.scale * cloud.scale));
        let jacobian = self.axes_jacobian();
        let mut covariance = hold_angle(jacobian * unit * jacobian.transpose());
        for i in 0..4 {
            covariance.row_mut(i).scale_mut(cloud.scale);
            covariance.column_mut(i).scale_mut(cloud.scale);
        }
        let centre = cloud.origin + self.centre * cloud.scale;
        let angle = self.turn.angle();
        Ok(Ellipse {
            centre: [centre.x, centre.y],
            semi_axes: [self.axes[0] * cloud.scale, self.axes[1] * cloud.scale],
            angle_rad: if angle <= -PI / 2.0 { angle + PI } else { angle },
            covariance,
            rms: (sums.cost / cloud.total()).sqrt() * cloud.scale,
        })
    }

    /// Derivatives of (centre, a, b, angle) by (centre, s11, s12, s22).
    fn axes_jacobian(&self) -> Matrix5<f64> {
        let (sin, cos) = (2.0 * self.turn.angle()).sin_cos();
        // A difference of axes below this (in units of the cloud) leaves the angle quite unknown.
        let reach = ((self.axes[0] - self.axes[1]) / 2.0).max(1e-12);
        let mut j = Matrix5::identity();
        j.fixed_view_mut::<3, 3>(2, 2).copy_from(&Matrix3::new(
            0.5 + cos / 2.0,
            sin,
            0.5 - cos / 2.0,
            0.5 - cos / 2.0,
            -sin,
            0.5 + cos / 2.0,
            -sin / (4.0 * reach),
            cos / (2.0 * reach),
            sin / (4.0 * reach),
        ));
        j
    }
}

/// Holds the angle's standard deviation at that of an angle spread evenly over half a turn.
fn hold_angle(mut covariance: Matrix5<f64>) -> Matrix5<f64> {
    let (sd, most) = (covariance[(4, 4)].max(0.0).sqrt(), PI / 12.0_f64.sqrt());
    if sd > most {
        covariance.row_mut(4).scale_mut(most / sd);
        covariance.column_mut(4).scale_mut(most / sd);
    }
    covariance
}

/// Halíř and Flusser's direct fit in the cloud's own coordinates.
fn direct(cloud: &Cloud) -> Option<Shape> {
    let (mut s1, mut s2, mut s3) = (Matrix3::zeros(), Matrix3::zeros(), Matrix3::zeros());
    for (p, w) in cloud.pairs() {
        let d1 = Vector3::new(p.x * p.x, p.x * p.y, p.y * p.y);
        let d2 = Vector3::new(p.x, p.y, 1.0);
        s1 += d1 * d1.transpose() * w;
        s2 += d1 * d2.transpose() * w;
        s3 += d2 * d2.transpose() * w;
    }
    let spread = cloud.pairs().fold(Matrix2::zeros(), |m, (p, w)| m + p * p.transpose() * w);
    if spread.determinant() <= 1e-12 * spread.trace().powi(2) {
        return None;
    }
    let t = -s3.cholesky()?.solve(&s2.transpose());
    let m = s1 + s2 * t;
    let reduced = Matrix3::from_rows(&[m.row(2) / 2.0, -m.row(1), m.row(0) / 2.0]);
    let conic = reduced
        .complex_eigenvalues()
        .iter()
        .filter(|l| l.im.abs() <= 1e-9 * (1.0 + l.re.abs()))
        .filter_map(|l| null_vector(reduced - Matrix3::identity() * l.re))
        .max_by(|a, b| discriminant(a).total_cmp(&discriminant(b)))?;
    if discriminant(&conic) <= 0.0 { None } else { from_conic(&conic, &(t * conic)) }
}

fn discriminant(c: &Vector3<f64>) -> f64 {
    4.0 * c[0] * c[2] - c[1] * c[1]
}

/// Unit vector that a (nearly) singular matrix sends nearest to zero.
fn null_vector(m: Matrix3<f64>) -> Option<Vector3<f64>> {
    let svd = m.try_svd(false, true, f64::EPSILON, 500)?;
    let least = svd.singular_values.imin();
    Some(svd.v_t?.row(least).transpose())
}

/// Shape of the conic `A x² + B x y + C y² + D x + E y + F = 0`.
fn from_conic(quadratic: &Vector3<f64>, linear: &Vector3<f64>) -> Option<Shape> {
    let (a, b, c) = (quadratic[0], quadratic[1], quadratic[2]);
    let form = Matrix2::new(a, b / 2.0, b / 2.0, c);
    let half = Vector2::new(linear[0], linear[1]) / 2.0;
    let centre = -(form.try_inverse()? * half);
    let level = -(linear[2] + half.dot(&centre));
    let eigen = SymmetricEigen::new(form / level);
    let axes = eigen.eigenvalues.map(|l| 1.0 / l.sqrt());
    if !axes.iter().all(|a| a.is_finite() && *a > 0.0) {
        return None;
    }
    let s = eigen.eigenvectors * Matrix2::from_diagonal(&axes) * eigen.eigenvectors.transpose();
    Shape::new(centre, [s[(0, 0)], s[(0, 1)], s[(1, 1)]])
}
