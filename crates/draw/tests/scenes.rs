//! Whole pictures: the same bytes from the same seed, the truth where hand calculation puts it, and plain errors.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

use arcmass_draw::{
    Beam, Bulb, Camera, Coils, DrawError, Gun, Haze, Room, ScaleObject, Scene, Sensor, draw_ring, draw_scale,
};
use image::RgbImage;

/// A ring of 30 mm radius from a muzzle 40 mm below the centre, drawn small.
fn scene() -> Scene {
    let points_mm = (0..190)
        .map(|step| {
            let angle = f64::from(step) / 30.0;
            [30.0 * libm::sin(angle), -10.0 - 30.0 * libm::cos(angle), 0.0]
        })
        .collect();
    Scene {
        camera: Camera::on_axis(600.0, 1500.0, 600, 480),
        bulb: Some(Bulb { outer_radius_mm: 80.0, glass_thickness_mm: 1.5, glass_index: 1.48 }),
        coils: Some(Coils {
            mean_radius_mm: 150.0,
            separation_mm: 150.0,
            winding_radial_mm: 12.0,
            winding_axial_mm: 16.0,
        }),
        gun: Some(Gun {
            muzzle_mm: [0.0, -40.0, 0.0],
            direction: [1.0, 0.0, 0.0],
            length_mm: 26.0,
            radius_mm: 5.5,
            neck_direction: [0.0, -1.0, 0.0],
        }),
        beam: Some(Beam {
            points_mm,
            sigma_mm: vec![0.5],
            bundle_mm: Vec::new(),
            brightness: 0.9,
            fading_length_mm: 800.0,
            colour: [0.55, 0.45, 1.0],
            halo: 0.3,
            haze_inside: Some(Haze { strength: 0.2, mean_loss: 0.12 }),
        }),
        room: Room::dark(),
        sensor: Sensor::good(),
        seed: 7,
    }
}

/// A scene in which nothing but the beam gives light to the picture.
fn beam_alone() -> Scene {
    let mut scene = scene();
    scene.camera = Camera { k1: 0.0, ..Camera::on_axis(600.0, 3000.0, 900, 900) };
    scene.bulb = None;
    scene.coils = None;
    scene.gun = None;
    scene.room = Room { light: 0.0, reflections: 0.0, ..Room::dark() };
    scene.sensor = Sensor::ideal();
    if let Some(beam) = &mut scene.beam {
        beam.halo = 0.0;
        beam.haze_inside = None;
        beam.fading_length_mm = f64::INFINITY;
        beam.brightness = 0.6;
        beam.colour = [1.0; 3];
    }
    scene
}

fn decode(jpeg: &[u8]) -> RgbImage {
    image::load_from_memory(jpeg).map(|picture| picture.to_rgb8()).unwrap_or_default()
}

/// Linear light of a level (IEC 61966-2-1).
fn linear(level: u8) -> f64 {
    let coded = f64::from(level) / 255.0;
    if coded <= 0.04045 { coded / 12.92 } else { ((coded + 0.055) / 1.055).powf(2.4) }
}

#[test]
fn the_same_seed_gives_the_same_bytes_and_another_seed_others() {
    let first = draw_ring(&scene()).unwrap();
    assert_eq!(first, draw_ring(&scene()).unwrap());
    let other = draw_ring(&Scene { seed: 8, ..scene() }).unwrap();
    assert_ne!(first.jpeg, other.jpeg);
    assert_eq!(first.truth, other.truth);
}

#[test]
fn the_truth_of_a_simple_camera_follows_the_rule_of_three() {
    let mut scene = scene();
    scene.bulb = None;
    let truth = draw_ring(&scene).unwrap().truth;
    // 1500 px at 600 mm are 2.5 px a millimetre; the middle of 600 × 480 pixels is (299.5, 239.5).
    for (point, px) in scene.beam.unwrap().points_mm.iter().zip(&truth.seen_px) {
        assert!((px[0] - (299.5 + 2.5 * point[0])).abs() < 1e-9);
        assert!((px[1] - (239.5 - 2.5 * point[1])).abs() < 1e-9);
    }
}

#[test]
fn glass_moves_a_ring_in_the_middle_plane_by_less_than_a_part_in_two_thousand() {
    let truth = draw_ring(&scene()).unwrap().truth;
    let moved: Vec<f64> = truth
        .seen_px
        .iter()
        .zip(&truth.straight_px)
        .map(|(seen, straight)| {
            let radius = |p: &[f64; 2]| ((p[0] - 299.5).powi(2) + (p[1] - 239.5).powi(2)).sqrt();
            radius(seen) / radius(straight) - 1.0
        })
        .collect();
    // The shell turns the ray by ε about the centre. A point in the middle plane at height h, seen at the slant
    // h/D, then appears lower by the factor 1 - ε h/D - ε²/2; with ε = (1 - 1/n)(h/r - h/R)/cos = 0.0036 at 40 mm.
    assert!(moved.iter().all(|m| (-4e-4..0.0).contains(m)), "{moved:?}");
    assert!((moved[0] + 2.5e-4).abs() < 0.5e-4, "{}", moved[0]);
}

#[test]
fn the_gun_hides_the_end_of_the_turn() {
    let truth = draw_ring(&scene()).unwrap().truth;
    // The turn ends at the muzzle after 188.5 points; the body is 26 mm long and 11 mm high.
    assert!(truth.visible[5..150].iter().all(|v| *v));
    assert!(truth.visible[174..188].iter().all(|v| !v));
}

