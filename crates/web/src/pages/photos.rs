//! Photographs: taken in, shown, matched to runs; the originals are never changed.

use std::collections::BTreeSet;
use std::fs;
use std::sync::Arc;

use arcmass_lab::photograph::view::{inspect, preview};
use arcmass_notebook::edit::{
    EditFault, Grid, keep_photo, keep_text, photo_name_fault, raw_file, replace_in_columns, set_cells_of,
};
use arcmass_notebook::folder::photo_bytes;
use axum::Json;
use axum::body::Bytes;
use axum::extract::{Query, State};
use axum::http::{HeaderMap, HeaderValue, StatusCode, header};
use axum::response::{IntoResponse, Response};
use maud::{Markup, html};
use serde::Deserialize;
use serde_json::json;

use super::{blocking, broken, matching, phone, readings};
use crate::answer;
use crate::state::App;
use crate::undo::Change;

/// Width of a small picture, pixels.
const SMALL_PX: usize = 320;

/// Photographs of one name at most: a phone calls every picture alike.
const MOST_ALIKE: u32 = 1000;
/// Where removed photographs lie.
const REMOVED: &str = "removed/photos";

/// Photographs of the folder that may be measured.
pub(crate) fn names(app: &App) -> Vec<String> {
    names_in(app, "photos")
}

fn names_in(app: &App, folder: &str) -> Vec<String> {
    let entries = fs::read_dir(app.root.join(folder)).into_iter().flatten().flatten();
    let names = entries.filter_map(|entry| entry.file_name().into_string().ok());
    let mut names: Vec<String> = names.filter(|name| photo_name_fault(name).is_none()).collect();
    names.sort();
    names
}

