//! A check from common practice, no source: one bench's numbers to two digits.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

use arcmass_physics::motion;
use arcmass_quantity::constants::ELEMENTARY_CHARGE;
use arcmass_quantity::{dimension, print, text};

#[test]
fn a_hundred_volts_and_a_ring_of_five_and_a_half_centimetres_give_the_known_mass_and_speed() {
    let voltage = text::parse("100 V", dimension::VOLTAGE).unwrap().value;
    let field = text::parse("0.97e-22 N per e·m/s", dimension::FLUX_DENSITY).unwrap().value;
    let radius = text::parse("5.5 cm", dimension::LENGTH).unwrap().value;
    let momentum = ELEMENTARY_CHARGE.value * field * radius;
    let energy = ELEMENTARY_CHARGE.value * voltage;
    let mass = motion::mass_from_momentum(momentum, energy);
    assert_eq!(print::fixed(mass * 1e30, -2), "0.89");
    assert_eq!(print::fixed(motion::speed(momentum, energy, mass) * 1e-6, 0), "6");
}
