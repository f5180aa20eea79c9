//! Bench: the ten numbers that matter first, with a drawing that shows what each one measures; all others folded.

use std::sync::Arc;

use arcmass_lab::plausible::odd_key;
use arcmass_notebook::edit::{
    BenchChange, BenchKey, EditFault, KeyForm, bench_keys, bench_of, bench_value, keep_text, raw_file,
    set_bench_values, unit_of,
};
use arcmass_notebook::{Fault, Faults};
use arcmass_report::station;
use axum::Json;
use axum::extract::State;
use axum::http::{HeaderMap, StatusCode};
use axum::response::{IntoResponse, Response};
use maud::{Markup, PreEscaped, html};
use serde::Deserialize;
use serde_json::json;

use super::bench_words::{ESSENTIAL, TABLES, TOGETHER, wording};
use super::{bench_drawing, blocking, broken, next, part};
use crate::answer;
use crate::frame::{self, Station};
use crate::state::{App, Snapshot};
use crate::undo::{Change as Undoable, Of};

const FILE: &str = "bench.toml";

fn choices(key: &str) -> &'static [&'static str] {
    match key {
        "shape" => &["circular", "square"],
        "field_direction" => &["+z", "-z"],
        "kind" => &["ruler", "grid", "board", "mirror"],
        "fixed" => &["true", "false"],
        _ => &[],
    }
}

/// `/bench`.
pub(crate) async fn page(State(app): State<Arc<App>>, headers: HeaderMap) -> Response {
    let show = move || {
        let snapshot = app.snapshot();
        let body = html! {
            h1 { "Bench" }
            div data-live="/bench/work" { (inside(&app, &snapshot)) }
        };
        frame::page(&app, &snapshot, &headers, Station::Bench, "bench.js", &body)
    };
    blocking(show).await.unwrap_or_else(broken)
}

/// `/bench/work`: what follows the files.
pub(crate) async fn work(State(app): State<Arc<App>>) -> Response {
    part(app, move |app, snapshot| inside(app, snapshot)).await
}

/// The bench file as the page shows it.
struct Sheet<'a> {
    text: String,
    faults: Vec<&'a Fault>,
    keys: Vec<BenchKey>,
}

impl Sheet<'_> {
    fn value(&self, table: &str, key: &str) -> String {
        bench_value(&self.text, table, key).unwrap_or_default()
    }

    fn is_square(&self) -> bool {
        self.value("coils", "shape") == "square"
    }

    /// The keys asked for first: of square coils the half side stands for the radius.
    fn essential(&self) -> impl Iterator<Item = (&'static str, &'static str, &'static str)> {
        let is_square = self.is_square();
        ESSENTIAL.into_iter().map(move |(table, key, unknown)| {
            (table, if is_square && key == "mean_radius" { "mean_half_side" } else { key }, unknown)
        })
    }

    fn form(&self, table: &str, key: &str) -> KeyForm {
        let place = self.keys.iter().find(|place| place.table == table && place.key == key);
        place.map_or(KeyForm::Text, |place| place.form)
    }

    fn fault(&self, table: &str, key: &str) -> Option<String> {
        let fault = self.faults.iter().find(|fault| is_at(fault, &self.text, key, table));
        fault.map(|fault| in_the_field(wording(table, key).0, fault))
    }

    /// Keys of a table that are not asked for first, or together.
    fn rest<'s>(&'s self, table: &'s str) -> impl Iterator<Item = &'s BenchKey> {
        let shown: Vec<_> = self.essential().map(|(table, key, _)| (table, key)).collect();
        let other = if self.is_square() { "mean_radius" } else { "mean_half_side" };
        let together = move |key: &str| {
            TOGETHER
                .iter()
                .any(|(of, _, all, more)| *of == table && (all.contains(&key) || more.contains(&key)))
        };
        self.keys.iter().filter(move |place| {
            let at = (place.table, place.key);
            let stands_elsewhere = shown.contains(&at)
                || matches!(at, ("bench", _) | ("coils", "shape"))
                || at == ("coils", other)
                || together(place.key);
            place.table == table && !stands_elsewhere
        })
    }
}

