//! The tilt of a plane of which only a few points are known, from the ring that lies parallel to it and is round.

use super::model::{FACING_U, LN_SCALE};
use super::{Model, ScalePlane, best_pose, finish};
use crate::ring_ellipse::Ellipse;

/// A ring as it is seen, and how round it truly is.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct SeenRing {
    pub(super) ellipse: Ellipse,
    /// Standard uncertainty of its elongation on the plane, in parts of its radius.
    pub(super) elongation_u: f64,
}

/// A path in a real field is round to this (stray field, fall-off and an open path stretch it by some 0.5 % of its radius).
const ROUND_U: f64 = 0.005;
/// Points on the ellipse that are carried to the plane.
const POINTS: usize = 48;

/// Elongation, along the plane's axes and along their diagonal, of an ellipse of the picture carried to the plane, in parts of
/// its mean semi-axis; none beyond the horizon.
pub(super) fn elongation(
    ellipse: &Ellipse,
    place: impl Fn([f64; 2]) -> Option<[f64; 2]>,
) -> Option<[f64; 2]> {
    let mut a = [[0.0; 2]; 2];
    for k in 0..POINTS {
        let t = std::f64::consts::TAU * k as f64 / POINTS as f64;
        let p = place(ellipse.point(t))?;
        for (row, value) in a.iter_mut().zip(p) {
            row[0] += value * t.cos();
            row[1] += value * t.sin();
        }
    }
    let moment = |i: usize, j: usize| a[i][0] * a[j][0] + a[i][1] * a[j][1];
    let sum = moment(0, 0) + moment(1, 1);
    (sum > 0.0).then(|| [0.5 * (moment(0, 0) - moment(1, 1)) / sum, moment(0, 1) / sum])
}

impl ScalePlane {
    /// Whether its tilt rests on the assumption that it faces the camera: only a few points of the scale are known.
    pub fn is_facing_assumed(&self) -> bool {
        self.model.is_few
    }

    /// The same plane with its tilt from a round ring parallel to it.
    ///
    /// - **Takes** the ring's ellipse in the picture and the standard uncertainty of its semi-axes in pixels.
    /// - **Gives** the plane on which the ring is round within 0.5 % and its own uncertainty; none where no camera sees it so.
    pub fn parallel_to(&self, ellipse: &Ellipse, u_px: f64) -> Option<Self> {
        let elongation_u = ROUND_U.hypot(u_px / ellipse.r.max(1e-9));
        let model = self.model.beside(SeenRing { ellipse: *ellipse, elongation_u });
        let (rough, ambiguous) = best_pose(&model)?;
        // where the ring is seen nearly round its elongation goes with the square of the tilt and says no more than this
        let tilt_u = rough.covariance[(0, 0)].max(rough.covariance[(1, 1)]).max(0.0).sqrt();
        let model: Model = model.tilted_as(&rough.unknowns, tilt_u.min(2.0 * elongation_u.sqrt()));
        let (solved, _) = best_pose(&model)?;
        let size_px = model.size_px();
        let mut plane = finish(model, &solved, size_px)?;
        plane.slant_relative_u = elongation_u;
        plane.caveats.clone_from(&self.caveats);
        if ambiguous && let Some(half) = self.between_signs(&plane, ellipse) {
            // either tilt may be true: the size half-way errs least
            let mut unknowns = plane.unknowns.clone();
            *unknowns.get_mut(LN_SCALE)? -= half;
            let causes = std::mem::take(&mut plane.causes);
            plane = Self { causes, ..plane.with(unknowns, plane.motion)? };
            plane.slant_relative_u = plane.slant_relative_u.hypot(half);
        }
        Some(plane)
    }

    /// Half of what the opposite tilt would change in ln(pixels a millimetre) at the ring; this tilt's less the other's.
    fn between_signs(&self, plane: &Self, ellipse: &Ellipse) -> Option<f64> {
        let mut other = plane.unknowns.clone();
        other.iter_mut().take(2).for_each(|tilt| *tilt = -*tilt);
        let turned = plane.model.tilted_as(&other, 0.3 * FACING_U);
        let size = |plane: &Self| -> Option<f64> {
            let [a, b] = plane.px_per_mm(plane.to_plane([ellipse.cx, ellipse.cy])?)?;
            Some(a.max(b))
        };
        let size_px = turned.size_px();
        let (solved, _) = best_pose(&turned)?;
        let opposite = finish(turned, &solved, size_px)?;
        Some((0.5 * (size(plane)? / size(&opposite)?).ln()).clamp(-0.05, 0.05))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_elongation_of_an_ellipse_on_a_plane_that_undoes_it_is_nought() {
        let ring = Ellipse { cx: 10.0, cy: -4.0, r: 50.0, p: 5.0, q: 2.0 };
        let same = elongation(&ring, Some).expect("in the picture's own plane");
        assert!((same[0] - 0.1 / 1.0116).abs() < 2e-3 && same[1] > 0.03, "{same:?}");
        let determinant = ring.r * ring.r - ring.p * ring.p - ring.q * ring.q;
        let undone = |[x, y]: [f64; 2]| {
            let (dx, dy) = (x - ring.cx, y - ring.cy);
            Some([
                ((ring.r - ring.p) * dx - ring.q * dy) / determinant,
                ((ring.r + ring.p) * dy - ring.q * dx) / determinant,
            ])
        };
        let round = elongation(&ring, undone).expect("a circle");
        assert!(round.iter().all(|part| part.abs() < 1e-12), "{round:?}");
    }
}
