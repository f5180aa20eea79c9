//! What spoils this bench, in a demonstrator's words: only what lies outside what was stated.

use arcmass_quantity::print;

use super::alternatives::Alternative;
use super::{Solved, law, slips};
use crate::desk::LabError;
use crate::document::{Finding, Law, Q};
use crate::model::{Model, RunDatum, Unknown};
use crate::screen::readings::Bears;

/// A finding is more likely than not.
const LIKELY: f64 = 0.5;
/// No effect that the model holds puts one run so far off.
const SET_ASIDE_CONFIDENCE: f64 = 0.999;
/// Beyond this many u an exponent is off.
const OFF_U: f64 = 3.0;
/// Above this an axial stray field is more than the Earth's, T; a finding even when it was measured.
const STRONG_AXIAL_T: f64 = 70e-6;

/// Likeliest first.
pub(super) fn findings(
    solved: &Solved<'_>,
    alternatives: &[Alternative],
    law: &Law,
) -> Result<Vec<Finding>, LabError> {
    let mut findings: Vec<Finding> =
        solved.bench.rejected_rows.iter().map(crate::screen::RejectedRow::finding).collect();
    findings.extend(crate::screen::readings::findings(
        &solved.bench.all_runs,
        &Bears::of(solved.bench.model.apparatus),
    ));
    for run in &solved.aside {
        findings.push(set_aside(solved, run)?);
    }
    for (code, weight) in by_code(alternatives) {
        let first = alternatives.iter().find(|alternative| alternative.what.code == code);
        if let (true, Some(first)) = (weight > LIKELY, first) {
            findings.push(finding(solved, first, weight)?);
        }
    }
    if !findings.iter().any(|finding| finding.code == "stray-field-axial") {
        findings.extend(strong_axial(solved));
    }
    findings.extend(exponents(solved, alternatives, law)?);
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

/// What an alternative says, and what to do.
fn words(alternative: &Alternative) -> (String, &'static str) {
    let size =
        print::short(alternative.what.factor * alternative.value, alternative.what.factor * alternative.u);
    let unit = alternative.what.unit;
    match alternative.what.unknown {
        Unknown::VoltageOffset => (
            format!("the accelerating voltage is off by {size} {unit} beyond what is stated"),
            "measure the voltage at the tube, against the cathode's middle, and check the zero offset of the supply",
        ),
        Unknown::BackgroundZ => (
            format!("a stray field of {size} {unit} runs along the axis beyond what is stated"),
            "look for magnets, iron or another bench nearby; take every setting with both field senses",
        ),
        Unknown::BackgroundX | Unknown::BackgroundY => (
            format!("a stray field of {size} {unit} runs across the axis beyond what is stated"),
            "look for magnets, iron or another bench nearby; read the probe along x and y with the coils off",
        ),
        Unknown::CoilSeparation => (
            format!("the coils stand {size} {unit} further apart than stated"),
            "measure from mid-plane to mid-plane at several places, and map the field along the axis",
        ),
        Unknown::DirectionAcross => (
            format!("the gun points {size}{unit} out of the ring's plane beyond what is stated"),
            "turn the tube until the ring closes",
        ),
        Unknown::DiameterOffset => (
            format!("every diameter is off by {size} {unit}, as if another edge of the beam had been read"),
            "read the centre line, or state edge and beam_width; check the zero offset of the scale",
        ),
        Unknown::BeamLoss => (
            format!("the beam loses about {size} {unit} on its way round, as with too high a gas pressure"),
            "use higher voltages and smaller rings; read the sharp outer side of the beam",
        ),
        Unknown::ProbeGain => (
            format!(
                "the probe reads {size} {unit} differently from what the coil geometry and turns give, more than stated"
            ),
            "check the probe in a known field; measure mean radius and separation again, and count the turns",
        ),
        _ => (
            format!(
                "the coils make a field {size} {unit} different from what their geometry and turns give; the probe sees it too"
            ),
            "measure mean radius and separation again, count the turns, and check the probe in a known field",
        ),
    }
}

fn finding(solved: &Solved<'_>, alternative: &Alternative, weight: f64) -> Result<Finding, LabError> {
    // the stated model leaves the effect out, and so has the mass off by the opposite of the shift
    let shift = 100.0 * alternative.shift_of_log_mass;
    let change = format!(
        "with it the mass is {} % {}",
        print::significant(shift.abs(), 2),
        if shift > 0.0 { "larger" } else { "smaller" }
    );
    let (what, remedy) = match alternative.what.unknown {
        Unknown::Run(place) => (
            odd_run(solved, alternative, place)?,
            "read its meters and photograph again and correct it, or exclude it with the reason",
        ),
        _ => words(alternative),
    };
    Ok(Finding {
        code: alternative.what.code.to_owned(),
        confidence: weight,
        sentence: format!("{what}; {change}"),
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

/// An effect this likely is set free before the law is judged: what it explains is no fault of the law.
const SET_FREE: f64 = 0.3;

/// Exponents that are off in the likeliest model. An effect that may well be there is set free first.
fn exponents(
    solved: &Solved<'_>,
    alternatives: &[Alternative],
    stated: &Law,
) -> Result<Option<Finding>, LabError> {
    let likeliest = alternatives.first().filter(|first| first.weight > SET_FREE);
    let law = match likeliest {
        Some(first) => law::corrected(&solved.bench.model, first.averaged.typical())?,
        None => stated.corrected.clone(),
    };
    let Some(corrected) = law else { return Ok(None) };
    let off = |q: &Q, ideal: f64| (q.value - ideal) / q.standard_uncertainty.max(f64::MIN_POSITIVE);
    let (a, b) = (off(&corrected.voltage_exponent, 0.5), off(&corrected.current_exponent, -1.0));
    let worst = if a.abs() > b.abs() { a } else { b };
    Ok((worst.abs() > OFF_U).then(|| Finding {
        code: "law-not-followed".to_owned(),
        // what has been named stands before it
        confidence: certainty(worst) * likeliest.map_or(1.0, |first| first.weight.max(0.5)),
        sentence: format!(
            "the corrected diameters follow V to the power {} and I to the power {}, not ½ and −1",
            print::short(corrected.voltage_exponent.value, corrected.voltage_exponent.standard_uncertainty),
            print::short(corrected.current_exponent.value, corrected.current_exponent.standard_uncertainty)
        ),
        remedy: "look for a zero offset of the scale, a meter on the wrong range, or runs mixed up"
            .to_owned(),
    }))
}
