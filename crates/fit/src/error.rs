//! What can stop a fit, each as one sentence: what must be, what was found, what to try.

/// What stopped a fit, a budget or a simulation.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum FitError {
    /// Fewer points than the fit has unknowns (plus one when the scatter is taken from the residuals).
    #[error(
        "{fit} needs at least {needed} point{}; got {found}; add points or fix a parameter",
        if *.needed == 1 { "" } else { "s" }
    )]
    TooFewPoints {
        /// The fit, for instance "a circle fit".
        fit: &'static str,
        /// Fewest points it can work with.
        needed: usize,
        /// Points given.
        found: usize,
    },
    /// A NaN or an infinity among the data.
    #[error("every {what} must be a finite number; entry {index} (counted from 0) is {value}")]
    NotFinite {
        /// What the number is.
        what: &'static str,
        /// Its place, counted from 0.
        index: usize,
        /// The number found.
        value: f64,
    },
    /// A number that must be above zero is not.
    #[error("every {what} must be above 0; entry {index} (counted from 0) is {value}")]
    NotPositive {
        /// What the number is.
        what: &'static str,
        /// Its place, counted from 0.
        index: usize,
        /// The number found.
        value: f64,
    },
    /// A number that may be zero is negative.
    #[error("every {what} must be 0 or above; entry {index} (counted from 0) is {value}")]
    Negative {
        /// What the number is.
        what: &'static str,
        /// Its place, counted from 0.
        index: usize,
        /// The number found.
        value: f64,
    },
    /// Two lists that belong together differ in length.
    #[error("there must be one {what} for each of the {expected} {of}; got {found}")]
    LengthMismatch {
        /// What the second list holds.
        what: &'static str,
        /// What the first list holds.
        of: &'static str,
        /// Length of the first list.
        expected: usize,
        /// Length of the second list.
        found: usize,
    },
    /// All points share one abscissa, or an origin line has only zero abscissas.
    #[error("a line needs points at different x; all {points} are at x = {x}; measure at another setting")]
    OneAbscissa {
        /// Number of points.
        points: usize,
        /// The abscissa they share.
        x: f64,
    },
    /// The points carry no curvature, or all but coincide.
    #[error(
        "the {points} points lie on one straight line or on one spot, so no {shape} fits; give points further round the arc"
    )]
    NoCurve {
        /// Number of points.
        points: usize,
        /// "circle" or "ellipse".
        shape: &'static str,
    },
    /// The iteration did not settle.
    #[error(
        "{fit} did not settle in {iterations} steps; check the data for outliers or start nearer to the answer"
    )]
    NotConverged {
        /// The fit.
        fit: &'static str,
        /// Steps made.
        iterations: usize,
    },
    /// The data leave a combination of parameters undetermined.
    #[error("{fit} can not tell its parameters apart: {hint}; add data that separates them, or a prior")]
    Singular {
        /// The fit.
        fit: &'static str,
        /// Which parameter, where known.
        hint: String,
    },
    /// The model gave a NaN or an infinity.
    #[error(
        "{what} must be finite; got {value} at parameters {parameters:?}; start within the model's range"
    )]
    ModelNotFinite {
        /// What was computed.
        what: &'static str,
        /// The value found.
        value: f64,
        /// Where.
        parameters: Vec<f64>,
    },
    /// A correlation matrix that no set of quantities can have.
    #[error(
        "the correlation matrix must be symmetric, 1 on its diagonal and have no negative eigenvalue; {found}"
    )]
    BadCorrelation {
        /// What is wrong with it.
        found: String,
    },
    /// A probability outside the open interval from 0 to 1.
    #[error("{what} must lie between 0 and 1; got {value}")]
    BadProbability {
        /// What the number is.
        what: &'static str,
        /// The number found.
        value: f64,
    },
    /// A setting that makes no sense.
    #[error("{what} must be {accepted}; got {found}")]
    BadSetting {
        /// The setting's name.
        what: &'static str,
        /// What is accepted.
        accepted: &'static str,
        /// What was found.
        found: f64,
    },
}

/// Checks that every number of a list is finite.
pub(crate) fn all_finite(what: &'static str, values: impl IntoIterator<Item = f64>) -> Result<(), FitError> {
    match values.into_iter().enumerate().find(|(_, v)| !v.is_finite()) {
        Some((index, value)) => Err(FitError::NotFinite { what, index, value }),
        None => Ok(()),
    }
}

/// Checks that every number of a list is finite and above zero.
pub(crate) fn all_positive(what: &'static str, values: &[f64]) -> Result<(), FitError> {
    all_finite(what, values.iter().copied())?;
    match values.iter().enumerate().find(|(_, v)| **v <= 0.0) {
        Some((index, &value)) => Err(FitError::NotPositive { what, index, value }),
        None => Ok(()),
    }
}

/// Checks that every number of a list is finite and not below zero.
pub(crate) fn none_negative(what: &'static str, values: impl Iterator<Item = f64>) -> Result<(), FitError> {
    for (index, value) in values.enumerate() {
        if !value.is_finite() {
            return Err(FitError::NotFinite { what, index, value });
        }
        if value < 0.0 {
            return Err(FitError::Negative { what, index, value });
        }
    }
    Ok(())
}

/// Checks that a second list is as long as the first.
pub(crate) fn same_length(
    what: &'static str,
    of: &'static str,
    expected: usize,
    found: usize,
) -> Result<(), FitError> {
    if expected == found { Ok(()) } else { Err(FitError::LengthMismatch { what, of, expected, found }) }
}
