//! The beam's cross-section as a sum of parts that mean something: core, haze of slowed electrons, veil.

use crate::normal::Normal;
use crate::trace::Raster;

/// Full width at half height of a Gaussian over its standard deviation.
pub(crate) const FULL_WIDTH: f64 = 2.354_820_045;
/// Table spacing and reach, in units of the core's width.
const TABLE_STEP: f64 = 0.05;
const TABLE_REACH: f64 = 14.0;

/// Cross-section of height 1: a core `exp(−|u|^power / 2)`, light only on the inner side that starts at the core's middle
/// (electrons that lost energy run on smaller circles), and a symmetric veil (light spread by glass and lens).
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Shape {
    /// Standard deviation of the core in pixels.
    pub(crate) sigma_px: f64,
    /// Height of the inner haze at the beam against the core.
    pub(crate) haze: f64,
    /// Height of the veil against the core.
    pub(crate) veil: f64,
    /// Lengths of haze and veil, exponent of the core: 2 is a Gaussian, more is flatter on top.
    lengths: Lengths,
    /// Empty until it is asked for: most shapes that are tried are not taken.
    table: Vec<f64>,
}

/// Lengths that one photograph has in common, in units of the core's width.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Lengths {
    /// Decay length of the haze inwards.
    pub(crate) haze: f64,
    /// Half-width of the veil.
    pub(crate) veil: f64,
    /// Exponent of the core.
    pub(crate) power: f64,
}

impl Shape {
    /// A bare Gaussian.
    pub(crate) fn gaussian(sigma_px: f64) -> Self {
        Self::new(sigma_px, 0.0, 0.0, Lengths { haze: 10.0, veil: 4.0, power: 2.0 })
    }

    /// Core, haze and veil together.
    pub(crate) fn new(sigma_px: f64, haze: f64, veil: f64, lengths: Lengths) -> Self {
        Self { sigma_px, haze, veil, lengths, table: Vec::new() }.tabulated()
    }

    /// The same with its table, for values at many places.
    pub(crate) fn tabulated(mut self) -> Self {
        let n = (2.0 * TABLE_REACH / TABLE_STEP).round() as usize;
        let at = |i: usize| -TABLE_REACH + i as f64 * TABLE_STEP;
        let value = |u: f64| {
            core_and_slope(u, self.lengths.power).0
                + self.haze * haze_and_slope(u, self.lengths.haze).0
                + self.veil * veil_and_slope(u, self.lengths.veil).0
        };
        self.table = (0..=n).map(|i| value(at(i))).collect();
        self
    }

    /// Value and slope (per pixel) at distance `d_px` from the middle.
    pub(crate) fn value_and_slope(&self, d_px: f64) -> (f64, f64) {
        let place = (d_px / self.sigma_px + TABLE_REACH) / TABLE_STEP;
        let last = self.table.len() as f64 - 2.0;
        let i = place.clamp(0.0, last).floor();
        let part = (place - i).clamp(0.0, 1.0);
        let (a, b) = match self.table.get(i as usize..i as usize + 2) {
            Some([a, b]) => (*a, *b),
            _ => (0.0, 0.0),
        };
        (a + (b - a) * part, (b - a) / (TABLE_STEP * self.sigma_px))
    }

    /// Full width of the core at half its height, in pixels.
    pub(crate) fn full_width_px(&self) -> f64 {
        // 2 σ (2 ln 2)^(1 / power)
        2.0 * self.sigma_px * (2.0 * std::f64::consts::LN_2).powf(1.0 / self.lengths.power)
    }

