//! The camera's motion from edges found again on another photograph.

use nalgebra::{SMatrix, SVector, Vector3};

use super::StillEdges;
use super::depth::Place;
use super::edge::Found;
use super::rough::Similarity;
use crate::normal::Normal;
use crate::plane::solve::{TUKEY_CUT, spread, tukey};
use crate::plane::{MOVES, Moved, MovedCamera, ScalePlane};

/// One edge as it was found again.
#[derive(Debug, Clone)]
pub(super) struct Seen {
    /// Which edge.
    pub(super) edge: usize,
    /// Where it may be: of edges side by side it is one.
    pub(super) found: Vec<Found>,
}

pub(super) type Unknowns = SVector<f64, MOVES>;
type Matrix = SMatrix<f64, MOVES, MOVES>;

/// Standard uncertainties before looking, of a camera set up again by hand, its lens focused or zoomed anew: radians about x, y, z;
/// lengths along x, y, z in parts of the distance; ln(focal length). Going back and zooming in look nearly the same where only one
/// coil is seen: what is known before decides between them.
const BEFORE: [f64; MOVES] = [0.05, 0.05, 0.04, 0.025, 0.025, 0.025, 0.015];
/// A camera that went little was turned and zoomed little: these hold for edges that went by this part of the picture's longer side and
/// more, and in proportion below, down to this part of them.
const WHOLE_AT: f64 = 0.01;
const LEAST_PART: f64 = 0.15;
/// Steps of the derivatives.
const STEP: [f64; MOVES] = [1e-5, 1e-5, 1e-5, 1e-2, 1e-2, 1e-2, 1e-5];
/// Steps of the search, within which what is believed narrows by so much each.
const STEPS: usize = 9;
const NARROWER: f64 = 0.65;
/// Edges closer together than a sector of the picture share their errors.
const SECTORS: usize = 24;
/// The light falls otherwise on the coils when the ring glows than when the room is lit, which moves all edges outwards or
/// inwards alike: measured as 0.01 to 0.04 % of the picture's size where no camera had moved.
const GROWTH_U: f64 = 2e-4;
/// A motion is known to this part of its growth at best: coils and their places are not quite as stated.
const GROWTH_PART_U: f64 = 0.03;
/// What is known of distances at the bench or in the room errs in common by this part of each edge's own uncertainty.
const DEPTHS_ALIKE: f64 = 0.4;
/// An edge is never placed better than this (pixels).
const FINEST_PX: f64 = 0.05;
/// Light from another side moves an edge by this part of a fine step, the edges of a sector alike.
const LIGHT_STEPS: f64 = 0.25;
/// So many edges of a sector count.
const COUNTED_OF_SECTOR: f64 = 2.0;

/// The motion that a rough turn, growth and shift of the picture asks of a camera before the bench.
pub(super) fn of_similarity(
    still: &StillEdges,
    plane: &ScalePlane,
    similarity: &Similarity,
) -> Option<Unknowns> {
    const AXES: [[f64; 2]; 2] = [[1.0, 0.0], [0.0, 1.0]];
    let edges = still.edges.iter().enumerate().step_by(1 + still.edges.len() / 100);
    let seen: Vec<Seen> = edges
        .flat_map(|(edge, of)| {
            let at = similarity.to(of.px);
            AXES.map(|normal| Seen { edge, found: vec![Found { at, normal }] })
        })
        .collect();
    let mut at = Unknowns::zeros();
    for _ in 0..4 {
        let rows = rows(still, plane, &seen, &at, f64::INFINITY)?;
        let weights = vec![1.0; rows.len()];
        at += step(&before(plane, 1.0), &rows, &weights, &at)?.0;
    }
    Some(at)
}

