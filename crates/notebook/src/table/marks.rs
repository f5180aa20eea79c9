//! `marks/<photo name>.csv`: what a person marked by hand on one photograph.

use super::cell::{Bound, Cells};
use super::readings::metres;
use super::{Column, Table, optional, required};
use crate::fault::{Fault, Source, said};
use crate::file::TextFile;
use crate::record::{HandMark, HandMarks, MarkKind};

const COLUMNS: [Column; 6] = [
    required("what"),
    required("x_px"),
    required("y_px"),
    optional("along_mm"),
    optional("across_mm"),
    optional("remark"),
];

const KINDS: [(&str, MarkKind); 5] = [
    ("beam", MarkKind::Beam),
    ("scale", MarkKind::Scale),
    ("bulb", MarkKind::Bulb),
    ("coil", MarkKind::Coil),
    ("leave-out", MarkKind::LeaveOut),
];

/// Reads the table; either every row is good or the faults come back.
pub(crate) fn read_marks(file: &TextFile, photo: &str) -> Result<HandMarks, Vec<Fault>> {
    let source = Source { file: &file.input.file, text: &file.text };
    let mut table = Table::open(source, &COLUMNS).map_err(|sink| sink.into_faults())?;
    let mut marks = Vec::new();
    while let Some(cells) = table.next_row() {
        marks.extend(mark(&mut table, &cells));
    }
    if table.sink.is_empty() {
        Ok(HandMarks { photo: photo.to_owned(), marks, input: file.input.clone() })
    } else {
        Err(table.sink.into_faults())
    }
}

fn mark(table: &mut Table<'_>, cells: &Cells<'_>) -> Option<HandMark> {
    let word = cells.needed(table, "what");
    let what = word.as_ref().and_then(|word| word.choice(table, &KINDS));
    let x_px = cells.needed_number(table, "x_px", Bound::Any);
    let y_px = cells.needed_number(table, "y_px", Bound::Any);
    let along_m = cells.number(table, "along_mm", Bound::Any).map(metres);
    let across_m = cells.number(table, "across_mm", Bound::Any).map(metres);
    let blank = cells.get(table, "along_mm").is_none();
    if let (Some(MarkKind::Scale), Some(word), true) = (what, word, blank) {
        let said = said(
            "a mark on the scale without `along_mm`",
            "where on the scale it is, in millimetres",
            "fill in `along_mm`",
        );
        table.fault(&word, said);
        return None;
    }
    Some(HandMark { what: what?, x_px: x_px?, y_px: y_px?, along_m, across_m, line: cells.line() })
}
