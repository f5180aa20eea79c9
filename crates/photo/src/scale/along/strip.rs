//! The light along a scale laid straight, and how much of a rhythm it holds.

use super::{Line, PERIOD_MM, place};
use crate::glass::BulbBefore;
use crate::picture::Picture;

/// Half-width of the strip about the line through the labels, height of a block of it, millimetres, and its rows at most.
const HALF_MM: f64 = 13.0;
const BLOCK_MM: f64 = 2.5;
const MOST_ROWS: usize = 44;
/// Samples along the strip at most, and how far it reaches beyond the labels, periods.
const MOST_SAMPLES: usize = 900;
const BEYOND: f64 = 0.5;
/// A part of the period must have so many pixels to be seen.
const LEAST_PART_PX: f64 = 2.6;
/// Other rhythms that tell a block's noise, in parts of the one looked for, without its own neighbourhood, and their step in cycles.
const OTHERS: [f64; 2] = [0.55, 1.6];
const OWN: [f64; 2] = [0.87, 1.15];
const OTHERS_STEP: f64 = 0.5;
const MOST_OTHERS: f64 = 80.0;
/// Least level, in parts of what evened noise has: of a strip without any light or noise nothing is said.
const LEAST_LEVEL: f64 = 0.01;
/// From here on the exponential alone counts.
const FAR: f32 = 40.0;
/// Chance that a block shows a part of the rhythm, and the power it then has over the noise (our judgement).
const CHANCE: f32 = 0.2;
const POWER: f32 = 10.0;
/// Power from which more counts less: one loud block does not outvote the others.
const LOUD: f32 = 12.0;
/// Blocks and channels are not independent.
const INDEPENDENT: f64 = 0.5;
/// Share of the strip over which its ends fade.
const TAPER: f64 = 0.1;

/// Blocks are padded to so many, which the processor multiplies at once.
const LANES: usize = 8;
/// The finest part of a period that is ever looked for.
pub(super) const FINEST: usize = 10;

/// Light along the scale, block by block, evened.
pub(super) struct Strip {
    /// Part of the way between the labels of each sample.
    t: Vec<f64>,
    /// Sample by sample, all blocks of it.
    values: Vec<f32>,
    blocks: usize,
    /// Periods between the labels, and pixels of one.
    pub(super) periods: f64,
    period_px: f64,
}

impl Strip {
    pub(super) fn read(picture: &Picture, line: &Line, bulb: Option<&BulbBefore>) -> Self {
        let scale = line.length_px / line.span_mm.abs();
        let periods = line.span_mm.abs() / PERIOD_MM;
        let beyond = BEYOND / periods;
        let wide = 1.0 + 2.0 * beyond;
        let count = (wide * line.length_px).ceil().clamp(64.0, MOST_SAMPLES as f64) as usize;
        let t: Vec<f64> = (0..count).map(|i| -beyond + wide * i as f64 / (count - 1) as f64).collect();
        let rows = ((2.0 * HALF_MM * scale) as usize).clamp(6, MOST_ROWS);
        let across = [-line.way[1] / line.length_px, line.way[0] / line.length_px];
        let half_period = (count as f64 / (wide * periods)).round().max(3.0) as usize;
        let channels = if picture.channels() == 3 { 3 } else { 1 };
        let per_block = (BLOCK_MM / (2.0 * HALF_MM) * rows as f64).round().max(1.0) as usize;
        let mut blocks = Vec::new();
        for block in (0..rows).collect::<Vec<_>>().chunks(per_block) {
            let mut sums = vec![vec![0.0_f32; count]; channels];
            let mut seen = vec![true; count];
            for row in block {
                let off = HALF_MM * scale * (2.0 * *row as f64 / (rows - 1) as f64 - 1.0);
                for (i, t) in t.iter().enumerate() {
                    let straight = [0, 1].map(|k| line.from[k] + t * line.way[k] + off * across[k]);
                    let px = bulb.map_or(Some(straight), |bulb| bulb.seen_at(straight));
                    let Some([x, y]) = px else {
                        seen[i] = false;
                        continue;
                    };
                    let light = picture.sample_all(x, y);
                    for (sum, light) in sums.iter_mut().zip(light) {
                        sum[i] += light.max(0.0).sqrt();
                    }
                }
            }
            blocks.extend(sums.iter().map(|sum| evened(sum, &seen, half_period)));
        }
        let padded = blocks.len().div_ceil(LANES) * LANES;
        let mut values = vec![0.0; padded * count];
        for (k, block) in blocks.iter().enumerate() {
            block.iter().enumerate().for_each(|(i, value)| values[i * padded + k] = *value);
        }
        Self { t, values, blocks: padded, periods, period_px: PERIOD_MM * scale }
    }

    /// Whether a part of the period has pixels enough, and turns often enough between the labels.
    pub(super) fn shows(&self, part: usize) -> bool {
        self.period_px / part as f64 >= LEAST_PART_PX && self.periods * part as f64 >= 2.9
    }

