//! Many draws at once: a seeded normal generator in eight lanes that gives the same bits on every machine, linear maps of
//! its numbers, and the quantiles of what comes out without sorting it.
//!
//! Everything is written once, lane by lane, with explicit fused multiply–adds, and compiled for several vector widths; the
//! width changes the speed alone.

use nalgebra::DMatrix;

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

/// Mean, standard deviation and quantiles of many draws, without sorting them.
#[derive(Debug, Clone, PartialEq)]
pub struct Moments {
    /// Mean.
    pub mean: f64,
    /// Standard deviation.
    pub sd: f64,
    /// In the order of the probabilities asked for; Hazen's, as [`crate::weighted_quantiles`] gives them.
    pub quantiles: Vec<f64>,
}

/// Buckets into which draws are sorted before the one that holds a quantile is looked into.
const BUCKETS: usize = 4096;

/// Mean, standard deviation and quantiles.
///
/// - **Fails** with fewer than 2 draws, draws not finite, or a probability outside 0 to 1.
pub fn moments(draws: &[f64], probabilities: &[f64]) -> Result<Moments, FitError> {
    if draws.len() < 2 {
        return Err(FitError::TooFewPoints { fit: "a summary of draws", needed: 2, found: draws.len() });
    }
    if let Some(&value) = probabilities.iter().find(|p| !(0.0..=1.0).contains(*p)) {
        return Err(FitError::BadProbability { what: "a quantile's probability", value });
    }
    let sums = widest(Sums { draws });
    all_finite("draw", [sums.sum, sums.squares])?;
    let n = draws.len() as f64;
    let off = sums.sum / n;
    let quantiles = quantiles(draws, &sums, probabilities);
    Ok(Moments {
        mean: sums.origin + off,
        sd: ((sums.squares - n * off * off).max(0.0) / (n - 1.0)).sqrt(),
        quantiles,
    })
}

struct Sums<'a> {
    draws: &'a [f64],
}

/// Sums about the first draw, which keeps the digits of draws that are nearly alike.
struct Summed {
    origin: f64,
    sum: f64,
    squares: f64,
    low: f64,
    high: f64,
}

impl Kernel for Sums<'_> {
    type Output = Summed;
    #[inline(always)]
    fn run(self) -> Summed {
        let origin = self.draws.first().copied().unwrap_or(0.0);
        let (mut sum, mut squares) = ([0.0; LANES], [0.0; LANES]);
        let (mut low, mut high) = ([origin; LANES], [origin; LANES]);
        let mut one = |i: usize, v: f64| {
            let d = v - origin;
            sum[i] += d;
            squares[i] = d.mul_add(d, squares[i]);
            low[i] = if v < low[i] { v } else { low[i] };
            high[i] = if v > high[i] { v } else { high[i] };
        };
        let parts = self.draws.chunks_exact(LANES);
        let rest = parts.remainder();
        for part in parts {
            for (i, v) in part.iter().enumerate() {
                one(i, *v);
            }
        }
        for (i, v) in rest.iter().enumerate() {
            one(i, *v);
        }
        Summed {
            origin,
            sum: sum.iter().sum(),
            squares: squares.iter().sum(),
            low: low.iter().copied().fold(f64::INFINITY, f64::min),
            high: high.iter().copied().fold(f64::NEG_INFINITY, f64::max),
        }
    }
}

