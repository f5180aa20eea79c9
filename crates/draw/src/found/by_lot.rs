//! Photographs as found in laboratories, drawn by lot: what an ordinary one is like, before a condition changes it.

use super::condition::FoundCondition;
use super::lot::Lot;
use super::scene::{
    FoundBeam, FoundScale, FoundScene, Gas, Ghosts, Material, Numbering, Phone, Surroundings, Wall,
};
use crate::scene::{Bulb, Camera, Coils, Gun};
use crate::vector::{Vec3, add, norm, scaled};

/// What a path of electrons is asked for.
#[derive(Debug, Clone, PartialEq)]
pub struct FoundPath {
    /// Where it leaves the gun.
    pub muzzle_mm: Vec3,
    /// Unit vector; the path turns counter-clockwise as seen from +z.
    pub direction: Vec3,
    /// Radius wanted.
    pub radius_mm: f64,
    /// Turns wanted.
    pub turns: f64,
}

/// Everything a condition may change; [`found_by_lot`] makes a scene of it.
pub(crate) struct Draft {
    pub(crate) lot: Lot,
    /// Pixels of the kept picture in millions, and of the ring's radius in it.
    pub(crate) megapixels: f64,
    pub(crate) ring_px: f64,
    pub(crate) is_upright: bool,
    pub(crate) distance_mm: f64,
    /// Of the camera off the coils' axis, and in which direction (0 right, 90 above).
    pub(crate) off_axis_deg: f64,
    pub(crate) off_towards_deg: f64,
    pub(crate) ring_mm: f64,
    pub(crate) bulb_mm: f64,
    pub(crate) coil_mm: f64,
    /// Seen width of the beam at the muzzle in parts of the ring's diameter.
    pub(crate) width_share: f64,
    /// Light left after one turn.
    pub(crate) left_after_turn: f64,
    pub(crate) turns: f64,
    /// Of the gun out of the ring's plane.
    pub(crate) gun_tilt_deg: f64,
    pub(crate) gun_length_mm: f64,
    pub(crate) gun_radius_mm: f64,
    /// Turn of the whole tube in the picture's plane; mirrored left and right.
    pub(crate) tube_turn_deg: f64,
    pub(crate) is_mirrored: bool,
    /// How far the ring stands aside of where the camera aims, in its radii, so that the frame cuts it.
    pub(crate) cut_radii: Option<[f64; 2]>,
    pub(crate) beam: FoundBeam,
    pub(crate) gas: Gas,
    pub(crate) ghosts: Ghosts,
    pub(crate) scale: Option<FoundScale>,
    pub(crate) around: Surroundings,
    pub(crate) phone: Phone,
}

/// Colours of the beam by gas and white balance, beside the gas's own glow.
pub(crate) const COLOURS: [([f32; 3], [f32; 3]); 8] = [
    ([0.10, 0.88, 1.0], [0.08, 0.80, 0.85]),
    ([0.06, 0.75, 1.0], [0.02, 0.75, 0.60]),
    ([0.30, 0.90, 1.0], [0.25, 0.62, 0.75]),
    ([0.16, 0.40, 1.0], [0.12, 0.30, 0.95]),
    ([0.48, 0.30, 1.0], [0.40, 0.25, 0.90]),
    ([1.0, 0.38, 0.80], [0.90, 0.30, 0.62]),
    ([1.0, 0.50, 0.22], [0.95, 0.38, 0.18]),
    ([0.80, 0.90, 1.0], [0.55, 0.70, 0.95]),
];

/// Draws the scene of a condition by lot; `path` gives the electrons' way as points about a millimetre apart.
///
/// The same condition and seed give the same scene, as far as `path` does.
pub fn found_by_lot(
    condition: &FoundCondition,
    seed: u64,
    path: &dyn Fn(&FoundPath) -> Vec<Vec3>,
) -> FoundScene {
    let name = condition.name.bytes().fold(11_u64, |sum, byte| sum.wrapping_mul(131) ^ u64::from(byte));
    let mut draft = Draft::ordinary(Lot::new(seed ^ name.rotate_left(17), 1));
    (condition.change)(&mut draft);
    draft.scene(seed.wrapping_mul(0x9E37_79B9) ^ name, path)
}

