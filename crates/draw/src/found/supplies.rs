//! Power supplies with red digits beside the coils, their knobs and sockets, and leads over the table.

use super::brush::line;
use super::digits;
use super::lot::Lot;
use super::paint::{Easel, circle};
use super::scene::FoundScene;
use crate::vector::{Vec3, norm, sub};

const X: Vec3 = [1.0, 0.0, 0.0];
const Y: Vec3 = [0.0, 1.0, 0.0];

/// Light of the digits: they outshine a dark room, and are plain to see in a lit one.
pub(crate) fn digit_light(scene: &FoundScene) -> f64 {
    1.2 + 2.0 / (1.0 + 20.0 * scene.around.light)
}

/// Red light that reaches a place from the digits.
pub(crate) fn red_light(scene: &FoundScene, place: Vec3) -> f64 {
    if scene.around.supplies == 0 {
        return 0.0;
    }
    let front = pile(scene);
    let far = norm(sub(place, [front.x, front.y + 60.0, front.z]));
    digit_light(scene) * 0.35 / (1.0 + (far / 130.0).powi(2))
}

/// Where the pile of supplies stands: middle of its front's foot, and its size.
struct Pile {
    x: f64,
    y: f64,
    z: f64,
    wide: f64,
    high: f64,
    deep: f64,
}

fn pile(scene: &FoundScene) -> Pile {
    let mut lot = Lot::new(scene.seed, 61);
    let coils = &scene.coils;
    let wide = lot.between(190.0, 280.0);
    let beside = coils.mean_radius_mm + coils.winding_radial_mm + 0.5 * wide + lot.between(25.0, 120.0);
    Pile {
        x: scene.around.supplies_side * beside,
        y: scene.around.table_mm,
        z: lot.between(-120.0, 80.0),
        wide,
        high: lot.between(95.0, 150.0),
        deep: lot.between(180.0, 280.0),
    }
}

/// Supplies and leads; all of it stands behind the bulb or beside it.
pub(crate) fn paint(easel: &mut Easel) {
    let mut lot = Lot::new(easel.scene.seed, 62);
    let front = pile(easel.scene);
    let case = lot.one(&[[0.55, 0.55, 0.53], [0.10, 0.13, 0.22], [0.05; 3], [0.45, 0.42, 0.36]], [0.5; 3]);
    let panel = lot.one(&[[0.04, 0.10, 0.30], [0.04; 3], [0.5, 0.5, 0.5], [0.25, 0.26, 0.28]], [0.1; 3]);
    for level in 0..easel.scene.around.supplies {
        let foot = front.y + f64::from(level) * (front.high + 4.0);
        let shift = lot.between(-12.0, 12.0);
        let (x0, x1) = (front.x + shift - 0.5 * front.wide, front.x + shift + 0.5 * front.wide);
        easel.solid([x0, foot, front.z - front.deep], [x1, foot + front.high, front.z], case);
        let z = front.z + 1.0;
        let inset = 0.05 * front.wide;
        let corners = [
            [x0 + inset, foot + 8.0, z],
            [x1 - inset, foot + 8.0, z],
            [x1 - inset, foot + front.high - 8.0, z],
            [x0 + inset, foot + front.high - 8.0, z],
        ];
        easel.face(&corners, [0.0, 0.0, 1.0], panel);
        paint_front(easel, &front, [x0, foot], &mut lot);
    }
    paint_leads(easel, &front, &mut lot);
}

/// Windows with digits, knobs and sockets of one supply.
fn paint_front(easel: &mut Easel, front: &Pile, [x0, foot]: [f64; 2], lot: &mut Lot) {
    let z = front.z + 2.0;
    let high = lot.between(0.14, 0.22) * front.high;
    let y = foot + lot.between(0.5, 0.68) * front.high;
    let count = lot.one(&[1, 2, 2], 2);
    for window in 0..count {
        let x = x0 + front.wide * (0.22 + 0.38 * f64::from(window)) + lot.between(-6.0, 6.0);
        let wide = 2.6 * high;
        let corners = [
            [x - 0.2 * high, y - 0.3 * high, z],
            [x + wide, y - 0.3 * high, z],
            [x + wide, y + 1.35 * high, z],
            [x - 0.2 * high, y + 1.35 * high, z],
        ];
        easel.face(&corners, [0.0, 0.0, 1.0], [0.015, 0.004, 0.004]);
        paint_digits(easel, [x, y, z + 1.0], high, lot);
        paint_knob(easel, [x + 0.6 * wide, foot + 0.28 * front.high, z], lot.between(5.0, 11.0), [0.03; 3]);
    }
    for socket in 0..lot.one(&[2, 3, 4], 3) {
        let x = x0 + front.wide * (0.15 + 0.2 * f64::from(socket));
        let colour = if socket % 2 == 0 { [0.55, 0.02, 0.03] } else { [0.02; 3] };
        paint_knob(easel, [x, foot + 0.15 * front.high, z], 5.0, colour);
    }
    if lot.is(0.35) {
        paint_dial(
            easel,
            [x0 + lot.between(0.72, 0.85) * front.wide, foot + 0.5 * front.high, z],
            0.24 * front.high,
            lot,
        );
    }
    let ink = if lot.is(0.5) { [0.7; 3] } else { [0.02; 3] };
    for line in 0..3 {
        let word = lot.one(&["current", "meter", "heater", "unit 7", "under 500", "mean"], "unit");
        let at =
            [x0 + lot.between(0.2, 0.8) * front.wide, foot + front.high * (0.86 - 0.36 * f64::from(line)), z];
        easel.print(word, at, lot.between(3.0, 6.0), ink);
    }
    if lot.is(0.5) {
        let colour = if lot.is(0.5) { [0.15, 0.15, 2.5] } else { [2.0, 0.4, 0.1] };
        let at = [x0 + 0.12 * front.wide, foot + 0.75 * front.high, z];
        if let Some(disc) = easel.project(&circle(at, X, Y, lot.between(2.0, 7.0), 16)) {
            easel.shine(disc, colour);
        }
    }
}

