//! Propagation of distributions by Monte Carlo, adaptive, and the check of a first-order budget against it.

use crate::budget::Budget;
use crate::error::{FitError, all_finite, same_length};
use crate::quantiles::{inside, quantile_of_sorted, shortest_of_sorted};
use nalgebra::{DMatrix, DVector, SymmetricEigen};
use rand::{Rng, RngExt};
use rand_distr::{ChiSquared, Distribution as _, StandardNormal};
use std::f64::consts::PI;

/// What is known of one input, in the model's unit.
#[derive(Debug, Clone, Copy, PartialEq)]
#[non_exhaustive]
pub enum Distribution {
    /// Normal, with mean and standard deviation (0 or above).
    Normal {
        /// Mean.
        mean: f64,
        /// Standard deviation.
        sd: f64,
    },
    /// Rectangular between two limits.
    Rectangular {
        /// Lower limit.
        low: f64,
        /// Upper limit.
        high: f64,
    },
    /// Triangular between two limits, highest in the middle.
    Triangular {
        /// Lower limit.
        low: f64,
        /// Upper limit.
        high: f64,
    },
    /// Student's t, shifted and scaled; `dof` above 0.
    StudentT {
        /// Centre.
        location: f64,
        /// Scale (the standard uncertainty of the mean, for repeated readings).
        scale: f64,
        /// Degrees of freedom.
        dof: f64,
    },
    /// Arcsine (U-shaped) between two limits: a cyclic influence of unknown phase.
    Arcsine {
        /// Lower limit.
        low: f64,
        /// Upper limit.
        high: f64,
    },
    /// Rectangular between limits that are themselves known only to ± `inexactness`.
    CurvilinearTrapezoid {
        /// Lower limit.
        low: f64,
        /// Upper limit.
        high: f64,
        /// Half-width of what is known of each limit; at most half their distance.
        inexactness: f64,
    },
}

impl Distribution {
    fn check(&self) -> Result<(), FitError> {
        let numbers = match *self {
            Self::Normal { mean, sd } => [mean, sd, 0.0],
            Self::StudentT { location, scale, dof } => [location, scale, dof],
            Self::CurvilinearTrapezoid { low, high, inexactness } => [low, high, inexactness],
            Self::Rectangular { low, high }
            | Self::Triangular { low, high }
            | Self::Arcsine { low, high } => [low, high, 0.0],
        };
        all_finite("parameter of a distribution", numbers)?;
        let refuse = |what, accepted, found| Err(FitError::BadSetting { what, accepted, found });
        match *self {
            Self::Normal { sd, .. } if sd < 0.0 => refuse("a standard deviation", "0 or above", sd),
            Self::StudentT { scale, .. } if scale < 0.0 => refuse("a scale", "0 or above", scale),
            Self::StudentT { dof, .. } if dof <= 0.0 => refuse("degrees of freedom", "above 0", dof),
            Self::CurvilinearTrapezoid { low, high, inexactness }
                if inexactness < 0.0 || 2.0 * inexactness > high - low =>
            {
                refuse("the inexactness of limits", "0 to half their distance", inexactness)
            }
            Self::Rectangular { low, high }
            | Self::Triangular { low, high }
            | Self::Arcsine { low, high }
                if low > high =>
            {
                refuse("the upper limit", "at or above the lower one", high)
            }
            _ => Ok(()),
        }
    }

    /// One draw.
    fn draw(&self, rng: &mut impl Rng) -> f64 {
        match *self {
            Self::Normal { mean, sd } => mean + sd * normal(rng),
            Self::Rectangular { low, high } => low + (high - low) * uniform(rng),
            Self::Triangular { low, high } => low + (high - low) / 2.0 * (uniform(rng) + uniform(rng)),
            Self::StudentT { location, scale, dof } => location + scale * student(dof, rng),
            Self::Arcsine { low, high } => {
                (low + high) / 2.0 + (high - low) / 2.0 * (2.0 * PI * uniform(rng)).sin()
            }
            Self::CurvilinearTrapezoid { low, high, inexactness } => {
                let first = low - inexactness + 2.0 * inexactness * uniform(rng);
                first + (low + high - 2.0 * first) * uniform(rng)
            }
        }
    }
}

fn normal(rng: &mut impl Rng) -> f64 {
    StandardNormal.sample(rng)
}

fn uniform(rng: &mut impl Rng) -> f64 {
    rng.random()
}

fn student(dof: f64, rng: &mut impl Rng) -> f64 {
    normal(rng) * student_scale(dof, rng)
}

