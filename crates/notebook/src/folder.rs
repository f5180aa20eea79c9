//! What may be read from and written into a notebook folder, and nothing beside it.

use std::fs;
use std::io::{self, Write};
use std::path::{Path, PathBuf};
use std::time::Duration;

use crate::fault::{Said, printable, quote, said};
use crate::file::{LARGEST_PHOTO, ReadFault, read_bounded, sha256};
use crate::record::Input;

/// Why a photograph can't be had.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum PhotoFault {
    /// Its name leads out of the folder or is none.
    #[error("a photograph's name must be {accepted}; found {found}")]
    Name {
        /// What is there.
        found: String,
        /// What may be there.
        accepted: String,
    },
    /// No such file.
    #[error("there is no photograph `photos/{0}`")]
    Missing(String),
    /// A link out of the folder.
    #[error("`photos/{0}` is a link that leaves the notebook folder")]
    LeavesFolder(String),
    /// A folder or a device.
    #[error("`photos/{0}` is no plain file")]
    NotAFile(String),
    /// Too large.
    #[error("`photos/{name}` has {found_mb} MB; at most {limit_mb} MB are read")]
    TooLarge {
        /// The photograph.
        name: String,
        /// Its size, rounded up.
        found_mb: u64,
        /// The limit.
        limit_mb: u64,
    },
    /// It can't be read.
    #[error("`photos/{name}` can't be read: {error}")]
    Unreadable {
        /// The photograph.
        name: String,
        /// What the system said.
        error: io::Error,
    },
}

impl PhotoFault {
    /// What to do.
    pub fn remedy(&self) -> &'static str {
        match self {
            Self::Name { .. } => "write the name relative to photos/, with / between folders",
            Self::Missing(_) => "copy the photograph into photos/, or correct its name in readings.csv",
            Self::LeavesFolder(_) => "copy the photograph itself into photos/",
            Self::NotAFile(_) => "copy the photograph itself there under this name",
            Self::TooLarge { .. } => "take it as JPEG, or export a smaller copy under another name",
            Self::Unreadable { .. } => "check who may read it, and whether the disk is there",
        }
    }
}

/// A photograph's bytes as they came from the camera.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PhotoBytes {
    /// The whole file.
    pub bytes: Vec<u8>,
    /// The file and its hash.
    pub input: Input,
}

/// Why a derived file was not written.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum WriteFault {
    /// Not a name under `results/`.
    #[error("a result's name must be {accepted}; found {found}")]
    Name {
        /// What is there.
        found: String,
        /// What may be there.
        accepted: String,
    },
    /// A link leads out of `results/`.
    #[error("`{0}` leads out of the notebook's results folder")]
    LeavesFolder(String),
    /// The system refused.
    #[error("`{file}` can't be written: {error}")]
    Refused {
        /// The file, relative to the notebook folder.
        file: String,
        /// What the system said.
        error: io::Error,
    },
}

impl WriteFault {
    /// What to do.
    pub fn remedy(&self) -> &'static str {
        match self {
            Self::Name { .. } => "choose a name relative to results/, with / between folders",
            Self::LeavesFolder(_) => "delete the link; a folder of that name is made again",
            Self::Refused { .. } => {
                "check who may write into the notebook folder and whether the disk is full, or copy the notebook to \
                 a place where you may write"
            }
        }
    }
}

/// What is wrong with a file's name relative to a folder of the notebook, if anything.
pub(crate) fn name_fault(name: &str) -> Option<Said> {
    let accepted = "a name relative to its folder, with `/` between folders and no `..`";
    let mut start = name.chars();
    let drive = start.next().is_some_and(|c| c.is_ascii_alphabetic()) && start.next() == Some(':');
    let bad = |part: &str| part.is_empty() || part == "." || part == "..";
    let wrong = if name.starts_with('/') || drive {
        "an absolute path"
    } else if name.contains('\\') {
        "a backslash"
    } else if name.split('/').any(|part| part == "..") {
        "`..`"
    } else if name.split('/').any(bad) {
        "an empty part"
    } else if name.chars().any(char::is_control) {
        "a control character"
    } else {
        return None;
    };
    let remedy = "put the file into its folder and write its name alone, such as `ring-01.jpg`";
    Some(said(format!("{wrong} in {}", quote(name)), accepted, remedy))
}

/// Whether the photograph exists and lies, all links followed, outside the notebook folder.
pub(crate) fn photo_leaves_folder(root: &Path, name: &str) -> bool {
    fs::canonicalize(root).is_ok_and(|real_root| photo_lies_outside(&real_root, name))
}

/// The same with the folder's own links followed already.
pub(crate) fn photo_lies_outside(real_root: &Path, name: &str) -> bool {
    fs::canonicalize(real_root.join("photos").join(name)).is_ok_and(|photo| !photo.starts_with(real_root))
}

/// Reads a photograph named relative to `photos/`, at most 200 MB.
pub fn photo_bytes(root: &Path, name: &str) -> Result<PhotoBytes, PhotoFault> {
    if let Some(said) = name_fault(name) {
        return Err(PhotoFault::Name { found: said.found, accepted: said.accepted });
    }
    let shown = printable(name);
    if photo_leaves_folder(root, name) {
        return Err(PhotoFault::LeavesFolder(shown));
    }
    let bytes =
        read_bounded(&root.join("photos").join(name), LARGEST_PHOTO).map_err(|fault| match fault {
            ReadFault::Missing => PhotoFault::Missing(shown),
            ReadFault::NotAFile => PhotoFault::NotAFile(shown),
            ReadFault::TooLarge(size) => PhotoFault::TooLarge {
                name: shown,
                found_mb: size.div_ceil(1 << 20),
                limit_mb: LARGEST_PHOTO >> 20,
            },
            ReadFault::Unreadable(error) => PhotoFault::Unreadable { name: shown, error },
        })?;
    let input = Input { file: format!("photos/{name}"), sha256: sha256(&bytes) };
    Ok(PhotoBytes { bytes, input })
}

