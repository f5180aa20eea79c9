//! Reading a value with its unit and its uncertainty: `150.0(5) mm`, `150 mm ± 0.5 mm`, `150 ± 1 mm (limit)`.

use crate::dimension::{self, Dimension};
use crate::number::{self, NumberFault};
use crate::unit::{self, Unit};

/// How well a stated value is known.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub enum Uncertainty {
    /// Nothing was said.
    #[default]
    Unstated,
    /// One standard uncertainty, in SI.
    Standard(f64),
    /// Half-width of a rectangular distribution, in SI.
    Limit(f64),
}

impl Uncertainty {
    /// One standard uncertainty, or none if nothing was said. A limit ± a has u = a/√3 (JCGM 100:2008, 4.3.7).
    pub fn standard(self) -> Option<f64> {
        match self {
            Self::Unstated => None,
            Self::Standard(u) => Some(u),
            Self::Limit(half_width) => Some(half_width / 3.0_f64.sqrt()),
        }
    }
}

/// A value as somebody stated it.
#[derive(Debug, Clone, PartialEq)]
pub struct Stated {
    /// In SI base units.
    pub value: f64,
    /// In SI base units.
    pub uncertainty: Uncertainty,
    /// The unit it was written in.
    pub unit: Unit,
}

impl Stated {
    /// One standard uncertainty in SI, if any was stated.
    pub fn standard_uncertainty(&self) -> Option<f64> {
        self.uncertainty.standard()
    }
}

/// Why a text is not a value with a unit.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum TextFault {
    /// The number itself.
    #[error("{0}")]
    Number(#[from] NumberFault),
    /// No unit where one belongs.
    #[error("`{found}` has no unit; {kind} needs one, such as `{example}`")]
    MissingUnit {
        /// As written.
        found: String,
        /// "a length".
        kind: &'static str,
        /// A well-formed text.
        example: &'static str,
    },
    /// A unit we don't know.
    #[error("`{found}` is not a unit known here; {kind} is written in {known}")]
    UnknownUnit {
        /// The piece not understood.
        found: String,
        /// "a length".
        kind: &'static str,
        /// Units of that kind, joined.
        known: String,
    },
    /// A unit of another kind.
    #[error("`{found}` is {is}, but {wanted} belongs here, such as `{example}`")]
    WrongKind {
        /// As written.
        found: String,
        /// What it measures.
        is: &'static str,
        /// What belongs here.
        wanted: &'static str,
        /// A well-formed text.
        example: &'static str,
    },
    /// An uncertainty below zero.
    #[error("the uncertainty in `{0}` is negative; it must be 0 or more")]
    NegativeUncertainty(String),
    /// Bracket and ±, or two ±.
    #[error("`{0}` states two uncertainties; state one")]
    TwoUncertainties(String),
    /// A bracket that is not closed or holds no number.
    #[error("the bracket in `{0}` must hold the uncertainty of the last digits, as in `150.0(5) mm`")]
    Bracket(String),
}

/// Reads a value of a given kind.
///
/// - **Takes** any of `150.0(5) mm`, `7.773(0.043) G/A`, `150 mm ± 0.5 mm`, `150 ± 0.5 mm`, `150 mm ± 0.3 %`,
///   `(150.0 ± 0.5) mm`, `150 mm ± 1 mm (limit)`, with `+-` for `±`, `1.2e-3 T`, `9.12(7) × 10⁻³¹ kg`, and no blank needed
///   before the unit.
/// - **Gives** the value in SI.
/// - **Fails** with the one [`TextFault`] that stands in the way.
pub fn parse(text: &str, kind: Dimension) -> Result<Stated, TextFault> {
    let whole = number::plain(text).replace("+/-", "±").replace("+-", "±");
    let (body, limit) = strip_limit(&whole);
    let body = unwrap_brackets(body);
    let mut sides = body.split('±');
    let left = Side::read(sides.next().unwrap_or_default(), &whole)?;
    let right = sides.next().map(|side| Side::read(side, &whole)).transpose()?;
    if sides.next().is_some() || (right.is_some() && left.bracket.is_some()) {
        return Err(TextFault::TwoUncertainties(whole.clone()));
    }
    let unit_text = match &right {
        Some(right) if left.unit.is_empty() => right.unit,
        _ => left.unit,
    };
    let unit = unit_of(unit_text, kind, &whole)?;
    let value = to_si(left.value, unit.si);
    let width = match (&right, left.bracket) {
        (Some(right), _) => Some(right_width(right, &left, &unit, value, kind, &whole)?),
        (None, Some(bracket)) => Some(to_si(bracket, unit.si)),
        (None, None) => None,
    };
    if width.is_some_and(|width| width < 0.0) {
        return Err(TextFault::NegativeUncertainty(whole.clone()));
    }
    let uncertainty = match (width, limit) {
        (None, _) => Uncertainty::Unstated,
        (Some(width), false) => Uncertainty::Standard(width),
        (Some(width), true) => Uncertainty::Limit(width),
    };
    Ok(Stated { value, uncertainty, unit })
}

