//! The network's input cut from a picture, and its four maps.

use std::sync::{Arc, OnceLock};

use super::Maps;
use crate::picture::{LightPlane, Picture};
use rten::{Model, RunOptions, ThreadPool};
use rten_tensor::NdTensor;
use rten_tensor::prelude::*;

/// Long side of the first input.
const LONG_SIDE_PX: f64 = 512.0;
/// The network halves its input six times: sides are multiples of this.
const MULTIPLE: usize = 64;

/// Weights, 8 bits each: `crates/photo/learn/README.md` tells how they were made.
static WEIGHTS: &[u8] = include_bytes!("../../assets/finder.onnx");

/// A part of the picture as the network gets it.
#[derive(Debug, Clone, Copy)]
pub(super) struct Window {
    /// Full-resolution pixel of the top-left corner of the input.
    from_px: [f64; 2],
    /// Full-resolution pixels in an input pixel.
    pub(super) step_px: f64,
    /// Input pixels that lie on the picture.
    width: usize,
    height: usize,
}

impl Window {
    /// The whole picture, long side 512 or its own where that is smaller.
    pub(super) fn whole(picture: &Picture) -> Self {
        let (w, h) = (picture.width() as f64, picture.height() as f64);
        let step_px = (w.max(h) / LONG_SIDE_PX).max(1.0);
        let [width, height] = [w, h].map(|side| ((side / step_px).round() as usize).max(1));
        Self { from_px: [0.0; 2], step_px, width, height }
    }

    /// A square of `side` input pixels about a point, moved on to the picture where it can be.
    pub(super) fn about(picture: &Picture, centre: [f64; 2], step_px: f64, side: usize) -> Self {
        let span = step_px * side as f64;
        let size = [picture.width() as f64, picture.height() as f64];
        let from_px = [0, 1].map(|k| (centre[k] - 0.5 * span).min(size[k] - span).max(0.0));
        let [width, height] =
            [0, 1].map(|k| (((size[k] - from_px[k]) / step_px).ceil() as usize).clamp(1, side));
        Self { from_px, step_px, width, height }
    }

    /// Sides of the input.
    fn padded(&self) -> [usize; 2] {
        [self.height, self.width].map(|side| side.next_multiple_of(MULTIPLE))
    }

    /// Encoded red, green, blue: means over blocks, the nearest block of each input pixel; the picture's edge is carried on where
    /// the window leaves it.
    fn input(&self, picture: &Picture) -> NdTensor<f32, 3> {
        let [high, wide] = self.padded();
        let plane = high * wide;
        let factor = (self.step_px.floor() as usize).max(1);
        let (columns, rows, rgb) = picture.reduced_rgb8(factor);
        let block = |from: f64, i: usize, count: usize| -> usize {
            let place = (from + self.step_px * (i as f64 + 0.5)) / factor as f64 - 0.5;
            (place.round().max(0.0) as usize).min(count.saturating_sub(1))
        };
        let places: Vec<usize> =
            (0..wide).map(|i| block(self.from_px[0], i.min(self.width - 1), columns)).collect();
        let mut values = vec![0.0_f32; 3 * plane];
        for j in 0..high {
            let row = block(self.from_px[1], j.min(self.height - 1), rows) * columns;
            for (i, place) in places.iter().enumerate() {
                let Some(pixel) = rgb.get(3 * (row + place)..3 * (row + place) + 3) else { continue };
                for (c, value) in pixel.iter().enumerate() {
                    values[c * plane + j * wide + i] = f32::from(*value) / 255.0;
                }
            }
        }
        NdTensor::from_data([3, high, wide], values)
    }
}

/// The network with one thread of its own: photographs are spread over threads elsewhere, and numbers stay the same.
fn network() -> Option<&'static (Model, Arc<ThreadPool>)> {
    static NETWORK: OnceLock<Option<(Model, Arc<ThreadPool>)>> = OnceLock::new();
    let load = || Some((Model::load_static_slice(WEIGHTS).ok()?, Arc::new(ThreadPool::with_num_threads(1))));
    NETWORK.get_or_init(load).as_ref()
}

/// Runs the network; `[map, row, column]`.
fn run(input: NdTensor<f32, 3>) -> Option<NdTensor<f32, 4>> {
    let (model, pool) = network()?;
    let [_, high, wide] = input.shape();
    let input = input.into_shape([1, 3, high, wide]);
    let mut options = RunOptions::default();
    options.thread_pool = Some(Arc::clone(pool));
    model.run_one(input.view().into(), Some(options)).ok()?.try_into().ok()
}

/// The maps of a window; empty ones (all 0) if the network can't be run, which the tests rule out.
pub(super) fn maps_of(picture: &Picture, window: &Window) -> Maps {
    let [width, height] = [window.width.div_ceil(2), window.height.div_ceil(2)];
    let out = run(window.input(picture));
    let plane = |map: usize| {
        let at =
            |x: usize, y: usize| out.as_ref().and_then(|t| t.get([0, map, y, x]).copied()).unwrap_or(0.0);
        let values =
            (0..height).flat_map(|y| (0..width).map(move |x| (x, y))).map(|(x, y)| at(x, y)).collect();
        LightPlane { width, height, values }
    };
    // a cell covers two input pixels: its centre lies one input pixel from its corner
    let origin_px = window.from_px.map(|from| from + window.step_px - 0.5);
    Maps {
        beam: plane(0),
        bulb: plane(1),
        gun: plane(2),
        scale: plane(3),
        origin_px,
        cell_px: 2.0 * window.step_px,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_network_runs_and_weighs_at_most_two_megabytes() {
        assert!(WEIGHTS.len() <= 2_000_000, "{} bytes", WEIGHTS.len());
        let out = run(NdTensor::zeros([3, 64, 128]));
        assert_eq!(out.map(|t| t.shape()), Some([1, 4, 32, 64]));
    }
}