impl Draft {
    fn ordinary(mut lot: Lot) -> Self {
        let (colour, gas_colour) = lot.one(&COLOURS, COLOURS[0]);
        let ring_mm = lot.between(26.0, 47.0);
        let light = match lot.one(&[0, 1, 1, 2, 2, 2], 1) {
            0 => lot.between(0.25, 0.9),
            1 => lot.between(0.02, 0.12),
            _ => lot.between(0.001, 0.012),
        };
        let bulb_mm = lot.between(72.0, 86.0);
        let mut draft = Draft {
            megapixels: libm::exp(lot.between(-1.1, 1.1)),
            ring_px: libm::exp(lot.between(libm::log(45.0), libm::log(230.0))),
            is_upright: lot.is(0.3),
            distance_mm: lot.between(700.0, 2000.0),
            off_axis_deg: lot.between(5.0, 22.0),
            off_towards_deg: lot.between(-25.0, 60.0) + if lot.is(0.5) { 0.0 } else { 90.0 },
            ring_mm,
            bulb_mm,
            coil_mm: lot.between(138.0, 165.0),
            width_share: lot.between(0.03, 0.075),
            left_after_turn: lot.between(0.15, 0.8),
            turns: 1.0,
            gun_tilt_deg: lot.between(-0.8, 0.8),
            gun_length_mm: lot.between(14.0, 30.0),
            gun_radius_mm: lot.between(4.0, 8.5),
            tube_turn_deg: lot.between(-14.0, 14.0),
            is_mirrored: lot.is(0.5),
            cut_radii: None,
            beam: FoundBeam {
                points_mm: Vec::new(),
                sigma_mm: 1.0,
                widening: lot.between(1.0, 1.9),
                brightness: lot.between(0.7, 3.0),
                fading_length_mm: 1.0,
                colour,
                stub_mm: if lot.is(0.5) { lot.between(4.0, 16.0) } else { 0.0 },
                slowed: lot.between(0.1, 0.6),
            },
            gas: Gas {
                fill: lot.between(0.02, 0.22),
                towards_middle: lot.between(0.2, 0.8),
                fan: if lot.is(0.4) { lot.between(0.05, 0.25) } else { 0.0 },
                colour: gas_colour,
            },
            ghosts: Ghosts {
                mirrored: lot.between(0.01, 0.06),
                arcs: if lot.is(0.5) { lot.between(0.02, 0.10) } else { 0.0 },
            },
            scale: None,
            around: surroundings(&mut lot, light),
            phone: phone(&mut lot, light),
            lot,
        };
        draft.scale = draft.lot.is(0.85).then(|| draft.some_scale());
        draft
    }

    /// A scale of any make before or behind the bulb.
    pub(crate) fn some_scale(&mut self) -> FoundScale {
        let lot = &mut self.lot;
        let (material, is_before) = lot.one(
            &[
                (Material::White, false),
                (Material::White, true),
                (Material::Acrylic, false),
                (Material::Acrylic, true),
                (Material::Mirror, false),
                (Material::Dark, false),
            ],
            (Material::White, false),
        );
        let length_cm = lot.one(&[16, 20, 20, 24], 20);
        let width_mm = lot.between(12.0, 20.0);
        let dark = 1.0 - self.around.light.min(1.0);
        FoundScale {
            material,
            numbering: if lot.is(0.6) { Numbering::FromEnd } else { Numbering::FromMiddle },
            length_cm,
            number_every_cm: lot.one(&[1, 1, 2, 5], 1),
            fine_mm: lot.one(&[1, 1, 2, 5, 0], 1),
            width_mm,
            numeral_mm: lot.between(0.30, 0.42) * width_mm,
            middle_mm: [
                lot.between(-18.0, 18.0),
                lot.between(-28.0, 12.0),
                (self.bulb_mm + lot.between(4.0, 22.0)) * if is_before { 1.0 } else { -1.0 },
            ],
            turn_deg: lot.between(-2.0, 2.0),
            light: dark * lot.between(0.02, 0.35),
            colour: lot
                .one(&[[1.0, 0.95, 0.85], [0.7, 0.95, 1.0], [1.0, 0.45, 0.2], [0.9, 1.0, 0.9]], [1.0; 3]),
            pointers_mm: Vec::new(),
        }
    }

