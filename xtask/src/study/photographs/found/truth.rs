//! What is known of a picture as found, written beside it and hidden from the measurement.

use std::path::Path;

use arcmass_draw::{FoundScene, FoundTruth};
use arcmass_fit::direct_ellipse;
use arcmass_physics::{Vec3, fit_circle};
use serde::{Deserialize, Serialize};

/// Name of the file; the measurement leaves it alone.
const FILE: &str = "truth.json";
/// Parts of the turn, each visible or not.
const PARTS: usize = 72;

/// A numbered mark.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub(super) struct Label {
    pub(super) printed_cm: u32,
    pub(super) along_mm: f64,
    pub(super) px: [f64; 2],
    pub(super) is_visible: bool,
}

/// The truth of one picture, pixels of the picture as it is shown.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub(super) struct Truth {
    pub(super) size_px: [u32; 2],
    /// Ellipse through the seen centre line: centre, semi-axes (major first), angle from +x towards +y.
    pub(super) centre_px: [f64; 2],
    pub(super) semi_axes_px: [f64; 2],
    pub(super) angle_deg: f64,
    /// The first turn's centre line from the muzzle to where the gun hides it for good, and which of it can be seen.
    pub(super) beam_px: Vec<[f64; 2]>,
    pub(super) beam_visible: Vec<bool>,
    /// Degrees of the turn that can be seen.
    pub(super) visible_deg: f64,
    pub(super) muzzle_px: [f64; 2],
    pub(super) gun_px: [f64; 2],
    pub(super) bulb_px: Vec<[f64; 2]>,
    /// Outer edge of the front coil's rim; empty without coils.
    pub(super) rim_px: Vec<[f64; 2]>,
    pub(super) rim_diameter_mm: f64,
    pub(super) labels: Vec<Label>,
    /// Diameter as seen in the ring's own plane, and carried to the scale's plane; none without a scale.
    pub(super) diameter_mm: f64,
    pub(super) diameter_in_scale_plane_mm: Option<f64>,
    /// Of the scale's plane from the muzzle's, positive towards the camera.
    pub(super) plane_offset_mm: Option<f64>,
    /// Of the camera from the bulb's centre.
    pub(super) distance_mm: f64,
    pub(super) off_axis_deg: f64,
    pub(super) focal_px: f64,
}

impl Truth {
    /// Mean of the semi-axes.
    pub(super) fn radius_px(&self) -> f64 {
        0.5 * (self.semi_axes_px[0] + self.semi_axes_px[1])
    }
}

/// The truth of a picture drawn before.
pub(super) fn read(folder: &Path) -> Option<Truth> {
    serde_json::from_str(&std::fs::read_to_string(folder.join(FILE)).ok()?).ok()
}

pub(super) fn write(folder: &Path, truth: &Truth) -> Result<(), String> {
    let text = serde_json::to_string(truth).map_err(|fault| fault.to_string())?;
    std::fs::write(folder.join(FILE), text).map_err(|fault| format!("{FILE}: {fault}"))
}

/// Gathers what is known of a drawn picture.
pub(super) fn of(scene: &FoundScene, drawn: FoundTruth, turns: f64) -> Result<Truth, String> {
    let one_turn = (drawn.ring.seen_px.len() as f64 / turns.max(1.0)).round() as usize;
    let is_seen: Vec<bool> = drawn.ring.visible.iter().copied().take(one_turn).collect();
    let end = is_seen.iter().rposition(|seen| *seen).map_or(0, |last| last + 1);
    let line: Vec<[f64; 2]> = drawn.ring.seen_px.iter().copied().take(end).collect();
    let ellipse =
        direct_ellipse(&line, None).map_err(|fault| format!("the seen line is no ellipse: {fault}"))?;
    let on_plane = |z_mm: f64| -> Result<f64, String> {
        let [x, y, z] = scene.camera.position_mm;
        let place = |way: &[f64; 3]| {
            let far = (z_mm - z) / way[2];
            Vec3::new(1e-3 * (x + far * way[0]), 1e-3 * (y + far * way[1]), 1e-3 * z_mm)
        };
        let points: Vec<Vec3> = drawn.ring.seen_along.iter().take(end).map(place).collect();
        fit_circle(&points).map(|circle| 2e3 * circle.radius_m).ok_or("its path is no ring".to_owned())
    };
    let muzzle_z = scene.gun.muzzle_mm[2];
    let scale_z = scene.scale.as_ref().map(|scale| scale.middle_mm[2]);
    let [x, y, z] = scene.camera.position_mm;
    let distance_mm = (x * x + y * y + z * z).sqrt();
    Ok(Truth {
        size_px: drawn.size_px,
        centre_px: ellipse.centre,
        semi_axes_px: ellipse.semi_axes,
        angle_deg: ellipse.angle_rad.to_degrees(),
        visible_deg: visible_deg(&line, &is_seen, ellipse.centre),
        beam_visible: is_seen.into_iter().take(end).collect(),
        beam_px: line,
        muzzle_px: drawn.muzzle_px,
        gun_px: drawn.gun_px,
        bulb_px: drawn.bulb_px,
        rim_px: drawn.rim_px,
        rim_diameter_mm: 2.0 * scene.coils.mean_radius_mm + scene.coils.winding_radial_mm,
        labels: drawn
            .labels
            .into_iter()
            .map(|l| Label {
                printed_cm: l.printed_cm,
                along_mm: l.along_mm,
                px: l.px,
                is_visible: l.is_visible,
            })
            .collect(),
        diameter_mm: on_plane(muzzle_z)?,
        diameter_in_scale_plane_mm: scale_z.map(on_plane).transpose()?,
        plane_offset_mm: scale_z.map(|z| z - muzzle_z),
        distance_mm,
        off_axis_deg: (z / distance_mm).acos().to_degrees(),
        focal_px: scene.camera.focal_px * scene.phone.rescale,
    })
}

/// Degrees about the middle in which any of the beam can be seen.
fn visible_deg(line: &[[f64; 2]], is_seen: &[bool], [x, y]: [f64; 2]) -> f64 {
    let mut parts = [false; PARTS];
    for (px, _) in line.iter().zip(is_seen).filter(|(_, seen)| **seen) {
        let turn = (px[1] - y).atan2(px[0] - x) / std::f64::consts::TAU;
        if let Some(part) = parts.get_mut((turn.rem_euclid(1.0) * PARTS as f64) as usize) {
            *part = true;
        }
    }
    360.0 * parts.iter().filter(|seen| **seen).count() as f64 / PARTS as f64
}
