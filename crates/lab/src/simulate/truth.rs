//! The true bench behind an invented notebook, and what its meters, probe and diameters showed.

use arcmass_fit::truncated::standard_normal;
use arcmass_photo::plane::TO_THE_GUN;
use arcmass_physics::{
    BenchField, CoilSet, Path, PreparedField, Shape, TraceOptions, Until, Vec3, Winding, motion, trace,
};
use arcmass_quantity::constants::{ELECTRON_MASS, ELEMENTARY_CHARGE};
use rand::Rng;
use rand_pcg::Pcg64;

use super::{Design, Diameters, Outside, ProbeTable, Slip};
use crate::desk::LabError;

/// Standard uncertainties that a bench has, whether its file states them or leaves them to the defaults. SI units.
#[derive(Debug, Clone, Copy)]
pub(super) struct Uncertain {
    pub(super) radius_m: f64,
    pub(super) separation_m: f64,
    pub(super) muzzle_m: f64,
    pub(super) direction_rad: f64,
    pub(super) voltage_offset_v: f64,
    /// What the offsets of such guns scatter about, V.
    pub(super) voltage_offset_mean_v: f64,
    pub(super) background_t: f64,
    pub(super) scale_offset_m: f64,
}

const STATED: Uncertain = Uncertain {
    radius_m: 0.5e-3,
    separation_m: 0.7e-3,
    muzzle_m: 0.5e-3,
    direction_rad: 0.4 * DEG,
    voltage_offset_v: 1.0,
    voltage_offset_mean_v: 0.0,
    background_t: 10e-6,
    scale_offset_m: 1e-3,
};
const DEG: f64 = std::f64::consts::PI / 180.0;
/// Of each coil; no key of the bench file says otherwise.
const COIL_TILT_RAD: f64 = 0.3 * DEG;
pub(super) const CAMERA_M: (f64, f64) = (0.8, 0.006);
pub(super) const SCALE_RELATIVE_U: f64 = 5e-4;
pub(super) const PLANE_RELATIVE_U: f64 = 2e-4;
pub(super) const BEAM_WIDTH_M: (f64, f64) = (2e-3, 0.3e-3);
pub(super) const WINDING_M: (f64, f64) = (12e-3, 15e-3);
/// Part of a turn from the muzzle to where the gun, or the dark before it, hides the line on a photograph: one run after
/// another; seen rings of common tubes reach 0.88 to 0.95.
const SEEN: [f64; 3] = [0.86, 0.92, 0.95];

/// Percent of reading, digits, resolution, noise; V, A, mT.
pub(super) const VOLTMETER: [f64; 4] = [0.5, 2.0, 0.1, 0.08];
pub(super) const AMMETER: [f64; 4] = [0.8, 3.0, 0.001, 0.0012];
pub(super) const PROBE: [f64; 4] = [1.5, 3.0, 0.001, 0.0015];

/// What the file states of this bench.
#[derive(Debug, Clone, Copy)]
pub(super) struct Nominal {
    pub(super) radius_m: f64,
    pub(super) separation_m: f64,
    pub(super) turns: f64,
    pub(super) muzzle_y_m: f64,
    pub(super) background_t: [f64; 3],
}

#[derive(Debug, Clone, Copy)]
struct TrueMeter {
    gain: f64,
    zero: f64,
    noise: f64,
    resolution: f64,
}

impl TrueMeter {
    fn by_lot([percent, digits, resolution, noise]: [f64; 4], rng: &mut Pcg64) -> Self {
        let gain = 0.01 * percent * between(rng);
        Self { gain, zero: digits * resolution * between(rng), noise, resolution }
    }

    fn reading(&self, truth: f64, rng: &mut Pcg64) -> f64 {
        let shown = truth * (1.0 + self.gain) + self.zero + self.noise * standard_normal(rng);
        (shown / self.resolution).round() * self.resolution
    }
}

/// One run as written down.
#[derive(Debug, Clone)]
pub(super) struct WrittenRun {
    pub(super) readings: Vec<[f64; 2]>,
    pub(super) turned: bool,
    pub(super) diameter_m: f64,
    pub(super) camera_direction: [f64; 3],
    pub(super) scale: usize,
    /// Part of a turn that a photograph shows.
    pub(super) seen: f64,
}

/// One probe reading as written down.
#[derive(Debug, Clone, Copy)]
pub(super) struct WrittenProbe {
    pub(super) current_a: f64,
    pub(super) flux_density_mt: f64,
    pub(super) component: char,
    pub(super) at_mm: [f64; 3],
}

