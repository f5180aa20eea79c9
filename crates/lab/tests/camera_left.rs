//! The camera between ring and scale: left alone, knocked, its picture cut down, or another one altogether.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

use std::f64::consts::TAU;
use std::path::Path;

use arcmass_draw::{Beam, Bulb, Camera, Coils, Room, ScaleObject, Scene, Sensor, draw_bench, draw_ring};
use arcmass_lab::Desk;
use arcmass_lab::document::{PhotoEntry, RingsDocument};
use arcmass_lab::photograph::{RingsQuestion, Silent, rings};
use arcmass_notebook::Notebook;

const RADIUS_MM: f64 = 36.0;
const DISTANCE_MM: f64 = 700.0;

fn scene(camera: Camera, room: Room, with_tube: bool) -> Scene {
    // from the muzzle, where no gun is drawn, round until 0.93 of a turn
    let points_mm: Vec<[f64; 3]> = (0..1400)
        .map(|k| {
            let (sine, cosine) = (0.93 * TAU * f64::from(k) / 1400.0 - 1.4).sin_cos();
            [RADIUS_MM * cosine, RADIUS_MM * sine, 0.0]
        })
        .collect();
    let beam = Beam {
        points_mm,
        sigma_mm: vec![0.4],
        bundle_mm: Vec::new(),
        brightness: 1.0,
        fading_length_mm: 900.0,
        colour: [0.5, 0.5, 1.0],
        halo: 0.2,
        haze_inside: None,
    };
    let bulb = Bulb { outer_radius_mm: 82.0, glass_thickness_mm: 1.6, glass_index: 1.48 };
    Scene {
        camera,
        bulb: with_tube.then_some(bulb),
        coils: Some(Coils {
            mean_radius_mm: 150.0,
            separation_mm: 150.0,
            winding_radial_mm: 12.0,
            winding_axial_mm: 15.0,
        }),
        gun: None,
        beam: with_tube.then_some(beam),
        room,
        sensor: Sensor { blur_px: 0.9, ..Sensor::good() },
        seed: 5,
    }
}

fn camera(width: u32, height: u32) -> Camera {
    Camera {
        position_mm: [12.0, 20.0, DISTANCE_MM],
        ..Camera::on_axis(DISTANCE_MM, 0.0042 * f64::from(width) * DISTANCE_MM * 0.72, width, height)
    }
}

fn measured(ring: Camera, scale: Camera) -> Result<RingsDocument, String> {
    measured_in(ring, scale, (Room::dark(), 1.0), true, "")
}

/// The same with a room and a brightness of the beam for the ring's photograph, with or without coils in the bench file, and with
/// more words about the camera.
fn measured_in(
    ring: Camera,
    scale: Camera,
    (room, brightness): (Room, f64),
    with_coils: bool,
    camera: &str,
) -> Result<RingsDocument, String> {
    let folder = tempfile::tempdir().unwrap();
    let root = folder.path();
    let write = |name: &str, bytes: &[u8]| std::fs::write(Path::new(root).join(name), bytes).unwrap();
    std::fs::create_dir_all(root.join("photos")).unwrap();
    let mut dark = scene(ring, room, true);
    if let Some(beam) = &mut dark.beam {
        beam.brightness = brightness;
    }
    write("photos/ring.jpg", &draw_ring(&dark).unwrap().jpeg);
    let ruler = ScaleObject::ruler(200, -95.0, -30.0, 0.0, 17.0);
    write("photos/scale.jpg", &draw_bench(&scene(scale, Room::lit(), false), &[ruler]).unwrap().jpeg);
    let coils = if with_coils {
        "[coils]\nmean_radius = \"150 mm ± 0.5 mm\"\nseparation = \"150 mm ± 0.5 mm\"\n\
         turns = 130\nwinding_radial = \"12 mm\"\nwinding_axial = \"15 mm\"\n"
    } else {
        ""
    };
    let bench = format!(
        "[bench]\nformat = 1\nname = \"Bench\"\n{coils}[bulb]\nouter_radius = \"82 mm\"\n\
         [camera]\ndistance = \"{DISTANCE_MM} mm ± 5 mm\"\n{camera}[scale]\nspacing = \"1 mm\"\noffset = \"0 mm ± 0.5 mm\"\nrelative_uncertainty = \"0.05 %\"\n"
    );
    write("bench.toml", bench.as_bytes());
    write(
        "readings.csv",
        b"run,voltage_V,current_A,ring_photo,scale_photo\n1,200.0,1.5,ring.jpg,scale.jpg\n",
    );
    let question = RingsQuestion::default();
    rings(&Notebook::open(root).unwrap(), &question, &Desk { seed: 1, workers: 2 }, &Silent)
        .map(|found| found.document)
        .map_err(|fault| fault.to_string())
}