/// Writes a derived file under `results/`, whole or not at all, and gives its path.
///
/// The bytes go to a file beside it first, are flushed to the disk, and the finished file takes the name in one step.
/// Nothing outside `results/` is touched, whatever links lie there.
pub fn write_result(root: &Path, name: &str, bytes: &[u8]) -> Result<PathBuf, WriteFault> {
    if let Some(said) = name_fault(name) {
        return Err(WriteFault::Name { found: said.found, accepted: said.accepted });
    }
    let refused = |error| WriteFault::Refused { file: printable(&format!("results/{name}")), error };
    let results = fs::canonicalize(root).map_err(refused)?.join("results");
    let mut parts: Vec<_> = name.split('/').collect();
    let last = parts.pop().unwrap_or(name);
    let mut folder = results.clone();
    make_inside(&folder, &results, name)?;
    for part in parts {
        folder.push(part);
        make_inside(&folder, &results, name)?;
    }
    let target = folder.join(last);
    replace_whole(&folder, &target, bytes).map_err(refused)?;
    Ok(target)
}

/// Makes a folder unless it is there, and makes sure that no link leads it out of `results`.
fn make_inside(folder: &Path, results: &Path, name: &str) -> Result<(), WriteFault> {
    let refused = |error| WriteFault::Refused { file: printable(&format!("results/{name}")), error };
    // a link that leads nowhere must not be followed to make a folder elsewhere
    if fs::symlink_metadata(folder).is_err() {
        match fs::create_dir(folder) {
            Err(error) if error.kind() != io::ErrorKind::AlreadyExists => return Err(refused(error)),
            _ => {}
        }
    }
    match fs::canonicalize(folder) {
        Ok(real) if real.starts_with(results) => Ok(()),
        _ => Err(WriteFault::LeavesFolder(printable(&format!("results/{name}")))),
    }
}

/// Temporary file beside, flushed, renamed.
pub(crate) fn replace_whole(folder: &Path, target: &Path, bytes: &[u8]) -> io::Result<()> {
    written_beside(folder, bytes)?.persist(target).map_err(|error| error.error)?;
    sync_folder(folder);
    Ok(())
}

/// A file of ours that is not yet what it will be: on the disk, under a name of its own.
pub(crate) fn written_beside(folder: &Path, bytes: &[u8]) -> io::Result<tempfile::NamedTempFile> {
    let mut builder = tempfile::Builder::new();
    builder.prefix(PART_PREFIX).suffix(PART_SUFFIX);
    readable_by_others(&mut builder);
    let mut beside = builder.tempfile_in(folder)?;
    beside.write_all(bytes)?;
    beside.as_file().sync_all()?;
    Ok(beside)
}

const PART_PREFIX: &str = ".arcmass-";
const PART_SUFFIX: &str = ".part";
/// A part older than this was left by a program that was killed.
const STALE: Duration = Duration::from_secs(3600);

/// Clears what killed programs left half-written in a notebook: our own parts older than an hour, in the folder and one below.
///
/// - **Gives** how many there were. What can't be removed stays: it harms nothing.
pub fn clear_stale_parts(root: &Path) -> usize {
    let entries = |folder: &Path| fs::read_dir(folder).into_iter().flatten().flatten().collect::<Vec<_>>();
    let mut folders = vec![root.to_owned()];
    let is_folder = |entry: &fs::DirEntry| entry.file_type().is_ok_and(|kind| kind.is_dir());
    folders.extend(entries(root).iter().filter(|entry| is_folder(entry)).map(fs::DirEntry::path));
    folders.push(root.join("results/figures"));
    let is_stale = |entry: &fs::DirEntry| {
        let name = entry.file_name().to_string_lossy().into_owned();
        let age = entry.metadata().ok().and_then(|about| about.modified().ok()?.elapsed().ok());
        name.starts_with(PART_PREFIX) && name.ends_with(PART_SUFFIX) && age.is_some_and(|age| age > STALE)
    };
    let stale = folders.iter().flat_map(|folder| entries(folder)).filter(is_stale);
    stale.filter(|entry| fs::remove_file(entry.path()).is_ok()).count()
}

/// The lock that every writer of ours holds while it compares a file with what was seen and renames over it; none where the
/// folder can't hold one (then nothing can be written there either).
///
/// The system gives it back when the file is closed, also where the program is killed.
pub(crate) fn writers_lock(real_root: &Path) -> Option<fs::File> {
    let file =
        fs::File::options().create(true).truncate(false).write(true).open(real_root.join(LOCK)).ok()?;
    file.lock().ok()?;
    Some(file)
}

/// Empty, hidden, beside bench.toml.
const LOCK: &str = ".arcmass.lock";

/// A temporary file is private by default; a result is as readable as any file of the person's.
#[cfg(unix)]
pub(crate) fn readable_by_others(builder: &mut tempfile::Builder<'_, '_>) {
    use std::os::unix::fs::PermissionsExt;
    builder.permissions(fs::Permissions::from_mode(0o666)); // less the person's mask
}

#[cfg(not(unix))]
pub(crate) fn readable_by_others(_: &mut tempfile::Builder<'_, '_>) {}

/// Makes the new name last through a power cut where the system lets a folder be synced.
pub(crate) fn sync_folder(folder: &Path) {
    if let Ok(open) = fs::File::open(folder) {
        let _ = open.sync_all(); // the file itself is safe already
    }
}