/// One side of a `±`: number, bracket, unit.
struct Side<'a> {
    value: f64,
    bracket: Option<f64>,
    unit: &'a str,
}

impl<'a> Side<'a> {
    fn read(text: &'a str, whole: &str) -> Result<Self, TextFault> {
        let head = number::mantissa(text)?;
        let (early_power, rest) = number::power_of_ten(head.rest);
        let (bracket, rest) = bracket(rest, whole)?;
        let (late_power, rest) = if bracket.is_some() { number::power_of_ten(rest) } else { (0, rest) };
        let power = early_power.saturating_add(late_power);
        let value = number::value(head.digits, power)?;
        let bracket = match bracket {
            Some(digits) if digits.contains('.') => Some(number::value(digits, power)?),
            Some(digits) => Some(number::value(digits, power.saturating_sub(head.decimals))?),
            None => None,
        };
        Ok(Self { value, bracket, unit: rest.trim() })
    }
}

fn bracket<'a>(text: &'a str, whole: &str) -> Result<(Option<&'a str>, &'a str), TextFault> {
    let Some(rest) = text.strip_prefix('(') else {
        return Ok((None, text));
    };
    let fault = || TextFault::Bracket(whole.to_owned());
    let (digits, rest) = rest.split_once(')').ok_or_else(fault)?;
    if digits.trim_start().starts_with('-') {
        return Err(TextFault::NegativeUncertainty(whole.to_owned()));
    }
    let good = !digits.is_empty() && digits.chars().all(|c| c.is_ascii_digit() || c == '.');
    if good && digits.matches('.').count() < 2 { Ok((Some(digits), rest)) } else { Err(fault()) }
}

fn strip_limit(text: &str) -> (&str, bool) {
    let trimmed = text.trim_end();
    match trimmed.strip_suffix("(limit)").or_else(|| trimmed.strip_suffix("(limits)")) {
        Some(rest) => (rest.trim_end(), true),
        None => (trimmed, false),
    }
}

/// `(150.0 ± 0.5) mm` → `150.0 ± 0.5 mm`.
fn unwrap_brackets(text: &str) -> String {
    let inner = text.trim_start().strip_prefix('(').and_then(|rest| rest.split_once(')'));
    match inner {
        Some((inside, after)) if inside.contains('±') => format!("{inside} {after}"),
        _ => text.to_owned(),
    }
}

fn unit_of(text: &str, kind: Dimension, whole: &str) -> Result<Unit, TextFault> {
    if text.is_empty() {
        return if kind == dimension::RATIO {
            Ok(Unit { symbol: String::new(), dimension: kind, si: 1.0 })
        } else {
            Err(TextFault::MissingUnit {
                found: whole.to_owned(),
                kind: kind.name(),
                example: kind.example(),
            })
        };
    }
    let unit = unit::parse(text).map_err(|piece| TextFault::UnknownUnit {
        found: piece,
        kind: kind.name(),
        known: known_units(kind),
    })?;
    if unit.dimension == kind {
        Ok(unit)
    } else {
        let found = whole.to_owned();
        Err(TextFault::WrongKind {
            found,
            is: unit.dimension.name(),
            wanted: kind.name(),
            example: kind.example(),
        })
    }
}

fn known_units(kind: Dimension) -> String {
    let symbols = unit::symbols_of(kind);
    if symbols.is_empty() { format!("a form such as `{}`", kind.example()) } else { symbols.join(", ") }
}

fn right_width(
    right: &Side<'_>,
    left: &Side<'_>,
    unit: &Unit,
    value: f64,
    kind: Dimension,
    whole: &str,
) -> Result<f64, TextFault> {
    if right.bracket.is_some() {
        return Err(TextFault::TwoUncertainties(whole.to_owned()));
    }
    let relative =
        right.unit == "%" && (kind != dimension::RATIO || (left.unit.is_empty() && unit.symbol != "%"));
    if relative {
        return Ok(right.value * 0.01 * value.abs());
    }
    let own = if right.unit.is_empty() { unit.clone() } else { unit_of(right.unit, kind, whole)? };
    Ok(to_si(right.value, own.si))
}

