//! The gun as photographs show it: a dark block or a few discs and cones, lit by the beam, on wires.

use super::brush::line;
use super::lot::Lot;
use super::paint::beside;
use super::paint::{Easel, circle};
use crate::bulb::seen_point;
use crate::gun::GunBody;
use crate::vector::{Vec3, add, along, scaled};

/// Paints the body over the beam, then its edges and wires.
pub(crate) fn paint(easel: &mut Easel, body: &GunBody) {
    let mut lot = Lot::new(easel.scene.seed, 51);
    let metal = lot.between(0.08, 0.45) as f32;
    paint_wires(easel, body, &mut lot);
    let shape: &[(f64, f64, f64)] = match lot.one(&[0, 1, 2, 3], 0) {
        // from, to along the axis (0 at the back, 1 at the muzzle), and radius, in parts of the body's
        0 => &[(0.0, 1.0, 1.0)],
        1 => &[(0.0, 0.55, 1.0), (0.55, 0.62, 0.5), (0.62, 1.0, 0.75)],
        2 => &[(0.0, 0.3, 0.8), (0.3, 0.42, 0.35), (0.42, 0.75, 1.0), (0.75, 1.0, 0.45)],
        _ => &[(0.0, 0.08, 1.0), (0.08, 0.85, 0.7), (0.85, 1.0, 1.0)],
    };
    for (from, to, radius) in shape {
        paint_drum(easel, body, [*from, *to], radius * body.radius, metal);
    }
    paint_filament(easel, body, &mut lot);
}

fn at(body: &GunBody, share: f64) -> Vec3 {
    along(body.base, body.axis, share * body.length)
}

fn seen(easel: &Easel, place: Vec3) -> Option<[f64; 2]> {
    easel.view.project(seen_point(&easel.scene.bulb, easel.view.origin, place))
}

/// A piece of a cylinder: dark below, a sheen above, in the beam's colour where it looks to the ring.
fn paint_drum(easel: &mut Easel, body: &GunBody, span: [f64; 2], radius: f64, metal: f32) {
    let [a, b] = beside(body.axis);
    let outline = |share: f64| -> Option<Vec<[f64; 2]>> {
        circle(at(body, share), a, b, radius, 24).into_iter().map(|p| seen(easel, p)).collect()
    };
    let (Some(back), Some(front)) = (outline(span[0]), outline(span[1])) else { return };
    let hull = hull(back.into_iter().chain(front.clone()).collect());
    let middle = at(body, 0.5 * (span[0] + span[1]));
    let up = scaled(body.neck, -1.0);
    let light = easel.lit([metal; 3], middle, up);
    let shadow = easel.lit([metal; 3], middle, [0.0, 0.0, 1.0]);
    let Some([_, cy]) = seen(easel, middle) else { return };
    let size = radius * easel.px_per_mm(middle);
    easel.paint(&[hull], 1.0, |_, y| {
        let t = (0.5 + 0.5 * (y - cy) / size).clamp(0.0, 1.0) as f32;
        let sheen = (1.0 - ((t - 0.25) / 0.16).powi(2)).max(0.0);
        std::array::from_fn(|k| light[k] * (1.0 - t) + 0.25 * shadow[k] * t + 0.5 * sheen * light[k])
    });
    let edge = easel.lit([0.9 * metal + 0.1; 3], middle, body.axis);
    easel.paint(&[front], 0.8, |_, _| edge);
}

/// Wires from the gun down to the stem.
fn paint_wires(easel: &mut Easel, body: &GunBody, lot: &mut Lot) {
    let outer = easel.scene.bulb.outer_radius_mm;
    let stem = scaled(body.neck, lot.between(0.85, 0.95) * outer);
    for wire in 0..4 {
        let share = 0.15 + 0.23 * f64::from(wire);
        let from = along(at(body, share), body.neck, 0.9 * body.radius);
        let to = add(stem, [4.0 * (f64::from(wire) - 1.5), 0.0, lot.between(-4.0, 4.0)]);
        easel.rod(from, to, 0.5, [0.3; 3], 0.4);
    }
    // a plate or a bead of glass between them
    let plate = [along(stem, body.neck, -3.0), along(stem, body.neck, 5.0)];
    easel.rod(plate[0], plate[1], lot.between(3.0, 9.0), [0.25; 3], 0.5);
}

/// The heated filament, orange, through a gap of the body.
fn paint_filament(easel: &mut Easel, body: &GunBody, lot: &mut Lot) {
    if lot.is(0.35) {
        return;
    }
    let strength = lot.between(0.3, 3.0) as f32;
    let place = along(at(body, lot.between(0.1, 0.6)), body.neck, lot.between(-0.3, 0.9) * body.radius);
    let Some([x, y]) = seen(easel, place) else { return };
    let size = lot.between(0.6, 1.6) * easel.px_per_mm(place);
    for (wide, share) in [(1.0, 1.0), (2.2, 0.15)] {
        let spot = line(&[[x, y - size * wide], [x, y + size * wide]], |_| 0.6 * size * wide);
        easel.shine(spot, [1.0, 0.36, 0.08].map(|c: f32| c * strength * share));
    }
}

/// The convex outline of some places (monotone chain), all the same way round.
fn hull(mut places: Vec<[f64; 2]>) -> Vec<[f64; 2]> {
    places.sort_by(|a, b| a[0].total_cmp(&b[0]).then(a[1].total_cmp(&b[1])));
    let turn =
        |o: [f64; 2], a: [f64; 2], b: [f64; 2]| (a[0] - o[0]) * (b[1] - o[1]) - (a[1] - o[1]) * (b[0] - o[0]);
    let half = |places: &mut dyn Iterator<Item = [f64; 2]>| {
        let mut chain: Vec<[f64; 2]> = Vec::new();
        for place in places {
            while chain.len() >= 2 && turn(chain[chain.len() - 2], chain[chain.len() - 1], place) <= 0.0 {
                chain.pop();
            }
            chain.push(place);
        }
        chain.pop();
        chain
    };
    let mut outline = half(&mut places.iter().copied());
    outline.extend(half(&mut places.iter().rev().copied()));
    outline
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_hull_leaves_out_what_lies_inside() {
        let places = vec![[0.0, 0.0], [2.0, 1.0], [4.0, 0.0], [4.0, 3.0], [1.0, 1.0], [0.0, 3.0]];
        assert_eq!(hull(places), vec![[0.0, 0.0], [4.0, 0.0], [4.0, 3.0], [0.0, 3.0]]);
    }
}
