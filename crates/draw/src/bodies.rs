//! The bench around the beam: wall, table and coils, traced at half the resolution because they are out of focus.

use crate::camera::View;
use crate::canvas::Canvas;
use crate::noise::texture;
use crate::scene::{Coils, Scene};
use crate::vector::{Vec3, along, dot, unit};

/// The bench is traced on a raster this many times coarser than the picture.
pub(crate) const COARSE: usize = 2;
/// The wall stands this far behind the bulb's centre.
const WALL_MM: f64 = 900.0;
/// The table lies this far below the lowest body.
const BELOW_MM: f64 = 34.0;
/// Blur of what is out of focus, in picture widths (about 3 px of 3000 before, 6 px behind).
const DEFOCUS_NEAR: f64 = 0.0008;
const DEFOCUS_FAR: f64 = 0.0010;

/// The bench, split by the plane through the bulb's centre that faces the camera.
pub(crate) struct Bench {
    /// What lies behind; covers the whole picture.
    pub(crate) far: Canvas<3>,
    /// What lies before: light times cover in three channels, cover in the fourth.
    pub(crate) near: Option<Canvas<4>>,
}

/// A surface met by a ray.
struct Surface {
    at: f64,
    colour: [f32; 3],
}

/// Traces the bench; `glow` is the light of the ring on the bodies around it.
pub(crate) fn trace(view: &View, scene: &Scene, glow: [f32; 3]) -> Bench {
    let mut far = Canvas::<3>::coarser(view.width, view.height, COARSE);
    let mut near = Canvas::<4>::coarser(view.width, view.height, COARSE);
    let backdrop = Backdrop::new(view, scene);
    let split = view.depth([0.0; 3]);
    let mut any_near = false;
    for y in 0..far.height {
        for x in 0..far.width {
            let (px, py) = coarse_centre(x, y);
            let ray = view.ray(px, py);
            let (mut behind, mut before) = (backdrop.meet(view.origin, ray), None::<Surface>);
            if let Some(coils) = &scene.coils {
                meet_coils(coils, view.origin, ray, |at, normal, place| {
                    // A ray is one millimetre long along the optical axis, so `at` is a depth.
                    let nearest = if at < split { before.as_ref().map(|s| s.at) } else { Some(behind.at) };
                    if nearest.is_none_or(|other| at < other) {
                        let colour = coil_colour(coils, scene, normal, place, glow);
                        let surface = Surface { at, colour };
                        if at < split { before = Some(surface) } else { behind = surface }
                    }
                });
            }
            far.row_mut(y)[x] = behind.colour;
            if let Some(Surface { colour: [r, g, b], .. }) = before {
                near.row_mut(y)[x] = [r, g, b, 1.0];
                any_near = true;
            }
        }
    }
    let width = view.width as f64;
    far.blur(width * DEFOCUS_FAR);
    near.blur(if any_near { width * DEFOCUS_NEAR } else { 0.0 });
    Bench { far, near: any_near.then_some(near) }
}

/// Where the middle of a coarse pixel lies in the picture.
pub(crate) fn coarse_centre(x: usize, y: usize) -> (f64, f64) {
    let middle = |i: usize| (i as f64 + 0.5) * COARSE as f64 - 0.5;
    (middle(x), middle(y))
}

/// Seed of everything's grain.
fn grain(scene: &Scene) -> u64 {
    scene.room.grain.unwrap_or(scene.seed)
}

/// Wall and table.
struct Backdrop {
    into_room: Vec3,
    table_y: f64,
    light: f64,
    wall: [f32; 3],
    seed: u64,
}

impl Backdrop {
    fn new(view: &View, scene: &Scene) -> Self {
        let lowest = scene.coils.as_ref().map_or(100.0, |c| c.mean_radius_mm + 0.5 * c.winding_radial_mm);
        Backdrop {
            into_room: unit([view.forward[0], 0.0, view.forward[2]]).unwrap_or([0.0, 0.0, -1.0]),
            table_y: -lowest - BELOW_MM,
            light: scene.room.light,
            wall: scene.room.background,
            seed: grain(scene),
        }
    }

    fn meet(&self, origin: Vec3, ray: Vec3) -> Surface {
        let to_wall = (WALL_MM - dot(origin, self.into_room)) / dot(ray, self.into_room);
        let to_table = (self.table_y - origin[1]) / ray[1];
        let wall_ahead = to_wall > 0.0;
        if ray[1] < 0.0 && to_table > 0.0 && (!wall_ahead || to_table < to_wall) {
            let place = along(origin, ray, to_table);
            return Surface { at: to_table, colour: self.table_colour(place) };
        }
        let at = if wall_ahead { to_wall } else { 1e6 };
        let place = along(origin, ray, at.min(5e3));
        Surface { at, colour: self.wall_colour(place) }
    }

