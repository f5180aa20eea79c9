//! Units, measured values and constants of a charged-particle-beam bench.
//!
//! Values are kept in SI units inside and shown in the units of the trade at the edges. A [`Measured`] value remembers
//! *why* it is uncertain: two values that share a cause stay correlated through every calculation.
//!
//! ```
//! use arcmass_quantity::{dimension, text};
//! let radius = text::parse("150.0(5) mm", dimension::LENGTH)?;
//! assert_eq!(radius.value, 0.150);
//! assert!((radius.standard_uncertainty().unwrap_or(0.0) - 0.0005).abs() < 1e-15);
//! # Ok::<(), text::TextFault>(())
//! ```

pub mod constants;
pub mod dimension;
pub mod measured;
pub mod misread;
pub mod number;
pub mod outcome;
pub mod print;
pub mod quantities;
pub mod text;
pub mod unit;

pub use constants::Constant;
pub use dimension::Dimension;
pub use measured::{Cause, Measured};
pub use outcome::{Caveat, Outcome};
pub use quantities::{
    Angle, Current, Energy, FieldPerAmpere, FluxDensity, Length, Mass, Momentum, Pressure, Scalar, Speed,
    Voltage,
};
pub use text::{Stated, Uncertainty};
pub use unit::Unit;
