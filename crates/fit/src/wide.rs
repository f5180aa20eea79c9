//! Many draws at once: a seeded normal generator in eight lanes that gives the same bits on every machine, linear maps of
//! its numbers, and the quantiles of what comes out without sorting it.
//!
//! Everything is written once, lane by lane, with explicit fused multiply–adds, and compiled for several vector widths; the
//! width changes the speed alone.

mod small;
mod summary;

use nalgebra::DMatrix;

pub use small::{gauss_newton, propagate_small};
pub use summary::{Moments, moments};

use crate::error::{FitError, all_finite, same_length};

/// Draws that are made together.
pub const BLOCK: usize = 256;
/// Lanes of the generator.
const LANES: usize = 8;

/// Eight interleaved xoshiro256++ generators (D. Blackman, S. Vigna, ACM Trans. Math. Softw. 47 (2021) 36), their states
/// filled from the seed and the stream's number by splitmix64.
#[derive(Debug, Clone)]
pub struct WideStream {
    state: [[u64; LANES]; 4],
}

impl WideStream {
    /// Stream number `stream` of a seed; different numbers give streams that have nothing to do with one another.
    pub fn new(seed: u64, stream: u64) -> Self {
        let mut at = seed ^ stream.wrapping_mul(0x9e37_79b9_7f4a_7c15).rotate_left(32);
        let mut next = || {
            at = at.wrapping_add(0x9e37_79b9_7f4a_7c15);
            let mut z = at;
            z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
            z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
            z ^ (z >> 31)
        };
        let mut state = [[0; LANES]; 4];
        for lane in 0..LANES {
            for word in &mut state {
                word[lane] = next();
            }
        }
        Self { state }
    }

    #[inline(always)]
    fn next(&mut self) -> [u64; LANES] {
        let [a, b, c, d] = &mut self.state;
        let mut out = [0; LANES];
        for i in 0..LANES {
            out[i] = a[i].wrapping_add(d[i]).rotate_left(23).wrapping_add(a[i]);
            let t = b[i] << 17;
            c[i] ^= a[i];
            d[i] ^= b[i];
            b[i] ^= c[i];
            a[i] ^= d[i];
            c[i] ^= t;
            d[i] = d[i].rotate_left(45);
        }
        out
    }

    /// Fills a row with standard normal numbers (Box and Müller's transform).
    #[inline(always)]
    fn normals(&mut self, row: &mut [f64; BLOCK]) {
        for pair in row.chunks_exact_mut(2 * LANES) {
            let (size, turn) = (self.next(), self.next());
            let (first, second) = pair.split_at_mut(LANES);
            for i in 0..LANES {
                let (x, y) = box_muller(size[i], turn[i]);
                first[i] = x;
                second[i] = y;
            }
        }
    }

    /// Fills a row with −2 ln u for independent uniform u: chi-squared with two degrees of freedom.
    #[inline(always)]
    fn chi_squared_two(&mut self, row: &mut [f64; BLOCK]) {
        for part in row.chunks_exact_mut(LANES) {
            let bits = self.next();
            for i in 0..LANES {
                part[i] = -2.0 * log_of_unit(bits[i]);
            }
        }
    }
}

/// 52 random bits as a number from 1 up to 2.
#[inline(always)]
fn one_to_two(bits: u64) -> f64 {
    f64::from_bits((bits >> 12) | 0x3ff0_0000_0000_0000)
}

