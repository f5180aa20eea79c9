//! The bulb's glass: limb, neck and stem, rungs inside, and what is mirrored in it.

use super::brush::line;
use super::light::Light;
use super::lot::Lot;
use super::paint::{Easel, beside};
use super::supplies;
use crate::bulb::seen_point;
use crate::camera::View;
use crate::scene::Bulb;
use crate::vector::{Vec3, add, along, norm, scaled, unit};

/// The bulb's outline as the camera sees it: where rays touch the sphere.
pub(crate) fn outline(view: &View, bulb: &Bulb) -> Vec<[f64; 2]> {
    let radius = bulb.outer_radius_mm;
    (0..120)
        .filter_map(|step| touched(view, radius, 2.0 * std::f64::consts::PI * f64::from(step) / 120.0))
        .collect()
}

/// Where the outline of a sphere of that radius is seen, at an angle about the line of sight (0 right, a quarter turn up).
fn touched(view: &View, radius: f64, angle: f64) -> Option<[f64; 2]> {
    let towards = unit(view.origin)?;
    let far = norm(view.origin);
    let [a, b] = beside(towards);
    // a runs level, b upright or the other way; turn so that the second is up
    let (a, b) =
        (scaled(a, if a[0] < 0.0 { -1.0 } else { 1.0 }), scaled(b, if b[1] < 0.0 { -1.0 } else { 1.0 }));
    let depth = radius * radius / far;
    let wide = radius * (1.0 - (radius / far).powi(2)).max(0.0).sqrt();
    let across = add(scaled(a, wide * libm::cos(angle)), scaled(b, wide * libm::sin(angle)));
    view.project(add(scaled(towards, depth), across))
}

/// A patch on the bulb's disc between two radii (shares of the outline's) and two angles.
fn patch(easel: &Easel, radii: [f64; 2], angles: [f64; 2]) -> Option<Vec<[f64; 2]>> {
    let radius = easel.scene.bulb.outer_radius_mm;
    let arc = |share: f64, backwards: bool| -> Option<Vec<[f64; 2]>> {
        (0..=8)
            .map(|step| {
                let t = f64::from(if backwards { 8 - step } else { step }) / 8.0;
                touched(easel.view, share * radius, angles[0] + (angles[1] - angles[0]) * t)
            })
            .collect()
    };
    let mut outline = arc(radii[1], false)?;
    outline.extend(arc(radii[0], true)?);
    Some(outline)
}

/// Glass behind the beam: neck, stem, limb, and rungs.
pub(crate) fn paint_back(easel: &mut Easel) {
    let scene = easel.scene;
    let bulb = &scene.bulb;
    let down = unit(scene.gun.neck_direction).unwrap_or([0.0, -1.0, 0.0]);
    let outer = bulb.outer_radius_mm;
    // a veil of scattered room light on the whole bulb
    let tint = easel.falling([0.0, 0.0, outer], [0.0, 0.0, 1.0]);
    let disc = outline(easel.view, bulb);
    easel.paint(&[disc], 0.10, |_, _| tint.map(|c| 0.75 * c));
    paint_limb(easel);
    paint_neck(easel, down);
    paint_rungs(easel);
}

/// Neck, the pressed stem inside it, and the socket.
fn paint_neck(easel: &mut Easel, down: Vec3) {
    let mut lot = Lot::new(easel.scene.seed, 43);
    let outer = easel.scene.bulb.outer_radius_mm;
    let wide = lot.between(0.20, 0.32) * outer;
    let end = lot.between(1.35, 1.7);
    let at =
        |share: f64, aside: f64| add(scaled(down, share * outer), scaled([-down[1], down[0], 0.0], aside));
    let shine = easel.falling(at(1.2, 0.0), [0.0, 0.2, 0.9]);
    let glow = (0.08 * easel.scene.gas.fill * easel.scene.beam.brightness.min(1.0)) as f32;
    let gas = easel.scene.gas.colour;
    let corners = [at(0.96, -wide), at(0.96, wide), at(end, wide), at(end, -wide)];
    if let Some(outline) = easel.project(&corners) {
        easel.shine(outline, std::array::from_fn(|k| 0.05 * shine[k] + glow * gas[k]));
    }
    for side in [-1.0, 1.0] {
        easel.rod(at(0.96, side * wide), at(end, side * wide), 0.011 * outer, [0.3; 3], 0.8);
        easel.rod(at(0.97, side * 0.62 * wide), at(end, side * 0.6 * wide), 0.006 * outer, [0.2; 3], 0.5);
    }
    let press = 0.45 * wide;
    easel.rod(at(0.80, 0.0), at(end, 0.0), press, [0.10, 0.10, 0.095], 0.9);
    for wire in 0..4 {
        let aside = press * (f64::from(wire) - 1.5) * 0.6;
        easel.rod(at(0.84, aside), at(end, aside), 0.5, [0.4, 0.35, 0.3], 0.5);
    }
    easel.rod(at(end, 0.0), at(end + lot.between(0.2, 0.5), 0.0), 1.12 * wide, [0.03, 0.027, 0.025], 0.25);
}

