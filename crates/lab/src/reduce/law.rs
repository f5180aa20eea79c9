//! The law r ∝ V^a I^b: exponents from the readings as read, and with every correction of the model.

use arcmass_fit::joint::{self, Linearised, Prior};
use nalgebra::{DMatrix, DVector};

use super::Solved;
use super::mixture::Mixture;
use super::scatter::{self, Averaged, Node};
use crate::desk::LabError;
use crate::document::{Exponents, Law, Q};
use crate::model::{Model, RunDatum};
use crate::spread::{self, Spread};

/// Settings closer than this, relative, count as one.
const SAME_SETTING: f64 = 0.02;

pub(super) fn law(solved: &Solved<'_>, mixture: &Mixture<'_>) -> Result<Law, LabError> {
    let runs = &solved.bench.model.runs;
    if !separates(runs) {
        return Ok(Law { raw: None, corrected: None });
    }
    let mut parts = Vec::new();
    for (weight, part) in mixture.told() {
        if let Some(exponents) = corrected(&part.model, part.averaged.typical())? {
            parts.push((weight, exponents));
        }
    }
    Ok(Law { raw: raw(runs), corrected: mixed(&parts) })
}

/// Exponents over all models by weight: mean of the means, and variance within and between them.
fn mixed(parts: &[(f64, Exponents)]) -> Option<Exponents> {
    let sum: f64 = parts.iter().map(|part| part.0).sum();
    let of = |which: fn(&Exponents) -> &Q| {
        let mean = parts.iter().map(|(w, own)| w * which(own).value).sum::<f64>() / sum;
        let square = |(w, own): &(f64, Exponents)| {
            let q = which(own);
            w * (q.standard_uncertainty.powi(2) + (q.value - mean).powi(2))
        };
        let variance = parts.iter().map(square).sum::<f64>() / sum;
        spread::quantity(mean, &[Spread::Normal(variance.sqrt())])
    };
    (sum > 0.0).then(|| Exponents {
        voltage_exponent: of(|own| &own.voltage_exponent),
        current_exponent: of(|own| &own.current_exponent),
    })
}

/// Whether both exponents can be told from these runs at all.
fn separates(runs: &[RunDatum]) -> bool {
    runs.len() >= 4 && varies(runs, |run| run.voltage_read_v) && varies(runs, |run| run.current_read_a)
}

fn varies(runs: &[RunDatum], of: impl Fn(&RunDatum) -> f64) -> bool {
    let low = runs.iter().map(&of).fold(f64::INFINITY, f64::min);
    let high = runs.iter().map(&of).fold(0.0, f64::max);
    high > low * (1.0 + SAME_SETTING)
}

/// Logarithms of voltage and current about their means.
fn logarithms(runs: &[RunDatum]) -> Vec<[f64; 2]> {
    let count = runs.len() as f64;
    let mean = |of: fn(&RunDatum) -> f64| runs.iter().map(|run| of(run).ln()).sum::<f64>() / count;
    let (v, i) = (mean(|run| run.voltage_read_v), mean(|run| run.current_read_a));
    runs.iter().map(|run| [run.voltage_read_v.ln() - v, run.current_read_a.ln() - i]).collect()
}

/// Plain least squares of ln d on ln V and ln I; uncertainty from the scatter (Student's t).
fn raw(runs: &[RunDatum]) -> Option<Exponents> {
    let logs = logarithms(runs);
    let design = DMatrix::from_fn(runs.len(), 3, |i, j| if j == 0 { 1.0 } else { logs[i][j - 1] });
    let y = DVector::from_iterator(runs.len(), runs.iter().map(|run| run.diameter_m.ln()));
    let inverse = (design.transpose() * &design).try_inverse()?;
    let solution = &inverse * design.transpose() * &y;
    let freedom = runs.len() - 3;
    let variance = (&y - &design * &solution).norm_squared() / freedom as f64;
    let of = |j: usize| student(solution[j], (variance * inverse[(j, j)]).sqrt(), freedom);
    Some(Exponents { voltage_exponent: of(1), current_exponent: of(2) })
}

/// A t-distributed estimate: u as computed, intervals by the t factors of its degrees of freedom.
fn student(value: f64, u: f64, freedom: usize) -> Q {
    use statrs::distribution::{ContinuousCDF, StudentsT};
    let factor = |p: f64| StudentsT::new(0.0, 1.0, freedom as f64).map_or(f64::NAN, |t| t.inverse_cdf(p));
    let (k68, k95) = (factor(0.84), factor(0.975));
    Q {
        value,
        standard_uncertainty: u,
        interval_68: [value - k68 * u, value + k68 * u],
        interval_95: [value - k95 * u, value + k95 * u],
    }
}

/// The joint fit with two exponents more: d → d · (V/V̄)^a' (I/Ī)^b', so that a = ½ + a', b = −1 + b'.
///
/// The factor on the diameters' scatter is weighed anew with the exponents free: a law that is not followed would else widen
/// the very scatter that it is judged by.
fn corrected(model: &Model<'_>, joint: Option<&Node>) -> Result<Option<Exponents>, LabError> {
    let Some(Node { joint, factor, .. }) = joint else { return Ok(None) };
    let runs = &model.runs;
    if !separates(runs) {
        return Ok(None);
    }
    let (own, drawn) = (scatter::noises(model, 1.0), scatter::noises(model, *factor));
    let logs = logarithms(runs);
    let columns = joint.at.jacobian.ncols();
    let mut at = Linearised {
        residuals: joint.at.residuals.clone(),
        jacobian: joint.at.jacobian.clone().resize_horizontally(columns + 2, 0.0),
    };
    for (row, run) in runs.iter().enumerate() {
        // back to the noise without the factor
        let scale = drawn[row] / own[row];
        at.residuals[row] *= scale;
        at.jacobian.row_mut(row).scale_mut(scale);
        for (k, log) in logs[row].iter().enumerate() {
            at.jacobian[(row, columns + k)] = -run.diameter_m / own[row] * log;
        }
    }
    let mut priors = joint.priors.clone();
    priors.extend([Prior::Flat, Prior::Flat]);
    let about = joint.estimate.clone().resize_vertically(columns + 2, 0.0);
    let Ok(fitted) = joint::linear::<LabError>(&priors, &about, &at) else {
        return Ok(None);
    };
    let averaged = Averaged::of(model, &fitted)?;
    let of = |k: usize, ideal: f64| {
        let (value, u) = averaged.moments(columns + k);
        spread::quantity(ideal + value, &[Spread::Normal(u)])
    };
    Ok(Some(Exponents { voltage_exponent: of(0, 0.5), current_exponent: of(1, -1.0) }))
}
