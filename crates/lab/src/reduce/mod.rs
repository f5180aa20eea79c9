//! From every reading to the mass: one fit, its budget, the effects it holds, the law, and last the comparison.

mod advice;
mod agreement;
mod alternatives;
pub(crate) mod budget;
mod candidates;
mod caveats;
mod effects;
mod exact;
mod factor;
mod findings;
mod law;
mod mixture;
mod propagation;
mod reference;
mod refit;
mod runs;
mod scatter;
mod separate;
mod slips;

use arcmass_fit::joint::Joint;
use arcmass_notebook::Notebook;
use nalgebra::DMatrix;

pub use alternatives::Doubts;
pub use reference::AcceptedMass;

use crate::assume::Apparatus;
use crate::bench::{self, Bench};
use crate::calibrate::{self, FieldPerAmpere};
use crate::desk::{Desk, LabError};
use crate::document::{MixtureEntry, Q, ReductionDocument, RingsDocument};
use crate::model::{MASS_UNIT_KG, RunDatum, Unknown};
use crate::screen::readings::Bears;
use crate::spread;
use crate::textbook;
use mixture::Mixture;
use scatter::Averaged;

/// Draws of the mass as stated; its quantiles scatter by about 1 % of u.
const MASS_DRAWS: usize = 16_384;
/// Draws of all unknowns of the model as stated, to be weighed by the exact model.
const DRAWS: usize = 4096;

/// An alternative less likely than this is not worked out on its own.
const WORTH_SAYING: f64 = 0.05;

/// Everything a reduction found, before it is written down.
pub(crate) struct Solved<'a> {
    pub(crate) bench: Bench<'a>,
    pub(crate) joint: Joint,
    pub(crate) field: FieldPerAmpere,
    /// One row a draw, one column an unknown: differences from the estimate.
    pub(crate) draws: DMatrix<f64>,
    /// Draws of ln m.
    pub(crate) log_masses: Vec<f64>,
    /// The second answer beside the first.
    pub(crate) exact: exact::Exact,
    /// The fit averaged over the unknown factor on the diameters' uncertainty.
    pub(crate) averaged: Averaged,
    /// Runs so far from the others that they were set aside before the fit.
    pub(crate) aside: Vec<RunDatum>,
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
    reduce_doubting(notebook, rings, accepted, Doubts::default(), desk)
}

