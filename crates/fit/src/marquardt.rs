//! A small Levenberg–Marquardt engine on normal equations, for fits of a handful of parameters to many points.

use nalgebra::{SMatrix, SVector};

/// Half-done sums at one set of parameters: cost `Σ w r²`, `Jᵀ W J` and `Jᵀ W r`.
pub(crate) struct Sums<const P: usize> {
    pub(crate) cost: f64,
    pub(crate) normal: SMatrix<f64, P, P>,
    pub(crate) gradient: SVector<f64, P>,
}

impl<const P: usize> Sums<P> {
    pub(crate) fn new() -> Self {
        Self { cost: 0.0, normal: SMatrix::zeros(), gradient: SVector::zeros() }
    }

    /// Adds one residual with its row of derivatives.
    pub(crate) fn add(&mut self, weight: f64, residual: f64, row: &SVector<f64, P>) {
        self.cost += weight * residual * residual;
        self.normal += row * row.transpose() * weight;
        self.gradient += row * (weight * residual);
    }
}

/// Most steps, accepted or not; orthogonal-distance fits settle in 5 to 60.
pub(crate) const STEPS: usize = 500;
/// A step below this in every parameter (in units of that parameter's own sensitivity) has settled.
const SETTLED: f64 = 1e-13;
/// Damping at which a refused step is below rounding: the best point has been reached.
const STUCK: f64 = 1e14;

/// Minimises the cost from `start`; none when it did not settle or left the finite numbers.
///
/// `sums` returns `None` where the model is not defined; such a step is refused.
pub(crate) fn minimise<const P: usize>(
    start: SVector<f64, P>,
    mut sums: impl FnMut(&SVector<f64, P>) -> Option<Sums<P>>,
) -> Option<SVector<f64, P>> {
    let mut at = start;
    let mut now = sums(&at)?;
    let mut damping = 1e-4;
    for _ in 0..STEPS {
        let Some(step) = damped_step(&now, damping) else {
            damping = f64::max(damping, 1e-8) * 10.0;
            if damping > STUCK {
                return None;
            }
            continue;
        };
        let next = at + step;
        let settled = step.iter().zip(at.iter()).all(|(s, p)| s.abs() <= SETTLED * (p.abs() + 1.0));
        match sums(&next).filter(|s| s.cost <= now.cost) {
            Some(better) => {
                (at, now) = (next, better);
                damping = (damping / 10.0).max(1e-12);
            }
            None if settled || damping > STUCK => return Some(at),
            None => damping *= 8.0,
        }
        if settled {
            return Some(at);
        }
    }
    None
}

fn damped_step<const P: usize>(now: &Sums<P>, damping: f64) -> Option<SVector<f64, P>> {
    let mut damped = now.normal;
    let floor = now.normal.diagonal().max() * f64::EPSILON;
    for i in 0..P {
        damped[(i, i)] += damping * now.normal[(i, i)].max(floor);
    }
    let step = -damped.cholesky()?.solve(&now.gradient);
    step.iter().all(|s| s.is_finite()).then_some(step)
}
