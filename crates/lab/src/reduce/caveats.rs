//! What must be said beside the result.

use arcmass_notebook::Notebook;
use arcmass_quantity::{Caveat, print};

use super::Solved;
use super::budget::Budget;
use crate::document::{CaveatEntry, Q, RingsDocument};
use crate::model::{FieldShape, Unknown};

pub(super) fn caveats(
    notebook: &Notebook,
    solved: &Solved<'_>,
    budget: &Budget,
    rings: Option<&RingsDocument>,
    told: Vec<Caveat>,
) -> Vec<CaveatEntry> {
    let mut caveats: Vec<Caveat> = silent(notebook, solved, budget);
    caveats.extend(fall_off(solved));
    caveats.extend(scale_unchecked(solved));
    caveats.extend(left_out(notebook, solved, rings));
    caveats.extend(told);
    if solved.from_scatter {
        let few = solved.bench.model.runs.len() < 3;
        let u = print::significant(1e3 * solved.bench.model.unstated_diameter_u_m, 2);
        let (sentence, remedy) = if few {
            (
                format!(
                    "no uncertainty of the diameters is stated, and too few runs show it; taken as {u} mm"
                ),
                "give diameter_u_mm, or take more runs",
            )
        } else {
            (
                format!(
                    "no uncertainty of the diameters is stated; their scatter about the model gives {u} mm each"
                ),
                "give diameter_u_mm to test whether the runs agree",
            )
        };
        caveats.push(Caveat::new("diameter-uncertainty-from-scatter", sentence, remedy));
    }
    caveats.into_iter().map(CaveatEntry::from).collect()
}

/// A part in the mass below this is not said.
const LEAST_PART: f64 = 5e-5;

/// What the file is silent about, each with its part in the mass.
fn silent(notebook: &Notebook, solved: &Solved<'_>, budget: &Budget) -> Vec<Caveat> {
    let model = &solved.bench.model;
    let mut caveats = Vec::new();
    for silent in &model.apparatus.silent {
        if silent.code == "background-not-stated" && background_is_measured(solved) {
            continue;
        }
        let is_known = |(_, unknown, _): (usize, Unknown, _)| silent.effects.contains(&unknown.naming().code);
        let parts: Vec<f64> = match model.unknowns.iter().any(is_known) {
            true => silent.effects.iter().map(|effect| budget.of_effect(effect).powi(2)).collect(),
            false => Vec::new(),
        };
        let sentence = if silent.effects.is_empty() {
            format!("{}; what that does to the mass is not in its uncertainty", silent.sentence)
        } else if parts.iter().sum::<f64>().sqrt() < LEAST_PART {
            // nothing of this notebook depends on it
            continue;
        } else {
            let percent = print::significant(100.0 * parts.iter().sum::<f64>().sqrt(), 2);
            format!("{}; it contributes {percent} % to the uncertainty of the mass", silent.sentence)
        };
        caveats.push(Caveat::new(silent.code, sentence, silent.remedy));
    }
    caveats.extend(given_the_inputs(notebook, solved));
    caveats
}

/// Width of a beam, for the size of what an edge read unawares would do, m.
const USUAL_BEAM_WIDTH_M: f64 = 1e-3;

/// What no width stands in for: the interval of the mass holds given these, each with what it would do.
fn given_the_inputs(notebook: &Notebook, solved: &Solved<'_>) -> Option<Caveat> {
    let model = &solved.bench.model;
    let count = model.runs.len().max(1) as f64;
    let voltage = model.runs.iter().map(|run| run.voltage_read_v).sum::<f64>() / count;
    let diameter = model.runs.iter().map(|run| run.diameter_m).sum::<f64>() / count;
    if !(voltage > 0.0 && diameter > 0.0) {
        return None;
    }
    let (mut given, mut remedies) = (Vec::new(), Vec::new());
    if model.unknowns.place(Unknown::BeamLoss).is_none() {
        let percent = print::significant(100.0 / voltage, 2);
        given.push(format!(
            "no energy is lost in the gas (each volt lost makes the mass {percent} % too small)"
        ));
        remedies.push("state gas and pressure under [bulb]");
    }
    let runs = notebook.readings.iter().flat_map(|readings| &readings.runs).filter(|run| !run.is_struck());
    let no_edge = |diameter: &arcmass_notebook::Diameter| diameter.edge.is_none();
    if runs.filter_map(|run| run.diameter.as_ref()).any(no_edge) {
        let width = model.apparatus.beam_width.map_or(USUAL_BEAM_WIDTH_M, |known| known.value);
        let percent = print::significant(200.0 * width / diameter, 2);
        let width = print::significant(1e3 * width, 2);
        given.push(format!(
            "diameters entered by hand are those of the middle of the beam (outer edges of a beam {width} mm wide make the mass {percent} % too large), on a true ruler"
        ));
        remedies.push("fill in the edge column of readings.csv");
    }
    if model.is_absolute() && !solved.bench.scope.has_probe {
        given.push("the ammeter shows the current through each coil (the total of two coils in parallel makes the mass four times too large)".to_owned());
        remedies.push("check how the coils are wired, or measure the field with a probe");
    }
    (!given.is_empty()).then(|| {
        Caveat::new(
            "given-the-stated-inputs",
            format!(
                "the interval of the mass holds given the stated inputs, and given that {}",
                given.join("; that ")
            ),
            remedies.join("; "),
        )
    })
}

/// Whether the field tables told what the file is silent about: its u is below half the default.
fn background_is_measured(solved: &Solved<'_>) -> bool {
    let model = &solved.bench.model;
    [Unknown::BackgroundX, Unknown::BackgroundY, Unknown::BackgroundZ].into_iter().all(|unknown| {
        model.unknowns.place(unknown).is_none_or(|place| {
            let before = solved.joint.priors.get(place).and_then(|prior| prior.moments());
            before.is_none_or(|(_, u)| solved.joint.u(place) < 0.5 * u)
        })
    })
}

fn fall_off(solved: &Solved<'_>) -> Option<Caveat> {
    let model = &solved.bench.model;
    let shape = model.shape(&model.values(&solved.joint.estimate)).ok()?;
    matches!(shape, FieldShape::Uniform).then(|| {
        Caveat::new(
            "field-fall-off",
            "the coil geometry is not stated, so the field is taken as uniform over the ring; with a ring of 0.3 to 0.45 coil radii the mass is then 0.8 to 4 % too large",
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
        (false, true) => {
            "field: every run rests on a single value of the coil constant, or on two that disagree"
        }
        (false, false) => "field or the length: each rests on a single method, or on two that disagree",
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
            format!(
                "{} of the runs ({}) have no diameter and are not used{why}",
                without.len(),
                listed(without)
            ),
            "see `arcmass rings`, give diameter_mm, or exclude the run with its reason",
        ));
    }
    if solved.bench.probe_rows_left_out > 0 {
        caveats.push(Caveat::new(
            "probe-rows-left-out",
            format!(
                "{} probe readings away from the centre are not used: without the coil geometry they carry no information",
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
