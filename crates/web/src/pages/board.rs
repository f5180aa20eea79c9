//! Board: a lesson, one slide a run: read, guess, predict, measure, weigh; at the end all runs beside the accepted value.

use std::sync::Arc;

use arcmass_lab::document::{PhotoEntry, RunEntry};
use arcmass_lab::path::Setting;
use arcmass_notebook::{Run, View};
use arcmass_report::station;
use axum::extract::State;
use axum::http::HeaderMap;
use axum::response::Response;
use maud::{Markup, PreEscaped, html};

use super::path::Ready;
use super::photos::encoded;
use super::readings::setting;
use super::units::Chosen;
use super::words::{fixed, plus_minus, short};
use super::{blocking, broken, one_ring};
use crate::frame::{self, Station};
use crate::state::{App, Snapshot};
use crate::work::Derived;

/// Findings and caveats told on the last slide: more are not read from the back of a room.
const REASONS: usize = 3;

/// `/board`.
pub(crate) async fn page(State(app): State<Arc<App>>, headers: HeaderMap) -> Response {
    let show = move || {
        let snapshot = app.snapshot();
        let body = inside(&app, &snapshot, &Chosen::of(&headers));
        frame::page(&app, &snapshot, &headers, Station::Board, "board.js", &body)
    };
    blocking(show).await.unwrap_or_else(broken)
}

/// What a slide is made from.
struct Slide<'a> {
    run: &'a Run,
    photo: Option<&'a PhotoEntry>,
    predicted: Option<String>,
    weighed: Option<&'a RunEntry>,
}

fn inside(app: &App, snapshot: &Snapshot, chosen: &Chosen) -> Markup {
    let Ok(notebook) = &snapshot.notebook else { return frame::faults(snapshot) };
    let runs = notebook.readings.as_ref().map_or(&[][..], |readings| &readings.runs);
    let runs: Vec<_> = runs.iter().filter(|run| !run.is_struck()).collect();
    if runs.is_empty() {
        return html! { h1.unseen { "Board" } p.empty { "No run to show yet. Take a reading at the " a href="/readings" { "Readings" } " first." } };
    }
    // the field is fitted once, not once a run
    let ready = app.bench.ready(app).ok();
    let derived = app.work.done(&snapshot.stamp);
    let rings = derived.as_ref().and_then(|derived| derived.rings.clone());
    let rings = rings.or_else(|| arcmass_lab::photograph::kept(notebook, &app.desk));
    let slides = runs.iter().map(|run| Slide {
        run,
        photo: rings
            .iter()
            .flat_map(|rings| &rings.photos)
            .find(|photo| photo.run.as_deref() == Some(run.run.as_str())),
        predicted: ready.as_ref().and_then(|ready| predicted(app, ready, &setting(run))),
        weighed: derived
            .as_ref()
            .and_then(|derived| derived.reduction.runs.iter().find(|entry| entry.run == run.run)),
    });
    html! {
        h1.unseen { "Board" }
        div #lesson.lesson tabindex="-1" {
            @for (at, slide) in slides.enumerate() { (of_slide(&slide, at, runs.len())) }
            (last(derived.as_deref(), chosen))
            p #board-said.unseen role="status" {}
            div.board-foot {
                p.acts {
                    button #before type="button" { "Back" } " "
                    button.main #reveal type="button" { "Next" } " "
                    button #fill type="button" { "Full screen" }
                }
                p.board-keys { kbd { "Space" } " or a clicker goes on, " kbd { "←" } " back, " kbd { "f" } " fills the screen, " kbd { "b" } " blanks it." }
            }
        }
    }
}

fn predicted(app: &App, ready: &Ready, setting: &Setting) -> Option<String> {
    one_ring::predicted(&ready.1.path(&ready.0, setting, &app.desk).ok()?)
}

