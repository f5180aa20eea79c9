//! Report: seen as it will be handed in, and taken away as files.

use std::sync::Arc;

use arcmass_report::{key_html, report_html, worksheet_html};
use axum::extract::{Query, State};
use axum::http::{HeaderMap, HeaderValue, StatusCode, header};
use axum::response::{IntoResponse, Response};
use maud::{Markup, html};
use serde::Deserialize;

use super::mass::derived;
use super::units::{self, Chosen};
use super::{blocking, broken, next, part};
use crate::frame::{self, Station};
use crate::guard::refusal;
use crate::state::{App, Snapshot};

/// The printed report carries its own style and its pictures inside, and runs nothing.
const PRINTED: &str = "default-src 'none'; style-src 'unsafe-inline'; img-src data:; sandbox allow-modals; frame-ancestors 'self'";

/// Whether the typesetter is built in; else the print dialogue makes the PDF.
const HAS_PDF: bool = cfg!(feature = "pdf");

/// `/report`.
pub(crate) async fn page(State(app): State<Arc<App>>, headers: HeaderMap) -> Response {
    let show = move || {
        let snapshot = app.snapshot();
        let body = html! { div.head { h1 { "Report" } (units::choice(&headers)) } div data-live="/report/work" { (inside(&app, &snapshot)) } };
        frame::page(&app, &snapshot, &headers, Station::Report, "", &body)
    };
    blocking(show).await.unwrap_or_else(broken)
}

fn inside(app: &Arc<App>, snapshot: &Snapshot) -> Markup {
    if let Err(instead) = derived(app, snapshot) {
        return instead;
    }
    html! {
        (next::line(app, snapshot, Station::Report))
        p.downloads {
            a.button href="/report/file?kind=html" download="report.html" { "Take the report (HTML)" } " "
            @if HAS_PDF {
                a href="/report/file?kind=pdf" download="report.pdf" { "PDF, A4" } " · "
                a href="/report/file?kind=pdf-letter" download="report.pdf" { "PDF, Letter" } " · "
            }
            a href="/report/file?kind=json" download="reduction.json" { "JSON" } " · "
            a href="/report/file?kind=csv" download="runs.csv" { "runs as CSV" } " · "
            a href="/report/preview" target="_blank" { "open alone to print" }
        }
        p.downloads { "For a class: "
            a href="/report/file?kind=worksheet" download="worksheet.html" { "worksheet, blank, with this bench’s numbers" } " · "
            a href="/report/file?kind=key" download="key.html" { "the teacher’s key" }
            span.quiet { " The print dialogue offers A4 and Letter; both fit." }
        }
        iframe.preview src="/report/preview" data-follows title="The report as it will be printed" {}
    }
}

/// `/report/work`: what follows the files.
pub(crate) async fn work(State(app): State<Arc<App>>) -> Response {
    part(app, inside).await
}

/// `/report/preview`.
pub(crate) async fn preview(State(app): State<Arc<App>>, headers: HeaderMap) -> Response {
    let chosen = Chosen::of(&headers);
    let look = frame::look(&headers);
    let make = move || {
        let derived = app.work.done(&app.snapshot().stamp)?;
        let html = report_html(&derived.input(chosen.unit())).ok()?;
        let html = in_look(&html, look);
        let mut headers = HeaderMap::new();
        headers.insert(header::CONTENT_TYPE, HeaderValue::from_static("text/html; charset=utf-8"));
        headers.insert(header::CONTENT_SECURITY_POLICY, HeaderValue::from_static(PRINTED));
        headers.insert(header::X_FRAME_OPTIONS, HeaderValue::from_static("SAMEORIGIN"));
        Some((headers, html).into_response())
    };
    let made = blocking(make).await.flatten();
    made.unwrap_or_else(|| {
        refusal(StatusCode::NOT_FOUND, "There is no report yet: open the station Report first.")
    })
}

/// The report in the page's look rather than the system's; on paper it is light whatever the look.
fn in_look(html: &str, look: &str) -> String {
    let rule = "@media screen and (prefers-color-scheme:dark)";
    html.replace(rule, if look == "light" { "@media not all" } else { "@media screen" })
}

