//! What lens and hand do to the light: bloom round bright things, blur, shake.

use super::scene::Phone;
use crate::canvas::Canvas;

/// The raster that holds the bloom is this many times coarser.
const COARSE: usize = 8;

pub(crate) fn pass(canvas: &mut Canvas<3>, phone: &Phone) {
    bloom(canvas, phone.bloom);
    canvas.blur(phone.blur_px);
    shake(canvas, phone.shake_px);
}

/// Scatters a share of what is brighter than the sensor holds.
fn bloom(canvas: &mut Canvas<3>, strength: f64) {
    if strength <= 0.0 {
        return;
    }
    let mut bright = Canvas::<3>::coarser(canvas.width, canvas.height, COARSE);
    let share = 1.0 / (COARSE * COARSE) as f32;
    for y in 0..canvas.height {
        for x in 0..canvas.width {
            let light = canvas.row(y)[x];
            let sum = &mut bright.row_mut(y / COARSE)[x / COARSE];
            for k in 0..3 {
                sum[k] += share * light[k].min(5.0);
            }
        }
    }
    let size = canvas.width.max(canvas.height) as f64 / COARSE as f64;
    let mut wide = bright.clone();
    bright.blur(0.006 * size);
    wide.blur(0.03 * size);
    for (sum, wide) in bright.light.iter_mut().zip(&wide.light) {
        for k in 0..3 {
            sum[k] = (strength as f32) * (0.7 * sum[k] + 0.3 * wide[k]);
        }
    }
    let mut row = vec![[0.0_f32; 3]; canvas.width];
    for y in 0..canvas.height {
        bright.enlarged_row(y, COARSE, &mut row);
        for (value, more) in canvas.row_mut(y).iter_mut().zip(&row) {
            for k in 0..3 {
                value[k] += more[k];
            }
        }
    }
}

/// Smears along the way of the hand: the mean of the picture at places along it, about its middle.
fn shake(canvas: &mut Canvas<3>, [dx, dy]: [f64; 2]) {
    let long = dx.hypot(dy);
    if long < 0.3 {
        return;
    }
    let steps = (long.ceil() as usize + 1).max(3);
    let source = canvas.clone();
    let (width, height) = (canvas.width, canvas.height);
    canvas.light.fill([0.0; 3]);
    for step in 0..steps {
        let t = step as f64 / (steps - 1) as f64 - 0.5;
        let (sx, sy) = (dx * t, dy * t);
        let (left, top) = (sx.floor(), sy.floor());
        let (u, v) = ((sx - left) as f32, (sy - top) as f32);
        for (ox, oy, weight) in [
            (0.0, 0.0, (1.0 - u) * (1.0 - v)),
            (1.0, 0.0, u * (1.0 - v)),
            (0.0, 1.0, (1.0 - u) * v),
            (1.0, 1.0, u * v),
        ] {
            let (ix, iy) = ((left + ox) as isize, (top + oy) as isize);
            let weight = weight / steps as f32;
            for y in 0..height {
                let from = source.row((y as isize + iy).clamp(0, height as isize - 1) as usize);
                for (x, value) in canvas.row_mut(y).iter_mut().enumerate() {
                    let light = from[(x as isize + ix).clamp(0, width as isize - 1) as usize];
                    for k in 0..3 {
                        value[k] += weight * light[k];
                    }
                }
            }
        }
    }
}
