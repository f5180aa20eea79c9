//! The camera's motion from the shifts of edges across themselves.

use nalgebra::{SMatrix, SVector};

use super::{OnFace, StillEdges};
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
/// Tukey's cut, in robust standard deviations.
const CUT: f64 = 4.685;
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
    let mut faces: Vec<Option<usize>> = vec![None; still.edges.len()];
    let mut outcome = None;
    for _ in 0..6 {
        let here = plane.after(at.into());
        let moved: Vec<MovedCamera> = STEP
            .iter()
            .enumerate()
            .map(|(k, step)| {
                let mut moved = at;
                moved[k] += step;
                plane.after(moved.into())
            })
            .collect();
        let mut rows: Vec<(Unknowns, f64, usize)> = Vec::with_capacity(seen.len());
        for s in seen {
            let (edge, places) = (still.edges.get(s.edge)?, still.places.get(s.edge)?);
            let across = |camera: &MovedCamera, place: &OnFace| {
                let to = camera.sees(&place.point)?;
                Some((to[0] - edge.px[0]) * edge.normal[0] + (to[1] - edge.px[1]) * edge.normal[1])
            };
            let left = |place: &OnFace| across(&here, place).map(|a| (s.across_px - a, *place));
            let nearest = places.iter().filter_map(left).min_by(|a, b| a.0.abs().total_cmp(&b.0.abs()));
            let Some((left, place)) = nearest else { continue };
            if let Some(face) = faces.get_mut(s.edge) {
                *face = Some(place.face);
            }
            let from = s.across_px - left;
            let mut slope = Unknowns::zeros();
            for (k, (camera, step)) in moved.iter().zip(STEP).enumerate() {
                slope[k] = (across(camera, &place)? - from) / step;
            }
            rows.push((slope, left, s.edge));
        }
        let spread = 1.4826 * crate::ring_curve::median(rows.iter().map(|r| r.1.abs()).collect());
        let spread = spread.max(FINEST_PX);
        let weight = |left: f64| {
            let u = left / (CUT * spread);
            if u.abs() < 1.0 { (1.0 - u * u).powi(2) } else { 0.0 }
        };
        let mut normal = Matrix::zeros();
        let mut right = Unknowns::zeros();
        for (slope, left, _) in &rows {
            let w = weight(*left) / (spread * spread);
            normal += slope * slope.transpose() * w;
            right += slope * (left * w);
        }
        for (k, u) in BEFORE.iter().enumerate() {
            normal[(k, k)] += u.powi(-2);
            right[k] -= at[k] / (u * u);
        }
        let inverse = normal.try_inverse()?;
        let step = inverse * right;
        at += step;
        // edges of one piece of a coil share how the light falls on it: count pieces, not edges
        let mut pieces = vec![Unknowns::zeros(); SECTORS * still.faces.len()];
        let centre = still.size_px.map(|n| n as f64 / 2.0);
        let (mut used, mut gone) = (0, 0.0);
        for (slope, left, edge) in &rows {
            let w = weight(*left) / (spread * spread);
            if w > 0.0 {
                used += 1;
                gone += slope.dot(&at).powi(2);
            }
            let e = still.edges.get(*edge)?;
            let angle = (e.px[1] - centre[1]).atan2(e.px[0] - centre[0]) / std::f64::consts::TAU + 0.5;
            let sector = ((angle * SECTORS as f64) as usize).min(SECTORS - 1);
            let face = faces.get(*edge).copied().flatten().unwrap_or(0);
            if let Some(piece) = pieces.get_mut(sector * still.faces.len() + face) {
                *piece += slope * (left * w);
            }
        }
        let among: Matrix = pieces.iter().map(|p| p * p.transpose()).sum();
        let mut covariance = inverse + inverse * among * inverse;
        covariance[(MOVES - 1, MOVES - 1)] += GROWTH_U * GROWTH_U;
        outcome = Some(Moved {
            unknowns: at.into(),
            covariance,
            faces: faces.clone(),
            edges_seen: rows.len(),
            edges_used: used,
            edges_px: (gone / used.max(1) as f64).sqrt(),
            spread_px: spread,
        });
    }
    outcome
}
