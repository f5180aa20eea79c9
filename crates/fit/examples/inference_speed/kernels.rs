//! The kernels: a million draws, one linear propagation, a fit, a posterior.

use std::hint::black_box;
use std::path::Path;

use arcmass_fit::wide::{
    BLOCK, JointNormal, Moments, WideStream, gauss_newton, moments, propagate_small, reweight_blocks,
    simulate_blocks,
};
use nalgebra::{DMatrix, SMatrix, SVector};

use crate::global;
use crate::worker::{Kernel, Result};

/// What [`make`] knows.
pub(crate) const NAMES: &[&str] =
    &["a million draws", "linear propagation", "fit of 24 runs", "posterior of 24 runs"];

/// A kernel by its name; the problems are fixed, so no folder is read.
pub(crate) fn make(name: &str, _folder: Option<&Path>) -> Result<Box<dyn Kernel>> {
    Ok(match name {
        "a million draws" => Box::new(Draws::new()?),
        "linear propagation" => Box::new(Linear { last: (0.0, 0.0) }),
        "fit of 24 runs" => Box::new(Fit { last: fit()? }),
        "posterior of 24 runs" => Box::new(Posterior::new()?),
        other => return Err(format!("no kernel `{other}`").into()),
    })
}

const CHARGE: f64 = 1.602176634e-19;
const MEAN_K: f64 = 7.2e-4;
const MEAN_B0: f64 = -2.0e-5;

/// Inputs, standard uncertainties, correlations: k, b0, I, gain, V, px, m/px.
fn inputs() -> ([f64; 7], [f64; 7], [[f64; 7]; 7]) {
    let r: f64 = (2.0_f64 * 9.1093837e-31 * 250.0 / CHARGE).sqrt() / (MEAN_K * 1.4 + MEAN_B0);
    let mean = [MEAN_K, MEAN_B0, 1.4, 1.0, 250.0, 1000.0, r / 1000.0];
    let relative = [4e-3, 0.0, 3e-3, 5e-3, 2e-3, 3e-3, 2e-3];
    let mut u = [0.0; 7];
    for i in 0..7 {
        u[i] = mean[i] * relative[i];
    }
    u[1] = 3e-6;
    let mut r = [[0.0; 7]; 7];
    for (i, row) in r.iter_mut().enumerate() {
        row[i] = 1.0;
    }
    for (a, b, rho) in [(0, 1, -0.85), (2, 0, -0.30), (2, 3, 0.20), (5, 6, 0.25)] {
        r[a][b] = rho;
        r[b][a] = rho;
    }
    (mean, u, r)
}

fn mass(x: &[f64; 7]) -> f64 {
    let p = (x[0] * x[2] + x[1]) * x[5] * x[6];
    CHARGE * p * p / (2.0 * x[3] * x[4])
}

#[inline(always)]
fn mass_block(rows: &[[f64; BLOCK]], out: &mut [f64; BLOCK]) {
    let [k, b0, i, gain, v, px, scale] = rows else { return };
    for n in 0..BLOCK {
        let p = (k[n] * i[n] + b0[n]) * px[n] * scale[n];
        out[n] = CHARGE * p * p / (2.0 * gain[n] * v[n]);
    }
}

struct Draws {
    joint: JointNormal,
    last: Option<Moments>,
}

const COUNT: usize = 1_000_000;
/// Relative standard uncertainty by first order (GUM), which these nearly linear inputs follow to a thousandth.
const REL_SD: f64 = 0.010_367_5;

impl Draws {
    fn new() -> Result<Self> {
        let (mean, u, r) = inputs();
        let covariance = DMatrix::from_fn(7, 7, |a, b| r[a][b] * u[a] * u[b]);
        Ok(Self { joint: JointNormal::new(&mean, &covariance)?, last: None })
    }
}

