//! Edge points of pictures that have nothing to do with this bench, against what general-purpose libraries make of them.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

use std::collections::BTreeMap;
use std::f64::consts::PI;
use std::path::Path;

use arcmass_fit::{Scatter, direct_ellipse, fit_circle, fit_ellipse};

/// Both sides minimise the same orthogonal distances; each stops where a step moves nothing in the last digits. Near a flat
/// minimum the sum of squares does not change within rounding over some 1e-8 of the radius, 20 to 120 px here.
const SAME_CIRCLE_PX: f64 = 1e-6;
/// An ellipse that is nearly round holds its angle and its axes' difference ten times less well.
const SAME_ELLIPSE_PX: f64 = 1e-5;
/// The direct ellipse is one eigenvector problem; its matrices lose eight of sixteen digits.
const SAME_DIRECT_PX: f64 = 1e-7;
/// OpenCV has its points in single precision: 24 bits of some 350 px are 2e-5 px.
const SAME_SINGLE_PX: f64 = 1e-4;

/// Rows of a table of the set, its heading left out.
fn table(name: &str) -> Vec<Vec<String>> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../tests/data/neutral");
    let text = std::fs::read_to_string(folder.join(name)).unwrap();
    text.lines().skip(1).map(|line| line.split(',').map(str::to_owned).collect()).collect()
}

/// Points of each item, by its set and name.
fn points() -> BTreeMap<String, Vec<[f64; 2]>> {
    let mut items: BTreeMap<String, Vec<[f64; 2]>> = BTreeMap::new();
    for row in table("points.csv") {
        let point = [row[2].parse().unwrap(), row[3].parse().unwrap()];
        items.entry(format!("{} {}", row[0], row[1])).or_default().push(point);
    }
    items
}

/// What each library says: item, method, numbers.
fn library() -> Vec<(String, String, Vec<f64>)> {
    let numbers = |row: &[String]| row.iter().filter(|t| !t.is_empty()).map(|t| t.parse().unwrap()).collect();
    table("library.csv")
        .into_iter()
        .filter(|row| row[0] != "electron-rings")
        .map(|row| (format!("{} {}", row[0], row[1]), row[2].clone(), numbers(&row[3..])))
        .collect()
}

/// Largest difference in centre and axes, and of the axis' direction as a length on the outline.
fn apart(ours: &arcmass_fit::Ellipse, theirs: &[f64]) -> f64 {
    let [a, b] = ours.semi_axes;
    let turned = (ours.angle_rad - theirs[4] + 0.5 * PI).rem_euclid(PI) - 0.5 * PI;
    [ours.centre[0] - theirs[0], ours.centre[1] - theirs[1], a - theirs[2], b - theirs[3], (a - b) * turned]
        .into_iter()
        .map(f64::abs)
        .fold(0.0, f64::max)
}

#[test]
fn coins_and_a_cup_are_the_circles_and_ellipses_that_other_libraries_find() {
    let points = points();
    assert_eq!(points.len(), 22, "21 coins and the rim of a cup");
    let mut largest: BTreeMap<String, (f64, f64, usize)> = BTreeMap::new();
    for (item, method, theirs) in library() {
        let cloud = &points[&item];
        let (difference, allowed) = match method.as_str() {
            "scipy-least-squares-circle" | "scikit-image-CircleModel" => {
                let ours = fit_circle(cloud, None, Scatter::FromResiduals).unwrap();
                let off = (ours.centre[0] - theirs[0]).hypot(ours.centre[1] - theirs[1]);
                let off = off.max((ours.radius - theirs[2]).abs());
                // an algebraic circle weighs far points more: it leans outwards by about σ²/2r, and its centre goes with
                // uneven outlines by as much again (Chernov 2010, § 5.2)
                let leans = 5.0 * ours.rms * ours.rms / ours.radius;
                (off, if method.starts_with("scipy") { SAME_CIRCLE_PX } else { leans })
            }
            "scipy-least-squares-ellipse" => {
                let ours = fit_ellipse(cloud, None, Scatter::FromResiduals).unwrap();
                (apart(&ours, &theirs), SAME_ELLIPSE_PX)
            }
            "scikit-image-EllipseModel" => {
                (apart(&direct_ellipse(cloud, None).unwrap(), &theirs), SAME_DIRECT_PX)
            }
            "opencv-fitEllipseDirect" => {
                (apart(&direct_ellipse(cloud, None).unwrap(), &theirs), SAME_SINGLE_PX)
            }
            other => panic!("no such method: {other}"),
        };
        let seen = largest.entry(method.clone()).or_insert((0.0, 0.0, 0));
        *seen = (seen.0.max(difference), seen.1.max(difference / allowed), seen.2 + 1);
        assert!(difference < allowed, "{item}, {method}: {difference} px apart, {allowed} allowed");
    }
    for (method, (px, share, count)) in &largest {
        println!("{method}: {count} items, {px:.2e} px apart at most, {share:.2} of what is allowed");
    }
    assert_eq!(largest.len(), 5);
}