/// What turns normal draws into draws of Student's t: `√(ν/χ²_ν)`; `dof` has been checked to be above 0.
pub(crate) fn student_scale(dof: f64, rng: &mut impl Rng) -> f64 {
    ChiSquared::new(dof).map_or(1.0, |law| (dof / law.sample(rng)).sqrt())
}

/// One input with its distribution, or several that vary together.
#[derive(Debug, Clone, PartialEq)]
#[non_exhaustive]
pub enum Source {
    /// One input, independent of the others.
    One(Distribution),
    /// Several inputs, jointly normal.
    Joint {
        /// Their means.
        mean: Vec<f64>,
        /// Their covariance; may be singular, but have no negative eigenvalue.
        covariance: DMatrix<f64>,
    },
}

/// Draws all inputs of a model, in the order of its sources.
#[derive(Debug, Clone, PartialEq)]
pub struct Sampler {
    parts: Vec<Part>,
    count: usize,
}

#[derive(Debug, Clone, PartialEq)]
enum Part {
    One(Distribution),
    Joint { mean: DVector<f64>, factor: DMatrix<f64> },
}

/// Share of the largest eigenvalue below which a negative one is rounding.
const NEGATIVE_ROUNDING: f64 = 1e-10;

impl Sampler {
    /// Prepares the draws.
    ///
    /// - **Takes** the sources in the order of the model's arguments.
    /// - **Fails** on parameters that are not finite or out of range, or a covariance that no quantities can have.
    /// - **Source** JCGM 101:2008, § 6.4.
    pub fn new(sources: &[Source]) -> Result<Self, FitError> {
        let mut parts = Vec::with_capacity(sources.len());
        let mut count = 0;
        for source in sources {
            let (part, size) = match source {
                Source::One(law) => {
                    law.check()?;
                    (Part::One(*law), 1)
                }
                Source::Joint { mean, covariance } => (
                    Part::Joint { mean: DVector::from_column_slice(mean), factor: root(mean, covariance)? },
                    mean.len(),
                ),
            };
            parts.push(part);
            count += size;
        }
        Ok(Self { parts, count })
    }

    /// Number of inputs drawn.
    pub fn count(&self) -> usize {
        self.count
    }

    /// Fills `inputs` (one place an input) with one joint draw; places beyond the inputs are left alone.
    pub fn draw(&self, rng: &mut impl Rng, inputs: &mut [f64]) {
        let mut free = inputs;
        for part in &self.parts {
            let size = if let Part::Joint { mean, .. } = part { mean.len() } else { 1 };
            let Some((slots, rest)) = free.split_at_mut_checked(size) else { return };
            match part {
                Part::One(law) => slots.fill_with(|| law.draw(rng)),
                Part::Joint { mean, factor } => {
                    slots.copy_from_slice(mean.as_slice());
                    for column in factor.as_slice().chunks_exact(size.max(1)) {
                        let z = normal(rng);
                        slots.iter_mut().zip(column).for_each(|(slot, f)| *slot += f * z);
                    }
                }
            }
            free = rest;
        }
    }
}

/// Matrix whose product with its transpose is the covariance: Cholesky, or eigenvectors where that is singular.
fn root(mean: &[f64], covariance: &DMatrix<f64>) -> Result<DMatrix<f64>, FitError> {
    all_finite("mean of a joint distribution", mean.iter().copied())?;
    all_finite("covariance", covariance.iter().copied())?;
    same_length("row of the covariance matrix", "means", mean.len(), covariance.nrows())?;
    same_length("column of the covariance matrix", "means", mean.len(), covariance.ncols())?;
    if let Some(cholesky) = covariance.clone().cholesky() {
        return Ok(cholesky.unpack());
    }
    let eigen = SymmetricEigen::new(covariance.clone());
    let most = eigen.eigenvalues.max().max(0.0);
    if let Some(found) = eigen.eigenvalues.iter().find(|l| **l < -NEGATIVE_ROUNDING * most) {
        return Err(FitError::BadCorrelation {
            found: format!("the covariance matrix has eigenvalue {found:.3e}"),
        });
    }
    let roots = eigen.eigenvalues.map(|l| l.max(0.0).sqrt());
    Ok(eigen.eigenvectors * DMatrix::from_diagonal(&roots))
}

