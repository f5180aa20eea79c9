//! One row of marks laid straight: the picture resampled along a band, so that its marks stand upright.

use crate::picture::LightPlane;
use crate::scale::band::Band;

/// A band of the picture with `s` along the row and `v` across it, both in full-resolution pixels.
#[derive(Debug, Clone)]
pub(crate) struct Strip {
    origin: [f64; 2],
    along: [f64; 2],
    lean: [f64; 2],
    /// `s` of the first column; columns are one pixel apart.
    pub(crate) from: f64,
    /// `v` of the first row.
    pub(crate) top: f64,
    /// Pixels from row to row.
    pub(crate) step: f64,
    pub(crate) columns: usize,
    pub(crate) rows: usize,
    pub(crate) values: Vec<f32>,
    width: f64,
    height: f64,
}

impl Strip {
    /// Samples the full-resolution `plane` along a band found on a picture reduced by `factor`.
    pub(crate) fn new(plane: &LightPlane, band: &Band, factor: usize, half_height: f64) -> Self {
        let f = factor as f64;
        let full = |p: f64| p * f + (f - 1.0) / 2.0;
        // the voted row ends with its last tile; half a tile more holds the last marks
        let margin = 20.0 * f;
        let (from, to) = (band.range[0] * f - margin, band.range[1] * f + margin);
        let half = half_height * f;
        let mut strip = Self {
            origin: [full(band.origin[0]), full(band.origin[1])],
            along: band.along,
            lean: [band.lean[0], band.lean[1] / f],
            from,
            top: -half,
            step: f.max(1.0),
            columns: (to - from).ceil().max(1.0) as usize,
            rows: (2.0 * half / f.max(1.0)) as usize + 1,
            values: Vec::new(),
            width: plane.width as f64,
            height: plane.height as f64,
        };
        strip.fill(plane);
        strip
    }

    fn fill(&mut self, plane: &LightPlane) {
        let mut values = Vec::with_capacity(self.rows * self.columns);
        for j in 0..self.rows {
            let v = self.row_v(j);
            for i in 0..self.columns {
                let p = self.point(self.from + i as f64, v);
                values.push(plane.sample(p[0], p[1]));
            }
        }
        self.values = values;
    }

    /// `v` of row `j`.
    pub(crate) fn row_v(&self, j: usize) -> f64 {
        self.top + self.step * j as f64
    }

    /// Pixel of a place on the strip.
    pub(crate) fn point(&self, s: f64, v: f64) -> [f64; 2] {
        let along = s + v * (self.lean[0] + self.lean[1] * s);
        [
            self.origin[0] + self.along[0] * along - self.along[1] * v,
            self.origin[1] + self.along[1] * along + self.along[0] * v,
        ]
    }

    /// Whether a place of the strip lies within the picture, by at least `margin` pixels.
    pub(crate) fn inside(&self, s: f64, v: f64, margin: f64) -> bool {
        let p = self.point(s, v);
        p[0] >= margin && p[1] >= margin && p[0] < self.width - margin && p[1] < self.height - margin
    }

    /// Values of row `j`.
    pub(crate) fn row(&self, j: usize) -> &[f32] {
        self.values.get(j * self.columns..(j + 1) * self.columns).unwrap_or(&[])
    }

    /// Distance from mark to mark near the row's middle, from the first peak of the autocorrelation.
    ///
    /// Short windows are correlated one by one and summed, so that a spacing that changes along the row
    /// blurs only the later peaks.
    pub(crate) fn rough_pitch(&self) -> Option<f64> {
        // marks far apart need a longer window
        [240, 1200].iter().find_map(|window| self.pitch_within(*window.min(&self.columns), 0))
    }

    /// Distance between long marks, where the marks `fine` pixels apart can't be used: the first peak well beyond it, the light
    /// smoothed until nothing of the fine ones is left.
    pub(crate) fn long_pitch(&self, fine: f64) -> Option<f64> {
        let smooth = ((0.4 * fine).powi(2) * 2.0).ceil().clamp(4.0, 60.0) as usize;
        self.pitch_within(1200.min(self.columns), smooth).filter(|pitch| *pitch > 2.5 * fine)
    }

    fn pitch_within(&self, window: usize, smooth: usize) -> Option<f64> {
        let most = window / 3;
        if most < 6 {
            return None;
        }
        let middle = self.rows / 2;
        let reach = (8.0_f64.min(self.rows as f64 / 4.0)) as usize;
        let mut sum = vec![0.0_f64; most];
        for j in (middle.saturating_sub(reach)..=middle + reach).step_by(4) {
            let mut row = self.row(j).to_vec();
            for _ in 0..smooth {
                row = binomial(&row);
            }
            for part in row.chunks_exact(window) {
                add_correlation(part, &mut sum);
            }
        }
        first_peak(&sum)
    }
}

/// Means of neighbours, 1 : 2 : 1.
fn binomial(row: &[f32]) -> Vec<f32> {
    let at = |k: usize| row.get(k).or(row.last()).copied().unwrap_or(0.0);
    (0..row.len()).map(|k| 0.25 * (at(k.saturating_sub(1)) + 2.0 * at(k) + at(k + 1))).collect()
}

fn add_correlation(part: &[f32], sum: &mut [f64]) {
    // the running mean over a third of the window takes the lighting out and leaves the marks
    let slope: Vec<f64> = part.windows(3).map(|w| f64::from(w[2] - w[0])).collect();
    let power: f64 = slope.iter().map(|d| d * d).sum();
    if power <= 0.0 {
        return;
    }
    for (lag, total) in sum.iter_mut().enumerate() {
        let product: f64 = slope.iter().zip(slope.iter().skip(lag)).map(|(a, b)| a * b).sum();
        *total += product / power.sqrt();
    }
}

/// Lag of the first clear maximum after the first minimum below zero.
fn first_peak(correlation: &[f64]) -> Option<f64> {
    let zero = *correlation.first()?;
    let start = correlation.iter().position(|c| *c < 0.0)?;
    let highest = correlation.iter().skip(start).fold(0.0_f64, |m, c| m.max(*c));
    if highest < 0.08 * zero {
        return None;
    }
    let (lag, _) = correlation
        .iter()
        .enumerate()
        .skip(start.max(2))
        .zip(correlation.iter().skip(start.max(2) + 1))
        .find(|((lag, c), next)| {
            **c >= 0.6 * highest && **c >= **next && correlation.get(lag - 1).is_some_and(|p| p <= *c)
        })?
        .0;
    Some(lag as f64)
}
