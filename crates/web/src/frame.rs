//! What every station shares: the day's line across the top, cautions, look, keys.

use arcmass_lab::check::check;
use axum::http::{HeaderMap, header};
use axum::response::{IntoResponse, Response};
use maud::{DOCTYPE, Markup, PreEscaped, html};

use crate::guard::cookie;
use crate::state::{App, Snapshot};

/// The stations in the order of the day.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Station {
    Bench,
    Field,
    Plan,
    Readings,
    Ring,
    Mass,
    Path,
    Board,
    Report,
}

impl Station {
    pub(crate) const ALL: [Self; 9] = [
        Self::Bench,
        Self::Field,
        Self::Plan,
        Self::Readings,
        Self::Ring,
        Self::Mass,
        Self::Path,
        Self::Board,
        Self::Report,
    ];

    pub(crate) fn name(self) -> &'static str {
        match self {
            Self::Bench => "Bench",
            Self::Field => "Field",
            Self::Plan => "Plan",
            Self::Readings => "Readings",
            Self::Ring => "Ring",
            Self::Mass => "Mass",
            Self::Path => "Path",
            Self::Board => "Board",
            Self::Report => "Report",
        }
    }

    pub(crate) fn address(self) -> &'static str {
        match self {
            Self::Bench => "/bench",
            Self::Field => "/field",
            Self::Plan => "/plan",
            Self::Readings => "/readings",
            Self::Ring => "/ring",
            Self::Mass => "/mass",
            Self::Path => "/path",
            Self::Board => "/board",
            Self::Report => "/report",
        }
    }
}

/// How far a station's part of the notebook is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Dot {
    Open,
    Full,
    Person,
}

fn dot(app: &App, snapshot: &Snapshot, station: Station) -> Dot {
    let Ok(notebook) = &snapshot.notebook else {
        let faults = snapshot.notebook.as_ref().err().map_or(&[][..], |faults| &faults.0);
        let of = |file: &str| faults.iter().any(|fault| fault.file.starts_with(file));
        let needs = match station {
            Station::Bench => of("bench.toml"),
            Station::Field => of("field-"),
            Station::Readings => of("readings.csv") || of("photos/"),
            Station::Ring => of("marks/"),
            _ => false,
        };
        return if needs { Dot::Person } else { Dot::Open };
    };
    let lacks = check(notebook, &app.desk).lacks;
    let lacking = |command: &str| lacks.iter().any(|lack| lack.is_needed && lack.command == command);
    let runs = notebook.readings.as_ref().map_or(&[][..], |readings| &readings.runs);
    let full = |is_full: bool| if is_full { Dot::Full } else { Dot::Open };
    match station {
        Station::Bench | Station::Path => full(!lacking("path")),
        Station::Field => full(notebook.probe_tables.iter().any(|table| !table.rows.is_empty())),
        Station::Readings => full(!runs.is_empty()),
        Station::Ring => {
            let named = runs.iter().filter_map(|run| run.ring_photo.as_deref());
            let mut missing = named.filter(|name| !notebook.root.join("photos").join(name).is_file());
            match missing.next() {
                Some(_) => Dot::Person,
                None => full(runs.iter().any(|run| run.ring_photo.is_some())),
            }
        }
        Station::Plan if lacking("plan") => Dot::Open,
        Station::Plan => full(app.plan.is_made(&snapshot.stamp)),
        Station::Mass if app.work.has_failed(&snapshot.stamp) => Dot::Person,
        Station::Mass | Station::Report | Station::Board => full(app.work.done(&snapshot.stamp).is_some()),
    }
}

/// Dark, light or dim, from the cookie the page's own script sets.
pub(crate) fn look(headers: &HeaderMap) -> &'static str {
    match cookie(headers, "arcmass-look").as_deref() {
        Some("light") => "light",
        Some("dim") => "dim",
        _ => "dark",
    }
}

/// A whole page of a station.
pub(crate) fn page(
    app: &App,
    snapshot: &Snapshot,
    headers: &HeaderMap,
    station: Station,
    script: &str,
    body: &Markup,
) -> Response {
    let name = snapshot
        .notebook
        .as_ref()
        .map_or_else(|_| "notebook with faults".to_owned(), |n| n.bench.name.clone());
    let body = html! {
        body.{ "at-" (station.name().to_lowercase()) } {
            a.skip href="#work" { "To the work" }
            header.day {
                p.bench-name {
                    @if is_here(headers) { a href="/start" title="Notebooks" { (name) } } @else { (name) }
                }
                (line(app, snapshot, station))
                button #look type="button" title="Key: d" { "Dark, light, dim" }
            }
            p #outside role="status" hidden {}
            main #work tabindex="-1" { (body) }
            (foot(keys(station)))
        }
    };
    whole(headers, &format!("{} · {name}", station.name()), script, &snapshot.stamp, &app.id(), &body)
}