/// Fits the motion to edges found again; starts at `start` and believes at first what lies within `first_px` of it. Gives
/// each edge the place that it fits best.
pub(super) fn motion(
    still: &StillEdges,
    plane: &ScalePlane,
    seen: &[Seen],
    start: &Unknowns,
    first_px: f64,
) -> Option<Moved> {
    let mut at = *start;
    let light_px = LIGHT_STEPS * still.step_px;
    let before = before(plane, still.part_of_motion(plane, start));
    let mut spread_px = (first_px / TUKEY_CUT).max(FINEST_PX);
    let mut last = None;
    for _ in 0..STEPS {
        let rows = rows(still, plane, seen, &at, spread_px)?;
        let scaled: Vec<f64> = rows.iter().map(|row| row.left_px / row.u_px(spread_px)).collect();
        let weights: Vec<f64> = rows
            .iter()
            .zip(&scaled)
            .map(|(row, z)| tukey(z / TUKEY_CUT) / row.u_px(spread_px.hypot(light_px)).powi(2))
            .collect();
        let weights = still.shared(&rows, weights);
        let (by, inverse) = step(&before, &rows, &weights, &at)?;
        at += by;
        let believed: Vec<f64> = scaled.into_iter().filter(|z| z.abs() < TUKEY_CUT).collect();
        let now = spread_px * spread(&believed);
        last = Some((rows, weights, spread_px, inverse));
        spread_px = now.max(NARROWER * spread_px).min(spread_px).max(FINEST_PX);
    }
    let (rows, weights, spread_px, inverse) = last?;
    let scatter = among_pieces(still, &rows, &weights)? + alike_depths(&rows, &weights);
    let mut covariance = inverse + inverse * scatter * inverse;
    let growth = at[6] - at[5] / plane.camera_mm[2];
    covariance[(MOVES - 1, MOVES - 1)] += GROWTH_U.hypot(GROWTH_PART_U * growth).powi(2);
    let used = rows.iter().zip(&weights).filter(|(_, weight)| **weight > 0.0);
    let gone: Vec<f64> = used.map(|(row, _)| row.slope.dot(&at).powi(2)).collect();
    Some(Moved {
        unknowns: at.into(),
        covariance,
        edges_seen: rows.len(),
        edges_used: gone.len(),
        edges_px: (gone.iter().sum::<f64>() / gone.len().max(1) as f64).sqrt(),
        spread_px,
    })
}

/// What is known before of a motion, to this `part`.
fn before(plane: &ScalePlane, part: f64) -> Unknowns {
    let mut before = Unknowns::from(BEFORE);
    for k in 3..6 {
        before[k] *= plane.camera_mm[2];
    }
    before * part
}

/// A step of Gauss and Newton towards the rows, with what is known before; and the inverse of the normal matrix.
fn step(before: &Unknowns, rows: &[Row], weights: &[f64], at: &Unknowns) -> Option<(Unknowns, Matrix)> {
    let mut sums = Normal::<MOVES>::new();
    for (row, weight) in rows.iter().zip(weights) {
        sums.add(row.slope.into(), *weight, row.left_px);
    }
    let (mut normal, mut right) = (sums.matrix(), sums.right());
    for (k, &u) in before.iter().enumerate() {
        normal[(k, k)] += u.powi(-2);
        right[k] -= at[k] / (u * u);
    }
    let inverse = normal.try_inverse()?;
    Some((inverse * right, inverse))
}

/// One edge's part of the fit.
struct Row {
    edge: usize,
    /// The class of the place it fits best.
    class: usize,
    /// What its place across itself changes by for each unknown.
    slope: Unknowns,
    /// Where it was found, less where the motion puts it.
    left_px: f64,
    /// By how much one standard uncertainty of its distance moves it.
    depth_px: f64,
}

impl Row {
    fn u_px(&self, spread_px: f64) -> f64 {
        if spread_px.is_finite() { spread_px.hypot(self.depth_px) } else { 1.0 }
    }
}

