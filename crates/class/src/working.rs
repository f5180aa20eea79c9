//! The group's own sum, step by step: B from the current, speed, mass of each row, and the result from the rows.

use arcmass_notebook::{AskedColumns, ClassGroup, ClassMethod, ClassRow, Written};
use arcmass_quantity::constants::ELEMENTARY_CHARGE;

use crate::physics::{BenchPhysics, accepted_mass_kg};
use crate::slips::Where;

/// What a slip does to the field.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum FieldStep {
    Right,
    /// ln factor.
    Times(f64),
    /// That of one ampere.
    PerAmpere,
    /// Some other constant factor.
    Unlisted,
}

/// What a slip does to the result.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub(crate) enum ResultStep {
    Own,
    Accepted,
    /// v = √(2eV/m) with the accepted m, then m = eBr/v.
    AcceptedSpeed,
    ChargeToMass,
    MassToCharge,
    ExponentSign,
    SlopeInverted,
    ThroughOrigin,
    WeightsNotSquared,
    Unlisted,
}

/// One way to the result, wrong in at most two places.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Work {
    pub(crate) slips: Vec<(&'static str, Where)>,
    pub(crate) prior: f64,
    pub(crate) field: FieldStep,
    /// ln of what stands in the column over the group's B, where the column is in another unit.
    pub(crate) column: f64,
    /// Whether the sum used that column as it stands.
    pub(crate) column_is_used: bool,
    /// ln factor on B after its column.
    pub(crate) after: f64,
    /// ln factor on r.
    pub(crate) radius: f64,
    /// ln factor on V.
    pub(crate) voltage: f64,
    /// ln factor on m in the formula.
    pub(crate) formula: f64,
    pub(crate) field_once: bool,
    pub(crate) radius_once: bool,
    /// ln factors that the speed's column may then have.
    pub(crate) speeds: &'static [f64],
    pub(crate) result: ResultStep,
}

const LN_2: f64 = std::f64::consts::LN_2;
const LN_10: f64 = std::f64::consts::LN_10;

impl Work {
    pub(crate) fn right(prior: f64) -> Self {
        Self {
            slips: Vec::new(),
            prior,
            field: FieldStep::Right,
            column: 0.0,
            column_is_used: false,
            after: 0.0,
            radius: 0.0,
            voltage: 0.0,
            formula: 0.0,
            field_once: false,
            radius_once: false,
            speeds: &[0.0],
            result: ResultStep::Own,
        }
    }

    fn slip(code: &'static str, prior: f64) -> Self {
        Self { slips: vec![(code, Where::Working)], ..Self::right(prior) }
    }

    /// Both, if they go wrong in different places.
    pub(crate) fn with(&self, other: &Self) -> Option<Self> {
        let taken = |a: bool, b: bool| a && b;
        let clash = taken(self.field != FieldStep::Right, other.field != FieldStep::Right)
            || taken(self.column != 0.0, other.column != 0.0)
            || taken(self.after != 0.0, other.after != 0.0)
            || taken(self.radius != 0.0, other.radius != 0.0)
            || taken(self.voltage != 0.0, other.voltage != 0.0)
            || taken(self.formula != 0.0, other.formula != 0.0)
            || taken(self.result != ResultStep::Own, other.result != ResultStep::Own)
            || taken(self.speeds.len() > 1, other.speeds.len() > 1)
            || self.is_unlisted()
            || other.is_unlisted()
            || self.slips.iter().any(|slip| other.slips.iter().any(|o| o.0 == slip.0));
        if clash {
            return None;
        }
        let result = if self.result == ResultStep::Own { other.result } else { self.result };
        Some(Self {
            slips: self.slips.iter().chain(&other.slips).copied().collect(),
            prior: self.prior * other.prior,
            field: if self.field == FieldStep::Right { other.field } else { self.field },
            column: self.column + other.column,
            column_is_used: self.column_is_used || other.column_is_used,
            after: self.after + other.after,
            radius: self.radius + other.radius,
            voltage: self.voltage + other.voltage,
            formula: self.formula + other.formula,
            field_once: self.field_once || other.field_once,
            radius_once: self.radius_once || other.radius_once,
            speeds: if self.speeds.len() > 1 { self.speeds } else { other.speeds },
            result,
        })
    }

