//! Bench: the apparatus drawn from its numbers, and a place for each of them.

use std::sync::Arc;

use arcmass_notebook::Fault;
use arcmass_notebook::edit::{
    EditFault, KeyForm, bench_keys, bench_value, keep_text, raw_file, set_bench_value,
};
use arcmass_report::station;
use axum::Json;
use axum::extract::State;
use axum::http::HeaderMap;
use axum::response::Response;
use maud::{Markup, PreEscaped, html};
use serde::Deserialize;
use serde_json::json;

use super::{blocking, broken, part};
use crate::answer;
use crate::frame::{self, Station};
use crate::state::{App, Snapshot};

/// A table of the bench file on the page: its name, heading, and what to know.
const TABLES: [(&str, &str, &str); 11] = [
    ("bench", "Name", ""),
    ("coils", "Coils", "A coaxial pair. Sizes are taken to the middle of the winding."),
    (
        "gun",
        "Gun",
        "x to the right, y up, z along the coils' axis towards the camera; origin at the centre of the coils.",
    ),
    ("bulb", "Bulb", ""),
    ("meters.voltage", "Voltmeter", "From the meter's manual: percent of reading plus digits."),
    ("meters.current", "Ammeter", ""),
    ("meters.probe", "Field probe", ""),
    (
        "surroundings",
        "Surroundings",
        "A stated background field, or a place and a day for the Earth's field.",
    ),
    ("camera", "Camera", ""),
    ("scale", "Scale", "What was photographed in the ring's plane to count millimetres."),
    ("coil", "", ""),
];

/// Label, hint and example of a key.
fn wording(table: &str, key: &str) -> (&'static str, &'static str, &'static str) {
    match (table, key) {
        ("bench", _) => ("Name of the bench", "", "Window bench"),
        (_, "shape") => ("Shape", "", ""),
        (_, "mean_radius") => ("Mean radius", "to the middle of the winding", "150 mm ± 0.5 mm"),
        (_, "mean_half_side") => ("Mean half side", "of square coils only", "150 mm ± 0.5 mm"),
        (_, "separation") => ("Separation", "mid-plane to mid-plane", "150.0(7) mm"),
        (_, "turns") => ("Turns on each coil", "", "124"),
        (_, "winding_radial") => ("Winding, radial", "thickness along the radius", "12 mm"),
        (_, "winding_axial") => ("Winding, axial", "width along the axis", "16 mm"),
        (_, "field_direction") => ("Field direction", "for a positive ammeter reading; a compass tells", ""),
        (_, "current_limit") => ("Current limit", "rating of each coil", "2 A"),
        (_, "field_per_ampere") => {
            ("Field per ampere", "stated coil constant, instead of sizes or beside them", "0.743(4) mT/A")
        }
        (_, "muzzle") => ("Muzzle x, y, z", "where the beam leaves the anode", "0 mm, -40 mm, 0 mm"),
        (_, "muzzle_uncertainty") => ("Its uncertainty", "of each coordinate", "0.5 mm"),
        (_, "direction") => ("Direction x, y, z", "of the beam, tube not tilted", "1, 0, 0"),
        (_, "direction_uncertainty") => ("Its uncertainty", "", "0.4 deg"),
        (_, "voltage_limit") => ("Voltage limit", "rating of the tube", "300 V"),
        (_, "voltage_minimum") => ("Voltage minimum", "below it the beam can't be seen", "120 V"),
        (_, "voltage_offset") => ("Voltage offset", "effective voltage minus reading", "0(1) V"),
        (_, "beam_width") => ("Beam width", "of the glowing beam", "2(1) mm"),
        (_, "particle") => ("Particle", "the electron if empty", "electron"),
        (_, "charge_number") => ("Charge number", "of another particle", "-1"),
        (_, "mass") => ("Mass", "of another particle", "9.11e-31 kg"),
        (_, "outer_radius") => ("Outer radius", "of the glass", "80.0(5) mm"),
        (_, "glass_thickness") => ("Glass thickness", "", "1.5(2) mm"),
        (_, "glass_index") => ("Refractive index", "", "1.48(2)"),
        (_, "clearance") => ("Clearance", "a ring keeps this far from the glass", "8 mm"),
        (_, "gas") => ("Gas", "", "hydrogen"),
        (_, "pressure") => ("Pressure", "", "1.0(3) Pa"),
        (_, "of_reading") => ("Of reading", "limit", "0.5 %"),
        (_, "digits") => ("Digits", "limit, in steps of the last digit", "2"),
        ("meters.voltage", "resolution") => ("Resolution", "one step of the last digit", "0.1 V"),
        ("meters.current", "resolution") => ("Resolution", "one step of the last digit", "0.01 A"),
        (_, "resolution") => ("Resolution", "one step of the last digit", "0.001 mT"),
        ("meters.voltage", "noise") => ("Noise", "standard deviation of one reading", "0.1 V"),
        ("meters.current", "noise") => ("Noise", "standard deviation of one reading", "0.002 A"),
        (_, "noise") => ("Noise", "standard deviation of one reading", "0.001 mT"),
        (_, "zero") => ("Zero", "if known, instead of digits", ""),
        (_, "background") => {
            ("Background x, y, z", "field without coil current", "0(30) uT, -45(10) uT, 0(30) uT")
        }
        (_, "latitude") => ("Latitude", "north positive", "52.1 deg"),
        (_, "longitude") => ("Longitude", "east positive", "4.3 deg"),
        (_, "height") => ("Height", "above sea level", "20 m"),
        (_, "date") => ("Day", "", "2026-03-12"),
        (_, "axis_bearing") => ("Bearing of +z", "true, clockwise from north", "120 deg"),
        (_, "distance") => ("Distance", "lens to the bulb's centre", "1.20(2) m"),
        (_, "kind") => ("Kind", "", ""),
        (_, "spacing") => ("Spacing", "between marks", "1 mm"),
        (_, "offset") => ("Offset", "from the muzzle's plane, towards the camera positive", "0(1) mm"),
        (_, "relative_uncertainty") => {
            ("Of its length", "standard uncertainty of the scale itself", "0.05 %")
        }
        _ => ("", "", ""),
    }
}

