//! Photographs: taken in, shown, matched to runs; the originals are never changed.

use std::collections::BTreeSet;
use std::fs;
use std::sync::Arc;

use arcmass_lab::photograph::view::{inspect, preview};
use arcmass_notebook::edit::{EditFault, Grid, keep_photo, photo_name_fault, set_cells_of};
use arcmass_notebook::folder::photo_bytes;
use axum::Json;
use axum::body::Bytes;
use axum::extract::{Query, State};
use axum::http::{HeaderMap, HeaderValue, StatusCode, header};
use axum::response::{IntoResponse, Response};
use maud::{Markup, html};
use serde::Deserialize;
use serde_json::json;

use super::{blocking, broken, phone, readings};
use crate::answer;
use crate::state::{App, Snapshot};

/// Width of a small picture, pixels.
const SMALL_PX: usize = 320;

/// Photographs of the folder that may be measured.
pub(crate) fn names(app: &App) -> Vec<String> {
    let entries = fs::read_dir(app.root.join("photos")).into_iter().flatten().flatten();
    let names = entries.filter_map(|entry| entry.file_name().into_string().ok());
    let mut names: Vec<String> = names.filter(|name| photo_name_fault(name).is_none()).collect();
    names.sort();
    names
}

/// The photographs below the readings.
pub(crate) fn section(app: &App, snapshot: &Snapshot, grid: &Grid) -> Markup {
    let names = names(app);
    let used: BTreeSet<&str> = grid
        .rows
        .iter()
        .flat_map(|row| [grid.cell(row, "ring_photo"), grid.cell(row, "scale_photo")])
        .filter(|name| !name.is_empty())
        .collect();
    let missing: Vec<&&str> =
        used.iter().filter(|name| !app.root.join("photos").join(name).is_file()).collect();
    let mut seen = BTreeSet::new();
    let runs: Vec<&str> =
        grid.rows.iter().map(|row| grid.cell(row, "run")).filter(|run| seen.insert(*run)).collect();
    let _ = snapshot;
    html! {
        section.pictures aria-labelledby="photos-heading" {
            h2 #photos-heading { "Photographs" }
            p { "The ring first, then the scale in the ring's plane, nothing moved between. Before the tube comes out: voltage to 0, current down to 0, heater off and cooled, supplies off, lights on." }
            div #drop.drop {
                label for="photo-files" { "Drop photographs here, or choose them" }
                input #photo-files type="file" multiple accept=(TAKEN);
            }
            p #photo-said.said role="status" {}
            (phone::panel(app))
            @if !missing.is_empty() {
                p.caution { "Named in the readings but not in " code { "photos/" } ": " @for (i, name) in missing.iter().enumerate() { @if i > 0 { ", " } (name) } "." }
            }
            ul.taken {
                @for name in &names { (of_photo(name, grid, &runs)) }
            }
        }
    }
}

/// What the file chooser offers. A phone that writes HEIC hands over a JPEG where HEIC is not asked for.
const TAKEN: &str = if cfg!(feature = "heic") {
    "image/jpeg,image/png,image/webp,image/tiff,.dng,.cr2,.cr3,.nef,.arw,image/heic,image/heif,.heic,.heif,.hif"
} else {
    "image/jpeg,image/png,image/webp,image/tiff,.dng,.cr2,.cr3,.nef,.arw"
};

fn of_photo(name: &str, grid: &Grid, runs: &[&str]) -> Markup {
    let ring_of: Vec<&str> = runs_with(grid, "ring_photo", name);
    let scale_of = runs_with(grid, "scale_photo", name).len();
    let is_matched = !ring_of.is_empty() || scale_of > 0;
    let address = format!("name={}", encoded(name));
    html! {
        li.unmatched[!is_matched] {
            img src={ "/photos/small?" (address) } alt={ "Photograph " (name) } width="160" height="107" loading="lazy";
            div {
                p { a href={ "/ring?" (address) } { (name) } }
                p.quiet {
                    @if !ring_of.is_empty() { "ring of run " (ring_of.join(", ")) }
                    @else if scale_of > 0 { "scale of " (scale_of) " rows" }
                    @else { span.caution { "belongs to no run yet" } }
                }
                label { span.unseen { "What " (name) " shows" }
                    select data-photo=(name) {
                        option value="" { "match to …" }
                        @for run in runs { option value={ "ring:" (run) } { "ring of run " (run) } }
                        option value="scale:" { "scale of every run" }
                        @for run in runs { option value={ "scale:" (run) } { "scale of run " (run) } }
                    }
                }
            }
        }
    }
}

fn runs_with<'a>(grid: &'a Grid, column: &str, name: &str) -> Vec<&'a str> {
    let mut runs: Vec<&str> = grid
        .rows
        .iter()
        .filter(|row| grid.cell(row, column) == name)
        .map(|row| grid.cell(row, "run"))
        .collect();
    runs.dedup();
    runs
}