    /// Whether it stands for what no slip of the list explains.
    pub(crate) fn is_unlisted(&self) -> bool {
        self.field == FieldStep::Unlisted || self.result == ResultStep::Unlisted
    }
}

/// Priors of the slips of working; judgement, after the frequencies in published tables and reports.
mod prior {
    pub(super) const DIAMETER: f64 = 0.015;
    pub(super) const HALVED: f64 = 0.010;
    pub(super) const DOUBLE_FIELD: f64 = 0.012;
    pub(super) const HALF_FIELD: f64 = 0.010;
    pub(super) const FORMULA_OF_PAIR: f64 = 0.006;
    pub(super) const TWO: f64 = 0.008;
    pub(super) const SQUARE: f64 = 0.006;
    pub(super) const UNIT: f64 = 0.008;
    pub(super) const MU0: f64 = 0.006;
    pub(super) const INNER: f64 = 0.006;
    pub(super) const ACCEPTED: f64 = 0.010;
    pub(super) const RESULT: f64 = 0.008;
    pub(super) const SLOPE: f64 = 0.012;
    pub(super) const WEIGHTS: f64 = 0.006;
    pub(super) const UNLISTED: f64 = 0.004;
}

/// Every single slip of working that this table allows.
pub(crate) fn working_slips(group: &Own, asked: &AskedColumns, bench: Option<&BenchPhysics>) -> Vec<Work> {
    let mut list = vec![Work::right(1.0)];
    let (has_field, judges_field) = (group.has_field(), bench.is_some());
    if judges_field {
        field_slips(bench, &mut list);
        for (factor, share) in [(1e-3, 0.25), (1e-2, 0.25)] {
            // the coils' radius in mm or cm: the field comes out smaller
            let field = FieldStep::Times(f64::ln(factor));
            list.push(Work { field, ..Work::slip("unit-length", prior::UNIT * share) });
        }
    }
    if let (true, Some(column)) = (has_field, &asked.flux_density) {
        for other in [1e-3, 1.0, 1e-4, 1e-6] {
            if other == column.unit {
                continue;
            }
            for column_is_used in [false, true] {
                list.push(Work {
                    slips: vec![("unit-field", Where::Reading)],
                    column: f64::ln(column.unit / other),
                    column_is_used,
                    ..Work::right(prior::UNIT / 6.0)
                });
            }
        }
    }
    for (unit, share) in [(1e-3, 0.6), (1e-4, 0.25), (1e-6, 0.15)] {
        list.push(Work { after: -f64::ln(unit), ..Work::slip("unit-field", prior::UNIT * share) });
    }
    sums(group, asked, &mut list);
    list.push(Work { result: ResultStep::Unlisted, ..Work::right(prior::UNLISTED) });
    if has_field && judges_field {
        list.push(Work { field: FieldStep::Unlisted, ..Work::right(prior::UNLISTED) });
    }
    list
}

