//! What the page's test in a browser needs: Chromium from the system's packages, axe-core from npm.

use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

/// The one command that installs it, where we may not.
const INSTALL: &str = "apt-get install --yes --no-install-recommends chromium";

/// Whether Chromium is there; installs it where this runs as root or with `CI` set, else says the command.
pub(crate) fn is_there() -> bool {
    if answers("chromium") || answers("chromium-browser") {
        return true;
    }
    let may = std::env::var_os("CI").is_some() || user_is_root();
    if may && Command::new("sh").args(["-c", INSTALL]).status().is_ok_and(|status| status.success()) {
        return answers("chromium");
    }
    println!("the page's test needs Chromium; install it with: {INSTALL}");
    false
}

fn answers(program: &str) -> bool {
    let quiet = Command::new(program).arg("--version").stdout(Stdio::null()).stderr(Stdio::null()).status();
    quiet.is_ok_and(|status| status.success())
}

fn user_is_root() -> bool {
    let told = Command::new("id").arg("-u").output();
    told.is_ok_and(|told| told.stdout.trim_ascii() == b"0")
}

/// axe-core under `target/`, fetched once by npm; none where npm is not there or has no network, with what to do said.
pub(crate) fn axe(root: &Path) -> Option<PathBuf> {
    let folder = root.join("target/axe");
    let file = folder.join("node_modules/axe-core/axe.min.js");
    if !file.is_file() {
        let install = ["install", "--no-audit", "--no-fund", "--prefix"];
        let mut npm = Command::new("npm");
        npm.args(install).arg(&folder).arg("axe-core@4").stdout(Stdio::null());
        let _ = std::fs::create_dir_all(&folder).map(|()| npm.status());
    }
    if file.is_file() {
        return Some(file);
    }
    println!(
        "the page's accessibility is checked with axe-core, which npm could not fetch; install npm, or put the file at {}",
        file.display()
    );
    None
}
