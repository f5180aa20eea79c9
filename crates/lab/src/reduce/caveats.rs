//! What must be said beside the result, and what lies outside what was stated.

use arcmass_notebook::Notebook;
use arcmass_quantity::{Caveat, print};

use super::{Solved, mass_place};
use crate::document::{BudgetLine, CaveatEntry, Finding, Law, Q, RingsDocument};
use crate::model::{FieldShape, Unknown};

pub(super) fn caveats(
    notebook: &Notebook,
    solved: &Solved<'_>,
    rings: Option<&RingsDocument>,
    _budget: &[BudgetLine],
) -> Vec<CaveatEntry> {
    let mut caveats: Vec<Caveat> = silent(solved);
    caveats.extend(meters(solved));
    caveats.extend(fall_off(solved));
    caveats.extend(scale_unchecked(solved));
    caveats.extend(left_out(notebook, solved, rings));
    if solved.from_scatter {
        let few = solved.bench.model.runs.len() < 3;
        let u = print::significant(1e3 * solved.bench.model.unstated_diameter_u_m, 2);
        let (sentence, remedy) = if few {
            (format!("no uncertainty of the diameters is stated, and too few runs show it; taken as {u} mm"), "give diameter_u_mm, or take more runs")
        } else {
            (format!("no uncertainty of the diameters is stated; their scatter about the model gives {u} mm each"), "give diameter_u_mm to test whether the runs agree")
        };
        caveats.push(Caveat::new("diameter-uncertainty-from-scatter", sentence, remedy));
    }
    caveats.into_iter().map(CaveatEntry::from).collect()
}

/// What the file is silent about, each with its part in the mass.
fn silent(solved: &Solved<'_>) -> Vec<Caveat> {
    let part = |effect: &str| -> f64 {
        let place = mass_place(solved);
        let sensitivities = solved.joint.sensitivity_to_priors(place);
        let model = &solved.bench.model;
        let of = |(at, unknown, _): (usize, Unknown, _)| {
            if unknown.naming().code == effect { sensitivities.get(at).map_or(0.0, |s| s * s) } else { 0.0 }
        };
        model.unknowns.iter().map(of).sum::<f64>().sqrt()
    };
    let model = &solved.bench.model;
    model
        .apparatus
        .silent
        .iter()
        .filter(|silent| silent.code != "scale-offset-not-stated" || solved.bench.scope.has_photos)
        .map(|silent| {
            let percent = print::significant(100.0 * part(silent.effect), 2);
            Caveat::new(silent.code, format!("{}; its part in the mass is {percent} %", silent.sentence), silent.remedy)
        })
        .collect()
}

fn meters(solved: &Solved<'_>) -> Vec<Caveat> {
    let apparatus = solved.bench.model.apparatus;
    let mut missing = Vec::new();
    if !apparatus.voltmeter.is_stated {
        missing.push(("voltmeter", "[meters.voltage]"));
    }
    if !apparatus.ammeter.is_stated {
        missing.push(("ammeter", "[meters.current]"));
    }
    if solved.bench.scope.has_probe && !apparatus.probe.is_stated {
        missing.push(("probe", "[meters.probe]"));
    }
    missing
        .into_iter()
        .map(|(meter, table)| {
            Caveat::new(
                "meter-not-stated",
                format!("the {meter}'s accuracy is not stated; its part is not in the uncertainty"),
                format!("state {table} from the meter's data sheet"),
            )
        })
        .collect()
}

fn fall_off(solved: &Solved<'_>) -> Option<Caveat> {
    let model = &solved.bench.model;
    let shape = model.shape(&model.values(&solved.joint.estimate)).ok()?;
    matches!(shape, FieldShape::Uniform).then(|| {
        Caveat::new(
            "field-fall-off",
            "the coils' sizes are not stated, so the field is taken as uniform over the ring; with a ring of 0.3 to 0.45 coil radii the mass is then 0.8 to 4 % too large",
            "state mean_radius and separation under [coils]",
        )
    })
}

/// A constant factor leaves no trace in any set of runs.
fn scale_unchecked(solved: &Solved<'_>) -> Option<Caveat> {
    let field = &solved.field;
    let ways = [field.geometry, field.probe, field.stated, field.balance];
    let field_is_checked = ways.iter().flatten().count() >= 2 && !ways_clash(&ways);
    let scope = &solved.bench.scope;
    let length_is_checked = scope.planes.len() >= 2;
    let what = match (field_is_checked, length_is_checked) {
        (true, true) => return None,
        (true, false) => "length: every diameter rests on one scale",
        (false, true) => "field: every run rests on one way to the field per ampere, or on two that clash",
        (false, false) => "field or length: each rests on one way alone, or on two that clash",
    };
    Some(Caveat::new(
        "scale-unchecked",
        format!("a constant factor leaves no trace in any set of runs; nothing here checks the {what}"),
        "check the field by probe and geometry, and the length by a second ruler or a calibrated gauge",
    ))
}

/// Whether any two ways to the field per ampere differ by more than 3 u.
fn ways_clash(ways: &[Option<Q>]) -> bool {
    let known: Vec<&Q> = ways.iter().flatten().collect();
    known.iter().enumerate().any(|(index, a)| {
        known.iter().skip(index + 1).any(|b| {
            (a.value.abs() - b.value.abs()).abs() > 3.0 * a.standard_uncertainty.hypot(b.standard_uncertainty)
        })
    })
}

