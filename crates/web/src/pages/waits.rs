//! What a page shows while long work lasts, and how a person stops it or tries again.

use std::sync::Arc;

use axum::Json;
use axum::extract::{Query, State};
use axum::response::{IntoResponse, Response};
use maud::{Markup, html};
use serde::Deserialize;
use serde_json::json;

use super::words::sentence;
use crate::long::Trouble;
use crate::state::App;

/// Kinds of long work.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "lowercase")]
pub(crate) enum Kind {
    /// Photographs and the joint fit.
    Mass,
    /// The next settings.
    Plan,
}

impl Kind {
    fn name(self) -> &'static str {
        match self {
            Self::Mass => "mass",
            Self::Plan => "plan",
        }
    }
}

/// Which work is meant.
#[derive(Debug, Deserialize)]
pub(crate) struct Which {
    of: Kind,
}

/// `/waits/stand`: how far the work is.
pub(crate) async fn stand(State(app): State<Arc<App>>, Query(which): Query<Which>) -> Response {
    let told = match which.of {
        Kind::Mass => app.work.told(),
        Kind::Plan => app.plan.long.told(),
    };
    let body = match told {
        Some(told) => json!({ "runs": true, "what": told.what, "done": told.done, "of": told.of }),
        None => json!({ "runs": false }),
    };
    Json(body).into_response()
}

/// `/waits/stop`.
pub(crate) async fn stop(State(app): State<Arc<App>>, Json(which): Json<Which>) -> Response {
    match which.of {
        Kind::Mass => app.work.stop(),
        Kind::Plan => app.plan.long.stop(),
    }
    Json(json!({ "stopping": true })).into_response()
}

/// `/waits/again`: the next look at the station tries once more.
pub(crate) async fn again(State(app): State<Arc<App>>, Json(which): Json<Which>) -> Response {
    match which.of {
        Kind::Mass => app.work.forget_failure(),
        Kind::Plan => app.plan.long.forget_failure(),
    }
    Json(json!({ "again": true })).into_response()
}

/// Shown while the work lasts; the page's script asks how far it is.
pub(crate) fn waiting(kind: Kind) -> Markup {
    html! {
        div.waiting data-wait=(kind.name()) {
            p role="status" { "Reading the notebook …" }
            progress aria-label="How far it is" {}
            button type="button" data-stop=(kind.name()) { "Stop" }
        }
    }
}

/// Shown where the work came to nothing.
pub(crate) fn failed(kind: Kind, heading: &str, trouble: &Trouble) -> Markup {
    html! {
        section.faults {
            h2.caution { (heading) }
            p { (sentence(&trouble.sentence)) }
            p { b { "To do: " } (sentence(&trouble.remedy)) }
            p { a href="/bench" { "To the Bench" } " · " a href="/readings" { "To the Readings" } }
            button type="button" data-again=(kind.name()) { "Try again" }
        }
    }
}
