//! The last comparison: the only place where the accepted mass is read.

use arcmass_quantity::constants::ELECTRON_MASS;

use crate::document::{Q, Reference};
use crate::spread::{self, Spread};

/// An accepted mass and where it stands.
#[derive(Debug, Clone, PartialEq)]
pub struct AcceptedMass {
    /// kg.
    pub value_kg: f64,
    /// kg.
    pub standard_uncertainty_kg: f64,
    /// Where it was taken from.
    pub source: String,
}

impl Default for AcceptedMass {
    /// The electron's, CODATA 2022.
    fn default() -> Self {
        Self {
            value_kg: ELECTRON_MASS.value,
            standard_uncertainty_kg: ELECTRON_MASS.standard_uncertainty,
            source: ELECTRON_MASS.source.to_owned(),
        }
    }
}

impl AcceptedMass {
    /// Compares a measured mass with this one.
    pub(crate) fn compare(&self, measured: Q) -> Reference {
        let u = measured.standard_uncertainty.hypot(self.standard_uncertainty_kg);
        Reference {
            source: self.source.clone(),
            mass_kg: spread::quantity(self.value_kg, &[Spread::Normal(self.standard_uncertainty_kg)]),
            difference_in_u: if u > 0.0 { (measured.value - self.value_kg) / u } else { 0.0 },
        }
    }
}