    /// Distances of the inner and the outer edge from the middle in pixels: where the light falls half-way from the top to
    /// what shines beside the beam on that side.
    pub(crate) fn edges_px(&self) -> [f64; 2] {
        let beside = 4.0 * self.full_width_px() / FULL_WIDTH;
        let top = (-20..=20)
            .map(|k| self.value_and_slope(0.05 * f64::from(k) * self.sigma_px).0)
            .fold(f64::MIN, f64::max);
        [-1.0, 1.0].map(|side| {
            let at = |d: f64| self.value_and_slope(side * d).0;
            let half = 0.5 * (top + at(beside));
            let step = 0.02 * self.sigma_px;
            let first = (1..400).map(|k| step * f64::from(k)).find(|&d| at(d) < half).unwrap_or(beside);
            let (a, b) = (at(first - step), at(first));
            first - step + step * ((a - half) / (a - b).max(1e-12)).clamp(0.0, 1.0)
        })
    }

    /// Blend of two shapes, `part` of the second.
    pub(crate) fn blend(&self, other: &Self, part: f64) -> Self {
        let mix = |a: f64, b: f64| a + (b - a) * part;
        Self {
            sigma_px: mix(self.sigma_px, other.sigma_px),
            haze: mix(self.haze, other.haze),
            veil: mix(self.veil, other.veil),
            lengths: Lengths { power: mix(self.lengths.power, other.lengths.power), ..self.lengths },
            table: self.table.iter().zip(&other.table).map(|(&a, &b)| mix(a, b)).collect(),
        }
    }
}

/// Height and slope of the core `exp(−|u|^power / 2)`.
fn core_and_slope(u: f64, power: f64) -> (f64, f64) {
    if power == 2.0 {
        let value = (-0.5 * u * u).exp();
        return (value, -u * value);
    }
    let raised = u.abs().powf(power);
    let value = (-0.5 * raised).exp();
    // d|u|^n / du = n |u|^n / u
    (value, if u == 0.0 { 0.0 } else { -0.5 * power * raised / u * value })
}

/// One-sided exponential towards negative u (inside), smeared by the core: height 1 just inside for a long decay. With its slope.
fn haze_and_slope(u: f64, length: f64) -> (f64, f64) {
    let arg = (u + 1.0 / length) / std::f64::consts::SQRT_2;
    // beyond some six widths outside both factors leave the range of doubles while the product is 0
    if arg > 8.0 {
        return (0.0, 0.0);
    }
    let grow = u / length + 0.5 / (length * length);
    let value = 0.5 * grow.min(50.0).exp() * libm::erfc(arg);
    // the derivative of erfc times the growing factor leaves the normal density
    let density = (-0.5 * u * u).exp() / std::f64::consts::TAU.sqrt();
    (value, value / length - density)
}

/// Height and slope of the veil.
fn veil_and_slope(u: f64, width: f64) -> (f64, f64) {
    let spread = 1.0 + (u / width).powi(2);
    let value = 1.0 / (spread * spread.sqrt());
    (value, -3.0 * u / (width * width) * value / spread)
}

/// A shape fitted to a mean cross-section, with its middle and the sum of squared residuals.
#[derive(Debug, Clone)]
pub(crate) struct ShapeFit {
    pub(crate) shape: Shape,
    pub(crate) middle_px: f64,
    pub(crate) height: f64,
    pub(crate) squares: f64,
}

/// Fits core, haze and veil on a sloping ground to a mean cross-section; haze and veil are never negative. The shape has no
/// table yet.
///
/// Gauss–Newton in middle and width, the five heights linear; a part that comes out negative is left out.
pub(crate) fn fit_shape(mean: &[f32], raster: Raster, sigma_px: f64, lengths: Lengths) -> Option<ShapeFit> {
    let mut parts = [true, true];
    for _ in 0..3 {
        let fit = fit_parts(mean, raster, sigma_px, lengths, parts)?;
        let negative = [fit.shape.haze < 0.0, fit.shape.veil < 0.0];
        if negative == [false, false] {
            return Some(fit);
        }
        // leave out the veil first: the haze is what would pull the middle
        if negative[1] {
            parts[1] = false;
        } else {
            parts[0] = false;
        }
    }
    fit_parts(mean, raster, sigma_px, lengths, [false, false])
}

