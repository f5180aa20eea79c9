//! What may lie outside what was stated: one wide alternative at a time, weighed by its evidence.
//!
//! An alternative adds one unknown `a` with a wide normal prior (u_w) to the fit; everything else stays as stated. With the
//! fit linear about its estimate, `a` enters through a column `c` over the whitened residuals r of observations and priors:
//! s = cᵀ(1 − J C Jᵀ)c is what the data know of it once everything else is refitted, t = −cᵀr what they say, and
//! evidence(alternative)/evidence(stated) = (1 + u_w² s)^(−½) exp(½ u_w² t²/(1 + u_w² s)).

use arcmass_fit::joint::{Joint, Prior};
use arcmass_fit::truncated::standard_normal;
use nalgebra::DVector;

use super::{MASS_UNIT_KG, Solved, mass_place};
use crate::desk::Desk;
use crate::document::Q;
use crate::model::{Model, Unknown};
use crate::spread;

/// Odds of each alternative before any reading: one bench in twenty has it. With the price that a wide prior pays (Occam's
/// factor), a clean bench then needs a pull of more than 3 u for a finding, about 1 case in 100 over all alternatives.
const PRIOR_ODDS: f64 = 0.05;
/// An alternative that the readings do not narrow to this share of its wide prior says nothing and is left out.
const NARROWED: f64 = 0.5;

/// One alternative after the readings.
#[derive(Debug, Clone)]
pub(crate) struct Alternative {
    /// Fixed name.
    pub(crate) code: &'static str,
    /// Run meant, for `outlier-run`.
    pub(crate) run: Option<usize>,
    /// Value of the added unknown in `unit`, and its standard uncertainty.
    pub(crate) value: f64,
    /// See `value`.
    pub(crate) u: f64,
    /// Of `value`.
    pub(crate) unit: &'static str,
    /// Number shown = SI number × factor.
    pub(crate) factor: f64,
    /// Change of ln m if it is so.
    pub(crate) shift_of_log_mass: f64,
    /// Probability after the readings, over all alternatives and the stated model.
    pub(crate) weight: f64,
    by_mass: f64,
}

