//! Do these values agree: weighted means, chi-squared, normalised errors, and means of values that scatter too much.

use crate::error::{FitError, all_finite, all_positive, same_length};
use nalgebra::{DMatrix, DVector};
use statrs::distribution::{ChiSquared, ContinuousCDF};

/// Chance that chi-squared with `dof` degrees of freedom exceeds `chi_squared`.
///
/// Gives 1 for a chi-squared of 0 or below or one that is NaN, and 0 for an infinite one; `dof` must be above 0
/// (else 1).
pub fn chi_squared_p_value(chi_squared: f64, dof: f64) -> f64 {
    match ChiSquared::new(dof) {
        Ok(law) if chi_squared > 0.0 => law.sf(chi_squared),
        _ => 1.0,
    }
}

/// Mean of several values of one quantity, in their unit, and whether they agree with it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Mean {
    /// The mean.
    pub value: f64,
    /// Its standard uncertainty from the given uncertainties alone.
    pub standard_uncertainty: f64,
    /// Squared deviations over variances, summed.
    pub chi_squared: f64,
    /// Values minus 1.
    pub dof: usize,
    /// Chance of a larger chi-squared if the values agree; none for a single value.
    pub p_value: Option<f64>,
    /// `√(χ²/dof)`; none for a single value.
    pub birge_ratio: Option<f64>,
}

impl Mean {
    fn new(value: f64, variance: f64, chi_squared: f64, count: usize) -> Self {
        let dof = count.saturating_sub(1);
        let free = dof > 0;
        Self {
            value,
            standard_uncertainty: variance.max(0.0).sqrt(),
            chi_squared,
            dof,
            p_value: free.then(|| chi_squared_p_value(chi_squared, dof as f64)),
            birge_ratio: free.then(|| (chi_squared / dof as f64).sqrt()),
        }
    }

    /// Standard uncertainty times the Birge ratio where that is above 1 (Birge, Phys. Rev. 40 (1932) 207).
    pub fn scaled_uncertainty(&self) -> f64 {
        self.standard_uncertainty * self.birge_ratio.unwrap_or(1.0).max(1.0)
    }
}

fn check(values: &[f64], uncertainties: &[f64]) -> Result<(), FitError> {
    if values.is_empty() {
        return Err(FitError::TooFewPoints { fit: "a mean", needed: 1, found: 0 });
    }
    same_length("standard uncertainty", "values", values.len(), uncertainties.len())?;
    all_finite("value", values.iter().copied())?;
    all_positive("standard uncertainty", uncertainties)
}

/// Mean of independent values, each weighted by the inverse of its variance.
///
/// - **Takes** values and standard uncertainties in one unit, one of each a measurement.
/// - **Fails** on no value, lists of unequal length, numbers not finite, or an uncertainty not above 0.
pub fn weighted_mean(values: &[f64], uncertainties: &[f64]) -> Result<Mean, FitError> {
    check(values, uncertainties)?;
    let variances: Vec<f64> = uncertainties.iter().map(|u| u * u).collect();
    Ok(mean_of(values, &variances))
}

fn mean_of(values: &[f64], variances: &[f64]) -> Mean {
    let total: f64 = variances.iter().map(|v| 1.0 / v).sum();
    // Deviations from the first value keep the digits of values that are nearly alike.
    let origin = values.first().copied().unwrap_or(0.0);
    let shift = values.iter().zip(variances).map(|(x, v)| (x - origin) / v).sum::<f64>() / total;
    let squares = values.iter().zip(variances).map(|(x, v)| (x - origin - shift).powi(2) / v);
    Mean::new(origin + shift, 1.0 / total, squares.sum(), values.len())
}

/// A weighted mean with the scale factor of the Particle Data Group.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ScaledMean {
    /// The plain weighted mean of all values.
    pub mean: Mean,
    /// `√(χ²/(N−1))` over the values precise enough to tell; 1 where that is smaller.
    pub scale_factor: f64,
    /// How many values the scale factor rests on.
    pub used: usize,
    /// Standard uncertainty of the mean times the scale factor.
    pub standard_uncertainty: f64,
}

