//! Marks set by hand beside what the machine finds, and in its place where it finds nothing.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

use std::fmt::Write as _;
use std::fs;
use std::path::{Path, PathBuf};

use arcmass_lab::Desk;
use arcmass_lab::document::{PhotoEntry, RingsDocument};
use arcmass_lab::photograph::{RingsQuestion, Silent, rings};
use arcmass_notebook::Notebook;
use serde_json::Value;

fn sample() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../../tests/data/typical")
}

/// A notebook of the sample's bench with one ring; `scale` names the photograph that is to hold the scale.
fn bench(scale: &str) -> tempfile::TempDir {
    let room = tempfile::tempdir().unwrap();
    fs::create_dir_all(room.path().join("photos")).unwrap();
    fs::create_dir_all(room.path().join("marks")).unwrap();
    fs::copy(sample().join("bench.toml"), room.path().join("bench.toml")).unwrap();
    for name in ["ring-01.jpg", "ring-02.jpg", "scale-01.jpg"] {
        fs::copy(sample().join("photos").join(name), room.path().join("photos").join(name)).unwrap();
    }
    let table =
        format!("run,voltage_V,current_A,ring_photo,scale_photo\n1,260.0,2.638,ring-01.jpg,{scale}\n");
    fs::write(room.path().join("readings.csv"), table).unwrap();
    room
}

fn marks(room: &Path, photo: &str, rows: &str) {
    let text = format!("what,x_px,y_px,along_mm,across_mm\n{rows}");
    fs::write(room.join(format!("marks/{photo}.csv")), text).unwrap();
}

fn measured(room: &Path) -> RingsDocument {
    let notebook = Notebook::open(room).unwrap();
    rings(&notebook, &RingsQuestion::default(), &Desk { seed: 1, workers: 2 }, &Silent)
        .unwrap_or_else(|error| panic!("{error}"))
        .document
}

fn only(document: &RingsDocument) -> &PhotoEntry {
    assert!(document.failed.is_empty(), "{:?}", document.failed);
    document.photos.first().expect("one photograph")
}

fn diameter(entry: &PhotoEntry) -> (f64, f64) {
    let q = entry.ring_diameter_in_scale_plane_mm.as_ref().expect("a ring");
    (q.value, q.standard_uncertainty)
}

/// The answer's pixel of each millimetre mark.
fn true_marks() -> Vec<[f64; 2]> {
    let answer: Value =
        serde_json::from_str(&fs::read_to_string(sample().join("answer.json")).unwrap()).unwrap();
    serde_json::from_value(answer["photos"]["scale-01.jpg"]["marks_px"].clone()).unwrap()
}

#[test]
fn a_part_left_out_and_points_on_the_beam_hardly_move_the_diameter() {
    let room = bench("scale-01.jpg");
    let plain = measured(room.path());
    let entry = only(&plain);
    let ([cx, cy], [a, _]) = (entry.centre_px.unwrap(), entry.semi_axes_px.unwrap());
    // the upper right quarter is left out, four points lie on the beam elsewhere
    let mut rows = String::new();
    for (x, y) in [(0.0, 0.0), (1.5 * a, 0.0), (1.5 * a, -1.5 * a), (0.0, -1.5 * a)] {
        writeln!(rows, "leave-out,{},{},,", cx + x, cy + y).unwrap();
    }
    for degrees in [100.0_f64, 150.0, 200.0, 240.0] {
        let (s, c) = degrees.to_radians().sin_cos();
        writeln!(rows, "beam,{},{},,", cx + a * c, cy + a * s).unwrap();
    }
    marks(room.path(), "ring-01.jpg", &rows);
    let mixed = measured(room.path());
    let mixed = only(&mixed);
    let (before, after) = (diameter(entry), diameter(mixed));
    assert!(
        mixed.arc_seen_deg.unwrap() < entry.arc_seen_deg.unwrap() - 45.0,
        "{:?} of {:?}",
        mixed.arc_seen_deg,
        entry.arc_seen_deg
    );
    assert!((after.0 / before.0 - 1.0).abs() < 0.004, "{after:?} for {before:?}");
}

#[test]
fn points_on_the_scale_stand_in_for_a_scale_that_is_not_found() {
    // the second ring's photograph shows no scale at all; the camera stood still, so the scale's own pixels hold there too
    let room = bench("ring-02.jpg");
    let notebook = Notebook::open(room.path()).unwrap();
    let lost = rings(&notebook, &RingsQuestion::default(), &Desk::default(), &Silent);
    assert!(lost.is_err(), "nothing to measure without marks");
    let true_marks = true_marks();
    let last = true_marks.len() - 1;
    let mut rows = String::new();
    for k in [0, last / 3, 2 * last / 3, last] {
        writeln!(rows, "scale,{},{},{k},0", true_marks[k][0], true_marks[k][1]).unwrap();
    }
    marks(room.path(), "ring-02.jpg", &rows);
    let by_hand = measured(room.path());
    let by_hand = only(&by_hand);
    let by_machine = bench("scale-01.jpg");
    let machine = measured(by_machine.path());
    let (hand, machine) = (diameter(by_hand), diameter(only(&machine)));
    println!("by hand {hand:?}, by the machine {machine:?}");
    assert!((hand.0 / machine.0 - 1.0).abs() < 0.01, "{hand:?} for {machine:?}");
    assert!((hand.0 - machine.0).abs() < 3.5 * hand.1.hypot(machine.1), "{hand:?} for {machine:?}");
    assert!(hand.1 > machine.1, "four points by hand are worth less than every mark");
}

#[test]
fn points_on_the_beam_stand_in_for_a_ring_that_is_not_found() {
    let room = bench("scale-01.jpg");
    let plain = measured(room.path());
    let entry = only(&plain);
    let ([cx, cy], [a, _]) = (entry.centre_px.unwrap(), entry.semi_axes_px.unwrap());
    let truth = diameter(entry);
    // the scale's photograph in the ring's place: lights on, tube out, no beam
    let table = "run,voltage_V,current_A,ring_photo,scale_photo\n1,260.0,2.638,dark.jpg,scale-01.jpg\n";
    fs::write(room.path().join("readings.csv"), table).unwrap();
    fs::copy(room.path().join("photos/scale-01.jpg"), room.path().join("photos/dark.jpg")).unwrap();
    let mut rows = String::new();
    for degrees in [10.0_f64, 60.0, 110.0, 170.0, 220.0, 275.0, 320.0] {
        let (s, c) = degrees.to_radians().sin_cos();
        writeln!(rows, "beam,{},{},,", cx + a * c, cy + a * s).unwrap();
    }
    marks(room.path(), "dark.jpg", &rows);
    let by_hand = measured(room.path());
    let by_hand = only(&by_hand);
    let found = diameter(by_hand);
    assert!(by_hand.caveats.iter().any(|caveat| caveat.code == "ring-by-hand"), "{:?}", by_hand.caveats);
    assert!((found.0 / truth.0 - 1.0).abs() < 0.02, "{found:?} for {truth:?}");
}
