//! A predicted helix laid over a side view: brought to the photographed one, then compared by pitch and diameter.

use arcmass_photo::plane::ScalePlane;

use super::super::Seen;
use super::turns::helix_of;
use super::{Laid, LaidSide};
use crate::document::PathDocument;

/// Points of the photographed beam that are compared, and of the predicted one; more change nothing that is seen.
const BEAM_POINTS: usize = 160;
const PATH_POINTS: usize = 480;
/// Places tried along the axis, in one pitch.
const STARTS_A_TURN: f64 = 16.0;
/// A point of the beam farther from the prediction than this part of its radius counts as no partner of it.
const FAR: f64 = 0.35;
/// Weight of prediction without photographed beam beside beam without prediction: a beam fades before it ends.
const UNSEEN: f64 = 0.25;
/// Places from which the fit is begun, and its steps.
const FITTED: usize = 6;
const ROUNDS: usize = 25;

/// Lays a path over what was seen on a side view.
///
/// The scale tells the camera, but neither which side it stood on nor where on the plane the coils' axis runs. Both sides
/// and every place along the axis are tried; the prediction stays where beam and prediction are nearest to one another.
pub(super) fn laid(seen: &Seen, plane: &ScalePlane, scale_before_axis_mm: f64, path: &PathDocument) -> Laid {
    let accepted = seen.points.iter().filter(|point| point.accepted);
    let beam_px: Vec<[f64; 2]> = accepted.map(|point| [point.x_px, point.y_px]).collect();
    let beam = plane.all_to_plane(&thinned(&beam_px, BEAM_POINTS)).unwrap_or_default();
    let found = brought_together(&beam, plane, scale_before_axis_mm, path);
    let (place, is_centred) = match found {
        Some(place) => (place, true),
        None => (Place::middle(1.0, scale_before_axis_mm, path), false),
    };
    // the field is weaker towards the ends, so only what is seen of the helix is held against its photograph
    let along =
        if is_centred { place.beside(&beam, &path.drawn_mm, plane.camera_mm) } else { path.drawn_mm.clone() };
    let helix = helix_of(&along);
    let (predicted_diameter, predicted_pitch) = (helix.map(|h| h.0), helix.map(|h| h.1));
    let entry = seen.entry.as_ref();
    let (diameter, pitch) =
        (entry.and_then(|entry| entry.helix_diameter_mm), entry.and_then(|entry| entry.pitch_mm));
    let apart = |ours: Option<f64>, theirs: Option<f64>| ours.zip(theirs).map(|(ours, theirs)| ours - theirs);
    Laid {
        width_px: seen.width_px,
        height_px: seen.height_px,
        path_px: path.drawn_mm.iter().filter_map(|p| plane.space_to_px(place.of(*p))).collect(),
        beam_px,
        predicted_diameter_mm: predicted_diameter,
        difference_mm: apart(predicted_diameter, diameter.as_ref().map(|q| q.value)),
        photographed_diameter_mm: diameter,
        is_centred,
        side: Some(LaidSide {
            predicted_pitch_mm: predicted_pitch,
            difference_mm: apart(predicted_pitch, pitch.as_ref().map(|q| q.value)),
            photographed_pitch_mm: pitch,
            camera_on: if place.side > 0.0 { "+x" } else { "-x" },
            turned_deg: place.turned.to_degrees(),
        }),
    }
}

/// Where the bench lies in the plane's frame: x right, y up, z towards the camera.
#[derive(Debug, Clone, Copy)]
struct Place {
    /// +1 for a camera on the side of +x, −1 for one on the side of −x.
    side: f64,
    /// Of the bench's origin, mm.
    shift: [f64; 2],
    /// About `middle`, radians.
    turned: f64,
    /// The path's middle before it is shifted and turned, mm.
    middle: [f64; 2],
    /// How far the scale stood before the plane x = 0, mm.
    before_mm: f64,
}

