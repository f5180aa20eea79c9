//! The unknown factor on the stated uncertainty of the diameters, and what is left of a fit once it is averaged over.
//!
//! People understate how well they read a diameter; without this factor a scatter of twice the stated one would look like an
//! effect. Each value of the factor has its own fit; the evidence of a model is the sum over all of them.

use arcmass_fit::joint::{self, Joint, Linearised};
use nalgebra::{DMatrix, DVector};
use rand::Rng;

use crate::desk::LabError;
use crate::model::{GUESSED_DIAMETER_U_M, Model};

/// How firmly a stated uncertainty is believed: as if it came from the scatter of so many readings. A factor above 1.5 has a
/// chance of 7 % beforehand, above 2 of 1 %.
const STATED_DOF: f64 = 10.0;
/// Where nothing is stated, the guess of half a millimetre hardly weighs.
const UNSTATED_DOF: f64 = 4.0;
/// Nodes less likely than this, against the likeliest, are left out.
const FAINT: f64 = 1e-5;

/// A fit with the diameters' uncertainty multiplied by a factor.
#[derive(Debug, Clone)]
pub(crate) struct Node {
    /// On the diameters' own uncertainty.
    pub(crate) factor: f64,
    /// Share of this factor in the model's evidence.
    pub(crate) weight: f64,
    /// The fit.
    pub(crate) joint: Joint,
}

/// A model averaged over the factor.
#[derive(Debug, Clone)]
pub(crate) struct Averaged {
    /// Likely factors with their fits.
    pub(crate) nodes: Vec<Node>,
    /// Logarithm of the evidence over all factors.
    pub(crate) log_evidence: f64,
}

/// Which diameters the factor is about: those that state nothing if there are any, else all.
fn is_scaled(model: &Model<'_>, stated: bool) -> bool {
    let any_unstated = model.runs.iter().any(|run| run.diameter_u_m.is_none());
    !(any_unstated && stated)
}

/// Noise of each run's diameter with the factor, m.
pub(super) fn noises(model: &Model<'_>, factor: f64) -> Vec<f64> {
    let noise = |run| {
        let run: &crate::model::RunDatum = run;
        let own = run.diameter_u_m.unwrap_or(model.unstated_diameter_u_m);
        let own = if is_scaled(model, run.diameter_u_m.is_some()) { own * factor } else { own };
        model.noise_of(run, own)
    };
    model.runs.iter().map(noise).collect()
}

/// The same model with the diameters' own uncertainty multiplied by a factor, those that it is about.
pub(crate) fn widened<'a>(model: &Model<'a>, factor: f64) -> Model<'a> {
    let mut wider = model.clone();
    for run in &mut wider.runs {
        if let Some(own) = run.diameter_u_m.filter(|_| is_scaled(model, true)) {
            run.diameter_u_m = Some(factor * own);
        }
    }
    wider.unstated_diameter_u_m *= factor;
    wider
}

/// The same linear model with other noises of the runs.
fn rescaled(at: &Linearised, old: &[f64], new: &[f64]) -> Linearised {
    let mut at = at.clone();
    for (row, (old, new)) in old.iter().zip(new).enumerate() {
        at.residuals[row] *= old / new;
        at.jacobian.row_mut(row).scale_mut(old / new);
    }
    at
}

/// How firmly an uncertainty of the diameters is believed, and the factor on the believed one when the model's is multiplied.
fn belief(model: &Model<'_>, factor: f64) -> (f64, f64) {
    if model.runs.iter().any(|run| run.diameter_u_m.is_none()) {
        (UNSTATED_DOF, factor * model.unstated_diameter_u_m / GUESSED_DIAMETER_U_M)
    } else {
        (STATED_DOF, factor)
    }
}

/// Scaled inverse chi-squared for f², as a density of ln f.
fn log_prior(dof: f64, factor: f64) -> f64 {
    -dof * factor.ln() - 0.5 * dof / (factor * factor)
}

