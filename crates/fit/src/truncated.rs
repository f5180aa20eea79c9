//! Draws from normal distributions cut off at limits.

use rand::Rng;
use statrs::function::erf::{erfc, erfc_inv};

/// A uniform number strictly between 0 and 1.
pub(crate) fn uniform(rng: &mut impl Rng) -> f64 {
    // 53 random bits, half a step away from both ends
    ((rng.next_u64() >> 11) as f64 + 0.5) * (1.0 / (1_u64 << 53) as f64)
}

/// One draw from the standard normal distribution (polar method of Box and Muller as improved by Marsaglia).
pub fn standard_normal(rng: &mut impl Rng) -> f64 {
    loop {
        let x = 2.0 * uniform(rng) - 1.0;
        let y = 2.0 * uniform(rng) - 1.0;
        let s = x * x + y * y;
        if s < 1.0 && s > 0.0 {
            return x * (-2.0 * s.ln() / s).sqrt();
        }
    }
}

/// One draw of t on [from, to] with density ∝ exp(−½ precision t² − slope t).
///
/// `precision` ≥ 0; where it is 0 both ends must be finite. Far in a tail the exponential rejection of Robert (1995,
/// Statistics and Computing 5, 121) is used, elsewhere the inverse of the distribution function.
pub fn truncated_normal(precision: f64, slope: f64, from: f64, to: f64, rng: &mut impl Rng) -> f64 {
    let width = to - from;
    let change = (0.5 * precision * (to * to - from * from) + slope * width).abs();
    if width.is_finite() && change < 1e-9 && precision * width * width < 1e-9 {
        return from + width * uniform(rng);
    }
    if precision * width * width < 1e-9 {
        return from + exponential_within(slope, width, rng);
    }
    let sigma = precision.sqrt().recip();
    let mean = -slope / precision;
    let (a, b) = ((from - mean) / sigma, (to - mean) / sigma);
    let z = if a > 3.0 {
        tail(a, b, rng)
    } else if b < -3.0 {
        -tail(-b, -a, rng)
    } else {
        between(a, b, rng)
    };
    (mean + sigma * z).clamp(from, to)
}

/// Mean and standard deviation of a normal distribution of this mean and standard deviation, cut off at both limits.
///
/// By Simpson's rule over the part of the interval that holds more than one part in 10¹⁶ of it.
pub(crate) fn truncated_moments(mean: f64, sigma: f64, low: f64, high: f64) -> (f64, f64) {
    const STEPS: usize = 400;
    let middle = mean.clamp(low, high);
    // from the highest point the density falls by e⁻³⁶ within 8.5 σ, or within 36 decay lengths far out in a tail
    let beyond = (mean - middle).abs();
    let reach = (8.5 * sigma).min(if beyond > 0.0 { 36.0 * sigma * sigma / beyond } else { f64::INFINITY });
    let (from, to) = (low.max(middle - reach), high.min(middle + reach));
    let step = (to - from) / STEPS as f64;
    let top = 0.5 * ((middle - mean) / sigma).powi(2);
    let (mut sum, mut first, mut second) = (0.0, 0.0, 0.0);
    for i in 0..=STEPS {
        let x = from + step * i as f64;
        let simpson = if i == 0 || i == STEPS { 1.0 } else { 2.0 + 2.0 * (i % 2) as f64 };
        let weight = simpson * (top - 0.5 * ((x - mean) / sigma).powi(2)).exp();
        sum += weight;
        first += weight * (x - middle);
        second += weight * (x - middle).powi(2);
    }
    let off = first / sum;
    (middle + off, (second / sum - off * off).max(f64::MIN_POSITIVE).sqrt())
}

/// t on [0, width] with density ∝ exp(−slope t).
fn exponential_within(slope: f64, width: f64, rng: &mut impl Rng) -> f64 {
    let u = uniform(rng);
    if slope > 0.0 {
        -(1.0 - u * -(-slope * width).exp_m1()).ln() / slope
    } else {
        width - exponential_within(-slope, width, rng).min(width)
    }
}