fn choices(key: &str) -> &'static [&'static str] {
    match key {
        "shape" => &["circular", "square"],
        "field_direction" => &["+z", "-z"],
        "kind" => &["ruler", "grid", "board"],
        _ => &[],
    }
}

/// `/bench`.
pub(crate) async fn page(State(app): State<Arc<App>>, headers: HeaderMap) -> Response {
    let show = move || {
        let snapshot = app.snapshot();
        let body = html! {
            h1 { "Bench" }
            p.lead { "What is known of the apparatus, and how well. Type numbers as you would write them: " code { "150 mm ± 0.5 mm" } ", " code { "150.0(5) mm" } ", " code { "150 mm ± 0.3 %" } ". Each is saved as you leave its field; comments in " code { "bench.toml" } " stay." }
            div data-live="/bench/work" { (inside(&app, &snapshot)) }
        };
        frame::page(&app, &snapshot, &headers, Station::Bench, "bench.js", &body)
    };
    blocking(show).await.unwrap_or_else(broken)
}

/// `/bench/work`: what follows the files.
pub(crate) async fn work(State(app): State<Arc<App>>) -> Response {
    part(app, move |app, snapshot| inside(app, snapshot)).await
}

fn inside(app: &App, snapshot: &Snapshot) -> Markup {
    let text = raw_file(&app.root, "bench.toml").map(|raw| raw.text).unwrap_or_default();
    let faults: Vec<&Fault> = snapshot.notebook.as_ref().err().iter().flat_map(|f| &f.0).collect();
    let keys = bench_keys();
    html! {
        (drawing(snapshot))
        (elsewhere(&faults, &text))
        form.bench autocomplete="off" {
            @for (table, heading, note) in TABLES.iter().filter(|row| !row.1.is_empty()) {
                fieldset {
                    legend { (heading) }
                    @if !note.is_empty() { p.quiet.note { (note) } }
                    @for place in keys.iter().filter(|place| place.table == *table) {
                        @let fault = faults.iter().find(|fault| is_at(fault, &text, place.key, table));
                        (entry(table, place.key, place.form, &text, fault.copied()))
                    }
                }
            }
        }
        @if text.contains("[[coil]]") {
            p.quiet { "This bench lists its coils one by one under " code { "[[coil]]" } ": change them in the file." }
        }
    }
}

