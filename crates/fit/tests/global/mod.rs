//! A global fit to test against: one mass and six shared nuisances from the radii of 24 runs.
//!
//! The radii were drawn once, with NumPy's `default_rng(5)`, from the model below at `TRUE` with 0.4 % scatter.

use nalgebra::DMatrix;

const CHARGE_C: f64 = 1.602176634e-19;
/// Only to have made the data and to set the scale of the first parameter.
const MASS_SCALE_KG: f64 = 9.1093837e-31;
const FIELD_PER_AMPERE_T: f64 = 7.2e-4;
const FIELD_OFFSET_T: f64 = -2.0e-5;
/// Prior standard deviations: field factor, field offset (T), voltage factor, voltage offset (V), scale factor,
/// radius offset (m).
const PRIOR: [f64; 6] = [4e-3, 3e-6, 5e-3, 1.0, 2e-3, 3e-4];
/// Relative reading error of one radius.
const SIGMA: f64 = 4e-3;
const VOLTAGES_V: [f64; 4] = [150.0, 200.0, 250.0, 300.0];
const CURRENTS_A: [f64; 6] = [1.0, 1.2, 1.4, 1.6, 1.8, 2.0];
/// Parameters the data were made with.
#[allow(dead_code, clippy::needless_range_loop)]
pub(crate) const TRUE: [f64; 7] = [0.0, 0.6, -0.8, 0.5, -0.4, 0.9, 0.3];
/// Where the fits start.
pub(crate) const START: [f64; 7] = [0.2, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0];
const RADII_M: [f64; 24] = [
    0.058666861082536416,
    0.04851217948182736,
    0.04159085233338802,
    0.036374840478551315,
    0.03234425141912429,
    0.028930939027718105,
    0.06784695243081376,
    0.056171212778954815,
    0.04824678603899329,
    0.04223384157959018,
    0.037245920826486444,
    0.033252149366588865,
    0.0757575929471342,
    0.06342566996774036,
    0.05384552966050678,
    0.04660695478546878,
    0.041601845389830056,
    0.037205536407113465,
    0.08311756086296626,
    0.06892049685203991,
    0.05878523804870941,
    0.051540853888578396,
    0.04559096859925354,
    0.04086462852918886,
];

fn run(k: usize) -> (f64, f64, f64) {
    (VOLTAGES_V[k / 6], CURRENTS_A[k % 6], RADII_M[k])
}

fn parts(p: &[f64], voltage: f64, current: f64) -> (f64, f64, f64, f64) {
    let field = FIELD_PER_AMPERE_T * (1.0 + PRIOR[0] * p[1]) * current + FIELD_OFFSET_T + PRIOR[1] * p[2];
    let volts = voltage * (1.0 + PRIOR[2] * p[3]) + PRIOR[3] * p[4];
    let scale = 1.0 + PRIOR[4] * p[5];
    let bare = (2.0 * MASS_SCALE_KG * p[0].exp() * volts / CHARGE_C).sqrt() / field / scale;
    (bare, field, volts, scale)
}

/// 24 readings, then 6 priors, each over its standard deviation.
pub(crate) fn residuals(p: &[f64]) -> Vec<f64> {
    let reading = |k: usize| {
        let (voltage, current, seen) = run(k);
        (seen - (parts(p, voltage, current).0 - PRIOR[5] * p[6])) / (SIGMA * seen)
    };
    (0..24).map(reading).chain(p[1..].iter().copied()).collect()
}

/// Derivatives by hand.
pub(crate) fn jacobian(p: &[f64]) -> DMatrix<f64> {
    let mut j = DMatrix::zeros(30, 7);
    for k in 0..24 {
        let (voltage, current, seen) = run(k);
        let (bare, field, volts, scale) = parts(p, voltage, current);
        let w = -1.0 / (SIGMA * seen);
        j[(k, 0)] = w * bare * 0.5;
        j[(k, 1)] = -w * bare / field * FIELD_PER_AMPERE_T * PRIOR[0] * current;
        j[(k, 2)] = -w * bare / field * PRIOR[1];
        j[(k, 3)] = w * bare * 0.5 / volts * voltage * PRIOR[2];
        j[(k, 4)] = w * bare * 0.5 / volts * PRIOR[3];
        j[(k, 5)] = -w * bare / scale * PRIOR[4];
        j[(k, 6)] = -w * PRIOR[5];
    }
    for i in 0..6 {
        j[(24 + i, 1 + i)] = 1.0;
    }
    j
}

