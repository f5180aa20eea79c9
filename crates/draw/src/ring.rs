//! The picture of a glowing ring in a bulb, and the truth behind it.

use crate::bodies::{self, Bench, COARSE, coarse_centre};
use crate::camera::View;
use crate::canvas::Canvas;
use crate::develop::develop;
use crate::error::DrawError;
use crate::glow::{Glow, SOFT, Stage};
use crate::gun::GunBody;
use crate::scene::{Beam, Bulb, Room, Scene};
use crate::vector::{Vec3, along, cross, dot, norm, scaled, sub, unit};

/// Colour of the filament that shows through the gun's slit.
const FILAMENT: [f32; 3] = [1.0, 0.42, 0.10];
/// Light of the ring on the bodies around it, as a fraction of the core's peak.
const RING_LIGHT: f64 = 0.006;
/// Share of the ring's light that the glass and the gas throw about in the bulb.
const BULB_VEIL: f64 = 0.010;

/// Where the beam's centre line is in the picture.
#[derive(Debug, Clone, PartialEq)]
pub struct RingTruth {
    /// Place of each point of the path, in its order, as the camera records it: through the glass, with distortion.
    pub seen_px: Vec<[f64; 2]>,
    /// The same if there were no glass.
    pub straight_px: Vec<[f64; 2]>,
    /// Whether each point is in the picture and not hidden by the gun.
    pub visible: Vec<bool>,
}

/// A drawn ring.
#[derive(Debug, Clone, PartialEq)]
pub struct DrawnRing {
    /// The photograph.
    pub jpeg: Vec<u8>,
    /// What is in it.
    pub truth: RingTruth,
}

/// Draws the glowing ring of a scene.
///
/// # Errors
///
/// When a number of the scene cannot be drawn, there is no beam, or it lies behind the camera or outside
/// the glass; see [`DrawError`].
pub fn draw_ring(scene: &Scene) -> Result<DrawnRing, DrawError> {
    scene.check()?;
    let view = View::new(&scene.camera)?;
    let beam = scene.beam.as_ref().ok_or(DrawError::NoBeam { points: 0 })?;
    let gun = scene.gun.as_ref().map(GunBody::new).transpose()?;
    let stage = Stage { view: &view, bulb: scene.bulb.as_ref(), gun: gun.as_ref(), beam };
    let sparks = stage.sparks()?;
    let seen_px = sparks.iter().map(|spark| spark.px).collect();
    let truth = truth(&stage, seen_px)?;
    let glow = stage.glow(&sparks);
    let canvas = compose(scene, &view, beam, gun.as_ref(), &glow);
    Ok(DrawnRing { jpeg: develop(canvas, &view, &scene.sensor, scene.seed)?, truth })
}

fn truth(stage: &Stage, seen_px: Vec<[f64; 2]>) -> Result<RingTruth, DrawError> {
    let points = &stage.beam.points_mm;
    let behind = || DrawError::BehindCamera { what: "a point of the beam" };
    let straight_px =
        points.iter().map(|p| stage.view.project(*p).ok_or_else(behind)).collect::<Result<_, _>>()?;
    let hidden = |point: Vec3| stage.gun.is_some_and(|gun| gun.hides(stage.view.origin, point));
    let visible =
        points.iter().zip(&seen_px).map(|(p, px)| stage.view.in_frame(*px) && !hidden(*p)).collect();
    Ok(RingTruth { seen_px, straight_px, visible })
}

