//! A small good notebook, the ways to spoil it, and the command run beside it.

use std::collections::BTreeMap;
use std::fs;
use std::hash::{DefaultHasher, Hash, Hasher};
use std::path::{Path, PathBuf};
use std::process::{Command, Output};

use serde_json::Value;
use tempfile::TempDir;

/// Larger files are told apart by their size alone.
const HASHED_BYTES: u64 = 16 << 20;

/// Diameters by d = 2 √(2 m V/e)/B for 0.7245 mT/A, in whole tenths of a millimetre.
pub(crate) const READINGS: &str = "\
run,voltage_V,current_A,diameter_mm
1,260.0,2.638,56.9
2,135.1,1.788,60.5
3,140.0,1.548,71.2
4,159.9,1.419,83.0
5,169.9,1.230,98.7
";

/// How a good notebook is spoilt.
#[derive(Clone, Copy)]
pub(crate) enum Spoil {
    /// Not at all.
    Nothing,
    /// A piece of a file becomes another.
    Replace(&'static str, &'static str, &'static str),
    /// A file holds something else.
    Write(&'static str, &'static [u8]),
    /// A file or folder is taken away.
    Remove(&'static str),
    /// What no data can say.
    By(fn(&Path)),
}

/// A folder that holds the good notebook `bench`, the working folder of every command.
pub(crate) fn good() -> TempDir {
    let room = TempDir::new().unwrap();
    let bench = room.path().join("bench");
    fs::create_dir_all(bench.join("photos")).unwrap();
    for name in ["bench.toml", "field-probe.csv"] {
        fs::copy(sample(name), bench.join(name)).unwrap();
    }
    fs::write(bench.join("readings.csv"), READINGS).unwrap();
    room
}

/// A file of the sample notebook.
pub(crate) fn sample(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../../tests/data/typical").join(name)
}

/// Spoils the notebook in `room`.
pub(crate) fn spoil(room: &Path, how: Spoil) {
    let bench = room.join("bench");
    match how {
        Spoil::Nothing => {}
        Spoil::Replace(file, old, new) => replace(&bench.join(file), old, new),
        Spoil::Write(file, bytes) => fs::write(bench.join(file), bytes).unwrap(),
        Spoil::Remove("") => fs::remove_dir_all(bench).unwrap(),
        Spoil::Remove(file) => fs::remove_file(bench.join(file)).unwrap(),
        Spoil::By(spoil) => spoil(&bench),
    }
}

/// Changes the first such piece of a text file, which must be there.
pub(crate) fn replace(file: &Path, old: &str, new: &str) {
    let text = fs::read_to_string(file).unwrap();
    assert!(text.contains(old), "{old:?} is not in {}", file.display());
    fs::write(file, text.replacen(old, new, 1)).unwrap();
}

/// Runs the command with words that are parted by spaces.
pub(crate) fn arcmass(room: &Path, words: &str) -> Output {
    Command::new(env!("CARGO_BIN_EXE_arcmass"))
        .args(words.split(' '))
        .current_dir(room)
        .env("NO_COLOR", "1")
        .output()
        .unwrap()
}

/// What was printed, as text.
pub(crate) fn text(bytes: &[u8]) -> String {
    String::from_utf8(bytes.to_vec()).unwrap()
}

/// The one document on standard output.
pub(crate) fn document(output: &Output) -> Result<Value, String> {
    serde_json::from_slice(&output.stdout).map_err(|why| format!("no single JSON document: {why}"))
}

/// Every name below a folder with what stands there.
pub(crate) fn listing(room: &Path) -> BTreeMap<PathBuf, String> {
    let mut found = BTreeMap::new();
    let mut folders = vec![room.to_owned()];
    while let Some(folder) = folders.pop() {
        for entry in fs::read_dir(folder).unwrap() {
            let path = entry.unwrap().path();
            let about = fs::symlink_metadata(&path).unwrap();
            let holds = if about.is_symlink() {
                format!("link to {}", fs::read_link(&path).unwrap().display())
            } else if about.is_dir() {
                folders.push(path.clone());
                "folder".to_owned()
            } else {
                format!("{} bytes, {:x}", about.len(), hash(&path, about.len()))
            };
            found.insert(path, holds);
        }
    }
    found
}

fn hash(path: &Path, length: u64) -> u64 {
    let mut hasher = DefaultHasher::new();
    if length <= HASHED_BYTES {
        fs::read(path).unwrap().hash(&mut hasher);
    }
    hasher.finish()
}

/// Words of Rust that no person should meet.
pub(crate) fn rust_words(said: &str) -> Vec<&'static str> {
    let words = ["Err(", "Some(", "Ok(", "panicked", "src/", "unwrap", "RUST_BACKTRACE", "Error {"];
    words.into_iter().filter(|word| said.contains(word)).collect()
}
