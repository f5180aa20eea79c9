//! Follows the beam from station to station on the full photograph, keeping to one branch.

use crate::picture::Picture;
use crate::ring_curve::median;
use crate::ring_ellipse::Ellipse;
use crate::trace::{Profile, Raster, Rows, Station, read_profile};

/// The beam's way along the stations: offset from the base ellipse and height of the line there.
#[derive(Debug, Clone)]
pub(crate) struct Followed {
    /// Parameter on the base ellipse, growing, one a station, from the darkest place on.
    pub(crate) t: Vec<f64>,
    /// Offset along the outward normal in pixels.
    pub(crate) offset_px: Vec<f64>,
    /// Whether the line stands clearly above both its sides.
    pub(crate) lit: Vec<bool>,
    /// Standard deviation of the beam's cross-section in pixels, a first guess.
    pub(crate) sigma_px: f64,
    /// Distance between stations in pixels.
    pub(crate) spacing_px: f64,
}

/// Longest number of stations: beyond a thousand the noise of neighbours is shared anyway.
const MOST_STATIONS: f64 = 720.0;

/// A line fainter than this part of the typical height is taken for a reflection of the beam in the glass: a surface
/// gives back some 4 % (Fresnel, index 1.5, normal incidence), two surfaces 8 %.
const FAINTEST: f64 = 0.09;

/// A station on the ellipse moved out by `offset_px`.
pub(crate) fn station(ellipse: &Ellipse, t: f64, offset_px: f64) -> Station {
    let ([x, y], [nx, ny]) = (ellipse.point(t), ellipse.normal(t));
    Station { x: x + offset_px * nx, y: y + offset_px * ny, nx, ny }
}

/// Follows the line near `base` (full pixels); `scale_px` is the smoothing at which the search saw it best.
pub(crate) fn follow(picture: &Picture, base: &Ellipse, scale_px: f64) -> Option<Followed> {
    let around = base.circumference();
    let count = (around / 2.0).clamp(90.0, MOST_STATIONS).round() as usize;
    let spacing_px = around / count as f64;
    let rows = Rows::between(spacing_px);
    let step = (scale_px / 3.0).max(1.0);
    let raster =
        Raster { step, half: ((8.0 * scale_px).max(0.03 * base.r).max(10.0) / step).ceil() as usize };
    let turn = |i: usize| i as f64 * std::f64::consts::TAU / count as f64;
    let light = [1.0, 1.0, 1.0];
    let profiles: Vec<Profile> = (0..count)
        .map(|i| read_profile(picture, &station(base, turn(i), 0.0), raster, rows, light))
        .collect();
    let sigma_px = first_width(&profiles, raster, scale_px)?;
    let side = (2.5 * sigma_px / step).round().max(1.0) as usize;
    let heights: Vec<Vec<f64>> = profiles.iter().map(|p| line_heights(p, side)).collect();
    let tops: Vec<f64> = heights.iter().map(|h| h.iter().copied().fold(0.0, f64::max)).collect();
    let typical = upper_tenth(tops.clone());
    if typical <= 0.0 {
        return None;
    }
    let start = darkest(&tops);
    let order: Vec<usize> = (0..count).map(|i| (start + i) % count).collect();
    let reach = (0.35 * spacing_px / step).ceil().max(1.0) as usize;
    let path = best_path(&order, &heights, typical, reach);
    let noise = noise_beside(&order, &heights, &path, 2 * side);
    let least = (4.0 * noise).min(0.5 * typical).max(FAINTEST * typical);
    let lit = order
        .iter()
        .zip(&path)
        .map(|(&i, &k)| heights.get(i).and_then(|h| h.get(k)).is_some_and(|&h| h > least));
    Some(Followed {
        t: (0..count).map(|i| turn(start) + turn(i)).collect(),
        offset_px: path.iter().map(|&k| raster.at(k)).collect(),
        lit: lit.collect(),
        sigma_px,
        spacing_px,
    })
}

/// Height of each sample above the higher of the two samples `side` places away; 0 where these are missing.
fn line_heights(profile: &[f32], side: usize) -> Vec<f64> {
    let at = |i: usize| profile.get(i).copied().filter(|v| v.is_finite()).map(f64::from);
    let height = |i: usize| Some(at(i)? - at(i.checked_sub(side)?)?.max(at(i + side)?));
    (0..profile.len()).map(|i| height(i).unwrap_or(0.0)).collect()
}

/// Standard deviation of the heights well beside the path, where only noise and haze are.
fn noise_beside(order: &[usize], heights: &[Vec<f64>], path: &[usize], apart: usize) -> f64 {
    let mut beside = Vec::new();
    for (&i, &top) in order.iter().zip(path) {
        for (k, height) in heights.get(i).into_iter().flatten().enumerate() {
            if k.abs_diff(top) > apart && *height != 0.0 {
                beside.push(*height);
            }
        }
    }
    let middle = median(beside.clone());
    1.4826 * median(beside.into_iter().map(|h| (h - middle).abs()).collect())
}

