//! Straight lines: certified data sets, thermometer calibration, uncertainties in both variables.

use super::table::{Case, case};
use arcmass_fit::{Intercept, Line, LinePoint, fit_line, fit_line_weighted, york};

pub(crate) fn check(c: &Case) -> bool {
    match c.id.as_str() {
        "nist-norris" => norris(c),
        "nist-noint1" | "nist-noint2" => through_origin(c),
        "gum-h3" => thermometer(c),
        "gum-h3-systematic" => common_offset(c),
        "york-pearson" | "york-correlated" => both_variables(c),
        "wls-pearson-swapped" => weighted_swapped(c),
        "pearson-ols-yx" | "pearson-ols-xy" => ordinary(c),
        "pearson-orthogonal" => orthogonal(c),
        "wls-origin" => known_origin(c),
        "wls-intercept" => known_intercept(c),
        "odr-pearson" => orthogonal_distances(c),
        "odr-field-line" => effective_variance(c),
        "least-squares-field-line" => exact_currents(c),
        _ => return false,
    }
    true
}

fn norris(c: &Case) {
    let line = fit_line(&c.inputs("x"), &c.inputs("y"), Intercept::Free).unwrap();
    c.agrees("B0", line.intercept);
    c.agrees("B1", line.slope);
    c.agrees("u_B0", line.intercept_uncertainty());
    c.agrees("u_B1", line.slope_uncertainty());
    c.agrees("residual_ss", line.chi_squared);
    c.agrees("residual_sd", line.birge_ratio().unwrap());
    c.agrees("corr", line.correlation());
}

fn through_origin(c: &Case) {
    let line = fit_line(&c.inputs("x"), &c.inputs("y"), Intercept::Zero).unwrap();
    c.agrees("B1", line.slope);
    c.agrees("u_B1", line.slope_uncertainty());
    c.agrees("residual_ss", line.chi_squared);
    c.agrees("residual_sd", line.birge_ratio().unwrap());
    assert_eq!(line.intercept, 0.0);
}

fn thermometer_line(c: &Case) -> Line {
    let t0 = c.input("t0_C");
    let t: Vec<f64> = c.inputs("t_C").iter().map(|t| t - t0).collect();
    fit_line(&t, &c.inputs("b_C"), Intercept::Free).unwrap()
}

fn thermometer(c: &Case) {
    let line = thermometer_line(c);
    let (b30, u_b30) = line.at(c.input("predict_at_C") - c.input("t0_C"));
    c.agrees("y1", line.intercept);
    c.agrees("u_y1", line.intercept_uncertainty());
    c.agrees("y2", line.slope);
    c.agrees("u_y2", line.slope_uncertainty());
    c.agrees("corr", line.correlation());
    c.agrees("s", line.birge_ratio().unwrap());
    c.agrees("b30", b30);
    c.agrees("u_b30", u_b30);
    c.agrees_within("dof", line.dof as f64, 0.0);
}

/// A shared offset of all ordinates moves the intercept alone.
fn common_offset(c: &Case) {
    let line = thermometer_line(&case("lines.toml", "gum-h3"));
    c.agrees("u_y1", line.intercept_uncertainty().hypot(c.input("u_common")));
    c.agrees("u_y2", line.slope_uncertainty());
}

fn both_variables(c: &Case) {
    let correlated = c.id == "york-correlated";
    let (x, y) = (c.inputs("x"), c.inputs("y"));
    let (wx, wy) = (c.inputs("weight_x"), c.inputs("weight_y"));
    let r = if correlated { c.inputs("r") } else { vec![0.0; x.len()] };
    let points: Vec<LinePoint> = (0..x.len())
        .map(|i| LinePoint {
            x: x[i],
            u_x: wx[i].powf(-0.5),
            y: y[i],
            u_y: wy[i].powf(-0.5),
            correlation: r[i],
        })
        .collect();
    let line = york(&points).unwrap();
    c.agrees("a", line.intercept);
    c.agrees("b", line.slope);
    c.agrees("u_a", line.intercept_uncertainty());
    c.agrees("u_b", line.slope_uncertainty());
    c.agrees("S", line.chi_squared);
    if !correlated {
        let birge = line.birge_ratio().unwrap();
        c.agrees("cov_ab", line.covariance[(0, 1)]);
        c.agrees("S_over_n_minus_2", birge * birge);
        c.agrees("u_a_scaled", line.intercept_uncertainty() * birge);
        c.agrees("u_b_scaled", line.slope_uncertainty() * birge);
    }
}

