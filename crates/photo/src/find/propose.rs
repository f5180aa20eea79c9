//! Rings proposed by bright lines on several planes: all light, and colours against each other.

use crate::glow::{Candidate, Glow, search_factor};
use crate::picture::{LightPlane, Picture};
use crate::ring::to_full;
use crate::ring_ellipse::Ellipse;

/// Weights of red, green and blue on each plane that is searched; light below 0 is none.
const PLANES: [[f32; 3]; 4] = [[0.34, 0.33, 0.33], [-1.0, 0.5, 0.5], [0.5, -1.0, 0.5], [1.0, -0.5, -0.5]];
/// Candidates taken from each plane.
const EACH: usize = 3;
/// Proposals in all.
const MOST: usize = 6;

/// Ellipses in full pixels along which a bright line runs on some plane, the best of each plane first.
pub(super) fn proposals(
    picture: &Picture,
    limit_px: f64,
    allowed: &dyn Fn(f64, f64) -> bool,
) -> Vec<Ellipse> {
    let factor = search_factor(picture);
    let (width, height, rgb) = picture.reduced_rgb8(factor);
    let planes = if picture.channels() == 3 { &PLANES[..] } else { &PLANES[..1] };
    let mut ranked: Vec<(f64, Ellipse)> = Vec::new();
    for weights in planes {
        let values = rgb.chunks_exact(3).map(|pixel| {
            let sum: f32 = pixel.iter().zip(weights).map(|(v, w)| f32::from(*v) * w).sum();
            (sum / 255.0).max(0.0)
        });
        let plane = LightPlane { width, height, values: values.collect() };
        let mut found = Glow::on(plane, factor, allowed).candidates(limit_px / factor as f64);
        found.truncate(EACH);
        let best = found.first().map_or(0.0, Candidate::score);
        ranked.extend(found.iter().map(|c| (c.score() / best.max(1e-9), to_full(&c.ellipse, factor))));
    }
    ranked.sort_by(|a, b| b.0.total_cmp(&a.0));
    let mut chosen: Vec<Ellipse> = Vec::new();
    for (_, ellipse) in ranked {
        if chosen.len() < MOST && !chosen.iter().any(|other| is_near(other, &ellipse)) {
            chosen.push(ellipse);
        }
    }
    chosen
}

fn is_near(a: &Ellipse, b: &Ellipse) -> bool {
    (a.cx - b.cx).hypot(a.cy - b.cy) + (a.r - b.r).abs() < 0.06 * a.r.min(b.r)
}
