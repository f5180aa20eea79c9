//! Nonlinear least squares and exact posteriors against certified values and independent programs.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

mod global;

use arcmass_fit::{
    Exploration, Method, Proposal, Settings, ensemble, explore, least_squares, least_squares_with_jacobian,
    reweight,
};
use nalgebra::DMatrix;
use nalgebra_of_check as other;
use rand_pcg::Pcg64;

fn near(what: &str, got: f64, want: f64, rel: f64) {
    assert!((got - want).abs() <= rel * want.abs(), "{what}: {got:e}, want {want:e} within {rel:e}");
}

/// Certified values are printed to 11 digits.
const PRINTED: f64 = 1e-9;
/// Standard deviations rest on derivatives from differences.
const DIFFERENCES: f64 = 1e-7;

/// NIST/ITL Statistical Reference Datasets, nonlinear regression, dataset Misra1a (lower difficulty), both starts.
#[test]
fn misra1a_agrees_with_its_certified_values() {
    let x = [77.6, 114.9, 141.1, 190.8, 239.9, 289.0, 332.8, 378.4, 434.8, 477.3, 536.8, 593.1, 689.1, 760.0];
    let y =
        [10.07, 14.73, 17.94, 23.93, 29.61, 35.18, 40.02, 44.82, 50.76, 55.05, 61.01, 66.40, 75.47, 81.78];
    let model = |p: &[f64]| x.iter().zip(&y).map(|(x, y)| y - p[0] * (1.0 - (-p[1] * x).exp())).collect();
    for start in [[500.0, 1e-4], [250.0, 5e-4]] {
        let settings = Settings { scales: Some(vec![100.0, 1e-4]), ..Settings::default() };
        let fit = least_squares(&start, model, &settings).unwrap();
        assert!(fit.converged, "from {start:?} in {} steps", fit.iterations);
        near("b1", fit.parameters[0], 2.3894212918e2, PRINTED);
        near("b2", fit.parameters[1], 5.5015643181e-4, PRINTED);
        near("rss", fit.chi_squared, 1.2455138894e-1, PRINTED);
        let s = fit.birge_ratio().unwrap();
        near("sd b1", fit.standard_uncertainty(0).unwrap() * s, 2.7070075241, DIFFERENCES);
        near("sd b2", fit.standard_uncertainty(1).unwrap() * s, 7.2668688436e-6, DIFFERENCES);
        assert_eq!(fit.dof, 12);
    }
}

/// NIST/ITL Statistical Reference Datasets, dataset MGH09 (higher difficulty), the nearer start.
#[test]
fn mgh09_agrees_with_its_certified_values() {
    let x = [4.0, 2.0, 1.0, 0.5, 0.25, 0.167, 0.125, 0.1, 0.0833, 0.0714, 0.0625];
    let y = [0.1957, 0.1947, 0.1735, 0.16, 0.0844, 0.0627, 0.0456, 0.0342, 0.0323, 0.0235, 0.0246];
    let model = |p: &[f64]| {
        x.iter().zip(&y).map(|(x, y)| y - p[0] * (x * x + x * p[1]) / (x * x + x * p[2] + p[3])).collect()
    };
    let settings = Settings { scales: Some(vec![0.2; 4]), ..Settings::default() };
    let fit = least_squares(&[0.25, 0.39, 0.415, 0.39], model, &settings).unwrap();
    assert!(fit.converged);
    let s = fit.birge_ratio().unwrap();
    // The minimum is so flat that differences leave seven digits.
    let certified = [
        (1.9280693458e-1, 1.1435312227e-2),
        (1.9128232873e-1, 1.9633220911e-1),
        (1.2305650693e-1, 8.0842031232e-2),
        (1.3606233068e-1, 9.0025542308e-2),
    ];
    for (i, (value, sd)) in certified.iter().enumerate() {
        near(&format!("b{}", i + 1), fit.parameters[i], *value, 1e-7);
        near(&format!("sd b{}", i + 1), fit.standard_uncertainty(i).unwrap() * s, *sd, 1e-6);
    }
    near("rss", fit.chi_squared, 3.0750560385e-4, PRINTED);
}

/// Best value, standard uncertainty and chi-squared of the global fit from SciPy 1.17.1 `least_squares` (method lm,
/// Jacobian by hand); printed to 8 digits.
const GLOBAL_LN_M: f64 = -0.005_930_70;
const GLOBAL_SD: f64 = 0.014_628_12;
const GLOBAL_CHI2: f64 = 17.640_636;

