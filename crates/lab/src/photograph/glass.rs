//! A scale behind the bulb, whose marks the glass draws together.

use arcmass_photo::glass::{BulbBefore, Shell};
use arcmass_photo::plane::{CameraHints, ScalePlane};
use arcmass_photo::propose::{Proposal, propose};
use arcmass_photo::scale::{ScaleFound, scale_by_rhythm};
use arcmass_photo::{PhotoCaveat, Picture};

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

/// Relative standard uncertainties of a usual distance and of the size of an outline as the picture shows it.
const USUAL_LENS_U: f64 = 0.3;
const OUTLINE_U: f64 = 0.05;
/// A scale seen from 5° to 35° aside looks so much shorter, with this standard deviation.
const SLANT: f64 = 0.96;
const SLANT_U: f64 = 0.04;
/// Two ways to the same size may differ by so many standard uncertainties.
const AGREE: f64 = 3.0;
/// Least score of the bulb's outline, as the picture shows it, to be used.
const BULB_SEEN: f64 = 0.4;

impl Job<'_> {
    /// The bulb before a scale that stands further behind the ring than the bulb reaches; none where it is not seen, or its size not
    /// stated.
    pub(super) fn bulb_before(&self, picture: &Picture) -> Option<BulbBefore> {
        if self.is_scale_behind_bulb() { self.bulb_seen(&propose(picture)) } else { None }
    }

    /// Whether the scale stands further behind the ring than the bulb reaches.
    pub(super) fn is_scale_behind_bulb(&self) -> bool {
        self.apparatus.bulb_radius_m.is_some_and(|outer_m| self.behind_mm() >= 1e3 * outer_m)
    }

    fn behind_mm(&self) -> f64 {
        -1e3 * self.apparatus.scale_offset.value
    }

    fn bulb_seen(&self, proposal: &Proposal) -> Option<BulbBefore> {
        let outer_mm = 1e3 * self.apparatus.bulb_radius_m?;
        let bulb = proposal.bulb.filter(|bulb| bulb.score >= BULB_SEEN)?;
        let usual = Shell { outer_mm, inner_mm: (1.0 - USUAL_WALL) * outer_mm, index: GLASS_INDEX };
        let lens_mm = self.apparatus.camera_distance.map_or(USUAL_LENS_MM, |known| 1e3 * known.value);
        Some(BulbBefore {
            centre_px: bulb.centre_px,
            radius_px: bulb.radius_px,
            shell: self.apparatus.glass.unwrap_or(usual),
            lens_mm: lens_mm.max(2.0 * outer_mm),
            behind_mm: self.behind_mm(),
        })
    }

    /// The scale of a picture of the whole bench by the rhythm of its centimetres, their size told by the bulb's outline or by lens and
    /// distance; none where these contradict each other.
    pub(super) fn scale_by_rhythm(&self, picture: &Picture, camera: &CameraHints) -> Option<ScaleFound> {
        let proposal = propose(picture);
        let bar = proposal.scale?;
        let bulb = self.bulb_seen(&proposal);
        let by_bulb = bulb.map(|bulb| {
            let distance_u = camera.distance_mm.map_or(USUAL_LENS_U, |(mm, u)| u / mm);
            // how much further the scale is than the bulb's centre, by a distance that is not well known
            let further = bulb.behind_mm / (bulb.lens_mm + bulb.behind_mm);
            let u = OUTLINE_U.hypot(further * distance_u);
            (bulb.focal_px() / (bulb.lens_mm + bulb.behind_mm), u)
        });
        let by_lens = camera.focal_px.zip(camera.distance_mm).map(|((focal, focal_u), (mm, mm_u))| {
            (focal / (mm + self.behind_mm()), (focal_u / focal).hypot(mm_u / mm))
        });
        let (px_per_mm, u) = agreed(by_bulb, by_lens)?;
        // the camera looks at the scale at a slant, which shortens it
        let expected = (px_per_mm * SLANT, u.hypot(SLANT_U));
        let before = bulb.filter(|bulb| bulb.behind_mm >= bulb.shell.outer_mm);
        let mut found = scale_by_rhythm(picture, &bar, expected, before.as_ref())?;
        if let Some(bulb) = before {
            found.caveats.push(PhotoCaveat::new(
                "scale-through-glass",
                format!(
                    "the scale should stand in the ring's plane; it is seen {:.0} mm behind, through the bulb, whose glass draws its marks together, each by its own amount, which was taken off",
                    bulb.behind_mm
                ),
                "take the tube out when it is cold and off, and photograph a scale where the ring was",
            ));
        }
        Some(found)
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

/// Weighted mean of two relative quantities, of one alone, or none where they contradict each other.
fn agreed(a: Option<(f64, f64)>, b: Option<(f64, f64)>) -> Option<(f64, f64)> {
    let (Some((x, u)), Some((y, v))) = (a, b) else { return a.or(b) };
    let (one, other) = (u.powi(-2), v.powi(-2));
    let is_one = (x / y).ln().abs() < AGREE * u.hypot(v);
    is_one.then(|| ((x * one + y * other) / (one + other), (one + other).sqrt().recip()))
}

#[cfg(test)]
mod tests {
    use super::agreed;

    #[test]
    fn two_ways_to_a_size_are_weighed_or_refused() {
        let (mean, u) = agreed(Some((2.0, 0.05)), Some((2.2, 0.05))).unwrap_or_default();
        assert!((mean - 2.1).abs() < 1e-12 && (u - 0.05 / 2.0_f64.sqrt()).abs() < 1e-12, "{mean} {u}");
        assert_eq!(agreed(Some((2.0, 0.05)), Some((3.0, 0.05))), None);
        assert_eq!(agreed(None, Some((3.0, 0.05))), Some((3.0, 0.05)));
    }
}
