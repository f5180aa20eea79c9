//! The ring in millimetres: the beam's centre line carried to the scale's plane, and a circle through it.

use arcmass_fit::{Circle, Loss, Scatter, fit_circle, fit_circle_robust};
use nalgebra::Matrix3;

use crate::error::PhotoError;
use crate::plane::ScalePlane;

/// The beam's centre line as measured on the photograph, in order along the beam.
#[derive(Debug, Clone, Copy)]
pub struct TraceInPixels<'a> {
    /// Points in pixels.
    pub points_px: &'a [[f64; 2]],
    /// Standard uncertainty of each point across the beam, in pixels; empty if the scatter alone is to tell.
    pub u_px: &'a [f64],
    /// Length along the beam over which errors stay alike, in pixels; 0 for independent points.
    pub correlation_px: f64,
}

/// The seen ring in the scale's plane.
///
/// Lengths in millimetres in the plane's frame (see [`ScalePlane`]); pixels as in the photograph.
#[derive(Debug, Clone, PartialEq)]
pub struct RingInPlane {
    /// Diameter of the orthogonal-distance circle through the seen centre line.
    pub diameter_mm: f64,
    /// Standard uncertainty of the diameter: trace and plane together (the scale's own calibration is not in it).
    pub u_diameter_mm: f64,
    /// Part from the trace.
    pub u_trace_mm: f64,
    /// Part from the plane.
    pub u_plane_mm: f64,
    /// Centre of the circle.
    pub centre_mm: [f64; 2],
    /// Standard uncertainties of the centre.
    pub u_centre_mm: [f64; 2],
    /// The circle's centre in pixels.
    pub centre_px: [f64; 2],
    /// Unit vector from the ring's centre to the camera.
    pub towards_camera: [f64; 3],
    /// Pixels per millimetre at the centre, mean of the largest and smallest over directions.
    pub scale_px_per_mm: f64,
    /// The circle drawn on the photograph: a closed line of points in pixels.
    pub outline_px: Vec<[f64; 2]>,
    /// Signed distance of each point from the circle, positive outside.
    pub residuals_mm: Vec<f64>,
    /// Whether each point counted.
    pub used: Vec<bool>,
    /// Root mean square distance of the points used.
    pub rms_mm: f64,
}

/// A path through a real field stays within this part of its radius of a circle; a point further off is no beam
/// (sample paths with stray field and gun tilt reach 0.016 near the gun).
const FAR_OFF: f64 = 0.04;
/// Points of the outline drawn back.
const OUTLINE_POINTS: usize = 180;

/// Fits the circle to a trace carried to the plane.
///
/// - **Takes** the trace in pixels, points in order along the beam.
/// - **Gives** the circle with the uncertainty that errors alike over `correlation_px` leave, estimated besides from the
///   residuals' own likeness along the beam.
/// - **Fails** with [`PhotoError::NoRing`] if the points lie beyond the plane's horizon or on no circle.
pub fn ring_in_plane(trace: TraceInPixels<'_>, plane: &ScalePlane) -> Result<RingInPlane, PhotoError> {
    let none = |why: &str| PhotoError::NoRing { why: why.into() };
    let points = plane
        .all_to_plane(trace.points_px)
        .ok_or_else(|| none("the scale's plane does not reach the beam"))?;
    let fit = circle(&points).ok_or_else(|| none("the beam's points lie on no circle"))?;
    let circle = fit.curve;
    let residuals: Vec<f64> = points.iter().map(|p| circle.distance(*p)).collect();
    let centre_px = plane.to_px(circle.centre).ok_or_else(|| none("the ring's centre is not in view"))?;
    let scale = plane.px_per_mm(circle.centre).map_or(0.0, |s| (s[0] + s[1]) / 2.0);
    let covariance = trace_covariance(&trace, &points, &fit, scale);
    // where the beam is hidden its departure from the circle is as large as where it is seen, and unknown
    let hidden = 2.0 * circle.rms * unseen(&points, &fit);
    let u_trace = (2.0 * covariance[(2, 2)].max(0.0).sqrt()).hypot(hidden);
    let (u_plane, u_centre) = plane_parts(&trace, plane, &fit);
    Ok(RingInPlane {
        diameter_mm: 2.0 * circle.radius,
        u_diameter_mm: u_trace.hypot(u_plane),
        u_trace_mm: u_trace,
        u_plane_mm: u_plane,
        centre_mm: circle.centre,
        u_centre_mm: [0, 1].map(|k| covariance[(k, k)].max(0.0).sqrt().hypot(u_centre[k])),
        centre_px,
        towards_camera: direction(circle.centre, plane.camera_mm),
        scale_px_per_mm: scale,
        outline_px: outline(&circle, plane),
        rms_mm: circle.rms,
        residuals_mm: residuals,
        used: fit.weights.iter().map(|w| *w > 0.0).collect(),
    })
}

