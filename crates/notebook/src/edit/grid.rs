//! A table as rows of cells that a person types into: one cell or row changed, all other bytes kept.

use std::ops::Range;

use super::{EditFault, new_faults, one_line};
use crate::fault::Faults;
use crate::table::{Row, Rows};

/// A table as it stands, without judging it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Grid {
    /// Names of the columns.
    pub columns: Vec<String>,
    /// The rows below them.
    pub rows: Vec<GridRow>,
    /// Between fields.
    pub separator: char,
}

/// One row of a table.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct GridRow {
    /// Line of the file, from 1.
    pub line: usize,
    /// One text a column; fewer or more if the row is ragged.
    pub cells: Vec<String>,
    /// The row as written.
    pub raw: String,
}

impl Grid {
    /// The text of a cell; empty where there is none.
    pub fn cell<'a>(&self, row: &'a GridRow, column: &str) -> &'a str {
        let at = self.columns.iter().position(|name| name == column);
        at.and_then(|at| row.cells.get(at)).map_or("", String::as_str)
    }
}

/// Splits a table's text.
pub fn grid(text: &str) -> Grid {
    let mut rows = Rows::new(text);
    let columns = rows.next().map(|row| texts(&row)).unwrap_or_default();
    let separator = rows.separator();
    let rows = rows
        .map(|row| GridRow {
            line: row.line,
            cells: texts(&row),
            raw: text.get(row.span.clone()).unwrap_or_default().to_owned(),
        })
        .collect();
    Grid { columns, rows, separator }
}

fn texts(row: &Row<'_>) -> Vec<String> {
    row.fields.iter().map(|field| field.text.trim().to_owned()).collect()
}

/// Sets cells of one row; columns that are not there are added at the right.
///
/// - **Takes** the file's name and text, the row as the person saw it, and pairs of column and new text.
/// - **Fails** with [`EditFault::Changed`] where no such row stands at or near that line any more.
pub fn set_cells(
    file: &str,
    text: &str,
    line: usize,
    raw: &str,
    cells: &[(&str, &str)],
) -> Result<String, EditFault> {
    let widened = with_columns(text, cells);
    // a widened row has gained empty fields at its end
    let tail = widened.gained;
    let seen = format!("{raw}{tail}");
    let text_now = widened.text;
    let (span, row) = still_there(file, &text_now, line, &seen)?;
    let grid = grid(&text_now);
    let mut fields = row;
    fields.resize(grid.columns.len().max(fields.len()), String::new());
    put(&grid, &mut fields, cells);
    let mut new = text_now;
    new.replace_range(span, &joined(&fields, grid.separator));
    checked(file, text, new)
}

/// Sets cells in every row of the run that a row belongs to: what is said of a run must agree in its rows.
///
/// - **Takes** and **fails** as [`set_cells`].
pub fn set_cells_of_run(
    file: &str,
    text: &str,
    line: usize,
    raw: &str,
    cells: &[(&str, &str)],
) -> Result<String, EditFault> {
    let (_, row) = still_there(file, text, line, raw)?;
    let at = grid(text).columns.iter().position(|name| name == "run");
    let run = at.and_then(|at| row.get(at)).cloned().unwrap_or_default();
    set_cells_of(file, text, Some(&run), cells)
}

/// Sets cells in every row of a run, or of all runs where none is named.
///
/// - **Fails** with [`EditFault::Faults`] where the table could no longer be read.
pub fn set_cells_of(
    file: &str,
    text: &str,
    run: Option<&str>,
    cells: &[(&str, &str)],
) -> Result<String, EditFault> {
    let mut new = with_columns(text, cells).text;
    let grid = grid(&new);
    let spans: Vec<Range<usize>> = Rows::new(&new).skip(1).map(|row| row.span).collect();
    for (row, span) in grid.rows.iter().zip(spans).rev() {
        if run.is_some_and(|run| grid.cell(row, "run") != run) {
            continue;
        }
        let mut fields = row.cells.clone();
        fields.resize(grid.columns.len().max(fields.len()), String::new());
        put(&grid, &mut fields, cells);
        new.replace_range(span, &joined(&fields, grid.separator));
    }
    checked(file, text, new)
}

