//! The repository on disk: its root, its files, their text.

use std::path::{Path, PathBuf};
use std::process::Command;

/// The folder that holds the workspace's `Cargo.toml`.
pub(crate) fn root() -> PathBuf {
    let own = std::env::var_os("CARGO_MANIFEST_DIR").map(PathBuf::from);
    own.as_deref().and_then(Path::parent).map_or_else(|| PathBuf::from("."), Path::to_path_buf)
}

/// Every file that is tracked, or would be: ignored ones are left out. Relative to the root, `/` only.
pub(crate) fn files(root: &Path) -> Result<Vec<String>, String> {
    let output = Command::new("git")
        .args(["ls-files", "--cached", "--others", "--exclude-standard"])
        .current_dir(root)
        .output()
        .map_err(|why| format!("git could not be run to list the files: {why}"))?;
    if !output.status.success() {
        return Err(format!(
            "git could not list the files: {}",
            String::from_utf8_lossy(&output.stderr).trim()
        ));
    }
    let names = String::from_utf8_lossy(&output.stdout).lines().map(str::to_owned).collect::<Vec<_>>();
    Ok(names.into_iter().filter(|name| root.join(name).is_file()).collect())
}

/// The text of a file; nothing for pictures and other bytes that are not UTF-8.
pub(crate) fn text(path: &Path) -> Option<String> {
    std::fs::read_to_string(path).ok()
}

/// All Rust text under some folders of a package, with line comments taken out.
pub(crate) fn rust_text(folders: &[PathBuf]) -> String {
    let mut all = String::new();
    for folder in folders {
        for path in rust_files(folder) {
            for line in text(&path).unwrap_or_default().lines() {
                all.push_str(line.split("//").next().unwrap_or_default());
                all.push('\n');
            }
        }
    }
    all
}

fn rust_files(folder: &Path) -> Vec<PathBuf> {
    let Ok(entries) = std::fs::read_dir(folder) else { return Vec::new() };
    let mut found = Vec::new();
    for path in entries.flatten().map(|entry| entry.path()) {
        if path.is_dir() {
            found.extend(rust_files(&path));
        } else if path.extension().is_some_and(|ending| ending == "rs") {
            found.push(path);
        }
    }
    found
}

/// Where `word` stands in `text` as a whole identifier: byte offsets.
pub(crate) fn word_places<'t>(text: &'t str, word: &'t str) -> impl Iterator<Item = usize> + 't {
    let is_inside = |letter: char| letter.is_alphanumeric() || letter == '_';
    text.match_indices(word).map(|(at, _)| at).filter(move |&at| {
        let (before, after) = (&text[..at], &text[at + word.len()..]);
        !before.ends_with(is_inside) && !after.starts_with(is_inside)
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_word_is_found_whole_or_not_at_all() {
        assert_eq!(word_places("toml toml_edit mytoml toml::x", "toml").collect::<Vec<_>>(), [0, 22]);
    }

    #[test]
    fn the_root_holds_this_file() {
        assert!(root().join("xtask/src/repository.rs").is_file());
    }
}
