//! The photograph drawn back: what was measured, what was left out, and the numbers read from the scale.

mod canvas;
mod side;
mod strip;

use std::io::Cursor;

use image::codecs::jpeg::JpegEncoder;
use image::codecs::png::PngEncoder;
use image::{ExtendedColorType, ImageEncoder};

use crate::picture::Picture;
use crate::plane::{RingInPlane, ScalePlane};
use crate::ring::RingTrace;
use crate::scale::{ScaleFound, ScaleRow};
use canvas::{Canvas, Colour};
pub use side::draw_helix;
pub use strip::{StripFrame, draw_strip};

/// Measured here (Okabe, Ito: orange).
const MEASURED: Colour = [0xe6, 0x9f, 0x00];
/// Struck or rejected (reddish purple).
const REJECTED: Colour = [0xcc, 0x79, 0xa7];
/// Curves through what was measured: light, so that they stand out on the violet beam.
const CURVE: Colour = [0xff, 0xf6, 0xd8];
/// JPEG quality at which thin lines keep their edges.
const QUALITY: u8 = 90;
/// Points drawn on the beam at most, so that the beam stays visible between them.
const MOST_POINTS: usize = 72;

/// A drawn picture, at most 1600 pixels wide and high.
#[derive(Debug, Clone)]
pub struct Overlay {
    canvas: Canvas,
}

impl Overlay {
    /// The bare photograph, reduced.
    pub fn new(picture: &Picture) -> Self {
        Self { canvas: Canvas::of(picture) }
    }

    /// Width and height in pixels.
    pub fn size_px(&self) -> [usize; 2] {
        [self.canvas.width, self.canvas.height]
    }

    /// Rows of red, green and blue bytes.
    pub fn rgb(&self) -> &[u8] {
        &self.canvas.rgb
    }

    /// Draws the beam's points (filled), what was left out (open, struck), the muzzle, and the fitted curve: the circle of the
    /// scale's plane if it is known, else the ellipse.
    pub fn add_ring(&mut self, trace: &RingTrace, ring: Option<&RingInPlane>) {
        let curve = ring.map_or_else(|| ellipse(trace), |r| r.outline_px.clone());
        self.canvas.line(&curve, 0.6, CURVE);
        let step = trace.points.len().div_ceil(MOST_POINTS).max(1);
        for point in trace.points.iter().filter(|p| p.accepted).step_by(step) {
            self.canvas.disc([point.x_px, point.y_px], 2.2, MEASURED);
        }
        let left_out = trace.rejected.iter().flat_map(|r| &r.points_px).copied();
        let unbelieved = trace.points.iter().filter(|p| !p.accepted).map(|p| [p.x_px, p.y_px]);
        let struck: Vec<[f64; 2]> = left_out.chain(unbelieved).collect();
        for point in struck.iter().step_by(struck.len().div_ceil(MOST_POINTS).max(1)) {
            self.canvas.struck(*point, 4.0, REJECTED);
        }
        let centre = ring.map_or(trace.centre_px, |r| r.centre_px);
        self.cross(centre);
        if let Some(muzzle) = trace.muzzle_px {
            self.canvas.disc(muzzle, 4.0, CURVE);
        }
    }

    /// Draws each mark used, those left out, and the reading in millimetres at the longest marks.
    pub fn add_scale(&mut self, found: &ScaleFound, plane: Option<&ScalePlane>) {
        let out = |row: usize, k: usize| plane.is_some_and(|p| p.rejected.contains(&(row, k)));
        for (r, row) in found.rows.iter().enumerate() {
            let highest = row.marks.iter().map(|m| m.rank).max().unwrap_or(0);
            for (k, mark) in row.marks.iter().enumerate() {
                let colour = if out(r, k) { REJECTED } else { MEASURED };
                self.canvas.thin(&mark.ends_px, colour);
                let labelled = if highest > 0 { mark.rank == highest } else { mark.number % 10 == 0 };
                if labelled && r == 0 {
                    self.label(row, k);
                }
            }
        }
        for (k, crossing) in found.crossings.iter().enumerate() {
            let colour = if out(0, k) { REJECTED } else { MEASURED };
            self.canvas.disc(crossing.px, 1.6, colour);
            let [along, across] = crossing.number;
            if across == 0 && along % 5 == 0 {
                let reading = found.crossing_spacing_mm.unwrap_or(1.0) * f64::from(along);
                self.canvas.number(reading.round() as i64, crossing.px, 2, CURVE);
            }
        }
        for mark in &found.hand_marks {
            self.canvas.disc(mark.point_px(), 3.0, MEASURED);
        }
    }

