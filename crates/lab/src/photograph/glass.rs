//! A scale behind the bulb, whose marks the glass draws together.

use arcmass_photo::glass::Shell;
use arcmass_photo::plane::ScalePlane;

use super::measure::Job;
use crate::assume::GLASS_INDEX;
use crate::document::CaveatEntry;

/// What the glass before a scale does to the diameter.
pub(super) struct BehindGlass {
    /// To be multiplied with.
    pub(super) factor: f64,
    /// Its standard uncertainty.
    pub(super) u: f64,
    /// Said beside the diameter.
    pub(super) caveat: CaveatEntry,
}

/// Wall of a common tube where the bench file is silent, in parts of the radius (common practice, no source).
const USUAL_WALL: f64 = 0.02;
/// Standard uncertainty in parts of the correction: walls are uneven, and some marks lie beside the bulb's picture.
const STATED_WALL_U: f64 = 0.15;
const USUAL_WALL_U: f64 = 0.4;
/// Marks within this part of the bulb's radius are thought to make the scale.
const SEEN: f64 = 0.7;

impl Job<'_> {
    /// The correction where the scale stands further behind the ring than the bulb reaches; none elsewhere.
    ///
    /// Nobody puts a scale there with the tube taken out, where the ring's own plane is free.
    pub(super) fn scale_behind_glass(&self, plane: &ScalePlane) -> Option<BehindGlass> {
        let outer_mm = 1e3 * self.apparatus.bulb_radius_m?;
        let behind_mm = -1e3 * self.apparatus.scale_offset.value;
        if behind_mm < outer_mm {
            return None;
        }
        let usual = Shell { outer_mm, inner_mm: (1.0 - USUAL_WALL) * outer_mm, index: GLASS_INDEX };
        let (shell, part_u) =
            self.apparatus.glass.map_or((usual, USUAL_WALL_U), |stated| (stated, STATED_WALL_U));
        let lens_mm =
            self.apparatus.camera_distance.map_or(plane.camera_mm[2] - behind_mm, |known| 1e3 * known.value);
        if lens_mm <= outer_mm {
            return None;
        }
        let factor = shell.shrinks(lens_mm, behind_mm, SEEN * outer_mm);
        let percent = 100.0 * (1.0 - factor);
        Some(BehindGlass {
            factor,
            u: part_u * (1.0 - factor),
            caveat: CaveatEntry {
                code: "scale-through-glass".to_owned(),
                sentence: format!(
                    "the scale should stand in the ring's plane; it is seen {behind_mm:.0} mm behind, through the bulb, whose glass makes its marks look {percent:.1} % closer together, which was taken off"
                ),
                remedy:
                    "take the tube out when it is cold and off, and photograph a scale where the ring was"
                        .to_owned(),
            },
        })
    }
}
