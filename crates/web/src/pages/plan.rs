//! Plan: which settings to take next, what to expect of each, and a card of it for the dark room.

use std::sync::{Arc, Mutex, PoisonError};

use arcmass_lab::photograph;
use arcmass_lab::plan::document::{PlanDocument, PlannedSetting};
use arcmass_lab::plan::{PlanQuestion, planned};
use arcmass_notebook::Notebook;
use arcmass_quantity::print;
use arcmass_report::station;
use axum::extract::{Query, State};
use axum::http::HeaderMap;
use axum::response::Response;
use maud::{Markup, PreEscaped, html};
use serde::Deserialize;

use super::figures;
use super::units::{self, Chosen};
use super::waits::{self, Kind};
use super::words::{fixed, sentence, short};
use super::{blocking, broken, next, part};
use crate::frame::{self, Station};
use crate::long::{self, Long, View};
use crate::state::{App, Snapshot};

/// Runs proposed where no number was chosen yet: as many as `arcmass plan` proposes.
const RUNS: usize = 12;
/// Most runs of one plan.
const MOST_RUNS: usize = 100;
/// Lines of the budget that are shown.
const BUDGET_SHOWN: usize = 6;

/// The plan made last, and the number of runs chosen last.
#[derive(Default)]
pub(crate) struct Kept {
    pub(crate) long: Long<PlanDocument>,
    chosen: Mutex<Option<usize>>,
}

impl Kept {
    fn runs(&self) -> usize {
        self.chosen.lock().unwrap_or_else(PoisonError::into_inner).unwrap_or(RUNS)
    }

    /// Takes the number asked for, if it is one.
    fn choose(&self, asked: Option<usize>) -> usize {
        if let Some(runs) = asked.filter(|runs| (1..=MOST_RUNS).contains(runs)) {
            *self.chosen.lock().unwrap_or_else(PoisonError::into_inner) = Some(runs);
        }
        self.runs()
    }

    /// Whether a plan stands for the folder as it is.
    pub(crate) fn is_made(&self, stamp: &str) -> bool {
        self.made(stamp).is_some()
    }

    /// The plan of the folder as it is, with the number of runs chosen last.
    pub(crate) fn made(&self, stamp: &str) -> Option<Arc<PlanDocument>> {
        self.long.done(&key(stamp, self.runs()))
    }
}

fn key(stamp: &str, runs: usize) -> String {
    format!("{stamp} {runs}")
}

/// How many runs.
#[derive(Debug, Deserialize)]
pub(crate) struct Asked {
    runs: Option<String>,
}

impl Asked {
    fn runs(&self) -> Option<usize> {
        self.runs.as_deref()?.trim().parse().ok()
    }
}

/// `/plan`.
pub(crate) async fn page(
    State(app): State<Arc<App>>,
    headers: HeaderMap,
    Query(asked): Query<Asked>,
) -> Response {
    let show = move || {
        let snapshot = app.snapshot();
        let runs = app.plan.choose(asked.runs());
        let refused = asked.runs.is_some() && asked.runs() != Some(runs);
        let body = html! {
            div.head { h1 { "Plan" } (units::choice(&headers)) }
            form.runs.screen method="get" action="/plan" {
                label for="runs" { "How many runs do you have time for? " }
                input #runs name="runs" type="number" min="1" max=(MOST_RUNS) value=(runs) required;
                button type="submit" { "Plan them" }
                @if refused { p.said role="alert" { span.fault { "A plan has 1 to " (MOST_RUNS) " runs; " (runs) " are planned." } } }
            }
            div data-live="/plan/work" { (inside(&app, &snapshot, &Chosen::of(&headers))) }
        };
        frame::page(&app, &snapshot, &headers, Station::Plan, "", &body)
    };
    blocking(show).await.unwrap_or_else(broken)
}

/// `/plan/work`: what follows the files.
pub(crate) async fn work(State(app): State<Arc<App>>, headers: HeaderMap) -> Response {
    part(app, move |app, snapshot| inside(app, snapshot, &Chosen::of(&headers))).await
}

/// The plan as it stands; begun where none is.
fn look(app: &Arc<App>, snapshot: &Snapshot, notebook: &Arc<Notebook>) -> View<PlanDocument> {
    let runs = app.plan.runs();
    let of = Arc::clone(notebook);
    let make = move |app: &App, watch: &long::Watch| {
        let rings = photograph::kept(&of, &app.desk);
        Ok(planned(&of, rings.as_ref(), PlanQuestion { runs }, &app.desk, watch)?)
    };
    long::look(app, |app| &app.plan.long, &key(&snapshot.stamp, runs), make)
}

