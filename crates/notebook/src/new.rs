//! A new notebook: a commented bench file and tables that wait for readings.

use std::fs;
use std::io::{self, Write};
use std::path::Path;

/// Why no new notebook was made.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum NewFault {
    /// Something is there already.
    #[error("a new notebook needs an empty folder or a new name; `{0}` holds something already")]
    NotEmpty(String),
    /// A file is in the way.
    #[error("a new notebook needs a folder; `{0}` is a file")]
    NotAFolder(String),
    /// The system refused.
    #[error("`{path}` can't be made: {error}")]
    Refused {
        /// Which file or folder.
        path: String,
        /// What the system said.
        error: io::Error,
    },
}

impl NewFault {
    /// What to do.
    pub fn remedy(&self) -> &'static str {
        match self {
            Self::NotEmpty(_) | Self::NotAFolder(_) => "choose another name; nothing was changed",
            Self::Refused { .. } => "check who may write there and whether the disk is full",
        }
    }
}

const BENCH: &str = include_str!("../templates/bench.toml");

const TABLES: [(&str, &str); 2] = [
    ("readings.csv", include_str!("../templates/readings.csv")),
    ("field-probe.csv", include_str!("../templates/field-probe.csv")),
];

/// Makes a new notebook in a folder that is empty or not there yet.
///
/// Nothing is ever overwritten: a file that appears meanwhile stays as it is and ends the work.
pub fn new_notebook(folder: &Path) -> Result<(), NewFault> {
    let shown = |path: &Path| crate::printable(&path.display().to_string());
    match fs::read_dir(folder) {
        Ok(mut entries) => {
            if entries.next().is_some() {
                return Err(NewFault::NotEmpty(shown(folder)));
            }
        }
        Err(error) if error.kind() == io::ErrorKind::NotFound => {
            make(folder, |path| fs::create_dir_all(path))?;
        }
        Err(_) if folder.is_file() => return Err(NewFault::NotAFolder(shown(folder))),
        Err(error) => return Err(NewFault::Refused { path: shown(folder), error }),
    }
    make(&folder.join("photos"), |path| fs::create_dir(path))?;
    let bench = BENCH.replace("# {cautions}", &crate::cautions::as_comment());
    for (name, text) in TABLES.into_iter().chain([("bench.toml", bench.as_str())]) {
        make(&folder.join(name), |path| {
            let mut file = fs::OpenOptions::new().write(true).create_new(true).open(path)?;
            file.write_all(text.as_bytes())?;
            file.sync_all()
        })?;
    }
    Ok(())
}

/// Examples that the template leaves out of force for another reason: an alternative, or a choice of its own.
const ALTERNATIVES: [&str; 12] = [
    "field_per_ampere",
    "gas",
    "pressure",
    "noise",
    "zero",
    "full_scale",
    "background",
    "latitude",
    "longitude",
    "height",
    "date",
    "axis_bearing",
];

/// The bench file that the template describes with its examples in force: an invented bench.
pub fn example_bench() -> String {
    let in_force = |line: &str| {
        let example = line.strip_prefix("# ").filter(|rest| {
            rest.split_once(" = ").is_some_and(|(key, _)| {
                key.chars().all(|c| c.is_ascii_lowercase() || c == '_') && !ALTERNATIVES.contains(&key)
            })
        });
        example.unwrap_or(line).to_owned()
    };
    BENCH.split('\n').map(in_force).collect::<Vec<_>>().join("\n")
}

/// Sizes of the template that no real bench shares by chance, more than one of them at once.
const TELLING: [(&str, &str); 9] = [
    ("coils", "mean_radius"),
    ("coils", "separation"),
    ("coils", "turns"),
    ("coils", "winding_radial"),
    ("coils", "winding_axial"),
    ("gun", "muzzle"),
    ("bulb", "outer_radius"),
    ("bulb", "glass_thickness"),
    ("camera", "distance"),
];

/// Keys of a bench file that still hold the template's examples, as `coils.mean_radius`; none where a single one is the same.
pub fn still_examples(source: &str) -> Vec<String> {
    let examples = example_bench();
    let is_same = |(table, key): &&(&str, &str)| {
        let now = crate::edit::bench_value(source, table, key);
        now.is_some() && now == crate::edit::bench_value(&examples, table, key)
    };
    let same: Vec<String> =
        TELLING.iter().filter(is_same).map(|(table, key)| format!("{table}.{key}")).collect();
    if same.len() > 1 { same } else { Vec::new() }
}

fn make(path: &Path, how: impl FnOnce(&Path) -> io::Result<()>) -> Result<(), NewFault> {
    how(path)
        .map_err(|error| NewFault::Refused { path: crate::printable(&path.display().to_string()), error })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::Notebook;

    #[test]
    fn a_new_notebook_is_good_at_once() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("spring term/größe 1");
        new_notebook(&path).unwrap();
        let notebook = Notebook::open(&path).unwrap_or_else(|faults| panic!("{faults}"));
        assert_eq!(notebook.bench.name, "Window bench");
        let gun = notebook.bench.gun.unwrap();
        assert!(
            gun.voltage_limit_v.is_none() && gun.muzzle.is_none(),
            "nothing is stated that nobody entered"
        );
        assert!(
            notebook.bench.pair.is_none_or(|pair| pair.geometry.is_none() && pair.current_limit_a.is_none())
        );
        assert!(notebook.bench.meters.voltage.is_none_or(|meter| !meter.has_accuracy()));
        assert!(notebook.readings.unwrap().runs.is_empty());
        assert!(notebook.probe_tables[0].rows.is_empty());
        assert!(path.join("photos").is_dir());
        for words in ["down to 0 A", "Local rules", "eye protection", "emergency-off", "pacemakers"] {
            assert!(notebook.bench.source.contains(words), "{words}");
        }
    }

    #[test]
    fn examples_left_in_force_are_told_from_measurements() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("bench");
        new_notebook(&path).unwrap();
        assert!(still_examples(&fs::read_to_string(path.join("bench.toml")).unwrap()).is_empty());
        fs::write(path.join("bench.toml"), example_bench()).unwrap();
        let notebook = Notebook::open(&path).unwrap_or_else(|faults| panic!("{faults}"));
        assert!(notebook.bench.gun.unwrap().voltage_limit_v.is_some());
        let same = still_examples(&notebook.bench.source);
        assert!(same.contains(&"coils.mean_radius".to_owned()) && same.len() == TELLING.len(), "{same:?}");
        let own = "[coils]\nturns = 124\nmean_radius = \"151.0(5) mm\"\n";
        assert!(still_examples(own).is_empty(), "one number may be the same by chance");
    }

    #[test]
    fn nothing_is_overwritten() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("bench");
        new_notebook(&path).unwrap();
        fs::write(path.join("bench.toml"), "mine").unwrap();
        let fault = new_notebook(&path).unwrap_err();
        assert!(matches!(fault, NewFault::NotEmpty(_)));
        assert!(fault.to_string().ends_with("holds something already"));
        assert_eq!(fs::read_to_string(path.join("bench.toml")).unwrap(), "mine");
        let fault = new_notebook(&path.join("bench.toml")).unwrap_err();
        assert!(matches!(fault, NewFault::NotAFolder(_)), "{fault}");
        assert!(new_notebook(&path.join("bench.toml/below")).is_err());
    }
}
