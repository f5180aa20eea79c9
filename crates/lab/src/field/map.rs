//! The probe's map against the model: which radius and separation its shape asks for, whatever its amplitude.

use arcmass_fit::joint::Joint;
use arcmass_notebook::Axis;
use arcmass_physics::Vec3;
use nalgebra::DVector;

use crate::assume::{Apparatus, CoilsKnown, Known};
use crate::calibrate;
use crate::desk::LabError;
use crate::document::{MapFit, MapReading, Profile, Q};
use crate::model::{FieldShape, Model, ProbeDatum, Scope, Unknown, Unknowns};
use crate::spread::{self, Spread};

/// How far off the stated size a map may pull it, as a share of it: far beyond any slip of a ruler.
const WIDE: f64 = 0.2;
/// A size is fixed by the map where its uncertainty falls below this share of what was allowed.
const FIXED: f64 = 0.5;
/// Farther than this from the centre a reading belongs to the map, m.
const OFF_CENTRE_M: f64 = 1e-3;
/// Points of a profile.
const PROFILE_POINTS: usize = 61;

/// Field per ampere, T/A, by every probe reading where no plain line through the centre exists: shape as stated, amplitude free.
///
/// - **Gives** none without two readings that carry current, or where the coils are a list (their size and amplitude are one).
pub fn per_ampere_by_probe(model: &Model<'_>) -> Result<Option<Q>, LabError> {
    let live = model.probe.iter().filter(|row| row.current_read_a != 0.0).count();
    if live < 2 || matches!(model.apparatus.coils, Some(CoilsKnown::List { .. })) {
        return Ok(None);
    }
    let free = amplitude_free(model.apparatus, Spread::Exact, Spread::Exact);
    let (model, joint) = fit_probe(&free, model)?;
    let Some(place) = model.unknowns.place(Unknown::FieldPerAmpere) else { return Ok(None) };
    Ok(Some(spread::quantity(joint.estimate[place], &[Spread::Normal(joint.u(place))])))
}

/// Fits effective radius, separation and amplitude to the probe's readings.
///
/// - **Gives** none without at least three live readings away from the centre, or where no coil sizes are stated.
/// - For a list of coils the sizes are kept; the readings are compared with the joint fit.
pub fn fit(model: &Model<'_>, joint: &Joint, noise_is_stated: bool) -> Result<Option<MapFit>, LabError> {
    let is_off = |row: &&ProbeDatum| row.current_read_a != 0.0 && row.at_m.norm() > OFF_CENTRE_M;
    if model.probe.iter().filter(is_off).count() < 3 {
        return Ok(None);
    }
    match &model.apparatus.coils {
        None => Ok(None),
        Some(CoilsKnown::List { .. }) => Ok(Some(compared(model, joint, None)?)),
        Some(CoilsKnown::Pair { mean_radius, separation, .. }) => {
            let wide = |known: &Known| Spread::Normal(WIDE * known.value);
            let free = amplitude_free(model.apparatus, wide(mean_radius), wide(separation));
            let (fitted, joint) = fit_probe(&free, model)?;
            let sizes = Sizes { radius: *mean_radius, separation: *separation, noise_is_stated };
            Ok(Some(compared(&fitted, &joint, Some(&sizes))?))
        }
    }
}

/// The pair's stated sizes.
struct Sizes {
    radius: Known,
    separation: Known,
    noise_is_stated: bool,
}

/// The bench with the coils' amplitude unknown.
fn amplitude_free(apparatus: &Apparatus, radius: Spread, separation: Spread) -> Apparatus {
    let mut free = apparatus.clone();
    free.field_per_ampere = None;
    if let Some(CoilsKnown::Pair { mean_radius, separation: apart, turns, .. }) = &mut free.coils {
        *turns = None;
        mean_radius.spread = radius;
        apart.spread = separation;
    }
    free
}

fn fit_probe<'a>(free: &'a Apparatus, of: &Model<'_>) -> Result<(Model<'a>, Joint), LabError> {
    let scope = Scope { has_probe: true, ..Scope::default() };
    let model = Model {
        apparatus: free,
        unknowns: Unknowns::of(free, &scope),
        runs: Vec::new(),
        probe: of.probe.clone(),
        probe_u_t: of.probe_u_t,
        balance: Vec::new(),
        balance_u_t: of.balance_u_t,
        unstated_diameter_u_m: of.unstated_diameter_u_m,
    };
    let joint = calibrate::fit(&model)?;
    Ok((model, joint))
}

