//! Looks for the wave that a helix makes on a picture taken across its axis.

use crate::glow::{Glow, RidgePoint};
use crate::helix_model::{HelixCurve, OnCurve};

/// Directions of the axis tried, evenly over half a turn.
const DIRECTIONS: usize = 36;
/// Levels of the crests tried for each direction.
const MOST_LEVELS: usize = 8;
/// Width of the bins of level and of length along the axis, in reduced pixels.
const BIN_PX: f64 = 2.0;
/// Smallest radius looked for, in reduced pixels: below it a crest and a trough are one line.
const LEAST_RADIUS_PX: f64 = 8.0;
/// Shortest pitch looked for, in reduced pixels.
const LEAST_PITCH_PX: f64 = 6.0;

/// The wave in reduced pixels, with the share of the bright lines that it explains.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Wave {
    pub(crate) curve: HelixCurve,
    pub(crate) score: f64,
}

/// One bright point as seen along a supposed axis.
#[derive(Clone, Copy)]
struct Seen {
    along: f64,
    across: f64,
    /// Direction of the line there: cosine and sine against the axis, cosine not negative.
    line: [f64; 2],
    weight: f64,
}

/// The best waves over all directions of the axis, best first.
pub(crate) fn waves(glow: &Glow) -> Vec<Wave> {
    let middle = [0.5 * glow.plane.width as f64, 0.5 * glow.plane.height as f64];
    let mut found: Vec<Wave> = (0..DIRECTIONS)
        .flat_map(|k| along(glow, middle, std::f64::consts::PI * k as f64 / DIRECTIONS as f64))
        .collect();
    found.sort_by(|a, b| b.score.total_cmp(&a.score));
    found.truncate(6);
    found
}

/// The best wave for one direction of the axis.
fn along(glow: &Glow, middle: [f64; 2], angle: f64) -> Vec<Wave> {
    let (s, c) = angle.sin_cos();
    // one very bright edge must not outweigh the beam
    let cap = 3.0 * f64::from(glow.ridges.get(glow.ridges.len() / 2).map_or(0.0, |r| r.contrast));
    let seen: Vec<Seen> = glow.ridges.iter().map(|r| turned(r, middle, [c, s], cap)).collect();
    let levels = levels(&seen);
    let mut best: Vec<Wave> = Vec::new();
    for (i, &low) in levels.iter().enumerate() {
        for &high in levels.iter().skip(i + 1) {
            let (offset, radius) = (0.5 * (low + high), 0.5 * (high - low).abs());
            if radius < LEAST_RADIUS_PX {
                continue;
            }
            if let Some((score, pitch, phase)) = wave(&seen, offset, radius) {
                let curve = HelixCurve {
                    middle,
                    depth: 0.0,
                    hand: 1.0,
                    offset,
                    angle,
                    tilt: 0.0,
                    pitch,
                    radius,
                    phase,
                    taper: 0.0,
                    far: 0.0,
                    half_way: 0.0,
                };
                best.push(Wave { curve, score });
            }
        }
    }
    best.sort_by(|a, b| b.score.total_cmp(&a.score));
    best.truncate(2);
    best
}

fn turned(r: &RidgePoint, middle: [f64; 2], [c, s]: [f64; 2], cap: f64) -> Seen {
    let (x, y) = (r.x - middle[0], r.y - middle[1]);
    // the line runs at right angles to its normal
    let (tx, ty) = (-r.ny, r.nx);
    let (ta, tb) = (tx * c + ty * s, ty * c - tx * s);
    let sign = if ta < 0.0 { -1.0 } else { 1.0 };
    Seen {
        along: x * c + y * s,
        across: y * c - x * s,
        line: [sign * ta, sign * tb],
        weight: f64::from(r.contrast).min(cap),
    }
}

/// Levels at which much light runs along the axis, and the outermost ones.
fn levels(seen: &[Seen]) -> Vec<f64> {
    let crests: Vec<&Seen> = seen.iter().filter(|p| p.line[0] > 0.8).collect();
    let least = crests.iter().map(|p| p.across).fold(f64::INFINITY, f64::min);
    if !least.is_finite() {
        return Vec::new();
    }
    let bin = |b: f64| ((b - least) / BIN_PX) as usize;
    let count = crests.iter().map(|p| bin(p.across)).max().unwrap_or(0) + 1;
    let mut light = vec![0.0; count + 4];
    for p in &crests {
        if let Some(l) = light.get_mut(bin(p.across) + 2) {
            *l += p.weight;
        }
    }
    let smooth: Vec<f64> = light.windows(3).map(|w| 0.5 * w[0] + w[1] + 0.5 * w[2]).collect();
    let mut peaks: Vec<(f64, f64)> = smooth
        .windows(3)
        .enumerate()
        .filter(|(_, w)| w[1] > 0.0 && w[1] >= w[0] && w[1] > w[2])
        .map(|(i, w)| (w[1], least + (i as f64 + 0.5) * BIN_PX))
        .collect();
    peaks.sort_by(|a, b| b.0.total_cmp(&a.0));
    let mut levels: Vec<f64> = peaks.into_iter().take(MOST_LEVELS).map(|p| p.1).collect();
    levels.sort_by(f64::total_cmp);
    levels
}

