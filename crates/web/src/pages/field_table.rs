//! Readings of the probe and of the current balance: typed row by row, or pasted from a spreadsheet.

use std::sync::Arc;

use arcmass_notebook::edit::{
    EditFault, Grid, GridRow, append_row, grid, keep_text, raw_file, remove_row, set_cells,
};
use axum::Json;
use axum::extract::State;
use axum::http::StatusCode;
use axum::response::Response;
use maud::{Markup, html};
use serde::Deserialize;
use serde_json::json;

use super::{blocking, broken};
use crate::answer;
use crate::state::App;
use crate::undo::{Change, Of};

const PROBE: &str = "field-probe.csv";
const BALANCE: &str = "field-balance.csv";
/// Rows pasted at once.
const MOST_PASTED: usize = 1000;

/// Units a probe may show: the column's name without `flux_density_`, and how it is written.
const UNITS: [(&str, &str); 5] =
    [("mT", "mT"), ("T", "T"), ("uT", "µT"), ("G", "G"), ("N_per_e_m_per_s", "N/(e·m/s)")];

/// Columns shown: name in the file, heading, width in letters.
const COLUMNS: [(&str, &str, u8); 14] = [
    ("current_A", "I / A", 7),
    ("flux_density_mT", "B / mT", 8),
    ("flux_density_T", "B / T", 8),
    ("flux_density_uT", "B / µT", 8),
    ("flux_density_G", "B / G", 8),
    ("flux_density_N_per_e_m_per_s", "B / N/(e·m/s)", 8),
    ("component", "Component", 2),
    ("probe_reversed", "Reversed", 3),
    ("x_mm", "x / mm", 5),
    ("y_mm", "y / mm", 5),
    ("z_mm", "z / mm", 5),
    ("wire_current_A", "Wire I / A", 6),
    ("wire_length_mm", "Wire / mm", 6),
    ("force_mN", "Force / mN", 7),
];
const MASS: (&str, &str, u8) = ("mass_mg", "Mass / mg", 7);

fn table(app: &App, file: &str) -> Grid {
    grid(&raw_file(&app.root, file).map(|raw| raw.text).unwrap_or_default())
}

/// Tables of field readings that are there, the probe's first.
fn files(app: &App) -> Vec<String> {
    let entries = std::fs::read_dir(&app.root).into_iter().flatten().flatten();
    let mut names: Vec<String> = entries
        .filter_map(|entry| entry.file_name().into_string().ok())
        .filter(|name| is_field(name))
        .collect();
    names.sort_by_key(|name| (name == BALANCE, name.clone()));
    names
}

/// Whether a name is one of the field's tables: nothing else can be changed from here.
fn is_field(name: &str) -> bool {
    let number = name.strip_prefix("field-probe-").and_then(|rest| rest.strip_suffix(".csv"));
    name == PROBE
        || name == BALANCE
        || number.is_some_and(|n| !n.is_empty() && n.bytes().all(|b| b.is_ascii_digit()))
}

/// The unit in which the probe's table is written; none while it has no column of flux density.
fn unit(grid: &Grid) -> Option<&str> {
    grid.columns.iter().find_map(|name| name.strip_prefix("flux_density_"))
}

