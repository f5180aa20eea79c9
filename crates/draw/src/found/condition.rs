//! The conditions of photographs as found in laboratories: what each makes certain, the rest left to the lot.

use super::by_lot::{COLOURS, Draft};
use super::scene::{Material, Numbering, Wall};

/// One condition.
#[derive(Debug, Clone, Copy)]
pub struct FoundCondition {
    /// Short name.
    pub name: &'static str,
    /// What a person would say of such photographs.
    pub says: &'static str,
    pub(crate) change: fn(&mut Draft),
}

const fn condition(name: &'static str, says: &'static str, change: fn(&mut Draft)) -> FoundCondition {
    FoundCondition { name, says, change }
}

/// All of them.
pub const FOUND_CONDITIONS: &[FoundCondition] = &[
    condition("lit room", "lights on, the wall as bright as the beam", lit),
    condition("dim room", "a little light from a door", |d| d.light(0.03, 0.10)),
    condition("dark room", "supplies and beam give the only light", dark),
    condition("black", "nothing visible but the bulb", black),
    condition("far", "the whole bench, ring 40 to 60 px in radius", far),
    condition("near", "ring 240 to 350 px in radius", |d| d.ring_px = d.lot.between(240.0, 350.0)),
    condition("steep", "camera 25° to 40° off the axis to one side", steep),
    condition("from above", "camera 15° to 30° above the axis", from_above),
    condition("wide beam", "beam 7 to 10 % of the ring's diameter wide", |d| {
        d.width_share = d.lot.between(0.07, 0.10)
    }),
    condition("thin beam", "beam 3 to 4 % of the ring's diameter wide", |d| {
        d.width_share = d.lot.between(0.03, 0.04)
    }),
    condition("burnt out", "core saturated in all channels", burnt_out),
    condition("faint", "beam hardly brighter than the room's dark parts", faint),
    condition("glow", "bulb filled with light a third to half as bright as the beam", glow),
    condition("stub", "straight stub of light at the gun, and a fan from it", stub),
    condition("fading", "a tenth to a quarter of the light left after one turn", |d| {
        d.left_after_turn = d.lot.between(0.10, 0.25);
    }),
    condition("second turn", "the path goes round nearly twice", second_turn),
    condition("ghosts", "arcs and a mirrored ring from the bulb's wall", ghosts),
    condition("night mode", "smeared by the phone's night mode", night_mode),
    condition("sharpened", "halos along every edge", |d| d.phone.sharpen = d.lot.between(1.2, 2.0)),
    condition("strong JPEG", "saved twice at qualities 22 to 50", strong_jpeg),
    condition("tone mapped", "shadows lifted by the phone", |d| d.phone.tone = d.lot.between(0.6, 1.0)),
    condition("screenshot", "photograph shown smaller and taken from the screen", screenshot),
    condition("enlarged", "small picture enlarged", enlarged),
    condition("shaken", "hand moved by 3 to 7 px", shaken),
    condition("acrylic scale", "lit acrylic before the bulb, brighter than the beam", acrylic),
    condition("mirror scale", "mirror behind the bulb shows the ring once more", mirror),
    condition("from the middle", "numbered from the middle both ways", from_the_middle),
    condition("glow before scale", "white scale behind a bulb full of light", behind_glow),
    condition("scale brighter", "white scale lit more brightly than the beam", scale_brighter),
    condition("pointers", "two sliding pointers, and rungs or pegs in the bulb", pointers),
    condition("wooden rims", "wooden rims brighter than the beam", wooden_rims),
    condition("coloured rims", "coloured rims under a lamp", coloured_rims),
    condition("supplies", "three supplies with red digits, many leads", supplies),
    condition("windows", "windows and lamps mirrored in the glass", windows),
    condition("hood", "black hood over the coils, lit room beside", hood),
    condition("no scale", "the coil's rim is the only known length", no_scale),
    condition("pink and orange", "pink or orange beam", |d| d.coloured(&[5, 6])),
    condition("blue and violet", "blue or violet beam", |d| d.coloured(&[3, 4])),
    condition("open ring", "the beam meets the glass after a part of a turn", open_ring),
    condition("large gun", "gun and its shields hide 40° to 90° of the ring", large_gun),
    condition("cut by the frame", "a fifth to a half of the ring's width is beyond the picture", cut),
    condition("large", "8 to 12 megapixels", |d| {
        d.megapixels = d.lot.between(8.0, 12.0);
        d.ring_px = d.lot.between(150.0, 350.0);
    }),
];

impl Draft {
    fn light(&mut self, low: f64, high: f64) {
        self.around.light = self.lot.between(low, high);
    }

    fn coloured(&mut self, which: &[usize]) {
        let index = self.lot.one(which, 0);
        if let Some((beam, gas)) = COLOURS.get(index) {
            (self.beam.colour, self.gas.colour) = (*beam, *gas);
        }
    }

