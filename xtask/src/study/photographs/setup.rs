//! A bench drawn by lot: where camera, gun and scale stand, and three rings whose truth is known.

use arcmass_draw::{
    Beam, Bulb, Camera, Coils, Edge, Gun, Haze, Room, ScaleKind, ScaleObject, Scene, Sensor, Surface,
};
use arcmass_physics::winding::CoilSet;
use arcmass_physics::{BenchField, Path, PreparedField, TraceOptions, Until, Vec3, trace};

use super::dice::Dice;

/// Photographs of rings on each bench.
pub(crate) const RINGS: usize = 3;
/// Paths of a bundle beside its centre line.
const BUNDLE: usize = 14;
const BULB_RADIUS_MM: f64 = 82.0;

/// All that a condition may change before the photographs are drawn.
pub(crate) struct Setup {
    /// Bench and camera, as when the rings are photographed; its beam is a pattern for each ring's.
    pub(crate) scene: Scene,
    pub(crate) beam: Beam,
    /// The camera of the scale's photograph.
    pub(crate) scale_camera: Camera,
    pub(crate) scale_room: Room,
    pub(crate) scales: Vec<ScaleObject>,
    /// Ring and scale in one photograph.
    pub(crate) is_together: bool,
    /// Words of `[scale]` in the bench file.
    pub(crate) kind: &'static str,
    pub(crate) spacing_mm: f64,
    /// Of the scale's plane from the muzzle's.
    pub(crate) offset_mm: f64,
    pub(crate) radii_mm: [f64; RINGS],
    pub(crate) background_t: [f64; 3],
    /// Standard deviation of the beam's direction, and of its energy in parts of it.
    pub(crate) divergence_deg: f64,
    pub(crate) energy_spread: f64,
    pub(crate) turns: f64,
    pub(crate) distance_mm: f64,
    /// Blur of the rings' photographs, where it is not the scale's.
    pub(crate) ring_blur_px: Option<f64>,
    /// Whether the bench file states the coils.
    pub(crate) are_coils_stated: bool,
}

impl Setup {
    /// An ordinary careful bench: dark room, camera nearly on the axis, a whole ruler in the ring's plane.
    pub(crate) fn by_lot(dice: &mut Dice) -> Self {
        let distance_mm = dice.between(550.0, 1300.0);
        let camera = camera(dice, distance_mm, 3.0);
        let muzzle_mm = [dice.between(-3.0, 3.0), dice.between(-41.0, -35.0), dice.between(-3.0, 3.0)];
        let offset_mm = dice.between(-1.0, 1.0);
        let colours = [[0.45, 0.62, 1.0], [0.55, 0.44, 1.0], [0.35, 0.85, 0.75], [1.0, 0.45, 0.5]];
        let beam = Beam {
            points_mm: Vec::new(),
            sigma_mm: vec![dice.between(0.25, 0.5)],
            bundle_mm: Vec::new(),
            brightness: dice.between(0.6, 1.6),
            fading_length_mm: dice.between(350.0, 900.0),
            colour: colours[dice.below(colours.len())],
            halo: dice.between(0.1, 0.4),
            haze_inside: Some(Haze { strength: dice.between(0.1, 0.4), mean_loss: dice.between(0.08, 0.16) }),
        };
        let scene = Scene {
            camera: camera.clone(),
            bulb: Some(Bulb {
                outer_radius_mm: BULB_RADIUS_MM,
                glass_thickness_mm: dice.between(1.2, 2.2),
                glass_index: 1.48,
            }),
            coils: Some(Coils {
                mean_radius_mm: 155.0,
                separation_mm: 155.0,
                winding_radial_mm: 12.0,
                winding_axial_mm: 15.0,
            }),
            gun: Some(Gun {
                muzzle_mm,
                direction: tilted(0.4 * dice.normal(), 0.4 * dice.normal()),
                length_mm: dice.between(20.0, 30.0),
                radius_mm: dice.between(4.5, 6.5),
                neck_direction: [0.0, -1.0, 0.0],
            }),
            beam: None,
            room: Room { reflections: dice.between(0.0, 0.8), ..Room::dark() },
            sensor: Sensor {
                blur_px: dice.between(0.7, 1.3),
                jpeg_quality: 86 + dice.below(11) as u8,
                ..Sensor::good()
            },
            seed: dice.whole(),
        };
        let scale = ruler(dice, muzzle_mm[2] + offset_mm);
        Self {
            scale_camera: camera,
            scene,
            beam,
            scale_room: Room::lit(),
            scales: vec![scale],
            is_together: false,
            kind: "ruler",
            spacing_mm: 1.0,
            offset_mm,
            radii_mm: [dice.between(27.0, 34.0), dice.between(34.0, 41.0), dice.between(41.0, 48.0)],
            background_t: [10e-6, -40e-6, 10e-6].map(|b: f64| b + 8e-6 * dice.normal()),
            divergence_deg: dice.between(0.2, 0.6),
            energy_spread: dice.between(0.001, 0.004),
            turns: 1.0,
            distance_mm,
            ring_blur_px: None,
            are_coils_stated: true,
        }
    }