/// The plan for a station that speaks of it in passing: none while it is made, or where none can be.
pub(super) fn at_hand(app: &Arc<App>, snapshot: &Snapshot) -> Option<Arc<PlanDocument>> {
    match look(app, snapshot, snapshot.notebook.as_ref().ok()?) {
        View::Done(plan) => Some(plan),
        View::Failed(_) | View::Waiting => None,
    }
}

fn inside(app: &Arc<App>, snapshot: &Snapshot, chosen: &Chosen) -> Markup {
    let Ok(notebook) = &snapshot.notebook else { return frame::faults(snapshot) };
    match look(app, snapshot, notebook) {
        View::Done(plan) => of_plan(app, snapshot, (notebook, &plan), chosen),
        View::Failed(trouble) => waits::failed(Kind::Plan, "No plan yet", &trouble),
        View::Waiting => waits::waiting(Kind::Plan),
    }
}

fn of_plan(
    app: &App,
    snapshot: &Snapshot,
    (notebook, plan): (&Notebook, &PlanDocument),
    chosen: &Chosen,
) -> Markup {
    let figure = arcmass_report::window(plan);
    html! {
        (next::line(app, snapshot, Station::Plan))
        (promise(plan))
        section.card aria-labelledby="card-heading" {
            h2 #card-heading { (notebook.bench.name) ": the next " (plan.settings.len()) " runs" }
            (limits(plan))
            ul.cautions { @for caution in &plan.cautions { li.caution { (sentence(caution)) } } }
            @for group in groups(plan) { (of_group(plan, group)) }
            p { "A diameter outside the go limits: stop, voltage to 0, and find the cause before the next run." }
            p.acts.screen { button type="button" data-print { "Print this card" } }
        }
        section.screen aria-labelledby="window-heading" {
            h2 #window-heading { "The window" }
            (PreEscaped(station::figure_html(&figure, "Settings at which the ring clears the glass, glows and keeps every rating, and those proposed, numbered in order.")))
            (figures::downloads("plan", "plan"))
        }
        (outlook(plan, chosen))
        @for caveat in &plan.caveats {
            div.mark.screen { p { (chosen.sentence(&caveat.sentence)) " " (chosen.sentence(&caveat.remedy)) } }
        }
    }
}

fn percent(value: f64) -> String {
    format!("{} %", fixed(value, -2))
}

/// What the mass is known to now, with these runs, and at best.
fn promise(plan: &PlanDocument) -> Markup {
    let one = |name: &str, value: String, more: &str| {
        html! { div { dt { (name) } dd { "u = " (value) @if !more.is_empty() { " " span.quiet { (more) } } } } }
    };
    html! {
        dl.figures.promise {
            @if let Some(now) = plan.expected.now_percent {
                (one("Mass now", percent(now), &format!("from {} runs", plan.runs_taken)))
            }
            (one("Mass with these runs", percent(plan.expected.as_stated_percent), ""))
            (one("… with all offsets free", percent(plan.expected.if_offsets_are_free_percent), ""))
            (one("… however many runs", percent(plan.floor.standard_uncertainty_percent), ""))
        }
    }
}

fn limits(plan: &PlanDocument) -> Markup {
    let window = &plan.window;
    let whole = |value: f64, steps: f64| (value * steps).floor() / steps;
    html! {
        p { "Never above " b.num { (window.voltage_limit_v) " V" } " and " b.num { (window.current_limit_a) " A" } ": the ratings. With the meters’ limits read at most "
            span.num { (fixed(whole(window.highest_voltage_reading_v, 1.0), 0)) " V" } " and " span.num { (fixed(whole(window.highest_current_reading_a, 100.0), -2)) " A" } "." }
    }
}

/// Settings in order, broken where leads or bench change.
fn groups(plan: &PlanDocument) -> Vec<&[PlannedSetting]> {
    plan.settings
        .chunk_by(|a, b| {
            let stands = |s: &PlannedSetting| (s.field_sense.clone(), s.bench_turned_deg, s.gun_tilt_deg);
            stands(a) == stands(b) && !plan.changes.iter().any(|change| change.before == b.order)
        })
        .collect()
}