/// Score, pitch and phase of the best wave between two levels.
///
/// Place across the axis and slope give each bright point its angle of the turn; along a helix this angle grows evenly with
/// the length along the axis, so that one line stands out of the spectrum of `exp(i ψ)` over that length.
fn wave(seen: &[Seen], offset: f64, radius: f64) -> Option<(f64, f64, f64)> {
    let angle = |p: &Seen| {
        let c = ((p.across - offset) / radius).clamp(-1.0, 1.0);
        // across = offset + radius cos ψ: a rising line has sin ψ < 0
        if p.line[1] > 0.0 { -c.acos() } else { c.acos() }
    };
    let inside: Vec<(&Seen, f64)> =
        seen.iter().filter(|p| (p.across - offset).abs() < 1.06 * radius).map(|p| (p, angle(p))).collect();
    let first = inside.iter().map(|(p, _)| p.along).fold(f64::INFINITY, f64::min);
    let last = inside.iter().map(|(p, _)| p.along).fold(f64::NEG_INFINITY, f64::max);
    let length = last - first;
    if inside.len() < 30 || length < LEAST_PITCH_PX {
        return None;
    }
    let mut bins = vec![[0.0_f64; 2]; (length / BIN_PX) as usize + 1];
    for (p, psi) in &inside {
        if let Some(b) = bins.get_mut(((p.along - first) / BIN_PX) as usize) {
            let (s, c) = psi.sin_cos();
            *b = [b[0] + p.weight * c, b[1] + p.weight * s];
        }
    }
    let tau = std::f64::consts::TAU;
    let step = 0.3 / length;
    let count = ((1.0 / LEAST_PITCH_PX) / step) as usize;
    let power = |f: f64| -> f64 {
        let (mut re, mut im) = (0.0, 0.0);
        let (ss, sc) = (tau * f * BIN_PX).sin_cos();
        let (mut c, mut s) = (1.0, 0.0);
        for b in &bins {
            re += b[0] * c + b[1] * s;
            im += b[1] * c - b[0] * s;
            (c, s) = (c * sc - s * ss, s * sc + c * ss);
        }
        re.hypot(im)
    };
    let mut peaks: Vec<(f64, f64)> = (1..count).map(|k| (power(k as f64 * step), k as f64 * step)).collect();
    peaks.sort_by(|a, b| b.0.total_cmp(&a.0));
    peaks.truncate(6);
    let judged = peaks.into_iter().map(|(_, f)| {
        let (score, phase) = explained(&inside, f, radius);
        (score, 1.0 / f, phase)
    });
    judged.max_by(|a, b| a.0.total_cmp(&b.0))
}

/// Light of the points that lie on the wave and run along it, and the wave's phase.
fn explained(inside: &[(&Seen, f64)], frequency: f64, radius: f64) -> (f64, f64) {
    let k = std::f64::consts::TAU * frequency;
    let along: Vec<(f64, f64)> = inside
        .iter()
        .map(|(p, psi)| {
            let slope = -radius * k * psi.sin();
            let norm = slope.hypot(1.0);
            let alike = (p.line[0] + p.line[1] * slope) / norm;
            (if alike > 0.9 { p.weight } else { 0.0 }, psi - k * p.along)
        })
        .collect();
    let (re, im) = along.iter().fold((0.0, 0.0), |(c, s), (w, d)| (c + w * d.cos(), s + w * d.sin()));
    let phase = im.atan2(re);
    // points off the wave count against it: a tangle of lines must not beat a clean wave
    let score = along.iter().map(|(w, d)| w * (2.0 * (d - phase).cos() - 1.0).max(-0.3)).sum();
    (score, phase)
}

/// The bright points near a curve, with their angle of the turn; `band` is in reduced pixels.
pub(crate) fn near(
    glow: &Glow,
    curve: &HelixCurve,
    range: [f64; 2],
    band: f64,
    eye: [f64; 3],
) -> Vec<OnCurve> {
    let drawn = curve.drawn(range, eye);
    let mut points = Vec::new();
    for r in &glow.ridges {
        let nearest = drawn.iter().min_by(|a, b| {
            let d = |p: &[f64; 2]| (p[0] - r.x).powi(2) + (p[1] - r.y).powi(2);
            d(&a.1).total_cmp(&d(&b.1))
        });
        let Some(&(start, _)) = nearest else { continue };
        let psi = curve.foot([r.x, r.y], start, eye);
        let n = curve.normal(psi, eye);
        let point = OnCurve { at: [r.x, r.y], weight: 0.0, psi };
        let d = curve.distance(&point, eye);
        if d.abs() < band && (n[0] * r.nx + n[1] * r.ny).abs() > 0.85 && (psi - start).abs() < 0.2 {
            let weight = f64::from(r.contrast) * (1.0 - (d / band).powi(2)).powi(2);
            points.push(OnCurve { weight, ..point });
        }
    }
    points
}
