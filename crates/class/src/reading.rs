//! What may be wrong with what was written: each hypothesis says which readings lie behind the written ones.

use arcmass_notebook::{AskedColumns, ClassRow};
use arcmass_quantity::misread::exchanged_figures;

/// A quantity of a row.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Quantity {
    Voltage,
    Current,
    Length,
}

/// One thing done to true readings on the way to the table.
#[derive(Debug, Clone, PartialEq)]
pub(crate) enum Step {
    /// Written = true × factor, in these rows.
    Scale { of: Quantity, factor: f64, rows: std::ops::Range<usize> },
    /// Voltage and current exchanged, as numbers in the columns' units.
    Swap { ratio: f64 },
    /// Diameter written = true + mean ± sd, m.
    Add { mean: f64, sd: f64 },
    /// ln written = ln true + mean ± sd.
    Ratio { mean: f64, sd: f64 },
    /// A chord: shorter by a share common to the rows, and by one of each row's own.
    Chord { mean: f64, sd: f64, row_sd: f64 },
    /// A chord always so far beside the centre: d − 2 h²/d; m².
    ChordAt { mean: f64, sd: f64 },
    /// The row's true number is this one.
    Replace { of: Quantity, row: usize, value: f64 },
    /// The row fits nothing.
    Any { row: usize },
}

/// A hypothesis about one group's table.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct ReadingSlip {
    /// Empty for none.
    pub(crate) code: &'static str,
    pub(crate) steps: Vec<Step>,
    /// Rows it stands in; none where every row has it.
    pub(crate) rows: Option<Vec<usize>>,
    /// A second slip at once.
    pub(crate) second: Option<(&'static str, Option<Vec<usize>>)>,
    pub(crate) prior: f64,
}

impl ReadingSlip {
    fn new(code: &'static str, steps: Vec<Step>, rows: Option<Vec<usize>>, prior: f64) -> Self {
        Self { code, steps, rows, second: None, prior }
    }

    /// This one and another at once.
    pub(crate) fn and(&self, other: &Self) -> Self {
        Self {
            steps: self.steps.iter().chain(&other.steps).cloned().collect(),
            second: Some((other.code, other.rows.clone())),
            prior: self.prior * other.prior,
            ..self.clone()
        }
    }

    /// The row of a slip of one number, and by how much taking it back changes ln d written over predicted.
    pub(crate) fn one_number(&self, written: &Mended, written_d: &[f64]) -> Option<(usize, f64)> {
        let [step] = self.steps.as_slice() else { return None };
        let (of, row, ratio) = match step {
            Step::Scale { of, factor, rows } if rows.len() == 1 => (*of, rows.start, 1.0 / factor),
            Step::Replace { of, row, value } => {
                let own = match of {
                    Quantity::Voltage => written.voltage[*row],
                    Quantity::Current => written.current[*row],
                    Quantity::Length => written_d[*row],
                };
                (*of, *row, value / own)
            }
            _ => return None,
        };
        let by = match of {
            Quantity::Voltage => -0.5,
            Quantity::Current | Quantity::Length => 1.0,
        };
        Some((row, by * ratio.ln()))
    }

    /// Codes and rows of what was done.
    pub(crate) fn parts(&self) -> Vec<(&'static str, Option<Vec<usize>>)> {
        let first = (!self.code.is_empty()).then(|| (self.code, self.rows.clone()));
        first.into_iter().chain(self.second.clone()).collect()
    }
}

/// Rows as the table means them: diameters in metres.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Mended {
    pub(crate) voltage: Vec<f64>,
    pub(crate) current: Vec<f64>,
    /// Written diameter = factor × (true × ratio + added).
    pub(crate) factor: Vec<f64>,
    pub(crate) ratio: Vec<f64>,
    pub(crate) added: Vec<f64>,
    /// One shared unknown each: standard deviation, and how ln d changes with it, by the true diameter.
    pub(crate) free: Vec<Free>,
    /// Further variance of ln d, row by row.
    pub(crate) variance: Vec<f64>,
}

/// A continuous unknown of a slip.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum Free {
    Add(f64),
    Ratio(f64),
    ChordAt(f64),
}

/// ln d of a row that fits nothing.
const ANY_SD: f64 = 0.3;

impl Mended {
    pub(crate) fn of(rows: &[ClassRow]) -> Self {
        let n = rows.len();
        Self {
            voltage: rows.iter().map(|row| row.voltage.value).collect(),
            current: rows.iter().map(|row| row.current.value).collect(),
            factor: vec![1.0; n],
            ratio: vec![1.0; n],
            added: vec![0.0; n],
            free: Vec::new(),
            variance: vec![0.0; n],
        }
    }

