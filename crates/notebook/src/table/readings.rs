//! `readings.csv`: one row a reading, the rows of one run grouped.

use std::collections::{BTreeMap, HashMap};
use std::str::FromStr;

use toml::value::Datetime;

use super::cell::{Bound, Cell, Cells};
use super::{Column, Table, optional, required};
use crate::fault::{Fault, Source, quote, said};
use crate::file::TextFile;
use crate::folder::name_fault;
use crate::record::{Diameter, DiameterKind, Edge, Reading, Readings, Run, Sense, View};

const COLUMNS: [Column; 18] = [
    required("run"),
    required("voltage_V"),
    required("current_A"),
    optional("field_sense"),
    optional("bench_turned_deg"),
    optional("gun_tilt_deg"),
    optional("ring_photo"),
    optional("scale_photo"),
    optional("view"),
    optional("diameter_mm"),
    optional("radius_mm"),
    optional("diameter_u_mm"),
    optional("diameter_kind"),
    optional("edge"),
    optional("beam_width_mm"),
    optional("taken_at"),
    optional("struck_because"),
    optional("remark"),
];

/// A larger diameter or radius is a slip, mm: 10 m; common practice, no source.
const LARGEST_LENGTH_MM: f64 = 1e4;

/// Columns before this one say which run it is and what the meters showed; the others must agree within a run.
const METERS: usize = 3;

const SENSES: [(&str, Sense); 2] = [("+", Sense::Plus), ("-", Sense::Minus)];
const VIEWS: [(&str, View); 2] = [("front", View::Front), ("side", View::Side)];
/// A diameter whose standard uncertainty is a larger share of it than this says nothing.
const LARGEST_SHARE: f64 = 1.0 / 3.0;
const KINDS: [(&str, DiameterKind); 3] =
    [("fit", DiameterKind::Fit), ("chord", DiameterKind::Chord), ("width", DiameterKind::Width)];
const EDGES: [(&str, Edge); 3] = [("centre", Edge::Centre), ("outer", Edge::Outer), ("inner", Edge::Inner)];

/// A run as it grows, with what its first row said.
struct Growing {
    run: Run,
    first_line: usize,
    first_row: Vec<Option<String>>,
}

/// Reads the table; either every row is good or the faults come back.
pub(crate) fn read_readings(file: &TextFile) -> Result<Readings, Vec<Fault>> {
    let source = Source { file: &file.input.file, text: &file.text };
    let mut table = Table::open(source, &COLUMNS).map_err(|sink| sink.into_faults())?;
    if table.has("diameter_mm") && table.has("radius_mm") {
        let said = said(
            "both `diameter_mm` and `radius_mm`",
            "one of them",
            "keep the one that was read and delete the other",
        );
        table.header_fault(said);
    }
    let further = table.further();
    let mut runs: Vec<Growing> = Vec::new();
    let mut known: HashMap<String, usize> = HashMap::new();
    while let Some(cells) = table.next_row() {
        let name = cells.needed(&mut table, "run").map(|cell| cell.text.into_owned());
        let reading = reading(&mut table, &cells, &further);
        let Some(name) = name else { continue };
        match known.get(&name).and_then(|at| runs.get_mut(*at)) {
            Some(growing) => {
                check_agreement(&mut table, &cells, growing);
                growing.run.readings.extend(reading);
            }
            None => {
                known.insert(name.clone(), runs.len());
                runs.push(begin(&mut table, &cells, name, reading));
            }
        }
    }
    if table.sink.is_empty() {
        let runs = runs.into_iter().map(|growing| growing.run).collect();
        let further_columns = further.into_iter().map(|(_, name)| name).collect();
        Ok(Readings { runs, further_columns, input: file.input.clone() })
    } else {
        Err(table.sink.into_faults())
    }
}

fn reading(table: &mut Table<'_>, cells: &Cells<'_>, further: &[(usize, String)]) -> Option<Reading> {
    let voltage_v = cells.needed_number(table, "voltage_V", Bound::Positive);
    let current_a = cells.needed_number(table, "current_A", Bound::Positive);
    let further: BTreeMap<_, _> =
        further.iter().map(|(at, name)| (name.clone(), cells.further(*at))).collect();
    Some(Reading { voltage_v: voltage_v?, current_a: current_a?, line: cells.line(), further })
}

