//! The law of propagation of uncertainty beside the draws.

use arcmass_quantity::{Caveat, print};

use super::Solved;
use crate::document::{Propagation, Q};
use crate::model::MASS_UNIT_KG;
use crate::spread::{self, Spread};

/// The law of propagation beside the draws, by JCGM 101:2008, 8: where both ends of the 95 % interval agree within half a unit
/// of u's second digit, the simple way would have done.
pub(super) fn propagation(solved: &Solved<'_>, drawn: &Q) -> Propagation {
    let place = super::mass_place(solved);
    let best = MASS_UNIT_KG * solved.joint.estimate[place].exp();
    let simple = spread::quantity(best, &[Spread::Normal(best * solved.joint.u(place))]);
    let tolerance_kg = 0.5 * 10_f64.powf(simple.standard_uncertainty.log10().floor() - 1.0);
    let off = |k: usize| (simple.interval_95[k] - drawn.interval_95[k]).abs();
    Propagation {
        interval_95_kg: simple.interval_95,
        tolerance_kg,
        largest_difference_kg: off(0).max(off(1)),
        agrees: off(0).max(off(1)) <= tolerance_kg,
    }
}

/// Half a unit of u's first digit, in units of half a unit of its second (JCGM 101:2008, 7.9.2 allows either).
const FIRST_DIGIT: f64 = 10.0;

/// Said where the law of propagation claims more than is known, by more than one digit of u would bear. Where it claims less, who
/// quotes it is safe, and the document's `propagation` says how much was given away.
///
/// - **Takes** the result: its interval is the one that is quoted.
pub(super) fn caveat(propagation: &Propagation, result: &Q) -> Option<Caveat> {
    let interval = |[low, high]: [f64; 2]| print::interval(low, high);
    let [low, high] = propagation.interval_95_kg;
    let left_out = (low - result.interval_95[0]).max(result.interval_95[1] - high);
    (left_out > FIRST_DIGIT * propagation.tolerance_kg).then(|| {
        Caveat::new(
            "propagation-differs",
            format!(
                "the law of propagation of uncertainty would give {} kg at 95 %, the draws give {} kg: the first leaves out \
                 what the readings allow, by more than half a unit of u's first digit (JCGM 101:2008, 8), and the result's interval is that \
                 of the draws",
                interval(propagation.interval_95_kg),
                interval(result.interval_95)
            ),
            "quote the interval, not k u about the value: meters' limits are rectangles, and how far the diameters scatter is itself uncertain",
        )
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn compared(simple: [f64; 2], drawn: [f64; 2]) -> Option<Caveat> {
        let propagation = Propagation {
            interval_95_kg: simple,
            // u of 1.2e-32 kg
            tolerance_kg: 0.5e-33,
            largest_difference_kg: (simple[0] - drawn[0]).abs().max((simple[1] - drawn[1]).abs()),
            agrees: false,
        };
        let q = spread::quantity(9.1e-31, &[Spread::Normal(1.2e-32)]);
        caveat(&propagation, &Q { interval_95: drawn, ..q })
    }

    #[test]
    fn only_an_interval_that_claims_too_much_is_warned_of() {
        let drawn = [8.88e-31, 9.32e-31];
        assert!(compared([8.70e-31, 9.50e-31], drawn).is_none(), "wider is safe");
        assert!(compared([8.90e-31, 9.30e-31], drawn).is_none(), "0.2 of u's first digit");
        assert!(compared([8.88e-31, 9.26e-31], drawn).is_some(), "0.6 of u's first digit too short above");
        assert!(compared([8.95e-31, 9.50e-31], drawn).is_some(), "and below");
    }
}
