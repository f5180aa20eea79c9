//! Marks too fine, or too blurred, to be seen one by one: how many stand between two neighbouring long ones.
//!
//! Blur of 3 px leaves a hundredth of the contrast of marks 6 px apart, yet two hundred of them in step show it: the light is
//! correlated, along the row and at each depth, with so many marks a step.

use crate::picture::LightPlane;
use crate::scale::ScaleRow;

/// Divisions that rulers have between two long marks: fives and tens, halves of halves.
const USUAL: [usize; 7] = [5, 10, 20, 4, 8, 16, 32];
/// Divisions closer than this in pixels leave nothing in the picture.
const LEAST_PX: f64 = 1.9;
/// The division found must stand out against its own noise, and against every coarser or neighbouring one at that depth.
const CLEAR: f64 = 6.0;
const ALONE: f64 = 1.6;
/// Steps from mark to mark over which the row's places are taken as straight.
const LONGEST_GAP: i32 = 3;
/// Depth from row to row of samples, and rows that are looked at together, in pixels and counts.
const DEPTH_PX: f64 = 2.0;
const TOGETHER: usize = 5;

/// How many marks stand between one found mark and the next, where the light between them tells.
pub(crate) fn divisions(plane: &LightPlane, row: &ScaleRow) -> Option<usize> {
    let pitch = row.pitch_px();
    let most = USUAL.iter().copied().filter(|m| pitch / *m as f64 > LEAST_PX).max()? + 2;
    let reach = (1.1 * pitch).clamp(20.0, 70.0);
    let depths = (2.0 * reach / DEPTH_PX) as usize;
    let waves: Vec<Vec<[f64; 2]>> =
        (0..depths).map(|k| along(plane, row, k as f64 * DEPTH_PX - reach, most)).collect();
    let mut noise: Vec<f64> = waves.iter().flatten().map(|w| w[1].abs()).filter(|b| *b > 0.0).collect();
    if noise.is_empty() {
        return None;
    }
    let half = noise.len() / 2;
    let sigma = *noise.select_nth_unstable_by(half, f64::total_cmp).1 / 0.6745;
    let sign = if row.dark { -1.0 } else { 1.0 };
    let clear = CLEAR * sigma * (TOGETHER as f64).sqrt();
    let mut found: Vec<usize> = Vec::new();
    for rows in waves.windows(TOGETHER) {
        let sum = |m: usize| rows.iter().filter_map(|r| r.get(m)).map(|w| sign * w[0]).sum::<f64>();
        for m in USUAL.into_iter().filter(|m| *m + 2 <= most) {
            let rival = (2..=m + 2).filter(|k| *k != m).map(|k| sum(k).abs()).fold(0.0, f64::max);
            if sum(m) > clear && sum(m) > ALONE * rival {
                found.push(m);
            }
        }
    }
    // one window may be a play of chance or a stroke of numerals
    USUAL.into_iter().filter(|m| found.iter().filter(|f| *f == m).count() >= 2).max()
}

/// Sums of light × (cos, sin) of 2π m · number along the row at a depth, for each m; the light's own slope between two marks
/// taken out.
fn along(plane: &LightPlane, row: &ScaleRow, depth: f64, most: usize) -> Vec<[f64; 2]> {
    let mut sums = vec![[0.0; 2]; most + 1];
    for pair in row.marks.windows(2) {
        let [a, b] = pair else { continue };
        let steps = b.number - a.number;
        if steps == 0 || steps.abs() > LONGEST_GAP {
            continue;
        }
        let (p, q) = (at_depth(a.ends_px, depth), at_depth(b.ends_px, depth));
        let length = (q[0] - p[0]).hypot(q[1] - p[1]);
        let count = (length / f64::from(steps.abs())).ceil() as usize * steps.unsigned_abs() as usize;
        let light: Vec<f64> = (0..count)
            .map(|k| {
                let t = k as f64 / count as f64;
                f64::from(plane.sample(p[0] + t * (q[0] - p[0]), p[1] + t * (q[1] - p[1])))
            })
            .collect();
        let slope = straight(&light);
        for (k, value) in light.iter().enumerate() {
            let number = f64::from(steps) * k as f64 / count as f64;
            let left = (value - slope[0] - slope[1] * k as f64) / count as f64;
            // cos and sin of the multiples by turning on
            let (s1, c1) = (std::f64::consts::TAU * number).sin_cos();
            let (mut s, mut c) = (0.0, 1.0);
            for sum in sums.iter_mut().skip(1) {
                (s, c) = (s * c1 + c * s1, c * c1 - s * s1);
                sum[0] += left * c;
                sum[1] += left * s;
            }
        }
    }
    sums
}