fn of_slide(slide: &Slide<'_>, at: usize, of: usize) -> Markup {
    let run = slide.run;
    let setting = setting(run);
    let photo = run.ring_photo.as_deref();
    let measured = one_ring::of_table(run).or_else(|| slide.photo.and_then(one_ring::of_photo));
    let sense = if setting.field_sense < 0.0 { "-" } else { "+" };
    html! {
        article.board hidden[at > 0] data-run=(run.run) aria-label={ "Run " (run.run) } {
            p.board-run { "Run " (run.run) span { " · " (at + 1) " of " (of) } }
            div.board-sides.alone[photo.is_none()] {
                @if let Some(photo) = photo {
                    figure.board-photo data-photo=(photo) data-over=[(run.view == View::Front).then(|| format!(
                        "voltage={}&current={}&tilt={}&turned={}&sense={}",
                        setting.voltage_v, setting.current_a, setting.gun_tilt_deg, setting.bench_turned_deg, encoded(sense)
                    ))] {
                        img src={ "/photos/view?name=" (encoded(photo)) } alt={ "Photograph of the ring of run " (run.run) } loading="lazy";
                        canvas aria-hidden="true" {}
                        figcaption { span.board-legend hidden { "predicted ring dashed, measured beam as dots" } }
                    }
                }
                div.board-numbers {
                    dl.board-read {
                        div { dt { i.symbol { "V" } } dd { (fixed(run.mean_voltage_v(), -1)) " " span { "V" } } }
                        div { dt { i.symbol { "I" } } dd { (fixed(run.mean_current_a(), -3)) " " span { "A" } } }
                    }
                    dl.board-veiled data-step="guess" {
                        div { dt { label for={ "guess-" (at) } { "the class’s guess of " i.symbol { "d" } } }
                            dd { input.guess id={ "guess-" (at) } inputmode="decimal" size="4" autocomplete="off" placeholder="?"; " " span { "mm" } } }
                    }
                    dl.board-veiled data-step="predicted" {
                        div { dt { i.symbol { "d" } " predicted, accepted mass" } dd { (in_mm(slide.predicted.as_deref())) } }
                    }
                    dl.board-veiled data-step="measured" {
                        div { dt { i.symbol { "d" } " measured" } dd { (in_mm(measured.as_deref())) } }
                    }
                    dl.board-veiled data-step="mass" {
                        div { dt { i.symbol { "m" } " from this run" } dd { @match slide.weighed {
                            Some(entry) => { (plus_minus(&entry.mass_kg)) " " span { "kg" } }
                            None => { a href="/mass" { "not weighed yet: open Mass" } }
                        } } }
                    }
                }
            }
        }
    }
}

fn in_mm(diameter: Option<&str>) -> Markup {
    html! { @match diameter { Some(d) => { (d) " " span { "mm" } } None => "–" } }
}

/// All runs, the accepted value, and why they differ.
fn last(derived: Option<&Derived>, chosen: &Chosen) -> Markup {
    let Some(derived) = derived else {
        return html! {
            article.board hidden data-run="all" aria-label="All runs" {
                p.board-run { "All runs" }
                p.board-words { a href="/mass" { "Open Mass" } " first: it weighs all runs together." }
            }
        };
    };
    let input = derived.input(chosen.unit());
    let figure = arcmass_report::figures_of(&input).into_iter().find(|figure| figure.name() == "masses");
    let reduction = &derived.reduction;
    let findings = reduction.findings.iter().map(|finding| &finding.sentence);
    let why: Vec<&String> =
        findings.chain(reduction.caveats.iter().map(|caveat| &caveat.sentence)).take(REASONS).collect();
    html! {
        article.board hidden data-run="all" aria-label="All runs together" {
            p.board-run { "All runs together" }
            dl.board-read { div { dt { i.symbol { "m" } } dd { (plus_minus(&reduction.mass_kg)) " " span { "kg" } } } }
            p.board-words { "accepted: " b { (short(&reduction.reference.mass_kg)) " kg" } ", " (fixed(reduction.reference.difference_in_u.abs(), -1)) " " i.symbol { "u" } " away" }
            dl.board-veiled data-step="figure" { div { dt.unseen { "Every run" } dd.board-figure {
                @if let Some(figure) = &figure { (PreEscaped(station::figure_html(figure, "Each run with its standard uncertainty, all together as a band, the accepted value as a line."))) }
            } } }
            dl.board-veiled data-step="why" { div { dt { "Why they differ" } dd.board-why { @if why.is_empty() { "Only by the uncertainty of each." } ul { @for sentence in why { li { (chosen.sentence(sentence)) } } } } } }
        }
    }
}
