//! Seeded chance: a smooth texture from hashed lattice points, and normal deviates from a table.

use rand::Rng;
use rand_pcg::Pcg64;

/// Entries of the table of normal quantiles: one for each value of 16 random bits.
const QUANTILES: usize = 1 << 16;

/// Normal deviates by table look-up: four from each 64 random bits.
///
/// The tails end at 4.3 standard deviations, which no picture of some million pixels shows.
pub(crate) struct NormalTable {
    quantiles: Vec<f32>,
}

impl NormalTable {
    pub(crate) fn new() -> Self {
        let half: Vec<f32> =
            (0..QUANTILES / 2).map(|i| lower_quantile((i as f64 + 0.5) / QUANTILES as f64) as f32).collect();
        let upper: Vec<f32> = half.iter().rev().map(|z| -z).collect();
        NormalTable { quantiles: [half, upper].concat() }
    }

    /// Four independent deviates of standard deviation 1.
    pub(crate) fn four(&self, random: &mut Pcg64) -> [f32; 4] {
        let bits = random.next_u64();
        [0, 16, 32, 48].map(|shift| self.quantiles[(bits >> shift) as usize & (QUANTILES - 1)])
    }
}

/// Quantile of the standard normal distribution for `0 < p < 0.5`, by Newton's method on its distribution.
fn lower_quantile(p: f64) -> f64 {
    // A start from the tail's leading term; below p = 0.5 the steps then run to the root from one side.
    let mut z = -(-2.0 * libm::log(2.0 * p)).sqrt();
    for _ in 0..60 {
        let distribution = 0.5 * libm::erfc(-z / std::f64::consts::SQRT_2);
        let density = libm::exp(-0.5 * z * z) / (2.0 * std::f64::consts::PI).sqrt();
        let step = (distribution - p) / density;
        // Steps are held short: far out the density is so small that Newton alone would overshoot.
        z -= step.clamp(-0.5, 0.5);
        if step.abs() < 1e-12 {
            break;
        }
    }
    z
}

/// A smooth texture of mean about 0 and size about 1: hashed lattice values, smoothly joined.
pub(crate) fn texture(seed: u64, x: f64, y: f64) -> f64 {
    let (x0, y0) = (x.floor(), y.floor());
    let ease = |t: f64| t * t * (3.0 - 2.0 * t);
    let (u, v) = (ease(x - x0), ease(y - y0));
    let (i, j) = (x0 as i64, y0 as i64);
    let corner = |di: i64, dj: i64| hashed(seed, i.wrapping_add(di), j.wrapping_add(dj));
    let top = corner(0, 0) + (corner(1, 0) - corner(0, 0)) * u;
    let foot = corner(0, 1) + (corner(1, 1) - corner(0, 1)) * u;
    top + (foot - top) * v
}

/// A value between -1 and 1 for a lattice point (splitmix64's mixing steps; constants from memory).
fn hashed(seed: u64, i: i64, j: i64) -> f64 {
    let mut h = seed ^ (i as u64).wrapping_mul(0x9E37_79B9_7F4A_7C15) ^ (j as u64).rotate_left(32);
    h = (h ^ (h >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
    h = (h ^ (h >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
    h ^= h >> 31;
    (h >> 11) as f64 / (1_u64 << 52) as f64 - 1.0
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn quantiles_agree_with_published_ones() {
        // Source: NIST/SEMATECH e-Handbook of Statistical Methods, table 1.3.6.7.1 (values from memory).
        for (p, z) in [(0.158_655_253_931_457, -1.0), (0.022_750_131_948_179, -2.0), (0.025, -1.959_963_985)]
        {
            assert!((lower_quantile(p) - z).abs() < 1e-8);
        }
    }

    #[test]
    fn deviates_have_mean_zero_and_variance_one() {
        let table = NormalTable::new();
        let mut random = Pcg64::new(1, 2);
        let (mut sum, mut squares) = (0.0, 0.0);
        for _ in 0..50_000 {
            for z in table.four(&mut random) {
                sum += f64::from(z);
                squares += f64::from(z * z);
            }
        }
        // 200 000 draws: standard deviations of mean and variance are 0.0022 and 0.0032; four of them.
        assert!((sum / 2e5).abs() < 0.009 && (squares / 2e5 - 1.0).abs() < 0.013);
    }
}
