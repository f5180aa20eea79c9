//! Spoilt notebooks and slips on the command line, each refused with one message and nothing written.

use std::fs;
use std::path::Path;

use crate::folder::Spoil::{self, By, Nothing, Remove, Replace, Write};
use crate::folder::{arcmass, document, good, listing, rust_words, spoil, text};

/// One way to go wrong.
struct Case {
    name: &'static str,
    spoil: Spoil,
    command: &'static str,
    /// What must stand in the message, place first where there is one.
    words: &'static [&'static str],
}

const fn case(
    name: &'static str,
    spoil: Spoil,
    command: &'static str,
    words: &'static [&'static str],
) -> Case {
    Case { name, spoil, command, words }
}

const BENCH: &str = "bench.toml";
const TABLE: &str = "readings.csv";
const CHECK: &str = "check bench";

const FOLDERS: &[Case] = &[
    case("no folder", Remove(""), CHECK, &["bench: no such folder", "arcmass new"]),
    case("a file for a folder", Nothing, "check bench/bench.toml", &["bench/bench.toml: a file", "folder"]),
    case("no bench.toml", Remove(BENCH), CHECK, &["bench.toml: no such file", "arcmass new"]),
    case("no bench.toml to reduce", Remove(BENCH), "reduce bench", &["bench.toml: no such file"]),
    case("no readings to reduce", Remove(TABLE), "reduce bench", &["no readings.csv"]),
];

const BENCH_FILES: &[Case] = &[
    case(
        "unknown key",
        Replace(BENCH, "turns = 129", "turns = 129\nwarp = 9"),
        CHECK,
        &["bench.toml:10:1", "`warp`"],
    ),
    case(
        "near-miss key",
        Replace(BENCH, "turns =", "turnz ="),
        CHECK,
        &["bench.toml:9:1", "`turnz`", "`turns`"],
    ),
    case(
        "near-miss table",
        Replace(BENCH, "[coils]", "[coil_pair]"),
        CHECK,
        &["bench.toml:5:2", "coil_pair"],
    ),
    case(
        "a voltage for a length",
        Replace(BENCH, "\"161 mm ± 0.5 mm\"", "\"12 V\""),
        CHECK,
        &["bench.toml:7:15", "12 V", "a length"],
    ),
    case(
        "negative uncertainty",
        Replace(BENCH, "161 mm ± 0.5 mm", "161 mm ± -0.5 mm"),
        CHECK,
        &["bench.toml:7:", "-0.5", "uncertainty"],
    ),
    case("no unit", Replace(BENCH, "161 mm ± 0.5 mm", "161 ± 0.5"), CHECK, &["bench.toml:7:", "unit", "mm"]),
    case(
        "decimal comma",
        Replace(BENCH, "161 mm ± 0.5 mm", "161,0 mm"),
        CHECK,
        &["bench.toml:7:", "161,0", "161.0"],
    ),
    case("NaN spelt out", Replace(BENCH, "turns = 129", "turns = nan"), CHECK, &["bench.toml:9:9", "nan"]),
    case("NaN with a unit", Replace(BENCH, "161 mm ± 0.5 mm", "nan mm"), CHECK, &["bench.toml:7:", "nan"]),
    case("infinity spelt out", Replace(BENCH, "\"350 V\"", "\"inf V\""), CHECK, &["bench.toml:", "inf"]),
    case(
        "negative size",
        Replace(BENCH, "\"161 mm ± 0.5 mm\"", "\"-161 mm\""),
        CHECK,
        &["bench.toml:7:", "above 0"],
    ),
    case(
        "a newer format",
        Replace(BENCH, "format = 1", "format = 2"),
        CHECK,
        &["bench.toml:2:10", "2", "format 1"],
    ),
    case("no TOML", Replace(BENCH, "turns = 129", "turns = = 129"), CHECK, &["bench.toml:9:"]),
    case(
        "Latin letters",
        Write(BENCH, b"[bench]\nname = \"gr\xfcn\"\n"),
        CHECK,
        &["bench.toml:2:11", "0xfc", "UTF-8"],
    ),
];