#[test]
fn the_drawn_core_lies_on_the_true_centre_line() {
    let picture = decode(&draw_ring(&beam_alone()).unwrap().jpeg);
    // 5 px a millimetre: a circle of 150 px about (449.5, 499.5). A Gaussian of σ = 2.5 px laid along a circle of
    // radius R falls off as √(R/r) besides, so its centroid lies σ²/2R = 0.021 px inside.
    let level = |x: u32, y: u32| linear(picture.get_pixel(x, y).0[1]);
    let centroid = |at: &dyn Fn(u32) -> f64, middle: u32| {
        let (mut sum, mut moment) = (0.0, 0.0);
        for place in middle - 12..=middle + 12 {
            sum += at(place);
            moment += at(place) * f64::from(place);
        }
        moment / sum
    };
    let right = centroid(&|x| level(x, 499), 600) - 449.5;
    let left = 449.5 - centroid(&|x| level(x, 499), 300);
    let top = 499.5 - centroid(&|y| level(449, y), 350);
    for (side, found) in [("right", right), ("left", left), ("top", top)] {
        assert!((found - 149.979).abs() < 0.01, "{side}: {found}");
    }
}

#[test]
fn the_peak_of_the_core_is_the_brightness_asked_for() {
    let scene = beam_alone();
    let picture = decode(&draw_ring(&scene).unwrap().jpeg);
    // At the top of the ring, away from the muzzle where the turn closes and both ends add up.
    let brightest = (340..360).map(|y| linear(picture.get_pixel(449, y).0[1])).fold(0.0, f64::max);
    // The nearest pixel lies half a pixel from the centre line: exp(-0.5 (0.5/2.5)²) of the peak.
    assert!((brightest - 0.588).abs() < 0.006, "{brightest}");
}

#[test]
fn haze_pulls_brightness_inside_the_ring() {
    let light_inside = |scene: &Scene| {
        let picture = decode(&draw_ring(scene).unwrap().jpeg);
        let (mut inside, mut outside) = (0.0, 0.0);
        for (x, y, pixel) in picture.enumerate_pixels() {
            let (dx, dy) = (f64::from(x) - 449.5, f64::from(y) - 499.5);
            let radius = (dx * dx + dy * dy).sqrt();
            let light = linear(pixel.0[2]);
            if (110.0..135.0).contains(&radius) {
                inside += light
            }
            if (165.0..190.0).contains(&radius) {
                outside += light
            }
        }
        inside - outside
    };
    let clear = beam_alone();
    let mut hazy = beam_alone();
    if let Some(beam) = &mut hazy.beam {
        beam.haze_inside = Some(Haze { strength: 0.4, mean_loss: 0.15 });
    }
    assert!(light_inside(&hazy) > light_inside(&clear) + 20.0);
}

#[test]
fn a_scale_picture_is_lit_and_knows_its_marks() {
    let drawn = draw_scale(
        &Scene { room: Room::lit(), ..scene() },
        &ScaleObject::ruler(160, -60.0, -75.0, 0.0, 40.0),
    )
    .unwrap();
    assert_eq!(drawn.truth.marks.len(), 161);
    assert_eq!(drawn.truth.far_marks.len(), 101);
    let picture = decode(&drawn.jpeg);
    let mean = picture.pixels().map(|p| f64::from(p.0[1])).sum::<f64>() / (600.0 * 480.0);
    assert!(mean > 80.0, "a lit room: {mean}");
    // 10 mm apart at 2.5 px a millimetre.
    let [a, b] = [drawn.truth.marks[20].px, drawn.truth.marks[30].px];
    assert!(((a[0] - b[0]).hypot(a[1] - b[1]) - 25.0).abs() < 1e-9);
}

#[test]
fn scenes_that_cannot_be_drawn_are_one_plain_error() {
    let with = |change: &dyn Fn(&mut Scene)| {
        let mut scene = scene();
        change(&mut scene);
        draw_ring(&scene).unwrap_err()
    };
    assert_eq!(with(&|s| s.beam = None), DrawError::NoBeam { points: 0 });
    let error = with(&|s| s.camera.focal_px = f64::NAN);
    assert!(matches!(error, DrawError::NotFinite { .. }), "{error}");
    let error = with(&|s| s.camera.position_mm = [0.0, 0.0, 60.0]);
    assert!(matches!(error, DrawError::CameraInsideBulb { .. }), "{error}");
    let error = with(&|s| s.camera.look_at_mm = [0.0, 0.0, 1200.0]);
    assert!(matches!(error, DrawError::BehindCamera { .. }), "{error}");
    let error = with(&|s| s.beam.iter_mut().for_each(|b| b.points_mm[3] = [0.0, 90.0, 0.0]));
    assert!(
        error.to_string().starts_with("point 3 of the beam is 90.0 mm from the bulb's centre"),
        "{error}"
    );
    let error = with(&|s| s.beam.iter_mut().for_each(|b| b.sigma_mm = vec![0.5, 0.6]));
    assert_eq!(error, DrawError::WidthCount { points: 190, widths: 2 });
    let error = with(&|s| s.sensor.orientation = 9);
    assert_eq!(error.to_string(), "the orientation tag must be 1 to 8; got 9");
    let error = with(&|s| s.camera.width_px = 0);
    assert_eq!(error.to_string(), "a picture must have between 16 and 16384 pixels a side; got 0 by 480");
}
