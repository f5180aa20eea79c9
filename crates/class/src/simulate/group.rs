//! One simulated group: what it read, what it did with it, and what it handed in.

/// A slip that a simulated group made.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct TrueSlip {
    /// Code.
    pub code: &'static str,
    /// `reading` or `working`.
    pub place: &'static str,
    /// Places of rows within the group; none where every row has it.
    pub rows: Option<Vec<usize>>,
}

/// What is true of a simulated group.
#[derive(Debug, Clone, PartialEq)]
pub struct GroupTruth {
    /// Its label.
    pub group: String,
    /// Its bench.
    pub bench: String,
    /// Lines of its rows.
    pub lines: Vec<usize>,
    /// What it did wrong.
    pub slips: Vec<TrueSlip>,
    /// Codes that give exactly the same table.
    pub equal: Vec<&'static str>,
    /// Too small a trace to be named.
    pub is_subtle: bool,
    /// Its bench lies outside its file.
    pub is_bad_bench: bool,
}

/// A group's readings and what its sum starts from.
#[derive(Debug, Clone, Default)]
pub(super) struct Sheet {
    /// As they stand in the table: V, A, mm of diameter.
    pub(super) voltage: Vec<f64>,
    pub(super) current: Vec<f64>,
    pub(super) diameter: Vec<f64>,
    /// As the sum takes them.
    pub(super) sum_voltage: Vec<f64>,
    pub(super) sum_current: Vec<f64>,
    pub(super) sum_diameter: Vec<f64>,
    /// Standard uncertainty of a diameter, mm, as stated.
    pub(super) u_mm: f64,
    /// True scatter, mm.
    pub(super) noise_mm: f64,
    /// T, as the group has it.
    pub(super) field: Vec<f64>,
    /// What stands in the column over that.
    pub(super) field_column: f64,
    pub(super) speed: Vec<f64>,
    pub(super) mass: Vec<f64>,
    pub(super) claim: f64,
    pub(super) claims_ratio: bool,
}
