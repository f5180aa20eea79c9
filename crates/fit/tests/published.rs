//! Checks every line, uncertainty and curve-fit case of the reference tables, naming the source on failure.

// A test that can not go on stops with its reason; helpers outside #[test] functions are still tests.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

#[path = "published/table.rs"]
mod table;

#[path = "published/curves.rs"]
mod curves;
#[path = "published/lines.rs"]
mod lines;
#[path = "published/uncertainty.rs"]
mod uncertainty;

use table::Case;

/// Runs one check a case; a case that is neither checked nor listed as belonging elsewhere fails.
fn run(file: &str, skipped: &[(&str, &str)], check: impl Fn(&Case) -> bool) {
    let mut unknown = Vec::new();
    for case in table::cases(file) {
        let elsewhere = skipped.iter().any(|(prefix, _)| case.id.starts_with(prefix));
        assert!(!(elsewhere && check(&case)), "{} is both checked and listed as skipped", case.id);
        if !elsewhere && !check(&case) {
            unknown.push(case.id.clone());
        }
    }
    assert!(unknown.is_empty(), "{file}: neither checked nor listed: {unknown:?}");
}

#[test]
fn lines_agree_with_their_sources() {
    run("lines.toml", &[], lines::check);
}

#[test]
fn circles_and_ellipses_agree_with_their_sources() {
    run("geometry.toml", &curves::SKIPPED, curves::check);
}

#[test]
fn uncertainty_evaluations_agree_with_their_sources() {
    run("uncertainty.toml", &[], uncertainty::check);
}