/// Puts all light together, from the back to the front.
fn compose(scene: &Scene, view: &View, beam: &Beam, gun: Option<&GunBody>, glow: &Glow) -> Canvas<3> {
    let peak = (beam.brightness * RING_LIGHT) as f32;
    let Bench { mut far, near } = bodies::trace(view, scene, beam.colour.map(|c| c * peak));
    if let Some(bulb) = &scene.bulb {
        add_glass(&mut far, view, bulb, scene, beam, gun);
    }
    let mut canvas = Canvas::<3>::new(view.width, view.height);
    let gun_cover = gun.and_then(|gun| Some((gun, gun.box_px(view)?)));
    let width = view.width;
    let (mut back, mut front) = (vec![[0.0_f32; 3]; width], vec![[0.0_f32; 4]; width]);
    let mut soft = [(); 3].map(|()| vec![[0.0_f32; 1]; width]);
    for y in 0..view.height {
        far.enlarged_row(y, COARSE, &mut back);
        for (plane, row) in [&glow.haze, &glow.ghost, &glow.halo].into_iter().zip(&mut soft) {
            plane.enlarged_row(y, SOFT, row);
        }
        if let Some(near) = &near {
            near.enlarged_row(y, COARSE, &mut front);
        }
        let core = glow.core.row(y);
        let before = glow.core_before_gun.as_ref().map(|plane| plane.row(y));
        for (x, out) in canvas.row_mut(y).iter_mut().enumerate() {
            let gas = core[x][0] + soft[0][x][0] + soft[1][x][0];
            let mut value: [f32; 3] = std::array::from_fn(|k| back[x][k] + gas * beam.colour[k]);
            if let Some((gun, bounds)) = gun_cover {
                cover_by_gun(&mut value, gun, bounds, view, scene, beam, (x, y));
            }
            let last = before.map_or(0.0, |row| row[x][0]);
            let open = 1.0 - front[x][3];
            let veil = soft[2][x][0];
            for k in 0..3 {
                let lit = value[k] + last * beam.colour[k];
                out[k] = lit * open + front[x][k] + veil * beam.colour[k];
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
    beam: &Beam,
    (x, y): (usize, usize),
) {
    if x < left || x > right || y < top || y > foot {
        return;
    }
    let glow = beam.colour.map(|c| c * beam.brightness as f32);
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

/// Adds what the glass shows of itself: its limb, a veil of scattered light, windows, neck, stem and leads.
fn add_glass(
    far: &mut Canvas<3>,
    view: &View,
    bulb: &Bulb,
    scene: &Scene,
    beam: &Beam,
    gun: Option<&GunBody>,
) {
    let leads = gun.map(|gun| leads(view, gun, bulb)).unwrap_or_default();
    let ring_light = beam.brightness * BULB_VEIL;
    for y in 0..far.height {
        for x in 0..far.width {
            let (px, py) = coarse_centre(x, y);
            let Some(ray) = unit(view.ray(px, py)) else { continue };
            let shell = shell_depth(bulb, norm(cross(view.origin, ray)));
            let neck = gun.map_or(0.0, |gun| neck_depth(bulb, gun.neck, view.origin, ray));
            let windows = if shell > 0.0 { windows(bulb, &scene.room, view.origin, ray) } else { 0.0 };
            let wire = leads.iter().map(|lead| lead.cover(px, py)).fold(0.0, f64::max);
            let inside = if shell > 0.0 { 0.35 } else { 0.0 };
            let from_ring = (ring_light * (0.16 * (shell + 0.6 * neck) + inside)) as f32;
            let from_room = (scene.room.light * 0.05 * (shell + neck) + windows) as f32;
            let lead = wire * scene.room.light * 0.5;
            for (k, value) in far.row_mut(y)[x].iter_mut().enumerate() {
                let cool = [0.85, 0.97, 1.0][k];
                let wire_light = lead as f32 + (wire * ring_light) as f32 * 0.9 * beam.colour[k];
                *value += from_ring * beam.colour[k] + from_room * cool + wire_light;
            }
        }
    }
}

/// Length of a ray inside the glass, in thicknesses: 2 in the middle, more at the limb.
fn shell_depth(bulb: &Bulb, impact: f64) -> f64 {
    let chord = |radius: f64| (radius * radius - impact * impact).max(0.0).sqrt();
    let thickness = bulb.glass_thickness_mm.max(0.2);
    2.0 * (chord(bulb.outer_radius_mm) - chord(bulb.outer_radius_mm - thickness)) / thickness
}

/// The same for the glass of the neck and of the stem inside it.
fn neck_depth(bulb: &Bulb, neck: Vec3, origin: Vec3, ray: Vec3) -> f64 {
    let outer = bulb.outer_radius_mm;
    let thickness = bulb.glass_thickness_mm.max(0.2);
    let Some(square) = unit(cross(neck, ray)) else { return 0.0 };
    let impact = dot(origin, square).abs();
    // Where the ray passes the axis: its place along the neck.
    let between = dot(neck, ray);
    let run = (dot(origin, ray) - dot(origin, neck) * between) / (between * between - 1.0);
    let place = dot(along(origin, ray, run), neck);
    let tube = |radius: f64, from: f64, to: f64| {
        if impact >= radius || place < from || place > to {
            return 0.0;
        }
        let chord = |r: f64| (r * r - impact * impact).max(0.0).sqrt();
        2.0 * (chord(radius) - chord(radius - thickness)) / thickness
    };
    let shoulder = 0.05 * outer * ((1.03 * outer - place) / (0.09 * outer)).clamp(0.0, 1.0);
    let neck_tube = tube(0.23 * outer + shoulder, 0.95 * outer, 2.2 * outer);
    let taper = 0.05 * outer * ((place - 0.62 * outer) / (0.08 * outer)).clamp(0.0, 1.0);
    neck_tube + 0.8 * tube(0.09 * outer + taper, 0.62 * outer, 2.2 * outer)
}

/// Light of a window behind the camera, mirrored by the near and by the far wall of the bulb.
fn windows(bulb: &Bulb, room: &Room, origin: Vec3, ray: Vec3) -> f64 {
    if room.reflections == 0.0 {
        return 0.0;
    }
    let half = dot(origin, ray);
    let meet = |radius: f64, sign: f64| {
        let root = half * half - dot(origin, origin) + radius * radius;
        (root > 0.0).then(|| along(origin, ray, -half + sign * root.sqrt()))
    };
    let bounce = |place: Option<Vec3>| {
        let Some(normal) = place.and_then(unit) else { return 0.0 };
        window_light(along(ray, normal, -2.0 * dot(ray, normal)))
    };
    let near = bounce(meet(bulb.outer_radius_mm, -1.0));
    let far = bounce(meet(bulb.inner_radius_mm(), 1.0));
    room.reflections * 0.04 * (near + 0.8 * far)
}

/// A tall window of two panes by two, up to the left behind the camera, with soft edges.
fn window_light(towards: Vec3) -> f64 {
    const CENTRE: Vec3 = [-0.62, 0.40, 0.675];
    let aside = [CENTRE[2], 0.0, -CENTRE[0]];
    let depth = dot(towards, CENTRE);
    if depth <= 0.1 {
        return 0.0;
    }
    let x = dot(towards, aside) / depth / norm(aside);
    let y = (towards[1] - depth * CENTRE[1]) / depth;
    let pane = |v: f64, half: f64| ((half - v.abs()) / 0.02 + 0.5).clamp(0.0, 1.0);
    let bar = |v: f64| ((v.abs() - 0.016) / 0.012).clamp(0.0, 1.0);
    pane(x, 0.16) * pane(y, 0.27) * bar(x) * bar(y) * (0.75 + 0.8 * y.max(-0.3))
}

/// A wire in the picture: a line of some width between two places.
struct Lead {
    from: [f64; 2],
    to: [f64; 2],
    half_width: f64,
}

impl Lead {
    fn cover(&self, x: f64, y: f64) -> f64 {
        let (dx, dy) = (self.to[0] - self.from[0], self.to[1] - self.from[1]);
        let (ex, ey) = (x - self.from[0], y - self.from[1]);
        let along = ((ex * dx + ey * dy) / (dx * dx + dy * dy).max(1e-9)).clamp(0.0, 1.0);
        let (ox, oy) = (ex - along * dx, ey - along * dy);
        (0.5 + (self.half_width - (ox * ox + oy * oy).sqrt()) / COARSE as f64).clamp(0.0, 1.0)
    }
}

/// Four wires from under the gun to the stem.
fn leads(view: &View, gun: &GunBody, bulb: &Bulb) -> Vec<Lead> {
    let stem = scaled(gun.neck, 0.64 * bulb.outer_radius_mm);
    let side = unit(along(gun.axis, gun.neck, -dot(gun.axis, gun.neck))).unwrap_or(gun.axis);
    let wires = (0..4).flat_map(|wire| {
        let spread = f64::from(wire) - 1.5;
        let under = along(along(gun.middle(), gun.neck, 0.95 * gun.radius), side, 0.13 * gun.length * spread);
        let end = along(stem, side, 2.2 * spread);
        // Down first, then over to the stem.
        let run = 0.55 * dot(sub(end, under), gun.neck).max(0.0);
        let knee = along(under, gun.neck, run);
        let half_width = 0.45 * view.focal_px / view.depth(under);
        let lead = |from: Vec3, to: Vec3| {
            Some(Lead { from: view.project(from)?, to: view.project(to)?, half_width })
        };
        [lead(under, knee), lead(knee, end)].into_iter().flatten()
    });
    wires.collect()
}