fn field_slips(bench: Option<&BenchPhysics>, list: &mut Vec<Work>) {
    let pair = 0.8_f64.powf(1.5);
    let mut times = |code: &'static str, factor: f64, prior: f64| {
        list.push(Work { field: FieldStep::Times(factor.ln()), ..Work::slip(code, prior) });
    };
    times("double-field", 2.0, prior::DOUBLE_FIELD);
    times("half-field", 0.5, prior::HALF_FIELD);
    times("single-loop-field", 0.5 / pair, prior::FORMULA_OF_PAIR);
    times("pair-factor-omitted", 1.0 / pair, prior::FORMULA_OF_PAIR);
    times("pair-factor-inverted", 1.0 / pair.powi(2), prior::FORMULA_OF_PAIR);
    for (number, share) in [
        (0.8_f64.powi(3), 0.3),
        (0.8_f64.powf(2.0 / 3.0), 0.2),
        (0.6_f64.powf(1.5), 0.2),
        (0.064, 0.2),
        (0.8_f64.sqrt(), 0.05),
        (0.64, 0.05),
    ] {
        times("pair-factor-wrong-power", number / pair, prior::FORMULA_OF_PAIR * share);
    }
    let exact = 4.0 * std::f64::consts::PI;
    for number in [1.0, 4.0, 10.0 * exact] {
        times("vacuum-permeability", number / exact, prior::MU0 / 3.0);
    }
    times("unit-current", 1e3, 0.7 * prior::UNIT);
    for factor in bench.iter().flat_map(|bench| &bench.inner_radius_factors) {
        times("inner-coil-radius", *factor, prior::INNER / 2.0);
    }
    list.push(Work { field: FieldStep::PerAmpere, ..Work::slip("field-per-ampere-as-field", prior::SQUARE) });
}

fn sums(group: &Own, asked: &AskedColumns, list: &mut Vec<Work>) {
    if !asked.is_radius {
        list.push(Work { radius: LN_2, ..Work::slip("diameter-as-radius", prior::DIAMETER) });
    }
    list.push(Work { radius: -LN_2, ..Work::slip("radius-halved-twice", prior::HALVED) });
    const OMITTED: &[f64] = &[0.0, -LN_2, -0.5 * LN_2];
    const TWICE: &[f64] = &[0.0, LN_2, 0.5 * LN_2];
    list.push(Work { formula: LN_2, speeds: OMITTED, ..Work::slip("factor-two-omitted", prior::TWO) });
    list.push(Work { formula: -LN_2, speeds: TWICE, ..Work::slip("factor-two-twice", 0.5 * prior::TWO) });
    list.push(Work { formula: -2.0 * LN_2, ..Work::slip("factor-two-twice", 0.5 * prior::TWO) });
    list.push(Work {
        formula: f64::ln(1.25),
        ..Work::slip("closed-form-power", 0.7 * prior::FORMULA_OF_PAIR)
    });
    list.push(Work { field_once: true, ..Work::slip("field-not-squared", prior::SQUARE) });
    list.push(Work { radius_once: true, ..Work::slip("radius-not-squared", prior::SQUARE) });
    for (factor, share) in [(1e3, 0.6), (1e2, 0.25)] {
        list.push(Work { radius: f64::ln(factor), ..Work::slip("unit-length", prior::UNIT * share) });
    }
    list.push(Work { voltage: f64::ln(1e-3), ..Work::slip("unit-voltage", 0.7 * prior::UNIT) });
    let mut result = |code: &'static str, result: ResultStep, prior: f64| {
        list.push(Work { result, ..Work::slip(code, prior) });
    };
    result("accepted-mass-used", ResultStep::Accepted, 0.6 * prior::ACCEPTED);
    result("accepted-mass-used", ResultStep::AcceptedSpeed, 0.4 * prior::ACCEPTED);
    result("ratio-for-mass", ResultStep::ChargeToMass, 0.6 * prior::RESULT);
    result("ratio-for-mass", ResultStep::MassToCharge, 0.4 * prior::RESULT);
    result("exponent-sign", ResultStep::ExponentSign, prior::RESULT);
    if group.method == ClassMethod::Slope {
        result("slope-inverted", ResultStep::SlopeInverted, prior::SLOPE);
        result("slope-through-origin", ResultStep::ThroughOrigin, prior::SLOPE);
    } else if group.u_relative.is_some() {
        result("weights-not-squared", ResultStep::WeightsNotSquared, prior::WEIGHTS);
    }
}

/// A number of the group with what rounding its figures may do, as ln.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct LnWritten {
    pub(crate) ln: f64,
    /// Standard uncertainty from rounding.
    pub(crate) u: f64,
}

impl LnWritten {
    fn of(written: &Written, half_unit: f64) -> Self {
        Self { ln: written.value.ln(), u: (half_unit / written.value).min(0.5) / 3.0_f64.sqrt() }
    }
}

