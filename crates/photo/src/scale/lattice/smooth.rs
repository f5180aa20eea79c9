//! The lattice as a smooth whole: a homography with a cubic correction for the lens.

use nalgebra::{DMatrix, DVector, Matrix3, Vector3};

use crate::normal::Normal;
use crate::scale::lattice::grow::Nodes;

/// Fewer crossings than this can't fix the lens's cubic terms.
const CUBIC_FROM: usize = 60;

/// From numbers along both directions to pixels.
#[derive(Debug, Clone)]
pub(crate) struct Smooth {
    homography: Matrix3<f64>,
    correction: Option<[[f64; 10]; 2]>,
    middle: [f64; 2],
    half: f64,
}

impl Smooth {
    /// Least squares through all crossings; none if they lie on one line.
    pub(crate) fn through(nodes: &Nodes) -> Option<Self> {
        let all: Vec<([f64; 2], [f64; 2])> =
            nodes.iter().map(|(n, node)| ([f64::from(n[0]), f64::from(n[1])], node.at)).collect();
        Self::of(&all)
    }

    /// The same for (numbers, pixel) pairs.
    pub(crate) fn of(all: &[([f64; 2], [f64; 2])]) -> Option<Self> {
        let n = all.len() as f64;
        if all.len() < 9 {
            return None;
        }
        let middle = [0, 1].map(|k| all.iter().map(|p| p.0[k]).sum::<f64>() / n);
        let half = all
            .iter()
            .map(|p| (p.0[0] - middle[0]).abs().max((p.0[1] - middle[1]).abs()))
            .fold(1.0_f64, f64::max);
        let mut whole = Self { homography: Matrix3::identity(), correction: None, middle, half };
        whole.homography = whole.flat(all)?;
        if all.len() >= CUBIC_FROM {
            whole.correction = whole.bent(all);
        }
        Some(whole)
    }

    fn unit(&self, numbers: [f64; 2]) -> [f64; 2] {
        [0, 1].map(|k| (numbers[k] - self.middle[k]) / self.half)
    }

    /// Homography by linear least squares, weighted once by its own denominator.
    fn flat(&self, all: &[([f64; 2], [f64; 2])]) -> Option<Matrix3<f64>> {
        let mut h = Matrix3::identity();
        h[(2, 0)] = 0.0;
        // pixels in thousands keep the normal equations well conditioned
        for _ in 0..3 {
            let mut sums = Normal::<8>::new();
            for (numbers, px) in all {
                let [u, v] = self.unit(*numbers);
                let (x, y) = (px[0] / 1000.0, px[1] / 1000.0);
                let w = 1.0 / (h[(2, 0)] * u + h[(2, 1)] * v + 1.0).powi(2);
                sums.add([u, v, 1.0, 0.0, 0.0, 0.0, -u * x, -v * x], w, x);
                sums.add([0.0, 0.0, 0.0, u, v, 1.0, -u * y, -v * y], w, y);
            }
            let p = sums.matrix().cholesky()?.solve(&sums.right());
            h = Matrix3::new(p[0], p[1], p[2], p[3], p[4], p[5], p[6], p[7], 1.0);
        }
        Some(Matrix3::from_diagonal(&Vector3::new(1000.0, 1000.0, 1.0)) * h)
    }

    fn bent(&self, all: &[([f64; 2], [f64; 2])]) -> Option<[[f64; 10]; 2]> {
        let mut normal = DMatrix::<f64>::identity(10, 10) * 1e-6;
        let mut right = DMatrix::<f64>::zeros(10, 2);
        for (numbers, px) in all {
            let unit = self.unit(*numbers);
            let row = DVector::from_column_slice(&terms(unit));
            let at = self.project(unit)?;
            normal += &row * row.transpose();
            for k in 0..2 {
                let mut column = right.column_mut(k);
                column += &row * (px[k] - at[k]);
            }
        }
        let solved = normal.cholesky()?.solve(&right);
        Some([0, 1].map(|k| std::array::from_fn(|m| solved[(m, k)])))
    }

    fn project(&self, unit: [f64; 2]) -> Option<[f64; 2]> {
        let p = self.homography * Vector3::new(unit[0], unit[1], 1.0);
        (p.z > 0.05).then(|| [p.x / p.z, p.y / p.z])
    }

    /// Pixel of a pair of numbers (between crossings too).
    pub(crate) fn pixel(&self, numbers: [f64; 2]) -> Option<[f64; 2]> {
        let unit = self.unit(numbers);
        let mut at = self.project(unit)?;
        if let Some(correction) = &self.correction {
            // a cubic runs away beyond its data
            let held = unit.map(|u| u.clamp(-1.3, 1.3));
            for (value, c) in at.iter_mut().zip(correction) {
                *value += c.iter().zip(terms(held)).map(|(c, t)| c * t).sum::<f64>();
            }
        }
        Some(at)
    }

    /// Pixel of a crossing with both steps there.
    pub(crate) fn place(&self, index: [i32; 2]) -> Option<[[f64; 2]; 3]> {
        let n = index.map(f64::from);
        let at = self.pixel(n)?;
        let right = self.pixel([n[0] + 1.0, n[1]])?;
        let up = self.pixel([n[0], n[1] + 1.0])?;
        Some([at, [0, 1].map(|k| right[k] - at[k]), [0, 1].map(|k| up[k] - at[k])])
    }
}

fn terms([u, v]: [f64; 2]) -> [f64; 10] {
    [1.0, u, v, u * u, u * v, v * v, u * u * u, u * u * v, u * v * v, v * v * v]
}