/// The true bench with its readings.
#[derive(Debug, Clone)]
pub struct Truth {
    /// The hidden mass, kg: within 15 % of the electron's.
    pub mass_kg: f64,
    pub(super) nominal: Nominal,
    pub(super) uncertain: Uncertain,
    pub(super) runs: Vec<WrittenRun>,
    pub(super) probe: Vec<WrittenProbe>,
}

/// Everything true that readings need.
struct Bench {
    field: PreparedField,
    mass_kg: f64,
    coil_factor: f64,
    background_t: Vec3,
    muzzle_m: Vec3,
    direction: Vec3,
    voltage_offset_v: f64,
    loss_v: f64,
    beam_width_m: f64,
    edge_m: f64,
    lens_m: Vec3,
    plane_z_m: f64,
    length_scale: f64,
    plane_scale: Vec<f64>,
}

/// Evenly between −1 and 1.
fn between(rng: &mut Pcg64) -> f64 {
    2.0 * ((rng.next_u64() >> 11) as f64 / (1_u64 << 53) as f64) - 1.0
}

fn internal(fault: impl std::fmt::Display) -> LabError {
    LabError::Internal(format!("the bench can't be simulated: {fault}"))
}

impl Truth {
    pub(super) fn by_lot(design: &Design, outside: Outside, rng: &mut Pcg64) -> Result<Self, LabError> {
        let radius_m = 1e-3 * (155.0 + 25.0 * between(rng)).round();
        let nominal = Nominal {
            radius_m,
            separation_m: radius_m,
            turns: (130.0 + 25.0 * between(rng)).round(),
            muzzle_y_m: -1e-3 * (38.0 + 4.0 * between(rng)).round(),
            background_t: if design.silent { [0.0; 3] } else { [12e-6, -42e-6, 9e-6] },
        };
        let uncertain = if design.silent {
            Uncertain {
                radius_m: 0.015 * radius_m,
                separation_m: 0.015 * radius_m,
                muzzle_m: 3e-3,
                direction_rad: DEG,
                voltage_offset_v: 5.0,
                voltage_offset_mean_v: -2.0,
                background_t: 30e-6,
                scale_offset_m: 5e-3,
            }
        } else {
            STATED
        };
        let bench = Bench::by_lot(&nominal, &uncertain, outside, rng)?;
        let (voltmeter, ammeter) = (TrueMeter::by_lot(VOLTMETER, rng), TrueMeter::by_lot(AMMETER, rng));
        let mut runs = Vec::new();
        for turned in [false, true].into_iter().take(1 + usize::from(design.turned_too)) {
            for voltage_v in design.voltages_v {
                for radius_mm in design.radii_mm {
                    let setting = (*voltage_v, 1e-3 * radius_mm, turned, runs.len());
                    runs.push(bench.run(design, setting, [&voltmeter, &ammeter], rng)?);
                }
            }
        }
        if let Outside::Slip(slip) = outside {
            write_wrongly(&mut runs, slip, rng);
        }
        let probe = bench.probed(design.probe, outside, &ammeter, rng)?;
        Ok(Self { mass_kg: bench.mass_kg, nominal, uncertain, runs, probe })
    }
}

fn write_wrongly(runs: &mut [WrittenRun], slip: Slip, rng: &mut Pcg64) {
    let count = runs.len();
    let pick = ((0.5 + 0.5 * between(rng)) * count as f64) as usize % count.max(1);
    // the run whose diameter differs most, so that the exchange is one
    let here = runs.get(pick).map_or(0.0, |run| run.diameter_m);
    let other = runs
        .iter()
        .map(|run| run.diameter_m)
        .max_by(|a, b| (a - here).abs().total_cmp(&(b - here).abs()))
        .unwrap_or(here);
    let Some(run) = runs.get_mut(pick) else { return };
    match slip {
        Slip::RadiusForDiameter => run.diameter_m *= 0.5,
        Slip::ScaleZero => run.diameter_m += 10e-3,
        Slip::OtherRun => run.diameter_m = other,
        Slip::CurrentTenth => run.readings.iter_mut().for_each(|reading| reading[1] *= 0.1),
    }
}