fn compared(model: &Model<'_>, joint: &Joint, sizes: Option<&Sizes>) -> Result<MapFit, LabError> {
    let values = model.values(&joint.estimate);
    let shape = model.shape(&values)?;
    let direction = model.apparatus.field_direction;
    let centre = shape.at(Vec3::ZERO, direction)?;
    let terms = Terms { model, shape: &shape, centre_z: centre.z, theta: &joint.estimate };
    let readings = model
        .probe
        .iter()
        .filter(|row| row.current_read_a != 0.0)
        .map(|row| terms.reading(row))
        .collect::<Result<Vec<_>, _>>()?;
    let fitted_unknowns = if sizes.is_some() { 3 } else { 0 };
    // the background's and the probe's own terms are held by their priors
    let degrees_of_freedom = joint.at.residuals.len().saturating_sub(fitted_unknowns);
    let chi_squared = joint.chi_squared_data;
    let factor = match sizes {
        Some(sizes) if !sizes.noise_is_stated => {
            (chi_squared / degrees_of_freedom.max(1) as f64).sqrt().max(1.0)
        }
        _ => 1.0,
    };
    let size = |unknown: Unknown, stated: &Known| -> Option<Q> {
        let place = model.unknowns.place(unknown)?;
        let u = factor * joint.u(place);
        (u < FIXED * WIDE * stated.value)
            .then(|| spread::quantity(stated.value + joint.estimate[place], &[Spread::Normal(u)]).times(1e3))
    };
    let stated = |known: &Known| spread::quantity(known.value, &[known.spread]).times(1e3);
    let amplitude = model.unknowns.place(Unknown::FieldPerAmpere);
    let amplitude = amplitude.filter(|_| sizes.is_some()).map(|place| {
        spread::quantity(joint.estimate[place], &[Spread::Normal(factor * joint.u(place))]).times(1e3)
    });
    Ok(MapFit {
        effective_radius_mm: sizes.and_then(|s| size(Unknown::CoilRadius, &s.radius)),
        effective_separation_mm: sizes.and_then(|s| size(Unknown::CoilSeparation, &s.separation)),
        correlation: sizes.and_then(|_| correlation(model, joint)),
        stated_radius_mm: sizes.map(|s| stated(&s.radius)),
        stated_separation_mm: sizes.map(|s| stated(&s.separation)),
        field_per_ampere_mt_per_a: amplitude,
        chi_squared,
        degrees_of_freedom,
        readings,
        profiles: profiles(model, &shape, sizes.is_some())?,
    })
}

fn correlation(model: &Model<'_>, joint: &Joint) -> Option<f64> {
    let (i, j) = (model.unknowns.place(Unknown::CoilRadius)?, model.unknowns.place(Unknown::CoilSeparation)?);
    Some(joint.covariance[(i, j)] / (joint.u(i) * joint.u(j)).max(f64::MIN_POSITIVE))
}

/// What is needed to say what a reading should have been.
struct Terms<'a> {
    model: &'a Model<'a>,
    shape: &'a FieldShape,
    centre_z: f64,
    theta: &'a DVector<f64>,
}

impl Terms<'_> {
    fn reading(&self, row: &ProbeDatum) -> Result<MapReading, LabError> {
        let values = self.model.values(self.theta);
        let apparatus = self.model.apparatus;
        let component = |v: Vec3| row.sign * [v.x, v.y, v.z][row.axis.index()];
        let per_ampere = self.model.per_ampere(&values);
        let current =
            row.current_read_a * (1.0 + values.get(Unknown::AmmeterGain)) + values.get(Unknown::AmmeterZero);
        let here = component(self.shape.at(row.at_m, apparatus.field_direction)?);
        let background = component(crate::model::turned(
            Vec3::new(
                values.get(Unknown::BackgroundX),
                values.get(Unknown::BackgroundY),
                values.get(Unknown::BackgroundZ),
            ),
            row.turned_rad,
        ));
        let (gain, zero) = (1.0 + values.get(Unknown::ProbeGain), values.get(Unknown::ProbeZero));
        let shown = (here * per_ampere * current + background - zero) / gain;
        let noise = self.model.probe_u_t.hypot(row.current_noise_t);
        let of_coils = row.sign * (row.flux_density_read_t * gain + zero - background);
        let relative = (row.axis == Axis::Z).then(|| of_coils / (self.centre_z * per_ampere * current));
        Ok(MapReading {
            at_mm: [1e3 * row.at_m.x, 1e3 * row.at_m.y, 1e3 * row.at_m.z],
            component: ["x", "y", "z"][row.axis.index()].to_owned(),
            current_a: row.current_read_a,
            flux_density_mt: 1e3 * row.flux_density_read_t,
            residual_mt: 1e3 * (row.flux_density_read_t - shown),
            standard_uncertainty_mt: 1e3 * noise,
            relative_to_centre: relative.filter(|ratio| ratio.is_finite()),
        })
    }
}

/// The model along each axis on which readings of the axial component lie.
fn profiles(model: &Model<'_>, fitted: &FieldShape, is_fitted: bool) -> Result<Vec<Profile>, LabError> {
    let direction = model.apparatus.field_direction;
    let stated = model.shape(&model.values(&DVector::from_vec(model.unknowns.start())))?;
    let (stated_centre, fitted_centre) =
        (stated.at(Vec3::ZERO, direction)?.z, fitted.at(Vec3::ZERO, direction)?.z);
    let mut profiles = Vec::new();
    for (name, unit) in [("x", Vec3::X), ("y", Vec3::Y), ("z", Vec3::Z)] {
        let lies_on = |row: &&ProbeDatum| {
            let along = row.at_m.dot(unit);
            row.axis == Axis::Z
                && row.current_read_a != 0.0
                && along.abs() > OFF_CENTRE_M
                && (row.at_m - unit * along).norm() < OFF_CENTRE_M
        };
        let places = model.probe.iter().filter(lies_on).map(|row| row.at_m.dot(unit));
        let (low, high) = places.fold((0.0_f64, 0.0_f64), |(low, high), x| (low.min(x), high.max(x)));
        if low == high {
            continue;
        }
        let margin = 0.05 * (high - low);
        let step = (high - low + 2.0 * margin) / (PROFILE_POINTS - 1) as f64;
        let at: Vec<f64> = (0..PROFILE_POINTS).map(|k| low - margin + step * k as f64).collect();
        let along = |shape: &FieldShape, centre: f64| -> Result<Vec<f64>, LabError> {
            at.iter().map(|x| Ok(shape.at(unit * *x, direction)?.z / centre)).collect()
        };
        profiles.push(Profile {
            along: name.to_owned(),
            stated: along(&stated, stated_centre)?,
            fitted: if is_fitted { Some(along(fitted, fitted_centre)?) } else { None },
            at_mm: at.iter().map(|x| 1e3 * x).collect(),
        });
    }
    Ok(profiles)
}
