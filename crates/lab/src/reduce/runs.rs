//! Each run's way from reading to mass, over all models of the mixture.

use arcmass_physics::motion;
use arcmass_quantity::constants::{ELEMENTARY_CHARGE, SPEED_OF_LIGHT};
use nalgebra::{DMatrix, DVector};

use super::Solved;
use super::mixture::{Mixture, Part};
use crate::desk::{Desk, LabError};
use crate::document::{Q, RunEntry};
use crate::model::{FieldShape, Model, RunDatum, RunState, Shapes, Unknown};
use crate::spread;

/// Draws used for the runs' own quantities.
const DRAWS: usize = 4096;

pub(super) fn entries(
    solved: &Solved<'_>,
    mixture: &Mixture<'_>,
    desk: &Desk,
) -> Result<Vec<RunEntry>, LabError> {
    let parts = told(mixture)?;
    let mut stream = desk.stream(3);
    let mut one = || arcmass_fit::truncated::standard_normal(&mut stream);
    let noise: Vec<[f64; 3]> = (0..DRAWS).map(|_| [one(), one(), one()]).collect();
    let mut entries = Vec::new();
    for run in &solved.bench.all_runs {
        match entry(solved, &parts, run, &noise) {
            Ok(entry) => entries.push(entry),
            // a reading so wrong that no ring follows from it has no way to a mass; its finding says so
            Err(_) if !solved.bench.model.runs.iter().any(|counted| counted.place == run.place) => {}
            Err(fault) => return Err(fault.of_run(run)),
        }
    }
    Ok(entries)
}

/// A part of the mixture as the runs' ways need it.
struct Told<'a, 'b> {
    weight: f64,
    part: &'b Part<'a>,
    /// The estimate, but each run as it was read: no factor of its own.
    estimate: DVector<f64>,
    shape: FieldShape,
    shapes: Shapes,
    draws: DMatrix<f64>,
}

fn told<'a, 'b>(mixture: &'b Mixture<'a>) -> Result<Vec<Told<'a, 'b>>, LabError> {
    let mut reached = 0.0;
    let mut parts = Vec::new();
    for (weight, part) in mixture.told() {
        let from = (reached * DRAWS as f64).round() as usize;
        reached += weight;
        let count = ((reached * DRAWS as f64).round() as usize).min(DRAWS) - from;
        let mut estimate = part.joint.estimate.clone();
        for (place, unknown, _) in part.model.unknowns.iter() {
            if matches!(unknown, Unknown::Run(_)) {
                estimate[place] = 0.0;
            }
        }
        let shape = part.model.shape(&part.model.values(&estimate))?;
        let shapes = part.model.shapes(&estimate)?;
        let rows = part.draws.nrows();
        let chosen: Vec<usize> = (0..count).map(|i| (2 * i + 1) * rows / (2 * count)).collect();
        parts.push(Told { weight, part, estimate, shape, shapes, draws: part.draws.select_rows(&chosen) });
    }
    Ok(parts)
}