/// Weighted mean whose uncertainty is scaled up where precise values disagree.
///
/// Only values with `u < 3 √N u(mean)` make the scale factor, from their chi-squared about their own weighted mean.
///
/// - **Fails** as [`weighted_mean`] does.
/// - **Source** Particle Data Group, Review of Particle Physics, Introduction, § 5.2.2 (unconstrained averaging).
pub fn scaled_mean(values: &[f64], uncertainties: &[f64]) -> Result<ScaledMean, FitError> {
    let mean = weighted_mean(values, uncertainties)?;
    let limit = 3.0 * (values.len() as f64).sqrt() * mean.standard_uncertainty;
    let precise = values.iter().zip(uncertainties).filter(|(_, u)| **u < limit);
    let (x, variances): (Vec<f64>, Vec<f64>) = precise.map(|(x, u)| (*x, u * u)).unzip();
    let used = x.len();
    let raw = mean_of(&x, &variances).birge_ratio.unwrap_or(1.0);
    let scale_factor = raw.max(1.0);
    Ok(ScaledMean {
        mean,
        scale_factor,
        used,
        standard_uncertainty: mean.standard_uncertainty * scale_factor,
    })
}

/// Difference of two values over its standard uncertainty.
///
/// - **Takes** the values, their standard uncertainties and the covariance of the two (0 when independent).
/// - **Fails** when a number is not finite or the difference would have no uncertainty.
pub fn normalised_difference(a: f64, u_a: f64, b: f64, u_b: f64, covariance: f64) -> Result<f64, FitError> {
    all_finite("value, uncertainty or covariance", [a, u_a, b, u_b, covariance])?;
    let variance = u_a * u_a + u_b * u_b - 2.0 * covariance;
    if variance <= 0.0 {
        let (what, accepted) = ("the variance of the difference", "above 0");
        return Err(FitError::BadSetting { what, accepted, found: variance });
    }
    Ok((a - b) / variance.sqrt())
}

/// Normalised error `E_n = (x − x_ref) / √(U² + U_ref²)` with expanded uncertainties `U = k u`; agreement when |E_n| ≤ 1.
///
/// - **Takes** two independent values, their standard uncertainties, and the coverage factor k above 0 (2 is usual).
/// - **Fails** as [`normalised_difference`] does, or for a coverage factor not above 0.
/// - **Source** ISO 13528:2022, § 9.7 (number of the section from memory).
pub fn normalised_error(a: f64, u_a: f64, b: f64, u_b: f64, coverage_factor: f64) -> Result<f64, FitError> {
    all_positive("coverage factor", &[coverage_factor])?;
    Ok(normalised_difference(a, u_a, b, u_b, 0.0)? / coverage_factor)
}

/// Mean of values that scatter more than their uncertainties say, with the spread that explains it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RandomEffectsMean {
    /// The mean.
    pub value: f64,
    /// Its standard uncertainty, the spread between the values included.
    pub standard_uncertainty: f64,
    /// Standard deviation between the values beyond their own uncertainties; 0 when they agree.
    pub between_sd: f64,
}

/// Bisections of the squared spread: enough to reach the last bit from any bracket.
const PAULE_MANDEL_HALVINGS: usize = 200;

/// Random-effects mean of independent values after Paule and Mandel: weights `1/(u² + τ²)` with τ² such that the
/// chi-squared about the mean equals its degrees of freedom (τ = 0 when it is already below).
///
/// - **Fails** as [`weighted_mean`] does, and with fewer than 2 values.
/// - **Source** Paule, Mandel, J. Res. Natl. Bur. Stand. 87 (1982) 377.
pub fn random_effects_mean(values: &[f64], uncertainties: &[f64]) -> Result<RandomEffectsMean, FitError> {
    check(values, uncertainties)?;
    if values.len() < 2 {
        return Err(FitError::TooFewPoints { fit: "a random-effects mean", needed: 2, found: values.len() });
    }
    let at = |tau2: f64| {
        let variances: Vec<f64> = uncertainties.iter().map(|u| u * u + tau2).collect();
        mean_of(values, &variances)
    };
    let dof = (values.len() - 1) as f64;
    let (mut low, mut high) = (0.0, 0.0);
    if at(0.0).chi_squared > dof {
        // Chi-squared falls with τ²; the full squared range is more than enough spread.
        let range = values.iter().fold(0.0_f64, |m, v| m.max((v - at(0.0).value).abs()));
        high = 4.0 * range * range * values.len() as f64;
    }
    for _ in 0..PAULE_MANDEL_HALVINGS {
        let middle = (low + high) / 2.0;
        if middle <= low || middle >= high {
            break;
        }
        if at(middle).chi_squared > dof { low = middle } else { high = middle }
    }
    let mean = at(high);
    Ok(RandomEffectsMean {
        value: mean.value,
        standard_uncertainty: mean.standard_uncertainty,
        between_sd: high.sqrt(),
    })
}

