//! A group's rows against its bench: how probable they are under each hypothesis.

use arcmass_notebook::{ClassRow, Edge};
use nalgebra::{DMatrix, DVector};

use crate::physics::{BenchPhysics, Setting, accepted_mass_kg};
use crate::reading::{Free, Mended, ReadingSlip};

/// What the readings of a class scatter by.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Scatter {
    /// Standard uncertainty of a diameter of which nobody stated one, m.
    pub(crate) unstated_u_m: f64,
    /// Natural logarithm of the share of groups whose scatter is each of [`FACTORS`] times the stated.
    pub(crate) ln_shares: Vec<f64>,
}

/// A group's scatter over what it states.
pub(crate) const FACTORS: [f64; 8] = [0.35, 0.5, 0.7, 1.0, 1.4, 2.0, 2.8, 4.0];
/// Shares before the class is seen; judgement.
const SHARES: [f64; 8] = [0.06, 0.12, 0.22, 0.27, 0.17, 0.10, 0.04, 0.02];
/// Of a reading by eye, before the class is seen, m; common practice, no source.
const UNSTATED_U_M: f64 = 0.7e-3;
/// What one person always does alike, m, and relative: a little to one side, a little slack of the scale.
const PERSON_M: f64 = 1.0e-4;
const PERSON_RELATIVE: f64 = 1.0e-3;

impl Default for Scatter {
    fn default() -> Self {
        Self { unstated_u_m: UNSTATED_U_M, ln_shares: SHARES.iter().map(|share| share.ln()).collect() }
    }
}

/// A group's rows as numbers.
#[derive(Debug, Clone)]
pub(crate) struct GroupRows {
    /// Diameter as written, m: twice the number where the radius was asked for.
    pub(crate) written_d: Vec<f64>,
    /// Its stated uncertainty, m.
    pub(crate) stated_u: Vec<Option<f64>>,
    /// Rounding, as a standard uncertainty, m.
    pub(crate) rounding: Vec<f64>,
    /// Which edge was read: +1, −1, 0.
    edge: Vec<f64>,
    /// Sense, turned, tilt of each row.
    stands: Vec<(f64, f64, f64)>,
    pub(crate) written: Mended,
}

impl GroupRows {
    pub(crate) fn of(rows: &[ClassRow], is_radius: bool) -> Self {
        let twice = if is_radius { 2.0 } else { 1.0 };
        Self {
            written_d: rows.iter().map(|row| twice * row.length.value).collect(),
            stated_u: rows.iter().map(|row| row.length_u_m.map(|u| twice * u)).collect(),
            rounding: rows.iter().map(|row| twice * row.length.half_unit / 3.0_f64.sqrt()).collect(),
            edge: rows
                .iter()
                .map(|row| match row.edge {
                    Some(Edge::Outer) => 1.0,
                    Some(Edge::Inner) => -1.0,
                    _ => 0.0,
                })
                .collect(),
            stands: rows
                .iter()
                .map(|row| {
                    let tilt = row.gun_tilt_deg.to_radians();
                    (row.field_sense.sign(), row.bench_turned_deg.to_radians(), tilt)
                })
                .collect(),
            written: Mended::of(rows),
        }
    }

    pub(crate) fn len(&self) -> usize {
        self.written_d.len()
    }

    /// The table with a slip taken back.
    pub(crate) fn mended(&self, slip: &ReadingSlip) -> Mended {
        let mut mended = self.written.clone();
        slip.steps.iter().for_each(|step| mended.undo(step, &self.written_d));
        mended
    }

    pub(crate) fn setting(&self, mended: &Mended, row: usize) -> Setting {
        let (sense, turned_rad, tilt_rad) = self.stands[row];
        Setting {
            voltage_v: mended.voltage[row],
            current_a: mended.current[row],
            sense,
            turned_rad,
            tilt_rad,
        }
    }
}

