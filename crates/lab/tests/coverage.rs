//! A seeded slice of the study of coverage: invented benches drawn from what their files state, with a hidden mass.
//!
//! `cargo xtask study coverage` runs the whole; docs/inference.md holds its table.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

use arcmass_lab::reduce::Doubts;
use arcmass_lab::simulate::{Counts, DESIGNS, Outside, Slip, trial};

fn many(design: usize, outside: Outside, benches: u64) -> Counts {
    let mut counts = Counts::default();
    for seed in (1..).take(benches as usize) {
        let found = trial(&DESIGNS[design], outside, Doubts::default(), seed).unwrap();
        println!("{}, {outside:?}: {found:?}", DESIGNS[design].name);
        counts.add(&found, outside.code());
    }
    counts
}

#[test]
fn intervals_hold_the_hidden_mass_about_as_often_as_they_say() {
    let mut counts = many(1, Outside::Nothing, 20);
    counts.join(many(3, Outside::Nothing, 20));
    // of 40, 95 % leaves 2 outside and 68 % leaves 12.8; more than 6 or 21 happen once in a hundred slices (binomial)
    assert!(counts.in_95 >= 34, "95 % intervals held {} of 40", counts.in_95);
    assert!((19..=37).contains(&counts.in_68), "68 % intervals held {} of 40", counts.in_68);
    assert!(counts.with_finding <= 3, "{} of 40 clean benches have a finding", counts.with_finding);
}

#[test]
fn large_effects_are_named_and_the_mass_is_still_held() {
    let outside = [Outside::VoltageOffset(30.0), Outside::StrayAxial(150e-6), Outside::Separation(12e-3)];
    for outside in outside {
        let counts = many(1, outside, 6);
        assert_eq!(counts.named, 6, "{outside:?}");
        assert!(counts.in_95 >= 4, "{outside:?}: 95 % intervals held {} of 6", counts.in_95);
    }
}

#[test]
fn one_run_written_down_wrongly_is_named() {
    for slip in [Slip::RadiusForDiameter, Slip::CurrentTenth, Slip::ScaleZero] {
        let counts = many(3, Outside::Slip(slip), 4);
        assert_eq!(counts.named, 4, "{slip:?}");
    }
}
