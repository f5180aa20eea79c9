//! Ring: a photograph with what was found on it, and marks that a person moves.

use std::collections::BTreeSet;
use std::sync::{Arc, Mutex, PoisonError};

use arcmass_lab::photograph::opened::{Opened, Seen, mark_word};
use arcmass_notebook::edit::{faults_of, keep_text, photo_name_fault, raw_file};
use arcmass_notebook::{
    Faults, HandMark, Input, MarkKind, Notebook, Readings, Run, Sense, View, edit::EditFault,
};
use arcmass_report::beam_figure;
use axum::Json;
use axum::extract::{Query, State};
use axum::http::{HeaderMap, StatusCode, header};
use axum::response::{IntoResponse, Response};
use maud::{Markup, html};
use serde::{Deserialize, Serialize};
use serde_json::json;

use super::photos::{encoded, names};
use super::{blocking, broken, figures, next, one_ring};
use crate::answer;
use crate::frame::{self, Station};
use crate::guard::refusal;
use crate::long::Trouble;
use crate::state::{App, Snapshot};
use crate::undo::{Change, Of};

/// Most marks taken for one photograph.
const MOST_MARKS: usize = 2000;

/// Fewer marks on the beam than these are no circle: they change nothing.
const CIRCLE: usize = 3;

/// The last photograph looked at, decoded.
#[derive(Default)]
pub(crate) struct Kept(Mutex<Option<(String, Arc<Opened>)>>);

/// A mark as the page sends and gets it.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub(crate) struct Mark {
    what: What,
    x_px: f64,
    y_px: f64,
    along_mm: Option<f64>,
    across_mm: Option<f64>,
}

/// What a mark stands for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub(crate) enum What {
    Beam,
    Scale,
    Bulb,
    Coil,
    LeaveOut,
}

impl Mark {
    fn of(mark: &HandMark) -> Self {
        let what = match mark.what {
            MarkKind::Beam => What::Beam,
            MarkKind::Scale => What::Scale,
            MarkKind::Bulb => What::Bulb,
            MarkKind::Coil => What::Coil,
            MarkKind::LeaveOut => What::LeaveOut,
        };
        let mm = |metres: Option<f64>| metres.map(|m| 1e3 * m);
        Self {
            what,
            x_px: mark.x_px,
            y_px: mark.y_px,
            along_mm: mm(mark.along_m),
            across_mm: mm(mark.across_m),
        }
    }

    fn hand(&self, line: usize) -> HandMark {
        let m = |mm: Option<f64>| mm.map(|mm| mm / 1e3);
        HandMark {
            what: self.kind(),
            x_px: self.x_px,
            y_px: self.y_px,
            along_m: m(self.along_mm),
            across_m: m(self.across_mm),
            line,
        }
    }

    fn kind(&self) -> MarkKind {
        match self.what {
            What::Beam => MarkKind::Beam,
            What::Scale => MarkKind::Scale,
            What::Bulb => MarkKind::Bulb,
            What::Coil => MarkKind::Coil,
            What::LeaveOut => MarkKind::LeaveOut,
        }
    }
}

/// Which photograph.
#[derive(Debug, Deserialize)]
pub(crate) struct Named {
    #[serde(default)]
    name: String,
}

/// `/ring`.
pub(crate) async fn page(
    State(app): State<Arc<App>>,
    headers: HeaderMap,
    Query(named): Query<Named>,
) -> Response {
    let show = move || {
        let snapshot = app.snapshot();
        let body = html! { h1 { "Ring" } (inside(&app, &snapshot, &named.name)) };
        frame::page(&app, &snapshot, &headers, Station::Ring, "ring.js", &body)
    };
    blocking(show).await.unwrap_or_else(broken)
}

fn inside(app: &App, snapshot: &Snapshot, asked: &str) -> Markup {
    let Ok(notebook) = &snapshot.notebook else { return frame::faults(snapshot) };
    let names = names(app);
    let runs = notebook.readings.iter().flat_map(|readings| &readings.runs);
    let ring_photos: BTreeSet<&str> = runs.filter_map(|run| run.ring_photo.as_deref()).collect();
    let chosen = names.iter().find(|name| *name == asked);
    let chosen =
        chosen.or_else(|| names.iter().find(|name| ring_photos.contains(name.as_str()))).or(names.first());
    let Some(chosen) = chosen else {
        return html! { p.empty { "No photograph yet. Drop some at the " a href="/readings#photos-heading" { "Readings" } "." } };
    };
    html! {
        (next::line(app, snapshot, Station::Ring))
        nav.shots aria-label="Photographs" { ul { @for name in &names {
            li { a href={ "/ring?name=" (encoded(name)) } aria-current=[(name == chosen).then_some("page")] tabindex=[(name != chosen).then_some("-1")] { (name) } }
        } } }
        (super::ring_desk::desk(notebook, chosen, &names))
    }
}

