//! Draws from the posterior of a joint fit, limits kept as the rectangles they are.

use nalgebra::{DMatrix, DVector, SymmetricEigen};
use rand::Rng;

use super::{Joint, JointFault, Prior, information, invert, prior_pull};
use crate::truncated::{normal_quantile, standard_normal, truncated_normal, uniform};

/// The quadratic form of the posterior, split into unknowns with limits and the rest.
pub(super) struct Sampler<'a> {
    joint: &'a Joint,
    limited: Vec<usize>,
    free: Vec<usize>,
    /// Minus the conditional mean's slope: free = −gain·limited + offset.
    gain: DMatrix<f64>,
    offset: DVector<f64>,
    /// Covariance of the free unknowns with the limited ones held.
    held: DMatrix<f64>,
    precision: DMatrix<f64>,
    pull: DVector<f64>,
}

impl<'a> Sampler<'a> {
    pub(super) fn new<E>(joint: &'a Joint) -> Result<Self, JointFault<E>> {
        let is_limited = |j: &usize| matches!(joint.priors.get(*j), Some(Prior::Limits { .. }));
        let n = joint.priors.len();
        let limited: Vec<usize> = (0..n).filter(is_limited).collect();
        let free: Vec<usize> = (0..n).filter(|j| !is_limited(j)).collect();
        let unlimited: Vec<Prior> = joint
            .priors
            .iter()
            .map(|prior| if matches!(prior, Prior::Limits { .. }) { Prior::Flat } else { *prior })
            .collect();
        let curvature = information(&joint.at, &unlimited);
        let slope =
            joint.at.jacobian.transpose() * &joint.at.residuals + prior_pull(&unlimited, &joint.estimate);
        let block = |rows: &[usize], columns: &[usize]| {
            DMatrix::from_fn(rows.len(), columns.len(), |i, j| curvature[(rows[i], columns[j])])
        };
        let part = |rows: &[usize]| DVector::from_iterator(rows.len(), rows.iter().map(|i| slope[*i]));
        let (slope_free, slope_limited) = (part(&free), part(&limited));
        let (inverse, _) = invert(&block(&free, &free))?;
        let cross = block(&free, &limited);
        let gain = &inverse * &cross;
        let precision = block(&limited, &limited) - cross.transpose() * &gain;
        let pull = slope_limited - gain.transpose() * &slope_free;
        let offset = -(&inverse * slope_free);
        Ok(Self { joint, limited, free, gain, offset, held: inverse, precision, pull })
    }

    pub(super) fn run(&self, places: &[usize], count: usize, rng: &mut impl Rng) -> DMatrix<f64> {
        let limited = match self.weighted(count, rng) {
            Some(limited) => limited,
            None => self.walked(count, rng),
        };
        let among = |list: &[usize], j: usize| list.iter().position(|own| *own == j);
        let asked: Vec<usize> = places.iter().filter_map(|j| among(&self.free, *j)).collect();
        let root = root(DMatrix::from_fn(asked.len(), asked.len(), |i, j| self.held[(asked[i], asked[j])]));
        let noise = DMatrix::from_fn(count, asked.len(), |_, _| standard_normal(rng));
        let mut rest = noise * root.transpose() - &limited * self.gain.select_rows(&asked).transpose();
        for (k, own) in asked.iter().enumerate() {
            rest.column_mut(k).add_scalar_mut(self.offset[*own]);
        }
        let mut draws = DMatrix::zeros(count, places.len());
        let mut next = 0;
        for (column, j) in places.iter().enumerate() {
            let deviations = match among(&self.limited, *j) {
                Some(own) => limited.column(own),
                None => {
                    next += 1;
                    rest.column(next - 1)
                }
            };
            draws.set_column(column, &deviations.add_scalar(self.joint.estimate[*j]));
        }
        draws
    }

