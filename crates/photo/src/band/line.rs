//! A bright line on polar light: its height above both sides for one width, and the path along which it is highest.

use super::SIDE;
use super::light::PolarLight;

/// What one width and one mixture show.
#[derive(Debug, Clone)]
pub(crate) struct Seen {
    /// Sample of the line at each station.
    pub(crate) path: Vec<usize>,
    /// Height above the higher side at each station.
    pub(crate) height: Vec<f64>,
    /// Standard deviation of what is no line.
    pub(crate) clutter: f64,
    /// How plainly, and on how much of the turn, the line is seen: mean of ln(1 + height / clutter).
    pub(crate) merit: f64,
    /// Mean height above the higher side.
    pub(crate) mean_height: f64,
}

/// What leaving the middle of the band by its half-width costs, in typical heights.
const ASIDE: f32 = 0.35;
/// What a step aside of one standard deviation of the line costs from station to station.
const STEP: f32 = 0.5;

/// Looks for a line of standard deviation `sigma_px` on the rows `values`.
pub(crate) fn see(light: &PolarLight, values: &[f32], sigma_px: f64) -> Option<Seen> {
    let (n, m) = (light.len(), light.raster.len());
    let sigma = sigma_px / light.raster.step;
    let smooth = smoothed(values, m, 0.6 * sigma as f32);
    let side = (SIDE * sigma).round().max(2.0) as usize;
    let mut heights = vec![0.0_f32; n * m];
    let from = light.raster.half.saturating_sub(light.within).max(side);
    let to = (light.raster.half + light.within).min(m.saturating_sub(side + 1));
    if from >= to {
        return None;
    }
    for (i, row) in smooth.chunks_exact(m).enumerate().filter(|(i, _)| light.usable.get(*i) == Some(&true)) {
        let out = heights.get_mut(i * m..(i + 1) * m)?;
        for k in from..=to {
            out[k] = row[k] - row[k - side].max(row[k + side]);
        }
    }
    let heights = along_averaged(&heights, &light.usable, m);
    let clutter = clutter_of(&heights, &light.usable, m, [from, to]);
    let tops: Vec<f32> =
        heights.chunks_exact(m).map(|row| row[from..=to].iter().copied().fold(0.0, f32::max)).collect();
    let typical = upper(&tops, &light.usable);
    if typical <= 0.0 {
        return None;
    }
    let path = best_path(&heights, m, [from, to], light, typical, sigma as f32);
    let height: Vec<f64> = path
        .iter()
        .enumerate()
        .map(|(i, &k)| heights.get(i * m + k).map_or(0.0, |h| f64::from(*h)))
        .collect();
    let usable = light.usable.iter().filter(|u| **u).count().max(1) as f64;
    let merit = height
        .iter()
        .zip(&light.usable)
        .filter(|(_, u)| **u)
        .map(|(h, _)| (h / clutter.max(1e-6)).max(0.0).ln_1p())
        .sum::<f64>()
        / usable;
    let of_usable = height.iter().zip(&light.usable).filter(|(_, u)| **u);
    let mean_height = of_usable.map(|(h, _)| h.max(0.0)).sum::<f64>() / usable;
    Some(Seen { path, height, clutter, merit, mean_height })
}

/// Rows smoothed by a Gaussian, the ends' values continued.
fn smoothed(values: &[f32], m: usize, sigma: f32) -> Vec<f32> {
    let half = (2.5 * sigma).ceil() as usize;
    if half == 0 || m == 0 {
        return values.to_vec();
    }
    let kernel: Vec<f32> =
        (0..=2 * half).map(|i| (i as f32 - half as f32) / sigma).map(|u| (-0.5 * u * u).exp()).collect();
    let total: f32 = kernel.iter().sum();
    let kernel: Vec<f32> = kernel.into_iter().map(|weight| weight / total).collect();
    let mut out = vec![0.0_f32; values.len()];
    let mut padded = vec![0.0_f32; m + 2 * half];
    for (row, out) in values.chunks_exact(m).zip(out.chunks_exact_mut(m)) {
        padded[..half].fill(row[0]);
        padded[half..half + m].copy_from_slice(row);
        padded[half + m..].fill(row[m - 1]);
        for (k, &weight) in kernel.iter().enumerate() {
            out.iter_mut().zip(&padded[k..k + m]).for_each(|(sum, &value)| *sum += value * weight);
        }
    }
    out
}

