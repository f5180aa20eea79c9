//! Each run's way from reading to mass.

use arcmass_physics::motion;
use arcmass_quantity::constants::{ELEMENTARY_CHARGE, SPEED_OF_LIGHT};
use nalgebra::DVector;

use super::Solved;
use crate::desk::{Desk, LabError};
use crate::document::{Q, RunEntry};
use crate::model::{FieldShape, RunDatum, RunState, Sight, Unknown};
use crate::spread;

/// Draws used for the runs' own quantities.
const DRAWS: usize = 2048;

pub(super) fn entries(solved: &Solved<'_>, desk: &Desk) -> Result<Vec<RunEntry>, LabError> {
    let model = &solved.bench.model;
    let values = model.values(&solved.joint.estimate);
    let shape = model.shape(&values)?;
    let noise = Noise::new(desk);
    let mut entries = Vec::new();
    for run in &solved.bench.all_runs {
        let row = model.runs.iter().position(|counted| counted.place == run.place);
        match entry(solved, run, row, &shape, &noise) {
            Ok(entry) => entries.push(entry),
            // a reading so wrong that no ring follows from it has no way to a mass; its finding says so
            Err(_) if row.is_none() => {}
            Err(fault) => return Err(fault.of_run(run)),
        }
    }
    Ok(entries)
}

/// Standard normal numbers for the readings' own noise: three for each draw.
struct Noise {
    draws: Vec<[f64; 3]>,
}

impl Noise {
    fn new(desk: &Desk) -> Self {
        let mut stream = desk.stream(3);
        let mut one = || arcmass_fit::truncated::standard_normal(&mut stream);
        Self { draws: (0..DRAWS).map(|_| [one(), one(), one()]).collect() }
    }
}

/// How a quantity of one run hangs on the unknowns and on the run's own noise (voltage, current, diameter).
#[derive(Clone)]
struct Linear {
    value: f64,
    by_unknown: DVector<f64>,
    by_noise: [f64; 3],
}

impl Linear {
    fn constant(value: f64, unknowns: usize) -> Self {
        Self { value, by_unknown: DVector::zeros(unknowns), by_noise: [0.0; 3] }
    }

    /// value · exp(Σ factor · ln of others): a product of powers, to first order.
    fn power_product(value: f64, factors: &[(&Self, f64)]) -> Self {
        let mut product = Self::constant(value, factors.first().map_or(0, |(one, _)| one.by_unknown.len()));
        for (one, power) in factors {
            let scale = value * power / one.value;
            product.by_unknown.axpy(scale, &one.by_unknown, 1.0);
            for (own, other) in product.by_noise.iter_mut().zip(one.by_noise) {
                *own += scale * other;
            }
        }
        product
    }

    fn q(&self, solved: &Solved<'_>, noise: &Noise) -> Q {
        let changes = solved.draws.rows(0, noise.draws.len().min(solved.draws.nrows())) * &self.by_unknown;
        let own = |z: &[f64; 3]| self.by_noise.iter().zip(z).map(|(by, z)| by * z).sum::<f64>();
        let mut sample: Vec<f64> =
            changes.iter().zip(&noise.draws).map(|(change, z)| self.value + change + own(z)).collect();
        spread::of_draws(&mut sample)
    }
}

fn entry(
    solved: &Solved<'_>,
    run: &RunDatum,
    row: Option<usize>,
    shape: &FieldShape,
    noise: &Noise,
) -> Result<RunEntry, LabError> {
    let model = &solved.bench.model;
    let values = model.values(&solved.joint.estimate);
    let state = model.state(run, &values, shape)?;
    let way = Way::of(solved, run, row, &state)?;
    let q = |linear: &Linear| linear.q(solved, noise);
    Ok(RunEntry {
        run: run.run.clone(),
        voltage_v: q(&way.voltage),
        current_a: q(&way.current),
        flux_density_mt: q(&way.field).times(1e3),
        ring_diameter_mm: q(&way.ring_diameter).times(1e3),
        measured_diameter_mm: spread::quantity(
            run.diameter_m,
            &[spread::Spread::Normal(run.diameter_u_m.unwrap_or(model.unstated_diameter_u_m))],
        )
        .times(1e3),
        residual_mm: 1e3 * (run.diameter_m - state.diameter_m),
        speed_m_per_s: q(&way.speed),
        momentum_kg_m_per_s: q(&way.momentum),
        mass_kg: q(&way.mass),
        textbook_mass_kg: textbook_mass_kg(solved, run),
        r#struck: run.is_struck,
        set_aside: solved.aside.iter().any(|aside| aside.place == run.place),
    })
}