/// Whose marks.
#[derive(Debug, Deserialize)]
pub(crate) struct Which {
    photo: String,
}

/// Marks to measure with, or to keep.
#[derive(Debug, Deserialize)]
pub(crate) struct Wish {
    photo: String,
    marks: Vec<Mark>,
    /// While a mark moves: answer from the line that was followed last.
    #[serde(default)]
    quick: bool,
    /// The marks as the page last knew them in the folder, for [`keep`].
    #[serde(default)]
    seen: Vec<Mark>,
}

fn checked(wish: &Wish) -> Result<Vec<HandMark>, Box<Response>> {
    let sound = |mark: &Mark| {
        let far = |value: f64| !value.is_finite() || value.abs() > 1e6;
        let bad = far(mark.x_px)
            || far(mark.y_px)
            || mark.along_mm.is_some_and(far)
            || mark.across_mm.is_some_and(far);
        !bad
    };
    if photo_name_fault(&wish.photo).is_some() {
        return Err(Box::new(answer::trouble(
            StatusCode::UNPROCESSABLE_ENTITY,
            "no such photograph",
            "load the page again",
        )));
    }
    if wish.marks.len() > MOST_MARKS || !wish.marks.iter().all(sound) {
        return Err(Box::new(answer::trouble(
            StatusCode::UNPROCESSABLE_ENTITY,
            "a mark lies nowhere near the photograph",
            "remove it",
        )));
    }
    Ok(wish.marks.iter().enumerate().map(|(at, mark)| mark.hand(at + 2)).collect())
}

impl Kept {
    /// The photograph, decoded once while the folder's files stand unchanged.
    fn open(&self, stamp: &str, notebook: &Notebook, photo: &str) -> Result<Arc<Opened>, Trouble> {
        let mut kept = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        let key = format!("{stamp}\0{photo}");
        if let Some((of, opened)) = kept.as_ref().filter(|(of, _)| *of == key) {
            let _ = of;
            return Ok(Arc::clone(opened));
        }
        let opened = Arc::new(Opened::open(notebook, photo)?);
        *kept = Some((key, Arc::clone(&opened)));
        Ok(opened)
    }

    /// Marks were kept: the picture is the same under the new stamp.
    fn carry(&self, old: &str, new: &str, photo: &str) {
        let mut kept = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some((of, _)) = kept.as_mut().filter(|(of, _)| *of == format!("{old}\0{photo}")) {
            *of = format!("{new}\0{photo}");
        }
    }
}

/// What was seen, and how its numbers are written on every station.
#[derive(Serialize)]
struct Told {
    told: serde_json::Value,
    #[serde(flatten)]
    seen: Seen,
}

/// `/ring/measure`: what these marks make of the photograph; nothing is written.
pub(crate) async fn measure(State(app): State<Arc<App>>, Json(wish): Json<Wish>) -> Response {
    let Ok(_room) = app.decoders.acquire().await else { return broken() };
    let worker = Arc::clone(&app);
    let look = move || match seen(&worker, &wish) {
        Ok(seen) => Json(Told { told: one_ring::of_open(&seen), seen }).into_response(),
        Err(response) => *response,
    };
    blocking(look).await.unwrap_or_else(broken)
}

fn seen(app: &App, wish: &Wish) -> Result<Seen, Box<Response>> {
    let mut marks = checked(wish)?;
    let beam = |mark: &HandMark| mark.what == MarkKind::Beam;
    if marks.iter().filter(|mark| beam(mark)).count() < CIRCLE {
        marks.retain(|mark| !beam(mark));
    }
    let (opened, notebook) = opened(app, &wish.photo)?;
    let trouble = |fault: arcmass_lab::LabError| {
        let trouble = Trouble::from(fault);
        Box::new(answer::trouble(StatusCode::UNPROCESSABLE_ENTITY, &trouble.sentence, &trouble.remedy))
    };
    if wish.quick
        && let Some(seen) = opened.quick(&notebook, &marks).map_err(trouble)?
    {
        return Ok(seen);
    }
    opened.measure(&notebook, &marks).map_err(trouble)
}

