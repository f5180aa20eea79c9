//! Board: huge figures for a class, predict first, reveal by one key.

use std::sync::Arc;

use axum::extract::State;
use axum::http::HeaderMap;
use axum::response::Response;
use maud::{Markup, html};

use super::readings::setting;
use super::words::{fixed, short};
use super::{blocking, broken};
use crate::frame::{self, Station};
use crate::state::{App, Snapshot};

/// `/board`.
pub(crate) async fn page(State(app): State<Arc<App>>, headers: HeaderMap) -> Response {
    let show = move || {
        let snapshot = app.snapshot();
        let body = inside(&app, &snapshot);
        frame::page(&app, &snapshot, &headers, Station::Board, "board.js", &body)
    };
    blocking(show).await.unwrap_or_else(broken)
}

fn inside(app: &App, snapshot: &Snapshot) -> Markup {
    let Ok(notebook) = &snapshot.notebook else { return frame::faults(snapshot) };
    let runs = notebook.readings.as_ref().map_or(&[][..], |readings| &readings.runs);
    let runs: Vec<_> = runs.iter().filter(|run| !run.is_struck()).collect();
    // the field is fitted once, not once a run
    let ready = app.bench.ready(app).ok();
    let derived = app.work.done(&snapshot.stamp);
    let rings = derived.as_ref().and_then(|derived| derived.rings.clone());
    let rings = rings.or_else(|| arcmass_lab::photograph::kept(notebook, &app.desk));
    html! {
        h1.unseen { "Board" }
        @if runs.is_empty() { p.empty { "No run to show yet. Take a reading at the " a href="/readings" { "Readings" } " first." } }
        @for (i, run) in runs.iter().enumerate() {
            @let predicted = ready.as_ref().and_then(|ready| ready.1.path(&ready.0, &setting(run), &app.desk).ok()).and_then(|path| path.fitted_diameter_mm);
            @let photo = rings.iter().flat_map(|rings| &rings.photos).find(|photo| photo.run.as_deref() == Some(run.run.as_str()));
            @let measured = run.diameter.as_ref().map(|d| fixed(1e3 * d.value_m, -1)).or_else(|| photo.and_then(|p| p.ring_diameter_mm.as_ref().map(short)));
            @let mass = derived.as_ref().and_then(|derived| derived.reduction.runs.iter().find(|entry| entry.run == run.run));
            article.board hidden[i > 0] data-run aria-label={ "Run " (run.run) } {
                p.board-run { "Run " (run.run) " of " (runs.len()) }
                dl.board-read {
                    div { dt { i.symbol { "V" } } dd { (fixed(run.mean_voltage_v(), -1)) " " span { "V" } } }
                    div { dt { i.symbol { "I" } } dd { (fixed(run.mean_current_a(), -3)) " " span { "A" } } }
                }
                dl.board-veiled data-step="1" {
                    div { dt { "predicted ring" } dd { @match predicted { Some(d) => { (fixed(d, -1)) " " span { "mm" } } None => "–" } } }
                }
                dl.board-veiled data-step="2" {
                    div { dt { "measured" } dd { @match &measured { Some(d) => { (d) " " span { "mm" } } None => "–" } } }
                }
                dl.board-veiled data-step="3" {
                    div { dt { i.symbol { "m" } } dd { @match mass { Some(entry) => { (short(&entry.mass_kg)) " " span { "kg" } } None => { span.quiet { "open Mass first" } } } } }
                }
            }
        }
        @if !runs.is_empty() {
            p.board-keys.quiet { kbd { "Space" } " reveals the next figure, " kbd { "→" } " and " kbd { "←" } " change the run, " kbd { "f" } " fills the screen." }
            p.acts { button #reveal type="button" { "Reveal" } " " button #before type="button" { "Run before" } " " button #after type="button" { "Run after" } }
            p #board-said.unseen role="status" {}
        }
    }
}
