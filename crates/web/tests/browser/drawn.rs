//! A drawn phone picture as found in laboratories: the whole bench from a metre by hand, ring and scale in one picture.

use arcmass_draw::{
    Beam, Bulb, Camera, Coils, DrawnBench, Edge, Gun, Haze, Room, ScaleKind, ScaleObject, Scene, Sensor,
    Surface, draw_bench,
};

/// Radius of the ring, mm.
pub(crate) const RING_MM: f64 = 41.0;
/// The scale's plane before the ring's, mm.
pub(crate) const BEFORE_MM: f64 = 92.0;
/// From the lens to the bulb's centre, mm.
pub(crate) const CAMERA_MM: f64 = 1040.0;

/// Invented: a lit acrylic scale with centimetres before the bulb, a wide saturated beam, haze, a camera held 6° aside.
pub(crate) fn phone_picture(seed: u64) -> DrawnBench {
    let points_mm = (0..240)
        .map(|step| {
            let angle = f64::from(step) / 38.5;
            [RING_MM * angle.sin(), RING_MM - 40.0 - RING_MM * angle.cos(), 0.0]
        })
        .collect();
    let camera = Camera {
        position_mm: [105.0, 40.0, (CAMERA_MM.powi(2) - 105.0_f64.powi(2) - 40.0_f64.powi(2)).sqrt()],
        look_at_mm: [-4.0, 2.0, 0.0],
        roll_deg: 1.8,
        k1: 0.02,
        ..Camera::on_axis(CAMERA_MM, 2300.0, 1600, 1200)
    };
    let scene = Scene {
        camera,
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
            sigma_mm: vec![1.6],
            bundle_mm: Vec::new(),
            brightness: 1.6,
            fading_length_mm: 900.0,
            colour: [0.45, 0.62, 1.0],
            halo: 0.3,
            haze_inside: Some(Haze { strength: 0.25, mean_loss: 0.12 }),
        }),
        room: Room { light: 0.06, reflections: 0.5, ..Room::dark() },
        sensor: Sensor { blur_px: 1.3, jpeg_quality: 80, ..Sensor::good() },
        seed,
    };
    let edge = ScaleKind::Ruler {
        length_mm: 200,
        width_mm: 22.0,
        near: Edge::Centimetres,
        far: Edge::Bare,
        numerals: true,
    };
    let scale = ScaleObject {
        kind: edge,
        ground: [0.8, 0.86, 0.9],
        surface: Surface::Plain,
        lit_from_behind: 0.7,
        ..ScaleObject::ruler(200, -98.0, -88.0, BEFORE_MM, 1.0)
    };
    draw_bench(&scene, &[scale]).unwrap()
}

/// Where three points of the ring, and two labels of the scale (50 and 150 mm), are in the picture.
pub(crate) fn places(drawn: &DrawnBench) -> ([[f64; 2]; 3], [[f64; 2]; 2]) {
    let ring = drawn.ring.as_ref().unwrap();
    let beam = [30, 95, 170].map(|at: usize| ring.seen_px[at]);
    let mark =
        |mm: f64| drawn.scales[0].marks.iter().find(|mark| (mark.along_mm - mm).abs() < 0.1).unwrap().px;
    (beam, [mark(50.0), mark(150.0)])
}