fn begin(table: &mut Table<'_>, cells: &Cells<'_>, name: String, reading: Option<Reading>) -> Growing {
    let run = Run {
        run: name,
        readings: reading.into_iter().collect(),
        field_sense: choice(table, cells, "field_sense", &SENSES).unwrap_or_default(),
        bench_turned_deg: cells
            .number(table, "bench_turned_deg", Bound::Within(-360.0, 360.0))
            .unwrap_or(0.0),
        gun_tilt_deg: cells.number(table, "gun_tilt_deg", Bound::Within(-180.0, 180.0)).unwrap_or(0.0),
        ring_photo: photo(table, cells, "ring_photo"),
        scale_photo: photo(table, cells, "scale_photo"),
        view: choice(table, cells, "view", &VIEWS).unwrap_or_default(),
        diameter: diameter(table, cells),
        beam_width_m: cells.number(table, "beam_width_mm", Bound::Positive).map(metres),
        taken_at: taken_at(table, cells),
        struck_because: text(table, cells, "struck_because"),
        remark: text(table, cells, "remark"),
    };
    let first_row = COLUMNS.iter().skip(METERS).map(|column| text(table, cells, column.name)).collect();
    Growing { run, first_line: cells.line(), first_row }
}

fn text(table: &Table<'_>, cells: &Cells<'_>, column: &'static str) -> Option<String> {
    cells.get(table, column).map(|cell| cell.text.into_owned())
}

fn choice<T: Copy>(
    table: &mut Table<'_>,
    cells: &Cells<'_>,
    column: &'static str,
    words: &[(&str, T)],
) -> Option<T> {
    cells.get(table, column).and_then(|cell| cell.choice(table, words))
}

/// Millimetres to metres, by division so that 74.3 mm is the double nearest to 0.0743.
pub(super) fn metres(millimetres: f64) -> f64 {
    millimetres / 1000.0
}

fn photo(table: &mut Table<'_>, cells: &Cells<'_>, column: &'static str) -> Option<String> {
    let cell = cells.get(table, column)?;
    if let Some(said) = name_fault(&cell.text) {
        table.fault(&cell, said);
        return None;
    }
    Some(cell.text.into_owned())
}

fn diameter(table: &mut Table<'_>, cells: &Cells<'_>) -> Option<Diameter> {
    let standard_uncertainty_m = cells.number(table, "diameter_u_mm", Bound::NotNegative).map(metres);
    let kind = choice(table, cells, "diameter_kind", &KINDS).unwrap_or_default();
    let edge = choice(table, cells, "edge", &EDGES);
    let from_radius = table.has("radius_mm");
    let column = if from_radius { "radius_mm" } else { "diameter_mm" };
    let read = cells.number(table, column, Bound::Within(0.0, LARGEST_LENGTH_MM))?;
    let value_m = metres(if from_radius { 2.0 * read } else { read });
    if let (Some(u_m), Some(cell)) = (standard_uncertainty_m, cells.get(table, "diameter_u_mm"))
        && u_m > LARGEST_SHARE * value_m
    {
        let said = said(
            format!("{} in `diameter_u_mm` beside a diameter of {} mm", quote(&cell.text), 1e3 * value_m),
            "a standard uncertainty of at most a third of the diameter",
            "write the uncertainty in millimetres, or leave it empty",
        );
        table.fault(&cell, said);
    }
    Some(Diameter { value_m, standard_uncertainty_m, kind, edge, from_radius })
}

fn taken_at(table: &mut Table<'_>, cells: &Cells<'_>) -> Option<String> {
    let cell = cells.get(table, "taken_at")?;
    let parsed = Datetime::from_str(&cell.text).ok();
    if parsed.is_some_and(|at| at.date.is_some() && at.time.is_some() && at.offset.is_some()) {
        return Some(cell.text.into_owned());
    }
    let said = said(
        format!("{} in `taken_at`", quote(&cell.text)),
        "date, time and offset such as `2026-03-12T14:05:00+01:00` (RFC 3339)",
        "write it in that form, or leave it empty",
    );
    table.fault(&cell, said);
    None
}

/// Repeated readings of one setting: what a later row says must be what the first row says; an empty cell agrees.
fn check_agreement(table: &mut Table<'_>, cells: &Cells<'_>, growing: &Growing) {
    for (column, first) in COLUMNS.iter().skip(METERS).zip(&growing.first_row) {
        let Some(cell) = cells.get(table, column.name) else { continue };
        if first.as_deref().is_some_and(|first| same(first, &cell)) {
            continue;
        }
        let first = first.as_deref().map_or("nothing".to_owned(), quote);
        let (run, line) = (quote(&growing.run.run), growing.first_line);
        let said = said(
            format!(
                "{} in `{}`, but line {line} of the same run {run} has {first}",
                quote(&cell.text),
                column.name
            ),
            "rows of one run are repeated readings of one setting: all else is the same, or empty in later rows",
            format!("give this row a run of its own, or make it agree with line {line}"),
        );
        table.fault(&cell, said);
    }
}

fn same(first: &str, cell: &Cell<'_>) -> bool {
    let plain = |text: &str| text.replace('\u{2212}', "-").replace(',', ".");
    let (a, b) = (plain(first), plain(&cell.text));
    let numbers = a.parse::<f64>().ok().zip(b.parse::<f64>().ok());
    let is_number = cell.column.ends_with("_mm") || cell.column.ends_with("_deg");
    a == b || (is_number && numbers.is_some_and(|(a, b)| a == b))
}