impl Bench {
    fn by_lot(nominal: &Nominal, u: &Uncertain, outside: Outside, rng: &mut Pcg64) -> Result<Self, LabError> {
        let mut separation_m = nominal.separation_m + u.separation_m * standard_normal(rng);
        let mean_radius_m = nominal.radius_m + u.radius_m * standard_normal(rng);
        let mut background = nominal.background_t.map(|b| b + u.background_t * standard_normal(rng));
        let mut voltage_offset_v = u.voltage_offset_mean_v + u.voltage_offset_v * standard_normal(rng);
        let (mut edge_m, mut loss_v, mut coil_factor) = (0.0, 0.0, 1.0);
        match outside {
            Outside::Nothing | Outside::Slip(_) | Outside::ProbeGain(_) => {}
            Outside::VoltageOffset(volt) => voltage_offset_v += volt,
            Outside::StrayAxial(tesla) => background[2] += tesla,
            Outside::Separation(metre) => separation_m += metre,
            Outside::Edge(metre) => edge_m = metre,
            Outside::GasLoss(volt) => loss_v = volt,
            Outside::CoilFactor(relative) => coil_factor += relative,
        }
        let mut coil = |z: f64| {
            let (a, b) = (COIL_TILT_RAD * standard_normal(rng), COIL_TILT_RAD * standard_normal(rng));
            Winding {
                shape: Shape::Circular,
                mean_radius_m,
                turns: nominal.turns,
                sense: 1.0,
                centre_m: Vec3::new(0.0, 0.0, z),
                axis: Vec3::new(b.sin() * a.cos(), -a.sin(), a.cos() * b.cos()),
                winding_radial_m: WINDING_M.0,
                winding_axial_m: WINDING_M.1,
            }
        };
        let set = CoilSet { windings: vec![coil(-0.5 * separation_m), coil(0.5 * separation_m)] };
        let normal = |(mean, u): (f64, f64), rng: &mut Pcg64| mean + u * standard_normal(rng);
        let (in_plane, across) = (normal((0.0, u.direction_rad), rng), normal((0.0, u.direction_rad), rng));
        let distance = normal(CAMERA_M, rng);
        let (yaw, pitch) = (0.05 * between(rng), 0.04 * between(rng));
        let [bx, by, bz] = background;
        Ok(Self {
            field: PreparedField::new(&set, 0.08).map_err(internal)?,
            mass_kg: ELECTRON_MASS.value * (1.0 + 0.15 * between(rng)),
            coil_factor,
            background_t: Vec3::new(bx, by, bz),
            muzzle_m: Vec3::new(
                normal((0.0, u.muzzle_m), rng),
                normal((nominal.muzzle_y_m, u.muzzle_m), rng),
                normal((0.0, u.muzzle_m), rng),
            ),
            direction: Vec3::new(in_plane.cos() * across.cos(), in_plane.sin() * across.cos(), across.sin()),
            voltage_offset_v,
            loss_v,
            beam_width_m: normal(BEAM_WIDTH_M, rng),
            edge_m,
            lens_m: Vec3::new(
                distance * yaw,
                distance * pitch,
                distance * (1.0 - yaw * yaw - pitch * pitch).sqrt(),
            ),
            plane_z_m: normal((0.0, u.scale_offset_m), rng),
            length_scale: normal((1.0, SCALE_RELATIVE_U), rng),
            plane_scale: (0..4).map(|_| normal((1.0, PLANE_RELATIVE_U), rng)).collect(),
        })
    }

    fn run(
        &self,
        design: &Design,
        (voltage_v, radius_m, turned, index): (f64, f64, bool, usize),
        [voltmeter, ammeter]: [&TrueMeter; 2],
        rng: &mut Pcg64,
    ) -> Result<WrittenRun, LabError> {
        // what a person dials, not knowing the mass, for a ring of about this size
        let wanted = motion::momentum(ELEMENTARY_CHARGE.value * voltage_v, ELECTRON_MASS.value)
            / ELEMENTARY_CHARGE.value
            / radius_m;
        let centre = self.field.flux_density_per_ampere(Vec3::ZERO).map_err(internal)?.z;
        let current_a = (wanted / centre * 100.0).round() / 100.0;
        // losses go as path length times stopping power: r/V, 1 at r = 37 mm and 220 V
        let loss_v = self.loss_v * (radius_m / 37e-3) * (220.0 / voltage_v);
        let energy = ELEMENTARY_CHARGE.value * (voltage_v + self.voltage_offset_v - loss_v);
        let rigidity = motion::momentum(energy, self.mass_kg) / ELEMENTARY_CHARGE.value;
        let b = self.background_t;
        let background_t = if turned { Vec3::new(-b.x, b.y, -b.z) } else { b };
        let field = BenchField { prepared: &self.field, current_a, scale: self.coil_factor, background_t };
        let options = TraceOptions::default();
        let seen = SEEN.get(index % SEEN.len()).copied().unwrap_or(1.0);
        // a person with a ruler takes the ring as a whole; a photograph's circle goes through what is seen of it, and on to
        // where the gun usually stands
        let turns = match design.diameters {
            Diameters::Table { .. } => 1.0,
            Diameters::Photographs { .. } => seen.max(TO_THE_GUN),
        };
        let path: Path =
            trace(&field, self.muzzle_m, self.direction, -rigidity, Until::Turns(turns), &options)
                .map_err(internal)?;
        let ring = path.middles(360);
        let (diameter_m, camera_direction, scale) = self.taken(design, &ring, index, rng)?;
        let readings =
            (0..3).map(|_| [voltmeter.reading(voltage_v, rng), ammeter.reading(current_a, rng)]).collect();
        Ok(WrittenRun { readings, turned, diameter_m, camera_direction, scale, seen })
    }

