//! The tilt of a plane of which only a few points are known, from the ring that lies parallel to it and is round.

use super::model::LN_SCALE;
use super::solve::Solved;
use super::{Model, ScalePlane, best_pose, finish, poses};
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
/// Logarithm of the odds that a bench on a table is photographed from above (our judgement), and the slope from which on that is so.
const FROM_ABOVE: f64 = 1.1;
const LEVEL: f64 = 0.07;
/// Two tilts that differ by more in the logarithm of the ring's size are not weighed against each other further than this.
const MOST_APART: f64 = 0.05;
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
        let (rough, other) = poses(&model)?;
        let mut plane = self.tilted(&model, &rough, elongation_u)?;
        // either tilt may be true: the size between them, by their odds, errs least
        if let Some((other, odds)) = other.and_then(|other| {
            let odds = 0.5 * (other.cost - rough.cost) / rough.scale.max(1.0).powi(2);
            let other = self.tilted(&model, &other, elongation_u)?;
            let from_above = plane.height_over(ellipse)? - other.height_over(ellipse)?;
            Some((other, odds + 0.5 * FROM_ABOVE * from_above))
        }) {
            let part = 1.0 / (1.0 + odds.exp());
            let apart =
                (other.radius_of(ellipse)? / plane.radius_of(ellipse)?).ln().clamp(-MOST_APART, MOST_APART);
            let mut unknowns = plane.unknowns.clone();
            *unknowns.get_mut(LN_SCALE)? -= part * apart;
            let causes = std::mem::take(&mut plane.causes);
            plane = Self { causes, ..plane.with(unknowns, plane.motion)? };
            plane.slant_relative_u = plane.slant_relative_u.hypot((part * (1.0 - part)).sqrt() * apart);
        }
        Some(plane)
    }

    /// The plane with about the tilt of a solution, of which size and place are those of its own points.
    fn tilted(&self, model: &Model, rough: &Solved, elongation_u: f64) -> Option<Self> {
        // where the ring is seen nearly round its elongation goes with the square of the tilt and says no more than this
        let tilt_u = rough.covariance[(0, 0)].max(rough.covariance[(1, 1)]).max(0.0).sqrt();
        let model = model.tilted_as(&rough.unknowns, tilt_u.min(2.0 * elongation_u.sqrt()));
        let (solved, _) = best_pose(&model)?;
        let size_px = model.size_px();
        let mut plane = finish(model, &solved, size_px)?;
        plane.slant_relative_u = elongation_u;
        plane.caveats.clone_from(&self.caveats);
        Some(plane)
    }

    /// Whether the camera looks down (1) or up (−1) at the ring; between where it does neither much.
    fn height_over(&self, ellipse: &Ellipse) -> Option<f64> {
        let [x, y] = self.to_plane([ellipse.cx, ellipse.cy])?;
        let lens = self.camera_mm;
        let aside = (lens[0] - x).hypot(lens[2]);
        Some(((lens[1] - y) / aside / LEVEL).tanh())
    }

    /// Mean radius of the ring on the plane, mm.
    fn radius_of(&self, ellipse: &Ellipse) -> Option<f64> {
        let [x, y] = self.to_plane([ellipse.cx, ellipse.cy])?;
        let turn = (0..POINTS).map(|k| std::f64::consts::TAU * k as f64 / POINTS as f64);
        let on_plane: Option<Vec<[f64; 2]>> = turn.map(|t| self.to_plane(ellipse.point(t))).collect();
        Some(on_plane?.iter().map(|p| (p[0] - x).hypot(p[1] - y)).sum::<f64>() / POINTS as f64)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::marks::{HandMark, HandMarkKind};
    use crate::plane::{CameraHints, fit_plane};
    use crate::scale::ScaleFound;

    /// The plane of labels on one row of a picture of 1600 × 1200 pixels, as x, y and millimetres.
    fn labelled(labels: &[[f64; 3]], camera: &CameraHints) -> ScalePlane {
        let what = HandMarkKind::Scale;
        let mark = |[x_px, y_px, mm]: &[f64; 3]| HandMark {
            what,
            x_px: *x_px,
            y_px: *y_px,
            along_mm: Some(*mm),
            across_mm: None,
        };
        let hand_marks = labels.iter().map(mark).collect();
        let found = ScaleFound { hand_marks, hand_u_px: 4.0, ..ScaleFound::default() };
        fit_plane(&found, [1600, 1200], camera).expect("two labels fix a plane")
    }

    #[test]
    fn labels_say_the_size_and_a_stated_distance_or_lens_only_the_tilt() {
        // 721 px are 311.37 mm, 2.316 px a millimetre, whatever distance and lens are stated beside it
        let lens = (1360.0, 136.0);
        let hints = |distance_mm, focal_px| CameraHints { distance_mm, focal_px, ..CameraHints::default() };
        let stated = [None, Some((964.0, 96.0)), Some((964.0, 5.0)), Some((300.0, 5.0))];
        for (typed_mm, distance) in [311.37, 50.0].into_iter().flat_map(|mm| stated.map(|d| (mm, d))) {
            for focal in [None, Some(lens)] {
                let plane =
                    labelled(&[[440.0, 610.0, 0.0], [1161.0, 610.0, typed_mm]], &hints(distance, focal));
                let middle = plane.to_plane([800.5, 610.0]).expect("in view");
                let size = plane.px_per_mm(middle).map(|[a, b]| 0.5 * (a + b)).expect("in view");
                let wanted = 721.0 / typed_mm;
                assert!((size / wanted - 1.0).abs() < 0.004, "{size} for {wanted}: {distance:?} {focal:?}");
            }
        }
    }

    #[test]
    fn a_label_half_a_pixel_off_its_line_hardly_moves_the_size_at_the_ring() {
        let labels =
            [[350.0, 640.0, 0.0], [550.0, 640.0, 50.0], [750.0, 640.0, 100.0], [950.0, 640.0, 150.0]];
        let hints = CameraHints { distance_mm: Some((1000.0, 50.0)), ..CameraHints::default() };
        for ring in [[6.0, 0.0], [2.0, 4.0], [0.5, 0.2]] {
            let ring = Ellipse { cx: 660.0, cy: 560.0, r: 130.0, p: ring[0], q: ring[1] };
            let size = |labels: &[[f64; 3]]| {
                let plane = labelled(labels, &hints).parallel_to(&ring, 0.3).expect("a tilt");
                plane.radius_of(&ring).expect("in view")
            };
            let exact = size(&labels);
            for (label, way) in (0..4).flat_map(|label| [0, 1].map(|way| (label, way))) {
                let mut moved = labels;
                moved[label][way] += 0.5;
                let change = size(&moved) / exact - 1.0;
                assert!(change.abs() < 0.005, "label {label}, way {way}: {change}");
            }
        }
    }

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
