//! A whole photograph of the bench: whatever of ring, bulb, gun, coils and scales is there, in one picture.

use crate::bodies::{self, Bench, COARSE};
use crate::camera::View;
use crate::canvas::Canvas;
use crate::develop::develop;
use crate::error::DrawError;
use crate::glass::add_glass;
use crate::glow::{Glow, SOFT, Stage};
use crate::gun::GunBody;
use crate::ring::{RingTruth, ring_truth};
use crate::scale::{ScaleTruth, scale_truth};
use crate::scale_face::Face;
use crate::scale_object::ScaleObject;
use crate::scene::Scene;
use crate::vector::{along, dot, sub, unit};

/// Colour of the filament that shows through the gun's slit.
const FILAMENT: [f32; 3] = [1.0, 0.42, 0.10];
/// Light of the ring on the bodies around it, as a fraction of the core's peak.
const RING_LIGHT: f64 = 0.006;

/// A drawn photograph of the bench.
#[derive(Debug, Clone, PartialEq)]
pub struct DrawnBench {
    /// The photograph.
    pub jpeg: Vec<u8>,
    /// Where the beam is, if there is one.
    pub ring: Option<RingTruth>,
    /// Where the marks of each scale are, in the order of the scales.
    pub scales: Vec<ScaleTruth>,
}

/// Draws a scene with any number of scales: the ring alone, a scale alone, two rulers, ring and scale in one picture.
///
/// A scale behind or inside the bulb is seen through its glass. The beam's light lies over the scales.
///
/// # Errors
///
/// When a number of scene or scale cannot be drawn, a scale turns its back to the camera, or the beam lies behind the camera
/// or outside the glass; see [`DrawError`].
pub fn draw_bench(scene: &Scene, scales: &[ScaleObject]) -> Result<DrawnBench, DrawError> {
    let LaidOut { canvas, view, ring, scales } = lay_out(scene, scales)?;
    Ok(DrawnBench { jpeg: develop(canvas, &view, &scene.sensor, scene.seed)?, ring, scales })
}

/// Light and truth before the sensor.
pub(crate) struct LaidOut {
    pub(crate) canvas: Canvas<3>,
    pub(crate) view: View,
    pub(crate) ring: Option<RingTruth>,
    pub(crate) scales: Vec<ScaleTruth>,
}

pub(crate) fn lay_out(scene: &Scene, scales: &[ScaleObject]) -> Result<LaidOut, DrawError> {
    scene.check()?;
    scales.iter().try_for_each(ScaleObject::check)?;
    let view = View::new(&scene.camera)?;
    let gun = scene.gun.as_ref().map(GunBody::new).transpose()?;
    let seeds = (0..).map(|index: u64| scene.seed.wrapping_add(index.wrapping_mul(0x51)));
    let faces = scales
        .iter()
        .zip(seeds)
        .map(|(scale, seed)| Face::new(scale, &view, scene.bulb.as_ref(), seed))
        .collect::<Result<Vec<_>, _>>()?;
    let mut ring = None;
    let mut glow = None;
    if let Some(beam) = &scene.beam {
        let stage = Stage { view: &view, bulb: scene.bulb.as_ref(), gun: gun.as_ref(), beam };
        let sparks = stage.sparks(&beam.points_mm)?;
        ring = Some(ring_truth(&stage, &sparks)?);
        glow = Some(stage.glow(&sparks)?);
    }
    let peak = scene
        .beam
        .as_ref()
        .map_or([0.0; 3], |beam| beam.colour.map(|c| c * (beam.brightness * RING_LIGHT) as f32));
    let bench = bodies::trace(&view, scene, peak);
    let canvas = compose(scene, &view, gun.as_ref(), glow.as_ref(), &faces, &bench);
    let scales =
        faces.iter().map(|face| scale_truth(face, &view, bench.near.as_ref())).collect::<Result<_, _>>()?;
    drop(faces);
    Ok(LaidOut { canvas, view, ring, scales })
}

