//! The sample rulers: numbers and places of the marks against the simulation's own list.

#![allow(clippy::expect_used)] // a sample that can't be read is a failed test

use arcmass_photo::Picture;
use arcmass_photo::scale::{ScaleFound, ScaleHints, find_scale};
use serde_json::Value;

fn sample(set: &str) -> (Picture, Value) {
    let folder = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("../../tests/data").join(set);
    let bytes = std::fs::read(folder.join("photos/scale-01.jpg")).expect("sample photograph");
    let answer = std::fs::read_to_string(folder.join("answer.json")).expect("sample answer");
    (Picture::from_bytes(&bytes).expect("a JPEG"), serde_json::from_str(&answer).expect("JSON"))
}

/// Distance in pixels of each found foot from the true mark nearest to it, with both numbers.
fn against_truth(found: &ScaleFound, answer: &Value) -> Vec<(i32, i32, f64)> {
    let truth: Vec<[f64; 2]> =
        serde_json::from_value(answer["photos"]["scale-01.jpg"]["marks_px"].clone()).expect("pairs");
    found.rows[0]
        .marks
        .iter()
        .map(|m| {
            let p = m.ends_px[0];
            let away = |q: &[f64; 2]| (p[0] - q[0]).hypot(p[1] - q[1]);
            let (k, q) =
                truth.iter().enumerate().min_by(|a, b| away(a.1).total_cmp(&away(b.1))).expect("marks");
            (m.number, k as i32, away(q))
        })
        .collect()
}

#[test]
fn every_mark_of_the_sample_rulers_has_its_number() {
    for set in ["typical", "tilted-camera"] {
        let (picture, answer) = sample(set);
        let start = std::time::Instant::now();
        let found = find_scale(&picture, &ScaleHints::default()).expect("a ruler");
        println!("{set}: {:?}, {} rows", start.elapsed(), found.rows.len());
        for row in &found.rows {
            println!(
                "  {} marks, pitch {:.2} px, {:?}, spacing {:?}, foot {:.2} px, u {:.3} px, numbers {} to {}",
                row.marks.len(),
                row.pitch_px(),
                row.rhythm,
                row.spacing_mm,
                row.foot_scatter_px,
                row.marks[0].u_px,
                row.marks[0].number,
                row.marks[row.marks.len() - 1].number
            );
        }
        let pairs = against_truth(&found, &answer);
        assert!(pairs.len() > 150, "{set}: only {} marks", pairs.len());
        // the direction of counting is the program's own, the rhythm fixes the tens
        let first = pairs[0];
        let sense = if pairs[pairs.len() - 1].1 > first.1 { 1 } else { -1 };
        for (number, truth, away) in &pairs {
            assert_eq!(
                number - first.0,
                sense * (truth - first.1),
                "{set}: mark {truth}, foot {away:.2} px away"
            );
            assert_eq!(
                truth.rem_euclid(10),
                number.rem_euclid(10) * sense.rem_euclid(10) % 10,
                "{set}: tens"
            );
        }
        assert_eq!(found.rows[0].spacing_mm, Some(1.0));
    }
}

#[test]
fn the_plane_alone_keeps_the_diameter_of_the_true_centre_line() {
    use arcmass_photo::plane::{CameraHints, TraceInPixels, fit_plane, ring_in_plane};
    // the bench files state the distance from the lens to the bulb's centre
    for (set, distance, limit) in [("typical", (625.0, 6.0), 3e-4), ("tilted-camera", (737.0, 6.0), 1e-3)] {
        let (picture, answer) = sample(set);
        let found = find_scale(&picture, &ScaleHints::default()).expect("a ruler");
        let start = std::time::Instant::now();
        let hints = CameraHints { distance_mm: Some(distance), ..CameraHints::default() };
        let plane = fit_plane(&found, [picture.width(), picture.height()], &hints).expect("a plane");
        println!(
            "{set}: {:?}, rms {:.4} mm, tilt {:.2} ± {:.2}°, camera {:.1?} ± {:.1?}, {:?}, rejected {}, {:?}",
            start.elapsed(),
            plane.residual_rms_mm,
            plane.tilt_deg,
            plane.tilt_u_deg,
            plane.camera_mm,
            plane.camera_u_mm,
            plane.camera,
            plane.rejected.len(),
            plane.caveats
        );
        for k in 1..=5 {
            let ring = &answer["photos"][format!("ring-0{k}.jpg")];
            let line: Vec<[f64; 2]> =
                serde_json::from_value(ring["centreline"]["seen_px"].clone()).expect("pairs");
            let visible: Vec<i32> =
                serde_json::from_value(ring["centreline"]["visible"].clone()).expect("flags");
            let points: Vec<[f64; 2]> =
                line.iter().zip(&visible).filter(|(_, v)| **v == 1).map(|(p, _)| *p).collect();
            let truth = ring["diameter_in_scale_plane_visible_part_mm"].as_f64().expect("a number");
            let trace = TraceInPixels { points_px: &points, u_px: &[] };
            let start = std::time::Instant::now();
            let fitted = ring_in_plane(trace, &plane).expect("a circle");
            let off = fitted.diameter_mm / truth - 1.0;
            println!(
                "  ring {k}: {:.4} mm, truth {truth:.4}, {:+.4} %, u plane {:.4} %, u trace {:.4} %, px/mm {:.4} truth {:.4}, {:?}",
                fitted.diameter_mm,
                100.0 * off,
                100.0 * fitted.u_plane_mm / truth,
                100.0 * fitted.u_trace_mm / truth,
                fitted.scale_px_per_mm,
                ring["px_per_mm_along_at_centre"],
                start.elapsed()
            );
            assert!(off.abs() < limit, "{set} ring {k}: {:+.4} %", 100.0 * off);
        }
    }
}
