//! Squared paper and boards drawn with a known camera: spacing, tilt, things in the way, finer and heavier lines.

use arcmass_photo::plane::{CameraHints, TraceInPixels, fit_plane, ring_in_plane};
use arcmass_photo::scale::{ScaleFound, ScaleHints, ScaleKind, find_scale};
use arcmass_photo::{PhotoError, Picture};

use crate::draw::{Dice, Scene, Truth};

/// What is printed, in a square of `half_mm` to each side of the middle.
#[derive(Clone, Copy)]
struct Paper {
    kind: ScaleKind,
    spacing_mm: f64,
    line_mm: f64,
    /// Every so many lines one is twice as wide; 0: none.
    heavier: i64,
    half_mm: f64,
    light_on_dark: bool,
    /// A stick across the picture and a disc, hiding what lies behind.
    hidden: bool,
}

const PLAIN: Paper = Paper {
    kind: ScaleKind::Grid,
    spacing_mm: 5.0,
    line_mm: 0.3,
    heavier: 0,
    half_mm: 60.0,
    light_on_dark: false,
    hidden: false,
};

fn scene(seed: u64, tilt_deg: f64) -> Scene {
    let mut d = Dice::new(seed);
    Scene {
        size: [1300, 900],
        focal_px: d.between(1500.0, 2600.0),
        centre_px: [649.5 + d.between(-8.0, 8.0), 449.5 + d.between(-8.0, 8.0)],
        k1: d.between(-0.05, 0.05),
        px_per_mm: 8.0,
        direction_deg: d.between(0.0, 360.0),
        tilt_axis_deg: d.between(0.0, 180.0),
        tilt_deg,
        // the frame's origin in the middle of the picture
        length_mm: 0.0,
        width_mm: 0.0,
        blur_px: 0.8,
        noise: 0.006,
        seed,
        ..Scene::default()
    }
}

fn step(x: f64) -> f64 {
    0.5 * (1.0 + (1.3 * x).tanh())
}

/// Share of a pixel covered by lines of one family at a place, in millimetres, blurred by `soft`.
fn line(paper: &Paper, at: f64, soft: f64) -> f64 {
    let n = (at / paper.spacing_mm).round();
    let is_heavy = paper.heavier > 0 && (n as i64).rem_euclid(paper.heavier) == 0;
    let half = paper.line_mm * if is_heavy { 1.0 } else { 0.5 };
    let d = at - n * paper.spacing_mm;
    step((d + half) / soft) - step((d - half) / soft)
}

fn ink(paper: &Paper, [u, v]: [f64; 2], soft: f64) -> f64 {
    if u.abs().max(v.abs()) > paper.half_mm {
        return 0.0;
    }
    if paper.kind == ScaleKind::Board {
        let wave = |x: f64| {
            let n = (x / paper.spacing_mm).round();
            let sign = if (n as i64).rem_euclid(2) == 0 { 1.0 } else { -1.0 };
            sign * (2.0 * step((x - n * paper.spacing_mm) / soft) - 1.0)
        };
        return 0.5 + 0.5 * wave(u) * wave(v);
    }
    let (a, b) = (line(paper, u, soft), line(paper, v, soft));
    a + b - a * b
}

fn draw(scene: &Scene, paper: &Paper) -> Picture {
    let truth = Truth::new(scene);
    let mut dice = Dice::new(scene.seed + 5);
    let [w, h] = scene.size;
    let mut rgb = Vec::with_capacity(3 * w * h);
    for y in 0..h {
        for x in 0..w {
            let place = truth.plane([x as f64, y as f64]);
            let next = truth.plane([x as f64 + 1.0, y as f64]);
            let soft = scene.blur_px * (next[0] - place[0]).hypot(next[1] - place[1]);
            let ink = ink(paper, place, soft);
            let [ground, print] = if paper.light_on_dark { [0.15, 0.8] } else { [0.8, 0.15] };
            let mut light = (ground + (print - ground) * ink) * (0.85 + 0.3 * x as f64 / w as f64);
            let stick = (y as f64 - 0.4 * x as f64 - 200.0).abs() < 22.0;
            let disc = (x as f64 - 850.0).hypot(y as f64 - 250.0) < 90.0;
            if paper.hidden && (stick || disc) {
                light = 0.3;
            }
            let seen = light + scene.noise * dice.normal();
            rgb.extend([(255.0 * seen.clamp(0.0, 1.0)).round() as u8; 3]);
        }
    }
    Picture::from_rgb8(w, h, rgb).unwrap()
}

