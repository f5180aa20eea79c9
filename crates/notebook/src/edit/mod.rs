//! Changes to the files a person keeps: one key or cell at a time, the rest byte for byte as it was.
//!
//! A change is made on the file's text, checked by reading the whole of it again, and written beside, flushed and
//! renamed only if the file is still the one the person saw.

mod bench;
mod grid;
mod keep;
mod typed;

pub use bench::{BenchChange, BenchKey, KeyForm, bench_keys, bench_value, set_bench_value, set_bench_values};
pub use grid::{
    Grid, GridRow, append_row, grid, remove_row, replace_in_columns, set_cells, set_cells_of,
    set_cells_of_run,
};
pub use keep::{RawFile, keep_photo, keep_text, move_file, photo_name_fault, raw_file};
pub use typed::unit_of;

use crate::fault::{Fault, Faults, printable};
use crate::file::text_file;

/// Why a change was not made; nothing was written.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum EditFault {
    /// What was typed can't stand there.
    #[error("{0}")]
    Faults(Faults),
    /// The place holds something else than the person saw.
    #[error("`{file}` was changed meanwhile: it now holds {now}")]
    Changed {
        /// The file.
        file: String,
        /// What stands there now.
        now: String,
    },
    /// No such key, column or row.
    #[error("{0}")]
    NoPlace(String),
    /// A photograph of that name is there already and differs.
    #[error("there is another photograph `photos/{0}` already")]
    Taken(String),
    /// A name that leads elsewhere.
    #[error("the name must be {accepted}; found {found}")]
    Name {
        /// What is there.
        found: String,
        /// What may be there.
        accepted: String,
    },
    /// The system refused.
    #[error("`{file}` can't be written: {error}")]
    Refused {
        /// The file.
        file: String,
        /// What the system said.
        error: std::io::Error,
    },
}

impl EditFault {
    /// What to do.
    pub fn remedy(&self) -> String {
        match self {
            Self::Faults(faults) => faults.0.first().map_or_else(String::new, |fault| fault.remedy.clone()),
            Self::Changed { .. } => "look at both values and keep the right one".to_owned(),
            Self::NoPlace(_) => "load the page again".to_owned(),
            Self::Taken(_) => "give the new photograph another name".to_owned(),
            Self::Name { .. } => "use letters, digits, - and _, such as `ring-01.jpg`".to_owned(),
            Self::Refused { .. } => {
                "check who may write into the notebook folder and whether the disk is full; what you typed is not saved"
                    .to_owned()
            }
        }
    }
}

/// Faults of `new` that `old` doesn't have, whatever their lines: what a change brought in.
///
/// - **Takes** the name of a notebook's file as [`crate::Notebook::open`] reads it, and both texts.
pub fn new_faults(file: &str, old: &str, new: &str) -> Vec<Fault> {
    let before = faults_of(file, old);
    let key = |fault: &Fault| (fault.found.clone(), fault.accepted.clone());
    let mut known: Vec<_> = before.iter().map(key).collect();
    let mut fresh = Vec::new();
    for fault in faults_of(file, new) {
        match known.iter().position(|k| *k == key(&fault)) {
            Some(at) => drop(known.swap_remove(at)),
            None => fresh.push(fault),
        }
    }
    fresh
}

/// All faults of one file's text.
pub fn faults_of(file: &str, text: &str) -> Vec<Fault> {
    let text = match text_file(file, text.as_bytes().to_vec()) {
        Ok(text) => text,
        Err(faults) => return faults,
    };
    let done = match file {
        "bench.toml" => crate::bench::read_bench(&text).map(drop),
        "readings.csv" => crate::table::read_readings(&text).map(drop),
        "field-balance.csv" => crate::table::read_balance(&text).map(drop),
        _ if file.starts_with("marks/") => crate::table::read_marks(&text, file).map(drop),
        _ => crate::table::read_probe(&text).map(drop),
    };
    done.err().unwrap_or_default()
}

/// What a bench file's text says; none where it has faults.
pub fn bench_of(text: &str) -> Option<crate::Bench> {
    let text = text_file("bench.toml", text.as_bytes().to_vec()).ok()?;
    crate::bench::read_bench(&text).ok()
}

/// A text on one line without control characters, as a cell or a value may hold it.
fn one_line(text: &str) -> String {
    printable(&text.replace(['\n', '\r', '\t'], " ")).trim().to_owned()
}
