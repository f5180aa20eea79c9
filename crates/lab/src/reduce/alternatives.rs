//! What may lie outside what was stated: one wide alternative at a time, weighed by its evidence.
//!
//! An alternative sets one thing free with a wide normal prior; everything else stays as stated. All are first tried with the
//! fit taken as linear; whatever then may matter is fitted anew in full, from there. A model's evidence is Laplace's
//! (`Joint::log_evidence`), averaged over the unknown factor on the diameters' scatter (`scatter`).

use arcmass_fit::joint::{self, Joint, Linearised};
use nalgebra::DVector;

use super::candidates::{Candidate, candidates};
use super::scatter::Averaged;
use super::{MASS_UNIT_KG, Solved, mass_place};
use crate::desk::{Desk, LabError};
use crate::document::Q;
use crate::model::{Model, Unknown, Unknowns};
use crate::spread;

/// How much is doubted before any reading that the bench is as its file states it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Doubts {
    /// Odds of each alternative against the stated model, all odd runs together counted as one.
    pub odds: f64,
}

impl Default for Doubts {
    /// `cargo xtask study coverage` measured what they cost: docs/inference.md gives the table.
    fn default() -> Self {
        Self { odds: 0.05 }
    }
}

/// An alternative that the readings do not narrow to this share of its wide prior says nothing and is left out.
const NARROWED: f64 = 0.5;
/// An alternative whose log odds against the stated model stay below this is not worth a fit of its own.
const HOPELESS: f64 = -5.0;
/// Beyond this many u the fit is made anew in full: a straight line would carry it too far.
const FAR: f64 = 2.0;

/// One alternative after the readings.
#[derive(Debug, Clone)]
pub(crate) struct Alternative {
    /// What it is.
    pub(crate) what: Candidate,
    /// Value of what was set free beyond what was stated, SI, and its standard uncertainty.
    pub(crate) value: f64,
    /// See `value`.
    pub(crate) u: f64,
    /// Change of ln m if it is so.
    pub(crate) shift_of_log_mass: f64,
    /// Probability after the readings, over all alternatives and the stated model.
    pub(crate) weight: f64,
    /// What is unknown in it.
    pub(crate) unknowns: Unknowns,
    /// Its fits.
    pub(crate) averaged: Averaged,
}

/// Every alternative that holds some probability, likeliest first; the rest of 1 is the stated model's.
pub(crate) fn weigh(solved: &Solved<'_>, doubts: Doubts, desk: &Desk) -> Result<Vec<Alternative>, LabError> {
    if solved.bench.model.runs.len() < 2 {
        return Ok(Vec::new());
    }
    let list = candidates(solved);
    let odd = list.iter().filter(|what| what.code == "outlier-run").count().max(1) as f64;
    let wide = Wide::of(solved, &list)?;
    let log_odds = |what: &Candidate| {
        if what.code == "outlier-run" { (doubts.odds / odd).ln() } else { doubts.odds.ln() }
    };
    let judge = |what: &Candidate| wide.judge(solved, *what, log_odds(what));
    let found = in_order(&list, desk.workers, judge)?.into_iter().zip(&list);
    let found = found.filter_map(|(judged, what)| judged.map(|(own, log)| (own, log + log_odds(what))));
    Ok(weighted(found.collect()))
}

/// Applies a function to all of a list on so many threads; the results stand in the order of the list.
fn in_order<T: Sync, R: Send>(
    list: &[T],
    workers: usize,
    of: impl Fn(&T) -> Result<R, LabError> + Sync,
) -> Result<Vec<R>, LabError> {
    let workers = workers.clamp(1, list.len().max(1));
    let of = &of;
    let parts: Vec<Result<Vec<R>, LabError>> = std::thread::scope(|scope| {
        let threads: Vec<_> = (1..workers)
            .map(|first| scope.spawn(move || list.iter().skip(first).step_by(workers).map(of).collect()))
            .collect();
        let mut parts = vec![list.iter().step_by(workers).map(of).collect()];
        let died = || Err(LabError::Internal("a thread of the reduction died".to_owned()));
        parts.extend(threads.into_iter().map(|thread| thread.join().unwrap_or_else(|_| died())));
        parts
    });
    let mut parts: Vec<_> =
        parts.into_iter().map(|part| part.map(Vec::into_iter)).collect::<Result<Vec<_>, _>>()?;
    let count = parts.len().max(1);
    Ok((0..list.len()).filter_map(|i| parts.get_mut(i % count)?.next()).collect())
}

/// Log odds become probabilities.
fn weighted(found: Vec<(Alternative, f64)>) -> Vec<Alternative> {
    // the stated model has log odds 0
    let largest = found.iter().map(|(_, log)| *log).fold(0.0, f64::max);
    let total: f64 = (-largest).exp() + found.iter().map(|(_, log)| (log - largest).exp()).sum::<f64>();
    let mut list: Vec<Alternative> = found
        .into_iter()
        .map(|(alternative, log)| Alternative { weight: (log - largest).exp() / total, ..alternative })
        .collect();
    list.sort_by(|a, b| b.weight.total_cmp(&a.weight));
    list
}

