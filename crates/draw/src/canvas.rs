//! Planes of light: accumulate, blur, and enlarge them.

/// Light on a raster of `CHANNELS` values a pixel, row by row.
#[derive(Debug, Clone)]
pub(crate) struct Canvas<const CHANNELS: usize> {
    pub(crate) width: usize,
    pub(crate) height: usize,
    pub(crate) light: Vec<[f32; CHANNELS]>,
}

impl<const CHANNELS: usize> Canvas<CHANNELS> {
    pub(crate) fn new(width: usize, height: usize) -> Self {
        Canvas { width, height, light: vec![[0.0; CHANNELS]; width * height] }
    }

    /// A raster `factor` times coarser that covers the same picture.
    pub(crate) fn coarser(width: usize, height: usize, factor: usize) -> Self {
        Canvas::new(width.div_ceil(factor), height.div_ceil(factor))
    }

    pub(crate) fn row(&self, y: usize) -> &[[f32; CHANNELS]] {
        &self.light[y * self.width..(y + 1) * self.width]
    }

    pub(crate) fn row_mut(&mut self, y: usize) -> &mut [[f32; CHANNELS]] {
        &mut self.light[y * self.width..(y + 1) * self.width]
    }

    /// Blurs by a Gaussian of standard deviation `sigma` pixels; the border is continued outwards.
    pub(crate) fn blur(&mut self, sigma: f64) {
        if sigma < 0.05 {
            return;
        }
        let kernel = gaussian_kernel(sigma);
        self.blur_rows(&kernel);
        self.blur_columns(&kernel);
    }

    fn blur_rows(&mut self, kernel: &[f32]) {
        let reach = kernel.len() / 2;
        let width = self.width;
        let mut padded = vec![[0.0_f32; CHANNELS]; width + 2 * reach];
        for row in self.light.chunks_exact_mut(width) {
            let (first, last) = (row[0], row[width - 1]);
            padded[..reach].fill(first);
            padded[reach..reach + width].copy_from_slice(row);
            padded[reach + width..].fill(last);
            row.fill([0.0; CHANNELS]);
            for (tap, weight) in kernel.iter().enumerate() {
                add_scaled(row, &padded[tap..tap + width], *weight);
            }
        }
    }

    fn blur_columns(&mut self, kernel: &[f32]) {
        let (width, height) = (self.width, self.height);
        let reach = kernel.len() / 2;
        let mut blurred = vec![[0.0_f32; CHANNELS]; width * height];
        for (y, row) in blurred.chunks_exact_mut(width).enumerate() {
            for (tap, weight) in kernel.iter().enumerate() {
                let source = (y + tap).saturating_sub(reach).min(height - 1);
                add_scaled(row, &self.light[source * width..(source + 1) * width], *weight);
            }
        }
        self.light = blurred;
    }

    /// One row of this coarser raster enlarged to a raster `factor` times finer, by linear interpolation.
    pub(crate) fn enlarged_row(&self, y: usize, factor: usize, row: &mut [[f32; CHANNELS]]) {
        let (upper, lower, below) = self.neighbours(y, factor, self.height);
        let (upper, lower) = (self.row(upper), self.row(lower));
        for (x, value) in row.iter_mut().enumerate() {
            let (left, right, beside) = self.neighbours(x, factor, self.width);
            for channel in 0..CHANNELS {
                let top = upper[left][channel] + (upper[right][channel] - upper[left][channel]) * beside;
                let foot = lower[left][channel] + (lower[right][channel] - lower[left][channel]) * beside;
                value[channel] = top + (foot - top) * below;
            }
        }
    }

    /// The two coarse pixels beside a fine one, and how far it lies from the first to the second.
    fn neighbours(&self, fine: usize, factor: usize, count: usize) -> (usize, usize, f32) {
        let place = ((fine as f32 + 0.5) / factor as f32 - 0.5).max(0.0);
        let first = (place as usize).min(count - 1);
        (first, (first + 1).min(count - 1), place - first as f32)
    }
}

