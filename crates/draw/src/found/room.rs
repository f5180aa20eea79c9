//! The wall behind the bench, the table with what it mirrors, and things on the wall.

use super::lot::Lot;
use super::paint::Easel;
use super::scene::Wall;
use super::supplies;
use crate::canvas::Canvas;
use crate::noise::texture;
use crate::vector::{Vec3, along, norm, sub};

/// The background is out of focus: a raster half as fine holds it.
const COARSE: usize = 2;

/// What chance says of a room.
struct Look {
    lamp: Vec3,
    spread: f64,
    table_colour: [f32; 3],
    gloss: f64,
    front_z: f64,
    block: [f64; 2],
    tint: [f32; 3],
}

pub(crate) fn paint(easel: &mut Easel) {
    let mut lot = Lot::new(easel.scene.seed, 71);
    let look = Look {
        lamp: [lot.between(-900.0, 900.0), lot.between(200.0, 1400.0), lot.between(-200.0, 600.0)],
        spread: lot.between(500.0, 1800.0),
        table_colour: lot.one(
            &[[0.012; 3], [0.02, 0.02, 0.025], [0.36, 0.22, 0.11], [0.30, 0.30, 0.29], [0.10, 0.14, 0.12]],
            [0.02; 3],
        ),
        gloss: lot.between(0.0, 0.35),
        front_z: lot.between(180.0, 520.0),
        block: match easel.scene.around.wall {
            Wall::Tiles => [lot.between(95.0, 155.0), lot.between(95.0, 155.0)],
            Wall::Boards => [lot.between(90.0, 160.0), 1e6],
            _ => [lot.between(380.0, 410.0), lot.between(190.0, 205.0)],
        },
        tint: lot.one(&[[1.0, 0.96, 0.88], [0.95, 1.0, 1.0], [1.0, 0.9, 0.75]], [1.0; 3]),
    };
    paint_background(easel, &look);
    paint_things(easel, &mut lot);
}

fn paint_background(easel: &mut Easel, look: &Look) {
    let mut back = Canvas::<3>::coarser(easel.view.width, easel.view.height, COARSE);
    for y in 0..back.height {
        for x in 0..back.width {
            let fine = |v: usize| (v as f64 + 0.5) * COARSE as f64 - 0.5;
            let ray = easel.view.ray(fine(x), fine(y));
            back.row_mut(y)[x] = behind(easel, look, ray);
        }
    }
    let blur = 0.0012 * easel.view.focal_px;
    back.blur((blur / COARSE as f64).min(6.0));
    for y in 0..easel.view.height {
        back.enlarged_row(y, COARSE, easel.canvas.row_mut(y));
    }
}

/// What a ray meets first of wall, table and the table's front.
fn behind(easel: &Easel, look: &Look, ray: Vec3) -> [f32; 3] {
    let around = &easel.scene.around;
    let eye = easel.view.origin;
    let to_wall = if ray[2] < -1e-6 { (-around.wall_mm - eye[2]) / ray[2] } else { 1e5 };
    let to_table = if ray[1] < -1e-6 { (around.table_mm - eye[1]) / ray[1] } else { f64::INFINITY };
    if to_table < to_wall {
        let place = along(eye, ray, to_table);
        if place[2] < look.front_z {
            return table(easel, look, place);
        }
        let to_front = (look.front_z - eye[2]) / ray[2].min(-1e-6);
        return edge(easel, look, along(eye, ray, to_front.max(0.0)));
    }
    wall(easel, look, along(eye, ray, to_wall))
}

fn lamp_light(easel: &Easel, look: &Look, place: Vec3) -> f64 {
    let far = norm(sub(place, look.lamp)) / look.spread;
    easel.scene.around.light * (0.35 + 1.1 / (1.0 + far * far))
}

