//! Nonlinear least squares by Levenberg–Marquardt on whitened residuals, where a prior is just one more residual.

use crate::agree::chi_squared_p_value;
use crate::error::{FitError, all_finite, all_positive, same_length};
use nalgebra::{DMatrix, DVector};

/// How a fit runs; `Settings::default()` suits parameters in units of their prior standard deviations.
#[derive(Debug, Clone, PartialEq)]
pub struct Settings {
    /// Change of each parameter over which the model bends; sets the step of the numeric Jacobian.
    /// None: the larger of 1 and the parameter's size.
    pub scales: Option<Vec<f64>>,
    /// Most steps, accepted or not.
    pub max_iterations: usize,
    /// Settled when the step still to be gained is below this share of the residuals' length
    /// (the cosine between residuals and model changes).
    pub tolerance: f64,
}

impl Default for Settings {
    fn default() -> Self {
        Self { scales: None, max_iterations: 200, tolerance: 1e-9 }
    }
}

/// Result of a nonlinear fit; parameters in the caller's units and order.
#[derive(Debug, Clone, PartialEq)]
pub struct NonlinearFit {
    /// Best parameters.
    pub parameters: Vec<f64>,
    /// Their covariance `(JᵀJ)⁻¹` from the whitening alone (not scaled by chi-squared).
    pub covariance: DMatrix<f64>,
    /// Sum of squared residuals, priors included.
    pub chi_squared: f64,
    /// Residuals minus parameters (each prior counts as a residual).
    pub dof: usize,
    /// Chance of a larger chi-squared; none without freedom.
    pub p_value: Option<f64>,
    /// Steps tried.
    pub iterations: usize,
    /// Whether the iteration settled; if not, the best point so far is given.
    pub converged: bool,
    /// Residuals at the best parameters, in the closure's order.
    pub residuals: Vec<f64>,
    /// Derivative of each residual (row) by each parameter (column), at the best parameters.
    pub jacobian: DMatrix<f64>,
}

impl NonlinearFit {
    /// Standard uncertainty of a parameter; none for an index out of range.
    pub fn standard_uncertainty(&self, parameter: usize) -> Option<f64> {
        self.covariance.get((parameter, parameter)).map(|v| v.max(0.0).sqrt())
    }

    /// Square root of chi-squared per degree of freedom; none without freedom.
    pub fn birge_ratio(&self) -> Option<f64> {
        (self.dof > 0).then(|| (self.chi_squared / self.dof as f64).sqrt())
    }

    /// Correlation of two parameters; none for an index out of range or a parameter without uncertainty.
    pub fn correlation(&self, one: usize, other: usize) -> Option<f64> {
        let scale = self.standard_uncertainty(one)? * self.standard_uncertainty(other)?;
        (scale > 0.0).then(|| self.covariance.get((one, other)).map(|c| c / scale)).flatten()
    }
}

/// Step of a central difference against the scale: balances `h²` truncation with rounding over `h`.
const DIFFERENCE_STEP: f64 = 6.055e-6; // cube root of 2⁻⁵²
/// Smallest ratio of singular values of the column-scaled Jacobian that still tells parameters apart,
/// for derivatives from differences (good to some ten digits) and for given ones.
const NUMERIC_RANK: f64 = 1e-8;
const GIVEN_RANK: f64 = 1e-12;
/// Damping above which no step is worth trying.
const STUCK: f64 = 1e15;
/// Step against the parameters' own size (both in units of their effect) below which rounding rules.
const STEP_ROUNDING: f64 = 1e-14;

/// Minimises the sum of squared residuals, with derivatives from central differences.
///
/// - **Takes** start values and a closure from parameters to residuals, each already divided by its standard
///   uncertainty (or multiplied by the inverse Cholesky factor of their covariance); priors are residuals
///   `(p − p₀)/u(p₀)`. A residual that is not finite marks parameters where the model does not hold: such a step
///   is refused.
/// - **Gives** the fit, with `converged = false` when it ran out of steps.
/// - **Fails** with fewer residuals than parameters, residuals not finite at the start, or parameters that the
///   residuals can not tell apart.
/// - **Source** Moré, *The Levenberg–Marquardt algorithm*, Lect. Notes Math. 630 (1978) 105 (scaling, factorisation).
pub fn least_squares(
    start: &[f64],
    mut residuals: impl FnMut(&[f64]) -> Vec<f64>,
    settings: &Settings,
) -> Result<NonlinearFit, FitError> {
    let scales = settings.scales.clone();
    if let Some(scales) = &scales {
        same_length("scale", "parameters", start.len(), scales.len())?;
        all_positive("parameter scale", scales)?;
    }
    run(start, settings, NUMERIC_RANK, |p, want| {
        let r = residuals(p);
        let sound = r.iter().all(|v| v.is_finite());
        let j = (want && sound).then(|| differences(p, scales.as_deref(), &r, &mut residuals)).transpose()?;
        Ok((r, j))
    })
}

