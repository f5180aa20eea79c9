//! The rows of the field tables judged before anything is fitted: a mistyped row is named with its file and line and left out.
//!
//! A row is held against the others of its table and against the coils' geometry, robustly: the joint fit has Gaussian noise
//! and would bend the coils, the probe and the mass to please one figure with its decimal point in the wrong place.

mod balance;
mod mend;
mod probe;
pub(crate) mod readings;

use std::collections::BTreeSet;

use arcmass_notebook::Notebook;
use arcmass_physics::Vec3;
use arcmass_quantity::print;
use nalgebra::DVector;

use crate::assume::{Apparatus, CoilsKnown};
use crate::desk::LabError;
use crate::document::Finding;
use crate::model::data::{BalanceDatum, ProbeDatum};
use crate::model::{Model, Scope, Unknowns};

/// A row farther from what the others say than this many times their spread is rejected.
const FAR_SPREADS: f64 = 6.0;
/// More rows than this share that disagree leave no others to judge them by.
const MOST_REJECTED: f64 = 1.0 / 3.0;
/// Measured over computed coil constant beyond which one of the two can't be meant: stated sizes and turns are never so far off.
const SENSELESS_RATIO: f64 = 3.0;
/// Coil constants of benches of this kind, T/A: 10 µT/A to 100 mT/A; common practice, no source.
const CONSTANTS_T_PER_A: [f64; 2] = [1e-5, 0.1];

/// A row of a field table that was left out, and why.
#[derive(Debug, Clone, PartialEq)]
pub struct RejectedRow {
    /// The table.
    pub file: String,
    /// Its line, counted from 1.
    pub line: usize,
    /// What it says, what the others lead one to expect, and the likeliest slip.
    pub sentence: String,
}

impl RejectedRow {
    /// The finding `outlier-row`.
    pub(crate) fn finding(&self) -> Finding {
        Finding {
            code: "outlier-row".to_owned(),
            confidence: 0.999,
            sentence: format!("{}, line {}: {}; the row is left out", self.file, self.line, self.sentence),
            remedy: "compare the row with your notes and correct it, or delete it".to_owned(),
        }
    }
}

/// A row with its place in the notebook.
#[derive(Debug, Clone)]
struct Placed<T> {
    datum: T,
    file: String,
    line: usize,
}

/// The rows of both field tables that can be trusted, and those that can't.
#[derive(Debug, Clone, Default)]
pub(crate) struct Screened {
    pub(crate) probe: Vec<ProbeDatum>,
    pub(crate) balance: Vec<BalanceDatum>,
    pub(crate) rejected: Vec<RejectedRow>,
}

/// Judges every row of the probe's and the balance's tables.
///
/// - **Fails** where so many rows disagree that none can be called wrong, or a whole table can't be meant as it is written.
pub(crate) fn screen(notebook: &Notebook, apparatus: &Apparatus) -> Result<Screened, LabError> {
    let geometry = Geometry::of(apparatus)?;
    let (probe, mut rejected) = probe::screen(placed_probe(notebook), apparatus, &geometry)?;
    let (balance, more) = balance::screen(placed_balance(notebook), &geometry)?;
    rejected.extend(more);
    Ok(Screened { probe, balance, rejected })
}

fn placed_probe(notebook: &Notebook) -> Vec<Placed<ProbeDatum>> {
    let lines = notebook
        .probe_tables
        .iter()
        .flat_map(|table| table.rows.iter().map(|row| (table.input.file.clone(), row.line)));
    let data = crate::model::data::probe_rows(notebook);
    data.into_iter().zip(lines).map(|(datum, (file, line))| Placed { datum, file, line }).collect()
}

fn placed_balance(notebook: &Notebook) -> Vec<Placed<BalanceDatum>> {
    let lines = notebook
        .balance
        .iter()
        .flat_map(|table| table.rows.iter().map(|row| (table.input.file.clone(), row.line)));
    let data = crate::model::data::balance_rows(notebook);
    data.into_iter().zip(lines).map(|(datum, (file, line))| Placed { datum, file, line }).collect()
}

/// What the coils' stated sizes say of the field before anything is measured.
struct Geometry<'a> {
    model: Model<'a>,
    shape: crate::model::FieldShape,
    direction: f64,
    /// Of the shape, in its own unit.
    at_centre: f64,
    /// T/A at the centre where sizes and turns give it.
    constant_t_per_a: Option<f64>,
    /// T/A at the centre for one turn on each coil, where sizes are known and turns are not.
    per_turn_t_per_a: Option<f64>,
}