pub(crate) fn opened(app: &App, photo: &str) -> Result<(Arc<Opened>, Arc<Notebook>), Box<Response>> {
    let snapshot = app.snapshot();
    let faulty = |_| {
        Box::new(answer::trouble(
            StatusCode::CONFLICT,
            "the notebook has faults",
            "correct what is marked first",
        ))
    };
    let notebook = snapshot.notebook.map_err(faulty)?;
    let notebook = with_its_run(notebook, photo);
    let opened = app.ring.open(&snapshot.stamp, &notebook, photo).map_err(|trouble| {
        Box::new(answer::trouble(StatusCode::UNPROCESSABLE_ENTITY, &trouble.sentence, &trouble.remedy))
    })?;
    Ok((opened, notebook))
}

/// What a photograph is to the readings.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) enum Role {
    /// The ring of this run, with the scale's photograph, if one is named.
    Ring(String, Option<String>),
    /// The scale of some runs.
    Scale,
    /// Nothing yet; it is looked at as a ring with this scale.
    Free(String),
}

pub(crate) fn role(notebook: &Notebook, photo: &str) -> Role {
    let runs = || notebook.readings.iter().flat_map(|readings| &readings.runs);
    if let Some(run) = runs().find(|run| run.ring_photo.as_deref() == Some(photo)) {
        return Role::Ring(run.run.clone(), run.scale_photo.clone());
    }
    let scales: BTreeSet<&str> = runs().filter_map(|run| run.scale_photo.as_deref()).collect();
    if scales.contains(photo) {
        return Role::Scale;
    }
    // one scale alone for all rings is this one's too; else ring and scale are looked for in the same picture
    let apart = |scale: &str| runs().all(|run| run.ring_photo.as_deref() != Some(scale));
    let scale = scales.first().copied().filter(|scale| scales.len() == 1 && apart(scale));
    Role::Free(scale.unwrap_or(photo).to_owned())
}

/// The notebook with a run for a photograph that belongs to none yet, so that it can be measured before it is matched.
fn with_its_run(notebook: Arc<Notebook>, photo: &str) -> Arc<Notebook> {
    let Role::Free(scale) = role(&notebook, photo) else { return notebook };
    let mut changed = (*notebook).clone();
    let run = Run {
        run: String::new(),
        readings: Vec::new(),
        field_sense: Sense::default(),
        bench_turned_deg: 0.0,
        gun_tilt_deg: 0.0,
        ring_photo: Some(photo.to_owned()),
        scale_photo: Some(scale),
        view: View::default(),
        diameter: None,
        beam_width_m: None,
        taken_at: None,
        struck_because: None,
        remark: None,
    };
    let input = Input { file: "readings.csv".to_owned(), sha256: String::new() };
    let readings = changed.readings.get_or_insert_with(|| Readings {
        runs: Vec::new(),
        further_columns: Vec::new(),
        input,
    });
    readings.runs.push(run);
    Arc::new(changed)
}

/// Which photograph's beam, in which form: `svg`, `csv`, or the look of the page.
#[derive(Debug, Deserialize)]
pub(crate) struct Beam {
    name: String,
    #[serde(default)]
    kind: String,
}

/// `/ring/beam`: the beam laid straight with its residuals, with the marks in the folder.
pub(crate) async fn beam(State(app): State<Arc<App>>, Query(asked): Query<Beam>) -> Response {
    let Ok(_room) = app.decoders.acquire().await else { return broken() };
    let worker = Arc::clone(&app);
    let draw = move || {
        let (opened, notebook) = opened(&worker, &asked.name).ok()?;
        let marks = notebook.marks_of(&asked.name).map(|own| own.marks.clone()).unwrap_or_default();
        let beam = opened.straight(&notebook, &marks)?;
        if asked.kind == "csv" {
            return Some(
                ([(header::CONTENT_TYPE, "text/csv; charset=utf-8")], beam.to_csv()).into_response(),
            );
        }
        Some(figures::as_file(&beam_figure::beam(&beam), &asked.kind))
    };
    let file = blocking(draw).await.flatten();
    file.unwrap_or_else(|| refusal(StatusCode::NOT_FOUND, "The beam could not be followed."))
}

