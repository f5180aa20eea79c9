//! A columns file: which heading of a spreadsheet stands for which column, and what is the same for every row.

use std::collections::BTreeMap;

use toml::Table as Tree;

use crate::fault::{Fault, quote};
use crate::file::TextFile;
use crate::nearest::nearest;

/// What a columns file says.
#[derive(Debug, Clone, Default)]
pub(super) struct Columns {
    /// Heading → known column.
    pub(super) meant: BTreeMap<String, &'static str>,
    /// Known column → what stands in it on every row.
    pub(super) constant: BTreeMap<&'static str, String>,
}

/// Reads the file; every fault at once.
pub(super) fn read_columns(file: &TextFile, known: &[&'static str]) -> Result<Columns, Vec<Fault>> {
    let name = &file.input.file;
    let tree: Tree = file.text.parse().map_err(|error: toml::de::Error| {
        let line =
            error.span().map(|span| 1 + file.text.get(..span.start).unwrap_or("").matches('\n').count());
        let mut fault = Fault::of_file(
            name,
            error.message(),
            "TOML: `[columns]` with lines such as `\"Spannung in V\" = \"voltage_V\"`",
            "put heading and column in quotation marks, one pair a line",
        );
        fault.line = line;
        vec![fault]
    })?;
    let (mut columns, mut faults) = (Columns::default(), Vec::new());
    for (table, entries) in &tree {
        let Some(entries) = entries.as_table().filter(|_| table == "columns" || table == "constant") else {
            faults.push(Fault::of_file(
                name,
                format!("{} at the top of the file", quote(table)),
                "the tables `[columns]` and `[constant]`",
                "move it into one of them, or delete it",
            ));
            continue;
        };
        for (key, value) in entries {
            let text = value.as_str().map_or_else(|| value.to_string(), str::to_owned);
            let (column, other) = if table == "columns" { (text, key) } else { (key.clone(), key) };
            match known.iter().copied().find(|known| *known == column) {
                Some(column) if table == "columns" => {
                    columns.meant.insert(other.trim().to_owned(), column);
                }
                Some(column) => {
                    let text = value.as_str().map_or_else(|| value.to_string(), str::to_owned);
                    columns.constant.insert(column, text);
                }
                None => faults.push(unknown(name, &column, known)),
            }
        }
    }
    if faults.is_empty() { Ok(columns) } else { Err(faults) }
}

fn unknown(file: &str, column: &str, known: &[&'static str]) -> Fault {
    let remedy = nearest(column, known)
        .map_or("leave out what arcmass has no column for".to_owned(), |near| format!("write `{near}`"));
    Fault::of_file(file, format!("column {}", quote(column)), super::list(known), remedy)
}