/// Puts another text in place of `old` wherever it stands in these columns, such as a photograph's new name.
///
/// - **Fails** with [`EditFault::Faults`] where the table could no longer be read.
pub fn replace_in_columns(
    file: &str,
    text: &str,
    columns: &[&str],
    old: &str,
    typed: &str,
) -> Result<String, EditFault> {
    let mut new = text.to_owned();
    let grid = grid(text);
    let spans: Vec<Range<usize>> = Rows::new(text).skip(1).map(|row| row.span).collect();
    for (row, span) in grid.rows.iter().zip(spans).rev() {
        let names = columns.iter().filter(|column| grid.cell(row, column) == old);
        let cells: Vec<(&str, &str)> = names.map(|column| (*column, typed)).collect();
        if !cells.is_empty() {
            let mut fields = row.cells.clone();
            put(&grid, &mut fields, &cells);
            new.replace_range(span, &joined(&fields, grid.separator));
        }
    }
    checked(file, text, new)
}

fn put(grid: &Grid, fields: &mut [String], cells: &[(&str, &str)]) {
    for (column, typed) in cells {
        let at = grid.columns.iter().position(|name| name == column);
        if let Some(field) = at.and_then(|at| fields.get_mut(at)) {
            *field = plain(typed, grid.separator);
        }
    }
}

/// Adds a row at the end.
pub fn append_row(file: &str, text: &str, cells: &[(&str, &str)]) -> Result<String, EditFault> {
    let mut new = with_columns(text, cells).text;
    let grid = grid(&new);
    let ending = if text.contains("\r\n") { "\r\n" } else { "\n" };
    let fields = grid.columns.iter().map(|column| {
        let typed = cells.iter().find(|(name, _)| name == column).map_or("", |(_, typed)| typed);
        plain(typed, grid.separator)
    });
    let fields: Vec<String> = fields.collect();
    if !new.is_empty() && !new.ends_with(['\n', '\r']) {
        new.push_str(ending);
    }
    new.push_str(&joined(&fields, grid.separator));
    new.push_str(ending);
    checked(file, text, new)
}

/// Takes a row out again, as it was seen.
pub fn remove_row(file: &str, text: &str, line: usize, raw: &str) -> Result<String, EditFault> {
    let (span, _) = find(text, line, raw).map_err(|now| EditFault::Changed {
        file: file.to_owned(),
        now: now.map_or_else(|| "no such row".to_owned(), |raw| format!("`{raw}`")),
    })?;
    let mut end = span.end;
    let rest = text.get(end..).unwrap_or_default();
    end += if rest.starts_with("\r\n") { 2 } else { usize::from(rest.starts_with(['\n', '\r'])) };
    let mut new = text.to_owned();
    new.replace_range(span.start..end, "");
    checked(file, text, new)
}

fn checked(file: &str, old: &str, new: String) -> Result<String, EditFault> {
    let faults = new_faults(file, old, &new);
    if faults.is_empty() { Ok(new) } else { Err(EditFault::Faults(Faults(faults))) }
}

struct Widened {
    text: String,
    gained: String,
}

