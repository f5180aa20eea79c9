//! A simulated class to play with: a table, the notebooks of its benches, and what is true of it.

use std::fs;
use std::io;
use std::path::{Path, PathBuf};

use arcmass_lab::{Desk, LabError};
use serde::Serialize;

use crate::simulate::{Asked, GroupTruth, SimulatedClass, simulate};

/// Groups and benches of the demo: a class of ordinary size.
const GROUPS: usize = 12;
const BENCHES: usize = 2;
/// More slips than a class makes, so that there is something to find.
const HONEST: f64 = 0.5;

/// Where the demo stands.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ClassDemo {
    /// The table.
    pub table: PathBuf,
    /// The benches' notebooks.
    pub benches: Vec<PathBuf>,
}

#[derive(Serialize)]
struct Hidden<'a> {
    note: &'static str,
    groups: Vec<HiddenGroup<'a>>,
}

#[derive(Serialize)]
struct HiddenGroup<'a> {
    group: &'a str,
    bench: &'a str,
    bench_is_outside_its_file: bool,
    slips: Vec<HiddenSlip>,
}

#[derive(Serialize)]
struct HiddenSlip {
    code: &'static str,
    #[serde(rename = "where")]
    place: &'static str,
    rows: Option<Vec<usize>>,
}

/// Makes the demo in a folder that is not there yet, or is empty; whole or not at all.
///
/// - **Fails** where the folder holds something, or can't be made.
pub fn make_class_demo(folder: &Path, desk: &Desk) -> Result<ClassDemo, LabError> {
    let shown = folder.display().to_string();
    let is_empty = fs::read_dir(folder).is_ok_and(|mut entries| entries.next().is_none());
    if fs::symlink_metadata(folder).is_ok() && !is_empty {
        return Err(LabError::lacking(
            &shown,
            format!("`{shown}` is there already, and is never overwritten"),
            "move it away, or name another folder: `arcmass demo --class DIR`",
        ));
    }
    let class = simulate(&Asked {
        seed: desk.seed,
        groups: GROUPS,
        benches: BENCHES,
        honest: HONEST,
        bad_benches: 0.0,
    });
    write(folder, &class).map_err(|error| {
        LabError::lacking(
            &shown,
            format!("the demo can't be made: {error}"),
            "choose a folder you may write to",
        )
    })?;
    Ok(ClassDemo {
        table: folder.join("class.csv"),
        benches: class.benches.iter().map(|(name, _, _)| folder.join(name)).collect(),
    })
}

/// Written beside, then moved: what is broken off leaves nothing.
fn write(folder: &Path, class: &SimulatedClass) -> io::Result<()> {
    let parent = folder.parent().filter(|parent| !parent.as_os_str().is_empty()).unwrap_or(Path::new("."));
    fs::create_dir_all(parent)?;
    let beside = tempfile::Builder::new().prefix(".arcmass-demo-").tempdir_in(parent)?;
    let whole = beside.path().join("class");
    fs::create_dir(&whole)?;
    fs::write(whole.join("class.csv"), &class.csv)?;
    for (name, bench, probe) in &class.benches {
        let own = whole.join(name);
        fs::create_dir(&own)?;
        fs::write(own.join("bench.toml"), bench)?;
        fs::write(own.join("readings.csv"), "run,voltage_V,current_A\n")?;
        if let Some(probe) = probe {
            fs::write(own.join("field-probe.csv"), probe)?;
        }
    }
    let hidden = Hidden {
        note: "What is true of this simulated class; no command reads it.",
        groups: class.truths.iter().map(hidden).collect(),
    };
    fs::write(whole.join("hidden-truth.json"), serde_json::to_string_pretty(&hidden)? + "\n")?;
    let _ = fs::remove_dir(folder);
    fs::rename(&whole, folder)
}

fn hidden(truth: &GroupTruth) -> HiddenGroup<'_> {
    let lines = |rows: &Vec<usize>| rows.iter().filter_map(|row| truth.lines.get(*row).copied()).collect();
    HiddenGroup {
        group: &truth.group,
        bench: &truth.bench,
        bench_is_outside_its_file: truth.is_bad_bench,
        slips: truth
            .slips
            .iter()
            .map(|slip| HiddenSlip {
                code: slip.code,
                place: slip.place,
                rows: slip.rows.as_ref().map(lines),
            })
            .collect(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_demo_stands_whole_and_is_never_overwritten() {
        let parent = tempfile::tempdir().unwrap();
        let folder = parent.path().join("class");
        let demo = make_class_demo(&folder, &Desk::default()).unwrap();
        let table = arcmass_notebook::read_class(&demo.table, None).unwrap();
        assert_eq!(table.groups.len(), GROUPS);
        assert!(table.groups.iter().all(|group| group.faults.is_empty()), "{table:#?}");
        for bench in &demo.benches {
            arcmass_notebook::Notebook::open(bench).unwrap();
        }
        let before = fs::read(&demo.table).unwrap();
        assert!(make_class_demo(&folder, &Desk { seed: 2, ..Desk::default() }).is_err());
        assert_eq!(fs::read(&demo.table).unwrap(), before);
        assert_eq!(fs::read_dir(parent.path()).unwrap().count(), 1, "nothing is left beside it");
    }
}
