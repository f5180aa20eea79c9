//! Readings: a table to type into in the dark, saved row by row.

use std::sync::Arc;

use arcmass_lab::path::{Setting, path};
use arcmass_lab::plausible::odd_reading;
use arcmass_notebook::edit::{
    EditFault, Grid, GridRow, append_row, grid, keep_text, raw_file, remove_row, set_cells, set_cells_of_run,
};
use arcmass_notebook::{Notebook, Run};
use axum::Json;
use axum::extract::{Query, State};
use axum::http::{HeaderMap, StatusCode};
use axum::response::{IntoResponse, Response};
use maud::{Markup, html};
use serde::Deserialize;
use serde_json::{Value, json};

use super::units::Chosen;
use super::{blocking, broken, next, one_ring, part, photos};
use crate::answer;
use crate::frame::{self, Station};
use crate::state::{App, Snapshot};
use crate::undo::{Change, Of};

pub(crate) const FILE: &str = "readings.csv";

/// Columns of the page: name in the file, heading, width in letters.
const COLUMNS: [(&str, &str, u8); 9] = [
    ("voltage_V", "V / V", 7),
    ("current_A", "I / A", 7),
    ("field_sense", "Sense", 3),
    ("bench_turned_deg", "Rotated / °", 5),
    ("gun_tilt_deg", "Tilt / °", 5),
    ("diameter_mm", "d / mm", 7),
    ("diameter_u_mm", "u(d) / mm", 5),
    ("remark", "Remark", 14),
    ("struck_because", "Excluded because", 14),
];

/// `/readings`.
pub(crate) async fn page(State(app): State<Arc<App>>, headers: HeaderMap) -> Response {
    let show = move || {
        let snapshot = app.snapshot();
        let body = html! {
            h1 { "Readings" }
            (entry_form(&app))
            div data-live="/readings/work" { (inside(&app, &snapshot)) }
        };
        frame::page(&app, &snapshot, &headers, Station::Readings, "readings.js", &body)
    };
    blocking(show).await.unwrap_or_else(broken)
}

/// `/readings/work`: the table and the photographs.
pub(crate) async fn work(State(app): State<Arc<App>>) -> Response {
    part(app, move |app, snapshot| inside(app, snapshot)).await
}

fn table(app: &App) -> Grid {
    grid(&raw_file(&app.root, FILE).map(|raw| raw.text).unwrap_or_default())
}

/// The next free number for a run.
fn next_run(grid: &Grid) -> String {
    let numbers = grid.rows.iter().filter_map(|row| grid.cell(row, "run").parse::<u32>().ok());
    (numbers.max().unwrap_or(0) + 1).to_string()
}

fn entry_form(app: &App) -> Markup {
    let grid = table(app);
    html! {
        form #next-reading.next autocomplete="off" aria-label="The next reading" {
            div.row {
                label { span { "Run" } input name="run" value=(next_run(&grid)) size="4" required aria-describedby="next-said"; }
                label.large { span { i.symbol { "V" } " / V" } input name="voltage_V" inputmode="decimal" size="6" required autofocus aria-describedby="next-said"; }
                label.large { span { i.symbol { "I" } " / A" } input name="current_A" inputmode="decimal" size="6" required aria-describedby="next-said"; }
                label { span { "Sense" } select name="field_sense" { option value="" { "+" } option value="-" { "−" } } }
                button type="submit" { "Save" }
            }
            details.more {
                summary { "More of this reading" }
                div.row {
                    label { span { "Ring's diameter / mm" } input name="diameter_mm" inputmode="decimal" size="7"; }
                    label { span { "its u / mm" } input name="diameter_u_mm" inputmode="decimal" size="5"; }
                    label { span { "Gun tilt / °" } input name="gun_tilt_deg" inputmode="decimal" size="5"; }
                    label { span { "Bench rotated / °" } input name="bench_turned_deg" inputmode="decimal" size="5"; }
                    label { span { "Remark" } input name="remark" size="20"; }
                }
            }
            div.row {
                button #same-run type="button" title="Another reading of the last setting: run, voltage and current are filled in, the voltage chosen to be typed over" { "Repeat the last run" }
                button #undo type="button" disabled[app.undo.next(Of::Readings).is_none()] { "Undo" }
                span #undo-words.quiet {}
                label.check { input #peek type="checkbox"; " show the predicted ring once a reading is in" }
            }
            p #next-said.said role="status" {}
            p.quiet { "Enter goes on to the next field and saves at the last. " (arcmass_notebook::cautions::BEFORE_A_LEAD) }
        }
    }
}

