//! Measures the glowing ring on a photograph, blind to the readings of the meters.

pub mod camera;
pub mod error;
pub mod glow;
pub mod load;
pub mod overlay;
pub mod picture;
pub mod plane;
pub mod ring;
pub mod scale;
pub mod trace;

pub use error::{PhotoCaveat, PhotoError};
pub use picture::{LightPlane, Picture, ShotFacts};
