//! A random walk through a posterior that learns its step from where it has been.

use nalgebra::{DMatrix, DVector};
use rand::Rng;

use crate::error::FitError;
use crate::truncated::{standard_normal, uniform};

/// What a walk left.
#[derive(Debug, Clone, PartialEq)]
pub struct Walk {
    /// One row a draw, one column a parameter; equal weights.
    pub draws: DMatrix<f64>,
    /// Independent draws that would tell as much: of the slowest parameter.
    pub effective_number: f64,
    /// Share of steps taken.
    pub accepted_share: f64,
}

/// Share of the steps that only teach the walk and are left out.
const LEARNING: f64 = 0.25;
/// Steps between two lessons.
const LESSON: usize = 200;

/// Walks `steps` steps and keeps about `kept` places of them, evenly spaced.
///
/// Each step is normal with (2.38²/d) times the covariance seen so far, and no more is learnt after the first quarter, so that
/// what is kept is a plain Metropolis walk.
///
/// - **Takes** a start where the density is above 0, a first guess of the covariance, and the logarithm of the density (−∞ where
///   it is 0).
/// - **Fails** for fewer than 1000 steps, a covariance that is not positive definite, or a start of density 0.
/// - **Source** Haario, Saksman, Tamminen, Bernoulli 7 (2001) 223.
pub fn metropolis(
    start: &DVector<f64>,
    covariance: &DMatrix<f64>,
    log_density: impl Fn(&DVector<f64>) -> f64,
    steps: usize,
    kept: usize,
    rng: &mut impl Rng,
) -> Result<Walk, FitError> {
    if steps < 1000 {
        return Err(FitError::TooFewPoints { fit: "a walk (counting steps)", needed: 1000, found: steps });
    }
    let d = start.len().max(1) as f64;
    let root = |covariance: DMatrix<f64>| {
        covariance.cholesky().map(|triangle| triangle.unpack() * (2.38 / d.sqrt()))
    };
    let singular = || FitError::Singular {
        fit: "a walk's step",
        hint: "its covariance must be positive definite".to_owned(),
    };
    let mut stride = root(covariance.clone()).ok_or_else(singular)?;
    let (mut place, mut log) = (start.clone(), log_density(start));
    if !log.is_finite() {
        let parameters = start.as_slice().to_vec();
        return Err(FitError::ModelNotFinite {
            what: "the log-density at the start",
            value: log,
            parameters,
        });
    }
    let learning = (LEARNING * steps as f64) as usize;
    let mut history: Vec<DVector<f64>> = Vec::with_capacity(steps);
    // the step is also made shorter or longer until about a quarter of all steps is taken
    let (mut reach, mut taken, mut taken_lately) = (1.0_f64, 0_usize, 0_usize);
    for step in 1..=steps {
        let noise = DVector::from_fn(start.len(), |_, _| standard_normal(rng));
        let next = &place + &stride * noise * reach;
        let next_log = log_density(&next);
        if uniform(rng).ln() < next_log - log {
            (place, log) = (next, next_log);
            taken_lately += 1;
            taken += usize::from(step > learning);
        }
        history.push(place.clone());
        if step <= learning && step % LESSON == 0 {
            reach *= (taken_lately as f64 / LESSON as f64 / 0.25).clamp(0.5, 2.0).sqrt();
            taken_lately = 0;
            if step >= 5 * LESSON {
                stride = learnt(history.get(step / 2..).unwrap_or_default(), covariance)
                    .and_then(root)
                    .unwrap_or(stride);
            }
        }
    }
    let walked = history.get(learning..).unwrap_or_default();
    let every = walked.len().div_ceil(kept.max(1)).max(1);
    let rows: Vec<_> = walked.iter().step_by(every).map(|place| place.transpose()).collect();
    Ok(Walk {
        draws: DMatrix::from_rows(&rows),
        effective_number: effective(walked),
        accepted_share: taken as f64 / walked.len().max(1) as f64,
    })
}