/// Each row averaged with its neighbours: a line goes on, noise does not.
fn along_averaged(rows: &[f32], usable: &[bool], m: usize) -> Vec<f32> {
    let n = usable.len();
    let mut out = vec![0.0_f32; rows.len()];
    for i in 0..n {
        if !usable[i] {
            continue;
        }
        let around = [(i + n - 1) % n, i, (i + 1) % n];
        let shares = [0.25_f32, 0.5, 0.25];
        let total: f32 = around.iter().zip(shares).filter(|(j, _)| usable[**j]).map(|(_, s)| s).sum();
        let target = &mut out[i * m..(i + 1) * m];
        for (j, share) in around.iter().zip(shares).filter(|(j, _)| usable[**j]) {
            let row = &rows[j * m..(j + 1) * m];
            target.iter_mut().zip(row).for_each(|(sum, &value)| *sum += share / total * value);
        }
    }
    out
}

/// Stations between two heights that are compared: the averages along the line no longer share a row.
const APART: usize = 4;

/// Standard deviation of a height that is due to no line: from changes *along* the ellipse, where lines and shading go on, by the
/// median of their magnitudes.
fn clutter_of(heights: &[f32], usable: &[bool], m: usize, [from, to]: [usize; 2]) -> f64 {
    let n = usable.len();
    let mut changes = Vec::with_capacity(n * (to - from) / 2);
    for i in (0..n).filter(|i| usable[*i] && usable[(i + APART) % n]) {
        let (here, there) = (&heights[i * m..], &heights[(i + APART) % n * m..]);
        changes.extend((from..=to).step_by(2).map(|k| (here[k] - there[k]).abs()));
    }
    if changes.is_empty() {
        return 1e-4;
    }
    let middle = changes.len() / 2;
    let median = *changes.select_nth_unstable_by(middle, f32::total_cmp).1;
    // 0.6745: median of |normal|; √2: a difference of two
    (f64::from(median) / (0.6745 * std::f64::consts::SQRT_2)).max(LEAST_CLUTTER)
}

/// Least standard deviation of a height, of full scale: eight bits and compression.
const LEAST_CLUTTER: f64 = 5e-4;

fn upper(tops: &[f32], usable: &[bool]) -> f32 {
    let mut values: Vec<f32> = tops.iter().zip(usable).filter(|(_, u)| **u).map(|(t, _)| *t).collect();
    values.sort_by(f32::total_cmp);
    values.get(values.len() * 4 / 5).copied().unwrap_or(0.0)
}

/// The path of greatest summed height, from where the line is weakest on; it need not close.
fn best_path(
    heights: &[f32],
    m: usize,
    [from, to]: [usize; 2],
    light: &PolarLight,
    typical: f32,
    sigma: f32,
) -> Vec<usize> {
    let n = light.len();
    let start = weakest(heights, m, [from, to], n);
    let width = to - from + 1;
    let reach = ((0.35 * light.spacing_px / light.raster.step).ceil() as usize).clamp(1, 8);
    let cost = STEP / sigma.max(1.0);
    let (half, within) = (light.raster.half as f32, light.within.max(1) as f32);
    let aside: Vec<f32> = (from..=to).map(|k| ASIDE * ((k as f32 - half) / within).powi(2)).collect();
    let mut total = vec![0.0_f32; width];
    let mut next = vec![0.0_f32; width];
    let mut back: Vec<u16> = vec![0; n * width];
    for step in 0..n {
        let i = (start + step) % n;
        let row = &heights[i * m + from..=i * m + to];
        for k in 0..width {
            let (low, high) = (k.saturating_sub(reach), (k + reach).min(width - 1));
            let (mut best, mut place) = (f32::NEG_INFINITY, k);
            for (j, &sum) in total[low..=high].iter().enumerate() {
                let value = sum - cost * (low + j).abs_diff(k) as f32;
                if value > best {
                    (best, place) = (value, low + j);
                }
            }
            back[step * width + k] = place as u16;
            next[k] = best + (row[k] / typical).clamp(-0.3, 1.2) - aside[k];
        }
        std::mem::swap(&mut total, &mut next);
    }
    let mut k = (0..width).max_by(|&a, &b| total[a].total_cmp(&total[b])).unwrap_or(0);
    let mut path = vec![0; n];
    for step in (0..n).rev() {
        path[(start + step) % n] = from + k;
        k = usize::from(back[step * width + k]);
    }
    path
}

/// Middle of the stretch (a fortieth of the turn) where the line is weakest: the gun, or where the path is open.
fn weakest(heights: &[f32], m: usize, [from, to]: [usize; 2], n: usize) -> usize {
    let tops: Vec<f32> =
        heights.chunks_exact(m).map(|row| row[from..=to].iter().copied().fold(0.0, f32::max)).collect();
    let window = (n / 40).max(3);
    let sum = |i: usize| (0..window).map(|k| tops[(i + k) % n]).sum::<f32>();
    let best = (0..n).min_by(|&a, &b| sum(a).total_cmp(&sum(b))).unwrap_or(0);
    (best + window / 2) % n
}
