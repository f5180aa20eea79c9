//! What several notebooks have in common, and so does not average away.

use arcmass_notebook::{Meter, Notebook};

use crate::document::ReductionDocument;
use crate::model::Unknown;

/// The rule, as it is said beside every combination.
pub(super) const RULE: &str = "two notebooks share what belongs to the apparatus (coils, gun, ruler, background, stated \
     constants) where their benches bear the same name; the calibration and zero offset of a meter where the meters bear the same name or serial \
     number in bench.toml, or state none and the bench is the same (two meters of one model share nothing); probe readings where the \
     table is the same file. Everything else is each notebook's own. Shared parts are taken as wholly shared: they stay, however many \
     notebooks there are";

/// Who shares a line of the budget.
#[derive(Debug, Clone, PartialEq)]
enum Sharing {
    /// Nobody.
    Own,
    /// Notebooks of one bench.
    Bench,
    /// Notebooks whose meter bears this name; without one, notebooks of one bench.
    Meter(Option<String>),
    /// Notebooks with the same probe tables.
    Probe(String),
}

/// One line of one notebook's budget.
#[derive(Debug, Clone)]
pub(super) struct Part {
    /// As the budget names it.
    pub(super) words: String,
    /// Relative, of the mass.
    pub(super) relative: f64,
    sharing: Sharing,
}

/// The parts of one notebook's relative uncertainty; they add up to it. What lies between the models of its mixture is its own.
pub(super) fn parts(notebook: &Notebook, reduction: &ReductionDocument) -> Vec<Part> {
    reduction
        .budget
        .iter()
        .map(|line| Part {
            words: line.input.clone(),
            relative: 0.01 * line.standard_uncertainty_percent,
            sharing: sharing(&line.input, notebook),
        })
        .collect()
}

fn sharing(words: &str, notebook: &Notebook) -> Sharing {
    let meters = &notebook.bench.meters;
    let is = |unknowns: &[Unknown]| unknowns.iter().any(|unknown| unknown.naming().words == words);
    let meter = |meter: Option<&Meter>| Sharing::Meter(meter.and_then(|meter| meter.name.clone()));
    if is(&[Unknown::VoltmeterGain, Unknown::VoltmeterZero]) {
        meter(meters.voltage.as_ref())
    } else if is(&[Unknown::AmmeterGain, Unknown::AmmeterZero]) {
        meter(meters.current.as_ref())
    } else if is(&[Unknown::ProbeGain, Unknown::ProbeZero]) {
        meter(meters.probe.as_ref())
    } else if words.starts_with("probe readings") {
        let hashes: Vec<&str> =
            notebook.probe_tables.iter().map(|table| table.input.sha256.as_str()).collect();
        Sharing::Probe(hashes.join(" "))
    } else if words == "stated coil constant"
        || words == "coils' tilt"
        || is(&[
            Unknown::CoilRadius,
            Unknown::CoilSeparation,
            Unknown::CoilSize,
            Unknown::FieldPerAmpere,
            Unknown::BackgroundX,
            Unknown::BackgroundZ,
            Unknown::MuzzleX,
            Unknown::DirectionInPlane,
            Unknown::BeamWidth,
            Unknown::LengthScale,
            Unknown::VoltageOffset,
        ])
    {
        Sharing::Bench
    } else {
        Sharing::Own
    }
}

/// Whether two notebooks share this line.
pub(super) fn is_shared(a: &Part, b: &Part, same_bench: bool) -> bool {
    if a.words != b.words {
        return false;
    }
    match (&a.sharing, &b.sharing) {
        (Sharing::Own, _) | (_, Sharing::Own) => false,
        (Sharing::Probe(a), Sharing::Probe(b)) => !a.is_empty() && a == b,
        (Sharing::Meter(Some(a)), Sharing::Meter(Some(b))) => a == b,
        _ => same_bench,
    }
}
