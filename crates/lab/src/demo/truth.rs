//! What lies behind the demo: the true bench, drawn by lot from what its file states.

use arcmass_fit::truncated::standard_normal;
use arcmass_physics::{BenchField, CoilSet, Path, PreparedField, TraceOptions, Until, Vec3, motion, trace};
use arcmass_quantity::constants::{ELECTRON_MASS, ELEMENTARY_CHARGE};
use rand::Rng;
use rand_pcg::Pcg64;
use serde::Serialize;

use crate::desk::{Desk, LabError};

/// What the bench file states; lengths in mm.
pub(super) mod stated {
    pub(in crate::demo) const MEAN_RADIUS_MM: (f64, f64) = (155.0, 0.5);
    pub(in crate::demo) const SEPARATION_MM: (f64, f64) = (155.0, 0.7);
    pub(in crate::demo) const TURNS: f64 = 126.0;
    pub(in crate::demo) const WINDING_MM: (f64, f64) = (12.0, 15.0);
    pub(in crate::demo) const MUZZLE_MM: ([f64; 3], f64) = ([0.0, -38.0, 0.0], 0.5);
    pub(in crate::demo) const DIRECTION_U_DEG: f64 = 0.4;
    pub(in crate::demo) const VOLTAGE_OFFSET_U_V: f64 = 1.0;
    pub(in crate::demo) const BULB_MM: (f64, f64, f64) = (82.0, 1.8, 1.48);
    /// Percent of reading, digits, resolution, noise.
    pub(in crate::demo) const VOLTMETER: [f64; 4] = [0.5, 2.0, 0.1, 0.08];
    pub(in crate::demo) const AMMETER: [f64; 4] = [0.8, 3.0, 0.001, 0.0012];
    pub(in crate::demo) const PROBE: [f64; 4] = [1.5, 3.0, 0.001, 0.0015];
    pub(in crate::demo) const CAMERA_DISTANCE_MM: (f64, f64) = (800.0, 6.0);
    pub(in crate::demo) const SCALE_OFFSET_U_MM: f64 = 1.0;
}

/// A meter's gain and zero: reading = truth · (1 + gain) + zero.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct TrueMeter {
    /// Relative.
    pub gain: f64,
    /// In the meter's unit.
    pub zero: f64,
    #[serde(skip)]
    noise: f64,
    #[serde(skip)]
    resolution: f64,
}

impl TrueMeter {
    fn by_lot([percent, digits, resolution, noise]: [f64; 4], rng: &mut Pcg64) -> Self {
        Self {
            gain: 0.01 * percent * between(rng),
            zero: digits * resolution * between(rng),
            noise,
            resolution,
        }
    }

    /// What the meter shows for a true value.
    pub(super) fn reading(&self, truth: f64, rng: &mut Pcg64) -> f64 {
        let shown = truth * (1.0 + self.gain) + self.zero + self.noise * standard_normal(rng);
        (shown / self.resolution).round() * self.resolution
    }
}

/// One setting: what was true, and what the meters showed three times.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct TrueRun {
    /// V.
    pub true_voltage_v: f64,
    /// A.
    pub true_current_a: f64,
    /// Of the circle through the path seen along the axis.
    pub true_diameter_mm: f64,
    /// Of the circle through the path seen from the camera and carried to the scale's plane, as if there were no glass:
    /// what a perfect measurement of the photograph gives.
    pub seen_diameter_mm: f64,
    /// As shown.
    pub readings: Vec<[f64; 2]>,
    #[serde(skip)]
    pub(super) points_mm: Vec<[f64; 3]>,
}

/// A row of the probe's table.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct ProbeRow {
    pub(super) current_a: f64,
    pub(super) flux_density_mt: f64,
    pub(super) component: char,
    pub(super) at_mm: [f64; 3],
}

/// The true bench.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Truth {
    /// For whoever opens the file.
    pub note: &'static str,
    /// kg; CODATA 2022.
    pub mass_kg: f64,
    /// mm.
    pub mean_radius_mm: f64,
    /// mm.
    pub separation_mm: f64,
    /// T along +x, +y, +z.
    pub background_t: [f64; 3],
    /// V.
    pub voltage_offset_v: f64,
    /// mm.
    pub muzzle_mm: [f64; 3],
    /// Unit vector.
    pub direction: [f64; 3],
    /// The voltmeter.
    pub voltmeter: TrueMeter,
    /// The ammeter.
    pub ammeter: TrueMeter,
    /// The probe, mT.
    pub probe: TrueMeter,
    /// mm, lens.
    pub camera_mm: [f64; 3],
    /// mm, of the scale's plane from the muzzle's.
    pub scale_offset_mm: f64,
    /// The settings.
    pub runs: Vec<TrueRun>,
    #[serde(skip)]
    pub(super) probe_rows: Vec<ProbeRow>,
    #[serde(skip)]
    pub(super) roll_deg: f64,
}