impl<'a> Geometry<'a> {
    fn of(apparatus: &'a Apparatus) -> Result<Self, LabError> {
        let model = Model {
            apparatus,
            unknowns: Unknowns::of(apparatus, &Scope::default()),
            runs: Vec::new(),
            probe: Vec::new(),
            probe_u_t: 0.0,
            balance: Vec::new(),
            balance_u_t: 0.0,
            unstated_diameter_u_m: 0.0,
        };
        let start = DVector::from_vec(model.unknowns.start());
        let values = model.values(&start);
        let shape = model.shape(&values)?;
        let constant_t_per_a =
            if model.is_absolute() { Some(model.field_per_ampere(&values)?) } else { None };
        let per_turn_t_per_a = match &apparatus.coils {
            Some(CoilsKnown::Pair { mean_radius, separation, turns: None, .. }) => {
                let (r, half) = (mean_radius.value, 0.5 * separation.value);
                Some(4e-7 * std::f64::consts::PI * r * r / (r * r + half * half).powf(1.5))
            }
            _ => None,
        };
        let direction = apparatus.field_direction;
        let at_centre = shape.at(Vec3::ZERO, direction)?.norm();
        Ok(Self { direction, at_centre, model, shape, constant_t_per_a, per_turn_t_per_a })
    }

    /// The coils' field at a place over that at the centre, along x, y, z; signed as at the centre for a positive current.
    fn relative(&self, at_m: Vec3) -> Result<Vec3, LabError> {
        Ok(self.shape.at(at_m, self.direction)? * (1.0 / self.at_centre.max(f64::MIN_POSITIVE)))
    }

    /// Whether sizes are known, so that rows away from the centre mean something.
    fn has_sizes(&self) -> bool {
        self.model.apparatus.coils.is_some()
    }

    /// Refuses a measured coil constant that can't be meant.
    fn check_constant(&self, file: &str, measured_t_per_a: f64) -> Result<(), LabError> {
        let measured = measured_t_per_a.abs();
        let shown = |k: f64| format!("{} mT/A", print::significant(1e3 * k, 3));
        let refuse = |expected: String, ratio: Option<f64>| {
            let cause = ratio
                .and_then(mend::unit_of_column)
                .map_or_else(String::new, |words| format!(", as if {words}"));
            Err(LabError::lacking(
                file,
                format!("{file} as a whole gives a coil constant of {}, {expected}{cause}", shown(measured)),
                "check the units in the names of its columns against what probe and ammeter showed, and the turns and \
                 sizes under [coils]",
            ))
        };
        if let Some(computed) = self.constant_t_per_a {
            let ratio = measured / computed;
            if !(1.0 / SENSELESS_RATIO..=SENSELESS_RATIO).contains(&ratio) {
                let expected = format!(
                    "{} times the {} of the coils' turns and sizes",
                    print::significant(ratio, 2),
                    shown(computed)
                );
                return refuse(expected, Some(ratio));
            }
        } else if let Some(per_turn) = self.per_turn_t_per_a {
            let turns = measured / per_turn;
            if !(1.0..=2e4).contains(&turns) {
                let expected = format!(
                    "which coils of the stated sizes make with {} turns each",
                    print::significant(turns, 2)
                );
                return refuse(expected, None);
            }
        }
        if !(CONSTANTS_T_PER_A[0]..=CONSTANTS_T_PER_A[1]).contains(&measured) {
            let [least, most] = CONSTANTS_T_PER_A;
            return refuse(
                format!("where benches of this kind have {} to {}", shown(least), shown(most)),
                None,
            );
        }
        Ok(())
    }
}

/// Takes the rejected rows out of a table.
fn split<T: Clone>(rows: &[Placed<T>], rejected: &BTreeSet<usize>) -> Vec<T> {
    rows.iter()
        .enumerate()
        .filter(|(index, _)| !rejected.contains(index))
        .map(|(_, row)| row.datum.clone())
        .collect()
}

/// Refuses a table in which too many rows disagree with each other for any to be called wrong.
fn check_share<T>(rows: &[Placed<T>], rejected: &BTreeSet<usize>, what: &str) -> Result<(), LabError> {
    if rejected.len() as f64 <= MOST_REJECTED * rows.len() as f64 + 1.0 {
        return Ok(());
    }
    let places: Vec<String> = rejected
        .iter()
        .filter_map(|index| rows.get(*index))
        .take(12)
        .map(|row| format!("{}:{}", row.file, row.line))
        .collect();
    let file = rows.first().map_or("field-probe.csv", |row| row.file.as_str());
    Err(LabError::lacking(
        file,
        format!(
            "{} of {} readings of the {what} follow no common coil constant and background ({})",
            rejected.len(),
            rows.len(),
            places.join(", ")
        ),
        "check the columns' units, the component and the place of each row, and which rows were taken with the coils off",
    ))
}

/// The value at which half of the weight lies below.
fn weighted_median(mut values: Vec<(f64, f64)>) -> Option<f64> {
    values.retain(|(value, weight)| value.is_finite() && *weight > 0.0);
    values.sort_by(|a, b| a.0.total_cmp(&b.0));
    let half = 0.5 * values.iter().map(|(_, weight)| weight).sum::<f64>();
    let mut reached = 0.0;
    for (value, weight) in values {
        reached += weight;
        if reached >= half {
            return Some(value);
        }
    }
    None
}
