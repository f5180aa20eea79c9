//! Levenberg–Marquardt with priors and robust weights for the camera's dozen unknowns.

use nalgebra::{DMatrix, DVector};

/// Tukey's biweight keeps 95 % efficiency on normal errors with this cut (Holland, Welsch 1977).
pub(crate) const TUKEY_CUT: f64 = 4.685;
/// Median absolute deviation to standard deviation of a normal distribution.
const MAD_TO_SD: f64 = 1.4826;

/// A normal prior: centre and standard uncertainty.
pub(crate) type Prior = (f64, f64);

/// The solution: unknowns, their covariance, weights and residuals of the observations.
#[derive(Debug, Clone)]
pub(crate) struct Solved {
    pub(crate) unknowns: DVector<f64>,
    pub(crate) covariance: DMatrix<f64>,
    pub(crate) weights: Vec<f64>,
    pub(crate) residuals: Vec<f64>,
    /// Robust standard deviation of the residuals, which are in units of their own uncertainty.
    pub(crate) scale: f64,
    pub(crate) cost: f64,
}

/// Residuals in units of their standard uncertainty; none outside the model.
pub(crate) type Model<'a> = dyn Fn(&DVector<f64>) -> Option<Vec<f64>> + 'a;

/// Minimises `Σ w r² + Σ ((p − prior) / u)²` in up to `steps` steps, re-weighting `rounds` times; the last `stated`
/// residuals keep their weight.
pub(crate) fn solve(
    model: &Model<'_>,
    start: &DVector<f64>,
    priors: &[Prior],
    stated: usize,
    [steps, rounds]: [usize; 2],
) -> Option<Solved> {
    let mut at = start.clone();
    let mut residuals = model(&at)?;
    let mut weights = vec![1.0; residuals.len()];
    let mut scale = spread(&residuals);
    for round in 0..=rounds {
        // the first weights stand on a rough start: let them reject only what is hopeless
        let cut = TUKEY_CUT * scale.max(0.3) * if round == 0 { 6.0 } else { 1.0 };
        weights = residuals.iter().map(|r| tukey(r / cut)).collect();
        weights.iter_mut().rev().take(stated).for_each(|w| *w = 1.0);
        (at, residuals) = descend(model, at, priors, &weights, steps)?;
        scale = spread(&residuals);
    }
    let jacobian = jacobian(model, &at, &residuals, priors)?;
    let mut information = normal(&jacobian, &weights) / scale.max(1.0).powi(2);
    add_priors(&mut information, priors);
    let covariance = information.try_inverse()?;
    let cost = cost(&residuals, &weights, &at, priors);
    Some(Solved { unknowns: at, covariance, weights, residuals, scale, cost })
}

/// Weight of a residual in units of the cut.
pub(crate) fn tukey(u: f64) -> f64 {
    if u.abs() < 1.0 { (1.0 - u * u).powi(2) } else { 0.0 }
}

/// Robust standard deviation of residuals about 0.
pub(crate) fn spread(residuals: &[f64]) -> f64 {
    let mut all: Vec<f64> = residuals.iter().map(|r| r.abs()).collect();
    let half = all.len() / 2;
    if all.is_empty() {
        return 1.0;
    }
    MAD_TO_SD * *all.select_nth_unstable_by(half, f64::total_cmp).1
}

fn cost(residuals: &[f64], weights: &[f64], at: &DVector<f64>, priors: &[Prior]) -> f64 {
    let data: f64 = residuals.iter().zip(weights).map(|(r, w)| w * r * r).sum();
    data + at.iter().zip(priors).map(|(p, (m, u))| ((p - m) / u).powi(2)).sum::<f64>()
}

/// Step for a derivative: a small part of what the prior leaves open, and never below rounding.
fn difference(prior: &Prior) -> f64 {
    (1e-5 * prior.1).clamp(1e-9, 1e-3)
}

fn jacobian(model: &Model<'_>, at: &DVector<f64>, here: &[f64], priors: &[Prior]) -> Option<DMatrix<f64>> {
    let mut j = DMatrix::zeros(here.len(), at.len());
    for (k, prior) in priors.iter().enumerate() {
        let h = difference(prior);
        let mut moved = at.clone();
        *moved.get_mut(k)? += h;
        let there = model(&moved)?;
        for (out, (a, b)) in j.column_mut(k).iter_mut().zip(there.iter().zip(here)) {
            *out = (a - b) / h;
        }
    }
    Some(j)
}

fn normal(jacobian: &DMatrix<f64>, weights: &[f64]) -> DMatrix<f64> {
    let mut weighted = jacobian.clone();
    for (mut row, w) in weighted.row_iter_mut().zip(weights) {
        row *= *w;
    }
    jacobian.transpose() * weighted
}

fn add_priors(information: &mut DMatrix<f64>, priors: &[Prior]) {
    for (k, (_, u)) in priors.iter().enumerate() {
        if let Some(d) = information.get_mut((k, k)) {
            *d += 1.0 / (u * u);
        }
    }
}

fn descend(
    model: &Model<'_>,
    start: DVector<f64>,
    priors: &[Prior],
    weights: &[f64],
    steps: usize,
) -> Option<(DVector<f64>, Vec<f64>)> {
    let mut at = start;
    let mut residuals = model(&at)?;
    let mut now = cost(&residuals, weights, &at, priors);
    let mut damping = 1e-3;
    for _ in 0..steps {
        let j = jacobian(model, &at, &residuals, priors)?;
        let mut information = normal(&j, weights);
        add_priors(&mut information, priors);
        let weighted =
            DVector::from_iterator(residuals.len(), residuals.iter().zip(weights).map(|(r, w)| r * w));
        let pull =
            DVector::from_iterator(at.len(), at.iter().zip(priors).map(|(p, (m, u))| (p - m) / (u * u)));
        let gradient = j.transpose() * weighted + pull;
        let mut gained = None;
        for _ in 0..8 {
            let mut damped = information.clone();
            for k in 0..at.len() {
                damped[(k, k)] *= 1.0 + damping;
            }
            let next = &at - damped.cholesky()?.solve(&gradient);
            if let Some(r) = model(&next)
                && cost(&r, weights, &next, priors) <= now
            {
                gained = Some((next, r));
                damping = (damping / 10.0).max(1e-9);
                break;
            }
            damping *= 10.0;
        }
        let Some((next, r)) = gained else { break };
        let better = cost(&r, weights, &next, priors);
        let settled = now - better < 1e-9 * now + 1e-7;
        (at, residuals, now) = (next, r, better);
        if settled {
            break;
        }
    }
    Some((at, residuals))
}
