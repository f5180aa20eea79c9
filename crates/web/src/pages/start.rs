//! Start: a new notebook, one of those there are, or the demo; shown on this machine only.

use std::fs;
use std::path::{Path, PathBuf};
use std::sync::{Mutex, PoisonError};

use arcmass_lab::demo::{DemoSize, make_demo};
use arcmass_lab::photograph::Progress;
use arcmass_notebook::edit::{bench_value, keep_text, raw_file, set_bench_value};
use arcmass_notebook::new_notebook;
use axum::Json;
use axum::extract::{Query, State};
use axum::http::{HeaderMap, StatusCode};
use axum::response::{IntoResponse, Response};
use maud::{Markup, html};
use serde::Deserialize;
use serde_json::json;

use super::{blocking, broken};
use crate::answer;
use crate::frame;
use crate::hub::Hub;
use crate::long::Trouble;

/// Folders listed at once.
const MOST_FOLDERS: usize = 500;
/// Folders of one name at most.
const MOST_ALIKE: u32 = 1000;

/// `/start`.
pub(crate) async fn page(State(hub): State<Hub>, headers: HeaderMap) -> Response {
    let show = move || frame::threshold(&headers, "start.js", &inside(&hub));
    blocking(show).await.unwrap_or_else(broken)
}

fn inside(hub: &Hub) -> Markup {
    let recent = hub.own().recent();
    let shown = |path: &Path| arcmass_notebook::printable(&path.display().to_string());
    html! {
        h1 { "From a glowing ring to the mass of the electron" }
        p.lead { "A notebook is a folder for one bench and one day: what is known of the apparatus, the readings, and the photographs of ring and scale. Everything is kept in plain files on this machine." }
        p #start-said.said role="status" {}
        div.doors {
            section aria-labelledby="new-heading" {
                h2 #new-heading { "New notebook" }
                form #new-notebook autocomplete="off" {
                    label for="new-name" { "Name of the bench" }
                    input #new-name name="name" required autofocus maxlength="80" placeholder="Window bench";
                    @if let Some(here) = hub.here() {
                        p.quiet { "In the folder " code { (shown(here)) } ", which holds no notebook yet." }
                        input type="hidden" name="here" value="yes";
                    } @else {
                        p.quiet { "In a folder of its own below " code #new-parent { (shown(hub.home())) } ". "
                            button.plain type="button" data-pick="parent" { "Another place" } }
                        input type="hidden" name="parent" value=(hub.home().display());
                    }
                    button.main type="submit" { "Make it" }
                }
            }
            section aria-labelledby="open-heading" {
                h2 #open-heading { "Open a notebook" }
                @if recent.is_empty() { p.quiet { "None was opened on this machine yet." } }
                ul.recent { @for folder in &recent { (of_recent(folder)) } }
                p { button type="button" data-pick="notebook" { "Look for one" } }
            }
            section aria-labelledby="demo-heading" {
                h2 #demo-heading { "Demo" }
                p { "An invented bench with simulated readings and drawn photographs, to try everything on." }
                p { button #demo type="button" { "Open the demo" } }
                div #demo-wait hidden { p role="status" {} progress aria-label="How far it is" {} }
            }
        }
        section #picker hidden aria-labelledby="picker-heading" {
            h2 #picker-heading tabindex="-1" { "Folders" }
            p { code #picker-at {} }
            p.acts { button type="button" #picker-up { "Up" } " " button.main type="button" #picker-take hidden {} " " button type="button" #picker-close { "Close" } }
            p #picker-said.said role="status" {}
            ul #picker-list.folders {}
        }
    }
}

fn of_recent(folder: &Path) -> Markup {
    let text = fs::read_to_string(folder.join("bench.toml")).unwrap_or_default();
    let name = bench_value(&text, "bench", "name").filter(|name| !name.is_empty());
    let shown = arcmass_notebook::printable(&folder.display().to_string());
    let own = folder.file_name().map(|name| name.to_string_lossy().into_owned()).unwrap_or_default();
    let name = name.unwrap_or(own);
    html! {
        li {
            button.open type="button" data-open=(folder.display()) { b { (name) } span.quiet { (shown) } }
            button.plain type="button" data-forget=(folder.display()) aria-label={ "Off the list: " (name) } { "Off the list" }
        }
    }
}

/// Where to look.
#[derive(Debug, Deserialize)]
pub(crate) struct At {
    #[serde(default)]
    at: String,
}

/// `/start/folders`: the folders below one, and which of them are notebooks. Names only; no file is shown.
pub(crate) async fn folders(State(hub): State<Hub>, Query(at): Query<At>) -> Response {
    let look = move || {
        let at = nearest(if at.at.is_empty() { hub.home() } else { Path::new(&at.at) });
        let entries = match fs::read_dir(&at) {
            Ok(entries) => entries,
            Err(error) => {
                let sentence = format!("the folder {} can't be looked into: {error}", at.display());
                return answer::trouble(StatusCode::UNPROCESSABLE_ENTITY, &sentence, "choose another one");
            }
        };
        let inside = entries.flatten().filter(|entry| entry.path().is_dir());
        let mut names: Vec<String> = inside
            .filter_map(|entry| entry.file_name().into_string().ok())
            .filter(|n| !n.starts_with('.'))
            .collect();
        names.sort_by_key(|name| name.to_lowercase());
        let is_notebook = |folder: &Path| folder.join("bench.toml").is_file();
        let folders: Vec<_> = names
            .iter()
            .take(MOST_FOLDERS)
            .map(|name| json!({ "name": name, "path": at.join(name), "is_notebook": is_notebook(&at.join(name)) }))
            .collect();
        Json(json!({ "at": at, "up": at.parent(), "is_notebook": is_notebook(&at), "folders": folders, "left_out": names.len().saturating_sub(MOST_FOLDERS) }))
            .into_response()
    };
    blocking(look).await.unwrap_or_else(broken)
}

/// The folder itself, or the nearest one above it that is there.
fn nearest(folder: &Path) -> PathBuf {
    let whole = std::path::absolute(folder).unwrap_or_else(|_| folder.to_owned());
    let there = whole.ancestors().find(|above| above.is_dir()).map(Path::to_owned);
    there.unwrap_or_else(|| PathBuf::from("/"))
}

/// A notebook to make.
#[derive(Debug, Deserialize)]
pub(crate) struct New {
    name: String,
    #[serde(default)]
    parent: String,
    /// In the folder that was named at the start.
    #[serde(default)]
    here: bool,
}

/// `/start/new`: makes a notebook and opens it.
pub(crate) async fn new(State(hub): State<Hub>, Json(new): Json<New>) -> Response {
    let make = move || match made(&hub, &new) {
        Ok(folder) => {
            hub.open(&folder);
            Json(json!({ "to": "/bench" })).into_response()
        }
        Err(trouble) => answer::trouble(StatusCode::UNPROCESSABLE_ENTITY, &trouble.sentence, &trouble.remedy),
    };
    blocking(make).await.unwrap_or_else(broken)
}

fn made(hub: &Hub, new: &New) -> Result<PathBuf, Trouble> {
    let trouble =
        |sentence: &str, remedy: &str| Trouble { sentence: sentence.to_owned(), remedy: remedy.to_owned() };
    let name = new.name.trim();
    if name.is_empty() {
        return Err(trouble("the notebook has no name yet", "type the bench's name"));
    }
    let folder = match hub.here().filter(|_| new.here) {
        Some(here) => here.to_owned(),
        None if new.parent.is_empty() => free(hub.home(), name),
        None => free(Path::new(&new.parent), name),
    };
    new_notebook(&folder).map_err(|fault| trouble(&fault.to_string(), fault.remedy()))?;
    let named = || {
        let raw = raw_file(&folder, "bench.toml").ok()?;
        let seen = bench_value(&raw.text, "bench", "name").unwrap_or_default();
        let text = set_bench_value(&raw.text, "bench", "name", &seen, name).ok()?;
        keep_text(&folder, "bench.toml", raw.sha256.as_deref(), &text).ok()
    };
    if named().is_none() {
        return Err(trouble(
            "the notebook was made, but its name could not be written",
            "type it at the Bench",
        ));
    }
    Ok(folder)
}

/// A folder's name from the bench's, with a number where there is one of that name.
fn free(parent: &Path, name: &str) -> PathBuf {
    let letters =
        name.to_lowercase().chars().map(|c| if c.is_alphanumeric() { c } else { '-' }).collect::<String>();
    let stem = letters.split('-').filter(|part| !part.is_empty()).collect::<Vec<_>>().join("-");
    let stem = if stem.is_empty() { "notebook".to_owned() } else { stem };
    let names = std::iter::once(stem.clone()).chain((2..MOST_ALIKE).map(|number| format!("{stem}-{number}")));
    let mut folders = names.map(|name| parent.join(name));
    folders.find(|folder| fs::symlink_metadata(folder).is_err()).unwrap_or_else(|| parent.join(stem))
}

/// One folder.
#[derive(Debug, Deserialize)]
pub(crate) struct Folder {
    folder: String,
}

/// `/start/open`.
pub(crate) async fn open(State(hub): State<Hub>, Json(asked): Json<Folder>) -> Response {
    let open = move || {
        let folder = PathBuf::from(&asked.folder);
        if !folder.join("bench.toml").is_file() {
            return answer::trouble(
                StatusCode::UNPROCESSABLE_ENTITY,
                &format!("there is no notebook in {}", folder.display()),
                "choose a folder that holds a bench.toml, or make a new notebook",
            );
        }
        hub.open(&folder);
        Json(json!({ "to": "/bench" })).into_response()
    };
    blocking(open).await.unwrap_or_else(broken)
}

/// `/start/forget`: off the list; the folder itself stays.
pub(crate) async fn forget(State(hub): State<Hub>, Json(asked): Json<Folder>) -> Response {
    let forget = move || {
        hub.own().forget(Path::new(&asked.folder));
        Json(json!({ "forgotten": true })).into_response()
    };
    blocking(forget).await.unwrap_or_else(broken)
}

/// How far the demo is.
#[derive(Default)]
pub(crate) struct Making(Mutex<Stand>);

#[derive(Default)]
struct Stand {
    runs: bool,
    done: usize,
    of: usize,
    trouble: Option<Trouble>,
}

impl Making {
    fn lock(&self) -> std::sync::MutexGuard<'_, Stand> {
        self.0.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

impl Progress for Making {
    fn done(&self, done: usize, of: usize, _: &str) {
        let mut stand = self.lock();
        (stand.done, stand.of) = (done, of);
    }
}

/// `/start/demo`: makes the demo beside the other notebooks, once, and opens it.
pub(crate) async fn demo(State(hub): State<Hub>) -> Response {
    let folder = hub.home().join("demo");
    if folder.join("bench.toml").is_file() {
        hub.open(&folder);
        return Json(json!({ "to": "/mass" })).into_response();
    }
    let is_begun = std::mem::replace(&mut hub.making().lock().runs, true);
    if !is_begun {
        std::thread::spawn(move || {
            let make = std::panic::AssertUnwindSafe(|| {
                make_demo(&folder, DemoSize::default(), hub.desk(), hub.making())
            });
            let outcome = std::panic::catch_unwind(make);
            let trouble = match outcome {
                Ok(Ok(_)) => None,
                Ok(Err(fault)) => Some(Trouble::from(fault)),
                Err(_) => Some(Trouble {
                    sentence: "a fault of the program ended this".to_owned(),
                    remedy: "try again".to_owned(),
                }),
            };
            if trouble.is_none() {
                hub.open(&folder);
            }
            *hub.making().lock() = Stand { trouble, ..Stand::default() };
        });
    }
    Json(json!({ "making": true })).into_response()
}

/// How far the demo is, for the page that waits for it.
pub(crate) async fn how_far(State(hub): State<Hub>) -> Response {
    let stand = hub.making().lock();
    let body = json!({ "runs": stand.runs, "done": stand.done, "of": stand.of, "trouble": stand.trouble });
    Json(body).into_response()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_folder_takes_the_bench_s_name_or_the_next_free_one() {
        let folder = tempfile::tempdir().unwrap();
        let parent = folder.path();
        assert_eq!(free(parent, "Window bench: 2/3"), parent.join("window-bench-2-3"));
        fs::create_dir(parent.join("größe")).unwrap();
        assert_eq!(free(parent, "Größe"), parent.join("größe-2"));
        assert_eq!(free(parent, "../.."), parent.join("notebook"));
        assert_eq!(nearest(&parent.join("not/there")), parent);
    }
}