/// Residuals of one hypothesis with what they depend on.
#[derive(Debug, Clone)]
pub(crate) struct Linear {
    /// ln d written minus predicted.
    pub(crate) residual: DVector<f64>,
    /// Derivative of the prediction by the shared unknowns.
    pub(crate) by_shared: DMatrix<f64>,
    /// Derivative of the prediction by ln m.
    pub(crate) by_ln_m: DVector<f64>,
    /// Covariance of everything but the shared unknowns and the scatter.
    pub(crate) fixed: DMatrix<f64>,
    /// Variance of ln d of the stated scatter.
    pub(crate) scatter: DVector<f64>,
    /// The slip's own unknowns: derivative times standard deviation, one column each.
    pub(crate) free: DMatrix<f64>,
}

/// Linearises one hypothesis about the shared unknowns.
///
/// - **Gives** none where a row makes no ring.
pub(crate) fn linear(
    bench: &BenchPhysics,
    theta: &DVector<f64>,
    group: &GroupRows,
    slip: &ReadingSlip,
    scatter: &Scatter,
    mass_kg: f64,
) -> Option<Linear> {
    let (n, k) = (group.len(), bench.shared.len());
    let mended = group.mended(slip);
    let mut linear = Linear {
        residual: DVector::zeros(n),
        by_shared: DMatrix::zeros(n, k),
        by_ln_m: DVector::zeros(n),
        fixed: DMatrix::zeros(n, n),
        scatter: DVector::zeros(n),
        free: DMatrix::zeros(n, mended.free.len()),
    };
    let width = bench.apparatus.beam_width.map_or((2e-3, 1e-3), |width| (width.value, width.spread.u()));
    let mut per_m = DVector::zeros(n);
    let mut edges = DVector::zeros(n);
    let meters = (bench.apparatus.voltmeter.per_reading_u, bench.apparatus.ammeter.per_reading_u);
    for row in 0..n {
        let setting = group.setting(&mended, row);
        let predicted = bench.predict(&setting, theta, mass_kg)?;
        let d = predicted.ln_d.exp();
        let added = mended.added[row] + group.edge[row] * width.0;
        let total = d * mended.ratio[row] + added;
        if total <= 0.0 {
            return None;
        }
        linear.residual[row] = (group.written_d[row] / (mended.factor[row] * total)).ln();
        let share = d * mended.ratio[row] / total;
        for (column, by) in predicted.by_shared.iter().enumerate() {
            linear.by_shared[(row, column)] = share * by;
        }
        linear.by_ln_m[row] = share * predicted.by_ln_m;
        for (column, free) in mended.free.iter().enumerate() {
            linear.free[(row, column)] = match free {
                Free::Add(sd) => sd / total,
                Free::Ratio(sd) => sd * share,
                Free::ChordAt(sd) => -2.0 * sd / (d * d),
            };
        }
        let is_other = !(0.6..1.7).contains(&mended.factor[row]);
        let u = group.stated_u[row].filter(|u| !is_other || u / d < 0.05).unwrap_or(scatter.unstated_u_m);
        linear.scatter[row] = (u / total).powi(2);
        per_m[row] = 1.0 / total;
        edges[row] = group.edge[row] * width.1 / total;
        linear.fixed[(row, row)] = mended.variance[row]
            + (group.rounding[row] / group.written_d[row]).powi(2)
            + (0.5 * meters.0 / setting.voltage_v).powi(2)
            + (meters.1 / setting.current_a).powi(2);
    }
    linear.fixed += PERSON_M.powi(2) * &per_m * per_m.transpose();
    linear.fixed += &edges * edges.transpose();
    linear.fixed.add_scalar_mut(PERSON_RELATIVE.powi(2));
    Some(linear)
}

/// The same at the accepted mass: a prediction.
pub(crate) fn predicted(
    bench: &BenchPhysics,
    theta: &DVector<f64>,
    group: &GroupRows,
    slip: &ReadingSlip,
    scatter: &Scatter,
) -> Option<Linear> {
    linear(bench, theta, group, slip, scatter, accepted_mass_kg())
}

