//! What a set of readings will tell, before it is taken: information matrices and the covariance that follows.

use nalgebra::{DMatrix, DVector};

/// Unknowns of one way of looking at a bench: what is known before, and which of them is asked for.
#[derive(Debug, Clone)]
pub struct View {
    /// Information from the priors and from everything already read.
    base: DMatrix<f64>,
    /// Place of the unknown that the readings are for.
    target: usize,
}

impl View {
    /// From the inverse square of each unknown's prior standard uncertainty (0 where nothing is known) and the place of
    /// the unknown asked for.
    pub fn new(precisions: &[f64], target: usize) -> Self {
        let base = DMatrix::from_diagonal(&DVector::from_column_slice(precisions));
        Self { base, target }
    }

    /// Adds a reading already taken: its derivative by each unknown over its standard uncertainty.
    pub fn add(&mut self, row: &DVector<f64>) {
        self.base.ger(1.0, row, row, 1.0);
    }

    /// Sets what is known of one unknown beforehand: changes the inverse square of its prior standard uncertainty.
    pub fn change_precision(&mut self, place: usize, from: f64, to: f64) {
        self.base[(place, place)] += to - from;
    }

    /// Covariance of the unknowns once `rows` (each with a weight: how many times) are read too.
    ///
    /// None where something stays without any knowledge.
    pub fn covariance<'a>(
        &self,
        rows: impl Iterator<Item = (&'a DVector<f64>, f64)>,
    ) -> Option<DMatrix<f64>> {
        let mut information = self.base.clone();
        for (row, weight) in rows {
            information.ger(weight, row, row, 1.0);
        }
        invert(&information)
    }

    /// Place of the unknown asked for.
    pub fn target(&self) -> usize {
        self.target
    }
}

/// Inverts after scaling the diagonal to one.
fn invert(information: &DMatrix<f64>) -> Option<DMatrix<f64>> {
    let n = information.nrows();
    let scale: Vec<f64> = (0..n).map(|j| information[(j, j)].sqrt()).collect();
    if scale.iter().any(|s| s.is_nan() || *s <= 0.0) {
        return None;
    }
    let scaled = DMatrix::from_fn(n, n, |i, j| information[(i, j)] / (scale[i] * scale[j]));
    let inverse = scaled.cholesky()?.inverse();
    inverse
        .diagonal()
        .iter()
        .all(|x| x.is_finite() && *x < 1e13)
        .then(|| DMatrix::from_fn(n, n, |i, j| inverse[(i, j)] / (scale[i] * scale[j])))
}

/// The covariance while rows come and go one at a time (Sherman and Morrison).
#[derive(Debug, Clone)]
pub(super) struct Running {
    covariance: DMatrix<f64>,
    target: usize,
}

impl Running {
    pub(super) fn new(covariance: DMatrix<f64>, target: usize) -> Self {
        Self { covariance, target }
    }

    /// Variance of the unknown asked for.
    pub(super) fn variance(&self) -> f64 {
        self.covariance[(self.target, self.target)]
    }

    /// That variance if one more row were read.
    pub(super) fn with(&self, row: &DVector<f64>) -> f64 {
        let along = self.covariance.column(self.target).dot(row);
        let own = (&self.covariance * row).dot(row);
        self.variance() - along * along / (1.0 + own)
    }

    /// Takes a row in (`sign` +1) or out (−1).
    pub(super) fn change(&mut self, row: &DVector<f64>, sign: f64) {
        let moved = &self.covariance * row;
        let own = moved.dot(row);
        self.covariance.ger(-sign / (1.0 + sign * own), &moved, &moved, 1.0);
    }
}
