//! Tables for the implicit step: 16 Gauss nodes, integration from the step's start, Legendre coefficients.

use std::sync::OnceLock;

use crate::gauss;
use crate::lane8::Lane8;

/// Nodes of a step; the end of a step is right to order 32, any place in it to order 16.
pub(crate) const NODES: usize = 16;

pub(crate) type Row = [f64; NODES];

/// Everything of a step that does not depend on the path, for a step of length 1.
pub(crate) struct Tables {
    /// Nodes in (0, 1).
    pub(crate) place: Row,
    /// Weights, sum 1.
    pub(crate) weight: Row,
    /// `integral[j][i]`: share of the value at node j in the integral from 0 to node i.
    pub(crate) integral: [Row; NODES],
    /// `spectrum[n][j]`: share of the value at node j in the coefficient of `P_n(2 s − 1)`.
    pub(crate) spectrum: [Row; NODES],
    /// The same by node: `spectrum_by_node[j][n]`.
    pub(crate) spectrum_by_node: [Row; NODES],
}

pub(crate) fn tables() -> &'static Tables {
    static TABLES: OnceLock<Tables> = OnceLock::new();
    TABLES.get_or_init(build)
}

fn build() -> Tables {
    let rule = gauss::rule(NODES);
    let mut t = Tables {
        place: [0.0; NODES],
        weight: [0.0; NODES],
        integral: [[0.0; NODES]; NODES],
        spectrum: [[0.0; NODES]; NODES],
        spectrum_by_node: [[0.0; NODES]; NODES],
    };
    for (j, (x, w)) in rule.iter().enumerate().take(NODES) {
        t.place[j] = 0.5 * (1.0 + x);
        t.weight[j] = 0.5 * w;
        for n in 0..NODES {
            t.spectrum[n][j] = (n as f64 + 0.5) * w * gauss::legendre(n, *x).0;
            t.spectrum_by_node[j][n] = t.spectrum[n][j];
        }
        for (i, (end, _)) in rule.iter().enumerate().take(NODES) {
            t.integral[j][i] = (0..NODES).map(|n| t.spectrum[n][j] * 0.5 * integrated(n, *end)).sum();
        }
    }
    t
}

/// `∫_{−1}^{x} P_n`, by `(P_{n+1} − P_{n−1})/(2n + 1)`.
pub(crate) fn integrated(n: usize, x: f64) -> f64 {
    if n == 0 {
        return x + 1.0;
    }
    (gauss::legendre(n + 1, x).0 - gauss::legendre(n - 1, x).0) / (2.0 * n as f64 + 1.0)
}

/// Values of three sums `Σ c_n P_n(x)` and of their integrals from −1 to x.
pub(crate) fn series_and_integral(coefficients: &[Row; 3], x: f64) -> ([f64; 3], [f64; 3]) {
    // P_0 … P_16
    let mut p = [1.0; NODES + 1];
    p[1] = x;
    for n in 1..NODES {
        p[n + 1] = (2.0 - INVERSE[n + 1]) * x * p[n] - (1.0 - INVERSE[n + 1]) * p[n - 1];
    }
    let (mut value, mut integral) = ([0.0; 3], [0.0; 3]);
    for c in 0..3 {
        let row = &coefficients[c];
        let (mut v, mut s) = (row[0], row[0] * (x + 1.0));
        for n in 1..NODES {
            v += row[n] * p[n];
            s += row[n] * (p[n + 1] - p[n - 1]) * INVERSE[2 * n + 1];
        }
        (value[c], integral[c]) = (v, s);
    }
    (value, integral)
}

/// `1/n`.
const INVERSE: [f64; 2 * NODES + 2] = {
    let mut t = [0.0; 2 * NODES + 2];
    let mut n = 1;
    while n < t.len() {
        t[n] = 1.0 / n as f64;
        n += 1;
    }
    t
};

/// Sine and cosine for `|x| ≤ 3.2`, the same on every system and for every vector width (Taylor, halved argument).
#[inline(always)]
pub(crate) fn sine_cosine(x: f64) -> (f64, f64) {
    // sin and cos of x/2 by series up to (x/2)^23, then the double angle.
    let h = 0.5 * x;
    let q = h * h;
    let mut s = 0.0;
    let mut c = 0.0;
    for k in 0..11 {
        s = f64::mul_add(-q, s, SINE[k]);
        c = f64::mul_add(-q, c, COSINE[k]);
    }
    let sine = h * s;
    // cos h = 1 − q c', so 1 − cos h keeps its digits
    let one_less = q * c;
    (2.0 * sine * (1.0 - one_less), 1.0 - 2.0 * sine * sine)
}

/// [`sine_cosine`] on vectors, to x = 3.2 as well.
#[inline(always)]
pub(crate) fn sine_cosine_lanes<V: Lane8>(x: V) -> (V, V) {
    let h = x * V::splat(0.5);
    let q = h * h;
    let (mut s, mut c) = (V::splat(SINE[0]), V::splat(COSINE[0]));
    for k in 1..11 {
        s = q.fnma(s, V::splat(SINE[k]));
        c = q.fnma(c, V::splat(COSINE[k]));
    }
    let sine = h * s;
    let twice = V::splat(2.0) * sine;
    (twice * (V::splat(1.0) - q * c), twice.fnma(sine, V::splat(1.0)))
}

/// `1/(2k+1)!` from the highest down.
const SINE: [f64; 11] = {
    let mut t = [0.0; 11];
    let mut k = 0;
    while k < 11 {
        t[10 - k] = inverse_factorial(2 * k + 1);
        k += 1;
    }
    t
};

/// `1/(2k+2)!` from the highest down.
const COSINE: [f64; 11] = {
    let mut t = [0.0; 11];
    let mut k = 0;
    while k < 11 {
        t[10 - k] = inverse_factorial(2 * k + 2);
        k += 1;
    }
    t
};

const fn inverse_factorial(n: usize) -> f64 {
    let mut product = 1.0;
    let mut k = 2;
    while k <= n {
        product *= k as f64;
        k += 1;
    }
    1.0 / product
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn sine_and_cosine_agree_with_the_library_to_rounding() {
        for i in -3200..=3200 {
            let x = i as f64 * 1e-3;
            let (s, c) = sine_cosine(x);
            // doubling carries the rounding of sin² four times
            assert!(
                (s - x.sin()).abs() < 6.0 * f64::EPSILON && (c - x.cos()).abs() < 6.0 * f64::EPSILON,
                "{x}: {s} {c}"
            );
        }
    }

    #[test]
    fn the_step_integrates_polynomials_up_to_degree_15_at_every_node() {
        let t = tables();
        for degree in 0..NODES as i32 {
            for i in 0..NODES {
                let sum: f64 = (0..NODES).map(|j| t.integral[j][i] * t.place[j].powi(degree)).sum();
                let exact = t.place[i].powi(degree + 1) / f64::from(degree + 1);
                assert!((sum - exact).abs() < 2e-15, "degree {degree} node {i}");
            }
        }
    }
}
