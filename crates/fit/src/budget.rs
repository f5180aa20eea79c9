//! Uncertainty budgets: the law of propagation for any model, who contributes what, and the coverage factor.

use crate::error::{FitError, all_finite, none_negative, same_length};
use crate::quantiles::inside;
use nalgebra::{DMatrix, DVector, SymmetricEigen};
use statrs::distribution::{ContinuousCDF, Normal, StudentsT};

/// One input quantity of a model, in the unit the model wants.
#[derive(Debug, Clone, PartialEq)]
pub struct Input {
    /// Its name in the budget.
    pub name: String,
    /// Best estimate.
    pub value: f64,
    /// Standard uncertainty, 0 or above.
    pub standard_uncertainty: f64,
    /// Degrees of freedom of the uncertainty; none when it is taken as exactly known.
    pub degrees_of_freedom: Option<f64>,
}

impl Input {
    /// An input whose uncertainty is taken as exactly known.
    pub fn new(name: impl Into<String>, value: f64, standard_uncertainty: f64) -> Self {
        Self { name: name.into(), value, standard_uncertainty, degrees_of_freedom: None }
    }

    /// The same input with degrees of freedom for its uncertainty.
    #[must_use]
    pub fn with_degrees_of_freedom(mut self, degrees_of_freedom: f64) -> Self {
        self.degrees_of_freedom = Some(degrees_of_freedom);
        self
    }
}

/// One row of a budget.
#[derive(Debug, Clone, PartialEq)]
pub struct Contribution {
    /// Name of the input.
    pub name: String,
    /// Derivative of the result by this input.
    pub sensitivity: f64,
    /// Sensitivity times standard uncertainty, with its sign, in the result's unit.
    pub contribution: f64,
    /// Share of the result's variance; all shares sum to 1.
    ///
    /// A covariance term is halved between its two inputs: `s_i = c_i u_i Σ_j r_ij c_j u_j / u²`. A share can be
    /// negative where a correlation makes an input cancel others. All are 0 when the result has no uncertainty.
    pub share: f64,
}

/// A result with its budget, in the model's unit.
#[derive(Debug, Clone, PartialEq)]
pub struct Budget {
    /// Model at the best estimates.
    pub value: f64,
    /// Combined standard uncertainty, first order.
    pub standard_uncertainty: f64,
    /// One row an input, in their order.
    pub contributions: Vec<Contribution>,
    /// Effective degrees of freedom; none when infinite.
    pub effective_degrees_of_freedom: Option<f64>,
}

impl Budget {
    /// Coverage factor for a probability: from Student's distribution with the effective degrees of freedom, cut down
    /// to a whole number (at least 1); from the normal distribution when they are infinite.
    ///
    /// - **Fails** for a probability not strictly between 0 and 1.
    /// - **Source** JCGM 100:2008, G.4.1 and G.6.4.
    pub fn coverage_factor(&self, probability: f64) -> Result<f64, FitError> {
        coverage_factor(probability, self.effective_degrees_of_freedom.map(|nu| nu.floor().max(1.0)))
    }

    /// Symmetric interval `value ± k u` for a probability.
    ///
    /// - **Fails** for a probability not strictly between 0 and 1.
    pub fn interval(&self, probability: f64) -> Result<[f64; 2], FitError> {
        let reach = self.coverage_factor(probability)? * self.standard_uncertainty;
        Ok([self.value - reach, self.value + reach])
    }
}

/// Two-sided coverage factor: `t_p(ν)`, or that of the normal distribution without degrees of freedom.
///
/// - **Fails** for a probability not strictly between 0 and 1, or degrees of freedom not above 0.
/// - **Source** JCGM 100:2008, table G.2.
pub fn coverage_factor(probability: f64, degrees_of_freedom: Option<f64>) -> Result<f64, FitError> {
    inside("the coverage probability", probability)?;
    let upper = (1.0 + probability) / 2.0;
    match degrees_of_freedom {
        None => Ok(Normal::standard().inverse_cdf(upper)),
        Some(nu) => StudentsT::new(0.0, 1.0, nu)
            .map(|law| law.inverse_cdf(upper))
            .map_err(|_| FitError::BadSetting { what: "degrees of freedom", accepted: "above 0", found: nu }),
    }
}

