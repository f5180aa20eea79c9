//! From every reading to the mass: one fit, its budget, the effects it holds, the law, and last the comparison.

mod agreement;
mod alternatives;
mod budget;
mod caveats;
mod effects;
mod findings;
mod law;
mod reference;
mod runs;

use arcmass_fit::joint::{self, Joint, Linearised};
use arcmass_notebook::Notebook;
use arcmass_quantity::constants::ELEMENTARY_CHARGE;
use nalgebra::DMatrix;

pub use reference::AcceptedMass;

use crate::assume::Apparatus;
use crate::bench::{self, Bench};
use crate::calibrate::{self, FieldPerAmpere};
use crate::desk::{Desk, LabError};
use crate::document::{Q, ReductionDocument, RingsDocument};
use crate::model::{MASS_UNIT_KG, Unknown};
use crate::spread;

/// Draws from the posterior; the quantiles of the mass scatter by about 1 % of u.
const DRAWS: usize = 16_384;

/// An alternative less likely than this is not worked out on its own.
const WORTH_SAYING: f64 = 0.05;

/// Everything a reduction found, before it is written down.
pub(crate) struct Solved<'a> {
    pub(crate) bench: Bench<'a>,
    pub(crate) joint: Joint,
    pub(crate) field: FieldPerAmpere,
    /// One row a draw, one column an unknown: differences from the estimate.
    pub(crate) draws: DMatrix<f64>,
    /// Whether the scatter of the diameters set their uncertainty.
    pub(crate) from_scatter: bool,
}

/// Reduces a notebook with the photographs as measured.
///
/// - **Fails** where no run has a diameter, or nothing fixes the field.
pub fn reduce(
    notebook: &Notebook,
    rings: Option<&RingsDocument>,
    accepted: &AcceptedMass,
    desk: &Desk,
) -> Result<ReductionDocument, LabError> {
    let apparatus = Apparatus::of(&notebook.bench)?;
    let photos = rings.map_or(&[][..], |rings| &rings.photos);
    let bench = bench::bench(notebook, &apparatus, photos)?;
    if bench.model.runs.is_empty() {
        return Err(no_diameters(notebook, rings));
    }
    let solved = solve(bench, desk)?;
    let as_stated = mass(&solved);
    let alternatives = alternatives::weigh(&solved);
    let mass_kg = alternatives::mixture(&solved, &alternatives, desk);
    let likeliest = alternatives.first().filter(|first| first.weight > WORTH_SAYING);
    let mut inputs = notebook.inputs();
    if let Some(rings) = rings {
        let photos = rings.made_by.inputs.iter().filter(|input| input.file.starts_with("photos/"));
        inputs.extend(
            photos.map(|input| arcmass_notebook::Input {
                file: input.file.clone(),
                sha256: input.sha256.clone(),
            }),
        );
    }
    let entries = runs::entries(&solved, desk)?;
    let counted: Vec<f64> =
        entries.iter().filter(|run| !run.r#struck).map(|run| run.textbook_mass_kg).collect();
    let law = law::law(&solved)?;
    let budget = budget::budget(&solved);
    let caveats = caveats::caveats(notebook, &solved, rings);
    Ok(ReductionDocument {
        schema: "arcmass.reduction/1".to_owned(),
        made_by: desk.made_by(inputs),
        mass_as_stated_kg: as_stated,
        mass_widened_kg: likeliest.map(|likeliest| alternatives::widened(&solved, likeliest, desk)),
        charge_to_mass_c_per_kg: charge_to_mass(&solved),
        field_per_ampere_mt_per_a: solved.field.in_use.times(1e3),
        geometry_mt_per_a: solved.field.geometry.map(|q| q.times(1e3)),
        probe_mt_per_a: solved.field.probe.map(|q| q.times(1e3)),
        intercept_mt: solved.field.intercept.map(|q| q.times(1e3)),
        probe_minus_geometry_in_u: solved.field.probe_minus_geometry_in_u(),
        textbook_mean_mass_kg: counted.iter().sum::<f64>() / counted.len().max(1) as f64,
        runs: entries,
        effects: effects::effects(&solved)?,
        findings: findings::findings(&solved, &alternatives, &law),
        law,
        budget,
        agreement: agreement::agreement(&solved)?,
        reference: accepted.compare(mass_kg),
        caveats,
        mass_kg,
    })
}

fn no_diameters(notebook: &Notebook, rings: Option<&RingsDocument>) -> LabError {
    let failed = rings.map_or(0, |rings| rings.failed.len());
    let is_empty = notebook.readings.as_ref().is_some_and(|readings| readings.runs.is_empty());
    if is_empty {
        LabError::lacking(
            "readings.csv",
            "there is no reading below the names of the columns",
            "write one row a reading",
        )
    } else if notebook.readings.is_none() {
        LabError::lacking(
            "readings.csv",
            "there is no readings.csv",
            "write one row a reading; `arcmass new` makes an empty table",
        )
    } else if failed > 0 {
        LabError::lacking(
            "readings.csv",
            format!("no run has a diameter: none of its {failed} photographs could be measured"),
            "see `arcmass rings` for each photograph, or give diameter_mm in readings.csv",
        )
    } else {
        LabError::lacking(
            "readings.csv",
            "no run that counts has a diameter",
            "give diameter_mm, or ring_photo and scale_photo, in readings.csv",
        )
    }
}

/// Fits, lets the scatter set what nobody stated, and draws from the posterior.
fn solve<'a>(mut bench: Bench<'a>, desk: &Desk) -> Result<Solved<'a>, LabError> {
    let from_scatter = bench.model.runs.iter().any(|run| run.diameter_u_m.is_none());
    let mut joint = calibrate::fit(&bench.model)?;
    if from_scatter {
        joint = with_scatter(&mut bench, joint)?;
    }
    let field = calibrate::field_per_ampere(&bench, &joint, desk)?;
    let mut draws = joint
        .draws::<LabError>(DRAWS, &mut desk.stream(2))
        .map_err(|fault| LabError::Internal(format!("the posterior can't be drawn: {fault}")))?;
    for mut row in draws.row_iter_mut() {
        row -= joint.estimate.transpose();
    }
    Ok(Solved { bench, joint, field, draws, from_scatter })
}

