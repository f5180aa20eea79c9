//! Which readings to take next so that two things come apart: proposed only once they are seen to do so on simulated readings.

use arcmass_quantity::print;
use nalgebra::{DMatrix, DVector};

use super::mixture::{Mixture, Part};
use crate::desk::LabError;
use crate::model::{RunDatum, Unknown};

/// Settings closer than this, relative, count as one.
pub(super) const SAME_SETTING: f64 = 0.02;
/// Told apart: the readings leave less than this share of what was known beforehand.
const NARROWED: f64 = 0.5;
/// Two models are told apart where the wrong one's χ² grows by this much.
const DECIDED: f64 = 9.0;
/// How often each setting may be asked for.
const TIMES: [usize; 3] = [1, 2, 4];

/// How the four settings are taken.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Way {
    /// As the bench stands.
    Plain,
    /// Each also with the bench turned or the field reversed.
    BothWays,
}

impl Way {
    fn words(self) -> &'static str {
        match self {
            Self::Plain => "",
            Self::BothWays => ", each also with the bench rotated by 180° or with the field reversed",
        }
    }
}

pub(super) fn range(runs: &[RunDatum], of: impl Fn(&RunDatum) -> f64) -> (f64, f64) {
    runs.iter().map(of).fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), x| (low.min(x), high.max(x)))
}

pub(super) fn is_one(runs: &[RunDatum], of: impl Fn(&RunDatum) -> f64) -> bool {
    let (low, high) = range(runs, of);
    high <= low * (1.0 + SAME_SETTING)
}

/// Corners of the range of settings, V and A: lowest and highest voltage, smallest and largest ring.
fn corners(part: &Part<'_>) -> [(f64, f64); 4] {
    let model = &part.model;
    let runs = &model.runs;
    let (v_low, v_high) = range(runs, |run| run.voltage_read_v);
    // from one voltage only, to where most tubes still show a beam
    let (v_low, v_high) =
        if is_one(runs, |run| run.voltage_read_v) { (0.75 * v_low, 1.25 * v_high) } else { (v_low, v_high) };
    // d I / √V is one constant for all runs
    let product: f64 =
        runs.iter().map(|run| run.diameter_m * run.current_read_a / run.voltage_read_v.sqrt()).sum::<f64>()
            / runs.len().max(1) as f64;
    let (d_low, d_high) = range(runs, |run| run.diameter_m);
    let (d_low, d_high) =
        if is_one(runs, |run| run.diameter_m) { (0.75 * d_low, 1.1 * d_high) } else { (d_low, d_high) };
    let ratings = &model.apparatus.ratings;
    let v_high = v_high.min(ratings.voltage_v.unwrap_or(f64::INFINITY));
    // the rating where it is stated, else no more than what the coils have carried
    let most_a = ratings.current_a.unwrap_or_else(|| range(runs, |run| run.current_read_a).1);
    let current = |v: f64, d: f64| (product * v.sqrt() / d).min(most_a);
    [(v_low, d_low), (v_low, d_high), (v_high, d_low), (v_high, d_high)].map(|(v, d)| (v, current(v, d)))
}

fn written(settings: &[(f64, f64)], times: usize, way: Way) -> String {
    let list: Vec<String> = settings
        .iter()
        .map(|(v, a)| format!("{} V and {} A", print::significant(*v, 2), print::significant(*a, 2)))
        .collect();
    let often = match times {
        1 => "",
        2 => ", each twice",
        _ => ", each four times",
    };
    format!("take these four readings{often}{}: {}", way.words(), list.join("; "))
}