const TABLES: &[Case] = &[
    case(
        "near-miss column",
        Replace(TABLE, "diameter_mm", "diameter_cm"),
        CHECK,
        &["readings.csv:1:25", "`diameter_cm`", "`diameter_mm`"],
    ),
    case(
        "misspelt column",
        Replace(TABLE, "diameter_mm", "diametre_mm"),
        CHECK,
        &["readings.csv:1:25", "`diameter_mm`"],
    ),
    case("missing column", Replace(TABLE, "voltage_V", "remark"), CHECK, &["readings.csv:1:", "`voltage_V`"]),
    case(
        "text in a number",
        Replace(TABLE, "260.0", "lots"),
        CHECK,
        &["readings.csv:2:3", "`lots`", "`voltage_V`"],
    ),
    case("a letter for a zero", Replace(TABLE, "260.0", "26O.0"), CHECK, &["readings.csv:2:3", "`26O.0`"]),
    case("a unit in a number", Replace(TABLE, "260.0", "260 V"), CHECK, &["readings.csv:2:3", "`260 V`"]),
    case("no current", Replace(TABLE, "2.638", "0"), CHECK, &["readings.csv:2:9", "`0`", "above 0"]),
    case(
        "negative current",
        Replace(TABLE, "2.638", "-2.638"),
        CHECK,
        &["readings.csv:2:9", "`-2.638`", "above 0", "field_sense"],
    ),
    case(
        "negative voltage",
        Replace(TABLE, "260.0", "-260"),
        CHECK,
        &["readings.csv:2:3", "`-260`", "above 0"],
    ),
    case(
        "negative diameter",
        Replace(TABLE, "56.9", "-56.9"),
        CHECK,
        &["readings.csv:2:15", "`-56.9`", "above 0"],
    ),
    case(
        "negative uncertainty",
        Replace(
            TABLE,
            "run,voltage_V,current_A,diameter_mm\n1,260.0,2.638,56.9\n2,135.1,1.788,60.5\n3,140.0,1.548,71.2\n4,159.9,1.419,83.0\n5,169.9,1.230,98.7\n",
            "run,voltage_V,current_A,diameter_mm,diameter_u_mm\n1,260.0,2.638,56.9,-0.4\n",
        ),
        CHECK,
        &["readings.csv:2:20", "`-0.4`", "diameter_u_mm"],
    ),
    case("NaN", Replace(TABLE, "260.0", "NaN"), CHECK, &["readings.csv:2:3", "`NaN`"]),
    case("infinity", Replace(TABLE, "260.0", "inf"), CHECK, &["readings.csv:2:3", "`inf`"]),
    case("infinity by its size", Replace(TABLE, "260.0", "1e999"), CHECK, &["readings.csv:2:3", "`1e999`"]),
    case(
        "a diameter beyond any room",
        Replace(TABLE, "56.9", "1e300"),
        CHECK,
        &["readings.csv:2:15", "`1e300`", "10000"],
    ),
    case(
        "a field too few",
        Replace(TABLE, "2,135.1,1.788,60.5", "2,135.1,1.788"),
        CHECK,
        &["readings.csv:3:", "3 fields", "4 fields"],
    ),
    case(
        "a decimal comma",
        Replace(TABLE, "2,135.1,1.788,60.5", "2,135,1,1.788,60.5"),
        CHECK,
        &["readings.csv:3:", "5 fields", "decimal comma"],
    ),
    case(
        "a decimal comma in quotation marks",
        Replace(TABLE, "135.1", "\"135,1\""),
        CHECK,
        &["readings.csv:3:", "135,1", "135.1"],
    ),
    case(
        "Latin letters",
        Write(TABLE, b"run,remark\n1,gr\xfcn\n"),
        CHECK,
        &["readings.csv:2:5", "0xfc", "UTF-8"],
    ),
    case("an empty table", Write(TABLE, b""), CHECK, &["readings.csv:1:1", "an empty table", "`voltage_V`"]),
    case(
        "a header alone",
        Write(TABLE, b"run,voltage_V,current_A,diameter_mm\n"),
        "reduce bench",
        &["readings.csv", "no reading"],
    ),
    case("200 MB", By(two_hundred_megabytes), CHECK, &["readings.csv: 200 MB", "at most 64 MB"]),
    case(
        "nothing measured",
        Replace(TABLE, "diameter_mm", "number"),
        "reduce bench",
        &["readings.csv", "diameter"],
    ),
];

