//! Measures the helix on side views and prints one JSON line each.
//!
//! `cargo run --release -p arcmass-photo --example helix_trace -- PHOTOGRAPH…`

use arcmass_photo::{Picture, RingHints, find_helix};
use serde_json::{Value, json};

fn main() {
    for name in std::env::args().skip(1) {
        println!("{}", line(&name));
    }
}

fn line(name: &str) -> Value {
    let bytes = match std::fs::read(name) {
        Ok(bytes) => bytes,
        Err(error) => return json!({"photo": name, "error": error.to_string()}),
    };
    let found = Picture::from_bytes(&bytes).and_then(|picture| {
        let start = std::time::Instant::now();
        find_helix(&picture, &RingHints::default()).map(|h| (h, start.elapsed().as_secs_f64()))
    });
    match found {
        Ok((helix, measure_s)) => json!({
            "photo": name,
            "measure_s": measure_s,
            "pitch_px": helix.pitch_px,
            "diameter_px": helix.diameter_px,
            "axis_angle_deg": helix.axis_angle_deg,
            "turns_seen": helix.turns_seen,
            "scatter_px": helix.scatter_px,
            "points": helix.points.len(),
            "caveats": helix.caveats.iter().map(|c| c.code).collect::<Vec<_>>(),
        }),
        Err(error) => json!({"photo": name, "error": error.to_string()}),
    }
}
