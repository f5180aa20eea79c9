//! Follows the beam on photographs and prints one JSON line each: what a study of the centre line compares with its truth.
//!
//! `cargo run --release -p arcmass-photo --example ring_trace -- PHOTOGRAPH…`

use std::time::Instant;

use arcmass_photo::{Picture, RingHints, RingTrace, find_ring};
use serde_json::{Value, json};

fn main() {
    for name in std::env::args().skip(1) {
        println!("{}", line(&name));
    }
}

/// Everything about one photograph; times in seconds.
fn line(name: &str) -> Value {
    let bytes = match std::fs::read(name) {
        Ok(bytes) => bytes,
        Err(error) => return json!({"photo": name, "error": error.to_string()}),
    };
    let start = Instant::now();
    let picture = match Picture::from_bytes(&bytes) {
        Ok(picture) => picture,
        Err(error) => return json!({"photo": name, "error": error.to_string()}),
    };
    let decode_s = start.elapsed().as_secs_f64();
    let start = Instant::now();
    match find_ring(&picture, &RingHints::default()) {
        Ok(trace) => described(name, &trace, decode_s, start.elapsed().as_secs_f64()),
        Err(error) => json!({"photo": name, "error": error.to_string(), "decode_s": decode_s}),
    }
}

fn described(name: &str, trace: &RingTrace, decode_s: f64, measure_s: f64) -> Value {
    let accepted = trace.points.iter().filter(|p| p.accepted);
    json!({
        "photo": name,
        "decode_s": decode_s,
        "measure_s": measure_s,
        "points": accepted.map(|p| {
            json!([p.x_px, p.y_px, p.normal[0], p.normal[1], p.u_px, p.width_px, p.edges_px[0], p.edges_px[1], p.s_px])
        }).collect::<Vec<_>>(),
        "caveats": trace.caveats.iter().map(|c| c.code).collect::<Vec<_>>(),
        "correlation_px": trace.correlation_length_px,
        "travel_known": trace.travel_known,
        "muzzle_px": trace.muzzle_px,
        "slow_u_px": trace.slow_u_px,
        "common_u_px": trace.common_u_px,
        "arc_deg": trace.arc_seen_deg,
        "centre_px": trace.centre_px,
        "semi_axes_px": trace.semi_axes_px,
        "width_px": trace.beam_width_px,
        "scatter_px": trace.scatter_px,
        "out_of_ellipse_px": trace.out_of_ellipse_px,
        "weights": trace.channel_weights,
    })
}
