//! A class's table: what each group wrote, row by row.

use std::collections::BTreeMap;

use super::{Edge, Input, Sense};
use crate::fault::Fault;

/// A number as somebody wrote it.
#[derive(Debug, Clone, PartialEq)]
pub struct Written {
    /// SI.
    pub value: f64,
    /// Half a unit of its last figure, SI.
    pub half_unit: f64,
    /// As it stands in the table, without blanks around it.
    pub text: String,
}

/// How a group's result was made from its rows.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum ClassMethod {
    /// Mean of the rows' masses.
    Mean,
    /// From the mean of the rows' charge-to-mass ratios.
    MeanRatio,
    /// From the slope of a line of r² against V, or of V against r².
    Slope,
}

/// A column as it was asked for: its name, and its unit in SI units.
#[derive(Debug, Clone, PartialEq)]
pub struct AskedColumn {
    /// As the contract names it, `voltage_kV`.
    pub name: &'static str,
    /// One of its units in SI units.
    pub unit: f64,
}

/// What the table's heading asked for.
#[derive(Debug, Clone, PartialEq)]
pub struct AskedColumns {
    /// `voltage_V` or another unit.
    pub voltage: AskedColumn,
    /// `current_A` or another unit.
    pub current: AskedColumn,
    /// `diameter_mm`, `radius_mm`, or another unit.
    pub length: AskedColumn,
    /// Whether the radius was asked for.
    pub is_radius: bool,
    /// The group's own flux density, if the table has it.
    pub flux_density: Option<AskedColumn>,
}

/// One reading of one group.
#[derive(Debug, Clone, PartialEq)]
pub struct ClassRow {
    /// Line of the file, the first being 1.
    pub line: usize,
    /// Of the accelerating voltage, V.
    pub voltage: Written,
    /// Of the coil current, A.
    pub current: Written,
    /// Diameter or radius, as asked for, m.
    pub length: Written,
    /// Standard uncertainty of that length, m.
    pub length_u_m: Option<f64>,
    /// The group's own B, T.
    pub flux_density: Option<Written>,
    /// The group's own speed, m/s.
    pub speed: Option<Written>,
    /// The group's own mass from this row, kg.
    pub mass: Option<Written>,
    /// Leads as the bench file describes them, or reversed.
    pub field_sense: Sense,
    /// Which side of the beam was read.
    pub edge: Option<Edge>,
    /// The bench turned about the vertical, degrees.
    pub bench_turned_deg: f64,
    /// The tube turned, degrees.
    pub gun_tilt_deg: f64,
    /// Anything else.
    pub remark: Option<String>,
    /// Columns that arcmass doesn't know, by name.
    pub further: BTreeMap<String, String>,
}

/// One group's rows and what it claims.
#[derive(Debug, Clone, PartialEq)]
pub struct ClassGroup {
    /// Its label.
    pub group: String,
    /// Its bench; none where the table has no such column.
    pub bench: Option<String>,
    /// Good rows, in the order of the table.
    pub rows: Vec<ClassRow>,
    /// Lines of all its rows, faulty ones too.
    pub lines: Vec<usize>,
    /// Mass claimed, kg.
    pub claimed_mass: Option<Written>,
    /// Charge over mass claimed, C/kg.
    pub claimed_ratio: Option<Written>,
    /// Mean where nothing was said.
    pub method: Option<ClassMethod>,
    /// What is wrong with its rows.
    pub faults: Vec<Fault>,
}

/// A class's table, read.
#[derive(Debug, Clone, PartialEq)]
pub struct ClassTable {
    /// What was asked for.
    pub asked: AskedColumns,
    /// In the order in which each first appears.
    pub groups: Vec<ClassGroup>,
    /// Faults of rows of which no group is known.
    pub stray_faults: Vec<Fault>,
    /// The files that were read: the table, and the columns' file if there was one.
    pub inputs: Vec<Input>,
}
