//! A simulated bench: its file, and what it is in truth.

use arcmass_lab::model::{FieldShape, Launch, Sight};
use arcmass_notebook::DiameterKind;
use arcmass_physics::{CoilSet, PreparedField, Shape, Vec3, Winding, motion};
use arcmass_quantity::constants::{ELECTRON_MASS, ELEMENTARY_CHARGE};
use rand::Rng;

use super::random::{chance, normal, pick, sign, uniform};

/// A bench with its truth.
pub(super) struct SimBench {
    pub(super) name: String,
    /// `bench.toml`.
    pub(super) file: String,
    /// `field-probe.csv`, if it has one.
    pub(super) probe: Option<String>,
    /// What its groups take for its sizes.
    pub(super) radius_mm: f64,
    pub(super) radial_mm: f64,
    pub(super) beam_width_mm: f64,
    /// Field per ampere that the class was told, T/A.
    pub(super) told_t_per_a: f64,
    pub(super) is_bad: bool,
    pub(super) has_offset: bool,
    field: FieldShape,
    axial_t: f64,
    across_t: [f64; 2],
    offset_v: f64,
    muzzle_m: Vec3,
    direction: Vec3,
    volts: [f64; 2],
    amperes: [f64; 2],
}

impl SimBench {
    /// Draws one; `is_bad` puts it outside its file.
    pub(super) fn draw<R: Rng>(rng: &mut R, name: &str, is_bad: bool) -> Option<Self> {
        let radius_mm = uniform(rng, 130.0, 170.0).round();
        let separation_mm =
            if chance(rng, 0.7) { radius_mm } else { radius_mm + uniform(rng, -4.0, 4.0).round() };
        let turns = uniform(rng, 110.0, 160.0).round();
        let (radial_mm, axial_mm) = (uniform(rng, 9.0, 18.0).round(), uniform(rng, 9.0, 18.0).round());
        let muzzle_mm = uniform(rng, 38.0, 44.0).round();
        let beam_width_mm = uniform(rng, 2.0, 3.2);
        let offset_stated = if chance(rng, 0.4) { -uniform(rng, 2.0, 20.0).round() } else { 0.0 };
        let offset_u = uniform(rng, 1.0, 2.0);
        let background_u = uniform(rng, 10.0, 25.0).round();
        let file = format!(
            "[bench]\nformat = 1\nname = \"Simulated {name}\"\n\n[coils]\nshape = \"circular\"\ncurrent_limit = \"5 A\"\n\
             mean_radius = \"{radius_mm} mm ± 0.6 mm\"\nseparation = \"{separation_mm} mm ± 0.8 mm\"\nturns = {turns}\n\
             winding_radial = \"{radial_mm} mm ± 0.5 mm\"\nwinding_axial = \"{axial_mm} mm ± 0.5 mm\"\n\
             field_direction = \"+z\"\n\n[gun]\nmuzzle = [\"0 mm\", \"-{muzzle_mm} mm\", \"0 mm\"]\n\
             muzzle_uncertainty = \"0.5 mm\"\ndirection = [1, 0, 0]\ndirection_uncertainty = \"0.5 deg\"\n\
             voltage_limit = \"500 V\"\nbeam_width = \"{beam_width_mm:.1}(4) mm\"\n\
             voltage_offset = \"{offset_stated} V ± {offset_u:.1} V\"\n\n[bulb]\nouter_radius = \"80 mm ± 0.5 mm\"\n\
             glass_thickness = \"1.5 mm ± 0.2 mm\"\n\n[surroundings]\nbackground = [\"0({background_u}) uT\", \
             \"0({background_u}) uT\", \"0({background_u}) uT\"]\n\n[meters.voltage]\nof_reading = \"0.5 %\"\n\
             digits = 2\nresolution = \"0.1 V\"\nnoise = \"0.1 V\"\n\n[meters.current]\nof_reading = \"1 %\"\n\
             digits = 3\nresolution = \"0.001 A\"\nnoise = \"0.0015 A\"\n\n[meters.probe]\nof_reading = \"1 %\"\n\
             digits = 3\nresolution = \"0.001 mT\"\nnoise = \"0.0015 mT\"\n\n[scale]\nkind = \"ruler\"\n\
             spacing = \"1 mm\"\noffset = \"0 mm\"\n"
        );
        let mut axial_t = background_u * 1e-6 * normal(rng);
        let mut offset_v = offset_stated + offset_u * normal(rng);
        let mut separation = separation_mm + 0.8 * normal(rng);
        if is_bad {
            match *pick(rng, &[0, 0, 1, 1, 2]) {
                0 => axial_t = sign(rng) * uniform(rng, 90e-6, 170e-6),
                1 => offset_v += sign(rng) * uniform(rng, 22.0, 40.0),
                _ => separation += sign(rng) * uniform(rng, 10.0, 16.0),
            }
        }
        let limit = |rng: &mut R, half: f64| uniform(rng, -half, half);
        let winding = |z: f64, radius_mm: f64| Winding {
            shape: Shape::Circular,
            mean_radius_m: 1e-3 * radius_mm,
            turns,
            sense: 1.0,
            centre_m: Vec3::new(0.0, 0.0, 1e-3 * z),
            axis: Vec3::new(0.0, 0.0, 1.0),
            winding_radial_m: 1e-3 * radial_mm,
            winding_axial_m: 1e-3 * axial_mm,
        };
        let radii = [radius_mm + 0.6 * normal(rng), radius_mm + 0.6 * normal(rng)];
        let windings = vec![winding(-0.5 * separation, radii[0]), winding(0.5 * separation, radii[1])];
        let prepared = PreparedField::new(&CoilSet { windings }, 0.085).ok()?;
        let field = FieldShape::Coils { prepared: Box::new(prepared), factor: 1.0 };
        let amperes = [limit(rng, 0.01), limit(rng, 0.003)];
        let true_k = field.at(Vec3::ZERO, 1.0).ok()?.norm();
        let formula = 4e-7 * std::f64::consts::PI * turns * 0.715_541_75 / (1e-3 * radius_mm);
        let has_probe = chance(rng, 0.3);
        let told = if has_probe { true_k * (1.0 + 0.004 * normal(rng)) } else { formula };
        let probe = has_probe.then(|| {
            let mut text = "current_A,flux_density_mT\n".to_owned();
            for step in 0..8 {
                let current = 0.3 * f64::from(step);
                let b = 1e3 * (told * current + axial_t) + 0.0015 * normal(rng);
                text += &format!("{current:.3},{b:.3}\n");
            }
            text
        });
        let told = if has_probe && chance(rng, 0.5) { formula } else { told };
        Some(Self {
            name: name.to_owned(),
            file,
            probe,
            radius_mm,
            radial_mm,
            beam_width_mm,
            told_t_per_a: told,
            is_bad,
            has_offset: offset_stated.abs() > 5.0 || offset_v.abs() > 6.0,
            field,
            axial_t,
            across_t: [background_u * 1e-6 * normal(rng), background_u * 1e-6 * normal(rng)],
            offset_v,
            muzzle_m: Vec3::new(
                5e-4 * normal(rng),
                -1e-3 * muzzle_mm + 5e-4 * normal(rng),
                5e-4 * normal(rng),
            ),
            direction: Vec3::new(1.0, 0.009 * normal(rng), 0.009 * normal(rng)),
            volts: [limit(rng, 0.005), limit(rng, 0.2)],
            amperes,
        })
    }

