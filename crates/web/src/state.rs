//! What the running server knows: the folder, its latest reading, the work under way.

use std::fmt::Write as _;
use std::fs;
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex, PoisonError};

use arcmass_lab::Desk;
use arcmass_notebook::{Faults, Notebook};
use tokio::sync::Semaphore;

use crate::hub::Door;
use crate::long::Long;
use crate::work::Derived;

/// Photographs decoded at once: each may take hundreds of megabytes.
const DECODERS: usize = 2;
/// Folders below the notebook that are looked into for changes.
const DEEPEST: usize = 3;

/// All that requests share.
pub(crate) struct App {
    /// The notebook's folder.
    pub(crate) root: PathBuf,
    /// Seed and workers.
    pub(crate) desk: Desk,
    /// Who may come in.
    pub(crate) door: Arc<Door>,
    /// One change of a file at a time.
    pub(crate) edit: Mutex<()>,
    /// Bounded decoders.
    pub(crate) decoders: Semaphore,
    /// Measuring and reducing.
    pub(crate) work: Long<Derived>,
    /// Planning.
    pub(crate) plan: crate::pages::plan::Kept,
    /// The photograph on the desk of the Ring station.
    pub(crate) ring: crate::pages::ring::Kept,
    /// Changes that can be taken back.
    pub(crate) undo: crate::undo::Undo,
    /// What photographs are like, each looked at once.
    pub(crate) looks: crate::pages::matching::Looks,
    /// What paths are predicted with.
    pub(crate) bench: crate::pages::path::Kept,
    latest: Mutex<Option<Snapshot>>,
}

/// The notebook at one moment.
#[derive(Clone)]
pub(crate) struct Snapshot {
    /// Changes whenever a file of the folder does.
    pub(crate) stamp: String,
    /// The notebook, or all its faults.
    pub(crate) notebook: Result<Arc<Notebook>, Arc<Faults>>,
}

impl App {
    pub(crate) fn new(root: PathBuf, desk: Desk, door: Arc<Door>) -> Self {
        Self {
            root,
            desk,
            door,
            edit: Mutex::default(),
            decoders: Semaphore::new(DECODERS),
            work: Long::default(),
            plan: crate::pages::plan::Kept::default(),
            ring: crate::pages::ring::Kept::default(),
            undo: crate::undo::Undo::default(),
            looks: crate::pages::matching::Looks::default(),
            bench: crate::pages::path::Kept::default(),
            latest: Mutex::default(),
        }
    }

    /// Tells this notebook from another one that was opened meanwhile.
    pub(crate) fn id(&self) -> String {
        let mut hash = Fnv::default();
        hash.add(&self.root.to_string_lossy());
        hash.shown()
    }

    /// The notebook as it stands now; read again only where a file changed.
    pub(crate) fn snapshot(&self) -> Snapshot {
        let stamp = stamp(&self.root);
        let mut latest = self.latest.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(snapshot) = latest.as_ref().filter(|snapshot| snapshot.stamp == stamp) {
            return snapshot.clone();
        }
        let notebook = Notebook::open(&self.root).map(Arc::new).map_err(Arc::new);
        let snapshot = Snapshot { stamp, notebook };
        *latest = Some(snapshot.clone());
        snapshot
    }
}

/// Name and content of every table and bench file, name, size and time of every photograph that a person or another page may
/// change; `results/` is ours.
pub(crate) fn stamp(root: &Path) -> String {
    let mut hash = Fnv::default();
    let mut line = String::new();
    for (name, path) in files(root) {
        line.clear();
        let Ok(about) = fs::metadata(&path) else { continue };
        let _ = writeln!(line, "{name}\0{}\0{:?}", about.len(), about.modified().ok());
        hash.add(&line);
        // two saves within the clock's step, of one length: only the text tells them apart
        let is_text = path.extension().is_some_and(|ending| ending == "csv" || ending == "toml");
        if is_text && about.is_file() && about.len() <= arcmass_notebook::LARGEST_TABLE {
            hash.add(&String::from_utf8_lossy(&fs::read(&path).unwrap_or_default()));
        }
    }
    hash.shown()
}

/// FNV-1a, 64 bits (constants from memory): only to notice a change.
struct Fnv(u64);

impl Default for Fnv {
    fn default() -> Self {
        Self(0xcbf2_9ce4_8422_2325)
    }
}

impl Fnv {
    fn add(&mut self, text: &str) {
        for byte in text.bytes() {
            self.0 = (self.0 ^ u64::from(byte)).wrapping_mul(0x0000_0100_0000_01b3);
        }
    }

    fn shown(&self) -> String {
        format!("{:016x}", self.0)
    }
}

fn files(root: &Path) -> Vec<(String, PathBuf)> {
    let mut found = Vec::new();
    let mut folders = vec![(root.to_owned(), 0)];
    while let Some((folder, depth)) = folders.pop() {
        for entry in fs::read_dir(&folder).into_iter().flatten().flatten() {
            let name = entry.file_name().to_string_lossy().into_owned();
            let is_ours = name.starts_with('.') || (depth == 0 && name == "results");
            if is_ours {
                continue;
            }
            let path = entry.path();
            if entry.file_type().is_ok_and(|kind| kind.is_dir()) {
                if depth < DEEPEST {
                    folders.push((path, depth + 1));
                }
            } else {
                found.push((path.to_string_lossy().into_owned(), path));
            }
        }
    }
    found.sort();
    found
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_stamp_changes_with_any_file_but_results() {
        let folder = tempfile::tempdir().unwrap();
        let root = folder.path();
        arcmass_notebook::new_notebook(&root.join("n")).unwrap();
        let root = root.join("n");
        let first = stamp(&root);
        fs::create_dir(root.join("results")).unwrap();
        fs::write(root.join("results/x.json"), "{}").unwrap();
        assert_eq!(stamp(&root), first);
        fs::write(root.join("photos/a.jpg"), "x").unwrap();
        let second = stamp(&root);
        assert_ne!(second, first);
        fs::write(root.join("readings.csv"), "run,voltage_V,current_A\n").unwrap();
        let third = stamp(&root);
        assert_ne!(third, second);
        let when = fs::metadata(root.join("readings.csv")).unwrap().modified().unwrap();
        fs::write(root.join("readings.csv"), "run,voltage_V,current_B\n").unwrap();
        fs::File::options().write(true).open(root.join("readings.csv")).unwrap().set_modified(when).unwrap();
        assert_ne!(stamp(&root), third, "same name, size and time, other text");
    }
}
