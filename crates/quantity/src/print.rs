//! Printing numbers rounded to their uncertainty: `9.12(7) × 10⁻³¹ kg`, `150.0 ± 0.5 mm`.

/// Digits to keep of an uncertainty: two while its leading digits are 100…354, one up to 949, then the next power of ten
/// with two (rule of the Particle Data Group, from memory).
fn significant_digits(uncertainty: f64) -> (f64, i32) {
    let exponent = uncertainty.abs().log10().floor();
    let leading = (uncertainty / 10.0_f64.powf(exponent - 2.0)).round();
    let exponent = exponent as i32;
    if leading < 355.0 {
        (uncertainty, exponent - 1)
    } else if leading < 950.0 {
        (uncertainty, exponent)
    } else {
        (10.0_f64.powi(exponent + 1), exponent)
    }
}

/// The place of the last digit worth printing, as a power of ten, for a value with this uncertainty.
///
/// None where the uncertainty is 0 or not finite.
pub fn last_place(uncertainty: f64) -> Option<i32> {
    (uncertainty > 0.0 && uncertainty.is_finite()).then(|| significant_digits(uncertainty).1)
}

/// `value` with its digits ending at ten to `place`, with a true minus sign.
pub fn fixed(value: f64, place: i32) -> String {
    let decimals = usize::try_from(-place).unwrap_or(0);
    let step = 10.0_f64.powi(place.max(0));
    let rounded = if place > 0 { (value / step).round() * step } else { value };
    let text = format!("{rounded:.decimals$}");
    let zero = text.trim_start_matches('-').chars().all(|c| matches!(c, '0' | '.'));
    if zero { text.trim_start_matches('-').to_owned() } else { text.replace('-', "\u{2212}") }
}

/// `n` significant digits without an exponent where it stays readable, else with one.
pub fn significant(value: f64, n: i32) -> String {
    if value == 0.0 || !value.is_finite() {
        return if value == 0.0 { "0".to_owned() } else { "\u{2013}".to_owned() };
    }
    let exponent = value.abs().log10().floor() as i32;
    if (-4..6).contains(&exponent) {
        fixed(value, exponent - n + 1)
    } else {
        format!("{} × 10{}", fixed(value / 10.0_f64.powi(exponent), 1 - n), superscript(exponent))
    }
}

/// Short form with the uncertainty of the last digits in brackets: `150.0(5)`, `9.12(7) × 10⁻³¹`.
///
/// A power of ten is split off below 0.001 and from a million up. A value without uncertainty is printed to six digits.
///
/// ```
/// use arcmass_quantity::print::short;
/// assert_eq!(short(9.1234e-31, 0.07e-31), "9.12(7) × 10⁻³¹");
/// assert_eq!(short(150.04, 0.5), "150.0(5)");
/// assert_eq!(short(0.77312, 0.0123), "0.773(12)");
/// assert_eq!(short(-0.34, 0.08), "−0.34(8)");
/// ```
pub fn short(value: f64, uncertainty: f64) -> String {
    let Some(scaled) = Scaled::new(value, uncertainty) else {
        return significant(value, 6);
    };
    let place = scaled.place;
    let digits = if place < 0 {
        // 1.5(12), never 1.5(1.2): the bracket counts units of the last digit unless it straddles the point
        let units = (scaled.uncertainty / 10.0_f64.powi(place)).round();
        format!("{units:.0}")
    } else {
        fixed(scaled.uncertainty, place)
    };
    let digits =
        if place < 0 && scaled.uncertainty >= 1.0 { fixed(scaled.uncertainty, place) } else { digits };
    format!("{}({digits}){}", fixed(scaled.value, place), scaled.power())
}

/// Long form: `150.0 ± 0.5`, `(9.12 ± 0.07) × 10⁻³¹`.
pub fn plus_minus(value: f64, uncertainty: f64) -> String {
    let Some(scaled) = Scaled::new(value, uncertainty) else {
        return significant(value, 6);
    };
    let body = format!("{} ± {}", fixed(scaled.value, scaled.place), fixed(scaled.uncertainty, scaled.place));
    if scaled.exponent == 0 { body } else { format!("({body}){}", scaled.power()) }
}

/// An interval with the digits its width deserves: `[9.04, 9.18]`, `[9.04, 9.18] × 10⁻³¹`.
pub fn interval(low: f64, high: f64) -> String {
    let middle = 0.5 * (low + high);
    let Some(scaled) = Scaled::new(middle, 0.25 * (high - low)) else {
        return format!("[{}, {}]", significant(low, 6), significant(high, 6));
    };
    let step = 10.0_f64.powi(-scaled.exponent);
    let place = scaled.place;
    format!("[{}, {}]{}", fixed(low * step, place), fixed(high * step, place), scaled.power())
}

struct Scaled {
    value: f64,
    uncertainty: f64,
    place: i32,
    exponent: i32,
}

impl Scaled {
    fn new(value: f64, uncertainty: f64) -> Option<Self> {
        last_place(uncertainty).filter(|_| value.is_finite())?;
        let largest = value.abs().max(uncertainty);
        let exponent = if (1e-3..1e6).contains(&largest) { 0 } else { largest.log10().floor() as i32 };
        // two steps, so that 10^-31 and its inverse stay finite and exact enough to print
        let scale = |x: f64| if exponent == 0 { x } else { x / 10.0_f64.powi(exponent) };
        let (rounded, place) = significant_digits(scale(uncertainty));
        Some(Self { value: scale(value), uncertainty: rounded, place, exponent })
    }

    fn power(&self) -> String {
        if self.exponent == 0 { String::new() } else { format!(" × 10{}", superscript(self.exponent)) }
    }
}

/// An integer in raised figures: −31 → ⁻³¹.
pub fn superscript(power: i32) -> String {
    power
        .to_string()
        .chars()
        .map(|c| match c {
            '-' => '⁻',
            '1' => '¹',
            '2' => '²',
            '3' => '³',
            '4' => '⁴',
            '5' => '⁵',
            '6' => '⁶',
            '7' => '⁷',
            '8' => '⁸',
            '9' => '⁹',
            _ => '⁰',
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_end_where_their_uncertainty_begins() {
        assert_eq!(short(45.632, 0.0761), "45.63(8)");
        assert_eq!(short(45.632, 0.00961), "45.632(10)");
        assert_eq!(short(1234.5, 32.0), "1234(32)");
        assert_eq!(short(12345.0, 700.0), "12300(700)");
        assert_eq!(short(9.1e6, 4.2e4), "9.10(4) × 10⁶");
        assert_eq!(short(1.55, 1.24), "1.6(1.2)");
        assert_eq!(short(0.0, 0.02), "0.000(20)");
        assert_eq!(short(-0.0001, 0.02), "0.000(20)");
        assert_eq!(short(2.5, 0.0), "2.50000");
    }

    #[test]
    fn long_form_and_intervals_use_the_same_digits() {
        assert_eq!(plus_minus(150.04, 0.5), "150.0 ± 0.5");
        assert_eq!(plus_minus(9.1234e-31, 0.07e-31), "(9.12 ± 0.07) × 10⁻³¹");
        assert_eq!(interval(9.04e-31, 9.31e-31), "[9.04, 9.31] × 10⁻³¹");
    }

    #[test]
    fn what_is_not_finite_never_reaches_a_person_as_nan() {
        assert_eq!(short(f64::NAN, 1.0), "–");
        assert_eq!(significant(f64::INFINITY, 3), "–");
    }
}
