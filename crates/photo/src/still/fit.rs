//! The camera's motion from the shifts of edges across themselves.

use nalgebra::{SMatrix, SVector};

use super::{OnFace, StillEdges};
use crate::normal::Normal;
use crate::plane::solve::{TUKEY_CUT, spread, tukey};
use crate::plane::{MOVES, Moved, MovedCamera, ScalePlane};

/// The shift of one edge across itself.
#[derive(Debug, Clone, Copy)]
pub(super) struct Seen {
    /// Which edge.
    pub(super) edge: usize,
    /// Along its normal, in pixels.
    pub(super) across_px: f64,
}

type Unknowns = SVector<f64, MOVES>;
type Matrix = SMatrix<f64, MOVES, MOVES>;

/// Standard uncertainties before looking: a camera knocked on its stand, its lens focused anew. Radians about x, y, z;
/// millimetres along x, y, z; ln(focal length).
const BEFORE: [f64; MOVES] = [0.02, 0.02, 0.02, 15.0, 15.0, 15.0, 0.003];
/// Steps of the derivatives.
const STEP: [f64; MOVES] = [1e-5, 1e-5, 1e-5, 1e-2, 1e-2, 1e-2, 1e-5];
/// Steps of the search: the shifts are nearly straight in the unknowns, the faces settle after two or three.
const STEPS: usize = 6;
/// Edges closer together than a sector of the coil share their errors.
const SECTORS: usize = 24;
/// The light falls otherwise on the coils when the ring glows than when the room is lit, which moves all edges outwards or
/// inwards alike: measured as 0.01 to 0.04 % of the picture's size where no camera had moved.
const GROWTH_U: f64 = 2e-4;
/// An edge is never placed better than this (pixels).
const FINEST_PX: f64 = 0.05;

/// Fits the motion to the shifts; starts at `before`, and gives each edge the face it fits best.
pub(super) fn motion(
    still: &StillEdges,
    plane: &ScalePlane,
    seen: &[Seen],
    before: Option<&Moved>,
) -> Option<Moved> {
    let mut at: Unknowns = before.map_or_else(Unknowns::zeros, |m| m.unknowns.into());
    let mut last = None;
    for _ in 0..STEPS {
        let rows = rows(still, plane, seen, &at)?;
        let lefts: Vec<f64> = rows.iter().map(|row| row.left_px).collect();
        let spread_px = spread(&lefts).max(FINEST_PX);
        let weights: Vec<f64> = lefts.iter().map(|left| tukey(left / (TUKEY_CUT * spread_px))).collect();
        let mut sums = Normal::<MOVES>::new();
        for (row, weight) in rows.iter().zip(&weights) {
            sums.add(row.slope.into(), weight / (spread_px * spread_px), row.left_px);
        }
        let (mut normal, mut right) = (sums.matrix(), sums.right());
        for (k, u) in BEFORE.iter().enumerate() {
            normal[(k, k)] += u.powi(-2);
            right[k] -= at[k] / (u * u);
        }
        let inverse = normal.try_inverse()?;
        at += inverse * right;
        last = Some((rows, weights, spread_px, inverse));
    }
    let (rows, weights, spread_px, inverse) = last?;
    let mut faces: Vec<Option<usize>> = vec![None; still.edges.len()];
    for row in &rows {
        if let Some(face) = faces.get_mut(row.edge) {
            *face = Some(row.face);
        }
    }
    let among = among_pieces(still, &rows, &weights, spread_px)?;
    let mut covariance = inverse + inverse * among * inverse;
    covariance[(MOVES - 1, MOVES - 1)] += GROWTH_U * GROWTH_U;
    let used = rows.iter().zip(&weights).filter(|(_, weight)| **weight > 0.0);
    let gone: Vec<f64> = used.map(|(row, _)| row.slope.dot(&at).powi(2)).collect();
    Some(Moved {
        unknowns: at.into(),
        covariance,
        faces,
        edges_seen: rows.len(),
        edges_used: gone.len(),
        edges_px: (gone.iter().sum::<f64>() / gone.len().max(1) as f64).sqrt(),
        spread_px,
    })
}

/// One edge's part of the fit.
struct Row {
    edge: usize,
    /// The face it fits best.
    face: usize,
    /// What its shift across itself changes by for each unknown.
    slope: Unknowns,
    /// Its shift as seen, less that of the motion.
    left_px: f64,
}

fn rows(still: &StillEdges, plane: &ScalePlane, seen: &[Seen], at: &Unknowns) -> Option<Vec<Row>> {
    let here = plane.after((*at).into());
    let stepped = |(k, step): (usize, &f64)| {
        let mut moved = *at;
        moved[k] += step;
        plane.after(moved.into())
    };
    let moved: Vec<MovedCamera> = STEP.iter().enumerate().map(stepped).collect();
    let mut rows = Vec::with_capacity(seen.len());
    for s in seen {
        let (edge, places) = (still.edges.get(s.edge)?, still.places.get(s.edge)?);
        let across = |camera: &MovedCamera, place: &OnFace| {
            let to = camera.sees(&place.point)?;
            Some((to[0] - edge.px[0]) * edge.normal[0] + (to[1] - edge.px[1]) * edge.normal[1])
        };
        let left = |place: &OnFace| across(&here, place).map(|a| (s.across_px - a, *place));
        let nearest = places.iter().filter_map(left).min_by(|a, b| a.0.abs().total_cmp(&b.0.abs()));
        let Some((left_px, place)) = nearest else { continue };
        let from = s.across_px - left_px;
        let mut slope = Unknowns::zeros();
        for (k, (camera, step)) in moved.iter().zip(STEP).enumerate() {
            slope[k] = (across(camera, &place)? - from) / step;
        }
        rows.push(Row { edge: s.edge, face: place.face, slope, left_px });
    }
    Some(rows)
}

/// Scatter of the gradient among pieces of the coils: edges of one piece share how the light falls on it, so that pieces
/// count, not edges.
fn among_pieces(still: &StillEdges, rows: &[Row], weights: &[f64], spread_px: f64) -> Option<Matrix> {
    let mut pieces = vec![Unknowns::zeros(); SECTORS * still.faces.len()];
    let centre = still.size_px.map(|n| n as f64 / 2.0);
    for (row, weight) in rows.iter().zip(weights) {
        let px = still.edges.get(row.edge)?.px;
        let angle = (px[1] - centre[1]).atan2(px[0] - centre[0]) / std::f64::consts::TAU + 0.5;
        let sector = ((angle * SECTORS as f64) as usize).min(SECTORS - 1);
        if let Some(piece) = pieces.get_mut(sector * still.faces.len() + row.face) {
            *piece += row.slope * (row.left_px * weight / (spread_px * spread_px));
        }
    }
    Some(pieces.iter().map(|p| p * p.transpose()).sum())
}
