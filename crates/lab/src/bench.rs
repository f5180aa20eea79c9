//! A notebook turned into the model of its bench: which readings there are, and how noisy each kind is.

use arcmass_fit::{Line, LinePoint, fit_line, york};
use arcmass_notebook::Notebook;
use nalgebra::DVector;

use crate::assume::Apparatus;
use crate::desk::LabError;
use crate::document::PhotoEntry;
use crate::model::data::runs;
use crate::model::{GUESSED_DIAMETER_U_M, Model, ProbeDatum, RunDatum, Scope, Unknowns};
use crate::screen::{RejectedRow, Screened, screen};

/// The straight line through the probe's readings at the centre.
#[derive(Debug, Clone)]
pub struct ProbeLine {
    /// As fitted: slope T/A, intercept T, as the meters read.
    pub line: Line,
    /// Readings on it, in the order of the tables: A, T.
    pub points: Vec<(f64, f64)>,
    /// Whether the scatter of the readings itself set the uncertainty.
    pub from_scatter: bool,
}

/// The probe's I → B line, if it has at least two different currents.
///
/// Errors in both coordinates (York et al., Am. J. Phys. 72 (2004) 367) where the meters' noise is stated; else unweighted,
/// with the uncertainty from the scatter.
pub fn probe_line(rows: &[ProbeDatum], apparatus: &Apparatus) -> Result<Option<ProbeLine>, LabError> {
    let points: Vec<(f64, f64)> = rows
        .iter()
        .filter(|row| row.is_on_line())
        .map(|row| (row.current_read_a, row.flux_density_read_t))
        .collect();
    let first = points.first().map_or(0.0, |point| point.0);
    if points.len() < 2 || points.iter().all(|point| point.0 == first) {
        return Ok(None);
    }
    let (u_x, u_y) = (apparatus.ammeter.per_reading_u, apparatus.probe.per_reading_u);
    let from_scatter = u_y <= 0.0;
    let line = if from_scatter {
        if points.len() < 3 {
            return Ok(None);
        }
        let (x, y): (Vec<f64>, Vec<f64>) = points.iter().copied().unzip();
        fit_line(&x, &y, arcmass_fit::Intercept::Free)
    } else {
        let weighted: Vec<LinePoint> =
            points.iter().map(|(x, y)| LinePoint { x: *x, u_x, y: *y, u_y, correlation: 0.0 }).collect();
        york(&weighted)
    };
    let line = line.map_err(|fault| {
        LabError::lacking(
            "field-probe.csv",
            format!("no line fits the probe's readings: {fault}"),
            "check the table",
        )
    })?;
    Ok(Some(ProbeLine { line, points, from_scatter }))
}

/// Root mean square of the line's residuals, with its two parameters counted, T.
pub fn scatter(line: &ProbeLine) -> f64 {
    let square = |(x, y): &(f64, f64)| (y - line.line.intercept - line.line.slope * x).powi(2);
    let freedom = line.points.len().saturating_sub(2).max(1) as f64;
    (line.points.iter().map(square).sum::<f64>() / freedom).sqrt()
}

/// Noise of one probe reading: as stated, or as the line's scatter shows where that is all there is.
fn probe_noise(apparatus: &Apparatus, line: Option<&ProbeLine>, noise_is_stated: bool) -> f64 {
    let stated = apparatus.probe.per_reading_u;
    let seen = line.filter(|line| line.points.len() > 2).map_or(0.0, scatter);
    let noise = if noise_is_stated { stated } else { stated.max(seen) };
    if noise > 0.0 { noise } else { FALLBACK_PROBE_NOISE_T }
}

/// A probe about which nothing can be known reads to 10 µT, common practice, no source.
const FALLBACK_PROBE_NOISE_T: f64 = 10e-6;