/// A group's own columns and claims.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Own {
    pub(crate) field: Option<Vec<LnWritten>>,
    pub(crate) speed: Option<Vec<LnWritten>>,
    pub(crate) mass: Option<Vec<LnWritten>>,
    pub(crate) claim: Option<LnWritten>,
    /// ln of the mass that the claimed ratio gives: ln e − ln ratio.
    pub(crate) ratio: Option<LnWritten>,
    pub(crate) method: ClassMethod,
    /// Relative uncertainty of each length.
    pub(crate) u_relative: Option<Vec<f64>>,
}

impl Own {
    pub(crate) fn of(group: &ClassGroup) -> Self {
        let column = |of: fn(&ClassRow) -> Option<&Written>| column(&group.rows, of);
        let u: Option<Vec<f64>> =
            group.rows.iter().map(|row| row.length_u_m.map(|u| u / row.length.value)).collect();
        let ln_e = ELEMENTARY_CHARGE.value.ln();
        let claim = |written: &Written| LnWritten::of(written, written.half_unit);
        Self {
            field: column(|row| row.flux_density.as_ref()),
            speed: column(|row| row.speed.as_ref()),
            mass: column(|row| row.mass.as_ref()),
            claim: group.claimed_mass.as_ref().map(claim),
            ratio: group.claimed_ratio.as_ref().map(|written| {
                let own = claim(written);
                LnWritten { ln: ln_e - own.ln, u: own.u }
            }),
            method: group.method.unwrap_or(ClassMethod::Mean),
            u_relative: u.filter(|u| !u.is_empty()),
        }
    }

    pub(crate) fn has_field(&self) -> bool {
        self.field.is_some()
    }

    /// Whether there is anything to judge a sum by.
    pub(crate) fn has_any(&self) -> bool {
        self.field.is_some()
            || self.speed.is_some()
            || self.mass.is_some()
            || self.claim.is_some()
            || self.ratio.is_some()
    }
}

/// Figures of a number as written, zeros in front left out.
fn figures(text: &str) -> i32 {
    let mantissa = text.split(['e', 'E', '×', '*']).next().unwrap_or("");
    let figures: String = mantissa.chars().filter(char::is_ascii_digit).collect();
    i32::try_from(figures.trim_start_matches('0').len()).unwrap_or(1).max(1)
}

/// A column that is given on all rows. A spreadsheet drops zeros at the end: the column's longest number says how many
/// figures were kept.
fn column(rows: &[ClassRow], of: fn(&ClassRow) -> Option<&Written>) -> Option<Vec<LnWritten>> {
    let written: Vec<&Written> = rows.iter().map(of).collect::<Option<_>>()?;
    let kept = written.iter().map(|w| figures(&w.text)).max()?;
    let all = written.iter().map(|w| {
        let whole = w.half_unit * 10.0_f64.powi(figures(&w.text) - kept);
        LnWritten::of(w, whole.min(w.half_unit))
    });
    Some(all.collect())
}

/// What the sum starts from.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Inputs {
    /// ln V, ln I, ln r in SI units.
    pub(crate) voltage: Vec<f64>,
    pub(crate) current: Vec<f64>,
    pub(crate) radius: Vec<f64>,
    /// Relative uncertainty of the mean mass where these are not exactly the group's numbers.
    pub(crate) unsure: f64,
}

/// What a way of working predicts, all as ln.
#[derive(Debug, Clone, PartialEq, Default)]
pub(crate) struct Sum {
    pub(crate) field: Vec<f64>,
    pub(crate) speed: Vec<f64>,
    pub(crate) mass: Vec<f64>,
    pub(crate) claims: Vec<f64>,
}

/// Constants rounded, B rounded on the way: what is no slip; contract, 0.3 % at most.
const ROUNDED: f64 = 0.0013;
/// The same where a group rounded more than usual or averaged in a way of its own.
const SLACK: f64 = 0.005;
const SLACK_SHARE: f64 = 0.03;
/// Rounding on the way that no figure shows, row by row, relative: of B, of what follows from a B that is written, and of
/// what follows from one that is not.
const ROW_OF_FIELD: f64 = 5e-4;
const ROW_AFTER_FIELD: f64 = 8e-4;
const ROW_UNSEEN: f64 = 2e-3;
/// Spread of ln of what no slip explains.
const UNLISTED: f64 = 6.0;

