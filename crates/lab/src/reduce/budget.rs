//! Which input makes how much of the mass's uncertainty.

use super::mixture::{self, Mixture, Part};
use crate::document::{BudgetLine, Q};
use crate::model::Unknown;

/// Parts of the mixture below this weight are split as the others are.
const SPLIT: f64 = 0.01;
/// What the mixture adds: the models that explain the readings differ in the mass.
pub(crate) const BETWEEN_MODELS: &str = "which model holds (spread of the mixture)";

/// Parts of the mass's relative variance; they add up to (u/m)².
pub(super) struct Budget {
    lines: Vec<Line>,
}

struct Line {
    words: &'static str,
    /// Name of the effect; none for readings and for the mixture.
    code: Option<&'static str>,
    variance: f64,
}

/// The mass's variance split by the law of total variance.
///
/// Within each model the parts are those of generalised least squares: the square of how the estimate moves when one input moves by
/// its own standard uncertainty (JCGM 100:2008, 5.1), limits as wide as the readings leave them. Between the models stands the variance of
/// their means. Limits and the factor on the diameters' scatter are no normal distributions: the drawn variance of each model differs
/// from the sum of its parts by a few percent, by which all of its parts are multiplied.
pub(super) fn of(mixture: &Mixture<'_>, mass: &Q) -> Budget {
    let mut budget = Budget { lines: Vec::new() };
    let (mut split, mut within, mut first, mut second) = (0.0, 0.0, 0.0, 0.0);
    for part in mixture.parts.iter().filter(|part| part.draws.nrows() > 0) {
        let (mean, variance) = part.moments(part.mass_place());
        within += part.weight * variance;
        first += part.weight * mean;
        second += part.weight * mean * mean;
        if part.weight >= SPLIT {
            split += part.weight * variance;
            budget.add_part(part, variance);
        }
    }
    let factor = if split > 0.0 { within / split } else { 1.0 };
    budget.lines.iter_mut().for_each(|line| line.variance *= factor);
    let total_weight: f64 =
        mixture.parts.iter().filter(|part| part.draws.nrows() > 0).map(|part| part.weight).sum();
    let (first, second) = (first / total_weight, second / total_weight);
    budget.add(BETWEEN_MODELS, None, (second - first * first).max(0.0));
    // of ln m, brought to what is printed beside m
    let total: f64 = budget.lines.iter().map(|line| line.variance).sum();
    let printed = (mass.standard_uncertainty / mass.value).powi(2);
    let factor = if total > 0.0 { printed / total } else { 0.0 };
    budget.lines.iter_mut().for_each(|line| line.variance *= factor);
    budget
}

impl Budget {
    fn add(&mut self, words: &'static str, code: Option<&'static str>, variance: f64) {
        match self.lines.iter_mut().find(|line| line.words == words && line.code == code) {
            Some(line) => line.variance += variance,
            None => self.lines.push(Line { words, code, variance }),
        }
    }

    fn add_part(&mut self, part: &Part<'_>, drawn: f64) {
        let (place, joint, model) = (part.mass_place(), mixture::matched(part), &part.model);
        let data = joint.sensitivity_to_data(place);
        let priors = joint.sensitivity_to_priors(place);
        let sum: f64 = data.norm_squared() + priors.iter().map(|s| s * s).sum::<f64>();
        let scale = if sum > 0.0 { part.weight * drawn / sum } else { 0.0 };
        for (row, sensitivity) in data.iter().enumerate() {
            let words = kind_of([model.runs.len(), model.probe.len(), model.balance.len()], row);
            self.add(words, None, scale * sensitivity * sensitivity);
        }
        for ((_, unknown, _), sensitivity) in model.unknowns.iter().zip(priors) {
            let naming = unknown.naming();
            self.add(naming.words, Some(naming.code), scale * sensitivity * sensitivity);
        }
    }

    /// An effect's part in the mass, relative standard uncertainty.
    pub(super) fn of_effect(&self, code: &str) -> f64 {
        let own = self.lines.iter().filter(|line| line.code == Some(code));
        own.map(|line| line.variance).sum::<f64>().sqrt()
    }

    /// An unknown's share in the mass's variance, with all that bear its name.
    pub(super) fn share_of(&self, unknown: Unknown) -> f64 {
        let total: f64 = self.lines.iter().map(|line| line.variance).sum();
        self.of_effect(unknown.naming().code).powi(2) / total.max(f64::MIN_POSITIVE)
    }

    /// Inputs by their share, largest first; like inputs (three muzzle coordinates) joined in one line.
    pub(super) fn entries(&self) -> Vec<BudgetLine> {
        let total: f64 = self.lines.iter().map(|line| line.variance).sum();
        let mut joined: Vec<(&'static str, f64)> = Vec::new();
        for line in &self.lines {
            match joined.iter_mut().find(|own| own.0 == line.words) {
                Some(own) => own.1 += line.variance,
                None => joined.push((line.words, line.variance)),
            }
        }
        let mut lines: Vec<BudgetLine> = joined
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
}

/// Whose reading a row of the fit is: runs come first, then probe, balance, and the stated constant.
pub(crate) fn kind_of([runs, probe, balance]: [usize; 3], row: usize) -> &'static str {
    match row {
        row if row < runs => "diameters, each on its own",
        row if row < runs + probe => "probe readings, each on its own",
        row if row < runs + probe + balance => "balance readings, each on its own",
        _ => "stated coil constant",
    }
}
