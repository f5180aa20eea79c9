//! The scale's plane as the camera sees it when the ring is photographed: where it was, or where what stands still says it went.

use arcmass_photo::plane::{Moved, ScalePlane};
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
    /// What stands still on that photograph, where enough is seen.
    still: Option<StillEdges>,
    /// Whether the bench file says that the camera was not touched.
    is_fixed: bool,
}

/// Focal lengths that the camera wrote differ by less than this relatively unless the lens was zoomed.
const SAME_LENS: f64 = 0.02;
/// Where the camera stood still edges lie less than this from their places, in parts of the picture's longer side: 0.0001 to
/// 0.00025 in 68 pairs of drawn photographs, above 0.0013 in 18 with a camera moved by some millimetres.
const STILL_PICTURES: f64 = 0.0004;
/// And less than this many times what they scatter about any motion: light from another side moves edges, but not alike.
const STILL_SPREADS: f64 = 1.5;
/// A motion changes the diameter for certain from so many standard uncertainties of its growth on.
const CERTAIN: f64 = 4.0;
/// By how much a camera that was touched may stand nearer or farther: standard uncertainty in millimetres (common practice with
/// stands and tables, no source).
const TOUCHED_MM: f64 = 5.0;
/// Code of the caveat on a scale whose camera could not be compared with the ring's.
pub(super) const UNCHECKED: &str = "camera-unchecked";

impl Calibrated {
    /// Remembers what stands still beside the plane.
    pub(super) fn of(
        picture: &Picture,
        plane: ScalePlane,
        standard: Standard,
        apparatus: &Apparatus,
    ) -> Self {
        let still = StillEdges::on_scale_photo(picture, &plane, &faces(apparatus));
        let size_px = [picture.width(), picture.height()];
        let focal_length_mm = picture.facts().focal_length_mm;
        Self { plane, standard, size_px, focal_length_mm, still, is_fixed: apparatus.is_camera_fixed }
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
        Ok(self.carried(ring))
    }

    /// The plane as the ring's camera sees it.
    fn carried(&self, ring: &Picture) -> ScalePlane {
        let moved = self.still.as_ref().and_then(|still| still.moved(ring, &self.plane));
        match moved {
            Some(moved) if self.is_still(&moved, ring) => self.plane.clone(),
            Some(moved) => self.after(&moved).unwrap_or_else(|| self.unchecked()),
            None if self.is_fixed => self.plane.clone(),
            None => self.unchecked(),
        }
    }

    /// Whether nothing is where another camera would see it.
    fn is_still(&self, moved: &Moved, ring: &Picture) -> bool {
        let least = STILL_PICTURES * ring.width().max(ring.height()) as f64;
        let is_certain = self
            .plane
            .shifted(moved)
            .is_some_and(|shifted| shifted.growth.abs() > CERTAIN * shifted.growth_u);
        moved.edges_px < least || (moved.edges_px < STILL_SPREADS * moved.spread_px && !is_certain)
    }

    /// The plane carried along with the camera.
    fn after(&self, moved: &Moved) -> Option<ScalePlane> {
        let shifted = self.plane.shifted(moved)?;
        let mut plane = self.plane.moved_by(moved)?;
        plane.caveats.push(PhotoCaveat::new(
            "camera-moved",
            format!(
                "the camera must not move between ring and scale, but what stands still stands {:.1} pixels elsewhere; the scale was carried along, which changes the diameter by {:+.2} %",
                shifted.shift_px,
                -100.0 * shifted.growth
            ),
            "clamp the camera, use a remote release, and photograph the scale again without touching it",
        ));
        Some(plane)
    }

    /// The plane as it was, with what an unseen motion would do to it.
    fn unchecked(&self) -> ScalePlane {
        let relative_u = TOUCHED_MM / self.plane.camera_mm[2].max(1.0);
        let mut plane = self.plane.unchecked(relative_u);
        plane.caveats.push(PhotoCaveat::new(
            UNCHECKED,
            format!(
                "whether the camera stood still between ring and scale could not be checked, as nothing that stands still is seen on both photographs; {TOUCHED_MM:.0} mm nearer or farther would change the diameter by {:.1} %, which the uncertainty of every ring measured with this scale now holds",
                100.0 * relative_u
            ),
            "leave a little light on the coils and the bench in both photographs, or write `fixed = true` under [camera] if nobody touched the camera",
        ));
        plane
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