/// A circle with the weight of each point, 0 or 1.
struct Fit {
    curve: Circle,
    weights: Vec<f64>,
}

/// Least squares on all points but the hopeless ones.
///
/// The path is not quite a circle, and the seen diameter is that of the plain least-squares circle through all of it:
/// a robust weight on the path's own departure from a circle would prefer one part of the beam. So points are left
/// out only where they miss a robust circle by far more than any path does.
fn circle(points: &[[f64; 2]]) -> Option<Fit> {
    let robust = fit_circle_robust(points, None, Loss::Tukey).ok()?;
    let far = (6.0 * robust.scale).max(FAR_OFF * robust.curve.radius);
    let weights: Vec<f64> =
        points.iter().map(|p| f64::from(u8::from(robust.curve.distance(*p).abs() <= far))).collect();
    let curve = fit_circle(points, Some(&weights), Scatter::FromResiduals).ok()?;
    Some(Fit { curve, weights })
}

fn direction(from: [f64; 2], to: [f64; 3]) -> [f64; 3] {
    let d = [to[0] - from[0], to[1] - from[1], to[2]];
    let length = (d[0] * d[0] + d[1] * d[1] + d[2] * d[2]).sqrt().max(1e-12);
    d.map(|c| c / length)
}

fn outline(circle: &Circle, plane: &ScalePlane) -> Vec<[f64; 2]> {
    (0..=OUTLINE_POINTS)
        .filter_map(|k| {
            let (sin, cos) = (std::f64::consts::TAU * k as f64 / OUTLINE_POINTS as f64).sin_cos();
            plane.to_px([circle.centre[0] + circle.radius * cos, circle.centre[1] + circle.radius * sin])
        })
        .collect()
}

/// The plane's part: the same points, the same weights, carried by each perturbed plane.
fn plane_parts(trace: &TraceInPixels<'_>, plane: &ScalePlane, fit: &Fit) -> (f64, [f64; 2]) {
    let refit = |p: &ScalePlane| {
        let points = p.all_to_plane(trace.points_px)?;
        fit_circle(&points, Some(&fit.weights), Scatter::Known(1.0)).ok()
    };
    let (mut diameter, mut centre) = (0.0, [0.0_f64; 2]);
    for pair in plane.perturbed() {
        if let (Some(a), Some(b)) = (refit(&pair[0]), refit(&pair[1])) {
            diameter += (a.radius - b.radius).powi(2);
            for (sum, (p, q)) in centre.iter_mut().zip(a.centre.iter().zip(&b.centre)) {
                *sum += ((p - q) / 2.0).powi(2);
            }
        }
    }
    (diameter.sqrt(), centre.map(f64::sqrt))
}