    /// The reading beyond a mark's foot, outside the ruler where nothing is printed.
    fn label(&mut self, row: &ScaleRow, k: usize) {
        let Some(mark) = row.marks.get(k) else { return };
        let [foot, end] = mark.ends_px;
        let away = [foot[0] - end[0], foot[1] - end[1]];
        let length = away[0].hypot(away[1]).max(1e-9);
        let reach = 22.0 * f64::max(1.0, row.pitch_px() / 6.0);
        let at = [0, 1].map(|c| foot[c] + away[c] / length * reach);
        let reading = row.spacing_mm.unwrap_or(1.0) * f64::from(mark.number);
        self.canvas.number(reading.round() as i64, at, 2, CURVE);
    }

    fn cross(&mut self, centre: [f64; 2]) {
        const ARM_PX: f64 = 16.0;
        self.canvas.line(&[[centre[0] - ARM_PX, centre[1]], [centre[0] + ARM_PX, centre[1]]], 0.5, CURVE);
        self.canvas.line(&[[centre[0], centre[1] - ARM_PX], [centre[0], centre[1] + ARM_PX]], 0.5, CURVE);
    }

    /// The bytes of a JPEG file; none if the encoder refuses, which it does not for a picture of this size.
    pub fn to_jpeg(&self) -> Option<Vec<u8>> {
        let mut bytes = Cursor::new(Vec::new());
        self.encode(JpegEncoder::new_with_quality(&mut bytes, QUALITY))?;
        Some(bytes.into_inner())
    }

    /// The bytes of a PNG file; none if the encoder refuses, which it does not for a picture of this size.
    pub fn to_png(&self) -> Option<Vec<u8>> {
        let mut bytes = Cursor::new(Vec::new());
        self.encode(PngEncoder::new(&mut bytes))?;
        Some(bytes.into_inner())
    }

    fn encode(&self, encoder: impl ImageEncoder) -> Option<()> {
        let (width, height) =
            (u32::try_from(self.canvas.width).ok()?, u32::try_from(self.canvas.height).ok()?);
        encoder.write_image(&self.canvas.rgb, width, height, ExtendedColorType::Rgb8).ok()
    }
}

/// The photograph with the ring drawn back.
pub fn draw_ring(picture: &Picture, trace: &RingTrace, ring: Option<&RingInPlane>) -> Overlay {
    let mut overlay = Overlay::new(picture);
    overlay.add_ring(trace, ring);
    overlay
}

/// The photograph with the scale's marks drawn back.
pub fn draw_scale(picture: &Picture, found: &ScaleFound, plane: Option<&ScalePlane>) -> Overlay {
    let mut overlay = Overlay::new(picture);
    overlay.add_scale(found, plane);
    overlay
}

/// The ellipse as a closed line of points in pixels.
fn ellipse(trace: &RingTrace) -> Vec<[f64; 2]> {
    let (sin, cos) = trace.axis_angle_deg.to_radians().sin_cos();
    let [a, b] = trace.semi_axes_px;
    (0..=180)
        .map(|k| {
            let (s, c) = f64::from(2 * k).to_radians().sin_cos();
            [trace.centre_px[0] + a * c * cos - b * s * sin, trace.centre_px[1] + a * c * sin + b * s * cos]
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_large_picture_is_reduced_and_encoded() {
        let picture = Picture::from_rgb8(3300, 64, vec![40; 3300 * 64 * 3]).expect("three bytes a pixel");
        let mut overlay = Overlay::new(&picture);
        assert_eq!(overlay.size_px(), [1100, 21]);
        overlay.canvas.disc([1500.0, 31.0], 3.0, MEASURED);
        overlay.canvas.number(-120, [300.0, 31.0], 2, CURVE);
        assert!(overlay.rgb().chunks_exact(3).any(|p| p == MEASURED));
        assert!(overlay.rgb().chunks_exact(3).any(|p| p == CURVE));
        let back = Picture::from_bytes(&overlay.to_png().expect("a PNG"));
        assert!(
            back.is_err(),
            "21 pixels high is below the smallest photograph, but must be read as far as that"
        );
    }
}