/// Several results of one model and their joint uncertainty.
#[derive(Debug, Clone, PartialEq)]
pub struct JointResult {
    /// Results at the best estimates.
    pub values: Vec<f64>,
    /// Covariance of the results.
    pub covariance: DMatrix<f64>,
    /// Derivative of each result (row) by each input (column).
    pub sensitivities: DMatrix<f64>,
}

/// Law of propagation of uncertainty for one result.
///
/// - **Takes** the inputs, their correlation matrix (none: independent), and the model.
/// - **Gives** value, combined uncertainty, one row an input, effective degrees of freedom.
/// - **Fails** on bad inputs, a matrix no quantities can have, or a model that is not finite near the estimates.
/// - **Holds** where the model is straight over one standard uncertainty; check with a Monte Carlo run.
/// - **Source** JCGM 100:2008, § 5.1, 5.2; effective degrees of freedom G.4.1. Inputs joined by a correlation count as
///   one term there, with the least of their degrees of freedom (after Willink, Metrologia 44 (2007) 340).
pub fn propagate(
    inputs: &[Input],
    correlation: Option<&DMatrix<f64>>,
    model: impl Fn(&[f64]) -> f64,
) -> Result<Budget, FitError> {
    let r = checked_correlation(inputs, correlation)?;
    let x: Vec<f64> = inputs.iter().map(|i| i.value).collect();
    let value = finite(model(&x), &x)?;
    let mut contributions = Vec::with_capacity(inputs.len());
    for (j, input) in inputs.iter().enumerate() {
        let sensitivity = derivative(&x, j, input.standard_uncertainty, &|p| vec![model(p)])?;
        let sensitivity = sensitivity.first().copied().unwrap_or(0.0);
        let contribution = sensitivity * input.standard_uncertainty;
        contributions.push(Contribution { name: input.name.clone(), sensitivity, contribution, share: 0.0 });
    }
    let parts = DVector::from_iterator(inputs.len(), contributions.iter().map(|c| c.contribution));
    let pulled = &r * &parts;
    let variance = parts.dot(&pulled).max(0.0);
    if variance > 0.0 {
        let shares = parts.iter().zip(pulled.iter()).map(|(p, q)| p * q / variance);
        contributions.iter_mut().zip(shares).for_each(|(c, s)| c.share = s);
    }
    let effective_degrees_of_freedom = effective_degrees_of_freedom(inputs, &r, &parts, variance);
    Ok(Budget { value, standard_uncertainty: variance.sqrt(), contributions, effective_degrees_of_freedom })
}

/// Law of propagation for several results of one model, with their covariance.
///
/// - **Takes**, **fails** as [`propagate`], with a model that gives a list of always the same length.
/// - **Source** JCGM 100:2008, H.2.3.
pub fn propagate_joint(
    inputs: &[Input],
    correlation: Option<&DMatrix<f64>>,
    model: impl Fn(&[f64]) -> Vec<f64>,
) -> Result<JointResult, FitError> {
    let r = checked_correlation(inputs, correlation)?;
    let x: Vec<f64> = inputs.iter().map(|i| i.value).collect();
    let values = model(&x);
    values.iter().try_for_each(|v| finite(*v, &x).map(drop))?;
    let mut sensitivities = DMatrix::zeros(values.len(), inputs.len());
    let mut parts = sensitivities.clone();
    for (j, input) in inputs.iter().enumerate() {
        let column = derivative(&x, j, input.standard_uncertainty, &model)?;
        same_length("result of the model", "results at the estimates", values.len(), column.len())?;
        let column = DVector::from_vec(column);
        parts.set_column(j, &(&column * input.standard_uncertainty));
        sensitivities.set_column(j, &column);
    }
    let covariance = &parts * r * parts.transpose();
    Ok(JointResult { values, covariance, sensitivities })
}

