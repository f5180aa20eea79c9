//! The conditions under which photographs are drawn: what each changes on an ordinary careful bench.

use arcmass_draw::{Edge, Room, ScaleKind, ScaleObject, Surface};

use super::dice::Dice;
use super::setup::{Setup, camera, laid, tilted};

/// One condition.
pub(crate) struct Condition {
    pub(crate) name: &'static str,
    /// What a person would say of such photographs.
    pub(crate) says: &'static str,
    pub(crate) change: fn(&mut Setup, &mut Dice),
}

/// All of them; the first is the clean one.
pub(crate) const CONDITIONS: &[Condition] = &[
    Condition { name: "clean", says: "dark room, camera near the axis, a whole ruler", change: |_, _| {} },
    Condition { name: "oblique", says: "camera 6° to 16° off the axis", change: oblique },
    Condition {
        name: "open ring",
        says: "gun turned by 1° to 3°, the path does not close",
        change: open_ring,
    },
    Condition { name: "dim", says: "faint beam, noisy camera", change: dim },
    Condition { name: "overexposed", says: "core of the beam at full scale, wide halo", change: overexposed },
    Condition {
        name: "out of focus",
        says: "blur of 2 to 3.5 px on the ring, the scale refocused",
        change: out_of_focus,
    },
    Condition {
        name: "soft scale",
        says: "scale out of focus by 2 to 3.5 px, its millimetres 8 to 11 px apart",
        change: soft_scale,
    },
    Condition { name: "lit room", says: "lights on low, window mirrored in the glass", change: lit_room },
    Condition {
        name: "cut by the frame",
        says: "aimed aside, a third to two thirds of the ring in the picture",
        change: cut,
    },
    Condition {
        name: "cropped",
        says: "as much of the ring, but the picture cut down afterwards, so that the lens looks at no middle",
        change: cropped,
    },
    Condition {
        name: "other rulers",
        says: "wood, yellow, dark, clear, lit from behind, half millimetres",
        change: rulers,
    },
    Condition { name: "covered ruler", says: "short, or with pieces hidden", change: covered },
    Condition { name: "wide lens", says: "near, with strong distortion", change: wide_lens },
    Condition { name: "gas", says: "much light inside the ring, wide beam", change: gas },
    Condition { name: "second turn", says: "two turns of a helix side by side", change: second_turn },
    Condition { name: "nudged", says: "camera moved between ring and scale", change: nudged },
    Condition {
        name: "set up again",
        says: "camera put back by hand, some centimetres, degrees and per cent of zoom off, the lamp elsewhere",
        change: set_up_again,
    },
    Condition { name: "zoomed", says: "lens zoomed by 1 to 3 % between ring and scale", change: zoomed },
    Condition {
        name: "no coils stated",
        says: "set up again, and the bench file says nothing of the coils",
        change: no_coils_stated,
    },
    Condition {
        name: "other lamp",
        says: "camera left alone, the lamp on the other side and far weaker for the ring",
        change: other_lamp,
    },
    Condition {
        name: "black room",
        says: "set up again, and nothing but the beam to be seen on the ring's photograph",
        change: black_room,
    },
    Condition { name: "squared paper", says: "lines every 5 mm", change: grid },
    Condition { name: "board", says: "dark and light squares of 10 mm", change: board },
    Condition {
        name: "one picture",
        says: "ruler below the bulb, in the ring's own photograph",
        change: together,
    },
];

fn oblique(setup: &mut Setup, dice: &mut Dice) {
    let mut view = camera(dice, setup.distance_mm, 0.5);
    let (off, way) = (dice.between(6.0, 16.0_f64).to_radians(), dice.between(0.0, 360.0_f64).to_radians());
    let d = setup.distance_mm;
    view.position_mm = [d * off.sin() * way.cos(), d * off.sin() * way.sin(), d * off.cos()];
    setup.scale_camera = view.clone();
    setup.scene.camera = view;
}

fn open_ring(setup: &mut Setup, dice: &mut Dice) {
    let across = dice.between(1.0, 3.0) * if dice.below(2) == 0 { 1.0 } else { -1.0 };
    if let Some(gun) = &mut setup.scene.gun {
        gun.direction = tilted(0.4 * dice.normal(), across);
    }
    let mut view = camera(dice, setup.distance_mm, 8.0);
    view.k1 = -0.03;
    setup.scale_camera = view.clone();
    setup.scene.camera = view;
}

fn dim(setup: &mut Setup, dice: &mut Dice) {
    setup.beam.brightness = dice.between(0.05, 0.15);
    setup.scene.sensor.read_noise = 0.004;
    setup.scene.sensor.shot_noise = 0.03;
    setup.scene.room.light = 0.006;
    setup.scene.room.reflections *= 0.3;
}

fn overexposed(setup: &mut Setup, dice: &mut Dice) {
    setup.beam.brightness = dice.between(3.0, 7.0);
    setup.beam.halo = dice.between(0.4, 0.7);
}

