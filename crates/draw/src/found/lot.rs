//! Chance for one picture: a seeded stream, asked for numbers between two others.

use rand::Rng;
use rand_pcg::Pcg64;

/// A stream of chance of its own for each purpose, so that more furniture moves nothing else.
pub(crate) struct Lot(Pcg64);

impl Lot {
    pub(crate) fn new(seed: u64, purpose: u64) -> Self {
        Lot(Pcg64::new(u128::from(seed), u128::from(purpose)))
    }

    /// Evenly between two numbers.
    pub(crate) fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * ((self.0.next_u64() >> 11) as f64 / (1_u64 << 53) as f64)
    }

    /// True in that share of cases.
    pub(crate) fn is(&mut self, share: f64) -> bool {
        self.between(0.0, 1.0) < share
    }

    /// One of a few.
    pub(crate) fn one<T: Copy>(&mut self, of: &[T], otherwise: T) -> T {
        let index = self.between(0.0, of.len() as f64) as usize;
        of.get(index).copied().unwrap_or(otherwise)
    }
}