/// Logarithm of a uniform number above 0 up to 1.
#[inline(always)]
fn log_of_unit(bits: u64) -> f64 {
    let unit = 2.0 - one_to_two(bits);
    // unit = m 2^k with m between √½ and √2
    let raw = unit.to_bits();
    let shifted = raw.wrapping_sub(0x3fe6_a09e_667f_3bcd);
    // the exponent lies between −52 and 0: added to 2^52 it becomes a number without a conversion
    let k = f64::from_bits(((shifted as i64 >> 52) as u64).wrapping_add(0x4338_0000_0000_0000))
        - 6_755_399_441_055_744.0;
    let m = f64::from_bits((shifted & 0x000f_ffff_ffff_ffff).wrapping_add(0x3fe6_a09e_667f_3bcd));
    // ln m = 2 artanh s, s = (m − 1)/(m + 1), |s| < 0.172
    let s = (m - 1.0) / (m + 1.0);
    let s2 = s * s;
    const ODD: [f64; 9] = [
        2.0 / 19.0,
        2.0 / 17.0,
        2.0 / 15.0,
        2.0 / 13.0,
        2.0 / 11.0,
        2.0 / 9.0,
        2.0 / 7.0,
        2.0 / 5.0,
        2.0 / 3.0,
    ];
    let mut sum = ODD[0];
    for c in &ODD[1..] {
        sum = sum.mul_add(s2, *c);
    }
    let log_m = (s * s2).mul_add(sum, 2.0 * s);
    k.mul_add(std::f64::consts::LN_2, log_m)
}

/// Two standard normal numbers from 128 random bits.
#[inline(always)]
fn box_muller(size: u64, turn: u64) -> (f64, f64) {
    let radius = (-2.0 * log_of_unit(size)).sqrt();
    // an angle between −45° and 45°, then mirrored at 45° and at 90° by two bits more
    let a = (one_to_two(turn) - 1.5) * std::f64::consts::FRAC_PI_2;
    let a2 = a * a;
    const SIN: [f64; 7] = [
        1.0 / 1_307_674_368_000.0,
        -1.0 / 6_227_020_800.0,
        1.0 / 39_916_800.0,
        -1.0 / 362_880.0,
        1.0 / 5_040.0,
        -1.0 / 120.0,
        1.0 / 6.0,
    ];
    const COS: [f64; 8] = [
        1.0 / 20_922_789_888_000.0,
        -1.0 / 87_178_291_200.0,
        1.0 / 479_001_600.0,
        -1.0 / 3_628_800.0,
        1.0 / 40_320.0,
        -1.0 / 720.0,
        1.0 / 24.0,
        -0.5,
    ];
    let mut odd = SIN[0];
    for c in &SIN[1..] {
        odd = odd.mul_add(a2, *c);
    }
    let mut even = COS[0];
    for c in &COS[1..] {
        even = even.mul_add(a2, *c);
    }
    let sin = (-(a * a2)).mul_add(odd, a);
    let cos = even.mul_add(a2, 1.0);
    // the two lowest bits are not among the 52 of the angle
    let flip = (turn & 1) << 63;
    let swap = (turn & 2) != 0;
    let cos = f64::from_bits(cos.to_bits() ^ flip);
    let (x, y) = if swap { (sin, cos) } else { (cos, sin) };
    (radius * x, radius * y)
}

/// A kernel over blocks; compiled for each vector width.
trait Kernel {
    type Output;
    fn run(self) -> Self::Output;
}

/// Runs a kernel with the widest vectors that the machine has.
fn widest<K: Kernel>(kernel: K) -> K::Output {
    #[cfg(target_arch = "x86_64")]
    {
        #[target_feature(enable = "avx512f,avx512vl,avx512dq,avx2,fma")]
        fn wide<K: Kernel>(kernel: K) -> K::Output {
            kernel.run()
        }
        #[target_feature(enable = "avx2,fma")]
        fn half<K: Kernel>(kernel: K) -> K::Output {
            kernel.run()
        }
        let has_half = std::is_x86_feature_detected!("avx2") && std::is_x86_feature_detected!("fma");
        if has_half
            && std::is_x86_feature_detected!("avx512f")
            && std::is_x86_feature_detected!("avx512vl")
            && std::is_x86_feature_detected!("avx512dq")
        {
            // Sound: the features have just been detected.
            return unsafe { wide(kernel) };
        }
        if has_half {
            // Sound: the features have just been detected.
            return unsafe { half(kernel) };
        }
    }
    kernel.run()
}

/// Jointly normal inputs, ready to be drawn in blocks.
#[derive(Debug, Clone)]
pub struct JointNormal {
    mean: Vec<f64>,
    /// Lower triangle, row by row.
    factor: Vec<f64>,
}