    fn wall_colour(&self, place: Vec3) -> [f32; 3] {
        let (x, y) = (place[0] + place[2], place[1]);
        let grain = texture(self.seed, x / 160.0, y / 130.0)
            + 0.5 * texture(self.seed ^ 1, x / 60.0, y / 60.0)
            + 0.25 * texture(self.seed ^ 2, x / 21.0, y / 21.0);
        let level = self.light * (0.82 - 0.00035 * x + 0.00018 * y + 0.045 * grain).max(0.05);
        self.wall.map(|c| c * level as f32)
    }

    fn table_colour(&self, place: Vec3) -> [f32; 3] {
        let along_grain = place[0] / 300.0;
        let streak = texture(self.seed ^ 3, along_grain, place[2] / 9.0)
            + 0.6 * texture(self.seed ^ 4, 3.0 * along_grain, place[2] / 3.5);
        let level = self.light * (0.75 + 0.14 * streak);
        [0.20, 0.135, 0.085].map(|c| c * level as f32)
    }
}

/// Hands every surface of the two windings that a ray meets to `found`: how far, normal, place.
fn meet_coils(coils: &Coils, origin: Vec3, ray: Vec3, mut found: impl FnMut(f64, Vec3, Vec3)) {
    let half = 0.5 * coils.winding_axial_mm;
    let radii = [-0.5, 0.5].map(|side| coils.mean_radius_mm + side * coils.winding_radial_mm);
    let in_ring = |p: Vec3| {
        let square = p[0] * p[0] + p[1] * p[1];
        square >= radii[0] * radii[0] && square <= radii[1] * radii[1]
    };
    for centre in [-0.5 * coils.separation_mm, 0.5 * coils.separation_mm] {
        for side in [-1.0, 1.0] {
            let at = (centre + side * half - origin[2]) / ray[2];
            let place = along(origin, ray, at);
            if at > 1.0 && in_ring(place) {
                found(at, [0.0, 0.0, side], place);
            }
        }
        for (radius, sense) in radii.iter().zip([-1.0, 1.0]) {
            meet_cylinder(*radius, origin, ray, |at, place| {
                if (place[2] - centre).abs() <= half {
                    let out = sense / radius;
                    found(at, [place[0] * out, place[1] * out, 0.0], place);
                }
            });
        }
    }
}

/// Both meetings of a ray with an endless cylinder about z.
fn meet_cylinder(radius: f64, origin: Vec3, ray: Vec3, mut found: impl FnMut(f64, Vec3)) {
    let a = ray[0] * ray[0] + ray[1] * ray[1];
    let b = ray[0] * origin[0] + ray[1] * origin[1];
    let root = b * b - a * (origin[0] * origin[0] + origin[1] * origin[1] - radius * radius);
    if root < 0.0 || a < 1e-18 {
        return;
    }
    for sign in [-1.0, 1.0] {
        let at = (-b + sign * root.sqrt()) / a;
        if at > 1.0 {
            found(at, along(origin, ray, at));
        }
    }
}

/// Colour of a former: wooden cheeks, copper windings on the rims, dark clips with a screw.
fn coil_colour(coils: &Coils, scene: &Scene, normal: Vec3, place: Vec3, glow: [f32; 3]) -> [f32; 3] {
    let radius = (place[0] * place[0] + place[1] * place[1]).sqrt();
    let out = radius - coils.mean_radius_mm;
    let base: [f64; 3] = if normal[2].abs() > 0.5 {
        cheek(out / (0.5 * coils.winding_radial_mm), place, radius, grain(scene))
    } else {
        let wire = texture(grain(scene) ^ 9, place[2] / 0.55, 0.3);
        [0.30, 0.13, 0.055].map(|c| c * (1.0 + 0.35 * wire))
    };
    let lit = scene.room.light * (0.42 + 0.58 * dot(normal, scene.room.lamp).max(0.0));
    // The ring lights what faces it: the inner rims most, the cheeks at a slant.
    let facing = if normal[2].abs() > 0.5 { 0.35 } else { 1.0 };
    std::array::from_fn(|channel| {
        (base[channel] * lit) as f32 + base[channel] as f32 * glow[channel] * facing
    })
}

/// Colour of a coil's flat side at a radial place from -1 (inner rim) to 1 (outer rim).
fn cheek(across: f64, place: Vec3, radius: f64, seed: u64) -> [f64; 3] {
    for clip in [-2.5, -0.75, 0.65, 2.35] {
        let (c, s) = (libm::cos(clip), libm::sin(clip));
        let (around, inwards) = (place[1] * c - place[0] * s, place[0] * c + place[1] * s);
        if inwards > 0.0 && around.abs() < 8.0 {
            let screw = around * around + (across * 8.0) * (across * 8.0) < 7.0;
            return if screw { [0.33, 0.33, 0.34] } else { [0.055, 0.058, 0.063] };
        }
    }
    let grain = texture(seed ^ 7, radius / 1.3, place[0] / 90.0 + place[1] / 70.0)
        + 0.5 * texture(seed ^ 8, place[0] / 25.0, place[1] / 25.0);
    let rim = if across.abs() > 0.72 { 1.35 } else { 1.0 };
    [0.34, 0.185, 0.075].map(|c| c * rim * (1.0 + 0.13 * grain))
}
