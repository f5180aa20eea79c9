//! A smooth open curve through scattered offsets, blind to outliers, and how its residuals hang together.

use nalgebra::{DMatrix, DVector};

/// Tukey's constant: 95 % efficiency for normal scatter. Source: Huber & Ronchetti, *Robust Statistics*, 2nd ed., § 4.8 (from memory).
const TUKEY: f64 = 4.685;

/// Offsets from the base ellipse as a polynomial over the followed arc; open, since the path need not close.
#[derive(Debug, Clone)]
pub(crate) struct OpenCurve {
    from: f64,
    to: f64,
    coefficients: Vec<f64>,
}

/// One offset: parameter along the arc, distance, standard uncertainty.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Offset {
    pub(crate) t: f64,
    pub(crate) d: f64,
    pub(crate) u: f64,
}

impl OpenCurve {
    /// Offset at `t`; beyond the ends the end's own value.
    pub(crate) fn at(&self, t: f64) -> f64 {
        let basis = legendre(self.place(t), self.coefficients.len());
        basis.iter().zip(&self.coefficients).map(|(b, c)| b * c).sum()
    }

    fn place(&self, t: f64) -> f64 {
        (2.0 * (t - self.from) / (self.to - self.from).max(1e-9) - 1.0).clamp(-1.0, 1.0)
    }

    /// Robust fit of `terms` Legendre polynomials; gives the curve and each point's weight, 0 for an outlier.
    pub(crate) fn fitted(points: &[Offset], terms: usize) -> Option<(Self, Vec<f64>)> {
        let first = points.iter().map(|p| p.t).fold(f64::INFINITY, f64::min);
        let last = points.iter().map(|p| p.t).fold(f64::NEG_INFINITY, f64::max);
        if points.len() < terms + 3 || last - first < 1e-6 {
            return None;
        }
        let mut curve = Self { from: first, to: last, coefficients: vec![0.0; terms] };
        let middle = median(points.iter().map(|p| p.d).collect());
        if let Some(c) = curve.coefficients.first_mut() {
            *c = middle;
        }
        let rows: Vec<Vec<f64>> = points.iter().map(|p| legendre(curve.place(p.t), terms)).collect();
        let mut weights = vec![1.0; points.len()];
        for round in 0..20 {
            let values = solve(points, &rows, &weights, terms)?;
            let moved: f64 = values.iter().zip(&curve.coefficients).map(|(a, b)| (a - b).abs()).sum();
            curve.coefficients = values;
            let at = |row: &[f64]| -> f64 { row.iter().zip(&curve.coefficients).map(|(b, c)| b * c).sum() };
            let residuals: Vec<f64> =
                points.iter().zip(&rows).map(|(p, row)| (p.d - at(row)) / p.u).collect();
            let scale = (1.4826 * median(residuals.iter().map(|r| r.abs()).collect())).max(1e-9);
            weights = residuals.iter().map(|r| tukey(r / scale)).collect();
            if round > 2 && moved < 1e-6 {
                break;
            }
        }
        Some((curve, weights))
    }
}

/// Tukey's biweight of a residual in standard deviations.
pub(crate) fn tukey(normalised: f64) -> f64 {
    let u = normalised / TUKEY;
    if u.abs() < 1.0 { (1.0 - u * u).powi(2) } else { 0.0 }
}

fn solve(points: &[Offset], rows: &[Vec<f64>], weights: &[f64], terms: usize) -> Option<Vec<f64>> {
    // upper half of the normal matrix, row by row
    let mut sums = vec![0.0; terms * terms];
    let mut right = DVector::<f64>::zeros(terms);
    for ((point, row), weight) in points.iter().zip(rows).zip(weights) {
        let w = weight / (point.u * point.u);
        if w <= 0.0 {
            continue;
        }
        for (i, &a) in row.iter().enumerate() {
            let wa = w * a;
            right[i] += wa * point.d;
            for (sum, &b) in sums[i * terms + i..(i + 1) * terms].iter_mut().zip(&row[i..]) {
                *sum += wa * b;
            }
        }
    }
    let mut normal = DMatrix::from_fn(terms, terms, |i, j| sums[i.min(j) * terms + i.max(j)]);
    let largest = normal.diagonal().max();
    for i in 0..terms {
        normal[(i, i)] += 1e-9 * largest;
    }
    Some(normal.cholesky()?.solve(&right).iter().copied().collect())
}