/// e (B r)² / 2V with the readings as read and B = field per ampere × current, no intercept, not relativistic.
fn textbook_mass_kg(solved: &Solved<'_>, run: &RunDatum) -> f64 {
    let per_ampere = solved.field.textbook().unwrap_or(solved.field.in_use.value);
    let field = per_ampere * run.current_read_a;
    ELEMENTARY_CHARGE.value * (field * 0.5 * run.diameter_m).powi(2) / (2.0 * run.voltage_read_v)
}

/// The steps from reading to mass, each as it hangs on the unknowns.
struct Way {
    voltage: Linear,
    current: Linear,
    field: Linear,
    ring_diameter: Linear,
    momentum: Linear,
    speed: Linear,
    mass: Linear,
}

impl Way {
    fn of(
        solved: &Solved<'_>,
        run: &RunDatum,
        row: Option<usize>,
        state: &RunState,
    ) -> Result<Self, LabError> {
        let model = &solved.bench.model;
        let unknowns = model.unknowns.len();
        let place = |unknown: Unknown| model.unknowns.place(unknown);
        let set = |linear: &mut Linear, unknown: Unknown, by: f64| {
            if let Some(place) = place(unknown) {
                linear.by_unknown[place] += by;
            }
        };
        let mut voltage = Linear::constant(state.voltage_v, unknowns);
        set(&mut voltage, Unknown::VoltmeterGain, run.voltage_read_v);
        set(&mut voltage, Unknown::VoltmeterZero, 1.0);
        voltage.by_noise[0] = run.voltage_u_v;
        let mut accelerating = Linear { value: state.accelerating_voltage_v, ..voltage.clone() };
        set(&mut accelerating, Unknown::VoltageOffset, 1.0);
        set(&mut accelerating, Unknown::BeamLoss, -run.loss_share);

        let mut current = Linear::constant(state.current_a, unknowns);
        set(&mut current, Unknown::AmmeterGain, run.current_read_a);
        set(&mut current, Unknown::AmmeterZero, 1.0);
        current.by_noise[1] = run.current_u_a;

        let field = field(solved, run, state, &current)?;
        // what the measured diameter says of the momentum with everything else as the model has it
        let derivatives = Derivatives::of(solved, run, row, state)?;
        let relative = (run.diameter_m - state.diameter_m) / derivatives.by_log_p;
        let charge = ELEMENTARY_CHARGE.value * f64::from(model.apparatus.charge_number.abs());
        let mut momentum = Linear::constant(state.momentum_kg_m_per_s * relative.exp(), unknowns);
        for (place, by) in derivatives.by_unknown.iter().enumerate() {
            momentum.by_unknown[place] = -momentum.value * by / derivatives.by_log_p;
        }
        let own = run.diameter_u_m.unwrap_or(model.unstated_diameter_u_m);
        momentum.by_noise = [
            0.0,
            momentum.value * run.current_u_a / state.current_a,
            momentum.value * own / derivatives.by_log_p,
        ];
        let energy = charge * accelerating.value;
        let mass_value = motion::mass_from_momentum(momentum.value, energy);
        let pc2 = (momentum.value * SPEED_OF_LIGHT.value).powi(2);
        let total = pc2 + energy * energy;
        let rest = 2.0 * energy * mass_value * SPEED_OF_LIGHT.value.powi(2);
        // m c² = (p²c² − T²)/2T and v = 2 T p c²/(p²c² + T²)
        let mass = Linear::power_product(
            mass_value,
            &[(&momentum, 2.0 * pc2 / rest), (&accelerating, -total / rest)],
        );
        let speed = Linear::power_product(
            2.0 * energy * momentum.value * SPEED_OF_LIGHT.value.powi(2) / total,
            &[(&accelerating, 1.0 - 2.0 * energy * energy / total), (&momentum, 1.0 - 2.0 * pc2 / total)],
        );
        let ring_diameter = ring_diameter(solved, run, state, own)?;
        Ok(Self { voltage, current, field, ring_diameter, momentum, speed, mass })
    }
}

