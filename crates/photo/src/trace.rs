//! The beam's cross-section read along normals and fitted, to a tenth of a pixel.

use nalgebra::SVector;

use crate::normal::Normal;
use crate::picture::Picture;
use crate::trace_shape::Shape;

/// Encoded value from which a sample counts as saturated: cameras and JPEG stop a little short of full scale.
const SATURATED: f32 = 0.976;

/// A place on the ring where the cross-section is read: foot point, unit normal pointing out.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Station {
    pub(crate) x: f64,
    pub(crate) y: f64,
    pub(crate) nx: f64,
    pub(crate) ny: f64,
}

/// Where samples lie along a normal: `−half, …, half` in steps, in pixels.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Raster {
    /// Distance between samples in pixels.
    pub(crate) step: f64,
    /// Samples on each side of the middle.
    pub(crate) half: usize,
}

impl Raster {
    /// Number of samples.
    pub(crate) fn len(&self) -> usize {
        2 * self.half + 1
    }

    /// Distance of sample `i` from the middle, positive outside.
    pub(crate) fn at(&self, i: usize) -> f64 {
        (i as f64 - self.half as f64) * self.step
    }
}

/// Lines side by side over which a cross-section is averaged.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Rows {
    count: usize,
    apart_px: f64,
}

impl Rows {
    /// Two, one pixel apart.
    pub(crate) const TWO: Self = Self { count: 2, apart_px: 1.0 };

    /// For stations this far from each other along the line: one a pixel, and where there is room every other pixel. A place
    /// between pixels is read from four of them, so that four rows two apart average as many as six beside each other.
    pub(crate) fn between(spacing_px: f64) -> Self {
        if spacing_px < 5.5 {
            Self { count: spacing_px.round().max(1.0) as usize, apart_px: 1.0 }
        } else {
            Self { count: ((0.5 * spacing_px).round() as usize).min(4), apart_px: 2.0 }
        }
    }

    /// Distance of each from the station, along the line.
    fn along(self) -> impl Iterator<Item = f64> {
        (0..self.count).map(move |row| (row as f64 - 0.5 * (self.count as f64 - 1.0)) * self.apart_px)
    }
}

/// Light along one normal; a saturated or missing sample is NaN.
pub(crate) type Profile = Vec<f32>;

/// Reads the cross-section at a station: weighted sum of channels, averaged over `rows`.
pub(crate) fn read_profile(
    picture: &Picture,
    station: &Station,
    raster: Raster,
    rows: Rows,
    weights: [f32; 3],
) -> Profile {
    let sum = |x: f64, y: f64| -> f32 {
        let light = picture.sample_all(x, y);
        light.iter().zip(weights).map(|(light, weight)| weight * light).sum()
    };
    let (tx, ty) = (-station.ny, station.nx);
    places(picture, station, raster)
        .map(|place| {
            let Some([x, y]) = place else { return f32::NAN };
            rows.along().map(|d| sum(x + d * tx, y + d * ty)).sum::<f32>() / rows.count as f32
        })
        .collect()
}

/// The same of every channel apart, one profile each (empty where the picture has not so many); saturated samples are NaN.
pub(crate) fn read_channels(
    picture: &Picture,
    station: &Station,
    raster: Raster,
    rows: Rows,
) -> [Profile; 3] {
    let (tx, ty) = (-station.ny, station.nx);
    let mut profiles = [0, 1, 2]
        .map(|c| if c < picture.channels() { Profile::with_capacity(raster.len()) } else { Profile::new() });
    for place in places(picture, station, raster) {
        let mut sums = [if place.is_some() { 0.0 } else { f32::NAN }; 3];
        if let Some([x, y]) = place {
            for d in rows.along() {
                let (x, y) = (x + d * tx, y + d * ty);
                let light = picture.sample_all(x, y).into_iter().zip(picture.encoded_all(x, y));
                for (sum, (light, encoded)) in sums.iter_mut().zip(light) {
                    *sum += if encoded >= SATURATED { f32::NAN } else { light };
                }
            }
        }
        for (profile, sum) in profiles.iter_mut().zip(sums).take(picture.channels()) {
            profile.push(sum / rows.count as f32);
        }
    }
    profiles
}

/// Where a station's samples lie on the picture; none beyond its frame.
fn places<'a>(
    picture: &Picture,
    station: &'a Station,
    raster: Raster,
) -> impl Iterator<Item = Option<[f64; 2]>> + use<'a> {
    let (right, low) = (picture.width() as f64 - 1.0, picture.height() as f64 - 1.0);
    (0..raster.len()).map(move |i| {
        let d = raster.at(i);
        let (x, y) = (station.x + d * station.nx, station.y + d * station.ny);
        (x >= 0.0 && y >= 0.0 && x <= right && y <= low).then_some([x, y])
    })
}