/// Standard deviation of the line's cross-section from the middle profile of the brightest fifth of the stations.
pub(crate) fn first_width(profiles: &[Profile], raster: Raster, scale_px: f64) -> Option<f64> {
    let side = (2.5 * scale_px.max(1.2) / raster.step).round() as usize;
    let mut tops: Vec<(f64, usize, &Profile)> = Vec::new();
    for profile in profiles {
        let best = line_heights(profile, side).into_iter().enumerate().max_by(|a, b| a.1.total_cmp(&b.1));
        if let Some((place, height)) = best.filter(|b| b.1 > 0.0) {
            tops.push((height, place, profile));
        }
    }
    tops.sort_by(|a, b| b.0.total_cmp(&a.0));
    tops.truncate((tops.len() / 5).max(1));
    let half = raster.half as isize;
    let middle: Vec<f64> = (-half..=half)
        .map(|k| {
            let place = |top: usize| usize::try_from(top as isize + k).ok();
            let values = tops.iter().filter_map(|(_, top, p)| p.get(place(*top)?).copied());
            median(values.filter(|v| v.is_finite()).map(f64::from).collect())
        })
        .collect();
    half_width(&middle, raster.half).map(|full| (full * raster.step / 2.355).max(0.5))
}

/// Full width at half height above the higher of the two sides' lowest values, in samples.
pub(crate) fn half_width(profile: &[f64], middle: usize) -> Option<f64> {
    let top = *profile.get(middle)?;
    let low = |part: &[f64]| part.iter().copied().fold(f64::INFINITY, f64::min);
    let base = low(profile.get(..middle)?).max(low(profile.get(middle + 1..)?));
    let half = 0.5 * (top + base);
    let crossing = |values: &mut dyn Iterator<Item = f64>| -> Option<f64> {
        let mut before = top;
        for (i, value) in values.enumerate() {
            if value < half {
                return Some(i as f64 + (before - half) / (before - value).max(1e-12));
            }
            before = value;
        }
        None
    };
    let out = crossing(&mut profile.get(middle + 1..)?.iter().copied())?;
    let inner = crossing(&mut profile.get(..middle)?.iter().rev().copied())?;
    Some(out + inner)
}

/// The value a tenth of the stations exceed: the lit beam even when only a quarter of the ring is seen.
fn upper_tenth(mut values: Vec<f64>) -> f64 {
    values.sort_by(f64::total_cmp);
    values.get(values.len() * 9 / 10).copied().unwrap_or(0.0)
}

/// Middle of the window (a fortieth of the turn) in which the line is weakest: where the path may be open.
fn darkest(tops: &[f64]) -> usize {
    let n = tops.len();
    let window = (n / 40).max(3);
    let sum = |i: usize| (0..window).filter_map(|k| tops.get((i + k) % n)).sum::<f64>();
    let best = (0..n).min_by(|&a, &b| sum(a).total_cmp(&sum(b))).unwrap_or(0);
    (best + window / 2) % n
}

/// The path of greatest summed height that moves at most `reach` samples from station to station.
fn best_path(order: &[usize], heights: &[Vec<f64>], typical: f64, reach: usize) -> Vec<usize> {
    let width = heights.first().map_or(0, Vec::len);
    // a bright patch must not outweigh many ordinary stations, nor a gap cost more than the beam gains
    let gain = |i: usize, k: usize| {
        heights.get(i).and_then(|h| h.get(k)).map_or(-0.3, |h| (h / typical).clamp(-0.3, 1.2))
    };
    let mut total = vec![0.0; width];
    let mut from: Vec<Vec<usize>> = Vec::with_capacity(order.len());
    for &i in order {
        let mut next = vec![f64::NEG_INFINITY; width];
        let mut back = vec![0; width];
        for k in 0..width {
            let near = total.iter().enumerate().take(k + reach + 1).skip(k.saturating_sub(reach));
            let value = |j: usize, sum: f64| sum - 0.15 * k.abs_diff(j) as f64;
            if let Some((j, sum)) = near.map(|(j, &t)| (j, value(j, t))).max_by(|a, b| a.1.total_cmp(&b.1)) {
                (next[k], back[k]) = (sum, j);
            }
            next[k] += gain(i, k);
        }
        total = next;
        from.push(back);
    }
    let mut k = (0..width).max_by(|&a, &b| total[a].total_cmp(&total[b])).unwrap_or(0);
    let mut path: Vec<usize> = from
        .iter()
        .rev()
        .map(|back| {
            let here = k;
            k = back.get(k).copied().unwrap_or(k);
            here
        })
        .collect();
    path.reverse();
    path
}