/// Combined standard uncertainty with the next terms of the Taylor series, for independent, symmetric (normal) inputs.
///
/// Adds `Σ_i Σ_j (½ f_ij² + f_i f_ijj) u_i² u_j²` to the variance.
///
/// - **Fails** as [`propagate`] does, and when the higher terms outweigh the first so that no variance is left.
/// - **Source** JCGM 100:2008, 5.1.2, note.
pub fn second_order_uncertainty(inputs: &[Input], model: impl Fn(&[f64]) -> f64) -> Result<f64, FitError> {
    let first = propagate(inputs, None, &model)?;
    let x: Vec<f64> = inputs.iter().map(|i| i.value).collect();
    let u: Vec<f64> = inputs.iter().map(|i| i.standard_uncertainty).collect();
    let probe = Probe { x: &x, u: &u, model: &model };
    let mut variance = first.standard_uncertainty.powi(2);
    for (i, c) in first.contributions.iter().enumerate() {
        for j in 0..inputs.len() {
            variance += 0.5 * probe.second(i, j)?.powi(2) + c.contribution * probe.third(i, j)?;
        }
    }
    if variance < 0.0 {
        let (what, accepted) = ("the second-order variance", "0 or above (use a Monte Carlo run)");
        return Err(FitError::BadSetting { what, accepted, found: variance });
    }
    Ok(variance.sqrt())
}

/// Steps, in standard uncertainties, of second and third differences: small enough to be local, large enough for digits.
const SECOND_STEP: f64 = 1.0 / 64.0;
const THIRD_STEP: f64 = 1.0 / 8.0;

/// The model seen in units of the inputs' standard uncertainties.
struct Probe<'a, F: Fn(&[f64]) -> f64> {
    x: &'a [f64],
    u: &'a [f64],
    model: &'a F,
}

impl<F: Fn(&[f64]) -> f64> Probe<'_, F> {
    fn at(&self, i: usize, step_i: f64, j: usize, step_j: f64) -> Result<f64, FitError> {
        let shift = |k: usize| f64::from(u8::from(k == i)) * step_i + f64::from(u8::from(k == j)) * step_j;
        let p: Vec<f64> = self.x.iter().zip(self.u).enumerate().map(|(k, (x, u))| x + shift(k) * u).collect();
        finite((self.model)(&p), &p)
    }

    /// `f_ij u_i u_j`.
    fn second(&self, i: usize, j: usize) -> Result<f64, FitError> {
        let h = SECOND_STEP;
        let mixed =
            self.at(i, h, j, h)? - self.at(i, h, j, -h)? - self.at(i, -h, j, h)? + self.at(i, -h, j, -h)?;
        Ok(mixed / (4.0 * h * h))
    }

    /// `f_ijj u_i u_j²`.
    fn third(&self, i: usize, j: usize) -> Result<f64, FitError> {
        let h = THIRD_STEP;
        let slope = |step: f64| Ok(self.at(i, h, j, step)? - self.at(i, -h, j, step)?);
        let (above, middle, below) = (slope(h)?, slope(0.0)?, slope(-h)?);
        Ok((above - 2.0 * middle + below) / (2.0 * h * h * h))
    }
}

fn finite(value: f64, at: &[f64]) -> Result<f64, FitError> {
    if value.is_finite() {
        return Ok(value);
    }
    Err(FitError::ModelNotFinite { what: "the model", value, parameters: at.to_vec() })
}

/// Bounds of the difference step against the estimate's size: digits below, curvature above.
const LEAST_STEP: f64 = 1e-5;
const MOST_STEP: f64 = 1e-3;

/// Derivative of the model's results by input `j`: central differences at two steps, extrapolated to step 0.
fn derivative(
    x: &[f64],
    j: usize,
    u: f64,
    model: &impl Fn(&[f64]) -> Vec<f64>,
) -> Result<Vec<f64>, FitError> {
    let centre = x.get(j).copied().unwrap_or(0.0);
    let size = centre.abs();
    let step = match (size > 0.0, u > 0.0) {
        (true, _) => u.clamp(LEAST_STEP * size, MOST_STEP * size),
        (false, true) => u * MOST_STEP,
        (false, false) => MOST_STEP,
    };
    let mut moved = x.to_vec();
    let mut slope = |h: f64| {
        let mut side = |at: f64| {
            if let Some(slot) = moved.get_mut(j) {
                *slot = at;
            }
            let values = model(&moved);
            values.iter().try_for_each(|v| finite(*v, &moved).map(drop))?;
            Ok::<_, FitError>(values)
        };
        let (high, low) = (centre + h, centre - h);
        let (above, below) = (side(high)?, side(low)?);
        let differences = above.iter().zip(&below).map(|(a, b)| (a - b) / (high - low));
        Ok::<_, FitError>(differences.collect::<Vec<f64>>())
    };
    let (coarse, fine) = (slope(step)?, slope(step / 2.0)?);
    Ok(coarse.iter().zip(&fine).map(|(c, f)| (4.0 * f - c) / 3.0).collect())
}