fn inside(app: &App, snapshot: &Snapshot) -> Markup {
    let grid = table(app);
    let faults: Vec<_> = snapshot.notebook.as_ref().err().iter().flat_map(|f| &f.0).collect();
    let shown: Vec<_> = COLUMNS.iter().filter(|(name, ..)| is_shown(&grid, name)).collect();
    html! {
        span #undo-next hidden data-undo=(app.undo.next(Of::Readings).unwrap_or_default()) {}
        (next::line(app, snapshot, Station::Readings))
        (frame::faults(snapshot))
        @if grid.rows.is_empty() {
            p.empty { "No reading yet. Type the first one above: it is saved to " code { "readings.csv" } " at once." }
        } @else {
            div.scroll tabindex="0" role="region" aria-label="Readings" {
                table.readings {
                    thead { tr {
                        th scope="col" { "Run" }
                        @for (_, heading, _) in &shown { th scope="col" { (heading) } }
                        th scope="col" { "Photographs" }
                        th scope="col" { span.unseen { "Actions" } }
                    } }
                    tbody {
                        @for row in &grid.rows {
                            @let fault = faults.iter().find(|fault| fault.file == FILE && fault.line == Some(row.line));
                            (of_row(&grid, row, &shown, fault.map(|fault| format!("{}. {}.", fault.found, fault.remedy))))
                        }
                    }
                }
            }
        }
        (photos::section(app, &grid))
    }
}

/// Columns that hold something, and those everybody needs; a run is struck by its button.
fn is_shown(grid: &Grid, name: &str) -> bool {
    matches!(name, "voltage_V" | "current_A") || grid.rows.iter().any(|row| !grid.cell(row, name).is_empty())
}

fn of_row(grid: &Grid, row: &GridRow, shown: &[&(&str, &str, u8)], fault: Option<String>) -> Markup {
    let run = grid.cell(row, "run");
    let struck = !grid.cell(row, "struck_because").is_empty();
    let photos = [grid.cell(row, "ring_photo"), grid.cell(row, "scale_photo")];
    html! {
        tr.struck[struck] data-line=(row.line) data-raw=(row.raw) data-run=(run) {
            th scope="row" { input name="run" value=(run) data-seen=(run) size="4" aria-label={ "Run " (run) ", its number" } spellcheck="false"; }
            @for (name, heading, width) in shown {
                td data-heading=(heading) {
                    input name=(name) value=(grid.cell(row, name)) data-seen=(grid.cell(row, name)) size=(width)
                        aria-label={ "Run " (run) ", " (heading) } spellcheck="false"
                        inputmode=[(!matches!(*name, "remark" | "struck_because" | "field_sense")).then_some("decimal")];
                }
            }
            td.names { @for name in photos.iter().filter(|name| !name.is_empty()) { span { (name) } } }
            td.acts {
                button type="button" data-act="check" aria-label={ "Check run " (run) } { "Check" }
                button type="button" data-act="strike" aria-label=(if struck { format!("Include run {run}") } else { format!("Exclude run {run}") }) { @if struck { "Include" } @else { "Exclude" } }
                button type="button" data-act="delete" aria-label={ "Delete this row of run " (run) } { "Delete" }
            }
        }
        tr.under { td colspan=(shown.len() + 3) { p.said role="status" { @if let Some(fault) = fault { span.fault { (fault) } } } } }
    }
}

/// A new row.
#[derive(Debug, Deserialize)]
pub(crate) struct Add {
    cells: Vec<(String, String)>,
    /// Kept although it is odd.
    #[serde(default)]
    keep: bool,
}

/// `/readings/add`.
pub(crate) async fn add(State(app): State<Arc<App>>, Json(add): Json<Add>) -> Response {
    let change = move || {
        let cells = bare(add.cells);
        if let Some(words) = odd(&app, &cells).filter(|_| !add.keep) {
            return answer::asked(&words);
        }
        let run = cells.iter().find(|(name, _)| name == "run").map_or("", |(_, run)| run.as_str());
        let words = format!("reading of run {run} added");
        let edit = edit(&app, words, |text| append_row(FILE, text, &pairs(&cells)));
        match edit {
            Ok(text) => {
                let after = grid(&text);
                let row = after.rows.last().map(|row| json!({ "line": row.line, "raw": row.raw }));
                answer::saved(&app, &json!({ "row": row, "next_run": next_run(&after) }))
            }
            Err(fault) => answer::refused(&fault),
        }
    };
    blocking(change).await.unwrap_or_else(broken)
}

