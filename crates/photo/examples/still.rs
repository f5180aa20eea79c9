//! How the camera moved between the photograph of a ring and that of a ruler.
//!
//! `cargo run --release -p arcmass-photo --example still -- RING SCALE DISTANCE [RADIUS SEPARATION RADIAL AXIAL]`: the camera's distance
//! and, where known, the sizes of a round coil pair and its winding, all in millimetres.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

use arcmass_photo::Picture;
use arcmass_photo::plane::{CameraHints, fit_plane};
use arcmass_photo::scale::{ScaleHints, find_scale};
use arcmass_photo::still::{CoilFace, StillEdges};

/// Seconds that this thread has had the processor (Linux; else 0).
fn spent() -> f64 {
    let told = std::fs::read_to_string("/proc/thread-self/schedstat").unwrap_or_default();
    told.split_whitespace().next().and_then(|text| text.parse::<f64>().ok()).map_or(0.0, |ns| 1e-9 * ns)
}

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let words: Vec<String> = std::env::args().skip(1).collect();
    let [ring, scale, sizes @ ..] = words.as_slice() else { return Err("name two photographs".into()) };
    let open = |name: &String| -> Result<Picture, Box<dyn std::error::Error>> {
        Ok(Picture::from_bytes(&std::fs::read(name)?)?)
    };
    let (ring, scale) = (open(ring)?, open(scale)?);
    let mm: Vec<f64> = sizes.iter().map(|word| word.parse()).collect::<Result<_, _>>()?;
    let hints = ScaleHints { spacing_mm: Some(1.0), ..ScaleHints::default() };
    let distance_mm = mm.first().map(|distance| (*distance, 0.01 * distance));
    let camera = CameraHints { distance_mm, ..CameraHints::default() };
    let plane = fit_plane(&find_scale(&scale, &hints)?, [scale.width(), scale.height()], &camera)?;
    let faces: Vec<CoilFace> = if let [_, radius, separation, radial, axial] = mm.as_slice() {
        let face = |coil: f64, side: f64| CoilFace {
            above_mm: 0.5 * (coil * separation + side * axial),
            rims_mm: [radius - 0.5 * radial, radius + 0.5 * radial],
            is_square: false,
        };
        vec![face(-1.0, -1.0), face(-1.0, 1.0), face(1.0, -1.0), face(1.0, 1.0)]
    } else {
        Vec::new()
    };
    let start = spent();
    let still = StillEdges::on_scale_photo(&scale, &plane, &faces).ok_or("too few edges on the scale's")?;
    println!("edges found in {:.0} ms", 1e3 * (spent() - start));
    let start = spent();
    let moved = still.moved(&ring, &plane).ok_or("nothing that stands still is seen on both")?;
    println!("compared in {:.0} ms", 1e3 * (spent() - start));
    println!(
        "{} of {} edges agree; went {:.2} px, scatter {:.2} px",
        moved.edges_used, moved.edges_seen, moved.edges_px, moved.spread_px
    );
    if let Some(shifted) = plane.shifted(&moved) {
        println!(
            "ring shifted by {:.2} ± {:.2} px, grown by {:+.3} ± {:.3} %",
            shifted.shift_px,
            shifted.shift_u_px,
            100.0 * shifted.growth,
            100.0 * shifted.growth_u
        );
    }
    Ok(())
}
