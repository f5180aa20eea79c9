//! Reading one decimal number the way people write it.

/// Why a text is not a number we accept.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[non_exhaustive]
pub enum NumberFault {
    /// Nothing there.
    #[error("nothing was written")]
    Empty,
    /// Letters or signs that make no number.
    #[error("`{0}` is not a number")]
    NotANumber(String),
    /// A decimal comma where a point is needed.
    #[error("`{found}` has a decimal comma; write `{instead}`")]
    DecimalComma {
        /// As written.
        found: String,
        /// With a point.
        instead: String,
    },
    /// `nan`, `inf`, or too large to hold.
    #[error("`{0}` is not a finite number")]
    NotFinite(String),
}

/// A mantissa as written, before its power of ten and its unit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Mantissa<'a> {
    pub(crate) digits: &'a str,
    pub(crate) decimals: i32,
    pub(crate) rest: &'a str,
}

/// Makes typographic minus signs and blanks plain.
pub(crate) fn plain(text: &str) -> String {
    text.trim()
        .replace(['\u{2212}', '\u{2013}', '\u{2010}', '\u{2011}'], "-")
        .replace(['\u{a0}', '\u{2009}', '\u{202f}'], " ")
}

/// Splits a leading sign, digits and decimal point off `text`.
pub(crate) fn mantissa(text: &str) -> Result<Mantissa<'_>, NumberFault> {
    let text = text.trim_start();
    if text.is_empty() {
        return Err(NumberFault::Empty);
    }
    let unsigned = text.strip_prefix(['+', '-']).unwrap_or(text);
    let lower = unsigned.to_lowercase();
    if ["nan", "inf", "∞"].iter().any(|word| lower.starts_with(word)) && !lower.starts_with("info") {
        return Err(NumberFault::NotFinite(text.trim_end().to_owned()));
    }
    let is_part = |c: char| c.is_ascii_digit() || matches!(c, '.' | ',');
    let length = unsigned.find(|c| !is_part(c)).unwrap_or(unsigned.len());
    let end = text.len() - unsigned.len() + length;
    let (digits, rest) = text.split_at(end);
    if digits.contains(',') {
        let instead = text.trim_end().replacen(',', ".", 1);
        return Err(NumberFault::DecimalComma { found: text.trim_end().to_owned(), instead });
    }
    let points = digits.matches('.').count();
    if points > 1 || !digits.contains(|c: char| c.is_ascii_digit()) {
        return Err(NumberFault::NotANumber(text.trim_end().to_owned()));
    }
    let decimals = digits.split_once('.').map_or(0, |(_, after)| after.len());
    Ok(Mantissa { digits, decimals: i32::try_from(decimals).unwrap_or(i32::MAX), rest })
}

/// Splits a power of ten off: `e-31`, `E5`, `× 10^-31`, `x10⁻³¹`, `· 10^3`. No power gives 0.
pub(crate) fn power_of_ten(text: &str) -> (i32, &str) {
    letter_exponent(text).or_else(|| times_ten(text)).unwrap_or((0, text))
}

fn letter_exponent(text: &str) -> Option<(i32, &str)> {
    let rest = text.strip_prefix(['e', 'E'])?;
    signed_integer(rest)
}

fn times_ten(text: &str) -> Option<(i32, &str)> {
    let rest = text.trim_start().strip_prefix(['×', 'x', '·', '*', '⋅'])?.trim_start();
    let rest = rest.strip_prefix("10")?;
    if let Some(rest) = rest.strip_prefix('^') {
        return signed_integer(rest);
    }
    let end = rest.find(|c| !"⁺⁻⁰¹²³⁴⁵⁶⁷⁸⁹".contains(c)).unwrap_or(rest.len());
    let (raised, rest) = rest.split_at(end);
    let lowered: String = raised
        .chars()
        .map(|c| match c {
            '⁻' => '-',
            '⁺' => '+',
            _ => "⁰¹²³⁴⁵⁶⁷⁸⁹"
                .chars()
                .position(|d| d == c)
                .and_then(|d| char::from_digit(u32::try_from(d).unwrap_or(0), 10))
                .unwrap_or('0'),
        })
        .collect();
    lowered.parse().ok().map(|power| (power, rest))
}

fn signed_integer(text: &str) -> Option<(i32, &str)> {
    let unsigned = text.strip_prefix(['+', '-']).unwrap_or(text);
    let length = unsigned.find(|c: char| !c.is_ascii_digit()).unwrap_or(unsigned.len());
    if length == 0 {
        return None;
    }
    let end = text.len() - unsigned.len() + length;
    text[..end].parse().ok().map(|power| (power, &text[end..]))
}

/// The value of `digits` times ten to `power`, rounded once.
pub(crate) fn value(digits: &str, power: i32) -> Result<f64, NumberFault> {
    let text = format!("{digits}e{power}");
    match text.parse::<f64>() {
        Ok(value) if value.is_finite() => Ok(value),
        Ok(_) => Err(NumberFault::NotFinite(text)),
        Err(_) => Err(NumberFault::NotANumber(digits.to_owned())),
    }
}

/// Reads one number that stands alone, such as a table's cell.
///
/// ```
/// use arcmass_quantity::number;
/// assert_eq!(number::parse("−0.043"), Ok(-0.043));
/// assert_eq!(number::parse("1.2e-3"), Ok(1.2e-3));
/// assert!(number::parse("0,5").is_err());
/// assert!(number::parse("inf").is_err());
/// ```
pub fn parse(text: &str) -> Result<f64, NumberFault> {
    let tidy = plain(text);
    let head = mantissa(&tidy)?;
    let (power, rest) = power_of_ten(head.rest);
    if rest.trim().is_empty() {
        value(head.digits, power)
    } else {
        Err(NumberFault::NotANumber(tidy.clone()))
    }
}
