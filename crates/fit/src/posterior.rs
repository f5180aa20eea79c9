//! The exact posterior near a least-squares fit: re-weighted heavy-tailed draws, and an ensemble sampler when those fail.

use crate::error::{FitError, all_finite, same_length};
use crate::montecarlo::student_scale;
use crate::quantiles::{equal_tailed_interval, weighted_quantiles};
use nalgebra::{DMatrix, DVector};
use rand::{Rng, RngExt};
use rand_distr::{Distribution as _, StandardNormal};
use statrs::function::gamma::ln_gamma;
use std::f64::consts::PI;

/// How the draws came about.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[non_exhaustive]
pub enum Method {
    /// Independent draws from a t proposal, re-weighted.
    Reweighted,
    /// Walkers of an affine-invariant ensemble, thinned; equal weights.
    Ensemble,
}

/// Weighted draws from a posterior, in the parameters' units.
#[derive(Debug, Clone, PartialEq)]
pub struct Posterior {
    /// One column a draw, one row a parameter.
    pub draws: DMatrix<f64>,
    /// Weight of each draw; they sum to 1.
    pub weights: Vec<f64>,
    /// Number of independent, equally weighted draws that would tell as much.
    pub effective_number: f64,
    /// Logarithm of the integral of the density, where it can be had.
    pub log_evidence: Option<f64>,
    /// Standard uncertainty of `log_evidence` from the finite number of draws.
    pub log_evidence_uncertainty: Option<f64>,
    /// How the draws came about.
    pub method: Method,
}

impl Posterior {
    /// Value of a function of the parameters at each draw.
    pub fn evaluate(&self, function: impl Fn(&[f64]) -> f64) -> Vec<f64> {
        let rows = self.draws.nrows().max(1);
        self.draws.as_slice().chunks_exact(rows).map(function).collect()
    }

    /// Mean and standard deviation of a function of the parameters.
    pub fn moments(&self, function: impl Fn(&[f64]) -> f64) -> (f64, f64) {
        let values = self.evaluate(function);
        let mean: f64 = values.iter().zip(&self.weights).map(|(v, w)| v * w).sum();
        let variance: f64 = values.iter().zip(&self.weights).map(|(v, w)| w * (v - mean).powi(2)).sum();
        (mean, variance.sqrt())
    }

    /// Quantiles of a function of the parameters.
    ///
    /// - **Fails** when the function is not finite at a draw, or a probability lies outside 0 to 1.
    pub fn quantiles(
        &self,
        function: impl Fn(&[f64]) -> f64,
        probabilities: &[f64],
    ) -> Result<Vec<f64>, FitError> {
        weighted_quantiles(&self.evaluate(function), Some(&self.weights), probabilities)
    }

    /// Equal-tailed interval of a function of the parameters.
    ///
    /// - **Fails** when the function is not finite at a draw, or the probability is not strictly between 0 and 1.
    pub fn interval(&self, function: impl Fn(&[f64]) -> f64, probability: f64) -> Result<[f64; 2], FitError> {
        equal_tailed_interval(&self.evaluate(function), Some(&self.weights), probability)
    }
}

/// Multivariate t from which draws are proposed: a fit's estimate and covariance, with tails to spare.
#[derive(Debug, Clone, PartialEq)]
pub struct Proposal {
    centre: DVector<f64>,
    factor: DMatrix<f64>,
    dof: f64,
    log_norm: f64,
}

impl Proposal {
    /// Prepares the proposal.
    ///
    /// - **Takes** centre and covariance (the t's scale matrix) and the degrees of freedom above 0; 5 to 8 serve well.
    /// - **Fails** when numbers are not finite, sizes differ, or the covariance is not positive definite.
    pub fn new(centre: &[f64], covariance: &DMatrix<f64>, dof: f64) -> Result<Self, FitError> {
        let d = centre.len();
        all_finite("centre of the proposal", centre.iter().copied())?;
        all_finite("covariance", covariance.iter().copied())?;
        same_length("row of the covariance matrix", "parameters", d, covariance.nrows())?;
        same_length("column of the covariance matrix", "parameters", d, covariance.ncols())?;
        crate::error::all_positive("number of degrees of freedom", &[dof])?;
        let singular = || FitError::Singular {
            fit: "the proposal",
            hint: "its covariance must be positive definite".to_string(),
        };
        let factor = covariance.clone().cholesky().filter(|_| d > 0).ok_or_else(singular)?.unpack();
        let log_det: f64 = factor.diagonal().iter().map(|v| v.ln()).sum();
        let n = d as f64;
        let log_norm = ln_gamma((dof + n) / 2.0) - ln_gamma(dof / 2.0) - 0.5 * n * (dof * PI).ln() - log_det;
        Ok(Self { centre: DVector::from_column_slice(centre), factor, dof, log_norm })
    }