fn at_depth(ends: [[f64; 2]; 2], depth: f64) -> [f64; 2] {
    let [foot, end] = ends;
    let d = [end[0] - foot[0], end[1] - foot[1]];
    let length = d[0].hypot(d[1]).max(1e-9);
    [0, 1].map(|k| foot[k] + depth * d[k] / length)
}

/// Mean and slope of evenly spaced values: value ≈ first + slope · index.
fn straight(values: &[f64]) -> [f64; 2] {
    let n = values.len() as f64;
    if values.len() < 3 {
        return [0.0; 2];
    }
    let middle = (n - 1.0) / 2.0;
    let mean = values.iter().sum::<f64>() / n;
    let (mut xy, mut xx) = (0.0, 0.0);
    for (k, v) in values.iter().enumerate() {
        let x = k as f64 - middle;
        (xy, xx) = (xy + x * (v - mean), xx + x * x);
    }
    let slope = xy / xx;
    [mean - slope * middle, slope]
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::scale::{Rhythm, ScaleMark};

    /// A ruler with marks a step of `fine` px, every `count`-th of them longer and found, blurred by `sigma` px.
    fn ruler(fine: f64, count: i32, sigma: f64) -> (LightPlane, ScaleRow) {
        let (width, height) = (1400, 120);
        let mut values = vec![0.7_f32; width * height];
        let lines = (1300.0 / fine) as i32;
        for n in 0..lines {
            let x0 = 50.0 + fine * f64::from(n);
            let end = if n % count == 0 { 85.0 } else { 60.0 };
            for y in 0..height {
                let inside = 0.5 * (1.0 + ((end - y as f64) / 2.0).tanh());
                for x in (x0 - 5.0 * sigma) as usize..(x0 + 5.0 * sigma) as usize {
                    let d = (x as f64 - x0) / sigma;
                    let ink = 0.25 * fine / sigma * 0.4 * (-0.5 * d * d).exp() * inside;
                    values[y * width + x.min(width - 1)] -= 0.5 * ink as f32;
                }
            }
        }
        let mut state = 5_u64;
        for v in &mut values {
            state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
            *v += 0.01 * ((state >> 40) as f32 / (1 << 24) as f32 - 0.5);
        }
        let marks = (0..lines / count)
            .map(|n| {
                let x = 50.0 + fine * f64::from(n * count);
                ScaleMark {
                    number: n,
                    points_px: [[x, 64.0], [x, 80.0]],
                    u_px: 0.1,
                    ends_px: [[x, 60.0], [x, 85.0]],
                    rank: 0,
                }
            })
            .collect();
        let row =
            ScaleRow { marks, spacing_mm: None, rhythm: Rhythm::None, foot_scatter_px: 0.3, dark: true };
        (LightPlane { width, height, values }, row)
    }

    #[test]
    fn blurred_marks_between_long_ones_are_counted() {
        for (fine, count, sigma) in
            [(6.0, 10, 2.5), (6.0, 5, 2.5), (3.0, 10, 1.0), (4.0, 16, 1.5), (3.0, 20, 1.2)]
        {
            let (plane, row) = ruler(fine, count, sigma);
            assert_eq!(
                divisions(&plane, &row),
                Some(count as usize),
                "{fine} px, one in {count}, blur {sigma}"
            );
        }
    }

    #[test]
    fn marks_wholly_gone_are_not_counted() {
        let (plane, row) = ruler(4.0, 10, 4.0);
        assert_eq!(divisions(&plane, &row), None);
    }
}
