//! Propagation and least squares of problems whose size is known beforehand, without heap.

use crate::error::FitError;

/// Value and first-order standard uncertainty of a model of correlated inputs (JCGM 100:2008, 5.2), without names or heap.
///
/// - **Takes** the inputs, their standard uncertainties, their correlation matrix, and the model. Derivatives are central
///   differences over a hundredth of each standard uncertainty (an input known exactly is held).
/// - **Fails** when the model is not finite about the inputs.
pub fn propagate_small<const N: usize>(
    inputs: &[f64; N],
    uncertainties: &[f64; N],
    correlation: &[[f64; N]; N],
    model: impl Fn(&[f64; N]) -> f64,
) -> Result<(f64, f64), FitError> {
    let value = model(inputs);
    let mut parts = [0.0; N];
    let mut moved = *inputs;
    for i in 0..N {
        let step = 1e-2 * uncertainties[i];
        if step > 0.0 {
            moved[i] = inputs[i] + step;
            let above = model(&moved);
            moved[i] = inputs[i] - step;
            let below = model(&moved);
            moved[i] = inputs[i];
            parts[i] = (above - below) * (0.5 / 1e-2);
        }
    }
    let mut variance = 0.0;
    for (i, row) in correlation.iter().enumerate() {
        for (j, r) in row.iter().enumerate() {
            variance += parts[i] * r * parts[j];
        }
    }
    if value.is_finite() && variance.is_finite() {
        Ok((value, variance.max(0.0).sqrt()))
    } else {
        Err(FitError::ModelNotFinite {
            what: "the model about its inputs",
            value,
            parameters: inputs.to_vec(),
        })
    }
}

/// Most steps of [`gauss_newton`].
const MOST_STEPS: usize = 30;
/// Largest change of an unknown, in units of its own standard uncertainty, at which it is done.
const SETTLED: f64 = 1e-7;

/// Least squares of a small, well-behaved problem by plain Gauss–Newton steps, without heap: a fit of known size.
///
/// - **Takes** the start and the model: from the unknowns to whitened residuals and their derivatives.
/// - **Gives** the estimate and its covariance (JᵀJ)⁻¹.
/// - **Fails** where the residuals leave some unknown free, or where the steps do not settle; use
///   [`crate::least_squares_with_jacobian`] for such problems.
pub fn gauss_newton<const P: usize, const R: usize>(
    start: nalgebra::SVector<f64, P>,
    model: impl Fn(&nalgebra::SVector<f64, P>) -> (nalgebra::SVector<f64, R>, nalgebra::SMatrix<f64, R, P>),
) -> Result<(nalgebra::SVector<f64, P>, nalgebra::SMatrix<f64, P, P>), FitError> {
    let fit = "a small least-squares fit";
    let mut at = start;
    for _ in 0..MOST_STEPS {
        let (residuals, jacobian) = model(&at);
        let information = jacobian.tr_mul(&jacobian);
        let cholesky = information.cholesky().ok_or_else(|| FitError::Singular {
            fit,
            hint: "some combination of the unknowns is fixed by nothing".to_string(),
        })?;
        let step = cholesky.solve(&jacobian.tr_mul(&residuals));
        at -= step;
        // the quadratic form of the step is its size in standard uncertainties
        if (information * step).dot(&step) < SETTLED * SETTLED {
            return Ok((at, cholesky.inverse()));
        }
    }
    Err(FitError::NotConverged { fit, iterations: MOST_STEPS })
}
