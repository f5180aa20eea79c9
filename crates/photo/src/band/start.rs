//! Ellipses through points that a person clicked, to begin with.

use crate::normal::Normal;
use crate::ring_ellipse::Ellipse;

/// Algebraic circle through three points or more, only a start: minimises `Σ (x² + y² + D x + E y + F)²`.
pub(crate) fn circle_through(points: &[[f64; 2]]) -> Option<Ellipse> {
    let n = points.len() as f64;
    let mean = [0, 1].map(|k| points.iter().map(|p| p[k]).sum::<f64>() / n);
    let mut sums = Normal::<3>::new();
    for p in points {
        let (x, y) = (p[0] - mean[0], p[1] - mean[1]);
        sums.add([x, y, 1.0], 1.0, x * x + y * y);
    }
    let s = sums.matrix().cholesky()?.solve(&sums.right());
    let (cx, cy) = (0.5 * s.x, 0.5 * s.y);
    let r = (s.z + cx * cx + cy * cy).sqrt();
    let circle = Ellipse::circle(cx + mean[0], cy + mean[1], r);
    circle.is_sound(3.0).then_some(circle)
}

/// Elongations of a ring seen at up to some 40° from its axis, in parts of the mean semi-axis: `(1 − cos) / (1 + cos)`.
const ELONGATIONS: [f64; 3] = [0.03, 0.07, 0.12];
/// Directions of the major axis, over half a turn.
const DIRECTIONS: usize = 6;

/// The circle through the points and ellipses of other elongations through them: rings are seen at a slant.
///
/// Each elongation and direction is undone, the circle drawn, and both put back.
pub(crate) fn ellipses_through(points: &[[f64; 2]]) -> Vec<Ellipse> {
    let mut all: Vec<Ellipse> = circle_through(points).into_iter().collect();
    for part in ELONGATIONS {
        for k in 0..DIRECTIONS {
            let (sin, cos) = (std::f64::consts::TAU * k as f64 / DIRECTIONS as f64).sin_cos();
            all.extend(elongated_through(points, part * cos, part * sin));
        }
    }
    all
}

/// The ellipse `c + r [[1 + p, q], [q, 1 − p]] (cos t, sin t)` through the points.
pub(crate) fn elongated_through(points: &[[f64; 2]], p: f64, q: f64) -> Option<Ellipse> {
    let determinant = 1.0 - p * p - q * q;
    let undone =
        |[x, y]: &[f64; 2]| [((1.0 - p) * x - q * y) / determinant, ((1.0 + p) * y - q * x) / determinant];
    let circle = circle_through(&points.iter().map(undone).collect::<Vec<_>>())?;
    let r = circle.r;
    Some(Ellipse {
        cx: (1.0 + p) * circle.cx + q * circle.cy,
        cy: q * circle.cx + (1.0 - p) * circle.cy,
        r,
        p: p * r,
        q: q * r,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn three_points_of_a_slanted_ring_have_it_among_their_ellipses() {
        let ring = Ellipse { cx: 300.0, cy: 200.0, r: 80.0, p: 80.0 * 0.07, q: 0.0 };
        let points: Vec<[f64; 2]> = [0.4, 2.3, 4.6].map(|t| ring.point(t)).to_vec();
        let near = |e: &Ellipse| (e.cx - ring.cx).hypot(e.cy - ring.cy) + (e.r - ring.r).abs() < 1e-6;
        assert!(ellipses_through(&points).iter().any(near));
    }
}
