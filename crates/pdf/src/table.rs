//! A table of a page: which columns hold numbers, which rows are struck, which cells span others.

use serde::Serialize;

use crate::PdfError;
use crate::html::Element;
use crate::tree::{Part, Reader};

/// A table.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub(crate) struct Table {
    /// Whether each column holds numbers.
    numbers: Vec<bool>,
    heads: Vec<Cell>,
    rows: Vec<Row>,
}

/// A row.
#[derive(Debug, Clone, PartialEq, Serialize)]
struct Row {
    struck: bool,
    /// Said of the row above it.
    note: bool,
    cells: Vec<Cell>,
}

/// A cell, over `span` columns.
#[derive(Debug, Clone, PartialEq, Serialize)]
struct Cell {
    span: usize,
    kids: Vec<Part>,
}

/// Reads `table` with `thead` and `tbody`.
pub(crate) fn read(reader: &mut Reader, table: &Element) -> Result<Table, PdfError> {
    let (mut numbers, mut heads, mut rows) = (Vec::new(), Vec::new(), Vec::new());
    for part in table.elements() {
        for row in part.elements() {
            if part.name == "thead" {
                numbers = row.elements().map(|cell| cell.has("number")).collect();
                heads = cells(reader, row)?;
            } else {
                rows.push(Row {
                    struck: row.has("struck"),
                    note: row.has("note"),
                    cells: cells(reader, row)?,
                });
            }
        }
    }
    let width = |row: &Row| row.cells.iter().map(|cell| cell.span).sum::<usize>();
    let columns = rows.iter().map(width).max().unwrap_or(0).max(numbers.len());
    numbers.resize(columns, false);
    Ok(Table { numbers, heads, rows })
}

fn cells(reader: &mut Reader, row: &Element) -> Result<Vec<Cell>, PdfError> {
    let span = |cell: &Element| cell.attribute("colspan").and_then(|n| n.parse().ok()).unwrap_or(1);
    row.elements().map(|cell| Ok(Cell { span: span(cell), kids: reader.kids(cell)? })).collect()
}
