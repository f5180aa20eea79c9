//! Chance for simulated classes.

use rand::{Rng, RngExt};

pub(super) fn uniform<R: Rng>(rng: &mut R, low: f64, high: f64) -> f64 {
    low + (high - low) * rng.random::<f64>()
}

/// Standard normal, by Box and Muller.
pub(super) fn normal<R: Rng>(rng: &mut R) -> f64 {
    let (a, b): (f64, f64) = (rng.random(), rng.random());
    (-2.0 * (1.0 - a).ln()).sqrt() * (std::f64::consts::TAU * b).cos()
}

pub(super) fn chance<R: Rng>(rng: &mut R, share: f64) -> bool {
    rng.random::<f64>() < share
}

pub(super) fn pick<'a, T, R: Rng>(rng: &mut R, list: &'a [T]) -> &'a T {
    let at = (rng.random::<f64>() * list.len() as f64) as usize;
    &list[at.min(list.len() - 1)]
}

pub(super) fn sign<R: Rng>(rng: &mut R) -> f64 {
    if chance(rng, 0.5) { 1.0 } else { -1.0 }
}

pub(super) fn round_to(value: f64, step: f64) -> f64 {
    (value / step).round() * step
}