impl Place {
    /// The path's middle in the middle of the picture.
    fn middle(side: f64, before_mm: f64, path: &PathDocument) -> Self {
        let extent = |axis: usize| {
            let all = path.drawn_mm.iter().map(|p| p[axis]);
            f64::midpoint(all.clone().fold(f64::MAX, f64::min), all.fold(f64::MIN, f64::max))
        };
        let middle = if path.drawn_mm.is_empty() { [0.0, 0.0] } else { [-side * extent(2), extent(1)] };
        Self { side, shift: [-middle[0], -middle[1]], turned: 0.0, middle, before_mm }
    }

    /// A point of the bench; seen from +x, z runs to the left, seen from −x to the right.
    fn of(&self, p: [f64; 3]) -> [f64; 3] {
        let [right, up] = [-self.side * p[2] - self.middle[0], p[1] - self.middle[1]];
        let (sine, cosine) = self.turned.sin_cos();
        [
            self.middle[0] + self.shift[0] + cosine * right - sine * up,
            self.middle[1] + self.shift[1] + sine * right + cosine * up,
            self.side * p[0] - self.before_mm,
        ]
    }

    /// The piece of a path that lies beside the beam, along the picture.
    fn beside(&self, beam: &[[f64; 2]], path: &[[f64; 3]], lens: [f64; 3]) -> Vec<[f64; 3]> {
        let (sine, cosine) = self.turned.sin_cos();
        let along = |p: &[f64; 2]| cosine * p[0] + sine * p[1];
        let ends = beam.iter().map(along).fold([f64::MAX, f64::MIN], |[l, h], a| [l.min(a), h.max(a)]);
        let seen = self.seen(path, lens);
        let kept = path.iter().zip(&seen).filter(|(_, p)| (ends[0]..=ends[1]).contains(&along(p)));
        kept.map(|(p, _)| *p).collect()
    }

    /// The points carried along the camera's rays on to the plane.
    fn seen(&self, points: &[[f64; 3]], lens: [f64; 3]) -> Vec<[f64; 2]> {
        let carry = |p: &[f64; 3]| {
            let [x, y, z] = self.of(*p);
            let t = lens[2] / (lens[2] - z);
            [lens[0] + t * (x - lens[0]), lens[1] + t * (y - lens[1])]
        };
        points.iter().map(carry).collect()
    }
}

/// The place where beam and prediction are nearest; none without a beam or a path to bring to it.
fn brought_together(
    beam: &[[f64; 2]],
    plane: &ScalePlane,
    before_mm: f64,
    path: &PathDocument,
) -> Option<Place> {
    let points = thinned(&path.drawn_mm, PATH_POINTS);
    let radius = path.fitted_diameter_mm.map_or(path.gyroradius_mm, |diameter| 0.5 * diameter);
    if beam.len() < 8 || points.len() < 8 || !radius.is_normal() {
        return None;
    }
    let look = Look { beam, points: &points, lens: plane.camera_mm, far: FAR * radius };
    let mut starts: Vec<(f64, Place)> = [1.0, -1.0]
        .into_iter()
        .flat_map(|side| look.starts(Place::middle(side, before_mm, path), path.pitch_mm))
        .map(|place| (look.cost(&place), place))
        .collect();
    starts.sort_by(|a, b| a.0.total_cmp(&b.0));
    let fitted = starts.into_iter().take(FITTED).map(|(_, start)| look.fitted(start));
    fitted.min_by(|a, b| a.0.total_cmp(&b.0)).map(|(_, place)| place)
}

/// A beam and a prediction looked at together, on the scale's plane, mm.
struct Look<'a> {
    beam: &'a [[f64; 2]],
    points: &'a [[f64; 3]],
    lens: [f64; 3],
    far: f64,
}

