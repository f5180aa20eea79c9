//! What this crate could not do, and what to try.

use crate::vec3::Vec3;

/// Why a flux density can't be given.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum FieldError {
    /// The point lies on a current-carrying line without thickness, where the field has no value.
    #[error(
        "a flux density is wanted on the wire itself, at ({x}, {y}, {z}) m, where it has no value; \
         move the point off the wire or give the winding its section",
        x = .0.x, y = .0.y, z = .0.z
    )]
    OnWire(Vec3),
    /// A coordinate is infinite or not a number.
    #[error("a point needs three finite coordinates in metres; got ({x}, {y}, {z})", x = .0.x, y = .0.y, z = .0.z)]
    PointNotFinite(Vec3),
    /// A coil's measure is out of range.
    #[error("{what} must be {must}; got {got}")]
    BadCoil {
        /// Which measure, with its unit.
        what: &'static str,
        /// What it must be.
        must: &'static str,
        /// What was found.
        got: f64,
    },
    /// A coil's axis has no direction.
    #[error("a coil's axis must have a direction; got ({x}, {y}, {z})", x = .0.x, y = .0.y, z = .0.z)]
    BadAxis(Vec3),
    /// A series was asked for coils that don't share an axis.
    #[error(
        "a field prepared as a series needs circular coils on one axis; coil {index} is not; use the direct field"
    )]
    NotCoaxial {
        /// Which winding, counted from 0.
        index: usize,
    },
    /// A region reaches the conductors.
    #[error(
        "a field prepared as a series must stay inside {limit_m} m, the nearest conductor; asked for {radius_m} m; \
         ask for a smaller region or use the direct field"
    )]
    RegionReachesCoil {
        /// Asked for.
        radius_m: f64,
        /// Distance of the nearest conductor from the centre.
        limit_m: f64,
    },
}

/// Why a motion can't be given.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum MotionError {
    /// The kinetic energy is not above zero.
    #[error("kinetic energy must be above 0 J and finite; got {0} J")]
    NotAccelerated(f64),
    /// There is no field to bend the path.
    #[error("flux density must differ from 0 T and be finite; got {0} T")]
    NoField(f64),
    /// A quantity is out of range.
    #[error("{what} must be {must}; got {got}")]
    OutOfRange {
        /// Which quantity, with its unit.
        what: &'static str,
        /// What it must be.
        must: &'static str,
        /// What was found.
        got: f64,
    },
}

/// Why a path can't be followed.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum PathError {
    /// The field can't be had at a point of the path.
    #[error("the path can't be followed further: {0}")]
    Field(#[from] FieldError),
    /// The start makes no sense.
    #[error("{what} must be {must}; got {got}")]
    OutOfRange {
        /// Which quantity, with its unit.
        what: &'static str,
        /// What it must be.
        must: &'static str,
        /// What was found.
        got: f64,
    },
    /// The direction of the start has no length.
    #[error("the beam's direction must have a length; got ({x}, {y}, {z})", x = .0.x, y = .0.y, z = .0.z)]
    NoDirection(Vec3),
    /// The path did not come to its end within the allowed length.
    #[error(
        "the path did not turn as far as asked within {length_m} m; it turned by {turned_rad:.3} rad; \
         raise the coil current or the allowed length"
    )]
    TooLong {
        /// Length followed.
        length_m: f64,
        /// Angle turned, seen along z.
        turned_rad: f64,
    },
    /// The step had to become smaller than rounding allows.
    #[error("the path can't be followed to the wanted accuracy near ({x}, {y}, {z}) m; the field changes too abruptly there; \
         ask for less accuracy", x = .0.x, y = .0.y, z = .0.z)]
    StepTooSmall(Vec3),
}
