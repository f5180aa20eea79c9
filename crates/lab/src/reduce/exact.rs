//! The second answer: the posterior of the model as it is, beside the one of the model taken as straight.
//!
//! The draws of the first answer are weighed anew by what the exact model makes of them. A few tell whether the first answer
//! stands; where it does not, many are weighed and chosen again; where those too tell little, an adaptive walk does it.

use arcmass_fit::joint::{Joint, Prior};
use arcmass_fit::{Walk, metropolis};
use arcmass_quantity::{Caveat, print};
use nalgebra::{DMatrix, DVector};

use super::Solved;
use super::scatter::{self, Averaged};
use crate::desk::{Desk, LabError};
use crate::document::Posterior;
use crate::model::{Model, Unknown};

/// Draws that are always looked at.
const FEW: usize = 48;
/// Draws that are looked at where the few do not agree.
const MANY: usize = 2048;
/// The first answer stands where the exact weights leave this share of the few draws …
const SHARE: f64 = 0.5;
/// … and shift the mean of ln m by less than this, in its u …
const SHIFT: f64 = 0.15;
/// … and change its width by less than this part.
const WIDTH: f64 = 0.15;
/// Fewest independent draws that describe a posterior's 95 % interval; below, a walk is made.
const ENOUGH: f64 = 50.0;
/// Steps of the walk, and rows kept of it.
const STEPS: usize = 24_000;
const KEPT: usize = 4096;

/// How the second answer came out.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Exact {
    method: &'static str,
    draws: usize,
    effective_number: f64,
    shift_in_u: f64,
    agrees: bool,
}

/// Weights of draws, and what they do to ln m.
struct Weighed {
    weights: Vec<f64>,
    effective_number: f64,
    shift_in_u: f64,
    /// Standard deviation of ln m with the weights, over that without.
    widened: f64,
}

/// Compares both answers on a few draws.
pub(super) fn check(
    model: &Model<'_>,
    joint: &Joint,
    averaged: &Averaged,
    draws: &DMatrix<f64>,
    desk: &Desk,
) -> Exact {
    let both = Both { model, joint, place: model.unknowns.place(Unknown::LogMass).unwrap_or(0) };
    let few = both.weigh(draws, &averaged.factors(draws.nrows()), FEW, desk);
    let agrees = few.effective_number >= SHARE * few.weights.len() as f64
        && few.shift_in_u.abs() < SHIFT
        && (few.widened - 1.0).abs() < WIDTH;
    Exact { agrees, ..Exact::of("checked", &few) }
}

/// Where the few draws do not agree, the second answer takes the first one's place.
pub(super) fn settle(solved: &mut Solved<'_>, desk: &Desk) -> Result<(), LabError> {
    if solved.exact.agrees {
        return Ok(());
    }
    let (model, joint) = (&solved.bench.model, &solved.joint);
    let both = Both { model, joint, place: model.unknowns.place(Unknown::LogMass).unwrap_or(0) };
    let draws = &solved.draws;
    let many = both.weigh(draws, &solved.averaged.factors(draws.nrows()), MANY, desk);
    let (exact, draws) = if many.effective_number >= ENOUGH {
        (Exact::of("re-weighted", &many), chosen(draws, &many.weights))
    } else {
        let walk = both.walk(solved.averaged.factor(), desk)?;
        let moved: DMatrix<f64> =
            DMatrix::from_fn(walk.draws.nrows(), joint.estimate.len(), |row, column| {
                walk.draws[(row, column)] - joint.estimate[column]
            });
        let shift = moved.column(both.place).mean() - draws.column(both.place).mean();
        let exact = Exact {
            method: "walked",
            draws: STEPS,
            effective_number: walk.effective_number,
            shift_in_u: shift / joint.u(both.place),
            agrees: false,
        };
        (exact, moved)
    };
    let best = joint.estimate[both.place];
    solved.log_masses = draws.column(both.place).iter().map(|change| best + change).collect();
    (solved.exact, solved.draws) = (exact, draws);
    Ok(())
}

struct Both<'a, 'b> {
    model: &'a Model<'b>,
    joint: &'a Joint,
    place: usize,
}

impl Both<'_, '_> {
    /// Weighs the first `count` draws, on as many threads as there are workers.
    fn weigh(&self, draws: &DMatrix<f64>, factors: &[f64], count: usize, desk: &Desk) -> Weighed {
        let count = count.min(draws.nrows());
        let workers = desk.workers.clamp(1, 8);
        let log = |row: usize| self.log_weight(&draws.row(row).transpose(), factors.get(row).copied());
        let log = &log;
        let parts: Vec<Vec<f64>> = std::thread::scope(|scope| {
            let threads: Vec<_> = (1..workers)
                .map(|first| scope.spawn(move || (first..count).step_by(workers).map(log).collect()))
                .collect();
            let mut parts = vec![(0..count).step_by(workers).map(log).collect()];
            parts.extend(threads.into_iter().map(|thread| thread.join().unwrap_or_default()));
            parts
        });
        let part = |row: usize| parts.get(row % workers)?.get(row / workers).copied();
        let logs: Vec<f64> = (0..count).map(|row| part(row).unwrap_or(f64::NEG_INFINITY)).collect();
        self.weighed(draws, &logs)
    }

