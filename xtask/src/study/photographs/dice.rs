//! Seeded chance for the studies: the same numbers on every machine.

/// A stream of chance (splitmix64; constants from memory).
#[derive(Debug, Clone)]
pub(crate) struct Dice(u64);

impl Dice {
    pub(crate) fn new(seed: u64) -> Self {
        Self(seed.wrapping_mul(0x9E37_79B9_7F4A_7C15) ^ 0x5851_F42D_4C95_7F2D)
    }

    pub(crate) fn whole(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut h = self.0;
        h = (h ^ (h >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        h = (h ^ (h >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        h ^ (h >> 31)
    }

    /// Evenly between two numbers.
    pub(crate) fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * ((self.whole() >> 11) as f64 / (1_u64 << 53) as f64)
    }

    /// Evenly below a count.
    pub(crate) fn below(&mut self, count: usize) -> usize {
        (self.whole() % count.max(1) as u64) as usize
    }

    /// Mean 0, standard deviation 1: the sum of twelve even deviates, whose tails end at 6.
    pub(crate) fn normal(&mut self) -> f64 {
        (0..12).map(|_| self.between(0.0, 1.0)).sum::<f64>() - 6.0
    }
}
