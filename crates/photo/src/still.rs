//! What stands still between the scale's photograph and the ring's: edges of the coils, and how the camera moved.
//!
//! The coils stay where they are when the tube comes out and the scale goes in. Where their edges lie elsewhere in the
//! other photograph, the camera moved, and the scale's plane must be carried along. Coil faces before and behind the
//! scale's plane move by different amounts, so each edge is given the face it belongs to.

mod edge;
mod fit;

use nalgebra::Vector3;

use crate::picture::Picture;
use crate::plane::{Moved, ScalePlane};
use edge::{Edge, Sampling, Shifts, edges, shifts};
use fit::Seen;

/// A flat face of a coil, at right angles to the pair's axis.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CoilFace {
    /// Height above the scale's plane, towards the camera, in millimetres.
    pub above_mm: f64,
    /// Distance of its inner and outer rim from the axis, in millimetres (half the sides of a square coil).
    pub rims_mm: [f64; 2],
    /// Whether its rims are squares.
    pub is_square: bool,
}

impl CoilFace {
    /// How far from the axis a point lies, measured as the rims are.
    fn reach(&self, [x, y]: [f64; 2]) -> f64 {
        if self.is_square { x.abs().max(y.abs()) } else { x.hypot(y) }
    }
}

/// An edge this far beyond the rims still belongs to the coil (millimetres).
const MARGIN_MM: f64 = 6.0;
/// Where the axis may lie from the middle of the picture, and how finely it is looked for (millimetres).
const AXIS_WITHIN_MM: f64 = 60.0;
const AXIS_STEP_MM: f64 = 2.0;
/// So many edges vote for it.
const AXIS_EDGES: usize = 400;
/// An edge this close to a rim votes for an axis (millimetres).
const RIM_MM: f64 = 2.5;
/// Fewest edges of the coils worth a comparison, and most: more cost time and share their errors.
const FEWEST_EDGES: usize = 60;
const MOST_EDGES: usize = 260;
/// Fewest of them found again on the other photograph.
const FEWEST_SEEN: usize = 30;
/// So many edges settle the first, rough look.
const ROUGH_EDGES: usize = 260;
/// Edges that moved by less than this part of a fine step need no second look.
const PLAINLY_STILL: f64 = 0.4;
/// So many of the edges found must agree for that, and scatter by less than this part of a fine step.
const IN_PLACE: f64 = 0.8;
const TOGETHER: f64 = 0.45;
/// Largest roll of the camera looked for, and its step (radians).
const ROLL: f64 = 0.012;
const ROLL_STEP: f64 = 0.003;

/// Edges of the coils on the scale's photograph, ready to be looked for on another one.
#[derive(Debug, Clone)]
pub struct StillEdges {
    size_px: [usize; 2],
    step_px: f64,
    edges: Vec<Edge>,
    faces: Vec<CoilFace>,
    /// Faces that each edge may belong to, and its place on each in the scale's own axes.
    places: Vec<Vec<OnFace>>,
}

/// A face that an edge may belong to, and its place there in the scale's own axes.
#[derive(Debug, Clone, Copy)]
struct OnFace {
    face: usize,
    point: Vector3<f64>,
}