impl Look<'_> {
    /// The two middles together, and every place along the axis that still lies over half of the beam.
    fn starts(&self, middle: Place, pitch_mm: Option<f64>) -> Vec<Place> {
        let [low, high] = [f64::min, f64::max].map(|pick: fn(f64, f64) -> f64| {
            [0, 1].map(|axis| self.beam.iter().map(|p| p[axis]).reduce(pick).unwrap_or(0.0))
        });
        let reach = 0.5 * (high[0] - low[0]);
        let step = pitch_mm.map_or(reach, f64::abs).max(0.02 * reach).max(1e-3) / STARTS_A_TURN;
        let steps = (reach / step).ceil().min(400.0) as i32;
        let centre = [0, 1].map(|axis| f64::midpoint(low[axis], high[axis]) - middle.middle[axis]);
        let at = |k: i32| Place { shift: [centre[0] + f64::from(k) * step, centre[1]], ..middle };
        (-steps..=steps).map(at).collect()
    }

    fn cost(&self, place: &Place) -> f64 {
        let line = place.seen(self.points, self.lens);
        let mean = |from: &[[f64; 2]], to: &[[f64; 2]]| {
            let capped = from.iter().map(|p| nearest(*p, to).0.min(self.far).powi(2));
            capped.sum::<f64>() / from.len().max(1) as f64
        };
        mean(self.beam, &line) + UNSEEN * mean(&line, self.beam)
    }

    /// Moved and turned to the beam by Gauss–Newton steps on the distances across the predicted line; its cost.
    fn fitted(&self, start: Place) -> (f64, Place) {
        let mut place = start;
        for _ in 0..ROUNDS {
            let Some(step) = self.step(&place) else { break };
            place.shift = [place.shift[0] + step[0], place.shift[1] + step[1]];
            place.turned += step[2];
            if step[0].hypot(step[1]) < 1e-4 && step[2].abs() < 1e-6 {
                break;
            }
        }
        (self.cost(&place), place)
    }

    fn step(&self, place: &Place) -> Option<[f64; 3]> {
        let line = place.seen(self.points, self.lens);
        let about = [0, 1].map(|axis| place.middle[axis] + place.shift[axis]);
        let mut normal = nalgebra::Matrix3::<f64>::zeros();
        let mut right = nalgebra::Vector3::<f64>::zeros();
        for p in self.beam {
            let (distance, at, along) = nearest(*p, &line);
            if distance > self.far {
                continue;
            }
            let across = [-along[1], along[0]];
            let off = across[0] * (p[0] - at[0]) + across[1] * (p[1] - at[1]);
            let turn = across[1] * (at[0] - about[0]) - across[0] * (at[1] - about[1]);
            let row = nalgebra::Vector3::new(across[0], across[1], turn);
            normal += row * row.transpose();
            right += row * off;
        }
        normal.lu().solve(&right).map(Into::into).filter(|step: &[f64; 3]| step.iter().all(|s| s.is_finite()))
    }
}

/// Distance of a point from a line of points, the nearest place on it, and the line's direction there.
fn nearest(p: [f64; 2], line: &[[f64; 2]]) -> (f64, [f64; 2], [f64; 2]) {
    let mut best = (f64::INFINITY, p, [1.0, 0.0]);
    for pair in line.windows(2) {
        let (dx, dy) = (pair[1][0] - pair[0][0], pair[1][1] - pair[0][1]);
        let square = (dx * dx + dy * dy).max(1e-300);
        let t = (((p[0] - pair[0][0]) * dx + (p[1] - pair[0][1]) * dy) / square).clamp(0.0, 1.0);
        let at = [pair[0][0] + t * dx, pair[0][1] + t * dy];
        let distance = (p[0] - at[0]).hypot(p[1] - at[1]);
        if distance < best.0 {
            let length = square.sqrt();
            best = (distance, at, [dx / length, dy / length]);
        }
    }
    best
}

/// At most so many of the points, the last one kept.
fn thinned<T: Copy>(points: &[T], most: usize) -> Vec<T> {
    let step = points.len().div_ceil(most).max(1);
    let mut kept: Vec<T> = points.iter().step_by(step).copied().collect();
    if !(points.len().max(1) - 1).is_multiple_of(step) {
        kept.extend(points.last().copied());
    }
    kept
}