/// The fit with the diameters' own uncertainty multiplied by a factor, and the sum of the logarithms of the noises.
pub(crate) fn with_factor(model: &Model<'_>, fitted: &Joint, factor: f64) -> Result<(Joint, f64), LabError> {
    let (old, new) = (noises(model, 1.0), noises(model, factor));
    let at = rescaled(&fitted.at, &old, &new);
    let joint = joint::linear::<LabError>(&fitted.priors, &fitted.estimate, &at)
        .map_err(|fault| LabError::Internal(format!("a fit with other noise fails: {fault}")))?;
    Ok((joint, new.iter().map(|noise| noise.ln()).sum()))
}

impl Averaged {
    /// Averages a fit over the factor; the model is taken as linear about the fit's estimate.
    pub(crate) fn of(model: &Model<'_>, fitted: &Joint) -> Result<Self, LabError> {
        let unstated = model.runs.iter().any(|run| run.diameter_u_m.is_none());
        let (dof, already) = belief(model, 1.0);
        // ln f in steps of 0.15: narrow against the ±0.2 that a dozen runs tell of it
        let (low, steps) = if unstated { (-3.0, 42) } else { (-0.6, 24) };
        let mut found: Vec<(f64, f64, Joint)> = Vec::new();
        for step in 0..=steps {
            let believed = f64::exp(low + 0.15 * f64::from(step));
            let factor = believed / already;
            let (joint, log_noises) = with_factor(model, fitted, factor)?;
            let prior = log_prior(dof, believed);
            let log = prior + joint.log_evidence() - log_noises;
            found.push((factor, log, joint));
            let top = found.iter().map(|node| node.1).fold(f64::NEG_INFINITY, f64::max);
            if log < top - 14.0 {
                break;
            }
        }
        let top = found.iter().map(|node| node.1).fold(f64::NEG_INFINITY, f64::max);
        found.retain(|node| node.1 > top + FAINT.ln());
        let total: f64 = found.iter().map(|node| (node.1 - top).exp()).sum();
        let nodes = found
            .into_iter()
            .map(|(factor, log, joint)| Node { factor, weight: (log - top).exp() / total, joint })
            .collect();
        let averaged = Self { nodes, log_evidence: top + total.ln() };
        // nearly the same whatever the factor
        let of_limits = averaged.typical().map_or(0.0, |node| node.joint.log_evidence_of_limits());
        Ok(Self { log_evidence: averaged.log_evidence + of_limits, ..averaged })
    }

    /// The fit with the diameters as uncertain as the model states them.
    pub(crate) fn as_stated(&self, model: &Model<'_>) -> Result<Joint, LabError> {
        let node = self.typical().ok_or_else(|| LabError::Internal("a model without a fit".to_owned()))?;
        let (old, new) = (noises(model, node.factor), noises(model, 1.0));
        let at = rescaled(&node.joint.at, &old, &new);
        joint::linear::<LabError>(&node.joint.priors, &node.joint.estimate, &at)
            .map_err(|fault| LabError::Internal(format!("a fit with the stated noise fails: {fault}")))
    }

    /// Quickly, the most that another model's log evidence can be above this one's: at the factor that this one finds likely,
    /// and at the stated uncertainty, which an effect that explains the scatter would leave.
    pub(crate) fn best_case(&self, model: &Model<'_>, other: &Joint) -> Result<f64, LabError> {
        let mut best = f64::NEG_INFINITY;
        for factor in [1.0, self.factor()] {
            let (joint, log_noises) = with_factor(model, other, factor)?;
            let (dof, believed) = belief(model, factor);
            // the sum over the factors is about as much as one factor's share times ln-width 0.5 over the step
            best = best.max(log_prior(dof, believed) + joint.log_evidence() - log_noises + 1.5);
        }
        Ok(best - self.log_evidence)
    }