/// Minimises the sum of squared residuals, with derivatives from a closure (one row a residual, one column a parameter).
///
/// - **Takes**, **gives**, **fails** as [`least_squares`], and when the Jacobian has the wrong shape or is not finite.
pub fn least_squares_with_jacobian(
    start: &[f64],
    mut residuals: impl FnMut(&[f64]) -> Vec<f64>,
    mut jacobian: impl FnMut(&[f64]) -> DMatrix<f64>,
    settings: &Settings,
) -> Result<NonlinearFit, FitError> {
    run(start, settings, GIVEN_RANK, |p, want| {
        let r = residuals(p);
        let j = if want { Some(jacobian(p)) } else { None };
        Ok((r, j))
    })
}

/// Central differences; at the edge of the model's range the one side that is finite.
fn differences(
    p: &[f64],
    scales: Option<&[f64]>,
    here: &[f64],
    residuals: &mut impl FnMut(&[f64]) -> Vec<f64>,
) -> Result<DMatrix<f64>, FitError> {
    let mut jacobian = DMatrix::zeros(here.len(), p.len());
    let mut moved = p.to_vec();
    for (j, &centre) in p.iter().enumerate() {
        let scale = scales.and_then(|s| s.get(j).copied()).unwrap_or(centre.abs().max(1.0));
        let mut side = |at: f64| {
            if let Some(slot) = moved.get_mut(j) {
                *slot = at;
            }
            let values = residuals(&moved);
            same_length("residual", "residuals of the start", here.len(), values.len())?;
            let broken = values.iter().copied().find(|v| !v.is_finite());
            Ok::<_, FitError>(if broken.is_none() {
                (at, values, None)
            } else {
                (centre, here.to_vec(), broken)
            })
        };
        let (high, above, broken) = side(centre + DIFFERENCE_STEP * scale)?;
        let (low, below, broken_too) = side(centre - DIFFERENCE_STEP * scale)?;
        if let (Some(value), Some(_)) = (broken, broken_too) {
            return Err(not_finite("some residual on one side or the other", value, p));
        }
        let column = above.iter().zip(&below).map(|(a, b)| (a - b) / (high - low));
        jacobian.column_mut(j).iter_mut().zip(column).for_each(|(slot, d)| *slot = d);
        if let Some(slot) = moved.get_mut(j) {
            *slot = centre;
        }
    }
    Ok(jacobian)
}

fn not_finite(what: &'static str, value: f64, parameters: &[f64]) -> FitError {
    FitError::ModelNotFinite { what, value, parameters: parameters.to_vec() }
}

/// Triangular form of the column-scaled Jacobian, and the residuals seen through it.
struct Factored {
    triangle: DMatrix<f64>,
    projected: DVector<f64>,
    norms: DVector<f64>,
}

impl Factored {
    fn new(jacobian: &DMatrix<f64>, residuals: &DVector<f64>) -> Result<Self, FitError> {
        let norms = DVector::from_iterator(jacobian.ncols(), jacobian.column_iter().map(|c| c.norm()));
        if let Some(j) = norms.iter().position(|n| *n == 0.0) {
            return Err(singular(format!("parameter {j} (counted from 0) changes no residual")));
        }
        let mut scaled = jacobian.clone();
        scaled.column_iter_mut().zip(norms.iter()).for_each(|(mut c, n)| c /= *n);
        let mut projected = residuals.clone();
        let qr = scaled.qr();
        qr.q_tr_mul(&mut projected);
        let projected = projected.rows(0, jacobian.ncols()).into_owned();
        Ok(Self { triangle: qr.r(), projected, norms })
    }

    /// Step that minimises `|J d + r|² + damping |D d|²`; none when the damped system can not be solved.
    fn step(&self, damping: f64) -> Option<DVector<f64>> {
        let n = self.projected.len();
        let mut stacked = DMatrix::zeros(2 * n, n);
        stacked.rows_mut(0, n).copy_from(&self.triangle);
        stacked.rows_mut(n, n).fill_diagonal(damping.sqrt());
        let mut right = DVector::zeros(2 * n);
        right.rows_mut(0, n).copy_from(&(-&self.projected));
        let qr = stacked.qr();
        qr.q_tr_mul(&mut right);
        let scaled = qr.r().solve_upper_triangular(&right.rows(0, n).into_owned())?;
        let step = scaled.component_div(&self.norms);
        step.iter().all(|s| s.is_finite()).then_some(step)
    }

    /// `(JᵀJ)⁻¹`, refused when the parameters can not be told apart.
    fn covariance(&self, least_ratio: f64) -> Result<DMatrix<f64>, FitError> {
        let n = self.projected.len();
        let stuck = || singular("their effects could not be separated".to_string());
        let svd = self.triangle.clone().try_svd(false, true, f64::EPSILON, 0).ok_or_else(stuck)?;
        if svd.singular_values.min() <= least_ratio * svd.singular_values.max() {
            return Err(singular(match &svd.v_t {
                Some(v_t) => alike(v_t.row(svd.singular_values.imin()).iter().copied()),
                None => "their effects are alike".to_string(),
            }));
        }
        let identity = DMatrix::identity(n, n);
        let mut inverse = self.triangle.solve_upper_triangular(&identity).ok_or_else(stuck)?;
        inverse.row_iter_mut().zip(self.norms.iter()).for_each(|(mut row, norm)| row /= *norm);
        Ok(&inverse * inverse.transpose())
    }
}

