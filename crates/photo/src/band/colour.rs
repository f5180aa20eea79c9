//! In which mixture of red, green and blue the beam shows best against what is beside it.

use nalgebra::{Matrix3, Vector3};

use super::light::PolarLight;
use super::line::Seen;

/// Weights of red, green and blue; their magnitudes sum to 1.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Mixture(pub(crate) [f32; 3]);

impl Mixture {
    /// All channels together, and each.
    pub(crate) fn sums(channels: usize) -> Vec<Self> {
        if channels < 3 {
            return vec![Self([1.0, 0.0, 0.0])];
        }
        let third = 1.0 / 3.0;
        [[third, third, third], [1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]].map(Self).to_vec()
    }

    /// Colours against each other: they show a coloured line before a white wall.
    pub(crate) fn differences(channels: usize) -> Vec<Self> {
        if channels < 3 {
            return Vec::new();
        }
        [[-0.5, 0.25, 0.25], [0.5, -0.25, -0.25], [0.0, -0.5, 0.5]].map(Self).to_vec()
    }

    /// Whether no channel is taken away.
    pub(crate) fn is_sum(&self) -> bool {
        self.0.iter().all(|weight| *weight >= 0.0)
    }

    /// The mixture in which the line stands highest over the clutter beside it: Fisher's linear discriminant.
    ///
    /// - **Takes** polar light and a line seen on it, of standard deviation `sigma_px`.
    /// - **Gives** `Σ⁻¹ c`, with the line's median height `c` and the covariance `Σ` of both sides' changes from station to station.
    /// - **Source** R. A. Fisher, Annals of Eugenics 7 (1936) 179 (from memory).
    pub(crate) fn tuned(light: &PolarLight, seen: &Seen, sigma_px: f64) -> Option<Self> {
        if light.channels.len() < 3 {
            return None;
        }
        let m = light.raster.len();
        let sigma = (sigma_px / light.raster.step).max(1.0);
        let (core, side) = ((0.7 * sigma).ceil() as usize, (2.3 * sigma).round() as usize);
        let mean = |c: usize, i: usize, from: usize, to: usize| -> f64 {
            let row = &light.channels[c][i * m + from..=i * m + to];
            row.iter().map(|v| f64::from(*v)).sum::<f64>() / row.len() as f64
        };
        let mut contrasts: Vec<[f64; 3]> = Vec::new();
        let mut sides: Vec<[f64; 3]> = Vec::new();
        for (i, &k) in seen.path.iter().enumerate().filter(|(i, _)| light.usable.get(*i) == Some(&true)) {
            if k < side + core || k + side + core >= m || seen.height.get(i).is_none_or(|h| *h <= 0.0) {
                continue;
            }
            let at = |k: usize| [0, 1, 2].map(|c| mean(c, i, k - core, k + core));
            let (here, left, right) = (at(k), at(k - side), at(k + side));
            contrasts.push([0, 1, 2].map(|c| here[c] - left[c].max(right[c])));
            sides.push(left);
            sides.push(right);
        }
        if contrasts.len() < 12 {
            return None;
        }
        let height = [0, 1, 2].map(|c| crate::ring_curve::median(contrasts.iter().map(|v| v[c]).collect()));
        // changes over two stations of one side, so that slow shading counts little
        let mut covariance = Matrix3::identity() * 1e-5;
        let changes = sides.iter().zip(sides.iter().skip(4));
        let count = sides.len().saturating_sub(4).max(1) as f64;
        for (a, b) in changes {
            let d = Vector3::from_fn(|c, _| (a[c] - b[c]).clamp(-0.2, 0.2));
            covariance += d * d.transpose() * (0.5 / count);
        }
        let weights = covariance.cholesky()?.solve(&Vector3::from(height));
        let total: f64 = weights.iter().map(|w| w.abs()).sum();
        (total > 0.0 && total.is_finite()).then(|| Self([0, 1, 2].map(|c| (weights[c] / total) as f32)))
    }
}
