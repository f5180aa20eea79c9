//! The text form of a figure: every layer's numbers as a table.

use std::fmt;

use super::label::{plain, significant};
use super::panel::{Bar, Layer, Map, Panel, Point, Side};

/// Rows of a curve or band that are told; longer ones are thinned evenly, first and last kept.
const MOST_ROWS: usize = 25;

/// A table in words.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct TextTable {
    /// What it holds.
    pub caption: String,
    /// Heads of the columns.
    pub columns: Vec<String>,
    /// The rows, each with one entry a column.
    pub rows: Vec<Vec<String>>,
}

impl fmt::Display for TextTable {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        writeln!(f, "{}", self.caption)?;
        let count = |text: &str| text.chars().count();
        let widest = |column: usize| {
            let entries = self.rows.iter().filter_map(|row| row.get(column));
            entries.chain(self.columns.get(column)).map(|t| count(t)).max().unwrap_or(0)
        };
        for row in std::iter::once(&self.columns).chain(&self.rows) {
            let mut line = String::new();
            for (column, entry) in row.iter().enumerate() {
                let space = " ".repeat(widest(column) - count(entry).min(widest(column)));
                // Words to the left, numbers to the right.
                let words = self.rows.iter().any(|r| r.get(column).is_some_and(|e| !is_number(e)));
                line.push_str(if column > 0 { "  " } else { "" });
                line.push_str(&if words { format!("{entry}{space}") } else { format!("{space}{entry}") });
            }
            writeln!(f, "  {}", line.trim_end())?;
        }
        Ok(())
    }
}

fn is_number(text: &str) -> bool {
    text.chars().all(|c| c.is_ascii_digit() || matches!(c, '.' | 'e' | '-' | '\u{2212}'))
}

/// The tables of all panels; a panel that shares its x axis takes its head from the panel before.
pub(super) fn of_rows(rows: &[Vec<Panel>]) -> Vec<TextTable> {
    let mut tables = Vec::new();
    let mut shared = String::new();
    for panel in rows.iter().flatten() {
        if !panel.shares_x || shared.is_empty() {
            shared = plain(&panel.x.label);
        }
        tables.extend(panel.layers.iter().filter_map(|layer| of_layer(panel, &shared, layer)));
    }
    tables
}

fn of_layer(panel: &Panel, x: &str, layer: &Layer) -> Option<TextTable> {
    if panel.bare {
        // places on the paper mean nothing by themselves: the description tells them
        return None;
    }
    let x = x.to_owned();
    let y = plain(&panel.y.label);
    let titled = |name: &str, words: &str| if name.is_empty() { words.to_owned() } else { plain(name) };
    match layer {
        Layer::Points { meaning, name, points } => {
            Some(of_points(titled(name, meaning.words()), [x, y], points))
        }
        Layer::Curve { meaning, name, points } | Layer::Dots { meaning, name, points } => Some(TextTable {
            caption: titled(name, meaning.words()),
            columns: vec![x, y],
            rows: thinned(points).map(|p| p.map(significant).to_vec()).collect(),
        }),
        Layer::Band { meaning, name, points } => Some(TextTable {
            caption: format!("{}, band", titled(name, meaning.words())),
            columns: vec![x, format!("{y}, low"), format!("{y}, high")],
            rows: thinned(points).map(|p| p.map(significant).to_vec()).collect(),
        }),
        Layer::Rule { meaning, side, at, label } => {
            let axis = if *side == Side::Upright { x } else { y };
            let rows = vec![vec![significant(*at)]];
            Some(TextTable { caption: titled(label, meaning.words()), columns: vec![axis], rows })
        }
        Layer::Span { meaning, name, side, from, to } => {
            let axis = if *side == Side::Upright { x } else { y };
            let columns = vec![format!("{axis}, from"), format!("{axis}, to")];
            let rows = vec![vec![significant(*from), significant(*to)]];
            Some(TextTable { caption: titled(name, meaning.words()), columns, rows })
        }
        Layer::Bars { bars } => Some(of_bars(x, bars)),
        Layer::Map(map) => Some(of_map([x, y], map)),
        Layer::Note { at, text } => Some(TextTable {
            caption: plain(text),
            columns: vec![x, y],
            rows: vec![at.map(significant).to_vec()],
        }),
        // An outline and a photograph are told by the figure's description.
        Layer::Shape { .. } | Layer::Picture { .. } => None,
    }
}

fn of_points(caption: String, [x, y]: [String; 2], points: &[Point]) -> TextTable {
    let any = |has: fn(&Point) -> bool| points.iter().any(has);
    let (x_bars, y_bars, labels) =
        (any(|p| p.x_bar > 0.0), any(|p| p.y_bar > 0.0), any(|p| !p.label.is_empty()));
    let mut columns = Vec::new();
    let mut add = |wanted: bool, head: String| {
        if wanted {
            columns.push(head);
        }
    };
    add(labels, "point".to_owned());
    add(true, x.clone());
    add(x_bars, format!("{x}, bar \u{b1}"));
    add(true, y.clone());
    add(y_bars, format!("{y}, bar \u{b1}"));
    let row = |p: &Point| {
        let entries = [
            (labels, plain(&p.label)),
            (true, significant(p.x)),
            (x_bars, significant(p.x_bar)),
            (true, significant(p.y)),
            (y_bars, significant(p.y_bar)),
        ];
        entries.into_iter().filter(|(wanted, _)| *wanted).map(|(_, text)| text).collect()
    };
    TextTable { caption, columns, rows: points.iter().map(row).collect() }
}

fn of_bars(x: String, bars: &[Bar]) -> TextTable {
    let row = |bar: &Bar| vec![plain(&bar.name), significant(bar.value), plain(&bar.label)];
    let columns = vec!["bar".to_owned(), x.clone(), "as written".to_owned()];
    TextTable { caption: x, columns, rows: bars.iter().map(row).collect() }
}

/// A map as a small table: up to nine values each way.
fn of_map([x, y]: [String; 2], map: &Map) -> TextTable {
    let pick = |count: usize| {
        let most = count.min(9);
        (0..most).map(move |k| if most > 1 { k * (count - 1) / (most - 1) } else { 0 })
    };
    let mut columns = vec![format!("{y} \\ {x}")];
    columns.extend(pick(map.x.len()).map(|i| significant(map.x[i])));
    let row = |j: usize| {
        let values = pick(map.x.len()).map(|i| significant(map.at(i, j)));
        std::iter::once(significant(map.y[j])).chain(values).collect()
    };
    TextTable { caption: plain(&map.label), columns, rows: pick(map.y.len()).rev().map(row).collect() }
}

/// At most [`MOST_ROWS`] of the rows, evenly.
fn thinned<T>(rows: &[T]) -> impl Iterator<Item = &T> {
    let most = rows.len().min(MOST_ROWS);
    let at = move |k: usize| if most > 1 { k * (rows.len() - 1) / (most - 1) } else { 0 };
    (0..most).filter_map(move |k| rows.get(at(k)))
}