fn of_group(plan: &PlanDocument, group: &[PlannedSetting]) -> Markup {
    let first = group.first();
    let change = first.and_then(|first| plan.changes.iter().find(|change| change.before == first.order));
    html! {
        div.group {
            @if let Some(change) = change {
                p { b { "Before run " (change.before) ":" } }
                ol { @for step in &change.steps { li { (sentence(step)) } } }
            }
            @if let Some(first) = first { p.stands { (stands(first)) } }
            div.scroll tabindex="0" role="region" aria-label={ "Proposed runs from " (first.map_or(0, |first| first.order)) " on" } {
                table.plan {
                    thead { tr {
                        th scope="col" { "Run" }
                        th.number scope="col" { i.symbol { "V" } " / V" }
                        th.number scope="col" { i.symbol { "I" } " / A" }
                        th.number scope="col" { "expect " i.symbol { "d" } " / mm" }
                        th.number scope="col" { "go from" }
                        th.number scope="col" { "to" }
                        th.blank scope="col" { "V read" }
                        th.blank scope="col" { "A read" }
                        th.blank scope="col" { "photo" }
                    } }
                    tbody { @for setting in group { (row(setting)) } }
                }
            }
        }
    }
}

fn row(setting: &PlannedSetting) -> Markup {
    let volts = fixed(setting.voltage_v, if setting.voltage_v.fract() == 0.0 { 0 } else { -1 });
    html! {
        tr {
            th scope="row" { (setting.order) }
            td.number.large { (volts) }
            td.number.large { (fixed(setting.current_a, -2)) }
            td.number { (short(&setting.expected_diameter_mm)) }
            td.number { (fixed(setting.go_from_mm, -1)) }
            td.number { (fixed(setting.go_to_mm, -1)) }
            td.blank {} td.blank {} td.blank {}
        }
    }
}

fn stands(setting: &PlannedSetting) -> String {
    let leads =
        if setting.field_sense == "-" { "leads reversed (sense −)" } else { "leads as wired (sense +)" };
    let turned = |what: &str, still: &str, deg: f64| match deg {
        0.0 => still.to_owned(),
        deg => format!("{what} rotated by {}°", print::significant(deg, 3)),
    };
    let bench = turned("bench", "bench not rotated", setting.bench_turned_deg);
    let tube = turned("tube", "tube not rotated (tilt 0)", setting.gun_tilt_deg);
    format!("With {leads}, {bench}, {tube}:")
}

fn outlook(plan: &PlanDocument, chosen: &Chosen) -> Markup {
    html! {
        section.screen aria-labelledby="outlook-heading" {
            h2 #outlook-heading { "Where the uncertainty will come from" }
            div.scroll tabindex="0" role="region" aria-label="Expected budget" { table {
                thead { tr { th scope="col" { "Input" } th.number scope="col" { "u of the mass" } th.number scope="col" { "share" } } }
                tbody { @for line in plan.budget.iter().take(BUDGET_SHOWN) {
                    tr { th scope="row" { (line.input) } td.number { (percent(line.standard_uncertainty_percent)) } td.number { (fixed(100.0 * line.share, 0)) " %" } }
                } }
            } }
            p.quiet { "Each diameter is assumed to have a standard uncertainty of " (print::significant(plan.measured_as.standard_uncertainty_mm, 2)) " mm: " (plan.measured_as.because) "." }
        }
        section.screen aria-labelledby="floor-heading" {
            h2 #floor-heading { "What no number of runs removes" }
            p { (chosen.sentence(&plan.floor.sentence)) }
            @if !plan.would_lower.is_empty() {
                p { "What would help more than further runs:" }
                div.scroll tabindex="0" role="region" aria-label="What would lower the floor" { table {
                    thead { tr { th scope="col" { "To do" } th.number scope="col" { "with these runs" } th.number scope="col" { "at best" } } }
                    tbody { @for remedy in &plan.would_lower {
                        tr { th scope="row" { (chosen.sentence(&remedy.what)) } td.number { (percent(remedy.expected_percent)) } td.number { (percent(remedy.floor_percent)) } }
                    } }
                } }
            }
        }
        section.screen aria-labelledby="apart-heading" {
            h2 #apart-heading { "Separable from m with these runs" }
            ul.apart { @for one in plan.separates.iter().filter(|one| one.is_wide) {
                li.good[one.separable].open-circle[!one.separable] {
                    @let (factor, unit) = chosen.unit().told(&one.unit);
                    (one.name) ": u = " (print::significant(factor * one.before, 2)) " " (unit) " becomes " (print::significant(factor * one.after, 2)) " " (unit)
                    span.quiet { @if one.separable { " – separable" } @else { " – not separable from m" } }
                }
            } }
        }
    }
}
