//! The two steps of a lattice of lines or squares, from the autocorrelation of a patch of the picture.

use std::f64::consts::{PI, TAU};

use crate::picture::LightPlane;

/// Side of a patch in pixels, a power of two.
pub(crate) const PATCH: usize = 128;
/// Longest lag looked at, in pixels.
const REACH: i32 = 52;
/// Shortest and longest step of a lattice that is followed on one level of the picture, in pixels.
pub(crate) const STEP_PX: [f64; 2] = [4.6, 34.0];
/// A peak of the autocorrelation stands above the lowest value on the way from the origin by at least this part of the
/// highest peak; along a ridge (the lag runs along one family of lines) noise makes lower ones.
const PROMINENCE: f64 = 0.12;
/// Both steps must make an angle of at least this (30° of tilt turn 90° into no less than 60°).
const LEAST_ANGLE_DEG: f64 = 52.0;
/// Smoothing before the correlation, in pixels: the steps of a sharp line across the rows of pixels would else repeat.
const SMOOTH_PX: f64 = 1.0;
/// A patch with less variance (squared encoded light) is plain ground.
const LEAST_VARIANCE: f64 = 2e-5;
/// Longest step over the shortest under 30° of tilt, with some room.
const LONGEST_RATIO: f64 = 1.5;

/// The lattice seen in one patch.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Period {
    /// Steps from crossing to crossing, in pixels of the level.
    pub(crate) a: [f64; 2],
    pub(crate) b: [f64; 2],
    /// Variance that repeats, in squared light.
    pub(crate) power: f64,
    /// Top-left pixel of the patch.
    pub(crate) corner: [usize; 2],
}

/// Autocorrelations of patches, with the window's own taken out.
pub(crate) struct Correlator {
    turns: Vec<[f64; 2]>,
    window: Vec<f64>,
    window_correlation: Vec<f64>,
}

impl Correlator {
    pub(crate) fn new() -> Self {
        let hann = |k: usize| 0.5 - 0.5 * (TAU * (k as f64 + 0.5) / PATCH as f64).cos();
        let window: Vec<f64> = (0..PATCH * PATCH).map(|k| hann(k / PATCH) * hann(k % PATCH)).collect();
        // the turns of the transform: e^(-2πi k / PATCH)
        let turns: Vec<[f64; 2]> = (0..PATCH / 2)
            .map(|k| {
                let (sin, cos) = (-TAU * k as f64 / PATCH as f64).sin_cos();
                [cos, sin]
            })
            .collect();
        let window_correlation = correlation(&window, &turns);
        Self { turns, window, window_correlation }
    }

    /// Variance at each lag for a patch; `None` if the patch does not fit.
    fn lags(&self, plane: &LightPlane, corner: [usize; 2]) -> Option<Vec<f64>> {
        let mut patch = Vec::with_capacity(PATCH * PATCH);
        for y in corner[1]..corner[1] + PATCH {
            let from = y * plane.width + corner[0];
            patch.extend(plane.values.get(from..from + PATCH)?.iter().map(|v| f64::from(*v)));
        }
        let level = level(&patch);
        let mean = level[0] + (level[1] + level[2]) * (PATCH as f64 - 1.0) / 2.0;
        let variance = patch.iter().map(|v| (v - mean).powi(2)).sum::<f64>() / patch.len() as f64;
        if variance < LEAST_VARIANCE {
            return None;
        }
        for (value, (k, w)) in patch.iter_mut().zip(self.window.iter().enumerate()) {
            let (x, y) = ((k % PATCH) as f64, (k / PATCH) as f64);
            *value = (*value - level[0] - level[1] * x - level[2] * y) * w;
        }
        let mut found = correlation(&patch, &self.turns);
        found.iter_mut().zip(&self.window_correlation).for_each(|(r, w)| *r /= w.max(1e-9));
        Some(found)
    }