/// The rim of the glass, thick where the eye looks along it.
fn paint_limb(easel: &mut Easel) {
    let scene = easel.scene;
    let (outer, px) = (scene.bulb.outer_radius_mm, easel.px_per_mm([0.0; 3]));
    let mut lot = Lot::new(scene.seed, 41);
    let phase = lot.between(0.0, std::f64::consts::TAU);
    let strength = lot.between(0.4, 1.2);
    let points: Vec<[f64; 2]> = outline(easel.view, &scene.bulb);
    let count = points.len();
    let glow = (scene.gas.fill * scene.beam.brightness.min(1.0) * 0.35 + 0.012) as f32;
    let room = easel.falling([0.0, outer, 0.0], [0.0, 0.7, 0.7]);
    for (index, from) in points.iter().enumerate() {
        let to = points[(index + 1) % count];
        let angle = std::f64::consts::TAU * index as f64 / count as f64;
        let share = (0.55 + 0.45 * libm::sin(2.0 * angle + phase)) * strength;
        let light: [f32; 3] =
            std::array::from_fn(|k| share as f32 * (0.30 * room[k] + glow * scene.gas.colour[k]));
        let wide = (0.014 * outer * px).max(0.5);
        easel.shine(line(&[*from, to], |_| 0.5 * wide), light);
        let inner = [*from, to].map(|p| {
            let middle = easel.view.project([0.0; 3]).unwrap_or(p);
            [0, 1].map(|k| middle[k] + 0.975 * (p[k] - middle[k]))
        });
        easel.shine(line(&inner, |_| 1.2 * wide), light.map(|c| 0.25 * c));
    }
}

/// A ladder of rods or pegs in the bulb, for reading diameters by eye.
fn paint_rungs(easel: &mut Easel) {
    let scene = easel.scene;
    if scene.around.rungs_mm.is_empty() {
        return;
    }
    let muzzle = scene.gun.muzzle_mm;
    let colour = [0.5, 0.5, 0.5];
    let x = muzzle[0] + 6.0;
    let highest = scene.around.rungs_mm.iter().copied().fold(0.0, f64::max);
    easel.rod([x, muzzle[1], muzzle[2] - 6.0], [x, muzzle[1] + highest, muzzle[2] - 6.0], 0.7, colour, 0.5);
    for height in &scene.around.rungs_mm {
        let y = muzzle[1] + height;
        easel.rod([x - 9.0, y, muzzle[2] - 5.0], [x + 9.0, y, muzzle[2] - 5.0], 0.6, colour, 0.5);
    }
}

/// What the front of the glass mirrors: windows, lamps, the supplies' digits.
pub(crate) fn paint_front(easel: &mut Easel, _light: &Light) {
    let scene = easel.scene;
    let around = &scene.around;
    let mut lot = Lot::new(scene.seed, 42);
    let windows = (around.reflections * 3.0).min(6.0) as usize;
    for _ in 0..windows {
        let (radius, angle) = (lot.between(0.35, 0.88), lot.between(0.2, 2.9));
        let size = lot.between(0.02, 0.09);
        let span = lot.between(0.05, 0.22);
        let light = (around.light.max(0.02) * around.reflections * lot.between(0.1, 0.5)) as f32;
        let gap = 0.12 * span;
        for part in 0..2 {
            let from = angle + f64::from(part) * (span + gap);
            if let Some(outline) = patch(easel, [radius, radius + size], [from, from + span]) {
                easel.shine(outline, [light, light, 0.95 * light]);
            }
        }
    }
    if around.supplies > 0 {
        mirror_digits(easel, &mut lot);
    }
    let seam = seen_point(
        &scene.bulb,
        easel.view.origin,
        along([0.0; 3], [0.0, 1.0, 0.0], 0.9 * scene.bulb.outer_radius_mm),
    );
    if let Some([x, y]) = easel.view.project(seam).filter(|_| lot.is(0.4)) {
        let wide = 2.0 * easel.px_per_mm(seam);
        let tint = easel.falling(seam, [0.0, 0.5, 0.8]).map(|c| 0.08 * c);
        easel.shine(line(&[[x - wide, y], [x + wide, y + 0.2 * wide]], |_| 0.3 * wide), tint);
    }
}

/// Red and blue streaks near the limb, on the side of the supplies and opposite.
fn mirror_digits(easel: &mut Easel, lot: &mut Lot) {
    let brightness = supplies::digit_light(easel.scene) as f32;
    let side: Vec3 = [easel.scene.around.supplies_side, 0.0, 0.0];
    for _ in 0..lot.one(&[2, 4, 6, 8], 4) {
        let near = if lot.is(0.5) { side[0] } else { -side[0] };
        let about = if near > 0.0 { 0.0 } else { std::f64::consts::PI };
        let angle = about + lot.between(-0.5, 0.5);
        let radius = lot.between(0.72, 0.97);
        let (long, wide) = (lot.between(0.01, 0.08), lot.between(0.006, 0.02));
        let light = brightness * lot.between(0.05, 0.5) as f32;
        let colour = if lot.is(0.75) { [1.0, 0.05, 0.15] } else { [0.15, 0.1, 1.0] };
        if let Some(outline) = patch(easel, [radius, radius + wide], [angle, angle + long]) {
            easel.shine(outline, colour.map(|c| c * light));
        }
    }
}