/// The stated fit with a column for everything that an alternative may set free.
struct Wide {
    unknowns: Unknowns,
    about: DVector<f64>,
    at: Linearised,
}

impl Wide {
    fn of(solved: &Solved<'_>, list: &[Candidate]) -> Result<Self, LabError> {
        let mut model = solved.bench.model.clone();
        for what in list {
            if model.unknowns.place(what.unknown).is_none() {
                model.unknowns = model.unknowns.widened(what.unknown, what.wide_u);
            }
        }
        let mut about = DVector::from_vec(model.unknowns.start());
        about.rows_mut(0, solved.joint.estimate.len()).copy_from(&solved.joint.estimate);
        let at = model.linearise(&about)?;
        Ok(Self { unknowns: model.unknowns, about, at })
    }

    /// The fit with one thing set free, taken as linear.
    fn straight(&self, unknowns: &Unknowns) -> Result<Joint, LabError> {
        let places: Vec<usize> =
            unknowns.iter().filter_map(|(_, unknown, _)| self.unknowns.place(unknown)).collect();
        let at = Linearised {
            residuals: self.at.residuals.clone(),
            jacobian: self.at.jacobian.select_columns(&places),
        };
        let about = self.about.select_rows(&places);
        joint::linear::<LabError>(&unknowns.priors(), &about, &at)
            .map_err(|fault| LabError::Internal(format!("an alternative can't be fitted: {fault}")))
    }

    /// The alternative and the logarithm of its evidence over the stated model's; none where it can't matter.
    fn judge(
        &self,
        solved: &Solved<'_>,
        what: Candidate,
        log_odds: f64,
    ) -> Result<Option<(Alternative, f64)>, LabError> {
        let unknowns = solved.bench.model.unknowns.widened(what.unknown, what.wide_u);
        let Some(place) = unknowns.place(what.unknown) else { return Ok(None) };
        let stated = stated_value(solved, what.unknown);
        let model = Model { unknowns: unknowns.clone(), ..solved.bench.model.clone() };
        let straight = self.straight(&unknowns)?;
        let (glance, u) = (straight.estimate[place] - stated, straight.u(place));
        let best = solved.averaged.best_case(&model, &straight)? + log_odds;
        let far = glance.abs() > FAR * u && best > 2.0 * HOPELESS;
        if best < HOPELESS && !far {
            return Ok(None);
        }
        let fitted = if far { in_full(&model, &straight).unwrap_or(straight) } else { straight };
        let averaged = Averaged::of(&model, &fitted)?;
        let log_ratio = |averaged: &Averaged| averaged.log_evidence - solved.averaged.log_evidence;
        let (value, u) = averaged.moments(place);
        let hopeless = log_ratio(&averaged) + log_odds < HOPELESS;
        if hopeless || u > NARROWED * what.wide_u || value - stated < what.least {
            return Ok(None);
        }
        let (log_mass, _) = averaged.moments(mass_place(solved));
        let alternative = Alternative {
            what,
            value: value - stated,
            u,
            shift_of_log_mass: log_mass - solved.averaged.moments(mass_place(solved)).0,
            weight: 0.0,
            unknowns,
            averaged,
        };
        let log_ratio = log_ratio(&alternative.averaged);
        Ok(Some((alternative, log_ratio)))
    }
}

/// What was stated of an unknown, or 0.
fn stated_value(solved: &Solved<'_>, unknown: Unknown) -> f64 {
    let found = solved.bench.model.unknowns.iter().find(|(_, own, _)| *own == unknown);
    found.and_then(|(_, _, prior)| prior.moments()).map_or(0.0, |(mean, _)| mean)
}

/// The full fit of an alternative, from where the straight line leads; none where no ring follows from it.
fn in_full(model: &Model<'_>, straight: &Joint) -> Option<Joint> {
    let mut made = 0;
    let mut kept: Option<nalgebra::DMatrix<f64>> = None;
    let evaluate = |theta: &DVector<f64>| -> Result<Linearised, LabError> {
        match &kept {
            // the derivatives change little near the answer
            Some(jacobian) if made >= 1 => {
                Ok(Linearised { residuals: model.residuals(theta)?, jacobian: jacobian.clone() })
            }
            _ => {
                let at = model.linearise(theta)?;
                made += 1;
                kept = Some(at.jacobian.clone());
                Ok(at)
            }
        }
    };
    joint::fit(&straight.priors, straight.estimate.as_slice(), evaluate).ok()
}

/// The mass if one alternative is so.
pub(super) fn widened(solved: &Solved<'_>, alternative: &Alternative, desk: &Desk) -> Result<Q, LabError> {
    let place = mass_place(solved);
    let count = solved.log_masses.len();
    let draws = alternative.averaged.draws_of(&[place], count, &mut desk.stream(7))?;
    let mut sample: Vec<f64> = draws.iter().map(|log| MASS_UNIT_KG * log.exp()).collect();
    Ok(spread::of_draws(&mut sample))
}
