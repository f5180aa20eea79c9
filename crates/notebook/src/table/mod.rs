//! Tables of the notebook: columns by name, cells with their place, every fault gathered.

mod balance;
mod cell;
mod class;
mod columns;
mod marks;
mod probe;
mod readings;
mod split;

pub(crate) use balance::read_balance;
pub use class::read_class;
pub(crate) use marks::read_marks;
pub(crate) use probe::read_probe;
pub(crate) use readings::read_readings;

use std::ops::Range;

use crate::fault::{Sink, Source, quote, said};
use crate::nearest::nearest;
use cell::{Cell, Cells};
pub(crate) use split::{Row, Rows};

/// More columns than any notebook's table has.
const MOST_COLUMNS: usize = 256;

/// More rows than a person reads or a probe is moved; a logger's raw record may have them.
const MOST_ROWS: usize = 500_000;

/// A column that a table may have.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Column {
    pub(crate) name: &'static str,
    pub(crate) required: bool,
}

pub(crate) const fn required(name: &'static str) -> Column {
    Column { name, required: true }
}

pub(crate) const fn optional(name: &'static str) -> Column {
    Column { name, required: false }
}

/// One table's header and the faults met so far.
pub(crate) struct Table<'a> {
    source: Source<'a>,
    rows: Rows<'a>,
    /// Name of each column, in order.
    header: Vec<Heading<'a>>,
    header_line: usize,
    header_span: Range<usize>,
    /// Known columns that a column with another name looks like.
    meant: Vec<&'static str>,
    row_count: usize,
    pub(crate) sink: Sink,
}

struct Heading<'a> {
    name: std::borrow::Cow<'a, str>,
    span: Range<usize>,
    known: Option<&'static str>,
}

impl<'a> Table<'a> {
    /// Reads the header; none if the table has none, with the fault in the second place.
    pub(crate) fn open(source: Source<'a>, columns: &[Column]) -> Result<Self, Sink> {
        Self::open_as(source, columns, &|_| None)
    }

    /// The same, with headings of another table's own making told apart by `meant`: heading → known column.
    pub(crate) fn open_as(
        source: Source<'a>,
        columns: &[Column],
        meant: &dyn Fn(&str) -> Option<&'static str>,
    ) -> Result<Self, Sink> {
        let mut rows = Rows::new(source.text);
        let mut sink = Sink::default();
        let Some(header) = rows.next() else {
            let names: Vec<_> = columns.iter().filter(|c| c.required).map(|c| c.name).collect();
            sink.push_made(|| {
                source.fault(
                    0..0,
                    Some(1),
                    said(
                        "an empty table",
                        format!("a first line that names the columns, with at least {}", list(&names)),
                        "write that line, or delete the file",
                    ),
                )
            });
            return Err(sink);
        };
        if header.field_count > MOST_COLUMNS {
            let found = format!("{} columns", header.field_count);
            let said =
                said(found, format!("at most {MOST_COLUMNS}"), "check that this is the table you mean");
            sink.push_made(|| source.fault(header.span.clone(), Some(header.line), said));
            return Err(sink);
        }
        let (header_line, header_span) = (header.line, header.span.clone());
        let header = header.fields.into_iter().map(|field| Heading {
            known: meant(field.text.trim())
                .or_else(|| columns.iter().map(|column| column.name).find(|name| *name == field.text.trim())),
            name: field.text,
            span: field.span,
        });
        let header = header.collect();
        let mut table =
            Self { source, rows, header, header_line, header_span, meant: Vec::new(), row_count: 0, sink };
        table.check_header(columns);
        Ok(table)
    }

    fn check_header(&mut self, columns: &[Column]) {
        let known: Vec<_> = columns.iter().map(|column| column.name).collect();
        for (at, heading) in self.header.iter().enumerate() {
            let name = heading.name.trim();
            let twice = !name.is_empty()
                && self.header.iter().take(at).any(|other| {
                    other.name.trim() == name || (heading.known.is_some() && other.known == heading.known)
                });
            let near = if heading.known.is_none() { nearest(name, &known) } else { None };
            let said = if twice {
                said(
                    format!("a second column {}", quote(name)),
                    "one column of each name",
                    "rename or delete one",
                )
            } else if let Some(near) = near {
                self.meant.push(near);
                near_miss(name, near)
            } else {
                continue;
            };
            self.sink.push_made(|| self.source.fault(heading.span.clone(), Some(self.header_line), said));
        }
        let lacking = columns.iter().filter(|column| column.required && !self.has_or_means(&[column.name]));
        let lacking: Vec<_> = lacking.map(|column| column.name).collect();
        for name in lacking {
            self.header_fault(self.lacks(name));
        }
    }

    /// What to say of a column that isn't there.
    fn lacks(&self, name: &str) -> crate::fault::Said {
        let numbers = self.header.iter().all(|h| arcmass_quantity::number::parse(&h.name).is_ok());
        let names: Vec<_> = self.header.iter().map(|heading| heading.name.trim()).collect();
        let remedy = if numbers {
            "put a line with the names of the columns above the numbers".to_owned()
        } else {
            format!("add the column, or name it `{name}` if it is there under another name")
        };
        let found = format!("no column `{name}`; the columns are {}", quote(&names.join(", ")));
        said(found, format!("a column `{name}`"), remedy)
    }

