//! One fit of many observations with shared causes: generalised least squares, its sensitivities, and its posterior.
//!
//! Every unknown carries what was known of it before: nothing, a normal spread, or limits. The best estimate treats limits
//! ± a as u = a/√3 (JCGM 100:2008, 4.3.7); the posterior keeps them as the rectangles they are.

use nalgebra::{DMatrix, DVector, SymmetricEigen};
use rand::Rng;

mod draws;
mod matched;

use draws::{Sampler, log_rectangles_over_normals};

/// What is known of an unknown before the observations.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Prior {
    /// Nothing.
    Flat,
    /// A normal distribution: mean and standard uncertainty above 0.
    Normal {
        /// Centre.
        mean: f64,
        /// Standard uncertainty.
        u: f64,
    },
    /// A rectangular distribution: centre and half-width above 0.
    Limits {
        /// Centre.
        mean: f64,
        /// Half-width.
        half_width: f64,
    },
}

impl Prior {
    /// Centre and standard uncertainty; none where nothing is known.
    pub fn moments(self) -> Option<(f64, f64)> {
        match self {
            Self::Flat => None,
            Self::Normal { mean, u } => Some((mean, u)),
            Self::Limits { mean, half_width } => Some((mean, half_width / 3.0_f64.sqrt())),
        }
    }
}

/// Whitened residuals (observed minus modelled, in units of their own standard uncertainty) and how they change.
#[derive(Debug, Clone)]
pub struct Linearised {
    /// One entry an observation.
    pub residuals: DVector<f64>,
    /// One row an observation, one column an unknown: derivative of the residual by the unknown.
    pub jacobian: DMatrix<f64>,
}

/// Why no joint fit came out.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum JointFault<E> {
    /// The model could not be evaluated.
    #[error("{0}")]
    Model(E),
    /// Some combination of unknowns is fixed by nothing.
    #[error(
        "the observations and what was known before do not fix every unknown (unknown number {0} is the freest)"
    )]
    Undetermined(usize),
    /// A residual was not finite.
    #[error("a residual of the model is not finite")]
    NotFinite,
}

/// The best estimate of all unknowns together.
#[derive(Debug, Clone)]
pub struct Joint {
    /// What was known before, one entry an unknown.
    pub priors: Vec<Prior>,
    /// Best estimates.
    pub estimate: DVector<f64>,
    /// Their covariance, limits counted as a/√3.
    pub covariance: DMatrix<f64>,
    /// Residuals and Jacobian at the estimate.
    pub at: Linearised,
    /// Sum of squares of the residuals of the observations.
    pub chi_squared_data: f64,
    /// Sum of squares of (estimate − prior mean)/u.
    pub chi_squared_prior: f64,
    /// Natural logarithm of the covariance's determinant.
    pub log_det_covariance: f64,
    /// Steps taken.
    pub steps: usize,
}

const MOST_STEPS: usize = 30;
/// Largest change of any unknown in units of its own uncertainty at which the fit is done.
const SETTLED: f64 = 1e-6;
/// A step shorter than this, in standard uncertainties, that lowers nothing ends the search: weights that move with the
/// unknowns put the lowest sum of squares that far from where the gradient vanishes, and halving can't tell the two apart.
const NEAR: f64 = 1e-3;