const PHOTOGRAPHS: &[Case] = &[
    case("a name that climbs out", By(named_above), CHECK, &["readings.csv:2:", "`..`", "../x.jpg"]),
    case("an absolute name", By(named_absolutely), CHECK, &["readings.csv:2:", "absolute", "/tmp/x.jpg"]),
    #[cfg(unix)]
    case("a link that leaves", By(linked_out), CHECK, &["photos/x.jpg", "leaves the notebook folder"]),
    #[cfg(not(unix))]
    case("a name with a backslash", By(named_above), CHECK, &["readings.csv:2:"]),
    case("no spacing", By(without_spacing), "rings bench", &["bench.toml", "spacing = \"1 mm\""]),
    case(
        "no photograph named",
        Nothing,
        "rings bench",
        &["readings.csv", "name no photograph", "ring_photo"],
    ),
    case(
        "unknown photograph",
        By(named_well),
        "rings bench --photo ring-99.jpg",
        &["`ring-99.jpg`", "choose one of x.jpg"],
    ),
];

const COMMAND_LINE: &[Case] = &[
    case("voltage 0", Nothing, "path bench --voltage 0 --current 1", &["voltage must be above 0 V", "0 V"]),
    case("negative voltage", Nothing, "path bench --voltage -200 --current 1", &["above 0 V", "-200 V"]),
    case("infinite voltage", Nothing, "path bench --voltage inf --current 1", &["voltage", "inf"]),
    case("no current", Nothing, "path bench --voltage 200 --current 0", &["current must be above 0 A"]),
    case(
        "a vast voltage",
        Nothing,
        "path bench --voltage 1e300 --current 1",
        &["voltage", "1000000 V", "1e300 V"],
    ),
    case(
        "a vast current",
        Nothing,
        "path bench --voltage 200 --current 1e9",
        &["current", "1000 A", "1e9 A"],
    ),
    case("current that is none", Nothing, "path bench --voltage 200 --current nan", &["current", "nan"]),
    case(
        "gun tilt 400",
        Nothing,
        "path bench --voltage 200 --current 1 --gun-tilt 400",
        &["gun tilt", "180°", "400°"],
    ),
    case(
        "bench turned by what is no number",
        Nothing,
        "path bench --voltage 200 --current 1 --bench-turned nan",
        &["turned", "nan"],
    ),
    case(
        "unknown sense",
        Nothing,
        "path bench --voltage 200 --current 1 --field-sense up",
        &["'up'", "field-sense"],
    ),
    case("no voltage", Nothing, "path bench --current 1", &["--voltage"]),
    case("words for a voltage", Nothing, "path bench --voltage lots --current 1", &["'lots'", "--voltage"]),
    case(
        "two numbers for a point",
        Nothing,
        "field bench --at 1,2",
        &["1,2", "three numbers", "`0,-40,0`", "found 2"],
    ),
    case("a point that is none", Nothing, "field bench --at 1,2,nan", &["1,2,nan"]),
    case("field of no current", Nothing, "field bench --current nan", &["current", "nan"]),
    case("field of a vast current", Nothing, "field bench --current 1e308", &["current", "1e308 A"]),
    case(
        "a point beyond the sky",
        Nothing,
        "field bench --at 1e300,0,0",
        &["a point must lie within", "1e300 mm"],
    ),
    case(
        "bench turned too often",
        Nothing,
        "path bench --voltage 200 --current 1 --bench-turned 720",
        &["rotated", "360°", "720°"],
    ),
    case("unknown command", Nothing, "weigh bench", &["'weigh'", "--help"]),
    case("near-miss command", Nothing, "reduse bench", &["'reduse'", "'reduce'"]),
    case("unknown option", Nothing, "reduce bench --fast", &["'--fast'"]),
    case("two notebooks", Nothing, "check bench bench", &["'bench'"]),
    case("new where files are", Nothing, "new bench", &["bench", "empty"]),
];

fn two_hundred_megabytes(bench: &Path) {
    fs::File::create(bench.join(TABLE)).unwrap().set_len(200 << 20).unwrap();
}

fn named(bench: &Path, photo: &str) {
    let table = format!("run,voltage_V,current_A,ring_photo,scale_photo\n1,260,2.638,{photo},scale.jpg\n");
    fs::write(bench.join(TABLE), table).unwrap();
}

fn named_well(bench: &Path) {
    named(bench, "x.jpg");
}

fn named_above(bench: &Path) {
    fs::write(bench.join("x.jpg"), b"beside photos").unwrap();
    named(bench, "../x.jpg");
}

