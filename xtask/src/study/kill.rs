//! The study `kill`: the page's server killed 200 times while it saves.

use std::process::{Command, ExitCode};

use crate::repository;
use crate::stage::cargo;

/// Kills asked for where no number stands on the command line.
const KILLS: &str = "200";

/// `study kill [N]`: the test that CI runs a few times, N times.
pub(super) fn run(words: &[&str]) -> ExitCode {
    let kills = words.first().copied().unwrap_or(KILLS);
    let status = Command::new(cargo())
        .args(["test", "--release", "--package", "arcmass", "--test", "killed", "--", "--nocapture"])
        .env("ARCMASS_KILLS", kills)
        .current_dir(repository::root())
        .status();
    if status.is_ok_and(|status| status.success()) { ExitCode::SUCCESS } else { ExitCode::FAILURE }
}
