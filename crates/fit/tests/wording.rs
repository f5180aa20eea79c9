//! Every error says what must be, what was found and what to try.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

use arcmass_fit::{
    Distribution, FitError, Input, Intercept, LinePoint, Loss, Sampler, Scatter, Settings, Source,
    ellipse_foot, fit_circle, fit_circle_robust, fit_ellipse, fit_line, fit_line_weighted, generalised_mean,
    least_squares, numerical_tolerance, propagate, simulate, weighted_mean, weighted_quantiles, york,
};
use nalgebra::DMatrix;
use rand_pcg::Pcg64;

fn says<T: std::fmt::Debug>(result: Result<T, FitError>, sentence: &str) {
    assert_eq!(result.expect_err("an error").to_string(), sentence);
}

#[test]
fn too_few_points() {
    says(
        fit_line(&[1.0, 2.0], &[1.0, 2.0], Intercept::Free),
        "a line fit with unknown uncertainties needs at least 3 points; got 2; add points or fix a parameter",
    );
    says(
        fit_circle(&[[0.0, 0.0], [1.0, 0.0]], None, Scatter::Known(1.0)),
        "a circle fit needs at least 3 points; got 2; add points or fix a parameter",
    );
    says(
        fit_circle(&[[0.0, 0.0], [1.0, 0.0], [0.0, 1.0]], None, Scatter::FromResiduals),
        "a circle fit needs at least 4 points; got 3; add points or fix a parameter",
    );
    says(
        fit_circle_robust(&[[0.0, 0.0]], None, Loss::Tukey),
        "a circle fit needs at least 4 points; got 1; add points or fix a parameter",
    );
    says(weighted_mean(&[], &[]), "a mean needs at least 1 point; got 0; add points or fix a parameter");
}

#[test]
fn numbers_that_are_not_numbers() {
    says(
        fit_circle(&[[0.0, 0.0], [1.0, f64::NAN], [0.0, 1.0]], None, Scatter::Known(1.0)),
        "every point coordinate must be a finite number; entry 3 (counted from 0) is NaN",
    );
    says(
        fit_line_weighted(&[1.0, 2.0], &[1.0, f64::INFINITY], &[1.0, 1.0], Intercept::Free),
        "every y must be a finite number; entry 1 (counted from 0) is inf",
    );
}

#[test]
fn numbers_of_the_wrong_sign() {
    says(
        fit_line_weighted(&[1.0, 2.0], &[1.0, 2.0], &[1.0, 0.0], Intercept::Free),
        "every u(y) must be above 0; entry 1 (counted from 0) is 0",
    );
    says(
        fit_circle(&[[0.0, 0.0], [1.0, 0.0], [0.0, 1.0]], Some(&[1.0, -1.0, 1.0]), Scatter::Known(1.0)),
        "every weight must be 0 or above; entry 1 (counted from 0) is -1",
    );
    let bare = LinePoint { x: 1.0, y: 1.0, ..LinePoint::default() };
    says(york(&[bare, bare]), "every u(x) or u(y) must be above 0; entry 0 (counted from 0) is 0");
    says(
        ellipse_foot([0.0, 1.0], [1.0, 1.0]),
        "every semi-axis must be above 0; entry 0 (counted from 0) is 0",
    );
}

#[test]
fn lists_that_do_not_match() {
    says(
        fit_line(&[1.0, 2.0, 3.0], &[1.0, 2.0], Intercept::Free),
        "there must be one y for each of the 3 x values; got 2",
    );
}

#[test]
fn lines_without_a_spread_of_x() {
    says(
        fit_line(&[1.4, 1.4, 1.4], &[1.0, 2.0, 3.0], Intercept::Free),
        "a line needs points at different x; all 3 are at x = 1.4; measure at another setting",
    );
}

#[test]
fn points_without_a_curve() {
    let line: Vec<[f64; 2]> = (0..8).map(|k| [f64::from(k), 2.0 * f64::from(k)]).collect();
    says(
        fit_circle(&line, None, Scatter::FromResiduals),
        "the 8 points lie on one straight line or on one spot, so no circle fits; give points further round the arc",
    );
    says(
        fit_circle(&[[3.0, 3.0]; 5], None, Scatter::FromResiduals),
        "the 5 points lie on one straight line or on one spot, so no circle fits; give points further round the arc",
    );
    says(
        fit_ellipse(&line, None, Scatter::FromResiduals),
        "the 8 points lie on one straight line or on one spot, so no ellipse fits; give points further round the arc",
    );
}