/// `/ring/keep`: writes the marks.
pub(crate) async fn keep(State(app): State<Arc<App>>, Json(wish): Json<Wish>) -> Response {
    let change = move || match checked(&wish)
        .and_then(|_| kept(&app, &wish).map_err(|fault| Box::new(answer::refused(&fault))))
    {
        Ok(()) => answer::saved(&app, &json!({})),
        Err(response) => *response,
    };
    blocking(change).await.unwrap_or_else(broken)
}

fn kept(app: &App, wish: &Wish) -> Result<(), EditFault> {
    let _one = app.edit.lock();
    let before = app.snapshot();
    let file = format!("marks/{}.csv", wish.photo);
    let raw = raw_file(&app.root, &file).map_err(EditFault::Faults)?;
    let now: Vec<Mark> = match &before.notebook {
        Ok(notebook) => marks_of(notebook, &wish.photo),
        Err(_) => wish.seen.clone(),
    };
    if !alike(&now, &wish.seen) {
        return Err(EditFault::Changed { file, now: format!("{} marks", now.len()) });
    }
    let text = table(&raw.text, &wish.marks);
    let faults = faults_of(&file, &text);
    if !faults.is_empty() {
        return Err(EditFault::Faults(Faults(faults)));
    }
    if text != raw.text {
        keep_text(&app.root, &file, raw.sha256.as_deref(), &text)?;
        let words = format!("marks of {}", wish.photo);
        app.undo.remember(Change::new(words).with_text(&app.root, &file, &raw));
        let after = app.snapshot();
        app.ring.carry(&before.stamp, &after.stamp, &wish.photo);
    }
    Ok(())
}

/// The marks of a photograph as they stand in the folder.
pub(crate) fn marks_of(notebook: &Notebook, photo: &str) -> Vec<Mark> {
    notebook.marks_of(photo).iter().flat_map(|own| &own.marks).map(Mark::of).collect()
}

/// `/ring/undo`: the last change of this photograph's marks is taken back, whenever it was made.
pub(crate) async fn undo(State(app): State<Arc<App>>, Json(wish): Json<Which>) -> Response {
    let change = move || match taken_back(&app, &wish.photo) {
        Ok(words) => {
            let marks = app.snapshot().notebook.map(|notebook| marks_of(&notebook, &wish.photo));
            answer::saved(&app, &json!({ "words": words, "marks": marks.unwrap_or_default() }))
        }
        Err(fault) => answer::refused(&fault),
    };
    blocking(change).await.unwrap_or_else(broken)
}

fn taken_back(app: &App, photo: &str) -> Result<Option<String>, EditFault> {
    let _one = app.edit.lock();
    let before = app.snapshot();
    let words = app.undo.take_back(&app.root, Of::Marks(photo))?;
    let after = app.snapshot();
    app.ring.carry(&before.stamp, &after.stamp, photo);
    Ok(words)
}

fn alike(a: &[Mark], b: &[Mark]) -> bool {
    let near = |x: f64, y: f64| (x - y).abs() < 1e-6;
    a.len() == b.len()
        && a.iter().zip(b).all(|(a, b)| a.what == b.what && near(a.x_px, b.x_px) && near(a.y_px, b.y_px))
}

/// The table of marks; comments at the head of the old one stay.
fn table(old: &str, marks: &[Mark]) -> String {
    let head: String = old.split_inclusive('\n').take_while(|line| line.starts_with('#')).collect();
    let mut text = format!("{head}what,x_px,y_px,along_mm,across_mm\n");
    let cell = |value: Option<f64>| value.map(|v| format!("{v}")).unwrap_or_default();
    for mark in marks {
        let word = mark_word(mark.kind());
        let (x, y) = (mark.x_px, mark.y_px);
        text.push_str(&format!("{word},{x:.2},{y:.2},{},{}\n", cell(mark.along_mm), cell(mark.across_mm)));
    }
    text
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn marks_are_a_table_the_notebook_reads() {
        let beam = Mark { what: What::Beam, x_px: 10.04, y_px: -0.5, along_mm: None, across_mm: None };
        let scale = Mark { what: What::Scale, along_mm: Some(20.0), ..beam };
        let text = table("# by hand\nwhat,x_px,y_px\n", &[beam, scale]);
        assert_eq!(
            text,
            "# by hand\nwhat,x_px,y_px,along_mm,across_mm\nbeam,10.04,-0.50,,\nscale,10.04,-0.50,20,\n"
        );
        assert!(faults_of("marks/a.jpg.csv", &text).is_empty());
    }
}
