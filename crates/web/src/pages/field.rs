//! Field: the line from current to flux density, its residuals, and every way to the same number beside the others.

use std::sync::Arc;

use arcmass_lab::document::{FieldDocument, Q};
use arcmass_lab::field::{FieldQuestion, field};
use arcmass_report::figure::Figure;
use arcmass_report::{field_figures, station};
use axum::extract::State;
use axum::http::HeaderMap;
use axum::response::Response;
use maud::{Markup, PreEscaped, html};

use super::figures::downloads;
use super::units::{self, Chosen};
use super::words::{fixed, sentence};
use super::{blocking, broken, field_table, next, part};
use crate::frame::{self, Station};
use crate::long::Trouble;
use crate::state::{App, Snapshot};

/// `/field`.
pub(crate) async fn page(State(app): State<Arc<App>>, headers: HeaderMap) -> Response {
    let show = move || {
        let snapshot = app.snapshot();
        let body = html! {
            div.head { h1 { "Field" } (units::choice(&headers)) }
            (field_table::entry(&app))
            div data-live="/field/work" { (inside(&app, &snapshot, &headers)) }
        };
        frame::page(&app, &snapshot, &headers, Station::Field, "field.js", &body)
    };
    blocking(show).await.unwrap_or_else(broken)
}

/// `/field/work`.
pub(crate) async fn work(State(app): State<Arc<App>>, headers: HeaderMap) -> Response {
    part(app, move |app, snapshot| inside(app, snapshot, &headers)).await
}

fn document(app: &App, snapshot: &Snapshot) -> Result<FieldDocument, Markup> {
    let notebook = snapshot.notebook.as_ref().map_err(|_| frame::faults(snapshot))?;
    field(notebook, &FieldQuestion { with_map: true, ..FieldQuestion::default() }, &app.desk).map_err(|fault| {
        let trouble = Trouble::from(fault);
        html! {
            section.faults { h2.caution { "No field yet" } p { (sentence(&trouble.sentence)) } p { b { "To do: " } (sentence(&trouble.remedy)) } }
        }
    })
}

fn inside(app: &App, snapshot: &Snapshot, headers: &HeaderMap) -> Markup {
    let (look, chosen) = (frame::look(headers), Chosen::of(headers));
    let document = document(app, snapshot);
    let figures = document.as_ref().map(|document| all(document, &chosen)).unwrap_or_default();
    let line = figures.iter().find(|figure| figure.name() == "field");
    html! {
        (next::line(app, snapshot, Station::Field))
        @if let Ok(document) = &document {
            p.result-line { "Coil constant in use: " b.large { (chosen.per_ampere(&document.field_per_ampere_mt_per_a)) } }
        }
        div.field-first {
            (field_table::tables(app))
            div.field-line {
                @if let Some(figure) = line {
                    (PreEscaped(station::figure_html(figure, figure.title())))
                    (downloads("field", figure.name()))
                } @else { p.quiet { (waits_for(&document)) } }
            }
        }
        @match &document {
            Err(instead) => (instead),
            Ok(document) => (found(document, &chosen)),
        }
        div.maps {
            @for figure in figures.iter().filter(|figure| figure.name() != "field") {
                @let name = figure.name();
                div {
                    // a map has thousands of cells: shown as a picture of its own, its numbers in the file beside it
                    figure.drawn { img.figure src={ "/figure?of=field&kind=" (look) "&name=" (name) } data-figure=(name) alt=(figure.description()) loading="lazy" width="620"; figcaption { (figure.title()) } }
                    (downloads("field", name))
                }
            }
        }
    }
}

/// How many readings make a line.
fn waits_for(document: &Result<FieldDocument, Markup>) -> String {
    match document.as_ref().map_or(0, |document| document.line.len()) {
        0 => {
            "The line from current to flux density is drawn here from two readings at different currents on."
                .to_owned()
        }
        _ => "One more reading at another current makes a line.".to_owned(),
    }
}

fn found(document: &FieldDocument, chosen: &Chosen) -> Markup {
    html! {
        section aria-labelledby="ways-heading" { h2 #ways-heading { "Every way to it" } (ways(document, chosen)) }
        section aria-labelledby="around-heading" {
            h2 #around-heading { "Without coil current, and over the ring" }
            p { "Background along x, y, z: " @for (i, q) in document.background_mt.iter().enumerate() { @if i > 0 { ", " } (chosen.background(q)) } "." }
            @if let Some(uniform) = &document.uniformity {
                p { "Over a ring of " (fixed(uniform.ring_diameter_mm, 0)) " mm the coils' field differs from the centre's by " (fixed(uniform.mean_deviation_percent, -2)) " % in the mean and " (fixed(uniform.largest_deviation_percent, -2)) " % at most." }
            }
        }
        @for caveat in &document.caveats {
            div.mark { p { (chosen.sentence(&caveat.sentence)) " " (chosen.sentence(&caveat.remedy)) } }
        }
    }
}

fn ways(document: &FieldDocument, chosen: &Chosen) -> Markup {
    let row = |name: &str, q: &Option<Q>| {
        html! {
            @if let Some(q) = q { tr { th scope="row" { (name) } td.number { (chosen.per_ampere(q)) } } }
        }
    };
    html! {
        table.ways {
            thead { tr { th scope="col" { "Way" } th.number scope="col" { "coil constant" } } }
            tbody {
                (row("coil geometry", &document.geometry_mt_per_a))
                (row("probe", &document.probe_mt_per_a))
                (row("current balance", &document.balance_mt_per_a))
                (row("stated", &document.stated_mt_per_a))
            }
        }
        @if let Some(apart) = document.probe_minus_geometry_in_u {
            p { "Probe minus geometry: " (fixed(apart, -1)) " " i.symbol { "u" } @if apart.abs() > 3.0 { ". " span.caution { "They disagree: one of them is wrong, and the mass with it." } } @else { ". They agree." } }
        }
    }
}

/// Every figure of the field, once a person asks for its file.
pub(crate) fn figures(app: &App, snapshot: &Snapshot, chosen: &Chosen) -> Vec<Figure> {
    document(app, snapshot).map(|document| all(&document, chosen)).unwrap_or_default()
}

fn all(document: &FieldDocument, chosen: &Chosen) -> Vec<Figure> {
    field_figures::all(document).into_iter().map(|(_, figure)| figure.in_field_unit(chosen.unit())).collect()
}
