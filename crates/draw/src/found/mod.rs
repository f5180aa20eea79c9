//! Photographs as found in laboratories: a hand-held phone, the whole bench, whatever light there is.

mod bench;
mod brush;
mod by_lot;
mod condition;
mod digits;
mod gun;
mod lens;
mod light;
mod lot;
mod paint;
mod phone;
mod room;
mod rule;
mod scene;
mod supplies;
mod tube;

pub use by_lot::{FoundPath, found_by_lot};
pub use condition::{FOUND_CONDITIONS, FoundCondition};
pub use paint::{FoundLabel, FoundPicture, FoundTruth, draw_found};
pub use scene::{
    FoundBeam, FoundScale, FoundScene, Gas, Ghosts, Material, Numbering, Phone, Surroundings, Wall,
};