/// Draws of the model's result, chunk by chunk, each chunk from its own random stream.
///
/// The same chunk number always gives the same draws, however the chunks are shared out over threads.
///
/// - **Takes** the sampler, the model, the numbers of the chunks, draws a chunk, and a closure that makes the random
///   stream of a chunk.
/// - **Gives** the results in order of chunk and draw.
/// - **Fails** when the model is not finite at some draw.
pub fn simulate<R: Rng>(
    sampler: &Sampler,
    model: impl Fn(&[f64]) -> f64,
    chunks: std::ops::Range<u64>,
    chunk_size: usize,
    mut stream: impl FnMut(u64) -> R,
) -> Result<Vec<f64>, FitError> {
    let mut inputs = vec![0.0; sampler.count];
    let capacity =
        usize::try_from(chunks.end.saturating_sub(chunks.start)).unwrap_or(0).saturating_mul(chunk_size);
    // A large request grows as it is filled instead of failing at once.
    let mut results = Vec::with_capacity(capacity.min(1 << 24));
    for chunk in chunks {
        let mut rng = stream(chunk);
        for _ in 0..chunk_size {
            sampler.draw(&mut rng, &mut inputs);
            let value = model(&inputs);
            if !value.is_finite() {
                return Err(FitError::ModelNotFinite {
                    what: "the model at every draw",
                    value,
                    parameters: inputs,
                });
            }
            results.push(value);
        }
    }
    Ok(results)
}

/// Summary of draws of a result, in its unit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Summary {
    /// Mean of the draws.
    pub value: f64,
    /// Their standard deviation.
    pub standard_uncertainty: f64,
    /// Probabilistically symmetric coverage interval.
    pub symmetric_interval: [f64; 2],
    /// Shortest coverage interval.
    pub shortest_interval: [f64; 2],
}

/// Mean, standard uncertainty and both coverage intervals of draws; the draws are sorted in place.
///
/// - **Fails** with fewer than 2 draws, draws not finite, or a probability not strictly between 0 and 1.
/// - **Source** JCGM 101:2008, 7.6, 7.7.
pub fn summarise(draws: &mut [f64], probability: f64) -> Result<Summary, FitError> {
    inside("the coverage probability", probability)?;
    if draws.len() < 2 {
        return Err(FitError::TooFewPoints { fit: "a summary of draws", needed: 2, found: draws.len() });
    }
    all_finite("draw", draws.iter().copied())?;
    let n = draws.len() as f64;
    let origin = draws.first().copied().unwrap_or(0.0);
    let mean = origin + draws.iter().map(|d| d - origin).sum::<f64>() / n;
    let variance = draws.iter().map(|d| (d - mean).powi(2)).sum::<f64>() / (n - 1.0);
    draws.sort_unstable_by(f64::total_cmp);
    let tail = (1.0 - probability) / 2.0;
    Ok(Summary {
        value: mean,
        standard_uncertainty: variance.sqrt(),
        symmetric_interval: [quantile_of_sorted(draws, tail), quantile_of_sorted(draws, 1.0 - tail)],
        shortest_interval: shortest_of_sorted(draws, probability),
    })
}

/// How an adaptive simulation runs.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Adaptive {
    /// Coverage probability of the intervals.
    pub probability: f64,
    /// Significant digits of the standard uncertainty that must be stable.
    pub significant_digits: u32,
    /// Most draws; a run that needs more ends with `settled = false`.
    pub most_draws: usize,
}

impl Default for Adaptive {
    fn default() -> Self {
        Self { probability: 0.95, significant_digits: 2, most_draws: 10_000_000 }
    }
}

/// Outcome of an adaptive simulation.
#[derive(Debug, Clone, PartialEq)]
pub struct Simulation {
    /// Summary of all draws together.
    pub summary: Summary,
    /// All draws, sorted.
    pub draws: Vec<f64>,
    /// Numerical tolerance δ that the digits asked for imply.
    pub tolerance: f64,
    /// Whether mean, standard uncertainty and interval ends all settled within δ.
    pub settled: bool,
}

/// Numerical tolerance δ of a standard uncertainty given to `significant_digits`: half a unit of its last digit.
///
/// - **Fails** when the uncertainty is not above 0 or no digit is asked for.
/// - **Source** JCGM 101:2008, 7.9.2.
pub fn numerical_tolerance(standard_uncertainty: f64, significant_digits: u32) -> Result<f64, FitError> {
    crate::error::all_positive("standard uncertainty", &[standard_uncertainty])?;
    if significant_digits == 0 || significant_digits > 15 {
        let (what, accepted) = ("the number of significant digits", "1 to 15");
        return Err(FitError::BadSetting { what, accepted, found: f64::from(significant_digits) });
    }
    let digits = significant_digits as i32;
    let mut place = standard_uncertainty.log10().floor() as i32 - digits + 1;
    // 0.0996 to two digits is 0.10: the rounding may carry into a higher place.
    if (standard_uncertainty / 10f64.powi(place)).round() >= 10f64.powi(digits) {
        place += 1;
    }
    Ok(0.5 * 10f64.powi(place))
}