/// The text with every column that is asked for and not empty; rows get empty fields there.
fn with_columns(text: &str, cells: &[(&str, &str)]) -> Widened {
    let mut rows = Rows::new(text);
    let Some(header) = rows.next() else {
        let names: Vec<String> = cells.iter().map(|(name, _)| (*name).to_owned()).collect();
        return Widened { text: format!("{text}{}\n", names.join(",")), gained: String::new() };
    };
    let separator = rows.separator();
    let known = texts(&header);
    let fresh =
        cells.iter().filter(|(name, typed)| !typed.trim().is_empty() && !known.iter().any(|k| k == name));
    let fresh: Vec<&str> = fresh.map(|(name, _)| *name).collect();
    if fresh.is_empty() {
        return Widened { text: text.to_owned(), gained: String::new() };
    }
    let gained: String = fresh.iter().map(|_| separator).collect();
    let spans: Vec<Range<usize>> = rows.map(|row| row.span).collect();
    let mut new = text.to_owned();
    for span in spans.iter().rev() {
        new.insert_str(span.end, &gained);
    }
    let names: String = fresh.iter().map(|name| format!("{separator}{name}")).collect();
    new.insert_str(header.span.end, &names);
    Widened { text: new, gained }
}

/// The row as the person saw it, or what stands there now.
fn still_there(
    file: &str,
    text: &str,
    line: usize,
    raw: &str,
) -> Result<(Range<usize>, Vec<String>), EditFault> {
    find(text, line, raw).map_err(|now| EditFault::Changed {
        file: file.to_owned(),
        now: now.map_or_else(|| "no such row".to_owned(), |raw| format!("`{raw}`")),
    })
}

/// The row that was seen: at its line, or wherever the one row with that text stands now.
fn find(text: &str, line: usize, raw: &str) -> Result<(Range<usize>, Vec<String>), Option<String>> {
    let mut rows = Rows::new(text);
    rows.next();
    let all: Vec<Row<'_>> = rows.collect();
    let is_it = |row: &&Row<'_>| text.get(row.span.clone()) == Some(raw);
    let at_line = all.iter().find(|row| row.line == line);
    let alike: Vec<&Row<'_>> = all.iter().filter(is_it).collect();
    let found = at_line.filter(is_it).or(match alike.as_slice() {
        [one] => Some(*one),
        _ => None,
    });
    match found {
        Some(row) => Ok((row.span.clone(), texts(row))),
        None => Err(at_line.and_then(|row| text.get(row.span.clone())).map(str::to_owned)),
    }
}

/// A typed number with a decimal comma gets a point where the comma separates.
fn plain(typed: &str, separator: char) -> String {
    let text = one_line(typed);
    let is_number = text.chars().all(|c| c.is_ascii_digit() || matches!(c, ',' | '-' | '\u{2212}' | '+'));
    if separator == ',' && is_number && text.matches(',').count() == 1 {
        text.replace(',', ".")
    } else {
        text
    }
}

fn joined(fields: &[String], separator: char) -> String {
    let quoted = fields.iter().map(|field| {
        let needs = field.contains([separator, '"']) || field.starts_with('#');
        if needs { format!("\"{}\"", field.replace('"', "\"\"")) } else { field.clone() }
    });
    quoted.collect::<Vec<_>>().join(&separator.to_string())
}

#[cfg(test)]
mod tests {
    use super::*;

    const TABLE: &str =
        "# autumn\nrun,voltage_V,current_A,mood\n1,250.1,1.50,good\n# darker\n2,200,1.2,\"so, so\"\n";

    #[test]
    fn cells_change_and_everything_else_stays() {
        let new =
            set_cells("readings.csv", TABLE, 5, "2,200,1.2,\"so, so\"", &[("voltage_V", "201,5")]).unwrap();
        assert_eq!(new, TABLE.replace("2,200,", "2,201.5,"));
        let new =
            set_cells("readings.csv", TABLE, 3, "1,250.1,1.50,good", &[("struck_because", "blurred, dark")]);
        assert_eq!(
            new.unwrap(),
            "# autumn\nrun,voltage_V,current_A,mood,struck_because\n1,250.1,1.50,good,\"blurred, dark\"\n# darker\n\
             2,200,1.2,\"so, so\",\n"
        );
    }