/// Covariance of the places seen, with a ten-thousandth of the first guess so that it stays positive.
fn learnt(places: &[DVector<f64>], first: &DMatrix<f64>) -> Option<DMatrix<f64>> {
    let n = places.len() as f64;
    let dimensions = first.nrows();
    if places.len() < 4 * dimensions {
        return None;
    }
    let mean = places.iter().fold(DVector::zeros(dimensions), |sum, place| sum + place) / n;
    let mut covariance = first * 1e-4;
    for place in places {
        let off = place - &mean;
        covariance.ger(1.0 / n, &off, &off, 1.0);
    }
    Some(covariance)
}

/// Steps over twice the integrated autocorrelation time of the slowest parameter (batch means of √n steps).
fn effective(places: &[DVector<f64>]) -> f64 {
    let n = places.len();
    let batch = (n as f64).sqrt() as usize;
    let dimensions = places.first().map_or(0, |place| place.len());
    if batch < 2 || dimensions == 0 {
        return 0.0;
    }
    let of = |j: usize| {
        let mean = places.iter().map(|p| p[j]).sum::<f64>() / n as f64;
        let variance = places.iter().map(|p| (p[j] - mean).powi(2)).sum::<f64>() / n as f64;
        let means: Vec<f64> = places
            .chunks_exact(batch)
            .map(|part| part.iter().map(|p| p[j]).sum::<f64>() / batch as f64)
            .collect();
        let between = means.iter().map(|m| (m - mean).powi(2)).sum::<f64>() / means.len().max(1) as f64;
        if between > 0.0 { n as f64 * variance / (batch as f64 * between) } else { 0.0 }
    };
    (0..dimensions).map(of).fold(n as f64, f64::min)
}

#[cfg(test)]
mod tests {
    use super::*;
    use rand::SeedableRng;

    #[test]
    fn a_bent_density_is_followed_where_its_straight_guess_is_far_off() {
        // x normal(0, 1), y = x² + normal(0, 0.3): mean of y is 1, its variance 2 + 0.09
        let seed = 5;
        let mut rng = rand_pcg::Pcg64::seed_from_u64(seed);
        let log = |p: &DVector<f64>| -0.5 * p[0] * p[0] - 0.5 * ((p[1] - p[0] * p[0]) / 0.3).powi(2);
        let guess = DMatrix::from_diagonal(&DVector::from_vec(vec![1.0, 0.09]));
        let walk = metropolis(&DVector::zeros(2), &guess, log, 60_000, 10_000, &mut rng).unwrap();
        let y = walk.draws.column(1);
        assert!(walk.effective_number > 300.0, "seed {seed}: {} effective", walk.effective_number);
        let error = (2.09 / walk.effective_number).sqrt();
        assert!((y.mean() - 1.0).abs() < 4.0 * error, "seed {seed}: mean {} ± {error}", y.mean());
        assert!((y.variance() / 2.09 - 1.0).abs() < 0.3, "seed {seed}: variance {}", y.variance());
        assert!((0.1..0.6).contains(&walk.accepted_share), "{}", walk.accepted_share);
    }

    #[test]
    fn limits_are_never_left() {
        let mut rng = rand_pcg::Pcg64::seed_from_u64(6);
        let log = |p: &DVector<f64>| if p[0].abs() < 1.0 { 0.0 } else { f64::NEG_INFINITY };
        let walk =
            metropolis(&DVector::zeros(1), &DMatrix::identity(1, 1), log, 20_000, 5000, &mut rng).unwrap();
        let x = walk.draws.column(0);
        assert!(x.iter().all(|x| x.abs() < 1.0));
        assert!((x.variance() - 1.0 / 3.0).abs() < 0.03, "{}", x.variance());
        assert!(
            metropolis(&DVector::from_element(1, 2.0), &DMatrix::identity(1, 1), log, 2000, 10, &mut rng)
                .is_err()
        );
    }
}