fn out_of_focus(setup: &mut Setup, dice: &mut Dice) {
    setup.ring_blur_px = Some(dice.between(2.0, 3.5));
}

fn soft_scale(setup: &mut Setup, dice: &mut Dice) {
    setup.finer(1.6);
    setup.ring_blur_px = Some(setup.scene.sensor.blur_px);
    setup.scene.sensor.blur_px = dice.between(2.0, 3.5);
}

fn lit_room(setup: &mut Setup, dice: &mut Dice) {
    setup.scene.room =
        Room { light: dice.between(0.05, 0.2), reflections: dice.between(0.5, 2.0), ..Room::dark() };
}

/// By how many pixels the ring stands aside, so that the picture's edge runs through it.
fn aside(setup: &Setup, dice: &mut Dice) -> [f64; 2] {
    let way = dice.between(0.0, 360.0_f64).to_radians();
    let far = dice.between(0.05, 0.75);
    let view = &setup.scene.camera;
    let half = 0.5 * f64::from(view.height_px);
    let radius_px = setup.radii_mm[1] * view.focal_px / setup.distance_mm;
    let shift = half - far * radius_px;
    [shift * way.cos() * 1.3, shift * way.sin()]
}

fn cut(setup: &mut Setup, dice: &mut Dice) {
    let shift = aside(setup, dice);
    let view = &mut setup.scene.camera;
    let mm = setup.distance_mm / view.focal_px;
    view.look_at_mm[0] -= shift[0] * mm;
    view.look_at_mm[1] += shift[1] * mm;
    setup.scale_camera = view.clone();
}

fn cropped(setup: &mut Setup, dice: &mut Dice) {
    let shift = aside(setup, dice);
    let view = &mut setup.scene.camera;
    view.principal_px = [0, 1].map(|k| view.principal_px[k] + shift[k]);
    setup.scale_camera = view.clone();
}

fn rulers(setup: &mut Setup, dice: &mut Dice) {
    let z = setup.plane_z_mm();
    let edges = |near, far| ScaleKind::Ruler { length_mm: 200, width_mm: 28.0, near, far, numerals: true };
    let kind = edges(Edge::Millimetres, [Edge::Bare, Edge::Centimetres, Edge::Millimetres][dice.below(3)]);
    let plain = ScaleObject { surface: Surface::Plain, ..laid(dice, z, 200, kind) };
    setup.scales = vec![match dice.below(6) {
        0 => ScaleObject { ground: [0.52, 0.33, 0.16], surface: Surface::Wood, ..plain },
        1 => ScaleObject { ground: [0.85, 0.62, 0.05], ..plain },
        2 => ScaleObject { ground: [0.03; 3], ink: [0.8; 3], ..plain },
        3 => ScaleObject { see_through: 0.8, ..plain },
        4 => {
            setup.scale_room = Room { light: 0.01, reflections: 0.0, ..Room::dark() };
            ScaleObject { see_through: 0.85, lit_from_behind: 0.6, ..plain }
        }
        _ => {
            // half millimetres must stand clear of each other: a camera of more pixels
            setup.finer(1.9);
            setup.spacing_mm = 0.5;
            ScaleObject { kind: edges(Edge::HalfMillimetres, Edge::Bare), ..plain }
        }
    }];
}

fn covered(setup: &mut Setup, dice: &mut Dice) {
    let z = setup.plane_z_mm();
    let edges = |length_mm| ScaleKind::Ruler {
        length_mm,
        width_mm: 28.0,
        near: Edge::Millimetres,
        far: Edge::SixteenthInches,
        numerals: true,
    };
    if dice.below(2) == 0 {
        setup.scales = vec![laid(dice, z, 70, edges(70))];
        return;
    }
    let mut scale = laid(dice, z, 200, edges(200));
    let (a, b) = (dice.between(40.0, 80.0), dice.between(110.0, 150.0));
    scale.hidden_mm = vec![[a, a + 14.0, -2.0, 40.0], [b, b + 9.0, -2.0, 14.0]];
    setup.scales = vec![scale];
}

fn wide_lens(setup: &mut Setup, dice: &mut Dice) {
    setup.distance_mm = dice.between(330.0, 450.0);
    let mut view = camera(dice, setup.distance_mm, 4.0);
    view.k1 = dice.between(-0.18, 0.08);
    view.k2 = dice.between(-0.03, 0.03);
    setup.scale_camera = view.clone();
    setup.scene.camera = view;
}

fn gas(setup: &mut Setup, dice: &mut Dice) {
    setup.beam.sigma_mm = vec![dice.between(0.5, 0.9)];
    if let Some(haze) = &mut setup.beam.haze_inside {
        haze.strength = dice.between(0.5, 0.9);
        haze.mean_loss = dice.between(0.1, 0.2);
    }
}

