//! The ring that a person marked: the line followed about the marked points, or the circle through them alone.

use nalgebra::{DMatrix, DVector};

use crate::band::{Band, Eyes, Reach, circle_through, ellipses_through};
use crate::error::{PhotoCaveat, PhotoError};
use crate::picture::Picture;
use crate::ring::{RingHints, RingTrace, TracePoint, holds};
use crate::ring_ellipse::Ellipse;

/// Points that fix a circle.
pub const FEWEST_BY_HAND: usize = 3;
/// Long side of a picture as a person sees it on a screen, and standard deviation of a click there, in its pixels (our judgement,
/// no source; a finger on glass is worse, and may zoom in).
const SCREEN_PX: f64 = 1200.0;
const CLICK_ON_SCREEN_PX: f64 = 3.0;
/// Half-width of the band in which the line is looked for, in parts of the radius, least and most.
const BAND: [f64; 2] = [0.08, 0.2];
/// The followed ellipse passes the marked points by no more than this many of their standard uncertainties.
const NEAR: f64 = 4.0;
/// Least part of the open turn on which the line must be seen to be followed.
const LEAST_SEEN: f64 = 0.12;
/// Least height of the line over the clutter.
const LEAST_SIGNIFICANCE: f64 = 3.0;
/// Standard deviation expected of the ring's elongation, in parts of the radius: 0.06 is a camera 28° off the axis.
const ELONGATION: f64 = 0.06;
/// What a slant of one standard deviation costs against the merit of the line seen.
const ROUNDER: f64 = 0.05;
/// Points into which the circle through the marks alone is cut.
const CUT: usize = 60;

/// Standard uncertainty of a point that a person set on a picture of this size, in pixels across.
pub fn click_u_px(width: usize, height: usize) -> f64 {
    (CLICK_ON_SCREEN_PX * width.max(height) as f64 / SCREEN_PX).max(1.5)
}

/// The ring that a person marked with three points or more on the beam.
///
/// The line is looked for within a band about the circle, or a slanted ring, through the points, in the mixture of channels
/// that shows it best. Where none is seen there, the circle through the points is the ring.
///
/// - **Takes** the marked points in pixels, in any order, as [`RingHints::beam_points_px`].
/// - **Gives** a trace with caveat `ring-by-hand`; never another line than the one marked.
/// - **Fails** only with fewer than [`FEWEST_BY_HAND`] points, or where they lie on no circle.
pub fn ring_by_hand(picture: &Picture, hints: &RingHints) -> Result<RingTrace, PhotoError> {
    let points = &hints.beam_points_px;
    let none = |why: &str| PhotoError::NoRing { why: why.into() };
    if points.len() < FEWEST_BY_HAND {
        return Err(none(&format!("{} of {FEWEST_BY_HAND} points are marked", points.len())));
    }
    let circle = circle_through(points).ok_or_else(|| none("the marked points lie on one straight line"))?;
    let u_px = click_u_px(picture.width(), picture.height());
    let mut trace =
        followed(picture, hints, circle, u_px).unwrap_or_else(|| through_marks(points, circle, u_px));
    trace.caveats.push(said(points.len(), trace.beam_width_px[0] > 0.0));
    Ok(trace)
}

/// The line near the marks, where one is seen.
fn followed(picture: &Picture, hints: &RingHints, circle: Ellipse, u_px: f64) -> Option<RingTrace> {
    let marks = &hints.beam_points_px;
    let allowed = |x: f64, y: f64| !hints.leave_out.iter().any(|polygon| holds(polygon, x, y));
    let u_radius = radius_u(marks, &circle, u_px);
    let part = (2.5 * u_radius[2].min(circle.r) / circle.r + 0.04).clamp(BAND[0], BAND[1]);
    let quick = Reach { part: part.min(0.1), stations: 72, elongation: ELONGATION };
    let starts = if marks.len() > 5 {
        let weighted: Vec<_> =
            marks.iter().map(|p| crate::ring_ellipse::Weighted { x: p[0], y: p[1], weight: 1.0 }).collect();
        circle.fitted(&weighted, ELONGATION * circle.r / u_px, 20).into_iter().chain([circle]).collect()
    } else {
        ellipses_through(marks)
    };
    // mixture and width that show the line about the circle do so about every other ellipse through the marks
    let first = Band::about(picture, circle, Reach { part, ..quick }, Eyes::Any, &allowed)?;
    let looked = starts.iter().filter_map(|start| {
        let band = Band::about(picture, *start, quick, Eyes::Known(first.look()), &allowed)?;
        // of two that show the line alike the rounder one is likelier
        let slant = start.p.hypot(start.q) / start.r / ELONGATION;
        Some((band.merit() - ROUNDER * slant * slant, *start))
    });
    let start = looked.max_by(|a, b| a.0.total_cmp(&b.0)).map_or(circle, |best| best.1);
    let reach = Reach { part, stations: 360, elongation: ELONGATION };
    let band = Band::settled(picture, start, reach, (marks, u_px), &allowed)?;
    if band.seen() < LEAST_SEEN * band.open() || band.significance() < LEAST_SIGNIFICANCE {
        return None;
    }
    let settled = band.read(ELONGATION)?;
    let passes =
        |p: &[f64; 2]| settled.ellipse.distance(p[0], p[1]).abs() < NEAR * u_px + 1.5 * band.sigma_px;
    marks.iter().all(passes).then(|| band.measured(picture, &settled, &allowed))
}