    fn weighed(&self, draws: &DMatrix<f64>, logs: &[f64]) -> Weighed {
        let top = logs.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        let raw: Vec<f64> =
            logs.iter().map(|log| if top.is_finite() { (log - top).exp() } else { 0.0 }).collect();
        let sum: f64 = raw.iter().sum();
        let weights: Vec<f64> = raw.iter().map(|w| if sum > 0.0 { w / sum } else { 0.0 }).collect();
        let squares: f64 = weights.iter().map(|w| w * w).sum();
        let plain = 1.0 / weights.len().max(1) as f64;
        let change = |(row, w): (usize, &f64)| (w - plain) * draws[(row, self.place)];
        let spread = |of: &dyn Fn(f64) -> f64| {
            let moment = |power: i32| -> f64 {
                let rows = weights.iter().enumerate();
                rows.map(|(row, w)| of(*w) * draws[(row, self.place)].powi(power)).sum()
            };
            (moment(2) - moment(1).powi(2)).max(0.0).sqrt()
        };
        let widened = spread(&|w| w) / spread(&|_| plain).max(1e-300);
        Weighed {
            effective_number: if squares > 0.0 { 1.0 / squares } else { 0.0 },
            shift_in_u: weights.iter().enumerate().map(change).sum::<f64>() / self.joint.u(self.place),
            widened,
            weights,
        }
    }

    /// Logarithm of exact over straight density at a difference from the estimate; −∞ where no ring follows.
    fn log_weight(&self, change: &DVector<f64>, factor: Option<f64>) -> f64 {
        let straight = &self.joint.at.residuals + &self.joint.at.jacobian * change;
        let Ok(exact) = self.model.residuals(&(&self.joint.estimate + change)) else {
            return f64::NEG_INFINITY;
        };
        let own = scatter::noises(self.model, 1.0);
        let drawn = scatter::noises(self.model, factor.unwrap_or(1.0));
        let runs = own.len();
        let scale = |row: usize| match (own.get(row), drawn.get(row)) {
            (Some(own), Some(drawn)) if row < runs => (own / drawn).powi(2),
            _ => 1.0,
        };
        let rows = exact.iter().zip(straight.iter()).enumerate();
        let log = rows.map(|(row, (e, s))| -0.5 * (e * e - s * s) * scale(row)).sum::<f64>();
        if log.is_nan() { f64::NEG_INFINITY } else { log }
    }

    /// A walk through the exact posterior, the factor on the diameters' scatter held at its typical value.
    fn walk(&self, factor: f64, desk: &Desk) -> Result<Walk, LabError> {
        let own = scatter::noises(self.model, 1.0);
        let typical = scatter::noises(self.model, factor);
        let log_density = |theta: &DVector<f64>| -> f64 {
            let prior: f64 = self.joint.priors.iter().zip(theta.iter()).map(|(p, x)| log_prior(*p, *x)).sum();
            if prior == f64::NEG_INFINITY {
                return prior;
            }
            let Ok(residuals) = self.model.residuals(theta) else { return f64::NEG_INFINITY };
            let scaled = |(row, r): (usize, &f64)| match (own.get(row), typical.get(row)) {
                (Some(own), Some(typical)) => (r * own / typical).powi(2),
                _ => r * r,
            };
            prior - 0.5 * residuals.iter().enumerate().map(scaled).sum::<f64>()
        };
        let start = inside(&self.joint.priors, &self.joint.estimate);
        metropolis(&start, &self.joint.covariance, log_density, STEPS, KEPT, &mut desk.stream(6))
            .map_err(|fault| LabError::Internal(format!("the posterior can't be sampled: {fault}")))
    }
}

fn log_prior(prior: Prior, x: f64) -> f64 {
    match prior {
        Prior::Flat => 0.0,
        Prior::Normal { mean, u } => -0.5 * ((x - mean) / u).powi(2),
        Prior::Limits { mean, half_width } if (x - mean).abs() <= half_width => 0.0,
        Prior::Limits { .. } => f64::NEG_INFINITY,
    }
}

/// The estimate, brought within the limits.
fn inside(priors: &[Prior], estimate: &DVector<f64>) -> DVector<f64> {
    DVector::from_fn(estimate.len(), |i, _| match priors.get(i) {
        Some(Prior::Limits { mean, half_width }) => {
            estimate[i].clamp(mean - 0.98 * half_width, mean + 0.98 * half_width)
        }
        _ => estimate[i],
    })
}

/// As many draws again, chosen in proportion to their weights by even steps.
fn chosen(draws: &DMatrix<f64>, weights: &[f64]) -> DMatrix<f64> {
    let count = weights.len();
    let mut rows = Vec::with_capacity(count);
    let mut reached = 0.0;
    for (row, weight) in weights.iter().enumerate() {
        reached += weight * count as f64;
        while (rows.len() as f64 + 0.5) < reached && rows.len() < count {
            rows.push(row);
        }
    }
    draws.select_rows(&rows)
}

impl Exact {
    fn of(method: &'static str, weighed: &Weighed) -> Self {
        Self {
            method,
            draws: weighed.weights.len(),
            effective_number: weighed.effective_number,
            shift_in_u: weighed.shift_in_u,
            agrees: false,
        }
    }

    /// Whether the exact posterior's draws have taken the straight one's place.
    pub(super) fn is_in_force(&self) -> bool {
        self.method != "checked"
    }

    pub(super) fn entry(&self) -> Posterior {
        Posterior {
            method: self.method.to_owned(),
            draws: self.draws,
            effective_number: self.effective_number,
            shift_in_u: self.shift_in_u,
            agrees: self.agrees,
        }
    }

    /// Said where both answers differ.
    pub(super) fn caveat(&self) -> Option<Caveat> {
        self.is_in_force().then(|| {
            Caveat::new(
                "answers-differ",
                format!(
                    "the model is not linear within its uncertainty: the exact posterior lies {} u from the linearised one; the mass as stated \
                     is that of the exact one ({} independent draws)",
                    print::fixed(self.shift_in_u, -2),
                    print::significant(self.effective_number, 2)
                ),
                "quote the interval rather than a standard uncertainty; reducing the largest line of the budget brings both answers together",
            )
        })
    }
}