fn second_turn(setup: &mut Setup, dice: &mut Dice) {
    setup.turns = 1.9;
    let across = dice.between(3.0, 6.0) * if dice.below(2) == 0 { 1.0 } else { -1.0 };
    if let Some(gun) = &mut setup.scene.gun {
        gun.direction = tilted(0.0, across);
        gun.length_mm = 14.0;
        gun.radius_mm = 4.0;
    }
    let d = setup.distance_mm;
    let mut view = camera(dice, d, 1.0);
    let off = dice.between(6.0, 12.0_f64).to_radians();
    view.position_mm = [d * off.sin(), 0.0, d * off.cos()];
    setup.scale_camera = view.clone();
    setup.scene.camera = view;
}

fn nudged(setup: &mut Setup, dice: &mut Dice) {
    let view = &mut setup.scale_camera;
    for side in 0..3 {
        view.position_mm[side] += dice.between(-3.0, 3.0);
    }
    view.look_at_mm[0] += dice.between(-3.0, 3.0);
    view.look_at_mm[1] += dice.between(-3.0, 3.0);
    view.roll_deg += dice.between(-0.3, 0.3);
}

/// The lamp of the rings' photographs on the other side, and one grain for all pictures.
fn lamp_moved(setup: &mut Setup) {
    let [x, y, z] = setup.scene.room.lamp;
    setup.scene.room.lamp = [-x, y, z];
    let grain = Some(setup.scene.seed);
    setup.scene.room.grain = grain;
    setup.scale_room.grain = grain;
}

fn set_up_again(setup: &mut Setup, dice: &mut Dice) {
    lamp_moved(setup);
    setup.scene.room.light = dice.between(0.012, 0.06);
    setup.scale_room.light = dice.between(0.6, 1.2);
    let view = &mut setup.scale_camera;
    for side in 0..3 {
        view.position_mm[side] += dice.between(-20.0, 20.0);
    }
    view.look_at_mm[0] += dice.between(-12.0, 12.0);
    view.look_at_mm[1] += dice.between(-12.0, 12.0);
    view.roll_deg += dice.between(-3.0, 3.0);
    view.focal_px *= dice.between(0.98, 1.02);
}

fn zoomed(setup: &mut Setup, dice: &mut Dice) {
    lamp_moved(setup);
    let sign = if dice.below(2) == 0 { 1.0 } else { -1.0 };
    setup.scale_camera.focal_px *= 1.0 + sign * dice.between(0.01, 0.03);
}

fn no_coils_stated(setup: &mut Setup, dice: &mut Dice) {
    set_up_again(setup, dice);
    setup.are_coils_stated = false;
}

fn other_lamp(setup: &mut Setup, _: &mut Dice) {
    lamp_moved(setup);
}

fn black_room(setup: &mut Setup, dice: &mut Dice) {
    set_up_again(setup, dice);
    // the beam itself lights the coils, too little for this sensor
    setup.beam.brightness = 0.15;
    setup.scene.room.light = 0.0;
    setup.scene.room.reflections = 0.0;
}

fn paper(setup: &mut Setup, dice: &mut Dice, kind: ScaleKind) {
    let angle = dice.between(-25.0, 25.0);
    let place = [dice.between(-66.0, -54.0), dice.between(-56.0, -44.0)];
    let (sine, cosine) = angle.to_radians().sin_cos();
    let turned = [place[0] * cosine - place[1] * sine, place[0] * sine + place[1] * cosine];
    let z = setup.plane_z_mm();
    setup.scales = vec![ScaleObject {
        kind,
        ground: [0.82, 0.81, 0.78],
        surface: Surface::Plain,
        ..ScaleObject::ruler(1, turned[0], turned[1], z, angle)
    }];
}

fn grid(setup: &mut Setup, dice: &mut Dice) {
    setup.kind = "grid";
    setup.spacing_mm = 5.0;
    paper(setup, dice, ScaleKind::Grid { columns: 24, rows: 20, spacing_mm: 5.0, line_mm: 0.4 });
}

fn board(setup: &mut Setup, dice: &mut Dice) {
    setup.kind = "board";
    setup.spacing_mm = 10.0;
    paper(setup, dice, ScaleKind::Board { columns: 12, rows: 10, square_mm: 10.0 });
}

fn together(setup: &mut Setup, dice: &mut Dice) {
    setup.is_together = true;
    setup.scene.room = Room { light: dice.between(0.08, 0.2), reflections: 0.2, ..Room::dark() };
    let z = setup.plane_z_mm();
    // below the bulb, and in the picture: the camera takes in a little more
    for view in [&mut setup.scene.camera, &mut setup.scale_camera] {
        view.focal_px *= 0.75;
        view.look_at_mm = [0.0, -14.0, 0.0];
    }
    setup.finer(1.7);
    let angle = dice.between(-4.0, 4.0);
    setup.scales = vec![ScaleObject::ruler(200, -100.0 + dice.between(-8.0, 8.0), -118.0, z, angle)];
}