    #[test]
    fn rows_come_and_go() {
        let new =
            append_row("readings.csv", TABLE, &[("run", "3"), ("voltage_V", "180"), ("current_A", "1.1")]);
        let new = new.unwrap();
        assert_eq!(new, format!("{TABLE}3,180,1.1,\n"));
        assert_eq!(remove_row("readings.csv", &new, 6, "3,180,1.1,").unwrap(), TABLE);
        let cr = "run;voltage_V;current_A\r\n1;250,1;1,5";
        let new = append_row("readings.csv", cr, &[("run", "2"), ("voltage_V", "1,5"), ("current_A", "2")]);
        assert_eq!(new.unwrap(), "run;voltage_V;current_A\r\n1;250,1;1,5\r\n2;1,5;2\r\n");
    }

    #[test]
    fn what_is_said_of_a_run_is_said_in_all_its_rows() {
        let table = "run,voltage_V,current_A\n1,250.1,1.50\n1,250.2,1.50\n2,200,1.2\n";
        let struck =
            set_cells_of_run("readings.csv", table, 3, "1,250.2,1.50", &[("struck_because", "blurred")])
                .unwrap();
        assert_eq!(
            struck,
            "run,voltage_V,current_A,struck_because\n1,250.1,1.50,blurred\n1,250.2,1.50,blurred\n2,200,1.2,\n"
        );
        let photo = set_cells_of("readings.csv", &struck, None, &[("scale_photo", "a.jpg")]).unwrap();
        let other = set_cells_of("readings.csv", &photo, Some("1"), &[("scale_photo", "b.jpg")]).unwrap();
        assert_eq!(other.matches("b.jpg").count(), 2);
        assert_eq!(other.matches("a.jpg").count(), 1);
        let late = set_cells_of_run("readings.csv", table, 3, "1,250.3,1.50", &[("remark", "x")]);
        assert!(matches!(late, Err(EditFault::Changed { .. })));
    }

    #[test]
    fn a_name_is_replaced_in_every_row_of_a_run_at_once() {
        let text = "run,voltage_V,current_A,ring_photo,scale_photo\n1,200,1.5,a.jpg,s.jpg\n1,201,1.5,a.jpg,s.jpg\n\
                    2,200,1.2,b.jpg,a.jpg\n";
        let put = |old, new| {
            replace_in_columns("readings.csv", text, &["ring_photo", "scale_photo"], old, new).unwrap()
        };
        assert_eq!(put("a.jpg", "c.jpg"), text.replace("a.jpg", "c.jpg"));
        assert_eq!(put("s.jpg", ""), text.replace("s.jpg", ""));
        assert_eq!(put("200", "201"), text, "other columns stay");
    }

    #[test]
    fn a_row_that_moved_is_found_and_one_that_changed_is_a_conflict() {
        let moved = format!("# a line more\n{TABLE}");
        assert!(set_cells("readings.csv", &moved, 3, "1,250.1,1.50,good", &[("mood", "bad")]).is_ok());
        let fault = set_cells("readings.csv", TABLE, 3, "1,250.0,1.50,good", &[("mood", "bad")]).unwrap_err();
        assert!(matches!(&fault, EditFault::Changed { now, .. } if now == "`1,250.1,1.50,good`"), "{fault}");
    }

    #[test]
    fn what_is_no_reading_is_refused() {
        for typed in ["abc", "-5", "1e999", "\u{1b}[2J"] {
            let fault =
                append_row("readings.csv", TABLE, &[("run", "3"), ("voltage_V", typed), ("current_A", "1")]);
            assert!(matches!(fault, Err(EditFault::Faults(_))), "{typed:?}");
        }
        let hostile = append_row(
            "readings.csv",
            TABLE,
            &[("run", "#x\",\n\"<script>"), ("voltage_V", "1"), ("current_A", "1")],
        );
        let new = hostile.unwrap();
        assert_eq!(grid(&new).rows[2].cells[0], "#x\", \"<script>");
    }
}