    /// The same pictures from a camera with so many times the pixels on a side.
    pub(crate) fn finer(&mut self, factor: f64) {
        for view in [&mut self.scene.camera, &mut self.scale_camera] {
            let side = |px: u32| (f64::from(px) * factor).round() as u32;
            view.width_px = side(view.width_px);
            view.height_px = side(view.height_px);
            view.focal_px *= factor;
            // the centre of the first pixel is (0, 0), its corner half a pixel before
            view.principal_px = view.principal_px.map(|px| (px + 0.5) * factor - 0.5);
        }
    }

    /// z of the scale's plane.
    pub(crate) fn plane_z_mm(&self) -> f64 {
        self.scene.gun.as_ref().map_or(0.0, |gun| gun.muzzle_mm[2]) + self.offset_mm
    }
}

/// A camera so many degrees off the axis at most, in whose picture the bulb fills most of the height.
pub(crate) fn camera(dice: &mut Dice, distance_mm: f64, most_deg: f64) -> Camera {
    let (width, height) = (1800, 1200);
    let aside = dice.between(-most_deg, most_deg).to_radians();
    let above = dice.between(-most_deg, most_deg).to_radians();
    let filled = dice.between(0.68, 0.88);
    let focal_px = filled * f64::from(height) / 2.0 * distance_mm / BULB_RADIUS_MM;
    let middle = |side: u32| (f64::from(side) - 1.0) / 2.0;
    Camera {
        position_mm: [
            distance_mm * aside.sin() * above.cos(),
            distance_mm * above.sin(),
            distance_mm * aside.cos() * above.cos(),
        ],
        look_at_mm: [dice.between(-5.0, 5.0), dice.between(-5.0, 5.0), 0.0],
        roll_deg: dice.between(-2.0, 2.0),
        principal_px: [middle(width) + dice.between(-8.0, 8.0), middle(height) + dice.between(-8.0, 8.0)],
        k1: dice.between(-0.08, 0.03),
        k2: 0.0,
        ..Camera::on_axis(distance_mm, focal_px, width, height)
    }
}

/// A unit vector near +x, turned in the plane of the ring and out of it.
pub(crate) fn tilted(in_plane_deg: f64, across_deg: f64) -> [f64; 3] {
    let (a, b) = (in_plane_deg.to_radians(), across_deg.to_radians());
    [a.cos() * b.cos(), a.sin() * b.cos(), b.sin()]
}

/// A ruler of common make across the middle, in any direction.
pub(crate) fn ruler(dice: &mut Dice, plane_z_mm: f64) -> ScaleObject {
    let far = [Edge::SixteenthInches, Edge::Bare, Edge::Millimetres][dice.below(3)];
    let length_mm = 200;
    laid(
        dice,
        plane_z_mm,
        length_mm,
        ScaleKind::Ruler {
            length_mm,
            width_mm: dice_width(far),
            near: Edge::Millimetres,
            far,
            numerals: true,
        },
    )
}

fn dice_width(far: Edge) -> f64 {
    if far == Edge::Bare { 24.0 } else { 30.0 }
}

