//! What a notebook holds, typed: the bench, the runs, the field tables, the marks made by hand.
//!
//! Everything is in SI units. What the folder does not say is `None`; the defaults for a silent file belong to whoever
//! uses the notebook, because each of them must be said aloud in a caveat.

mod bench;
mod class;
mod field;
mod reading;

pub use bench::{
    Bench, Bulb, Camera, Coil, CoilShape, Date, Gun, Meter, Meters, Pair, PairGeometry, Particle, Place,
    Scale, ScaleKind, Surroundings,
};
pub use class::{AskedColumn, AskedColumns, ClassGroup, ClassMethod, ClassRow, ClassTable, Written};
pub use field::{BalanceRow, BalanceTable, HandMark, HandMarks, Load, MarkKind, ProbeRow, ProbeTable};
pub use reading::{Diameter, DiameterKind, Edge, Reading, Readings, Run, View};

/// A sign: of the field a positive ammeter reading makes, of a coil in a set, of the leads.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default)]
pub enum Sense {
    /// Along +z, or leads as the bench file describes them.
    #[default]
    Plus,
    /// Along −z, or leads reversed.
    Minus,
}

impl Sense {
    /// +1 or −1.
    pub fn sign(self) -> f64 {
        match self {
            Self::Plus => 1.0,
            Self::Minus => -1.0,
        }
    }
}

/// An axis of the bench's frame.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default)]
pub enum Axis {
    /// Horizontal, across the coils' axis.
    X,
    /// Up.
    Y,
    /// The coils' axis, towards the front camera.
    #[default]
    Z,
}

impl Axis {
    /// 0, 1 or 2.
    pub fn index(self) -> usize {
        match self {
            Self::X => 0,
            Self::Y => 1,
            Self::Z => 2,
        }
    }
}

/// A file that went into the notebook, with the hash of its bytes.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Input {
    /// Name relative to the notebook folder, with `/`.
    pub file: String,
    /// SHA-256 in lower-case hexadecimal digits.
    pub sha256: String,
}
