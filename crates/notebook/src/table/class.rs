//! The class's table: one row a reading, the rows of one group gathered, faults kept with their group.

use std::collections::{BTreeMap, HashMap};
use std::path::Path;

use super::cell::{Bound, Cell, Cells};
use super::columns::{Columns, read_columns};
use super::{Column, Table, optional, required};
use crate::fault::{Fault, Faults, Source, quote, said};
use crate::file::{LARGEST_BENCH_FILE, LARGEST_TABLE, TextFile, read_text};
use crate::record::{
    AskedColumn, AskedColumns, ClassGroup, ClassMethod, ClassRow, ClassTable, Edge, Sense, Written,
};

const COLUMNS: [Column; 31] = [
    required("group"),
    optional("bench"),
    optional("voltage_V"),
    optional("voltage_kV"),
    optional("current_A"),
    optional("current_mA"),
    optional("diameter_mm"),
    optional("diameter_cm"),
    optional("diameter_m"),
    optional("radius_mm"),
    optional("radius_cm"),
    optional("radius_m"),
    optional("diameter_u_mm"),
    optional("diameter_u_cm"),
    optional("diameter_u_m"),
    optional("radius_u_mm"),
    optional("radius_u_cm"),
    optional("radius_u_m"),
    optional("flux_density_mT"),
    optional("flux_density_T"),
    optional("flux_density_G"),
    optional("flux_density_uT"),
    optional("speed_m_per_s"),
    optional("mass_kg"),
    optional("claimed_mass_kg"),
    optional("claimed_charge_to_mass_C_per_kg"),
    optional("method"),
    optional("field_sense"),
    optional("edge"),
    optional("bench_turned_deg"),
    optional("gun_tilt_deg"),
];

/// Kept, not read.
const REMARK: &str = "remark";

const VOLTAGES: [(&str, f64); 2] = [("voltage_V", 1.0), ("voltage_kV", 1e3)];
const CURRENTS: [(&str, f64); 2] = [("current_A", 1.0), ("current_mA", 1e-3)];
const LENGTHS: [(&str, f64); 6] = [
    ("diameter_mm", 1e-3),
    ("diameter_cm", 1e-2),
    ("diameter_m", 1.0),
    ("radius_mm", 1e-3),
    ("radius_cm", 1e-2),
    ("radius_m", 1.0),
];
const DIAMETER_US: [(&str, f64); 3] =
    [("diameter_u_mm", 1e-3), ("diameter_u_cm", 1e-2), ("diameter_u_m", 1.0)];
const RADIUS_US: [(&str, f64); 3] = [("radius_u_mm", 1e-3), ("radius_u_cm", 1e-2), ("radius_u_m", 1.0)];
const FIELDS: [(&str, f64); 4] =
    [("flux_density_mT", 1e-3), ("flux_density_T", 1.0), ("flux_density_G", 1e-4), ("flux_density_uT", 1e-6)];

const METHODS: [(&str, ClassMethod); 3] =
    [("mean", ClassMethod::Mean), ("mean-ratio", ClassMethod::MeanRatio), ("slope", ClassMethod::Slope)];
const SENSES: [(&str, Sense); 2] = [("+", Sense::Plus), ("-", Sense::Minus)];
const EDGES: [(&str, Edge); 3] = [("centre", Edge::Centre), ("outer", Edge::Outer), ("inner", Edge::Inner)];

/// Two numbers that differ by less are one claim: a claim repeated with other figures.
const SAME_CLAIM: f64 = 1e-9;

/// Reads a class's table, and the file that maps its headings, if there is one.
///
/// - **Gives** each group's good rows in SI units, and its faulty ones as faults of that group.
/// - **Fails** where the file or its heading can't be read at all, with every fault.
pub fn read_class(path: &Path, columns: Option<&Path>) -> Result<ClassTable, Faults> {
    let file = text(path, LARGEST_TABLE)?;
    let mut inputs = vec![file.input.clone()];
    let known: Vec<&'static str> = COLUMNS.iter().map(|column| column.name).chain([REMARK]).collect();
    let columns = match columns {
        Some(path) => {
            let file = text(path, LARGEST_BENCH_FILE)?;
            inputs.push(file.input.clone());
            read_columns(&file, &known).map_err(Faults)?
        }
        None => Columns::default(),
    };
    let mut table = read(&file, &columns).map_err(Faults)?;
    table.inputs = inputs;
    Ok(table)
}

