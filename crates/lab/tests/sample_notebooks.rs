//! Both simulated notebooks from photograph to mass: every ring and the mass against the hidden truth.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

use std::path::Path;

use arcmass_lab::Desk;
use arcmass_lab::photograph::{RingsQuestion, Silent, rings};
use arcmass_lab::reduce::{AcceptedMass, reduce};
use arcmass_notebook::Notebook;
use arcmass_photo::Picture;
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

/// The strip's light lies where the centre line says, all along the beam: the photograph is laid straight about the very circle
/// that the residuals count from.
#[test]
fn the_beam_laid_straight_shines_where_its_centre_line_runs() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../tests/data/tilted-camera");
    let notebook = Notebook::open(&folder).unwrap();
    let question = RingsQuestion {
        only: vec!["ring-02.jpg".to_owned()],
        with_straight: true,
        ..RingsQuestion::default()
    };
    let measured = rings(&notebook, &question, &Desk::default(), &Silent).unwrap();
    let beam = &measured.straight[0];
    let entry = &measured.document.photos[0];
    assert!((beam.diameter_mm - entry.ring_diameter_in_scale_plane_mm.unwrap().value).abs() < 1e-9);
    assert!(beam.is_from_muzzle && measured.overlays.is_empty());
    let strip = beam.strip.as_ref().unwrap();
    let picture = Picture::from_bytes(&strip.jpeg).unwrap();
    let (width, height) = (picture.width() as f64, picture.height() as f64);
    let [from, to] = strip.along_deg;
    let [low, high] = strip.across_mm;
    assert!((to - from - 360.0).abs() < 1e-9);
    let mut off = Vec::new();
    for point in beam.points.iter().filter(|point| point.is_believed) {
        let x = ((point.along_deg - from) / (to - from) * width - 0.5).round() as isize;
        let [inner, outer] = point.edges_mm.unwrap();
        assert!(inner < point.residual_mm && point.residual_mm < outer, "{point:?}");
        // middle of the light between the two edges
        let mut sums = [0.0; 2];
        for y in 0..picture.height() {
            let across = high - (y as f64 + 0.5) / height * (high - low);
            if (inner..=outer).contains(&across) {
                let light: f64 = (0..3).map(|c| f64::from(picture.linear(x, y as isize, c))).sum();
                sums[0] += light;
                sums[1] += light * across;
            }
        }
        off.push((sums[1] / sums[0] - point.residual_mm).abs());
    }
    off.sort_by(f64::total_cmp);
    let (half, most) = (off[off.len() / 2], off[off.len() - 1]);
    println!(
        "{} points, light off the centre line by {half:.3} mm in the middle, {most:.3} mm at most",
        off.len()
    );
    // a row of the strip is a tenth of a millimetre high, and the inner edge lies further out than the outer
    assert!(off.len() > 500 && half < 0.06 && most < 0.2, "{half} mm, {most} mm");
    let csv = beam.to_csv();
    assert_eq!(csv.lines().count(), beam.points.len() + 1);
    assert!(csv.lines().all(|line| line.split(',').count() == 9), "{csv}");
}
