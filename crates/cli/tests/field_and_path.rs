//! What people see of `field` and `path`, of their figures as files, and of completions and manual.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;

use serde_json::Value;
use tempfile::TempDir;

struct Said {
    status: i32,
    out: String,
    err: String,
}

fn arcmass(folder: &Path, words: &str) -> Said {
    let output = Command::new(env!("CARGO_BIN_EXE_arcmass"))
        .current_dir(folder)
        .args(words.split_whitespace())
        .output()
        .unwrap();
    Said {
        status: output.status.code().unwrap(),
        out: String::from_utf8(output.stdout).unwrap(),
        err: String::from_utf8(output.stderr).unwrap(),
    }
}

fn works(folder: &Path, words: &str) -> String {
    let said = arcmass(folder, words);
    assert_eq!(said.status, 0, "{words}: {}", said.err);
    said.out
}

fn repository() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../..")
}

/// A folder with the simulated bench, tables only, in `bench`.
fn room() -> TempDir {
    let folder = TempDir::new().unwrap();
    fs::create_dir(folder.path().join("bench")).unwrap();
    for name in ["bench.toml", "field-probe.csv"] {
        let from = repository().join("tests/data/typical").join(name);
        fs::copy(from, folder.path().join("bench").join(name)).unwrap();
    }
    folder
}

/// Every element is closed in its order, and nothing of a number went wrong.
fn assert_svg(text: &str) {
    assert!(text.starts_with("<?xml") && text.trim_end().ends_with("</svg>"));
    assert!(text.contains("<title") && text.contains("<desc") && text.contains("role=\"img\""));
    assert!(!text.contains("NaN") && !text.contains("inf"), "a number is none");
    let mut open: Vec<&str> = Vec::new();
    for tag in text.split('<').skip(1).filter_map(|rest| rest.split('>').next()) {
        if let Some(name) = tag.strip_prefix('/') {
            assert_eq!(open.pop(), Some(name));
        } else if !tag.starts_with('?') && !tag.ends_with('/') {
            open.push(tag.split([' ', '\n']).next().unwrap());
        }
    }
    assert!(open.is_empty(), "{open:?}");
}

#[test]
fn the_field_is_told_in_aligned_columns_of_at_most_eighty() {
    let room = room();
    let out = works(room.path(), "field bench --current 1.5 --at 0,-36,0 --at=-10,0,20");
    for words in
        ["in use, all combined", "by the probe", "Shape of the map", "mean radius", "largest %", "Bz mT"]
    {
        assert!(out.contains(words), "{words}\n{out}");
    }
    assert!(out.lines().all(|line| line.chars().count() <= 80), "{out}");
    // the decimal points of the ways stand under each other
    let ways: Vec<usize> = out
        .lines()
        .filter(|line| line.contains("mT/A"))
        .take(3)
        .map(|line| line.find('.').unwrap())
        .collect();
    assert!(ways.iter().all(|place| *place == ways[0]), "{out}");
}

#[test]
fn the_figures_of_the_field_are_written_as_picture_and_as_text() {
    let room = room();
    let out = works(room.path(), "field bench --figures pictures/field");
    for name in ["field-line", "field-profile", "field-map", "field-uniformity"] {
        let at = |ending: &str| room.path().join(format!("pictures/field/{name}.{ending}"));
        assert_svg(&fs::read_to_string(at("svg")).unwrap());
        let text = fs::read_to_string(at("txt")).unwrap();
        assert!(text.lines().count() > 6, "{name}: {text}");
        assert!(out.contains(&format!("{name}.svg")), "{out}");
    }
    // a clash or none, the notebook itself is left as it was
    assert!(!room.path().join("bench/results").exists());
}

#[test]
fn the_figures_of_a_path_are_written_on_either_ground() {
    let room = room();
    let setting = "path bench --voltage 250 --current 2.2 --gun-tilt 8 --figures";
    works(room.path(), &format!("{setting} light"));
    works(room.path(), &format!("{setting} dark --dark"));
    for name in ["path-views", "path-perspective"] {
        let of = |ground: &str| fs::read_to_string(room.path().join(format!("{ground}/{name}.svg"))).unwrap();
        let (light, dark) = (of("light"), of("dark"));
        assert_svg(&light);
        assert_svg(&dark);
        assert!(light.contains("#FBFAF6") && dark.contains("#0E1013"));
        let text = fs::read_to_string(room.path().join(format!("light/{name}.txt"))).unwrap();
        // the probe's table teaches what the ammeter's 2.2 A are
        assert!(text.starts_with("Helix at 250.0 V and 2.2"), "{text}");
        assert!(text.lines().next().unwrap().contains(" A, meters corrected"), "{text}");
    }
}

