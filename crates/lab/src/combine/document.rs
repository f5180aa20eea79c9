//! The JSON document of several notebooks together, key by key.

use serde::{Deserialize, Serialize};

use crate::document::{CaveatEntry, MadeBy, Q, Reference};

/// `arcmass.combination/1`.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct CombinationDocument {
    /// Fixed.
    pub schema: String,
    /// What made it; its inputs are those of all notebooks, each file with its notebook before it.
    pub made_by: MadeBy,
    /// All notebooks together.
    pub mass_kg: Q,
    /// One entry a notebook, in the order given.
    pub notebooks: Vec<Member>,
    /// How far notebooks differ beyond what they state.
    pub spread: BetweenSpread,
    /// What several notebooks have in common; largest first.
    pub shared_causes: Vec<SharedCause>,
    /// By which rule causes count as shared.
    pub rule: String,
    /// One chart for each bench with a history, and each quantity.
    pub charts: Vec<ControlChart>,
    /// The last comparison.
    pub reference: Reference,
    /// What is so, in words.
    pub sentences: Vec<String>,
    /// Said beside the result.
    pub caveats: Vec<CaveatEntry>,
}

/// One notebook's part.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Member {
    /// As given on the command line.
    pub folder: String,
    /// Name of its bench.
    pub bench: String,
    /// Of its first reading, if written down.
    pub taken_at: Option<String>,
    /// Its own result.
    pub mass_kg: Q,
    /// Part of its uncertainty that is its own, %.
    pub own_percent: f64,
    /// Part that it shares with another notebook, %.
    pub shared_percent: f64,
    /// Share in the mean, 0 to 1.
    pub weight: f64,
    /// From the mean, in units of its own part and the spreads together.
    pub deviation_in_u: f64,
}

/// How far notebooks differ beyond what they state.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct BetweenSpread {
    /// Standard deviation between benches, % of the mass; null with one bench.
    pub between_benches_percent: Option<f64>,
    /// Standard deviation between the days of one bench, %; null where no bench has two.
    pub between_days_percent: Option<f64>,
    /// Of the notebooks about the mean, with what is their own.
    pub chi_squared: f64,
    /// Notebooks minus one.
    pub degrees_of_freedom: usize,
    /// Chance of a larger chi-squared.
    pub p_value: f64,
}

/// Something that makes several notebooks wrong together.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct SharedCause {
    /// As the budget names it.
    pub cause: String,
    /// Which notebooks.
    pub notebooks: Vec<String>,
    /// Its part in the mean's uncertainty, %.
    pub standard_uncertainty_percent: f64,
}

/// One quantity of one bench over its history.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct ControlChart {
    /// Name of the bench.
    pub bench: String,
    /// `mass`, `field-per-ampere`, `voltage-offset`, `stray-field-axial`.
    pub quantity: String,
    /// Of the values.
    pub unit: String,
    /// Weighted mean of all.
    pub centre: f64,
    /// In the order of time.
    pub points: Vec<ChartPoint>,
    /// What it shows.
    pub sentence: String,
}

/// One day on a control chart.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct ChartPoint {
    /// Notebook.
    pub folder: String,
    /// Of its first reading.
    pub taken_at: Option<String>,
    /// In the chart's unit.
    pub value: f64,
    /// Its own part, without what all days share.
    pub standard_uncertainty: f64,
    /// Warning limits: two standard deviations about what the other days say.
    pub warning: [f64; 2],
    /// Action limits: three.
    pub action: [f64; 2],
    /// `in`, `warning` or `action`.
    pub state: String,
}