    /// Diameter as the person gets it, direction to the camera, number of the scale's photograph.
    fn taken(
        &self,
        design: &Design,
        ring: &[Vec3],
        index: usize,
        rng: &mut Pcg64,
    ) -> Result<(f64, [f64; 3], usize), LabError> {
        let flat = |points: &[Vec3]| {
            arcmass_physics::fit_circle(points)
                .map(|circle| 2.0 * circle.radius_m)
                .ok_or_else(|| internal("a path is no ring"))
        };
        match design.diameters {
            Diameters::Table { u_mm, outer_edge, .. } => {
                let seen: Vec<Vec3> = ring.iter().map(|p| Vec3::new(p.x, p.y, 0.0)).collect();
                let edge = if outer_edge { self.beam_width_m } else { 0.0 };
                Ok((flat(&seen)? + edge + self.edge_m + 1e-3 * u_mm * standard_normal(rng), [0.0; 3], 0))
            }
            Diameters::Photographs { u_trace_mm, scales } => {
                let carried = |p: &Vec3| {
                    let stretch = (self.lens_m.z - self.plane_z_m) / (self.lens_m.z - p.z);
                    let along = *p - self.lens_m;
                    Vec3::new(self.lens_m.x + stretch * along.x, self.lens_m.y + stretch * along.y, 0.0)
                };
                let seen: Vec<Vec3> = ring.iter().map(carried).collect();
                let count = seen.len().max(1) as f64;
                let sum = seen.iter().fold(Vec3::ZERO, |sum, p| sum + *p);
                let middle = Vec3::new(sum.x / count, sum.y / count, self.plane_z_m);
                let towards = (self.lens_m - middle).unit().ok_or_else(|| internal("no camera"))?;
                let scale = index % scales.max(1);
                let factor = self.length_scale * self.plane_scale.get(scale).copied().unwrap_or(1.0);
                let noise = 1e-3 * u_trace_mm * standard_normal(rng);
                let diameter_m = flat(&seen)? * factor + self.edge_m + noise;
                Ok((diameter_m, [towards.x, towards.y, towards.z], scale))
            }
        }
    }

    fn probed(
        &self,
        table: ProbeTable,
        outside: Outside,
        ammeter: &TrueMeter,
        rng: &mut Pcg64,
    ) -> Result<Vec<WrittenProbe>, LabError> {
        if table == ProbeTable::None {
            return Ok(Vec::new());
        }
        let mut meter = TrueMeter::by_lot(PROBE, rng);
        if let Outside::ProbeGain(relative) = outside {
            meter.gain += relative;
        }
        let mut places: Vec<(f64, char, [f64; 3])> = Vec::new();
        for component in ['x', 'y', 'z'] {
            places.extend([(0.0, component, [0.0; 3]); 3]);
        }
        places.extend((1..=8).map(|step| (0.3 * f64::from(step), 'z', [0.0; 3])));
        if table == ProbeTable::Map {
            for at in [-60.0, -40.0, -20.0, 20.0, 40.0, 60.0] {
                places.push((1.5, 'z', [at, 0.0, 0.0]));
                places.push((1.5, 'z', [0.0, 0.0, at]));
            }
        }
        let mut rows = Vec::new();
        for (current_a, component, at_mm) in places {
            let [x, y, z] = at_mm.map(|mm| 1e-3 * mm);
            let coils = self.field.flux_density_per_ampere(Vec3::new(x, y, z)).map_err(internal)?;
            let total = coils * (self.coil_factor * current_a) + self.background_t;
            let truth_t = match component {
                'x' => total.x,
                'y' => total.y,
                _ => total.z,
            };
            rows.push(WrittenProbe {
                current_a: if current_a == 0.0 { 0.0 } else { ammeter.reading(current_a, rng) },
                flux_density_mt: meter.reading(1e3 * truth_t, rng),
                component,
                at_mm,
            });
        }
        Ok(rows)
    }
}
