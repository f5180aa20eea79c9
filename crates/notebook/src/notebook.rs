//! A notebook folder, read whole.

use std::path::{Path, PathBuf};
use std::{fs, io};

use crate::bench::read_bench;
use crate::fault::{Fault, Faults, LISTED_PER_FILE, quote};
use crate::file::{LARGEST_BENCH_FILE, LARGEST_TABLE, TextFile, read_text};
use crate::folder::{self, PhotoBytes, PhotoFault, WriteFault, photo_lies_outside};
use crate::record::{BalanceTable, Bench, HandMarks, Input, ProbeTable, Readings};
use crate::table::{read_balance, read_marks, read_probe, read_readings};

/// Folders below `marks/` that are looked into.
const DEEPEST_MARKS: usize = 8;

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
    /// Reads every file of a notebook folder but the photographs.
    ///
    /// - **Gives** the notebook; what the folder doesn't hold is `None` or empty.
    /// - **Fails** with all faults of all files at once, each with its place. A photograph that is named but isn't there
    ///   is no fault: the rest of the notebook can still be used.
    pub fn open(root: impl AsRef<Path>) -> Result<Self, Faults> {
        let root = root.as_ref();
        check_folder(root).map_err(Faults)?;
        let mut faults = Vec::new();
        let bench = bench(root, &mut faults);
        let readings = table(root, "readings.csv", &mut faults, read_readings);
        faults.extend(readings.iter().flat_map(|readings| escaping_photos(root, readings)));
        let probes = probe_files(root);
        let probes = probes.iter().filter_map(|file| table(root, file, &mut faults, read_probe));
        let probe_tables = probes.collect();
        let balance = table(root, "field-balance.csv", &mut faults, read_balance);
        let marks = marks_files(root)
            .into_iter()
            .filter_map(|(file, photo)| table(root, &file, &mut faults, |text| read_marks(text, &photo)));
        let marks = marks.collect();
        match bench {
            Some(bench) if faults.is_empty() => {
                Ok(Self { root: root.to_owned(), bench, readings, probe_tables, balance, marks })
            }
            _ => Err(Faults(faults)),
        }
    }

    /// Every file that was read, with its hash; photographs are not among them, [`Notebook::photo_bytes`] gives theirs.
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

    /// Reads a photograph named relative to `photos/`, with its hash; see [`folder::photo_bytes`].
    pub fn photo_bytes(&self, name: &str) -> Result<PhotoBytes, PhotoFault> {
        folder::photo_bytes(&self.root, name)
    }

    /// Writes a derived file under `results/`, whole or not at all; see [`folder::write_result`].
    pub fn write_result(&self, name: &str, bytes: &[u8]) -> Result<PathBuf, WriteFault> {
        folder::write_result(&self.root, name, bytes)
    }
}

fn check_folder(root: &Path) -> Result<(), Vec<Fault>> {
    let accepted = "a notebook folder, with a bench.toml in it";
    let (found, remedy) = match fs::metadata(root).and_then(|about| {
        // a folder that can't be listed is as good as none
        if about.is_dir() { fs::read_dir(root).map(|_| true) } else { Ok(false) }
    }) {
        Ok(true) => return Ok(()),
        Ok(false) => ("a file".to_owned(), "give the folder that holds the file"),
        Err(error) if error.kind() == io::ErrorKind::NotFound => {
            ("no such folder".to_owned(), "check the name, or make a new notebook with `arcmass new DIR`")
        }
        Err(error) => (format!("a folder that can't be read: {error}"), "check who may read it"),
    };
    Err(vec![Fault::of_file(root.display().to_string(), found, accepted, remedy)])
}

