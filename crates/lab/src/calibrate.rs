//! Field per ampere: from the coils' sizes, from the probe, from the balance, as stated, and all of them joined.

use arcmass_fit::joint::{self, Joint, JointFault};
use arcmass_physics::Vec3;
use nalgebra::DVector;

use crate::bench::{Bench, ProbeLine};
use crate::desk::{Desk, LabError};
use crate::document::{Covariance, Q};
use crate::field::map;
use crate::model::{Model, Unknown};
use crate::spread::{self, Spread};

/// Field per ampere by every way the notebook offers, T/A.
#[derive(Debug, Clone)]
pub struct FieldPerAmpere {
    /// Joined, in use.
    pub in_use: Q,
    /// From the coils' sizes alone.
    pub geometry: Option<Q>,
    /// From the probe's line alone.
    pub probe: Option<Q>,
    /// As stated.
    pub stated: Option<Q>,
    /// From the balance alone.
    pub balance: Option<Q>,
    /// Intercept of the probe's line, T.
    pub intercept: Option<Q>,
}

impl FieldPerAmpere {
    /// Probe minus geometry in units of the standard uncertainty of the difference.
    pub fn probe_minus_geometry_in_u(&self) -> Option<f64> {
        let (probe, geometry) = (self.probe?, self.geometry?);
        let u = probe.standard_uncertainty.hypot(geometry.standard_uncertainty);
        (u > 0.0).then(|| (probe.value - geometry.value) / u)
    }

    /// What the textbook's way uses: the stated constant, else the probe's slope, else the geometry, T/A.
    pub fn textbook(&self) -> Option<f64> {
        self.stated.or(self.probe).or(self.geometry).or(self.balance).map(|q| q.value.abs())
    }
}

/// Fits everything a model holds.
pub fn fit(model: &Model<'_>) -> Result<Joint, LabError> {
    let priors = model.unknowns.priors();
    // the derivatives change little near the answer: they are made anew twice, then kept
    let mut kept: Option<(usize, nalgebra::DMatrix<f64>)> = None;
    let evaluate = |theta: &DVector<f64>| -> Result<joint::Linearised, LabError> {
        match &mut kept {
            Some((times, jacobian)) if *times >= 2 => {
                Ok(joint::Linearised { residuals: model.residuals(theta)?, jacobian: jacobian.clone() })
            }
            slot => {
                let at = model.linearise(theta)?;
                let times = slot.as_ref().map_or(0, |(times, _)| *times) + 1;
                *slot = Some((times, at.jacobian.clone()));
                Ok(at)
            }
        }
    };
    joint::fit(&priors, &model.unknowns.start(), evaluate).map_err(|fault| joint_fault(model, fault))
}

fn joint_fault(model: &Model<'_>, fault: JointFault<LabError>) -> LabError {
    match fault {
        JointFault::Model(fault) => fault,
        JointFault::Undetermined(place) => {
            let words = model
                .unknowns
                .iter()
                .nth(place)
                .map_or("the unknowns", |(_, unknown, _)| unknown.naming().words);
            LabError::lacking(
                "bench.toml",
                format!("nothing in the notebook fixes the {words}"),
                "state the coil geometry and turns, a field_per_ampere, or give a field-probe.csv",
            )
        }
        other => LabError::lacking(
            "readings.csv",
            other.to_string(),
            "check the readings for values far out of range",
        ),
    }
}

/// Every way to the field per ampere, and the joined one as `joint` has it.
pub fn field_per_ampere(bench: &Bench<'_>, joint: &Joint, desk: &Desk) -> Result<FieldPerAmpere, LabError> {
    let model = &bench.model;
    let apparatus = model.apparatus;
    let geometry = model.is_absolute().then(|| geometry(model)).transpose()?;
    let stated = apparatus.field_per_ampere.map(|known| spread::quantity(known.value, &[known.spread]));
    let (probe, intercept) = match &bench.line {
        Some(line) => {
            let (slope, intercept) = probe(line, model);
            (Some(slope), Some(intercept))
        }
        None => (map::per_ampere_by_probe(model)?, None),
    };
    Ok(FieldPerAmpere {
        in_use: in_use(model, joint, desk)?,
        geometry,
        probe,
        stated,
        balance: balance(model),
        intercept,
    })
}

