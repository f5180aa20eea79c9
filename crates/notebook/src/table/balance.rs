//! `field-balance.csv`: coil current against the force on a straight wire.

use super::cell::{Bound, Cells};
use super::readings::metres;
use super::{Column, Table, optional, required};
use crate::fault::{Fault, Source, said};
use crate::file::TextFile;
use crate::record::{BalanceRow, BalanceTable, Load};

const COLUMNS: [Column; 6] = [
    required("current_A"),
    required("wire_current_A"),
    required("wire_length_mm"),
    optional("force_mN"),
    optional("mass_mg"),
    optional("remark"),
];

/// Reads the table; either every row is good or the faults come back.
pub(crate) fn read_balance(file: &TextFile) -> Result<BalanceTable, Vec<Fault>> {
    let source = Source { file: &file.input.file, text: &file.text };
    let mut table = Table::open(source, &COLUMNS).map_err(|sink| sink.into_faults())?;
    match (table.has("force_mN"), table.has("mass_mg")) {
        (true, true) => {
            let said = said(
                "both `force_mN` and `mass_mg`",
                "one of them",
                "keep the one the balance showed and delete the other",
            );
            table.header_fault(said);
        }
        (false, false) if !table.has_or_means(&["force_mN", "mass_mg"]) => {
            let said = said(
                "neither `force_mN` nor `mass_mg`",
                "one of them",
                "add the column of what the balance showed",
            );
            table.header_fault(said);
        }
        _ => {}
    }
    let mut rows = Vec::new();
    while let Some(cells) = table.next_row() {
        rows.extend(row(&mut table, &cells));
    }
    if table.sink.is_empty() {
        Ok(BalanceTable { rows, input: file.input.clone() })
    } else {
        Err(table.sink.into_faults())
    }
}

fn row(table: &mut Table<'_>, cells: &Cells<'_>) -> Option<BalanceRow> {
    // a calibration with reversed leads carries the sign here: the table has no `field_sense`
    let current_a = cells.needed_number(table, "current_A", Bound::Any);
    let wire_current_a = cells.needed_number(table, "wire_current_A", Bound::Any);
    let wire_length = cells.needed_number(table, "wire_length_mm", Bound::Positive);
    let load = if table.has("mass_mg") {
        cells.needed_number(table, "mass_mg", Bound::Any).map(|milligrams| Load::Mass(milligrams / 1e6))
    } else {
        cells.needed_number(table, "force_mN", Bound::Any).map(|millinewtons| Load::Force(millinewtons / 1e3))
    };
    Some(BalanceRow {
        current_a: current_a?,
        wire_current_a: wire_current_a?,
        wire_length_m: metres(wire_length?),
        load: load?,
        remark: cells.get(table, "remark").map(|cell| cell.text.into_owned()),
        line: cells.line(),
    })
}