fn weighted_swapped(c: &Case) {
    let u: Vec<f64> = c.inputs("weight_y").iter().map(|w| w.powf(-0.5)).collect();
    let line = fit_line_weighted(&c.inputs("x"), &c.inputs("y"), &u, Intercept::Free).unwrap();
    c.agrees("a", line.intercept);
    c.agrees("b", line.slope);
    c.agrees("var_a", line.covariance[(0, 0)]);
    c.agrees("var_b", line.covariance[(1, 1)]);
    c.agrees("cov_ab", line.covariance[(0, 1)]);
    c.agrees("chi2", line.chi_squared);
}

fn ordinary(c: &Case) {
    let line = fit_line(&c.inputs("x"), &c.inputs("y"), Intercept::Free).unwrap();
    c.agrees("a", line.intercept);
    c.agrees("b", line.slope);
    c.agrees("u_a", line.intercept_uncertainty());
    c.agrees("u_b", line.slope_uncertainty());
}

/// Equal uncertainties in both variables make York's line the orthogonal one.
fn orthogonal(c: &Case) {
    let (x, y) = (c.inputs("x"), c.inputs("y"));
    let points: Vec<LinePoint> = x
        .iter()
        .zip(&y)
        .map(|(x, y)| LinePoint { x: *x, u_x: 1.0, y: *y, u_y: 1.0, correlation: 0.0 })
        .collect();
    let line = york(&points).unwrap();
    c.agrees("a", line.intercept);
    c.agrees("b", line.slope);
}

fn known_origin(c: &Case) {
    let line = fit_line_weighted(&c.inputs("x"), &c.inputs("y"), &c.inputs("u_y"), Intercept::Zero).unwrap();
    c.agrees("b", line.slope);
    c.agrees("u_b", line.slope_uncertainty());
    c.agrees("chi2", line.chi_squared);
    c.agrees("birge", line.birge_ratio().unwrap());
    c.agrees_within("dof", line.dof as f64, 0.0);
}

fn known_intercept(c: &Case) {
    let line = fit_line_weighted(&c.inputs("x"), &c.inputs("y"), &c.inputs("u_y"), Intercept::Free).unwrap();
    c.agrees("a", line.intercept);
    c.agrees("b", line.slope);
    c.agrees("u_a", line.intercept_uncertainty());
    c.agrees("u_b", line.slope_uncertainty());
    c.agrees("cov_ab", line.covariance[(0, 1)]);
    c.agrees("chi2", line.chi_squared);
    c.agrees_within("dof", line.dof as f64, 0.0);
}

/// Another program's orthogonal distances are York's line.
fn orthogonal_distances(c: &Case) {
    let u = |weights: Vec<f64>| weights.into_iter().map(|w| w.powf(-0.5)).collect();
    let data = case("lines.toml", "york-pearson");
    let (u_x, u_y): (Vec<f64>, Vec<f64>) = (u(data.inputs("weight_x")), u(data.inputs("weight_y")));
    compare_york(c, &data, &u_x, &u_y);
}

fn effective_variance(c: &Case) {
    compare_york(c, c, &c.inputs("u_x"), &c.inputs("u_y"));
}

fn compare_york(c: &Case, data: &Case, u_x: &[f64], u_y: &[f64]) {
    let (x, y) = (data.inputs("x"), data.inputs("y"));
    let points: Vec<LinePoint> = (0..x.len())
        .map(|i| LinePoint { x: x[i], u_x: u_x[i], y: y[i], u_y: u_y[i], correlation: 0.0 })
        .collect();
    let line = york(&points).unwrap();
    c.agrees("a", line.intercept);
    c.agrees("b", line.slope);
    c.agrees("S", line.chi_squared);
}

fn exact_currents(c: &Case) {
    let data = case("lines.toml", "odr-field-line");
    let (x, y, u_y) = (data.inputs("x"), data.inputs("y"), data.inputs("u_y"));
    let line = fit_line_weighted(&x, &y, &u_y, Intercept::Free).unwrap();
    c.agrees("a", line.intercept);
    c.agrees("b", line.slope);
    c.agrees("u_a", line.intercept_uncertainty());
    c.agrees("u_b", line.slope_uncertainty());
    c.agrees("cov_ab", line.covariance[(0, 1)]);
    c.agrees("chi2", line.chi_squared);
}
