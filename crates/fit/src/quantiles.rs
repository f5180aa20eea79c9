//! Quantiles and coverage intervals of draws, with or without weights.

use crate::error::{FitError, all_finite, none_negative, same_length};

/// Quantiles of (weighted) draws at the given probabilities, in the draws' unit.
///
/// The sorted draw i stands at the middle of its own share of the total weight, `(C_i − w_i/2) / C`, with straight
/// lines between; beyond the first and last draw the value is held. Equal weights give Hazen's quantiles.
///
/// - **Takes** one value a draw; one weight a draw, 0 or above, or none for equal weights.
/// - **Gives** one value for each probability, in their order.
/// - **Fails** on an empty list, lists of unequal length, numbers that are not finite, weights that are all 0, or a
///   probability outside 0 to 1.
pub fn weighted_quantiles(
    values: &[f64],
    weights: Option<&[f64]>,
    probabilities: &[f64],
) -> Result<Vec<f64>, FitError> {
    if let Some(&value) = probabilities.iter().find(|p| !(0.0..=1.0).contains(*p)) {
        return Err(FitError::BadProbability { what: "a quantile's probability", value });
    }
    let ladder = Ladder::new(values, weights)?;
    Ok(probabilities.iter().map(|p| ladder.at(*p)).collect())
}

/// Interval that holds the probability and leaves equal shares of the draws on both sides.
///
/// - **Fails** as [`weighted_quantiles`] does, and for a probability that is not strictly between 0 and 1.
pub fn equal_tailed_interval(
    values: &[f64],
    weights: Option<&[f64]>,
    probability: f64,
) -> Result<[f64; 2], FitError> {
    inside("the interval's probability", probability)?;
    let tail = (1.0 - probability) / 2.0;
    let ladder = Ladder::new(values, weights)?;
    Ok([ladder.at(tail), ladder.at(1.0 - tail)])
}

/// Shortest interval that holds the given share of the draws (equal weights).
///
/// - **Fails** on an empty list, numbers that are not finite, or a probability not strictly between 0 and 1.
/// - **Source** JCGM 101:2008, 7.7.4.
pub fn shortest_interval(values: &[f64], probability: f64) -> Result<[f64; 2], FitError> {
    inside("the interval's probability", probability)?;
    let sorted = sorted(values)?;
    Ok(shortest_of_sorted(&sorted, probability))
}

pub(crate) fn inside(what: &'static str, value: f64) -> Result<(), FitError> {
    if value > 0.0 && value < 1.0 { Ok(()) } else { Err(FitError::BadProbability { what, value }) }
}

fn sorted(values: &[f64]) -> Result<Vec<f64>, FitError> {
    if values.is_empty() {
        return Err(FitError::TooFewPoints { fit: "a quantile", needed: 1, found: 0 });
    }
    all_finite("draw", values.iter().copied())?;
    let mut sorted = values.to_vec();
    sorted.sort_unstable_by(f64::total_cmp);
    Ok(sorted)
}

/// Shortest interval over sorted, finite draws.
pub(crate) fn shortest_of_sorted(sorted: &[f64], probability: f64) -> [f64; 2] {
    let n = sorted.len();
    let held = ((probability * n as f64 + 0.5) as usize).clamp(1, n.saturating_sub(1).max(1));
    let pairs = sorted.iter().zip(sorted.iter().skip(held));
    let best = pairs.min_by(|a, b| (a.1 - a.0).total_cmp(&(b.1 - b.0)));
    let only = sorted.first().copied().unwrap_or(0.0);
    best.map_or([only, only], |(low, high)| [*low, *high])
}

/// Equal-weight quantile of sorted, finite draws.
pub(crate) fn quantile_of_sorted(sorted: &[f64], probability: f64) -> f64 {
    let at = probability * sorted.len() as f64 - 0.5;
    let below = at.floor().max(0.0);
    let low = sorted.get(below as usize).or(sorted.last()).copied().unwrap_or(0.0);
    let high = sorted.get(below as usize + 1).copied().unwrap_or(low);
    low + (at - below).clamp(0.0, 1.0) * (high - low)
}

/// Sorted draws with the cumulative share at which each stands.
struct Ladder {
    values: Vec<f64>,
    places: Vec<f64>,
}

impl Ladder {
    fn new(values: &[f64], weights: Option<&[f64]>) -> Result<Self, FitError> {
        let Some(weights) = weights else {
            let values = sorted(values)?;
            let n = values.len() as f64;
            let places = (0..values.len()).map(|i| (i as f64 + 0.5) / n).collect();
            return Ok(Self { values, places });
        };
        same_length("weight", "draws", values.len(), weights.len())?;
        none_negative("weight", weights.iter().copied())?;
        all_finite("draw", values.iter().copied())?;
        let total: f64 = weights.iter().sum();
        if total <= 0.0 || !total.is_finite() {
            return Err(FitError::BadSetting {
                what: "the sum of weights",
                accepted: "finite and above 0",
                found: total,
            });
        }
        let mut rows: Vec<(f64, f64)> = values.iter().copied().zip(weights.iter().copied()).collect();
        rows.retain(|(_, w)| *w > 0.0);
        rows.sort_unstable_by(|a, b| a.0.total_cmp(&b.0));
        let mut passed = 0.0;
        let mut place = |w: f64| {
            passed += w;
            (passed - w / 2.0) / total
        };
        let places = rows.iter().map(|(_, w)| place(*w)).collect();
        Ok(Self { values: rows.into_iter().map(|(v, _)| v).collect(), places })
    }

    fn at(&self, probability: f64) -> f64 {
        let above = self.places.partition_point(|p| *p < probability);
        let get = |i: usize| Some((*self.places.get(i)?, *self.values.get(i)?));
        match (above.checked_sub(1).and_then(get), get(above)) {
            (Some((p0, v0)), Some((p1, v1))) if p1 > p0 => v0 + (v1 - v0) * (probability - p0) / (p1 - p0),
            (_, Some((_, v))) | (Some((_, v)), None) => v,
            (None, None) => 0.0,
        }
    }
}