/// Fits all unknowns by Gauss–Newton steps, halved where they do not lower the sum of squares.
///
/// - **Takes** the priors, a start, and the model: from the unknowns to residuals and Jacobian.
/// - **Fails** where the model fails, or where nothing fixes some combination of unknowns.
pub fn fit<E>(
    priors: &[Prior],
    start: &[f64],
    mut model: impl FnMut(&DVector<f64>) -> Result<Linearised, E>,
) -> Result<Joint, JointFault<E>> {
    let mut estimate = DVector::from_column_slice(start);
    let mut at = checked(model(&estimate).map_err(JointFault::Model)?)?;
    let mut cost = total(&at, priors, &estimate);
    let mut steps = 0;
    loop {
        let (covariance, log_det) = invert(&information(&at, priors))?;
        let gradient = at.jacobian.transpose() * &at.residuals + prior_pull(priors, &estimate);
        let step = -(&covariance * gradient);
        let size = (0..step.len())
            .map(|j| step[j].abs() / covariance[(j, j)].sqrt().max(f64::MIN_POSITIVE))
            .fold(0.0, f64::max);
        if size < SETTLED || steps == MOST_STEPS {
            return Ok(finish(priors, estimate, (covariance, log_det), at, steps));
        }
        let mut fraction = 1.0;
        let better = loop {
            let trial = &estimate + &step * fraction;
            if let Ok(found) = model(&trial).map_err(JointFault::Model).and_then(checked) {
                let trial_cost = total(&found, priors, &trial);
                if trial_cost <= cost * (1.0 + 1e-12) + 1e-12 {
                    break Some((trial, found, trial_cost));
                }
            }
            fraction *= 0.5;
            if fraction < 1e-4 || size < NEAR {
                break None;
            }
        };
        let Some((trial, found, trial_cost)) = better else {
            return Ok(finish(priors, estimate, (covariance, log_det), at, steps));
        };
        estimate = trial;
        at = found;
        cost = trial_cost;
        steps += 1;
    }
}

fn checked<E>(at: Linearised) -> Result<Linearised, JointFault<E>> {
    let finite = at.residuals.iter().chain(at.jacobian.iter()).all(|x| x.is_finite());
    if finite { Ok(at) } else { Err(JointFault::NotFinite) }
}

fn finish(
    priors: &[Prior],
    estimate: DVector<f64>,
    (covariance, log_det_covariance): (DMatrix<f64>, f64),
    at: Linearised,
    steps: usize,
) -> Joint {
    Joint {
        chi_squared_data: at.residuals.norm_squared(),
        chi_squared_prior: prior_cost(priors, &estimate),
        priors: priors.to_vec(),
        estimate,
        covariance,
        at,
        log_det_covariance,
        steps,
    }
}

/// The exact answer of a linear model: `at` holds residuals and Jacobian at the place `about`.
///
/// - **Fails** where nothing fixes some combination of unknowns.
pub fn linear<E>(priors: &[Prior], about: &DVector<f64>, at: &Linearised) -> Result<Joint, JointFault<E>> {
    let inverse = invert(&information(at, priors))?;
    let gradient = at.jacobian.transpose() * &at.residuals + prior_pull(priors, about);
    let step = -(&inverse.0 * gradient);
    let moved = Linearised { residuals: &at.residuals + &at.jacobian * &step, jacobian: at.jacobian.clone() };
    Ok(finish(priors, about + step, inverse, moved, 1))
}

fn prior_cost(priors: &[Prior], estimate: &DVector<f64>) -> f64 {
    let deviation =
        |(prior, x): (&Prior, &f64)| prior.moments().map_or(0.0, |(mean, u)| ((x - mean) / u).powi(2));
    priors.iter().zip(estimate.iter()).map(deviation).sum()
}

fn total(at: &Linearised, priors: &[Prior], estimate: &DVector<f64>) -> f64 {
    at.residuals.norm_squared() + prior_cost(priors, estimate)
}

fn prior_pull(priors: &[Prior], estimate: &DVector<f64>) -> DVector<f64> {
    DVector::from_iterator(
        priors.len(),
        priors
            .iter()
            .zip(estimate.iter())
            .map(|(prior, x)| prior.moments().map_or(0.0, |(mean, u)| (x - mean) / (u * u))),
    )
}

fn information(at: &Linearised, priors: &[Prior]) -> DMatrix<f64> {
    let mut information = at.jacobian.transpose() * &at.jacobian;
    for (j, prior) in priors.iter().enumerate() {
        if let Some((_, u)) = prior.moments() {
            information[(j, j)] += 1.0 / (u * u);
        }
    }
    information
}

