//! Do the runs agree with one mass?

use arcmass_fit::chi_squared_p_value;
use arcmass_fit::joint::{self, Joint, Linearised};
use nalgebra::DVector;

use super::Solved;
use crate::bench::Bench;
use crate::desk::LabError;
use crate::document::Agreement;

/// Chi-squared that the runs add to the field tables' own, shared causes counted as shared.
///
/// The whole fit's sum of squares minus that of the same fit with the runs left out: what remains is the generalised
/// chi-squared of the runs about one mass, with runs − 1 degrees of freedom.
pub(super) fn runs_chi_squared(bench: &Bench<'_>, joint: &Joint) -> Result<f64, LabError> {
    let runs = bench.model.runs.len();
    let whole = joint.chi_squared_data + joint.chi_squared_prior;
    let without = joint.at.residuals.len() - runs;
    let base = Linearised {
        residuals: joint.at.residuals.rows(runs, without).into_owned(),
        jacobian: joint.at.jacobian.rows(runs, without).into_owned(),
    };
    // a weak prior in place of none, so that what only the runs fix stays where it is
    let priors: Vec<joint::Prior> = joint
        .priors
        .iter()
        .zip(joint.estimate.iter())
        .enumerate()
        .map(|(place, (prior, estimate))| match prior {
            joint::Prior::Flat => joint::Prior::Normal { mean: *estimate, u: 1e3 * joint.u(place) },
            other => *other,
        })
        .collect();
    let start = joint.estimate.clone();
    let linear = |theta: &DVector<f64>| -> Result<Linearised, LabError> {
        Ok(Linearised {
            residuals: &base.residuals + &base.jacobian * (theta - &start),
            jacobian: base.jacobian.clone(),
        })
    };
    let rest = joint::fit(&priors, start.as_slice(), linear)
        .map_err(|fault| LabError::Internal(format!("the field tables can't be fitted alone: {fault}")))?;
    Ok((whole - rest.chi_squared_data - rest.chi_squared_prior).max(0.0))
}

pub(super) fn agreement(solved: &Solved<'_>) -> Result<Agreement, LabError> {
    let runs = solved.bench.model.runs.len();
    let freedom = runs.saturating_sub(1);
    let chi_squared = runs_chi_squared(&solved.bench, &solved.joint)?;
    let judged = freedom > 0 && !solved.from_scatter;
    Ok(Agreement {
        chi_squared,
        degrees_of_freedom: freedom,
        p_value: judged.then(|| chi_squared_p_value(chi_squared, freedom as f64)),
        birge_ratio: (freedom > 0).then(|| (chi_squared / freedom as f64).sqrt()),
    })
}