/// All alternatives with their weights, likeliest first; the rest of 1 is the stated model's.
pub(crate) fn weigh(solved: &Solved<'_>) -> Vec<Alternative> {
    let runs = solved.bench.model.runs.len();
    if runs < 2 {
        return Vec::new();
    }
    let whitened = Whitened::of(&solved.joint);
    let columns = columns(solved);
    let inflation = inflation(solved, &whitened, &columns);
    let outliers = columns.iter().filter(|column| column.run.is_some()).count().max(1) as f64;
    let mut found: Vec<(Alternative, f64)> = Vec::new();
    for column in &columns {
        if let Some((alternative, log_ratio)) = whitened.judge(solved, column, inflation) {
            let odds = if column.run.is_some() { PRIOR_ODDS / outliers } else { PRIOR_ODDS };
            found.push((alternative, odds.ln() + log_ratio));
        }
    }
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

/// A column to try.
struct Column {
    code: &'static str,
    run: Option<usize>,
    unit: &'static str,
    factor: f64,
    wide_u: f64,
    /// Over the observations.
    data: DVector<f64>,
    /// Over the priors: place and derivative of (θ − mean)/u.
    prior: Option<(usize, f64)>,
}

fn columns(solved: &Solved<'_>) -> Vec<Column> {
    let model = &solved.bench.model;
    let mut list = Vec::new();
    let widened = [
        (Unknown::VoltageOffset, "voltage-offset", "V", 1.0, 50.0),
        (Unknown::BackgroundZ, "stray-field-axial", "µT", 1e6, 200e-6),
        (Unknown::BackgroundX, "stray-field-transverse", "µT", 1e6, 200e-6),
        (Unknown::BackgroundY, "stray-field-transverse", "µT", 1e6, 200e-6),
        (Unknown::CoilSeparation, "coil-separation", "mm", 1e3, 15e-3),
        (Unknown::DirectionAcross, "gun-tilt", "°", 180.0 / std::f64::consts::PI, 0.1),
    ];
    for (unknown, code, unit, factor, wide_u) in widened {
        if let Some(place) = model.unknowns.place(unknown)
            && let Some((_, u)) = solved.joint.priors.get(place).and_then(|prior| Prior::moments(*prior))
        {
            list.push(Column {
                code,
                run: None,
                unit,
                factor,
                wide_u,
                data: DVector::zeros(solved.joint.at.residuals.len()),
                prior: Some((place, -1.0 / u)),
            });
        }
    }
    list.extend(added(solved));
    list
}

/// Alternatives that no unknown of the stated model holds.
fn added(solved: &Solved<'_>) -> Vec<Column> {
    let model = &solved.bench.model;
    let rows = solved.joint.at.residuals.len();
    let column = |code, unit, factor, wide_u, data| Column {
        code,
        run: None,
        unit,
        factor,
        wide_u,
        data,
        prior: None,
    };
    let runs = model.runs.len();
    let by_run = |of: &dyn Fn(usize) -> f64| {
        DVector::from_fn(
            rows,
            |row, _| if row < runs { of(row) / model.run_noise(&model.runs[row]) } else { 0.0 },
        )
    };
    // every diameter read too large by the same length
    let mut list = vec![column("edge-offset", "mm", 1e3, 3e-3, by_run(&|_| -1.0))];
    // the beam loses energy on its way: loss ∝ path length × stopping power, so ∝ d/V; d ∝ √V
    let count = runs.max(1) as f64;
    let mean = |of: &dyn Fn(usize) -> f64| (0..runs).map(of).sum::<f64>() / count;
    let typical = mean(&|i| model.runs[i].diameter_m / model.runs[i].voltage_read_v);
    let loss = |i: usize| {
        let run = &model.runs[i];
        let share = run.diameter_m / run.voltage_read_v / typical;
        0.5 * run.diameter_m / run.voltage_read_v * share
    };
    list.push(column("gas-loss", "V", 1.0, 15.0, by_run(&loss)));
    if model.is_absolute() && !model.probe.is_empty() {
        // the coils make another field than their sizes say: runs and probe see it alike
        list.push(column("field-scale", "%", 100.0, 0.2, coil_factor(model, rows)));
    }
    if runs >= 4 {
        list.extend((0..runs).map(|i| {
            let data = by_run(&|row| if row == i { -model.runs[i].diameter_m } else { 0.0 });
            Column { run: Some(i), ..column("outlier-run", "%", 100.0, 0.3, data) }
        }));
    }
    list
}

/// Derivative of all whitened residuals by a factor on the coils' field.
fn coil_factor(model: &Model<'_>, rows: usize) -> DVector<f64> {
    let runs = model.runs.len();
    DVector::from_fn(rows, |row, _| {
        if row < runs {
            model.runs[row].diameter_m / model.run_noise(&model.runs[row])
        } else if let Some(probe) = model.probe.get(row - runs) {
            let is_axial = probe.axis == arcmass_notebook::Axis::Z;
            let per_ampere = if is_axial { axial_field_per_ampere(model) } else { 0.0 };
            -probe.sign * per_ampere * probe.current_read_a / model.probe_u_t
        } else {
            0.0
        }
    })
}

fn axial_field_per_ampere(model: &Model<'_>) -> f64 {
    let start = DVector::from_vec(model.unknowns.start());
    model.field_per_ampere(&model.values(&start)).unwrap_or(0.0) * model.apparatus.field_direction
}

/// Residuals of observations and priors, and what the refit of everything else leaves of a column.
struct Whitened<'a> {
    joint: &'a Joint,
    prior_residuals: DVector<f64>,
    prior_u: Vec<Option<f64>>,
}

impl<'a> Whitened<'a> {
    fn of(joint: &'a Joint) -> Self {
        let moments: Vec<Option<(f64, f64)>> = joint.priors.iter().map(|prior| prior.moments()).collect();
        let prior_residuals = DVector::from_iterator(
            moments.len(),
            moments.iter().zip(joint.estimate.iter()).map(|(m, x)| m.map_or(0.0, |(mean, u)| (x - mean) / u)),
        );
        Self { joint, prior_residuals, prior_u: moments.into_iter().map(|m| m.map(|(_, u)| u)).collect() }
    }