/// Inverts an information matrix after scaling its diagonal to one.
///
/// Gives the inverse and the logarithm of its determinant.
fn invert<E>(information: &DMatrix<f64>) -> Result<(DMatrix<f64>, f64), JointFault<E>> {
    let n = information.nrows();
    let scale: Vec<f64> = (0..n).map(|j| information[(j, j)].sqrt()).collect();
    if let Some(free) = scale.iter().position(|s| s.is_nan() || *s <= 0.0) {
        return Err(JointFault::Undetermined(free));
    }
    let scaled = DMatrix::from_fn(n, n, |i, j| information[(i, j)] / (scale[i] * scale[j]));
    let inverse = scaled.clone().cholesky().map(|c| {
        let half: f64 = c.l_dirty().diagonal().iter().map(|x| x.ln()).sum();
        (c.inverse(), half)
    });
    match inverse {
        Some((inverse, half)) if inverse.diagonal().iter().all(|x| x.is_finite() && *x < 1e13) => {
            let log_det = -2.0 * (half + scale.iter().map(|s| s.ln()).sum::<f64>());
            Ok((DMatrix::from_fn(n, n, |i, j| inverse[(i, j)] / (scale[i] * scale[j])), log_det))
        }
        _ => {
            let eigen = SymmetricEigen::new(scaled);
            let freest = eigen.eigenvectors.column(eigen.eigenvalues.imin()).iamax();
            Err(JointFault::Undetermined(freest))
        }
    }
}

impl Joint {
    /// One standard uncertainty of unknown `j`.
    pub fn u(&self, j: usize) -> f64 {
        self.covariance[(j, j)].max(0.0).sqrt()
    }

    /// Logarithm of the evidence, up to what all fits of the same observations with the same flat unknowns share:
    /// −½ χ² + ½ ln det C − Σ ln u of the priors; limits count as normal with u = a/√3 (Laplace's method).
    pub fn log_evidence(&self) -> f64 {
        let widths: f64 = self.priors.iter().filter_map(|prior| prior.moments()).map(|(_, u)| u.ln()).sum();
        -0.5 * (self.chi_squared_data + self.chi_squared_prior) + 0.5 * self.log_det_covariance - widths
    }

    /// What [`Joint::log_evidence`] lacks where limits are rectangles: a normal distribution reaches beyond them, and a model that needs a
    /// value out there is believed too easily.
    pub fn log_evidence_of_limits(&self) -> f64 {
        log_rectangles_over_normals(self)
    }

    /// How the estimate of unknown `j` moves with each observation's whitened value: −(covariance · Jᵀ) row `j`.
    ///
    /// The squares of these are the shares of the observations in the variance of unknown `j`.
    pub fn sensitivity_to_data(&self, j: usize) -> DVector<f64> {
        -(&self.at.jacobian * self.covariance.column(j))
    }

    /// How the estimate of unknown `j` moves when the prior mean of each unknown moves by its own u (0 where flat).
    pub fn sensitivity_to_priors(&self, j: usize) -> Vec<f64> {
        let moved =
            |(i, prior): (usize, &Prior)| prior.moments().map_or(0.0, |(_, u)| self.covariance[(j, i)] / u);
        self.priors.iter().enumerate().map(moved).collect()
    }

    /// Standard deviation of unknown `j` with limits kept as the rectangles they are, without chance: the same readings give the
    /// same number, and more of them a smaller one. [`Joint::u`] where the best
    /// estimate lies far outside the limits.
    ///
    /// - **Fails** where, with the limited unknowns held, the rest is not fixed.
    pub fn u_within_limits<E>(&self, j: usize) -> Result<f64, JointFault<E>> {
        Ok(Sampler::new(self)?.standard_deviation(j).unwrap_or_else(|| self.u(j)))
    }

    /// Draws from the posterior, the model taken as linear about the estimate, limits kept as rectangles.
    ///
    /// - **Gives** one row a draw, one column an unknown. Unknowns with limits are drawn evenly from their rectangles and
    ///   chosen again by weight; where too few distinct ones would be left they move by hit-and-run along the principal
    ///   directions of their marginal instead. The others follow from their conditional normal distribution.
    /// - **Fails** where, with the limited unknowns held, the rest is not fixed.
    pub fn draws<E>(&self, count: usize, rng: &mut impl Rng) -> Result<DMatrix<f64>, JointFault<E>> {
        let all: Vec<usize> = (0..self.priors.len()).collect();
        self.draws_of(&all, count, rng)
    }

