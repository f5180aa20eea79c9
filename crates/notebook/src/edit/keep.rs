//! Writing into the person's folder: whole or not at all, and never over something else than was seen.

use std::fs;
use std::io;
use std::path::Path;

use super::EditFault;
use crate::fault::{Fault, Faults, printable};
use crate::file::{LARGEST_TABLE, read_text, sha256};
use crate::folder::{name_fault, sync_folder, writers_lock, written_beside};

/// A file's text as it stands.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct RawFile {
    /// The text; empty where there is no such file.
    pub text: String,
    /// SHA-256 of its bytes; none where there is no such file.
    pub sha256: Option<String>,
}

/// Reads a file of the notebook without judging it.
pub fn raw_file(root: &Path, file: &str) -> Result<RawFile, Faults> {
    if name_fault(file).is_some() {
        let fault = Fault::of_file(
            file,
            "a name that leads elsewhere",
            "a file of the notebook",
            "load the page again",
        );
        return Err(Faults(vec![fault]));
    }
    match read_text(&root.join(file), file, LARGEST_TABLE) {
        Ok(Some(found)) => Ok(RawFile { text: found.text, sha256: Some(found.input.sha256) }),
        Ok(None) => Ok(RawFile { text: String::new(), sha256: None }),
        Err(faults) => Err(Faults(faults)),
    }
}

/// Writes a file of the notebook if it is still what was seen: beside it, flushed, renamed.
///
/// - **Takes** `seen`, the [`RawFile::sha256`] the change was made on.
pub fn keep_text(root: &Path, file: &str, seen: Option<&str>, text: &str) -> Result<(), EditFault> {
    if let Some(said) = name_fault(file) {
        return Err(EditFault::Name { found: said.found, accepted: said.accepted });
    }
    let refused = |error| EditFault::Refused { file: printable(file), error };
    let real_root = fs::canonicalize(root).map_err(refused)?;
    let target = real_root.join(file);
    let folder = target.parent().unwrap_or(&real_root).to_owned();
    inside(&real_root, &folder).map_err(refused)?;
    // a link is followed, so that it stays one; it may not leave the folder
    let target = fs::canonicalize(&target).unwrap_or(target);
    if !target.starts_with(&real_root) {
        return Err(refused(io::Error::other("a link leads out of the notebook folder")));
    }
    let folder = target.parent().unwrap_or(&real_root);
    let before = fs::metadata(&target).ok().map(|about| about.permissions());
    if before.as_ref().is_some_and(fs::Permissions::readonly) {
        return Err(refused(io::Error::from(io::ErrorKind::PermissionDenied)));
    }
    // compared and renamed at once, under the lock of all our writers: an editor's save in between has microseconds, not
    // the milliseconds of a flush
    let beside = written_beside(folder, text.as_bytes()).map_err(refused)?;
    let lock = writers_lock(&real_root);
    let now = fs::read(&target).ok().map(|bytes| sha256(&bytes));
    if now.as_deref() != seen {
        return Err(EditFault::Changed { file: printable(file), now: "other text".to_owned() });
    }
    beside.persist(&target).map_err(|error| refused(error.error))?;
    drop(lock);
    sync_folder(folder);
    if let Some(permissions) = before {
        let _ = fs::set_permissions(&target, permissions); // the text is safe already
    }
    Ok(())
}

/// Makes the folder unless it is there, and sees that it lies in the notebook.
fn inside(real_root: &Path, folder: &Path) -> io::Result<()> {
    if folder.symlink_metadata().is_err() {
        if let Some(above) = folder.parent().filter(|above| above.starts_with(real_root)) {
            inside(real_root, above)?;
        }
        fs::create_dir(folder)?;
    }
    if fs::canonicalize(folder)?.starts_with(real_root) {
        Ok(())
    } else {
        Err(io::Error::other("a link leads out of the notebook folder"))
    }
}

/// Keeps a photograph's bytes under `photos/`; one that is there already is never written over.
///
/// - **Gives** whether it was new: the same bytes under the same name are no fault.
pub fn keep_photo(root: &Path, name: &str, bytes: &[u8]) -> Result<bool, EditFault> {
    if let Some((found, accepted)) = photo_name_fault(name) {
        return Err(EditFault::Name { found, accepted });
    }
    let file = format!("photos/{name}");
    let refused = |error| EditFault::Refused { file: file.clone(), error };
    let real_root = fs::canonicalize(root).map_err(refused)?;
    let folder = real_root.join("photos");
    inside(&real_root, &folder).map_err(refused)?;
    let beside = written_beside(&folder, bytes).map_err(refused)?;
    let target = folder.join(name);
    match beside.persist_noclobber(&target) {
        Ok(_) => {
            sync_folder(&folder);
            Ok(true)
        }
        Err(fault) if fault.error.kind() == io::ErrorKind::AlreadyExists => match fs::read(&target) {
            Ok(there) if there == bytes => Ok(false),
            _ => Err(EditFault::Taken(name.to_owned())),
        },
        Err(fault) => Err(refused(fault.error)),
    }
}