fn inside(app: &App, snapshot: &Snapshot) -> Markup {
    let sheet = Sheet {
        text: raw_file(&app.root, FILE).map(|raw| raw.text).unwrap_or_default(),
        faults: snapshot.notebook.as_ref().err().iter().flat_map(|f| &f.0).collect(),
        keys: bench_keys(),
    };
    let undo = app.undo.next(Of::Bench);
    html! {
        (next::line(app, snapshot, Station::Bench))
        (elsewhere(&sheet))
        div.bench-head {
            (entry(&sheet, "bench", "name", None))
            p.acts { button #bench-undo type="button" disabled[undo.is_none()] { "Undo" } " " span.quiet { (undo.unwrap_or_default()) } }
        }
        div.bench-first {
            form.bench.essential autocomplete="off" aria-label="What matters first" {
                @for (table, key, unknown) in sheet.essential() {
                    @if matches!(key, "mean_radius" | "mean_half_side") { (shape(&sheet)) }
                    (entry(&sheet, table, key, Some(unknown)))
                }
                p.quiet { "With or without uncertainty: " code { "150" } ", " code { "150 ± 0.5" } ", " code { "150.0(5) mm" } ", " code { "150 mm ± 0.3 %" } ". Saved as you leave the field." }
            }
            (bench_drawing::drawing())
        }
        details.more {
            summary { "Meters, tube and surroundings: what else is known (" (stated(&sheet)) " stated)" }
            form.bench autocomplete="off" aria-label="What else is known" {
                @for (table, heading, note) in TABLES.iter().filter(|row| !row.1.is_empty() && row.0 != "bench") {
                    (rest_of(&sheet, table, heading, note))
                }
            }
        }
        @if sheet.text.contains("[[coil]]") {
            p.quiet { "This bench lists its coils one by one under " code { "[[coil]]" } ": change them in the file." }
        }
        (to_scale(snapshot))
    }
}

/// How many of the folded keys are stated.
fn stated(sheet: &Sheet<'_>) -> usize {
    let all = TABLES.iter().flat_map(|(table, ..)| sheet.rest(table));
    let together = TOGETHER.iter().flat_map(|(table, _, all, _)| all.iter().map(move |key| (*table, *key)));
    all.filter(|place| !sheet.value(place.table, place.key).is_empty()).count()
        + together.filter(|(table, key)| !sheet.value(table, key).is_empty()).count()
}

fn rest_of(sheet: &Sheet<'_>, table: &str, heading: &str, note: &str) -> Markup {
    let together: Vec<_> = TOGETHER.iter().filter(|(of, ..)| *of == table).collect();
    html! {
        @if sheet.rest(table).next().is_some() || !together.is_empty() {
            fieldset {
                legend { (heading) }
                @if !note.is_empty() { p.quiet.note { (note) } }
                @for place in sheet.rest(table) { (entry(sheet, place.table, place.key, None)) }
                @for (_, heading, all, more) in together {
                    fieldset.together data-needs=(all.join(" ")) {
                        legend.small { (heading) }
                        @for key in all.iter().chain(*more) { (entry(sheet, table, key, None)) }
                        p.said role="status" data-together-said {}
                    }
                }
            }
        }
    }
}

fn shape(sheet: &Sheet<'_>) -> Markup {
    let value = sheet.value("coils", "shape");
    html! {
        div.entry.small {
            label for="coils-shape" { "Coils" }
            select #coils-shape name="coils-shape" data-table="coils" data-key="shape" data-seen=(value) aria-describedby="coils-shape-said" {
                option value=(if value.is_empty() { "" } else { "circular" }) selected[value != "square"] { "circular" }
                option value="square" selected[value == "square"] { "square" }
            }
            p #coils-shape-said.said role="status" {}
        }
    }
}

/// The bench drawn to scale from what is stated.
fn to_scale(snapshot: &Snapshot) -> Markup {
    let figure =
        snapshot.notebook.as_ref().ok().and_then(|notebook| station::apparatus(&notebook.bench, None));
    html! {
        @if let Some(figure) = figure {
            details.more {
                summary { "Drawn to scale" }
                (PreEscaped(station::figure_html(&figure, "To scale, from the numbers above: left as the front camera sees it, right from the side.")))
            }
        }
    }
}

