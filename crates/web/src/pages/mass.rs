//! Mass: the result, why it is so sure, what is wrong with the bench, and every run's way from reading to mass.

use std::sync::Arc;

use arcmass_lab::document::RunEntry;
use arcmass_notebook::Run;
use arcmass_quantity::unit;
use arcmass_report::station::pieces;
use axum::Json;
use axum::extract::State;
use axum::http::HeaderMap;
use axum::response::{IntoResponse, Response};
use maud::{Markup, PreEscaped, html};
use serde_json::json;

use super::words::{fixed, short};
use super::{blocking, broken, part};
use crate::frame::{self, Station};
use crate::guard::cookie;
use crate::state::{App, Snapshot};
use crate::work::{self, Derived, Stand, Trouble};

/// Units of flux density that the page can be switched to.
const UNITS: [(&str, &str); 4] = [("mT", "mT"), ("T", "T"), ("G", "G"), ("N/(e m/s)", "N per e·m/s")];
/// The report's sections that stand on this station, in this order.
const SECTIONS: [&str; 8] =
    ["result", "findings", "caveats", "budget", "effects", "law", "agreement", "comparison"];

/// `/mass`.
pub(crate) async fn page(State(app): State<Arc<App>>, headers: HeaderMap) -> Response {
    let show = move || {
        let snapshot = app.snapshot();
        let body = html! {
            h1 { "Mass" }
            div data-live="/mass/work" { (inside(&app, &snapshot, &headers)) }
        };
        frame::page(&app, &snapshot, &headers, Station::Mass, "mass.js", &body)
    };
    blocking(show).await.unwrap_or_else(broken)
}

/// `/mass/work`.
pub(crate) async fn work(State(app): State<Arc<App>>, headers: HeaderMap) -> Response {
    part(app, move |app, snapshot| inside(app, snapshot, &headers)).await
}

/// `/measuring/stand`: how far the long work is.
pub(crate) async fn stand(State(app): State<Arc<App>>) -> Response {
    let body = match app.work.stand() {
        Stand::Idle => json!({ "stand": "idle" }),
        Stand::Running(running) => {
            json!({ "stand": "running", "what": running.what, "done": running.done, "of": running.of })
        }
        Stand::Done(..) => json!({ "stand": "done" }),
        Stand::Failed(..) => json!({ "stand": "failed" }),
    };
    Json(body).into_response()
}

/// `/measuring/stop`.
pub(crate) async fn stop(State(app): State<Arc<App>>) -> Response {
    app.work.stop();
    Json(json!({ "stopping": true })).into_response()
}

/// `/measuring/again`: tries once more after a failure or a stop.
pub(crate) async fn again(State(app): State<Arc<App>>) -> Response {
    let begin = move || {
        let snapshot = app.snapshot();
        if let Ok(notebook) = &snapshot.notebook {
            work::begin(&app, &snapshot.stamp, notebook, true);
        }
    };
    let _ = blocking(begin).await;
    Json(json!({ "begun": true })).into_response()
}

/// The result if it is there; else the work is begun and shown.
pub(crate) fn derived(app: &Arc<App>, snapshot: &Snapshot) -> Result<Arc<Derived>, Markup> {
    let notebook = snapshot.notebook.as_ref().map_err(|_| frame::faults(snapshot))?;
    if let Some(derived) = app.work.done(&snapshot.stamp) {
        return Ok(derived);
    }
    work::begin(app, &snapshot.stamp, notebook, false);
    match app.work.stand() {
        Stand::Done(of, derived) if of == snapshot.stamp => Ok(derived),
        Stand::Failed(of, trouble) if of == snapshot.stamp => Err(failed(&trouble)),
        _ => Err(waiting()),
    }
}

fn waiting() -> Markup {
    html! {
        div.waiting data-wait {
            p role="status" { "Reading the notebook …" }
            progress {}
            button type="button" data-stop { "Stop" }
        }
    }
}

fn failed(trouble: &Trouble) -> Markup {
    html! {
        section.faults {
            h2.caution { "No result yet" }
            p { (super::words::sentence(&trouble.sentence)) }
            p { b { "To do: " } (super::words::sentence(&trouble.remedy)) }
            button type="button" data-again { "Try again" }
        }
    }
}

