//! Normal equations of a linear least-squares fit with a few unknowns, added up row by row.

use nalgebra::{SMatrix, SVector};

/// Sums of weighted products for `N` unknowns. All of the symmetric matrix is summed: short rows of a fixed length become
/// vector code, half of them would not.
#[derive(Debug, Clone)]
pub(crate) struct Normal<const N: usize> {
    sums: [[f64; N]; N],
    right: [f64; N],
}

impl<const N: usize> Normal<N> {
    pub(crate) fn new() -> Self {
        Self { sums: [[0.0; N]; N], right: [0.0; N] }
    }

    /// Adds one observation: what it says of each unknown, its weight, its value.
    #[inline]
    #[allow(clippy::needless_range_loop, reason = "plain counting loops are what becomes vector code here")]
    pub(crate) fn add(&mut self, row: [f64; N], weight: f64, value: f64) {
        for i in 0..N {
            let weighted = weight * row[i];
            for j in 0..N {
                self.sums[i][j] += weighted * row[j];
            }
            self.right[i] += weighted * value;
        }
    }

    /// The matrix.
    pub(crate) fn matrix(&self) -> SMatrix<f64, N, N> {
        SMatrix::from(self.sums)
    }

    /// The right-hand side.
    pub(crate) fn right(&self) -> SVector<f64, N> {
        SVector::from(self.right)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_line_through_weighted_points_is_found() {
        let mut normal = Normal::<2>::new();
        for (x, weight) in [(0.0, 1.0), (1.0, 4.0), (3.0, 0.5)] {
            normal.add([1.0, x], weight, 2.0 - 0.5 * x);
        }
        // one point far off without weight
        normal.add([1.0, 7.0], 0.0, 100.0);
        let found = normal.matrix().cholesky().map(|factor| factor.solve(&normal.right()));
        assert!(found.is_some_and(|s| (s[0] - 2.0).abs() < 1e-12 && (s[1] + 0.5).abs() < 1e-12), "{found:?}");
    }
}