impl StillEdges {
    /// Finds the coils' edges on the photograph of a scale; none where too few are seen.
    pub fn on_scale_photo(picture: &Picture, plane: &ScalePlane, faces: &[CoilFace]) -> Option<Self> {
        let step_px = (picture.width().max(picture.height()) as f64 / 1500.0).max(1.0);
        let all = edges(picture);
        let places: Vec<Vec<Option<[f64; 2]>>> = all
            .iter()
            .map(|edge| faces.iter().map(|face| plane.at_height(edge.px, face.above_mm)).collect())
            .collect();
        let axis = axis(&places, faces)?;
        let mut kept = Vec::new();
        let mut on_faces = Vec::new();
        for (edge, at) in all.into_iter().zip(&places) {
            let fits: Vec<OnFace> = faces
                .iter()
                .zip(at)
                .enumerate()
                .filter_map(|(k, (face, p))| {
                    let p = (*p)?;
                    let reach = face.reach([p[0] - axis[0], p[1] - axis[1]]);
                    let within = face.rims_mm[0] - MARGIN_MM..=face.rims_mm[1] + MARGIN_MM;
                    let point = plane.space_point(edge.px, face.above_mm)?;
                    within.contains(&reach).then_some(OnFace { face: k, point })
                })
                .collect();
            if !fits.is_empty() {
                kept.push(edge);
                on_faces.push(fits);
            }
        }
        if kept.len() < FEWEST_EDGES {
            return None;
        }
        let every = kept.len().div_ceil(MOST_EDGES);
        let mut kept: Vec<Edge> = kept.into_iter().step_by(every).collect();
        let on_faces = on_faces.into_iter().step_by(every).collect();
        for edge in &mut kept {
            edge.read(picture, step_px);
        }
        let size_px = [picture.width(), picture.height()];
        Some(Self { size_px, step_px, edges: kept, faces: faces.to_vec(), places: on_faces })
    }

    /// How the camera stood when it took another photograph, against this one.
    ///
    /// - **Takes** the other photograph, of the same size, and the scale's plane on this one.
    /// - **Gives** the camera's motion with its uncertainty; none where the coils can't be seen on both.
    pub fn moved(&self, other: &Picture, plane: &ScalePlane) -> Option<Moved> {
        if [other.width(), other.height()] != self.size_px {
            return None;
        }
        // most cameras are clamped: edges that agree that they are in their places leave nothing else to look for; of a
        // picture that moved, what is alike by chance lies anywhere in reach
        let nowhere = vec![[0.0; 2]; self.edges.len()];
        if let Some(seen) = self.looked_for(other, Sampling::near(self.step_px), &nowhere)
            && let Some(motion) = fit::motion(self, plane, &seen, None)
            && motion.edges_used as f64 > IN_PLACE * seen.len() as f64
            && motion.spread_px < TOGETHER * self.step_px
            && motion.edges_px < PLAINLY_STILL * self.step_px
        {
            return Some(motion);
        }
        let rough = self.rough_shifts(other);
        let first = self.looked_for(other, Sampling::fine(self.step_px), &rough);
        let mut motion = fit::motion(self, plane, &first?, None)?;
        if motion.edges_px < PLAINLY_STILL * self.step_px {
            return Some(motion);
        }
        for _ in 0..2 {
            let guesses = self.shifts_by(plane, &motion, &rough);
            let seen = self.looked_for(other, Sampling::near(self.step_px), &guesses)?;
            motion = fit::motion(self, plane, &seen, Some(&motion))?;
        }
        Some(motion)
    }

    /// Shift in pixels of each edge by the shift and roll that most of them agree on.
    fn rough_shifts(&self, other: &Picture) -> Vec<[f64; 2]> {
        let coarse = Sampling::coarse(self.step_px);
        let nowhere = vec![[0.0; 2]; self.edges.len()];
        let found = shifts(other, &self.edges, coarse, |edge| &edge.coarse, &nowhere);
        let [x, y, roll] = self.roughly(&found, coarse);
        let centre = self.size_px.map(|n| (n as f64 - 1.0) / 2.0);
        let by = |edge: &Edge| [x - roll * (edge.px[1] - centre[1]), y + roll * (edge.px[0] - centre[0])];
        self.edges.iter().map(by).collect()
    }

    /// Shift of each edge by a motion; of those that have no face, the rough one.
    fn shifts_by(&self, plane: &ScalePlane, motion: &Moved, rough: &[[f64; 2]]) -> Vec<[f64; 2]> {
        let camera = plane.after(motion.unknowns);
        let by = |number: usize, edge: &Edge| {
            let face = motion.faces.get(number).copied().flatten()?;
            let place = self.places.get(number)?.iter().find(|place| place.face == face)?;
            let to = camera.sees(&place.point)?;
            Some([to[0] - edge.px[0], to[1] - edge.px[1]])
        };
        let rough_of = |number: usize| rough.get(number).copied().unwrap_or_default();
        let edges = self.edges.iter().enumerate();
        edges.map(|(number, edge)| by(number, edge).unwrap_or_else(|| rough_of(number))).collect()
    }

