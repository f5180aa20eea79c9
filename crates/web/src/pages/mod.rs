//! One file a station: its page, its fragments, its changes.

pub(crate) mod bench;
mod bench_drawing;
mod bench_words;
pub(crate) mod board;
pub(crate) mod field;
pub(crate) mod field_table;
pub(crate) mod figures;
pub(crate) mod mass;
pub(crate) mod matching;
mod next;
mod one_ring;
pub(crate) mod path;
pub(crate) mod phone;
pub(crate) mod photos;
pub(crate) mod plan;
pub(crate) mod readings;
pub(crate) mod report;
pub(crate) mod ring;
mod ring_desk;
pub(crate) mod start;
mod units;
pub(crate) mod waits;
mod words;

use std::sync::Arc;

use axum::Json;
use axum::Router;
use axum::extract::{DefaultBodyLimit, State};
use axum::http::{StatusCode, header};
use axum::response::{IntoResponse, Redirect, Response};
use axum::routing::{get, post, put};
use maud::Markup;
use serde_json::json;

use crate::assets;
use crate::hub::Hub;
use crate::state::{App, Snapshot};

/// Every address of the page.
pub(crate) fn routes() -> Router<Hub> {
    Router::new()
        .route("/", get(first))
        .route("/start", get(start::page))
        .route("/start/folders", get(start::folders))
        .route("/start/new", post(start::new))
        .route("/start/open", post(start::open))
        .route("/start/forget", post(start::forget))
        .route("/start/demo", get(start::how_far).post(start::demo))
        .route("/now", get(now))
        .route("/mark.svg", get(mark))
        .route("/assets/{name}", get(assets::asset))
        .route("/join", get(phone::join))
        .route("/phone", get(phone::phone))
        .route("/bench", get(bench::page))
        .route("/bench/work", get(bench::work))
        .route("/bench/set", post(bench::set))
        .route("/bench/undo", post(bench::undo))
        .route("/readings", get(readings::page))
        .route("/readings/work", get(readings::work))
        .route("/readings/add", post(readings::add))
        .route("/readings/set", post(readings::set))
        .route("/readings/remove", post(readings::remove))
        .route("/readings/check", get(readings::check))
        .route("/readings/undo", post(readings::undo))
        .route("/photos/match", post(photos::matched))
        .route("/photos/accept", post(matching::accept))
        .route("/photos/rename", post(photos::rename))
        .route("/photos/remove", post(photos::remove))
        .route("/photos/restore", post(photos::restore))
        .route("/photos/view", get(photos::view))
        .route("/photos/small", get(photos::small))
        .route(
            "/photos/new",
            put(photos::upload).layer(DefaultBodyLimit::max(crate::guard::LARGEST_BODY as usize)),
        )
        .route("/ring", get(ring::page))
        .route("/ring/measure", post(ring::measure))
        .route("/ring/keep", post(ring::keep))
        .route("/ring/undo", post(ring::undo))
        .route("/ring/beam", get(ring::beam))
        .route("/mass", get(mass::page))
        .route("/mass/work", get(mass::work))
        .route("/waits/stand", get(waits::stand))
        .route("/waits/stop", post(waits::stop))
        .route("/waits/again", post(waits::again))
        .route("/plan", get(plan::page))
        .route("/plan/work", get(plan::work))
        .route("/figure", get(figures::figure))
        .route("/path", get(path::page))
        .route("/path/at", get(path::at))
        .route("/path/over", get(path::laid))
        .route("/field", get(field::page))
        .route("/field/work", get(field::work))
        .route("/field/add", post(field_table::add))
        .route("/field/set", post(field_table::set))
        .route("/field/remove", post(field_table::remove))
        .route("/field/undo", post(field_table::undo))
        .route("/board", get(board::page))
        .route("/report", get(report::page))
        .route("/report/work", get(report::work))
        .route("/report/preview", get(report::preview))
        .route("/report/file", get(report::file))
        .fallback(nowhere)
}

/// The first page: a notebook's bench. Without a notebook the guard leads to the choice of one.
async fn first() -> Redirect {
    Redirect::to("/bench")
}

async fn nowhere() -> Response {
    crate::guard::refusal(StatusCode::NOT_FOUND, "There is no such page.")
}

/// What a page compares its own stamp with.
async fn now(State(app): State<Arc<App>>) -> Response {
    let of = Arc::clone(&app);
    let stamp = blocking(move || crate::state::stamp(&of.root)).await.unwrap_or_default();
    Json(json!({ "stamp": stamp, "notebook": app.id() })).into_response()
}

async fn mark() -> Response {
    let svg = "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 32 32\"><rect width=\"32\" height=\"32\" rx=\"6\" \
               fill=\"#0E1013\"/><circle cx=\"16\" cy=\"16\" r=\"9\" fill=\"none\" stroke=\"#BFA7FF\" stroke-width=\"3\"/></svg>";
    ([(header::CONTENT_TYPE, "image/svg+xml")], svg).into_response()
}

/// Does what takes files or time on a thread that may wait; none after a fault of the program.
pub(crate) async fn blocking<T: Send + 'static>(work: impl FnOnce() -> T + Send + 'static) -> Option<T> {
    tokio::task::spawn_blocking(work).await.ok()
}

/// The part of a station that follows the files, made anew for the page to put in.
async fn part(
    app: Arc<App>,
    inside: impl FnOnce(&Arc<App>, &Snapshot) -> Markup + Send + 'static,
) -> Response {
    let show = move || {
        let snapshot = app.snapshot();
        inside(&app, &snapshot).into_string()
    };
    let html = blocking(show).await.unwrap_or_default();
    ([(header::CONTENT_TYPE, "text/html; charset=utf-8")], html).into_response()
}

/// What a fault of the program looks like to a person.
pub(crate) fn broken() -> Response {
    crate::answer::trouble(
        StatusCode::INTERNAL_SERVER_ERROR,
        "a fault of the program ended this; nothing was half written",
        "try again; please report the notebook that led here",
    )
}
