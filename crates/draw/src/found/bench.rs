//! The coil pair, its posts and its base.

use super::brush::line;
use super::lot::Lot;
use super::paint::{Easel, circle};
use crate::noise::texture;
use crate::vector::{Vec3, sub};

const RIM_STEPS: usize = 96;
const X: Vec3 = [1.0, 0.0, 0.0];
const Y: Vec3 = [0.0, 1.0, 0.0];

/// Hood, back coil, posts between the coils, and the base.
pub(crate) fn paint_back(easel: &mut Easel) {
    if easel.scene.around.has_hood {
        paint_hood(easel);
    }
    if easel.scene.around.has_coils {
        paint_coil(easel, -1.0);
        paint_posts(easel);
        paint_base(easel);
    }
}

/// The front coil with what hangs on it.
pub(crate) fn paint_front(easel: &mut Easel) {
    if easel.scene.around.has_coils {
        paint_coil(easel, 1.0);
    }
}

/// The outer edge of the front coil's rim in the picture.
pub(crate) fn front_rim(easel: &Easel) -> Vec<[f64; 2]> {
    if !easel.scene.around.has_coils {
        return Vec::new();
    }
    let coils = &easel.scene.coils;
    let z = 0.5 * (coils.separation_mm + coils.winding_axial_mm);
    let radius = coils.mean_radius_mm + 0.5 * coils.winding_radial_mm;
    easel.project(&circle([0.0, 0.0, z], X, Y, radius, RIM_STEPS)).unwrap_or_default()
}

/// A coil: its inner and outer walls where they face the camera, then its face, with the winding's groove.
fn paint_coil(easel: &mut Easel, side: f64) {
    let coils = &easel.scene.coils;
    let middle = 0.5 * side * coils.separation_mm;
    let half = 0.5 * coils.winding_axial_mm;
    let (inner, outer) = (
        coils.mean_radius_mm - 0.5 * coils.winding_radial_mm,
        coils.mean_radius_mm + 0.5 * coils.winding_radial_mm,
    );
    let colour = easel.scene.around.rim_colour;
    let (near, far) = (middle + half, middle - half);
    paint_wall(easel, inner, [far, near], -1.0, colour);
    paint_wall(easel, outer, [far, near], 1.0, colour);
    paint_face(easel, near, [inner, outer], colour);
    let groove = [inner + 0.3 * (outer - inner), outer - 0.16 * (outer - inner)];
    let darker = if easel.scene.around.is_wooden { 0.7 } else { 1.25 };
    let other = colour.map(|c| (c * darker).min(0.9));
    paint_face(easel, near, groove, other);
}

/// Pieces of a cylinder about the axis that the camera sees from outside (`sense` 1) or from inside (-1).
fn paint_wall(easel: &mut Easel, radius: f64, z: [f64; 2], sense: f64, colour: [f32; 3]) {
    let eye = easel.view.origin;
    let step = 2.0 * std::f64::consts::PI / RIM_STEPS as f64;
    for piece in 0..RIM_STEPS {
        let at = |part: f64| {
            let angle = (piece as f64 + part) * step;
            [libm::cos(angle), libm::sin(angle)]
        };
        // a little overlap, or seams show
        let ([ax, ay], [bx, by], [mx, my]) = (at(-0.08), at(1.08), at(0.5));
        let normal = [sense * mx, sense * my, 0.0];
        let place = [radius * mx, radius * my, z[1]];
        let towards = sub(eye, place);
        if normal[0] * towards[0] + normal[1] * towards[1] <= 0.0 {
            continue;
        }
        let corners = [
            [radius * ax, radius * ay, z[0]],
            [radius * bx, radius * by, z[0]],
            [radius * bx, radius * by, z[1]],
            [radius * ax, radius * ay, z[1]],
        ];
        easel.face(&corners, normal, colour.map(|c| 0.8 * c));
    }
}

/// A ring-shaped face that looks to +z, with light that changes along it.
fn paint_face(easel: &mut Easel, z: f64, [inner, outer]: [f64; 2], colour: [f32; 3]) {
    let centre = [0.0, 0.0, z];
    let Some(outside) = easel.project(&circle(centre, X, Y, outer, RIM_STEPS)) else { return };
    let Some(mut inside) = easel.project(&circle(centre, X, Y, inner, RIM_STEPS)) else { return };
    inside.reverse();
    let top = easel.lit(colour, [0.0, outer, z], [0.0, 0.25, 0.97]);
    let foot = easel.lit(colour, [0.0, -outer, z], [0.0, -0.25, 0.97]);
    let left = easel.lit(colour, [-outer, 0.0, z], [0.0, 0.0, 1.0]);
    let right = easel.lit(colour, [outer, 0.0, z], [0.0, 0.0, 1.0]);
    let around = &easel.scene.around;
    let lamp = around.rim_light as f32;
    let Some([cx, cy]) = easel.view.project(centre) else { return };
    let size = outer * easel.px_per_mm(centre);
    let (is_wooden, seed) = (around.is_wooden, easel.scene.seed);
    let shade = |x: f64, y: f64| {
        let (u, v) = ((x - cx) / size, (y - cy) / size);
        let (s, t) = ((0.5 + 0.5 * u).clamp(0.0, 1.0) as f32, (0.5 + 0.5 * v).clamp(0.0, 1.0) as f32);
        let grain = if is_wooden {
            1.0 + 0.16 * texture(seed ^ 5, 40.0 * v + 3.0 * u, 4.0 * u) as f32
        } else {
            1.0 + 0.05 * texture(seed ^ 6, 9.0 * u, 9.0 * v) as f32
        };
        let lean = lamp * (0.55 - 0.35 * v as f32 + 0.2 * u as f32).max(0.0);
        std::array::from_fn(|k| {
            let even = 0.5 * (top[k] + (foot[k] - top[k]) * t) + 0.5 * (left[k] + (right[k] - left[k]) * s);
            grain * (even + lean * colour[k])
        })
    };
    easel.paint(&[outside.clone(), inside], 1.0, shade);
    // the edge catches light
    let edge = easel.lit(colour.map(|c| c * 1.8 + 0.03), [-0.4 * outer, 0.8 * outer, z], [-0.3, 0.8, 0.5]);
    let wide = (0.5 * easel.px_per_mm(centre)).max(0.35);
    easel.paint(&[line(&outside, |_| wide)], 0.7, |_, _| edge);
}