fn singular(hint: String) -> FitError {
    FitError::Singular { fit: "the least-squares fit", hint }
}

/// Names the parameters that share the direction nothing fixes.
fn alike(direction: impl Iterator<Item = f64>) -> String {
    let parts: Vec<f64> = direction.map(f64::abs).collect();
    let most = parts.iter().copied().fold(0.0, f64::max);
    // A parameter with less than a tenth of the largest share is a bystander.
    let named = parts.iter().enumerate().filter(|(_, p)| **p > 0.1 * most).map(|(i, _)| i.to_string());
    format!("the effects of parameters {} (counted from 0) cancel", named.collect::<Vec<_>>().join(", "))
}

type Evaluated = (Vec<f64>, Option<DMatrix<f64>>);

fn run(
    start: &[f64],
    settings: &Settings,
    least_ratio: f64,
    mut model: impl FnMut(&[f64], bool) -> Result<Evaluated, FitError>,
) -> Result<NonlinearFit, FitError> {
    check(start, settings)?;
    let mut p = DVector::from_column_slice(start);
    let (mut r, mut jacobian, mut factored) = linearise(&p, &mut model)?;
    let mut damping = 1e-3;
    let mut iterations = 0;
    let mut converged = false;
    while iterations < settings.max_iterations {
        let length = r.norm();
        if factored.projected.norm() <= settings.tolerance * length {
            converged = true;
            break;
        }
        iterations += 1;
        let step = factored.step(damping);
        let reach = p.component_mul(&factored.norms).norm();
        let tiny =
            step.as_ref().is_some_and(|s| s.component_mul(&factored.norms).norm() <= STEP_ROUNDING * reach);
        let tried = step.map(|s| &p + s).and_then(|next| {
            let (trial, _) = model(next.as_slice(), false).ok()?;
            let trial = DVector::from_vec(trial);
            (trial.len() == r.len() && trial.norm() < length).then_some(next)
        });
        match tried {
            Some(next) => {
                p = next;
                (r, jacobian, factored) = linearise(&p, &mut model)?;
                damping = (damping / 10.0).max(1e-15);
            }
            None if tiny || damping > STUCK => {
                // Rounding stops the descent: settled, if what is left to gain is small.
                converged = factored.projected.norm() <= settings.tolerance.sqrt() * length || tiny;
                break;
            }
            None => damping *= 10.0,
        }
    }
    finish(p, r, jacobian, &factored, iterations, converged, least_ratio)
}

fn check(start: &[f64], settings: &Settings) -> Result<(), FitError> {
    if start.is_empty() {
        return Err(FitError::TooFewPoints { fit: "a least-squares fit's start", needed: 1, found: 0 });
    }
    all_finite("start value", start.iter().copied())?;
    all_positive("fit tolerance", &[settings.tolerance])
}

fn linearise(
    p: &DVector<f64>,
    model: &mut impl FnMut(&[f64], bool) -> Result<Evaluated, FitError>,
) -> Result<(DVector<f64>, DMatrix<f64>, Factored), FitError> {
    let (r, jacobian) = model(p.as_slice(), true)?;
    if let Some(&value) = r.iter().find(|v| !v.is_finite()) {
        return Err(not_finite("every residual", value, p.as_slice()));
    }
    if r.len() < p.len() {
        let fit = "a least-squares fit (counting priors as points)";
        return Err(FitError::TooFewPoints { fit, needed: p.len(), found: r.len() });
    }
    let jacobian = jacobian.unwrap_or_default();
    same_length("row of the Jacobian", "residuals", r.len(), jacobian.nrows())?;
    same_length("column of the Jacobian", "parameters", p.len(), jacobian.ncols())?;
    if let Some(&value) = jacobian.iter().find(|v| !v.is_finite()) {
        return Err(not_finite("every derivative", value, p.as_slice()));
    }
    let r = DVector::from_vec(r);
    let factored = Factored::new(&jacobian, &r)?;
    Ok((r, jacobian, factored))
}

fn finish(
    p: DVector<f64>,
    r: DVector<f64>,
    jacobian: DMatrix<f64>,
    factored: &Factored,
    iterations: usize,
    converged: bool,
    least_ratio: f64,
) -> Result<NonlinearFit, FitError> {
    let covariance = factored.covariance(least_ratio)?;
    let chi_squared = r.norm_squared();
    let dof = r.len() - p.len();
    Ok(NonlinearFit {
        parameters: p.data.into(),
        covariance,
        chi_squared,
        dof,
        p_value: (dof > 0).then(|| chi_squared_p_value(chi_squared, dof as f64)),
        iterations,
        converged,
        residuals: r.data.into(),
        jacobian,
    })
}
