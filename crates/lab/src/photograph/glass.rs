//! A scale behind the bulb, whose marks the glass draws together.

use arcmass_photo::Picture;
use arcmass_photo::glass::Shell;
use arcmass_photo::plane::ScalePlane;
use arcmass_photo::propose::propose;
use arcmass_photo::scale::ScaleFound;

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
/// A phone's distance from a bench where none is stated, mm (common practice, no source).
const USUAL_LENS_MM: f64 = 1200.0;
/// Standard uncertainty in parts of the correction: walls are uneven, and some marks lie beside the bulb's picture.
const STATED_WALL_U: f64 = 0.15;
const USUAL_WALL_U: f64 = 0.4;
/// Marks within this part of the bulb's radius are thought to make the scale.
const SEEN: f64 = 0.7;

/// Part of the outline's radius within which a mark is corrected.
const WITHIN_RIM: f64 = 0.85;
/// Least score of the bulb's outline, as the picture shows it, to be used.
const BULB_SEEN: f64 = 0.4;

impl Job<'_> {
    /// Moves numbers of a scale that stands behind the bulb, each by what the glass does where it is seen; those beside the bulb
    /// stay. Nothing is moved where the bulb is not seen, or its size not stated.
    pub(super) fn without_glass(&self, picture: &Picture, found: &mut ScaleFound) {
        let (Some(outer_m), [first, .., last]) = (self.apparatus.bulb_radius_m, found.hand_marks.as_slice())
        else {
            return;
        };
        let (outer_mm, behind_mm) = (1e3 * outer_m, -1e3 * self.apparatus.scale_offset.value);
        let (Some(from), Some(to)) = (first.along_mm, last.along_mm) else { return };
        if behind_mm < outer_mm || from == to {
            return;
        }
        let Some(bulb) = propose(picture).bulb.filter(|bulb| bulb.score >= BULB_SEEN) else { return };
        let px_per_mm = (first.x_px - last.x_px).hypot(first.y_px - last.y_px) / (to - from).abs();
        let usual = Shell { outer_mm, inner_mm: (1.0 - USUAL_WALL) * outer_mm, index: GLASS_INDEX };
        let shell = self.apparatus.glass.unwrap_or(usual);
        let lens_mm = self.apparatus.camera_distance.map_or(USUAL_LENS_MM, |known| 1e3 * known.value);
        for mark in &mut found.hand_marks {
            let (x, y) = (mark.x_px - bulb.centre_px[0], mark.y_px - bulb.centre_px[1]);
            let seen_mm = x.hypot(y) / px_per_mm;
            // nearer to the rim the glass throws marks about by more than its outline is known to
            if seen_mm > 0.0 && x.hypot(y) < WITHIN_RIM * bulb.radius_px {
                let grown = shell.behind(lens_mm, behind_mm, seen_mm) / seen_mm;
                (mark.x_px, mark.y_px) = (bulb.centre_px[0] + grown * x, bulb.centre_px[1] + grown * y);
            }
        }
    }

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
