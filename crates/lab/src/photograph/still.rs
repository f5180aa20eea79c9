//! The scale's plane as the camera sees it when the ring is photographed: where it was, or where the coils say it went.

use arcmass_photo::plane::ScalePlane;
use arcmass_photo::still::{CoilFace, StillEdges};
use arcmass_photo::{PhotoCaveat, Picture};

use super::stands::Standard;
use crate::assume::{Apparatus, CoilsKnown};
use crate::document::FailedPhoto;

/// A plane from one photograph, for rings on others.
#[derive(Clone)]
pub(super) struct Calibrated {
    /// As the scale's photograph shows it.
    pub(super) plane: ScalePlane,
    /// What gave it its millimetres.
    pub(super) standard: Standard,
    size_px: [usize; 2],
    focal_length_mm: Option<f64>,
    /// The coils on that photograph, where they are seen.
    still: Option<StillEdges>,
}

/// Focal lengths that the camera wrote differ by less than this relatively unless the lens was zoomed.
const SAME_LENS: f64 = 0.02;
/// Where the camera stood still the coils' edges lie less than this from their places, in parts of the picture's longer
/// side: 0.0001 to 0.00025 in 68 pairs of drawn photographs, above 0.0013 in 18 with a camera moved by some millimetres.
const STILL_PICTURES: f64 = 0.0004;
/// And less than this many times what they scatter about any motion: light from another side moves edges, but not alike.
const STILL_SPREADS: f64 = 1.5;

impl Calibrated {
    /// Remembers the coils beside the plane.
    pub(super) fn of(
        picture: &Picture,
        plane: ScalePlane,
        standard: Standard,
        apparatus: &Apparatus,
    ) -> Self {
        let faces = faces(apparatus);
        let still = if faces.is_empty() { None } else { StillEdges::on_scale_photo(picture, &plane, &faces) };
        let size_px = [picture.width(), picture.height()];
        Self { plane, standard, size_px, focal_length_mm: picture.facts().focal_length_mm, still }
    }

    /// The plane for a ring's photograph `name`, which is another picture than the scale's.
    ///
    /// - **Fails** where the two pictures can't come from one camera left as it was.
    pub(super) fn plane_for(&self, name: &str, ring: &Picture) -> Result<ScalePlane, FailedPhoto> {
        let size_px = [ring.width(), ring.height()];
        let failed = |sentence: String| {
            FailedPhoto {
            photo: name.to_owned(),
            sentence,
            remedy: "photograph ring and scale with the same camera at the same setting, and give both as they are"
                .to_owned(),
        }
        };
        if size_px != self.size_px {
            let [[a, b], [c, d]] = [size_px, self.size_px];
            return Err(failed(format!(
                "ring and scale must be of one size; this photograph has {a} × {b} pixels and that of its scale {c} × {d}"
            )));
        }
        if let (Some(here), Some(there)) = (ring.facts().focal_length_mm, self.focal_length_mm)
            && (here / there - 1.0).abs() > SAME_LENS
        {
            return Err(failed(format!(
                "ring and scale must be taken at one focal length; the camera wrote {here} mm here and {there} mm at the scale"
            )));
        }
        Ok(self.moved(ring).unwrap_or_else(|| self.plane.clone()))
    }

    fn moved(&self, ring: &Picture) -> Option<ScalePlane> {
        let moved = self.still.as_ref()?.moved(ring, &self.plane)?;
        let least = STILL_PICTURES * ring.width().max(ring.height()) as f64;
        let do_agree = 2 * moved.edges_used > moved.edges_seen;
        if !do_agree || moved.edges_px < least.max(STILL_SPREADS * moved.spread_px) {
            return None;
        }
        let shifted = self.plane.shifted(&moved)?;
        let mut plane = self.plane.moved_by(&moved)?;
        plane.caveats.push(PhotoCaveat::new(
            "camera-moved",
            format!(
                "the camera must not move between ring and scale, but the coils stand {:.1} pixels elsewhere; the scale was carried along, which changes the diameter by {:+.2} %",
                shifted.shift_px,
                -100.0 * shifted.growth
            ),
            "clamp the camera, use a remote release, and photograph the scale again without touching it",
        ));
        Some(plane)
    }
}

/// The flat faces of a coaxial pair, from the plane of the scale.
fn faces(apparatus: &Apparatus) -> Vec<CoilFace> {
    let Some(CoilsKnown::Pair { shape, mean_radius, separation, winding_radial_m, winding_axial_m, .. }) =
        &apparatus.coils
    else {
        return Vec::new();
    };
    let scale_z = apparatus.gun.muzzle_m.map_or(0.0, |muzzle| muzzle[2]) + apparatus.scale_offset.value;
    let half = 0.5 * winding_radial_m;
    let face = |coil: f64, side: f64| CoilFace {
        above_mm: 1e3 * (0.5 * coil * separation.value + 0.5 * side * winding_axial_m - scale_z),
        rims_mm: [-half, half].map(|out| 1e3 * (mean_radius.value + out)),
        is_square: *shape == arcmass_notebook::CoilShape::Square,
    };
    let sides = [-1.0, 1.0];
    sides.iter().flat_map(|coil| sides.map(|side| face(*coil, side))).collect()
}