/// Place below which the standard normal distribution has this share.
pub(crate) fn normal_quantile(share: f64) -> f64 {
    -std::f64::consts::SQRT_2 * erfc_inv(2.0 * share)
}

/// Standard normal between a and b by the inverse distribution function, in the better-conditioned tail.
fn between(a: f64, b: f64, rng: &mut impl Rng) -> f64 {
    if a > 0.0 {
        return -between(-b, -a, rng);
    }
    let below = |z: f64| 0.5 * erfc(-z * std::f64::consts::FRAC_1_SQRT_2);
    let (p, q) = (below(a), below(b));
    let target = p + (q - p) * uniform(rng);
    normal_quantile(target).clamp(a, b)
}

/// Standard normal above a > 0 and below b.
fn tail(a: f64, b: f64, rng: &mut impl Rng) -> f64 {
    let rate = 0.5 * (a + (a * a + 4.0).sqrt());
    loop {
        let z = a + exponential_within(rate, (b - a).min(1e3), rng);
        let accept = (-0.5 * (z - rate).powi(2)).exp();
        let most = (-0.5 * (a.max(rate.min(b)) - rate).powi(2)).exp();
        if z <= b && uniform(rng) * most <= accept {
            return z;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use rand::SeedableRng;

    fn moments(precision: f64, slope: f64, from: f64, to: f64) -> (f64, f64) {
        let mut rng = rand_pcg::Pcg64::seed_from_u64(11);
        let n = 40_000;
        let draws: Vec<f64> =
            (0..n).map(|_| truncated_normal(precision, slope, from, to, &mut rng)).collect();
        assert!(draws.iter().all(|t| (from..=to).contains(t)));
        let mean = draws.iter().sum::<f64>() / f64::from(n);
        let var = draws.iter().map(|t| (t - mean).powi(2)).sum::<f64>() / f64::from(n);
        (mean, var.sqrt())
    }

    /// Mean and standard deviation by quadrature of the density itself.
    fn by_quadrature(precision: f64, slope: f64, from: f64, to: f64) -> (f64, f64) {
        let n = 200_000;
        let (mut s0, mut s1, mut s2) = (0.0, 0.0, 0.0);
        let peak = (-slope / precision.max(1e-300)).clamp(from, to);
        let log_peak = -0.5 * precision * peak * peak - slope * peak;
        for i in 0..n {
            let t = from + (to - from) * (f64::from(i) + 0.5) / f64::from(n);
            let w = (-0.5 * precision * t * t - slope * t - log_peak).exp();
            s0 += w;
            s1 += w * t;
            s2 += w * t * t;
        }
        let mean = s1 / s0;
        (mean, (s2 / s0 - mean * mean).sqrt())
    }

    #[test]
    fn draws_follow_the_cut_normal_in_every_regime() {
        let cases =
            [(1.0, 0.0, -1.0, 2.0), (4.0, -8.0, -1.0, 1.0), (1.0, 6.0, -2.0, 0.5), (0.0, 2.0, 0.0, 3.0)];
        for (precision, slope, from, to) in cases {
            let (mean, sd) = moments(precision, slope, from, to);
            let (want_mean, want_sd) = by_quadrature(precision, slope, from, to);
            let four_errors = 4.0 * want_sd / 200.0;
            assert!(
                (mean - want_mean).abs() < four_errors,
                "{precision} {slope}: {mean} against {want_mean}"
            );
            assert!((sd / want_sd - 1.0).abs() < 0.03, "{precision} {slope}: sd {sd} against {want_sd}");
        }
    }

    #[test]
    fn a_flat_density_gives_a_rectangle() {
        let (mean, sd) = moments(0.0, 0.0, -1.0, 1.0);
        assert!(mean.abs() < 0.02 && (sd - 1.0 / 3.0_f64.sqrt()).abs() < 0.01);
    }
}