    fn scene(mut self, seed: u64, path: &dyn Fn(&FoundPath) -> Vec<Vec3>) -> FoundScene {
        let r = self.ring_mm;
        let low = self.lot.between(34.0, 42.0).min(self.bulb_mm - 26.0);
        let muzzle = [self.lot.between(-4.0, 4.0), -low, self.lot.between(-3.0, 3.0)];
        let (across, along) = (self.gun_tilt_deg.to_radians(), self.lot.between(-3.0, 3.0_f64).to_radians());
        let direction =
            [libm::cos(along) * libm::cos(across), libm::sin(along) * libm::cos(across), libm::sin(across)];
        let wanted = FoundPath { muzzle_mm: muzzle, direction, radius_mm: r, turns: self.turns };
        let mut points = path(&wanted);
        let inside = |p: &Vec3| norm(*p) < self.bulb_mm - 3.0;
        let count = points.iter().position(|p| !inside(p)).unwrap_or(points.len());
        points.truncate(count.max(3));
        let turn = self.tube_turn_deg.to_radians();
        let (sine, cosine, sign) =
            (libm::sin(turn), libm::cos(turn), if self.is_mirrored { -1.0 } else { 1.0 });
        let turned = |[x, y, z]: Vec3| [sign * (x * cosine - y * sine), x * sine + y * cosine, z];
        self.beam.points_mm = points.iter().map(|p| turned(*p)).collect();
        self.beam.fading_length_mm =
            -std::f64::consts::TAU * r / libm::log(self.left_after_turn.clamp(0.02, 0.99));
        // the seen width is taken at half of what the sensor holds: a saturated core looks wider
        let over = libm::sqrt(2.0 * libm::log(2.0 * self.beam.brightness.max(1.0)));
        self.beam.sigma_mm = self.width_share * 2.0 * r / (2.0 * over);
        let gun = Gun {
            muzzle_mm: turned(muzzle),
            direction: turned(direction),
            length_mm: self.gun_length_mm,
            radius_mm: self.gun_radius_mm,
            neck_direction: turned([0.0, -1.0, 0.0]),
        };
        let camera = self.camera();
        FoundScene {
            camera,
            bulb: Bulb {
                outer_radius_mm: self.bulb_mm,
                glass_thickness_mm: self.lot.between(1.2, 2.2),
                glass_index: 1.48,
            },
            coils: Coils {
                mean_radius_mm: self.coil_mm,
                separation_mm: self.coil_mm,
                winding_radial_mm: self.lot.between(14.0, 30.0),
                winding_axial_mm: self.lot.between(14.0, 26.0),
            },
            gun,
            beam: self.beam,
            gas: self.gas,
            ghosts: self.ghosts,
            scale: self.scale,
            around: self.around,
            phone: self.phone,
            seed,
        }
    }

    /// A camera in the hand: aimed about the bench, so that the ring is whole in the picture and anywhere in it.
    fn camera(&mut self) -> Camera {
        let (off, towards) = (self.off_axis_deg.to_radians(), self.off_towards_deg.to_radians());
        let d = self.distance_mm;
        let position_mm = [
            d * libm::sin(off) * libm::cos(towards),
            d * libm::sin(off) * libm::sin(towards),
            d * libm::cos(off),
        ];
        let focal_px = self.ring_px * d / self.ring_mm;
        let aspect = self.lot.one(&[4.0 / 3.0, 4.0 / 3.0, 16.0 / 9.0, 1.5, 1.2], 1.5);
        let long = libm::sqrt(self.megapixels * 1e6 * aspect);
        // phones look at 0.62 to 0.8 of the picture's longer side and wider; nearer views are zoomed or cut out
        let least = (focal_px / 4.5).min(3500.0);
        let long = long.clamp(least, (focal_px / 0.62).max(least)).max(4.4 * self.ring_px);
        let short = (long / aspect).max(3.2 * self.ring_px);
        let (width, height) = if self.is_upright { (short, long) } else { (long, short) };
        let (sx, sy) = (
            self.lot.between(-1.0, 1.0) * (0.5 * width - 1.45 * self.ring_px).max(0.0),
            self.lot.between(-0.6, 0.6) * (0.5 * height - 1.45 * self.ring_px).max(0.0),
        );
        let (mut sx, mut sy) = (0.75 * sx, 0.75 * sy);
        if let Some([x, y]) = self.cut_radii {
            // so many radii of the ring stand beyond the frame
            sx = x.signum() * (0.5 * width - (1.0 - x.abs()) * self.ring_px);
            sy = y * self.ring_px;
        }
        let mm = d / focal_px;
        let ring_at = [0.0, self.ring_mm - 38.0, 0.0];
        // a picture that was cut out or taken from a screen has lost what the phone wrote
        let widths = focal_px / width.max(height);
        if widths < 0.9 && self.phone.rescale == 1.0 && self.lot.is(0.6) {
            // of the same angle over the diagonal, 43.27 mm (CIPA DCG-001, from memory)
            self.phone.film_focal_mm = Some((43.27 * focal_px / width.hypot(height)).round() as u16);
        }
        let factor = 1.0 / self.phone.rescale;
        let side = |v: f64| (v * factor).round();
        let (width, height) = (side(width), side(height));
        Camera {
            position_mm,
            look_at_mm: add(ring_at, scaled([sx, sy, 0.0], mm)),
            roll_deg: self.lot.between(-3.5, 3.5),
            focal_px: focal_px * factor,
            width_px: width as u32,
            height_px: height as u32,
            principal_px: [
                0.5 * (width - 1.0) + self.lot.between(-0.01, 0.01) * width,
                0.5 * (height - 1.0) + self.lot.between(-0.01, 0.01) * width,
            ],
            k1: self.lot.between(-0.03, 0.02),
            k2: 0.0,
        }
    }
}