    /// A scale of that material, before the bulb or behind it.
    fn put_scale(&mut self, material: Material, is_before: bool) {
        let mut scale = self.some_scale();
        scale.material = material;
        scale.middle_mm[2] = scale.middle_mm[2].abs() * if is_before { 1.0 } else { -1.0 };
        self.scale = Some(scale);
    }
}

fn lit(d: &mut Draft) {
    d.light(0.5, 1.1);
    d.around.wall = d.lot.one(&[Wall::Plain, Wall::Blocks, Wall::Tiles, Wall::Boards], Wall::Blocks);
    d.beam.brightness = d.lot.between(1.0, 3.0);
}

fn dark(d: &mut Draft) {
    d.light(0.0005, 0.004);
    d.around.supplies = d.lot.one(&[1, 2, 3], 2);
    d.around.leads = 6;
}

fn black(d: &mut Draft) {
    d.around.light = 0.0;
    d.around.supplies = 0;
    d.scale = None;
    d.around.reflections = 0.0;
}

fn far(d: &mut Draft) {
    d.ring_px = d.lot.between(40.0, 60.0);
    d.distance_mm = d.lot.between(1100.0, 2200.0);
    d.megapixels = d.lot.between(1.5, 3.0);
    d.phone.blur_px = d.lot.between(0.5, 0.9);
    d.phone.shake_px = [0.0; 2];
}

fn steep(d: &mut Draft) {
    d.off_axis_deg = d.lot.between(25.0, 40.0);
    d.off_towards_deg = d.lot.between(-12.0, 20.0) + if d.lot.is(0.5) { 180.0 } else { 0.0 };
}

fn from_above(d: &mut Draft) {
    d.off_axis_deg = d.lot.between(15.0, 30.0);
    d.off_towards_deg = d.lot.between(70.0, 110.0);
}

fn burnt_out(d: &mut Draft) {
    d.beam.brightness = d.lot.between(4.0, 9.0);
    d.phone.bloom = d.lot.between(0.08, 0.2);
}

fn faint(d: &mut Draft) {
    d.beam.brightness = d.lot.between(0.12, 0.3);
    d.gas.fill = d.lot.between(0.05, 0.3);
    d.around.light = d.around.light.min(0.08);
    if let Some(scale) = &mut d.scale {
        scale.light = scale.light.min(0.1);
    }
}

fn glow(d: &mut Draft) {
    d.gas.fill = d.lot.between(0.33, 0.5);
    d.gas.towards_middle = d.lot.between(0.0, 0.7);
    d.around.light = d.around.light.min(0.1);
}

fn stub(d: &mut Draft) {
    d.beam.stub_mm = d.lot.between(12.0, 28.0);
    d.gas.fan = d.lot.between(0.15, 0.4);
}

fn second_turn(d: &mut Draft) {
    d.turns = d.lot.between(1.5, 1.9);
    d.gun_tilt_deg = d.lot.between(3.0, 6.0) * if d.lot.is(0.5) { 1.0 } else { -1.0 };
    d.gun_length_mm = 14.0;
    d.gun_radius_mm = 4.0;
    d.left_after_turn = d.lot.between(0.3, 0.6);
    d.width_share = d.lot.between(0.03, 0.05);
    d.ring_mm = d.lot.between(28.0, 40.0);
}

fn open_ring(d: &mut Draft) {
    d.ring_mm = d.lot.between(55.0, 66.0);
    d.left_after_turn = d.lot.between(0.3, 0.7);
}

fn large_gun(d: &mut Draft) {
    d.gun_length_mm = d.lot.between(30.0, 42.0);
    d.gun_radius_mm = d.lot.between(9.0, 13.0);
}

fn cut(d: &mut Draft) {
    let way = if d.lot.is(0.5) { 1.0 } else { -1.0 };
    d.cut_radii = Some([way * d.lot.between(0.4, 0.9), d.lot.between(-0.4, 0.4)]);
    d.scale = None;
}

fn ghosts(d: &mut Draft) {
    d.ghosts.mirrored = d.lot.between(0.10, 0.25);
    d.ghosts.arcs = d.lot.between(0.12, 0.3);
}

fn night_mode(d: &mut Draft) {
    d.light(0.004, 0.03);
    d.phone.smear = d.lot.between(0.7, 1.0);
    d.phone.tone = d.lot.between(0.3, 0.8);
    d.phone.read_noise = d.lot.between(0.012, 0.03);
    d.phone.sharpen = d.lot.between(0.4, 1.0);
}

fn strong_jpeg(d: &mut Draft) {
    d.phone.qualities = vec![d.lot.between(30.0, 60.0) as u8, d.lot.between(22.0, 50.0) as u8];
    d.phone.is_subsampled = true;
}