    /// Information s, pull t, and the change of all estimates with `a`.
    fn parts(&self, column: &Column) -> (f64, f64, DVector<f64>) {
        let mut projected = self.joint.at.jacobian.transpose() * &column.data;
        let mut square = column.data.norm_squared();
        let mut pull = -column.data.dot(&self.joint.at.residuals);
        if let Some((place, by)) = column.prior
            && let Some(u) = self.prior_u.get(place).copied().flatten()
        {
            projected[place] += by / u;
            square += by * by;
            pull -= by * self.prior_residuals[place];
        }
        let moved = -(&self.joint.covariance * &projected);
        (square + projected.dot(&moved), pull, moved)
    }

    /// The alternative and the logarithm of its evidence over the stated model's; none where the readings don't narrow it.
    fn judge(&self, solved: &Solved<'_>, column: &Column, inflation: f64) -> Option<(Alternative, f64)> {
        let (information, pull, moved) = self.parts(column);
        let (information, pull) = (information / inflation, pull / inflation);
        let wide = column.wide_u * column.wide_u;
        let precision = information + 1.0 / wide;
        let (value, u) = (pull / precision, precision.sqrt().recip());
        if information <= 0.0
            || !information.is_finite()
            || u > NARROWED * column.wide_u
            || (column.code == "gas-loss" && value < 0.0)
        {
            return None;
        }
        let occam = -0.5 * (wide * information).ln_1p();
        let log_ratio = occam + 0.5 * pull * pull / precision;
        let by_mass = moved[mass_place(solved)];
        let alternative = Alternative {
            code: column.code,
            run: column.run,
            value,
            u,
            unit: column.unit,
            factor: column.factor,
            shift_of_log_mass: by_mass * value,
            weight: 0.0,
            by_mass,
        };
        Some((alternative, log_ratio))
    }
}

/// How much the stated uncertainties understate the scatter: χ²/ν of the best alternative, at least 1.
///
/// Without it, diameters that scatter more than they claim would look like an effect.
fn inflation(solved: &Solved<'_>, whitened: &Whitened<'_>, columns: &[Column]) -> f64 {
    let freedom = solved.bench.model.runs.len().saturating_sub(2).max(1) as f64;
    let whole = super::agreement::runs_chi_squared(&solved.bench, &solved.joint).unwrap_or(0.0);
    let explained = columns
        .iter()
        .filter(|column| column.data.norm_squared() > 0.0 || column.prior.is_some())
        .map(|column| {
            let (information, pull, _) = whitened.parts(column);
            pull * pull / (information + 1.0 / (column.wide_u * column.wide_u)).max(f64::MIN_POSITIVE)
        })
        .fold(0.0, f64::max);
    ((whole - explained) / freedom).max(1.0)
}

/// The mass over all models, each with its weight.
pub(super) fn mixture(solved: &Solved<'_>, alternatives: &[Alternative], desk: &Desk) -> Q {
    let place = mass_place(solved);
    let best = solved.joint.estimate[place];
    let mut rng = desk.stream(4);
    let mut sample: Vec<f64> = Vec::with_capacity(solved.draws.nrows());
    for change in solved.draws.column(place).iter() {
        // a uniform number from the normal one keeps to one stream of one kind
        let mut share =
            0.5 * statrs::function::erf::erfc(standard_normal(&mut rng) * std::f64::consts::FRAC_1_SQRT_2);
        let z = standard_normal(&mut rng);
        let mut log_mass = best + change;
        for alternative in alternatives {
            if share < alternative.weight {
                log_mass += alternative.by_mass * (alternative.value + alternative.u * z);
                break;
            }
            share -= alternative.weight;
        }
        sample.push(MASS_UNIT_KG * log_mass.exp());
    }
    spread::of_draws(&mut sample)
}

/// The mass if one alternative is so.
pub(super) fn widened(solved: &Solved<'_>, alternative: &Alternative, desk: &Desk) -> Q {
    let certain = Alternative { weight: 2.0, ..alternative.clone() };
    mixture(solved, &[certain], desk)
}