fn surroundings(lot: &mut Lot, light: f64) -> Surroundings {
    let grey = lot.between(0.25, 0.8) as f32;
    let tint = lot.one(&[[1.0, 0.98, 0.92], [0.95, 0.97, 1.0], [1.0, 0.9, 0.7], [0.75, 0.9, 0.8]], [1.0; 3]);
    Surroundings {
        light,
        wall: lot.one(&[Wall::Plain, Wall::Blocks, Wall::Tiles, Wall::Boards, Wall::Cloth], Wall::Plain),
        wall_mm: lot.between(260.0, 1600.0),
        wall_colour: tint.map(|c| c * grey),
        rim_colour: lot.one(
            &[
                [0.02, 0.02, 0.022],
                [0.03; 3],
                [0.06, 0.06, 0.07],
                [0.35, 0.18, 0.08],
                [0.10, 0.16, 0.34],
                [0.30, 0.31, 0.32],
            ],
            [0.03; 3],
        ),
        is_wooden: false,
        rim_light: 0.0,
        supplies: lot.one(&[0, 1, 2, 2, 3], 1),
        supplies_side: if lot.is(0.5) { 1.0 } else { -1.0 },
        leads: lot.one(&[0, 2, 4, 6], 2),
        reflections: lot.between(0.0, 1.2),
        has_hood: lot.is(0.15),
        rungs_mm: Vec::new(),
        has_coils: lot.is(0.92),
        table_mm: -lot.between(210.0, 330.0),
    }
}

fn phone(lot: &mut Lot, light: f64) -> Phone {
    let dark = if light < 0.02 { 1.0 } else { 0.45 };
    let mut balance = || lot.between(0.85, 1.18) as f32;
    let white_balance = [balance(), 1.0, balance()];
    Phone {
        exposure: 1.0,
        white_balance,
        blur_px: lot.between(0.6, 1.6),
        shake_px: if lot.is(0.3) { [lot.between(-2.5, 2.5), lot.between(-2.5, 2.5)] } else { [0.0; 2] },
        bloom: lot.between(0.01, 0.10),
        read_noise: dark * lot.between(0.003, 0.016),
        shot_noise: lot.between(0.01, 0.04),
        smear: if lot.is(0.5) { lot.between(0.1, 0.5) } else { 0.0 },
        tone: if lot.is(0.4) { lot.between(0.1, 0.5) } else { 0.0 },
        sharpen: if lot.is(0.6) { lot.between(0.2, 0.9) } else { 0.0 },
        saturation: lot.between(0.9, 1.35),
        rescale: 1.0,
        qualities: vec![lot.between(70.0, 95.0) as u8],
        is_subsampled: lot.is(0.7),
        orientation: lot.one(&[1, 1, 1, 1, 6, 8, 3], 1),
        film_focal_mm: None,
    }
}
