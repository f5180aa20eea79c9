//! How far behind or before the scale's plane an edge may lie: on a face of a coil, somewhere at the bench, or in the room behind.

use nalgebra::Vector3;

use super::CoilFace;
use super::edge::Edge;
use crate::plane::ScalePlane;

/// An edge this far beyond the rims still belongs to the coil (millimetres).
const MARGIN_MM: f64 = 6.0;
/// Where the axis may lie from the middle of the picture, and how finely it is looked for (millimetres).
const AXIS_WITHIN_MM: f64 = 60.0;
const AXIS_STEP_MM: f64 = 2.0;
/// So many edges vote for it; the best place must have this many times the votes of a usual one.
const AXIS_EDGES: usize = 400;
const ABOVE_USUAL: f64 = 1.4;
/// An edge this close to a rim votes for an axis (millimetres).
const RIM_MM: f64 = 2.5;
/// Inverse distances from the camera, in parts of the plane's, and their standard uncertainties: of what stands at the bench, and of
/// the room behind it (walls a metre or two behind a bench seen from one).
const BENCH: [f64; 2] = [1.0, 0.1];
const ROOM: [f64; 2] = [0.5, 0.2];

/// Where an edge may lie in space, in the scale's own axes.
#[derive(Debug, Clone, Copy)]
pub(super) struct Place {
    pub(super) point: Vector3<f64>,
    /// The same one standard uncertainty of the inverse distance nearer; none on a coil's face, whose distance is known.
    pub(super) nearer: Option<Vector3<f64>>,
    /// Places of one class err together: faces first, then bench and room.
    pub(super) class: usize,
}

/// The places that each edge may have; none for edges that are seen beyond the plane's horizon.
pub(super) fn places(plane: &ScalePlane, edges: &[Edge], faces: &[CoilFace]) -> Vec<Vec<Place>> {
    let flat: Vec<Vec<Option<[f64; 2]>>> = edges
        .iter()
        .map(|edge| faces.iter().map(|face| plane.at_height(edge.px, face.above_mm)).collect())
        .collect();
    let axis = axis(&flat, faces);
    let distance = plane.camera_mm[2];
    // height above the plane of what has this inverse distance
    let height = |inverse: f64| distance * (1.0 - 1.0 / inverse);
    let known = |edge: &Edge, at: &[Option<[f64; 2]>]| -> Vec<Place> {
        let Some(axis) = axis else { return Vec::new() };
        let on = |(class, (face, p)): (usize, (&CoilFace, &Option<[f64; 2]>))| {
            let p = (*p)?;
            let reach = face.reach([p[0] - axis[0], p[1] - axis[1]]);
            let within = face.rims_mm[0] - MARGIN_MM..=face.rims_mm[1] + MARGIN_MM;
            let point = plane.space_point(edge.px, face.above_mm)?;
            within.contains(&reach).then_some(Place { point, nearer: None, class })
        };
        faces.iter().zip(at).enumerate().filter_map(on).collect()
    };
    let of = |(edge, at): (&Edge, &Vec<Option<[f64; 2]>>)| {
        let mut all = known(edge, at);
        if all.is_empty() {
            for (k, [inverse, u]) in [BENCH, ROOM].into_iter().enumerate() {
                let point = plane.space_point(edge.px, height(inverse));
                let nearer = plane.space_point(edge.px, height(inverse + u));
                all.extend(point.map(|point| Place { point, nearer, class: faces.len() + k }));
            }
        }
        all
    };
    edges.iter().zip(&flat).map(of).collect()
}

/// Where the pair's axis meets the scale's plane: the place about which most edges lie on rims.
fn axis(places: &[Vec<Option<[f64; 2]>>], faces: &[CoilFace]) -> Option<[f64; 2]> {
    if faces.is_empty() {
        return None;
    }
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
    let net = |about: [f64; 2], reach: f64, step: f64, within: f64| -> Vec<(usize, [f64; 2])> {
        let steps = (reach / step).round() as i32;
        let nodes = (-steps..=steps).flat_map(|i| (-steps..=steps).map(move |j| [i, j].map(f64::from)));
        let nodes = nodes.map(|n| [about[0] + step * n[0], about[1] + step * n[1]]);
        nodes.map(|axis| (votes(axis, within), axis)).collect()
    };
    let best = |nodes: &[(usize, [f64; 2])]| nodes.iter().max_by_key(|(votes, _)| *votes).copied();
    // first on a wide net with wide rims, then closely
    let wide = net([0.0; 2], AXIS_WITHIN_MM, 2.0 * AXIS_STEP_MM, 2.0 * RIM_MM);
    let usual = wide.iter().map(|(votes, _)| *votes as f64).sum::<f64>() / wide.len().max(1) as f64;
    let (votes, rough) = best(&wide)?;
    if (votes as f64) < ABOVE_USUAL * usual {
        return None;
    }
    best(&net(rough, 3.0 * AXIS_STEP_MM, 0.5 * AXIS_STEP_MM, RIM_MM)).map(|(_, axis)| axis)
}