fn bench(root: &Path, faults: &mut Vec<Fault>) -> Option<Bench> {
    let file = match read_text(&root.join("bench.toml"), "bench.toml", LARGEST_BENCH_FILE) {
        Ok(Some(file)) => file,
        Ok(None) => {
            faults.push(Fault::of_file(
                "bench.toml",
                "no such file in the notebook folder",
                "a bench.toml that describes the apparatus",
                "check that this is the notebook's folder, or make a new one with `arcmass new DIR` and copy its \
                 bench.toml",
            ));
            return None;
        }
        Err(found) => {
            faults.extend(found);
            return None;
        }
    };
    let mut bench = read_bench(&file).map_err(|found| faults.extend(found)).ok()?;
    if bench.name.is_empty() {
        let folder = fs::canonicalize(root)
            .ok()
            .and_then(|root| Some(root.file_name()?.to_string_lossy().into_owned()));
        bench.name = folder.unwrap_or_else(|| "bench".to_owned());
    }
    Some(bench)
}

/// Reads one table; nothing if there is no such file, and its faults go to the list.
fn table<T>(
    root: &Path,
    file: &str,
    faults: &mut Vec<Fault>,
    read: impl FnOnce(&TextFile) -> Result<T, Vec<Fault>>,
) -> Option<T> {
    match read_text(&root.join(file), file, LARGEST_TABLE) {
        Ok(text) => read(&text?).map_err(|found| faults.extend(found)).ok(),
        Err(found) => {
            faults.extend(found);
            None
        }
    }
}

/// `field-probe.csv` and `field-probe-N.csv` with N from 2, in the order of N.
fn probe_files(root: &Path) -> Vec<String> {
    let names = fs::read_dir(root).into_iter().flatten().flatten();
    let names = names.filter_map(|entry| entry.file_name().into_string().ok());
    let numbered = names.filter_map(|name| {
        let middle = name.strip_prefix("field-probe")?.strip_suffix(".csv")?;
        let number = match middle.strip_prefix('-') {
            None if middle.is_empty() => 1,
            None => return None,
            Some(digits) => digits.parse::<u32>().ok().filter(|n| *n >= 2 && n.to_string() == digits)?,
        };
        Some((number, name))
    });
    let mut numbered: Vec<_> = numbered.collect();
    numbered.sort();
    numbered.into_iter().map(|(_, name)| name).collect()
}

/// Every `marks/<photo name>.csv`: the file and the photograph it belongs to.
fn marks_files(root: &Path) -> Vec<(String, String)> {
    let mut found = Vec::new();
    let mut folders = vec![(String::new(), 0)];
    while let Some((folder, depth)) = folders.pop() {
        let entries = fs::read_dir(root.join("marks").join(&folder)).into_iter().flatten().flatten();
        for entry in entries {
            let Ok(name) = entry.file_name().into_string() else { continue };
            if name.starts_with('.') {
                continue; // some systems leave such files of their own beside others
            }
            let path = format!("{folder}{name}");
            if entry.file_type().is_ok_and(|kind| kind.is_dir()) {
                if depth < DEEPEST_MARKS {
                    folders.push((format!("{path}/"), depth + 1));
                }
            } else if let Some(photo) = path.strip_suffix(".csv") {
                found.push((format!("marks/{path}"), photo.to_owned()));
            }
        }
    }
    found.sort();
    found
}

/// Photographs named in the table that are links out of the folder.
fn escaping_photos(root: &Path, readings: &Readings) -> Vec<Fault> {
    let mut named: Vec<&String> =
        readings.runs.iter().flat_map(|run| run.ring_photo.iter().chain(&run.scale_photo)).collect();
    named.sort();
    named.dedup();
    let Ok(real_root) = fs::canonicalize(root) else { return Vec::new() };
    let escaping = named.into_iter().filter(|name| photo_lies_outside(&real_root, name));
    escaping
        .take(LISTED_PER_FILE)
        .map(|name| {
            Fault::of_file(
                format!("photos/{name}"),
                format!("{} is a link that leaves the notebook folder", quote(name)),
                "the photograph itself",
                "copy the photograph into photos/",
            )
        })
        .collect()
}
