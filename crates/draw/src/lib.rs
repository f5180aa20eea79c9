//! Draws photographs of a bench with a hidden truth.
//!
//! The caller hands in the beam's path as points in the bench's frame (millimetres, origin at the centre of
//! the bulb and of the coil pair, z along the coils' axis, y up) and gets a JPEG picture with the exact
//! place of what is in it. Nothing here knows how a photograph is measured, and the camera is this crate's
//! own, so that an error in the measuring code cannot be cancelled by the same error here.
//!
//! The same scene gives the same bytes on every system: elementary functions come from `libm`, the random
//! stream is seeded, and everything runs in one fixed order.
//!
//! Pixels: the centre of the top-left pixel is (0, 0), x right, y down, in the picture as it is displayed
//! (after the orientation tag has been applied).

mod bodies;
mod bulb;
mod camera;
mod canvas;
mod develop;
mod error;
mod found;
mod glass;
mod glow;
mod glyphs;
mod gun;
mod noise;
mod photograph;
mod ring;
mod scale;
mod scale_face;
mod scale_object;
mod scale_print;
mod scene;
mod vector;

pub use error::DrawError;
pub use found::{
    FOUND_CONDITIONS, FoundBeam, FoundCondition, FoundLabel, FoundPath, FoundPicture, FoundScale, FoundScene,
    FoundTruth, Gas, Ghosts, Material, Numbering, Phone, Surroundings, Wall, draw_found, found_by_lot,
};
pub use photograph::{DrawnBench, draw_bench};
pub use ring::{DrawnRing, RingTruth, draw_ring};
pub use scale::{DrawnScale, Mark, ScaleTruth, draw_scale};
pub use scale_object::{Edge, Holder, ScaleKind, ScaleObject, Surface};
pub use scene::{Beam, Bulb, Camera, Coils, Gun, Haze, Room, Scene, Sensor};