    /// The same for some unknowns only, one column each in the order of `places`: what is not asked for costs nothing.
    ///
    /// - **Fails** as [`Joint::draws`] does.
    pub fn draws_of<E>(
        &self,
        places: &[usize],
        count: usize,
        rng: &mut impl Rng,
    ) -> Result<DMatrix<f64>, JointFault<E>> {
        Ok(Sampler::new(self)?.run(places, count, rng))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use rand::SeedableRng;
    use std::convert::Infallible;

    /// y = a + b x with σ = 0.1, and an instrument gain g shared by all y: r = (y (1 + g) − a − b x)/σ.
    fn line(g_prior: Prior) -> Joint {
        let xs = [1.0, 2.0, 3.0, 4.0, 5.0];
        let ys = [2.1, 3.9, 6.05, 8.0, 9.95];
        let model = |p: &DVector<f64>| {
            let residuals = DVector::from_fn(5, |i, _| (ys[i] * (1.0 + p[2]) - p[0] - p[1] * xs[i]) / 0.1);
            let jacobian = DMatrix::from_fn(5, 3, |i, j| [-1.0, -xs[i], ys[i]][j] / 0.1);
            Ok::<_, Infallible>(Linearised { residuals, jacobian })
        };
        fit(&[Prior::Flat, Prior::Flat, g_prior], &[0.0, 1.0, 0.0], model).unwrap()
    }

    #[test]
    fn a_shared_gain_does_not_average_down() {
        let joint = line(Prior::Normal { mean: 0.0, u: 0.01 });
        // b alone: u = 0.1/sqrt(10); the gain adds 0.01·b in quadrature
        let b = joint.estimate[1];
        let expected = (0.1_f64.powi(2) / 10.0 + (0.01 * b).powi(2)).sqrt();
        // the scatter of the points tells a little about the gain, one part in ten thousand of its prior
        assert!((joint.u(1) / expected - 1.0).abs() < 1e-3);
        let shares: f64 = joint.sensitivity_to_data(1).norm_squared()
            + joint.sensitivity_to_priors(1).iter().map(|s| s * s).sum::<f64>();
        assert!((shares.sqrt() / joint.u(1) - 1.0).abs() < 1e-9);
    }

    #[test]
    fn the_posterior_keeps_limits_as_rectangles() {
        let joint = line(Prior::Limits { mean: 0.0, half_width: 0.02 });
        let mut rng = rand_pcg::Pcg64::seed_from_u64(7);
        let draws = joint.draws::<Infallible>(20_000, &mut rng).unwrap();
        let gain = draws.column(2);
        assert!(gain.iter().all(|g| g.abs() <= 0.02 + 1e-12));
        let inner = gain.iter().filter(|g| g.abs() < 0.01).count() as f64 / 20_000.0;
        assert!((inner - 0.5).abs() < 0.02, "half of a rectangle lies in its inner half, got {inner}");
        let sd = draws.column(1).variance().sqrt();
        assert!((sd / joint.u(1) - 1.0).abs() < 0.03, "sd {sd} against {}", joint.u(1));
    }

    #[test]
    fn the_sensitivities_of_the_matched_fit_add_up_to_what_the_draws_show() {
        for half_width in [0.002, 0.02, 0.2, 5.0] {
            let joint = line(Prior::Limits { mean: 0.3 * half_width, half_width });
            let matched = joint.matched::<Infallible>().unwrap();
            let mut rng = rand_pcg::Pcg64::seed_from_u64(7);
            let draws = joint.draws::<Infallible>(40_000, &mut rng).unwrap();
            for place in 0..3 {
                let column = draws.column(place);
                let shares = matched.sensitivity_to_data(place).norm_squared()
                    + matched.sensitivity_to_priors(place).iter().map(|s| s * s).sum::<f64>();
                // 40 000 draws give a standard deviation to 0.4 %
                let ratio = shares.sqrt() / column.variance().sqrt();
                assert!((ratio - 1.0).abs() < 0.012, "±{half_width}, unknown {place}: {ratio}");
                let off = (column.mean() - matched.estimate[place]) / matched.u(place);
                assert!(off.abs() < 0.03, "±{half_width}, unknown {place}: {off} u off");
            }
        }
    }

    #[test]
    fn the_standard_deviation_without_chance_is_that_of_the_draws() {
        // limits that the readings leave whole, cut, and hardly leave
        for half_width in [0.02, 0.2, 50.0] {
            let joint = line(Prior::Limits { mean: 0.0, half_width });
            let mut rng = rand_pcg::Pcg64::seed_from_u64(7);
            let draws = joint.draws::<Infallible>(40_000, &mut rng).unwrap();
            for place in 0..3 {
                let drawn = draws.column(place).variance().sqrt();
                let found = joint.u_within_limits::<Infallible>(place).unwrap();
                // 40 000 draws give a standard deviation to 0.4 %
                assert!((found / drawn - 1.0).abs() < 0.015, "± {half_width}, {place}: {found} {drawn}");
            }
        }
    }

    #[test]
    fn a_rectangle_alone_has_its_own_standard_deviation() {
        let model = |p: &DVector<f64>| {
            let jacobian = DMatrix::from_element(1, 2, 1e-6);
            Ok::<_, Infallible>(Linearised {
                residuals: DVector::from_element(1, 1e-6 * (p[0] + p[1])),
                jacobian,
            })
        };
        let limits = |half_width| Prior::Limits { mean: 0.0, half_width };
        let joint = fit(&[limits(1.0), limits(3.0)], &[0.0, 0.0], model).unwrap();
        for (place, half_width) in [(0, 1.0), (1, 3.0)] {
            let found = joint.u_within_limits::<Infallible>(place).unwrap();
            let exact = half_width / 3.0_f64.sqrt();
            // 8192 places, those near an edge in or out by one
            assert!((found / exact - 1.0).abs() < 3e-3, "{found} {exact}");
        }
    }

    #[test]
    fn limits_count_as_rectangles_in_the_evidence() {
        // one number x within ± 1, read as y ± 0.1: the evidence of the reading by quadrature over the rectangle
        for y in [0.0, 0.9, 1.1, 1.3] {
            let model = |p: &DVector<f64>| {
                let residuals = DVector::from_element(1, (y - p[0]) / 0.1);
                Ok::<_, Infallible>(Linearised { residuals, jacobian: DMatrix::from_element(1, 1, -10.0) })
            };
            let joint = fit(&[Prior::Limits { mean: 0.0, half_width: 1.0 }], &[0.0], model).unwrap();
            let steps = 20_000;
            let at = |k: i32| -1.0 + (f64::from(k) + 0.5) * 2.0 / f64::from(steps);
            let density = |x: f64| (-0.5 * ((y - x) / 0.1_f64).powi(2)).exp();
            // log_evidence leaves out √2π of each flat direction: of none here but that of the observation
            let exact = ((0..steps).map(|k| density(at(k))).sum::<f64>() / f64::from(steps)).ln();
            let found = joint.log_evidence() + joint.log_evidence_of_limits();
            assert!((found - exact).abs() < 0.05, "{y}: {found} {exact}");
        }
    }

    #[test]
    fn weights_that_move_with_the_answer_do_not_keep_the_search_going() {
        // σ grows with x and the Jacobian does not say so: the lowest sum lies beside the vanishing gradient
        let mut calls = 0;
        let model = |x: &DVector<f64>| {
            calls += 1;
            let sigma = 0.1 * (1.0 + 1e-3 * x[0]);
            Ok::<_, Infallible>(Linearised {
                residuals: DVector::from_vec([1.0, 1.2].map(|y| (y - x[0]) / sigma).to_vec()),
                jacobian: DMatrix::from_element(2, 1, -1.0 / sigma),
            })
        };
        // begun at the lowest sum, 1.4e-4 u beside the mean
        let joint = fit(&[Prior::Flat], &[1.100_01], model).unwrap();
        assert!((joint.estimate[0] - 1.1).abs() < NEAR * joint.u(0), "{}", joint.estimate[0]);
        assert!(calls < 8, "{calls} evaluations");
    }

    #[test]
    fn what_nothing_fixes_is_named() {
        let model = |p: &DVector<f64>| {
            Ok::<_, Infallible>(Linearised {
                residuals: DVector::from_element(1, p[0] + p[1]),
                jacobian: DMatrix::from_element(1, 2, 1.0),
            })
        };
        let fault = fit(&[Prior::Flat, Prior::Flat], &[0.0, 0.0], model).unwrap_err();
        assert!(matches!(fault, JointFault::Undetermined(_)));
    }
}
