//! What the models hold besides the mass: before and after the readings, and what each does to the mass.

use arcmass_fit::joint::Prior;
use arcmass_physics::Vec3;
use arcmass_quantity::constants::{ELEMENTARY_CHARGE, SPEED_OF_LIGHT};

use super::mixture::{Mixture, Part};
use super::refit::{self, Refits};
use crate::desk::LabError;
use crate::document::{EffectEntry, Q};
use crate::model::{FieldShape, Sight, Unknown, turned};
use crate::spread::{self, Spread};

/// An effect is told apart from the mass when the readings halve what was known of it beforehand.
const SEPARABLE: f64 = 0.5;

pub(super) fn effects(mixture: &Mixture<'_>) -> Result<Vec<EffectEntry>, LabError> {
    let unknowns = unknowns(mixture);
    let refits = Refits::of(mixture);
    let mut entries: Vec<EffectEntry> = Vec::new();
    for group in refit::groups(mixture, &unknowns) {
        let named = |unknown: &Unknown| mixture.name_of(*unknown);
        let shift = 100.0 * refits.shift(&group);
        for unknown in &group {
            let others = group.iter().filter(|own| *own != unknown).map(named).collect();
            entries.push(of_unknown(mixture, *unknown, shift, others));
        }
    }
    let place = |entry: &EffectEntry| unknowns.iter().position(|own| mixture.name_of(*own) == entry.name);
    entries.sort_by_key(place);
    entries.extend(of_path(mixture)?);
    Ok(entries)
}

/// What any told model holds besides the mass, in the order of the models.
fn unknowns(mixture: &Mixture<'_>) -> Vec<Unknown> {
    let mut list = Vec::new();
    let told = mixture.told();
    let models = mixture.parts.first().into_iter().chain(told.iter().map(|(_, part)| *part));
    for (_, unknown, _) in models.flat_map(|part| part.model.unknowns.iter()) {
        if unknown != Unknown::LogMass && !list.contains(&unknown) {
            list.push(unknown);
        }
    }
    list
}

fn of_unknown(
    mixture: &Mixture<'_>,
    unknown: Unknown,
    shift_of_mass_percent: f64,
    together_with: Vec<String>,
) -> EffectEntry {
    let naming = unknown.naming();
    let posterior = mixture.unknown(unknown);
    // as stated; nothing for what only an alternative holds
    let stated = mixture.parts.first().and_then(|part| prior_of(part, unknown));
    let before = match stated {
        None | Some(Prior::Flat) => None,
        Some(Prior::Normal { mean, u }) => Some(spread::quantity(mean, &[Spread::Normal(u)])),
        Some(Prior::Limits { mean, half_width }) => {
            Some(spread::quantity(mean, &[Spread::Limits(half_width)]))
        }
    };
    EffectEntry {
        code: naming.code.to_owned(),
        name: mixture.name_of(unknown),
        unit: naming.unit.to_owned(),
        prior: before.map(|q| shown(q, naming.factor)),
        posterior: shown(posterior, naming.factor),
        shift_of_mass_percent,
        separable: width_before(mixture, unknown)
            .is_none_or(|before| posterior.standard_uncertainty < SEPARABLE * before),
        together_with,
    }
}

fn prior_of(part: &Part<'_>, unknown: Unknown) -> Option<Prior> {
    part.model.unknowns.iter().find(|(_, own, _)| *own == unknown).map(|(_, _, prior)| prior)
}

/// Standard uncertainty before the readings, over the told models as they turned out to weigh; none where nothing was known.
fn width_before(mixture: &Mixture<'_>, unknown: Unknown) -> Option<f64> {
    let mut variance = 0.0;
    for (weight, part) in mixture.told() {
        variance += match prior_of(part, unknown) {
            None => 0.0,
            Some(prior) => weight * prior.moments()?.1.powi(2),
        };
    }
    Some(variance.sqrt())
}

/// Which direction, where one name holds several.
pub(super) fn along(unknown: Unknown) -> &'static str {
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

/// The corrections that follow from the path alone, run by run; relative.
#[derive(Default)]
struct OfPath {
    fall_off: Vec<f64>,
    out_of_plane: Vec<f64>,
    relativity: Vec<f64>,
    is_uniform: bool,
}

impl OfPath {
    fn of(part: &Part<'_>) -> Result<Self, LabError> {
        let model = &part.model;
        let values = model.values(&part.joint.estimate);
        let shape = model.shape(&values)?;
        let centre = shape.at(Vec3::ZERO, model.apparatus.field_direction)?.norm();
        let mut all = Self { is_uniform: matches!(shape, FieldShape::Uniform), ..Self::default() };
        for run in &model.runs {
            let state = model.state(run, &values, &shape)?;
            let current = run.sense * model.per_ampere(&values) * state.current_a;
            let [x, y, z] = [Unknown::BackgroundX, Unknown::BackgroundY, Unknown::BackgroundZ];
            let around = Vec3::new(values.get(x), values.get(y), values.get(z));
            let along = turned(around, run.turned_rad).z;
            let uniform = (centre * current * model.apparatus.field_direction + along).abs();
            all.fall_off.push(state.ring.mean_field_t / uniform - 1.0);
            if run.camera_direction.is_some() {
                let flat = state.ring.diameter_m(&Sight::AlongAxis(arcmass_notebook::DiameterKind::Fit))?;
                all.out_of_plane.push(state.diameter_m / flat - 1.0);
            }
            // m = p²/2T − T/2c² against p²/2T
            let rest = model.mass_kg(&values) * SPEED_OF_LIGHT.value.powi(2);
            let charges = f64::from(model.apparatus.charge_number.abs());
            let kinetic = ELEMENTARY_CHARGE.value * charges * state.accelerating_voltage_v;
            all.relativity.push(kinetic / (2.0 * rest));
        }
        Ok(all)
    }
}

/// Fall-off, relativity, ring out of the scale's plane: of each told model, by weight.
fn of_path(mixture: &Mixture<'_>) -> Result<Vec<EffectEntry>, LabError> {
    let mut parts = Vec::new();
    for (weight, part) in mixture.told() {
        parts.push((weight, OfPath::of(part)?));
    }
    let mean = |of: &dyn Fn(&OfPath) -> &Vec<f64>| -> Vec<f64> {
        let count = parts.first().map_or(0, |(_, path)| of(path).len());
        let at = |run: usize| parts.iter().map(|(w, path)| w * of(path).get(run).unwrap_or(&0.0)).sum();
        (0..count).map(at).collect()
    };
    let mut entries = Vec::new();
    if parts.iter().all(|(_, path)| !path.is_uniform) {
        let name = "mean field along the ring against the centre";
        entries.push(of_runs("field-fall-off", name, &mean(&|path| &path.fall_off), 200.0));
    }
    let out_of_plane = mean(&|path| &path.out_of_plane);
    if !out_of_plane.is_empty() {
        let name = "ring seen through the camera against the ring itself";
        entries.push(of_runs("ring-out-of-plane", name, &out_of_plane, -200.0));
    }
    let name = "kinetic energy against twice the rest energy";
    entries.push(of_runs("relativistic", name, &mean(&|path| &path.relativity), -100.0));
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
        together_with: Vec::new(),
    }
}
