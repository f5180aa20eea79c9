//! The field as measured, by probe or by balance, and the marks made by hand on photographs.

use super::{Axis, Input};

/// A table of coil current against flux density.
#[derive(Debug, Clone, PartialEq)]
pub struct ProbeTable {
    /// In the order of the file.
    pub rows: Vec<ProbeRow>,
    /// The header's unit suffix as written, such as `mT`.
    pub unit: String,
    /// The file and its hash.
    pub input: Input,
}

/// One reading of the probe.
#[derive(Debug, Clone, PartialEq)]
pub struct ProbeRow {
    /// Ammeter, A; negative with reversed leads.
    pub current_a: f64,
    /// Probe, T, along the component's positive direction.
    pub flux_density_t: f64,
    /// Which component.
    pub component: Axis,
    /// Where, in the bench's frame, m.
    pub at_m: [f64; 3],
    /// The whole bench turned about the vertical, degrees.
    pub bench_turned_deg: f64,
    /// Whether the probe was turned end for end.
    pub probe_reversed: bool,
    /// Anything else.
    pub remark: Option<String>,
    /// Line of the table, counted from 1.
    pub line: usize,
}

/// A table of coil current against the force on a straight wire.
#[derive(Debug, Clone, PartialEq)]
pub struct BalanceTable {
    /// In the order of the file.
    pub rows: Vec<BalanceRow>,
    /// The file and its hash.
    pub input: Input,
}

/// One reading of the balance.
#[derive(Debug, Clone, PartialEq)]
pub struct BalanceRow {
    /// Through the coils, A; negative with reversed leads.
    pub current_a: f64,
    /// Through the wire, A.
    pub wire_current_a: f64,
    /// Length of the wire across the field, m.
    pub wire_length_m: f64,
    /// What the balance showed.
    pub load: Load,
    /// Anything else.
    pub remark: Option<String>,
    /// Line of the table, counted from 1.
    pub line: usize,
}

/// What a balance shows.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Load {
    /// A force, N.
    Force(f64),
    /// A mass, kg; the local acceleration of free fall turns it into a force.
    Mass(f64),
}

/// What a person marked on one photograph.
#[derive(Debug, Clone, PartialEq)]
pub struct HandMarks {
    /// The photograph, relative to `photos/`.
    pub photo: String,
    /// In the order of the file.
    pub marks: Vec<HandMark>,
    /// The file and its hash.
    pub input: Input,
}

/// One mark.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct HandMark {
    /// What it marks.
    pub what: MarkKind,
    /// Centre of the top-left pixel is 0, to the right.
    pub x_px: f64,
    /// Centre of the top-left pixel is 0, down.
    pub y_px: f64,
    /// Along the scale, m, always there for a mark on the scale; of a mark on bulb or coil its diameter, m.
    pub along_m: Option<f64>,
    /// Across the scale, m.
    pub across_m: Option<f64>,
    /// Line of the table, counted from 1.
    pub line: usize,
}

/// What a mark stands on.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum MarkKind {
    /// The beam's centre line.
    Beam,
    /// A mark of the scale.
    Scale,
    /// The bulb's outline; `along_m` is its outer diameter where the bench file's is not meant.
    Bulb,
    /// The outer rim of the coil nearer to the camera; `along_m` is its outer diameter where the bench file's is not meant.
    Coil,
    /// Something that must not be taken for the beam.
    LeaveOut,
}
