//! A notebook folder, read whole.

use std::path::PathBuf;

use crate::record::{BalanceTable, Bench, HandMarks, Input, ProbeTable, Readings};

/// All that a notebook folder says, checked.
#[derive(Debug, Clone, PartialEq)]
pub struct Notebook {
    /// The folder.
    pub root: PathBuf,
    /// `bench.toml`.
    pub bench: Bench,
    /// `readings.csv`, if there is one.
    pub readings: Option<Readings>,
    /// `field-probe.csv`, `field-probe-2.csv` and so on, in the order of their numbers.
    pub probe_tables: Vec<ProbeTable>,
    /// `field-balance.csv`, if there is one.
    pub balance: Option<BalanceTable>,
    /// `marks/`, in the order of the photographs' names.
    pub marks: Vec<HandMarks>,
}

impl Notebook {
    /// Every file that was read, with its hash; photographs are not among them until they are read.
    pub fn inputs(&self) -> Vec<Input> {
        let tables = self.readings.iter().map(|table| &table.input);
        let probes = self.probe_tables.iter().map(|table| &table.input);
        let balance = self.balance.iter().map(|table| &table.input);
        let marks = self.marks.iter().map(|marks| &marks.input);
        let all = std::iter::once(&self.bench.input).chain(tables).chain(probes).chain(balance).chain(marks);
        all.cloned().collect()
    }

    /// The marks made by hand on one photograph.
    pub fn marks_of(&self, photo: &str) -> Option<&HandMarks> {
        self.marks.iter().find(|marks| marks.photo == photo)
    }
}
