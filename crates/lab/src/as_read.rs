//! Readings printed with the digits that their meter shows.

use arcmass_notebook::Meter;
use arcmass_quantity::print;

/// The last place that a meter shows, as a power of ten: from its resolution, else from the readings themselves.
pub fn last_place(meter: Option<&Meter>, readings: impl Iterator<Item = f64>) -> i32 {
    let step = meter.and_then(|meter| meter.resolution).filter(|step| *step > 0.0 && step.is_finite());
    let decimals = |value: f64| format!("{value}").split_once('.').map_or(0, |(_, tail)| tail.len().min(6));
    match step {
        Some(step) => step.log10().floor() as i32,
        None => -(readings.map(decimals).max().unwrap_or(0) as i32),
    }
}

/// A mean of `count` readings that end at ten to `place`; a mean gets one digit more.
pub fn as_read(mean: f64, count: usize, place: i32) -> String {
    if mean.is_finite() { print::fixed(mean, place - i32::from(count > 1)) } else { "\u{2013}".to_owned() }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn readings_keep_the_digits_of_their_meter() {
        let meter = Meter { resolution: Some(0.1), ..Meter::default() };
        assert_eq!(last_place(Some(&meter), [260.25].into_iter()), -1);
        assert_eq!(last_place(None, [2.0, 2.51].into_iter()), -2);
        assert_eq!(as_read(260.0, 1, -1), "260.0");
        assert_eq!(as_read(260.066_67, 3, -1), "260.07");
        assert_eq!(as_read(-1.5, 1, -1), "−1.5");
    }
}
