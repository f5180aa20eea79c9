//! How the command ends: 0 with a result, 2 for bad input, 1 for a fault of the program; never a trace.

use std::io::Write;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::process::ExitCode;

use arcmass_lab::document::{FaultEntry, FaultsDocument};
use arcmass_lab::{Desk, LabError};
use arcmass_notebook::{Faults, printable};

/// Why a command gave no result.
#[derive(Debug)]
pub(crate) enum Ending {
    /// Bad usage or input.
    Input(Vec<FaultEntry>, String),
    /// A fault of the program or the machine.
    Program(String),
    /// Nobody reads our output any more.
    PipeClosed,
}

impl From<LabError> for Ending {
    fn from(error: LabError) -> Self {
        match error {
            LabError::Faults(faults) => faults.into(),
            LabError::Lacking { sentence, file, accepted, remedy } => {
                let said = format!("arcmass: {}{sentence}\n  what to do: {remedy}", place(&file, &sentence));
                Self::Input(vec![entry(&file, None, None, &sentence, &accepted, &remedy)], said)
            }
            other => Self::Program(other.to_string()),
        }
    }
}

impl From<Faults> for Ending {
    fn from(faults: Faults) -> Self {
        let entries = faults
            .0
            .iter()
            .map(|f| entry(&f.file, f.line, f.column, &f.found, &f.accepted, &f.remedy))
            .collect();
        Self::Input(entries, faults.to_string())
    }
}

impl From<std::io::Error> for Ending {
    fn from(error: std::io::Error) -> Self {
        if error.kind() == std::io::ErrorKind::BrokenPipe {
            Self::PipeClosed
        } else {
            Self::Program(format!("the output can't be written: {error}"))
        }
    }
}

impl Ending {
    /// Bad input with one sentence and one remedy.
    pub(crate) fn input(file: &str, sentence: &str, remedy: &str) -> Self {
        LabError::lacking(file, sentence, remedy).into()
    }
}

/// The file in front of a sentence that doesn't name it.
fn place(file: &str, sentence: &str) -> String {
    let name = file.rsplit('/').next().unwrap_or(file);
    if file == "command line" || sentence.contains(name) { String::new() } else { format!("{file}: ") }
}

fn entry(
    file: &str,
    line: Option<usize>,
    column: Option<usize>,
    found: &str,
    accepted: &str,
    remedy: &str,
) -> FaultEntry {
    FaultEntry {
        file: file.to_owned(),
        line,
        column,
        found: found.to_owned(),
        accepted: accepted.to_owned(),
        remedy: remedy.to_owned(),
    }
}

/// Runs a command, catches its panics, and says how it ended.
pub(crate) fn guarded(wants_json: bool, desk: Desk, run: impl FnOnce() -> Result<(), Ending>) -> ExitCode {
    std::panic::set_hook(Box::new(|_| {}));
    let outcome = catch_unwind(AssertUnwindSafe(run));
    match outcome {
        Ok(Ok(())) | Ok(Err(Ending::PipeClosed)) => ExitCode::SUCCESS,
        Ok(Err(Ending::Input(faults, said))) => {
            if wants_json {
                let document =
                    FaultsDocument { schema: "arcmass.faults/1", made_by: desk.made_by(Vec::new()), faults };
                print_document(&document);
            }
            say(&said);
            ExitCode::from(2)
        }
        Ok(Err(Ending::Program(sentence))) => {
            say(&format!("arcmass: {sentence}"));
            ExitCode::FAILURE
        }
        Err(_) => {
            say("arcmass: a fault of the program ended this command; nothing was half written. \
                 Please report the command and the notebook that led here");
            ExitCode::FAILURE
        }
    }
}

fn print_document<T: serde::Serialize>(document: &T) {
    if let Ok(text) = serde_json::to_string_pretty(document) {
        let _ = writeln!(std::io::stdout(), "{text}");
    }
}

/// A usage fault as a JSON document.
pub(crate) fn print_usage_fault(message: &str) {
    // the first paragraph says what is wrong, the others how the command is used
    let paragraph: Vec<&str> = message.lines().map(str::trim).take_while(|line| !line.is_empty()).collect();
    let found = paragraph.join(" ");
    let found = found.trim_start_matches("error: ");
    let document = FaultsDocument {
        schema: "arcmass.faults/1",
        made_by: Desk::default().made_by(Vec::new()),
        faults: vec![entry(
            "command line",
            None,
            None,
            found,
            "a command with its options, as `arcmass --help` lists them",
            "see `arcmass --help`",
        )],
    };
    print_document(&document);
}

/// One message on standard error, control characters taken out line by line.
pub(crate) fn say(message: &str) {
    let mut stderr = anstream::stderr().lock();
    for line in message.lines() {
        let _ = writeln!(stderr, "{}", printable(line));
    }
}
