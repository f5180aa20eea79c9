//! What the bulb shows of itself: its limb, a veil of scattered light, mirrored windows, neck, stem and leads.

use crate::bodies::{COARSE, coarse_centre};
use crate::camera::View;
use crate::canvas::Canvas;
use crate::gun::GunBody;
use crate::scene::{Bulb, Room, Scene};
use crate::vector::{Vec3, along, cross, dot, norm, scaled, sub, unit};

/// Share of the ring's light that the glass and the gas throw about in the bulb.
const BULB_VEIL: f64 = 0.010;

/// Adds what the glass shows of itself: its limb, a veil of scattered light, windows, neck, stem and leads.
pub(crate) fn add_glass(far: &mut Canvas<3>, view: &View, bulb: &Bulb, scene: &Scene, gun: Option<&GunBody>) {
    let leads = gun.map(|gun| leads(view, gun, bulb)).unwrap_or_default();
    let (brightness, colour) =
        scene.beam.as_ref().map_or((0.0, [0.0; 3]), |beam| (beam.brightness, beam.colour));
    let ring_light = brightness * BULB_VEIL;
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
                let wire_light = lead as f32 + (wire * ring_light) as f32 * 0.9 * colour[k];
                *value += from_ring * colour[k] + from_room * cool + wire_light;
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