/// A change of cells of one row, as it was seen.
#[derive(Debug, Deserialize)]
pub(crate) struct Set {
    line: usize,
    raw: String,
    #[serde(default)]
    cells: Vec<(String, String)>,
    /// Kept although it is odd.
    #[serde(default)]
    keep: bool,
}

/// Numbers without the unit that their column has anyway.
fn bare(cells: Vec<(String, String)>) -> Vec<(String, String)> {
    let one = |(name, typed): (String, String)| {
        let unit = name.rsplit_once('_').map_or("", |(_, unit)| unit);
        let has_unit = matches!(unit, "V" | "A" | "mm" | "deg");
        let number = typed.trim().strip_suffix(if unit == "deg" { "°" } else { unit }).map(str::trim_end);
        let is_number = |text: &&str| text.ends_with(|c: char| c.is_ascii_digit());
        match number.filter(|_| has_unit).filter(is_number) {
            Some(number) => (name, number.to_owned()),
            None => (name, typed),
        }
    };
    cells.into_iter().map(one).collect()
}

/// What a person is asked before these numbers are kept.
fn odd(app: &App, cells: &[(String, String)]) -> Option<String> {
    let number = |column: &str| {
        let typed = &cells.iter().find(|(name, _)| name == column)?.1;
        typed.trim().replace(',', ".").parse::<f64>().ok().filter(|value| value.is_finite())
    };
    let [voltage, current, diameter] = ["voltage_V", "current_A", "diameter_mm"].map(number);
    let snapshot = app.snapshot();
    let bench = &snapshot.notebook.as_ref().ok()?.bench;
    let words = odd_reading(bench, voltage, current, diameter)?;
    Some(format!("{}. Keep it?", words.trim_end_matches('.')))
}

/// `/readings/set`.
pub(crate) async fn set(State(app): State<Arc<App>>, Json(set): Json<Set>) -> Response {
    let change = move || {
        let set = Set { cells: bare(set.cells), ..set };
        if let Some(words) = odd(&app, &set.cells).filter(|_| !set.keep) {
            return answer::asked(&words);
        }
        // meters were read row by row; all else is said of the run
        let is_read =
            set.cells.iter().all(|(name, _)| matches!(name.as_str(), "voltage_V" | "current_A" | "run"));
        let put = if is_read { set_cells } else { set_cells_of_run };
        let words = changed_words(&set);
        let done = edit(&app, words, |text| put(FILE, text, set.line, &set.raw, &pairs(&set.cells)));
        match done {
            Ok(text) => {
                let after = grid(&text);
                let row = after.rows.iter().find(|row| row.line == set.line);
                answer::saved(
                    &app,
                    &json!({ "row": row.map(|row| json!({ "line": row.line, "raw": row.raw })) }),
                )
            }
            Err(fault) => answer::refused(&fault),
        }
    };
    blocking(change).await.unwrap_or_else(broken)
}

/// `/readings/remove`: a row that was just added goes again.
pub(crate) async fn remove(State(app): State<Arc<App>>, Json(set): Json<Set>) -> Response {
    let words = "reading removed".to_owned();
    let change = move || match edit(&app, words, |text| remove_row(FILE, text, set.line, &set.raw)) {
        Ok(text) => answer::saved(&app, &json!({ "next_run": next_run(&grid(&text)) })),
        Err(fault) => answer::refused(&fault),
    };
    blocking(change).await.unwrap_or_else(broken)
}

/// What was changed, in the words of the page's headings.
fn changed_words(set: &Set) -> String {
    let run = set.raw.split([',', ';', '\t']).next().unwrap_or_default();
    if let Some((_, number)) = set.cells.iter().find(|(name, _)| name == "run") {
        return format!("run {run} called {number}");
    }
    let heading = |name: &str| {
        COLUMNS
            .iter()
            .find(|(known, ..)| *known == name)
            .map_or_else(|| name.to_owned(), |(_, heading, _)| (*heading).to_owned())
    };
    let names: Vec<String> = set.cells.iter().map(|(name, _)| heading(name)).collect();
    format!("run {run}: {}", names.join(", "))
}

