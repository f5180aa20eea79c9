//! Rings of photoelectrons that a camera saw, drawn again from their measured cross-sections, against a general library's fit.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

use std::path::Path;

use arcmass_fit::{Scatter, fit_circle};
use arcmass_photo::{PhotoError, Picture, RingHints, find_ring};

/// Side of the camera's picture.
const SIDE_PX: usize = 1024;
/// The profiles hold the light from so far inside to so far outside the nominal radius, in steps.
const REACH_PX: f64 = 12.0;
const STEP_PX: f64 = 0.5;

fn read(name: &str) -> String {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../tests/data/neutral");
    std::fs::read_to_string(folder.join(name)).unwrap()
}

/// Profiles around one ring, at even angles from 2.5° on.
struct Profiles {
    centre: [f64; 2],
    nominal_px: f64,
    light: Vec<Vec<f64>>,
}

impl Profiles {
    fn of(nominal: &str) -> Self {
        let text = read("electron_profiles.csv");
        let head: Vec<f64> = text.split_whitespace().filter_map(|word| word.parse().ok()).take(2).collect();
        let rows = text.lines().skip(2).map(|line| line.split(',').collect::<Vec<_>>());
        let own = rows.filter(|row| row[0] == nominal);
        let light: Vec<Vec<f64>> =
            own.map(|row| row[2..].iter().map(|text| text.parse().unwrap()).collect()).collect();
        assert_eq!((light.len(), light[0].len()), (72, 49), "{nominal}");
        Self { centre: [head[0], head[1]], nominal_px: nominal.parse().unwrap(), light }
    }

    /// Light at a pixel, between angles and radii; beyond the profiles their ends' own.
    fn at(&self, x: usize, y: usize) -> f64 {
        let (dx, dy) = (x as f64 - self.centre[0], y as f64 - self.centre[1]);
        let k = ((dx.hypot(dy) - self.nominal_px + REACH_PX) / STEP_PX).clamp(0.0, 47.999);
        let turn = (dy.atan2(dx).to_degrees().rem_euclid(360.0) - 2.5).rem_euclid(360.0) / 5.0;
        let (low, row) = (k as usize, turn as usize % 72);
        let along = |row: usize| {
            let part = k - low as f64;
            self.light[row][low] * (1.0 - part) + self.light[row][low + 1] * part
        };
        let part = turn - turn.floor();
        along(row) * (1.0 - part) + along((row + 1) % 72) * part
    }

    fn picture(&self) -> Picture {
        let brightest = self.light.iter().flatten().copied().fold(0.0, f64::max);
        let mut rgb = Vec::with_capacity(3 * SIDE_PX * SIDE_PX);
        for y in 0..SIDE_PX {
            for x in 0..SIDE_PX {
                let light = 0.9 * self.at(x, y) / brightest;
                // sRGB (IEC 61966-2-1:1999), so that the measurement sees the light itself
                let encoded =
                    if light <= 0.003_130_8 { 12.92 * light } else { 1.055 * light.powf(1.0 / 2.4) - 0.055 };
                rgb.extend([(255.0 * encoded).round() as u8; 3]);
            }
        }
        Picture::from_rgb8(SIDE_PX, SIDE_PX, rgb).unwrap()
    }
}

/// Centre and radius by a general library.
fn library(nominal: &str, method: &str) -> [f64; 3] {
    let text = read("library.csv");
    let line =
        text.lines().find(|line| line.starts_with(&format!("electron-rings,{nominal},{method},"))).unwrap();
    let numbers: Vec<f64> = line.split(',').skip(3).take(3).map(|text| text.parse().unwrap()).collect();
    [numbers[0], numbers[1], numbers[2]]
}

/// These are no beams: the light inside a ring is a step and no haze that fades, and a ring's height changes along it by a factor
/// of three. Where such a line is not believed over 60° it must be refused; where it is, its radius must be the library's with
/// light inside the line. How much of that light belongs to the line is a matter of the model: without any, the library's radius
/// is smaller by 0.4 px, so half the way between its two models is what agreement with one of them can mean.
#[test]
fn rings_of_photoelectrons_have_the_radius_that_a_general_library_finds_or_are_refused() {
    let mut measured = 0;
    for nominal in ["266.0", "359.5", "379.0"] {
        let [model, bare] = ["scipy-gaussian-and-step-circle", "scipy-gaussian-circle"]
            .map(|method| library(nominal, method));
        let trace = match find_ring(&Profiles::of(nominal).picture(), &RingHints::default()) {
            Ok(trace) => trace,
            Err(PhotoError::ArcTooShort { seen_deg, .. }) => {
                println!("{nominal}: refused, {seen_deg:.0}° believed");
                continue;
            }
            Err(other) => panic!("{nominal}: {other}"),
        };
        // a circle on both sides: half a ring does not hold an ellipse's axes
        let believed = trace.points.iter().filter(|point| point.accepted);
        let points: Vec<[f64; 2]> = believed.map(|point| [point.x_px, point.y_px]).collect();
        let circle = fit_circle(&points, None, Scatter::FromResiduals).unwrap();
        let radius = circle.radius;
        let centre = (circle.centre[0] - model[0]).hypot(circle.centre[1] - model[1]);
        println!(
            "{nominal}: {radius:.2} px over {:.0}°, the library {:.2}, without light inside {:.2}; centres {centre:.2} apart",
            trace.arc_seen_deg, model[2], bare[2],
        );
        let allowed = 0.5 * (model[2] - bare[2]);
        // where the finer cross-section is not believed its plain middle is taken, which knows of no light inside
        let agrees = [model[2], bare[2]].into_iter().any(|library| (radius - library).abs() < allowed);
        assert!(agrees && centre < allowed, "{nominal}: {radius} against {model:?}");
        measured += 1;
    }
    assert!(measured > 0, "none was measured");
}