/// The next reading of probe or balance.
pub(super) fn entry(app: &App) -> Markup {
    let probe = table(app, PROBE);
    let unit = unit(&probe).unwrap_or("mT");
    let is_fixed = !probe.rows.is_empty();
    let balance = table(app, BALANCE);
    let by_mass = balance.columns.iter().any(|name| name == "mass_mg");
    html! {
        form #next-field.next autocomplete="off" aria-label="The next reading of the field" {
            fieldset.which { legend.unseen { "Instrument" }
                label { input type="radio" name="file" value=(PROBE) checked; " Probe" }
                label { input type="radio" name="file" value=(BALANCE); " Current balance" }
            }
            div.row {
                label.large { span { "Coil " i.symbol { "I" } " / A" } input name="current_A" inputmode="decimal" size="6" required aria-describedby="field-said"; }
                label.large data-of=(PROBE) { span { i.symbol { "B" } " / " select name="unit" aria-label="Unit of the probe" disabled[is_fixed] { @for (value, shown) in UNITS { option value=(value) selected[value == unit] { (shown) } } } }
                    input name="flux_density" inputmode="decimal" size="6" aria-describedby="field-said"; }
                label.large data-of=(BALANCE) hidden { span { "Wire " i.symbol { "I" } " / A" } input name="wire_current_A" inputmode="decimal" size="5"; }
                label.large data-of=(BALANCE) hidden { span { "Wire’s length / mm" } input name="wire_length_mm" inputmode="decimal" size="5"; }
                label.large data-of=(BALANCE) hidden { span { select name="load" aria-label="What the balance shows" disabled[!balance.rows.is_empty()] {
                        option value="force_mN" selected[!by_mass] { "Force / mN" } option value="mass_mg" selected[by_mass] { "Mass / mg" } } }
                    input name="load_value" inputmode="decimal" size="6"; }
                button.main type="submit" { "Save" }
            }
            div.row data-of=(PROBE) {
                label.check { input type="checkbox" name="off"; " coils off" }
                label.check { input type="checkbox" name="reversed"; " probe turned end for end" }
                label { span { "Component" } select name="component" { option value="" { "z, along the axis" } option value="x" { "x" } option value="y" { "y" } } }
                label { span { "at x / mm" } input name="x_mm" inputmode="decimal" size="4" placeholder="0"; }
                label { span { "y / mm" } input name="y_mm" inputmode="decimal" size="4" placeholder="0"; }
                label { span { "z / mm" } input name="z_mm" inputmode="decimal" size="4" placeholder="0"; }
            }
            details.more {
                summary { "Paste from a spreadsheet" }
                label { span { "Rows with current and flux density, or with the file’s column names above them" }
                    textarea name="pasted" rows="4" cols="40" {} }
                button type="button" #paste { "Add these rows" }
            }
            div.row {
                button #field-undo type="button" disabled[app.undo.next(Of::Field).is_none()] { "Undo" }
                span #field-undo-words.quiet {}
            }
            p #field-said.said role="status" {}
            p.quiet { "Rows with the coils off and rows with the probe turned end for end tell the background from the probe’s zero. Current down to 0 before you touch a lead." }
        }
    }
}

/// The tables as they stand.
pub(super) fn tables(app: &App) -> Markup {
    let all: Vec<(String, Grid)> =
        files(app).into_iter().map(|file| (file.clone(), table(app, &file))).collect();
    let filled: Vec<_> = all.iter().filter(|(_, grid)| !grid.rows.is_empty()).collect();
    html! {
        div.field-tables {
            span #field-undo-next hidden data-undo=(app.undo.next(Of::Field).unwrap_or_default()) {}
            @if filled.is_empty() { p.empty { "No reading of the field yet: it rests on the coil geometry or a stated coil constant." } }
            @for (file, grid) in filled { (of_table(file, grid)) }
        }
    }
}

fn of_table(file: &str, grid: &Grid) -> Markup {
    let has = |name: &str| grid.rows.iter().any(|row| !grid.cell(row, name).is_empty());
    let shown: Vec<_> =
        COLUMNS.iter().chain([&MASS]).filter(|(name, ..)| *name == "current_A" || has(name)).collect();
    let what = if file == BALANCE { "Current balance" } else { "Probe" };
    html! {
        div.scroll tabindex="0" role="region" aria-label={ (what) ", " (file) } {
            table.readings.field data-file=(file) {
                caption.unseen { (what) ", " (file) }
                thead { tr { @for (_, heading, _) in &shown { th scope="col" { (heading) } } th scope="col" { span.unseen { "Actions" } } } }
                tbody { @for (at, row) in grid.rows.iter().enumerate() { (of_row(grid, row, at + 1, &shown)) } }
            }
        }
    }
}

fn of_row(grid: &Grid, row: &GridRow, number: usize, shown: &[&(&str, &str, u8)]) -> Markup {
    html! {
        tr data-line=(row.line) data-raw=(row.raw) {
            @for (name, heading, width) in shown {
                td data-heading=(heading) { input name=(name) value=(grid.cell(row, name)) data-seen=(grid.cell(row, name)) size=(width) aria-label={ "Row " (number) ", " (heading) } spellcheck="false"; }
            }
            td.acts { button type="button" data-remove-row aria-label={ "Delete row " (number) } { "Delete" } }
        }
    }
}

/// Rows to add: each as pairs of column and text, or as text from a spreadsheet.
#[derive(Debug, Deserialize)]
pub(crate) struct Add {
    file: String,
    /// Unit of the probe, while the table has no row yet.
    #[serde(default)]
    unit: String,
    #[serde(default)]
    cells: Vec<(String, String)>,
    #[serde(default)]
    pasted: String,
}