fn codes(photo: &PhotoEntry) -> Vec<&str> {
    photo.caveats.iter().map(|caveat| caveat.code.as_str()).collect()
}

/// The diameter in parts of the true one, less one, and its relative standard uncertainty.
fn error(photo: &PhotoEntry) -> (f64, f64) {
    let found = photo.ring_diameter_in_scale_plane_mm.as_ref().unwrap();
    (found.value / (2.0 * RADIUS_MM) - 1.0, found.standard_uncertainty / found.value)
}

#[test]
fn a_camera_left_alone_bears_no_caveat() {
    let document = measured(camera(1800, 1200), camera(1800, 1200)).unwrap();
    let photo = &document.photos[0];
    assert!(!codes(photo).contains(&"camera-moved"), "{:?}", photo.caveats);
    assert!(!codes(photo).contains(&"picture-cropped"), "{:?}", photo.caveats);
    let (off, u) = error(photo);
    assert!(off.abs() < 1e-3 && off.abs() < 3.0 * u, "{off} ± {u}");
    let value = |q: &Option<arcmass_lab::document::Q>| q.as_ref().unwrap().value;
    let [inner, outer] = [&photo.inner_edge_diameter_mm, &photo.outer_edge_diameter_mm].map(value);
    // the beam is drawn with a standard deviation of 0.4 mm, the lens and its halo make it a little wider
    let half = 0.4 * (2.0 * std::f64::consts::LN_2).sqrt();
    for edge in [2.0 * RADIUS_MM - inner, outer - 2.0 * RADIUS_MM] {
        assert!((0.95..1.35).contains(&(edge / (2.0 * half))), "{inner} {outer}");
    }
}

#[test]
fn a_camera_that_went_nearer_is_followed_by_the_coils() {
    // 5 mm nearer and a little aside at the scale: 0.7 % of the diameter, if nobody noticed
    let mut nearer = camera(1800, 1200);
    nearer.position_mm = [14.0, 19.0, DISTANCE_MM - 5.0];
    nearer.look_at_mm[0] += 1.5;
    nearer.roll_deg += 0.15;
    let document = measured(camera(1800, 1200), nearer).unwrap();
    let photo = &document.photos[0];
    assert!(codes(photo).contains(&"camera-moved"), "{:?}", photo.caveats);
    let (off, u) = error(photo);
    assert!(off.abs() < 1.5e-3 && off.abs() < 3.0 * u, "{off} ± {u}");
}

#[test]
fn a_camera_set_up_again_is_followed_by_what_stands_still_with_and_without_stated_coils() {
    // 18 mm nearer, aside, turned by 2.5° and zoomed by 1 %, the lamp on the other side: 3.5 % of the diameter, if nobody noticed
    let mut again = camera(1800, 1200);
    again.position_mm = [20.0, 8.0, DISTANCE_MM - 18.0];
    again.look_at_mm = [6.0, -5.0, 0.0];
    again.roll_deg += 2.5;
    again.focal_px *= 1.01;
    let [x, y, z] = Room::dark().lamp;
    let room = Room { light: 0.03, lamp: [-x, y, z], ..Room::dark() };
    for with_coils in [true, false] {
        let document =
            measured_in(camera(1800, 1200), again.clone(), (room.clone(), 1.0), with_coils, "").unwrap();
        let photo = &document.photos[0];
        assert!(codes(photo).contains(&"camera-moved"), "{with_coils}: {:?}", photo.caveats);
        let (off, u) = error(photo);
        assert!(off.abs() < 3e-3 && off.abs() < 3.0 * u, "coils stated: {with_coils}: {off} ± {u}");
    }
}

