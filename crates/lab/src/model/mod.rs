//! One honest model of a bench: unknowns, readings, and what each reading should have been.

pub mod coils;
pub mod data;
pub mod observe;
pub mod orbit;
pub mod unknowns;

pub use coils::FieldShape;
pub use data::{ProbeDatum, RunDatum};
pub use observe::{MASS_UNIT_KG, Model, RunState, Values, aimed, turned};
pub use orbit::{Launch, Ring, Sight};
pub use unknowns::{Scope, Unknown, Unknowns};