    /// Diameter of the true ring, m; none where it leaves the bulb.
    pub(super) fn diameter_m(&self, voltage_v: f64, current_a: f64) -> Option<f64> {
        let energy = ELEMENTARY_CHARGE.value * (voltage_v + self.offset_v);
        if energy <= 0.0 {
            return None;
        }
        let momentum = motion::momentum(energy, ELECTRON_MASS.value);
        let launch = Launch {
            rigidity_t_m: -momentum / ELEMENTARY_CHARGE.value,
            drive: current_a,
            field_direction: 1.0,
            background_t: Vec3::new(self.across_t[0], self.across_t[1], self.axial_t),
            muzzle_m: Some(self.muzzle_m),
            direction: self.direction.unit().unwrap_or(Vec3::new(1.0, 0.0, 0.0)),
        };
        let turn = launch.turn(&self.field).ok()?;
        turn.diameter_m(&Sight::AlongAxis(DiameterKind::Fit)).ok().filter(|d| *d < 0.118)
    }

    /// What the meters show of a true setting, rounded as they round.
    pub(super) fn read<R: Rng>(&self, rng: &mut R, voltage_v: f64, current_a: f64) -> (f64, f64) {
        let volts = (voltage_v - self.volts[1]) / (1.0 + self.volts[0]) + 0.1 * normal(rng);
        let amperes = (current_a - self.amperes[1]) / (1.0 + self.amperes[0]) + 0.0015 * normal(rng);
        (super::random::round_to(volts, 0.1), super::random::round_to(amperes, 0.001))
    }

    /// Largest current that leaves its ring readable, and the others' rough place: setting for a ring near `d_m`.
    pub(super) fn current_for(&self, voltage_v: f64, d_m: f64) -> f64 {
        let momentum = motion::momentum(ELEMENTARY_CHARGE.value * voltage_v.max(50.0), ELECTRON_MASS.value);
        2.0 * momentum / ELEMENTARY_CHARGE.value / d_m / self.told_t_per_a
    }
}
