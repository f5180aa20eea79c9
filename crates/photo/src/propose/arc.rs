//! How well an ellipse fits the beam map: how strong the line is along it, how much of it is seen, how empty it is beside it.

use crate::picture::LightPlane;
use crate::ring_ellipse::Ellipse;

/// Places looked at along the ellipse.
const PLACES: usize = 64;
/// Value of the map from which the line counts as seen there.
const SEEN: f32 = 0.25;
/// Where no line should run, in parts of the radius.
const BESIDE: [f64; 4] = [0.55, 0.75, 1.3, 1.5];
/// A line shorter than this many cells is as likely a speck.
const SHORT: f64 = 14.0;

/// An ellipse in cells with its marks.
#[derive(Debug, Clone, Copy)]
pub(super) struct Judged {
    pub(super) ellipse: Ellipse,
    /// 0 to 1.
    pub(super) score: f64,
    /// Part of the ellipse on which the line is seen, 0 to 1.
    pub(super) seen: f64,
}

/// Judges an ellipse: strength where seen × √(part seen) × emptiness beside × length against a speck's.
pub(super) fn judged(beam: &LightPlane, ellipse: &Ellipse) -> Judged {
    let slack = 0.03 * ellipse.r + 0.3;
    let (mut strength, mut seen, mut beside) = (0.0, 0_usize, 0.0);
    for k in 0..PLACES {
        let t = std::f64::consts::TAU * k as f64 / PLACES as f64;
        let [x, y] = ellipse.point(t);
        let (nx, ny) = ((x - ellipse.cx) / ellipse.r, (y - ellipse.cy) / ellipse.r);
        let at = |off: f64| inside(beam, x + off * nx, y + off * ny);
        let here = at(0.0).max(at(-slack)).max(at(slack));
        if here >= SEEN {
            seen += 1;
            strength += f64::from(here);
        }
        let off_line = BESIDE.map(|part| {
            inside(beam, ellipse.cx + part * (x - ellipse.cx), ellipse.cy + part * (y - ellipse.cy))
        });
        beside += f64::from(off_line.into_iter().sum::<f32>()) / BESIDE.len() as f64;
    }
    if seen == 0 {
        return Judged { ellipse: *ellipse, score: 0.0, seen: 0.0 };
    }
    let part = seen as f64 / PLACES as f64;
    let strength = strength / seen as f64;
    let empty = (1.0 - beside / PLACES as f64 / (strength * part)).clamp(0.0, 1.0);
    let long = (part * std::f64::consts::TAU * ellipse.r / SHORT).min(1.0);
    Judged { ellipse: *ellipse, score: strength * part.sqrt() * empty * long, seen: part }
}

/// Value of the map, 0 beyond its edge.
fn inside(beam: &LightPlane, x: f64, y: f64) -> f32 {
    let on = x >= -0.5 && y >= -0.5 && x <= beam.width as f64 - 0.5 && y <= beam.height as f64 - 0.5;
    if on { beam.sample(x, y) } else { 0.0 }
}
