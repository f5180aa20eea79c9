//! The picture of a glowing ring in a bulb, and the truth behind it.

use crate::error::DrawError;
use crate::glow::{Spark, Stage};
use crate::photograph::{DrawnBench, draw_bench};
use crate::scene::Scene;
use crate::vector::Vec3;

/// Where the beam's centre line is in the picture.
#[derive(Debug, Clone, PartialEq)]
pub struct RingTruth {
    /// Place of each point of the path, in its order, as the camera records it: through the glass, with distortion.
    pub seen_px: Vec<[f64; 2]>,
    /// Direction from the lens in which each point is seen, through the glass; one millimetre along the optical axis.
    pub seen_along: Vec<[f64; 3]>,
    /// The same place if there were no glass.
    pub straight_px: Vec<[f64; 2]>,
    /// Whether each point is in the picture and not hidden by the gun.
    pub visible: Vec<bool>,
}

/// A drawn ring.
#[derive(Debug, Clone, PartialEq)]
pub struct DrawnRing {
    /// The photograph.
    pub jpeg: Vec<u8>,
    /// What is in it.
    pub truth: RingTruth,
}

/// Draws the glowing ring of a scene.
///
/// # Errors
///
/// When a number of the scene cannot be drawn, there is no beam, or it lies behind the camera or outside
/// the glass; see [`DrawError`].
pub fn draw_ring(scene: &Scene) -> Result<DrawnRing, DrawError> {
    if scene.beam.is_none() {
        return Err(DrawError::NoBeam { points: 0 });
    }
    let DrawnBench { jpeg, ring, .. } = draw_bench(scene, &[])?;
    ring.map(|truth| DrawnRing { jpeg, truth }).ok_or(DrawError::NoBeam { points: 0 })
}

pub(crate) fn ring_truth(stage: &Stage, sparks: &[Spark]) -> Result<RingTruth, DrawError> {
    let points = &stage.beam.points_mm;
    let seen_px: Vec<[f64; 2]> = sparks.iter().map(|spark| spark.px).collect();
    let seen_along = seen_px.iter().map(|px| stage.view.ray(px[0], px[1])).collect();
    let behind = || DrawError::BehindCamera { what: "a point of the beam" };
    let straight_px =
        points.iter().map(|p| stage.view.project(*p).ok_or_else(behind)).collect::<Result<_, _>>()?;
    let hidden = |point: Vec3| stage.gun.is_some_and(|gun| gun.hides(stage.view.origin, point));
    let visible =
        points.iter().zip(&seen_px).map(|(p, px)| stage.view.in_frame(*px) && !hidden(*p)).collect();
    Ok(RingTruth { seen_px, seen_along, straight_px, visible })
}
