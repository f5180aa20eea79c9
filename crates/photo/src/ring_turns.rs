//! A second turn beside the first: finds both lines, takes the second one's light away, and leaves the first to be measured.
//!
//! A path that is drawn out to a helix goes on beside its first turn. To first order the second turn is the first one
//! moved and a little larger or smaller, so that it lies beside it by `s(t) = a + b cos t + c sin t`; where they cross the
//! cross-section is one line that is neither, and its middle is pulled by what `s` and the ratio of light say.

use nalgebra::{SMatrix, SVector};

use crate::normal::Normal;
use crate::picture::Picture;
use crate::ring_curve::{Offset, OpenCurve, median};
use crate::ring_ellipse::Ellipse;
use crate::ring_follow::station;
use crate::trace::{Profile, Raster, Rows, read_profile};

/// Widest place of the second turn beside the first, in parts of the radius.
const WIDEST: f64 = 0.12;
/// A second line has at least this part of the first one's height; a reflection of the beam in the glass has some 8 %.
const SECOND_LEAST: f64 = 0.2;
/// The first turn must be this much brighter for the two to be told apart: gas takes light from the beam on its way.
const FIRST_BRIGHTER: f64 = 1.06;
/// Lines closer than this many standard deviations of the beam show as one.
const RESOLVED: f64 = 2.4;
/// Beyond this many standard deviations outside the second line nothing of it is left.
const CLEAR: f64 = 4.0;
/// Arc over which both lines must be seen apart, in degrees.
const PAIRS_DEG: f64 = 40.0;
/// Of so many stations one is asked before all are; it is gone on with at this part of the arc.
const EVERY: usize = 4;
const HALF_SURE: f64 = 0.6;

/// The first turn where two were seen.
pub(crate) struct FirstTurn {
    /// Offset of the first turn from the base ellipse at each station, in pixels.
    pub(crate) offset_px: Vec<f64>,
    /// Distance of the second turn from the first, positive outside.
    pub(crate) apart_px: Vec<f64>,
    /// Height of the second turn against the first, in the stations' order.
    pub(crate) share: Vec<f64>,
    /// Standard deviation of either line.
    pub(crate) sigma_px: f64,
    /// Whether a line stands near the first turn's place.
    pub(crate) lit: Vec<bool>,
}

/// Two bright lines at one station: place and height of the brighter and of the other.
#[derive(Debug, Clone, Copy)]
struct Pair {
    index: usize,
    first: [f64; 2],
    second: [f64; 2],
}

/// Looks for two lines side by side; `None` where one line, or no such pair, is seen.
pub(crate) fn first_turn(
    picture: &Picture,
    base: &Ellipse,
    t: &[f64],
    weights: [f32; 3],
    sigma_px: f64,
    allowed: &dyn Fn(f64, f64) -> bool,
) -> Option<FirstTurn> {
    let step = (sigma_px / 4.0).max(0.5);
    let raster = Raster { step, half: ((WIDEST * base.r + 4.0 * sigma_px) / step).ceil() as usize };
    let read = |&t: &f64| read_profile(picture, &station(base, t, 0.0), raster, Rows::TWO, weights);
    if !is_likely(&t.iter().step_by(EVERY).map(read).collect::<Vec<Profile>>(), raster, sigma_px) {
        return None;
    }
    let profiles: Vec<Profile> = t.iter().map(read).collect();
    let peaks: Vec<Vec<[f64; 2]>> = profiles.iter().map(|p| peaks(p, raster, sigma_px)).collect();
    let typical = median(peaks.iter().filter_map(|p| p.first()).map(|p| p[1]).collect());
    let pairs: Vec<Pair> = peaks
        .iter()
        .enumerate()
        .filter_map(|(index, p)| {
            let (first, second) = (*p.first()?, *p.get(1)?);
            let counts = second[1] > SECOND_LEAST * first[1] && first[1] > 0.3 * typical;
            let apart = (first[0] - second[0]).abs() > RESOLVED * sigma_px;
            let s = station(base, *t.get(index)?, first[0]);
            (counts && apart && allowed(s.x, s.y)).then_some(Pair { index, first, second })
        })
        .collect();
    let degree = 360.0 / t.len() as f64;
    if (pairs.len() as f64) * degree < PAIRS_DEG {
        return None;
    }
    let (apart, kept) = separation(&pairs, t, sigma_px)?;
    if (kept.len() as f64) * degree < PAIRS_DEG {
        return None;
    }
    let ratio = median(kept.iter().map(|p| p.second[1] / p.first[1]).collect());
    if ratio * FIRST_BRIGHTER > 1.0 {
        return None;
    }
    joined(&peaks, &kept, t, apart, ratio, typical, sigma_px)
}

