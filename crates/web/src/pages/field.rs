//! Field: the line from current to flux density, its residuals, and every way to the same number beside the others.

use std::sync::Arc;

use arcmass_lab::document::{FieldDocument, Q};
use arcmass_lab::field::{FieldQuestion, field};
use arcmass_report::figure::{Figure, Theme};
use arcmass_report::{field_figures, station};
use axum::extract::{Query, State};
use axum::http::{HeaderMap, StatusCode, header};
use axum::response::{IntoResponse, Response};
use maud::{Markup, PreEscaped, html};
use serde::Deserialize;

use super::words::{fixed, sentence, short};
use super::{blocking, broken, part};
use crate::frame::{self, Station};
use crate::guard::refusal;
use crate::state::{App, Snapshot};
use crate::work::Trouble;

/// `/field`.
pub(crate) async fn page(State(app): State<Arc<App>>, headers: HeaderMap) -> Response {
    let show = move || {
        let snapshot = app.snapshot();
        let body = html! { h1 { "Field" } div data-live="/field/work" { (inside(&app, &snapshot, frame::look(&headers))) } };
        frame::page(&app, &snapshot, &headers, Station::Field, "", &body)
    };
    blocking(show).await.unwrap_or_else(broken)
}

/// `/field/work`.
pub(crate) async fn work(State(app): State<Arc<App>>, headers: HeaderMap) -> Response {
    part(app, move |app, snapshot| inside(app, snapshot, frame::look(&headers))).await
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

fn inside(app: &App, snapshot: &Snapshot, look: &str) -> Markup {
    let document = match document(app, snapshot) {
        Ok(document) => document,
        Err(instead) => return instead,
    };
    html! {
        p.result-line { "Field per ampere in use: " b.large { (short(&document.field_per_ampere_mt_per_a)) " mT/A" } }
        (ways(&document))
        @for (name, figure) in field_figures::all(&document) {
            @if name == "field-line" {
                (PreEscaped(station::figure_html(&figure, figure.title())))
            } @else {
                // a map has thousands of cells: shown as a picture of its own, its numbers in the file beside it
                figure.drawn { img.figure src={ "/field/figure?kind=" (look) "&name=" (name) } alt=(figure.description()) loading="lazy" width="620"; figcaption { (figure.title()) } }
            }
            p.downloads { "This figure: " a href={ "/field/figure?kind=svg&name=" (name) } download={ (name) ".svg" } { "SVG" } ", " a href={ "/field/figure?kind=csv&name=" (name) } download={ (name) ".csv" } { "CSV" } }
        }
        @if document.line.is_empty() {
            p.empty { "No probe table: the field rests on the coils' sizes or a stated constant. Type current against flux density into " code { "field-probe.csv" } " to check it." }
        }
        section aria-labelledby="around-heading" {
            h2 #around-heading { "Without coil current, and over the ring" }
            p { "Background along x, y, z: " @for (i, q) in document.background_mt.iter().enumerate() { @if i > 0 { ", " } (short(&q.times(1e3))) " µT" } "." }
            @if let Some(uniform) = &document.uniformity {
                p { "Over a ring of " (fixed(uniform.ring_diameter_mm, 0)) " mm the coils' field differs from the centre's by " (fixed(uniform.mean_deviation_percent, -2)) " % in the mean and " (fixed(uniform.largest_deviation_percent, -2)) " % at most." }
            }
        }
        @for caveat in &document.caveats {
            div.mark { p { (sentence(&caveat.sentence)) " " (sentence(&caveat.remedy)) } }
        }
    }
}

fn ways(document: &FieldDocument) -> Markup {
    let row = |name: &str, q: &Option<Q>| {
        html! {
            @if let Some(q) = q { tr { th scope="row" { (name) } td.number { (short(q)) } } }
        }
    };
    html! {
        table.ways {
            thead { tr { th scope="col" { "Way" } th.number scope="col" { "mT/A" } } }
            tbody {
                (row("coils' sizes", &document.geometry_mt_per_a))
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

/// Which form of the figure.
#[derive(Debug, Deserialize)]
pub(crate) struct Form {
    kind: String,
    name: String,
}

/// `/field/figure`: the figure as a file.
pub(crate) async fn figure(State(app): State<Arc<App>>, Query(form): Query<Form>) -> Response {
    let make = move || {
        let snapshot = app.snapshot();
        let document = document(&app, &snapshot).ok()?;
        let figures = field_figures::all(&document);
        figures.iter().find(|(name, _)| *name == form.name).map(|(_, figure)| as_file(figure, &form.kind))
    };
    let file = blocking(make).await.flatten();
    file.unwrap_or_else(|| refusal(StatusCode::NOT_FOUND, "There is no such figure."))
}

/// A figure as SVG, on dark ground where the page is dark, or as a table of its data.
pub(crate) fn as_file(figure: &Figure, kind: &str) -> Response {
    if kind == "csv" {
        let lines = figure.tables().into_iter().map(|table| {
            let rows = std::iter::once(table.columns.clone()).chain(table.rows.clone());
            rows.map(|row| row.iter().map(|cell| quoted(cell)).collect::<Vec<_>>().join(","))
                .collect::<Vec<_>>()
                .join("\n")
        });
        let text = lines.collect::<Vec<_>>().join("\n\n");
        return ([(header::CONTENT_TYPE, "text/csv; charset=utf-8")], text).into_response();
    }
    let theme = if matches!(kind, "dark" | "dim") { Theme::Dark } else { Theme::Light };
    // a picture of its own: its style is its own too, and it may load and run nothing
    let policy = "default-src 'none'; style-src 'unsafe-inline'; sandbox";
    let headers = [(header::CONTENT_TYPE, "image/svg+xml"), (header::CONTENT_SECURITY_POLICY, policy)];
    (headers, figure.to_svg_file(theme)).into_response()
}

fn quoted(cell: &str) -> String {
    if cell.contains([',', '"', '\n']) {
        format!("\"{}\"", cell.replace('"', "\"\""))
    } else {
        cell.to_owned()
    }
}