/// Settings as planned: volt, and the ring's radius in mm that the current is dialled for.
const PLAN: [[f64; 2]; 8] = [
    [150.0, 30.0],
    [250.0, 42.0],
    [200.0, 28.0],
    [300.0, 38.0],
    [150.0, 40.0],
    [200.0, 44.0],
    [250.0, 32.0],
    [200.0, 36.0],
];
/// The background at the invented bench, T: what a building at middle latitudes may show, with a spread.
const BACKGROUND_T: [f64; 3] = [12e-6, -42e-6, 9e-6];
const BACKGROUND_SPREAD_T: f64 = 8e-6;

fn between(rng: &mut Pcg64) -> f64 {
    2.0 * ((rng.next_u64() >> 11) as f64 / (1_u64 << 53) as f64) - 1.0
}

impl Truth {
    /// Draws the bench and takes its readings.
    pub(super) fn by_lot(desk: &Desk, runs: usize) -> Result<Self, LabError> {
        let mut rng = desk.stream(100);
        let normal = |(mean, u): (f64, f64), rng: &mut Pcg64| mean + u * standard_normal(rng);
        let (muzzle, muzzle_u) = stated::MUZZLE_MM;
        let angle = |rng: &mut Pcg64| (stated::DIRECTION_U_DEG * standard_normal(rng)).to_radians();
        let (in_plane, across) = (angle(&mut rng), angle(&mut rng));
        let (yaw, pitch) = (0.05 * between(&mut rng), 0.04 * between(&mut rng));
        let distance = normal(stated::CAMERA_DISTANCE_MM, &mut rng);
        let mut truth = Self {
            note: "simulated: the truth behind the demo, for teachers; no measuring command reads this file",
            mass_kg: ELECTRON_MASS.value,
            mean_radius_mm: normal(stated::MEAN_RADIUS_MM, &mut rng),
            separation_mm: normal(stated::SEPARATION_MM, &mut rng),
            background_t: BACKGROUND_T.map(|b| b + BACKGROUND_SPREAD_T * standard_normal(&mut rng)),
            voltage_offset_v: stated::VOLTAGE_OFFSET_U_V * standard_normal(&mut rng),
            muzzle_mm: muzzle.map(|m| m + muzzle_u * standard_normal(&mut rng)),
            direction: [in_plane.cos() * across.cos(), in_plane.sin() * across.cos(), across.sin()],
            voltmeter: TrueMeter::by_lot(stated::VOLTMETER, &mut rng),
            ammeter: TrueMeter::by_lot(stated::AMMETER, &mut rng),
            probe: TrueMeter::by_lot(stated::PROBE, &mut rng),
            camera_mm: [
                distance * yaw,
                distance * pitch,
                distance * (1.0 - yaw * yaw - pitch * pitch).sqrt(),
            ],
            scale_offset_mm: stated::SCALE_OFFSET_U_MM * standard_normal(&mut rng),
            runs: Vec::new(),
            probe_rows: Vec::new(),
            roll_deg: between(&mut rng),
        };
        let prepared = truth.prepared()?;
        for [voltage_v, radius_mm] in PLAN.iter().take(runs.max(1)) {
            let run = truth.run(*voltage_v, *radius_mm, &prepared, &mut rng)?;
            truth.runs.push(run);
        }
        truth.probe_rows = truth.probed(&prepared, &mut rng)?;
        Ok(truth)
    }

    fn prepared(&self) -> Result<PreparedField, LabError> {
        let (radial, axial) = stated::WINDING_MM;
        let set = CoilSet::pair(
            1e-3 * self.mean_radius_mm,
            1e-3 * self.separation_mm,
            stated::TURNS,
            1e-3 * radial,
            1e-3 * axial,
            1.0,
        );
        PreparedField::new(&set, 1e-3 * stated::BULB_MM.0).map_err(internal)
    }