#[test]
fn a_folder_for_figures_that_is_a_file_is_refused() {
    let room = room();
    fs::write(room.path().join("taken"), "").unwrap();
    let said = arcmass(room.path(), "path bench --voltage 250 --current 2 --figures taken");
    assert_eq!(said.status, 2);
    assert!(said.err.contains("`taken`") && said.err.contains("--figures"), "{}", said.err);
    let said = arcmass(room.path(), "path bench --voltage 250 --current 2 --dark");
    assert_eq!(said.status, 2, "a ground without a figure");
}

#[test]
fn a_path_says_what_is_assumed_of_the_beam_and_where_it_ends() {
    let room = room();
    let out = works(room.path(), "path bench --voltage 250 --current 2");
    for words in [
        "Ring at 250 V and 2 A",
        "fitted diameter",
        "After one turn",
        "assumed",
        "narrowest",
        "does not strike",
    ] {
        assert!(out.contains(words), "{words}\n{out}");
    }
    let out = works(room.path(), "path bench --voltage 250 --current 2 --field-sense -");
    assert!(out.contains("wrong way round") && out.contains("--gun-tilt 180"), "{out}");
}

#[test]
fn the_map_of_the_field_stands_in_the_document_only_when_asked() {
    let room = room();
    let document = |words: &str| -> Value { serde_json::from_str(&works(room.path(), words)).unwrap() };
    assert!(document("field bench --json")["map"].is_null());
    let mapped = document("field bench --json --map");
    assert!(mapped["map"]["across_percent"].as_array().unwrap().len() > 1000);
    let schema: Value =
        serde_json::from_str(&fs::read_to_string(repository().join("schemas/field.json")).unwrap()).unwrap();
    assert!(jsonschema::is_valid(&schema, &mapped));
}

#[test]
fn a_place_and_a_date_give_the_background_and_a_date_out_of_range_one_error() {
    let room = room();
    fs::remove_file(room.path().join("bench/field-probe.csv")).unwrap();
    let file = room.path().join("bench/bench.toml");
    let bench = fs::read_to_string(&file).unwrap();
    let place = |date: &str| {
        format!(
            "{bench}\n[surroundings]\nlatitude = \"52.1 deg\"\nlongitude = \"4.3 deg\"\nheight = \"20 m\"\ndate = {date}\n\
             axis_bearing = \"0 deg\"\n"
        )
    };
    fs::write(&file, place("2026-03-12")).unwrap();
    let document: Value = serde_json::from_str(&works(room.path(), "field bench --json")).unwrap();
    let value = |axis: usize| document["background_mt"][axis]["value"].as_f64().unwrap();
    // northern mid-latitudes: about 49 µT, most of it down, the rest north (common knowledge, no source)
    assert!((0.015..0.025).contains(&value(2)) && (-0.052..-0.040).contains(&value(1)), "{document:#}");
    assert!(document["background_mt"][1]["standard_uncertainty"].as_f64().unwrap() > 5e-5);
    fs::write(&file, place("2019-12-31")).unwrap();
    let said = arcmass(room.path(), "field bench");
    assert_eq!(said.status, 2);
    assert!(said.err.contains("2025") && said.err.contains("date"), "{}", said.err);
}

#[test]
fn every_shell_gets_a_completion_that_knows_every_command() {
    let room = room();
    for shell in ["bash", "zsh", "fish", "powershell", "elvish"] {
        let script = works(room.path(), &format!("completions {shell}"));
        for command in ["field", "path", "rings", "reduce", "report", "check", "new", "demo"] {
            assert!(script.contains(command), "{shell}: {command}");
        }
        assert!(script.contains("gun-tilt"), "{shell}");
    }
    assert_eq!(arcmass(room.path(), "completions tortoise").status, 2);
}

#[test]
fn the_manual_has_a_page_for_every_command() {
    let room = room();
    works(room.path(), "manual man1");
    let page = |name: &str| fs::read_to_string(room.path().join("man1").join(name)).unwrap();
    let whole = page("arcmass.1");
    assert!(whole.contains(".TH arcmass 1") && whole.contains("never commands a supply"), "{whole}");
    for command in ["field", "path", "rings", "reduce", "report", "check", "new", "demo"] {
        let text = page(&format!("arcmass-{command}.1"));
        assert!(text.contains(".SH OPTIONS") || text.contains(".SH SYNOPSIS"), "{command}");
    }
    assert!(page("arcmass-path.1").contains("\\-\\-gun\\-tilt"));
}
