//! Everything that is known after the readings, over all models by their weights: every table of a result is made of it.
//!
//! The model as stated and each alternative are parts of one mixture. All quantities come from the same draws, so that no two
//! numbers on a page belong to different models.

use arcmass_fit::joint::{self, Joint, Prior};
use arcmass_quantity::constants::ELEMENTARY_CHARGE;
use nalgebra::DMatrix;

use super::alternatives::Alternative;
use super::candidates::Candidate;
use super::scatter::{self, Averaged};
use super::{MASS_UNIT_KG, Solved};
use crate::calibrate;
use crate::desk::{Desk, LabError};
use crate::document::{ModelPart, Q};
use crate::model::{Model, Unknown};
use crate::spread;

/// Draws of all unknowns, over all parts; the mass's quantiles scatter by about 1 % of u.
const DRAWS: usize = 16_384;
/// Parts below this weight are in the mass, its uncertainty and the draws, but get no table, refit or path of their own.
const TOLD: f64 = 0.02;
/// Parts named in the document; what is less likely is said as one sum.
const NAMED: f64 = 0.01;

/// One model of the mixture.
pub(crate) struct Part<'a> {
    /// What lies outside of what is stated; none: everything is as stated.
    pub(crate) what: Option<Candidate>,
    /// Its share; all of them add up to 1.
    pub(crate) weight: f64,
    /// Its unknowns and readings.
    pub(crate) model: Model<'a>,
    /// The same with the diameters as uncertain as its fit found them.
    pub(crate) fitted: Model<'a>,
    /// The fit of `fitted`.
    pub(crate) joint: Joint,
    /// Its fits over all factors on the diameters' uncertainty.
    pub(crate) averaged: Averaged,
    /// One row a draw, one column an unknown: differences from the fit's estimate. As many rows as the weight deserves.
    pub(crate) draws: DMatrix<f64>,
}

/// The model as stated first, then the alternatives, likeliest first.
pub(crate) struct Mixture<'a> {
    /// At least one.
    pub(crate) parts: Vec<Part<'a>>,
}

impl<'a> Part<'a> {
    fn of(solved: &Solved<'a>, alternative: Option<&Alternative>, weight: f64) -> Result<Self, LabError> {
        let model = match alternative {
            Some(own) => Model { unknowns: own.unknowns.clone(), ..solved.bench.model.clone() },
            None => solved.bench.model.clone(),
        };
        let averaged = alternative.map_or(&solved.averaged, |own| &own.averaged).clone();
        let node = averaged.typical().ok_or_else(|| LabError::Internal("a model without a fit".into()))?;
        let (joint, fitted) = (node.joint.clone(), scatter::widened(&model, node.factor));
        let draws = DMatrix::zeros(0, joint.estimate.len());
        Ok(Self { what: alternative.map(|own| own.what), weight, model, fitted, joint, averaged, draws })
    }

    /// Place of ln m.
    pub(crate) fn mass_place(&self) -> usize {
        self.model.unknowns.place(Unknown::LogMass).unwrap_or(0)
    }

    /// Mean and variance of one unknown over the draws.
    pub(crate) fn moments(&self, place: usize) -> (f64, f64) {
        let column = self.draws.column(place);
        let mean = if column.is_empty() { 0.0 } else { column.mean() };
        (self.joint.estimate[place] + mean, if column.is_empty() { 0.0 } else { column.variance() })
    }

    /// Draws of one unknown; what the part knows exactly is the same in all of them.
    fn values_of(&self, unknown: Unknown) -> Vec<f64> {
        match self.model.unknowns.place(unknown) {
            Some(place) => {
                self.draws.column(place).iter().map(|change| self.joint.estimate[place] + change).collect()
            }
            None => vec![self.model.values(&self.joint.estimate).get(unknown); self.draws.nrows()],
        }
    }
}

impl<'a> Mixture<'a> {
    /// Draws every part in proportion to its weight.
    pub(super) fn of(
        solved: &Solved<'a>,
        alternatives: &[Alternative],
        desk: &Desk,
    ) -> Result<Self, LabError> {
        let rest = (1.0 - alternatives.iter().map(|own| own.weight).sum::<f64>()).max(0.0);
        let mut parts = vec![Part::of(solved, None, rest)?];
        for alternative in alternatives {
            parts.push(Part::of(solved, Some(alternative), alternative.weight)?);
        }
        let mut rng = desk.stream(4);
        let (mut reached, mut from) = (0.0, 0);
        for part in &mut parts {
            reached += part.weight;
            let upto = ((reached * DRAWS as f64).round() as usize).min(DRAWS);
            let count = upto.saturating_sub(from);
            from = upto;
            let is_exact = part.what.is_none() && solved.exact.is_in_force();
            let about = if is_exact { &solved.joint.estimate } else { &part.joint.estimate };
            let mut draws = if is_exact {
                evenly(&solved.draws, count)
            } else {
                let mut draws = part.averaged.draws(count, &mut rng)?;
                draws.row_iter_mut().for_each(|mut row| row -= about.transpose());
                draws
            };
            let moved = (about - &part.joint.estimate).transpose();
            draws.row_iter_mut().for_each(|mut row| row += &moved);
            part.draws = draws;
        }
        Ok(Self { parts })
    }

