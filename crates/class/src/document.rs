//! The document of `class check`, key by key.

use arcmass_lab::document::{CaveatEntry, FaultEntry, Finding, MadeBy, Q};
use serde::Serialize;

use crate::slips::Where;

/// What a group's results come to.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Verdict {
    /// One slip, or two at once, and no other explanation.
    Slip,
    /// Several explanations stay, or none fits.
    Undecided,
    /// The bench disagrees with its file, and the group is right.
    Bench,
    /// Readings and working are right within their scatter.
    Honest,
    /// Fewer than two rows and no result.
    TooFew,
    /// The table can't be read there.
    Unreadable,
}

/// One slip that a group may have made.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct SlipEntry {
    /// Fixed name.
    pub code: &'static str,
    /// Table or sum.
    #[serde(rename = "where")]
    pub place: Where,
    /// Lines of the file; null where every row has it.
    pub rows: Option<Vec<usize>>,
    /// Claimed over the claim without it, or as written over mended; null where it differs from row to row.
    pub factor_on_mass: Option<f64>,
    /// Posterior probability.
    pub confidence: f64,
    /// A question to the group, then what is meant.
    pub hint: &'static str,
}

/// One group.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct GroupEntry {
    /// Its label.
    pub group: String,
    /// Its bench; null where the table names none and no notebook was given.
    pub bench: Option<String>,
    /// Lines of the file.
    pub rows: Vec<usize>,
    /// What it comes to.
    pub verdict: Verdict,
    /// As claimed; of a claimed ratio, e over it.
    pub claimed_mass_kg: Option<f64>,
    /// What the written readings give by the full model.
    pub as_written_mass_kg: Option<Q>,
    /// The same with the likeliest slip mended.
    pub recomputed_mass_kg: Option<Q>,
    /// Likeliest first.
    pub slips: Vec<SlipEntry>,
    /// What can't be read.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub faults: Vec<FaultEntry>,
}

/// One bench.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct BenchEntry {
    /// As the table names it.
    pub bench: String,
    /// From its groups, slips mended; null where none can be used.
    pub mass_kg: Option<Q>,
    /// From the accepted mass.
    pub difference_in_u: Option<f64>,
    /// Where it lies outside its file.
    pub findings: Vec<Finding>,
}

/// How far groups lie apart beyond their own uncertainty.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct BetweenGroups {
    /// Of the mass.
    pub standard_deviation_percent: f64,
    /// Of that standard deviation, %.
    pub interval_95: [f64; 2],
}

/// `arcmass.class/1`.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ClassDocument {
    /// Fixed.
    pub schema: &'static str,
    /// What made it.
    pub made_by: MadeBy,
    /// In the order of the table.
    pub groups: Vec<GroupEntry>,
    /// In the order of the table.
    pub benches: Vec<BenchEntry>,
    /// Random effects between benches and groups, slips mended; null without a bench.
    pub pooled_mass_kg: Option<Q>,
    /// Of the claims as they stand; null without a claim.
    pub as_claimed_mass_kg: Option<Q>,
    /// Null with fewer than two groups.
    pub between_groups: Option<BetweenGroups>,
    /// What to keep in mind.
    pub caveats: Vec<CaveatEntry>,
}
