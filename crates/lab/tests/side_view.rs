//! A helix photographed across its axis: its pitch and diameter come out of `rings`, and `reduce` takes no diameter from it.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

mod aside;

use std::f64::consts::TAU;

use arcmass_draw::{Beam, Room, ScaleObject, draw_bench, draw_ring};
use arcmass_lab::Desk;
use arcmass_lab::photograph::{RingsQuestion, Silent, needs_photographs, rings};
use arcmass_notebook::Notebook;
use aside::{DISTANCE_MM, scene, write};

const PITCH_MM: f64 = 31.0;
const DIAMETER_MM: f64 = 74.0;
/// The scale stood this far before the axis.
const OFFSET_MM: f64 = 4.0;

/// The helix' axis lies level in the picture, the camera looks straight across it.
fn helix() -> Vec<[f64; 3]> {
    (0..2600)
        .map(|k| {
            let turn = f64::from(k) / 1000.0;
            let (sine, cosine) = (TAU * turn + 0.7).sin_cos();
            [PITCH_MM * (turn - 1.3), 0.5 * DIAMETER_MM * cosine, 0.5 * DIAMETER_MM * sine]
        })
        .collect()
}

#[test]
fn pitch_and_diameter_of_a_side_view_are_measured() {
    let folder = tempfile::tempdir().unwrap();
    let root = folder.path();
    std::fs::create_dir_all(root.join("photos")).unwrap();
    let beam = Beam {
        points_mm: helix(),
        sigma_mm: vec![0.4],
        bundle_mm: Vec::new(),
        brightness: 1.0,
        fading_length_mm: 2000.0,
        colour: [0.5, 0.5, 1.0],
        halo: 0.2,
        haze_inside: None,
    };
    let side = draw_ring(&scene(Room { reflections: 0.0, ..Room::dark() }, Some(beam))).unwrap();
    let ruler = ScaleObject::ruler(180, -90.0, -20.0, OFFSET_MM, 4.0);
    let scale = draw_bench(&scene(Room::lit(), None), &[ruler]).unwrap();
    write(root, "photos/side.jpg", &side.jpeg);
    write(root, "photos/scale.jpg", &scale.jpeg);
    let bench = format!(
        "[bench]\nformat = 1\nname = \"Side bench\"\n[camera]\ndistance = \"{DISTANCE_MM} mm ± 5 mm\"\n\
         [scale]\nspacing = \"1 mm\"\noffset = \"{OFFSET_MM} mm ± 0.2 mm\"\nrelative_uncertainty = \"0.01 %\"\n"
    );
    write(root, "bench.toml", bench.as_bytes());
    write(
        root,
        "readings.csv",
        b"run,voltage_V,current_A,gun_tilt_deg,ring_photo,scale_photo,view\n1,200.0,1.5,8,side.jpg,scale.jpg,side\n",
    );
    let notebook = Notebook::open(root).unwrap();
    assert!(!needs_photographs(&notebook), "a side view gives no ring's diameter");
    let question = RingsQuestion { with_overlays: true, ..RingsQuestion::default() };
    let measured = rings(&notebook, &question, &Desk { seed: 1, workers: 1 }, &Silent).unwrap();
    let photo = &measured.document.photos[0];
    let (pitch, diameter) = (photo.pitch_mm.as_ref().unwrap(), photo.helix_diameter_mm.as_ref().unwrap());
    println!(
        "pitch {} ± {}, diameter {} ± {}, caveats {:?}",
        pitch.value, pitch.standard_uncertainty, diameter.value, diameter.standard_uncertainty, photo.caveats
    );
    for (what, found, truth) in [("pitch", pitch, PITCH_MM), ("diameter", diameter, DIAMETER_MM)] {
        let off = (found.value - truth).abs();
        assert!(off < 0.004 * truth, "{what}: {} for {truth}", found.value);
        assert!(
            off < 3.5 * found.standard_uncertainty,
            "{what}: {off} with u {}",
            found.standard_uncertainty
        );
    }
    assert!(photo.ring_diameter_mm.is_none() && photo.ring_diameter_in_scale_plane_mm.is_none());
    assert_eq!(measured.overlays.len(), 2, "scale and side view are drawn back");
}
