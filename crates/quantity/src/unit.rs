//! The units of this trade, their products and quotients.

use crate::constants::{ATOMIC_MASS, ELEMENTARY_CHARGE};
use crate::dimension::{self, Dimension};

/// A unit: its dimension and its size in SI base units.
#[derive(Debug, Clone, PartialEq)]
pub struct Unit {
    /// As the person wrote it, blanks tidied.
    pub symbol: String,
    /// What it measures.
    pub dimension: Dimension,
    /// How many SI units one of it is.
    pub si: f64,
}

const INCH_M: f64 = 0.0254; // exact by definition (international inch, 1959)
const GAUSS_T: f64 = 1e-4; // exact
const TORR_PA: f64 = 101_325.0 / 760.0; // exact by definition

/// Symbol, dimension, size in SI.
const TABLE: [(&str, Dimension, f64); 48] = [
    ("%", dimension::RATIO, 0.01),
    ("m", dimension::LENGTH, 1.0),
    ("cm", dimension::LENGTH, 1e-2),
    ("mm", dimension::LENGTH, 1e-3),
    ("um", dimension::LENGTH, 1e-6),
    ("nm", dimension::LENGTH, 1e-9),
    ("km", dimension::LENGTH, 1e3),
    ("in", dimension::LENGTH, INCH_M),
    ("s", dimension::TIME, 1.0),
    ("ms", dimension::TIME, 1e-3),
    ("us", dimension::TIME, 1e-6),
    ("ns", dimension::TIME, 1e-9),
    ("kg", dimension::MASS, 1.0),
    ("g", dimension::MASS, 1e-3),
    ("mg", dimension::MASS, 1e-6),
    ("u", dimension::MASS, ATOMIC_MASS.value),
    ("A", dimension::CURRENT, 1.0),
    ("mA", dimension::CURRENT, 1e-3),
    ("uA", dimension::CURRENT, 1e-6),
    ("rad", dimension::ANGLE, 1.0),
    ("mrad", dimension::ANGLE, 1e-3),
    ("deg", dimension::ANGLE, std::f64::consts::PI / 180.0),
    ("°", dimension::ANGLE, std::f64::consts::PI / 180.0),
    ("V", dimension::VOLTAGE, 1.0),
    ("mV", dimension::VOLTAGE, 1e-3),
    ("kV", dimension::VOLTAGE, 1e3),
    ("T", dimension::FLUX_DENSITY, 1.0),
    ("mT", dimension::FLUX_DENSITY, 1e-3),
    ("uT", dimension::FLUX_DENSITY, 1e-6),
    ("nT", dimension::FLUX_DENSITY, 1e-9),
    ("G", dimension::FLUX_DENSITY, GAUSS_T),
    ("mG", dimension::FLUX_DENSITY, 1e-3 * GAUSS_T),
    ("kG", dimension::FLUX_DENSITY, 1e3 * GAUSS_T),
    ("J", dimension::ENERGY, 1.0),
    ("eV", dimension::ENERGY, ELEMENTARY_CHARGE.value),
    ("keV", dimension::ENERGY, 1e3 * ELEMENTARY_CHARGE.value),
    ("MeV", dimension::ENERGY, 1e6 * ELEMENTARY_CHARGE.value),
    ("Pa", dimension::PRESSURE, 1.0),
    ("hPa", dimension::PRESSURE, 100.0),
    ("mPa", dimension::PRESSURE, 1e-3),
    ("mbar", dimension::PRESSURE, 100.0),
    ("ubar", dimension::PRESSURE, 0.1),
    ("torr", dimension::PRESSURE, TORR_PA),
    ("Torr", dimension::PRESSURE, TORR_PA),
    ("N", dimension::FORCE, 1.0),
    ("mN", dimension::FORCE, 1e-3),
    ("C", dimension::CHARGE, 1.0),
    ("e", dimension::CHARGE, ELEMENTARY_CHARGE.value),
];

/// The symbols a person may write, for messages.
pub fn symbols_of(kind: Dimension) -> Vec<&'static str> {
    TABLE.iter().filter(|row| row.1 == kind).map(|row| row.0).collect()
}

