//! Distributions made of a few independent parts, and their equal-tailed quantiles.

use arcmass_quantity::Uncertainty;
use rand::SeedableRng;
use rand_pcg::Pcg64;

use crate::document::Q;

/// How one independent part of an uncertainty is distributed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Spread {
    /// Known exactly.
    Exact,
    /// Normal with this standard uncertainty.
    Normal(f64),
    /// Rectangular with this half-width.
    Limits(f64),
}

impl Spread {
    /// One standard uncertainty.
    pub fn u(self) -> f64 {
        match self {
            Self::Exact => 0.0,
            Self::Normal(u) => u,
            Self::Limits(half_width) => half_width / 3.0_f64.sqrt(),
        }
    }

    /// The same distribution stretched by `factor`.
    pub fn times(self, factor: f64) -> Self {
        match self {
            Self::Exact => Self::Exact,
            Self::Normal(u) => Self::Normal(u * factor.abs()),
            Self::Limits(half_width) => Self::Limits(half_width * factor.abs()),
        }
    }

    /// From what somebody stated; `silent` where nothing was.
    pub fn stated(uncertainty: Uncertainty, silent: Self) -> Self {
        let positive = |u: f64, spread: Self| if u > 0.0 { spread } else { Self::Exact };
        match uncertainty {
            Uncertainty::Unstated => silent,
            Uncertainty::Standard(u) => positive(u, Self::Normal(u)),
            Uncertainty::Limit(half_width) => positive(half_width, Self::Limits(half_width)),
        }
    }
}

/// A quantity as the documents show it, from its value and its independent parts.
///
/// The sum of normal parts is one normal; rectangles are added to it by 8 192 antithetic pairs of draws from a fixed
/// stream, so that the mean is the value and the quantiles are symmetric about it.
pub fn quantity(value: f64, parts: &[Spread]) -> Q {
    let variance: f64 = parts.iter().map(|part| part.u().powi(2)).sum();
    let normal: f64 =
        parts.iter().filter(|p| matches!(p, Spread::Normal(_))).map(|part| part.u().powi(2)).sum();
    let widths: Vec<f64> = parts
        .iter()
        .filter_map(|part| if let Spread::Limits(half_width) = part { Some(*half_width) } else { None })
        .collect();
    let u = variance.sqrt();
    let (half_68, half_95) = match widths.as_slice() {
        [] => (u * NORMAL_68, u * NORMAL_95),
        [only] if normal == 0.0 => (0.68 * only, 0.95 * only),
        _ => half_widths(normal.sqrt(), &widths),
    };
    Q {
        value,
        standard_uncertainty: u,
        interval_68: [value - half_68, value + half_68],
        interval_95: [value - half_95, value + half_95],
    }
}

/// Half-widths of a normal distribution's 68 % and 95 % intervals in units of u.
const NORMAL_68: f64 = 0.994_457_883_209_753;
const NORMAL_95: f64 = 1.959_963_984_540_054;

fn half_widths(normal_u: f64, widths: &[f64]) -> (f64, f64) {
    const PAIRS: usize = 8192;
    let mut rng = Pcg64::seed_from_u64(0);
    let mut sizes: Vec<f64> = (0..PAIRS)
        .map(|_| {
            let normal = normal_u * arcmass_fit::truncated::standard_normal(&mut rng);
            let flat: f64 = widths.iter().map(|width| width * (2.0 * unit(&mut rng) - 1.0)).sum();
            (normal + flat).abs()
        })
        .collect();
    sizes.sort_unstable_by(f64::total_cmp);
    let at = |share: f64| sizes.get((share * PAIRS as f64) as usize).copied().unwrap_or(0.0);
    (at(0.68), at(0.95))
}

fn unit(rng: &mut Pcg64) -> f64 {
    use rand::Rng;
    (rng.next_u64() >> 11) as f64 / (1_u64 << 53) as f64
}

/// Draws that differ by no more than this, relative, are one exact number.
const ROUNDING: f64 = 1e-12;

/// Mean, standard deviation and equal-tailed intervals of draws; the draws are reordered.
pub fn of_draws(draws: &mut [f64]) -> Q {
    let n = draws.len().max(1) as f64;
    let mean = draws.iter().sum::<f64>() / n;
    let variance = draws.iter().map(|x| (x - mean).powi(2)).sum::<f64>() / n;
    if variance.sqrt() <= ROUNDING * mean.abs() {
        return quantity(draws.first().copied().unwrap_or(mean), &[]);
    }
    let mut at = |share: f64| {
        let rank = ((share * n - 0.5).round().max(0.0) as usize).min(draws.len().saturating_sub(1));
        if draws.is_empty() { mean } else { *draws.select_nth_unstable_by(rank, f64::total_cmp).1 }
    };
    Q {
        value: mean,
        standard_uncertainty: variance.sqrt(),
        interval_68: [at(0.16), at(0.84)],
        interval_95: [at(0.025), at(0.975)],
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_rectangle_alone_has_the_rectangles_own_quantiles() {
        let q = quantity(2.0, &[Spread::Limits(0.1)]);
        assert!((q.interval_95[1] - 2.095).abs() < 1e-12, "value ± 1.96 u would say 2.113");
        assert!((q.standard_uncertainty - 0.1 / 3.0_f64.sqrt()).abs() < 1e-15);
    }

    #[test]
    fn a_normal_alone_has_the_normals_quantiles() {
        let q = quantity(1.0, &[Spread::Normal(0.3), Spread::Normal(0.4)]);
        assert!((q.standard_uncertainty - 0.5).abs() < 1e-15);
        assert!((q.interval_95[0] - (1.0 - 0.979_98)).abs() < 1e-4);
    }

    #[test]
    fn two_equal_rectangles_make_a_triangle() {
        // 95 % of a triangle of half-width 2a lies within 2a (1 − sqrt(0.05)) = 1.5528 a
        let q = quantity(0.0, &[Spread::Limits(1.0), Spread::Limits(1.0)]);
        assert!((q.interval_95[1] - 1.5528).abs() < 0.02, "{:?}", q.interval_95);
    }

    #[test]
    fn draws_give_equal_tails() {
        let mut draws: Vec<f64> = (0..1000).map(|i| f64::from(i) / 999.0).collect();
        let q = of_draws(&mut draws);
        assert!((q.interval_95[0] - 0.025).abs() < 2e-3 && (q.interval_95[1] - 0.975).abs() < 2e-3);
    }
}