/// Rounding allowed in a correlation matrix.
const CORRELATION_ROUNDING: f64 = 1e-9;

fn checked_correlation(
    inputs: &[Input],
    correlation: Option<&DMatrix<f64>>,
) -> Result<DMatrix<f64>, FitError> {
    let n = inputs.len();
    if n == 0 {
        return Err(FitError::TooFewPoints { fit: "a budget", needed: 1, found: 0 });
    }
    all_finite("input value", inputs.iter().map(|i| i.value))?;
    none_negative("standard uncertainty", inputs.iter().map(|i| i.standard_uncertainty))?;
    for (index, nu) in inputs.iter().enumerate().filter_map(|(i, x)| x.degrees_of_freedom.map(|nu| (i, nu))) {
        if nu.is_nan() || nu <= 0.0 {
            return Err(FitError::NotPositive { what: "number of degrees of freedom", index, value: nu });
        }
    }
    let Some(r) = correlation else { return Ok(DMatrix::identity(n, n)) };
    same_length("row of the correlation matrix", "inputs", n, r.nrows())?;
    same_length("column of the correlation matrix", "inputs", n, r.ncols())?;
    check_correlation(r)?;
    Ok(r.clone())
}

/// Checks that a square matrix can be the correlation matrix of some quantities.
pub(crate) fn check_correlation(r: &DMatrix<f64>) -> Result<(), FitError> {
    let bad = |found: String| Err(FitError::BadCorrelation { found });
    for i in 0..r.nrows() {
        for j in 0..=i {
            let (a, b) = (r[(i, j)], r[(j, i)]);
            let diagonal_off = i == j && (a - 1.0).abs() > CORRELATION_ROUNDING;
            if !a.is_finite() || !b.is_finite() || (a - b).abs() > CORRELATION_ROUNDING || diagonal_off {
                return bad(format!("row {i}, column {j} (counted from 0) holds {a}, its mirror image {b}"));
            }
        }
    }
    let least = SymmetricEigen::new(r.clone()).eigenvalues.min();
    if least < -CORRELATION_ROUNDING {
        return bad(format!("its smallest eigenvalue is {least:.3e}"));
    }
    Ok(())
}

/// Welch–Satterthwaite over groups of correlated inputs; none when no uncertain group has finite degrees of freedom.
fn effective_degrees_of_freedom(
    inputs: &[Input],
    r: &DMatrix<f64>,
    parts: &DVector<f64>,
    variance: f64,
) -> Option<f64> {
    let mut doubt = 0.0;
    for group in groups(r) {
        let nu =
            group.iter().filter_map(|i| inputs.get(*i)?.degrees_of_freedom).fold(f64::INFINITY, f64::min);
        let of_group: f64 =
            group.iter().flat_map(|i| group.iter().map(move |j| parts[*i] * r[(*i, *j)] * parts[*j])).sum();
        doubt += of_group * of_group / nu;
    }
    (doubt > 0.0 && variance > 0.0).then(|| variance * variance / doubt)
}

/// Sets of inputs joined, directly or through others, by a correlation.
fn groups(r: &DMatrix<f64>) -> Vec<Vec<usize>> {
    let mut left: Vec<usize> = (0..r.nrows()).collect();
    let mut groups = Vec::new();
    while let Some(first) = left.pop() {
        let mut group = vec![first];
        let mut next = 0;
        while let Some(&i) = group.get(next) {
            let (joined, rest) = left.iter().copied().partition(|j| r[(i, *j)] != 0.0);
            left = rest;
            group.extend::<Vec<usize>>(joined);
            next += 1;
        }
        groups.push(group);
    }
    groups
}
