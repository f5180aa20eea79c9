//! Notebooks that look odd and are still good: a result, quietly or with a caveat.

use std::fs;
use std::io::{BufRead, BufReader};
use std::path::Path;
use std::process::{Command, Stdio};

use crate::folder::{READINGS, arcmass, document, good, rust_words, text};

/// The mass that a notebook gives, kg.
fn mass(room: &Path, notebook: &str) -> f64 {
    let output = arcmass(room, &format!("reduce {notebook} --json"));
    let said = text(&output.stderr);
    assert_eq!(output.status.code(), Some(0), "{said}");
    document(&output).unwrap()["mass_kg"]["value"].as_f64().unwrap()
}

#[test]
fn tables_of_any_spreadsheet_give_the_same_mass() {
    let room = good();
    let bench = room.path().join("bench");
    let expected = mass(room.path(), "bench");
    let lines_of_windows = format!("\u{feff}{}", READINGS.replace('\n', "\r\n"));
    let decimal_commas = READINGS.replace(',', ";").replace('.', ",");
    let tabs = READINGS.replace(',', "\t");
    for table in [lines_of_windows, decimal_commas, tabs] {
        fs::write(bench.join("readings.csv"), &table).unwrap();
        assert_eq!(mass(room.path(), "bench").to_bits(), expected.to_bits(), "{table}");
    }
    let bench_file = fs::read_to_string(bench.join("bench.toml")).unwrap();
    fs::write(bench.join("bench.toml"), format!("\u{feff}{}", bench_file.replace('\n', "\r\n"))).unwrap();
    assert_eq!(mass(room.path(), "bench").to_bits(), expected.to_bits());
}

#[test]
fn results_that_cannot_be_written_are_shown_with_a_caveat() {
    let room = good();
    fs::write(room.path().join("bench/results"), b"a file in the way").unwrap();
    let output = arcmass(room.path(), "reduce bench");
    let said = text(&output.stderr);
    assert_eq!(output.status.code(), Some(0), "{said}");
    assert!(text(&output.stdout).contains("Mass of the particle"));
    assert!(said.contains("results/reduction.json") && said.contains("shown but not kept"), "{said}");
    assert!(rust_words(&said).is_empty(), "{said}");
    assert_eq!(fs::read(room.path().join("bench/results")).unwrap(), b"a file in the way");
}

#[test]
fn a_folder_may_have_spaces_and_any_letters() {
    let room = good();
    let name = "Bänk am Fenster · 电子 é";
    fs::rename(room.path().join("bench"), room.path().join(name)).unwrap();
    let output = Command::new(env!("CARGO_BIN_EXE_arcmass"))
        .arg("reduce")
        .arg(name)
        .current_dir(room.path())
        .output()
        .unwrap();
    assert_eq!(output.status.code(), Some(0), "{}", text(&output.stderr));
    assert!(room.path().join(name).join("results/reduction.json").is_file());
}

#[cfg(unix)]
#[test]
fn bench_file_and_tables_may_be_links() {
    use std::os::unix::fs::symlink;
    let room = good();
    let bench = room.path().join("bench");
    let expected = mass(room.path(), "bench");
    for name in ["bench.toml", "readings.csv", "field-probe.csv"] {
        let kept = bench.join(format!("kept-{name}"));
        fs::rename(bench.join(name), &kept).unwrap();
        symlink(kept.file_name().unwrap(), bench.join(name)).unwrap();
    }
    symlink(".", bench.join("round")).unwrap();
    symlink("nowhere", bench.join("broken")).unwrap();
    fs::create_dir(bench.join("marks")).unwrap();
    symlink("..", bench.join("marks/round")).unwrap();
    symlink(room.path().join("bench"), room.path().join("linked")).unwrap();
    assert_eq!(mass(room.path(), "linked").to_bits(), expected.to_bits());
}

#[cfg(unix)]
#[test]
fn a_link_that_leads_to_itself_is_one_fault() {
    let room = good();
    let file = room.path().join("bench/bench.toml");
    fs::remove_file(&file).unwrap();
    std::os::unix::fs::symlink("bench.toml", &file).unwrap();
    let output = arcmass(room.path(), "check bench");
    let said = text(&output.stderr);
    assert_eq!(output.status.code(), Some(2), "{said}");
    assert!(said.contains("bench.toml: a file that can't be read"), "{said}");
}

#[test]
fn a_reader_that_closes_early_ends_the_command_quietly() {
    for command in ["reduce", "check", "field"] {
        let room = good();
        let mut child = Command::new(env!("CARGO_BIN_EXE_arcmass"))
            .args([command, "bench"])
            .current_dir(room.path())
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .unwrap();
        drop(child.stdout.take()); // closed before the first line is written
        let output = child.wait_with_output().unwrap();
        assert_eq!((output.status.code(), text(&output.stderr)), (Some(0), String::new()), "{command}");
    }
}

#[test]
fn the_first_line_can_be_read_alone() {
    let room = good();
    let mut child = Command::new(env!("CARGO_BIN_EXE_arcmass"))
        .args(["path", "bench", "--voltage", "200", "--current", "2", "--json"])
        .current_dir(room.path())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    let mut first = String::new();
    BufReader::new(child.stdout.take().unwrap()).read_line(&mut first).unwrap();
    let output = child.wait_with_output().unwrap();
    let said = text(&output.stderr);
    assert_eq!((first.as_str(), output.status.code()), ("{\n", Some(0)), "{said}");
    assert!(rust_words(&said).is_empty(), "{said}");
}

#[test]
fn every_command_helps_with_an_example() {
    let room = good();
    let help = arcmass(room.path(), "--help");
    let listed = text(&help.stdout);
    let commands = listed.split("Commands:").nth(1).unwrap().split("Options:").next().unwrap();
    let of_line =
        |line: &str| line.strip_prefix("  ").and_then(|line| line.split(' ').next().map(str::to_owned));
    let names: Vec<String> = commands.lines().filter_map(of_line).filter(|name| !name.is_empty()).collect();
    for wanted in ["demo", "new", "check", "field", "rings", "reduce", "path", "report", "plan", "combine"] {
        assert!(names.iter().any(|name| name == wanted), "{wanted}: {names:?}");
    }
    for name in names.iter().filter(|name| *name != "help") {
        let help = text(&arcmass(room.path(), &format!("{name} --help")).stdout);
        let shows = |head: &str| help.contains(&format!("{head}:\n  arcmass {name}"));
        assert!(shows("Example") || shows("Examples"), "{help}");
        assert!(help.lines().all(|line| line.chars().count() <= 100), "{help}");
    }
    let version = arcmass(room.path(), "--version");
    assert_eq!(text(&version.stdout), format!("arcmass {}\n", env!("CARGO_PKG_VERSION")));
}

#[test]
fn a_reduction_is_no_wider_than_a_hundred_columns() {
    let room = good();
    let printed = text(&arcmass(room.path(), "reduce bench").stdout);
    let wide: Vec<&str> = printed.lines().filter(|line| line.chars().count() > 100).collect();
    assert!(printed.lines().count() > 20 && wide.is_empty(), "{wide:#?}");
}
