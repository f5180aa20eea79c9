//! `field-probe.csv`: coil current against flux density.

use super::cell::{Bound, Cells};
use super::readings::metres;
use super::{Column, Table, list, optional, required};
use crate::fault::{Fault, Source, said};
use crate::file::TextFile;
use crate::record::{Axis, ProbeRow, ProbeTable};
use arcmass_quantity::unit;

/// The ways to write the flux density: column, and the unit after `flux_density_`.
const FIELDS: [&str; 5] = [
    "flux_density_mT",
    "flux_density_T",
    "flux_density_uT",
    "flux_density_G",
    "flux_density_N_per_e_m_per_s",
];

const COLUMNS: [Column; 13] = [
    required("current_A"),
    optional(FIELDS[0]),
    optional(FIELDS[1]),
    optional(FIELDS[2]),
    optional(FIELDS[3]),
    optional(FIELDS[4]),
    optional("component"),
    optional("x_mm"),
    optional("y_mm"),
    optional("z_mm"),
    optional("bench_turned_deg"),
    optional("probe_reversed"),
    optional("remark"),
];

const COMPONENTS: [(&str, Axis); 3] = [("x", Axis::X), ("y", Axis::Y), ("z", Axis::Z)];
const REVERSED: [(&str, bool); 2] = [("yes", true), ("no", false)];

/// Reads the table; either every row is good or the faults come back.
pub(crate) fn read_probe(file: &TextFile) -> Result<ProbeTable, Vec<Fault>> {
    let source = Source { file: &file.input.file, text: &file.text };
    let mut table = Table::open(source, &COLUMNS).map_err(|sink| sink.into_faults())?;
    let field = field_column(&mut table);
    let unit_size = field.map_or(1.0, unit_size_t);
    let mut rows = Vec::new();
    while let Some(cells) = table.next_row() {
        rows.extend(row(&mut table, &cells, field, unit_size));
    }
    if table.sink.is_empty() {
        let unit = field.and_then(|name| name.strip_prefix("flux_density_")).unwrap_or_default();
        Ok(ProbeTable { rows, unit: unit.to_owned(), input: file.input.clone() })
    } else {
        Err(table.sink.into_faults())
    }
}

/// The one flux density column; a fault if there is none or more than one.
fn field_column(table: &mut Table<'_>) -> Option<&'static str> {
    let present: Vec<_> = FIELDS.into_iter().filter(|name| table.has(name)).collect();
    match present.as_slice() {
        [one] => Some(*one),
        [] => {
            if !table.has_or_means(&FIELDS) {
                let accepted = format!("one of {}", list(&FIELDS).replace(" and ", " or "));
                table.header_fault(said(
                    "no flux density column",
                    accepted,
                    "add it, in the unit the probe shows",
                ));
            }
            None
        }
        more => {
            let found = format!("{} columns of flux density: {}", more.len(), list(more));
            table.header_fault(said(found, "one", "keep the one the probe showed"));
            None
        }
    }
}

/// Size in tesla of the unit in a column's name; 1 N on one elementary charge at 1 m/s is 1/e tesla.
fn unit_size_t(column: &str) -> f64 {
    let symbol = match column.strip_prefix("flux_density_") {
        Some("N_per_e_m_per_s") => "N/(e m/s)",
        Some(symbol) => symbol,
        None => "T",
    };
    unit::parse(symbol).map_or(f64::NAN, |unit| unit.si)
}

fn row(
    table: &mut Table<'_>,
    cells: &Cells<'_>,
    field: Option<&'static str>,
    unit_size: f64,
) -> Option<ProbeRow> {
    // a calibration with reversed leads carries the sign here: the table has no `field_sense`
    let current_a = cells.needed_number(table, "current_A", Bound::Any);
    let flux_density = field.and_then(|field| cells.needed_number(table, field, Bound::Any));
    let component = cells.get(table, "component").map(|cell| cell.choice(table, &COMPONENTS));
    let mut at = |column| cells.number(table, column, Bound::Any).map_or(0.0, metres);
    let at_m = [at("x_mm"), at("y_mm"), at("z_mm")];
    let bench_turned_deg =
        cells.number(table, "bench_turned_deg", Bound::Within(-360.0, 360.0)).unwrap_or(0.0);
    let reversed = cells.get(table, "probe_reversed").map(|cell| cell.choice(table, &REVERSED));
    Some(ProbeRow {
        current_a: current_a?,
        flux_density_t: flux_density? * unit_size,
        component: component.flatten().unwrap_or_default(),
        at_m,
        bench_turned_deg,
        probe_reversed: reversed.flatten().unwrap_or(false),
        remark: cells.get(table, "remark").map(|cell| cell.text.into_owned()),
        line: cells.line(),
    })
}
