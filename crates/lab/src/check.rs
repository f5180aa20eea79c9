//! The job `check`: what a valid notebook still lacks, and for which command.

use arcmass_notebook::{Meter, Notebook, View};
use serde::Serialize;

use crate::desk::Desk;
use crate::document::MadeBy;

/// Something a command needs or would profit from.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Lack {
    /// Which command.
    pub command: &'static str,
    /// Whether the command can't run without it.
    pub is_needed: bool,
    /// What is missing.
    pub what: String,
}

/// `arcmass.check/1`.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct CheckDocument {
    /// Fixed.
    pub schema: &'static str,
    /// What made it.
    pub made_by: MadeBy,
    /// Name of the bench.
    pub bench: String,
    /// Runs in the table, struck ones among them.
    pub runs: usize,
    /// Struck runs.
    pub struck: usize,
    /// Probe readings.
    pub probe_readings: usize,
    /// Photographs named in the table.
    pub photographs: usize,
    /// What is missing for what.
    pub lacks: Vec<Lack>,
}

/// Looks through a notebook that has no faults for what each command would miss.
pub fn check(notebook: &Notebook, desk: &Desk) -> CheckDocument {
    let runs = notebook.readings.as_ref().map_or(&[][..], |readings| &readings.runs);
    let mut photos: Vec<&str> = runs
        .iter()
        .flat_map(|run| [run.ring_photo.as_deref(), run.scale_photo.as_deref()])
        .flatten()
        .collect();
    photos.sort_unstable();
    photos.dedup();
    CheckDocument {
        schema: "arcmass.check/1",
        made_by: desk.made_by(notebook.inputs()),
        bench: notebook.bench.name.clone(),
        runs: runs.len(),
        struck: runs.iter().filter(|run| run.is_struck()).count(),
        probe_readings: notebook.probe_tables.iter().map(|table| table.rows.len()).sum(),
        photographs: photos.len(),
        lacks: lacks(notebook),
    }
}

fn lacks(notebook: &Notebook) -> Vec<Lack> {
    let mut lacks = Vec::new();
    let mut add =
        |command, is_needed, what: &str| lacks.push(Lack { command, is_needed, what: what.to_owned() });
    let bench = &notebook.bench;
    let pair = bench.pair.as_ref();
    let has_sizes = pair.is_some_and(|pair| pair.geometry.is_some()) || !bench.coil_list.is_empty();
    let has_turns = pair.and_then(|pair| pair.geometry.as_ref()).is_some_and(|g| g.turns.is_some());
    let has_field = has_turns
        || !bench.coil_list.is_empty()
        || pair.is_some_and(|pair| pair.field_per_ampere.is_some())
        || !notebook.probe_tables.is_empty()
        || notebook.balance.is_some();
    let runs = notebook.readings.as_ref().map_or(&[][..], |readings| &readings.runs);
    let by_photo = runs.iter().any(|run| run.ring_photo.is_some() && run.diameter.is_none());
    if !has_field {
        for command in ["field", "reduce", "path", "plan"] {
            add(command, true, "geometry and turns under [coils], a field_per_ampere, or a field-probe.csv");
        }
    }
    let gun = bench.gun.as_ref();
    if gun.is_none_or(|gun| gun.voltage_limit_v.is_none()) {
        add("plan", true, "voltage_limit under [gun]: settings are proposed only within stated ratings");
    }
    if pair.is_none_or(|pair| pair.current_limit_a.is_none()) {
        add("plan", true, "current_limit under [coils]: settings are proposed only within stated ratings");
    }
    if bench.bulb.as_ref().is_none_or(|bulb| bulb.outer_radius.is_none()) {
        add("plan", false, "outer_radius under [bulb]: without it no setting is checked against the glass");
    }
    if runs.is_empty() {
        add("reduce", true, "readings.csv with at least one run");
        add("rings", true, "readings.csv that names ring_photo and scale_photo");
    } else if !runs.iter().any(|run| run.diameter.is_some() || run.ring_photo.is_some()) {
        add("reduce", true, "diameter_mm, or ring_photo and scale_photo, in readings.csv");
    }
    if by_photo {
        if bench.scale.as_ref().is_none_or(|scale| scale.spacing.is_none()) {
            add("rings", true, "spacing under [scale]: the distance between the scale's marks");
        }
        if bench.camera.as_ref().is_none_or(|camera| camera.distance.is_none()) {
            add("rings", false, "distance under [camera]: without it the scale's offset can't be corrected");
        }
        if runs
            .iter()
            .any(|run| run.view == View::Front && run.ring_photo.is_some() && run.scale_photo.is_none())
        {
            add("rings", true, "scale_photo for every run with a ring_photo");
        }
    }
    if !has_sizes {
        add(
            "reduce",
            false,
            "mean_radius and separation under [coils]: without them the field's fall-off stays uncorrected",
        );
    }
    if bench.gun.as_ref().is_none_or(|gun| gun.muzzle.is_none()) {
        add(
            "path",
            false,
            "muzzle (the anode aperture) and direction under [gun]: without them the ring is taken as centred",
        );
    }
    if bench.surroundings.is_none() && notebook.probe_tables.is_empty() {
        add(
            "reduce",
            false,
            "[surroundings] or probe readings with the coils off: the background is taken as 0 with u = 30 µT",
        );
    }
    for (table, is_stated) in [
        ("[meters.voltage]", has_accuracy(bench.meters.voltage.as_ref())),
        ("[meters.current]", has_accuracy(bench.meters.current.as_ref())),
        ("[meters.probe]", has_accuracy(bench.meters.probe.as_ref()) || notebook.probe_tables.is_empty()),
    ] {
        if !is_stated {
            add(
                "reduce",
                false,
                &format!(
                    "accuracy under {table}: without it the meter is taken as class 2.5, limits of 2.5 %"
                ),
            );
        }
    }
    let examples = arcmass_notebook::still_examples(&bench.source);
    if !examples.is_empty() {
        let sentence = format!(
            "your own numbers for {}: these are still the template's examples, not measurements",
            examples.join(", ")
        );
        add("reduce", true, &sentence);
    }
    lacks
}

fn has_accuracy(meter: Option<&Meter>) -> bool {
    meter.is_some_and(Meter::has_accuracy)
}