fn wall(easel: &Easel, look: &Look, place: Vec3) -> [f32; 3] {
    let around = &easel.scene.around;
    let (seed, x, y) = (easel.scene.seed, place[0], place[1]);
    let joint = |half: f64| -> f64 {
        let row = (y / look.block[1]).floor();
        let shift = if around.wall == Wall::Blocks { 0.5 * row.rem_euclid(2.0) } else { 0.0 };
        let u = ((x / look.block[0] + shift).rem_euclid(1.0) - 0.5).abs() * look.block[0];
        let v = ((y / look.block[1]).rem_euclid(1.0) - 0.5).abs() * look.block[1];
        let near = (0.5 * look.block[0] - u).min(0.5 * look.block[1] - v);
        (1.0 - near / half).clamp(0.0, 1.0)
    };
    let relief = match around.wall {
        Wall::Plain => {
            1.0 + 0.03 * texture(seed, x / 6.0, y / 6.0) + 0.05 * texture(seed, x / 200.0, y / 200.0)
        }
        Wall::Blocks => 1.0 - 0.22 * joint(9.0) + 0.05 * texture(seed, x / 5.0, y / 5.0),
        Wall::Tiles => 1.0 - 0.5 * joint(4.0) + 0.03 * texture(seed, x / 60.0, y / 60.0),
        Wall::Boards => 1.0 - 0.6 * joint(4.0) + 0.15 * texture(seed, x / 9.0, y / 160.0),
        Wall::Cloth => {
            0.55 + 0.45 * texture(seed, x / 55.0, y / 700.0) + 0.03 * texture(seed, x / 3.0, y / 3.0)
        }
    };
    let light = lamp_light(easel, look, place) * relief.max(0.02);
    let red = supplies::red_light(easel.scene, place) * 0.06;
    std::array::from_fn(|k| {
        let lit = light as f32 * look.tint[k] + red as f32 * [1.0, 0.05, 0.10][k];
        around.wall_colour[k] * lit
    })
}

fn table(easel: &Easel, look: &Look, place: Vec3) -> [f32; 3] {
    let scene = easel.scene;
    let grain = 1.0 + 0.08 * texture(scene.seed ^ 3, place[0] / 90.0, place[2] / 7.0);
    let light = lamp_light(easel, look, place) * 0.8 * grain;
    // a glossy top mirrors wall, digits and beam in soft patches
    let far_wall = 0.25 * lamp_light(easel, look, [place[0], 200.0, -scene.around.wall_mm]);
    let beam = scene.beam.brightness.min(2.0)
        * 0.35
        * libm::exp(-(place[0] / 75.0).powi(2))
        * libm::exp(-((place[2] - 190.0) / 110.0).powi(2));
    let red = supplies::red_light(scene, [place[0], place[1] + 60.0, place[2] - 60.0]) * 0.9;
    std::array::from_fn(|k| {
        let own = look.table_colour[k] * light as f32 * look.tint[k];
        let wall = (far_wall * 0.5) as f32 * scene.around.wall_colour[k];
        let gas = beam as f32 * scene.gas.colour[k];
        let digits = red as f32 * [1.0, 0.04, 0.12][k];
        own + look.gloss as f32 * (wall + gas + 0.5 * digits)
    })
}

/// The table's front edge and what is under it.
fn edge(easel: &Easel, look: &Look, place: Vec3) -> [f32; 3] {
    let below = easel.scene.around.table_mm - place[1];
    let light = 0.6 * lamp_light(easel, look, place);
    let colour = if below < 35.0 { [0.32, 0.20, 0.10] } else { [0.03, 0.028, 0.025] };
    colour.map(|c: f32| c * light as f32)
}

/// Panels, strips of sockets, shelves, a window: flat shapes on the wall.
fn paint_things(easel: &mut Easel, lot: &mut Lot) {
    let z = 1.0 - easel.scene.around.wall_mm;
    let colours =
        [[0.35, 0.2, 0.1], [0.6, 0.6, 0.58], [0.05; 3], [0.5, 0.4, 0.2], [0.2, 0.25, 0.3], [0.45, 0.1, 0.08]];
    for _ in 0..lot.between(0.0, 9.0) as usize {
        let (x, y) = (lot.between(-900.0, 900.0), lot.between(-250.0, 900.0));
        let (wide, high) = match lot.one(&[0, 0, 1, 2], 0) {
            0 => (lot.between(30.0, 260.0), lot.between(30.0, 260.0)),
            1 => (lot.between(500.0, 1500.0), lot.between(25.0, 90.0)),
            _ => (lot.between(15.0, 40.0), lot.between(300.0, 1200.0)),
        };
        let colour = lot.one(&colours, [0.3; 3]);
        let depth = lot.between(2.0, 60.0);
        easel.solid([x, y, z - 1.0], [x + wide, y + high, z + depth], colour);
    }
    if lot.is(0.18) {
        paint_window(easel, lot, z);
    }
    if lot.is(0.3) {
        paint_round(easel, lot, z + 62.0);
    }
    if lot.is(0.15) {
        paint_screen(easel, lot);
    }
    paint_on_table(easel, lot);
}

