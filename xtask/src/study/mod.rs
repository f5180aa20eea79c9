//! Long studies, run by hand and not by CI: each a file of its own here, with a line in [`STUDIES`].

mod class;
mod coverage;
mod fuzz;
mod kill;
mod page;
mod photographs;
mod screens;
mod speed;

use std::process::{Command, ExitCode};

use crate::repository;
use crate::stage::cargo;

/// A long run that answers one question with figures.
struct Study {
    name: &'static str,
    /// What it answers, in one line.
    answers: &'static str,
    /// Runs it with the words that stand after its name on the command line.
    run: fn(&[&str]) -> ExitCode,
}

/// A new study: its own file beside this one, `mod name;` above, and its line here.
const STUDIES: &[Study] = &[
    Study {
        name: "class",
        answers: "are the slips of simulated classes named, and nobody accused: class [GROUPS] [each]",
        run: class::run,
    },
    Study {
        name: "coverage",
        answers: "do the mass's intervals hold the truth, and do findings name what is wrong: coverage [NUMBER] [clean | outside | PART OF A NAME] [odds X] [each]",
        run: coverage::run,
    },
    Study {
        name: "fuzz",
        answers: "does anything panic, outgrow its time or memory, or go wrong in silence, on mutated photographs or notebooks: fuzz [notebooks] [--minutes N] [--runs N] [--seed S]",
        run: fuzz::run,
    },
    Study {
        name: "kill",
        answers: "is anything lost when the page's server is killed while it saves: kill [TIMES]",
        run: kill::run,
    },
    Study {
        name: "page",
        answers: "how soon does the page answer, how large are its stations, does it keep up with the hand",
        run: page::run,
    },
    Study {
        name: "screens",
        answers: "what does every station of the page look like: screens [FOLDER]",
        run: screens::run,
    },
    Study {
        name: "photographs",
        answers: "how far off the diameters of drawn photographs are, and how well their uncertainty says so",
        run: photographs::run,
    },
    Study {
        name: "speed",
        answers: "how fast our kernels are, beside a folder of anchors if one is named: speed [FOLDER [KERNEL …]]",
        run: speed::run,
    },
];

/// Says which studies there are.
pub(crate) fn list() -> ExitCode {
    println!("{}", sentence());
    ExitCode::SUCCESS
}

/// Runs one study, or says which there are.
pub(crate) fn run(name: &str, words: &[&str]) -> ExitCode {
    match STUDIES.iter().find(|study| study.name == name) {
        Some(_) if cfg!(debug_assertions) => at_full_speed(name, words),
        Some(study) => (study.run)(words),
        None => {
            eprintln!("there is no study `{name}`; {}", sentence());
            ExitCode::from(2)
        }
    }
}

/// Runs the same study from an optimised build: what takes hours in it would take days in this one.
fn at_full_speed(name: &str, words: &[&str]) -> ExitCode {
    let status = Command::new(cargo())
        .args(["run", "--release", "--quiet", "--package", "xtask", "--", "study", name])
        .args(words)
        .current_dir(repository::root())
        .status();
    match status {
        Ok(status) => ExitCode::from(u8::try_from(status.code().unwrap_or(1)).unwrap_or(1)),
        Err(why) => {
            eprintln!("cargo could not be run: {why}");
            ExitCode::FAILURE
        }
    }
}

fn sentence() -> String {
    if STUDIES.is_empty() {
        return "no study has been written yet".to_owned();
    }
    let lines: Vec<String> =
        STUDIES.iter().map(|study| format!("  {}: {}", study.name, study.answers)).collect();
    format!("the studies are\n{}", lines.join("\n"))
}