/// Rods that hold the coils apart.
fn paint_posts(easel: &mut Easel) {
    let mut lot = Lot::new(easel.scene.seed, 31);
    let coils = &easel.scene.coils;
    let (radius, half) = (coils.mean_radius_mm, 0.5 * coils.separation_mm);
    let start = lot.between(0.0, 360.0);
    let count = lot.one(&[3, 3, 4], 3);
    let colour = lot.one(&[[0.55, 0.55, 0.56], [0.05, 0.05, 0.05], [0.7, 0.55, 0.25]], [0.5; 3]);
    for rod in 0..count {
        let angle = (start + f64::from(rod) * 360.0 / f64::from(count)).to_radians();
        let at = |z: f64| [radius * libm::cos(angle), radius * libm::sin(angle), z];
        easel.rod(at(-half), at(half), 5.0, colour, 0.6);
    }
}

/// A box under the coils.
fn paint_base(easel: &mut Easel) {
    let mut lot = Lot::new(easel.scene.seed, 32);
    let coils = &easel.scene.coils;
    let foot = -(coils.mean_radius_mm + 0.5 * coils.winding_radial_mm);
    let table = easel.scene.around.table_mm;
    let wide = lot.between(0.7, 1.25) * coils.mean_radius_mm;
    let deep = 0.5 * coils.separation_mm + lot.between(20.0, 60.0);
    let colour = lot.one(&[[0.03; 3], [0.05, 0.05, 0.06], [0.42, 0.26, 0.13], [0.25, 0.26, 0.28]], [0.04; 3]);
    let top = foot.max(table + 20.0) + lot.between(-4.0, 10.0);
    easel.solid([-wide, table, -deep], [wide, top, deep], colour);
    if lot.is(0.5) {
        let high = (0.16 * (top - table)).clamp(3.0, 12.0);
        let foot = [lot.between(-0.4, 0.4) * wide, table + 0.55 * (top - table), deep + 0.5];
        easel.print("current under 3", foot, high, [0.75; 3]);
        easel.print("130 turn unit", [foot[0], foot[1] - 1.7 * high, foot[2]], high, [0.75; 3]);
    }
}

/// A black lined hood behind the coils, its cloth falling to one side.
fn paint_hood(easel: &mut Easel) {
    let mut lot = Lot::new(easel.scene.seed, 33);
    let coils = &easel.scene.coils;
    let radius = coils.mean_radius_mm + coils.winding_radial_mm + lot.between(15.0, 60.0);
    let table = easel.scene.around.table_mm;
    let z = -0.5 * coils.separation_mm - 40.0;
    let side = if lot.is(0.5) { 1.0 } else { -1.0 };
    let cloth = lot.one(&[[0.16, 0.01, 0.02], [0.02, 0.02, 0.03], [0.02, 0.03, 0.10]], [0.02; 3]);
    let half_turn = |wide: f64, high: f64| -> Vec<Vec3> {
        let mut outline: Vec<Vec3> = (0..=40)
            .map(|step| {
                let angle = std::f64::consts::PI * f64::from(step) / 40.0;
                [wide * libm::cos(angle), high * libm::sin(angle), z]
            })
            .collect();
        outline.push([-wide, table, z]);
        outline.push([wide, table, z]);
        outline
    };
    let fold = half_turn(radius * 1.18, radius * 1.1);
    let fold: Vec<Vec3> = fold.iter().map(|p| [p[0] + 0.16 * side * radius, p[1], p[2] - 60.0]).collect();
    let lit = easel.lit(cloth, [side * radius, 0.0, z], [side * 0.7, 0.2, 0.6]);
    let seed = easel.scene.seed;
    if let Some(outline) = easel.project(&fold) {
        let scale = 0.02;
        easel.paint(&[outline], 1.0, |x, y| {
            let fold = 1.0 + 0.8 * texture(seed ^ 9, x * scale, y * scale * 0.25) as f32;
            lit.map(|c| c * fold.max(0.1))
        });
    }
    let lining = easel.lit([0.012; 3], [0.0, 0.0, z], [0.0, 0.0, 1.0]);
    if let Some(outline) = easel.project(&half_turn(radius, radius)) {
        easel.paint(&[outline], 1.0, |_, _| lining);
    }
}