    /// One draw and the logarithm of its normalised density.
    fn draw(&self, rng: &mut impl Rng) -> (DVector<f64>, f64) {
        let n = self.centre.len();
        let z = DVector::from_fn(n, |_, _| StandardNormal.sample(rng));
        let z: DVector<f64> = z * student_scale(self.dof, rng);
        let square = z.norm_squared();
        let log_density = self.log_norm - 0.5 * (self.dof + n as f64) * (square / self.dof).ln_1p();
        (&self.centre + &self.factor * z, log_density)
    }
}

/// Draws from a proposal, re-weighted to an exact density.
///
/// - **Takes** the proposal, the logarithm of the (not necessarily normalised) density, −∞ where it is 0, and the
///   number of draws.
/// - **Gives** weighted draws; `effective_number` is Kish's `(Σw)²/Σw²`. A small share of the draws means that the
///   proposal misses part of the density.
/// - **Fails** with fewer than 2 draws, a density that is NaN or +∞, or one that is 0 at every draw.
/// - **Source** Robert, Casella, *Monte Carlo Statistical Methods* (2004), § 3.3.
pub fn reweight(
    proposal: &Proposal,
    mut log_density: impl FnMut(&[f64]) -> f64,
    count: usize,
    rng: &mut impl Rng,
) -> Result<Posterior, FitError> {
    if count < 2 {
        return Err(FitError::TooFewPoints { fit: "a re-weighted sample", needed: 2, found: count });
    }
    let mut draws = DMatrix::zeros(proposal.centre.len(), count);
    let mut logs = Vec::with_capacity(count);
    for mut column in draws.column_iter_mut() {
        let (p, log_proposal) = proposal.draw(rng);
        logs.push(checked(log_density(p.as_slice()), p.as_slice())? - log_proposal);
        column.copy_from(&p);
    }
    let most = logs.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    if most == f64::NEG_INFINITY {
        let parameters = proposal.centre.as_slice().to_vec();
        return Err(FitError::ModelNotFinite {
            what: "the log-density of some draw",
            value: most,
            parameters,
        });
    }
    let raw: Vec<f64> = logs.iter().map(|l| (l - most).exp()).collect();
    let total: f64 = raw.iter().sum();
    let weights: Vec<f64> = raw.iter().map(|w| w / total).collect();
    let squares: f64 = weights.iter().map(|w| w * w).sum();
    let n = count as f64;
    Ok(Posterior {
        draws,
        weights,
        effective_number: 1.0 / squares,
        log_evidence: Some(most + (total / n).ln()),
        log_evidence_uncertainty: Some((squares - 1.0 / n).max(0.0).sqrt()),
        method: Method::Reweighted,
    })
}

fn checked(log_density: f64, parameters: &[f64]) -> Result<f64, FitError> {
    if log_density.is_nan() || log_density == f64::INFINITY {
        let (what, parameters) = ("the log-density (or -inf)", parameters.to_vec());
        return Err(FitError::ModelNotFinite { what, value: log_density, parameters });
    }
    Ok(log_density)
}

/// How [`explore`] runs.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Exploration {
    /// Draws of each round of re-weighting.
    pub draws: usize,
    /// Degrees of freedom of the proposal.
    pub dof: f64,
    /// Effective number that is enough.
    pub enough: f64,
    /// Most rounds in which the proposal is fitted anew to its own weighted draws.
    pub rounds: usize,
    /// Steps of each walker of the ensemble, if it comes to that.
    pub ensemble_steps: usize,
}

impl Default for Exploration {
    fn default() -> Self {
        Self { draws: 5_000, dof: 6.0, enough: 1_000.0, rounds: 3, ensemble_steps: 4_000 }
    }
}

