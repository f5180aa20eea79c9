//! The ring in millimetres: the beam's centre line carried to the scale's plane, and a circle through it.

use std::f64::consts::TAU;

use arcmass_fit::{Circle, Loss, Scatter, fit_circle, fit_circle_robust};

use super::turn::{Departure, Sizes, Spans, Turn, TurnHints, spans};
use crate::error::PhotoError;
use crate::plane::ScalePlane;

/// The beam's centre line as measured on the photograph, in order along the beam.
#[derive(Debug, Clone, Copy)]
pub struct TraceInPixels<'a> {
    /// Points in pixels.
    pub points_px: &'a [[f64; 2]],
    /// Standard uncertainty of each point across the beam, in pixels; empty if the scatter alone is to tell.
    pub u_px: &'a [f64],
}

/// The seen ring in the scale's plane.
///
/// Lengths in millimetres in the plane's frame (see [`ScalePlane`]); pixels as in the photograph.
#[derive(Debug, Clone, PartialEq)]
pub struct RingInPlane {
    /// Diameter of the orthogonal-distance circle through the seen centre line, from the muzzle round to the gun.
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

/// Fits the circle to a trace carried to the plane; see [`ring_of_turn`], which knows more of the trace.
pub fn ring_in_plane(trace: TraceInPixels<'_>, plane: &ScalePlane) -> Result<RingInPlane, PhotoError> {
    ring_of_turn(trace, &TurnHints::default(), plane)
}

/// Fits the circle of the path from the muzzle round to the gun to a trace carried to the plane.
///
/// The path need not close, and frame or other things hide parts of it, so the circle through what is seen is not that of
/// the whole path: with a tilted camera or gun they differ by 0.1 % and more. The path's slow departure from the circle is
/// fitted where it is seen and carried on over hidden parts, with priors that say how large it usually is.
///
/// - **Takes** the trace in pixels, points in order along the beam, and where the path begins.
/// - **Gives** the circle with the uncertainty left by the points' errors (alike along the beam as the residuals show), by
///   slow errors of the centre line and by the hidden part.
/// - **Fails** with [`PhotoError::NoRing`] if the points lie beyond the plane's horizon or on no circle.
pub fn ring_of_turn(
    trace: TraceInPixels<'_>,
    hints: &TurnHints,
    plane: &ScalePlane,
) -> Result<RingInPlane, PhotoError> {
    let none = |why: &str| PhotoError::NoRing { why: why.into() };
    let points = plane
        .all_to_plane(trace.points_px)
        .ok_or_else(|| none("the scale's plane does not reach the beam"))?;
    let fit = circle(&points).ok_or_else(|| none("the beam's points lie on no circle"))?;
    let seen = fit.curve;
    let scale = plane.px_per_mm(seen.centre).map_or(0.0, |s| (s[0] + s[1]) / 2.0);
    let mm = |px: f64| px / scale.max(1e-9);
    let around = Around::of(&points, &fit, hints, plane);
    let point_u = mm(crate::ring_curve::median(trace.u_px.to_vec()));
    let sizes = Sizes { radius: seen.radius, point_u, slow_u: mm(hints.slow_u_px) };
    let turn = Turn::completed(&around.departures(&points, &fit), around.spans, sizes)
        .ok_or_else(|| none("too few points of the beam lie on a circle"))?;
    let shift = around.to_plane([turn.change[0], turn.change[1]]);
    let centre = [seen.centre[0] + shift[0], seen.centre[1] + shift[1]];
    let radius = seen.radius + turn.change[2];
    let centre_px = plane.to_px(centre).ok_or_else(|| none("the ring's centre is not in view"))?;
    let residuals: Vec<f64> =
        points.iter().map(|p| (p[0] - centre[0]).hypot(p[1] - centre[1]) - radius).collect();
    let used: Vec<bool> = fit.weights.iter().map(|w| *w > 0.0).collect();
    let u_trace = 2.0 * turn.u[2].hypot(mm(hints.common_u_px));
    let (u_plane, u_centre) = plane_parts(&trace, plane, &fit, &around, &turn);
    let u_plane = u_plane.hypot(2.0 * radius * plane.slant_relative_u);
    let u_own = around.to_plane([turn.u[0], turn.u[1]]);
    Ok(RingInPlane {
        diameter_mm: 2.0 * radius,
        u_diameter_mm: u_trace.hypot(u_plane),
        u_trace_mm: u_trace,
        u_plane_mm: u_plane,
        centre_mm: centre,
        u_centre_mm: [0, 1].map(|k| u_own[k].hypot(u_centre[k])),
        centre_px,
        towards_camera: direction(centre, plane.camera_mm),
        scale_px_per_mm: scale,
        outline_px: outline(centre, radius, plane),
        rms_mm: rms(&residuals, &used),
        residuals_mm: residuals,
        used,
    })
}

fn rms(residuals: &[f64], used: &[bool]) -> f64 {
    let counted = || residuals.iter().zip(used).filter(|(_, u)| **u).map(|(r, _)| r * r);
    (counted().sum::<f64>() / counted().count().max(1) as f64).sqrt()
}

/// How angles are counted about the seen circle: from the path's beginning, in the order of the points.
struct Around {
    /// Direction of angle 0 on the plane, and the sense of counting.
    zero: f64,
    sense: f64,
    /// Angles down to this far before the beginning are counted as negative.
    margin: f64,
    spans: Spans,
}

impl Around {
    fn of(points: &[[f64; 2]], fit: &Fit, hints: &TurnHints, plane: &ScalePlane) -> Self {
        let c = fit.curve.centre;
        let place = |p: &[f64; 2]| (p[1] - c[1]).atan2(p[0] - c[0]);
        let used = points.iter().zip(&fit.weights).filter(|(_, w)| **w > 0.0).map(|(p, _)| place(p));
        let angles = unwrapped(used);
        let (Some(&first), Some(&last)) = (angles.first(), angles.last()) else {
            return Self { zero: 0.0, sense: 1.0, margin: 0.0, spans: spans(0.0, 0.0, false) };
        };
        let sense = if last < first { -1.0 } else { 1.0 };
        let (first, arc) =
            if hints.travel_known { (first, (last - first).abs()) } else { after_widest_gap(&angles, sense) };
        let gap = (TAU - arc).max(0.0);
        let muzzle = hints.muzzle_px.and_then(|px| plane.to_plane(px)).map(|p| place(&p));
        let before = match muzzle.filter(|_| hints.travel_known) {
            Some(m) => wrapped(sense * (first - m)).clamp(0.0, gap),
            // the gun stands at either end of the gap
            None if !hints.travel_known => 0.5 * gap,
            None => 0.0,
        };
        Self {
            zero: first - sense * before,
            sense,
            margin: 0.5 * (gap - before),
            spans: spans(before, before + arc, hints.travel_known),
        }
    }

