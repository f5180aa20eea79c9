//! Light round an ellipse: one row a station, samples along its normal, in every channel.

use super::colour::Mixture;
use super::{Reach, SIDE, SIGMAS};
use crate::picture::Picture;
use crate::ring_ellipse::Ellipse;
use crate::ring_follow::station;
use crate::trace::Raster;

/// Samples as they stand in the file but for a square root: bright and dim beams alike, noise nearly even.
#[derive(Debug, Clone)]
pub(crate) struct PolarLight {
    /// Parameter of each station.
    pub(crate) t: Vec<f64>,
    pub(crate) raster: Raster,
    /// Samples on each side within which the line may lie.
    pub(crate) within: usize,
    /// Whether a station lies in the picture and in no area left out.
    pub(crate) usable: Vec<bool>,
    pub(crate) spacing_px: f64,
    /// Rows of `raster.len()` samples, one row a station, for each channel; beyond the frame the edge's value.
    pub(crate) channels: Vec<Vec<f32>>,
}

/// Samples across the widest cross-section that are enough.
const FINEST_PART: f64 = 0.004;

impl PolarLight {
    pub(crate) fn read(
        picture: &Picture,
        base: &Ellipse,
        reach: Reach,
        allowed: &dyn Fn(f64, f64) -> bool,
    ) -> Self {
        let around = base.circumference();
        let count = (around / 1.5).clamp(48.0, reach.stations as f64).round() as usize;
        let step = (FINEST_PART * base.r).max(0.5);
        let widest = SIGMAS.iter().copied().fold(0.0, f64::max);
        let far = reach.part + SIDE * widest;
        let raster = Raster { step, half: (far * base.r / step).ceil() as usize };
        let within = (reach.part * base.r / step).ceil() as usize;
        let spacing_px = around / count as f64;
        let rows = (0.5 * spacing_px).round().clamp(1.0, 4.0) as usize;
        let mut light = Self {
            t: (0..count).map(|i| i as f64 * std::f64::consts::TAU / count as f64).collect(),
            raster,
            within,
            usable: Vec::with_capacity(count),
            spacing_px,
            channels: vec![Vec::with_capacity(count * raster.len()); picture.channels()],
        };
        let (right, low) = (picture.width() as f64 - 1.0, picture.height() as f64 - 1.0);
        for i in 0..count {
            let place = station(base, light.t[i], 0.0);
            let inside = |d: f64| {
                let (x, y) = (place.x + d * place.nx, place.y + d * place.ny);
                x >= 0.0 && y >= 0.0 && x <= right && y <= low
            };
            let edge = 0.5 * within as f64 * step;
            light.usable.push(inside(edge) && inside(-edge) && allowed(place.x, place.y));
            light.read_row(picture, &place, rows, spacing_px);
        }
        light
    }

    fn read_row(&mut self, picture: &Picture, place: &crate::trace::Station, rows: usize, spacing_px: f64) {
        let (tx, ty) = (-place.ny, place.nx);
        for k in 0..self.raster.len() {
            let d = self.raster.at(k);
            let mut sums = [0.0_f32; 3];
            for row in 0..rows {
                let along = (row as f64 - 0.5 * (rows as f64 - 1.0)) * spacing_px / rows as f64;
                let (x, y) = (place.x + d * place.nx + along * tx, place.y + d * place.ny + along * ty);
                for (sum, value) in sums.iter_mut().zip(picture.sample_all(x, y)) {
                    *sum += value;
                }
            }
            for (channel, sum) in self.channels.iter_mut().zip(sums) {
                channel.push((sum / rows as f32).max(0.0).sqrt());
            }
        }
    }

    /// Number of stations.
    pub(crate) fn len(&self) -> usize {
        self.t.len()
    }

    /// One plane: the channels in a mixture.
    pub(crate) fn mixed(&self, mixture: &Mixture) -> Vec<f32> {
        let mut values = vec![0.0_f32; self.len() * self.raster.len()];
        for (channel, &weight) in self.channels.iter().zip(&mixture.0).filter(|(_, w)| **w != 0.0) {
            values.iter_mut().zip(channel).for_each(|(sum, value)| *sum += weight * value);
        }
        values
    }
}