/// ln of a normal density with a small share of a wider one.
fn ln_tolerant(residual: f64, u: f64) -> f64 {
    let normal = |sd: f64| (-0.5 * (residual / sd).powi(2)).exp() / sd;
    let tight = normal(u.hypot(ROUNDED)) * (1.0 - SLACK_SHARE) + normal(u.hypot(SLACK)) * SLACK_SHARE;
    if tight > 1e-280 {
        return tight.ln() - LN_ROOT_2PI;
    }
    let sd = u.hypot(SLACK);
    -0.5 * (residual / sd).powi(2) - sd.ln() + SLACK_SHARE.ln() - LN_ROOT_2PI
}

const LN_ROOT_2PI: f64 = 0.918_938_533_204_672_8;

/// ln density of residuals with a common factor that may be off by rounding, and noise of each row from its last figure.
fn ln_column(own: &[LnWritten], expected: &[f64], row_u: f64, tolerant: bool) -> f64 {
    let (mut weights, mut weighted, mut squares, mut ln_det) = (0.0, 0.0, 0.0, 0.0);
    for (own, expected) in own.iter().zip(expected) {
        let (residual, variance) = (own.ln - expected, own.u * own.u + row_u * row_u);
        weights += 1.0 / variance;
        weighted += residual / variance;
        squares += residual * residual / variance;
        ln_det += variance.ln();
    }
    let mean = weighted / weights;
    let scatter = squares - weighted * mean;
    let rows = own.len() as f64;
    let within =
        -0.5 * scatter - 0.5 * ln_det - rows * LN_ROOT_2PI + 0.5 * (1.0 / weights).ln() + LN_ROOT_2PI;
    let u = (1.0 / weights).sqrt();
    if tolerant {
        within + ln_tolerant(mean, u)
    } else {
        let sd = u.hypot(UNLISTED);
        within - 0.5 * (mean / sd).powi(2) - sd.ln() - LN_ROOT_2PI
    }
}

/// One field that the group may have taken, as ln B of each row.
pub(crate) type FieldOfRows = Vec<f64>;

/// Predicts a group's columns and claim.
pub(crate) fn sum(
    inputs: &Inputs,
    own: &Own,
    work: &Work,
    right: &FieldOfRows,
    per_ampere: f64,
    variant: Variant,
) -> Sum {
    let n = inputs.voltage.len();
    let field: Vec<f64> = match work.field {
        FieldStep::Right | FieldStep::Unlisted => right.clone(),
        FieldStep::Times(factor) => right.iter().map(|b| b + factor).collect(),
        FieldStep::PerAmpere => vec![per_ampere; n],
    };
    let column: Vec<f64> = field.iter().map(|b| b + work.column).collect();
    // what the group went on with: its own figures, where it wrote them
    let used: Vec<f64> = match &own.field {
        Some(own) => {
            let back = if work.column_is_used { 0.0 } else { work.column };
            own.iter().map(|own| own.ln - back + work.after).collect()
        }
        None => field.iter().map(|b| b + work.after).collect(),
    };
    let ln_e = ELEMENTARY_CHARGE.value.ln();
    let ln_accepted = accepted_mass_kg().ln();
    let mut sum = Sum { field: column, ..Sum::default() };
    for (row, used) in used.iter().enumerate() {
        let (v, r) = (inputs.voltage[row] + work.voltage, inputs.radius[row] + work.radius);
        let accepted_speed = 0.5 * (LN_2 + ln_e + v - ln_accepted);
        let speed = match work.result {
            ResultStep::AcceptedSpeed => accepted_speed,
            _ => LN_2 + v - used - r,
        };
        let powers = (if work.field_once { 1.0 } else { 2.0 }, if work.radius_once { 1.0 } else { 2.0 });
        let mass = match work.result {
            ResultStep::AcceptedSpeed => ln_e + used + r - accepted_speed,
            _ => ln_e + work.formula + powers.0 * used + powers.1 * r - LN_2 - v,
        };
        sum.speed.push(speed);
        sum.mass.push(mass);
    }
    // the group's own masses, where it wrote them and all are masses
    let masses: Vec<f64> = match &own.mass {
        Some(own) if work.result != ResultStep::AcceptedSpeed => own.iter().map(|own| own.ln).collect(),
        _ => sum.mass.clone(),
    };
    let own_result = match own.method {
        ClassMethod::Slope => slope_mass(inputs, work, &used, ln_e, variant),
        _ => averaged(&masses, own, work, variant),
    };
    let claim = match work.result {
        ResultStep::Accepted => ln_accepted,
        ResultStep::ChargeToMass => ln_e - own_result,
        ResultStep::MassToCharge => own_result - ln_e,
        ResultStep::ExponentSign => flipped(own_result),
        _ => own_result,
    };
    sum.claims = vec![claim];
    sum
}

