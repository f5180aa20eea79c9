//! What one constant factor on every reading would explain, once the comparison with the accepted mass has been made; and the
//! bounds outside which no mass is printed at all.

use arcmass_quantity::{Caveat, print};

use crate::desk::LabError;
use crate::document::{Finding, Q};

/// A mass this many times that of the particle, or as small a part of it, is no result but a slip of units.
const SENSELESS: f64 = 300.0;
/// A difference from the accepted mass counts beyond so many standard uncertainties of the difference.
const MISSES_U: f64 = 3.0;
/// Nor is a factor nearer to 1 than this worth a list of slips.
const WORTH: f64 = 0.03;
/// A slip explains a factor where the rest lies within so many standard uncertainties, and within `NEAR` of 1.
const WITHIN_U: f64 = 3.0;
const NEAR: f64 = 0.12;

/// A slip in what was written down that puts one factor on every mass.
struct Slip {
    factor_on_mass: f64,
    words: &'static str,
    look: &'static str,
}

const fn slip(factor_on_mass: f64, words: &'static str, look: &'static str) -> Slip {
    Slip { factor_on_mass, words, look }
}

/// From m = e (B r)²/2V: a voltage enters as 1/V, current, coil constant and length as squares.
const SLIPS: [Slip; 16] = [
    slip(0.25, "radii in the diameter column", "measure one ring again across its whole width"),
    slip(4.0, "diameters in the radius column", "measure one ring again from its centre"),
    slip(
        4.0,
        "the current of both coils in parallel where that of one was asked",
        "see where the ammeter stands in the circuit",
    ),
    slip(4.0, "the turns of both coils on each", "compare turns with the coils' own plate"),
    slip(
        0.25,
        "half the turns, or one coil's constant for the pair's",
        "compare turns with the coils' own plate",
    ),
    slip(0.25, "half the current", "see where the ammeter stands in the circuit"),
    slip(
        10.0,
        "voltages that read a tenth of the true ones (range or decimal point)",
        "read the voltmeter's range",
    ),
    slip(
        0.1,
        "voltages that read ten times the true ones (range or decimal point)",
        "read the voltmeter's range",
    ),
    slip(2.0, "half the voltage (one of two supplies in series)", "measure the voltage at the tube itself"),
    slip(0.5, "twice the voltage", "measure the voltage at the tube itself"),
    slip(
        100.0,
        "currents, lengths or flux densities ten times too large",
        "read ranges and the units of the columns",
    ),
    slip(0.01, "currents, lengths or flux densities a tenth", "read ranges and the units of the columns"),
    slip(1000.0, "voltages in kilovolts in a column of volts", "read the unit of the column"),
    slip(1e-3, "voltages in millivolts in a column of volts", "read the unit of the column"),
    slip(
        1.954,
        "the field of a pair without its factor (4/5)^(3/2)",
        "compare the stated coil constant with turns and sizes",
    ),
    slip(
        0.512,
        "that factor (4/5)^(3/2) counted twice",
        "compare the stated coil constant with turns and sizes",
    ),
];

/// Refuses a mass that no readings of this particle can mean.
///
/// - **Fails** with the factor and the slip that would give it.
pub(super) fn check(mass_kg: f64, particle_kg: f64) -> Result<(), LabError> {
    let factor = mass_kg / particle_kg;
    if (1.0 / SENSELESS..=SENSELESS).contains(&factor) {
        return Ok(());
    }
    let near = SLIPS
        .iter()
        .chain(&[
            slip(
                1e6,
                "currents in milliamperes in a column of amperes, or lengths a thousand times too large",
                "",
            ),
            slip(1e-6, "lengths in metres in a column of millimetres", ""),
        ])
        .find(|slip| (factor / slip.factor_on_mass).ln().abs() < 0.3)
        .map_or_else(String::new, |slip| format!("; that is what {} would do", slip.words));
    Err(LabError::lacking(
        "readings.csv",
        format!(
            "the readings lead to a mass of {mass_kg:.2e} kg, {} times that of the particle stated ({particle_kg:.2e} kg){near}",
            print::significant(factor, 2)
        ),
        "check the units in the names of the columns against what the meters and the scale showed",
    )
    .accepting(format!("a mass between 1/{SENSELESS:.0} and {SENSELESS:.0} times that of the particle")))
}