    /// √ of the mean square of the factor: what the runs' own part of a variance is to be multiplied by.
    pub(crate) fn factor(&self) -> f64 {
        self.nodes.iter().map(|node| node.weight * node.factor * node.factor).sum::<f64>().sqrt()
    }

    /// The fit whose factor is nearest to that mean: careful rather than likely.
    pub(crate) fn typical(&self) -> Option<&Node> {
        let factor = self.factor().ln();
        let off = |node: &&Node| (node.factor.ln() - factor).abs();
        self.nodes.iter().min_by(|a, b| off(a).total_cmp(&off(b)))
    }

    /// Mean of all unknowns.
    pub(crate) fn mean(&self) -> DVector<f64> {
        let unknowns = self.nodes.first().map_or(0, |node| node.joint.priors.len());
        self.nodes.iter().fold(DVector::zeros(unknowns), |sum, node| sum + &node.joint.estimate * node.weight)
    }

    /// Mean and standard deviation of one unknown.
    pub(crate) fn moments(&self, place: usize) -> (f64, f64) {
        let mean: f64 = self.nodes.iter().map(|node| node.weight * node.joint.estimate[place]).sum();
        let square = |node: &Node| {
            node.weight * (node.joint.u(place).powi(2) + (node.joint.estimate[place] - mean).powi(2))
        };
        (mean, self.nodes.iter().map(square).sum::<f64>().sqrt())
    }

    /// Draws of all unknowns, one row a draw: each factor has as many as its weight deserves.
    pub(crate) fn draws(&self, count: usize, rng: &mut impl Rng) -> Result<DMatrix<f64>, LabError> {
        let unknowns = self.nodes.first().map_or(0, |node| node.joint.priors.len());
        let all: Vec<usize> = (0..unknowns).collect();
        self.draws_of(&all, count, rng)
    }

    /// Draws of some unknowns, one row a draw; the factors are strewn evenly over the rows, so that any first part of them
    /// stands for the whole.
    pub(crate) fn draws_of(
        &self,
        places: &[usize],
        count: usize,
        rng: &mut impl Rng,
    ) -> Result<DMatrix<f64>, LabError> {
        let mut all = DMatrix::zeros(count, places.len());
        let rows = strewn(count);
        for (node, from, upto) in self.shares(count) {
            let draws = node
                .joint
                .draws_of::<LabError>(places, upto - from, rng)
                .map_err(|fault| LabError::Internal(format!("the posterior can't be sampled: {fault}")))?;
            for (own, row) in rows.get(from..upto).unwrap_or_default().iter().enumerate() {
                all.set_row(*row, &draws.row(own));
            }
        }
        Ok(all)
    }

    /// The factor behind each row of `count` draws.
    pub(super) fn factors(&self, count: usize) -> Vec<f64> {
        let mut factors = vec![1.0; count];
        let rows = strewn(count);
        for (node, from, upto) in self.shares(count) {
            for row in rows.get(from..upto).unwrap_or_default() {
                factors[*row] = node.factor;
            }
        }
        factors
    }

    /// Which of `count` draws are each node's: from, up to.
    fn shares(&self, count: usize) -> Vec<(&Node, usize, usize)> {
        let (mut from, mut reached) = (0, 0.0);
        let mut list = Vec::new();
        for node in &self.nodes {
            reached += node.weight;
            let upto = ((reached * count as f64).round() as usize).min(count);
            if upto > from {
                list.push((node, from, upto));
                from = upto;
            }
        }
        list
    }
}

/// A fixed order of `count` rows in which neighbours lie far apart: steps of about the golden section of the whole.
fn strewn(count: usize) -> Vec<usize> {
    let shares_a_factor = |mut a: usize, mut b: usize| {
        while b > 0 {
            (a, b) = (b, a % b);
        }
        a > 1
    };
    let mut step = ((count as f64 * 0.618_033_988_75) as usize).max(1);
    while shares_a_factor(count.max(1), step) {
        step += 1;
    }
    (0..count).map(|i| i * step % count).collect()
}
