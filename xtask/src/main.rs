//! Chores of the project: `cargo xtask test` runs everything CI runs, `cargo xtask study NAME` a long study.

mod browser;
mod dependencies;
mod house;
mod licence;
mod metadata;
mod repository;
mod stage;
mod study;
mod words;

use std::process::ExitCode;

const HELP: &str = "\
cargo xtask test          everything CI runs: formatting, lints, documentation, tests, dependencies, house rules
cargo xtask test STAGE …  some of its stages, by name: cargo xtask test formatting \"house rules\"
cargo xtask study NAME …  a long study with its options; without a name: the list of studies";

fn main() -> ExitCode {
    let words: Vec<String> = std::env::args().skip(1).collect();
    let words: Vec<&str> = words.iter().map(String::as_str).collect();
    match words.as_slice() {
        ["test", stages @ ..] => stage::run(stages),
        ["study"] => study::list(),
        ["study", name, words @ ..] => study::run(name, words),
        ["help" | "--help" | "-h"] => {
            println!("{HELP}");
            ExitCode::SUCCESS
        }
        other => {
            eprintln!("xtask knows `test` and `study`; got `{}`\n\n{HELP}", other.join(" "));
            ExitCode::from(2)
        }
    }
}
