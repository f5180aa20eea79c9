//! Tables that scroll on a narrow page, and figures with their words and numbers.

use maud::{Markup, PreEscaped, html};

use crate::figure::{Figure, TextTable};

/// Longer tables may be broken over two sheets of paper.
const MOST_ROWS_KEPT_WHOLE: usize = 16;

/// A column's head, and whether it holds numbers.
pub(crate) struct Column {
    head: Markup,
    is_number: bool,
}

/// A column of numbers.
pub(crate) fn numbers(head: Markup) -> Column {
    Column { head, is_number: true }
}

/// A column of words.
pub(crate) fn words(head: &str) -> Column {
    Column { head: html! { (head) }, is_number: false }
}

/// A row of a table.
pub(crate) struct Row {
    cells: Vec<Markup>,
    struck: bool,
    /// Said below the row, over the whole width.
    note: Option<Markup>,
}

impl Row {
    pub(crate) fn new(cells: Vec<Markup>) -> Self {
        Row { cells, struck: false, note: None }
    }

    pub(crate) fn struck(mut self, is_struck: bool) -> Self {
        self.struck = is_struck;
        self
    }

    pub(crate) fn note(mut self, note: Option<Markup>) -> Self {
        self.note = note;
        self
    }
}

/// A table; the first column heads its row.
pub(crate) fn table(caption: &str, columns: &[Column], rows: &[Row]) -> Markup {
    // the caption stands outside what scrolls, so that a narrow page shows all of it
    html! {
        div.table.whole[rows.len() <= MOST_ROWS_KEPT_WHOLE] {
            p.caption { (caption) }
            div.scroll tabindex="0" role="region" aria-label=(caption) {
                table {
                    thead { tr { @for column in columns { th.number[column.is_number] scope="col" { (column.head) } } } }
                    tbody { @for row in rows { (of_row(columns, row)) } }
                }
            }
        }
    }
}

fn of_row(columns: &[Column], row: &Row) -> Markup {
    let is_number = |i: usize| columns.get(i).is_some_and(|column| column.is_number);
    html! {
        tr.struck[row.struck] {
            @for (i, cell) in row.cells.iter().enumerate() {
                @if i == 0 { th.number[is_number(i)] scope="row" { (cell) } }
                @else { td.number[is_number(i)] { (cell) } }
            }
        }
        @if let Some(note) = &row.note {
            tr.note.struck[row.struck] { td colspan=(columns.len()) { (note) } }
        }
    }
}

/// A figure with its caption, and its data folded below it.
pub(crate) fn figure(figure: &Figure, caption: Markup) -> Markup {
    html! {
        figure.drawn {
            div.scroll tabindex="0" role="region" aria-label=(figure.title()) { (PreEscaped(figure.to_svg())) }
            figcaption { (caption) }
            details.data {
                summary { "Numbers of this figure" }
                p { (figure.description()) }
                @for (at, table) in figure.tables().iter().enumerate() { (of_text(table, &format!("{}, table {}", figure.title(), at + 1))) }
            }
        }
    }
}

/// One of a figure's tables; `place` tells its region from all others of the page.
fn of_text(text: &TextTable, place: &str) -> Markup {
    html! {
        p.caption { (text.caption) }
        div.scroll tabindex="0" role="region" aria-label=(place) {
            table {
                thead { tr { @for head in &text.columns { th.number scope="col" { (head) } } } }
                tbody { @for row in &text.rows { tr { @for cell in row { td.number { (cell) } } } } }
            }
        }
    }
}
