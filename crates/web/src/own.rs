//! What is kept for the person between starts, where nobody else may read it: the page's key and the notebooks opened last.

use std::fs;
use std::io::{self, Write};
use std::path::{Path, PathBuf};

/// Notebooks remembered.
const MOST_RECENT: usize = 12;
const KEY: &str = "key";
const NOTEBOOKS: &str = "notebooks";
/// Letters of a key.
pub(crate) const KEY_LENGTH: usize = 32;

/// The person's own folder; none: nothing is kept.
#[derive(Debug, Clone, Default)]
pub(crate) struct Own(Option<PathBuf>);

impl Own {
    pub(crate) fn new(folder: Option<PathBuf>) -> Self {
        Self(folder)
    }

    /// The key of the page, the same at every start; `fresh` where none was kept or where others could have read it.
    pub(crate) fn key(&self, fresh: String) -> String {
        let Some(folder) = &self.0 else { return fresh };
        let file = folder.join(KEY);
        let kept = fs::read_to_string(&file).ok().filter(|_| is_private(&file));
        let kept = kept.map(|text| text.trim().to_owned()).filter(|key| is_key(key));
        kept.unwrap_or_else(|| {
            let _ = write(folder, KEY, &fresh); // a key that can't be kept is a new one next time
            fresh
        })
    }

    /// Folders opened before, the last one first, those that are still notebooks.
    pub(crate) fn recent(&self) -> Vec<PathBuf> {
        self.listed().into_iter().filter(|folder| folder.join("bench.toml").is_file()).collect()
    }

    fn listed(&self) -> Vec<PathBuf> {
        let text = self.0.as_ref().and_then(|folder| fs::read_to_string(folder.join(NOTEBOOKS)).ok());
        text.unwrap_or_default().lines().filter(|line| !line.is_empty()).map(PathBuf::from).collect()
    }

    /// Puts a folder at the head of the list.
    pub(crate) fn opened(&self, notebook: &Path) {
        let others = self.listed().into_iter().filter(|known| known != notebook);
        self.keep(std::iter::once(notebook.to_owned()).chain(others).take(MOST_RECENT));
    }

    /// Takes a folder off the list; the folder itself stays.
    pub(crate) fn forget(&self, notebook: &Path) {
        self.keep(self.listed().into_iter().filter(|known| known != notebook));
    }

    fn keep(&self, all: impl Iterator<Item = PathBuf>) {
        let Some(folder) = &self.0 else { return };
        let lines = all.filter_map(|path| path.to_str().map(str::to_owned));
        let text: String = lines.filter(|path| !path.contains('\n')).map(|path| path + "\n").collect();
        let _ = write(folder, NOTEBOOKS, &text); // a list that can't be kept is shorter next time, nothing else
    }
}

fn is_key(text: &str) -> bool {
    text.len() == KEY_LENGTH && text.bytes().all(|byte| byte.is_ascii_uppercase() || byte.is_ascii_digit())
}

/// Writes beside and renames, for the person's eyes only.
fn write(folder: &Path, name: &str, text: &str) -> io::Result<()> {
    make_folder(folder)?;
    let beside = folder.join(format!(".{name}-{}", std::process::id()));
    let mut file = private(&beside)?;
    file.write_all(text.as_bytes())?;
    file.sync_all()?;
    fs::rename(&beside, folder.join(name))
}

#[cfg(unix)]
fn make_folder(folder: &Path) -> io::Result<()> {
    use std::os::unix::fs::DirBuilderExt;
    fs::DirBuilder::new().recursive(true).mode(0o700).create(folder)
}

#[cfg(unix)]
fn private(file: &Path) -> io::Result<fs::File> {
    use std::os::unix::fs::{OpenOptionsExt, PermissionsExt};
    let file = fs::OpenOptions::new().write(true).create(true).truncate(true).mode(0o600).open(file)?;
    file.set_permissions(fs::Permissions::from_mode(0o600))?;
    Ok(file)
}

#[cfg(unix)]
fn is_private(file: &Path) -> bool {
    use std::os::unix::fs::PermissionsExt;
    fs::symlink_metadata(file)
        .is_ok_and(|about| about.file_type().is_file() && about.permissions().mode() & 0o077 == 0)
}

// elsewhere the system keeps a person's own folder from others
#[cfg(not(unix))]
fn make_folder(folder: &Path) -> io::Result<()> {
    fs::create_dir_all(folder)
}

#[cfg(not(unix))]
fn private(file: &Path) -> io::Result<fs::File> {
    fs::File::create(file)
}

#[cfg(not(unix))]
fn is_private(file: &Path) -> bool {
    file.is_file()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn key(letter: &str) -> String {
        letter.repeat(KEY_LENGTH)
    }

    #[test]
    fn the_key_stays_until_others_could_have_read_it() {
        let folder = tempfile::tempdir().unwrap();
        let own = Own::new(Some(folder.path().join("arcmass")));
        assert_eq!(own.key(key("A")), key("A"));
        assert_eq!(own.key(key("B")), key("A"));
        fs::write(folder.path().join("arcmass/key"), "short").unwrap();
        assert_eq!(own.key(key("C")), key("C"));
        assert_eq!(Own::default().key(key("D")), key("D"));
        #[cfg(unix)]
        {
            use std::os::unix::fs::PermissionsExt;
            let mode =
                |name: &str| fs::metadata(folder.path().join(name)).unwrap().permissions().mode() & 0o777;
            assert_eq!((mode("arcmass"), mode("arcmass/key")), (0o700, 0o600));
            fs::set_permissions(folder.path().join("arcmass/key"), fs::Permissions::from_mode(0o644))
                .unwrap();
            assert_eq!(own.key(key("E")), key("E"), "a key that others could read is given up");
        }
    }

    #[test]
    fn notebooks_are_listed_once_the_last_first() {
        let folder = tempfile::tempdir().unwrap();
        let own = Own::new(Some(folder.path().join("own")));
        let notebook = |name: &str| {
            let path = folder.path().join(name);
            arcmass_notebook::new_notebook(&path).unwrap();
            path
        };
        let (spring, autumn) = (notebook("spring"), notebook("autumn"));
        for path in [&spring, &autumn, &spring] {
            own.opened(path);
        }
        assert_eq!(own.recent(), [spring.clone(), autumn.clone()]);
        fs::remove_file(spring.join("bench.toml")).unwrap();
        assert_eq!(own.recent(), std::slice::from_ref(&autumn));
        own.forget(&autumn);
        assert!(own.recent().is_empty() && autumn.is_dir());
    }
}