#[test]
fn a_camera_that_cannot_be_compared_is_said_so_unless_the_bench_file_says_it_was_not_touched() {
    // so little light, the beam's own on the coils included, that nothing but the beam is seen on the ring's photograph
    let black = Room { light: 0.0, reflections: 0.0, ..Room::dark() };
    let looked = |camera_words: &str| {
        let view = camera(1800, 1200);
        measured_in(view.clone(), view, (black.clone(), 0.12), true, camera_words).unwrap()
    };
    let (open, fixed) = (looked(""), looked("fixed = true\n"));
    let (open, fixed) = (&open.photos[0], &fixed.photos[0]);
    let [before, after] = [open, fixed].map(|photo| error(photo).1);
    assert!(codes(open).contains(&"camera-unchecked"), "{:?}", open.caveats);
    assert!(before > 5e-3, "5 mm of 700 mm is 0.7 %: {before}");
    assert!(!codes(fixed).contains(&"camera-unchecked"), "{:?}", fixed.caveats);
    assert!(after < 3e-3, "{after}");
}

#[test]
fn a_picture_cut_down_is_noticed_by_the_marks() {
    let mut cut = camera(1800, 1200);
    cut.position_mm = [25.0, 45.0, DISTANCE_MM];
    cut.principal_px[0] += 420.0;
    let document = measured(cut.clone(), cut).unwrap();
    let photo = &document.photos[0];
    assert!(codes(photo).contains(&"picture-cropped"), "{:?}", photo.caveats);
    let (off, u) = error(photo);
    assert!(u < 6e-3 && off.abs() < 3.0 * u, "{off} ± {u}");
}

#[test]
fn pictures_of_two_sizes_are_refused() {
    let why = measured(camera(1800, 1200), camera(1500, 1000)).unwrap_err();
    assert!(why.contains("1800 × 1200") && why.contains("1500 × 1000"), "{why}");
}

#[test]
fn a_scale_behind_the_bulb_is_corrected_for_the_glass() {
    let folder = tempfile::tempdir().unwrap();
    let root = folder.path();
    let write = |name: &str, bytes: &[u8]| std::fs::write(Path::new(root).join(name), bytes).unwrap();
    std::fs::create_dir_all(root.join("photos")).unwrap();
    let view = camera(1800, 1200);
    write("photos/ring.jpg", &draw_ring(&scene(view.clone(), Room::dark(), true)).unwrap().jpeg);
    let ruler = ScaleObject::ruler(200, -95.0, -30.0, -95.0, 17.0);
    write("photos/scale.jpg", &draw_bench(&scene(view, Room::lit(), false), &[ruler]).unwrap().jpeg);
    write(
        "readings.csv",
        b"run,voltage_V,current_A,ring_photo,scale_photo\n1,200.0,1.5,ring.jpg,scale.jpg\n",
    );
    let at = |offset: &str| {
        let bench = format!(
            "[bench]\nformat = 1\nname = \"Bench\"\n[bulb]\nouter_radius = \"82 mm\"\nglass_thickness = \"1.6 mm\"\nglass_index = \"1.48\"\n\
             [camera]\ndistance = \"{DISTANCE_MM} mm ± 5 mm\"\n[scale]\nspacing = \"1 mm\"\noffset = \"{offset} mm ± 0.5 mm\"\n"
        );
        write("bench.toml", bench.as_bytes());
        let notebook = Notebook::open(root).unwrap();
        let found =
            rings(&notebook, &RingsQuestion::default(), &Desk { seed: 1, workers: 1 }, &Silent).unwrap();
        found.document.photos.into_iter().next().unwrap()
    };
    let (before, behind) = (at("-60"), at("-95"));
    assert!(!codes(&before).contains(&"scale-through-glass"), "{:?}", before.caveats);
    assert!(codes(&behind).contains(&"scale-through-glass"), "{:?}", behind.caveats);
    let diameter = |photo: &PhotoEntry| photo.ring_diameter_in_scale_plane_mm.as_ref().unwrap().value;
    // a weak lens that spreads light: two walls turn a ray at b by b·2·(n − 1)/n·(1/inner − 1/outer), 95 mm behind
    let first = 2.0 * (0.48 / 1.48) * (1.0 / 80.4 - 1.0 / 82.0) * 95.0 * DISTANCE_MM / (DISTANCE_MM + 95.0);
    let taken_off = 1.0 - diameter(&behind) / diameter(&before);
    // and more off the axis, where the wall is met at a slant
    assert!((1.0..1.4).contains(&(taken_off / first)), "{taken_off} {first}");
}
