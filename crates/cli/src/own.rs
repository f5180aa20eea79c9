//! Where the person's own things lie, by the custom of the system.

use std::path::PathBuf;

/// For the page's key and the list of notebooks. `ARCMASS_CONFIG` names another folder; empty: nothing is kept.
pub(crate) fn folder() -> Option<PathBuf> {
    if let Some(named) = std::env::var_os("ARCMASS_CONFIG") {
        return Some(PathBuf::from(named)).filter(|path| !path.as_os_str().is_empty());
    }
    let base = if cfg!(windows) {
        path("APPDATA")
    } else if cfg!(target_os = "macos") {
        home().map(|home| home.join("Library/Application Support"))
    } else {
        // XDG Base Directory Specification: relative paths are to be ignored
        path("XDG_CONFIG_HOME")
            .filter(|path| path.is_absolute())
            .or_else(|| home().map(|home| home.join(".config")))
    };
    base.map(|base| base.join("arcmass"))
}

/// Where new notebooks are proposed: below the person's home, else where the command was typed.
pub(crate) fn notebooks() -> PathBuf {
    home().or_else(|| std::env::current_dir().ok()).unwrap_or_default().join("arcmass")
}

fn home() -> Option<PathBuf> {
    path(if cfg!(windows) { "USERPROFILE" } else { "HOME" })
}

fn path(variable: &str) -> Option<PathBuf> {
    std::env::var_os(variable).map(PathBuf::from).filter(|path| !path.as_os_str().is_empty())
}