fn entry(
    solved: &Solved<'_>,
    parts: &[Told<'_, '_>],
    run: &RunDatum,
    noise: &[[f64; 3]],
) -> Result<RunEntry, LabError> {
    let mut samples = Samples::default();
    let mut residual_m = 0.0;
    let mut next = noise.iter();
    for told in parts {
        let way = Way::of(told, run)?;
        residual_m += told.weight * (run.diameter_m - way.modelled_m);
        for row in told.draws.row_iter() {
            let Some(noise) = next.next() else { break };
            samples.push(&way.drawn(&row.transpose(), noise));
        }
    }
    let model = &solved.bench.model;
    let own_u_m = run.diameter_u_m.unwrap_or(model.unstated_diameter_u_m);
    Ok(RunEntry {
        run: run.run.clone(),
        voltage_v: samples.q(|way| way.voltage_v),
        accelerating_voltage_v: Some(samples.q(|way| way.accelerating_v)),
        current_a: samples.q(|way| way.current_a),
        flux_density_mt: samples.q(|way| way.field_t).times(1e3),
        ring_diameter_mm: samples.q(|way| way.diameter_m).times(1e3),
        measured_diameter_mm: spread::quantity(run.diameter_m, &[spread::Spread::Normal(own_u_m)]).times(1e3),
        residual_mm: 1e3 * residual_m,
        speed_m_per_s: samples.q(|way| way.speed),
        momentum_kg_m_per_s: samples.q(|way| way.momentum),
        mass_kg: samples.q(|way| way.mass_kg),
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

/// One draw of a run's quantities, SI. Momentum, field and diameter hold p = e B d/2, speed and mass T = e U, in every draw.
#[derive(Debug, Clone, Copy)]
struct Drawn {
    voltage_v: f64,
    accelerating_v: f64,
    current_a: f64,
    field_t: f64,
    diameter_m: f64,
    momentum: f64,
    speed: f64,
    mass_kg: f64,
}

#[derive(Default)]
struct Samples {
    all: Vec<Drawn>,
}

impl Samples {
    fn push(&mut self, drawn: &Drawn) {
        self.all.push(*drawn);
    }

    fn q(&self, of: impl Fn(&Drawn) -> f64) -> Q {
        spread::of_draws(&mut self.all.iter().map(of).collect::<Vec<f64>>())
    }
}

/// How a quantity of one run hangs on the unknowns and on the run's own noise (voltage, current, diameter).
struct Linear {
    value: f64,
    by_unknown: DVector<f64>,
    by_noise: [f64; 3],
}

impl Linear {
    fn constant(value: f64, unknowns: usize) -> Self {
        Self { value, by_unknown: DVector::zeros(unknowns), by_noise: [0.0; 3] }
    }

    fn change(&self, draw: &DVector<f64>, noise: &[f64; 3]) -> f64 {
        let own: f64 = self.by_noise.iter().zip(noise).map(|(by, z)| by * z).sum();
        self.by_unknown.dot(draw) + own
    }

    fn at(&self, draw: &DVector<f64>, noise: &[f64; 3]) -> f64 {
        self.value + self.change(draw, noise)
    }

    /// Of a quantity that can't be below 0: as its logarithm changes.
    fn positive(&self, draw: &DVector<f64>, noise: &[f64; 3]) -> f64 {
        self.value * (self.change(draw, noise) / self.value).exp()
    }
}

/// The steps from reading to mass, each as it hangs on the unknowns of one model.
struct Way {
    /// The diameter that the model expects to be measured, m.
    modelled_m: f64,
    charge_c: f64,
    voltage: Linear,
    accelerating: Linear,
    current: Linear,
    field: Linear,
    momentum: Linear,
}

impl Way {
    fn of(told: &Told<'_, '_>, run: &RunDatum) -> Result<Self, LabError> {
        let model = &told.part.fitted;
        let state = model.state(run, &model.values(&told.estimate), &told.shape)?;
        let (voltage, accelerating) = voltages(model, run, &state);
        let current = current(model, run, &state);
        let (momentum, field) = momentum_and_field(told, run, &state)?;
        Ok(Self {
            modelled_m: state.diameter_m,
            charge_c: ELEMENTARY_CHARGE.value * f64::from(model.apparatus.charge_number.abs()),
            voltage,
            accelerating,
            current,
            field,
            momentum,
        })
    }

    fn drawn(&self, draw: &DVector<f64>, noise: &[f64; 3]) -> Drawn {
        /// A draw of the accelerating voltage stays above this share of its estimate: below no mass follows.
        const LEAST: f64 = 0.02;
        let accelerating_v = self.accelerating.at(draw, noise).max(LEAST * self.accelerating.value);
        let (momentum, field_t) = (self.momentum.positive(draw, noise), self.field.positive(draw, noise));
        let energy = self.charge_c * accelerating_v;
        let pc2 = (momentum * SPEED_OF_LIGHT.value).powi(2);
        Drawn {
            voltage_v: self.voltage.at(draw, noise),
            accelerating_v,
            current_a: self.current.at(draw, noise),
            field_t,
            diameter_m: 2.0 * momentum / (self.charge_c * field_t),
            momentum,
            // v = 2 T p c²/(p²c² + T²)
            speed: 2.0 * energy * momentum * SPEED_OF_LIGHT.value.powi(2) / (pc2 + energy * energy),
            mass_kg: motion::mass_from_momentum(momentum, energy),
        }
    }
}

/// The voltmeter corrected; with the gun's offset, less what the gas takes.
fn voltages(model: &Model<'_>, run: &RunDatum, state: &RunState) -> (Linear, Linear) {
    let count = model.unknowns.len();
    let mut voltage = Linear::constant(state.voltage_v, count);
    let mut accelerating = Linear::constant(state.accelerating_voltage_v, count);
    for (place, unknown, _) in model.unknowns.iter() {
        voltage.by_unknown[place] = match unknown {
            Unknown::VoltmeterGain => run.voltage_read_v,
            Unknown::VoltmeterZero => 1.0,
            _ => 0.0,
        };
        accelerating.by_unknown[place] = match unknown {
            Unknown::VoltageOffset => 1.0,
            Unknown::BeamLoss => -run.loss_share,
            _ => voltage.by_unknown[place],
        };
    }
    voltage.by_noise[0] = run.voltage_u_v;
    accelerating.by_noise[0] = run.voltage_u_v;
    (voltage, accelerating)
}

fn current(model: &Model<'_>, run: &RunDatum, state: &RunState) -> Linear {
    let mut current = Linear::constant(state.current_a, model.unknowns.len());
    for (place, unknown, _) in model.unknowns.iter() {
        current.by_unknown[place] = match unknown {
            Unknown::AmmeterGain => run.current_read_a,
            Unknown::AmmeterZero => 1.0,
            _ => 0.0,
        };
    }
    current.by_noise[1] = run.current_u_a;
    current
}

/// What the measured diameter says of the momentum with everything else as the model has it, and the field on that ring.
fn momentum_and_field(
    told: &Told<'_, '_>,
    run: &RunDatum,
    state: &RunState,
) -> Result<(Linear, Linear), LabError> {
    let model = &told.part.fitted;
    let met = model.field_met(run, &told.estimate, &told.shapes)?;
    let by_diameter = Derivatives::of(told, run, state)?;
    let count = model.unknowns.len();
    let log_change = (run.diameter_m - state.diameter_m) / by_diameter.by_log_p;
    let mut momentum = Linear::constant(state.momentum_kg_m_per_s * log_change.exp(), count);
    let mut field = Linear::constant(met.mean_t + met.by_log_p * log_change, count);
    for place in 0..count {
        let by_log_p = -by_diameter.by_unknown[place] / by_diameter.by_log_p;
        momentum.by_unknown[place] = momentum.value * by_log_p;
        field.by_unknown[place] = met.by_unknown[place] + met.by_log_p * by_log_p;
    }
    let own = run.diameter_u_m.unwrap_or(model.unstated_diameter_u_m);
    // a current read too small stands for a field that is as much stronger
    let by_noise = [0.0, run.current_u_a / state.current_a, own / by_diameter.by_log_p];
    momentum.by_noise = by_noise.map(|by| momentum.value * by);
    field.by_noise = [0.0, field.value * by_noise[1], met.by_log_p * by_noise[2]];
    Ok((momentum, field))
}

/// How the modelled diameter changes, m.
struct Derivatives {
    /// With ln p.
    by_log_p: f64,
    /// With each unknown but through the momentum.
    by_unknown: DVector<f64>,
}

impl Derivatives {
    fn of(told: &Told<'_, '_>, run: &RunDatum, state: &RunState) -> Result<Self, LabError> {
        let model = &told.part.fitted;
        let mut by_unknown = -model.row_of(run, &told.estimate, &told.shapes)? * model.run_noise(run);
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
                | Unknown::BeamLoss
                | Unknown::Run(_) => by_unknown[place] = 0.0,
                _ => {}
            }
        }
        Ok(Self { by_log_p, by_unknown })
    }
}
