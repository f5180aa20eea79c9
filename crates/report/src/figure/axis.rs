//! Axes: ranges, linear and logarithmic scales, nice numbers at the ticks.

use super::label::{number, power_of_ten};

/// Fraction of the data's extent left free at each end.
const PADDING: f64 = 0.05;

/// An axis: its label, range and kind.
#[derive(Debug, Clone, PartialEq)]
pub struct Axis {
    pub(super) label: String,
    pub(super) range: Option<[f64; 2]>,
    pub(super) logarithmic: bool,
    pub(super) from_zero: bool,
    pub(super) counted: bool,
}

impl Axis {
    /// A linear axis whose range follows the data.
    ///
    /// `label` is `*symbol* / unit`: `*…*` is set in italics, `^{…}` raised, `_{…}` lowered.
    pub fn new(label: impl Into<String>) -> Self {
        Axis { label: label.into(), range: None, logarithmic: false, from_zero: false, counted: false }
    }

    /// Fixes the range; ends that are equal or not finite are ignored.
    #[must_use]
    pub fn range(mut self, low: f64, high: f64) -> Self {
        if low.is_finite() && high.is_finite() && low < high {
            self.range = Some([low, high]);
        }
        self
    }

    /// Makes the axis logarithmic; values of zero and below have no place on it.
    #[must_use]
    pub fn logarithmic(mut self) -> Self {
        self.logarithmic = true;
        self
    }

    /// Lets the range begin at zero.
    #[must_use]
    pub fn from_zero(mut self) -> Self {
        self.from_zero = true;
        self
    }

    /// What is counted has ticks at whole numbers only.
    #[must_use]
    pub fn counted(mut self) -> Self {
        self.counted = true;
        self
    }

    /// Range that holds the data, or the range asked for.
    pub(super) fn resolve(&self, data: &[f64], padding: bool) -> [f64; 2] {
        let fits = |v: f64| v.is_finite() && (!self.logarithmic || v > 0.0);
        if let Some([low, high]) = self.range
            && fits(low)
            && fits(high)
        {
            return [low, high];
        }
        let kept = data.iter().copied().filter(|v| fits(*v));
        let (low, high) = kept.fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), v| (l.min(v), h.max(v)));
        if low > high {
            return if self.logarithmic { [1.0, 10.0] } else { [0.0, 1.0] };
        }
        if self.logarithmic { padded_log(low, high) } else { self.padded(low, high, padding) }
    }

    fn padded(&self, low: f64, high: f64, padding: bool) -> [f64; 2] {
        let extent = if high > low { high - low } else { (0.2 * high.abs()).max(1e-12) };
        let pad = if padding || high == low { PADDING * extent } else { 0.0 };
        let range = [low - pad, high + pad];
        if !self.from_zero {
            return range;
        }
        if low >= 0.0 { [0.0, range[1]] } else { [range[0], range[1].max(0.0)] }
    }
}

fn padded_log(low: f64, high: f64) -> [f64; 2] {
    let ratio = (high / low).powf(PADDING).max(1.05);
    [low / ratio, high * ratio]
}

/// A scale from values to places in the picture.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Scale {
    pub(super) range: [f64; 2],
    pub(super) logarithmic: bool,
    /// Ticks at whole numbers only.
    pub(super) counted: bool,
    /// Places of the low and of the high end.
    pub(super) ends: [f64; 2],
}

impl Scale {
    /// Place of a value; nothing for values that have none.
    pub(super) fn place(&self, value: f64) -> Option<f64> {
        let [low, high] = self.range;
        let part = if self.logarithmic {
            (value / low).ln() / (high / low).ln()
        } else {
            (value - low) / (high - low)
        };
        let place = self.ends[0] + part * (self.ends[1] - self.ends[0]);
        // Values far outside are held near, so that clipping keeps its digits.
        place.is_finite().then(|| place.clamp(-1e6, 1e6))
    }

    /// Ticks with labels and ticks without, and a power of ten common to all labels.
    ///
    /// `apart` is about how far labels shall stand apart.
    pub(super) fn ticks(&self, apart: f64) -> Ticks {
        let length = (self.ends[1] - self.ends[0]).abs();
        if self.logarithmic {
            return log_ticks(self.range, length);
        }
        let mut ticks = linear_ticks(self.range, length, apart);
        if self.counted {
            let is_whole = |value: f64| (value - value.round()).abs() < 1e-9;
            ticks.minor.retain(|value| is_whole(*value));
            ticks.major.retain(|(value, _)| is_whole(*value));
            ticks.major.iter_mut().for_each(|(value, label)| *label = number(*value, 0));
        }
        ticks
    }
}

/// Where ticks stand and what they say.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Ticks {
    /// Value and label.
    pub(super) major: Vec<(f64, String)>,
    pub(super) minor: Vec<f64>,
    /// Labels are to be multiplied by ten to this power.
    pub(super) exponent: i32,
}

/// Steps of 1, 2 or 5 times a power of ten; closer ones where only one label would be left.
fn linear_ticks(range: [f64; 2], length: f64, apart: f64) -> Ticks {
    let wanted = (length / apart).clamp(2.0, 9.0);
    let ticks = ticks_for(range, wanted);
    if ticks.major.len() < 2 && length > LEAST_APART * 2.0 { ticks_for(range, 2.0 * wanted) } else { ticks }
}

/// Labels never stand closer together than this.
const LEAST_APART: f64 = 30.0;

