//! What spoils this bench, in a demonstrator's words: only what lies outside what was stated.

use arcmass_quantity::print;

use super::Solved;
use super::alternatives::Alternative;
use crate::document::{Finding, Law, Q};
use crate::model::Unknown;

/// A finding is more likely than not.
const LIKELY: f64 = 0.5;
/// Beyond this many u an exponent is off.
const OFF_U: f64 = 3.0;
/// Above this an axial stray field is more than the Earth's, T; a finding even when it was measured.
const STRONG_AXIAL_T: f64 = 70e-6;

/// Likeliest first.
pub(super) fn findings(solved: &Solved<'_>, alternatives: &[Alternative], law: &Law) -> Vec<Finding> {
    let mut findings: Vec<Finding> = alternatives
        .iter()
        .filter(|alternative| alternative.weight > LIKELY)
        .map(|alternative| finding(solved, alternative))
        .collect();
    if !findings.iter().any(|finding| finding.code == "stray-field-axial") {
        findings.extend(strong_axial(solved));
    }
    findings.extend(exponents(law));
    findings.sort_by(|a, b| b.confidence.total_cmp(&a.confidence));
    findings
}

fn finding(solved: &Solved<'_>, alternative: &Alternative) -> Finding {
    let size = print::short(alternative.factor * alternative.value, alternative.factor * alternative.u);
    let unit = alternative.unit;
    // the stated model leaves the effect out, and so has the mass off by the opposite of the shift
    let shift = 100.0 * alternative.shift_of_log_mass;
    let change = format!(
        "with it the mass is {} % {}",
        print::significant(shift.abs(), 2),
        if shift > 0.0 { "larger" } else { "smaller" }
    );
    let run =
        alternative.run.and_then(|index| solved.bench.model.runs.get(index)).map(|run| run.run.as_str());
    let (what, remedy): (String, &str) = match alternative.code {
        "voltage-offset" => (
            format!("the accelerating voltage is off by {size} {unit} beyond what is stated"),
            "measure the voltage at the tube, against the cathode's middle, and check the supply's zero",
        ),
        "stray-field-axial" => (
            format!("a stray field of {size} {unit} runs along the axis beyond what is stated"),
            "look for magnets, iron or another bench nearby; take every setting with both field senses",
        ),
        "stray-field-transverse" => (
            format!("a stray field of {size} {unit} runs across the axis beyond what is stated"),
            "look for magnets, iron or another bench nearby; read the probe along x and y with the coils off",
        ),
        "coil-separation" => (
            format!("the coils stand {size} {unit} further apart than stated"),
            "measure from mid-plane to mid-plane at several places, and map the field along the axis",
        ),
        "gun-tilt" => (
            format!("the gun points {size}{unit} out of the ring's plane beyond what is stated"),
            "turn the tube until the ring closes",
        ),
        "edge-offset" => (
            format!("every diameter is off by {size} {unit}, as if another edge of the beam had been read"),
            "read the centre line, or state edge and beam_width; check the scale's zero",
        ),
        "gas-loss" => (
            format!("the beam loses about {size} {unit} on its way round, as in too much gas"),
            "use higher voltages and smaller rings; read the sharp outer side of the beam",
        ),
        "field-scale" => (
            format!(
                "the coils make a field {size} {unit} different from what their sizes and turns say; the probe sees it too"
            ),
            "measure mean radius and separation again, count the turns, and check the probe in a known field",
        ),
        _ => (
            format!(
                "run {} does not belong to the others: its diameter is {size} {unit} off",
                run.unwrap_or("?")
            ),
            "read its meters and photograph again, or strike it with the reason",
        ),
    };
    Finding {
        code: alternative.code.to_owned(),
        confidence: alternative.weight,
        sentence: format!("{what}; {change}"),
        remedy: remedy.to_owned(),
    }
}

fn strong_axial(solved: &Solved<'_>) -> Option<Finding> {
    let model = &solved.bench.model;
    let place = model.unknowns.place(Unknown::BackgroundZ)?;
    let (value, u) = (solved.joint.estimate[place], solved.joint.u(place));
    let beyond = (value.abs() - STRONG_AXIAL_T) / u.max(f64::MIN_POSITIVE);
    (beyond > 0.0).then(|| Finding {
        code: "stray-field-axial".to_owned(),
        confidence: 0.5 + 0.5 * certainty(beyond),
        sentence: format!(
            "a stray field of {} µT runs along the axis, more than the Earth's",
            print::short(1e6 * value, 1e6 * u)
        ),
        remedy:
            "look for magnets, iron or another bench nearby, and take every setting with both field senses"
                .to_owned(),
    })
}

/// Probability that a normal deviation stays below |z|.
fn certainty(z: f64) -> f64 {
    1.0 - statrs::function::erf::erfc(z.abs() * std::f64::consts::FRAC_1_SQRT_2)
}

fn exponents(law: &Law) -> Option<Finding> {
    let corrected = law.corrected.as_ref()?;
    let off = |q: &Q, ideal: f64| (q.value - ideal) / q.standard_uncertainty.max(f64::MIN_POSITIVE);
    let (a, b) = (off(&corrected.voltage_exponent, 0.5), off(&corrected.current_exponent, -1.0));
    let worst = if a.abs() > b.abs() { a } else { b };
    (worst.abs() > OFF_U).then(|| Finding {
        code: "law-not-followed".to_owned(),
        confidence: certainty(worst),
        sentence: format!(
            "the corrected diameters follow V to the power {} and I to the power {}, not ½ and −1",
            print::short(corrected.voltage_exponent.value, corrected.voltage_exponent.standard_uncertainty),
            print::short(corrected.current_exponent.value, corrected.current_exponent.standard_uncertainty)
        ),
        remedy: "look for a zero of the scale that is not the ring's centre, a meter on the wrong range, or runs mixed up".to_owned(),
    })
}