fn pairs(cells: &[(String, String)]) -> Vec<(&str, &str)> {
    cells.iter().map(|(name, typed)| (name.as_str(), typed.as_str())).collect()
}

/// One change of the table: read, changed, written if it is still what was read; `words` say what can be taken back.
pub(crate) fn edit(
    app: &App,
    words: String,
    change: impl FnOnce(&str) -> Result<String, EditFault>,
) -> Result<String, EditFault> {
    let _one = app.edit.lock();
    let raw = raw_file(&app.root, FILE).map_err(EditFault::Faults)?;
    let text = change(&raw.text)?;
    if text != raw.text {
        keep_text(&app.root, FILE, raw.sha256.as_deref(), &text)?;
        app.undo.remember(Change::new(words).with_text(&app.root, FILE, &raw));
    }
    Ok(text)
}

/// `/readings/undo`: the last change of the readings or of the photographs is taken back.
pub(crate) async fn undo(State(app): State<Arc<App>>) -> Response {
    let change = move || {
        let done = {
            let _one = app.edit.lock();
            app.undo.take_back(&app.root, Of::Readings)
        };
        match done {
            Ok(words) => answer::saved(&app, &json!({ "words": words, "next_run": next_run(&table(&app)) })),
            Err(fault) => answer::refused(&fault),
        }
    };
    blocking(change).await.unwrap_or_else(broken)
}

/// Which run to hold against its prediction.
#[derive(Debug, Deserialize)]
pub(crate) struct Which {
    run: String,
}

/// `/readings/check`: the predicted ring of a run whose reading is in.
pub(crate) async fn check(
    State(app): State<Arc<App>>,
    headers: HeaderMap,
    Query(which): Query<Which>,
) -> Response {
    let look = move || {
        let snapshot = app.snapshot();
        let Ok(notebook) = &snapshot.notebook else {
            return answer::trouble(
                StatusCode::CONFLICT,
                "the notebook has faults",
                "correct what is marked first",
            );
        };
        let runs = notebook.readings.iter().flat_map(|readings| &readings.runs);
        match runs.into_iter().find(|run| run.run == which.run) {
            Some(run) => against(&app, notebook, run, &Chosen::of(&headers)),
            None => answer::trouble(StatusCode::NOT_FOUND, "there is no such run", "load the page again"),
        }
    };
    blocking(look).await.unwrap_or_else(broken)
}

/// The setting of a run.
pub(crate) fn setting(run: &Run) -> Setting {
    Setting {
        voltage_v: run.mean_voltage_v(),
        current_a: run.mean_current_a(),
        gun_tilt_deg: run.gun_tilt_deg,
        field_sense: run.field_sense.sign(),
        bench_turned_deg: run.bench_turned_deg,
    }
}

fn against(app: &App, notebook: &Notebook, run: &Run, chosen: &Chosen) -> Response {
    let document = match path(notebook, &setting(run), &app.desk) {
        Ok(document) => document,
        Err(fault) => {
            let trouble = crate::long::Trouble::from(fault);
            return answer::trouble(StatusCode::CONFLICT, &trouble.sentence, &trouble.remedy);
        }
    };
    let mut said = Vec::new();
    if let Some(diameter) = one_ring::predicted(&document) {
        said.push(format!("Predicted ring diameter: {diameter} mm."));
    }
    if let Some(measured) = measured(app, notebook, run) {
        said.push(measured);
    }
    said.extend(document.caveats.iter().map(|caveat| chosen.sentence(&caveat.sentence)));
    let body: Value = json!({ "run": run.run, "said": said });
    Json(body).into_response()
}

/// What was measured of this run, from the table or from its photograph.
fn measured(app: &App, notebook: &Notebook, run: &Run) -> Option<String> {
    if let Some(diameter) = one_ring::of_table(run) {
        return Some(format!("Read by hand: {diameter} mm."));
    }
    let rings = arcmass_lab::photograph::kept(notebook, &app.desk)?;
    let photo = rings.photos.into_iter().find(|photo| photo.run.as_deref() == Some(run.run.as_str()))?;
    Some(format!("Measured on the photograph: {} mm.", one_ring::of_photo(&photo)?))
}