    /// The shifts of edges found around guesses; none where too few are found.
    fn looked_for(&self, other: &Picture, sampling: Sampling, guesses: &[[f64; 2]]) -> Option<Vec<Seen>> {
        let found = shifts(other, &self.edges, sampling, |edge| &edge.fine, guesses);
        let seen = |(number, ((edge, guess), found)): (usize, ((&Edge, &[f64; 2]), &Shifts))| {
            let across = guess[0] * edge.normal[0] + guess[1] * edge.normal[1];
            Some(Seen { edge: number, across_px: across + found.best()? })
        };
        let seen: Vec<Seen> =
            self.edges.iter().zip(guesses).zip(&found).enumerate().filter_map(seen).collect();
        (seen.len() >= FEWEST_SEEN).then_some(seen)
    }

    /// The shift (x, y) of the picture's middle in pixels and the roll that most edges agree on.
    fn roughly(&self, found: &[Shifts], sampling: Sampling) -> [f64; 3] {
        let step = sampling.step_px;
        let reach = sampling.reach as i32;
        let centre = self.size_px.map(|n| (n as f64 - 1.0) / 2.0);
        let every = self.edges.len().div_ceil(ROUGH_EDGES);
        let mut best = ([0.0; 3], f64::NEG_INFINITY);
        let rolls = (ROLL / ROLL_STEP).round() as i32;
        for roll in -rolls..=rolls {
            let roll = f64::from(roll) * ROLL_STEP;
            for i in -reach..=reach {
                for j in -reach..=reach {
                    let [x, y] = [i, j].map(|n| f64::from(n) * step);
                    let mut sum = 0.0;
                    for (edge, shift) in self.edges.iter().zip(found).step_by(every) {
                        let dx = x - roll * (edge.px[1] - centre[1]);
                        let dy = y + roll * (edge.px[0] - centre[0]);
                        sum += shift.alike_at((dx * edge.normal[0] + dy * edge.normal[1]) / step);
                    }
                    if sum > best.1 {
                        best = ([x, y, roll], sum);
                    }
                }
            }
        }
        best.0
    }
}

/// Where the pair's axis meets the scale's plane: the place about which most edges lie on rims.
fn axis(places: &[Vec<Option<[f64; 2]>>], faces: &[CoilFace]) -> Option<[f64; 2]> {
    let votes = |axis: [f64; 2], within: f64| {
        let on_rim = |at: &&Vec<Option<[f64; 2]>>| {
            faces.iter().zip(at.iter()).any(|(face, p)| {
                p.is_some_and(|p| {
                    let reach = face.reach([p[0] - axis[0], p[1] - axis[1]]);
                    face.rims_mm.iter().any(|rim| (reach - rim).abs() < within)
                })
            })
        };
        let every = places.len().div_ceil(AXIS_EDGES).max(1);
        places.iter().step_by(every).filter(on_rim).count()
    };
    // first on a wide net with wide rims, then closely
    let best = |about: [f64; 2], reach: f64, step: f64, within: f64| {
        let steps = (reach / step).round() as i32;
        let nodes = (-steps..=steps).flat_map(|i| (-steps..=steps).map(move |j| [i, j].map(f64::from)));
        let nodes = nodes.map(|n| [about[0] + step * n[0], about[1] + step * n[1]]);
        nodes.map(|axis| (votes(axis, within), axis)).max_by_key(|(votes, _)| *votes)
    };
    let (_, rough) = best([0.0; 2], AXIS_WITHIN_MM, 2.0 * AXIS_STEP_MM, 2.0 * RIM_MM)?;
    let (votes, axis) = best(rough, 3.0 * AXIS_STEP_MM, 0.5 * AXIS_STEP_MM, RIM_MM)?;
    (votes >= FEWEST_EDGES / 4).then_some(axis)
}
