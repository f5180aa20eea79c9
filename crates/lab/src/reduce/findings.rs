//! What spoils this bench, in a demonstrator's words: only what lies outside what was stated.

use arcmass_quantity::print;

use super::alternatives::Alternative;
use super::mixture::Mixture;
use super::{Solved, slips};
use crate::desk::LabError;
use crate::document::{Finding, Law, Q, probability};
use crate::model::{Model, RunDatum, Unknown};

/// A finding is more likely than not.
const LIKELY: f64 = 0.5;
/// No effect that the model holds puts one run so far off.
const SET_ASIDE_CONFIDENCE: f64 = 0.999;
/// Beyond this many u an exponent is off.
const OFF_U: f64 = 3.0;
/// Above this an axial stray field is more than the Earth's, T; a finding even when it was measured.
const STRONG_AXIAL_T: f64 = 70e-6;

/// Likeliest first.
///
/// - **Takes** what the readings cannot be, as the bench stands, found before the fit.
pub(super) fn findings(
    solved: &Solved<'_>,
    mixture: &Mixture<'_>,
    alternatives: &[Alternative],
    law: &Law,
    doubted: Vec<Finding>,
) -> Result<Vec<Finding>, LabError> {
    let mut findings: Vec<Finding> =
        solved.bench.rejected_rows.iter().map(crate::screen::RejectedRow::finding).collect();
    findings.extend(doubted);
    for run in &solved.aside {
        findings.push(set_aside(solved, run)?);
    }
    for (code, weight) in by_code(alternatives) {
        let first = alternatives.iter().find(|alternative| alternative.what.code == code);
        if let (true, Some(first)) = (weight > LIKELY, first) {
            findings.push(finding(solved, alternatives, first, weight)?);
        }
    }
    if !findings.iter().any(|finding| finding.code == "stray-field-axial") {
        findings.extend(strong_axial(mixture));
    }
    findings.extend(exponents(law));
    findings.sort_by(|a, b| b.confidence.total_cmp(&a.confidence));
    Ok(findings)
}

