//! The model alone, on the two simulated notebooks: rings as the exact camera would measure them, all else as read.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

use std::path::Path;

use arcmass_lab::Desk;
use arcmass_lab::document::{MadeBy, PhotoEntry, Q, ReductionDocument, RingsDocument};
use arcmass_lab::reduce::{AcceptedMass, reduce};
use arcmass_notebook::Notebook;
use serde_json::Value;

fn q(value: f64, u: f64) -> Q {
    Q {
        value,
        standard_uncertainty: u,
        interval_68: [value - u, value + u],
        interval_95: [value - 1.96 * u, value + 1.96 * u],
    }
}

/// Unit vector from the ring's centre to the camera, from the truth.
fn camera_direction(photo: &Value) -> [f64; 3] {
    let vector = |v: &Value| [0, 1, 2].map(|i| v[i].as_f64().unwrap());
    let (camera, centre) = (vector(&photo["camera"]["pos"]), vector(&photo["centre_true_mm"]));
    let d = [0, 1, 2].map(|i| camera[i] - centre[i]);
    let norm = d.iter().map(|x| x * x).sum::<f64>().sqrt();
    d.map(|x| x / norm)
}

fn reduced(set: &str) -> ReductionDocument {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../tests/data").join(set);
    let answer: Value =
        serde_json::from_str(&std::fs::read_to_string(folder.join("answer.json")).unwrap()).unwrap();
    let notebook = Notebook::open(&folder).unwrap();
    let entries = notebook.readings.as_ref().unwrap().runs.iter().map(|run| {
        let name = run.ring_photo.clone().unwrap();
        let truth = &answer["photos"][&name];
        let diameter = truth["diameter_in_scale_plane_mm"].as_f64().unwrap();
        PhotoEntry {
            photo: name,
            run: Some(run.run.clone()),
            scale_photo: run.scale_photo.clone(),
            ring_diameter_in_scale_plane_mm: Some(q(diameter, 1e-3 * diameter)),
            ring_diameter_mm: None,
            u_trace_mm: Some(5e-4 * diameter),
            u_plane_mm: Some(2e-4 * diameter),
            beam_width_mm: None,
            inner_edge_diameter_mm: None,
            outer_edge_diameter_mm: None,
            centre_px: None,
            semi_axes_px: None,
            axis_angle_deg: None,
            // the truth's circle goes through one whole turn
            arc_seen_deg: Some(360.0),
            scale_px_per_mm: None,
            camera_direction: Some(camera_direction(truth)),
            status: arcmass_lab::document::PhotoStatus::Measured,
            pitch_mm: None,
            helix_diameter_mm: None,
            caveats: Vec::new(),
        }
    });
    let rings = RingsDocument {
        schema: "arcmass.rings/1".into(),
        made_by: MadeBy { version: String::new(), seed: 1, inputs: Vec::new() },
        photos: entries.collect(),
        failed: Vec::new(),
    };
    reduce(&notebook, Some(&rings), &AcceptedMass::default(), &Desk::default()).unwrap()
}

fn check(set: &str) {
    let result = reduced(set);
    let [low, high] = result.mass_kg.interval_95;
    let truth = 9.109_383_713_9e-31;
    assert!(low < truth && truth < high, "{set}: [{low}, {high}]");
    assert!((high - low) / 2.0 / truth < 0.04, "{set}: ± {}", (high - low) / 2.0 / truth);
    assert!(result.findings.is_empty(), "{set}: {:?}", result.findings);
    // the model's own residuals: perfect rings leave only what the true bench differs from the stated one
    for run in &result.runs {
        assert!(run.residual_mm.abs() < 0.002 * run.measured_diameter_mm.value, "{set} run {}", run.run);
    }
}

#[test]
fn a_typical_bench_gives_the_mass_from_perfect_rings() {
    check("typical");
}

#[test]
fn a_tilted_camera_gives_the_mass_from_perfect_rings() {
    check("tilted-camera");
}
