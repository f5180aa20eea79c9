//! The study `screens`: a picture of every station of the page, dark, light and dim, on a desk and on a phone.

use std::process::{Command, ExitCode};

use crate::browser;
use crate::repository;
use crate::stage::cargo;

/// `study screens [FOLDER]`: runs the browser's test and keeps what it saw, under `target/screens` unless told.
pub(super) fn run(words: &[&str]) -> ExitCode {
    let root = repository::root();
    if !browser::is_there() {
        return ExitCode::FAILURE;
    }
    let folder = words.first().map_or_else(|| root.join("target/screens"), Into::into);
    let status = Command::new(cargo())
        .args(["test", "--package", "arcmass-web", "--test", "browser"])
        .env("ARCMASS_SCREENS", &folder)
        .current_dir(&root)
        .status();
    if status.is_ok_and(|status| status.success()) {
        println!("the pictures are in {}", folder.display());
        return ExitCode::SUCCESS;
    }
    ExitCode::FAILURE
}