impl JointNormal {
    /// Prepares the draws.
    ///
    /// - **Fails** where sizes differ, numbers are not finite, or the covariance is not positive definite.
    pub fn new(mean: &[f64], covariance: &DMatrix<f64>) -> Result<Self, FitError> {
        all_finite("mean of a joint distribution", mean.iter().copied())?;
        all_finite("covariance", covariance.iter().copied())?;
        same_length("row of the covariance matrix", "means", mean.len(), covariance.nrows())?;
        same_length("column of the covariance matrix", "means", mean.len(), covariance.ncols())?;
        let root = covariance.clone().cholesky().ok_or_else(|| FitError::Singular {
            fit: "a joint distribution drawn in blocks",
            hint: "its covariance must be positive definite".to_string(),
        })?;
        let root = root.l();
        let factor =
            (0..mean.len()).flat_map(|i| (0..=i).map(move |j| (i, j))).map(|place| root[place]).collect();
        Ok(Self { mean: mean.to_vec(), factor })
    }

    /// Turns standard normal rows into draws, last row first, so that none is overwritten before it is used.
    #[inline(always)]
    fn shape(&self, rows: &mut [[f64; BLOCK]]) {
        let mut end = self.factor.len();
        for i in (0..rows.len()).rev() {
            let coefficients = &self.factor[end - (i + 1)..end];
            end -= i + 1;
            let (below, rest) = rows.split_at_mut(i);
            let Some(own) = rest.first_mut() else { continue };
            let (diagonal, mean) = (coefficients[i], self.mean[i]);
            for v in own.iter_mut() {
                *v = v.mul_add(diagonal, mean);
            }
            for (row, c) in below.iter().zip(coefficients) {
                for (v, z) in own.iter_mut().zip(row) {
                    *v = z.mul_add(*c, *v);
                }
            }
        }
    }
}

/// Draws of a model of jointly normal inputs, by blocks; the same bits on every machine.
///
/// - **Takes** the inputs, the number of draws, the stream, and the model: from one row of numbers an input to one row of
///   results. A model of plain arithmetic in a loop over the block is compiled to vectors.
/// - **Fails** when the model is not finite at some draw.
pub fn simulate_blocks(
    inputs: &JointNormal,
    count: usize,
    stream: WideStream,
    model: impl Fn(&[[f64; BLOCK]], &mut [f64; BLOCK]),
) -> Result<Vec<f64>, FitError> {
    struct Run<'a, M> {
        inputs: &'a JointNormal,
        results: Vec<f64>,
        stream: WideStream,
        model: M,
    }
    impl<M: Fn(&[[f64; BLOCK]], &mut [f64; BLOCK])> Kernel for Run<'_, M> {
        type Output = Vec<f64>;
        #[inline(always)]
        fn run(mut self) -> Vec<f64> {
            let mut rows = vec![[0.0; BLOCK]; self.inputs.mean.len()];
            let mut out = [0.0; BLOCK];
            for part in self.results.chunks_mut(BLOCK) {
                for row in &mut rows {
                    self.stream.normals(row);
                }
                self.inputs.shape(&mut rows);
                (self.model)(&rows, &mut out);
                let many = part.len();
                part.copy_from_slice(&out[..many]);
            }
            self.results
        }
    }
    let results = widest(Run { inputs, results: vec![0.0; count], stream, model });
    match results.iter().find(|v| !v.is_finite()) {
        None => Ok(results),
        Some(value) => Err(FitError::ModelNotFinite {
            what: "the model at every draw",
            value: *value,
            parameters: inputs.mean.clone(),
        }),
    }
}

/// Weighted draws from a posterior, made in blocks.
#[derive(Debug, Clone)]
pub struct WidePosterior {
    /// One row a parameter, one column a draw.
    pub draws: Vec<Vec<f64>>,
    /// Weight of each draw; they sum to 1.
    pub weights: Vec<f64>,
    /// Kish's number of independent draws that would tell as much.
    pub effective_number: f64,
}