/// Draws until mean, standard uncertainty and both ends of the symmetric interval have settled to the digits asked for.
///
/// One chunk is a block of `max(10⁴, 100/(1−p))` draws, so the result depends only on the streams.
///
/// - **Takes** the sampler, the model, the settings, and a closure that makes the random stream of chunk k.
/// - **Fails** when the model is not finite at a draw, does not vary at all, or a setting is out of range.
/// - **Source** JCGM 101:2008, 7.9.4.
pub fn simulate_adaptively<R: Rng>(
    sampler: &Sampler,
    model: impl Fn(&[f64]) -> f64,
    settings: Adaptive,
    mut stream: impl FnMut(u64) -> R,
) -> Result<Simulation, FitError> {
    inside("the coverage probability", settings.probability)?;
    let block = ((100.0 / (1.0 - settings.probability)).ceil() as usize).max(10_000);
    let mut draws = Vec::new();
    let mut blocks: Vec<[f64; 4]> = Vec::new();
    loop {
        let k = blocks.len() as u64;
        let mut chunk = simulate(sampler, &model, k..k + 1, block, &mut stream)?;
        let s = summarise(&mut chunk, settings.probability)?;
        blocks.push([s.value, s.standard_uncertainty, s.symmetric_interval[0], s.symmetric_interval[1]]);
        draws.append(&mut chunk);
        let enough = draws.len() + block > settings.most_draws;
        if blocks.len() < 2 && !enough {
            continue;
        }
        let u = pooled_uncertainty(&draws);
        let tolerance = numerical_tolerance(u, settings.significant_digits)?;
        let settled = blocks.len() > 1 && largest_scatter(&blocks) * 2.0 < tolerance;
        if settled || enough {
            let summary = summarise(&mut draws, settings.probability)?;
            return Ok(Simulation { summary, draws, tolerance, settled });
        }
    }
}

fn pooled_uncertainty(draws: &[f64]) -> f64 {
    let n = draws.len() as f64;
    let origin = draws.first().copied().unwrap_or(0.0);
    let mean = origin + draws.iter().map(|d| d - origin).sum::<f64>() / n;
    (draws.iter().map(|d| (d - mean).powi(2)).sum::<f64>() / (n - 1.0)).sqrt()
}

/// Largest standard deviation of the average over blocks, among the four numbers of a block.
fn largest_scatter(blocks: &[[f64; 4]]) -> f64 {
    let h = blocks.len() as f64;
    let scatter = |column: &dyn Fn(&[f64; 4]) -> f64| {
        let mean = blocks.iter().map(column).sum::<f64>() / h;
        let squares = blocks.iter().map(|b| (column(b) - mean).powi(2)).sum::<f64>();
        (squares / (h * (h - 1.0))).sqrt()
    };
    let all = [scatter(&|b| b[0]), scatter(&|b| b[1]), scatter(&|b| b[2]), scatter(&|b| b[3])];
    all.into_iter().fold(0.0, f64::max)
}

/// Whether a first-order budget stands up to a simulation.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Validation {
    /// Distance of the lower ends of the two symmetric intervals.
    pub low_distance: f64,
    /// Distance of the upper ends.
    pub high_distance: f64,
    /// Numerical tolerance δ they must keep within.
    pub tolerance: f64,
    /// Whether both do.
    pub holds: bool,
}

/// Compares the interval of a first-order budget with that of a simulation of the same model.
///
/// δ belongs to the budget's standard uncertainty; for a fair verdict simulate with one digit more than asked for here.
///
/// - **Fails** for a probability not strictly between 0 and 1, or a budget without uncertainty.
/// - **Source** JCGM 101:2008, § 8.
pub fn validate(
    budget: &Budget,
    simulated_interval: [f64; 2],
    probability: f64,
    significant_digits: u32,
) -> Result<Validation, FitError> {
    let [low, high] = budget.interval(probability)?;
    let tolerance = numerical_tolerance(budget.standard_uncertainty, significant_digits)?;
    let low_distance = (low - simulated_interval[0]).abs();
    let high_distance = (high - simulated_interval[1]).abs();
    let holds = low_distance <= tolerance && high_distance <= tolerance;
    Ok(Validation { low_distance, high_distance, tolerance, holds })
}