/// Mean of the field across the beam along the ring, and how it hangs on current, coils and background.
fn field(
    solved: &Solved<'_>,
    run: &RunDatum,
    state: &RunState,
    current: &Linear,
) -> Result<Linear, LabError> {
    let model = &solved.bench.model;
    let unknowns = model.unknowns.len();
    let values = model.values(&solved.joint.estimate);
    let sign = run.sense * model.apparatus.field_direction;
    let axial = super::super::model::turned(
        arcmass_physics::Vec3::new(
            values.get(Unknown::BackgroundX),
            values.get(Unknown::BackgroundY),
            values.get(Unknown::BackgroundZ),
        ),
        run.turned_rad,
    )
    .z * sign;
    let coils = state.ring.mean_field_t - axial;
    let mut field = Linear::constant(state.ring.mean_field_t, unknowns);
    field.by_unknown.axpy(coils / current.value, &current.by_unknown, 1.0);
    field.by_noise[1] = coils * current.by_noise[1] / current.value;
    let per_ampere = model.field_per_ampere(&values)?;
    for (place, unknown, _) in model.unknowns.iter() {
        field.by_unknown[place] += match unknown {
            Unknown::FieldPerAmpere => coils / values.get(Unknown::FieldPerAmpere),
            Unknown::CoilRadius | Unknown::CoilSeparation | Unknown::CoilSize => {
                let mut moved = solved.joint.estimate.clone();
                moved[place] += 1e-4;
                coils * (model.field_per_ampere(&model.values(&moved))? / per_ampere - 1.0) / 1e-4
            }
            Unknown::BackgroundZ => sign * run.turned_rad.cos(),
            Unknown::BackgroundX => sign * run.turned_rad.sin(),
            _ => 0.0,
        };
    }
    Ok(field)
}

/// The real ring's diameter seen along the axis: the measured one times the model's ratio of real to seen.
fn ring_diameter(
    solved: &Solved<'_>,
    run: &RunDatum,
    state: &RunState,
    own_u_m: f64,
) -> Result<Linear, LabError> {
    let model = &solved.bench.model;
    let real = state.ring.diameter_m(&Sight::AlongAxis(arcmass_notebook::DiameterKind::Fit))?;
    let ratio = real / state.diameter_m;
    let mut diameter = Linear::constant(run.diameter_m * ratio, model.unknowns.len());
    diameter.by_noise[2] = own_u_m * ratio;
    let values = model.values(&solved.joint.estimate);
    let distance =
        model.apparatus.camera_distance.map(|known| known.value + values.get(Unknown::CameraDistance));
    for (place, unknown, _) in model.unknowns.iter() {
        diameter.by_unknown[place] = match (unknown, distance) {
            (Unknown::LengthScale, _) if run.plane.is_some() => -diameter.value,
            (Unknown::Plane(index), _) if run.plane == Some(index) => -diameter.value,
            (Unknown::BeamWidth, _) => -run.edge * ratio,
            // a scale nearer to the camera looks larger, and the ring smaller on it
            (Unknown::ScaleOffset, Some(distance)) if run.camera_direction.is_some() => {
                diameter.value / distance
            }
            _ => 0.0,
        };
    }
    Ok(diameter)
}

/// How the modelled diameter changes, m.
struct Derivatives {
    /// With ln p.
    by_log_p: f64,
    /// With each unknown but through the momentum.
    by_unknown: DVector<f64>,
}

impl Derivatives {
    /// From the fit's Jacobian for a run that counts; made anew for a struck one.
    fn of(
        solved: &Solved<'_>,
        run: &RunDatum,
        row: Option<usize>,
        state: &RunState,
    ) -> Result<Self, LabError> {
        let model = &solved.bench.model;
        let noise = model.run_noise(run);
        let jacobian = match row {
            Some(row) => solved.joint.at.jacobian.row(row).transpose(),
            None => model.row_of(run, &solved.joint.estimate)?,
        };
        let mut by_unknown = -jacobian * noise;
        let mut by_log_p = state.diameter_m;
        for (place, unknown, _) in model.unknowns.iter() {
            match unknown {
                Unknown::LogMass => {
                    by_log_p = by_unknown[place] / state.log_p_by_log_m;
                    by_unknown[place] = 0.0;
                }
                Unknown::VoltmeterGain
                | Unknown::VoltmeterZero
                | Unknown::VoltageOffset
                | Unknown::BeamLoss => by_unknown[place] = 0.0,
                _ => {}
            }
        }
        Ok(Self { by_log_p, by_unknown })
    }
}
