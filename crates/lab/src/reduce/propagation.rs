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

/// Said where the law of propagation would not have done even for one digit of u.
pub(super) fn caveat(propagation: &Propagation, drawn: &Q) -> Option<Caveat> {
    let interval = |[low, high]: [f64; 2]| print::interval(low, high);
    (propagation.largest_difference_kg > FIRST_DIGIT * propagation.tolerance_kg).then(|| {
        Caveat::new(
            "propagation-differs",
            format!(
                "estimate ± 1.96 u would give {} kg at 95 % with everything as stated, the draws give {} kg: the ends differ by \
                 more than half a unit of u's first digit (JCGM 101:2008, 8), and the draws' interval stands",
                interval(propagation.interval_95_kg),
                interval(drawn.interval_95)
            ),
            "quote the interval, not value ± k u: meters' limits are rectangles, and how far the diameters scatter is itself uncertain",
        )
    })
}
