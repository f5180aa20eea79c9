//! One file per job of the bench: calibrate, photograph, reduce.

pub mod as_read;
pub mod assume;
pub mod bench;
pub mod calibrate;
pub mod check;
pub mod combine;
pub mod demo;
pub mod desk;
pub mod document;
pub mod earth;
pub mod field;
pub mod field_unit;
pub mod gas;
pub mod model;
pub mod path;
pub mod photograph;
pub mod plan;
pub mod plausible;
pub mod reduce;
pub mod screen;
pub mod simulate;
pub mod spread;
pub mod steps;
pub mod textbook;
pub mod worksheet;

pub use desk::{Desk, LabError, VERSION};