/// A round thing on the wall or hanging before it: a clock, a lamp that glows.
fn paint_round(easel: &mut Easel, lot: &mut Lot, z: f64) {
    let at = [lot.between(-700.0, 700.0), lot.between(-50.0, 700.0), z];
    let radius = lot.between(25.0, 140.0);
    if lot.is(0.6) {
        return supplies::paint_dial(easel, at, radius, lot);
    }
    let light = (easel.scene.around.light * lot.between(0.5, 6.0)) as f32;
    let ring = super::paint::circle(at, [1.0, 0.0, 0.0], [0.0, 1.0, 0.0], radius, 40);
    if let Some(outline) = easel.project(&ring) {
        easel.shine(outline, [light, 0.95 * light, 0.8 * light]);
    }
}

/// A screen that glows bluish, beside and behind the bench.
fn paint_screen(easel: &mut Easel, lot: &mut Lot) {
    let side = -easel.scene.around.supplies_side;
    let x = side * lot.between(330.0, 520.0);
    let (y, z) = (easel.scene.around.table_mm + lot.between(15.0, 90.0), lot.between(-220.0, -60.0));
    let (wide, high) = (lot.between(150.0, 190.0), lot.between(110.0, 210.0));
    easel.solid([x - wide - 8.0, y - 14.0, z - 15.0], [x + wide + 8.0, y + high + 8.0, z - 1.0], [0.02; 3]);
    let light = lot.between(0.05, 0.9) as f32;
    let corners = [[x - wide, y, z], [x + wide, y, z], [x + wide, y + high, z], [x - wide, y + high, z]];
    if let Some(outline) = easel.project(&corners) {
        easel.shine(outline, [0.7 * light, 0.85 * light, light]);
    }
    for line in 0..6 {
        let foot = [x + lot.between(-0.5, 0.3) * wide, y + high * (0.12 + 0.14 * f64::from(line)), z + 0.5];
        easel.print(lot.one(&["run 12", "mean 4217", "3 turned", "1 2 3 4"], "run"), foot, 7.0, [0.02; 3]);
    }
}

/// Books, boxes, a roll of tape: what lies about.
fn paint_on_table(easel: &mut Easel, lot: &mut Lot) {
    let colours = [
        [0.6, 0.58, 0.5],
        [0.05, 0.12, 0.3],
        [0.4, 0.06, 0.05],
        [0.55, 0.42, 0.2],
        [0.1, 0.25, 0.15],
        [0.75; 3],
    ];
    let table = easel.scene.around.table_mm;
    for _ in 0..lot.between(0.0, 6.0) as usize {
        let x = lot.between(-520.0, 520.0);
        let z = lot.between(-260.0, -90.0);
        let (wide, high, deep) = (lot.between(20.0, 170.0), lot.between(4.0, 90.0), lot.between(20.0, 120.0));
        let colour = lot.one(&colours, [0.3; 3]);
        easel.solid([x, table, z - deep], [x + wide, table + high, z], colour);
        if lot.is(0.4) && high > 25.0 {
            let at = [x + 0.5 * wide, table + 0.4 * high, z + 0.5];
            easel.print(lot.one(&["unit 3", "meter", "2 m", "under"], "unit"), at, 0.25 * high, [0.03; 3]);
        }
    }
    if lot.is(0.25) {
        let at = [lot.between(-420.0, 420.0), table + 45.0, lot.between(-200.0, -100.0)];
        let colour = lot.one(&colours, [0.5; 3]);
        easel.disc(at, 44.0, colour);
        easel.disc([at[0], at[1], at[2] + 0.5], 36.0, colour.map(|c| 0.6 * c));
        easel.disc([at[0], at[1], at[2] + 1.0], 30.0, [0.02; 3]);
    }
}

/// A window, bright by day and black by night.
fn paint_window(easel: &mut Easel, lot: &mut Lot, z: f64) {
    let x = lot.between(-1000.0, 600.0);
    let (wide, high) = (lot.between(300.0, 700.0), lot.between(400.0, 900.0));
    let y = lot.between(50.0, 400.0);
    let light = (easel.scene.around.light * lot.one(&[0.02, 0.1, 2.5], 0.1)) as f32;
    easel.face(
        &[
            [x - 30.0, y - 30.0, z],
            [x + wide + 30.0, y - 30.0, z],
            [x + wide + 30.0, y + high, z],
            [x - 30.0, y + high, z],
        ],
        [0.0, 0.0, 1.0],
        [0.6; 3],
    );
    for pane in 0..2 {
        let x0 = x + f64::from(pane) * (0.5 * wide + 10.0);
        let corners = [
            [x0, y, z],
            [x0 + 0.5 * wide - 10.0, y, z],
            [x0 + 0.5 * wide - 10.0, y + high - 30.0, z],
            [x0, y + high - 30.0, z],
        ];
        if let Some(outline) = easel.project(&corners) {
            easel.paint(&[outline], 1.0, |_, _| [0.9 * light, 0.97 * light, light]);
        }
    }
}