/// Covariance of (centre x, centre y, radius) for errors alike along the beam.
///
/// `(JᵀWJ)⁻¹ · (Σᵢⱼ wᵢ wⱼ Jᵢ Jⱼ cᵢⱼ) · (JᵀWJ)⁻¹` with `cᵢⱼ = uᵢ uⱼ exp(−|sᵢ − sⱼ| / ℓ)`; `ℓ` is the stated length or the one the
/// residuals show, whichever is longer, `u` the stated uncertainty or the residuals' scatter, whichever is larger. Residuals
/// are taken after the path's own smooth departure from a circle (second to fourth harmonic), which is no error.
fn trace_covariance(trace: &TraceInPixels<'_>, points: &[[f64; 2]], fit: &Fit, scale: f64) -> Matrix3<f64> {
    let circle = &fit.curve;
    let rows: Vec<nalgebra::Vector3<f64>> = points
        .iter()
        .map(|p| {
            let (dx, dy) = (p[0] - circle.centre[0], p[1] - circle.centre[1]);
            let d = dx.hypot(dy).max(1e-12);
            nalgebra::Vector3::new(dx / d, dy / d, 1.0)
        })
        .collect();
    let mut normal = Matrix3::zeros();
    for (j, w) in rows.iter().zip(&fit.weights) {
        normal += j * j.transpose() * *w;
    }
    let Some(inverse) = normal.try_inverse() else { return Matrix3::from_diagonal_element(f64::MAX) };
    let way = way_along(points);
    let (left, rough) = without_shape(points, fit);
    let length = (trace.correlation_px / scale.max(1e-9)).max(likeness(&left, &way, fit));
    let u = |k: usize| {
        let stated = trace.u_px.get(k).copied().unwrap_or(0.0) / scale.max(1e-9);
        stated.max(rough)
    };
    let scaled: Vec<nalgebra::Vector3<f64>> =
        rows.iter().zip(&fit.weights).enumerate().map(|(k, (row, w))| row * (*w * u(k))).collect();
    let alike = alike_sums(&scaled, &way, length);
    let middle = scaled.iter().zip(&alike).map(|(own, sum)| own * sum.transpose()).sum::<Matrix3<f64>>();
    inverse * middle * inverse
}

/// `Σₖ vₖ exp(−|sᵢ − sₖ| / ℓ)` for each i, in one pass forwards and one back: each is a geometric sum along the way, which
/// only grows. A ring of a large photograph has thousands of points, and follows the hand.
fn alike_sums(values: &[nalgebra::Vector3<f64>], way: &[f64], length: f64) -> Vec<nalgebra::Vector3<f64>> {
    let fade = |a: f64, b: f64| if length > 0.0 { (-(b - a).abs() / length).exp() } else { 0.0 };
    let mut sums = values.to_vec();
    let places: Vec<(nalgebra::Vector3<f64>, f64)> =
        values.iter().copied().zip(way.iter().copied()).collect();
    let mut pass = |order: &mut dyn Iterator<Item = usize>| {
        let mut carried = nalgebra::Vector3::zeros();
        let mut before = 0.0;
        for k in order {
            let (Some((own, at)), Some(sum)) = (places.get(k), sums.get_mut(k)) else { continue };
            carried *= fade(before, *at);
            *sum += carried;
            carried += own;
            before = *at;
        }
    };
    pass(&mut (0..values.len()));
    pass(&mut (0..values.len()).rev());
    sums
}

/// Residuals without the harmonics up to the fourth, and their root mean square.
fn without_shape(points: &[[f64; 2]], fit: &Fit) -> (Vec<f64>, f64) {
    let c = fit.curve.centre;
    let row = |p: &[f64; 2]| {
        let t = (p[1] - c[1]).atan2(p[0] - c[0]);
        nalgebra::SVector::<f64, 9>::from_fn(|k, _| {
            let order = k.div_ceil(2) as f64;
            if k % 2 == 1 { (order * t).sin() } else { (order * t).cos() }
        })
    };
    let mut normal = nalgebra::SMatrix::<f64, 9, 9>::from_diagonal_element(1e-6);
    let mut right = nalgebra::SVector::<f64, 9>::zeros();
    for (p, w) in points.iter().zip(&fit.weights) {
        normal += row(p) * row(p).transpose() * *w;
        right += row(p) * (*w * fit.curve.distance(*p));
    }
    let shape = normal.cholesky().map(|f| f.solve(&right)).unwrap_or_default();
    let left: Vec<f64> = points.iter().map(|p| fit.curve.distance(*p) - row(p).dot(&shape)).collect();
    let n: f64 = fit.weights.iter().sum();
    let sum: f64 = left.iter().zip(&fit.weights).map(|(l, w)| w * l * l).sum();
    (left, (sum / (n - 9.0).max(1.0)).sqrt())
}