fn quantiles(draws: &[f64], sums: &Summed, probabilities: &[f64]) -> Vec<f64> {
    let width = sums.high - sums.low;
    if width <= 0.0 || probabilities.is_empty() {
        return vec![sums.low; probabilities.len()];
    }
    let scale = (BUCKETS as f64 - 0.5) / width;
    let bucket = |v: f64| (((v - sums.low) * scale) as usize).min(BUCKETS - 1);
    let mut counts = vec![0_u32; BUCKETS];
    let mut places = vec![0_u16; draws.len()];
    for (place, v) in places.iter_mut().zip(draws) {
        *place = bucket(*v) as u16;
    }
    for place in &places {
        counts[usize::from(*place)] += 1;
    }
    // ranks needed: the two draws on both sides of each quantile
    let last = draws.len() - 1;
    let at = |p: f64| (p * draws.len() as f64 - 0.5).clamp(0.0, last as f64);
    let mut wanted: Vec<usize> = probabilities
        .iter()
        .flat_map(|p| [at(*p).floor() as usize, (at(*p).floor() as usize + 1).min(last)])
        .collect();
    wanted.sort_unstable();
    wanted.dedup();
    let mut is_wanted = vec![false; BUCKETS];
    let mut starts = Vec::new();
    let mut passed = 0_usize;
    for (own, count) in counts.iter().enumerate() {
        let next = passed + *count as usize;
        if wanted.iter().any(|rank| (passed..next).contains(rank)) {
            is_wanted[own] = true;
            starts.push((own, passed));
        }
        passed = next;
    }
    let mut held: Vec<Vec<f64>> = vec![Vec::new(); starts.len()];
    let slot: Vec<usize> =
        (0..BUCKETS).map(|own| starts.iter().position(|s| s.0 == own).unwrap_or(0)).collect();
    for (place, v) in places.iter().zip(draws) {
        let own = usize::from(*place);
        if is_wanted[own] {
            held[slot[own]].push(*v);
        }
    }
    held.iter_mut().for_each(|part| part.sort_unstable_by(f64::total_cmp));
    let ranked = |rank: usize| {
        let inside =
            starts.iter().zip(&held).find_map(|((_, start), part)| part.get(rank.checked_sub(*start)?));
        inside.copied().unwrap_or(sums.high)
    };
    probabilities
        .iter()
        .map(|p| {
            let below = at(*p).floor();
            let (low, high) = (ranked(below as usize), ranked((below as usize + 1).min(last)));
            low + (at(*p) - below) * (high - low)
        })
        .collect()
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

/// Value and first-order standard uncertainty of a model of correlated inputs (JCGM 100:2008, 5.2), without names or heap.
///
/// - **Takes** the inputs, their standard uncertainties, their correlation matrix, and the model. Derivatives are central
///   differences over a hundredth of each standard uncertainty (an input known exactly is held).
/// - **Fails** when the model is not finite about the inputs.
pub fn propagate_small<const N: usize>(
    inputs: &[f64; N],
    uncertainties: &[f64; N],
    correlation: &[[f64; N]; N],
    model: impl Fn(&[f64; N]) -> f64,
) -> Result<(f64, f64), FitError> {
    let value = model(inputs);
    let mut parts = [0.0; N];
    let mut moved = *inputs;
    for i in 0..N {
        let step = 1e-2 * uncertainties[i];
        if step > 0.0 {
            moved[i] = inputs[i] + step;
            let above = model(&moved);
            moved[i] = inputs[i] - step;
            let below = model(&moved);
            moved[i] = inputs[i];
            parts[i] = (above - below) * (0.5 / 1e-2);
        }
    }
    let mut variance = 0.0;
    for (i, row) in correlation.iter().enumerate() {
        for (j, r) in row.iter().enumerate() {
            variance += parts[i] * r * parts[j];
        }
    }
    if value.is_finite() && variance.is_finite() {
        Ok((value, variance.max(0.0).sqrt()))
    } else {
        Err(FitError::ModelNotFinite {
            what: "the model about its inputs",
            value,
            parameters: inputs.to_vec(),
        })
    }
}

/// Most steps of [`gauss_newton`].
const MOST_STEPS: usize = 30;
/// Largest change of an unknown, in units of its own standard uncertainty, at which it is done.
const SETTLED: f64 = 1e-7;

/// Least squares of a small, well-behaved problem by plain Gauss–Newton steps, without heap: a fit of known size.
///
/// - **Takes** the start and the model: from the unknowns to whitened residuals and their derivatives.
/// - **Gives** the estimate and its covariance (JᵀJ)⁻¹.
/// - **Fails** where the residuals leave some unknown free, or where the steps do not settle; use
///   [`crate::least_squares_with_jacobian`] for such problems.
pub fn gauss_newton<const P: usize, const R: usize>(
    start: nalgebra::SVector<f64, P>,
    model: impl Fn(&nalgebra::SVector<f64, P>) -> (nalgebra::SVector<f64, R>, nalgebra::SMatrix<f64, R, P>),
) -> Result<(nalgebra::SVector<f64, P>, nalgebra::SMatrix<f64, P, P>), FitError> {
    let fit = "a small least-squares fit";
    let mut at = start;
    for _ in 0..MOST_STEPS {
        let (residuals, jacobian) = model(&at);
        let information = jacobian.tr_mul(&jacobian);
        let cholesky = information.cholesky().ok_or_else(|| FitError::Singular {
            fit,
            hint: "some combination of the unknowns is fixed by nothing".to_string(),
        })?;
        let step = cholesky.solve(&jacobian.tr_mul(&residuals));
        at -= step;
        // the quadratic form of the step is its size in standard uncertainties
        if (information * step).dot(&step) < SETTLED * SETTLED {
            return Ok((at, cholesky.inverse()));
        }
    }
    Err(FitError::NotConverged { fit, iterations: MOST_STEPS })
}