/// Posterior around a least-squares result: re-weighted draws; a better proposal if they are too few; an ensemble if
/// even that fails.
///
/// Deterministic for a given random source. Look at `method` and `effective_number` of what comes back: the ensemble
/// may also fall short of `enough`.
///
/// - **Takes** the fit's estimate and covariance, and the logarithm of the density.
/// - **Fails** as [`reweight`] and [`Proposal::new`] do.
pub fn explore(
    centre: &[f64],
    covariance: &DMatrix<f64>,
    mut log_density: impl FnMut(&[f64]) -> f64,
    settings: &Exploration,
    rng: &mut impl Rng,
) -> Result<Posterior, FitError> {
    let mut proposal = Proposal::new(centre, covariance, settings.dof)?;
    let mut best = reweight(&proposal, &mut log_density, settings.draws, rng)?;
    for _ in 1..settings.rounds {
        if best.effective_number >= settings.enough {
            return Ok(best);
        }
        // Too few distinct draws make a worse proposal than the fit's own covariance.
        let Some(next) = refitted(&best, settings.dof) else { break };
        proposal = next;
        let again = reweight(&proposal, &mut log_density, settings.draws, rng)?;
        if again.effective_number > best.effective_number {
            best = again;
        }
    }
    if best.effective_number >= settings.enough {
        return Ok(best);
    }
    let start = resample(&best, walkers(centre.len()), rng);
    ensemble(&start, log_density, settings.ensemble_steps, rng)
}

fn refitted(posterior: &Posterior, dof: f64) -> Option<Proposal> {
    let d = posterior.draws.nrows();
    if posterior.effective_number < 5.0 * d as f64 {
        return None;
    }
    let weights = DVector::from_column_slice(&posterior.weights);
    let mean = &posterior.draws * &weights;
    let mut covariance = DMatrix::zeros(d, d);
    for (column, w) in posterior.draws.column_iter().zip(&posterior.weights) {
        let off = column - &mean;
        covariance += &off * off.transpose() * *w;
    }
    Proposal::new(mean.as_slice(), &covariance, dof).ok()
}

/// Walkers of an ensemble: four for each dimension, an even number, and enough to fill two halves.
fn walkers(dimensions: usize) -> usize {
    (4 * dimensions).max(8)
}

/// Draws chosen in proportion to their weight, each shaken by a thousandth so that no two walkers coincide.
fn resample(posterior: &Posterior, count: usize, rng: &mut impl Rng) -> DMatrix<f64> {
    let last = posterior.weights.len().saturating_sub(1);
    let spread: Vec<f64> = (0..posterior.draws.nrows())
        .map(|i| posterior.moments(|p| p.get(i).copied().unwrap_or(0.0)).1)
        .collect();
    let mut start = DMatrix::zeros(posterior.draws.nrows(), count);
    for mut column in start.column_iter_mut() {
        let mut left: f64 = rng.random();
        let chosen = posterior.weights.iter().position(|w| {
            left -= w;
            left <= 0.0
        });
        column.copy_from(&posterior.draws.column(chosen.unwrap_or(last)));
        for (slot, s) in column.iter_mut().zip(&spread) {
            let z: f64 = StandardNormal.sample(rng);
            *slot += 1e-3 * s.max(1e-6 * slot.abs()) * z;
        }
    }
    start
}

/// Range of the stretch move, `1/a` to `a` (Goodman and Weare's own choice).
const STRETCH: f64 = 2.0;

/// Affine-invariant ensemble: walkers that step along lines through one another.
///
/// The first half of the steps is left out; the effective number follows from the walkers' mean autocorrelation time.
///
/// - **Takes** the walkers' start (one column each, at least `2 × (parameters + 1)`, not all in one plane), the
///   logarithm of the density, and the steps of each walker.
/// - **Fails** with too few walkers or steps, or a density that is NaN or +∞, or 0 at every walker.
/// - **Source** Goodman, Weare, Commun. Appl. Math. Comput. Sci. 5 (2010) 65.
pub fn ensemble(
    start: &DMatrix<f64>,
    mut log_density: impl FnMut(&[f64]) -> f64,
    steps: usize,
    rng: &mut impl Rng,
) -> Result<Posterior, FitError> {
    let (d, count) = start.shape();
    let (needed, fit) = (2 * (d + 1), "an ensemble (counting walkers)");
    if count < needed || d == 0 {
        return Err(FitError::TooFewPoints { fit, needed, found: count });
    }
    if steps < 20 {
        return Err(FitError::TooFewPoints { fit: "an ensemble (counting steps)", needed: 20, found: steps });
    }
    all_finite("start of a walker", start.iter().copied())?;
    let mut at: Vec<DVector<f64>> = start.column_iter().map(|c| c.into_owned()).collect();
    let mut logs = Vec::with_capacity(count);
    for p in &at {
        logs.push(checked(log_density(p.as_slice()), p.as_slice())?);
    }
    if logs.iter().all(|l| *l == f64::NEG_INFINITY) {
        let parameters = start.column(0).iter().copied().collect();
        let what = "the log-density of some walker";
        return Err(FitError::ModelNotFinite { what, value: f64::NEG_INFINITY, parameters });
    }
    let mut history: Vec<Vec<DVector<f64>>> = Vec::with_capacity(steps / 2 + 1);
    for step in 0..steps {
        for half in 0..2 {
            sweep(&mut at, &mut logs, half, &mut log_density, rng)?;
        }
        if step >= steps / 2 {
            history.push(at.clone());
        }
    }
    Ok(gather(&history, d, count))
}

