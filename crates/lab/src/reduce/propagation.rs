//! The law of propagation of uncertainty beside the draws.

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
