//! Fields of coils and the path of an electron through them, in SI units, relativistic throughout.

// Columns of a block are read side by side by index, which the compiler turns into vectors; and a comparison is negated
// where a value that is no number must fail it.
#![allow(clippy::needless_range_loop, clippy::neg_cmp_op_on_partial_ord)]

pub mod bundle;
pub mod coil;
mod collocation;
mod dual;
pub mod earth;
pub mod electric;
pub mod elliptic;
pub mod error;
mod fourfold;
pub mod gas;
mod gauss;
pub mod gun;
mod lane8;
mod lanes;
pub mod many;
pub mod motion;
pub mod neighbours;
pub mod path;
pub mod prepared;
pub mod ring;
mod step;
mod threads;
pub mod vec3;
pub mod winding;
mod zonal;

pub use bundle::{Arrival, Launch, follow_bundle};
pub use coil::{Loop, RectangularLoop};
pub use electric::{Ended, Moment, MotionOptions, MotionUntil, MovingPath, Plates, follow_motion};
pub use error::{FieldError, MotionError, PathError};
pub use gun::{Beam, BeamWidth, Gun};
pub use lanes::VectorWidth;
pub use many::{HowWide, VectorColumns};
pub use motion::{Motion, Particle};
pub use path::{MagneticField, Path, TraceOptions, Until, trace};
pub use prepared::{BenchField, PreparedField};
pub use ring::{Circle, GunShape, PathSummary, Surroundings, fit_circle, summarise};
pub use vec3::{Mat3, Vec3};
pub use winding::{CoilSet, Misalignment, Shape, Winding};
