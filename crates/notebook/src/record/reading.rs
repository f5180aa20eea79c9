//! The runs: one setting each, read once or several times, photographed or measured by hand.

use std::collections::BTreeMap;

use super::{Input, Sense};

/// All that `readings.csv` says.
#[derive(Debug, Clone, PartialEq)]
pub struct Readings {
    /// In the order in which each run first appears; struck ones too.
    pub runs: Vec<Run>,
    /// Columns beyond the known ones, in the order of the table.
    pub further_columns: Vec<String>,
    /// The file and its hash.
    pub input: Input,
}

/// One setting of the bench.
#[derive(Debug, Clone, PartialEq)]
pub struct Run {
    /// The run's name: text, never a number.
    pub run: String,
    /// Repeated readings of the two meters, at least one.
    pub readings: Vec<Reading>,
    /// Leads as described, or reversed.
    pub field_sense: Sense,
    /// The whole bench turned about the vertical, counter-clockwise seen from above, degrees.
    pub bench_turned_deg: f64,
    /// The tube turned about the line through the muzzle, degrees, above −180 up to 180.
    pub gun_tilt_deg: f64,
    /// Photograph of the ring, relative to `photos/`.
    pub ring_photo: Option<String>,
    /// Photograph of the scale, relative to `photos/`.
    pub scale_photo: Option<String>,
    /// From where the photograph was taken.
    pub view: View,
    /// A diameter measured by hand.
    pub diameter: Option<Diameter>,
    /// Width of the beam measured by hand, m.
    pub beam_width_m: Option<f64>,
    /// RFC 3339, as written.
    pub taken_at: Option<String>,
    /// Why the run is left out of the result.
    pub struck_because: Option<String>,
    /// Anything else.
    pub remark: Option<String>,
}

impl Run {
    /// Whether the run stands in the table only with the reason why it doesn't count.
    pub fn is_struck(&self) -> bool {
        self.struck_because.is_some()
    }

    /// Mean of the voltmeter's readings, V.
    pub fn mean_voltage_v(&self) -> f64 {
        mean(self.readings.iter().map(|reading| reading.voltage_v))
    }

    /// Mean of the ammeter's readings, A.
    pub fn mean_current_a(&self) -> f64 {
        mean(self.readings.iter().map(|reading| reading.current_a))
    }

    /// The lines of `readings.csv` that hold this run, counted from 1.
    pub fn lines(&self) -> Vec<usize> {
        self.readings.iter().map(|reading| reading.line).collect()
    }
}

fn mean(values: impl ExactSizeIterator<Item = f64>) -> f64 {
    let count = values.len() as f64;
    values.sum::<f64>() / count
}

/// One reading of both meters.
#[derive(Debug, Clone, PartialEq)]
pub struct Reading {
    /// Voltmeter, V, as read.
    pub voltage_v: f64,
    /// Ammeter, A, as read.
    pub current_a: f64,
    /// Line of the table, counted from 1.
    pub line: usize,
    /// Cells of the further columns, by column.
    pub further: BTreeMap<String, String>,
}

/// From where a photograph was taken.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum View {
    /// Along the axis, from the +z side.
    #[default]
    Front,
    /// Across the axis, for the pitch of a helix.
    Side,
}

/// A diameter measured by hand.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Diameter {
    /// As read, m (twice the radius, if the table holds radii).
    pub value_m: f64,
    /// Independent from run to run, m.
    pub standard_uncertainty_m: Option<f64>,
    /// What was measured.
    pub kind: DiameterKind,
    /// Which edge of the beam was read, if stated.
    pub edge: Option<Edge>,
    /// Whether the table holds radii.
    pub from_radius: bool,
}

/// What a diameter by hand means.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum DiameterKind {
    /// Of the circle that fits the ring.
    #[default]
    Fit,
    /// From the muzzle to the far crossing.
    Chord,
    /// Widest extent.
    Width,
}

/// The edge of the glowing beam that was read.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Edge {
    /// The middle of the beam.
    Centre,
    /// Outer edge: centre = outer − width.
    Outer,
    /// Inner edge: centre = inner + width.
    Inner,
}