fn fit_parts(
    mean: &[f32],
    raster: Raster,
    start: f64,
    lengths: Lengths,
    parts: [bool; 2],
) -> Option<ShapeFit> {
    let (mut middle, mut sigma) = (0.0, start);
    let mut best: Option<ShapeFit> = None;
    for _ in 0..15 {
        let rows = Rows::at(mean, raster, middle, sigma, lengths, parts)?;
        let (heights, squares) = rows.heights()?;
        if heights[0] <= 0.0 {
            return None;
        }
        let (haze, veil) = (heights[1] / heights[0], heights[2] / heights[0]);
        if best.as_ref().is_none_or(|b| squares <= b.squares) {
            let shape = Shape { sigma_px: sigma, haze, veil, lengths, table: Vec::new() };
            best = Some(ShapeFit { shape, middle_px: middle, height: heights[0], squares });
        }
        let [dm, ds] = rows.step(&heights)?;
        middle += dm.clamp(-0.5 * sigma, 0.5 * sigma);
        sigma *= (ds / sigma).clamp(-0.3, 0.3).exp();
        if middle.abs() > 4.0 * start || !(0.3 * start..4.0 * start).contains(&sigma) {
            break;
        }
        if dm.abs() < 1e-3 * sigma && ds.abs() < 1e-3 * sigma {
            break;
        }
    }
    best
}

/// What one sample says: its light, the five linear parts there (core, haze, veil, ground, slope), and the slopes of the
/// first three in units of the core's width.
struct Row {
    light: f64,
    u: f64,
    parts: [f64; 5],
    slopes: [f64; 3],
}

/// The samples of a cross-section under one guess of middle and width.
struct Rows {
    rows: Vec<Row>,
    sigma: f64,
}

impl Rows {
    /// None with fewer than ten samples.
    fn at(
        mean: &[f32],
        raster: Raster,
        middle: f64,
        sigma: f64,
        lengths: Lengths,
        parts: [bool; 2],
    ) -> Option<Self> {
        let finite = mean.iter().enumerate().filter(|(_, v)| v.is_finite());
        let rows: Vec<Row> = finite
            .map(|(i, &light)| {
                let d = raster.at(i);
                let u = (d - middle) / sigma;
                let (core, core_slope) = core_and_slope(u, lengths.power);
                let (haze, haze_slope) = if parts[0] { haze_and_slope(u, lengths.haze) } else { (0.0, 0.0) };
                let (veil, veil_slope) = if parts[1] { veil_and_slope(u, lengths.veil) } else { (0.0, 0.0) };
                Row {
                    light: f64::from(light),
                    u,
                    parts: [core, haze, veil, 1.0, d],
                    slopes: [core_slope, haze_slope, veil_slope],
                }
            })
            .collect();
        (rows.len() >= 10).then_some(Self { rows, sigma })
    }

    /// The heights of the five parts by linear least squares, and the sum of squares left.
    fn heights(&self) -> Option<([f64; 5], f64)> {
        let mut sums = Normal::<5>::new();
        let mut squares = 0.0;
        for row in &self.rows {
            sums.add(row.parts, 1.0, row.light);
            squares += row.light * row.light;
        }
        let (mut normal, right) = (sums.matrix(), sums.right());
        for i in 0..5 {
            normal[(i, i)] = normal[(i, i)] * (1.0 + 1e-9) + if normal[(i, i)] == 0.0 { 1.0 } else { 0.0 };
        }
        let solution = normal.cholesky()?.solve(&right);
        Some((solution.into(), (squares - solution.dot(&right)).max(0.0)))
    }