/// Logarithm of the posterior density, up to a constant.
pub(crate) fn log_density(p: &[f64]) -> f64 {
    -0.5 * residuals(p).iter().map(|r| r * r).sum::<f64>()
}

/// The same residuals without the heap.
#[allow(dead_code, clippy::needless_range_loop)]
pub(crate) fn small_residuals(p: &[f64]) -> [f64; 30] {
    let mut r = [0.0; 30];
    for (k, slot) in r.iter_mut().enumerate().take(24) {
        let (voltage, current, seen) = run(k);
        *slot = (seen - (parts(p, voltage, current).0 - PRIOR[5] * p[6])) / (SIGMA * seen);
    }
    r[24..].copy_from_slice(&p[1..]);
    r
}

/// Derivatives of [`small_residuals`], one column an unknown.
#[allow(dead_code, clippy::needless_range_loop)]
pub(crate) fn small_jacobian(p: &[f64]) -> [[f64; 30]; 7] {
    let mut j = [[0.0; 30]; 7];
    for k in 0..24 {
        let (voltage, current, seen) = run(k);
        let (bare, field, volts, scale) = parts(p, voltage, current);
        let w = -1.0 / (SIGMA * seen);
        let row = [
            w * bare * 0.5,
            -w * bare / field * FIELD_PER_AMPERE_T * PRIOR[0] * current,
            -w * bare / field * PRIOR[1],
            w * bare * 0.5 / volts * voltage * PRIOR[2],
            w * bare * 0.5 / volts * PRIOR[3],
            -w * bare / scale * PRIOR[4],
            -w * PRIOR[5],
        ];
        for (column, v) in j.iter_mut().zip(row) {
            column[k] = v;
        }
    }
    for i in 0..6 {
        j[1 + i][24 + i] = 1.0;
    }
    j
}

/// Logarithm of the posterior density of a whole block of draws.
#[allow(dead_code, clippy::needless_range_loop)]
#[inline(always)]
pub(crate) fn log_density_block(
    rows: &[[f64; arcmass_fit::wide::BLOCK]],
    out: &mut [f64; arcmass_fit::wide::BLOCK],
) {
    const N: usize = arcmass_fit::wide::BLOCK;
    let [m, k, b, g, v, s, d] = rows else { return };
    let (mut scale, mut per_ampere, mut offset) = ([0.0; N], [0.0; N], [0.0; N]);
    for n in 0..N {
        // e^x to the last bits for |x| below a quarter
        let x = m[n] * 0.5;
        let mut e = 1.0 / 6_227_020_800.0;
        for c in [
            1.0 / 479_001_600.0,
            1.0 / 39_916_800.0,
            1.0 / 3_628_800.0,
            1.0 / 362_880.0,
            1.0 / 40_320.0,
            1.0 / 5_040.0,
            1.0 / 720.0,
            1.0 / 120.0,
            1.0 / 24.0,
            1.0 / 6.0,
            0.5,
            1.0,
            1.0,
        ] {
            e = f64::mul_add(e, x, c);
        }
        scale[n] = (2.0 * MASS_SCALE_KG / CHARGE_C).sqrt() * e / (1.0 + PRIOR[4] * s[n]);
        per_ampere[n] = FIELD_PER_AMPERE_T * (1.0 + PRIOR[0] * k[n]);
        offset[n] = FIELD_OFFSET_T + PRIOR[1] * b[n];
        out[n] = k[n] * k[n] + b[n] * b[n] + g[n] * g[n] + v[n] * v[n] + s[n] * s[n] + d[n] * d[n];
    }
    for (row, voltage) in VOLTAGES_V.iter().enumerate() {
        let mut roots = [0.0; N];
        for n in 0..N {
            roots[n] = scale[n] * (voltage * (1.0 + PRIOR[2] * g[n]) + PRIOR[3] * v[n]).sqrt();
        }
        for (column, current) in CURRENTS_A.iter().enumerate() {
            let seen = RADII_M[6 * row + column];
            let weight = 1.0 / (SIGMA * seen);
            for n in 0..N {
                let radius = roots[n] / (per_ampere[n] * current + offset[n]) - PRIOR[5] * d[n];
                let z = weight * (seen - radius);
                out[n] = f64::mul_add(z, z, out[n]);
            }
        }
    }
    for v in out.iter_mut() {
        *v *= -0.5;
    }
}
