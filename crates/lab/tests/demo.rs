//! The demo notebook: whole, the same for the same seed, never over something that is there.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

use std::fs;
use std::path::Path;

use arcmass_lab::Desk;
use arcmass_lab::demo::{DemoSize, make_demo};
use arcmass_lab::photograph::{RingsQuestion, Silent, rings};
use arcmass_notebook::Notebook;

/// Wide enough for the ruler's millimetres to stand 4.7 px apart, small enough to be quick.
const SMALL: DemoSize = DemoSize { runs: 2, width_px: 1600 };

fn made(folder: &Path, seed: u64) -> arcmass_lab::demo::DemoMade {
    make_demo(folder, SMALL, &Desk { seed, workers: 2 }, &Silent).unwrap()
}

#[test]
fn the_demo_is_a_sound_notebook_whose_rings_can_be_measured() {
    let parent = tempfile::tempdir().unwrap();
    let folder = parent.path().join("demo");
    let demo = made(&folder, 1);
    let notebook = Notebook::open(&folder).unwrap();
    let desk = Desk::default();
    let measured = rings(&notebook, &RingsQuestion::default(), &desk, &Silent).unwrap().document;
    assert!(measured.failed.is_empty(), "{:?}", measured.failed);
    for (photo, run) in measured.photos.iter().zip(&demo.truth.runs) {
        let seen = photo.ring_diameter_in_scale_plane_mm.unwrap();
        let off_mm = seen.value - run.seen_diameter_mm;
        assert!(off_mm.abs() < 3.0 * seen.standard_uncertainty, "{seen:?} against {}", run.seen_diameter_mm);
        // camera and ring out of the scale's plane: up to 1 %
        assert!((run.seen_diameter_mm / run.true_diameter_mm - 1.0).abs() < 0.01);
    }
    let left: Vec<_> = fs::read_dir(parent.path()).unwrap().map(|e| e.unwrap().file_name()).collect();
    assert_eq!(left, ["demo"], "nothing is left beside the notebook");
}

#[test]
fn the_same_seed_makes_the_same_bytes_and_another_seed_others() {
    let parent = tempfile::tempdir().unwrap();
    let read = |name: &str, seed: u64| {
        let folder = parent.path().join(name);
        made(&folder, seed);
        ["readings.csv", "field-probe.csv", "photos/ring-02.jpg", "photos/scale-01.jpg"]
            .map(|file| fs::read(folder.join(file)).unwrap())
    };
    let first = read("a", 3);
    assert_eq!(first, read("b", 3));
    assert_ne!(first, read("c", 4));
}

#[test]
fn nothing_that_is_there_is_overwritten() {
    let parent = tempfile::tempdir().unwrap();
    let folder = parent.path().join("mine");
    fs::create_dir(&folder).unwrap();
    fs::write(folder.join("readings.csv"), "mine").unwrap();
    let said = make_demo(&folder, SMALL, &Desk::default(), &Silent).unwrap_err().to_string();
    assert!(said.contains("never overwritten") && said.contains("another folder"), "{said}");
    assert_eq!(fs::read_to_string(folder.join("readings.csv")).unwrap(), "mine");
    assert_eq!(fs::read_dir(parent.path()).unwrap().count(), 1, "nothing half-made is left");
}

#[test]
fn every_part_says_that_it_is_simulated() {
    let parent = tempfile::tempdir().unwrap();
    let folder = parent.path().join("demo");
    fs::create_dir(&folder).unwrap();
    made(&folder, 5);
    let read = |file: &str| String::from_utf8_lossy(&fs::read(folder.join(file)).unwrap()).into_owned();
    for file in [
        "bench.toml",
        "readings.csv",
        "field-probe.csv",
        "hidden-truth.json",
        "photos/ring-01.jpg",
        "photos/scale-01.jpg",
    ] {
        assert!(read(file).contains("simulated"), "{file}");
    }
    let readings = read("readings.csv");
    assert!(readings.lines().skip(2).all(|row| row.ends_with(",simulated")), "{readings}");
}

#[test]
fn a_small_photograph_of_the_scale_is_refused_or_right_never_silently_wrong() {
    // at 3 to 4 px/mm the other edge of the ruler, sixteenths of an inch, could pass for millimetres
    for (width_px, seed) in [(1000, 1), (1200, 3)] {
        let parent = tempfile::tempdir().unwrap();
        let folder = parent.path().join("demo");
        let size = DemoSize { runs: 1, width_px };
        let demo = make_demo(&folder, size, &Desk { seed, workers: 2 }, &Silent).unwrap();
        let notebook = Notebook::open(&folder).unwrap();
        match rings(&notebook, &RingsQuestion::default(), &Desk::default(), &Silent) {
            Ok(measured) => {
                let seen = measured.document.photos[0].ring_diameter_in_scale_plane_mm.unwrap().value;
                let truth = demo.truth.runs[0].seen_diameter_mm;
                assert!(
                    (seen / truth - 1.0).abs() < 0.005,
                    "{width_px} px, seed {seed}: {seen} against {truth}"
                );
            }
            Err(fault) => assert!(fault.to_string().contains("scale-01.jpg"), "{fault}"),
        }
    }
}
