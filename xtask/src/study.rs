//! Long studies, run by hand and not by CI.

use std::process::ExitCode;

/// Name, what it answers, and the function that runs it.
type Study = (&'static str, &'static str, fn() -> ExitCode);

const STUDIES: &[Study] = &[];

/// Says which studies there are.
pub(crate) fn list() -> ExitCode {
    println!("{}", sentence());
    ExitCode::SUCCESS
}

/// Runs one study, or says which there are.
pub(crate) fn run(name: &str) -> ExitCode {
    match STUDIES.iter().find(|(own, _, _)| *own == name) {
        Some((_, _, study)) => study(),
        None => {
            eprintln!("there is no study `{name}`; {}", sentence());
            ExitCode::from(2)
        }
    }
}

fn sentence() -> String {
    if STUDIES.is_empty() {
        return "no study has been written yet".to_owned();
    }
    let lines: Vec<String> =
        STUDIES.iter().map(|(name, answers, _)| format!("  {name}: {answers}")).collect();
    format!("the studies are\n{}", lines.join("\n"))
}