fn named_absolutely(bench: &Path) {
    named(bench, "/tmp/x.jpg");
}

#[cfg(unix)]
fn linked_out(bench: &Path) {
    let outside = bench.with_file_name("outside.jpg");
    fs::write(&outside, b"not of this notebook").unwrap();
    std::os::unix::fs::symlink(outside, bench.join("photos/x.jpg")).unwrap();
    named_well(bench);
}

fn without_spacing(bench: &Path) {
    crate::folder::replace(&bench.join(BENCH), "spacing = \"1 mm\"\n", "");
    named_well(bench);
}

/// What is wrong with the answer to one case.
fn offences(case: &Case) -> Vec<String> {
    let room = good();
    spoil(room.path(), case.spoil);
    let before = listing(room.path());
    let plain = arcmass(room.path(), case.command);
    let json = arcmass(room.path(), &format!("{} --json", case.command));
    let (said, printed) = (text(&plain.stderr), text(&plain.stdout));
    let mut wrong = Vec::new();
    let mut must = |holds: bool, what: String| wrong.extend((!holds).then_some(what));
    must(plain.status.code() == Some(2), format!("status {:?}", plain.status.code()));
    must(printed.is_empty(), format!("on standard output: {printed}"));
    for word in case.words {
        must(said.contains(word), format!("{word:?} is not said"));
    }
    must(rust_words(&said).is_empty(), format!("words of Rust: {:?}", rust_words(&said)));
    must(listing(room.path()) == before, "something was written".to_owned());
    must(json.status.code() == Some(2), format!("status {:?} with --json", json.status.code()));
    must(text(&json.stderr).lines().next() == said.lines().next(), "another message with --json".to_owned());
    wrong.extend(document_offences(&json));
    if !wrong.is_empty() {
        wrong.insert(0, format!("\n{}: arcmass {}\n{said}", case.name, case.command));
    }
    wrong
}

fn document_offences(json: &std::process::Output) -> Vec<String> {
    let document = match document(json) {
        Ok(document) => document,
        Err(why) => return vec![why],
    };
    let mut wrong = Vec::new();
    if document["schema"] != "arcmass.faults/1" {
        wrong.push(format!("schema {}", document["schema"]));
    }
    match document["faults"].as_array().map(Vec::as_slice) {
        Some([fault]) => {
            let empty = |key: &&str| fault[*key].as_str().is_none_or(str::is_empty);
            let empty: Vec<&str> = ["file", "found", "remedy"].into_iter().filter(empty).collect();
            if !empty.is_empty() {
                wrong.push(format!("nothing under {empty:?}: {fault}"));
            }
        }
        _ => wrong.push(format!("not one fault: {document:#}")),
    }
    wrong
}

fn assert_all_refused(cases: &[Case]) {
    let wrong: Vec<String> = cases.iter().flat_map(offences).collect();
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[test]
fn folders_that_are_no_notebook_are_refused() {
    assert_all_refused(FOLDERS);
}

#[test]
fn a_spoilt_bench_file_is_refused_at_its_place() {
    assert_all_refused(BENCH_FILES);
}

#[test]
fn a_spoilt_table_is_refused_at_its_place() {
    assert_all_refused(TABLES);
}

#[test]
fn photographs_outside_the_folder_are_refused() {
    assert_all_refused(PHOTOGRAPHS);
}

#[test]
fn slips_on_the_command_line_are_refused() {
    assert_all_refused(COMMAND_LINE);
}

#[test]
fn all_faults_are_told_at_once() {
    let room = good();
    for how in [
        Replace(BENCH, "turns = 129", "turnz = 129"),
        Replace(BENCH, "\"350 V\"", "\"350 mm\""),
        Replace(BENCH, "kind = \"ruler\"", "kind = \"rope\""),
        Replace(TABLE, "260.0", "lots"),
        Replace(TABLE, "1.230", "-1.230"),
    ] {
        spoil(room.path(), how);
    }
    let before = listing(room.path());
    let output = arcmass(room.path(), "reduce bench --json");
    let document = document(&output).unwrap();
    let faults = document["faults"].as_array().unwrap();
    assert_eq!((output.status.code(), faults.len()), (Some(2), 5), "{document:#}");
    assert!(text(&output.stderr).contains("5 faults in 2 files; nothing was written"));
    assert_eq!(listing(room.path()), before);
}