impl Canvas<1> {
    /// Adds a round Gaussian spot that holds `amount` of light in all, centred on (`x`, `y`).
    pub(crate) fn add_spot(&mut self, x: f64, y: f64, sigma: f64, amount: f64) {
        let reach = 5.0 * sigma;
        let span = |centre: f64, count: usize| {
            let low = (centre - reach).max(0.0).ceil();
            let high = (centre + reach).min(count as f64 - 1.0).floor();
            (low <= high).then_some((low as usize, high as usize))
        };
        let (Some((left, right)), Some((top, foot))) = (span(x, self.width), span(y, self.height)) else {
            return;
        };
        let scale = 0.5 / (sigma * sigma);
        let bell = |from: f64| libm::expf((-from * from * scale) as f32);
        let across: Vec<f32> = (left..=right).map(|i| bell(i as f64 - x)).collect();
        let peak = (amount * scale / std::f64::consts::PI) as f32;
        for j in top..=foot {
            let weight = peak * bell(j as f64 - y);
            for (value, bell) in self.row_mut(j)[left..=right].iter_mut().zip(&across) {
                value[0] += weight * bell;
            }
        }
    }
}

fn add_scaled<const CHANNELS: usize>(sum: &mut [[f32; CHANNELS]], source: &[[f32; CHANNELS]], weight: f32) {
    for (sum, source) in sum.iter_mut().zip(source) {
        for channel in 0..CHANNELS {
            sum[channel] += source[channel] * weight;
        }
    }
}

/// An odd number of weights that add up to 1.
fn gaussian_kernel(sigma: f64) -> Vec<f32> {
    let reach = (3.5 * sigma).ceil() as i32;
    let weights: Vec<f64> =
        (-reach..=reach).map(|i| libm::exp(-0.5 * f64::from(i * i) / (sigma * sigma))).collect();
    let sum: f64 = weights.iter().sum();
    weights.iter().map(|w| (w / sum) as f32).collect()
}

/// Share of a pixel that lies where `value > 0`, for a `value` that is linear over the pixel.
///
/// `value` is taken at the pixel's centre and grows by `slope` a pixel to the right and down. Exact: the
/// integral of a plane cut through the unit square.
pub(crate) fn covered(value: f64, slope: [f64; 2]) -> f64 {
    let (a, b) = (slope[0].abs(), slope[1].abs());
    let (long, short) = if a > b { (a, b) } else { (b, a) };
    let full = 0.5 * (long + short);
    if value >= full {
        return 1.0;
    }
    if value <= -full {
        return 0.0;
    }
    if value.abs() <= 0.5 * (long - short) {
        return 0.5 + value / long;
    }
    let rest = full - value.abs();
    let corner = rest * rest / (2.0 * long * short);
    if value > 0.0 { 1.0 - corner } else { corner }
}

/// Share of a pixel inside the strip `low < value < high`; see [`covered`].
pub(crate) fn covered_strip(value: f64, slope: [f64; 2], low: f64, high: f64) -> f64 {
    (covered(value - low, slope) - covered(value - high, slope)).max(0.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn coverage_agrees_with_counting_a_fine_raster() {
        for (value, slope) in [(0.1, [0.7, 0.2]), (-0.3, [0.5, -0.4]), (0.0, [0.0, 1.0]), (0.44, [0.5, 0.4])]
        {
            let mut count = 0;
            for i in 0..1000 {
                for j in 0..1000 {
                    let x = (f64::from(i) + 0.5) / 1000.0 - 0.5;
                    let y = (f64::from(j) + 0.5) / 1000.0 - 0.5;
                    count += i32::from(value + slope[0] * x + slope[1] * y > 0.0);
                }
            }
            let counted = f64::from(count) / 1e6;
            assert!((covered(value, slope) - counted).abs() < 1e-3, "{value} {slope:?} {counted}");
        }
    }

    #[test]
    fn a_spot_keeps_its_light_and_its_centre_through_blur_and_enlarging() {
        let mut coarse = Canvas::<1>::new(40, 40);
        coarse.add_spot(18.3, 20.6, 2.0, 5.0);
        coarse.blur(1.5);
        let (mut sum, mut sx, mut sy) = (0.0, 0.0, 0.0);
        let mut row = vec![[0.0]; 80];
        for y in 0..80 {
            coarse.enlarged_row(y, 2, &mut row);
            for (x, value) in row.iter().enumerate() {
                let light = f64::from(value[0]);
                sum += light;
                sx += light * x as f64;
                sy += light * y as f64;
            }
        }
        // Twice as many pixels each way; the centre of coarse pixel i lies at 2 i + 0.5.
        assert!((sum - 20.0).abs() < 1e-3, "{sum}");
        assert!((sx / sum - 37.1).abs() < 1e-3 && (sy / sum - 41.7).abs() < 1e-3);
    }
}