/// Reads a unit: one symbol, or symbols joined by `/`, `per`, `·`, `*` or a blank, with `^2` or `²` and brackets.
///
/// `mT/A`, `G/A`, `kg m/s`, `N/(e m/s)` and `N per e·m/s` are all understood. After a bare `/` only the next symbol
/// goes below the line; after `per`, and inside brackets, everything does.
///
/// - **Gives** the unit, or the piece that was not understood.
pub fn parse(text: &str) -> Result<Unit, String> {
    let tidy = text.trim().replace(['µ', 'μ'], "u").replace('"', "in");
    let mut reader = Reader { rest: &tidy };
    let (dimension, si) = reader.product(false)?;
    if reader.rest.trim().is_empty() {
        Ok(Unit { symbol: text.trim().to_owned(), dimension, si })
    } else {
        Err(reader.rest.trim().to_owned())
    }
}

struct Reader<'a> {
    rest: &'a str,
}

impl Reader<'_> {
    fn product(&mut self, nested: bool) -> Result<(Dimension, f64), String> {
        let (mut dimension, mut si) = self.factor()?;
        loop {
            self.rest = self.rest.trim_start();
            if self.rest.is_empty() || (nested && self.rest.starts_with(')')) {
                return Ok((dimension, si));
            }
            let (sign, (d, s)) = if let Some(rest) = self.rest.strip_prefix("per ") {
                self.rest = rest;
                (-1, self.product(nested)?)
            } else if let Some(rest) = self.rest.strip_prefix('/') {
                self.rest = rest;
                (-1, self.factor()?)
            } else {
                self.rest = self.rest.trim_start_matches(['·', '*', '⋅']);
                (1, self.factor()?)
            };
            dimension = dimension.times(d, sign);
            si *= s.powi(i32::from(sign));
        }
    }

    fn factor(&mut self) -> Result<(Dimension, f64), String> {
        self.rest = self.rest.trim_start();
        if let Some(rest) = self.rest.strip_prefix('(') {
            self.rest = rest;
            let inner = self.product(true)?;
            self.rest = self.rest.strip_prefix(')').ok_or_else(|| "(".to_owned())?;
            return Ok(inner);
        }
        let end = self
            .rest
            .char_indices()
            .find(|(_, c)| !(c.is_alphabetic() || matches!(c, '%' | '°')))
            .map_or(self.rest.len(), |(i, _)| i);
        let (symbol, rest) = self.rest.split_at(end);
        let row = TABLE
            .iter()
            .find(|row| row.0 == symbol)
            .ok_or_else(|| if symbol.is_empty() { self.rest.to_owned() } else { symbol.to_owned() })?;
        self.rest = rest;
        let power = self.power();
        Ok((dimension::RATIO.times(row.1, power), row.2.powi(i32::from(power))))
    }

    fn power(&mut self) -> i8 {
        for (mark, power) in
            [("^-1", -1), ("^-2", -2), ("^2", 2), ("^3", 3), ("⁻¹", -1), ("⁻²", -2), ("²", 2), ("³", 3)]
        {
            if let Some(rest) = self.rest.strip_prefix(mark) {
                self.rest = rest;
                return power;
            }
        }
        1
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn si(text: &str) -> (Dimension, f64) {
        let unit = parse(text).unwrap();
        (unit.dimension, unit.si)
    }

    #[test]
    fn units_of_the_trade_are_read() {
        assert_eq!(si("mm"), (dimension::LENGTH, 1e-3));
        assert_eq!(si("in"), (dimension::LENGTH, 0.0254));
        assert_eq!(si("µT"), (dimension::FLUX_DENSITY, 1e-6));
        assert_eq!(si("kg m/s"), (dimension::MOMENTUM, 1.0));
        let (kind, size) = si("G/A");
        assert_eq!(kind, dimension::FIELD_PER_AMPERE);
        assert!((size - 1e-4).abs() < 1e-19);
        assert_eq!(si("torr").0, dimension::PRESSURE);
    }

    #[test]
    fn newtons_per_elementary_charge_per_metre_a_second_are_a_flux_density() {
        // F = q v B: 1 N on one elementary charge at 1 m/s needs 1 / 1.602e-19 T
        for text in ["N/(e m/s)", "N per e·m/s", "N per e m/s", "N/(e·m/s)"] {
            let (kind, size) = si(text);
            assert_eq!(kind, dimension::FLUX_DENSITY, "{text}");
            assert!((size * ELEMENTARY_CHARGE.value - 1.0).abs() < 1e-15, "{text}");
        }
    }

    #[test]
    fn an_unknown_symbol_is_named() {
        assert_eq!(parse("furlong"), Err("furlong".to_owned()));
        assert_eq!(parse("mT/Q"), Err("Q".to_owned()));
        assert!(parse("(mm").is_err());
        assert!(parse("").is_err());
    }
}