impl WidePosterior {
    /// Mean and standard deviation of one parameter.
    pub fn moments(&self, parameter: usize) -> Option<(f64, f64)> {
        let values = self.draws.get(parameter)?;
        let mean: f64 = values.iter().zip(&self.weights).map(|(v, w)| v * w).sum();
        let variance: f64 = values.iter().zip(&self.weights).map(|(v, w)| w * (v - mean).powi(2)).sum();
        Some((mean, variance.sqrt()))
    }
}

/// Degrees of freedom of the proposal: tails heavier than a normal posterior's, at the price of a tenth of the draws.
const PROPOSAL_DOF: f64 = 8.0;

/// Draws from a t proposal about a fit, re-weighted to an exact density, by blocks.
///
/// As [`crate::reweight`] with eight degrees of freedom; the density is evaluated for a whole block at a time.
///
/// - **Takes** the fit's estimate with its covariance, the number of draws, the stream, and the logarithm of the density:
///   from one row of numbers a parameter to one row of results, −∞ where the density is 0.
/// - **Fails** with a density that is NaN or +∞, or 0 at every draw.
pub fn reweight_blocks(
    proposal: &JointNormal,
    count: usize,
    stream: WideStream,
    log_density: impl Fn(&[[f64; BLOCK]], &mut [f64; BLOCK]),
) -> Result<WidePosterior, FitError> {
    struct Run<'a, M> {
        proposal: &'a JointNormal,
        count: usize,
        stream: WideStream,
        log_density: M,
    }
    impl<M: Fn(&[[f64; BLOCK]], &mut [f64; BLOCK])> Kernel for Run<'_, M> {
        type Output = (Vec<Vec<f64>>, Vec<f64>);
        #[inline(always)]
        fn run(mut self) -> Self::Output {
            let d = self.proposal.mean.len();
            let mut rows = vec![[0.0; BLOCK]; d];
            let mut draws = vec![Vec::with_capacity(self.count); d];
            let mut logs = Vec::with_capacity(self.count);
            let (mut chi, mut one, mut size, mut out) =
                ([0.0; BLOCK], [0.0; BLOCK], [0.0; BLOCK], [0.0; BLOCK]);
            while logs.len() < self.count {
                // chi-squared with eight degrees of freedom is the sum of four with two
                chi.fill(0.0);
                for _ in 0..4 {
                    self.stream.chi_squared_two(&mut one);
                    chi.iter_mut().zip(&one).for_each(|(sum, part)| *sum += part);
                }
                chi.iter_mut().for_each(|v| *v = (PROPOSAL_DOF / *v).sqrt());
                size.fill(0.0);
                for row in &mut rows {
                    self.stream.normals(row);
                    for ((v, stretch), size) in row.iter_mut().zip(&chi).zip(&mut size) {
                        *v *= stretch;
                        *size = v.mul_add(*v, *size);
                    }
                }
                self.proposal.shape(&mut rows);
                (self.log_density)(&rows, &mut out);
                let many = BLOCK.min(self.count - logs.len());
                let half = 0.5 * (PROPOSAL_DOF + d as f64);
                for (log, size) in out.iter().zip(&size).take(many) {
                    logs.push(log + half * (size / PROPOSAL_DOF).ln_1p());
                }
                for (kept, row) in draws.iter_mut().zip(&rows) {
                    kept.extend_from_slice(&row[..many]);
                }
            }
            (draws, logs)
        }
    }
    let (draws, logs) = widest(Run { proposal, count, stream, log_density });
    let most = logs.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    if let Some(value) = logs.iter().find(|log| log.is_nan()).or((!most.is_finite()).then_some(&most)) {
        return Err(FitError::ModelNotFinite {
            what: "the log-density of some draw",
            value: *value,
            parameters: proposal.mean.clone(),
        });
    }
    let mut weights: Vec<f64> = logs.iter().map(|log| (log - most).exp()).collect();
    let total: f64 = weights.iter().sum();
    weights.iter_mut().for_each(|w| *w /= total);
    let squares: f64 = weights.iter().map(|w| w * w).sum();
    Ok(WidePosterior { draws, weights, effective_number: 1.0 / squares })
}
