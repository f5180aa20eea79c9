//! Laws of reading and printing, on random values.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

use arcmass_quantity::dimension::LENGTH;
use arcmass_quantity::{print, text};
use proptest::prelude::*;

proptest! {
    #[test]
    fn what_is_printed_is_read_back_within_the_last_digit(value in -1e5_f64..1e5, u in 1e-5_f64..1e3) {
        let printed = format!("{} m", print::short(value, u));
        let read = text::parse(&printed, LENGTH).unwrap();
        prop_assert!((read.value - value).abs() <= 0.06 * u.max(1e-12) + 1e-9 * value.abs() + 0.5 * u, "{printed}");
        let ratio = read.standard_uncertainty().unwrap() / u;
        prop_assert!((0.85..1.16).contains(&ratio), "{printed}: {ratio}");
    }

    #[test]
    fn no_text_makes_the_reader_panic(text in "\\PC{0,40}") {
        let _ = text::parse(&text, LENGTH);
    }

    #[test]
    fn a_number_with_scattered_signs_never_panics(text in "[-+0-9.,eE()±% mµx×10^⁻³¹]{0,24}") {
        let _ = text::parse(&text, LENGTH);
    }
}