/// Multiplies by a unit's size; a power of ten below one divides instead, so that 150.1 mm is the double nearest 0.1501.
fn to_si(value: f64, si: f64) -> f64 {
    let inverse = (1.0 / si).round();
    if si < 1.0 && inverse < 1e9 && ((inverse * si) - 1.0).abs() < 1e-15 {
        value / inverse
    } else {
        value * si
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::dimension::{FIELD_PER_AMPERE, FLUX_DENSITY, LENGTH, MASS, RATIO};

    fn read(text: &str, kind: Dimension) -> (f64, Uncertainty) {
        let stated = parse(text, kind).unwrap_or_else(|fault| panic!("{text}: {fault}"));
        (stated.value, stated.uncertainty)
    }

    fn standard(text: &str, kind: Dimension, value: f64, u: f64) {
        let (got, uncertainty) = read(text, kind);
        let got_u = uncertainty.standard().unwrap();
        assert!((got - value).abs() <= 1e-14 * value.abs(), "{text}: {got}");
        assert!((got_u - u).abs() <= 1e-12 * u.abs(), "{text}: u {got_u}");
    }

    #[test]
    fn every_form_of_the_contract_is_read() {
        standard("150.0(5) mm", LENGTH, 0.150, 0.0005);
        standard("150 mm ± 0.5 mm", LENGTH, 0.150, 0.0005);
        standard("150 ± 0.5 mm", LENGTH, 0.150, 0.0005);
        standard("150 mm ± 0.3 %", LENGTH, 0.150, 0.00045);
        standard("150 mm +- 0.05 cm", LENGTH, 0.150, 0.0005);
        standard("(150.0 ± 0.5) mm", LENGTH, 0.150, 0.0005);
        standard("150.0(5)mm", LENGTH, 0.150, 0.0005);
        standard("7.773(0.043) G/A", FIELD_PER_AMPERE, 7.773e-4, 4.3e-6);
        standard("\u{2212}45(10) uT", FLUX_DENSITY, -45e-6, 10e-6);
        standard("0(30) µT", FLUX_DENSITY, 0.0, 30e-6);
        standard("9.12(7)e-31 kg", MASS, 9.12e-31, 0.07e-31);
        standard("9.12(7) × 10⁻³¹ kg", MASS, 9.12e-31, 0.07e-31);
        standard("1.48 ± 0.02", RATIO, 1.48, 0.02);
        assert_eq!(read("1.2e-3 T", FLUX_DENSITY), (1.2e-3, Uncertainty::Unstated));
        assert_eq!(read("0.5 %", RATIO).0, 0.005);
    }

    #[test]
    fn a_limit_is_a_rectangle() {
        let (value, uncertainty) = read("150 mm ± 1 mm (limit)", LENGTH);
        assert_eq!((value, uncertainty), (0.150, Uncertainty::Limit(0.001)));
        assert!((uncertainty.standard().unwrap() - 0.001 / 3.0_f64.sqrt()).abs() < 1e-18);
    }

    fn fault(text: &str, kind: Dimension) -> String {
        parse(text, kind).unwrap_err().to_string()
    }

    #[test]
    fn each_fault_says_what_must_be_and_what_was_found() {
        assert_eq!(
            fault("12 V", LENGTH),
            "`12 V` is a voltage, but a length belongs here, such as `150.0(5) mm`"
        );
        assert_eq!(fault("150,0 mm", LENGTH), "`150,0 mm` has a decimal comma; write `150.0 mm`");
        assert_eq!(fault("150", LENGTH), "`150` has no unit; a length needs one, such as `150.0(5) mm`");
        assert_eq!(
            fault("150 ell", LENGTH),
            "`ell` is not a unit known here; a length is written in m, cm, mm, um, nm, km, in"
        );
        assert_eq!(
            fault("150 mm ± -1 mm", LENGTH),
            "the uncertainty in `150 mm ± -1 mm` is negative; it must be 0 or more"
        );
        assert_eq!(
            fault("150(5) mm ± 1 mm", LENGTH),
            "`150(5) mm ± 1 mm` states two uncertainties; state one"
        );
        assert_eq!(fault("nan mm", LENGTH), "`nan mm` is not a finite number");
        assert_eq!(fault("-inf mm", LENGTH), "`-inf mm` is not a finite number");
        assert_eq!(fault("wide", LENGTH), "`wide` is not a number");
        assert_eq!(fault("", LENGTH), "nothing was written");
        assert!(fault("150(x) mm", LENGTH).contains("bracket"));
        assert!(fault("1e999 mm", LENGTH).contains("finite"));
    }
}
