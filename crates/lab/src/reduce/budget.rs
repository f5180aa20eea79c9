//! Which input makes how much of the mass's uncertainty.

use super::{Solved, mass_place};
use crate::document::BudgetLine;

/// Inputs by their share in the variance of ln m, largest first; like inputs (three muzzle coordinates) joined in one line.
///
/// The shares are those of generalised least squares: the square of how the estimate moves when one input moves by its
/// own standard uncertainty (JCGM 100:2008, 5.1). They add up to 1.
pub(super) fn budget(solved: &Solved<'_>) -> Vec<BudgetLine> {
    let place = mass_place(solved);
    let joint = &solved.joint;
    let model = &solved.bench.model;
    let mut variances: Vec<(&'static str, f64)> = Vec::new();
    let mut add = |words: &'static str, variance: f64| match variances.iter_mut().find(|line| line.0 == words)
    {
        Some(line) => line.1 += variance,
        None => variances.push((words, variance)),
    };
    let data = joint.sensitivity_to_data(place);
    let runs = model.runs.len();
    let probe = model.probe.len();
    for (row, sensitivity) in data.iter().enumerate() {
        let words = if row < runs {
            "diameters, each on its own"
        } else if row < runs + probe {
            "probe readings, each on its own"
        } else if row < runs + probe + model.balance.len() {
            "balance readings, each on its own"
        } else {
            "stated coil constant"
        };
        add(words, sensitivity * sensitivity);
    }
    for ((_, unknown, _), sensitivity) in model.unknowns.iter().zip(joint.sensitivity_to_priors(place)) {
        add(unknown.naming().words, sensitivity * sensitivity);
    }
    let total: f64 = variances.iter().map(|line| line.1).sum();
    let mut lines: Vec<BudgetLine> = variances
        .into_iter()
        .filter(|line| line.1 > 0.0)
        .map(|(words, variance)| BudgetLine {
            input: words.to_owned(),
            standard_uncertainty_percent: 100.0 * variance.sqrt(),
            share: if total > 0.0 { variance / total } else { 0.0 },
        })
        .collect();
    lines.sort_by(|a, b| b.share.total_cmp(&a.share));
    lines
}
