//! Photographs as found in laboratories: the same bytes from the same seed, and truth where the light is.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

use arcmass_draw::{
    DrawError, FOUND_CONDITIONS, FoundPath, FoundPicture, FoundScene, Material, draw_found, found_by_lot,
};
use image::RgbImage;

/// A circle in the plane of the muzzle, points a millimetre apart.
fn circle(path: &FoundPath) -> Vec<[f64; 3]> {
    let [x, y, z] = path.muzzle_mm;
    let count = (std::f64::consts::TAU * path.radius_mm * path.turns) as usize;
    let at = |step: usize| {
        let angle = step as f64 / path.radius_mm;
        [x + path.radius_mm * libm::sin(angle), y + path.radius_mm * (1.0 - libm::cos(angle)), z]
    };
    (0..=count).map(at).collect()
}

fn scene(name: &str, seed: u64) -> FoundScene {
    let condition = FOUND_CONDITIONS.iter().find(|c| c.name == name).unwrap();
    found_by_lot(condition, seed, &circle)
}

/// The scene without what hides or moves the beam's light: no noise, no haze, nothing before the ring.
fn plain(mut scene: FoundScene) -> FoundScene {
    scene.scale = None;
    scene.gas.fill = 0.0;
    scene.gas.fan = 0.0;
    scene.ghosts.mirrored = 0.0;
    scene.ghosts.arcs = 0.0;
    scene.beam.slowed = 0.0;
    scene.beam.stub_mm = 0.0;
    scene.beam.brightness = 0.6;
    scene.around.light = 0.0;
    scene.around.supplies = 0;
    scene.around.has_coils = false;
    scene.around.rungs_mm = Vec::new();
    scene.phone.read_noise = 0.0;
    scene.phone.shot_noise = 0.0;
    scene.phone.bloom = 0.0;
    scene.phone.shake_px = [0.0; 2];
    scene.phone.smear = 0.0;
    scene.phone.tone = 0.0;
    scene.phone.sharpen = 0.0;
    scene.phone.qualities = vec![100];
    scene.phone.is_subsampled = false;
    scene.phone.orientation = 1;
    scene.phone.film_focal_mm = None;
    scene
}

fn decode(drawn: &FoundPicture) -> RgbImage {
    image::load_from_memory(&drawn.jpeg).unwrap().to_rgb8()
}

fn light(picture: &RgbImage, [x, y]: [f64; 2]) -> f64 {
    let (x, y) = (x.round() as u32, y.round() as u32);
    let level = |v: u8| (f64::from(v) / 255.0).powf(2.2);
    picture.get_pixel(x, y).0.map(level).iter().sum()
}

#[test]
fn the_same_seed_gives_the_same_picture_and_another_seed_another_scene() {
    let first = draw_found(&scene("thin beam", 1)).unwrap();
    assert_eq!(first, draw_found(&scene("thin beam", 1)).unwrap());
    assert_ne!(first.truth, draw_found(&scene("thin beam", 2)).unwrap().truth);
}

#[test]
fn every_condition_gives_a_scene_whose_ring_is_in_the_picture_and_40_to_350_px_in_radius() {
    for condition in FOUND_CONDITIONS {
        for seed in 0..200 {
            let scene = found_by_lot(condition, seed, &circle);
            let camera = &scene.camera;
            let px = camera.focal_px * scene.phone.rescale
                / libm::hypot(camera.position_mm[0], camera.position_mm[2]);
            let [.., z] = scene.gun.muzzle_mm;
            assert!(z.abs() < 4.0, "{} {seed}", condition.name);
            let size = f64::from(camera.width_px.max(camera.height_px)) * scene.phone.rescale;
            // 25 to 66 mm of radius on pictures of a few hundred to four thousand pixels
            assert!(px * 25.0 > 15.0 && px * 25.0 < 360.0, "{} {seed}: {px} px/mm", condition.name);
            assert!((250.0..4700.0).contains(&size), "{} {seed}: {size} px", condition.name);
        }
    }
    assert!(FOUND_CONDITIONS.len() >= 25);
}

#[test]
fn the_light_lies_on_the_true_line_even_where_the_picture_was_rescaled() {
    for (name, seed) in [("steep", 3), ("screenshot", 1), ("enlarged", 2)] {
        let scene = plain(scene(name, seed));
        let drawn = draw_found(&scene).unwrap();
        let picture = decode(&drawn);
        let line = &drawn.truth.ring.seen_px;
        let quarter = line.len() / 4;
        for index in [quarter, 2 * quarter, 3 * quarter] {
            let ([ax, ay], [bx, by], [x, y]) = (line[index - 1], line[index + 1], line[index]);
            let long = libm::hypot(bx - ax, by - ay);
            let normal = [-(by - ay) / long, (bx - ax) / long];
            let (mut sum, mut moment) = (0.0, 0.0);
            for step in -60..=60 {
                let off = f64::from(step) * 0.25;
                let here = light(&picture, [x + off * normal[0], y + off * normal[1]]);
                sum += here;
                moment += here * off;
            }
            let off = moment / sum;
            assert!(off.abs() < 0.5, "{name} {seed} at {index}: {off} px beside the line");
        }
    }
}

#[test]
fn numbered_marks_are_dark_where_the_truth_says() {
    let mut scene = plain(scene("scale brighter", 4));
    scene.scale = self::scene("scale brighter", 4).scale;
    let scale = scene.scale.as_mut().unwrap();
    scale.material = Material::White;
    (scale.light, scale.fine_mm, scale.number_every_cm) = (0.5, 0, 1);
    scale.middle_mm[2] = 100.0;
    scene.phone.blur_px = 0.3;
    let drawn = draw_found(&scene).unwrap();
    let picture = decode(&drawn);
    let seen: Vec<_> = drawn.truth.labels.iter().filter(|label| label.is_visible).collect();
    assert!(seen.len() >= 5, "{} marks in the picture", seen.len());
    for pair in seen.windows(2) {
        let between = [0, 1].map(|k| 0.5 * (pair[0].px[k] + pair[1].px[k]));
        assert!((pair[1].along_mm - pair[0].along_mm - 10.0).abs() < 1e-9);
        let (on, off) = (light(&picture, pair[0].px), light(&picture, between));
        assert!(on < 0.8 * off, "{}: {on} on the mark, {off} beside it", pair[0].printed_cm);
    }
}

#[test]
fn a_tag_turns_the_stored_pixels_and_nothing_else() {
    let mut scene = scene("thin beam", 1);
    scene.phone.orientation = 6;
    let drawn = draw_found(&scene).unwrap();
    let [width, height] = drawn.truth.size_px;
    assert_eq!(decode(&drawn).dimensions(), (height, width));
}

#[test]
fn what_cannot_be_drawn_is_one_plain_error() {
    let with = |change: &dyn Fn(&mut FoundScene)| {
        let mut scene = scene("thin beam", 1);
        change(&mut scene);
        draw_found(&scene).unwrap_err()
    };
    assert_eq!(with(&|s| s.beam.points_mm.truncate(2)), DrawError::NoBeam { points: 2 });
    let error = with(&|s| s.camera.position_mm = [0.0, 0.0, 40.0]);
    assert!(matches!(error, DrawError::CameraInsideBulb { .. }), "{error}");
    let error = with(&|s| s.phone.qualities = Vec::new());
    assert_eq!(error.to_string(), "the JPEG quality must be 1 to 100; got 0");
    let error = with(&|s| s.phone.rescale = 9.0);
    assert_eq!(error.to_string(), "the picture's size over the sensor's must be 0.05 to 4; got 9");
}