#[test]
fn the_global_fit_agrees_with_an_independent_program() {
    let settings = Settings::default();
    let numeric = least_squares(&global::START, global::residuals, &settings).unwrap();
    let given =
        least_squares_with_jacobian(&global::START, global::residuals, global::jacobian, &settings).unwrap();
    for fit in [&numeric, &given] {
        assert!(fit.converged);
        assert!((fit.parameters[0] - GLOBAL_LN_M).abs() < 1e-8, "{}", fit.parameters[0]);
        assert!((fit.standard_uncertainty(0).unwrap() - GLOBAL_SD).abs() < 1e-8);
        assert!((fit.chi_squared - GLOBAL_CHI2).abs() < 1e-6);
        assert_eq!(fit.dof, 23);
        assert!(fit.p_value.unwrap() > 0.5);
    }
    let worst = (&numeric.jacobian - &given.jacobian).amax() / given.jacobian.amax();
    assert!(worst < 1e-9, "differences against derivatives by hand: {worst:e}");
    for (i, t) in global::TRUE.iter().enumerate() {
        let pull = (given.parameters[i] - t) / given.standard_uncertainty(i).unwrap();
        assert!(pull.abs() < 3.0, "parameter {i} is {pull:.1} standard uncertainties from the truth");
    }
}

/// The same problem as the checking crate wants it.
struct Check(other::DVector<f64>);

impl levenberg_marquardt::LeastSquaresProblem<f64, other::Dyn, other::Dyn> for Check {
    type ParameterStorage = other::VecStorage<f64, other::Dyn, other::U1>;
    type ResidualStorage = other::VecStorage<f64, other::Dyn, other::U1>;
    type JacobianStorage = other::VecStorage<f64, other::Dyn, other::Dyn>;
    fn set_params(&mut self, p: &other::DVector<f64>) {
        self.0.copy_from(p);
    }
    fn params(&self) -> other::DVector<f64> {
        self.0.clone()
    }
    fn residuals(&self) -> Option<other::DVector<f64>> {
        Some(other::DVector::from_vec(global::residuals(self.0.as_slice())))
    }
    fn jacobian(&self) -> Option<other::DMatrix<f64>> {
        Some(other::DMatrix::from_column_slice(30, 7, global::jacobian(self.0.as_slice()).as_slice()))
    }
}

#[test]
fn the_global_fit_agrees_with_the_checking_crate() {
    let start = other::DVector::from_column_slice(&global::START);
    let (check, report) = levenberg_marquardt::LevenbergMarquardt::new().minimize(Check(start));
    assert!(report.termination.was_successful());
    let fit = least_squares_with_jacobian(
        &global::START,
        global::residuals,
        global::jacobian,
        &Settings::default(),
    )
    .unwrap();
    for (ours, theirs) in fit.parameters.iter().zip(check.0.iter()) {
        assert!((ours - theirs).abs() < 1e-7, "{ours} against {theirs}");
    }
}

/// Normal approximation and exact posterior hardly differ here; anchors: four samplers gave means −0.0058 to −0.0062
/// and standard deviations 0.0144 to 0.0147 (emcee 3.1.6, numpyro 0.22.0, importance sampling in NumPy 2.4.6).
#[test]
fn the_posterior_of_the_global_fit_agrees_with_other_samplers() {
    let fit = least_squares(&global::START, global::residuals, &Settings::default()).unwrap();
    let mut rng = Pcg64::new(7, 11);
    let settings = Exploration { draws: 20_000, ..Exploration::default() };
    let p = explore(&fit.parameters, &fit.covariance, global::log_density, &settings, &mut rng).unwrap();
    assert_eq!(p.method, Method::Reweighted);
    assert!(p.effective_number > 8_000.0, "{}", p.effective_number);
    let (mean, sd) = p.moments(|x| x[0]);
    assert!((mean + 0.006).abs() < 4e-4 && (sd - 0.0146).abs() < 3e-4, "{mean} {sd}");
    let [low, high] = p.interval(|x| x[0], 0.68).unwrap();
    assert!((high - low) / 2.0 / sd > 0.95 && (high - low) / 2.0 / sd < 1.05);

    let start = DMatrix::from_fn(7, 32, |i, k| fit.parameters[i] + 0.02 * ((k * 7 + i * 3) as f64).sin());
    let e = ensemble(&start, global::log_density, 6_000, &mut rng).unwrap();
    assert_eq!(e.method, Method::Ensemble);
    let (mean, sd) = e.moments(|x| x[0]);
    // Some 1000 independent draws leave 3 % of the standard deviation on the mean.
    assert!(e.effective_number > 500.0, "{}", e.effective_number);
    assert!((mean + 0.006).abs() < 2e-3 && (sd - 0.0146).abs() < 1.2e-3, "{mean} {sd}");
}