    fn run(
        &self,
        voltage_v: f64,
        radius_mm: f64,
        prepared: &PreparedField,
        rng: &mut Pcg64,
    ) -> Result<TrueRun, LabError> {
        let energy = ELEMENTARY_CHARGE.value * (voltage_v + self.voltage_offset_v);
        let rigidity = motion::momentum(energy, self.mass_kg) / ELEMENTARY_CHARGE.value;
        let centre = prepared.flux_density_per_ampere(Vec3::ZERO).map_err(internal)?.z;
        // a person dials to a hundredth of an ampere
        let current_a = (rigidity / (1e-3 * radius_mm) / centre * 100.0).round() / 100.0;
        let [bx, by, bz] = self.background_t;
        let field = BenchField { prepared, current_a, scale: 1.0, background_t: Vec3::new(bx, by, bz) };
        let vector = |[x, y, z]: [f64; 3], scale: f64| Vec3::new(x * scale, y * scale, z * scale);
        let (start, along) = (vector(self.muzzle_mm, 1e-3), vector(self.direction, 1.0));
        let path: Path = trace(&field, start, along, -rigidity, Until::Turns(1.0), &TraceOptions::default())
            .map_err(internal)?;
        let count = (1e3 * path.length_m()).ceil() as usize;
        let points = path.points(count, false);
        let ring = path.points(180, true);
        let seen: Vec<Vec3> = ring.iter().map(|point| self.on_the_scales_plane(*point)).collect();
        let readings = (0..3)
            .map(|_| [self.voltmeter.reading(voltage_v, rng), self.ammeter.reading(current_a, rng)])
            .collect();
        Ok(TrueRun {
            true_voltage_v: voltage_v,
            true_current_a: current_a,
            true_diameter_mm: diameter_mm(&ring)?,
            seen_diameter_mm: diameter_mm(&seen)?,
            readings,
            points_mm: points.iter().map(|p| [1e3 * p.x, 1e3 * p.y, 1e3 * p.z]).collect(),
        })
    }

    /// Where the line of sight from the lens through a point meets the scale's plane.
    fn on_the_scales_plane(&self, point: Vec3) -> Vec3 {
        let [x, y, z] = self.camera_mm.map(|mm| 1e-3 * mm);
        let plane_z = 1e-3 * (self.muzzle_mm[2] + self.scale_offset_mm);
        let stretch = (z - plane_z) / (z - point.z);
        Vec3::new(x + stretch * (point.x - x), y + stretch * (point.y - y), plane_z)
    }

    /// The probe: background with the coils off, the line at the centre, a map beside it.
    fn probed(&self, prepared: &PreparedField, rng: &mut Pcg64) -> Result<Vec<ProbeRow>, LabError> {
        let mut places: Vec<(f64, char, [f64; 3])> = Vec::new();
        for component in ['x', 'y', 'z'] {
            places.extend([(0.0, component, [0.0; 3]); 3]);
        }
        places.extend((1..=8).map(|step| (0.3 * f64::from(step), 'z', [0.0; 3])));
        for at in [-60.0, -30.0, 30.0, 60.0] {
            places.push((1.5, 'z', [at, 0.0, 0.0]));
            places.push((1.5, 'z', [0.0, 0.0, at]));
        }
        let mut rows = Vec::new();
        for (current_a, component, at_mm) in places {
            let [x, y, z] = at_mm;
            let coils = prepared
                .flux_density_per_ampere(Vec3::new(1e-3 * x, 1e-3 * y, 1e-3 * z))
                .map_err(internal)?;
            let index = usize::from(component == 'y') + 2 * usize::from(component == 'z');
            let truth_t = [coils.x, coils.y, coils.z][index] * current_a + self.background_t[index];
            rows.push(ProbeRow {
                current_a: if current_a == 0.0 { 0.0 } else { self.ammeter.reading(current_a, rng) },
                flux_density_mt: self.probe.reading(1e3 * truth_t, rng),
                component,
                at_mm,
            });
        }
        Ok(rows)
    }
}

/// Diameter of the circle through points, along z.
fn diameter_mm(points: &[Vec3]) -> Result<f64, LabError> {
    let circle = arcmass_physics::fit_circle(points).ok_or_else(|| internal("its path is no ring"))?;
    Ok(2e3 * circle.radius_m)
}

fn internal(fault: impl std::fmt::Display) -> LabError {
    LabError::Internal(format!("the demo's bench can't be simulated: {fault}"))
}
