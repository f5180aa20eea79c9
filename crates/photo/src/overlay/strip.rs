//! The beam laid straight: the angle along the fitted circle to the right, the distance from it upwards.

use super::{Canvas, Overlay};
use crate::picture::Picture;
use crate::plane::ScalePlane;

/// Longest and highest strip in pixels.
const LONGEST_PX: f64 = 1440.0;
const HIGHEST_PX: f64 = 240.0;
/// Samples averaged along the beam for one pixel of the strip, at most.
const MOST_AVERAGED: usize = 6;
/// What the brightest thousandth of the strip is lifted to, of 255, and by how much at most: a dim beam is to be seen.
const LIFTED_TO: f64 = 235.0;
const MOST_LIFTED: f64 = 6.0;

/// The part of the scale's plane that is laid straight.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct StripFrame {
    /// Centre of the fitted circle on the plane, in millimetres.
    pub centre_mm: [f64; 2],
    /// Its radius in millimetres.
    pub radius_mm: f64,
    /// Direction from the centre in which the strip begins: radians from +x towards +y of the plane.
    pub from_rad: f64,
    /// Angle it covers, in radians; negative where the strip runs from +y towards +x.
    pub arc_rad: f64,
    /// Distances from the circle of its lower and of its upper edge, in millimetres, positive outside.
    pub across_mm: [f64; 2],
}

impl StripFrame {
    fn at(&self, along: f64, across_mm: f64) -> [f64; 2] {
        let (sin, cos) = (self.from_rad + along * self.arc_rad).sin_cos();
        let r = self.radius_mm + across_mm;
        [self.centre_mm[0] + r * cos, self.centre_mm[1] + r * sin]
    }
}

/// The photograph laid straight along a circle of the scale's plane, brightened evenly where it is dim.
///
/// None where the plane does not reach, or a frame without extent.
pub fn draw_strip(picture: &Picture, plane: &ScalePlane, frame: &StripFrame) -> Option<Overlay> {
    let [low, high] = frame.across_mm;
    let scale = plane.px_per_mm(frame.centre_mm).map(|[a, b]| f64::midpoint(a, b))?;
    let (arc_px, wide_px) = (frame.radius_mm * frame.arc_rad.abs() * scale, (high - low) * scale);
    if !(arc_px.is_finite()
        && wide_px.is_finite()
        && arc_px >= 2.0
        && wide_px >= 2.0
        && low > -frame.radius_mm)
    {
        return None;
    }
    let (width, height) = (arc_px.clamp(64.0, LONGEST_PX) as usize, wide_px.clamp(24.0, HIGHEST_PX) as usize);
    let averaged = ((arc_px / width as f64).ceil() as usize).clamp(1, MOST_AVERAGED);
    let mut sums = vec![[0.0_f64; 3]; width * height];
    for x in 0..width {
        for k in 0..averaged {
            let along = (x as f64 + (k as f64 + 0.5) / averaged as f64) / width as f64;
            let across = Across::of(plane, frame, along)?;
            for y in 0..height {
                let [px, py] = across.at((y as f64 + 0.5) / height as f64);
                let colour = light_at(picture, px, py);
                let sum = &mut sums[y * width + x];
                (0..3).for_each(|c| sum[c] += colour[c]);
            }
        }
    }
    let gain = lift(&sums, averaged as f64);
    let mut canvas = Canvas::dark(width, height);
    for (out, sum) in canvas.rgb.chunks_exact_mut(3).zip(&sums) {
        for (byte, light) in out.iter_mut().zip(sum) {
            *byte = (gain * light / averaged as f64).round().clamp(0.0, 255.0) as u8;
        }
    }
    Some(Overlay { canvas })
}

/// Encoded light between pixels, 0 to 255; black beyond the frame, so that it shows where the picture ends.
fn light_at(picture: &Picture, x: f64, y: f64) -> [f64; 3] {
    if x < 0.0 || y < 0.0 || x > picture.width() as f64 - 1.0 || y > picture.height() as f64 - 1.0 {
        return [0.0; 3];
    }
    picture.rgb8(x.round() as isize, y.round() as isize).map(f64::from)
}

/// Pixels across the strip at one place along it: three points fix them, since lens and perspective bend little over a beam.
struct Across {
    upper: [f64; 2],
    middle: [f64; 2],
    lower: [f64; 2],
}

impl Across {
    fn of(plane: &ScalePlane, frame: &StripFrame, along: f64) -> Option<Self> {
        let [low, high] = frame.across_mm;
        let place = |mm: f64| plane.to_px(frame.at(along, mm));
        Some(Self { upper: place(high)?, middle: place(f64::midpoint(low, high))?, lower: place(low)? })
    }

    /// Quadratic through the three points; 0 at the upper edge, 1 at the lower.
    fn at(&self, part: f64) -> [f64; 2] {
        let u = 2.0 * part - 1.0;
        [0, 1].map(|c| {
            let (a, b, d) = (self.upper[c], self.middle[c], self.lower[c]);
            b + 0.5 * u * (d - a) + 0.5 * u * u * (a - 2.0 * b + d)
        })
    }
}

/// Factor that makes the brightest thousandth of the strip bright; never below 1.
fn lift(sums: &[[f64; 3]], averaged: f64) -> f64 {
    let mut tops: Vec<f64> = sums.iter().map(|s| s.iter().copied().fold(0.0, f64::max) / averaged).collect();
    let place = tops.len().saturating_sub(1 + tops.len() / 1000);
    if tops.is_empty() {
        return 1.0;
    }
    let (_, top, _) = tops.select_nth_unstable_by(place, f64::total_cmp);
    (LIFTED_TO / top.max(1.0)).clamp(1.0, MOST_LIFTED)
}
