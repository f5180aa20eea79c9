//! A real open bench, S01: field line with both signs of current, 17 usable rings, no geometry stated.
//!
//! Source: `tests/data/S01` (MIT, notice beside it). Its published line is 7.773(43) G/A with −0.34(8) G.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

use std::fmt::Write as _;
use std::path::{Path, PathBuf};

use arcmass_lab::Desk;
use arcmass_lab::document::ReductionDocument;
use arcmass_lab::reduce::{AcceptedMass, reduce};
use arcmass_notebook::Notebook;

fn data(name: &str) -> String {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../tests/data/S01").join(name);
    std::fs::read_to_string(path).unwrap()
}

fn numbers(name: &str) -> Vec<Vec<f64>> {
    let text = data(name);
    let rows = text.lines().filter(|line| !line.starts_with('#') && !line.trim().is_empty());
    rows.map(|line| line.split_whitespace().map(|cell| cell.parse().unwrap()).collect()).collect()
}

/// The published tables as a notebook: same numbers, our columns.
fn notebook(folder: &Path) -> PathBuf {
    let mut probe = String::from("current_A,flux_density_G\n");
    for row in numbers("calibration.txt") {
        writeln!(probe, "{},{}", row[0], row[1]).unwrap();
    }
    let mut readings = String::from("run,voltage_V,current_A,diameter_mm\n");
    let usable = numbers("e_over_m.txt").into_iter().filter(|row| row[2] > 0.0);
    for (index, row) in usable.enumerate() {
        writeln!(readings, "{},{},{},{}", index + 1, row[0], row[1], 1e3 * row[2]).unwrap();
    }
    // the published uncertainties are those of the scatter alone
    let exact = "of_reading = \"0 %\"\n";
    let bench =
        format!("[bench]\nformat = 1\nname = \"S01\"\n[meters.current]\n{exact}[meters.probe]\n{exact}");
    std::fs::write(folder.join("bench.toml"), bench).unwrap();
    std::fs::write(folder.join("field-probe.csv"), probe).unwrap();
    std::fs::write(folder.join("readings.csv"), readings).unwrap();
    folder.to_owned()
}

fn reduced() -> ReductionDocument {
    let folder = tempfile::tempdir().unwrap();
    let notebook = Notebook::open(notebook(folder.path())).unwrap();
    reduce(&notebook, None, &AcceptedMass::default(), &Desk::default()).unwrap()
}

const ELECTRON_MASS_KG: f64 = 9.109_383_713_9e-31;

#[test]
fn slope_and_intercept_agree_with_the_published_line() {
    let result = reduced();
    let slope = result.probe_mt_per_a.unwrap();
    assert!((slope.value * 10.0 - 7.773).abs() < 0.0005, "slope {} G/A", slope.value * 10.0);
    assert!((slope.standard_uncertainty * 10.0 - 0.043).abs() < 0.0006);
    let intercept = result.intercept_mt.unwrap();
    assert!((intercept.value * 10.0 + 0.34).abs() < 0.005, "intercept {} G", intercept.value * 10.0);
    assert!((intercept.standard_uncertainty * 10.0 - 0.084).abs() < 0.001);
}

#[test]
fn textbook_masses_are_the_formulas_on_the_same_inputs() {
    let result = reduced();
    let slope_t_per_a = 1e-3 * result.probe_mt_per_a.unwrap().value;
    let usable = numbers("e_over_m.txt").into_iter().filter(|row| row[2] > 0.0);
    let mut sum = 0.0;
    for (row, run) in usable.zip(&result.runs) {
        let expected = 1.602_176_634e-19 * (slope_t_per_a * row[1] * row[2] / 2.0).powi(2) / (2.0 * row[0]);
        assert!((run.textbook_mass_kg / expected - 1.0).abs() < 1e-9, "run {}", run.run);
        sum += run.textbook_mass_kg / ELECTRON_MASS_KG;
    }
    assert!((sum / 17.0 - 1.174).abs() < 0.0005, "mean {}", sum / 17.0);
}

#[test]
fn the_bench_disagrees_with_the_accepted_mass_and_says_what_it_could_not_correct() {
    let result = reduced();
    println!("{}", serde_json::to_string_pretty(&result).unwrap());
    assert!(result.reference.difference_in_u > 2.0, "{}", result.reference.difference_in_u);
    assert!(result.caveats.iter().any(|caveat| caveat.code == "field-fall-off"));
    assert!(result.caveats.iter().any(|caveat| caveat.code == "scale-unchecked"));
}

#[test]
fn nothing_but_the_last_comparison_reads_the_accepted_mass() {
    let folder = tempfile::tempdir().unwrap();
    let notebook = Notebook::open(notebook(folder.path())).unwrap();
    let wrong = AcceptedMass { value_kg: 3.0e-31, standard_uncertainty_kg: 1e-33, source: "invented".into() };
    let mut told_wrong = reduce(&notebook, None, &wrong, &Desk::default()).unwrap();
    let mut honest = reduce(&notebook, None, &AcceptedMass::default(), &Desk::default()).unwrap();
    assert_ne!(told_wrong.reference, honest.reference);
    // which constant factor would make up for the difference is said beside the comparison
    for found in [&mut told_wrong, &mut honest] {
        found.caveats.retain(|caveat| caveat.code != "constant-factor");
    }
    told_wrong.reference = honest.reference.clone();
    assert_eq!(told_wrong, honest);
}

#[test]
fn what_the_file_leaves_unstated_is_wide_and_said_with_its_part() {
    let folder = tempfile::tempdir().unwrap();
    notebook(folder.path());
    std::fs::write(folder.path().join("bench.toml"), "[bench]\nformat = 1\nname = \"S01\"\n").unwrap();
    let silent = Notebook::open(folder.path()).unwrap();
    let silent = reduce(&silent, None, &AcceptedMass::default(), &Desk::default()).unwrap();
    let relative = |found: &ReductionDocument| found.mass_kg.standard_uncertainty / found.mass_kg.value.abs();
    assert!(relative(&silent) > 1.1 * relative(&reduced()), "two meters of class 2.5 for exact ones");
    let said = |code: &str, words: &str| {
        let found = silent.caveats.iter().find(|one| one.code == code && one.sentence.contains(words));
        found.unwrap_or_else(|| panic!("no {code} with `{words}` among {:?}", silent.caveats))
    };
    for (code, words) in [
        ("voltage-offset-not-stated", "−2 V with u = 5 V"),
        ("background-not-stated", "u = 30 µT"),
        ("meter-not-stated", "voltmeter"),
        ("meter-not-stated", "probe"),
    ] {
        assert!(said(code, words).sentence.contains("contributes"), "{code}");
    }
    let given = said("given-the-stated-inputs", "given that no energy is lost in the gas");
    assert!(given.sentence.contains("middle of the beam") && given.remedy.contains("edge column"));
    assert!(!given.sentence.contains("each coil"), "the probe read the field with the same ammeter");
}
