//! Proposes rings on photographs and prints one JSON line each: rings best first, bulb, gun, seconds taken.
//!
//! `cargo run --release -p arcmass-photo --example propose -- PHOTOGRAPH…`

use arcmass_photo::Picture;
use arcmass_photo::propose::propose;
use serde_json::{Value, json};

fn main() {
    for name in std::env::args().skip(1) {
        println!("{}", line(&name));
    }
}

fn line(name: &str) -> Value {
    let picture = std::fs::read(name).map_err(|e| e.to_string());
    let picture = picture.and_then(|bytes| Picture::from_bytes(&bytes).map_err(|e| e.to_string()));
    let picture = match picture {
        Ok(picture) => picture,
        Err(error) => return json!({"photo": name, "error": error}),
    };
    let start = std::time::Instant::now();
    let found = propose(&picture);
    let rings: Vec<Value> = found.rings.iter().map(ring).collect();
    json!({
        "photo": name,
        "seconds": start.elapsed().as_secs_f64(),
        "rings": rings,
        "bulb": found.bulb.map(|b| json!({"centre_px": b.centre_px, "radius_px": b.radius_px, "score": b.score})),
        "gun": found.gun.map(|g| json!({"centre_px": g.centre_px, "size_px": g.size_px, "score": g.score})),
    })
}

fn ring(ring: &arcmass_photo::propose::RingProposal) -> Value {
    let e = ring.ellipse;
    json!({"centre_px": [e.cx, e.cy], "semi_axes_px": e.semi_axes(), "score": ring.score, "seen": ring.seen})
}