/// Part of the full turn on which no point lies, in steps of 6°.
fn unseen(points: &[[f64; 2]], fit: &Fit) -> f64 {
    let mut seen = [false; 60];
    for (p, w) in points.iter().zip(&fit.weights) {
        let t = (p[1] - fit.curve.centre[1]).atan2(p[0] - fit.curve.centre[0]);
        let bin = ((t / std::f64::consts::TAU).rem_euclid(1.0) * 60.0) as usize;
        if *w > 0.0
            && let Some(s) = seen.get_mut(bin)
        {
            *s = true;
        }
    }
    seen.iter().filter(|s| !**s).count() as f64 / 60.0
}

/// Length along the beam from the first point to each.
fn way_along(points: &[[f64; 2]]) -> Vec<f64> {
    let mut sum = 0.0;
    let mut before: Option<[f64; 2]> = None;
    points
        .iter()
        .map(|p| {
            sum += before.map_or(0.0, |b| (p[0] - b[0]).hypot(p[1] - b[1]));
            before = Some(*p);
            sum
        })
        .collect()
}

/// Length over which the residuals stay alike: the lag-one correlation of neighbours read as an exponential.
fn likeness(residuals: &[f64], way: &[f64], fit: &Fit) -> f64 {
    let (mut product, mut power, mut step, mut n) = (0.0, 0.0, 0.0, 0.0);
    for (k, pair) in residuals.windows(2).enumerate() {
        let w = fit.weights.get(k).copied().unwrap_or(0.0) * fit.weights.get(k + 1).copied().unwrap_or(0.0);
        let (Some(a), Some(b)) = (way.get(k), way.get(k + 1)) else { continue };
        product += w * pair[0] * pair[1];
        power += w * (pair[0] * pair[0] + pair[1] * pair[1]) / 2.0;
        step += w * (b - a);
        n += w;
    }
    if power <= 0.0 || n <= 0.0 {
        return 0.0;
    }
    // neighbours that never differ would be alike for ever: the ring itself sets the longest length
    let rho = (product / power).clamp(0.0, 0.99);
    let longest = 0.5 * fit.curve.radius;
    if rho <= 0.0 { 0.0 } else { (-(step / n) / rho.ln()).min(longest) }
}

#[cfg(test)]
mod tests {
    use super::*;
    use nalgebra::Vector3;

    #[test]
    fn sums_of_likeness_are_those_of_every_pair() {
        let values: Vec<Vector3<f64>> =
            (0..40).map(|k| Vector3::new(f64::from(k).sin(), f64::from(k * k).cos(), 1.0)).collect();
        let way: Vec<f64> = (0..40).map(|k| 0.3 * f64::from(k) + 0.1 * f64::from(k).sin()).collect();
        for length in [0.0, 0.7, 40.0] {
            let sums = alike_sums(&values, &way, length);
            for (i, sum) in sums.iter().enumerate() {
                let pairs = values.iter().enumerate().map(|(k, v)| {
                    let alike = match (i == k, length > 0.0) {
                        (true, _) => 1.0,
                        (false, true) => (-(way[k] - way[i]).abs() / length).exp(),
                        (false, false) => 0.0,
                    };
                    v * alike
                });
                let all = pairs.sum::<Vector3<f64>>();
                // rounding of forty terms
                assert!((sum - all).norm() < 1e-13, "{length}, {i}: {sum} and {all}");
            }
        }
    }
}