fn screenshot(d: &mut Draft) {
    d.phone.rescale = d.lot.between(0.45, 0.9);
    d.megapixels = d.lot.between(0.3, 1.0);
    d.ring_px = d.lot.between(40.0, 120.0);
    d.phone.qualities = vec![85, d.lot.between(60.0, 90.0) as u8];
}

fn enlarged(d: &mut Draft) {
    d.phone.rescale = d.lot.between(1.3, 2.2);
    d.megapixels = d.lot.between(0.6, 1.8);
}

fn shaken(d: &mut Draft) {
    let (long, way) = (d.lot.between(3.0, 7.0), d.lot.between(0.0, std::f64::consts::TAU));
    d.ring_px = d.ring_px.max(75.0);
    d.phone.shake_px = [long * libm::cos(way), long * libm::sin(way)];
}

fn acrylic(d: &mut Draft) {
    let is_before = d.lot.is(0.7);
    d.put_scale(Material::Acrylic, is_before);
    let light = d.lot.between(1.0, 2.2);
    let colour = d.lot.one(&[[1.0, 0.42, 0.2], [1.0, 0.9, 0.7], [0.5, 1.0, 0.6]], [1.0; 3]);
    d.around.light = d.around.light.min(0.05);
    if let Some(scale) = &mut d.scale {
        (scale.light, scale.colour) = (light, colour);
    }
}

fn mirror(d: &mut Draft) {
    d.put_scale(Material::Mirror, false);
}

fn from_the_middle(d: &mut Draft) {
    let is_before = d.lot.is(0.5);
    d.put_scale(Material::White, is_before);
    if let Some(scale) = &mut d.scale {
        scale.numbering = Numbering::FromMiddle;
        scale.light = scale.light.max(0.08);
    }
}

fn behind_glow(d: &mut Draft) {
    glow(d);
    d.put_scale(Material::White, false);
    let light = d.lot.between(0.05, 0.3);
    if let Some(scale) = &mut d.scale {
        scale.light = light;
        scale.middle_mm[0] = 0.0;
        scale.length_cm = 24;
    }
}

fn scale_brighter(d: &mut Draft) {
    let is_before = d.lot.is(0.4);
    d.put_scale(Material::White, is_before);
    let light = d.lot.between(0.9, 1.8);
    if let Some(scale) = &mut d.scale {
        scale.light = light;
        scale.colour = [1.0, 0.96, 0.88];
    }
}

fn pointers(d: &mut Draft) {
    let is_before = d.lot.is(0.5);
    d.put_scale(Material::White, is_before);
    let (a, b) = (d.lot.between(20.0, 60.0), d.lot.between(20.0, 60.0));
    if let Some(scale) = &mut d.scale {
        scale.pointers_mm = vec![-a, b];
        scale.light = scale.light.max(0.06);
    }
    d.around.rungs_mm = if d.lot.is(0.6) { vec![20.0, 40.0, 60.0, 80.0] } else { Vec::new() };
}

fn wooden_rims(d: &mut Draft) {
    d.around.is_wooden = true;
    d.around.has_coils = true;
    d.around.rim_colour =
        d.lot.one(&[[0.55, 0.33, 0.15], [0.66, 0.47, 0.26], [0.36, 0.18, 0.08]], [0.5, 0.3, 0.15]);
    d.around.rim_light = d.lot.between(1.2, 3.0);
    d.light(0.05, 0.5);
}

fn coloured_rims(d: &mut Draft) {
    d.around.has_coils = true;
    d.around.rim_colour = d.lot.one(
        &[[0.6, 0.06, 0.05], [0.05, 0.18, 0.55], [0.6, 0.45, 0.05], [0.05, 0.35, 0.45]],
        [0.6, 0.1, 0.1],
    );
    d.around.rim_light = d.lot.between(1.0, 2.5);
    d.light(0.03, 0.4);
}

fn supplies(d: &mut Draft) {
    d.around.supplies = 3;
    d.around.leads = 9;
    d.light(0.001, 0.03);
    d.distance_mm = d.lot.between(1000.0, 2000.0);
    d.ring_px = d.lot.between(45.0, 110.0);
    d.megapixels = d.lot.between(1.5, 3.0);
}

fn windows(d: &mut Draft) {
    d.around.reflections = d.lot.between(2.0, 4.0);
    d.light(0.1, 0.6);
}

fn hood(d: &mut Draft) {
    d.around.has_hood = true;
    d.light(0.03, 0.6);
    d.around.wall = d.lot.one(&[Wall::Tiles, Wall::Plain], Wall::Tiles);
}

fn no_scale(d: &mut Draft) {
    d.scale = None;
    d.around.has_coils = true;
    d.light(0.05, 0.8);
    d.distance_mm = d.lot.between(900.0, 2000.0);
    d.megapixels = d.lot.between(1.0, 3.0);
    d.ring_px = d.ring_px.min(120.0);
}