/// ln of the number with the sign of its power of ten lost.
fn flipped(ln: f64) -> f64 {
    let power = (ln / LN_10).floor();
    ln - 2.0 * power * LN_10
}

/// Which of several right ways a result was made.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Variant {
    /// Mean of masses, or r² against V.
    First,
    /// Mean of ratios, or V against r².
    Second,
    /// Weighted by 1/u², or (of a slip) another kind of weight.
    Third,
}

fn averaged(masses: &[f64], own: &Own, work: &Work, variant: Variant) -> f64 {
    let n = masses.len().max(1) as f64;
    let top = masses.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let low = masses.iter().copied().fold(f64::INFINITY, f64::min);
    let weighted = |weight: &dyn Fn(usize) -> f64| {
        let (mut sum, mut weights) = (0.0, 0.0);
        for (row, mass) in masses.iter().enumerate() {
            sum += weight(row) * (mass - top).exp();
            weights += weight(row);
        }
        top + (sum / weights).ln()
    };
    let u = |row: usize| own.u_relative.as_ref().map_or(1.0, |u| u[row]);
    let mass_u = |row: usize| u(row) * (masses[row] - top).exp();
    if work.result == ResultStep::WeightsNotSquared {
        return match variant {
            Variant::First => weighted(&|row| 1.0 / mass_u(row)),
            _ => weighted(&|row| 1.0 / u(row)),
        };
    }
    let by_ratio = || low - (masses.iter().map(|mass| (low - mass).exp()).sum::<f64>() / n).ln();
    match (own.method, variant) {
        (_, Variant::Third) => weighted(&|row| mass_u(row).powi(-2)),
        (ClassMethod::MeanRatio, Variant::First) | (ClassMethod::Mean, Variant::Second) => by_ratio(),
        _ => weighted(&|_| 1.0),
    }
}

/// From a line of r² against V (first way) or of V against r²; one current.
fn slope_mass(inputs: &Inputs, work: &Work, used: &[f64], ln_e: f64, variant: Variant) -> f64 {
    let n = used.len().max(1) as f64;
    let ln_b = (used.iter().map(|b| b.exp()).sum::<f64>() / n).ln();
    let power = if work.radius_once { 1.0 } else { 2.0 };
    let x: Vec<f64> = inputs.voltage.iter().map(|v| (v + work.voltage).exp()).collect();
    let y: Vec<f64> = inputs.radius.iter().map(|r| (power * (r + work.radius)).exp()).collect();
    let is_through_origin = work.result == ResultStep::ThroughOrigin;
    let slope = match variant {
        Variant::Second => 1.0 / slope(&y, &x, is_through_origin),
        _ => slope(&x, &y, is_through_origin),
    };
    let ln_slope = if slope > 0.0 { slope.ln() } else { f64::NAN };
    let ln_slope = if work.result == ResultStep::SlopeInverted { -ln_slope } else { ln_slope };
    ln_e + work.formula + (if work.field_once { 1.0 } else { 2.0 }) * ln_b + ln_slope - LN_2
}