/// How probable residuals are.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Evidence {
    /// Natural logarithm of the density.
    pub(crate) ln: f64,
    /// Place of the likeliest scatter among [`FACTORS`].
    pub(crate) factor: usize,
}

const NONE: Evidence = Evidence { ln: f64::NEG_INFINITY, factor: 3 };

impl Linear {
    /// All but the scatter, with the shared unknowns' covariance about `shift` from where this was made.
    fn covariance(&self, shared: Option<&DMatrix<f64>>) -> DMatrix<f64> {
        let mut covariance = &self.fixed + &self.free * self.free.transpose();
        if let Some(shared) = shared {
            covariance += &self.by_shared * shared * self.by_shared.transpose();
        }
        covariance
    }

    /// With the shared unknowns at `shift` from where this was made, of covariance `shared`, the scatter's factor integrated.
    pub(crate) fn evidence(
        &self,
        shift: &DVector<f64>,
        shared: Option<&DMatrix<f64>>,
        scatter: &Scatter,
    ) -> Evidence {
        let base = self.covariance(shared);
        let residual = &self.residual - &self.by_shared * shift;
        let mut each = [f64::NEG_INFINITY; FACTORS.len()];
        for (place, factor) in FACTORS.iter().enumerate() {
            let mut covariance = base.clone();
            for row in 0..residual.len() {
                covariance[(row, row)] += factor * factor * self.scatter[row];
            }
            if let Some(ln) = ln_normal(covariance, &residual) {
                each[place] = ln + scatter.ln_shares[place];
            }
        }
        let best = (0..each.len()).max_by(|a, b| each[*a].total_cmp(&each[*b])).unwrap_or(3);
        if each[best] == f64::NEG_INFINITY {
            return NONE;
        }
        Evidence { ln: crate::working::ln_sum(&each), factor: best }
    }

    /// What the rows say of the shared unknowns at one scatter: precision, and precision times shift.
    pub(crate) fn information(&self, factor: usize) -> Option<(DMatrix<f64>, DVector<f64>)> {
        let mut covariance = self.covariance(None);
        for row in 0..self.residual.len() {
            covariance[(row, row)] += FACTORS[factor].powi(2) * self.scatter[row];
        }
        let root = covariance.cholesky()?;
        let solved = root.solve(&self.by_shared);
        Some((self.by_shared.transpose() * &solved, solved.transpose() * &self.residual))
    }

    /// The slip's own unknowns, in their standard deviations, as the rows show them.
    pub(crate) fn free_estimate(
        &self,
        shift: &DVector<f64>,
        shared: &DMatrix<f64>,
        factor: usize,
    ) -> DVector<f64> {
        let mut covariance = self.covariance(Some(shared));
        for row in 0..self.residual.len() {
            covariance[(row, row)] += FACTORS[factor].powi(2) * self.scatter[row];
        }
        let residual = &self.residual - &self.by_shared * shift;
        covariance.cholesky().map_or_else(
            || DVector::zeros(self.free.ncols()),
            |root| self.free.transpose() * root.solve(&residual),
        )
    }

    /// Covariance of the residuals at one scatter, the shared unknowns left out.
    pub(crate) fn own_covariance(&self, factor: usize) -> DMatrix<f64> {
        let mut covariance = self.covariance(None);
        for row in 0..self.residual.len() {
            covariance[(row, row)] += FACTORS[factor].powi(2) * self.scatter[row];
        }
        covariance
    }
}

fn ln_normal(covariance: DMatrix<f64>, residual: &DVector<f64>) -> Option<f64> {
    let n = residual.len() as f64;
    let root = covariance.cholesky()?;
    let ln_det: f64 = root.l_dirty().diagonal().iter().map(|l| l.ln()).sum::<f64>();
    let solved = root.solve(residual);
    Some(-0.5 * residual.dot(&solved) - ln_det - 0.918_938_533_204_672_8 * n)
}
