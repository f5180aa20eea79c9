//! The shapes by which one cause is told from another: each run's excess of the textbook's e/m against what it could follow.

use super::Solved;
use crate::assume::CoilsKnown;
use crate::document::{Propagation, Q, Signature};
use crate::model::MASS_UNIT_KG;
use crate::spread::{self, Spread};

/// One entry a run that counts. `textbook_kg` in their order.
pub(super) fn signatures(
    solved: &Solved<'_>,
    mass_kg: f64,
    textbook_kg: impl Iterator<Item = f64>,
) -> Vec<Signature> {
    let model = &solved.bench.model;
    let coil_radius_m = match &model.apparatus.coils {
        Some(CoilsKnown::Pair { mean_radius, .. }) => Some(mean_radius.value),
        _ => None,
    };
    let entry = |(run, textbook_kg): (&crate::model::RunDatum, f64)| {
        let radius_m = 0.5 * run.diameter_m;
        Signature {
            run: run.run.clone(),
            excess_of_charge_to_mass_percent: 100.0 * (mass_kg / textbook_kg - 1.0),
            per_volt: run.voltage_read_v.recip(),
            per_ampere: run.sense * run.turned_rad.cos() / run.current_read_a,
            per_mm: 1e-3 / radius_m,
            radius_ratio_to_the_fourth: coil_radius_m.map(|coil_m| (radius_m / coil_m).powi(4)),
            mm_per_volt_squared: 1e3 * radius_m / run.voltage_read_v.powi(2),
        }
    };
    model.runs.iter().zip(textbook_kg).map(entry).collect()
}

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
