//! Mass: the result, why it is so sure, what is wrong with the bench, and every run's way from reading to mass.

use std::sync::Arc;

use arcmass_lab::document::RunEntry;
use arcmass_lab::steps::{Step, worked};
use arcmass_notebook::Run;
use arcmass_quantity::print;
use arcmass_report::marked;
use arcmass_report::station::pieces;
use axum::extract::State;
use axum::http::HeaderMap;
use axum::response::Response;
use maud::{Markup, PreEscaped, html};

use super::waits::{self, Kind};
use super::words::{fixed, sentence, short};
use super::{blocking, broken, figures, next, one_ring, part, units};
use crate::frame::{self, Station};
use crate::long::View;
use crate::state::{App, Snapshot};
use crate::work::{self, Derived};

/// The report's sections that stand on this station: first the result and what is wrong.
const FIRST: [&str; 2] = ["result", "findings"];
/// Those with the figures that matter most, side by side.
const ABREAST: [&str; 2] = ["law", "budget"];
/// Those to be opened.
const FOLDED: [&str; 5] = ["caveats", "effects", "textbook", "agreement", "comparison"];

/// `/mass`.
pub(crate) async fn page(State(app): State<Arc<App>>, headers: HeaderMap) -> Response {
    let show = move || {
        let snapshot = app.snapshot();
        let body = html! {
            div.head { h1 { "Mass" } (units::choice(&headers)) }
            div data-live="/mass/work" { (inside(&app, &snapshot, &headers)) }
        };
        frame::page(&app, &snapshot, &headers, Station::Mass, "", &body)
    };
    blocking(show).await.unwrap_or_else(broken)
}

/// `/mass/work`.
pub(crate) async fn work(State(app): State<Arc<App>>, headers: HeaderMap) -> Response {
    part(app, move |app, snapshot| inside(app, snapshot, &headers)).await
}

/// The result if it is there; else the work is begun and shown.
pub(crate) fn derived(app: &Arc<App>, snapshot: &Snapshot) -> Result<Arc<Derived>, Markup> {
    let notebook = snapshot.notebook.as_ref().map_err(|_| frame::faults(snapshot))?;
    if notebook.readings.iter().all(|readings| readings.runs.is_empty()) {
        return Err(
            html! { p.empty { "No reading yet, so there is no mass yet. Take some at the " a href="/readings" { "Readings" } "." } },
        );
    }
    match work::look(app, &snapshot.stamp, notebook) {
        View::Done(derived) => Ok(derived),
        View::Failed(trouble) => Err(waits::failed(Kind::Mass, "No result yet", &trouble)),
        View::Waiting => Err(waits::waiting(Kind::Mass)),
    }
}

fn inside(app: &Arc<App>, snapshot: &Snapshot, headers: &HeaderMap) -> Markup {
    let derived = match derived(app, snapshot) {
        Ok(derived) => derived,
        Err(instead) => return instead,
    };
    let chosen = units::Chosen::of(headers);
    let beside = |name: &str| figures::downloads("mass", name).into_string();
    let pieces = pieces(&derived.input(chosen.unit()), beside).unwrap_or_default();
    let piece = |id: &str| pieces.iter().find(|piece| piece.id == id);
    html! {
        @if let Some(piece) = piece("result") { (of_piece(piece)) }
        (next::better(app, snapshot))
        nav.within aria-label="On this page" { ul {
            li { a href="#runs" { "Run by run" } }
            @for piece in FIRST.iter().skip(1).chain(&ABREAST).chain(&FOLDED).filter_map(|id| piece(id)) { li { a href={ "#" (piece.id) } { (piece.heading) } } }
        } }
        @if let Some(piece) = piece("findings") { (of_piece(piece)) }
        div.two { @for piece in ABREAST.iter().filter_map(|id| piece(id)) { (of_piece(piece)) } }
        section #runs aria-labelledby="runs-heading" {
            h2 #runs-heading { "Run by run, step by step" }
            p { "Open a run to see how its mass follows from its readings: by the textbook formula, and next to it by the full model." }
            @for entry in &derived.reduction.runs { (of_run(&derived, entry, &chosen)) }
        }
        @for piece in FOLDED.iter().filter_map(|id| piece(id)) {
            details.piece { summary { h2 id={ (piece.id) "-heading" } { (piece.heading) } } section id=(piece.id) aria-labelledby={ (piece.id) "-heading" } { (PreEscaped(&piece.html)) } }
        }
    }
}

fn of_piece(piece: &arcmass_report::station::Piece) -> Markup {
    let heading = format!("{}-heading", piece.id);
    html! {
        section id=(piece.id) { h2 id=(heading) { (piece.heading) } (PreEscaped(&piece.html)) }
    }
}

fn run_of<'a>(derived: &'a Derived, entry: &RunEntry) -> Option<&'a Run> {
    derived.notebook.readings.iter().flat_map(|readings| &readings.runs).find(|run| run.run == entry.run)
}

/// A teacher's board: each step with its formula and the numbers in it.
fn of_run(derived: &Derived, entry: &RunEntry, chosen: &units::Chosen) -> Markup {
    let run = run_of(derived, entry);
    let way = run.map(|run| worked(entry, run, chosen.unit()));
    html! {
        details.run.struck[entry.r#struck] {
            summary {
                b { "Run " (entry.run) }
                @if entry.r#struck { " (excluded)" }
                " " span.num { i.symbol { "m" } " = " (short(&entry.mass_kg)) " kg" }
                " " span.quiet { "textbook " (print::significant(entry.textbook_mass_kg, 4)) " kg" }
            }
            @if let Some(run) = run {
                p { "Read: " @for (i, reading) in run.readings.iter().enumerate() { @if i > 0 { "; " } span.num { (reading.voltage_v) " V, " (reading.current_a) " A" } }
                    "; ring diameter " span.num { (measured(derived, run).unwrap_or_else(|| short(&entry.measured_diameter_mm))) " mm" }
                    @if run.diameter.is_none() { span.quiet { " (in the scale’s plane " (short(&entry.measured_diameter_mm)) " mm, after the fit " (short(&entry.ring_diameter_mm)) " mm)" } } "." }
            }
            @if let Some(way) = &way {
                div.ways {
                    (steps("By the textbook formula", &way.textbook))
                    (steps("By the full model", &way.full))
                }
            }
            p.quiet { "Measured minus modelled diameter: " span.num { (fixed(entry.residual_mm, -2)) " mm" } "." }
        }
    }
}

/// The ring's diameter as every station tells it, mm.
fn measured(derived: &Derived, run: &Run) -> Option<String> {
    let photos = derived.rings.iter().flat_map(|rings| &rings.photos);
    let mut its = photos.filter(|photo| photo.run.as_deref() == Some(run.run.as_str()));
    one_ring::of_table(run).or_else(|| its.next().and_then(one_ring::of_photo))
}

fn steps(heading: &str, steps: &[Step]) -> Markup {
    html! {
        section.way {
            h3 { (heading) }
            ol.steps {
                @for step in steps {
                    li {
                        span.what { (sentence(step.name)) }
                        span.formula {
                            (marked(&step.formula))
                            @if !step.with_numbers.is_empty() { " = " (marked(&step.with_numbers)) }
                            " = " b.num { (marked(&step.result)) }
                        }
                    }
                }
            }
        }
    }
}