/// The weights of alternatives with one name added up (a stray field along x or y; one odd run or another).
pub(super) fn by_code(alternatives: &[Alternative]) -> Vec<(&'static str, f64)> {
    let mut sums: Vec<(&'static str, f64)> = Vec::new();
    for alternative in alternatives {
        match sums.iter_mut().find(|sum| sum.0 == alternative.what.code) {
            Some(sum) => sum.1 += alternative.weight,
            None => sums.push((alternative.what.code, alternative.weight)),
        }
    }
    sums
}

/// A run that was set aside before the fit.
fn set_aside(solved: &Solved<'_>, run: &RunDatum) -> Result<Finding, LabError> {
    let model = &solved.bench.model;
    let values = model.values(&solved.joint.estimate);
    let shape = model.shape(&values)?;
    let predicted = model.diameter_m(run, &values, &shape).ok();
    let expected = predicted.map_or_else(String::new, |predicted_m| {
        format!(" where {} mm is expected from the others", print::significant(1e3 * predicted_m, 3))
    });
    let what = format!(
        "run {} does not belong to the others and is set aside: its diameter is {} mm{expected}",
        run.run,
        print::significant(1e3 * run.diameter_m, 3),
    );
    Ok(Finding {
        code: "outlier-run".to_owned(),
        confidence: SET_ASIDE_CONFIDENCE,
        sentence: with_causes(what, &slips::causes(model, &values, &shape, run)),
        remedy: "read its meters and photograph again and correct it, or exclude it with the reason"
            .to_owned(),
    })
}

fn with_causes(what: String, causes: &[String]) -> String {
    if causes.is_empty() { what } else { format!("{what}; as if {}", causes.join(", or ")) }
}

/// What the readings look like, and what to do: no more than a likeness is known.
fn words(alternative: &Alternative) -> (String, &'static str) {
    let shown = alternative.what.factor * alternative.value;
    let u = alternative.what.factor * alternative.u;
    let unit = alternative.what.unit;
    let (size, amount) = (print::short(shown, u), print::short(shown.abs(), u));
    let way = |more: &'static str, less: &'static str| if shown > 0.0 { more } else { less };
    match alternative.what.unknown {
        Unknown::VoltageOffset => (
            format!("the accelerating voltage were {amount} {unit} {} than stated", way("higher", "lower")),
            "measure the voltage at the tube, against the cathode's middle, and check the zero offset of the supply",
        ),
        Unknown::BackgroundZ => (
            format!("a stray field of {size} {unit} ran along the axis beyond what is stated"),
            "look for magnets, iron or another bench nearby; take every setting with both field senses",
        ),
        Unknown::BackgroundX | Unknown::BackgroundY => (
            format!("a stray field of {size} {unit} ran across the axis beyond what is stated"),
            "look for magnets, iron or another bench nearby; read the probe along x and y with the coils off",
        ),
        Unknown::CoilSeparation => (
            format!(
                "the coils stood {amount} {unit} {} than stated",
                way("further apart", "closer together")
            ),
            "measure from mid-plane to mid-plane at several places, and map the field along the axis",
        ),
        Unknown::DirectionAcross => (
            format!("the gun pointed {size}{unit} out of the ring's plane beyond what is stated"),
            "turn the tube until the ring closes",
        ),
        Unknown::DiameterOffset => (
            format!(
                "every diameter were read {amount} {unit} too {}, such as along another edge of the beam",
                way("large", "small")
            ),
            "read the centre line, or state edge and beam_width; check the zero offset of the scale",
        ),
        Unknown::BeamLoss => (
            format!("the beam lost about {size} {unit} on its way round, as with too high a gas pressure"),
            "use higher voltages and smaller rings; read the sharp outer side of the beam",
        ),
        Unknown::ProbeGain => (
            format!(
                "the probe read {amount} {unit} {} than what the coil geometry and turns give, more than stated",
                // true field = reading · (1 + gain)
                way("less", "more")
            ),
            "check the probe in a known field; measure mean radius and separation again, and count the turns",
        ),
        _ => (
            format!(
                "the coils made a field {amount} {unit} {} than their geometry and turns give, which the probe sees too",
                way("larger", "smaller")
            ),
            "measure mean radius and separation again, count the turns, and check the probe in a known field",
        ),
    }
}

/// Other causes this likely are named beside a finding: they give nearly the same readings.
const NEARLY: f64 = 0.05;

fn finding(
    solved: &Solved<'_>,
    alternatives: &[Alternative],
    first: &Alternative,
    weight: f64,
) -> Result<Finding, LabError> {
    let shift = 100.0 * first.shift_of_log_mass;
    let change = format!(
        "with that set free the mass is {} % {}",
        print::significant(shift.abs(), 2),
        if shift > 0.0 { "larger" } else { "smaller" }
    );
    let (what, remedy) = match first.what.unknown {
        Unknown::Run(place) => (
            odd_run(solved, first, place)?,
            "read its meters and photograph again and correct it, or exclude it with the reason",
        ),
        _ => {
            let (what, remedy) = words(first);
            (format!("the readings behave as if {what}"), remedy)
        }
    };
    let others: Vec<String> = by_code(alternatives)
        .into_iter()
        .filter(|(code, weight)| *code != first.what.code && *weight > NEARLY)
        .map(|(code, weight)| format!("{code} {}", probability(weight)))
        .collect();
    let beside = if others.is_empty() {
        String::new()
    } else {
        format!("; the readings would look alike with {}", others.join(", "))
    };
    Ok(Finding {
        code: first.what.code.to_owned(),
        confidence: weight,
        sentence: format!(
            "{what}; {change} (posterior probability {} among the models tried{beside})",
            probability(weight)
        ),
        remedy: remedy.to_owned(),
    })
}

/// One run that the others disown, with the likeliest cause.
fn odd_run(solved: &Solved<'_>, alternative: &Alternative, place: usize) -> Result<String, LabError> {
    let size = print::short(100.0 * alternative.value, 100.0 * alternative.u);
    let model = Model { unknowns: alternative.unknowns.clone(), ..solved.bench.model.clone() };
    let Some(run) = model.runs.iter().find(|run| run.place == place) else { return Ok(String::new()) };
    // the others' own prediction: the same fit without this run's factor
    let mut estimate = alternative.averaged.mean();
    if let Some(own) = model.unknowns.place(Unknown::Run(place)) {
        estimate[own] = 0.0;
    }
    let values = model.values(&estimate);
    let shape = model.shape(&values)?;
    let what = format!("run {} does not belong to the others: its diameter is {size} % off", run.run);
    Ok(with_causes(what, &slips::causes(&model, &values, &shape, run)))
}

fn strong_axial(mixture: &Mixture<'_>) -> Option<Finding> {
    mixture.parts.first()?.model.unknowns.place(Unknown::BackgroundZ)?;
    let field = mixture.unknown(Unknown::BackgroundZ);
    let (value, u) = (field.value, field.standard_uncertainty);
    let beyond = (value.abs() - STRONG_AXIAL_T) / u.max(f64::MIN_POSITIVE);
    (beyond > 0.0).then(|| Finding {
        code: "stray-field-axial".to_owned(),
        confidence: 0.5 + 0.5 * certainty(beyond),
        sentence: format!(
            "the readings behave as if a stray field of {} µT ran along the axis, more than the Earth's",
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

/// Exponents that are off over all models: what an alternative explains is no fault of the law.
fn exponents(law: &Law) -> Option<Finding> {
    let corrected = law.corrected.as_ref()?;
    let off = |q: &Q, ideal: f64| (q.value - ideal) / q.standard_uncertainty.max(f64::MIN_POSITIVE);
    let (a, b) = (off(&corrected.voltage_exponent, 0.5), off(&corrected.current_exponent, -1.0));
    let worst = if a.abs() > b.abs() { a } else { b };
    (worst.abs() > OFF_U).then(|| Finding {
        code: "law-not-followed".to_owned(),
        confidence: certainty(worst),
        sentence: format!(
            "the corrected diameters follow V to the power {} and I to the power {}, not ½ and −1: off by {} u",
            print::short(corrected.voltage_exponent.value, corrected.voltage_exponent.standard_uncertainty),
            print::short(corrected.current_exponent.value, corrected.current_exponent.standard_uncertainty),
            print::fixed(worst.abs(), -1)
        ),
        remedy: "look for a zero offset of the scale, a meter on the wrong range, or runs mixed up"
            .to_owned(),
    })
}