    /// Power of each block in parts of the period, part by part.
    fn powers(&self, trial: [f64; 2], parts: &[usize]) -> Vec<f32> {
        let n = self.blocks;
        let finest = parts.iter().copied().max().unwrap_or(1);
        let mut sums = vec![0.0_f32; 2 * n * parts.len()];
        for (t, row) in self.t.iter().zip(self.values.chunks_exact(n)) {
            let turn = (self.periods * place(trial, *t)).rem_euclid(1.0) as f32;
            let (sin, cos) = (std::f32::consts::TAU * turn).sin_cos();
            let (mut s, mut c, mut next) = (0.0_f32, 1.0_f32, 0);
            for part in 1..=finest {
                (s, c) = (s * cos + c * sin, c * cos - s * sin);
                if parts.get(next) == Some(&part) {
                    let (sines, cosines) = sums[2 * n * next..2 * n * (next + 1)].split_at_mut(n);
                    for ((value, a), b) in row.iter().zip(sines).zip(cosines) {
                        *a += value * s;
                        *b += value * c;
                    }
                    next += 1;
                }
            }
        }
        let of_part = |both: &[f32]| -> Vec<f32> {
            let (sines, cosines) = both.split_at(n);
            sines.iter().zip(cosines).map(|(s, c)| s * s + c * c).collect()
        };
        sums.chunks_exact(2 * n).flat_map(of_part).collect()
    }

    /// Mean power of each block at other rhythms than the ones looked for, part by part.
    pub(super) fn levels(&self, parts: &[usize]) -> Vec<f32> {
        parts.iter().flat_map(|part| self.levels_of(*part)).collect()
    }

    fn levels_of(&self, part: usize) -> Vec<f32> {
        let cycles = part as f64 * self.periods;
        let count = ((OTHERS[1] - OTHERS[0]) * cycles / OTHERS_STEP).ceil().min(MOST_OTHERS) as usize;
        let factors = (0..=count).map(|k| OTHERS[0] + (OTHERS[1] - OTHERS[0]) * k as f64 / count as f64);
        let at: Vec<Vec<f32>> = factors
            .filter(|factor| !(OWN[0]..OWN[1]).contains(factor))
            .map(|factor| self.powers([factor - 1.0, 0.0], &[part]))
            .collect();
        (0..self.blocks)
            .map(|block| {
                let own = at.iter().filter_map(|powers| powers.get(block)).map(|power| f64::from(*power));
                // of powers of noise the median is ln 2 of the mean
                let level = crate::ring_curve::median(own.collect()) / std::f64::consts::LN_2;
                level.max(LEAST_LEVEL * self.t.len() as f64) as f32
            })
            .collect()
    }

    /// Logarithm of the odds that the strip holds this rhythm, to none.
    pub(super) fn evidence(&self, trial: [f64; 2], parts: &[usize], levels: &[f32]) -> f64 {
        let powers = self.powers(trial, parts);
        let told = powers.iter().zip(levels).filter(|(_, level)| **level > 0.0);
        INDEPENDENT * told.map(|(power, level)| f64::from(odds(power / level))).sum::<f64>()
    }
}

/// Logarithm of the odds that a power, in units of the noise's mean, comes from a rhythm, when few blocks show one: noise has
/// powers e^−z, a rhythm of random size e^−z/(1 + s)/(1 + s).
fn odds(power: f32) -> f32 {
    let z = if power > LOUD { LOUD * (1.0 + (power / LOUD).ln()) } else { power };
    let gain = z * POWER / (1.0 + POWER);
    if gain > FAR {
        gain + (CHANCE / (1.0 + POWER)).ln()
    } else {
        (1.0 - CHANCE + CHANCE * gain.exp() / (1.0 + POWER)).ln()
    }
}

/// Light less its mean over two periods, over its scatter there: dim and bright pieces alike. What is not seen is nought.
fn evened(light: &[f32], seen: &[bool], half: usize) -> Vec<f32> {
    let weight: Vec<f32> = seen.iter().map(|seen| f32::from(u8::from(*seen))).collect();
    let mean = |values: &[f32]| {
        let sums = moving_sum(values, half);
        let counts = moving_sum(&weight, half);
        sums.iter().zip(counts).map(|(s, c)| s / c.max(1.0)).collect::<Vec<f32>>()
    };
    let held: Vec<f32> = light.iter().zip(&weight).map(|(v, w)| v * w).collect();
    let flat: Vec<f32> = held.iter().zip(mean(&held)).zip(&weight).map(|((v, m), w)| w * (v - m)).collect();
    let squares: Vec<f32> = flat.iter().map(|v| v * v).collect();
    const LEAST: f32 = 1e-7;
    let taper = (TAPER * light.len() as f64).max(1.0) as f32;
    let last = light.len() as f32 - 1.0;
    flat.iter()
        .zip(mean(&squares))
        .enumerate()
        .map(|(i, (v, square))| {
            let from_end = (i as f32).min(last - i as f32);
            let fade = 0.5 - 0.5 * (std::f32::consts::PI * (from_end / taper).min(1.0)).cos();
            fade * (v / (square + LEAST).sqrt()).clamp(-3.0, 3.0)
        })
        .collect()
}

/// Sum over `half` samples to each side.
fn moving_sum(values: &[f32], half: usize) -> Vec<f32> {
    let mut sums = vec![0.0_f64];
    for value in values {
        sums.push(sums.last().copied().unwrap_or(0.0) + f64::from(*value));
    }
    (0..values.len())
        .map(|i| (sums[(i + half + 1).min(values.len())] - sums[i.saturating_sub(half)]) as f32)
        .collect()
}
