//! Circles and ellipses: the examples of Gander, Golub and Strebel, short arcs, nearest points, projected circles.

use super::table::{Case, number};
use arcmass_fit::{Scatter, ellipse_foot, fit_circle, fit_ellipse, taubin_circle};

/// Cases of the geometry table that other crates answer for, by the start of their names.
pub(crate) const SKIPPED: [(&str, &str); 6] = [
    ("circle6-kasa", "Kåsa's fit is biased on arcs and is not offered"),
    ("circle6-pratt", "Pratt's fit is not offered; Taubin's starts the geometric fit"),
    ("ggs-circle-algebraic", "the plain algebraic fit is not offered"),
    ("circle-arc120-kasa", "Kåsa's fit is biased on arcs and is not offered"),
    ("parallax-scale", "belongs to the photograph's scale"),
    ("shell-", "refraction in the glass belongs to the photograph"),
];

pub(crate) fn check(c: &Case) -> bool {
    match c.id.as_str() {
        "ggs-circle-geometric" => circle_six(c),
        "circle6-taubin" => taubin(c),
        "circle-3pts" => three_points(c),
        "circle-arc120" => arc(c),
        "ggs-ellipse-geometric" => ellipse_eight(c),
        id if id.starts_with("ellipse-foot-") => nearest(c),
        id if id.starts_with("circle-image-") => image_of_circle(c),
        _ => return false,
    }
    true
}

/// Tolerance the row states for its covariances and uncertainties.
const UNCERTAINTY_REL: f64 = 1e-6;

fn circle_six(c: &Case) {
    let circle = fit_circle(&c.points(), None, Scatter::Known(1.0)).unwrap();
    c.agrees("x0", circle.centre[0]);
    c.agrees("y0", circle.centre[1]);
    c.agrees("r", circle.radius);
    c.agrees("sum_sq", circle.rms.powi(2) * 6.0);
    let unit = c.expected_value("cov_unit").as_array().unwrap();
    for (i, row) in unit.iter().enumerate() {
        for (j, want) in row.as_array().unwrap().iter().map(number).enumerate() {
            c.compare("cov_unit", circle.covariance[(i, j)], want, UNCERTAINTY_REL * want.abs());
        }
    }
}

fn taubin(c: &Case) {
    let (centre, radius) = taubin_circle(&c.points(), None).unwrap();
    c.agrees("x0", centre[0]);
    c.agrees("y0", centre[1]);
    c.agrees("r", radius);
}

fn three_points(c: &Case) {
    let circle = fit_circle(&c.points(), None, Scatter::Known(1.0)).unwrap();
    c.agrees("x0", circle.centre[0]);
    c.agrees("y0", circle.centre[1]);
    c.agrees("r", circle.radius);
}

fn arc(c: &Case) {
    let circle = fit_circle(&c.points(), None, Scatter::FromResiduals).unwrap();
    c.agrees("x0", circle.centre[0]);
    c.agrees("y0", circle.centre[1]);
    c.agrees("r", circle.radius);
    c.agrees("sum_sq", circle.rms.powi(2) * 13.0);
    let u = |i: usize| circle.covariance[(i, i)].sqrt();
    let within = |key: &str| UNCERTAINTY_REL * c.expected(key).abs();
    c.agrees_within("u_x0", u(0), within("u_x0"));
    c.agrees_within("u_y0", u(1), within("u_y0"));
    c.agrees_within("u_r", u(2), within("u_r"));
    let corr = circle.covariance[(0, 2)] / (u(0) * u(2));
    c.agrees_within("corr_x0_r", corr, within("corr_x0_r"));
}

fn ellipse_eight(c: &Case) {
    let e = fit_ellipse(&c.points(), None, Scatter::FromResiduals).unwrap();
    c.agrees("xc", e.centre[0]);
    c.agrees("yc", e.centre[1]);
    c.agrees("a", e.semi_axes[0]);
    c.agrees("b", e.semi_axes[1]);
    c.agrees("alpha_rad", e.angle_rad);
    c.agrees_within("sum_sq", e.rms.powi(2) * 8.0, 1e-10);
}

fn nearest(c: &Case) {
    let point = c.inputs("point");
    let foot = ellipse_foot([c.input("a"), c.input("b")], [point[0], point[1]]).unwrap();
    c.agrees("distance", foot.distance);
    let want = c.expected_list("foot");
    c.compare("foot x", foot.foot[0], want[0], c.tolerance("abs"));
    // On the major axis two feet are equally near; the row gives the size of y.
    let y = if point[1] == 0.0 { foot.foot[1].abs() } else { foot.foot[1] };
    c.compare("foot y", y, want[1], c.tolerance("abs"));
}

/// The ellipse through the image points of a tilted circle (the projection itself is the photograph's business).
fn image_of_circle(c: &Case) {
    let points: Vec<[f64; 2]> = c
        .expected_value("image_points")
        .as_array()
        .unwrap()
        .iter()
        .map(|p| [number(&p[0]), number(&p[1])])
        .collect();
    let e = fit_ellipse(&points, None, Scatter::FromResiduals).unwrap();
    let tolerance = c.tolerance("abs_px");
    c.agrees_within("xc", e.centre[0], tolerance);
    c.agrees_within("yc", e.centre[1], tolerance);
    c.agrees_within("a", e.semi_axes[0], tolerance);
    c.agrees_within("b", e.semi_axes[1], tolerance);
}
