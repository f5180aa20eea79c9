//! The demo notebook: an invented bench, its readings and its drawn photographs, made from a truth that is drawn by lot.

mod files;
mod pictures;
mod truth;

use std::fs;
use std::path::{Path, PathBuf};

use crate::desk::{Desk, LabError};
use crate::photograph::Progress;
pub use truth::Truth;

/// How large a demo to make.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct DemoSize {
    /// Settings, at most eight.
    pub runs: usize,
    /// Width of the pictures; the height is two thirds of it.
    pub width_px: u32,
}

impl Default for DemoSize {
    fn default() -> Self {
        Self { runs: 8, width_px: 2400 }
    }
}

/// A demo notebook as made.
#[derive(Debug, Clone)]
pub struct DemoMade {
    /// Where it stands.
    pub folder: PathBuf,
    /// What lies behind it; `hidden-truth.json` holds the same, and no measuring command reads that.
    pub truth: Truth,
}

/// Makes the demo notebook in a folder that is not there yet, or is empty.
///
/// Everything is simulated: the truth is drawn by lot from exactly what the bench file states, paths are traced in the
/// real field, photographs are drawn. The notebook appears whole or not at all.
///
/// - **Fails** where the folder holds something, or can't be made.
pub fn make_demo(
    folder: &Path,
    size: DemoSize,
    desk: &Desk,
    progress: &dyn Progress,
) -> Result<DemoMade, LabError> {
    let shown = folder.display().to_string();
    let refused = |error: std::io::Error| {
        LabError::lacking(
            &shown,
            format!("the demo can't be made: {error}"),
            "choose a folder you may write to",
        )
    };
    if fs::symlink_metadata(folder).is_ok() && !is_empty_folder(folder) {
        return Err(LabError::lacking(
            &shown,
            format!("`{shown}` is there already, and is never overwritten"),
            "move it away, or name another folder: `arcmass demo DIR`",
        ));
    }
    let parent = match folder.parent() {
        Some(parent) if !parent.as_os_str().is_empty() => parent.to_owned(),
        _ => PathBuf::from("."),
    };
    fs::create_dir_all(&parent).map_err(refused)?;
    let beside = || tempfile::Builder::new().prefix(".arcmass-demo-").tempdir_in(&parent);
    // a folder that can't be written to is told before the long work, and one that is broken off leaves nothing
    beside().and_then(tempfile::TempDir::close).map_err(refused)?;
    let truth = Truth::by_lot(desk, size.runs)?;
    let pictures = pictures::draw_all(&truth, size.width_px, desk, progress)?;
    let beside = beside().map_err(refused)?;
    files::write(beside.path(), &truth, &pictures).map_err(refused)?;
    let _ = fs::remove_dir(folder);
    fs::rename(beside.path(), folder).map_err(refused)?;
    // the folder has moved away under its guard, which then has nothing to remove
    let _ = beside.keep();
    open_up(folder);
    Ok(DemoMade { folder: folder.to_owned(), truth })
}

fn is_empty_folder(folder: &Path) -> bool {
    fs::read_dir(folder).is_ok_and(|mut entries| entries.next().is_none())
}

/// A temporary folder is for its maker alone; the notebook is like any other new folder.
#[cfg(unix)]
fn open_up(folder: &Path) {
    use std::os::unix::fs::PermissionsExt;
    let _ = fs::set_permissions(folder, fs::Permissions::from_mode(0o755));
}

#[cfg(not(unix))]
fn open_up(_folder: &Path) {}