/// The proposed runs as they would be read if the part holds.
fn proposed(part: &Part<'_>, settings: &[(f64, f64)], way: Way) -> Result<Vec<RunDatum>, LabError> {
    let model = &part.fitted;
    let values = model.values(&part.joint.estimate);
    let shape = model.shape(&values)?;
    let turns: &[f64] = if way == Way::BothWays { &[0.0, std::f64::consts::PI] } else { &[0.0] };
    let mut runs = Vec::new();
    for (voltage_read_v, current_read_a) in settings {
        for turn in turns {
            let like = model.runs.first().ok_or_else(|| LabError::Internal("no run to go by".into()))?;
            let mut run = RunDatum {
                place: usize::MAX,
                voltage_read_v: *voltage_read_v,
                current_read_a: *current_read_a,
                turned_rad: like.turned_rad + turn,
                ..like.clone()
            };
            // the loss goes as d/V, and d as √V/I
            let by_ring =
                (run.voltage_read_v / like.voltage_read_v).sqrt() * like.current_read_a / run.current_read_a;
            run.loss_share *= by_ring * like.voltage_read_v / run.voltage_read_v;
            run.diameter_m = model.diameter_m(&run, &values, &shape)?;
            runs.push(run);
        }
    }
    Ok(runs)
}

/// Rows of the whitened derivatives of these runs in a part, and how far its own prediction lies from each diameter, in its noise.
fn rows(part: &Part<'_>, runs: &[RunDatum]) -> Result<(DMatrix<f64>, DVector<f64>), LabError> {
    let model = &part.fitted;
    let estimate = &part.joint.estimate;
    let values = model.values(estimate);
    let (shape, shapes) = (model.shape(&values)?, model.shapes(estimate)?);
    let mut rows = DMatrix::zeros(runs.len(), estimate.len());
    let mut off = DVector::zeros(runs.len());
    for (i, run) in runs.iter().enumerate() {
        rows.row_mut(i).copy_from(&model.row_of(run, estimate, &shapes)?.transpose());
        off[i] = (run.diameter_m - model.diameter_m(run, &values, &shape)?) / model.run_noise(run);
    }
    Ok((rows, off))
}

/// Covariance of the readings' whitened prediction, each reading taken so many times, with their own noise.
fn spread(part: &Part<'_>, rows: &DMatrix<f64>, times: usize) -> Option<DMatrix<f64>> {
    let own = DMatrix::identity(rows.nrows(), rows.nrows()) / times as f64;
    (rows * &part.joint.covariance * rows.transpose() + own).try_inverse()
}

/// Four readings that tell an unknown from the mass, if some do; the likeliest model is asked.
pub(super) fn for_unknown(mixture: &Mixture<'_>, unknown: Unknown, way: Way) -> Option<String> {
    let part = mixture.leading();
    let place = part.model.unknowns.place(unknown)?;
    let before = part.joint.priors.get(place)?.moments()?.1;
    let settings = corners(part);
    let (rows, _) = rows(part, &proposed(part, &settings, way).ok()?).ok()?;
    let along = &rows * part.joint.covariance.column(place);
    TIMES.into_iter().find_map(|times| {
        let gained = (spread(part, &rows, times)? * &along).dot(&along);
        let after = (part.joint.covariance[(place, place)] - gained).max(0.0).sqrt();
        (after < NARROWED * before).then(|| written(&settings, times, way))
    })
}

/// Four readings that tell two likely models apart, if some do: simulated by the likelier one, fitted by the other.
pub(super) fn for_models(mixture: &Mixture<'_>) -> Option<String> {
    let mut parts: Vec<&Part<'_>> = mixture.parts.iter().collect();
    parts.sort_by(|a, b| b.weight.total_cmp(&a.weight));
    let [first, second, ..] = parts.as_slice() else { return None };
    let settings = corners(first);
    [Way::Plain, Way::BothWays].into_iter().find_map(|way| {
        let (rows, off) = rows(second, &proposed(first, &settings, way).ok()?).ok()?;
        TIMES.into_iter().find_map(|times| {
            let grown = (spread(second, &rows, times)? * &off).dot(&off);
            (grown > DECIDED).then(|| written(&settings, times, way))
        })
    })
}
