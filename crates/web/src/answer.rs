//! Answers to a change: saved, refused with its faults, or in conflict with both values.

use arcmass_notebook::Fault;
use arcmass_notebook::edit::EditFault;
use axum::Json;
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};
use serde_json::{Value, json};

use crate::state::App;

/// One fault as a script shows it.
pub(crate) fn fault(fault: &Fault) -> Value {
    json!({
        "file": fault.file, "line": fault.line, "column": fault.column,
        "found": fault.found, "accepted": fault.accepted, "remedy": fault.remedy,
    })
}

/// Saved: the folder's new stamp, and whatever else the station shows.
pub(crate) fn saved(app: &App, more: &Value) -> Response {
    Json(json!({ "saved": true, "stamp": app.snapshot().stamp, "more": more })).into_response()
}

/// Not saved, and why.
pub(crate) fn refused(edit: &EditFault) -> Response {
    let remedy = edit.remedy();
    let (status, body) = match edit {
        EditFault::Faults(faults) => (
            StatusCode::UNPROCESSABLE_ENTITY,
            json!({ "faults": faults.0.iter().map(fault).collect::<Vec<_>>(), "sentence": faults.0.first().map(|f| f.found.clone()), "remedy": remedy }),
        ),
        EditFault::Changed { now, file } => (
            StatusCode::CONFLICT,
            json!({ "conflict": { "now": now, "file": file }, "sentence": edit.to_string(), "remedy": remedy }),
        ),
        EditFault::Refused { .. } => {
            (StatusCode::INTERNAL_SERVER_ERROR, json!({ "sentence": edit.to_string(), "remedy": remedy }))
        }
        _ => (StatusCode::UNPROCESSABLE_ENTITY, json!({ "sentence": edit.to_string(), "remedy": remedy })),
    };
    (status, Json(body)).into_response()
}

/// Not saved yet: a person says whether it is meant.
pub(crate) fn asked(words: &str) -> Response {
    (StatusCode::CONFLICT, Json(json!({ "ask": words }))).into_response()
}

/// Not possible, with what to do.
pub(crate) fn trouble(status: StatusCode, sentence: &str, remedy: &str) -> Response {
    (status, Json(json!({ "sentence": sentence, "remedy": remedy }))).into_response()
}
