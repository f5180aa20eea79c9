//! Fields of coils and the path of an electron through them, in SI units, relativistic throughout.

pub mod coil;
mod dual;
pub mod elliptic;
pub mod error;
mod gauss;
pub mod motion;
pub mod vec3;
pub mod winding;

pub use coil::{Loop, RectangularLoop};
pub use error::{FieldError, MotionError, PathError};
pub use motion::{Motion, Particle};
pub use vec3::{Mat3, Vec3};
pub use winding::{CoilSet, Shape, Winding};
