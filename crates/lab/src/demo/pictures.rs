//! The demo's photographs, drawn from the true paths by a camera of their own.

use arcmass_draw::{
    Beam, Bulb, Camera, Coils, Gun, Haze, Holder, Room, ScaleObject, Scene, Sensor, draw_ring, draw_scale,
};

use super::truth::{Truth, stated};
use crate::desk::{Desk, LabError};
use crate::photograph::{Progress, side_by_side};

/// A photograph's name and its bytes.
pub(super) struct Picture {
    pub(super) name: String,
    pub(super) jpeg: Vec<u8>,
}

/// What is to be drawn.
enum Task {
    Ring(usize),
    Scale,
}

/// Focal length of the demo's camera in picture widths: the bulb fills half the picture at 0.8 m.
const FOCAL_WIDTHS: f64 = 2.35;

/// Draws the scale and every ring, side by side.
pub(super) fn draw_all(
    truth: &Truth,
    width_px: u32,
    desk: &Desk,
    progress: &dyn Progress,
) -> Result<Vec<Picture>, LabError> {
    let mut tasks: Vec<Task> = (0..truth.runs.len()).map(Task::Ring).collect();
    tasks.push(Task::Scale);
    let total = tasks.len();
    let drawn = side_by_side(
        &tasks,
        desk.workers,
        |task| draw(truth, task, width_px, desk.seed),
        |done, task| progress.done(done, total, &name(task)),
    );
    drawn.into_iter().collect()
}

fn name(task: &Task) -> String {
    match task {
        Task::Ring(index) => format!("ring-{:02}.jpg", index + 1),
        Task::Scale => "scale-01.jpg".to_owned(),
    }
}

fn draw(truth: &Truth, task: &Task, width_px: u32, seed: u64) -> Result<Picture, LabError> {
    let bad = |fault: arcmass_draw::DrawError| {
        LabError::Internal(format!("a demo photograph can't be drawn: {fault}"))
    };
    let jpeg = match task {
        Task::Ring(index) => {
            let scene = Scene {
                beam: truth.runs.get(*index).map(|run| beam(run.points_mm.clone())),
                ..scene(truth, width_px, seed.wrapping_mul(1009).wrapping_add(*index as u64))
            };
            draw_ring(&scene).map_err(bad)?.jpeg
        }
        Task::Scale => {
            let scene =
                Scene { room: Room::lit(), ..scene(truth, width_px, seed.wrapping_mul(1009) ^ 0xfff) };
            let plane_z = truth.muzzle_mm[2] + truth.scale_offset_mm;
            let holder = Some(Holder { along_mm: 110.0, width_mm: 16.0, reach_mm: 7.0 });
            let ruler = ScaleObject { holder, ..ScaleObject::ruler(200, -88.0, -52.0, plane_z, 27.0) };
            draw_scale(&scene, &ruler).map_err(bad)?.jpeg
        }
    };
    Ok(Picture { name: name(task), jpeg })
}

fn beam(points_mm: Vec<[f64; 3]>) -> Beam {
    // the beam widens from 0.36 mm at the muzzle by 1.1 µm a millimetre
    let sigma_mm = (0..points_mm.len()).map(|step| 0.36 + 0.0011 * step as f64).collect();
    Beam {
        points_mm,
        sigma_mm,
        bundle_mm: Vec::new(),
        brightness: 1.5,
        fading_length_mm: 650.0,
        colour: [0.45, 0.62, 1.0],
        halo: 0.3,
        haze_inside: Some(Haze { strength: 0.3, mean_loss: 0.12 }),
    }
}

fn scene(truth: &Truth, width_px: u32, seed: u64) -> Scene {
    let height_px = width_px * 2 / 3;
    let [x, y, z] = truth.camera_mm;
    let focal_px = FOCAL_WIDTHS * f64::from(width_px);
    let (outer_radius_mm, glass_thickness_mm, glass_index) = stated::BULB_MM;
    let (winding_radial_mm, winding_axial_mm) = stated::WINDING_MM;
    Scene {
        camera: Camera {
            position_mm: [x, y, z],
            look_at_mm: [2.0, 4.0, 0.0],
            roll_deg: truth.roll_deg,
            k1: -0.04,
            k2: 0.0,
            ..Camera::on_axis(z, focal_px, width_px, height_px)
        },
        bulb: Some(Bulb { outer_radius_mm, glass_thickness_mm, glass_index }),
        coils: Some(Coils {
            mean_radius_mm: truth.mean_radius_mm,
            separation_mm: truth.separation_mm,
            winding_radial_mm,
            winding_axial_mm,
        }),
        gun: Some(Gun {
            muzzle_mm: truth.muzzle_mm,
            direction: truth.direction,
            length_mm: 26.0,
            radius_mm: 5.6,
            neck_direction: [0.0, -1.0, 0.0],
        }),
        beam: None,
        room: Room::dark(),
        sensor: Sensor::good(),
        seed,
    }
}