fn ticks_for([low, high]: [f64; 2], wanted: f64) -> Ticks {
    let rough = (high - low) / wanted;
    let decade = 10_f64.powf(rough.log10().floor());
    let (step, parts) = match rough / decade {
        r if r <= 1.0 => (decade, 5.0),
        r if r <= 2.0 => (2.0 * decade, 4.0),
        r if r <= 5.0 => (5.0 * decade, 5.0),
        _ => (10.0 * decade, 5.0),
    };
    let largest = low.abs().max(high.abs());
    let size = largest.log10().floor() as i32;
    // A hair above, so that 0.3/0.1 does not fall to 2.
    let exponent = if (-3..5).contains(&size) { 0 } else { size };
    let unit = 10_f64.powi(exponent);
    let decimals = (-(step / unit * 1.000_001).log10().floor()).clamp(0.0, 12.0) as usize;
    let multiples = |step: f64| {
        let first = (low / step - 1e-9).ceil() as i64;
        let last = (high / step + 1e-9).floor() as i64;
        (first..=last.min(first.saturating_add(400))).map(move |k| k as f64 * step)
    };
    let major: Vec<(f64, String)> = multiples(step).map(|v| (v, number(v / unit, decimals))).collect();
    let fine = step / parts;
    let is_major = |v: f64| ((v / step).round() * step - v).abs() < 0.1 * fine;
    let minor = multiples(fine).filter(|v| !is_major(*v)).collect();
    Ticks { major, minor, exponent }
}

/// Decades, and 2 and 5 within them where there is room; lines at every digit.
fn log_ticks([low, high]: [f64; 2], length: f64) -> Ticks {
    let (first, last) = (low.log10().floor() as i32, high.log10().ceil() as i32);
    let per_decade = length / (high / low).log10();
    let labelled: &[f64] = match per_decade {
        p if p > 400.0 => &[1.0, 1.5, 2.0, 3.0, 4.0, 5.0, 7.0],
        p if p > 140.0 => &[1.0, 2.0, 5.0],
        _ => &[1.0],
    };
    let skip = (45.0 / per_decade).ceil().max(1.0) as i32;
    let inside = |v: f64| v >= low * (1.0 - 1e-9) && v <= high * (1.0 + 1e-9);
    let (mut major, mut minor) = (Vec::new(), Vec::new());
    for decade in first..=last {
        let unit = 10_f64.powi(decade);
        for digit in labelled.iter().filter(|d| **d == 1.0 || per_decade > 140.0) {
            let value = digit * unit;
            if inside(value) && decade.rem_euclid(skip) == 0 {
                major.push((value, log_label(*digit, decade)));
            }
        }
        let digits = (1..10).map(|d| f64::from(d) * unit);
        minor.extend(digits.filter(|v| inside(*v) && !major.iter().any(|(m, _)| (m / v - 1.0).abs() < 1e-9)));
    }
    Ticks { major, minor, exponent: 0 }
}

fn log_label(digit: f64, decade: i32) -> String {
    if (-3..5).contains(&decade) {
        let value = digit * 10_f64.powi(decade);
        let half = usize::from(digit.fract() != 0.0);
        return number(value, half + (-decade).max(0) as usize - usize::from(half == 1 && decade > 0));
    }
    match digit {
        1.0 => power_of_ten(decade),
        d => format!("{d} × {}", power_of_ten(decade)),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn labels(range: [f64; 2], length: f64) -> Vec<String> {
        linear_ticks(range, length, 70.0).major.into_iter().map(|(_, label)| label).collect()
    }

    #[test]
    fn ticks_are_nice_numbers_inside_the_range() {
        assert_eq!(labels([130.0, 320.0], 400.0), ["150", "200", "250", "300"]);
        assert_eq!(labels([-0.35, 0.35], 300.0), ["\u{2212}0.2", "0.0", "0.2"]);
        assert_eq!(labels([0.0, 0.3], 210.0), ["0.0", "0.1", "0.2", "0.3"]);
    }

    #[test]
    fn what_is_counted_has_whole_ticks_only() {
        let scale = Scale { range: [0.4, 3.6], logarithmic: false, counted: true, ends: [0.0, 400.0] };
        let ticks = scale.ticks(70.0);
        let labels: Vec<&str> = ticks.major.iter().map(|(_, label)| label.as_str()).collect();
        assert_eq!(labels, ["1", "2", "3"]);
        assert!(ticks.minor.is_empty(), "{:?}", ticks.minor);
    }

    #[test]
    fn very_large_and_small_values_share_a_power_of_ten() {
        let ticks = linear_ticks([8.9e-31, 9.3e-31], 400.0, 70.0);
        assert_eq!(ticks.exponent, -31);
        assert_eq!(ticks.major[0].1, "8.9");
    }

    #[test]
    fn a_logarithmic_axis_has_digits_where_there_is_room() {
        let ticks = log_ticks([90.0, 600.0], 300.0);
        let labels: Vec<&str> = ticks.major.iter().map(|(_, label)| label.as_str()).collect();
        assert_eq!(labels, ["100", "200", "500"]);
        assert_eq!(ticks.minor, [90.0, 300.0, 400.0, 600.0]);
    }

    #[test]
    fn a_single_value_still_gets_a_range() {
        let [low, high] = Axis::new("").resolve(&[5.0], true);
        assert!(low < 5.0 && high > 5.0);
        assert_eq!(Axis::new("").resolve(&[f64::NAN], true), [0.0, 1.0]);
        let [low, high] = Axis::new("").logarithmic().resolve(&[0.0, 10.0], true);
        assert!(low > 0.0 && high > 10.0);
    }
}