/// `/field/add`.
pub(crate) async fn add(State(app): State<Arc<App>>, Json(add): Json<Add>) -> Response {
    let change = move || {
        let rows = if add.pasted.trim().is_empty() {
            vec![add.cells.clone()]
        } else {
            pasted(&add.pasted, &add.file, unit(&table(&app, &add.file)).unwrap_or(&add.unit))
        };
        if rows.is_empty() || rows.len() > MOST_PASTED {
            let sentence = format!("1 to {MOST_PASTED} rows are taken at once; found {}", rows.len());
            return answer::trouble(
                StatusCode::UNPROCESSABLE_ENTITY,
                &sentence,
                "copy rows of numbers, current first",
            );
        }
        let words = if rows.len() == 1 {
            "field reading added".to_owned()
        } else {
            format!("{} field readings added", rows.len())
        };
        let done = edit(&app, &add.file, words, |text| {
            let begun = begin(text, &add.file, &add.unit);
            rows.iter().try_fold(begun, |text, cells| append_row(&add.file, &text, &pairs(cells)))
        });
        answered(&app, done, rows.len())
    };
    blocking(change).await.unwrap_or_else(broken)
}

/// The table's head in the unit that the probe shows, while no row binds it.
fn begin(text: &str, file: &str, asked: &str) -> String {
    let grid = grid(text);
    let known = UNITS.iter().any(|(unit, _)| *unit == asked);
    match unit(&grid) {
        Some(now) if file != BALANCE && known && grid.rows.is_empty() && now != asked => {
            text.replacen(&format!("flux_density_{now}"), &format!("flux_density_{asked}"), 1)
        }
        _ => text.to_owned(),
    }
}

/// Rows copied from a spreadsheet: tabs, semicolons or commas between cells; with or without names above.
fn pasted(text: &str, file: &str, unit: &str) -> Vec<Vec<(String, String)>> {
    let separator = ['\t', ';', ','].into_iter().find(|separator| text.contains(*separator)).unwrap_or('\t');
    let lines = text.lines().map(str::trim_end).filter(|line| !line.trim().is_empty());
    let mut rows: Vec<Vec<String>> = lines
        .map(|line| line.split(separator).map(|cell| cell.trim().trim_matches('"').to_owned()).collect())
        .collect();
    let flux = format!("flux_density_{}", if unit.is_empty() { "mT" } else { unit });
    let usual: Vec<String> = match file {
        BALANCE => ["current_A", "wire_current_A", "wire_length_mm", "mass_mg"].map(str::to_owned).to_vec(),
        _ => vec!["current_A".to_owned(), flux.clone(), "component".to_owned()],
    };
    let has_names = rows
        .first()
        .and_then(|row| row.first())
        .is_some_and(|cell| cell.chars().next().is_some_and(char::is_alphabetic));
    let names: Vec<String> =
        if has_names { rows.remove(0).iter().map(|name| named(name, &flux)).collect() } else { usual };
    let number = |cell: &str| if separator == ',' { cell.to_owned() } else { cell.replace(',', ".") };
    let one = |row: Vec<String>| {
        let cells = names.iter().zip(row).filter(|(name, cell)| !name.is_empty() && !cell.is_empty());
        cells
            .map(|(name, cell)| (name.clone(), if name == "remark" { cell } else { number(&cell) }))
            .collect()
    };
    rows.into_iter().map(one).filter(|row: &Vec<_>| !row.is_empty()).collect()
}

/// The file's column for a heading of a spreadsheet; empty for one that says nothing here.
fn named(heading: &str, flux: &str) -> String {
    let known = COLUMNS.iter().chain([&MASS]).find(|(name, ..)| name.eq_ignore_ascii_case(heading.trim()));
    if let Some((name, ..)) = known {
        return (*name).to_owned();
    }
    let short = heading.split(['/', '(', '[', ' ']).next().unwrap_or_default().trim().to_lowercase();
    match short.as_str() {
        "i" | "current" => "current_A".to_owned(),
        "b" | "field" | "flux" => flux.to_owned(),
        "component" | "reversed" | "remark" | "x" | "y" | "z" => match short.as_str() {
            "reversed" => "probe_reversed".to_owned(),
            "x" | "y" | "z" => format!("{short}_mm"),
            other => other.to_owned(),
        },
        _ => String::new(),
    }
}