/// Why there is no result, in the readings' terms where they are beyond what the bench bears.
pub(super) fn with_doubts(fault: LabError, doubted: &[Finding]) -> LabError {
    match (fault, doubted.first()) {
        (LabError::Lacking { .. }, Some(first)) => {
            let more = doubted.iter().skip(1).map(|finding| format!("; {}", finding.sentence));
            let sentence = format!("{}{}", first.sentence, more.collect::<String>());
            LabError::lacking("readings.csv", sentence, first.remedy.clone())
                .accepting("readings within the ratings, and rings that fit into the bulb")
        }
        (fault, _) => fault,
    }
}

/// The caveat `constant-factor`: what would explain the ratio to the accepted mass, never before the comparison is made.
pub(super) fn caveat(measured: Q, accepted_kg: f64, difference_in_u: f64) -> Option<Caveat> {
    let factor = measured.value / accepted_kg;
    if difference_in_u.abs() < MISSES_U || (factor - 1.0).abs() < WORTH {
        return None;
    }
    let relative_u = measured.standard_uncertainty / measured.value;
    let explains = |slip: &&Slip| {
        let rest = (factor / slip.factor_on_mass).ln().abs();
        rest < NEAR && rest < WITHIN_U * relative_u.max(0.02)
    };
    let known: Vec<String> =
        SLIPS.iter().filter(explains).map(|slip| format!("{} ({})", slip.words, slip.look)).collect();
    let shown = |value: f64| print::significant(value, 3);
    let candidates = if known.is_empty() {
        "no usual slip gives just that; a recorded voltage that is not the tube's, the current of both coils, a scale before \
         or behind the ring, or a winding's inner radius are the likeliest"
            .to_owned()
    } else {
        format!("usual slips that do so: {}", known.join("; "))
    };
    Some(Caveat::new(
        "constant-factor",
        format!(
            "the mass is {} times the accepted one: so would be a voltage recorded as {} of the true one, or a length or coil \
             constant as {} of it; {candidates}",
            shown(factor),
            shown(1.0 / factor),
            shown(factor.sqrt())
        ),
        "measure the voltage at the tube, the current in one coil, and one length by another scale: each takes a minute",
    ))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn q(value: f64, relative: f64) -> Q {
        crate::spread::quantity(value, &[crate::spread::Spread::Normal(relative * value)])
    }

    #[test]
    fn a_factor_has_its_usual_slips_and_an_agreement_has_none() {
        let accepted = 9.109_383_713_9e-31;
        assert!(caveat(q(1.01 * accepted, 0.01), accepted, 1.0).is_none());
        let said = caveat(q(4.05 * accepted, 0.01), accepted, 75.0)
            .map_or_else(String::new, |caveat| caveat.sentence);
        assert!(
            said.contains("turns of both coils") && said.contains("diameters in the radius column"),
            "{said}"
        );
        let odd = caveat(q(1.35 * accepted, 0.01), accepted, 25.0)
            .map_or_else(String::new, |caveat| caveat.sentence);
        assert!(odd.contains("no usual slip") && odd.contains("1.35 times"), "{odd}");
    }

    #[test]
    fn masses_beyond_all_sense_are_refused_with_the_slip() {
        let electron = 9.109_383_713_9e-31;
        assert!(check(250.0 * electron, electron).is_ok());
        let said =
            check(0.995e6 * electron, electron).err().map_or_else(String::new, |fault| fault.to_string());
        assert!(said.contains("milliamperes"), "{said}");
        assert!(check(f64::NAN, electron).is_err() && check(1e-6 * electron, electron).is_err());
    }
}