    /// Standard deviation of one unknown, without chance. The limited unknowns take evenly strewn places of their normal
    /// distribution, limits counted as a/√3; each is weighed by the rectangles over the normal priors that stood for them. What the
    /// other unknowns add with those held is exact. None where fewer than [`ENOUGH_PLACES`] of the places would tell as much.
    pub(super) fn standard_deviation(&self, unknown: usize) -> Option<f64> {
        let n = self.limited.len();
        let among = |list: &[usize]| list.iter().position(|own| *own == unknown);
        let (slope, held) = match (among(&self.limited), among(&self.free)) {
            (Some(own), _) => (DVector::from_fn(n, |k, _| if k == own { 1.0 } else { 0.0 }), 0.0),
            (_, Some(own)) => (-self.gain.row(own).transpose(), self.held[(own, own)]),
            (None, None) => return None,
        };
        let joint = self.joint;
        let covariance = &joint.covariance;
        let root = root(DMatrix::from_fn(n, n, |i, j| covariance[(self.limited[i], self.limited[j])]));
        let steps = strewing_steps(n);
        let (mut sum, mut squares, mut first, mut second) = (0.0, 0.0, 0.0, 0.0);
        for i in 0..PLACES {
            let z = DVector::from_fn(n, |k, _| {
                normal_quantile((0.5 + (i as f64 + 1.0) * steps.get(k).copied().unwrap_or(0.0)).fract())
            });
            let place = &root * z;
            let mut log = 0.0;
            for (x, j) in place.iter().zip(&self.limited) {
                if let Some(Prior::Limits { mean, half_width }) = joint.priors.get(*j).copied() {
                    let off = (joint.estimate[*j] + x - mean) / half_width;
                    // u = a/√3
                    log += if off.abs() <= 1.0 { 1.5 * off * off } else { f64::NEG_INFINITY };
                }
            }
            let (weight, value) = (log.exp(), slope.dot(&place));
            sum += weight;
            squares += weight * weight;
            first += weight * value;
            second += weight * value * value;
        }
        let variance = held + second / sum - (first / sum).powi(2);
        (sum * sum >= ENOUGH_PLACES * squares && sum > 0.0).then(|| variance.max(0.0).sqrt())
    }

    /// Deviations of the limited unknowns, drawn evenly from their rectangles and chosen again in proportion to their
    /// density; none where fewer independent draws than a quarter of `count` would tell as much.
    fn weighted(&self, count: usize, rng: &mut impl Rng) -> Option<DMatrix<f64>> {
        const SPARE: usize = 4;
        /// Draws asked for, per independent one that is enough.
        const ENOUGH: f64 = 4.0;
        let n = self.limited.len();
        let walk = Walk::new(self);
        let mut drawn = Vec::with_capacity(SPARE * count * n);
        let mut logs = Vec::with_capacity(SPARE * count);
        for _ in 0..SPARE * count {
            let start = drawn.len();
            for k in 0..n {
                drawn.push(walk.low[k] + (walk.high[k] - walk.low[k]) * uniform(rng));
            }
            let place = drawn.get(start..)?;
            let mut log = 0.0;
            for (i, x) in place.iter().enumerate() {
                let column = self.precision.column(i);
                let bent: f64 = column.iter().zip(place).map(|(p, y)| p * y).sum();
                log -= x * (0.5 * bent + self.pull[i]);
            }
            logs.push(log);
        }
        let top = logs.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        let weights: Vec<f64> = logs.iter().map(|log| (log - top).exp()).collect();
        let (sum, squares) = weights.iter().fold((0.0, 0.0), |(s, q), w| (s + w, q + w * w));
        if ENOUGH * sum * sum < count as f64 * squares {
            return None;
        }
        let mut chosen = DMatrix::zeros(count, n);
        let (mut reached, mut at) = (0.0, 0);
        let step = sum / count as f64;
        let offset = uniform(rng);
        for (index, weight) in weights.iter().enumerate() {
            reached += weight;
            while at < count && (at as f64 + offset) * step < reached {
                for (k, x) in drawn.get(index * n..(index + 1) * n)?.iter().enumerate() {
                    chosen[(at, k)] = *x;
                }
                at += 1;
            }
        }
        (at == count).then_some(chosen)
    }

    /// The same by a walk through the rectangles.
    fn walked(&self, count: usize, rng: &mut impl Rng) -> DMatrix<f64> {
        const WARM_UP: usize = 200;
        const THINNING: usize = 2;
        let mut walk = Walk::new(self);
        for _ in 0..WARM_UP {
            walk.sweep(rng);
        }
        let mut places = DMatrix::zeros(count, self.limited.len());
        for row in 0..count {
            for _ in 0..THINNING {
                walk.sweep(rng);
            }
            places.row_mut(row).tr_copy_from(&walk.place);
        }
        places
    }
}

/// Places that [`Sampler::standard_deviation`] looks at, and how many must tell as much as if they weighed alike.
const PLACES: usize = 8192;
const ENOUGH_PLACES: f64 = 128.0;

/// Places at which the rectangles are compared with the normal distributions that stood for them.
const FEW_PLACES: usize = 1024;

