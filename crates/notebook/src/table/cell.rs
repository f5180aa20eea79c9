//! One row's cells, and what may stand in one.

use std::borrow::Cow;
use std::ops::Range;

use arcmass_quantity::number::{self, NumberFault};

use super::{Table, list};
use crate::fault::{Said, Source, quote, said};

use super::split::Row;

/// A row with as many cells as the table has columns.
pub(crate) struct Cells<'a> {
    source: Source<'a>,
    row: Row<'a>,
    decimal_comma: bool,
}

/// One cell, trimmed.
#[derive(Debug, Clone)]
pub(crate) struct Cell<'a> {
    pub(crate) text: Cow<'a, str>,
    pub(crate) span: Range<usize>,
    pub(crate) line: usize,
    pub(crate) column: &'static str,
    decimal_comma: bool,
}

impl<'a> Cells<'a> {
    pub(super) fn new(source: Source<'a>, row: Row<'a>, separator: char) -> Self {
        Self { source, row, decimal_comma: separator != ',' }
    }

    /// Line of the row, counted from 1.
    pub(crate) fn line(&self) -> usize {
        self.row.line
    }

    /// A known column's cell, if the table has the column and something stands in it.
    pub(crate) fn get(&self, table: &Table<'_>, column: &'static str) -> Option<Cell<'a>> {
        self.at(table.position(column)?, column).filter(|cell| !cell.text.is_empty())
    }

    fn at(&self, position: usize, column: &'static str) -> Option<Cell<'a>> {
        let field = self.row.fields.get(position)?;
        Some(Cell {
            text: trimmed(&field.text),
            span: field.span.clone(),
            line: self.line_of(field.span.start),
            column,
            decimal_comma: self.decimal_comma,
        })
    }

    /// Fields after one in quotation marks may stand on a later line than the row's first.
    fn line_of(&self, at: usize) -> usize {
        let before = self.source.text.get(self.row.span.start..at).unwrap_or("");
        self.row.line + crate::fault::line_breaks(before)
    }

    /// The text in a column beyond the known ones.
    pub(crate) fn further(&self, position: usize) -> String {
        self.row.fields.get(position).map(|field| field.text.trim().to_owned()).unwrap_or_default()
    }

    /// The cell of a column that must be filled; a fault if it is empty.
    pub(crate) fn needed(&self, table: &mut Table<'_>, column: &'static str) -> Option<Cell<'a>> {
        let cell = self.at(table.position(column)?, column)?;
        if cell.text.is_empty() {
            let said = said(
                format!("nothing in `{column}`"),
                "a value in every row",
                "fill it in, or delete the row",
            );
            table.fault(&cell, said);
            return None;
        }
        Some(cell)
    }

    /// A number that must be there.
    pub(crate) fn needed_number(
        &self,
        table: &mut Table<'_>,
        column: &'static str,
        bound: Bound,
    ) -> Option<f64> {
        self.needed(table, column).and_then(|cell| cell.number(table, bound))
    }

    /// A number, if the cell holds anything.
    pub(crate) fn number(&self, table: &mut Table<'_>, column: &'static str, bound: Bound) -> Option<f64> {
        self.get(table, column).and_then(|cell| cell.number(table, bound))
    }
}

fn trimmed<'a>(text: &Cow<'a, str>) -> Cow<'a, str> {
    match text {
        Cow::Borrowed(text) => Cow::Borrowed(text.trim()),
        Cow::Owned(text) => Cow::Owned(text.trim().to_owned()),
    }
}

/// In which range a number must lie.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum Bound {
    /// Any finite number.
    Any,
    /// 0 or more.
    NotNegative,
    /// Above 0.
    Positive,
    /// Above the first up to the second.
    Within(f64, f64),
}

impl Bound {
    /// What lies inside, in words, if `value` doesn't.
    pub(crate) fn broken(self, value: f64) -> Option<String> {
        match self {
            Self::NotNegative if value < 0.0 => Some("0 or more".to_owned()),
            Self::Positive if value <= 0.0 => Some("a number above 0".to_owned()),
            Self::Within(low, high) if value <= low || value > high => {
                Some(format!("a number above {low} up to {high}"))
            }
            _ => None,
        }
    }
}

impl Cell<'_> {
    /// The cell as a number; a fault if it is none or lies outside its range.
    pub(crate) fn number(&self, table: &mut Table<'_>, bound: Bound) -> Option<f64> {
        let text = if self.decimal_comma { with_point(&self.text) } else { self.text.clone() };
        let value = match number::parse(&text) {
            Ok(value) => value,
            Err(fault) => {
                table.fault(self, number_fault(&self.text, self.column, &fault));
                return None;
            }
        };
        if let Some(accepted) = bound.broken(value) {
            let found = format!("{} in `{}`", quote(&self.text), self.column);
            table.fault(self, said(found, accepted, remedy_of(self.column)));
            return None;
        }
        Some(value)
    }

    /// The cell as one of several words; a fault if it is none of them.
    pub(crate) fn choice<T: Copy>(&self, table: &mut Table<'_>, words: &[(&str, T)]) -> Option<T> {
        let text = self.text.replace('\u{2212}', "-");
        let chosen = words.iter().find(|word| word.0 == text).map(|word| word.1);
        if chosen.is_none() {
            let names: Vec<_> = words.iter().map(|word| word.0).collect();
            let near = crate::nearest::nearest(&self.text, &names);
            let remedy = near.map_or("write one of these".to_owned(), |near| format!("write `{near}`"));
            let found = format!("{} in `{}`", quote(&self.text), self.column);
            table.fault(self, said(found, list(&names).replace(" and ", " or "), remedy));
        }
        chosen
    }
}

/// What to do about a number out of range, by column.
fn remedy_of(column: &str) -> String {
    let remedy = match column {
        "current_A" => {
            "write the current without sign; reversed leads are `-` in `field_sense`, and without current \
                        there is no ring"
        }
        "voltage_V" => "write the anode's voltage above the cathode, without sign",
        "gun_tilt_deg" => "write the same tilt between -180 and 180 degrees",
        _ => "check the number and the column it stands in",
    };
    remedy.to_owned()
}

/// `0,5` → `0.5`, where the table's separator leaves the comma free; anything else as it is.
fn with_point<'t>(text: &'t str) -> Cow<'t, str> {
    if text.matches(',').count() == 1 && !text.contains('.') {
        Cow::Owned(text.replace(',', "."))
    } else {
        Cow::Borrowed(text)
    }
}

/// The three parts of a fault for a text that is no number.
fn number_fault(text: &str, column: &str, fault: &NumberFault) -> Said {
    let found = format!("{} in `{column}`", quote(text));
    match fault {
        NumberFault::Empty => said("nothing", "a number", "write the number"),
        NumberFault::DecimalComma { .. } if text.contains('.') || text.matches(',').count() > 1 => said(
            format!("{found}, with marks between thousands"),
            "a number such as `1234.5`",
            "write it without marks between thousands",
        ),
        NumberFault::DecimalComma { instead, .. } => said(
            format!("{found}, with a decimal comma"),
            "a decimal point",
            format!("write {}, or separate the columns by `;`", quote(instead)),
        ),
        NumberFault::NotFinite(_) => said(
            format!("{found}, which is not finite"),
            "a finite number",
            "write the number, or leave the field empty where the column may be empty",
        ),
        _ => said(
            format!("{found}, which is not a number"),
            "a number such as `1.500`, without unit",
            "write the number alone; the unit stands in the column's name",
        ),
    }
}