/// Which file.
#[derive(Debug, Deserialize)]
pub(crate) struct Form {
    kind: String,
}

/// `/report/file`.
pub(crate) async fn file(
    State(app): State<Arc<App>>,
    headers: HeaderMap,
    Query(form): Query<Form>,
) -> Response {
    let chosen = Chosen::of(&headers);
    let make = move || {
        let derived = app.work.done(&app.snapshot().stamp)?;
        let typed = |mime: &'static str, text: String| ([(header::CONTENT_TYPE, mime)], text).into_response();
        let unit = chosen.unit();
        let report = || report_html(&derived.input(unit)).ok();
        match form.kind.as_str() {
            "html" => Some(taken(report()?, "report.html")),
            "worksheet" => Some(taken(worksheet_html(&derived.notebook, unit), "worksheet.html")),
            "key" => Some(taken(key_html(&derived.notebook, &derived.reduction, unit).ok()?, "key.html")),
            "pdf" => pdf(&report()?, false),
            "pdf-letter" => pdf(&report()?, true),
            "json" => Some(typed("application/json", serde_json::to_string_pretty(&derived.reduction).ok()?)),
            "csv" => Some(typed("text/csv; charset=utf-8", runs_csv(&derived.reduction.runs))),
            _ => None,
        }
    };
    blocking(make).await.map_or_else(broken, |made| {
        made.unwrap_or_else(|| {
            refusal(StatusCode::NOT_FOUND, "There is no such file yet: open the station Report first.")
        })
    })
}

/// A page to take away: it is opened from the disk; shown here it may run nothing.
fn taken(html: String, name: &'static str) -> Response {
    let mut headers = HeaderMap::new();
    headers.insert(header::CONTENT_TYPE, HeaderValue::from_static("text/html; charset=utf-8"));
    headers.insert(header::CONTENT_SECURITY_POLICY, HeaderValue::from_static(PRINTED));
    if let Ok(value) = HeaderValue::from_str(&format!("attachment; filename=\"{name}\"")) {
        headers.insert(header::CONTENT_DISPOSITION, value);
    }
    (headers, html).into_response()
}

/// The page as set by the typesetter.
#[cfg(feature = "pdf")]
fn pdf(html: &str, is_letter: bool) -> Option<Response> {
    let paper = if is_letter { arcmass_pdf::Paper::Letter } else { arcmass_pdf::Paper::A4 };
    let name = HeaderValue::from_static("attachment; filename=\"report.pdf\"");
    let kind = HeaderValue::from_static("application/pdf");
    let headers = [(header::CONTENT_TYPE, kind), (header::CONTENT_DISPOSITION, name)];
    match arcmass_pdf::pdf(html, paper) {
        Ok(bytes) => Some((headers, bytes).into_response()),
        Err(fault) => Some(refusal(StatusCode::INTERNAL_SERVER_ERROR, &fault.to_string())),
    }
}

#[cfg(not(feature = "pdf"))]
fn pdf(_: &str, _: bool) -> Option<Response> {
    None
}

fn runs_csv(runs: &[arcmass_lab::document::RunEntry]) -> String {
    let mut text = String::from(
        "run,voltage_V,u_voltage_V,current_A,u_current_A,flux_density_mT,u_flux_density_mT,ring_diameter_mm,u_ring_diameter_mm,mass_kg,u_mass_kg,textbook_mass_kg,residual_mm,struck\n",
    );
    for run in runs {
        let name = if run.run.contains([',', '"']) {
            format!("\"{}\"", run.run.replace('"', "\"\""))
        } else {
            run.run.clone()
        };
        let parts = [run.voltage_v, run.current_a, run.flux_density_mt, run.ring_diameter_mm, run.mass_kg];
        let cells = parts.map(|q| format!("{},{}", q.value, q.standard_uncertainty)).join(",");
        text.push_str(&format!(
            "{name},{cells},{},{},{}\n",
            run.textbook_mass_kg, run.residual_mm, run.r#struck
        ));
    }
    text
}