    /// The likeliest part.
    pub(crate) fn leading(&self) -> &Part<'a> {
        let likeliest = self.parts.iter().max_by(|a, b| a.weight.total_cmp(&b.weight));
        likeliest.unwrap_or(&self.parts[0])
    }

    /// The parts that tables are made of, with their weights brought to a sum of 1.
    pub(crate) fn told(&self) -> Vec<(f64, &Part<'a>)> {
        let told: Vec<&Part<'a>> = self.parts.iter().filter(|part| part.weight >= TOLD).collect();
        let sum: f64 = told.iter().map(|part| part.weight).sum();
        told.into_iter().map(|part| (part.weight / sum, part)).collect()
    }

    /// Every draw of ln m.
    pub(crate) fn log_masses(&self) -> Vec<f64> {
        self.parts.iter().flat_map(|part| part.values_of(Unknown::LogMass)).collect()
    }

    /// The mass.
    pub(super) fn mass(&self) -> Q {
        let mut sample: Vec<f64> =
            self.log_masses().into_iter().map(|log| MASS_UNIT_KG * log.exp()).collect();
        spread::of_draws(&mut sample)
    }

    /// One unknown over all parts.
    pub(super) fn unknown(&self, unknown: Unknown) -> Q {
        let mut sample: Vec<f64> = self.parts.iter().flat_map(|part| part.values_of(unknown)).collect();
        spread::of_draws(&mut sample)
    }

    /// Field per ampere at the centre, T/A.
    pub(super) fn field_per_ampere(&self) -> Result<Q, LabError> {
        let mut sample = Vec::new();
        for part in &self.parts {
            let (value, slopes) = calibrate::gradient(&part.model, &part.joint)?;
            let change =
                |row: usize| -> f64 { slopes.iter().map(|(place, by)| by * part.draws[(row, *place)]).sum() };
            sample.extend((0..part.draws.nrows()).map(|row| value + change(row)));
        }
        Ok(spread::of_draws(&mut sample))
    }

    /// Which models the result is made of, likeliest first.
    pub(super) fn entries(&self) -> Vec<ModelPart> {
        let mass = |part: &Part<'_>| {
            let logs = part.values_of(Unknown::LogMass);
            spread::of_draws(&mut logs.into_iter().map(|log| MASS_UNIT_KG * log.exp()).collect::<Vec<_>>())
        };
        let mut list: Vec<ModelPart> = self
            .parts
            .iter()
            .filter(|part| part.what.is_none() || part.weight >= NAMED)
            .map(|part| ModelPart {
                code: part.what.map_or("as-stated", |what| what.code).to_owned(),
                name: part.what.map_or_else(|| "as stated".to_owned(), |what| self.name_of(what.unknown)),
                weight: part.weight,
                mass_kg: (part.draws.nrows() > 0).then(|| mass(part)),
            })
            .collect();
        list.sort_by(|a, b| b.weight.total_cmp(&a.weight));
        list
    }

    /// An unknown in words, with the run's name where it is one run's.
    pub(super) fn name_of(&self, unknown: Unknown) -> String {
        let runs = &self.parts[0].model.runs;
        match unknown {
            Unknown::Run(place) => {
                let run = runs.iter().find(|run| run.place == place);
                format!("diameter of run {}", run.map_or("?", |run| run.run.as_str()))
            }
            _ => format!("{}{}", unknown.naming().words, super::effects::along(unknown)),
        }
    }
}

/// e/m as the mass's reciprocal: the same relative uncertainty, interval ends exchanged, so that m × (e/m) = e.
pub(super) fn charge_to_mass(mass: &Q, charges: i32) -> Q {
    let charge = ELEMENTARY_CHARGE.value * f64::from(charges.abs());
    let turned = |[low, high]: [f64; 2]| [charge / high, charge / low];
    let value = charge / mass.value;
    Q {
        value,
        standard_uncertainty: value * mass.standard_uncertainty / mass.value,
        interval_68: turned(mass.interval_68),
        interval_95: turned(mass.interval_95),
    }
}

/// So many rows at even steps; a row stands more than once where more are asked for than there are.
fn evenly(draws: &DMatrix<f64>, count: usize) -> DMatrix<f64> {
    let rows: Vec<usize> = (0..count).map(|i| (2 * i + 1) * draws.nrows() / (2 * count)).collect();
    draws.select_rows(&rows)
}

/// Weight of the priors: 1/u², 0 where nothing is known.
pub(super) fn precision(prior: Prior) -> f64 {
    prior.moments().map_or(0.0, |(_, u)| u.powi(-2))
}

/// The normal distribution nearest to a part's posterior.
pub(super) fn matched(part: &Part<'_>) -> Joint {
    part.joint.matched::<LabError>().unwrap_or_else(|_: joint::JointFault<LabError>| part.joint.clone())
}
