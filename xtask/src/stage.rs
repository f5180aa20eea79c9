//! The stages of `cargo xtask test`: each under a heading with its time, all of them run, a summary at the end.

use std::path::Path;
use std::process::{Command, ExitCode, Stdio};
use std::time::Instant;

use crate::metadata::Metadata;
use crate::{browser, dependencies, house, licence, repository};

/// Runs in the root, prints what it finds, says whether all is well.
type Check = fn(&Path) -> bool;

/// Quick ones first.
const STAGES: &[(&str, Check)] = &[
    ("formatting", formatting),
    ("house rules", house_rules),
    ("unused dependencies", unused_dependencies),
    ("licences of dependencies", licences),
    ("lints", lints),
    ("documentation", documentation),
    ("examples in the documentation", examples),
    ("tests", tests),
    ("page in a browser", page),
];

/// Runs every stage, or those whose names are asked for, then says which passed; status 1 where one did not.
pub(crate) fn run(wanted: &[&str]) -> ExitCode {
    let names: Vec<&str> = STAGES.iter().map(|(name, _)| *name).collect();
    if let Some(unknown) = wanted.iter().find(|name| !names.contains(*name)) {
        eprintln!("there is no stage `{unknown}`; the stages are: {}", names.join(", "));
        return ExitCode::from(2);
    }
    let root = repository::root();
    let mut summary = Vec::new();
    for (name, check) in STAGES.iter().filter(|(name, _)| wanted.is_empty() || wanted.contains(name)) {
        println!("\n== {name}");
        let start = Instant::now();
        let is_well = check(&root);
        let seconds = start.elapsed().as_secs_f64();
        println!("== {name}: {}, {seconds:.1} s", word(is_well));
        summary.push((name, is_well, seconds));
    }
    println!("\n== summary");
    for (name, is_well, seconds) in &summary {
        println!("{:<6} {seconds:>7.1} s  {name}", word(*is_well));
    }
    if summary.iter().any(|(name, _, _)| **name == "tests") {
        name_reference_checks(&root);
    }
    if summary.iter().all(|(_, is_well, _)| *is_well) { ExitCode::SUCCESS } else { ExitCode::FAILURE }
}

fn name_reference_checks(root: &Path) {
    println!("\nReference checks, part of the tests:");
    for (file, readers) in house::reference_readers(root) {
        println!("  reference/{file}: {}", readers.join(", "));
    }
}

fn word(is_well: bool) -> &'static str {
    if is_well { "ok" } else { "FAILED" }
}

/// The cargo that started this program.
pub(crate) fn cargo() -> String {
    std::env::var("CARGO").unwrap_or_else(|_| "cargo".to_owned())
}

fn formatting(root: &Path) -> bool {
    cargo_does(root, &["fmt", "--all", "--check"], &[])
}

/// Once as a person builds it, once with everything built in.
fn lints(root: &Path) -> bool {
    let bare = ["clippy", "--workspace", "--exclude", "arcmass-pdf", "--all-targets", "--", "-D", "warnings"];
    let whole = ["clippy", "--workspace", "--all-targets", "--all-features", "--", "-D", "warnings"];
    // both, so that one run tells all
    let [bare, whole] = [cargo_does(root, &bare, &[]), cargo_does(root, &whole, &[])];
    bare && whole
}

fn documentation(root: &Path) -> bool {
    cargo_does(
        root,
        &["doc", "--workspace", "--all-features", "--no-deps"],
        &[("RUSTDOCFLAGS", "-D warnings")],
    )
}

fn examples(root: &Path) -> bool {
    cargo_does(root, &["test", "--doc", "--workspace", "--all-features", "--no-fail-fast"], &[])
}

/// Tells the page's tests in a browser where they are run: [`page`] does, with what it needs; [`tests`] passes them over.
const BROWSER: &str = "ARCMASS_BROWSER";

/// With nextest where it is installed, which runs the tests of all crates side by side.
fn tests(root: &Path) -> bool {
    println!("the page's tests in a browser are left to the stage `page in a browser`");
    let elsewhere = [(BROWSER, "elsewhere")];
    let nextest = Command::new(cargo())
        .args(["nextest", "--version"])
        .stdout(Stdio::null())
        .stderr(Stdio::null())
        .status()
        .is_ok_and(|status| status.success());
    if nextest {
        return cargo_does(
            root,
            &["nextest", "run", "--workspace", "--all-features", "--no-fail-fast"],
            &elsewhere,
        );
    }
    cargo_does(
        root,
        &[
            "test",
            "--workspace",
            "--all-features",
            "--lib",
            "--bins",
            "--tests",
            "--examples",
            "--no-fail-fast",
        ],
        &elsewhere,
    )
}

/// The page's way from an empty notebook to its mass in Chromium, with axe-core. Asked of the whole workspace, so that nothing
/// is built twice for another set of features. Fails without Chromium.
fn page(root: &Path) -> bool {
    if !browser::is_there() {
        return false;
    }
    let axe = browser::axe(root).map(|file| file.display().to_string());
    let mut settings = vec![(BROWSER, "required")];
    // without a network the accessibility goes unchecked, and the run has said so
    settings.extend(axe.as_deref().map(|axe| ("ARCMASS_AXE", axe)));
    cargo_does(root, &["test", "--workspace", "--all-features", "--test", "browser"], &settings)
}

fn house_rules(root: &Path) -> bool {
    say(house::offences(root))
}

fn unused_dependencies(root: &Path) -> bool {
    say(Metadata::read(root).map(|metadata| dependencies::offences(root, &metadata)))
}

fn licences(root: &Path) -> bool {
    say(Metadata::read(root).map(|metadata| {
        if let Some(remark) = &metadata.remark {
            println!("{remark}");
        }
        println!("{} packages", metadata.foreign_packages().len());
        licence::offences(&metadata)
    }))
}

fn say(offences: Result<Vec<String>, String>) -> bool {
    let offences = offences.unwrap_or_else(|why| vec![why]);
    for offence in &offences {
        println!("{offence}");
    }
    offences.is_empty()
}

fn cargo_does(root: &Path, words: &[&str], settings: &[(&str, &str)]) -> bool {
    println!("cargo {}", words.join(" "));
    let status = Command::new(cargo()).args(words).envs(settings.iter().copied()).current_dir(root).status();
    match status {
        Ok(status) => status.success(),
        Err(why) => {
            println!("cargo could not be run: {why}");
            false
        }
    }
}
