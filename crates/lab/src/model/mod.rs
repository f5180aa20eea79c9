//! One honest model of a bench: unknowns, readings, and what each reading should have been.

pub mod coils;
pub mod data;
mod field_rows;
pub mod observe;
pub mod orbit;
mod ring_field;
mod rows;
pub mod unknowns;
pub mod values;

pub use coils::FieldShape;
pub use data::{ProbeDatum, RunDatum};
pub use observe::{GUESSED_DIAMETER_U_M, Model, RunState};
pub use orbit::{Camera, Launch, Ring, Sight, Turn};
pub use ring_field::FieldMet;
pub use rows::Shapes;
pub use unknowns::{Scope, Unknown, Unknowns};
pub use values::{MASS_UNIT_KG, Values, aimed, turned};