/// Whether a fault of the file stands on the line of this key.
fn is_at(fault: &Fault, text: &str, key: &str, table: &str) -> bool {
    let Some(line) = fault.line.filter(|_| fault.file == FILE) else { return false };
    let at = text.lines().nth(line.saturating_sub(1)).unwrap_or_default().trim_start();
    let heading = text.lines().take(line).filter(|line| line.trim_start().starts_with('[')).last();
    let in_table = heading.is_some_and(|heading| heading.trim().starts_with(&format!("[{table}]")));
    in_table && at.strip_prefix(key).is_some_and(|rest| rest.trim_start().starts_with('='))
}

/// Faults that no field can stand beside.
fn elsewhere(sheet: &Sheet<'_>) -> Markup {
    let has_place =
        |fault: &Fault| sheet.keys.iter().any(|place| is_at(fault, &sheet.text, place.key, place.table));
    let homeless: Vec<_> = sheet.faults.iter().filter(|fault| !has_place(fault)).collect();
    html! {
        @if !homeless.is_empty() {
            section.faults aria-label="Faults of the files" {
                h2.caution { "Needs you" }
                ul {
                    @for fault in homeless {
                        li {
                            b { (fault.file) @if let Some(line) = fault.line { ", line " (line) } } ": " (fault.found) ". What may stand there: " (fault.accepted) ". To do: " (fault.remedy) "."
                            @if let Some(excerpt) = &fault.excerpt { pre { (excerpt.text) } }
                        }
                    }
                }
            }
        }
    }
}

/// A field; `unknown` says what stands for the number where a person does not know it.
fn entry(sheet: &Sheet<'_>, table: &str, key: &str, unknown: Option<&str>) -> Markup {
    let (label, hint, example) = wording(table, key);
    let id = format!("{table}-{key}").replace('.', "-");
    let value = sheet.value(table, key);
    let said = sheet.fault(table, key);
    let choices = choices(key);
    let unit = unit_of(table, key);
    html! {
        div.entry data-entry=(id) {
            label for=(id) { (label) @if !hint.is_empty() { " " span.quiet { (hint) } } }
            @if choices.is_empty() {
                input id=(id) name=(id) value=(value) placeholder=(example) data-table=(table) data-key=(key) data-seen=(value)
                    aria-describedby={ (id) "-said" } aria-invalid=[said.is_some().then_some("true")] spellcheck="false" autocapitalize="off"
                    inputmode=[(sheet.form(table, key) == KeyForm::Integer).then_some("numeric")]
                    title=[(!unit.is_empty()).then(|| format!("A number without unit is taken in {unit}"))];
                @if let Some(unknown) = unknown.filter(|_| value.is_empty()) {
                    button.plain type="button" data-unknown=(unknown) data-for=(id) data-default=[default(sheet, key)]
                        aria-label={ "I don’t know: " (label) } { "I don’t know" }
                }
            } @else {
                select id=(id) name=(id) data-table=(table) data-key=(key) data-seen=(value) aria-describedby={ (id) "-said" } {
                    option value="" selected[value.is_empty()] { "not stated" }
                    @for choice in choices { option value=(choice) selected[value == *choice] { (choice) } }
                }
            }
            p.said id={ (id) "-said" } role="status" { @if let Some(said) = said { span.fault { (said) } } }
        }
    }
}

/// What is written where a number is not known but another one says what to expect.
fn default(sheet: &Sheet<'_>, key: &str) -> Option<String> {
    if key != "separation" {
        return None;
    }
    let radius = ["mean_radius", "mean_half_side"]
        .iter()
        .map(|key| sheet.value("coils", key))
        .find(|v| !v.is_empty())?;
    let value = radius.split(['±', '(']).next()?.trim().to_owned();
    let has_unit = value.chars().any(char::is_alphabetic);
    Some(if has_unit { format!("{value} ± 3 %") } else { format!("{value} mm ± 3 %") })
}

/// What was typed, of one key or of several that stand together.
#[derive(Debug, Deserialize)]
#[serde(untagged)]
pub(crate) enum Wish {
    /// Saved together or not at all.
    Many {
        /// Each place.
        changes: Vec<Change>,
        /// Kept although it is odd.
        #[serde(default)]
        keep: bool,
    },
    /// One place.
    One(Change),
}

/// One change of one key.
#[derive(Debug, Deserialize)]
pub(crate) struct Change {
    table: String,
    key: String,
    seen: String,
    typed: String,
    #[serde(default)]
    keep: bool,
}

