//! Mean, standard deviation and quantiles of many draws, without sorting them.

use super::{Kernel, LANES, widest};
use crate::error::{FitError, all_finite};

/// Mean, standard deviation and quantiles of many draws, without sorting them.
#[derive(Debug, Clone, PartialEq)]
pub struct Moments {
    /// Mean.
    pub mean: f64,
    /// Standard deviation.
    pub sd: f64,
    /// In the order of the probabilities asked for; Hazen's, as [`crate::weighted_quantiles`] gives them.
    pub quantiles: Vec<f64>,
}

/// Buckets into which draws are sorted before the one that holds a quantile is looked into.
const BUCKETS: usize = 4096;

/// Mean, standard deviation and quantiles.
///
/// - **Fails** with fewer than 2 draws, draws not finite, or a probability outside 0 to 1.
pub fn moments(draws: &[f64], probabilities: &[f64]) -> Result<Moments, FitError> {
    if draws.len() < 2 {
        return Err(FitError::TooFewPoints { fit: "a summary of draws", needed: 2, found: draws.len() });
    }
    if let Some(&value) = probabilities.iter().find(|p| !(0.0..=1.0).contains(*p)) {
        return Err(FitError::BadProbability { what: "a quantile's probability", value });
    }
    let sums = widest(Sums { draws });
    all_finite("draw", [sums.sum, sums.squares])?;
    let n = draws.len() as f64;
    let off = sums.sum / n;
    let quantiles = quantiles(draws, &sums, probabilities);
    Ok(Moments {
        mean: sums.origin + off,
        sd: ((sums.squares - n * off * off).max(0.0) / (n - 1.0)).sqrt(),
        quantiles,
    })
}

struct Sums<'a> {
    draws: &'a [f64],
}

/// Sums about the first draw, which keeps the digits of draws that are nearly alike.
struct Summed {
    origin: f64,
    sum: f64,
    squares: f64,
    low: f64,
    high: f64,
}

impl Kernel for Sums<'_> {
    type Output = Summed;
    #[inline(always)]
    fn run(self) -> Summed {
        let origin = self.draws.first().copied().unwrap_or(0.0);
        let (mut sum, mut squares) = ([0.0; LANES], [0.0; LANES]);
        let (mut low, mut high) = ([origin; LANES], [origin; LANES]);
        let mut one = |i: usize, v: f64| {
            let d = v - origin;
            sum[i] += d;
            squares[i] = d.mul_add(d, squares[i]);
            low[i] = if v < low[i] { v } else { low[i] };
            high[i] = if v > high[i] { v } else { high[i] };
        };
        let parts = self.draws.chunks_exact(LANES);
        let rest = parts.remainder();
        for part in parts {
            for (i, v) in part.iter().enumerate() {
                one(i, *v);
            }
        }
        for (i, v) in rest.iter().enumerate() {
            one(i, *v);
        }
        Summed {
            origin,
            sum: sum.iter().sum(),
            squares: squares.iter().sum(),
            low: low.iter().copied().fold(f64::INFINITY, f64::min),
            high: high.iter().copied().fold(f64::NEG_INFINITY, f64::max),
        }
    }
}

fn quantiles(draws: &[f64], sums: &Summed, probabilities: &[f64]) -> Vec<f64> {
    let width = sums.high - sums.low;
    if width <= 0.0 || probabilities.is_empty() {
        return vec![sums.low; probabilities.len()];
    }
    let scale = (BUCKETS as f64 - 0.5) / width;
    let bucket = |v: f64| (((v - sums.low) * scale) as usize).min(BUCKETS - 1);
    let mut counts = vec![0_u32; BUCKETS];
    let mut places = vec![0_u16; draws.len()];
    for (place, v) in places.iter_mut().zip(draws) {
        *place = bucket(*v) as u16;
    }
    for place in &places {
        counts[usize::from(*place)] += 1;
    }
    // ranks needed: the two draws on both sides of each quantile
    let last = draws.len() - 1;
    let at = |p: f64| (p * draws.len() as f64 - 0.5).clamp(0.0, last as f64);
    let mut wanted: Vec<usize> = probabilities
        .iter()
        .flat_map(|p| [at(*p).floor() as usize, (at(*p).floor() as usize + 1).min(last)])
        .collect();
    wanted.sort_unstable();
    wanted.dedup();
    let mut is_wanted = vec![false; BUCKETS];
    let mut starts = Vec::new();
    let mut passed = 0_usize;
    for (own, count) in counts.iter().enumerate() {
        let next = passed + *count as usize;
        if wanted.iter().any(|rank| (passed..next).contains(rank)) {
            is_wanted[own] = true;
            starts.push((own, passed));
        }
        passed = next;
    }
    let mut held: Vec<Vec<f64>> = vec![Vec::new(); starts.len()];
    let slot: Vec<usize> =
        (0..BUCKETS).map(|own| starts.iter().position(|s| s.0 == own).unwrap_or(0)).collect();
    for (place, v) in places.iter().zip(draws) {
        let own = usize::from(*place);
        if is_wanted[own] {
            held[slot[own]].push(*v);
        }
    }
    held.iter_mut().for_each(|part| part.sort_unstable_by(f64::total_cmp));
    let ranked = |rank: usize| {
        let inside =
            starts.iter().zip(&held).find_map(|((_, start), part)| part.get(rank.checked_sub(*start)?));
        inside.copied().unwrap_or(sums.high)
    };
    probabilities
        .iter()
        .map(|p| {
            let below = at(*p).floor();
            let (low, high) = (ranked(below as usize), ranked((below as usize + 1).min(last)));
            low + (at(*p) - below) * (high - low)
        })
        .collect()
}