    /// Takes one step back, from the table towards the true readings.
    pub(crate) fn undo(&mut self, step: &Step, written_d: &[f64]) {
        match step {
            Step::Scale { of, factor, rows } => {
                for row in rows.clone() {
                    match of {
                        Quantity::Voltage => self.voltage[row] /= factor,
                        Quantity::Current => self.current[row] /= factor,
                        Quantity::Length => self.factor[row] *= factor,
                    }
                }
            }
            Step::Swap { ratio } => {
                for (voltage, current) in self.voltage.iter_mut().zip(&mut self.current) {
                    (*voltage, *current) = (*current * ratio, *voltage / ratio);
                }
            }
            Step::Add { mean, sd } => {
                self.added.iter_mut().for_each(|added| *added += mean);
                if *sd > 0.0 {
                    self.free.push(Free::Add(*sd));
                }
            }
            Step::Ratio { mean, sd } => {
                self.ratio.iter_mut().for_each(|ratio| *ratio *= mean.exp());
                self.free.push(Free::Ratio(*sd));
            }
            Step::Chord { mean, sd, row_sd } => {
                self.ratio.iter_mut().for_each(|ratio| *ratio *= mean.exp());
                self.free.push(Free::Ratio(*sd));
                self.variance.iter_mut().for_each(|variance| *variance += row_sd * row_sd);
            }
            Step::ChordAt { mean, sd } => {
                for (ratio, d) in self.ratio.iter_mut().zip(written_d) {
                    *ratio *= (1.0 - 2.0 * mean / (d * d)).max(0.5);
                }
                self.free.push(Free::ChordAt(*sd));
            }
            Step::Replace { of, row, value } => match of {
                Quantity::Voltage => self.voltage[*row] = *value,
                Quantity::Current => self.current[*row] = *value,
                Quantity::Length => self.factor[*row] *= written_d[*row] / value,
            },
            Step::Any { row } => self.variance[*row] += ANY_SD * ANY_SD,
        }
    }
}

/// What the bench says of slips with a size.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Sizes {
    /// Of the beam, m.
    pub(crate) beam_width: f64,
    pub(crate) beam_width_u: f64,
}

/// Priors of the slips of readings, before anything is seen; judgement, after the frequencies in published tables and
/// reports.
mod prior {
    pub(super) const DIAMETER_OR_RADIUS: f64 = 0.014;
    pub(super) const TOTAL_CURRENT: f64 = 0.008;
    pub(super) const HALF_CURRENT: f64 = 0.006;
    pub(super) const SWAPPED: f64 = 0.008;
    pub(super) const UNIT: f64 = 0.006;
    pub(super) const RANGE_ALL: f64 = 0.002;
    pub(super) const RANGE_FROM: f64 = 0.002;
    pub(super) const RANGE_ONE: f64 = 0.003;
    pub(super) const OUTER: f64 = 0.008;
    pub(super) const INNER: f64 = 0.006;
    pub(super) const ZERO: f64 = 0.007;
    pub(super) const SIDE: f64 = 0.005;
    pub(super) const PARALLAX: f64 = 0.006;
    pub(super) const CHORD: f64 = 0.004;
    pub(super) const TRANSPOSED: f64 = 0.012;
    pub(super) const ROW: f64 = 0.008;
}

/// No slip in the table.
pub(crate) fn no_slip(prior: f64) -> ReadingSlip {
    ReadingSlip::new("", Vec::new(), None, prior)
}

/// Every single slip of reading that this table allows.
pub(crate) fn reading_slips(rows: &[ClassRow], asked: &AskedColumns, sizes: &Sizes) -> Vec<ReadingSlip> {
    let mut slips = Vec::new();
    whole_tables(rows.len(), asked, &mut slips);
    sized(sizes, &mut slips);
    ranges(rows.len(), asked, &mut slips);
    for (index, row) in rows.iter().enumerate() {
        transposed(index, row, asked, &mut slips);
    }
    let share = prior::ROW / rows.len().max(1) as f64;
    if rows.len() > 1 {
        slips.extend(
            (0..rows.len()).map(|row| {
                ReadingSlip::new("one-row-differs", vec![Step::Any { row }], Some(vec![row]), share)
            }),
        );
    }
    let all: f64 = slips.iter().filter(|slip| slip.code == "digits-transposed").map(|slip| slip.prior).sum();
    for slip in slips.iter_mut().filter(|slip| slip.code == "digits-transposed") {
        slip.prior *= prior::TRANSPOSED / all;
    }
    slips
}

fn whole_tables(n: usize, asked: &AskedColumns, slips: &mut Vec<ReadingSlip>) {
    let mut scale = |code: &'static str, of: Quantity, factor: f64, prior: f64| {
        slips.push(ReadingSlip::new(code, vec![Step::Scale { of, factor, rows: 0..n }], None, prior));
    };
    if asked.is_radius {
        scale("diameter-as-radius", Quantity::Length, 2.0, prior::DIAMETER_OR_RADIUS);
        scale("radius-halved-twice", Quantity::Length, 0.5, 0.4 * prior::DIAMETER_OR_RADIUS);
    } else {
        scale("radius-in-diameter-column", Quantity::Length, 0.5, prior::DIAMETER_OR_RADIUS);
    }
    scale("total-current", Quantity::Current, 2.0, prior::TOTAL_CURRENT);
    scale("half-current", Quantity::Current, 0.5, prior::HALF_CURRENT);
    for other in [1.0, 1e-3] {
        if other != asked.current.unit {
            scale("unit-current", Quantity::Current, asked.current.unit / other, prior::UNIT);
        }
    }
    for other in [1.0, 1e3] {
        if other != asked.voltage.unit {
            scale("unit-voltage", Quantity::Voltage, asked.voltage.unit / other, prior::UNIT);
        }
    }
    for other in LENGTH_UNITS {
        if other != asked.length.unit {
            scale("unit-length", Quantity::Length, asked.length.unit / other, prior::UNIT);
        }
    }
    let swap = Step::Swap { ratio: asked.voltage.unit / asked.current.unit };
    slips.push(ReadingSlip::new("columns-swapped", vec![swap], None, prior::SWAPPED));
}

