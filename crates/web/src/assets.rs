//! The files of the page, inside the binary.

use std::sync::OnceLock;

use axum::extract::Path;
use axum::http::{StatusCode, header};
use axum::response::{IntoResponse, Response};

const SCRIPT: &str = "text/javascript; charset=utf-8";

/// Scripts by name.
const FILES: &[(&str, &str)] = &[
    ("page.js", include_str!("../assets/page.js")),
    ("start.js", include_str!("../assets/start.js")),
    ("bench.js", include_str!("../assets/bench.js")),
    ("field.js", include_str!("../assets/field.js")),
    ("readings.js", include_str!("../assets/readings.js")),
    ("path.js", include_str!("../assets/path.js")),
    ("over-draw.js", include_str!("../assets/over-draw.js")),
    ("over.js", include_str!("../assets/over.js")),
    ("ring.js", include_str!("../assets/ring.js")),
    ("ring-hands.js", include_str!("../assets/ring-hands.js")),
    ("ring-marks.js", include_str!("../assets/ring-marks.js")),
    ("ring-panel.js", include_str!("../assets/ring-panel.js")),
    ("ring-result.js", include_str!("../assets/ring-result.js")),
    ("ring-stage.js", include_str!("../assets/ring-stage.js")),
    ("ring-steps.js", include_str!("../assets/ring-steps.js")),
    ("board.js", include_str!("../assets/board.js")),
];

/// `/assets/NAME`.
pub(crate) async fn asset(Path(name): Path<String>) -> Response {
    if name == "page.css" {
        return ([(header::CONTENT_TYPE, "text/css; charset=utf-8")], sheet()).into_response();
    }
    match FILES.iter().find(|(known, _)| *known == name) {
        Some((_, text)) => ([(header::CONTENT_TYPE, SCRIPT)], *text).into_response(),
        None => StatusCode::NOT_FOUND.into_response(),
    }
}

fn sheet() -> &'static str {
    static SHEET: OnceLock<String> = OnceLock::new();
    SHEET.get_or_init(|| {
        format!("{}\n{}", arcmass_report::station::sheet(), include_str!("../assets/page.css"))
    })
}
