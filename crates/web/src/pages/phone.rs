//! A phone on the same network: a code to scan, good once.

use std::net::SocketAddr;
use std::sync::Arc;
use std::time::Instant;

use axum::extract::{ConnectInfo, Query, State};
use axum::http::{StatusCode, header};
use axum::response::{IntoResponse, Response};
use fast_qr::QRBuilder;
use maud::{Markup, PreEscaped, html};
use serde::Deserialize;

use crate::guard::{enter, refusal};
use crate::keys::CodeAnswer;
use crate::state::App;

/// The code a phone brings.
#[derive(Debug, Deserialize)]
pub(crate) struct Code {
    #[serde(default)]
    code: String,
}

/// `/join`: a code becomes a session, once.
pub(crate) async fn join(
    State(app): State<Arc<App>>,
    ConnectInfo(peer): ConnectInfo<SocketAddr>,
    Query(code): Query<Code>,
) -> Response {
    match app.door.keys.by_code(&code.code, Instant::now()) {
        CodeAnswer::Session(session) if app.door.is_here(peer) => enter(&app.door, &session, "/"),
        // a phone is there for its photographs
        CodeAnswer::Session(session) => enter(&app.door, &session, "/readings#photos-heading"),
        CodeAnswer::Used => {
            refusal(StatusCode::UNAUTHORIZED, "This code was used already. Show a new one at the Readings.")
        }
        CodeAnswer::Unknown => refusal(
            StatusCode::UNAUTHORIZED,
            "This code is unknown or too old. Show a new one at the Readings.",
        ),
    }
}

/// Where a code is shown, or why there is none.
pub(crate) fn panel(app: &App) -> Markup {
    html! {
        details.phone {
            summary { "Photographs from a phone" }
            @if app.door.outside.is_some() {
                div #phone { button type="button" data-phone { "Show a code to scan" } }
                p.quiet { "The code works once and for ten minutes. The connection is not encrypted: use it on the laboratory's own network." }
            } @else {
                p { "This page is shown to this machine only. To let a phone on the same network in, stop it and start it with " code { "arcmass serve --listen" } "." }
            }
        }
    }
}

/// `/phone`: a fresh code as a picture and in letters.
pub(crate) async fn phone(State(app): State<Arc<App>>) -> Response {
    let Some(outside) = &app.door.outside else {
        return refusal(StatusCode::NOT_FOUND, "This page is shown to this machine only.");
    };
    let Some(code) = app.door.keys.code(Instant::now()) else { return super::broken() };
    let link = format!("{outside}/join?code={code}");
    let body = html! {
        (picture(&link))
        p { "Scan it, or open " code { (outside) "/join?code=" (code) } }
        button type="button" data-phone { "Show another code" }
    };
    ([(header::CONTENT_TYPE, "text/html; charset=utf-8")], body.into_string()).into_response()
}

/// The code as dark squares on a light ground with a quiet rim of four, whatever the look.
fn picture(link: &str) -> Markup {
    let Ok(code) = QRBuilder::new(link).build() else { return html! {} };
    let size = code.size;
    let mut path = String::new();
    for y in 0..size {
        for x in 0..size {
            if code[y][x].value() {
                path.push_str(&format!("M{} {}h1v1h-1z", x + 4, y + 4));
            }
        }
    }
    let side = size + 8;
    html! {
        svg.code viewBox={ "0 0 " (side) " " (side) } role="img" aria-label="Code to scan with a phone" {
            rect width=(side) height=(side) fill="#fff" {}
            path d=(PreEscaped(path)) fill="#000" {}
        }
    }
}