#[test]
fn parameters_that_can_not_be_told_apart() {
    let x: Vec<f64> = (0..6).map(f64::from).collect();
    let product = |p: &[f64]| x.iter().map(|x| 6.0 * x + 1.0 - p[0] * p[1] * x - p[2]).collect();
    says(
        least_squares(&[2.0, 2.5, 0.0], product, &Settings::default()),
        "the least-squares fit can not tell its parameters apart: the effects of parameters 0, 1 (counted from 0) \
         cancel; add data that separates them, or a prior",
    );
    let idle = |p: &[f64]| x.iter().map(|x| x - p[0]).collect();
    says(
        least_squares(&[2.0, 2.5], idle, &Settings::default()),
        "the least-squares fit can not tell its parameters apart: parameter 1 (counted from 0) changes no residual; \
         add data that separates them, or a prior",
    );
    says(
        generalised_mean(&[1.0, 2.0], &DMatrix::from_element(2, 2, 1.0)),
        "the mean of correlated values can not tell its parameters apart: their covariance matrix must be positive \
         definite; add data that separates them, or a prior",
    );
}

#[test]
fn models_that_give_no_number() {
    says(
        least_squares(&[-1.0], |p| vec![p[0].ln(), 1.0], &Settings::default()),
        "every residual must be finite; got NaN at parameters [-1.0]; start within the model's range",
    );
    // At the edge of its range a model is asked on one side only.
    let edge = |p: &[f64]| vec![(1.0 - p[0]).sqrt() - 0.5, 0.1 * p[0]];
    assert!(least_squares(&[1.0 - 1e-9], edge, &Settings::default()).unwrap().converged);
    says(
        propagate(&[Input::new("x", 0.0, 1.0)], None, |x| 1.0 / x[0]),
        "the model must be finite; got inf at parameters [0.0]; start within the model's range",
    );
    let sampler = Sampler::new(&[Source::One(Distribution::Rectangular { low: 0.0, high: 0.0 })]).unwrap();
    says(
        simulate(&sampler, |x| 1.0 / x[0], 0..1, 10, |_| Pcg64::new(1, 1)),
        "the model at every draw must be finite; got inf at parameters [0.0]; start within the model's range",
    );
}

#[test]
fn correlations_that_can_not_be() {
    let inputs = [Input::new("a", 1.0, 1.0), Input::new("b", 1.0, 1.0)];
    let bad = DMatrix::from_row_slice(2, 2, &[1.0, 1.2, 1.2, 1.0]);
    says(
        propagate(&inputs, Some(&bad), |x| x[0] + x[1]),
        "the correlation matrix must be symmetric, 1 on its diagonal and have no negative eigenvalue; \
         its smallest eigenvalue is -2.000e-1",
    );
    let lopsided = DMatrix::from_row_slice(2, 2, &[1.0, 0.5, 0.2, 1.0]);
    says(
        propagate(&inputs, Some(&lopsided), |x| x[0] + x[1]),
        "the correlation matrix must be symmetric, 1 on its diagonal and have no negative eigenvalue; \
         row 1, column 0 (counted from 0) holds 0.2, its mirror image 0.5",
    );
}

#[test]
fn probabilities_and_settings_out_of_range() {
    says(
        weighted_quantiles(&[1.0], None, &[1.5]),
        "a quantile's probability must lie between 0 and 1; got 1.5",
    );
    says(numerical_tolerance(1.0, 0), "the number of significant digits must be 1 to 15; got 0");
    let tilted = LinePoint { x: 1.0, u_x: 1.0, y: 1.0, u_y: 1.0, correlation: 1.0 };
    says(york(&[tilted, tilted]), "the correlation of a point's errors must be above -1 and below 1; got 1");
    says(
        Sampler::new(&[Source::One(Distribution::Rectangular { low: 1.0, high: 0.0 })]),
        "the upper limit must be at or above the lower one; got 0",
    );
}

#[test]
fn fits_that_do_not_settle() {
    let error = FitError::NotConverged { fit: "the circle fit", iterations: 500 };
    assert_eq!(
        error.to_string(),
        "the circle fit did not settle in 500 steps; check the data for outliers or start nearer to the answer"
    );
    let bent = |p: &[f64]| vec![10.0 * (p[1] - p[0] * p[0]), 1.0 - p[0]];
    let settings = Settings { max_iterations: 2, ..Settings::default() };
    assert!(!least_squares(&[-1.2, 1.0], bent, &settings).unwrap().converged);
    let done = least_squares(&[-1.2, 1.0], bent, &Settings::default()).unwrap();
    assert!(done.converged && (done.parameters[0] - 1.0).abs() < 1e-9, "{done:?}");
}