/// Value and uncertainty from the sizes as stated.
fn geometry(model: &Model<'_>) -> Result<Q, LabError> {
    let start = DVector::from_vec(model.unknowns.start());
    let value = model.field_per_ampere(&model.values(&start))?;
    let mut parts = Vec::new();
    for (place, unknown, prior) in model.unknowns.iter() {
        if let (Unknown::CoilRadius | Unknown::CoilSeparation | Unknown::CoilSize, Some((_, u))) =
            (unknown, prior.moments())
        {
            let mut moved = start.clone();
            moved[place] += u;
            parts.push(Spread::Normal(model.field_per_ampere(&model.values(&moved))? - value));
        }
    }
    Ok(spread::quantity(value, &parts))
}

/// Slope and intercept with the gains and zeros that the line cannot see.
fn probe(line: &ProbeLine, model: &Model<'_>) -> (Q, Q) {
    let apparatus = model.apparatus;
    let (slope, intercept) = (line.line.slope, line.line.intercept);
    let slope_parts = [
        Spread::Normal(line.line.covariance[(1, 1)].max(0.0).sqrt()),
        apparatus.probe.gain.times(slope),
        apparatus.ammeter.gain.times(slope),
    ];
    let intercept_parts = [
        Spread::Normal(line.line.covariance[(0, 0)].max(0.0).sqrt()),
        apparatus.probe.gain.times(intercept),
        apparatus.ammeter.zero.spread.times(slope),
    ];
    (spread::quantity(slope, &slope_parts), spread::quantity(intercept, &intercept_parts))
}

/// Slope of the balance's readings through the origin.
fn balance(model: &Model<'_>) -> Option<Q> {
    let sum_xx: f64 = model.balance.iter().map(|row| row.current_read_a.powi(2)).sum();
    if sum_xx <= 0.0 {
        return None;
    }
    let slope = model.balance.iter().map(|row| row.current_read_a * row.flux_density_t).sum::<f64>() / sum_xx;
    let parts =
        [Spread::Normal(model.balance_u_t / sum_xx.sqrt()), model.apparatus.ammeter.gain.times(slope)];
    Some(spread::quantity(slope, &parts))
}

/// A quantity's derivatives by the unknowns it depends on, each with the unknown's place.
pub(crate) type Slopes = Vec<(usize, f64)>;

/// The joined field per ampere, T/A, and its derivatives.
pub(crate) fn gradient(model: &Model<'_>, joint: &Joint) -> Result<(f64, Slopes), LabError> {
    let values = model.values(&joint.estimate);
    let value = model.field_per_ampere(&values)?;
    let mut slopes = Vec::new();
    for (place, unknown, _) in model.unknowns.iter() {
        let by = match unknown {
            Unknown::FieldPerAmpere => value / values.get(Unknown::FieldPerAmpere),
            Unknown::CoilFactor => value / (1.0 + values.get(Unknown::CoilFactor)),
            Unknown::CoilRadius | Unknown::CoilSeparation | Unknown::CoilSize if model.is_absolute() => {
                let step = 1e-4;
                let mut moved = joint.estimate.clone();
                moved[place] += step;
                (model.field_per_ampere(&model.values(&moved))? - value) / step
            }
            _ => continue,
        };
        slopes.push((place, by));
    }
    Ok((value, slopes))
}

/// Covariance of two quantities that are linear in the unknowns.
fn bilinear(joint: &Joint, first: &Slopes, second: &Slopes) -> f64 {
    let pairs = first.iter().flat_map(|(i, a)| second.iter().map(move |(j, b)| (i, a, j, b)));
    pairs.map(|(i, a, j, b)| a * b * joint.covariance[(*i, *j)]).sum()
}