    /// Change of middle and width from the full seven-parameter linearisation.
    fn step(&self, heights: &[f64; 5]) -> Option<[f64; 2]> {
        let mut sums = Normal::<7>::new();
        for row in &self.rows {
            let model: f64 = row.parts.iter().zip(heights).map(|(r, h)| r * h).sum();
            let slope: f64 = row.slopes.iter().zip(heights).map(|(r, h)| r * h).sum();
            // u = (d − middle) / width
            let (by_middle, by_sigma) = (-slope / self.sigma, -slope * row.u / self.sigma);
            let [a, b, c, e, f] = row.parts;
            sums.add([a, b, c, e, f, by_middle, by_sigma], 1.0, row.light - model);
        }
        let (mut normal, right) = (sums.matrix(), sums.right());
        for i in 0..7 {
            normal[(i, i)] = normal[(i, i)] * (1.0 + 1e-8) + if normal[(i, i)] == 0.0 { 1.0 } else { 0.0 };
        }
        let step = normal.cholesky()?.solve(&right);
        Some([step[5], step[6]])
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_edges_stand_at_half_height_and_haze_moves_only_the_inner_one() {
        let [inner, outer] = Shape::gaussian(4.0).edges_px();
        assert!(
            (outer - 0.5 * FULL_WIDTH * 4.0).abs() < 0.03 && (inner - outer).abs() < 1e-6,
            "{inner} {outer}"
        );
        let hazy = Shape::new(4.0, 0.3, 0.0, Lengths { haze: 20.0, veil: 4.0, power: 2.0 });
        // the haze lifts the top to 1.15, so half of it stands at exp(−d² / 32) + 0.3 · 0.13 ≈ 0.575: d ≈ 4.44
        let [inner, outer] = hazy.edges_px();
        assert!(
            (outer - 4.44).abs() < 0.15 && (inner - 4.71).abs() < 1.0 && inner != outer,
            "{inner} {outer}"
        );
        let flat = Shape::new(4.0, 0.0, 0.0, Lengths { haze: 20.0, veil: 4.0, power: 4.0 });
        assert!((flat.edges_px()[1] - 0.5 * flat.full_width_px()).abs() < 0.03);
    }

    #[test]
    fn the_parts_rise_and_fall_as_their_slopes_say() {
        let step = 1e-5;
        for k in -60..=60 {
            let u = 0.1 * f64::from(k) + 0.013;
            let parts: [&dyn Fn(f64) -> (f64, f64); 5] = [
                &|u| core_and_slope(u, 2.0),
                &|u| core_and_slope(u, 1.5),
                &|u| core_and_slope(u, 3.0),
                &|u| haze_and_slope(u, 3.0),
                &|u| veil_and_slope(u, 2.5),
            ];
            for (which, part) in parts.iter().enumerate() {
                let measured = (part(u + step).0 - part(u - step).0) / (2.0 * step);
                assert!((measured - part(u).1).abs() < 1e-8, "part {which} at {u}: {measured}");
            }
        }
    }

    #[test]
    fn the_inner_haze_does_not_pull_the_middle() {
        let raster = Raster { step: 1.0, half: 26 };
        // independent drawing: the haze summed from many thin lines, each a little further in
        let haze = |d: f64| -> f64 {
            (0..4000)
                .map(|k| 0.05 * f64::from(k))
                .map(|x| (-x / 40.0).exp() * core_and_slope((d + x) / 3.5, 2.0).0)
                .sum::<f64>()
        };
        let top = haze(-10.0);
        let value = |d: f64| core_and_slope(d / 3.5, 2.0).0 + 0.10 / top * haze(d) + 0.02;
        let mean: Vec<f32> = (0..raster.len()).map(|i| value(raster.at(i)) as f32).collect();
        let naive =
            fit_parts(&mean, raster, 3.0, Lengths { haze: 12.0, veil: 4.0, power: 2.0 }, [false, false]);
        let full = fit_shape(&mean, raster, 3.0, Lengths { haze: 12.0, veil: 4.0, power: 2.0 });
        assert!(naive.is_some_and(|f| f.middle_px < -0.1), "without the haze the middle must be off");
        assert!(full.is_some_and(|f| f.middle_px.abs() < 0.02), "with it, it must not");
    }
}