fn pairs(cells: &[(String, String)]) -> Vec<(&str, &str)> {
    cells.iter().map(|(name, typed)| (name.as_str(), typed.as_str())).collect()
}

/// A change of one row, as it was seen.
#[derive(Debug, Deserialize)]
pub(crate) struct Set {
    file: String,
    line: usize,
    raw: String,
    #[serde(default)]
    cells: Vec<(String, String)>,
}

/// `/field/set`.
pub(crate) async fn set(State(app): State<Arc<App>>, Json(set): Json<Set>) -> Response {
    let change = move || {
        let done = edit(&app, &set.file, "field reading changed".to_owned(), |text| {
            set_cells(&set.file, text, set.line, &set.raw, &pairs(&set.cells))
        });
        answered(&app, done, 1)
    };
    blocking(change).await.unwrap_or_else(broken)
}

/// `/field/remove`.
pub(crate) async fn remove(State(app): State<Arc<App>>, Json(set): Json<Set>) -> Response {
    let change = move || {
        let done = edit(&app, &set.file, "field reading deleted".to_owned(), |text| {
            remove_row(&set.file, text, set.line, &set.raw)
        });
        answered(&app, done, 1)
    };
    blocking(change).await.unwrap_or_else(broken)
}

/// `/field/undo`.
pub(crate) async fn undo(State(app): State<Arc<App>>) -> Response {
    let change = move || {
        let done = {
            let _one = app.edit.lock();
            app.undo.take_back(&app.root, Of::Field)
        };
        match done {
            Ok(words) => answer::saved(&app, &json!({ "words": words })),
            Err(fault) => answer::refused(&fault),
        }
    };
    blocking(change).await.unwrap_or_else(broken)
}

fn answered(app: &App, done: Result<(), EditFault>, rows: usize) -> Response {
    match done {
        Ok(()) => answer::saved(app, &json!({ "rows": rows })),
        Err(fault) => answer::refused(&fault),
    }
}

fn edit(
    app: &App,
    file: &str,
    words: String,
    change: impl FnOnce(&str) -> Result<String, EditFault>,
) -> Result<(), EditFault> {
    if !is_field(file) {
        return Err(EditFault::NoPlace("there is no such table of field readings".to_owned()));
    }
    let _one = app.edit.lock();
    let raw = raw_file(&app.root, file).map_err(EditFault::Faults)?;
    let text = change(&raw.text)?;
    if text != raw.text {
        keep_text(&app.root, file, raw.sha256.as_deref(), &text)?;
        app.undo.remember(Change::new(words).with_text(&app.root, file, &raw));
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn shown(rows: &[Vec<(String, String)>]) -> Vec<String> {
        rows.iter()
            .map(|row| row.iter().map(|(name, cell)| format!("{name}={cell}")).collect::<Vec<_>>().join(" "))
            .collect()
    }

    #[test]
    fn rows_of_a_spreadsheet_are_taken_with_or_without_names() {
        let german = pasted("0,50\t0,389\n1,00\t0,778\tx\n\n", PROBE, "mT");
        assert_eq!(
            shown(&german),
            ["current_A=0.50 flux_density_mT=0.389", "current_A=1.00 flux_density_mT=0.778 component=x"]
        );
        let named = pasted("I / A;B / G;note\n1;7,8;warm\n", PROBE, "G");
        assert_eq!(shown(&named), ["current_A=1 flux_density_G=7.8"]);
        let balance = pasted("1.0,2.0,100,12.5", BALANCE, "");
        assert_eq!(shown(&balance), ["current_A=1.0 wire_current_A=2.0 wire_length_mm=100 mass_mg=12.5"]);
    }

    #[test]
    fn the_head_takes_the_probe_s_unit_until_a_row_binds_it() {
        let head = "current_A,flux_density_mT,component\n";
        assert_eq!(begin(head, PROBE, "G"), "current_A,flux_density_G,component\n");
        let bound = format!("{head}1,0.78,\n");
        assert_eq!(begin(&bound, PROBE, "G"), bound);
        assert_eq!(begin(head, PROBE, "furlong"), head);
        assert!(
            is_field("field-probe-2.csv") && !is_field("../field-probe.csv") && !is_field("readings.csv")
        );
    }
}