/// The page before a notebook is open.
pub(crate) fn threshold(headers: &HeaderMap, script: &str, body: &Markup) -> Response {
    let body = html! {
        body.at-start {
            a.skip href="#work" { "To the work" }
            header.day { p.bench-name { "arcmass" } span {} button #look type="button" title="Key: d" { "Dark, light, dim" } }
            p #outside role="status" hidden {}
            main #work tabindex="-1" { (body) }
            (foot(html! { "Key: " kbd { "d" } " changes between dark, light and dim." }))
        }
    };
    whole(headers, "Notebooks · arcmass", script, "", "", &body)
}

/// Whether the page is looked at on the machine that serves it, by the name it was asked under.
fn is_here(headers: &HeaderMap) -> bool {
    let host = headers.get(header::HOST).and_then(|host| host.to_str().ok()).unwrap_or_default();
    ["127.0.0.1:", "localhost:", "[::1]:"].iter().any(|own| host.starts_with(own))
}

/// The page's keys; on the Board a clicker's come before those that change the station.
fn keys(station: Station) -> Markup {
    html! {
        "Keys: "
        @if station != Station::Board { kbd { "," } " and " kbd { "." } " go to the station before and after, " }
        kbd { "d" } " changes between dark, light and dim."
    }
}

fn foot(keys: Markup) -> Markup {
    html! {
        footer.foot {
            details {
                summary { "Before you touch the bench" }
                (PreEscaped(arcmass_report::station::cautions()))
            }
            p.quiet { (keys) }
        }
    }
}

fn whole(
    headers: &HeaderMap,
    title: &str,
    script: &str,
    stamp: &str,
    notebook: &str,
    body: &Markup,
) -> Response {
    let page = html! {
        (DOCTYPE)
        html lang="en" data-theme=(look(headers)) data-stamp=(stamp) data-notebook=(notebook) {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                meta name="color-scheme" content="dark light";
                title { (title) }
                link rel="stylesheet" href="/assets/page.css";
                link rel="icon" href="/mark.svg" type="image/svg+xml";
                script type="module" src="/assets/page.js" {}
                @if !script.is_empty() { script type="module" src={ "/assets/" (script) } {} }
            }
            (body)
        }
    };
    ([(header::CONTENT_TYPE, "text/html; charset=utf-8")], page.into_string()).into_response()
}

fn line(app: &App, snapshot: &Snapshot, here: Station) -> Markup {
    html! {
        nav.line aria-label="Stations of the day" {
            ol {
                @for station in Station::ALL {
                    @let dot = dot(app, snapshot, station);
                    li {
                        a href=(station.address()) aria-current=[(station == here).then_some("page")] {
                            (mark(dot))
                            span { (station.name()) }
                            @match dot {
                                Dot::Full => span.unseen { ", complete" },
                                Dot::Person => span.unseen { ", needs you" },
                                Dot::Open => {},
                            }
                        }
                    }
                }
            }
        }
    }
}

fn mark(dot: Dot) -> Markup {
    html! {
        svg.dot viewBox="0 0 12 12" width="12" height="12" aria-hidden="true" {
            @match dot {
                Dot::Open => circle cx="6" cy="6" r="4.2" class="dot-open" {},
                Dot::Full => circle cx="6" cy="6" r="4.7" class="dot-full" {},
                Dot::Person => path d="M6 1L11.4 10.6H.6Z" class="dot-person" {},
            }
        }
    }
}

/// All faults of a notebook that can't be read, where no station has a better place for them.
pub(crate) fn faults(snapshot: &Snapshot) -> Markup {
    let list = snapshot.notebook.as_ref().err().map_or(&[][..], |faults| &faults.0);
    html! {
        @if !list.is_empty() {
            section.faults aria-labelledby="faults-heading" {
                h2 #faults-heading.caution { "The notebook can't be read as it stands" }
                ul {
                    @for fault in list.iter().take(40) {
                        li {
                            b { (fault.file) @if let Some(line) = fault.line { ", line " (line) } } ": " (fault.found) "."
                            br; "What may stand there: " (fault.accepted) ". "
                            "To do: " (fault.remedy) "."
                            @if let Some(excerpt) = &fault.excerpt { pre { (excerpt.text) } }
                        }
                    }
                }
            }
        }
    }
}