/// A normal density of known integral: `(2π)^{d/2} |C|^{1/2}`.
#[test]
fn the_evidence_of_a_normal_density_is_its_integral() {
    let covariance = DMatrix::from_row_slice(2, 2, &[4.0, 1.2, 1.2, 1.0]);
    let inverse = covariance.clone().try_inverse().unwrap();
    let density = |p: &[f64]| {
        let v = nalgebra::DVector::from_column_slice(p);
        -0.5 * v.dot(&(&inverse * &v))
    };
    let want = (2.0 * std::f64::consts::PI).ln() + 0.5 * covariance.determinant().ln();
    let proposal = Proposal::new(&[0.3, -0.2], &covariance, 6.0).unwrap();
    let p = reweight(&proposal, density, 50_000, &mut Pcg64::new(3, 5)).unwrap();
    let u = p.log_evidence_uncertainty.unwrap();
    assert!((p.log_evidence.unwrap() - want).abs() < 4.0 * u, "{:?} want {want} ± {u}", p.log_evidence);
    assert!(u < 0.01);
    let q = p.quantiles(|x| x[0], &[0.158_655, 0.5, 0.841_345]).unwrap();
    for (got, want) in q.iter().zip([-2.0, 0.0, 2.0]) {
        assert!((got - want).abs() < 0.06, "{got} want {want}");
    }
}

/// A limit cuts the density: nothing beyond it is ever weighted, and the exact mean `σ√(2/π)` of a half-normal comes out.
#[test]
fn a_limit_cuts_the_posterior() {
    let density = |p: &[f64]| if p[0] < 0.0 { f64::NEG_INFINITY } else { -0.5 * p[0] * p[0] };
    let one = DMatrix::from_element(1, 1, 1.0);
    let p = explore(&[0.0], &one, density, &Exploration::default(), &mut Pcg64::new(1, 2)).unwrap();
    let (mean, _) = p.moments(|x| x[0]);
    assert!((mean - (2.0 / std::f64::consts::PI).sqrt()).abs() < 0.03, "{mean}");
    assert!(p.quantiles(|x| x[0], &[0.0]).unwrap()[0] >= 0.0);
}

/// A bent density (Rosenbrock's banana; x ~ N(0,1), y | x ~ N(x², 0.05²)) defeats a straight proposal: the ensemble
/// takes over, and finds mean 0, sd 1 of x and mean 1 of y.
#[test]
fn an_ensemble_takes_over_where_the_proposal_fails() {
    let density = |p: &[f64]| -0.5 * p[0] * p[0] - 0.5 * ((p[1] - p[0] * p[0]) / 0.05).powi(2);
    let narrow = DMatrix::from_row_slice(2, 2, &[1.0, 0.0, 0.0, 0.0025]);
    let settings = Exploration { rounds: 1, ensemble_steps: 40_000, ..Exploration::default() };
    let p = explore(&[0.0, 0.0], &narrow, density, &settings, &mut Pcg64::new(9, 9)).unwrap();
    assert_eq!(p.method, Method::Ensemble);
    let (mean, sd) = p.moments(|x| x[0]);
    let u = 1.0 / p.effective_number.sqrt();
    assert!(mean.abs() < 4.0 * u && (sd - 1.0).abs() < 4.0 * u, "{mean} {sd} ± {u}");
    let (y, _) = p.moments(|x| x[1]);
    assert!((y - 1.0).abs() < 8.0 * u, "{y} ± {u}");
}

#[test]
fn the_same_random_source_gives_the_same_posterior() {
    let go = || {
        let one = DMatrix::from_element(1, 1, 1.0);
        explore(&[0.0], &one, |p| -p[0].abs(), &Exploration::default(), &mut Pcg64::new(4, 4)).unwrap()
    };
    assert_eq!(go(), go());
}