/// Moves a file of the notebook to another name in it, such as a photograph to `removed/`; its folder is made where needed.
///
/// - **Fails** with [`EditFault::Taken`] where there is something of that name already: nothing is written over.
pub fn move_file(root: &Path, from: &str, to: &str) -> Result<(), EditFault> {
    for name in [from, to] {
        if let Some(said) = name_fault(name) {
            return Err(EditFault::Name { found: said.found, accepted: said.accepted });
        }
    }
    let refused = |error| EditFault::Refused { file: printable(from), error };
    let real_root = fs::canonicalize(root).map_err(refused)?;
    let (source, target) = (real_root.join(from), real_root.join(to));
    for place in [&source, &target] {
        inside(&real_root, place.parent().unwrap_or(&real_root)).map_err(refused)?;
    }
    if target.symlink_metadata().is_ok() {
        return Err(EditFault::Taken(printable(to.strip_prefix("photos/").unwrap_or(to))));
    }
    fs::rename(&source, &target).map_err(refused)?;
    for place in [&source, &target] {
        sync_folder(place.parent().unwrap_or(&real_root));
    }
    Ok(())
}

/// Longest name of a photograph, bytes.
const LONGEST_NAME: usize = 100;

/// Endings of the files that photographs come in.
const ENDINGS: [&str; 14] = [
    ".jpg", ".jpeg", ".png", ".webp", ".tif", ".tiff", ".heic", ".heif", ".hif", ".dng", ".cr2", ".cr3",
    ".nef", ".arw",
];