/// A text as it may stand in an address (RFC 3986, unreserved letters kept).
pub(crate) fn encoded(text: &str) -> String {
    let one = |byte: u8| match byte {
        b'A'..=b'Z' | b'a'..=b'z' | b'0'..=b'9' | b'-' | b'.' | b'_' | b'~' => char::from(byte).to_string(),
        other => format!("%{other:02X}"),
    };
    text.bytes().map(one).collect()
}

/// Which photograph.
#[derive(Debug, Deserialize)]
pub(crate) struct Named {
    name: String,
}

/// `/photos/new`: the body is the photograph as it came from the camera.
pub(crate) async fn upload(State(app): State<Arc<App>>, Query(named): Query<Named>, body: Bytes) -> Response {
    if let Some((found, accepted)) = photo_name_fault(&named.name) {
        return answer::refused(&EditFault::Name { found, accepted });
    }
    let Ok(_room) = app.decoders.acquire().await else { return broken() };
    let keeper = Arc::clone(&app);
    let keep = move || match inspect(&body) {
        Err(fault) => answer::trouble(
            StatusCode::UNPROCESSABLE_ENTITY,
            &format!("`{}` is not taken: {fault}", named.name),
            fault.remedy(),
        ),
        Ok(facts) => match keep_photo(&keeper.root, &named.name, &body) {
            Ok(is_new) => answer::saved(
                &keeper,
                &json!({ "name": named.name, "new": is_new, "width": facts.width_px, "height": facts.height_px }),
            ),
            Err(fault) => answer::refused(&fault),
        },
    };
    blocking(keep).await.unwrap_or_else(broken)
}

/// `/photos/view`: the original's bytes with a type of our own choice.
pub(crate) async fn view(State(app): State<Arc<App>>, Query(named): Query<Named>) -> Response {
    let read = move || {
        let photo = photo_bytes(&app.root, &named.name).ok()?;
        let mime = kind(&photo.bytes)?;
        Some(picture(photo.bytes, mime))
    };
    let picture = blocking(read).await.flatten();
    picture.unwrap_or_else(|| crate::guard::refusal(StatusCode::NOT_FOUND, "There is no such photograph."))
}

fn picture(bytes: Vec<u8>, mime: &'static str) -> Response {
    let mut headers = HeaderMap::new();
    headers.insert(header::CONTENT_TYPE, HeaderValue::from_static(mime));
    // a picture opened alone may load and run nothing
    headers.insert(header::CONTENT_SECURITY_POLICY, HeaderValue::from_static("default-src 'none'; sandbox"));
    headers.insert(header::CACHE_CONTROL, HeaderValue::from_static("private, max-age=60"));
    (headers, bytes).into_response()
}

/// Its type by its first bytes; nothing else is served as a picture.
fn kind(bytes: &[u8]) -> Option<&'static str> {
    match bytes {
        [0xff, 0xd8, 0xff, ..] => Some("image/jpeg"),
        [0x89, b'P', b'N', b'G', 0x0d, 0x0a, ..] => Some("image/png"),
        [b'R', b'I', b'F', b'F', _, _, _, _, b'W', b'E', b'B', b'P', ..] => Some("image/webp"),
        [_, _, _, _, b'f', b't', b'y', b'p', b'c', b'r', b'x', b' ', ..] => Some("image/x-canon-cr3"),
        [_, _, _, _, b'f', b't', b'y', b'p', b'h' | b'm', b'e' | b'i', ..] => Some("image/heif"),
        [b'I', b'I', 0x2a, 0, ..] | [b'M', b'M', 0, 0x2a, ..] => Some("image/tiff"),
        _ => None,
    }
}

/// `/photos/small`: a reduced JPEG.
pub(crate) async fn small(State(app): State<Arc<App>>, Query(named): Query<Named>) -> Response {
    let Ok(_room) = app.decoders.acquire().await else { return broken() };
    let reader = Arc::clone(&app);
    let draw = move || {
        let photo = photo_bytes(&reader.root, &named.name).ok()?;
        Some(picture(preview(&photo.bytes, SMALL_PX).ok()?, "image/jpeg"))
    };
    let picture = blocking(draw).await.flatten();
    picture.unwrap_or_else(|| crate::guard::refusal(StatusCode::NOT_FOUND, "There is no such photograph."))
}

/// What a photograph shows.
#[derive(Debug, Deserialize)]
pub(crate) struct Match {
    photo: String,
    /// `ring` or `scale`.
    shows: String,
    /// Empty: every run.
    run: String,
}

/// `/photos/match`: writes the photograph's name into the rows it belongs to.
pub(crate) async fn matched(State(app): State<Arc<App>>, Json(wish): Json<Match>) -> Response {
    let change = move || {
        let column = if wish.shows == "scale" { "scale_photo" } else { "ring_photo" };
        let run = Some(wish.run.as_str()).filter(|run| !run.is_empty());
        let done =
            readings::edit(&app, |text| set_cells_of(readings::FILE, text, run, &[(column, &wish.photo)]));
        match done {
            Ok(_) => answer::saved(&app, &json!({})),
            Err(fault) => answer::refused(&fault),
        }
    };
    blocking(change).await.unwrap_or_else(broken)
}
