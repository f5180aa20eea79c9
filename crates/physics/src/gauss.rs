//! Gauss–Legendre nodes and weights, computed once.

use std::sync::OnceLock;

/// Most nodes a rule of this module has.
pub(crate) const MAX_NODES: usize = 32;

/// Legendre polynomial `P_n(x)` and its derivative, by the three-term recurrence.
pub(crate) fn legendre(n: usize, x: f64) -> (f64, f64) {
    let (mut before, mut now) = (1.0, x);
    if n == 0 {
        return (1.0, 0.0);
    }
    for k in 1..n {
        let k = k as f64;
        let next = ((2.0 * k + 1.0) * x * now - k * before) / (k + 1.0);
        before = now;
        now = next;
    }
    let derivative = n as f64 * (x * now - before) / (x * x - 1.0);
    (now, derivative)
}

/// Nodes in (−1, 1), ascending, and weights (sum 2) of the `n`-point rule, exact for polynomials of degree `2n − 1`.
///
/// Source: Abramowitz & Stegun 25.4.29; nodes by Newton's method on `P_n`.
pub(crate) fn nodes(n: usize) -> Vec<(f64, f64)> {
    (0..n)
        .map(|i| {
            let mut x = -((i as f64 + 0.75) / (n as f64 + 0.5) * std::f64::consts::PI).cos();
            for _ in 0..8 {
                let (p, dp) = legendre(n, x);
                x -= p / dp;
            }
            let (_, dp) = legendre(n, x);
            (x, 2.0 / ((1.0 - x * x) * dp * dp))
        })
        .collect()
}

/// The rule with `n` nodes, 1 ≤ n ≤ [`MAX_NODES`] (other numbers are brought into that range).
pub(crate) fn rule(n: usize) -> &'static [(f64, f64)] {
    static RULES: OnceLock<Vec<Vec<(f64, f64)>>> = OnceLock::new();
    let rules = RULES.get_or_init(|| (1..=MAX_NODES).map(nodes).collect());
    let index = n.clamp(1, MAX_NODES) - 1;
    rules.get(index).map_or(&[], Vec::as_slice)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_rule_integrates_even_powers_it_must() {
        for n in 1..=MAX_NODES {
            for degree in (0..2 * n).step_by(2) {
                let sum: f64 = rule(n).iter().map(|(x, w)| w * x.powi(degree as i32)).sum();
                let exact = 2.0 / (degree as f64 + 1.0);
                assert!((sum - exact).abs() < 1e-14, "n {n} degree {degree}: {sum} against {exact}");
            }
        }
    }
}
