//! Rulers drawn at many directions, tilts, kinds, colours and qualities: numbers, spacing, and the size they give.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

mod draw;
mod lattice;

use arcmass_photo::PhotoError;
use arcmass_photo::plane::{CameraHints, TraceInPixels, fit_plane, ring_in_plane};
use arcmass_photo::scale::{ScaleFound, ScaleHints, find_scale};
use draw::{Dice, Marks, Scene, Truth, draw};

/// What one drawing gave.
struct Outcome {
    /// Relative error of the diameter of a circle in the plane and its stated uncertainty.
    error: f64,
    u: f64,
    cautions: Vec<&'static str>,
    seconds: [f64; 2],
}

/// Steps between neighbouring numbers must be the true ones: no mark may be skipped, doubled or shifted.
fn numbers_are_true(found: &ScaleFound, scene: &Scene, truth: &Truth) -> Result<(), String> {
    let row = &found.rows[0];
    let spacing = row.spacing_mm.ok_or("no spacing")?;
    let place = |k: usize| {
        let m = &row.marks[k];
        let p = [0, 1].map(|c| (m.points_px[0][c] + m.points_px[1][c]) / 2.0);
        truth.plane(p)[0]
    };
    let last = row.marks.len() - 1;
    let sense = (place(last) - place(0)).signum();
    let mut wrong = 0;
    for k in 0..=last {
        let true_mm = sense * (place(k) - place(last / 2));
        let said_mm = spacing * f64::from(row.marks[k].number - row.marks[last / 2].number);
        if (true_mm - said_mm).abs() > 0.3 * spacing {
            wrong += 1;
        }
    }
    if wrong * 20 > last {
        return Err(format!(
            "{wrong} of {} marks misnumbered, spacing {spacing}, {:?}",
            last + 1,
            scene.edges
        ));
    }
    Ok(())
}

fn measure(scene: &Scene, hints: &ScaleHints) -> Result<Outcome, String> {
    let picture = draw(scene).ok_or("three bytes a pixel")?;
    let truth = Truth::new(scene);
    let start = std::time::Instant::now();
    let found = find_scale(&picture, hints).map_err(|e| e.to_string())?;
    let searched = start.elapsed().as_secs_f64();
    numbers_are_true(&found, scene, &truth)?;
    let distance = scene.focal_px / scene.px_per_mm;
    let camera = CameraHints { distance_mm: Some((distance, 0.01 * distance)), ..CameraHints::default() };
    let start = std::time::Instant::now();
    let plane = fit_plane(&found, scene.size, &camera).map_err(|e| e.to_string())?;
    let fitted = start.elapsed().as_secs_f64();
    // a ring about the ruler's middle, a quarter of the picture's height across
    let radius = scene.size[1] as f64 / scene.px_per_mm / 4.0;
    let points: Vec<[f64; 2]> = (0..180)
        .map(|k| {
            let (s, c) = f64::from(2 * k).to_radians().sin_cos();
            truth.px(scene.length_mm / 2.0 + radius * c, scene.width_mm / 2.0 + radius * s)
        })
        .collect();
    let trace = TraceInPixels { points_px: &points, u_px: &[] };
    let ring = ring_in_plane(trace, &plane).map_err(|e| e.to_string())?;
    let cautions = found.caveats.iter().chain(&plane.caveats).map(|c| c.code).collect();
    Ok(Outcome {
        error: ring.diameter_mm / (2.0 * radius) - 1.0,
        u: ring.u_plane_mm / (2.0 * radius),
        cautions,
        seconds: [searched, fitted],
    })
}

fn varied(seed: u64) -> Scene {
    let mut d = Dice::new(seed);
    for _ in 0..5 {
        d.unit();
    }
    let focal = d.between(2600.0, 6000.0);
    Scene {
        focal_px: focal,
        centre_px: [1199.5 + d.between(-15.0, 15.0), 799.5 + d.between(-15.0, 15.0)],
        k1: d.between(-0.06, 0.06),
        px_per_mm: d.between(5.0, 14.0),
        direction_deg: d.between(0.0, 360.0),
        tilt_axis_deg: d.between(0.0, 180.0),
        tilt_deg: d.between(0.0, 25.0),
        shift_px: [d.between(-150.0, 150.0), d.between(-150.0, 150.0)],
        gap_mm: if d.unit() < 0.4 { 0.0 } else { 0.5 },
        line_mm: d.between(0.15, 0.3),
        blur_px: d.between(0.6, 1.5),
        noise: d.between(0.0, 0.02),
        seed,
        ..Scene::default()
    }
}