/// Whether two lines stand apart at enough of the stations; a few are asked before all are read.
fn is_likely(profiles: &[Profile], raster: Raster, sigma_px: f64) -> bool {
    let two = |profile: &Profile| {
        let peaks = peaks(profile, raster, sigma_px);
        let [first, second] = peaks.as_slice() else { return false };
        second[1] > SECOND_LEAST * first[1] && (first[0] - second[0]).abs() > RESOLVED * sigma_px
    };
    let seen = profiles.iter().filter(|profile| two(profile)).count();
    360.0 * seen as f64 > HALF_SURE * PAIRS_DEG * profiles.len() as f64
}

/// Puts the first turn together from places where both lines are seen and from those where they run into one.
fn joined(
    peaks: &[Vec<[f64; 2]>],
    kept: &[Pair],
    t: &[f64],
    apart: [f64; 3],
    ratio: f64,
    typical: f64,
    sigma_px: f64,
) -> Option<FirstTurn> {
    let beside = |t: f64| apart[0] + apart[1] * t.cos() + apart[2] * t.sin();
    let mut seen: Vec<Offset> = Vec::new();
    for pair in kept {
        seen.push(Offset { t: *t.get(pair.index)?, d: pair.first[0], u: 1.0 });
    }
    for ((index, p), &t) in peaks.iter().enumerate().zip(t) {
        let Some(one) = p.first().filter(|p| p[1] > 0.4 * typical) else { continue };
        if beside(t).abs() < RESOLVED * sigma_px && !kept.iter().any(|k| k.index == index) {
            // the middle of both lines is nearer to the brighter one
            seen.push(Offset { t, d: one[0] - beside(t) * ratio / (1.0 + ratio), u: 1.0 });
        }
    }
    let (curve, weights) = OpenCurve::fitted(&seen, 9)?;
    let believed: Vec<&Offset> =
        seen.iter().zip(&weights).filter(|(_, w)| **w > 0.0).map(|(o, _)| o).collect();
    let scatter = median(believed.iter().map(|o| (o.d - curve.at(o.t)).abs()).collect());
    if scatter > sigma_px {
        return None;
    }
    let offset_px: Vec<f64> = t.iter().map(|&t| curve.at(t)).collect();
    let near = |d: f64, peaks: &[[f64; 2]], reach: f64| {
        peaks.iter().filter(|p| (p[0] - d).abs() < reach).map(|p| p[1]).fold(0.0, f64::max)
    };
    let mut lit = Vec::new();
    let mut share = Vec::new();
    for ((d, p), &t) in offset_px.iter().zip(peaks).zip(t) {
        let s = beside(t);
        let is_one = s.abs() < RESOLVED * sigma_px;
        let reach = 1.2 * sigma_px + if is_one { s.abs() } else { 0.0 };
        let height = near(*d, p, reach);
        lit.push(height > 0.35 * typical);
        share.push(if is_one {
            ratio
        } else {
            (near(d + s, p, 1.5 * sigma_px) / height.max(0.3 * typical)).min(1.5)
        });
    }
    smooth_over(&mut share, 4);
    Some(FirstTurn { offset_px, apart_px: t.iter().map(|&t| beside(t)).collect(), share, sigma_px, lit })
}

/// Medians over a few neighbours, round the turn.
fn smooth_over(values: &mut [f64], reach: usize) {
    let n = values.len();
    let before = values.to_vec();
    for (i, value) in values.iter_mut().enumerate() {
        *value =
            median((0..=2 * reach).filter_map(|k| before.get((i + n + k - reach) % n)).copied().collect());
    }
}

/// The two highest lines of a cross-section, brightest first: place and height, by a filter for lines of that width.
fn peaks(profile: &[f32], raster: Raster, sigma_px: f64) -> Vec<[f64; 2]> {
    let reach = (4.0 * sigma_px / raster.step).ceil() as isize;
    // second derivative of a Gaussian somewhat narrower than the line, so that two lines come apart
    let width = 0.75 * sigma_px / raster.step;
    let weight = |k: isize| {
        let u = k as f64 / width;
        (1.0 - u * u) * (-0.5 * u * u).exp()
    };
    let kernel: Vec<f64> = (-reach..=reach).map(weight).collect();
    let mean = kernel.iter().sum::<f64>() / kernel.len() as f64;
    let answer = |i: usize| -> Option<f64> {
        let from = i.checked_sub(reach as usize)?;
        let part = profile.get(from..from + kernel.len())?;
        let sum: f64 = part.iter().zip(&kernel).map(|(v, k)| f64::from(*v) * (k - mean)).sum();
        sum.is_finite().then_some(sum)
    };
    let answers: Vec<f64> = (0..profile.len()).map(|i| answer(i).unwrap_or(f64::MIN)).collect();
    let mut found: Vec<[f64; 2]> = answers
        .windows(3)
        .enumerate()
        .filter(|(_, w)| w[1] > 0.0 && w[1] >= w[0] && w[1] > w[2] && w[0] > f64::MIN && w[2] > f64::MIN)
        .map(|(i, w)| {
            let bend = w[0] - 2.0 * w[1] + w[2];
            let shift = if bend < 0.0 { 0.5 * (w[0] - w[2]) / bend } else { 0.0 };
            [raster.at(i + 1) + shift * raster.step, w[1]]
        })
        .collect();
    found.sort_by(|a, b| b[1].total_cmp(&a[1]));
    found.truncate(2);
    found
}