/// Moves every walker of one half along a line through a walker of the other.
fn sweep(
    at: &mut [DVector<f64>],
    logs: &mut [f64],
    half: usize,
    log_density: &mut impl FnMut(&[f64]) -> f64,
    rng: &mut impl Rng,
) -> Result<(), FitError> {
    let middle = at.len() / 2;
    let (first, second) = at.split_at_mut(middle);
    let (first_logs, second_logs) = logs.split_at_mut(middle);
    let (moving, moving_logs, still) =
        if half == 0 { (first, first_logs, second) } else { (second, second_logs, first) };
    for (walker, log) in moving.iter_mut().zip(moving_logs) {
        let pick = (rng.random::<f64>() * still.len() as f64) as usize;
        let Some(other) = still.get(pick.min(still.len().saturating_sub(1))) else { continue };
        let root = ((STRETCH.sqrt() - STRETCH.sqrt().recip()) * rng.random::<f64>()) + STRETCH.sqrt().recip();
        let z = root * root;
        let next = other + (&*walker - other) * z;
        let next_log = checked(log_density(next.as_slice()), next.as_slice())?;
        let gain = (walker.len() as f64 - 1.0) * z.ln() + next_log - *log;
        if rng.random::<f64>().ln() < gain {
            *walker = next;
            *log = next_log;
        }
    }
    Ok(())
}

fn gather(history: &[Vec<DVector<f64>>], d: usize, count: usize) -> Posterior {
    let longest = (0..d).map(|i| autocorrelation_time(history, i)).fold(1.0, f64::max);
    let total = history.len() * count;
    // Draws closer than half an autocorrelation time add bulk, not knowledge.
    let thin = ((longest / 2.0) as usize).max(1);
    let kept: Vec<&DVector<f64>> = history.iter().step_by(thin).flatten().collect();
    let draws =
        DMatrix::from_fn(d, kept.len(), |i, j| kept.get(j).and_then(|p| p.get(i)).copied().unwrap_or(0.0));
    let weights = vec![1.0 / kept.len().max(1) as f64; kept.len()];
    Posterior {
        draws,
        weights,
        effective_number: (total as f64 / longest).min(kept.len() as f64),
        log_evidence: None,
        log_evidence_uncertainty: None,
        method: Method::Ensemble,
    }
}

/// Integrated autocorrelation time, in steps, of one parameter averaged over walkers; summed to 5 times itself (Sokal).
fn autocorrelation_time(history: &[Vec<DVector<f64>>], parameter: usize) -> f64 {
    let series: Vec<Vec<f64>> =
        history.iter().map(|s| s.iter().filter_map(|p| p.get(parameter).copied()).collect()).collect();
    let all = series.iter().flatten();
    let (n, sum) = all.clone().fold((0.0, 0.0), |(n, s), v| (n + 1.0, s + v));
    let mean = sum / f64::max(n, 1.0);
    let at_lag = |lag: usize| {
        let pairs = series.iter().zip(series.iter().skip(lag));
        let product = pairs.flat_map(|(a, b)| a.iter().zip(b)).map(|(a, b)| (a - mean) * (b - mean));
        let (n, sum) = product.fold((0.0, 0.0), |(n, s), v| (n + 1.0, s + v));
        sum / f64::max(n, 1.0)
    };
    let variance = at_lag(0);
    if variance <= 0.0 {
        return n.max(1.0);
    }
    let mut time = 1.0;
    for lag in 1..series.len() / 2 {
        time += 2.0 * at_lag(lag) / variance;
        if lag as f64 >= 5.0 * time {
            break;
        }
    }
    time.max(1.0)
}