fn left_out(notebook: &Notebook, solved: &Solved<'_>, rings: Option<&RingsDocument>) -> Vec<Caveat> {
    let mut caveats = Vec::new();
    let without = &solved.bench.without_diameter;
    if !without.is_empty() {
        let failed = rings.map_or(0, |rings| rings.failed.len());
        let why = if failed > 0 { "; some photographs could not be measured" } else { "" };
        caveats.push(Caveat::new(
            "run-without-diameter",
            format!("{} of the runs ({}) have no diameter and are left out{why}", without.len(), listed(without)),
            "see `arcmass rings`, give diameter_mm, or strike the run with its reason",
        ));
    }
    if solved.bench.probe_rows_left_out > 0 {
        caveats.push(Caveat::new(
            "probe-rows-left-out",
            format!(
                "{} probe readings away from the centre are left out: without the coils' sizes they say nothing",
                solved.bench.probe_rows_left_out
            ),
            "state mean_radius and separation under [coils]",
        ));
    }
    for photo in rings.iter().flat_map(|rings| &rings.photos) {
        let used = photo.run.as_ref().is_some_and(|run| {
            notebook.readings.iter().flat_map(|r| &r.runs).any(|r| r.run == *run && !r.is_struck())
        });
        for caveat in photo.caveats.iter().filter(|_| used) {
            caveats.push(Caveat::new(
                "photograph",
                format!("{}: {}", photo.photo, caveat.sentence),
                caveat.remedy.clone(),
            ));
        }
    }
    caveats
}

fn listed(names: &[String]) -> String {
    const SHOWN: usize = 6;
    let shown = names.iter().take(SHOWN).cloned().collect::<Vec<_>>().join(", ");
    if names.len() > SHOWN { format!("{shown}, …") } else { shown }
}

/// What lies outside what was stated: a clash of probe and geometry, a strong axial stray field, a law not followed.
pub(super) fn findings(solved: &Solved<'_>, law: &Law) -> Vec<Finding> {
    let mut findings: Vec<Finding> =
        [field_scale(solved), axial(solved), exponents(law)].into_iter().flatten().collect();
    findings.sort_by(|a, b| b.confidence.total_cmp(&a.confidence));
    findings
}

/// Beyond this many u two values clash (p = 0.003).
const CLASH_U: f64 = 3.0;
/// Above this an axial stray field is more than the Earth's (needs no prior to be a finding), T.
const STRONG_AXIAL_T: f64 = 70e-6;

fn normal_confidence(z: f64) -> f64 {
    1.0 - statrs::function::erf::erfc(z.abs() * std::f64::consts::FRAC_1_SQRT_2)
}

fn field_scale(solved: &Solved<'_>) -> Option<Finding> {
    let (probe, geometry) = (solved.field.probe?, solved.field.geometry?);
    let z = solved.field.probe_minus_geometry_in_u()?;
    (z.abs() > CLASH_U).then(|| Finding {
        code: "field-scale".to_owned(),
        confidence: normal_confidence(z),
        sentence: format!(
            "the probe says {} mT/A, the coils' sizes say {} mT/A: {:.1} % apart, {:.1} standard uncertainties; the mass would differ by twice that",
            print::short(1e3 * probe.value, 1e3 * probe.standard_uncertainty),
            print::short(1e3 * geometry.value, 1e3 * geometry.standard_uncertainty),
            100.0 * (probe.value / geometry.value - 1.0).abs(),
            z.abs(),
        ),
        remedy: "measure separation and mean radius again, count the turns, and check the probe in a known field".to_owned(),
    })
}

fn axial(solved: &Solved<'_>) -> Option<Finding> {
    let model = &solved.bench.model;
    let place = model.unknowns.place(Unknown::BackgroundZ)?;
    let (value, u) = (solved.joint.estimate[place], solved.joint.u(place));
    let beyond = (value.abs() - STRONG_AXIAL_T) / u.max(f64::MIN_POSITIVE);
    (beyond > 0.0).then(|| Finding {
        code: "stray-field-axial".to_owned(),
        confidence: 0.5 + 0.5 * normal_confidence(beyond),
        sentence: format!(
            "a stray field of {} µT runs along the axis, more than the Earth's",
            print::short(1e6 * value, 1e6 * u)
        ),
        remedy: "look for magnets, iron or another bench nearby, and take every setting with both field senses".to_owned(),
    })
}

fn exponents(law: &Law) -> Option<Finding> {
    let corrected = law.corrected.as_ref()?;
    let off = |q: &Q, ideal: f64| (q.value - ideal) / q.standard_uncertainty.max(f64::MIN_POSITIVE);
    let (a, b) = (off(&corrected.voltage_exponent, 0.5), off(&corrected.current_exponent, -1.0));
    let worst = if a.abs() > b.abs() { a } else { b };
    (worst.abs() > CLASH_U).then(|| Finding {
        code: "law-not-followed".to_owned(),
        confidence: normal_confidence(worst),
        sentence: format!(
            "the corrected diameters follow V to the power {} and I to the power {}, not ½ and −1",
            print::short(corrected.voltage_exponent.value, corrected.voltage_exponent.standard_uncertainty),
            print::short(corrected.current_exponent.value, corrected.current_exponent.standard_uncertainty)
        ),
        remedy: "look for a zero of the scale that is not the ring's centre, a meter on the wrong range, or runs mixed up".to_owned(),
    })
}