/// What the fit of one cross-section says.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct LineFit {
    /// Centre of the beam from the station, pixels, positive outside.
    pub(crate) centre_px: f64,
    /// Its standard uncertainty from the scatter about this fit.
    pub(crate) u_px: f64,
    /// Height of the thin beam above everything else, linear light.
    pub(crate) height: f64,
    /// Light under the beam.
    pub(crate) ground: f64,
    /// Standard deviation of a sample about the fit.
    pub(crate) scatter: f64,
}

/// Fits `height · shape(d − centre) + ground + slope · d` by Gauss–Newton; `None` when it does not settle.
///
/// Only samples within `reach_px` of the running centre count, so that a neighbour's light stays out.
pub(crate) fn fit_line(
    profile: &[f32],
    raster: Raster,
    shape: &Shape,
    start_px: f64,
    reach_px: f64,
) -> Option<LineFit> {
    let mut centre = start_px;
    let mut height = f64::NAN;
    for round in 0..8 {
        let (solution, _, _) = solve(profile, raster, shape, centre, height, start_px, reach_px)?;
        let fresh = solution[0];
        let shift = if height.is_finite() { solution[3] } else { 0.0 };
        height = fresh;
        if !height.is_finite() || height <= 0.0 {
            return None;
        }
        let limited = shift.clamp(-0.7 * shape.sigma_px, 0.7 * shape.sigma_px);
        centre += limited;
        if (centre - start_px).abs() > reach_px * 0.6 {
            return None;
        }
        // the last step below takes what is left
        if round > 1 && limited.abs() < 2e-3 {
            break;
        }
    }
    let (solution, inverse, scatter) = solve(profile, raster, shape, centre, height, start_px, reach_px)?;
    Some(LineFit {
        centre_px: centre + solution[3].clamp(-0.1, 0.1),
        u_px: scatter * inverse.max(0.0).sqrt(),
        height: solution[0],
        ground: solution[1] + solution[2] * centre,
        scatter,
    })
}

/// One linear step: (height, ground, slope, shift), the shift's variance factor, the scatter of a sample.
fn solve(
    profile: &[f32],
    raster: Raster,
    shape: &Shape,
    centre: f64,
    height: f64,
    start: f64,
    reach: f64,
) -> Option<(SVector<f64, 4>, f64, f64)> {
    let known = height.is_finite();
    let mut sums = Normal::<4>::new();
    let (mut count, mut squares) = (0.0, 0.0);
    for (i, &value) in profile.iter().enumerate() {
        let d = raster.at(i);
        if !value.is_finite() || (d - start).abs() > reach {
            continue;
        }
        let (f, slope) = shape.value_and_slope(d - centre);
        let pull = if known { -height * slope } else { 0.0 };
        sums.add([f, 1.0, d, pull], 1.0, f64::from(value));
        squares += f64::from(value) * f64::from(value);
        count += 1.0;
    }
    if count < 8.0 {
        return None;
    }
    let (mut normal, right) = (sums.matrix(), sums.right());
    if !known {
        normal[(3, 3)] = 1.0;
    }
    let factor = normal.cholesky()?;
    let solution = factor.solve(&right);
    let left = (squares - solution.dot(&right)).max(0.0);
    let scatter = (left / (count - 4.0)).sqrt();
    let variance = factor.inverse()[(3, 3)];
    Some((solution, variance, scatter))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn drawn(centre: f64, sigma: f64, slope: f64) -> (Profile, Raster) {
        let raster = Raster { step: 1.0, half: 25 };
        let value = |d: f64| 0.5 * (-0.5 * ((d - centre) / sigma).powi(2)).exp() + 0.1 + slope * d;
        ((0..raster.len()).map(|i| value(raster.at(i)) as f32).collect(), raster)
    }

    #[test]
    fn a_drawn_line_on_a_slope_is_found_to_a_thousandth_of_a_pixel() {
        let (profile, raster) = drawn(1.37, 3.0, 0.001);
        let fit = fit_line(&profile, raster, &Shape::gaussian(3.0), 0.0, 20.0);
        assert!(
            fit.is_some_and(|f| (f.centre_px - 1.37).abs() < 1e-3 && (f.height - 0.5).abs() < 1e-3),
            "{fit:?}"
        );
    }

    #[test]
    fn a_flat_profile_gives_no_line() {
        let raster = Raster { step: 1.0, half: 25 };
        assert_eq!(fit_line(&vec![0.2; raster.len()], raster, &Shape::gaussian(3.0), 0.0, 20.0), None);
    }
}