fn rows(
    still: &StillEdges,
    plane: &ScalePlane,
    seen: &[Seen],
    at: &Unknowns,
    spread_px: f64,
) -> Option<Vec<Row>> {
    let here = plane.after((*at).into());
    let stepped = |(k, step): (usize, &f64)| {
        let mut moved = *at;
        moved[k] += step;
        plane.after(moved.into())
    };
    let moved: Vec<MovedCamera> = STEP.iter().enumerate().map(stepped).collect();
    let mut rows = Vec::with_capacity(seen.len());
    for s in seen {
        let places = still.places.get(s.edge)?;
        let left = |camera: &MovedCamera, point: &Vector3<f64>, found: &Found| {
            let to = camera.sees(point)?;
            Some((found.at[0] - to[0]) * found.normal[0] + (found.at[1] - to[1]) * found.normal[1])
        };
        let row = |place: &Place, found: &Found| {
            let left_px = left(&here, &place.point, found)?;
            let nearer = place.nearer.as_ref().and_then(|point| left(&here, point, found));
            let depth_px = nearer.map_or(0.0, |nearer| nearer - left_px);
            let row = Row { edge: s.edge, class: place.class, slope: Unknowns::zeros(), left_px, depth_px };
            Some((row, *place, *found))
        };
        let unlikely = |row: &Row| {
            let u = row.u_px(spread_px);
            (row.left_px / u).powi(2) + 2.0 * u.ln()
        };
        let all = places.iter().flat_map(|place| s.found.iter().filter_map(move |found| row(place, found)));
        let best = all.min_by(|a, b| unlikely(&a.0).total_cmp(&unlikely(&b.0)));
        let Some((mut row, place, found)) = best else { continue };
        for (k, (camera, step)) in moved.iter().zip(STEP).enumerate() {
            row.slope[k] = (row.left_px - left(camera, &place.point, &found)?) / step;
        }
        rows.push(row);
    }
    Some(rows)
}

/// Scatter of the gradient among pieces of the bench: edges of one piece share how the light falls on it, so that pieces count,
/// not edges.
fn among_pieces(still: &StillEdges, rows: &[Row], weights: &[f64]) -> Option<Matrix> {
    let classes = rows.iter().map(|row| row.class + 1).max().unwrap_or(1);
    let mut pieces = vec![Unknowns::zeros(); SECTORS * classes];
    for (row, weight) in rows.iter().zip(weights) {
        let sector = still.sector(still.edges.get(row.edge)?.px);
        if let Some(piece) = pieces.get_mut(sector * classes + row.class) {
            *piece += row.slope * (row.left_px * weight);
        }
    }
    Some(pieces.iter().map(|p| p * p.transpose()).sum())
}

/// What distances that err alike add to it.
fn alike_depths(rows: &[Row], weights: &[f64]) -> Matrix {
    let classes = rows.iter().map(|row| row.class + 1).max().unwrap_or(1);
    let of = |class: usize| -> Unknowns {
        let own = rows.iter().zip(weights).filter(|(row, _)| row.class == class);
        own.map(|(row, weight)| row.slope * (DEPTHS_ALIKE * row.depth_px * weight)).sum()
    };
    (0..classes).map(of).map(|sum| sum * sum.transpose()).sum()
}

impl StillEdges {
    /// By how much of a whole motion the edges go, from `LEAST_PART` to 1.
    fn part_of_motion(&self, plane: &ScalePlane, motion: &Unknowns) -> f64 {
        let camera = plane.after((*motion).into());
        let gone = self.edges.iter().zip(&self.places).filter_map(|(edge, places)| {
            let to = camera.sees(&places.first()?.point)?;
            Some((to[0] - edge.px[0]).hypot(to[1] - edge.px[1]))
        });
        let (count, sum) = gone.fold((0.0, 0.0), |(count, sum), px| (count + 1.0, sum + px));
        let long = self.size_px[0].max(self.size_px[1]) as f64;
        (sum / f64::max(count, 1.0) / (WHOLE_AT * long)).clamp(LEAST_PART, 1.0)
    }

    /// Weights of which each sector's sum up to those of a few edges.
    fn shared(&self, rows: &[Row], mut weights: Vec<f64>) -> Vec<f64> {
        let sector = |row: &Row| self.edges.get(row.edge).map_or(0, |edge| self.sector(edge.px));
        let mut counts = [0.0_f64; SECTORS];
        for (row, weight) in rows.iter().zip(&weights) {
            if *weight > 0.0
                && let Some(count) = counts.get_mut(sector(row))
            {
                *count += 1.0;
            }
        }
        for (row, weight) in rows.iter().zip(&mut weights) {
            let count = counts.get(sector(row)).copied().unwrap_or(0.0);
            *weight *= (COUNTED_OF_SECTOR / count.max(COUNTED_OF_SECTOR)).min(1.0);
        }
        weights
    }

    /// The sector of the picture in which a pixel lies.
    pub(super) fn sector(&self, px: [f64; 2]) -> usize {
        let [x, y] = [0, 1].map(|k| px[k] - 0.5 * self.size_px[k] as f64);
        let angle = y.atan2(x) / std::f64::consts::TAU + 0.5;
        ((angle * SECTORS as f64) as usize).min(SECTORS - 1)
    }
}