/// What is wrong with the name of a new photograph: found and accepted.
pub fn photo_name_fault(name: &str) -> Option<(String, String)> {
    let accepted =
        "1 to 100 letters, digits, spaces or . _ - ( ) without a folder, ending in .jpg, .jpeg, .png, \
                    .webp, .tif, .tiff, .heic, .heif, .hif, .dng, .cr2, .cr3, .nef or .arw"
            .to_owned();
    let found = || format!("`{}`", printable(name).chars().take(60).collect::<String>());
    let lower = name.to_lowercase();
    let ending = ENDINGS.iter().any(|ending| lower.ends_with(ending));
    let good = |c: char| c.is_alphanumeric() || matches!(c, '.' | '_' | '-' | ' ' | '(' | ')');
    let well = ending && name.len() <= LONGEST_NAME && name.chars().all(good);
    let well =
        well && !name.starts_with(['.', ' ', '-']) && !name.contains("..") && name_fault(name).is_none();
    if well { None } else { Some((found(), accepted)) }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_text_is_kept_only_over_what_was_seen() {
        let folder = tempfile::tempdir().unwrap();
        let root = folder.path();
        keep_text(root, "readings.csv", None, "run\n").unwrap();
        let seen = raw_file(root, "readings.csv").unwrap();
        keep_text(root, "readings.csv", seen.sha256.as_deref(), "run,x\n").unwrap();
        let fault = keep_text(root, "readings.csv", seen.sha256.as_deref(), "other\n").unwrap_err();
        assert!(matches!(fault, EditFault::Changed { .. }), "{fault}");
        assert_eq!(fs::read_to_string(root.join("readings.csv")).unwrap(), "run,x\n");
        keep_text(root, "marks/a.jpg.csv", None, "what,x_px,y_px\n").unwrap();
        for name in ["../x", "/etc/x", "a/../../x", "c:\\x"] {
            assert!(matches!(keep_text(root, name, None, "x"), Err(EditFault::Name { .. })), "{name}");
        }
        let mut left: Vec<_> = fs::read_dir(root).unwrap().flatten().map(|entry| entry.file_name()).collect();
        left.sort();
        assert_eq!(left, [".arcmass.lock", "marks", "readings.csv"]);
    }

    #[test]
    fn many_writers_at_once_lose_nothing_that_was_acknowledged() {
        let folder = tempfile::tempdir().unwrap();
        let root = folder.path();
        let lines = |writer: usize| {
            let mut kept = Vec::new();
            for number in 0..40 {
                let line = format!("{writer}-{number}\n");
                loop {
                    let seen = raw_file(root, "readings.csv").unwrap();
                    let text = format!("{}{line}", seen.text);
                    match keep_text(root, "readings.csv", seen.sha256.as_deref(), &text) {
                        Ok(()) => break,
                        Err(EditFault::Changed { .. }) => {}
                        Err(other) => panic!("{other}"),
                    }
                }
                kept.push(line);
            }
            kept
        };
        let kept: Vec<String> = std::thread::scope(|scope| {
            let writers: Vec<_> = (0..4).map(|writer| scope.spawn(move || lines(writer))).collect();
            writers.into_iter().flat_map(|writer| writer.join().unwrap()).collect()
        });
        let text = raw_file(root, "readings.csv").unwrap().text;
        let lost: Vec<&String> = kept.iter().filter(|line| !text.contains(line.as_str())).collect();
        assert!(lost.is_empty() && text.lines().count() == kept.len(), "lost {lost:?}");
    }

    #[test]
    fn parts_that_killed_programs_left_are_cleared_and_young_ones_stay() {
        let folder = tempfile::tempdir().unwrap();
        let root = folder.path();
        fs::create_dir(root.join("photos")).unwrap();
        let long_ago = std::time::SystemTime::now() - std::time::Duration::from_secs(7200);
        for (name, is_old) in [
            (".arcmass-a.part", true),
            ("photos/.arcmass-b.part", true),
            (".arcmass-c.part", false),
            ("photos/mine.part", true),
        ] {
            fs::write(root.join(name), "x").unwrap();
            if is_old {
                fs::File::options()
                    .write(true)
                    .open(root.join(name))
                    .unwrap()
                    .set_modified(long_ago)
                    .unwrap();
            }
        }
        assert_eq!(crate::folder::clear_stale_parts(root), 2);
        assert!(root.join(".arcmass-c.part").exists() && root.join("photos/mine.part").exists());
    }

    #[test]
    fn a_photograph_is_never_written_over() {
        let folder = tempfile::tempdir().unwrap();
        assert!(keep_photo(folder.path(), "ring-01.jpg", b"one").unwrap());
        assert!(!keep_photo(folder.path(), "ring-01.jpg", b"one").unwrap());
        assert!(matches!(keep_photo(folder.path(), "ring-01.jpg", b"two"), Err(EditFault::Taken(_))));
        assert_eq!(fs::read(folder.path().join("photos/ring-01.jpg")).unwrap(), b"one");
        for name in
            ["../a.jpg", "a/b.jpg", ".a.jpg", "a.svg", "a.jpg\0", "a\u{202e}gpj.jpg", "", ".jpg", "a\n.png"]
        {
            assert!(matches!(keep_photo(folder.path(), name, b"x"), Err(EditFault::Name { .. })), "{name:?}");
        }
        assert!(photo_name_fault("größe (2).JPG").is_none());
    }

    #[test]
    fn a_file_moves_within_the_notebook_and_over_nothing() {
        let folder = tempfile::tempdir().unwrap();
        let root = folder.path();
        keep_photo(root, "a.jpg", b"one").unwrap();
        keep_photo(root, "b.jpg", b"two").unwrap();
        assert!(matches!(move_file(root, "photos/a.jpg", "photos/b.jpg"), Err(EditFault::Taken(_))));
        move_file(root, "photos/a.jpg", "removed/photos/a.jpg").unwrap();
        assert_eq!(fs::read(root.join("removed/photos/a.jpg")).unwrap(), b"one");
        assert!(!root.join("photos/a.jpg").exists());
        for (from, to) in
            [("photos/b.jpg", "../b.jpg"), ("../x", "photos/x.jpg"), ("photos/none.jpg", "photos/c.jpg")]
        {
            assert!(move_file(root, from, to).is_err(), "{from} to {to}");
        }
        assert_eq!(fs::read(root.join("photos/b.jpg")).unwrap(), b"two");
    }

    #[cfg(unix)]
    #[test]
    fn links_out_of_the_folder_are_not_followed() {
        let (folder, other) = (tempfile::tempdir().unwrap(), tempfile::tempdir().unwrap());
        std::os::unix::fs::symlink(other.path(), folder.path().join("photos")).unwrap();
        std::os::unix::fs::symlink(other.path().join("r.csv"), folder.path().join("readings.csv")).unwrap();
        fs::write(other.path().join("r.csv"), "x").unwrap();
        assert!(matches!(keep_photo(folder.path(), "a.jpg", b"x"), Err(EditFault::Refused { .. })));
        assert!(keep_text(folder.path(), "readings.csv", None, "mine").is_err());
        assert_eq!(fs::read_to_string(other.path().join("r.csv")).unwrap(), "x");
    }
}