fn text(path: &Path, limit: u64) -> Result<TextFile, Faults> {
    let name = path.display().to_string();
    match read_text(path, &name, limit) {
        Ok(Some(file)) => Ok(file),
        Ok(None) => Err(Faults(vec![Fault::of_file(
            &name,
            "no such file",
            "a table as text (CSV)",
            "check the name",
        )])),
        Err(faults) => Err(Faults(faults)),
    }
}

/// The columns that this table has.
struct Layout {
    asked: AskedColumns,
    length_u: Option<(&'static str, f64)>,
    further: Vec<(usize, String)>,
    columns: Columns,
}

fn read(file: &TextFile, columns: &Columns) -> Result<ClassTable, Vec<Fault>> {
    let source = Source { file: &file.input.file, text: &file.text };
    let meant = |heading: &str| columns.meant.get(heading).copied();
    let mut with_remark = COLUMNS.to_vec();
    with_remark.push(optional(REMARK));
    let mut table = Table::open_as(source, &with_remark, &meant).map_err(|sink| sink.into_faults())?;
    let layout = layout(&mut table, columns);
    let Some(layout) = layout.filter(|_| table.sink.is_empty()) else {
        return Err(std::mem::take(&mut table.sink).into_faults());
    };
    let mut gathered = Gathered::default();
    while let Some((cells, is_whole)) = table.next_any_row() {
        let key = key(&mut table, &cells, &layout);
        let row = if is_whole { row(&mut table, &cells, &layout) } else { None };
        let claims = if is_whole { Claims::of(&mut table, &cells, &layout) } else { Claims::default() };
        let faults = std::mem::take(&mut table.sink).into_faults();
        let Some(key) = key else {
            gathered.stray.extend(faults);
            continue;
        };
        let group = gathered.group(key);
        group.lines.push(cells.line());
        if faults.is_empty() {
            group.rows.extend(row);
        }
        group.faults.extend(faults);
        claims.join(group, &file.input.file, cells.line());
    }
    gathered.stray.extend(std::mem::take(&mut table.sink).into_faults());
    Ok(ClassTable {
        asked: layout.asked,
        groups: gathered.groups,
        stray_faults: gathered.stray,
        inputs: Vec::new(),
    })
}

#[derive(Default)]
struct Gathered {
    groups: Vec<ClassGroup>,
    places: HashMap<(String, Option<String>), usize>,
    stray: Vec<Fault>,
}

impl Gathered {
    fn group(&mut self, key: (String, Option<String>)) -> &mut ClassGroup {
        let next = self.groups.len();
        let place = *self.places.entry(key.clone()).or_insert(next);
        if place == next {
            self.groups.push(ClassGroup {
                group: key.0,
                bench: key.1,
                rows: Vec::new(),
                lines: Vec::new(),
                claimed_mass: None,
                claimed_ratio: None,
                method: None,
                faults: Vec::new(),
            });
        }
        &mut self.groups[place]
    }
}

/// The one of these columns that the table has; a fault for none where one is needed, and for two.
fn one_of(
    table: &mut Table<'_>,
    what: &str,
    names: &[(&'static str, f64)],
    is_needed: bool,
) -> Option<(&'static str, f64)> {
    let found: Vec<_> = names.iter().copied().filter(|(name, _)| table.has(name)).collect();
    let all: Vec<_> = names.iter().map(|(name, _)| *name).collect();
    match found.as_slice() {
        [] if is_needed && !table.has_or_means(&all) => {
            let said = said(
                format!("no column for the {what}"),
                format!("one of {}", super::list(&all)),
                "add it, or name it so; a file given with `--columns` maps other headings",
            );
            table.header_fault(said);
            None
        }
        [] => None,
        [one] => Some(*one),
        [first, second, ..] => {
            let said = said(
                format!("both `{}` and `{}`", first.0, second.0),
                "one of them",
                "keep the one that was asked for and delete the other",
            );
            table.header_fault(said);
            None
        }
    }
}

fn layout(table: &mut Table<'_>, columns: &Columns) -> Option<Layout> {
    let voltage = one_of(table, "accelerating voltage", &VOLTAGES, true);
    let current = one_of(table, "coil current", &CURRENTS, true);
    let length = one_of(table, "ring's diameter or radius", &LENGTHS, true);
    let field = one_of(table, "flux density", &FIELDS, false);
    let is_radius = length.is_some_and(|(name, _)| name.starts_with("radius"));
    let (own, other) = if is_radius { (&RADIUS_US, &DIAMETER_US) } else { (&DIAMETER_US, &RADIUS_US) };
    let length_u = one_of(table, "uncertainty", own, false).or_else(|| {
        let (name, unit) = one_of(table, "uncertainty", other, false)?;
        Some((name, if is_radius { 0.5 * unit } else { 2.0 * unit }))
    });
    let column = |(name, unit)| AskedColumn { name, unit };
    Some(Layout {
        asked: AskedColumns {
            voltage: column(voltage?),
            current: column(current?),
            length: column(length?),
            is_radius,
            flux_density: field.map(column),
        },
        length_u,
        further: table.further(),
        columns: columns.clone(),
    })
}

/// A cell's text, or what the columns file says of every row.
fn text_of(table: &Table<'_>, cells: &Cells<'_>, layout: &Layout, column: &'static str) -> Option<String> {
    let own = cells.get(table, column).map(|cell| cell.text.into_owned());
    own.or_else(|| layout.columns.constant.get(column).cloned())
}

fn key(table: &mut Table<'_>, cells: &Cells<'_>, layout: &Layout) -> Option<(String, Option<String>)> {
    let group = match layout.columns.constant.get("group") {
        Some(group) if !table.has("group") => group.clone(),
        _ => cells.needed(table, "group")?.text.into_owned(),
    };
    let has_bench = table.has("bench");
    let bench = text_of(table, cells, layout, "bench");
    if has_bench && bench.is_none() {
        let _ = cells.needed(table, "bench");
    }
    Some((crate::fault::printable(&group), bench.map(|bench| crate::fault::printable(&bench))))
}

/// Half a unit of the last figure, in the number's own unit.
fn half_unit(text: &str) -> f64 {
    let text = text.replace('\u{2212}', "-");
    let (mantissa, power) = match text.find(['e', 'E', '×', '*', '·']) {
        Some(at) => {
            let figures: String =
                text.get(at..).unwrap_or("").chars().filter(|c| c.is_ascii_digit() || *c == '-').collect();
            let figures =
                figures.strip_prefix("10").filter(|_| !text.contains(['e', 'E'])).unwrap_or(&figures);
            (text.get(..at).unwrap_or(""), figures.parse::<i32>().unwrap_or(0))
        }
        None => (text.as_str(), 0),
    };
    let decimals = mantissa
        .find(['.', ','])
        .map_or(0, |at| mantissa.get(at + 1..).unwrap_or("").chars().filter(char::is_ascii_digit).count());
    0.5 * 10.0_f64.powi(power - i32::try_from(decimals).unwrap_or(0))
}

fn written(table: &mut Table<'_>, cell: Option<Cell<'_>>, unit: f64, bound: Bound) -> Option<Written> {
    let cell = cell?;
    let value = cell.number(table, bound)?;
    let text = cell.text.into_owned();
    Some(Written { value: value * unit, half_unit: half_unit(&text) * unit, text })
}

fn row(table: &mut Table<'_>, cells: &Cells<'_>, layout: &Layout) -> Option<ClassRow> {
    let asked = &layout.asked;
    let needed = |table: &mut Table<'_>, column: &AskedColumn| {
        let cell = cells.needed(table, column.name);
        written(table, cell, column.unit, Bound::Positive)
    };
    let voltage = needed(table, &asked.voltage);
    let current = needed(table, &asked.current);
    let length = needed(table, &asked.length);
    let length_u_m =
        layout.length_u.and_then(|(name, unit)| Some(cells.number(table, name, Bound::Positive)? * unit));
    let own = |table: &mut Table<'_>, name: &'static str, unit: f64, bound: Bound| {
        let cell = cells.get(table, name);
        written(table, cell, unit, bound)
    };
    let flux_density =
        asked.flux_density.as_ref().and_then(|column| own(table, column.name, column.unit, Bound::Positive));
    let speed = own(table, "speed_m_per_s", 1.0, Bound::Positive);
    let mass = own(table, "mass_kg", 1.0, Bound::Positive);
    let field_sense = choice(table, cells, layout, "field_sense", &SENSES).unwrap_or_default();
    let edge = choice(table, cells, layout, "edge", &EDGES);
    let bench_turned_deg = angle(table, cells, layout, "bench_turned_deg");
    let gun_tilt_deg = angle(table, cells, layout, "gun_tilt_deg");
    let further: BTreeMap<_, _> =
        layout.further.iter().map(|(at, name)| (name.clone(), cells.further(*at))).collect();
    Some(ClassRow {
        line: cells.line(),
        voltage: voltage?,
        current: current?,
        length: length?,
        length_u_m,
        flux_density,
        speed,
        mass,
        field_sense,
        edge,
        bench_turned_deg,
        gun_tilt_deg,
        remark: text_of(table, cells, layout, REMARK),
        further,
    })
}

fn choice<T: Copy>(
    table: &mut Table<'_>,
    cells: &Cells<'_>,
    layout: &Layout,
    column: &'static str,
    words: &[(&str, T)],
) -> Option<T> {
    if let Some(cell) = cells.get(table, column) {
        return cell.choice(table, words);
    }
    let constant = layout.columns.constant.get(column)?;
    words.iter().find(|word| word.0 == constant).map(|word| word.1)
}

fn angle(table: &mut Table<'_>, cells: &Cells<'_>, layout: &Layout, column: &'static str) -> f64 {
    let own = cells.number(table, column, Bound::Within(-360.0001, 360.0));
    let constant = || layout.columns.constant.get(column).and_then(|text| text.parse().ok());
    own.or_else(constant).unwrap_or(0.0)
}

/// What one row says of its group's result.
#[derive(Default)]
struct Claims {
    mass: Option<Written>,
    ratio: Option<Written>,
    method: Option<ClassMethod>,
}

impl Claims {
    fn of(table: &mut Table<'_>, cells: &Cells<'_>, layout: &Layout) -> Self {
        let own = |table: &mut Table<'_>, name: &'static str| {
            let cell = cells.get(table, name);
            written(table, cell, 1.0, Bound::Positive)
        };
        Self {
            mass: own(table, "claimed_mass_kg"),
            ratio: own(table, "claimed_charge_to_mass_C_per_kg"),
            method: choice(table, cells, layout, "method", &METHODS),
        }
    }

    /// The same wherever it stands; another is a fault of the group.
    fn join(self, group: &mut ClassGroup, file: &str, line: usize) {
        let mut differ = Vec::new();
        let mut same = |kept: &mut Option<Written>, new: Option<Written>, column: &str| match (&kept, new) {
            (_, None) => {}
            (None, new) => *kept = new,
            (Some(old), Some(new)) if (old.value / new.value - 1.0).abs() < SAME_CLAIM => {}
            (Some(old), Some(new)) => differ.push((column.to_owned(), old.text.clone(), new.text)),
        };
        same(&mut group.claimed_mass, self.mass, "claimed_mass_kg");
        same(&mut group.claimed_ratio, self.ratio, "claimed_charge_to_mass_C_per_kg");
        match (group.method, self.method) {
            (None, new) => group.method = new,
            (Some(old), Some(new)) if old != new => {
                let word = |method| METHODS.iter().find(|m| m.1 == method).map_or("", |m| m.0).to_owned();
                differ.push(("method".to_owned(), word(old), word(new)));
            }
            _ => {}
        }
        for (column, old, new) in differ {
            let mut fault = Fault::of_file(
                file,
                format!("{} in `{column}`, and {} above it in the same group", quote(&new), quote(&old)),
                "one result a group, the same wherever it stands",
                "keep the one that the group stands by, and empty the others",
            );
            fault.line = Some(line);
            group.faults.push(fault);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn table(text: &str, columns: Columns) -> Result<ClassTable, Vec<Fault>> {
        let file = crate::file::text_file("class.csv", text.as_bytes().to_vec()).unwrap();
        read(&file, &columns)
    }

    #[test]
    fn rows_are_gathered_by_group_with_units_and_last_figures() {
        let text = "\u{feff}# a class\ngroup;voltage_kV;current_mA;radius_cm;radius_u_cm;claimed_mass_kg\n\
                    Ash;0,2503;1500;4,55;0,05;9,1e-31\nBirch;0,2;1,5e3;4;;\nAsh;0,2004;1500;4,1;0,05;9,1e-31\n";
        let table = table(text, Columns::default()).unwrap();
        assert!(table.asked.is_radius);
        let [ash, birch] = table.groups.as_slice() else { panic!("{table:?}") };
        assert_eq!((ash.lines.clone(), birch.lines.clone()), (vec![3, 5], vec![4]));
        let row = &ash.rows[0];
        assert!((row.voltage.value - 250.3).abs() < 1e-9 && (row.voltage.half_unit - 0.05).abs() < 1e-12);
        assert!((row.length.value - 0.0455).abs() < 1e-12 && (row.length_u_m.unwrap() - 5e-4).abs() < 1e-15);
        assert!((birch.rows[0].current.half_unit - 0.05).abs() < 1e-12, "{:?}", birch.rows[0].current);
        let claim = ash.claimed_mass.as_ref().unwrap();
        assert!((claim.half_unit / 0.05e-31 - 1.0).abs() < 1e-9);
        assert!(table.groups.iter().all(|group| group.faults.is_empty()));
    }

    #[test]
    fn a_faulty_row_is_its_groups_and_stops_no_other() {
        let text = "group,voltage_V,current_A,diameter_mm,claimed_mass_kg\nA,250,1.5,91,9.1e-31\nA,25O,1.5,91,9.2e-31\n\
                    B,250,1.5,91,\nC,250,1.5\n,1,1,1,1\n";
        let table = table(text, Columns::default()).unwrap();
        let [a, b, c] = table.groups.as_slice() else { panic!("{table:?}") };
        let found: Vec<_> = a.faults.iter().map(|fault| (fault.line, fault.found.as_str())).collect();
        assert_eq!(found.len(), 2, "{found:?}");
        assert_eq!(found[0].0, Some(3));
        assert!(found[1].1.contains("above it in the same group"), "{found:?}");
        assert!(b.faults.is_empty() && c.rows.is_empty() && c.faults.len() == 1);
        assert_eq!(table.stray_faults.len(), 1);
    }

    #[test]
    fn a_spreadsheets_own_headings_are_mapped() {
        let file = crate::file::text_file(
            "columns.toml",
            "[columns]\n\"Spannung in V\" = \"voltage_V\"\n\"Strom\" = \"current_A\"\nGruppe = \"group\"\n\
             [constant]\nbench = \"A\"\n"
                .as_bytes()
                .to_vec(),
        )
        .unwrap();
        let known: Vec<&'static str> = COLUMNS.iter().map(|column| column.name).collect();
        let columns = read_columns(&file, &known).unwrap();
        let text = "Gruppe\tSpannung in V\tStrom\tdiameter_mm\tNotiz\n1\t250\t1,5\t91\tgut\n";
        let table = table(text, columns).unwrap();
        assert_eq!(table.groups[0].bench.as_deref(), Some("A"));
        assert_eq!(table.groups[0].rows[0].further["Notiz"], "gut");
        let bad =
            crate::file::text_file("c.toml", b"[columns]\nx = \"voltage\"\n[other]\n".to_vec()).unwrap();
        assert_eq!(read_columns(&bad, &known).unwrap_err().len(), 2);
    }

    #[test]
    fn a_heading_without_what_is_needed_is_one_fault_each() {
        let faults = table("group,voltage_V,diameter_mm,radius_mm\n", Columns::default()).unwrap_err();
        let found: Vec<_> = faults.iter().map(|fault| fault.found.as_str()).collect();
        assert_eq!(found, ["no column for the coil current", "both `diameter_mm` and `radius_mm`"]);
    }

    #[test]
    fn the_last_figure_of_a_number_is_found() {
        for (text, expected) in [
            ("9.11e-31", 0.005e-31),
            ("2503", 0.5),
            ("0.9550", 5e-5),
            ("1,07e-30", 0.005e-30),
            ("1.5e3", 50.0),
        ] {
            assert!((half_unit(text) / expected - 1.0).abs() < 1e-9, "{text}: {}", half_unit(text));
        }
    }
}