/// Mean of correlated values by generalised least squares, `x̄ = (1ᵀC⁻¹x)/(1ᵀC⁻¹1)`.
///
/// Strongly correlated values may pull the mean outside their range; the p-value then says whether they agree.
///
/// - **Takes** the values and their covariance matrix, in their unit squared.
/// - **Fails** on no value, a matrix of the wrong size, or one that is not positive definite.
/// - **Source** Aitken (1935); Cox et al., Metrologia 43 (2006) S268.
pub fn generalised_mean(values: &[f64], covariance: &DMatrix<f64>) -> Result<Mean, FitError> {
    if values.is_empty() {
        return Err(FitError::TooFewPoints { fit: "a mean", needed: 1, found: 0 });
    }
    all_finite("value", values.iter().copied())?;
    all_finite("covariance", covariance.iter().copied())?;
    same_length("row of the covariance matrix", "values", values.len(), covariance.nrows())?;
    same_length("column of the covariance matrix", "values", values.len(), covariance.ncols())?;
    let singular = || FitError::Singular {
        fit: "the mean of correlated values",
        hint: "their covariance matrix must be positive definite".to_string(),
    };
    let factor = covariance.clone().cholesky().ok_or_else(singular)?;
    let origin = values.first().copied().unwrap_or(0.0);
    let offsets = DVector::from_iterator(values.len(), values.iter().map(|v| v - origin));
    let weights = factor.solve(&DVector::from_element(values.len(), 1.0));
    let total = weights.sum();
    let shift = weights.dot(&offsets) / total;
    let deviations = offsets.add_scalar(-shift);
    let chi_squared = deviations.dot(&factor.solve(&deviations));
    Ok(Mean::new(origin + shift, 1.0 / total, chi_squared, values.len()))
}

/// Mean of repeated readings, with the standard uncertainty of the mean from their scatter (type A).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RepeatedReadings {
    /// Arithmetic mean.
    pub mean: f64,
    /// Standard deviation of one reading.
    pub sd: f64,
    /// Standard uncertainty of the mean, `sd/√n`.
    pub standard_uncertainty: f64,
    /// Readings minus 1.
    pub degrees_of_freedom: f64,
}

/// Type A evaluation of repeated, independent readings.
///
/// - **Fails** with fewer than 2 readings or a reading that is not finite.
/// - **Source** JCGM 100:2008, § 4.2.
pub fn repeated_readings(readings: &[f64]) -> Result<RepeatedReadings, FitError> {
    let n = readings.len();
    if n < 2 {
        return Err(FitError::TooFewPoints { fit: "the scatter of repeated readings", needed: 2, found: n });
    }
    all_finite("reading", readings.iter().copied())?;
    let origin = readings.first().copied().unwrap_or(0.0);
    let mean = origin + readings.iter().map(|r| r - origin).sum::<f64>() / n as f64;
    let sd = (readings.iter().map(|r| (r - mean).powi(2)).sum::<f64>() / (n - 1) as f64).sqrt();
    let standard_uncertainty = sd / (n as f64).sqrt();
    Ok(RepeatedReadings { mean, sd, standard_uncertainty, degrees_of_freedom: (n - 1) as f64 })
}

/// Correlation coefficient of two quantities read together, which is also that of their means.
///
/// - **Takes** one value of each a reading, in the same order.
/// - **Gives** 0 when one of them never changed.
/// - **Fails** with fewer than 2 readings, lists of unequal length, or a reading that is not finite.
/// - **Source** JCGM 100:2008, 5.2.3.
pub fn sample_correlation(a: &[f64], b: &[f64]) -> Result<f64, FitError> {
    same_length("second reading", "first readings", a.len(), b.len())?;
    let (of_a, of_b) = (repeated_readings(a)?, repeated_readings(b)?);
    let scale = of_a.sd * of_b.sd * (a.len() - 1) as f64;
    let product: f64 = a.iter().zip(b).map(|(x, y)| (x - of_a.mean) * (y - of_b.mean)).sum();
    Ok(if scale > 0.0 { (product / scale).clamp(-1.0, 1.0) } else { 0.0 })
}
