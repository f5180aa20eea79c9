//! The line at the head of each station: what is left here, and where the day goes on. One source of advice for all of them.

use std::sync::Arc;

use arcmass_lab::document::PhotoStatus;
use arcmass_notebook::Notebook;
use arcmass_quantity::print;
use maud::{Markup, html};

use super::words::sentence;
use super::{bench_words, matching, photos, plan};
use crate::frame::Station;
use crate::state::{App, Snapshot};

/// What is left at one station.
struct Left {
    /// How many things; 0: it is complete.
    count: usize,
    /// In words, such as `mean radius, separation`.
    what: String,
}

impl Left {
    fn none() -> Self {
        Self { count: 0, what: String::new() }
    }

    fn of(names: &[String]) -> Self {
        Self { count: names.len(), what: names.join(", ") }
    }
}

/// Numbers without which there is no field at all, then the ratings.
fn bench(notebook: &Notebook) -> Left {
    let bench = &notebook.bench;
    let pair = bench.pair.as_ref();
    let stated = |table, key| {
        arcmass_notebook::edit::bench_value(&bench.source, table, key).is_some_and(|value| !value.is_empty())
    };
    let has_field = !bench.coil_list.is_empty()
        || pair.is_some_and(|pair| pair.field_per_ampere.is_some())
        || notebook.probe_tables.iter().any(|table| !table.rows.is_empty())
        || notebook.balance.is_some();
    let radius = if stated("coils", "mean_half_side") { "mean_half_side" } else { "mean_radius" };
    let sizes = [("coils", radius), ("coils", "separation"), ("coils", "turns")];
    let ratings = [("coils", "current_limit"), ("gun", "voltage_limit")];
    let needed = sizes
        .into_iter()
        .filter(|_| !has_field)
        .chain(ratings.into_iter().filter(|_| bench.coil_list.is_empty()));
    let missing = needed.filter(|(table, key)| !stated(table, key));
    Left::of(
        &missing.map(|(table, key)| bench_words::wording(table, key).0.to_lowercase()).collect::<Vec<_>>(),
    )
}

fn readings(app: &App, notebook: &Notebook) -> Left {
    let runs = notebook.readings.as_ref().map_or(&[][..], |readings| &readings.runs);
    if runs.is_empty() {
        return Left { count: 1, what: "the first reading: voltage and current".to_owned() };
    }
    let waiting: Vec<&str> = runs
        .iter()
        .filter(|run| !run.is_struck() && run.ring_photo.is_none() && run.diameter.is_none())
        .map(|run| run.run.as_str())
        .collect();
    if !waiting.is_empty() {
        let runs = if waiting.len() == 1 { "run" } else { "runs" };
        return Left {
            count: waiting.len(),
            what: format!("a photograph or a diameter for {runs} {}", waiting.join(", ")),
        };
    }
    let free = matching::unmatched(app, &photos::names(app));
    match free {
        0 => Left::none(),
        1 => Left { count: 1, what: "a photograph that belongs to no run".to_owned() },
        many => Left { count: many, what: "photographs that belong to no run".to_owned() },
    }
}

/// Photographs whose beam or scale waits for a person, the first of them last.
fn ring(app: &App, snapshot: &Snapshot) -> (Left, Option<String>) {
    let derived = app.work.done(&snapshot.stamp);
    let Some(rings) = derived.as_ref().and_then(|derived| derived.rings.as_ref()) else {
        return (Left::none(), None);
    };
    let unsure = rings
        .photos
        .iter()
        .filter(|photo| photo.status == PhotoStatus::Unsure)
        .map(|photo| photo.photo.clone());
    let waiting: Vec<String> = rings.failed.iter().map(|photo| photo.photo.clone()).chain(unsure).collect();
    (Left::of(&waiting), waiting.first().cloned())
}

/// The line of a station.
pub(super) fn line(app: &App, snapshot: &Snapshot, here: Station) -> Markup {
    let Ok(notebook) = &snapshot.notebook else { return html! {} };
    let has_runs = notebook.readings.as_ref().is_some_and(|readings| !readings.runs.is_empty());
    let (ring_left, ring_first) = ring(app, snapshot);
    let left = match here {
        Station::Bench => bench(notebook),
        Station::Readings => readings(app, notebook),
        Station::Ring => ring_left,
        _ => Left::none(),
    };
    let to = match here {
        Station::Bench if !has_runs => ("/readings".to_owned(), "Readings"),
        Station::Field if bench(notebook).count > 0 => ("/bench".to_owned(), "Bench"),
        Station::Field => ("/plan".to_owned(), "Plan"),
        Station::Plan => ("/readings".to_owned(), "Readings"),
        Station::Bench | Station::Readings | Station::Ring => {
            match ring_first.filter(|_| here != Station::Bench) {
                Some(photo) => (format!("/ring?name={}", photos::encoded(&photo)), "Ring"),
                None => ("/mass".to_owned(), "Mass"),
            }
        }
        Station::Path | Station::Report => ("/board".to_owned(), "Board"),
        Station::Mass | Station::Board => ("/report".to_owned(), "Report"),
    };
    html! {
        p.next-step {
            @if left.count > 0 { span { b { (left.count) " left" } ": " (left.what) "." } }
            @else if matches!(here, Station::Bench | Station::Readings | Station::Ring) { span.good { "Nothing is left here." } }
            " " a href=(to.0) { "Next: " (to.1) " →" }
        }
    }
}

/// What would make the mass better known: the same words wherever they stand, from the plan alone.
///
/// The plan is made where none stands yet; until then nothing is said.
pub(super) fn better(app: &Arc<App>, snapshot: &Snapshot) -> Markup {
    let Some(plan) = plan::at_hand(app, snapshot) else {
        return html! { p.next-step { span.quiet { "What would make it better is being worked out …" } " " a href="/plan" { "Plan →" } } };
    };
    let now = plan.expected.now_percent;
    let with_runs = plan.expected.as_stated_percent;
    let percent = |value: f64| print::significant(value, 2);
    html! {
        p.next-step {
            span { b { "To do better: " }
                @match plan.would_lower.first() {
                    Some(remedy) => { (sentence(&remedy.what)) " The standard uncertainty of the mass is then " (percent(remedy.floor_percent)) " % at best"
                        @if let Some(now) = now { ", now " (percent(now)) " %" } "." },
                    None => { "nothing known here would lower it by more than a little." },
                }
                @if now.is_some_and(|now| with_runs > 0.95 * now) { " Further runs alone hardly lower it." }
            }
            " " a href="/plan" { "Plan →" }
        }
    }
}
