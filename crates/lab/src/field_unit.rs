//! The unit that a person reads flux densities in, and the library's own sentences told in it.
//!
//! Documents keep millitesla and microtesla, whatever is chosen; a page, a report or a sheet tells them in the unit chosen.

use arcmass_quantity::{print, unit};

use crate::document::Q;

/// Digits of a value that has no uncertainty.
const DIGITS: i32 = 4;

/// In which unit flux densities are read; what goes into a formula stays in tesla.
#[derive(Debug, Clone, PartialEq)]
pub struct FieldUnit {
    /// As it is written, such as `mT`.
    pub shown: String,
    /// How many of it make one millitesla.
    pub per_millitesla: f64,
}

impl Default for FieldUnit {
    fn default() -> Self {
        Self { shown: "mT".to_owned(), per_millitesla: 1.0 }
    }
}

impl FieldUnit {
    /// What may be chosen, as it is written; the first is what is used where nothing was chosen.
    pub const CHOICES: [&'static str; 4] = ["mT", "T", "G", "N/(e·m/s)"];

    /// One of [`FieldUnit::CHOICES`].
    pub fn named(shown: &str) -> Option<Self> {
        let known = Self::CHOICES.iter().find(|known| **known == shown)?;
        let si = |name: &str| unit::parse(&name.replace('·', " ")).ok().map(|unit| unit.si);
        Some(Self { shown: (*known).to_owned(), per_millitesla: si("mT")? / si(known)? })
    }

    /// Whether microtesla stay beside millitesla.
    fn is_usual(&self) -> bool {
        self.shown == "mT"
    }

    /// A unit of the documents (`mT`, `uT`, `mT/A`, any other) as it is told, and how many of it make one of the document's.
    pub fn told(&self, unit: &str) -> (f64, String) {
        match unit {
            "uT" | "µT" if self.is_usual() => (1.0, "µT".to_owned()),
            "uT" | "µT" => (1e-3 * self.per_millitesla, self.shown.clone()),
            "mT" => (self.per_millitesla, self.shown.clone()),
            "mT/A" => (self.per_millitesla, format!("{}/A", self.shown)),
            other => (1.0, other.to_owned()),
        }
    }

    /// `0.779(4) mT` of a flux density in millitesla.
    pub fn flux_density(&self, millitesla: &Q) -> String {
        format!("{} {}", short(millitesla, self.per_millitesla), self.shown)
    }

    /// The same for each ampere.
    pub fn per_ampere(&self, millitesla: &Q) -> String {
        format!("{}/A", self.flux_density(millitesla))
    }

    /// A small flux density in millitesla: in microtesla where the others are in millitesla.
    pub fn small(&self, millitesla: &Q) -> String {
        if self.is_usual() {
            format!("{} µT", short(millitesla, 1e3))
        } else {
            self.flux_density(millitesla)
        }
    }

    /// A predicted flux density, without uncertainty, in millitesla; the unit is not written.
    pub fn predicted(&self, millitesla: f64) -> String {
        print::significant(millitesla * self.per_millitesla, DIGITS)
    }

    /// A sentence of the library with its flux densities told in this unit; what stands in backquotes stays.
    ///
    /// A flux density there is a number in one of the forms of [`mod@print`] before `mT`, `µT` or `mT/A`. Its digits are kept
    /// as many as they were: `−45(10) µT` becomes `−0.45(10) G`.
    pub fn in_words(&self, sentence: &str) -> String {
        if self.is_usual() {
            return sentence.to_owned();
        }
        let mut out = String::with_capacity(sentence.len());
        for (place, part) in sentence.split('`').enumerate() {
            if place > 0 {
                out.push('`');
            }
            if place % 2 == 0 { self.tell(part, &mut out) } else { out.push_str(part) }
        }
        out
    }

    fn tell(&self, text: &str, out: &mut String) {
        let mut rest = text;
        let mut before = None;
        while let Some(next) = rest.chars().next() {
            let may_start = before.is_none_or(|c: char| !(c.is_alphanumeric() || c == '.'));
            if let Some((number, after)) = may_start.then(|| Written::read(rest)).flatten()
                && let Some((unit, after)) = unit_of(after)
            {
                let (factor, shown) = self.told(unit);
                out.push_str(&number.times(factor));
                out.push(' ');
                out.push_str(&shown);
                before = unit.chars().next_back();
                rest = after;
                continue;
            }
            out.push(next);
            before = Some(next);
            rest = &rest[next.len_utf8()..];
        }
    }
}

fn short(q: &Q, factor: f64) -> String {
    if q.standard_uncertainty > 0.0 {
        print::short(q.value * factor, q.standard_uncertainty * factor)
    } else {
        print::significant(q.value * factor, DIGITS + 1)
    }
}

/// A unit of flux density at the beginning of a text, after at most one blank.
fn unit_of(text: &str) -> Option<(&'static str, &str)> {
    let text = text.strip_prefix([' ', '\u{a0}', '\u{202f}']).unwrap_or(text);
    ["mT/A", "mT", "µT", "uT"].into_iter().find_map(|unit| {
        let after = text.strip_prefix(unit)?;
        let ends = !after.starts_with(|c: char| c.is_alphanumeric() || c == '/');
        ends.then_some((unit, after))
    })
}

/// A number as [`mod@print`] writes it.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Written {
    /// With so many digits that count.
    Plain(f64, i32),
    /// `45(10)`.
    Short(f64, f64),
    /// `45 ± 10`.
    PlusMinus(f64, f64),
}