    /// The lattice of crossed lines (or of a board's corners) in a patch.
    pub(crate) fn period(&self, plane: &LightPlane, corner: [usize; 2], board: bool) -> Option<Period> {
        let lags = self.lags(plane, corner)?;
        let at = |x: i32, y: i32| {
            let wrap = |k: i32| k.rem_euclid(PATCH as i32) as usize;
            lags.get(wrap(y) * PATCH + wrap(x)).copied().unwrap_or(0.0)
        };
        let peaks = peaks(&at);
        let (a, b) = pair(&peaks)?;
        let power = a.1.min(b.1);
        let (a, b) = (a.0, b.0);
        let (a, b) = if board {
            // equal squares repeat along the diagonals; a neighbour has the other colour
            let half = |s: f64| [0, 1].map(|k| 0.5 * (a[k] + s * b[k]));
            let (a, b) = (half(1.0), half(-1.0));
            let beside = |p: [f64; 2]| at(p[0].round() as i32, p[1].round() as i32);
            if beside(a).max(beside(b)) > -0.2 * power {
                return None;
            }
            (a, b)
        } else {
            (a, b)
        };
        let lengths = [a, b].map(|p| p[0].hypot(p[1]));
        let usable = lengths.iter().all(|l| (STEP_PX[0]..=STEP_PX[1]).contains(l));
        usable.then(|| {
            let (a, b) = oriented(a, b);
            Period { a, b, power, corner }
        })
    }
}

/// `a` to the right, `b` a quarter turn counter-clockwise from it as seen (upwards), rows of pixels counting down.
fn oriented(a: [f64; 2], b: [f64; 2]) -> ([f64; 2], [f64; 2]) {
    let (a, b) = if a[0].abs() >= b[0].abs() { (a, b) } else { (b, a) };
    let a = if a[0] < 0.0 { a.map(|v| -v) } else { a };
    let b = if a[0] * b[1] - a[1] * b[0] > 0.0 { b.map(|v| -v) } else { b };
    (a, b)
}

type Peak = ([f64; 2], f64);

/// Maxima of one half of the lags, shortest first, each clear of the values on its way.
fn peaks(at: &dyn Fn(i32, i32) -> f64) -> Vec<Peak> {
    let mut found: Vec<Peak> = Vec::new();
    for y in 0..=REACH {
        for x in -REACH..=REACH {
            let far = f64::from(x).hypot(f64::from(y));
            if (y == 0 && x <= 0) || !(4.0..=f64::from(REACH)).contains(&far) {
                continue;
            }
            let here = at(x, y);
            let highest = (-1..=1)
                .flat_map(|j| (-1..=1).map(move |i| (i, j)))
                .all(|(i, j)| (i, j) == (0, 0) || at(x + i, y + j) <= here);
            if highest && here > 0.0 {
                let bend = |m: f64, p: f64| {
                    let c = m - 2.0 * here + p;
                    if c < 0.0 { (0.5 * (m - p) / c).clamp(-0.5, 0.5) } else { 0.0 }
                };
                let dx = bend(at(x - 1, y), at(x + 1, y));
                let dy = bend(at(x, y - 1), at(x, y + 1));
                found.push(([f64::from(x) + dx, f64::from(y) + dy], here));
            }
        }
    }
    let top = found.iter().fold(0.0_f64, |m, p| m.max(p.1));
    found.retain(|p| {
        let lowest =
            (1..30).map(|k| between(at, p.0.map(|v| v * f64::from(k) / 30.0))).fold(f64::MAX, f64::min);
        p.1 - lowest > PROMINENCE * top && p.1 > 0.2 * top
    });
    found.sort_by(|p, q| p.0[0].hypot(p.0[1]).total_cmp(&q.0[0].hypot(q.0[1])));
    found
}

/// Value between lags (bilinear).
fn between(at: &dyn Fn(i32, i32) -> f64, p: [f64; 2]) -> f64 {
    let (x, y) = (p[0].floor(), p[1].floor());
    let (fx, fy) = (p[0] - x, p[1] - y);
    let (x, y) = (x as i32, y as i32);
    let top = at(x, y) * (1.0 - fx) + at(x + 1, y) * fx;
    let low = at(x, y + 1) * (1.0 - fx) + at(x + 1, y + 1) * fx;
    top * (1.0 - fy) + low * fy
}

/// The shortest peak and the shortest one that stands across it.
fn pair(peaks: &[Peak]) -> Option<(Peak, Peak)> {
    let first = peaks.first()?;
    let length = |p: &Peak| p.0[0].hypot(p.0[1]);
    let angle = |p: &Peak| {
        let cross = first.0[0] * p.0[1] - first.0[1] * p.0[0];
        (cross.abs() / (length(first) * length(p))).min(1.0).asin() * 180.0 / PI
    };
    let second = peaks.iter().skip(1).find(|p| angle(p) > LEAST_ANGLE_DEG)?;
    (length(second) < LONGEST_RATIO * length(first)).then_some((*first, *second))
}

