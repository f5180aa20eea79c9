//! Figures to take away: each as a picture of its own or as the table of its data.

use std::sync::Arc;

use arcmass_report::figure::{Figure, HAS_PNG, Theme};
use axum::extract::{Query, State};
use axum::http::{HeaderMap, StatusCode, header};
use axum::response::{IntoResponse, Response};
use maud::{Markup, html};
use serde::Deserialize;

use super::units::Chosen;
use super::{blocking, field};
use crate::guard::refusal;
use crate::state::App;

/// Which figure, in which form.
#[derive(Debug, Deserialize)]
pub(crate) struct Form {
    /// The station it stands on.
    of: String,
    name: String,
    /// `svg`, `csv`, `png` where that is built in, or the look of the page it is shown on.
    kind: String,
}

/// `/figure`.
pub(crate) async fn figure(
    State(app): State<Arc<App>>,
    headers: HeaderMap,
    Query(form): Query<Form>,
) -> Response {
    let make = move || {
        let figures = of_station(&app, &form.of, &Chosen::of(&headers));
        figures.iter().find(|figure| figure.name() == form.name).map(|figure| as_file(figure, &form.kind))
    };
    let file = blocking(make).await.flatten();
    file.unwrap_or_else(|| {
        refusal(StatusCode::NOT_FOUND, "There is no such figure yet: open its station first.")
    })
}

fn of_station(app: &App, station: &str, chosen: &Chosen) -> Vec<Figure> {
    let snapshot = app.snapshot();
    match station {
        "field" => field::figures(app, &snapshot, chosen),
        "plan" => {
            app.plan.made(&snapshot.stamp).map(|plan| arcmass_report::window(&plan)).into_iter().collect()
        }
        "mass" => app
            .work
            .done(&snapshot.stamp)
            .map(|derived| arcmass_report::figures_of(&derived.input(chosen.unit())))
            .unwrap_or_default(),
        _ => Vec::new(),
    }
}

/// Links to the forms of one figure.
pub(crate) fn downloads(of: &str, name: &str) -> Markup {
    let link = |kind: &str| format!("/figure?of={of}&name={name}&kind={kind}");
    html! {
        p.downloads.screen { "This figure: "
            a href=(link("svg")) download={ (name) ".svg" } { "SVG" } ", "
            a href=(link("csv")) download={ (name) ".csv" } { "CSV" }
            @if HAS_PNG { ", " a href=(link("png")) download={ (name) ".png" } { "PNG" } }
        }
    }
}

/// A figure as SVG, on dark ground where the page is dark, or as a table of its data.
pub(crate) fn as_file(figure: &Figure, kind: &str) -> Response {
    if kind == "csv" {
        return ([(header::CONTENT_TYPE, "text/csv; charset=utf-8")], csv(figure)).into_response();
    }
    if kind == "png" {
        return match figure.to_png(Theme::Light) {
            Ok(png) => ([(header::CONTENT_TYPE, "image/png")], png).into_response(),
            Err(fault) => refusal(StatusCode::NOT_FOUND, &format!("No PNG: {fault}.")),
        };
    }
    let theme = if matches!(kind, "dark" | "dim") { Theme::Dark } else { Theme::Light };
    // a picture of its own: its style is its own too, and so is a photograph in it; it may load and run nothing
    let policy = "default-src 'none'; style-src 'unsafe-inline'; img-src data:; sandbox";
    let headers = [(header::CONTENT_TYPE, "image/svg+xml"), (header::CONTENT_SECURITY_POLICY, policy)];
    (headers, figure.to_svg_file(theme)).into_response()
}

/// One table below the other, a blank line between (RFC 4180 within each).
fn csv(figure: &Figure) -> String {
    let line = |row: &Vec<String>| row.iter().map(|cell| quoted(cell)).collect::<Vec<_>>().join(",");
    let table = |table: &arcmass_report::figure::TextTable| {
        std::iter::once(&table.columns).chain(&table.rows).map(line).collect::<Vec<_>>().join("\n")
    };
    figure.tables().iter().map(table).collect::<Vec<_>>().join("\n\n")
}

fn quoted(cell: &str) -> String {
    if cell.contains([',', '"', '\n']) {
        format!("\"{}\"", cell.replace('"', "\"\""))
    } else {
        cell.to_owned()
    }
}
