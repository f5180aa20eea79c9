//! Do these values agree: chi-squared and what follows from it.

use statrs::distribution::{ChiSquared, ContinuousCDF};

/// Chance that chi-squared with `dof` degrees of freedom exceeds `chi_squared`.
///
/// Gives 1 for a chi-squared of 0 or below, and 0 for one that is not finite; `dof` must be above 0 (else 1).
pub fn chi_squared_p_value(chi_squared: f64, dof: f64) -> f64 {
    match ChiSquared::new(dof) {
        Ok(law) if chi_squared > 0.0 => law.sf(chi_squared),
        _ => 1.0,
    }
}
