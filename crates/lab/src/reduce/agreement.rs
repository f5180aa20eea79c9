//! Do the runs agree with one mass?

use arcmass_fit::chi_squared_p_value;
use arcmass_fit::joint::{self, Joint, Linearised};
use nalgebra::DVector;

use super::Solved;
use super::mixture::Mixture;
use crate::desk::LabError;
use crate::document::Agreement;

/// Chi-squared that the runs add to the field tables' own, shared causes counted as shared.
///
/// The whole fit's sum of squares minus that of the same fit with the runs left out: what remains is the generalised
/// chi-squared of the runs about one mass.
fn runs_chi_squared(runs: usize, joint: &Joint) -> Result<f64, LabError> {
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

/// Of the likeliest model: as stated, or with one thing set free, which costs a degree of freedom.
pub(super) fn agreement(solved: &Solved<'_>, mixture: &Mixture<'_>) -> Result<Agreement, LabError> {
    let leading = mixture.leading();
    let runs = solved.bench.model.runs.len();
    let set_free = usize::from(leading.what.is_some());
    let freedom = runs.saturating_sub(1 + set_free);
    // judged by the uncertainties as stated, not as the scatter has widened them
    let as_stated = leading.averaged.as_stated(&leading.model)?;
    let chi_squared = runs_chi_squared(runs, &as_stated)?;
    let judged = freedom > 0 && !solved.from_scatter;
    Ok(Agreement {
        chi_squared,
        degrees_of_freedom: freedom,
        p_value: judged.then(|| chi_squared_p_value(chi_squared, freedom as f64)),
        birge_ratio: (freedom > 0).then(|| (chi_squared / freedom as f64).sqrt()),
    })
}