fn hints(paper: &Paper, spacing_mm: f64) -> ScaleHints {
    ScaleHints { kind: paper.kind, spacing_mm: Some(spacing_mm), ..ScaleHints::default() }
}

/// Relative error of a circle's diameter, its relative uncertainty, and what was found.
fn measure(scene: &Scene, paper: &Paper, spacing_mm: f64) -> Result<(f64, f64, ScaleFound), PhotoError> {
    let found = find_scale(&draw(scene, paper), &hints(paper, spacing_mm))?;
    let distance = scene.focal_px / scene.px_per_mm;
    let camera = CameraHints { distance_mm: Some((distance, 0.01 * distance)), ..CameraHints::default() };
    let plane = fit_plane(&found, scene.size, &camera)?;
    let truth = Truth::new(scene);
    let radius = 35.0;
    let points: Vec<[f64; 2]> = (0..120)
        .map(|k| {
            let (s, c) = f64::from(3 * k).to_radians().sin_cos();
            truth.px(5.0 + radius * c, radius * s - 3.0)
        })
        .collect();
    let ring = ring_in_plane(TraceInPixels { points_px: &points, u_px: &[] }, &plane)?;
    Ok((ring.diameter_mm / (2.0 * radius) - 1.0, ring.u_plane_mm / (2.0 * radius), found))
}

#[test]
fn paper_and_boards_give_the_size_from_any_side() {
    let board = Paper { kind: ScaleKind::Board, spacing_mm: 10.0, ..PLAIN };
    let fine = Paper { spacing_mm: 1.0, line_mm: 0.14, heavier: 5, ..PLAIN };
    let dark = Paper { light_on_dark: true, ..PLAIN };
    let covered = Paper { hidden: true, ..PLAIN };
    let covered_board = Paper { hidden: true, ..board };
    let part = Paper { half_mm: 28.0, ..PLAIN };
    let papers =
        [("paper", PLAIN), ("board", board), ("millimetres", fine), ("dark", dark), ("covered", covered)];
    let more = [("covered board", covered_board), ("part", part)];
    for (k, (name, paper)) in papers.into_iter().chain(more).enumerate() {
        for tilt in [1.0, 16.0, 28.0] {
            let scene = scene(100 + k as u64, tilt);
            let (error, u, found) = measure(&scene, &paper, paper.spacing_mm)
                .unwrap_or_else(|e| panic!("{name} seed {} tilt {tilt}: {e}", scene.seed));
            println!(
                "{name} seed {} tilt {tilt}: {:+.4} % u {:.4} %, {} crossings",
                scene.seed,
                100.0 * error,
                100.0 * u,
                found.crossings.len()
            );
            // a twentieth of what the diameter's budget allows, or three times the stated uncertainty
            assert!(error.abs() < f64::max(1e-4, 3.0 * u), "{name}: {error} against {u}");
            assert!(u < 1e-3, "{name}: u {u}");
        }
    }
}

#[test]
fn heavier_lines_are_counted_as_what_they_are() {
    for heavier in [5, 10] {
        let paper = Paper { spacing_mm: 1.0, line_mm: 0.14, heavier, ..PLAIN };
        let (error, _, found) = measure(&scene(31, 3.0), &paper, 1.0).unwrap();
        assert_eq!(found.heavier_every, Some(heavier as i32));
        assert!(error.abs() < 1e-4);
    }
}

#[test]
fn a_spacing_that_no_lens_allows_is_refused() {
    // lines every millimetre said to be ten apart, and lines ten apart said to be one: half and double periods' big brothers
    let fine = Paper { spacing_mm: 1.0, line_mm: 0.14, heavier: 10, ..PLAIN };
    let coarse = Paper { spacing_mm: 10.0, ..PLAIN };
    for (paper, said) in [(fine, 10.0), (coarse, 1.0)] {
        let result = measure(&scene(41, 2.0), &paper, said);
        assert!(matches!(result, Err(PhotoError::ScaleUnclear { .. })), "{:?}", result.map(|r| r.0));
    }
}

#[test]
fn a_picture_without_paper_says_so() {
    let nothing = Paper { half_mm: 0.0, ..PLAIN };
    let none = find_scale(&draw(&scene(51, 0.0), &nothing), &hints(&nothing, 5.0));
    assert!(matches!(none, Err(PhotoError::NoScale { .. })), "{none:?}");
}
