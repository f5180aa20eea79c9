//! Both simulated notebooks from photograph to mass: every ring and the mass against the hidden truth.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

use std::path::Path;

use arcmass_lab::Desk;
use arcmass_lab::photograph::{RingsQuestion, Silent, rings};
use arcmass_lab::reduce::{AcceptedMass, reduce};
use arcmass_notebook::Notebook;
use serde_json::Value;

/// Largest error of a diameter in the scale's plane that is allowed, relative.
const MOST_ERROR: f64 = 0.0015;
/// Largest standard uncertainty of it that is allowed, relative.
const MOST_UNCERTAINTY: f64 = 0.0015;
/// Half-width of the mass's 95 % interval that is allowed, relative.
const MOST_HALF_WIDTH: f64 = 0.04;
/// CODATA 2022.
const ELECTRON_MASS_KG: f64 = 9.109_383_713_9e-31;

fn check(set: &str) {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../tests/data").join(set);
    let answer: Value =
        serde_json::from_str(&std::fs::read_to_string(folder.join("answer.json")).unwrap()).unwrap();
    let notebook = Notebook::open(&folder).unwrap();
    let desk = Desk::default();
    let measured = rings(&notebook, &RingsQuestion::default(), &desk, &Silent).unwrap().document;
    assert!(measured.failed.is_empty(), "{set}: {:?}", measured.failed);
    assert_eq!(measured.photos.len(), 5);
    for photo in &measured.photos {
        let truth = answer["photos"][&photo.photo]["diameter_in_scale_plane_mm"].as_f64().unwrap();
        let q = photo.ring_diameter_in_scale_plane_mm.unwrap();
        let (error, u) = (q.value - truth, q.standard_uncertainty);
        println!("{set} {}: {:+.3} %, u {:.3} %", photo.photo, 100.0 * error / truth, 100.0 * u / truth);
        assert!(error.abs() < MOST_ERROR * truth, "{set} {}: {} against {truth}", photo.photo, q.value);
        assert!(error.abs() < 3.0 * u, "{set} {}: {error} mm off with u = {u} mm", photo.photo);
        assert!(u < MOST_UNCERTAINTY * truth, "{set} {}: u = {u} mm", photo.photo);
        assert!(photo.caveats.is_empty(), "{set} {}: {:?}", photo.photo, photo.caveats);
    }
    let result = reduce(&notebook, Some(&measured), &AcceptedMass::default(), &desk).unwrap();
    let [low, high] = result.mass_kg.interval_95;
    println!("{set}: {:?}", result.mass_kg);
    assert!(low < ELECTRON_MASS_KG && ELECTRON_MASS_KG < high, "{set}: [{low}, {high}]");
    assert!((high - low) < 2.0 * MOST_HALF_WIDTH * ELECTRON_MASS_KG, "{set}: [{low}, {high}]");
    assert!(result.findings.is_empty(), "{set}: {:?}", result.findings);
}

#[test]
fn a_typical_notebook_goes_from_photographs_to_the_mass() {
    check("typical");
}

#[test]
fn a_tilted_camera_changes_neither_rings_nor_mass() {
    check("tilted-camera");
}
