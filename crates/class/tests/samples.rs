//! Two simulated classes with their answers: every slip is named, nobody is accused, the bad bench is called by its name.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

use std::path::{Path, PathBuf};

use arcmass_class::document::{ClassDocument, GroupEntry, Verdict};
use arcmass_class::slips::Where;
use arcmass_class::{NamedBench, check};
use arcmass_lab::Desk;
use arcmass_notebook::{Notebook, read_class};
use serde_json::Value;

fn folder(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../../tests/data").join(name)
}

fn checked(name: &str, bench: &str) -> (ClassDocument, Value) {
    let folder = folder(name);
    let table = read_class(&folder.join("class.csv"), None).unwrap();
    let notebook = Notebook::open(folder.join(bench)).unwrap();
    let benches = [NamedBench { name: bench.to_owned(), notebook }];
    let document = check(&table, &benches, &Desk::default()).unwrap();
    let answer = std::fs::read_to_string(folder.join("answer.json")).unwrap();
    (document, serde_json::from_str(&answer).unwrap())
}

fn place(place: Where) -> &'static str {
    match place {
        Where::Reading => "reading",
        Where::Working => "working",
    }
}

/// Code and place of the slips named.
fn named(group: &GroupEntry) -> Vec<(String, String)> {
    group.slips.iter().map(|slip| (slip.code.to_owned(), place(slip.place).to_owned())).collect()
}

#[test]
fn slips_are_named_and_nobody_is_accused() {
    let (document, answer) = checked("class-b", "bench-4");
    for (group, truth) in document.groups.iter().zip(answer["groups"].as_array().unwrap()) {
        assert_eq!(group.group, truth["group"].as_str().unwrap());
        let slips = truth["slips"].as_array().unwrap();
        let said = format!("{}: {truth:#}\n{group:#?}", group.group);
        if slips.is_empty() {
            assert_eq!(group.verdict, Verdict::Honest, "{said}");
            continue;
        }
        let text = |slip: &Value, key: &str| slip[key].as_str().unwrap().to_owned();
        let codes = named(group);
        for slip in slips {
            assert!(codes.contains(&(text(slip, "code"), text(slip, "where"))), "{said}");
        }
        let equal = truth["equal"].as_array().unwrap();
        if equal.is_empty() && truth["subtle"] == Value::Bool(false) {
            assert_eq!(group.verdict, Verdict::Slip, "{said}");
            assert_eq!(codes.len(), slips.len(), "{said}");
        }
        if !equal.is_empty() {
            assert_eq!(group.verdict, Verdict::Undecided, "{said}");
            let confidence = group.slips[0].confidence;
            assert!(
                group.slips[..2].iter().all(|slip| (slip.confidence - confidence).abs() < 1e-9),
                "{said}"
            );
            for other in equal {
                let other = other.as_array().unwrap()[0].as_str().unwrap();
                assert!(codes.iter().any(|code| code.0 == other), "{said}");
            }
        }
    }
}

#[test]
fn a_bench_outside_its_file_is_named_and_its_groups_are_not() {
    let (document, answer) = checked("class-a", "bench-1");
    for group in &document.groups {
        assert_eq!(group.verdict, Verdict::Bench, "{group:#?}");
    }
    let [bench] = document.benches.as_slice() else { panic!("{document:#?}") };
    assert_eq!(bench.findings[0].code, "stray-field-axial", "{bench:#?}");
    let truth = answer["m_kg"].as_f64().unwrap();
    let pooled = document.pooled_mass_kg.unwrap();
    assert!(((pooled.value - truth) / pooled.standard_uncertainty).abs() < 3.0, "{pooled:?}");
}

#[test]
fn without_a_bench_only_the_sums_are_judged() {
    let table = read_class(&folder("class-b").join("class.csv"), None).unwrap();
    let document = check(&table, &[], &Desk::default()).unwrap();
    assert!(document.pooled_mass_kg.is_none() && document.caveats.iter().any(|c| c.code == "no-bench"));
    let rowan = document.groups.iter().find(|group| group.group == "Rowan").unwrap();
    assert_eq!(named(rowan)[0].0, "ratio-for-mass", "{rowan:#?}");
    assert!(document.groups.iter().flat_map(|group| &group.slips).all(|slip| slip.place == Where::Working));
}