    fn departures(&self, points: &[[f64; 2]], fit: &Fit) -> Vec<Departure> {
        let c = fit.curve.centre;
        let used = points.iter().zip(&fit.weights).filter(|(_, w)| **w > 0.0).map(|(p, _)| p);
        used.map(|p| {
            let angle = self.sense * ((p[1] - c[1]).atan2(p[0] - c[0]) - self.zero);
            Departure {
                angle: (angle + self.margin).rem_euclid(TAU) - self.margin,
                distance: (p[0] - c[0]).hypot(p[1] - c[1]) - fit.curve.radius,
            }
        })
        .collect()
    }

    /// From (along angle 0, along a quarter of a turn) to the plane's axes.
    fn to_plane(&self, [along, across]: [f64; 2]) -> [f64; 2] {
        let (s, c) = self.zero.sin_cos();
        [along * c - self.sense * across * s, along * s + self.sense * across * c]
    }
}

/// The angle after the widest gap, in the sense of counting, and the arc from there to the gap.
fn after_widest_gap(angles: &[f64], sense: f64) -> (f64, f64) {
    let mut along: Vec<f64> = angles.iter().map(|a| (sense * a).rem_euclid(TAU)).collect();
    along.sort_by(f64::total_cmp);
    let next = along.iter().cycle().skip(1);
    let gaps = along.iter().zip(next).map(|(a, b)| ((b - a).rem_euclid(TAU), *b));
    let (gap, after) = gaps.max_by(|a, b| a.0.total_cmp(&b.0)).unwrap_or((TAU, 0.0));
    (sense * after, TAU - gap)
}

fn wrapped(angle: f64) -> f64 {
    angle - TAU * (angle / TAU).round()
}

/// Angles with whole turns added so that neighbours stay neighbours.
fn unwrapped(angles: impl Iterator<Item = f64>) -> Vec<f64> {
    let mut last: Option<f64> = None;
    angles
        .map(|a| {
            let next = last.map_or(a, |l| l + wrapped(a - l));
            last = Some(next);
            next
        })
        .collect()
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

fn outline(centre: [f64; 2], radius: f64, plane: &ScalePlane) -> Vec<[f64; 2]> {
    (0..=OUTLINE_POINTS)
        .filter_map(|k| {
            let (sin, cos) = (TAU * k as f64 / OUTLINE_POINTS as f64).sin_cos();
            plane.to_px([centre[0] + radius * cos, centre[1] + radius * sin])
        })
        .collect()
}

/// The plane's part: the same points, the same weights, carried by each perturbed plane.
fn plane_parts(
    trace: &TraceInPixels<'_>,
    plane: &ScalePlane,
    fit: &Fit,
    around: &Around,
    turn: &Turn,
) -> (f64, [f64; 2]) {
    let moved = |p: &ScalePlane| {
        let points = p.all_to_plane(trace.points_px)?;
        Some(turn.moved_by(&around.departures(&points, fit)))
    };
    let (mut diameter, mut centre) = (0.0, [0.0_f64; 2]);
    for pair in plane.perturbed() {
        if let (Some(a), Some(b)) = (moved(&pair[0]), moved(&pair[1])) {
            diameter += (a[2] - b[2]).powi(2);
            let apart = around.to_plane([a[0] - b[0], a[1] - b[1]]);
            for (sum, d) in centre.iter_mut().zip(apart) {
                *sum += (d / 2.0).powi(2);
            }
        }
    }
    (diameter.sqrt(), centre.map(f64::sqrt))
}
