//! What the last reduction of these very files found of the accelerating voltage: said beside a path that does not use it.

use std::fs;
use std::io::Read as _;

use arcmass_notebook::Notebook;
use serde::Deserialize;

use crate::document::{CaveatEntry, Finding, MadeBy};

/// Larger documents are no reductions of ours.
const LARGEST_BYTES: u64 = 16 << 20;
/// Findings that change the voltage which a beam comes out with.
const OF_VOLTAGE: [&str; 2] = ["voltage-offset", "gas-loss"];

/// What is needed of the stored reduction.
#[derive(Deserialize)]
struct Stored {
    schema: String,
    made_by: MadeBy,
    findings: Vec<Finding>,
}

/// A finding about the voltage that the stored reduction made of the files as they are now.
pub(super) fn finding(notebook: &Notebook) -> Option<Finding> {
    let mut bytes = Vec::new();
    let file = fs::File::open(notebook.root.join("results/reduction.json")).ok()?;
    file.take(LARGEST_BYTES).read_to_end(&mut bytes).ok()?;
    let stored: Stored = serde_json::from_slice(&bytes).ok()?;
    let went_in = |file: &str, sha256: &str| {
        stored.made_by.inputs.iter().any(|input| input.file == file && input.sha256 == sha256)
    };
    let is_current = stored.schema == "arcmass.reduction/1"
        && notebook.inputs().iter().all(|input| went_in(&input.file, &input.sha256));
    stored.findings.into_iter().find(|finding| is_current && OF_VOLTAGE.contains(&finding.code.as_str()))
}

/// The finding beside a path that was computed with the voltage as stated.
pub(super) fn caveat(finding: &Finding, offset_v: f64) -> CaveatEntry {
    let what = finding.sentence.split("; with it").next().unwrap_or_default();
    CaveatEntry {
        code: finding.code.clone(),
        sentence: format!(
            "the runs disagree with this path, which takes the voltage as read with the stated offset of {offset_v} V: {what}"
        ),
        remedy: format!(
            "{}; then state voltage_offset under [gun], and path and plan follow it",
            finding.remedy
        ),
    }
}