/// Sets the uncertainty of diameters that nobody stated so that chi-squared equals its degrees of freedom.
fn with_scatter(bench: &mut Bench<'_>, mut joint: Joint) -> Result<Joint, LabError> {
    const ROUNDS: usize = 40;
    /// No reading by eye or photograph is better than this, m.
    const FINEST_M: f64 = 1e-5;
    let runs = bench.model.runs.len();
    if runs < 3 {
        return Ok(joint);
    }
    let priors = bench.model.unknowns.priors();
    for _ in 0..ROUNDS {
        let old: Vec<f64> = bench.model.runs.iter().map(|run| bench.model.run_noise(run)).collect();
        let chi2 = agreement::runs_chi_squared(bench, &joint)?;
        let factor = (chi2 / (runs - 1) as f64).sqrt();
        bench.model.unstated_diameter_u_m = (bench.model.unstated_diameter_u_m * factor).max(FINEST_M);
        let scale: Vec<f64> =
            bench.model.runs.iter().zip(&old).map(|(run, old)| old / bench.model.run_noise(run)).collect();
        let (base, start) = (joint.at.clone(), joint.estimate.clone());
        let linear = |theta: &nalgebra::DVector<f64>| -> Result<Linearised, LabError> {
            let mut at = base.clone();
            at.residuals += &base.jacobian * (theta - &start);
            for (row, factor) in scale.iter().enumerate() {
                at.residuals[row] *= factor;
                at.jacobian.row_mut(row).scale_mut(*factor);
            }
            Ok(at)
        };
        joint = joint::fit(&priors, start.as_slice(), linear).map_err(|fault| {
            LabError::Internal(format!("the scatter of the diameters can't be fitted: {fault}"))
        })?;
        if (factor - 1.0).abs() < 1e-4 {
            break;
        }
    }
    Ok(joint)
}

fn mass_place(solved: &Solved<'_>) -> usize {
    solved.bench.model.unknowns.place(Unknown::LogMass).unwrap_or(0)
}

fn mass(solved: &Solved<'_>) -> Q {
    let place = mass_place(solved);
    let best = solved.joint.estimate[place];
    let mut sample: Vec<f64> =
        solved.draws.column(place).iter().map(|change| MASS_UNIT_KG * (best + change).exp()).collect();
    spread::of_draws(&mut sample)
}

fn charge_to_mass(solved: &Solved<'_>) -> Q {
    let place = mass_place(solved);
    let best = solved.joint.estimate[place];
    let charge = ELEMENTARY_CHARGE.value * f64::from(solved.bench.model.apparatus.charge_number.abs());
    let mut sample: Vec<f64> = solved
        .draws
        .column(place)
        .iter()
        .map(|change| charge / (MASS_UNIT_KG * (best + change).exp()))
        .collect();
    spread::of_draws(&mut sample)
}
