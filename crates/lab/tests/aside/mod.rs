//! A camera aside of the bench with nothing before it but a beam or a scale.

use std::path::Path;

use arcmass_draw::{Beam, Camera, Room, Scene, Sensor};

/// From the lens to the axis.
pub(crate) const DISTANCE_MM: f64 = 900.0;

/// What the camera sees, the axis level in its picture.
pub(crate) fn scene(room: Room, beam: Option<Beam>) -> Scene {
    Scene {
        camera: Camera::on_axis(DISTANCE_MM, 5.6 * DISTANCE_MM, 1200, 800),
        bulb: None,
        coils: None,
        gun: None,
        beam,
        room,
        sensor: Sensor { blur_px: 0.9, ..Sensor::good() },
        seed: 5,
    }
}

/// Writes a file of the notebook.
pub(crate) fn write(root: &Path, name: &str, bytes: &[u8]) {
    std::fs::write(root.join(name), bytes).unwrap();
}