fn slope(x: &[f64], y: &[f64], is_through_origin: bool) -> f64 {
    let n = x.len().max(1) as f64;
    let mean = |of: &[f64]| if is_through_origin { 0.0 } else { of.iter().sum::<f64>() / n };
    let (mx, my) = (mean(x), mean(y));
    let up: f64 = x.iter().zip(y).map(|(x, y)| (x - mx) * (y - my)).sum();
    up / x.iter().map(|x| (x - mx).powi(2)).sum::<f64>()
}

/// ln density of all that the group wrote of its own sum.
///
/// `judges_field` is false where no bench tells the field; what stands in the column is then taken as it is.
pub(crate) fn ln_likelihood(sum: &Sum, own: &Own, work: &Work, unsure: f64, judges_field: bool) -> f64 {
    let mut total = 0.0;
    let row_u = if own.field.is_some() { ROW_AFTER_FIELD } else { ROW_UNSEEN };
    if let (Some(own), true) = (&own.field, judges_field) {
        let is_unlisted = work.field == FieldStep::Unlisted;
        total += ln_column(own, &sum.field, ROW_OF_FIELD, !is_unlisted);
    }
    if let Some(own) = &own.speed {
        let each = work.speeds.iter().map(|factor| {
            let expected: Vec<f64> = sum.speed.iter().map(|v| v + factor).collect();
            ln_column(own, &expected, row_u, true)
        });
        let each: Vec<f64> = each.collect();
        total += ln_mean(&each);
    }
    let is_unlisted = work.result == ResultStep::Unlisted;
    if let Some(own) = &own.mass {
        total += ln_column(own, &sum.mass, row_u, !is_unlisted);
    }
    let has_field_without_bench = judges_field || own.field.is_some();
    if !has_field_without_bench && own.mass.is_none() {
        return total;
    }
    // an accepted ratio or mass beside the other is one claim
    for (claim, is_ratio) in [(own.claim, false), (own.ratio, true)] {
        let (Some(claim), Some(expected)) = (claim, sum.claims.first()) else { continue };
        let expected = if is_ratio { as_ratio(work, *expected, own.claim.is_some()) } else { *expected };
        if !expected.is_finite() {
            return f64::NEG_INFINITY;
        }
        let residual = claim.ln - expected;
        total += if is_unlisted {
            -0.5 * (residual / UNLISTED).powi(2) - UNLISTED.ln() - LN_ROOT_2PI
        } else {
            ln_tolerant(residual, claim.u.hypot(unsure))
        };
    }
    total
}

/// What stands as the ratio where a slip of the result was made with it: the claim is kept as ln of e over it.
fn as_ratio(work: &Work, expected: f64, is_beside_a_mass: bool) -> f64 {
    let ln_e = ELEMENTARY_CHARGE.value.ln();
    let own_result = match work.result {
        ResultStep::ChargeToMass => ln_e - expected,
        ResultStep::MassToCharge => ln_e + expected,
        ResultStep::ExponentSign => flipped(expected),
        _ => return expected,
    };
    match work.result {
        _ if is_beside_a_mass => own_result,
        // what stands for e/m is then m, or m/e, or e/m with the other sign of its power
        ResultStep::ChargeToMass => ln_e - own_result,
        ResultStep::MassToCharge => 2.0 * ln_e - own_result,
        _ => ln_e - flipped(ln_e - own_result),
    }
}

/// ln of the mean of exponentials.
pub(crate) fn ln_mean(values: &[f64]) -> f64 {
    ln_sum(values) - (values.len().max(1) as f64).ln()
}

/// ln of the sum of exponentials.
pub(crate) fn ln_sum(values: &[f64]) -> f64 {
    let top = values.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    if top == f64::NEG_INFINITY {
        return top;
    }
    top + values.iter().map(|value| (value - top).exp()).sum::<f64>().ln()
}