/// `/bench/set`.
pub(crate) async fn set(State(app): State<Arc<App>>, Json(wish): Json<Wish>) -> Response {
    let (changes, keep) = match wish {
        Wish::Many { changes, keep } => (changes, keep),
        Wish::One(change) => {
            let keep = change.keep;
            (vec![change], keep)
        }
    };
    let change = move || match changed(&app, &changes, keep) {
        Ok(Saved::Values(values)) => {
            answer::saved(&app, &json!({ "value": values.first(), "values": values }))
        }
        Ok(Saved::Asked(words)) => answer::asked(&words),
        Err(fault) => refused(&changes, &fault),
    };
    blocking(change).await.unwrap_or_else(broken)
}

enum Saved {
    /// What stands there now.
    Values(Vec<String>),
    /// Nothing was saved: a person is asked first.
    Asked(String),
}

fn changed(app: &App, changes: &[Change], keep: bool) -> Result<Saved, EditFault> {
    let _one = app.edit.lock();
    let raw = raw_file(&app.root, FILE).map_err(EditFault::Faults)?;
    let all: Vec<BenchChange<'_>> = changes
        .iter()
        .map(|c| BenchChange { table: &c.table, key: &c.key, seen: &c.seen, typed: &c.typed })
        .collect();
    let text = set_bench_values(&raw.text, &all)?;
    if !keep && let Some(words) = changes.iter().find_map(|change| doubt(&text, change)) {
        return Ok(Saved::Asked(words));
    }
    if text != raw.text {
        keep_text(&app.root, FILE, raw.sha256.as_deref(), &text)?;
        let names: Vec<&str> = changes.iter().map(|change| wording(&change.table, &change.key).0).collect();
        app.undo.remember(Undoable::new(names.join(", ")).with_text(&app.root, FILE, &raw));
    }
    Ok(Saved::Values(all.iter().map(|c| bench_value(&text, c.table, c.key).unwrap_or_default()).collect()))
}

/// What a person is asked before a change is kept.
fn doubt(text: &str, change: &Change) -> Option<String> {
    let label = wording(&change.table, &change.key).0;
    let is_essential = ESSENTIAL.iter().find(|(table, key, _)| *table == change.table && *key == change.key);
    if let Some((.., unknown)) =
        is_essential.filter(|_| change.typed.trim().is_empty() && !change.seen.is_empty())
    {
        return Some(format!("{label} emptied. {unknown} Leave it empty?"));
    }
    let odd = odd_key(&bench_of(text)?, &change.table, &change.key)?;
    Some(format!("{label} {}: {odd}. Keep it?", change.typed.trim()))
}

/// A refusal in the words of the page.
fn refused(changes: &[Change], fault: &EditFault) -> Response {
    let EditFault::Faults(Faults(faults)) = fault else { return answer::refused(fault) };
    let Some(first) = faults.first() else { return answer::refused(fault) };
    // the fault names the key where several were typed
    let its = changes.iter().find(|change| first.found.contains(&change.key)).or(changes.first());
    let label = its.map_or("", |change| wording(&change.table, &change.key).0);
    let sentence = in_the_field(label, first);
    let body = json!({ "sentence": sentence, "remedy": "", "field": its.map(|change| change.key.clone()) });
    (StatusCode::UNPROCESSABLE_ENTITY, Json(body)).into_response()
}

/// A fault of the file in the words of the field: what it must be, what was found.
fn in_the_field(label: &str, fault: &Fault) -> String {
    let quoted = |text: &str| {
        let parts = text.split('`').enumerate();
        parts
            .map(|(at, part)| if at % 2 == 1 { format!("\u{201c}{part}\u{201d}") } else { part.to_owned() })
            .collect::<String>()
    };
    format!("{label} must be {}; found {}", quoted(&fault.accepted), quoted(&fault.found))
}

/// `/bench/undo`.
pub(crate) async fn undo(State(app): State<Arc<App>>) -> Response {
    let change = move || {
        let done = {
            let _one = app.edit.lock();
            app.undo.take_back(&app.root, Of::Bench)
        };
        match done {
            Ok(words) => answer::saved(&app, &json!({ "words": words })),
            Err(fault) => answer::refused(&fault),
        }
    };
    blocking(change).await.unwrap_or_else(broken)
}
