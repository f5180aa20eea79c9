//! A ring from points marked by hand alone, where the machine finds none.

use arcmass_fit::{Scatter, fit_circle};

use crate::error::PhotoCaveat;
use crate::ring::{RingTrace, TracePoint};
use crate::ring_ellipse::Ellipse;

/// Points that fix a circle and show how well they lie on it.
pub const FEWEST_BY_HAND: usize = 5;
/// Standard uncertainty of a point that a person sets on the beam, in pixels (our judgement, no source).
const HAND_U_PX: f64 = 1.5;

/// The ring through points that a person set on the beam's centre line.
///
/// - **Takes** points in pixels, in any order.
/// - **Gives** a trace of these points alone, with a caveat; none with fewer than [`FEWEST_BY_HAND`] or where they lie on no
///   circle.
pub fn ring_by_hand(points_px: &[[f64; 2]]) -> Option<RingTrace> {
    if points_px.len() < FEWEST_BY_HAND {
        return None;
    }
    let circle = fit_circle(points_px, None, Scatter::FromResiduals).ok()?;
    let [cx, cy] = circle.centre;
    let radius = circle.radius;
    if !(radius.is_finite() && radius > 4.0 && circle.rms < 0.2 * radius) {
        return None;
    }
    let angle = |p: &[f64; 2]| (p[1] - cy).atan2(p[0] - cx);
    let mut order: Vec<[f64; 2]> = points_px.to_vec();
    order.sort_by(|a, b| angle(a).total_cmp(&angle(b)));
    let widest = widest_gap(&order.iter().map(angle).collect::<Vec<_>>());
    // the arc begins after the widest gap
    order.rotate_left(widest.1);
    let first = order.first().map_or(0.0, angle);
    let arc = std::f64::consts::TAU - widest.0;
    let point = |p: &[f64; 2]| {
        let (sin, cos) = angle(p).sin_cos();
        TracePoint {
            x_px: p[0],
            y_px: p[1],
            normal: [cos, sin],
            u_px: HAND_U_PX.max(circle.rms),
            width_px: 0.0,
            edges_px: [0.0; 2],
            brightness: 0.0,
            s_px: radius * (angle(p) - first).rem_euclid(std::f64::consts::TAU),
            accepted: true,
        }
    };
    Some(RingTrace {
        points: order.iter().map(point).collect(),
        muzzle_px: None,
        travel_known: false,
        arc_seen_deg: arc.to_degrees(),
        ellipse: Ellipse::circle(cx, cy, radius),
        centre_px: circle.centre,
        semi_axes_px: [radius; 2],
        axis_angle_deg: 0.0,
        beam_width_px: [0.0; 2],
        edges_px: [[0.0; 2]; 2],
        correlation_length_px: 0.0,
        effective_points: points_px.len() as f64,
        scatter_px: circle.rms,
        out_of_ellipse_px: 0.0,
        slow_u_px: HAND_U_PX,
        common_u_px: 0.0,
        channel_weights: [0.0, 1.0, 0.0],
        rejected: Vec::new(),
        caveats: vec![PhotoCaveat::new(
            "ring-by-hand",
            format!(
                "the beam was not found by itself; the ring stands on the {} points marked by hand",
                points_px.len()
            ),
            "darken the room or expose for longer and photograph again, or mark more points",
        )],
    })
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

    #[test]
    fn points_on_a_circle_make_a_ring_and_fewer_do_not() {
        let on = |degrees: f64| {
            let (s, c) = degrees.to_radians().sin_cos();
            [400.0 + 150.0 * c, 300.0 + 150.0 * s]
        };
        let points: Vec<[f64; 2]> = [200.0, 10.0, 60.0, 110.0, 150.0, 330.0].map(on).to_vec();
        let ring = ring_by_hand(&points).expect("six points");
        assert!((ring.semi_axes_px[0] - 150.0).abs() < 1e-6 && (ring.centre_px[1] - 300.0).abs() < 1e-6);
        assert!((ring.arc_seen_deg - 230.0).abs() < 1e-6, "{}", ring.arc_seen_deg);
        assert!(ring.points.windows(2).all(|w| w[1].s_px > w[0].s_px));
        assert!(ring.caveats.iter().any(|c| c.code == "ring-by-hand"));
        assert!(ring_by_hand(&points[..4]).is_none());
        let line: Vec<[f64; 2]> = (0..6).map(|k| [f64::from(k), 2.0 * f64::from(k)]).collect();
        assert!(ring_by_hand(&line).is_none(), "a line is no ring");
    }
}