/// Least-squares level of a patch: value at the first pixel, slope along x and y (the lighting).
fn level(patch: &[f64]) -> [f64; 3] {
    let n = patch.len() as f64;
    let middle = (PATCH as f64 - 1.0) / 2.0;
    let (mut sum, mut sx, mut sy) = (0.0, 0.0, 0.0);
    for (k, v) in patch.iter().enumerate() {
        let (x, y) = ((k % PATCH) as f64 - middle, (k / PATCH) as f64 - middle);
        (sum, sx, sy) = (sum + v, sx + v * x, sy + v * y);
    }
    let second = n * ((PATCH * PATCH) as f64 - 1.0) / 12.0;
    let (x, y) = (sx / second, sy / second);
    [sum / n - middle * (x + y), x, y]
}

/// Circular autocorrelation of a patch, by way of its power spectrum.
fn correlation(patch: &[f64], turns: &[[f64; 2]]) -> Vec<f64> {
    let mut spectrum: Vec<[f64; 2]> = patch.iter().map(|v| [*v, 0.0]).collect();
    transform(&mut spectrum, turns);
    let wave = |k: usize| (k.min(PATCH - k) as f64 / PATCH as f64).powi(2);
    for (k, c) in spectrum.iter_mut().enumerate() {
        let square = wave(k % PATCH) + wave(k / PATCH);
        let passed = (-(TAU * SMOOTH_PX).powi(2) * square).exp();
        *c = [passed * (c[0] * c[0] + c[1] * c[1]), 0.0];
    }
    transform(&mut spectrum, turns);
    spectrum.iter().map(|c| c[0]).collect()
}

/// Two-dimensional discrete Fourier transform in place, rows then columns.
fn transform(values: &mut [[f64; 2]], turns: &[[f64; 2]]) {
    values.chunks_exact_mut(PATCH).for_each(|line| fourier(line, turns));
    let mut column = vec![[0.0; 2]; PATCH];
    for x in 0..PATCH {
        for (c, v) in column.iter_mut().zip(values.iter().skip(x).step_by(PATCH)) {
            *c = *v;
        }
        fourier(&mut column, turns);
        for (c, v) in column.iter().zip(values.iter_mut().skip(x).step_by(PATCH)) {
            *v = *c;
        }
    }
}

/// Radix-two transform. Source: Cooley, Tukey, Mathematics of Computation 19 (1965) 297.
fn fourier(line: &mut [[f64; 2]], turns: &[[f64; 2]]) {
    let n = line.len();
    let bits = n.trailing_zeros();
    for k in 0..n {
        let other = k.reverse_bits() >> (usize::BITS - bits);
        if other > k {
            line.swap(k, other);
        }
    }
    let mut half = 1;
    while half < n {
        for part in line.chunks_exact_mut(2 * half) {
            let (low, high) = part.split_at_mut(half);
            let every = turns.len() / half;
            for ((p, q), [cos, sin]) in low.iter_mut().zip(high).zip(turns.iter().step_by(every)) {
                let turned = [q[0] * cos - q[1] * sin, q[0] * sin + q[1] * cos];
                *q = [p[0] - turned[0], p[1] - turned[1]];
                *p = [p[0] + turned[0], p[1] + turned[1]];
            }
        }
        half *= 2;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn waves(a: [f64; 2], b: [f64; 2], board: bool) -> LightPlane {
        let det = a[0] * b[1] - a[1] * b[0];
        let value = |x: f64, y: f64| {
            let u = (x * b[1] - y * b[0]) / det;
            let v = (a[0] * y - a[1] * x) / det;
            let (p, q) =
                if board { ((PI * u).cos(), (PI * v).cos()) } else { ((TAU * u).cos(), (TAU * v).cos()) };
            (if board { p * q } else { p + q }) as f32 * 0.2 + 0.5
        };
        let values = (0..PATCH * PATCH).map(|k| value((k % PATCH) as f64, (k / PATCH) as f64)).collect();
        LightPlane { width: PATCH, height: PATCH, values }
    }

    #[test]
    fn steps_of_lines_and_squares_are_found() {
        for board in [false, true] {
            for (a, b) in [([9.3, 2.1], [1.7, -10.2]), ([20.0, -6.0], [-7.0, -19.0])] {
                let found = Correlator::new().period(&waves(a, b, board), [0, 0], board).expect("a lattice");
                for (f, t) in [(found.a, a), (found.b, b)] {
                    assert!((f[0] - t[0]).hypot(f[1] - t[1]) < 0.4, "{board}: {f:?} for {t:?}");
                }
            }
        }
    }
}