/// A pointer instrument: a round white face, its scale and its needle.
pub(crate) fn paint_dial(easel: &mut Easel, at: Vec3, radius: f64, lot: &mut Lot) {
    easel.disc(at, 1.1 * radius, [0.03; 3]);
    easel.disc([at[0], at[1], at[2] + 0.5], radius, [0.75; 3]);
    let z = at[2] + 1.0;
    let needle = lot.between(-1.0, 1.0);
    let ink = easel.lit([0.03; 3], at, [0.0, 0.0, 1.0]);
    for mark in -5..=5 {
        let angle = f64::from(mark) * 0.2;
        let place = |share: f64| {
            [at[0] + share * radius * libm::sin(angle), at[1] + share * radius * libm::cos(angle), z]
        };
        if let Some(ends) = easel.project(&[place(0.74), place(0.9)]) {
            easel.paint(&[line(&ends, |_| 0.4)], 1.0, |_, _| ink);
        }
    }
    let tip = [at[0] + 0.8 * radius * libm::sin(needle), at[1] + 0.8 * radius * libm::cos(needle), z];
    if let Some(ends) = easel.project(&[[at[0], at[1] - 0.4 * radius, z], tip]) {
        easel.paint(&[line(&ends, |_| 0.5)], 1.0, |_, _| ink);
    }
}

/// Three or four digits with a point.
fn paint_digits(easel: &mut Easel, at: Vec3, high: f64, lot: &mut Lot) {
    let light = digit_light(easel.scene) as f32;
    let colour = lot.one(&[[1.0, 0.05, 0.10], [1.0, 0.03, 0.05], [1.0, 0.10, 0.22]], [1.0, 0.05, 0.1]);
    let colour = colour.map(|c: f32| c * light * lot.between(0.8, 1.3) as f32);
    for place in 0..lot.one(&[3, 3, 4], 3) {
        let digit = lot.between(0.0, 10.0) as usize;
        for bar in digits::bars(digit) {
            let corners = bar.map(|[x, y]| {
                [at[0] + high * (x + 0.75 * f64::from(place)) * 0.8, at[1] + high * (1.0 - y), at[2]]
            });
            if let Some(outline) = easel.project(&corners) {
                easel.shine(outline, colour);
            }
        }
    }
}

fn paint_knob(easel: &mut Easel, at: Vec3, radius: f64, colour: [f32; 3]) {
    let lit = easel.lit(colour, at, [0.0, 0.3, 0.95]);
    let brighter = easel.lit(colour.map(|c| c + 0.12), at, [0.0, 0.8, 0.6]);
    for (radius, light) in [(radius, lit), (0.55 * radius, brighter)] {
        if let Some(disc) = easel.project(&circle(at, X, Y, radius, 20)) {
            easel.paint(&[disc], 1.0, |_, _| light);
        }
    }
}

/// Leads from the supplies to the coils, in curves over the table.
fn paint_leads(easel: &mut Easel, front: &Pile, lot: &mut Lot) {
    let table = easel.scene.around.table_mm;
    let coil = easel.scene.coils.mean_radius_mm;
    let colours = [[0.55, 0.02, 0.03], [0.02, 0.02, 0.02], [0.03, 0.08, 0.55], [0.5, 0.03, 0.06]];
    for _ in 0..easel.scene.around.leads {
        let colour = lot.one(&colours, [0.02; 3]);
        let start =
            [front.x + lot.between(-0.4, 0.4) * front.wide, table + lot.between(10.0, 120.0), front.z + 6.0];
        let end = [lot.between(-0.8, 0.8) * coil, table + lot.between(5.0, 60.0), lot.between(60.0, 150.0)];
        let mut knots = vec![start];
        for bend in 1..5 {
            let t = f64::from(bend) / 5.0;
            let x = start[0] + (end[0] - start[0]) * t + lot.between(-90.0, 90.0);
            knots.push([x, table + 2.0, start[2] + (end[2] - start[2]) * t + lot.between(-20.0, 130.0)]);
        }
        knots.push(end);
        paint_lead(easel, &knots, lot.between(1.4, 2.4), colour);
    }
}

fn paint_lead(easel: &mut Easel, knots: &[Vec3], radius: f64, colour: [f32; 3]) {
    let mut points = Vec::new();
    for index in 0..knots.len() - 1 {
        let knot = |i: isize| knots[(index as isize + i).clamp(0, knots.len() as isize - 1) as usize];
        let (a, b, c, d) = (knot(-1), knot(0), knot(1), knot(2));
        for step in 0..10 {
            let t = f64::from(step) / 10.0;
            points.push([0, 1, 2].map(|k| {
                let (p, q, r, s) = (a[k], b[k], c[k], d[k]);
                let cube = 0.5 * (s - p) + 1.5 * (q - r);
                q + t * (0.5 * (r - p) + t * (p - 2.5 * q + 2.0 * r - 0.5 * s + t * cube))
            }));
        }
    }
    let Some(seen) = easel.project(&points) else { return };
    let wide = radius * easel.px_per_mm(points[points.len() / 2]);
    let middle = points[points.len() / 2];
    for (part, normal) in [(1.0, [0.0, -0.2, 0.9]), (0.45, [0.0, 0.9, 0.4])] {
        let lit = easel.lit(colour, middle, normal);
        easel.paint(&[line(&seen, |_| (part * wide).max(0.3))], 1.0, |_, _| lit);
    }
}