/// Robust `s(t) = a + b cos t + c sin t` through the pairs, brighter line to the other; the pairs that keep to it.
fn separation(pairs: &[Pair], t: &[f64], sigma_px: f64) -> Option<([f64; 3], Vec<Pair>)> {
    let rows: Vec<(SVector<f64, 3>, f64)> = pairs
        .iter()
        .filter_map(|p| {
            let (sine, cosine) = t.get(p.index)?.sin_cos();
            Some((SVector::<f64, 3>::new(1.0, cosine, sine), p.second[0] - p.first[0]))
        })
        .collect();
    let near =
        |v: &SVector<f64, 3>, reach: f64| rows.iter().filter(|(r, s)| (r.dot(v) - s).abs() < reach).count();
    // a start from every far-apart triple of a fixed choice: no chance is used
    let n = rows.len();
    let stride = (n / 12).max(1);
    let picks: Vec<usize> = (0..n).step_by(stride).collect();
    let mut best: Option<(usize, SVector<f64, 3>)> = None;
    for (i, &a) in picks.iter().enumerate() {
        for (j, &b) in picks.iter().enumerate().skip(i + 1) {
            for &c in picks.iter().skip(j + 1) {
                let m = SMatrix::<f64, 3, 3>::from_rows(&[
                    rows[a].0.transpose(),
                    rows[b].0.transpose(),
                    rows[c].0.transpose(),
                ]);
                let Some(v) =
                    m.try_inverse().map(|m| m * SVector::<f64, 3>::new(rows[a].1, rows[b].1, rows[c].1))
                else {
                    continue;
                };
                let count = near(&v, sigma_px);
                if best.is_none_or(|(most, _)| count > most) {
                    best = Some((count, v));
                }
            }
        }
    }
    let (mut count, mut v) = best?;
    for _ in 0..4 {
        let mut normal = SMatrix::<f64, 3, 3>::identity() * 1e-6;
        let mut right = SVector::<f64, 3>::zeros();
        for (r, s) in rows.iter().filter(|(r, s)| (r.dot(&v) - s).abs() < sigma_px) {
            normal += r * r.transpose();
            right += r * *s;
        }
        v = normal.cholesky()?.solve(&right);
        count = near(&v, sigma_px);
    }
    // half of all pairs keep to one law, or there is none
    (2 * count > n).then(|| {
        let keeps = |(r, s): &(SVector<f64, 3>, f64)| (r.dot(&v) - s).abs() < sigma_px;
        let kept = pairs.iter().zip(&rows).filter(|(_, r)| keeps(r)).map(|(p, _)| *p).collect();
        ([v[0], v[1], v[2]], kept)
    })
}

impl FirstTurn {
    /// Takes the second turn's light away from cross-sections read about the first.
    ///
    /// Where the lines run into one, the core of the second is subtracted; where they stand apart, its samples are left
    /// out besides, since its width and wings are its own.
    pub(crate) fn take_away_second(&self, profiles: &mut [Profile], raster: Raster) {
        let lines = self.apart_px.iter().zip(&self.share);
        for (profile, (&apart, &share)) in profiles.iter_mut().zip(lines) {
            let second = self.second_height(profile, raster, apart, share).unwrap_or(0.0);
            let is_apart = apart.abs() >= RESOLVED * self.sigma_px;
            for (i, value) in profile.iter_mut().enumerate() {
                let d = raster.at(i);
                let u = (d - apart) / self.sigma_px;
                // from the dip between the lines on
                if is_apart && d * apart.signum() > 0.55 * apart.abs() && u * apart.signum() < CLEAR {
                    *value = f32::NAN;
                } else {
                    *value -= (second * (-0.5 * u * u).exp()) as f32;
                }
            }
        }
    }

    /// Height of the second line: free where the two stand apart, in the usual ratio to the first where they do not.
    fn second_height(&self, profile: &[f32], raster: Raster, apart: f64, share: f64) -> Option<f64> {
        let core = |d: f64| (-0.5 * (d / self.sigma_px).powi(2)).exp();
        let is_one = apart.abs() < RESOLVED * self.sigma_px;
        let mut sums = Normal::<4>::new();
        let reach = 4.0 * self.sigma_px;
        for (i, &value) in profile.iter().enumerate().filter(|(_, v)| v.is_finite()) {
            let d = raster.at(i);
            if d.abs() > reach && (d - apart).abs() > reach {
                continue;
            }
            let (one, two) = (core(d), core(d - apart));
            let row = if is_one { [one + share * two, 0.0, 1.0, d] } else { [one, two, 1.0, d] };
            sums.add(row, 1.0, f64::from(value));
        }
        let normal = sums.matrix() + SMatrix::<f64, 4, 4>::identity() * 1e-9;
        let s = normal.cholesky()?.solve(&sums.right());
        let second = if is_one { share * s[0] } else { s[1] };
        Some(second.max(0.0))
    }
}