fn inside(app: &Arc<App>, snapshot: &Snapshot, headers: &HeaderMap) -> Markup {
    let derived = match derived(app, snapshot) {
        Ok(derived) => derived,
        Err(instead) => return instead,
    };
    let asked = cookie(headers, "arcmass-unit").unwrap_or_default();
    let pieces = pieces(&derived.input()).unwrap_or_default();
    let piece = |id: &str| pieces.iter().find(|piece| piece.id == id);
    html! {
        nav.within aria-label="On this page" { ul {
            li { a href="#runs" { "Run by run" } }
            @for piece in SECTIONS.iter().filter_map(|id| piece(id)) { li { a href={ "#" (piece.id) } { (piece.heading) } } }
        } }
        @if let Some(piece) = piece("result") { (of_piece(piece)) }
        section #runs aria-labelledby="runs-heading" {
            h2 #runs-heading { "Run by run, step by step" }
            (unit_choice(&asked))
            @for entry in &derived.reduction.runs { (steps(&derived, entry, &asked)) }
        }
        @for piece in SECTIONS.iter().skip(1).filter_map(|id| piece(id)) { (of_piece(piece)) }
    }
}

fn of_piece(piece: &arcmass_report::station::Piece) -> Markup {
    let heading = format!("{}-heading", piece.id);
    html! {
        section id=(piece.id) { h2 id=(heading) { (piece.heading) } (PreEscaped(&piece.html)) }
    }
}

fn unit_choice(asked: &str) -> Markup {
    html! {
        p { label for="unit" { "Flux density in " }
            select #unit { @for (name, shown) in UNITS { option value=(name) selected[name == asked] { (shown) } } }
        }
    }
}

/// A flux density in the unit asked for, with its uncertainty.
fn flux_density(entry: &RunEntry, asked: &str) -> String {
    let (name, shown) = UNITS.iter().find(|(name, _)| *name == asked).copied().unwrap_or(UNITS[0]);
    let milli = unit::parse("mT").map_or(1.0, |unit| unit.si);
    let factor = unit::parse(name).map_or(1.0, |unit| milli / unit.si);
    format!("{} {shown}", short(&entry.flux_density_mt.times(factor)))
}

fn run_of<'a>(derived: &'a Derived, entry: &RunEntry) -> Option<&'a Run> {
    derived.notebook.readings.iter().flat_map(|readings| &readings.runs).find(|run| run.run == entry.run)
}

/// A teacher's board: each step with its formula and the numbers in it.
fn steps(derived: &Derived, entry: &RunEntry, asked: &str) -> Markup {
    let run = run_of(derived, entry);
    let symbol = |name: &str| html! { i.symbol { (name) } };
    html! {
        details.run.struck[entry.r#struck] {
            summary {
                b { "Run " (entry.run) }
                @if entry.r#struck { " (struck)" }
                " " span.num { (symbol("m")) " = " (short(&entry.mass_kg)) " kg" }
                " " span.quiet { "textbook " (arcmass_quantity::print::significant(entry.textbook_mass_kg, 4)) " kg" }
            }
            ol.steps {
                @if let Some(run) = run {
                    li { span { "Read" } span.num {
                        @for (i, reading) in run.readings.iter().enumerate() { @if i > 0 { "; " } (reading.voltage_v) " V, " (reading.current_a) " A" }
                    } }
                }
                li { span { "Voltage that accelerates: reading and meter" } span.num { (symbol("V")) " = " (short(&entry.voltage_v)) " V" } }
                li { span { "Current through each coil" } span.num { (symbol("I")) " = " (short(&entry.current_a)) " A" } }
                li { span { "Flux density along the ring: " (short(&derived.reduction.field_per_ampere_mt_per_a)) " mT/A times " (symbol("I")) ", its fall-off, and the background" } span.num { (symbol("B")) " = " (flux_density(entry, asked)) } }
                li { span { "Diameter as measured" } span.num { (short(&entry.measured_diameter_mm)) " mm" } }
                li { span { "Diameter of the same beam in a uniform field" } span.num { "2" (symbol("r")) " = " (short(&entry.ring_diameter_mm)) " mm" } }
                li { span { "Momentum " (symbol("p")) " = " (symbol("e")) " " (symbol("B")) " " (symbol("r")) } span.num { (symbol("p")) " = " (short(&entry.momentum_kg_m_per_s)) " kg m/s" } }
                li { span { "Speed from momentum and mass" } span.num { (symbol("v")) " = " (short(&entry.speed_m_per_s)) " m/s" } }
                li { span { "Mass " (symbol("m")) " = " (symbol("p")) "²/2" (symbol("T")) " − " (symbol("T")) "/2" (symbol("c")) "², with " (symbol("T")) " = " (symbol("e")) " " (symbol("V")) } span.num { (symbol("m")) " = " b { (short(&entry.mass_kg)) " kg" } } }
                li { span { "Textbook: " (symbol("m")) " = " (symbol("e")) " (" (symbol("B")) " " (symbol("r")) ")²/2" (symbol("V")) " on the readings as read" } span.num { (arcmass_quantity::print::significant(entry.textbook_mass_kg, 4)) " kg" } }
                li { span { "Measured minus modelled diameter" } span.num { (fixed(entry.residual_mm, -2)) " mm" } }
            }
        }
    }
}