/// The same with other doubts about what the bench file states: for studies.
///
/// - **Fails** as [`reduce`] does.
pub fn reduce_doubting(
    notebook: &Notebook,
    rings: Option<&RingsDocument>,
    accepted: &AcceptedMass,
    doubts: Doubts,
    desk: &Desk,
) -> Result<ReductionDocument, LabError> {
    let apparatus = Apparatus::of(&notebook.bench)?;
    let photos = rings.map_or(&[][..], |rings| &rings.photos);
    let bench = bench::bench(notebook, &apparatus, photos)?;
    if bench.model.runs.is_empty() {
        return Err(no_diameters(notebook, rings));
    }
    let doubted = crate::screen::readings::findings(&bench.all_runs, &Bears::of(&apparatus));
    let mut solved = solve(bench, desk).map_err(|fault| factor::with_doubts(fault, &doubted))?;
    let alternatives = alternatives::weigh(&solved, doubts, desk)?;
    let stated_weight = 1.0 - alternatives.iter().map(|alternative| alternative.weight).sum::<f64>();
    if stated_weight > WORTH_SAYING {
        // a model that the readings have ruled out is worth no second answer
        exact::settle(&mut solved, desk)?;
    }
    let as_stated = mass(&solved);
    let mixture = Mixture::of(&solved, &alternatives, desk)?;
    let mass_kg = mixture.mass();
    factor::check(mass_kg.value, apparatus.assumed_mass_kg)?;
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
    let entries = runs::entries(&solved, &mixture, desk)?;
    let counted: Vec<f64> = entries
        .iter()
        .filter(|run| !run.r#struck && !run.set_aside)
        .map(|run| run.textbook_mass_kg)
        .collect();
    let law = law::law(&solved, &mixture)?;
    let budget = budget::of(&mixture, &mass_kg);
    let effects = effects::effects(&mixture)?;
    let agreement = agreement::agreement(&solved, &mixture)?;
    let mut told =
        separate::caveats(&solved, &mixture, &alternatives, &budget, &effects, agreement.birge_ratio);
    let textbook_t = solved.field.textbook().unwrap_or(solved.field.in_use.value);
    let textbook_lines = textbook::lines(&solved.bench.all_runs, textbook_t);
    let signatures = textbook::signatures(&solved.bench.all_runs, &apparatus, textbook_t, mass_kg.value);
    let propagation = propagation::propagation(&solved, &as_stated);
    // where another model is likelier than the stated one, the stated one's propagation says nothing of the result
    if mixture.leading().what.is_none() {
        told.extend(propagation::caveat(&propagation, &mass_kg));
    }
    told.extend(solved.exact.caveat());
    let reference = accepted.compare(mass_kg);
    if apparatus.charge_number == -1 {
        told.extend(factor::caveat(mass_kg, reference.mass_kg.value, reference.difference_in_u));
    }
    let caveats = caveats::caveats(notebook, &solved, &budget, rings, told);
    Ok(ReductionDocument {
        schema: "arcmass.reduction/1".to_owned(),
        made_by: desk.made_by(inputs),
        scatter_factor: solved.averaged.factor(),
        propagation: Some(propagation),
        posterior: Some(solved.exact.entry()),
        mass_as_stated_kg: as_stated,
        mass_widened_kg: likeliest
            .map(|likeliest| alternatives::widened(&solved, likeliest, desk))
            .transpose()?,
        charge_to_mass_c_per_kg: mixture::charge_to_mass(&mass_kg, apparatus.charge_number),
        mixture: MixtureEntry { prior_odds: doubts.odds, models: mixture.entries() },
        field_per_ampere_mt_per_a: mixture.field_per_ampere()?.times(1e3),
        geometry_mt_per_a: solved.field.geometry.map(|q| q.times(1e3)),
        probe_mt_per_a: solved.field.probe.map(|q| q.times(1e3)),
        intercept_mt: solved.field.intercept.map(|q| q.times(1e3)),
        probe_minus_geometry_in_u: solved.field.probe_minus_geometry_in_u(),
        textbook_mean_mass_kg: counted.iter().sum::<f64>() / counted.len().max(1) as f64,
        textbook_lines,
        signatures,
        runs: entries,
        effects,
        findings: findings::findings(&solved, &mixture, &alternatives, &law, doubted)?,
        law,
        budget: budget.entries(),
        agreement,
        reference,
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

/// Fits, averages over the factor on the diameters' scatter, and draws from the posterior.
fn solve<'a>(mut bench: Bench<'a>, desk: &Desk) -> Result<Solved<'a>, LabError> {
    let from_scatter = bench.model.runs.iter().any(|run| run.diameter_u_m.is_none());
    let aside = slips::set_aside(&mut bench.model);
    bench.model.unknowns = slips::starting_near(&bench.model)?;
    let mut joint = calibrate::fit(&bench.model)?;
    let mut averaged = Averaged::of(&bench.model, &joint)?;
    if from_scatter {
        // from here on the scatter itself is the diameters' uncertainty
        let factor = averaged.factor();
        joint = scatter::with_factor(&bench.model, &joint, factor)?.0;
        bench.model.unstated_diameter_u_m *= factor;
        averaged = Averaged::of(&bench.model, &joint)?;
    }
    let field = calibrate::field_per_ampere(&bench, &joint, desk)?;
    let mut draws = averaged.draws(DRAWS, &mut desk.stream(2))?;
    for mut row in draws.row_iter_mut() {
        row -= joint.estimate.transpose();
    }
    let place = bench.model.unknowns.place(Unknown::LogMass).unwrap_or(0);
    let masses = averaged.draws_of(&[place], MASS_DRAWS, &mut desk.stream(5))?;
    let log_masses = masses.as_slice().to_vec();
    let exact = exact::check(&bench.model, &joint, &averaged, &draws, desk);
    Ok(Solved { bench, joint, field, draws, log_masses, exact, averaged, aside, from_scatter })
}

fn mass_place(solved: &Solved<'_>) -> usize {
    solved.bench.model.unknowns.place(Unknown::LogMass).unwrap_or(0)
}

fn mass(solved: &Solved<'_>) -> Q {
    let mut sample: Vec<f64> = solved.log_masses.iter().map(|log| MASS_UNIT_KG * log.exp()).collect();
    spread::of_draws(&mut sample)
}