/// Runs scenes, prints a line each, and asserts what must hold for all.
fn all(name: &str, scenes: Vec<Scene>, hints: &ScaleHints, limit: f64, fewest: usize) {
    let total = scenes.len();
    let mut failures = Vec::new();
    let (mut good, mut inside) = (0, 0);
    for scene in scenes {
        match measure(&scene, hints) {
            Ok(o) => {
                println!(
                    "{name} {}: tilt {:.0}° error {:+.4} % u {:.4} % {:?} {:.2?} s",
                    scene.seed,
                    scene.tilt_deg,
                    100.0 * o.error,
                    100.0 * o.u,
                    o.cautions,
                    o.seconds
                );
                good += usize::from(o.error.abs() < limit);
                inside += usize::from(o.error.abs() < 2.0 * o.u);
                if o.error.abs() > 0.004 && o.cautions.is_empty() {
                    failures.push(format!(
                        "{name} {}: wrong by {:+.3} % without a caution",
                        scene.seed,
                        100.0 * o.error
                    ));
                }
            }
            Err(e) => {
                println!(
                    "{name} {}: {e}  tilt {:.0}° px/mm {:.1} direction {:.0}",
                    scene.seed, scene.tilt_deg, scene.px_per_mm, scene.direction_deg
                );
                if e.contains("misnumbered") {
                    failures.push(format!("{name} {}: {e}", scene.seed));
                }
            }
        }
    }
    println!(
        "{name}: {good} of {total} within {:.2} %, {inside} within twice their uncertainty",
        100.0 * limit
    );
    assert!(failures.is_empty(), "{failures:#?}");
    assert!(good >= fewest, "{name}: only {good} of {total} within {:.2} %", 100.0 * limit);
    assert!(
        10 * inside >= 8 * total,
        "{name}: only {inside} of {total} within twice their stated uncertainty"
    );
}

#[test]
fn upright_rulers_in_all_directions() {
    let scenes = (1..=8).map(|s| Scene { tilt_deg: 1.0, ..varied(s) }).collect();
    all("upright", scenes, &ScaleHints::default(), 5e-4, 8);
}

#[test]
fn tilted_rulers_in_all_directions() {
    let scenes = (11..=20).map(|s| Scene { tilt_deg: 8.0 + 1.7 * (s as f64 - 11.0), ..varied(s) }).collect();
    all("tilted", scenes, &ScaleHints::default(), 2e-3, 10);
}

#[test]
fn other_colours_and_kinds() {
    let white_on_dark = |s| Scene { ground: [0.1; 3], ink: [0.75; 3], around: [0.4; 3], ..varied(s) };
    let yellow = |s| Scene { ground: [0.8, 0.65, 0.1], ..varied(s) };
    let wood =
        |s| Scene { ground: [0.6, 0.42, 0.25], ink: [0.15; 3], around: [0.65; 3], grain: 0.2, ..varied(s) };
    let lit = |s| Scene { ground: [0.9; 3], around: [0.95; 3], ink: [0.3; 3], ..varied(s) };
    let plain = |s| Scene { edges: [Marks::Millimetres, Marks::None], ..varied(s) };
    let both = |s| Scene { edges: [Marks::Millimetres, Marks::Millimetres], ..varied(s) };
    let scenes = vec![
        white_on_dark(31),
        white_on_dark(32),
        yellow(33),
        wood(34),
        wood(35),
        lit(36),
        plain(37),
        plain(38),
        both(39),
    ];
    all("kinds", scenes, &ScaleHints::default(), 2e-3, 9);
}

