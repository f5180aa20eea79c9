//! Simulated classes with a hidden truth: tables as groups hand them in, each slip made by its definition.
//!
//! Nothing here is shared with the engine that looks for slips: the rings are traced one by one on benches that differ from
//! their files, groups differ in care, and every slip is written out anew from its definition.

mod bench;
mod class;
mod group;
mod random;
mod spoil;

pub use class::{Asked, SimulatedClass, simulate};
pub use group::{GroupTruth, TrueSlip};