impl Written {
    fn read(text: &str) -> Option<(Self, &str)> {
        if let Some(inside) = text.strip_prefix('(') {
            let (number, after) = Self::read(inside)?;
            let Self::PlusMinus(value, u) = number else { return None };
            let (power, after) = power(after.strip_prefix(')')?);
            return Some((Self::PlusMinus(value * power, u * power), after));
        }
        let (value, digits, place, after) = decimal(text)?;
        if let Some(inside) = after.strip_prefix('(') {
            let (u, _, own_place, after) = decimal(inside)?;
            // digits without a point stand for the last ones of the value
            let u = if own_place < 0 { u } else { u * 10.0_f64.powi(place) };
            let (power, after) = power(after.strip_prefix(')')?);
            return Some((Self::Short(value * power, u * power), after));
        }
        if let Some((u, _, _, after)) = after.strip_prefix(" ± ").and_then(decimal) {
            return Some((Self::PlusMinus(value, u), after));
        }
        let (power, after) = power(after);
        Some((Self::Plain(value * power, digits), after))
    }

    fn times(self, factor: f64) -> String {
        match self {
            Self::Plain(value, digits) => print::significant(value * factor, digits),
            Self::Short(value, u) => print::short(value * factor, u * factor),
            Self::PlusMinus(value, u) => print::plus_minus(value * factor, u * factor),
        }
    }
}

/// A decimal number: its value, its digits that count, the place of the last as a power of ten, and what follows.
fn decimal(text: &str) -> Option<(f64, i32, i32, &str)> {
    let unsigned = text.strip_prefix(['-', '−', '+']).unwrap_or(text);
    let end = unsigned.find(|c: char| !(c.is_ascii_digit() || c == '.')).unwrap_or(unsigned.len());
    let body = unsigned[..end].trim_end_matches('.');
    if !body.starts_with(|c: char| c.is_ascii_digit()) {
        return None;
    }
    let value: f64 = body.parse().ok()?;
    let digits = body.chars().filter(char::is_ascii_digit).collect::<String>();
    let counted = digits.trim_start_matches('0').len().max(1) as i32;
    let place = -(body.split_once('.').map_or(0, |(_, tail)| tail.len()) as i32);
    let is_negative = text.starts_with(['-', '−']);
    Some((if is_negative { -value } else { value }, counted, place, &unsigned[body.len()..]))
}