fn drawing(snapshot: &Snapshot) -> Markup {
    let figure =
        snapshot.notebook.as_ref().ok().and_then(|notebook| station::apparatus(&notebook.bench, None));
    html! {
        @if let Some(figure) = figure {
            (PreEscaped(station::figure_html(&figure, "To scale, from the numbers below: left as the front camera sees it, right from the side.")))
        }
    }
}

/// Whether a fault of the file stands on the line of this key.
fn is_at(fault: &Fault, text: &str, key: &str, table: &str) -> bool {
    let Some(line) = fault.line.filter(|_| fault.file == "bench.toml") else { return false };
    let at = text.lines().nth(line.saturating_sub(1)).unwrap_or_default().trim_start();
    let heading = text.lines().take(line).filter(|line| line.trim_start().starts_with('[')).last();
    let in_table = heading.is_some_and(|heading| heading.trim().starts_with(&format!("[{table}]")));
    in_table && at.strip_prefix(key).is_some_and(|rest| rest.trim_start().starts_with('='))
}

/// Faults that no field can stand beside.
fn elsewhere(faults: &[&Fault], text: &str) -> Markup {
    let keys = bench_keys();
    let homeless =
        faults.iter().filter(|fault| !keys.iter().any(|place| is_at(fault, text, place.key, place.table)));
    let homeless: Vec<_> = homeless.collect();
    html! {
        @if !homeless.is_empty() {
            section.faults aria-label="Faults of the files" {
                h2.caution { "Needs you" }
                ul {
                    @for fault in homeless {
                        li {
                            b { (fault.file) @if let Some(line) = fault.line { ", line " (line) } } ": " (fault.found) ". What may stand there: " (fault.accepted) ". To do: " (fault.remedy) "."
                            @if let Some(excerpt) = &fault.excerpt { pre { (excerpt.text) } }
                        }
                    }
                }
            }
        }
    }
}

fn entry(table: &str, key: &str, form: KeyForm, text: &str, fault: Option<&Fault>) -> Markup {
    let (label, hint, example) = wording(table, key);
    let id = format!("{table}-{key}").replace('.', "-");
    let value = bench_value(text, table, key).unwrap_or_default();
    let said =
        fault.map(|fault| format!("{}. May stand there: {}. {}.", fault.found, fault.accepted, fault.remedy));
    let choices = choices(key);
    html! {
        div.entry {
            label for=(id) { (label) @if !hint.is_empty() { " " span.quiet { (hint) } } }
            @if choices.is_empty() {
                input id=(id) name=(id) value=(value) placeholder=(example) data-table=(table) data-key=(key) data-seen=(value)
                    aria-describedby={ (id) "-said" } aria-invalid=[said.is_some().then_some("true")] spellcheck="false" autocapitalize="off"
                    inputmode=[(form == KeyForm::Integer).then_some("numeric")];
            } @else {
                select id=(id) name=(id) data-table=(table) data-key=(key) data-seen=(value) aria-describedby={ (id) "-said" } {
                    option value="" selected[value.is_empty()] { "not stated" }
                    @for choice in choices { option value=(choice) selected[value == *choice] { (choice) } }
                }
            }
            p.said id={ (id) "-said" } role="status" { @if let Some(said) = said { span.fault { (said) } } }
        }
    }
}

/// One change of one key.
#[derive(Debug, Deserialize)]
pub(crate) struct Change {
    table: String,
    key: String,
    seen: String,
    typed: String,
}

/// `/bench/set`.
pub(crate) async fn set(State(app): State<Arc<App>>, Json(change): Json<Change>) -> Response {
    let change = move || match changed(&app, &change) {
        Ok(value) => answer::saved(&app, &json!({ "value": value })),
        Err(fault) => answer::refused(&fault),
    };
    blocking(change).await.unwrap_or_else(broken)
}

fn changed(app: &App, change: &Change) -> Result<String, EditFault> {
    let _one = app.edit.lock();
    let raw = raw_file(&app.root, "bench.toml").map_err(EditFault::Faults)?;
    let text = set_bench_value(&raw.text, &change.table, &change.key, &change.seen, &change.typed)?;
    if text != raw.text {
        keep_text(&app.root, "bench.toml", raw.sha256.as_deref(), &text)?;
    }
    Ok(bench_value(&text, &change.table, &change.key).unwrap_or_default())
}