/// A notebook's model with all that was left out of it.
pub struct Bench<'a> {
    /// The model of the runs that count, and of the field tables.
    pub model: Model<'a>,
    /// All runs with a diameter, struck ones too, in the order of the table.
    pub all_runs: Vec<RunDatum>,
    /// Names of runs without a diameter.
    pub without_diameter: Vec<String>,
    /// What data there are.
    pub scope: Scope,
    /// The probe's line, if there is one.
    pub line: Option<ProbeLine>,
    /// Probe rows that say nothing here: away from the centre where no coil sizes are known.
    pub probe_rows_left_out: usize,
    /// Rows of the field tables that belong to none of the others.
    pub rejected_rows: Vec<RejectedRow>,
}

/// Joins the notebook's readings into one model.
pub fn bench<'a>(
    notebook: &Notebook,
    apparatus: &'a Apparatus,
    photos: &[PhotoEntry],
) -> Result<Bench<'a>, LabError> {
    let Screened { probe: rows, balance, rejected } = screen(notebook, apparatus)?;
    let line = probe_line(&rows, apparatus)?;
    let total = rows.len();
    let probe: Vec<ProbeDatum> = if apparatus.coils.is_some() {
        rows
    } else {
        rows.into_iter().filter(|row| row.at_m.norm() < 1e-3).collect()
    };
    let (all_runs, without_diameter, mut scope) = runs(notebook, apparatus, photos);
    scope.has_probe = !probe.is_empty();
    let noise_is_stated = notebook.bench.meters.probe.as_ref().is_some_and(|meter| meter.noise.is_some());
    let balance_u_t = balance_noise(&balance);
    let probe_u_t = probe_noise(apparatus, line.as_ref(), noise_is_stated);
    let mut model = Model {
        apparatus,
        unknowns: Unknowns::of(apparatus, &scope),
        runs: all_runs.iter().filter(|run| !run.is_struck).cloned().collect(),
        probe_u_t,
        balance,
        balance_u_t,
        unstated_diameter_u_m: GUESSED_DIAMETER_U_M,
        probe,
    };
    set_current_noise(&mut model, line.as_ref())?;
    let probe_rows_left_out = total - model.probe.len();
    Ok(Bench { model, all_runs, without_diameter, scope, line, probe_rows_left_out, rejected_rows: rejected })
}

/// What one reading's noise of the ammeter makes of each probe reading: by the coils as stated, or by the probe's own line.
fn set_current_noise(model: &mut Model<'_>, line: Option<&ProbeLine>) -> Result<(), LabError> {
    let start = DVector::from_vec(model.unknowns.start());
    let values = model.values(&start);
    let shape = model.shape(&values)?;
    let is_known = model.is_absolute() || model.apparatus.field_per_ampere.is_some();
    let slope = line.map(|line| line.line.slope.abs()).filter(|_| !is_known);
    let per_ampere = slope.unwrap_or_else(|| model.per_ampere(&values));
    let (u_a, direction) = (model.apparatus.ammeter.per_reading_u, model.apparatus.field_direction);
    for row in model.probe.iter_mut().filter(|row| row.current_read_a != 0.0) {
        let at = shape.at(row.at_m, direction)?;
        row.current_noise_t = ([at.x, at.y, at.z][row.axis.index()] * per_ampere * u_a).abs();
    }
    Ok(())
}

/// Scatter of the balance's readings about a line through the origin, T; 1 % of the largest where there are too few.
fn balance_noise(rows: &[crate::model::data::BalanceDatum]) -> f64 {
    let sum_xx: f64 = rows.iter().map(|row| row.current_read_a.powi(2)).sum();
    if sum_xx <= 0.0 {
        return FALLBACK_PROBE_NOISE_T;
    }
    let slope = rows.iter().map(|row| row.current_read_a * row.flux_density_t).sum::<f64>() / sum_xx;
    let largest = rows.iter().map(|row| row.flux_density_t.abs()).fold(0.0, f64::max);
    if rows.len() < 3 {
        return 0.01 * largest;
    }
    let square =
        |row: &crate::model::data::BalanceDatum| (row.flux_density_t - slope * row.current_read_a).powi(2);
    let noise = (rows.iter().map(square).sum::<f64>() / (rows.len() - 1) as f64).sqrt();
    noise.max(1e-6 * largest)
}