/// Legendre polynomials P₀ … at `u` between −1 and 1, by the three-term recurrence.
fn legendre(u: f64, terms: usize) -> Vec<f64> {
    let mut values = vec![1.0, u];
    for n in 1..terms.saturating_sub(1) {
        let k = n as f64;
        values.push(((2.0 * k + 1.0) * u * values[n] - k * values[n - 1]) / (k + 1.0));
    }
    values.truncate(terms);
    values
}

/// Middle value; 0 for none.
pub(crate) fn median(mut values: Vec<f64>) -> f64 {
    let middle = values.len() / 2;
    if values.is_empty() {
        return 0.0;
    }
    *values.select_nth_unstable_by(middle, f64::total_cmp).1
}

/// Number of neighbours that speak for one: `1 + 2 Σ ρ_k`, summed while the correlation is clearly positive.
///
/// `None` marks a gap in the evenly spaced residuals. Source: the integrated autocorrelation time,
/// A. Sokal, *Monte Carlo Methods in Statistical Mechanics* (1997), § 3 (from memory).
pub(crate) fn correlated_neighbours(residuals: &[Option<f64>]) -> f64 {
    let known = residuals.iter().flatten();
    let count = known.clone().count() as f64;
    let variance = known.map(|r| r * r).sum::<f64>() / count.max(1.0);
    if count < 20.0 || variance <= 0.0 {
        return 1.0;
    }
    let mut total = 1.0;
    for lag in 1..residuals.len() / 4 {
        let pairs = residuals.iter().zip(residuals.iter().skip(lag)).filter_map(|(a, b)| Some((*a)? * (*b)?));
        let (sum, n) = pairs.fold((0.0, 0.0), |(s, n), v| (s + v, n + 1.0));
        let rho = if n > 0.0 { sum / n / variance } else { 0.0 };
        if rho < 2.0 / count.sqrt() {
            break;
        }
        total += 2.0 * rho;
    }
    total
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_open_curve_ignores_a_tenth_of_outliers_and_need_not_close() {
        let truth = |t: f64| 0.8 * t + 1.5 * (2.0 * t).sin();
        let offset = |i: i32| {
            let t = f64::from(i) * 0.01;
            Offset { t, d: truth(t) + if i % 10 == 3 { 6.0 } else { 0.0 }, u: 0.1 }
        };
        let points: Vec<_> = (0..600).map(offset).collect();
        let fitted = OpenCurve::fitted(&points, 13);
        let worst = fitted.map(|(c, _)| {
            (0..600)
                .map(|i| (c.at(f64::from(i) * 0.01) - truth(f64::from(i) * 0.01)).abs())
                .fold(0.0, f64::max)
        });
        assert!(worst.is_some_and(|w| w < 0.02), "{worst:?}");
    }

    #[test]
    fn repeated_residuals_count_once() {
        // each independent value stands four times in a row: ρ = 3/4, 2/4, 1/4, so 1 + 2 · 1.5 = 4
        let mut state = 1_u64;
        let mut next = || {
            state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
            (state >> 33) as f64 / 2f64.powi(31) - 0.5
        };
        let values: Vec<_> = (0..4000).map(|_| next()).flat_map(|v| [Some(v); 4]).collect();
        let found = correlated_neighbours(&values);
        assert!((found - 4.0).abs() < 0.3, "{found}");
    }
}
