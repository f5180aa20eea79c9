//! The side view drawn back: the beam's points, and the helix fitted through them.

use super::{CURVE, MEASURED, MOST_POINTS, Overlay};
use crate::helix::Helix;
use crate::picture::Picture;

impl Overlay {
    /// Draws the fitted helix over the turns seen, and the beam's points (filled) on it.
    pub fn add_helix(&mut self, helix: &Helix) {
        self.canvas.line(&helix.outline_px, 0.6, CURVE);
        let step = helix.points.len().div_ceil(2 * MOST_POINTS).max(1);
        for point in helix.points.iter().step_by(step) {
            self.canvas.disc([point.x_px, point.y_px], 2.2, MEASURED);
        }
    }
}

/// The side view with the helix drawn back.
pub fn draw_helix(picture: &Picture, helix: &Helix) -> Overlay {
    let mut overlay = Overlay::new(picture);
    overlay.add_helix(helix);
    overlay
}