/// Lays a ruler of that length with its middle near the bulb's centre.
pub(crate) fn laid(dice: &mut Dice, plane_z_mm: f64, length_mm: u32, kind: ScaleKind) -> ScaleObject {
    let angle_deg = dice.between(0.0, 360.0);
    let (sine, cosine) = angle_deg.to_radians().sin_cos();
    let (x, y) = (dice.between(-12.0, 12.0), dice.between(-12.0, 12.0));
    let half = 0.5 * f64::from(length_mm);
    // across runs to the left of along: half the width back puts the face's middle there
    let origin = [x - half * cosine + 14.0 * sine, y - half * sine - 14.0 * cosine];
    let surface = if dice.below(2) == 0 { Surface::Steel } else { Surface::Plain };
    ScaleObject {
        kind,
        surface,
        ..ScaleObject::ruler(length_mm, origin[0], origin[1], plane_z_mm, angle_deg)
    }
}

/// One ring: what is drawn.
pub(crate) struct Ring {
    pub(crate) points_mm: Vec<[f64; 3]>,
    pub(crate) bundle_mm: Vec<Vec<[f64; 3]>>,
}

impl Setup {
    /// Traces the electrons of each ring through the field of coils and background.
    pub(crate) fn rings(&self, dice: &mut Dice) -> Result<Vec<Ring>, String> {
        let coils = self.scene.coils.as_ref().ok_or("no coils")?;
        let si = |mm: f64| 1e-3 * mm;
        let set = CoilSet::pair(si(coils.mean_radius_mm), si(coils.separation_mm), 126.0, 0.012, 0.015, 1.0);
        let prepared = PreparedField::new(&set, si(BULB_RADIUS_MM)).map_err(|fault| fault.to_string())?;
        self.radii_mm.iter().map(|radius| self.ring(*radius, &prepared, dice)).collect()
    }

    fn ring(&self, radius_mm: f64, prepared: &PreparedField, dice: &mut Dice) -> Result<Ring, String> {
        let gun = self.scene.gun.as_ref().ok_or("no gun")?;
        let [bx, by, bz] = self.background_t;
        let field = BenchField { prepared, current_a: 1.5, scale: 1.0, background_t: Vec3::new(bx, by, bz) };
        let centre = prepared.flux_density_per_ampere(Vec3::ZERO).map_err(|fault| fault.to_string())?.z;
        let rigidity = 1.5 * centre * 1e-3 * radius_mm;
        let vector = |[x, y, z]: [f64; 3], scale: f64| Vec3::new(x * scale, y * scale, z * scale);
        let follow = |direction: [f64; 3], share: f64, turns: f64| -> Result<Path, String> {
            let until = Until::Turns(turns);
            let (start, along) = (vector(gun.muzzle_mm, 1e-3), vector(direction, 1.0));
            trace(&field, start, along, -rigidity * share, until, &TraceOptions::default())
                .map_err(|fault| fault.to_string())
        };
        let drawn = follow(gun.direction, 1.0, self.turns)?;
        let count = (1e3 * drawn.length_m()).ceil() as usize;
        let in_mm = |path: &Path| -> Vec<[f64; 3]> {
            path.points(count, false).iter().map(|p| [1e3 * p.x, 1e3 * p.y, 1e3 * p.z]).collect()
        };
        let [x, y, z] = gun.direction;
        let (yaw, pitch) = (y.atan2(x).to_degrees(), z.asin().to_degrees());
        // pairs of opposite paths: the middle of so few must be the centre line, as it is of many electrons
        let mut bundle_mm = Vec::new();
        for _ in 0..BUNDLE / 2 {
            let (a, b) = (self.divergence_deg * dice.normal(), self.divergence_deg * dice.normal());
            // momentum goes with the root of the energy
            let more = 0.5 * self.energy_spread * dice.normal();
            for sign in [1.0, -1.0] {
                let direction = tilted(yaw + sign * a, pitch + sign * b);
                bundle_mm.push(in_mm(&follow(direction, 1.0 + sign * more, self.turns)?));
            }
        }
        Ok(Ring { points_mm: in_mm(&drawn), bundle_mm })
    }

    /// Where light that reaches the lens along a direction seems to come from on the scale's plane.
    pub(crate) fn on_the_scale(&self, along: [f64; 3]) -> Vec3 {
        let [x, y, z] = self.scene.camera.position_mm;
        let plane_z = self.plane_z_mm();
        let far = (plane_z - z) / along[2];
        Vec3::new(1e-3 * (x + far * along[0]), 1e-3 * (y + far * along[1]), 1e-3 * plane_z)
    }
}