impl Kernel for Draws {
    fn method(&self) -> String {
        "Box and Muller in eight lanes, quantiles by buckets".to_owned()
    }
    fn amount(&self) -> (usize, &'static str) {
        (COUNT, "draws")
    }
    fn call(&mut self) -> Result<()> {
        let draws = simulate_blocks(&self.joint, COUNT, WideStream::new(1, 0), mass_block)?;
        self.last = Some(moments(&draws, &[0.025, 0.16, 0.5, 0.84, 0.975])?);
        Ok(())
    }
    fn result(&self) -> Vec<f64> {
        self.last.iter().flat_map(|m| [m.mean, m.sd / m.mean, m.quantiles[0], m.quantiles[4]]).collect()
    }
    fn error(&self) -> Result<f64> {
        let last = self.last.as_ref().ok_or("no draws yet")?;
        Ok((last.sd / last.mean / REL_SD - 1.0).abs())
    }
}

struct Linear {
    last: (f64, f64),
}

impl Kernel for Linear {
    fn method(&self) -> String {
        "central differences, no heap".to_owned()
    }
    fn amount(&self) -> (usize, &'static str) {
        (1000, "calls")
    }
    fn call(&mut self) -> Result<()> {
        let (mean, u, r) = inputs();
        for _ in 0..1000 {
            self.last = propagate_small(black_box(&mean), &u, &r, mass)?;
        }
        Ok(())
    }
    fn result(&self) -> Vec<f64> {
        vec![self.last.0, self.last.1 / self.last.0]
    }
    fn error(&self) -> Result<f64> {
        Ok((self.last.1 / self.last.0 / REL_SD - 1.0).abs())
    }
}

type Fitted = (SVector<f64, 7>, SMatrix<f64, 7, 7>);

fn fit() -> Result<Fitted> {
    Ok(gauss_newton(black_box(SVector::from(global::START)), |p: &SVector<f64, 7>| {
        let jacobian = SMatrix::<f64, 30, 7>::from(global::small_jacobian(p.as_slice()));
        (SVector::<f64, 30>::from(global::small_residuals(p.as_slice())), jacobian)
    })?)
}

/// SciPy 1.17.1 least_squares on the same problem: ln m and its standard uncertainty.
const LOG_MASS: f64 = -0.005_930_70;
const LOG_MASS_U: f64 = 0.014_628_12;

struct Fit {
    last: Fitted,
}

impl Kernel for Fit {
    fn method(&self) -> String {
        "Gauss-Newton, derivatives by hand, no heap".to_owned()
    }
    fn amount(&self) -> (usize, &'static str) {
        (1, "fits")
    }
    fn call(&mut self) -> Result<()> {
        self.last = fit()?;
        Ok(())
    }
    fn result(&self) -> Vec<f64> {
        vec![self.last.0[0], self.last.1[(0, 0)].sqrt()]
    }
    fn error(&self) -> Result<f64> {
        Ok((self.last.0[0] - LOG_MASS).abs() / LOG_MASS_U)
    }
}

struct Posterior {
    proposal: JointNormal,
    effective: usize,
    last: (f64, f64),
}

impl Posterior {
    fn new() -> Result<Self> {
        let (best, covariance) = fit()?;
        let covariance = DMatrix::from_fn(7, 7, |a, b| covariance[(a, b)]);
        let mut made = Self {
            proposal: JointNormal::new(best.as_slice(), &covariance)?,
            effective: 0,
            last: (0.0, 0.0),
        };
        made.call()?;
        Ok(made)
    }
}

impl Kernel for Posterior {
    fn method(&self) -> String {
        "t proposal about the fit, re-weighted by blocks".to_owned()
    }
    fn amount(&self) -> (usize, &'static str) {
        (self.effective, "effective draws")
    }
    fn call(&mut self) -> Result<()> {
        let found = reweight_blocks(&self.proposal, 5_000, WideStream::new(1, 0), global::log_density_block)?;
        self.effective = found.effective_number as usize;
        self.last = found.moments(0).ok_or("no parameter")?;
        Ok(())
    }
    fn result(&self) -> Vec<f64> {
        vec![self.last.0, self.last.1, self.effective as f64]
    }
    fn error(&self) -> Result<f64> {
        Ok((self.last.1 / LOG_MASS_U - 1.0).abs())
    }
}