/// Standard uncertainties of centre and radius of the circle through points of uncertainty `u_px` along its normals.
fn radius_u(points: &[[f64; 2]], circle: &Ellipse, u_px: f64) -> [f64; 3] {
    let rows = DMatrix::from_fn(points.len(), 3, |i, k| {
        let (dx, dy) = (points[i][0] - circle.cx, points[i][1] - circle.cy);
        let r = dx.hypot(dy).max(1e-9);
        [dx / r, dy / r, 1.0][k]
    });
    let normal = rows.transpose() * &rows;
    let inverse =
        normal.try_inverse().unwrap_or_else(|| DMatrix::from_diagonal(&DVector::from_element(3, 1e6)));
    [0, 1, 2].map(|k| u_px * inverse[(k, k)].max(0.0).sqrt())
}

/// The circle through the marks alone, cut into points over the arc that they span.
fn through_marks(marks: &[[f64; 2]], circle: Ellipse, u_px: f64) -> RingTrace {
    let angle = |p: &[f64; 2]| (p[1] - circle.cy).atan2(p[0] - circle.cx);
    let mut angles: Vec<f64> = marks.iter().map(angle).collect();
    angles.sort_by(f64::total_cmp);
    let (gap, after) = widest_gap(&angles);
    let first = angles.get(after).copied().unwrap_or(0.0);
    let arc = std::f64::consts::TAU - gap;
    let [_, _, u_radius] = radius_u(marks, &circle, u_px);
    let point = |k: usize| {
        let along = arc * k as f64 / (CUT - 1) as f64;
        let (sin, cos) = (first + along).sin_cos();
        TracePoint {
            x_px: circle.cx + circle.r * cos,
            y_px: circle.cy + circle.r * sin,
            normal: [cos, sin],
            u_px,
            width_px: 0.0,
            edges_px: [0.0; 2],
            brightness: 0.0,
            s_px: circle.r * along,
            accepted: true,
        }
    };
    let off = marks.iter().map(|p| circle.distance(p[0], p[1]).powi(2)).sum::<f64>();
    RingTrace {
        points: (0..CUT).map(point).collect(),
        muzzle_px: None,
        travel_known: false,
        arc_seen_deg: arc.to_degrees(),
        ellipse: circle,
        centre_px: [circle.cx, circle.cy],
        semi_axes_px: [circle.r; 2],
        axis_angle_deg: 0.0,
        beam_width_px: [0.0; 2],
        edges_px: [[0.0; 2]; 2],
        correlation_length_px: circle.r * arc / marks.len() as f64,
        effective_points: marks.len() as f64,
        scatter_px: (off / marks.len() as f64).sqrt(),
        out_of_ellipse_px: 0.0,
        slow_u_px: u_px / (marks.len() as f64).sqrt(),
        // the marks' errors move the radius of all these points together
        common_u_px: u_radius,
        channel_weights: [0.0, 1.0, 0.0],
        rejected: Vec::new(),
        caveats: Vec::new(),
    }
}

fn said(marks: usize, is_followed: bool) -> PhotoCaveat {
    let (sentence, remedy) = if is_followed {
        (
            format!(
                "the beam was marked by hand with {marks} points and followed about the circle through them"
            ),
            "check the points found on the photograph",
        )
    } else {
        (
            format!(
                "no bright line was seen about the {marks} points marked by hand; the ring is the circle through them"
            ),
            "mark more points, spread over the whole ring, or darken the room and photograph again",
        )
    };
    PhotoCaveat::new("ring-by-hand", sentence, remedy)
}

/// The widest gap between neighbouring angles, radians, and the index of the point after it.
fn widest_gap(sorted: &[f64]) -> (f64, usize) {
    let n = sorted.len().max(1);
    (0..sorted.len())
        .map(|k| {
            let before = sorted.get((k + n - 1) % n).copied().unwrap_or(0.0);
            ((sorted.get(k).copied().unwrap_or(0.0) - before).rem_euclid(std::f64::consts::TAU), k)
        })
        .max_by(|a, b| a.0.total_cmp(&b.0))
        .unwrap_or((0.0, 0))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn blank() -> Picture {
        Picture::from_rgb8(800, 600, vec![20; 800 * 600 * 3]).expect("a grey picture")
    }

    fn hints(points: &[[f64; 2]]) -> RingHints {
        RingHints { beam_points_px: points.to_vec(), ..RingHints::default() }
    }

    #[test]
    fn three_points_on_a_blank_picture_make_a_ring_and_two_do_not() {
        let on = |degrees: f64| {
            let (s, c) = degrees.to_radians().sin_cos();
            [400.0 + 150.0 * c, 300.0 + 150.0 * s]
        };
        let points: Vec<[f64; 2]> = [200.0, 10.0, 60.0].map(on).to_vec();
        let ring = ring_by_hand(&blank(), &hints(&points)).expect("three points");
        assert!((ring.semi_axes_px[0] - 150.0).abs() < 1e-6 && (ring.centre_px[1] - 300.0).abs() < 1e-6);
        assert!((ring.arc_seen_deg - 190.0).abs() < 1e-6, "{}", ring.arc_seen_deg);
        assert!(ring.points.windows(2).all(|w| w[1].s_px > w[0].s_px));
        assert!(ring.caveats.iter().any(|c| c.code == "ring-by-hand"));
        assert!(ring.common_u_px > 1.0, "clicks scatter: {}", ring.common_u_px);
        assert!(ring_by_hand(&blank(), &hints(&points[..2])).is_err());
        let line: Vec<[f64; 2]> = (0..6).map(|k| [f64::from(k), 2.0 * f64::from(k)]).collect();
        assert!(ring_by_hand(&blank(), &hints(&line)).is_err(), "a line is no ring");
    }
}