#[test]
fn half_millimetres_and_sixteenths_are_told_apart() {
    let half =
        |s| Scene { edges: [Marks::HalfMillimetres, Marks::Millimetres], px_per_mm: 13.0, ..varied(s) };
    let inch = |s| Scene { edges: [Marks::Sixteenths, Marks::None], ..varied(s) };
    all("rhythm", vec![half(41), half(42), inch(43), inch(44)], &ScaleHints::default(), 2e-3, 4);
}

/// Millimetres three to five pixels apart are countable, if barely.
#[test]
fn rulers_with_few_pixels_a_millimetre() {
    let small = |s: u64| {
        let scene = varied(s);
        let px_per_mm = 3.2 + 0.3 * (s as f64 - 61.0);
        // a ruler in the middle, sharp: a small picture, not a bad one
        Scene {
            px_per_mm,
            length_mm: 200.0,
            focal_px: 2400.0,
            size: [1500, 1000],
            centre_px: [749.5, 499.5],
            shift_px: [0.2 * scene.shift_px[0], 0.2 * scene.shift_px[1]],
            tilt_deg: 0.5 * scene.tilt_deg,
            line_mm: 0.25,
            blur_px: 0.6,
            noise: 0.008,
            edges: if s.is_multiple_of(2) { scene.edges } else { [Marks::Millimetres; 2] },
            ..scene
        }
    };
    let stated = ScaleHints { spacing_mm: Some(1.0), ..ScaleHints::default() };
    all("few pixels", (61..=67).map(small).collect(), &stated, 2e-3, 7);
}

/// The windings of coils are rows of parallel lines, too, and may be more contrasty than a short ruler between them.
#[test]
fn rulers_between_wound_coils() {
    let wound = |s: u64, length_mm: f64| Scene {
        length_mm,
        edges: [Marks::Millimetres, Marks::None],
        px_per_mm: 5.0,
        shift_px: [60.0, -40.0],
        size: [1800, 1200],
        centre_px: [899.5, 599.5],
        focal_px: 3000.0,
        tilt_deg: 3.0,
        windings: Some([430.0, 580.0, 6.5]),
        blur_px: 0.7,
        noise: 0.01,
        ..varied(s)
    };
    let stated = ScaleHints { spacing_mm: Some(1.0), ..ScaleHints::default() };
    all("wound", vec![wound(71, 70.0), wound(72, 70.0), wound(73, 150.0)], &stated, 3e-3, 3);
}

#[test]
fn hidden_and_cropped_rulers() {
    let clamped =
        |s| Scene { hidden: vec![[90.0, 120.0, -5.0, 40.0], [160.0, 175.0, -5.0, 14.0]], ..varied(s) };
    let cropped = |s| Scene { length_mm: 600.0, ..varied(s) };
    let short = |s| Scene { length_mm: 60.0, ..varied(s) };
    all(
        "hidden",
        vec![clamped(51), clamped(52), clamped(53), cropped(54), cropped(55), short(56), short(57)],
        &ScaleHints::default(),
        3e-3,
        7,
    );
}

#[test]
fn centimetre_marks_alone_need_a_stated_spacing() {
    let scene = Scene { edges: [Marks::Centimetres, Marks::None], line_mm: 0.8, ..Scene::default() };
    let unclear = find_scale(&draw(&scene).expect("three bytes a pixel"), &ScaleHints::default());
    assert!(
        matches!(unclear, Err(PhotoError::ScaleUnclear { .. } | PhotoError::NoScale { .. })),
        "{unclear:?}"
    );
    let stated = ScaleHints { spacing_mm: Some(10.0), ..ScaleHints::default() };
    let outcome = measure(&scene, &stated).expect("a stated spacing");
    println!("centimetres: {:+.4} % u {:.4} %", 100.0 * outcome.error, 100.0 * outcome.u);
    assert!(outcome.error.abs() < 2e-3);
    assert!(outcome.cautions.contains(&"scale-spacing-stated"));
}

#[test]
fn a_picture_without_a_scale_says_so() {
    let scene = Scene { edges: [Marks::None, Marks::None], grain: 0.3, noise: 0.02, ..Scene::default() };
    let none = find_scale(&draw(&scene).expect("three bytes a pixel"), &ScaleHints::default());
    assert!(matches!(none, Err(PhotoError::NoScale { .. })), "{none:?}");
}