/// The photographs below the readings.
pub(crate) fn section(app: &App, grid: &Grid) -> Markup {
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
    let unmatched = names.iter().filter(|name| !used.contains(name.as_str())).count();
    let proposal = matching::proposal(app, &names, grid);
    html! {
        section.pictures aria-labelledby="photos-heading" {
            h2 #photos-heading { "Photographs" }
            p { "The ring first, then the scale in the ring's plane, nothing moved between; or both in one picture. " (arcmass_notebook::cautions::BEFORE_THE_TUBE) }
            div #drop.drop {
                label for="photo-files" { "Drop photographs here, or choose them" }
                input #photo-files type="file" multiple accept=(TAKEN);
            }
            p #photo-said.said role="status" {}
            (phone::panel(app))
            @if let Some(proposal) = &proposal { (matching::shown(proposal)) }
            @else if unmatched > 0 && runs.is_empty() {
                p.caution { "No reading yet to match them to: type voltage and current above. Each can be measured already: open it by its name." }
            }
            @if !missing.is_empty() {
                p.caution { "Named in the readings but not in " code { "photos/" } ": " @for (i, name) in missing.iter().enumerate() { @if i > 0 { ", " } (name) } "." }
            }
            ul.taken {
                @for name in &names { (of_photo(name, grid, &runs)) }
            }
            (taken_out(app))
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
    let scale_of: Vec<&str> = runs_with(grid, "scale_photo", name);
    let is_matched = !ring_of.is_empty() || !scale_of.is_empty();
    let address = format!("name={}", encoded(name));
    html! {
        li.unmatched[!is_matched] data-name=(name) {
            img src={ "/photos/small?" (address) } alt={ "Photograph " (name) } width="132" height="88" loading="lazy";
            div {
                p { a href={ "/ring?" (address) } { (name) } }
                p.quiet {
                    @if !ring_of.is_empty() && ring_of == scale_of { "ring and scale of run " (ring_of.join(", ")) }
                    @else if !ring_of.is_empty() { "ring of run " (ring_of.join(", ")) }
                    @else if scale_of.len() == runs.len() && is_matched { "scale of every run" }
                    @else if is_matched { "scale of run " (scale_of.join(", ")) }
                    @else { span.caution { "belongs to no run yet" } }
                }
                label { span.unseen { "What " (name) " shows" }
                    select data-photo=(name) { (choices(runs, is_matched)) }
                }
                p.acts {
                    button type="button" data-rename=(name) aria-label={ "Rename " (name) } { "Rename" }
                    button type="button" data-remove=(name) aria-label={ "Remove " (name) } { "Remove" }
                }
                p.said role="status" {}
            }
        }
    }
}

/// What a photograph may show, as a list to choose from.
pub(crate) fn choices(runs: &[&str], is_matched: bool) -> Markup {
    html! {
        option value="" { "match to …" }
        @for run in runs { option value={ "ring:" (run) } { "ring of run " (run) } }
        @for run in runs { option value={ "both:" (run) } { "ring and scale of run " (run) } }
        option value="scale:" { "scale of every run" }
        @for run in runs { option value={ "scale:" (run) } { "scale of run " (run) } }
        @if is_matched { option value="none:" { "no run" } }
    }
}

/// Photographs that were removed, to be put back.
fn taken_out(app: &App) -> Markup {
    let names = names_in(app, REMOVED);
    html! {
        @if !names.is_empty() {
            details.removed {
                summary { "Removed photographs (" (names.len()) ")" }
                p.quiet { "They lie in " code { (REMOVED) "/" } " until you delete them there." }
                ul { @for name in &names { li { (name) " " button type="button" data-restore=(name) aria-label={ "Put " (name) " back" } { "Put back" } } } }
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

/// `/photos/new`: the body is the photograph as it came from the camera; a name that is taken gets a number.
pub(crate) async fn upload(State(app): State<Arc<App>>, Query(named): Query<Named>, body: Bytes) -> Response {
    let name = tidy(&named.name);
    if let Some((found, accepted)) = photo_name_fault(&name) {
        return answer::refused(&EditFault::Name { found, accepted });
    }
    let Ok(_room) = app.decoders.acquire().await else { return broken() };
    let keeper = Arc::clone(&app);
    let keep = move || match inspect(&body) {
        Err(fault) => answer::trouble(
            StatusCode::UNPROCESSABLE_ENTITY,
            &format!("`{name}` is not taken: {fault}"),
            fault.remedy(),
        ),
        Ok(facts) => match kept(&keeper, &name, &body) {
            Ok((name, is_new)) => {
                keeper.looks.remember(&keeper, &name, matching::Look::of(&facts));
                answer::saved(
                    &keeper,
                    &json!({ "name": name, "new": is_new, "width": facts.width_px, "height": facts.height_px }),
                )
            }
            Err(fault) => answer::refused(&fault),
        },
    };
    blocking(keep).await.unwrap_or_else(broken)
}

/// A file's name with what no name here may hold replaced; what leads elsewhere stays, to be refused.
fn tidy(name: &str) -> String {
    let good = |c: char| c.is_alphanumeric() || matches!(c, '.' | '_' | '-' | ' ' | '(' | ')' | '/' | '\\');
    name.trim().chars().map(|c| if good(c) || c.is_control() || !c.is_ascii() { c } else { '-' }).collect()
}

/// Keeps the bytes under the name, or under `name-2` and so on where another photograph has it.
fn kept(app: &App, name: &str, bytes: &[u8]) -> Result<(String, bool), EditFault> {
    let (stem, ending) = name.rsplit_once('.').unwrap_or((name, "jpg"));
    let further = (2..MOST_ALIKE).map(|number| format!("{stem}-{number}.{ending}"));
    for name in std::iter::once(name.to_owned()).chain(further) {
        match keep_photo(&app.root, &name, bytes) {
            Err(EditFault::Taken(_)) => {}
            done => return done.map(|is_new| (name, is_new)),
        }
    }
    Err(EditFault::Taken(name.to_owned()))
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
    /// `ring`, `scale`, `both` or `none`.
    shows: String,
    /// Empty: every run.
    run: String,
    /// For `ring`: the photograph of the scale, where it is chosen with it.
    #[serde(default)]
    scale: Option<String>,
}

impl Match {
    fn words(&self) -> String {
        let run = if self.run.is_empty() { "every run".to_owned() } else { format!("run {}", self.run) };
        match self.shows.as_str() {
            "none" => format!("{} matched to no run", self.photo),
            "both" => format!("{} matched as ring and scale of {run}", self.photo),
            what => format!("{} matched as {what} of {run}", self.photo),
        }
    }

    fn written(&self, text: &str) -> Result<String, EditFault> {
        let photo = self.photo.as_str();
        let run = Some(self.run.as_str()).filter(|run| !run.is_empty());
        let mut cells = match self.shows.as_str() {
            "none" => return renamed_in(text, photo, ""),
            "scale" => vec![("scale_photo", photo)],
            "both" => vec![("ring_photo", photo), ("scale_photo", photo)],
            _ => vec![("ring_photo", photo)],
        };
        cells.extend(self.scale.as_deref().map(|scale| ("scale_photo", scale)));
        set_cells_of(readings::FILE, text, run, &cells)
    }
}

/// `/photos/match`: writes the photograph's name into the rows it belongs to.
pub(crate) async fn matched(State(app): State<Arc<App>>, Json(wish): Json<Match>) -> Response {
    let change = move || match readings::edit(&app, wish.words(), |text| wish.written(text)) {
        Ok(_) => answer::saved(&app, &json!({})),
        Err(fault) => answer::refused(&fault),
    };
    blocking(change).await.unwrap_or_else(broken)
}

/// The table with another name, or none, wherever this photograph is named.
fn renamed_in(text: &str, photo: &str, to: &str) -> Result<String, EditFault> {
    replace_in_columns(readings::FILE, text, &["ring_photo", "scale_photo"], photo, to)
}

/// A new name for a photograph.
#[derive(Debug, Deserialize)]
pub(crate) struct Rename {
    photo: String,
    to: String,
}

/// `/photos/rename`: the file, its marks and every row that names it.
pub(crate) async fn rename(State(app): State<Arc<App>>, Json(wish): Json<Rename>) -> Response {
    let change = move || {
        let to = with_ending(tidy(&wish.to), &wish.photo);
        let words = format!("{} renamed to {to}", wish.photo);
        let files = [("photos", to.clone()), ("marks", format!("{to}.csv"))];
        match moved(&app, words, &wish.photo, &to, &files) {
            Ok(()) => answer::saved(&app, &json!({ "name": to })),
            Err(fault) => answer::refused(&fault),
        }
    };
    blocking(change).await.unwrap_or_else(broken)
}

/// The name with the old one's ending where it has none of its own.
fn with_ending(name: String, old: &str) -> String {
    let ending = old.rsplit_once('.').map_or("jpg", |(_, ending)| ending);
    if photo_name_fault(&name).is_none() { name } else { format!("{name}.{ending}") }
}

/// `/photos/remove`: to `removed/`, out of every row; the bytes stay on the disk.
pub(crate) async fn remove(State(app): State<Arc<App>>, Json(named): Json<Named>) -> Response {
    let change = move || {
        let place = |number: u32| {
            let (stem, ending) = named.name.rsplit_once('.').unwrap_or((&named.name, "jpg"));
            if number < 2 { named.name.clone() } else { format!("{stem}-{number}.{ending}") }
        };
        let free = |name: &String| !app.root.join(REMOVED).join(name).exists();
        let to = (1..MOST_ALIKE).map(place).find(free).unwrap_or_default();
        let files = [(REMOVED, to.clone()), ("removed/marks", format!("{to}.csv"))];
        match moved(&app, format!("{} removed", named.name), &named.name, "", &files) {
            Ok(()) => answer::saved(&app, &json!({})),
            Err(fault) => answer::refused(&fault),
        }
    };
    blocking(change).await.unwrap_or_else(broken)
}

/// `/photos/restore`: a removed photograph back among the others, with its marks, matched to no run.
pub(crate) async fn restore(State(app): State<Arc<App>>, Json(named): Json<Named>) -> Response {
    let change = move || {
        let done = well_named(&named.name).and_then(|()| {
            let _one = app.edit.lock();
            let mut change = Change::new(format!("{} put back", named.name));
            let photo = format!("photos/{}", named.name);
            change.moving(&app.root, &format!("{REMOVED}/{}", named.name), &photo)?;
            let marks = format!("marks/{}.csv", named.name);
            if app.root.join("removed").join(&marks).is_file() {
                change.moving(&app.root, &format!("removed/{marks}"), &marks)?;
            }
            app.undo.remember(change);
            Ok(())
        });
        match done {
            Ok(()) => answer::saved(&app, &json!({})),
            Err(fault) => answer::refused(&fault),
        }
    };
    blocking(change).await.unwrap_or_else(broken)
}

fn well_named(name: &str) -> Result<(), EditFault> {
    photo_name_fault(name).map_or(Ok(()), |(found, accepted)| Err(EditFault::Name { found, accepted }))
}

/// Moves a photograph with its marks to `files` (folder, name) and writes its new name, or none, into the readings.
fn moved(
    app: &App,
    words: String,
    photo: &str,
    to: &str,
    files: &[(&str, String); 2],
) -> Result<(), EditFault> {
    well_named(photo)?;
    well_named(if to.is_empty() { photo } else { to })?;
    let _one = app.edit.lock();
    if !app.root.join("photos").join(photo).is_file() {
        return Err(EditFault::NoPlace(format!("there is no photograph `{photo}` any more")));
    }
    let raw = raw_file(&app.root, readings::FILE).map_err(EditFault::Faults)?;
    let text = renamed_in(&raw.text, photo, to)?;
    let mut change = Change::new(words);
    let from = [format!("photos/{photo}"), format!("marks/{photo}.csv")];
    let moves = from.iter().zip(files).filter(|(from, _)| app.root.join(from).is_file());
    let done = moves
        .map(|(from, (folder, name))| change.moving(&app.root, from, &format!("{folder}/{name}")))
        .collect::<Result<Vec<()>, _>>()
        .and_then(|_| {
            if text == raw.text {
                return Ok(());
            }
            keep_text(&app.root, readings::FILE, raw.sha256.as_deref(), &text)
        });
    if let Err(fault) = done {
        // all or nothing
        change.unmove(&app.root)?;
        return Err(fault);
    }
    app.undo.remember(change.with_text(&app.root, readings::FILE, &raw));
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_phones_name_is_made_one_that_may_stand_here() {
        assert_eq!(tidy("Bild, 3 + 4'.jpg"), "Bild- 3 - 4-.jpg");
        assert!(
            photo_name_fault(&tidy("../a.jpg")).is_some() && photo_name_fault(&tidy("a\u{0}.jpg")).is_some()
        );
        assert_eq!(with_ending("ring 3".to_owned(), "IMG_1.jpeg"), "ring 3.jpeg");
        assert_eq!(with_ending("ring-3.jpg".to_owned(), "IMG_1.jpeg"), "ring-3.jpg");
    }
}
