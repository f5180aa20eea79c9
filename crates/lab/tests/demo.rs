//! The demo notebook: whole, the same for the same seed, never over something that is there.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

use std::fs;
use std::path::Path;

use arcmass_lab::Desk;
use arcmass_lab::demo::{DemoSize, make_demo};
use arcmass_lab::photograph::{RingsQuestion, Silent, rings};
use arcmass_notebook::Notebook;

const SMALL: DemoSize = DemoSize { runs: 2, width_px: 1200 };

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
        // the seen ring differs from the true one by up to 1 % (camera, ring out of the scale's plane)
        let seen = photo.ring_diameter_mm.unwrap().value;
        assert!((seen / run.true_diameter_mm - 1.0).abs() < 0.012, "{seen} against {}", run.true_diameter_mm);
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
    assert!(said.contains("never overwritten"), "{said}");
    assert_eq!(fs::read_to_string(folder.join("readings.csv")).unwrap(), "mine");
    assert_eq!(fs::read_dir(parent.path()).unwrap().count(), 1, "nothing half-made is left");
}
