//! The Earth's field at the bench's place and date, in the bench's frame.

use arcmass_notebook::Place;

use crate::assume::Known;
use crate::desk::LabError;

/// Background along +x, +y, +z with the model's published uncertainty.
pub fn background(_place: &Place) -> Result<[Known; 3], LabError> {
    Err(LabError::lacking("bench.toml", "waiting", "waiting"))
}