/// Covariance of field per ampere (mT/A), background along x, y, z and the probe's zero (mT) after the joint fit.
///
/// What is known exactly has zeros; without a probe its zero is left out.
pub fn covariance(model: &Model<'_>, joint: &Joint) -> Result<Covariance, LabError> {
    let milli = |slopes: Slopes| slopes.into_iter().map(|(place, by)| (place, 1e3 * by)).collect::<Slopes>();
    let itself =
        |unknown: Unknown| model.unknowns.place(unknown).map(|place| (place, 1.0)).into_iter().collect();
    let mut quantities: Vec<(&str, Slopes)> =
        vec![("field_per_ampere_mt_per_a", milli(gradient(model, joint)?.1))];
    for (name, unknown) in [
        ("background_x_mt", Unknown::BackgroundX),
        ("background_y_mt", Unknown::BackgroundY),
        ("background_z_mt", Unknown::BackgroundZ),
    ] {
        quantities.push((name, milli(itself(unknown))));
    }
    if !model.probe.is_empty() {
        quantities.push(("probe_zero_mt", milli(itself(Unknown::ProbeZero))));
    }
    let row = |(_, first): &(&str, Slopes)| -> Vec<f64> {
        quantities.iter().map(|(_, second)| bilinear(joint, first, second)).collect()
    };
    Ok(Covariance {
        of: quantities.iter().map(|(name, _)| (*name).to_owned()).collect(),
        matrix: quantities.iter().map(row).collect(),
    })
}

/// The probe's own zero after the joint fit, T; none without a probe.
pub fn probe_zero(model: &Model<'_>, joint: &Joint) -> Option<Q> {
    if model.probe.is_empty() {
        return None;
    }
    let value = model.values(&joint.estimate).get(Unknown::ProbeZero);
    let u = model.unknowns.place(Unknown::ProbeZero).map_or(0.0, |place| joint.u(place));
    Some(spread::quantity(value, &[if u > 0.0 { Spread::Normal(u) } else { Spread::Exact }]))
}

/// The joined value: straight from the sizes where nothing was measured, else from the posterior.
fn in_use(model: &Model<'_>, joint: &Joint, desk: &Desk) -> Result<Q, LabError> {
    let (value, slopes) = gradient(model, joint)?;
    let u2 = bilinear(joint, &slopes, &slopes);
    if joint.at.residuals.is_empty() {
        return Ok(spread::quantity(value, &[Spread::Normal(u2.max(0.0).sqrt())]));
    }
    let places: Vec<usize> = slopes.iter().map(|(place, _)| *place).collect();
    let draws = joint
        .draws_of::<LabError>(&places, 4096, &mut desk.stream(1))
        .map_err(|fault| joint_fault(model, fault))?;
    let change = |row: nalgebra::RowDVector<f64>| -> f64 {
        let columns = slopes.iter().enumerate();
        columns.map(|(column, (place, by))| by * (row[column] - joint.estimate[*place])).sum()
    };
    let mut sample: Vec<f64> = draws.row_iter().map(|row| value + change(row.into_owned())).collect();
    Ok(spread::of_draws(&mut sample))
}

/// Background along +x, +y, +z after the field tables, T.
pub fn background(model: &Model<'_>, joint: &Joint) -> [Q; 3] {
    let values = model.values(&joint.estimate);
    [Unknown::BackgroundX, Unknown::BackgroundY, Unknown::BackgroundZ].map(|unknown| {
        let u = model.unknowns.place(unknown).map_or(0.0, |place| joint.u(place));
        let part = if u > 0.0 { Spread::Normal(u) } else { Spread::Exact };
        spread::quantity(values.get(unknown), &[part])
    })
}

/// Flux density at points for a coil current: field per ampere in use × shape as stated × current + background, T.
pub fn field_at(
    model: &Model<'_>,
    in_use_t_per_a: f64,
    background_t: Vec3,
    current_a: f64,
    points_m: &[Vec3],
) -> Result<Vec<Vec3>, LabError> {
    let start = DVector::from_vec(model.unknowns.start());
    let shape = model.shape(&model.values(&start))?;
    let direction = model.apparatus.field_direction;
    let centre = shape.at(Vec3::ZERO, direction)?.norm();
    let factor = if centre > 0.0 { in_use_t_per_a / centre * current_a } else { 0.0 };
    points_m.iter().map(|point| Ok(shape.at(*point, direction)? * factor + background_t)).collect()
}