const LENGTH_UNITS: [f64; 3] = [1e-3, 1e-2, 1.0];

fn sized(sizes: &Sizes, slips: &mut Vec<ReadingSlip>) {
    let mut one = |code: &'static str, step: Step, prior: f64| {
        slips.push(ReadingSlip::new(code, vec![step], None, prior));
    };
    let (w, u) = (sizes.beam_width, sizes.beam_width_u.hypot(0.1 * sizes.beam_width));
    one("outer-edge", Step::Add { mean: w, sd: u }, prior::OUTER);
    one("inner-edge", Step::Add { mean: -w, sd: u }, prior::INNER);
    one("scale-zero", Step::Add { mean: 0.010, sd: 1.5e-4 }, prior::ZERO);
    for sign in [1.0, -1.0] {
        for (mean, sd) in [(5e-3, 1.5e-3), (9e-3, 3e-3), (16e-3, 5e-3)] {
            one("one-side-of-scale", Step::Add { mean: sign * mean, sd }, prior::SIDE / 6.0);
        }
        for (mean, sd) in [(0.025, 0.01), (0.05, 0.02), (0.10, 0.04)] {
            one("parallax", Step::Ratio { mean: sign * mean, sd }, prior::PARALLAX / 6.0);
        }
    }
    for (mean, row_sd) in [(-0.02, 0.012), (-0.035, 0.025), (-0.07, 0.045)] {
        one("chord-not-diameter", Step::Chord { mean, sd: 0.4 * -mean, row_sd }, prior::CHORD / 6.0);
    }
    for (mean, sd) in [(6e-5, 3e-5), (1.5e-4, 6e-5), (3e-4, 1e-4)] {
        one("chord-not-diameter", Step::ChordAt { mean, sd }, prior::CHORD / 6.0);
    }
}

fn ranges(n: usize, asked: &AskedColumns, slips: &mut Vec<ReadingSlip>) {
    for of in [Quantity::Voltage, Quantity::Current, Quantity::Length] {
        for factor in [10.0, 0.1] {
            let mut one = |rows: std::ops::Range<usize>, prior: f64| {
                let named = (rows.len() < n).then(|| rows.clone().collect());
                let steps = vec![Step::Scale { of, factor, rows }];
                slips.push(ReadingSlip::new("range-factor-ten", steps, named, prior));
            };
            let other: f64 = asked.length.unit / factor;
            let is_unit =
                of == Quantity::Length && LENGTH_UNITS.iter().any(|unit| (unit / other - 1.0).abs() < 1e-9);
            if !is_unit || n == 1 {
                one(0..n, prior::RANGE_ALL / 2.0);
            }
            if n < 2 {
                continue;
            }
            (0..n).for_each(|row| one(row..row + 1, prior::RANGE_ONE / 2.0 / n as f64));
            (1..n.saturating_sub(1)).for_each(|from| one(from..n, prior::RANGE_FROM / 2.0 / n as f64));
            // a range set right after the first rows
            (2..n).for_each(|to| one(0..to, 0.3 * prior::RANGE_FROM / 2.0 / n as f64));
        }
    }
}

/// Figures that are no neighbours are exchanged so much more seldom.
const FAR_APART: f64 = 0.15;

fn transposed(index: usize, row: &ClassRow, asked: &AskedColumns, slips: &mut Vec<ReadingSlip>) {
    let doubled = if asked.is_radius { 2.0 } else { 1.0 };
    let quantities = [
        (Quantity::Voltage, &row.voltage, asked.voltage.unit),
        (Quantity::Current, &row.current, asked.current.unit),
        (Quantity::Length, &row.length, doubled * asked.length.unit),
    ];
    for (of, written, unit) in quantities {
        for (value, are_neighbours) in
            exchanged_figures(&written.text).into_iter().filter(|pair| pair.0 > 0.0)
        {
            let own = if of == Quantity::Length { doubled * written.value } else { written.value };
            // a change that no reading could tell from noise is no slip to name
            let change = value * unit / own;
            let is_factor_ten = [10.0, 0.1].iter().any(|ten| (change / ten - 1.0).abs() < 1e-9);
            if (change - 1.0).abs() < 0.004 || is_factor_ten {
                continue;
            }
            let step = Step::Replace { of, row: index, value: value * unit };
            let share = if are_neighbours { 1.0 } else { FAR_APART };
            slips.push(ReadingSlip::new("digits-transposed", vec![step], Some(vec![index]), share));
        }
    }
}