    /// A fault of the header line as a whole.
    pub(crate) fn header_fault(&mut self, said: crate::fault::Said) {
        self.sink.push_made(|| self.source.fault(self.header_span.clone(), Some(self.header_line), said));
    }

    /// Whether the table has this known column.
    pub(crate) fn has(&self, name: &str) -> bool {
        self.header.iter().any(|heading| heading.known == Some(name))
    }

    /// Whether the table has one of these columns, or one that looks like it.
    pub(crate) fn has_or_means(&self, names: &[&str]) -> bool {
        names.iter().any(|name| self.has(name) || self.meant.contains(name))
    }

    /// Where a known column stands.
    pub(crate) fn position(&self, name: &str) -> Option<usize> {
        self.header.iter().position(|heading| heading.known == Some(name))
    }

    /// Columns beyond the known ones: place and name.
    pub(crate) fn further(&self) -> Vec<(usize, String)> {
        let further = self.header.iter().enumerate().filter(|(_, heading)| heading.known.is_none());
        let named = further.map(|(at, heading)| (at, crate::fault::printable(heading.name.trim())));
        named.filter(|(_, name)| !name.is_empty()).collect()
    }

    /// The next row with as many fields as there are columns; others are faults and passed over.
    pub(crate) fn next_row(&mut self) -> Option<Cells<'a>> {
        loop {
            if let (cells, true) = self.next_any_row()? {
                return Some(cells);
            }
        }
    }

    /// The next row, and whether it has as many fields as there are columns; if not, that is a fault already told.
    pub(crate) fn next_any_row(&mut self) -> Option<(Cells<'a>, bool)> {
        loop {
            let row = self.rows.next()?;
            self.row_count += 1;
            if self.row_count > MOST_ROWS {
                let said = said(
                    format!("more than {MOST_ROWS} rows"),
                    format!("at most {MOST_ROWS}"),
                    "check that this is the table you mean; take means of what a logger recorded",
                );
                self.push(row.span.clone(), row.line, said);
                return None;
            }
            if let Some(open) = row.open_quote.clone() {
                let said = said(
                    "a quotation mark that is never closed",
                    "a closing quotation mark",
                    "close it, or delete it",
                );
                self.push(open, row.line, said);
                return Some((Cells::new(self.source, row, self.rows.separator()), false));
            } else if row.fields.iter().all(|field| field.text.trim().is_empty()) {
                // spreadsheets leave lines of bare separators
            } else if row.field_count != self.header.len() {
                let said = self.ragged(&row);
                self.push(row.span.clone(), row.line, said);
                return Some((Cells::new(self.source, row, self.rows.separator()), false));
            } else {
                self.check_nameless(&row);
                return Some((Cells::new(self.source, row, self.rows.separator()), true));
            }
        }
    }

    fn push(&mut self, span: Range<usize>, line: usize, said: crate::fault::Said) {
        let source = self.source;
        self.sink.push_made(|| source.fault(span, Some(line), said));
    }

    fn ragged(&self, row: &Row<'a>) -> crate::fault::Said {
        let (found, wanted) = (row.field_count, self.header.len());
        let separator = self.rows.separator();
        let line = self.source.text.get(row.span.clone()).unwrap_or("");
        let other =
            [',', ';', '\t'].into_iter().find(|c| *c != separator && line.matches(*c).count() + 1 == wanted);
        let remedy = if let (1, Some(_)) = (found, other) {
            let separator = if separator == '\t' { "a tab".to_owned() } else { format!("`{separator}`") };
            format!("separate the fields of every row as those of the first line, by {separator}")
        } else if found < wanted {
            "leave an empty field where nothing was read".to_owned()
        } else if separator == ',' {
            "a decimal comma counts as a separator here: write a point, or separate the columns by `;`; put a text \
             that holds a comma in quotation marks"
                .to_owned()
        } else {
            "put a text that holds the separator in quotation marks".to_owned()
        };
        let fields = if found == 1 { "field" } else { "fields" };
        said(format!("{found} {fields}"), format!("{wanted} fields, one a column"), remedy)
    }

    fn check_nameless(&mut self, row: &Row<'a>) {
        for (heading, field) in self.header.iter().zip(&row.fields) {
            if heading.name.trim().is_empty() && !field.text.trim().is_empty() {
                let said = said(
                    format!("{} in a column without a name", quote(&field.text)),
                    "a name above each column that is used",
                    "name the column, or empty the field",
                );
                let source = self.source;
                self.sink.push_made(|| source.fault(field.span.clone(), Some(row.line), said));
            }
        }
    }

    /// A fault at one cell.
    pub(crate) fn fault(&mut self, cell: &Cell<'_>, said: crate::fault::Said) {
        self.push(cell.span.clone(), cell.line, said);
    }
}

/// What to say of a name that looks like a known one.
fn near_miss(name: &str, near: &str) -> crate::fault::Said {
    said(
        format!("column {}", quote(name)),
        format!("`{near}`, which it looks like, or a name of its own"),
        format!("rename it `{near}` and give its values in that unit"),
    )
}

/// `` `a`, `b` and `c` ``.
pub(crate) fn list(names: &[&str]) -> String {
    let quoted: Vec<_> = names.iter().map(|name| format!("`{name}`")).collect();
    match quoted.split_last() {
        None => "nothing".to_owned(),
        Some((last, [])) => last.clone(),
        Some((last, rest)) => format!("{} and {last}", rest.join(", ")),
    }
}
