//! What the model holds besides the mass: before and after the readings, and what each does to the mass.

use arcmass_fit::joint::Prior;
use arcmass_physics::Vec3;

use super::{Solved, mass_place};
use crate::desk::LabError;
use crate::document::{EffectEntry, Q};
use crate::model::{FieldShape, Sight, Unknown};
use crate::spread::{self, Spread};

/// An effect is told apart from the mass when the readings halve what was known of it beforehand.
const SEPARABLE: f64 = 0.5;

pub(super) fn effects(solved: &Solved<'_>) -> Result<Vec<EffectEntry>, LabError> {
    let mut entries: Vec<EffectEntry> = solved
        .bench
        .model
        .unknowns
        .iter()
        .filter(|(_, unknown, _)| *unknown != Unknown::LogMass)
        .map(|(place, unknown, prior)| of_unknown(solved, place, unknown, prior))
        .collect();
    entries.extend(of_path(solved)?);
    Ok(entries)
}

fn of_unknown(solved: &Solved<'_>, place: usize, unknown: Unknown, prior: Prior) -> EffectEntry {
    let naming = unknown.naming();
    let mut sample: Vec<f64> =
        solved.draws.column(place).iter().map(|change| solved.joint.estimate[place] + change).collect();
    let posterior = spread::of_draws(&mut sample);
    let before = match prior {
        Prior::Flat => None,
        Prior::Normal { mean, u } => Some(spread::quantity(mean, &[Spread::Normal(u)])),
        Prior::Limits { mean, half_width } => Some(spread::quantity(mean, &[Spread::Limits(half_width)])),
    };
    let mass = mass_place(solved);
    let covariance = &solved.joint.covariance;
    // refitting with this unknown held at 0 moves the mass along the regression line of the posterior
    let slope = covariance[(mass, place)] / covariance[(place, place)].max(f64::MIN_POSITIVE);
    let neutral = if unknown == Unknown::FieldPerAmpere { posterior.value } else { 0.0 };
    let separable =
        before.is_none_or(|before| posterior.standard_uncertainty < SEPARABLE * before.standard_uncertainty);
    EffectEntry {
        code: naming.code.to_owned(),
        name: format!("{}{}", naming.words, along(unknown)),
        unit: naming.unit.to_owned(),
        prior: before.map(|q| shown(q, naming.factor)),
        posterior: shown(posterior, naming.factor),
        shift_of_mass_percent: 100.0 * slope * (posterior.value - neutral),
        separable,
    }
}

/// Which direction, where one name holds several.
fn along(unknown: Unknown) -> &'static str {
    match unknown {
        Unknown::BackgroundX | Unknown::MuzzleX => ", along x",
        Unknown::BackgroundY | Unknown::MuzzleY => ", along y",
        Unknown::MuzzleZ => ", along z",
        Unknown::CoilTiltX(0) => ", first coil about x",
        Unknown::CoilTiltY(0) => ", first coil about y",
        Unknown::CoilTiltX(_) => ", second coil about x",
        Unknown::CoilTiltY(_) => ", second coil about y",
        Unknown::DirectionInPlane => ", in the ring's plane",
        Unknown::DirectionAcross => ", out of the ring's plane",
        _ => "",
    }
}

fn shown(q: Q, factor: f64) -> Q {
    q.times(factor)
}

/// The corrections that follow from the path alone: fall-off, relativity, ring out of the scale's plane.
fn of_path(solved: &Solved<'_>) -> Result<Vec<EffectEntry>, LabError> {
    let model = &solved.bench.model;
    let values = model.values(&solved.joint.estimate);
    let shape = model.shape(&values)?;
    let centre = shape.at(Vec3::ZERO, model.apparatus.field_direction)?.norm();
    let mut fall_off = Vec::new();
    let mut out_of_plane = Vec::new();
    let mut relativity = Vec::new();
    for run in &model.runs {
        let state = model.state(run, &values, &shape)?;
        let current = run.sense * model.per_ampere(&values) * state.current_a;
        let background = model.values(&solved.joint.estimate).get(Unknown::BackgroundZ);
        let uniform = (centre * current * model.apparatus.field_direction + background).abs();
        fall_off.push(state.ring.mean_field_t / uniform - 1.0);
        let flat = state.ring.diameter_m(&Sight::AlongAxis(arcmass_notebook::DiameterKind::Fit))?;
        if run.camera_direction.is_some() {
            out_of_plane.push(state.diameter_m / flat - 1.0);
        }
        // m = p²/2T − T/2c² against p²/2T
        let rest = model.mass_kg(&values) * arcmass_quantity::constants::SPEED_OF_LIGHT.value.powi(2);
        let kinetic = arcmass_quantity::constants::ELEMENTARY_CHARGE.value
            * f64::from(model.apparatus.charge_number.abs())
            * state.accelerating_voltage_v;
        relativity.push(kinetic / (2.0 * rest));
    }
    let mut entries = Vec::new();
    if !matches!(shape, FieldShape::Uniform) {
        entries.push(of_runs(
            "field-fall-off",
            "mean field along the ring against the centre",
            &fall_off,
            200.0,
        ));
    }
    if !out_of_plane.is_empty() {
        entries.push(of_runs(
            "ring-out-of-plane",
            "ring seen through the camera against the ring itself",
            &out_of_plane,
            -200.0,
        ));
    }
    entries.push(of_runs(
        "relativistic",
        "kinetic energy against twice the rest energy",
        &relativity,
        -100.0,
    ));
    Ok(entries)
}

/// An effect that differs from run to run: its mean, its scatter, and the mass's shift for the mean.
fn of_runs(code: &str, name: &str, relative: &[f64], percent_of_mass: f64) -> EffectEntry {
    let count = relative.len().max(1) as f64;
    let mean = relative.iter().sum::<f64>() / count;
    let variance = relative.iter().map(|x| (x - mean).powi(2)).sum::<f64>() / count;
    EffectEntry {
        code: code.to_owned(),
        name: name.to_owned(),
        unit: "%".to_owned(),
        prior: None,
        posterior: spread::quantity(100.0 * mean, &[Spread::Normal(100.0 * variance.sqrt())]),
        shift_of_mass_percent: percent_of_mass * mean,
        separable: true,
    }
}