/// Puts all light together, from the back to the front.
fn compose(
    scene: &Scene,
    view: &View,
    gun: Option<&GunBody>,
    glow: Option<&Glow>,
    faces: &[Face],
    Bench { far, near }: &Bench,
) -> Canvas<3> {
    let mut glass = scene.bulb.as_ref().map(|_| Canvas::<3>::coarser(view.width, view.height, COARSE));
    if let (Some(glass), Some(bulb)) = (&mut glass, &scene.bulb) {
        add_glass(glass, view, bulb, scene, gun);
    }
    let colour = scene.beam.as_ref().map_or([0.0; 3], |beam| beam.colour);
    let mut canvas = Canvas::<3>::new(view.width, view.height);
    let gun_cover = gun.and_then(|gun| Some((gun, gun.box_px(view)?)));
    let width = view.width;
    let mut back = vec![[0.0_f32; 3]; width];
    let mut wall = vec![[0.0_f32; 3]; width];
    let mut front = vec![[0.0_f32; 4]; width];
    let mut soft = [(); 3].map(|()| vec![[0.0_f32; 1]; width]);
    for y in 0..view.height {
        far.enlarged_row(y, COARSE, &mut back);
        for face in faces {
            face.paint_row(y, scene.room.light, &mut back);
        }
        if let Some(glass) = &glass {
            glass.enlarged_row(y, COARSE, &mut wall);
        }
        if let Some(glow) = glow {
            for (plane, row) in [&glow.haze, &glow.ghost, &glow.halo].into_iter().zip(&mut soft) {
                plane.enlarged_row(y, SOFT, row);
            }
        }
        if let Some(near) = near {
            near.enlarged_row(y, COARSE, &mut front);
        }
        let core = glow.map(|glow| glow.core.row(y));
        let before = glow.and_then(|glow| glow.core_before_gun.as_ref()).map(|plane| plane.row(y));
        let at = |row: Option<&[[f32; 1]]>, x: usize| row.map_or(0.0, |row| row[x][0]);
        for (x, out) in canvas.row_mut(y).iter_mut().enumerate() {
            let gas = at(core, x) + soft[0][x][0] + soft[1][x][0];
            let mut value: [f32; 3] = std::array::from_fn(|k| back[x][k] + wall[x][k] + gas * colour[k]);
            if let Some((gun, bounds)) = gun_cover {
                cover_by_gun(&mut value, gun, bounds, view, scene, (x, y));
            }
            let last = at(before, x);
            let open = 1.0 - front[x][3];
            let veil = soft[2][x][0];
            for k in 0..3 {
                let lit = value[k] + last * colour[k];
                out[k] = lit * open + front[x][k] + veil * colour[k];
            }
        }
    }
    if let Some(gun) = gun {
        add_filament(&mut canvas, view, gun);
    }
    canvas
}

/// Puts the gun over a pixel, with 4 × 4 samples where its edge runs through.
fn cover_by_gun(
    value: &mut [f32; 3],
    gun: &GunBody,
    [left, top, right, foot]: [usize; 4],
    view: &View,
    scene: &Scene,
    (x, y): (usize, usize),
) {
    if x < left || x > right || y < top || y > foot {
        return;
    }
    let glow = scene.beam.as_ref().map_or([0.0; 3], |beam| beam.colour.map(|c| c * beam.brightness as f32));
    let look = |dx: f64, dy: f64| {
        let ray = view.ray(x as f64 + dx, y as f64 + dy);
        gun.meet(view.origin, ray)
            .map(|m| gun.shade(along(view.origin, ray, m.at), m.normal, scene.room.light, glow))
    };
    let corners = [look(-0.5, -0.5), look(0.5, -0.5), look(-0.5, 0.5), look(0.5, 0.5)];
    let hits = corners.iter().flatten().count();
    if hits == 0 {
        return;
    }
    let samples: Vec<Option<[f32; 3]>> = if hits == 4 {
        vec![look(0.0, 0.0)]
    } else {
        let offsets = [-0.375, -0.125, 0.125, 0.375];
        offsets.iter().flat_map(|dy| offsets.map(|dx| look(dx, *dy))).collect()
    };
    let share = 1.0 / samples.len() as f32;
    let cover = samples.iter().flatten().count() as f32 * share;
    for (k, channel) in value.iter_mut().enumerate() {
        let metal: f32 = samples.iter().flatten().map(|colour| colour[k] * share).sum();
        *channel = *channel * (1.0 - cover) + metal;
    }
}

/// The filament's light through a slit in the side that faces the camera.
fn add_filament(canvas: &mut Canvas<3>, view: &View, gun: &GunBody) {
    let towards = sub(view.origin, gun.middle());
    let Some(facing) = unit(along(towards, gun.axis, -dot(towards, gun.axis))) else { return };
    let slit = along(gun.middle(), facing, gun.radius);
    let px_per_mm = view.focal_px / view.depth(slit);
    let mut spots = Canvas::<1>::new(canvas.width, canvas.height);
    for part in -4..=4 {
        let Some([x, y]) = view.project(along(slit, gun.axis, f64::from(part) * 0.3)) else { return };
        spots.add_spot(x, y, 0.42 * px_per_mm, 0.55 * px_per_mm * px_per_mm);
        spots.add_spot(x, y, 2.6 * px_per_mm, 0.05 * px_per_mm * px_per_mm);
    }
    for (out, spot) in canvas.light.iter_mut().zip(&spots.light) {
        for k in 0..3 {
            out[k] += spot[0] * FILAMENT[k];
        }
    }
}