/// Logarithm of the evidence with limits as the rectangles they are, over that with limits counted as normal with u = a/√3: the mean, over
/// the normal posterior, of the rectangles' density over the normals'. At strewn places, without chance; where none of them lies within the
/// limits, as if half a place did.
pub(super) fn log_rectangles_over_normals(joint: &Joint) -> f64 {
    let limits: Vec<(usize, f64, f64)> = joint
        .priors
        .iter()
        .enumerate()
        .filter_map(|(j, prior)| match prior {
            Prior::Limits { mean, half_width } => Some((j, *mean, *half_width)),
            _ => None,
        })
        .collect();
    let n = limits.len();
    let root = root(DMatrix::from_fn(n, n, |i, j| joint.covariance[(limits[i].0, limits[j].0)]));
    let steps = strewing_steps(n);
    let mut sum = 0.0;
    for i in 0..FEW_PLACES {
        let z = DVector::from_fn(n, |k, _| {
            normal_quantile((0.5 + (i as f64 + 1.0) * steps.get(k).copied().unwrap_or(0.0)).fract())
        });
        let place = &root * z;
        let off = |(x, (j, mean, half_width)): (&f64, &(usize, f64, f64))| {
            (joint.estimate[*j] + x - mean) / half_width
        };
        let squares: Option<f64> =
            place.iter().zip(&limits).map(off).map(|off| (off.abs() <= 1.0).then_some(off * off)).sum();
        sum += squares.map_or(0.0, |squares| (1.5 * squares).exp());
    }
    // (1/2a) over 1/(u √2π)
    let constant = 0.5 * (std::f64::consts::TAU / 12.0).ln();
    (sum.max(0.5) / FEW_PLACES as f64).ln() + n as f64 * constant
}

/// Steps that strew places evenly over a cube of so many sides: powers of the root of xⁿ⁺¹ = x + 1, each side's multiples taken
/// modulo 1 (Weyl's sequence; the golden section where n is 1).
fn strewing_steps(sides: usize) -> Vec<f64> {
    let mut root: f64 = 1.5;
    for _ in 0..64 {
        root = (1.0 + root).powf(1.0 / (sides as f64 + 1.0));
    }
    (1..=sides).map(|k| root.powf(-(k as f64)).fract()).collect()
}

/// A root S of a positive matrix C with S Sᵀ = C: the triangular one, or by eigenvalues where rounding made C singular.
fn root(covariance: DMatrix<f64>) -> DMatrix<f64> {
    if let Some(triangle) = covariance.clone().cholesky() {
        return triangle.unpack();
    }
    let eigen = SymmetricEigen::new(covariance);
    let roots = eigen.eigenvalues.map(|x| x.max(0.0).sqrt());
    &eigen.eigenvectors * DMatrix::from_diagonal(&roots)
}

/// A walk through the box of limits: deviations from the estimate, moved along fixed directions.
struct Walk<'a> {
    sampler: &'a Sampler<'a>,
    place: DVector<f64>,
    low: DVector<f64>,
    high: DVector<f64>,
    directions: Vec<DVector<f64>>,
}

impl<'a> Walk<'a> {
    fn new(sampler: &'a Sampler<'a>) -> Self {
        let n = sampler.limited.len();
        let mut low = DVector::zeros(n);
        let mut high = DVector::zeros(n);
        let mut size = DVector::zeros(n);
        for (k, j) in sampler.limited.iter().enumerate() {
            if let Some(Prior::Limits { mean, half_width }) = sampler.joint.priors.get(*j).copied() {
                low[k] = mean - half_width - sampler.joint.estimate[*j];
                high[k] = mean + half_width - sampler.joint.estimate[*j];
                size[k] = half_width;
            }
        }
        let place = DVector::from_fn(n, |k, _| 0.0_f64.clamp(low[k], high[k]));
        let scaled = DMatrix::from_fn(n, n, |i, j| sampler.precision[(i, j)] * size[i] * size[j]);
        let mut directions: Vec<DVector<f64>> = Vec::new();
        if n > 0 {
            let eigen = SymmetricEigen::new(scaled);
            directions.extend((0..n).map(|k| eigen.eigenvectors.column(k).component_mul(&size)));
        }
        directions.extend((0..n).map(|k| DVector::from_fn(n, |i, _| if i == k { size[k] } else { 0.0 })));
        Self { sampler, place, low, high, directions }
    }

    /// One move along every direction, each an exact draw from the truncated normal on that line.
    fn sweep(&mut self, rng: &mut impl Rng) {
        for direction in &self.directions {
            let (mut from, mut to) = (f64::NEG_INFINITY, f64::INFINITY);
            for k in 0..self.place.len() {
                if direction[k].abs() > 1e-14 {
                    let a = (self.low[k] - self.place[k]) / direction[k];
                    let b = (self.high[k] - self.place[k]) / direction[k];
                    from = from.max(a.min(b));
                    to = to.min(a.max(b));
                }
            }
            if to <= from || to.is_nan() || from.is_nan() {
                continue;
            }
            let forward = &self.sampler.precision * direction;
            let precision = direction.dot(&forward).max(0.0);
            let slope = self.place.dot(&forward) + self.sampler.pull.dot(direction);
            let shift = truncated_normal(precision, slope, from, to, rng);
            self.place.axpy(shift, direction, 1.0);
        }
    }
}
