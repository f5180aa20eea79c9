//! One ring, one number: how a diameter is told wherever it stands, so that no two stations differ.
//!
//! *The* diameter of a ring is the one on its photograph, in the muzzle's plane. The two that differ carry their names where
//! they stand: in the scale's plane, and after the fit.

use arcmass_lab::document::{PathDocument, PhotoEntry};
use arcmass_lab::photograph::opened::Seen;
use arcmass_notebook::Run;
use arcmass_quantity::print;
use serde_json::{Value, json};

use super::words::{fixed, plus_minus};

/// The predicted diameter with its uncertainty, mm.
pub(super) fn predicted(path: &PathDocument) -> Option<String> {
    let diameter = path.fitted_diameter_mm?;
    Some(match path.fitted_diameter_standard_uncertainty_mm {
        Some(u) if u > 0.0 => print::plus_minus(diameter, u),
        _ => fixed(diameter, -1),
    })
}

/// The diameter as it is measured on a photograph, mm.
pub(super) fn of_photo(photo: &PhotoEntry) -> Option<String> {
    photo.ring_diameter_mm.as_ref().map(plus_minus)
}

/// The diameter as it was read by hand, mm.
pub(super) fn of_table(run: &Run) -> Option<String> {
    let diameter = run.diameter.as_ref()?;
    Some(match diameter.standard_uncertainty_m {
        Some(u) if u > 0.0 => print::plus_minus(1e3 * diameter.value_m, 1e3 * u),
        _ => fixed(1e3 * diameter.value_m, -1),
    })
}

/// What the Ring station writes for a photograph that is open: the diameter, and the one in the scale's plane where that reads otherwise.
pub(super) fn of_open(seen: &Seen) -> Value {
    let entry = seen.entry.as_ref();
    let ring = entry.and_then(of_photo);
    let plane = entry.and_then(|entry| entry.ring_diameter_in_scale_plane_mm.as_ref()).map(plus_minus);
    json!({ "ring": ring, "plane": plane.filter(|plane| Some(plane) != ring.as_ref()) })
}