/// ` × 10⁻³` at the beginning of a text, else one.
fn power(text: &str) -> (f64, &str) {
    let Some(raised) = text.strip_prefix(" × 10") else { return (1.0, text) };
    let figures = ['⁰', '¹', '²', '³', '⁴', '⁵', '⁶', '⁷', '⁸', '⁹'];
    let end = raised.find(|c| c != '⁻' && !figures.contains(&c)).unwrap_or(raised.len());
    let digits: String = raised[..end]
        .chars()
        .map(|c| figures.iter().position(|f| *f == c).map_or('-', |n| char::from(b'0' + n as u8)))
        .collect();
    match digits.parse::<i32>() {
        Ok(power) => (10.0_f64.powi(power), &raised[end..]),
        Err(_) => (1.0, text),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn told(shown: &str, sentence: &str) -> String {
        FieldUnit::named(shown).unwrap().in_words(sentence)
    }

    #[test]
    fn a_flux_density_is_told_in_the_unit_chosen() {
        let q = Q {
            value: 1.5,
            standard_uncertainty: 0.01,
            interval_68: [1.49, 1.51],
            interval_95: [1.48, 1.52],
        };
        let of = |shown: &str| FieldUnit::named(shown).unwrap();
        assert_eq!(FieldUnit::named("mT"), Some(FieldUnit::default()));
        assert_eq!(FieldUnit::named("furlong"), None);
        assert_eq!(of("mT").flux_density(&q), "1.500(10) mT");
        assert_eq!(of("mT").small(&q), "1500(10) µT");
        assert_eq!(of("T").flux_density(&q), "0.001500(10) T");
        assert_eq!(of("G").per_ampere(&q), "15.00(10) G/A");
        assert_eq!(of("G").small(&q), "15.00(10) G");
        // 1.5e-3 T times e = 1.602176634e-19 C (exact in the SI)
        assert_eq!(of("N/(e·m/s)").flux_density(&q), "2.403(16) × 10⁻²² N/(e·m/s)");
    }

    #[test]
    fn sentences_follow_the_unit_with_as_many_digits_as_they_had() {
        let clash = "the probe gives 0.7790(40) mT/A, the sizes 0.7010(30) mT/A, 11 % more; at 1.5 A";
        assert_eq!(told("mT", clash), clash);
        assert_eq!(
            told("G", clash),
            "the probe gives 7.79(4) G/A, the sizes 7.010(30) G/A, 11 % more; at 1.5 A"
        );
        assert_eq!(told("G", "taken as 0 ± 30 µT along each axis"), "taken as 0.00 ± 0.30 G along each axis");
        assert_eq!(told("G", "a stray field of −45(10) µT runs"), "a stray field of −0.45(10) G runs");
        assert_eq!(told("T", "open by 4.2 µT, 0.3 % of the mass"), "open by 4.2 × 10⁻⁶ T, 0.3 % of the mass");
        assert_eq!(told("T", "with 2 uT"), "with 2 × 10⁻⁶ T");
        assert_eq!(told("G", "(1.20 ± 0.30) × 10⁻² mT."), "0.120 ± 0.030 G.");
        assert_eq!(told("G", "9.12(7) × 10² µT"), "9.12(7) G");
        assert_eq!(told("N/(e·m/s)", "to 2 µT"), "to 3 × 10⁻²⁵ N/(e·m/s)");
    }

    #[test]
    fn what_is_no_flux_density_stays_as_it_is() {
        for same in [
            "run 7 mTx, 5 mTorr, B7 µT",
            "write `0.001 mT` in bench.toml",
            "12 µm and 3 mm",
            "mT and µT",
            "V to the power 0.49(2), not ½ and −1",
            "x2 mT/Am",
            "",
        ] {
            assert_eq!(told("G", same), same);
        }
        assert_eq!(told("G", "`3 mT` is 3 mT"), "`3 mT` is 30 G");
    }

    #[test]
    fn every_choice_is_a_unit_and_documents_units_are_told_in_it() {
        for shown in FieldUnit::CHOICES {
            let unit = FieldUnit::named(shown).unwrap();
            assert_eq!(unit.told("mT").1, shown);
            assert_eq!(unit.told("V"), (1.0, "V".to_owned()));
            let (micro, milli) = (unit.told("uT").0, unit.told("mT").0);
            assert!(shown == "mT" || (1e3 * micro / milli - 1.0).abs() < 1e-12);
        }
    }
}
