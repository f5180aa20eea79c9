//! An upright picture in linear light, read through strides so that turning it costs no copy.

mod reduce;

use std::sync::OnceLock;

/// What the camera wrote about the shot; facts only, nothing is computed from them here.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct ShotFacts {
    /// Kind of file found from its content: `JPEG`, `PNG`, `WebP` or `TIFF`.
    pub kind: &'static str,
    /// Orientation tag, 1 to 8; 1 when absent.
    pub orientation_tag: u8,
    /// Lens name.
    pub lens: Option<String>,
    /// Camera name.
    pub camera: Option<String>,
    /// Focal length in millimetres.
    pub focal_length_mm: Option<f64>,
    /// Focal length in millimetres, as if the frame were 36 mm wide.
    pub focal_length_35mm: Option<f64>,
    /// Width and height in pixels that the camera wrote, before any turning.
    pub written_px: Option<[f64; 2]>,
    /// Exposure time in seconds.
    pub exposure_s: Option<f64>,
    /// Aperture number.
    pub f_number: Option<f64>,
    /// Sensitivity (ISO).
    pub iso: Option<f64>,
    /// Time of the shot as the camera wrote it.
    pub taken_at: Option<String>,
}

/// Samples as decoded: rows of pixels, 1 or 3 values each.
#[derive(Debug, Clone)]
pub(crate) enum Samples {
    Eight(Vec<u8>),
    Sixteen(Vec<u16>),
}

impl Samples {
    fn len(&self) -> usize {
        match self {
            Self::Eight(v) => v.len(),
            Self::Sixteen(v) => v.len(),
        }
    }
}

/// A photograph, upright: the centre of the top-left pixel is (0, 0), x right, y down.
#[derive(Debug, Clone)]
pub struct Picture {
    samples: Samples,
    width: usize,
    height: usize,
    channels: usize,
    origin: isize,
    step_x: isize,
    step_y: isize,
    facts: ShotFacts,
}

impl Picture {
    /// A picture from stored rows; `stored_*` are its size before the orientation tag is applied.
    ///
    /// `None` unless the number of samples is `width × height × channels`, with 1 or 3 channels.
    pub(crate) fn from_samples(
        samples: Samples,
        stored_width: usize,
        stored_height: usize,
        channels: usize,
        facts: ShotFacts,
    ) -> Option<Self> {
        let wanted = stored_width.checked_mul(stored_height)?.checked_mul(channels)?;
        if samples.len() != wanted || wanted == 0 || !(channels == 1 || channels == 3) {
            return None;
        }
        let pixel = isize::try_from(channels).ok()?;
        let row = pixel * isize::try_from(stored_width).ok()?;
        let (last_x, last_y) = (row - pixel, row * (isize::try_from(stored_height).ok()? - 1));
        let (origin, step_x, step_y) = match facts.orientation_tag {
            2 => (last_x, -pixel, row),
            3 => (last_x + last_y, -pixel, -row),
            4 => (last_y, pixel, -row),
            5 => (0, row, pixel),
            6 => (last_y, -row, pixel),
            7 => (last_x + last_y, -row, -pixel),
            8 => (last_x, row, -pixel),
            _ => (0, pixel, row),
        };
        let turned = (5..=8).contains(&facts.orientation_tag);
        let (width, height) =
            if turned { (stored_height, stored_width) } else { (stored_width, stored_height) };
        Some(Self { samples, width, height, channels, origin, step_x, step_y, facts })
    }

    /// An upright picture from rows of red, green, blue bytes (sRGB encoded); `None` if the length does not fit.
    pub fn from_rgb8(width: usize, height: usize, rgb: Vec<u8>) -> Option<Self> {
        let facts = ShotFacts { kind: "PNG", orientation_tag: 1, ..ShotFacts::default() };
        Self::from_samples(Samples::Eight(rgb), width, height, 3, facts)
    }

    /// Width in pixels.
    pub fn width(&self) -> usize {
        self.width
    }

    /// Height in pixels.
    pub fn height(&self) -> usize {
        self.height
    }

    /// 1 (grey) or 3 (red, green, blue).
    pub fn channels(&self) -> usize {
        self.channels
    }

    /// What the camera wrote about the shot.
    pub fn facts(&self) -> &ShotFacts {
        &self.facts
    }

    /// Whether a sample holds 16 bits.
    pub fn is_sixteen_bit(&self) -> bool {
        matches!(self.samples, Samples::Sixteen(_))
    }

    /// Position of a pixel's first sample; coordinates beyond the edge are moved on to it.
    fn index(&self, x: isize, y: isize) -> usize {
        let x = x.clamp(0, self.width as isize - 1);
        let y = y.clamp(0, self.height as isize - 1);
        (self.origin + x * self.step_x + y * self.step_y) as usize
    }

    /// Linear light of one sample, 0 to 1 (sRGB curve undone); beyond the edge the edge's own value.
    pub fn linear(&self, x: isize, y: isize, channel: usize) -> f32 {
        let at = self.index(x, y) + channel.min(self.channels - 1);
        match &self.samples {
            Samples::Eight(v) => v.get(at).map_or(0.0, |&s| eight_bit_curve()[usize::from(s)]),
            Samples::Sixteen(v) => v.get(at).map_or(0.0, |&s| linear_light(f64::from(s) / 65535.0) as f32),
        }
    }

    /// Encoded value of one sample, 0 to 1, as it stands in the file.
    pub fn encoded(&self, x: isize, y: isize, channel: usize) -> f32 {
        let at = self.index(x, y) + channel.min(self.channels - 1);
        match &self.samples {
            Samples::Eight(v) => v.get(at).map_or(0.0, |&s| f32::from(s) / 255.0),
            Samples::Sixteen(v) => v.get(at).map_or(0.0, |&s| f32::from(s) / 65535.0),
        }
    }

    /// Red, green and blue as bytes, for drawing on.
    pub fn rgb8(&self, x: isize, y: isize) -> [u8; 3] {
        [0, 1, 2].map(|c| (self.encoded(x, y, c) * 255.0).round() as u8)
    }

    /// Linear light between pixels (bilinear).
    pub fn sample(&self, x_px: f64, y_px: f64, channel: usize) -> f32 {
        let (x0, y0) = (x_px.floor(), y_px.floor());
        let (fx, fy) = ((x_px - x0) as f32, (y_px - y0) as f32);
        let (x, y) = (x0 as isize, y0 as isize);
        let top = self.linear(x, y, channel) * (1.0 - fx) + self.linear(x + 1, y, channel) * fx;
        let low = self.linear(x, y + 1, channel) * (1.0 - fx) + self.linear(x + 1, y + 1, channel) * fx;
        top * (1.0 - fy) + low * fy
    }

    /// Linear light of all channels together between pixels (bilinear).
    pub(crate) fn light(&self, x_px: f64, y_px: f64) -> f32 {
        self.sample_all(x_px, y_px).into_iter().sum()
    }

    /// Linear light between pixels in every channel at once; channels that the picture has not are 0.
    pub(crate) fn sample_all(&self, x_px: f64, y_px: f64) -> [f32; 3] {
        let (x, y) = (floor(x_px), floor(y_px));
        let (fx, fy) = ((x_px - x as f64) as f32, (y_px - y as f64) as f32);
        let held = |at: isize, count: usize, step: isize| at.clamp(0, count as isize - 1) * step;
        let left = held(x, self.width, self.step_x);
        let right = held(x + 1, self.width, self.step_x);
        let top = self.origin + held(y, self.height, self.step_y);
        let low = self.origin + held(y + 1, self.height, self.step_y);
        let corners = Corners {
            places: [
                (top + left) as usize,
                (top + right) as usize,
                (low + left) as usize,
                (low + right) as usize,
            ],
            weights: [(1.0 - fx) * (1.0 - fy), fx * (1.0 - fy), (1.0 - fx) * fy, fx * fy],
        };
        match &self.samples {
            Samples::Eight(v) => {
                let curve = eight_bit_curve();
                corners.mixed(v, self.channels, |s| curve[usize::from(s)])
            }
            Samples::Sixteen(v) => {
                corners.mixed(v, self.channels, |s| linear_light(f64::from(s) / 65535.0) as f32)
            }
        }
    }

    /// Encoded values at the nearest pixel in every channel at once; channels that the picture has not are 0.
    pub(crate) fn encoded_all(&self, x_px: f64, y_px: f64) -> [f32; 3] {
        let at = self.index(x_px.round() as isize, y_px.round() as isize);
        let mut values = [0.0; 3];
        for (c, value) in values.iter_mut().enumerate().take(self.channels) {
            *value = match &self.samples {
                Samples::Eight(v) => v.get(at + c).map_or(0.0, |&s| f32::from(s) * (1.0 / 255.0)),
                Samples::Sixteen(v) => v.get(at + c).map_or(0.0, |&s| f32::from(s) * (1.0 / 65535.0)),
            };
        }
        values
    }

    /// One channel of the whole picture in linear light.
    pub fn plane(&self, channel: usize) -> LightPlane {
        let mut values = Vec::with_capacity(self.width * self.height);
        for y in 0..self.height as isize {
            values.extend((0..self.width as isize).map(|x| self.linear(x, y, channel)));
        }
        LightPlane { width: self.width, height: self.height, values }
    }
}

/// One channel as rows of single-precision light.
#[derive(Debug, Clone, PartialEq)]
pub struct LightPlane {
    /// Width in pixels.
    pub width: usize,
    /// Height in pixels.
    pub height: usize,
    /// Rows from the top, `width × height` values.
    pub values: Vec<f32>,
}

impl LightPlane {
    /// Value of one pixel; beyond the edge the edge's own value.
    pub fn at(&self, x: isize, y: isize) -> f32 {
        self.values.get(self.row(y) + self.column(x)).copied().unwrap_or(0.0)
    }

    /// Value between pixels (bilinear).
    pub fn sample(&self, x_px: f64, y_px: f64) -> f32 {
        let (x, y) = (floor(x_px), floor(y_px));
        let (fx, fy) = ((x_px - x as f64) as f32, (y_px - y as f64) as f32);
        let (left, right) = (self.column(x), self.column(x + 1));
        let (upper, lower) = (self.row(y), self.row(y + 1));
        let at = |row: usize, column: usize| self.values.get(row + column).copied().unwrap_or(0.0);
        let top = at(upper, left) * (1.0 - fx) + at(upper, right) * fx;
        let low = at(lower, left) * (1.0 - fx) + at(lower, right) * fx;
        top * (1.0 - fy) + low * fy
    }

    fn column(&self, x: isize) -> usize {
        x.clamp(0, self.width as isize - 1) as usize
    }

    /// Where a row begins.
    fn row(&self, y: isize) -> usize {
        y.clamp(0, self.height as isize - 1) as usize * self.width
    }
}

/// The four pixels around a point, where their first samples lie and how much of each counts.
struct Corners {
    places: [usize; 4],
    weights: [f32; 4],
}

impl Corners {
    /// Weighted sum of the four in every channel.
    fn mixed<S: Copy>(&self, samples: &[S], channels: usize, light: impl Fn(S) -> f32) -> [f32; 3] {
        if channels == 3 {
            self.mixed_of::<S, 3>(samples, light)
        } else {
            self.mixed_of::<S, 1>(samples, light)
        }
    }

    fn mixed_of<S: Copy, const N: usize>(&self, samples: &[S], light: impl Fn(S) -> f32) -> [f32; 3] {
        let mut sums = [0.0; 3];
        for k in 0..4 {
            let (at, weight) = (self.places[k], self.weights[k]);
            let Some(pixel) = samples.get(at..at + N) else { continue };
            for c in 0..N {
                sums[c] += weight * light(pixel[c]);
            }
        }
        sums
    }
}

/// Largest whole number not above a coordinate (far from the ends of its range), without a call of the system's library.
fn floor(value: f64) -> isize {
    let cut = value as isize;
    cut - isize::from((cut as f64) > value)
}

/// Linear light of an sRGB-encoded value, both 0 to 1. Source: IEC 61966-2-1:1999 (constants from memory).
pub fn linear_light(encoded: f64) -> f64 {
    if encoded <= 0.04045 { encoded / 12.92 } else { ((encoded + 0.055) / 1.055).powf(2.4) }
}

/// The curve for the 256 values of a byte.
fn eight_bit_curve() -> &'static [f32; 256] {
    static CURVE: OnceLock<[f32; 256]> = OnceLock::new();
    CURVE.get_or_init(|| std::array::from_fn(|i| linear_light(i as f64 / 255.0) as f32))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn numbered(tag: u8) -> Picture {
        let facts = ShotFacts { orientation_tag: tag, ..ShotFacts::default() };
        let Some(p) = Picture::from_samples(Samples::Eight(vec![0, 1, 2, 3, 4, 5]), 3, 2, 1, facts) else {
            unreachable!("six samples fit 3 × 2");
        };
        p
    }

    fn rows(p: &Picture) -> Vec<Vec<u8>> {
        let pixel = |x: usize, y: usize| (p.encoded(x as isize, y as isize, 0) * 255.0).round() as u8;
        (0..p.height()).map(|y| (0..p.width()).map(|x| pixel(x, y)).collect()).collect()
    }

    // The eight tags as the EXIF 2.3 standard words them: "the 0th row is at the visual … of the image".
    #[test]
    fn every_orientation_tag_turns_the_picture_upright() {
        let upright: [(u8, Vec<Vec<u8>>); 8] = [
            (1, vec![vec![0, 1, 2], vec![3, 4, 5]]),
            (2, vec![vec![2, 1, 0], vec![5, 4, 3]]),
            (3, vec![vec![5, 4, 3], vec![2, 1, 0]]),
            (4, vec![vec![3, 4, 5], vec![0, 1, 2]]),
            (5, vec![vec![0, 3], vec![1, 4], vec![2, 5]]),
            (6, vec![vec![3, 0], vec![4, 1], vec![5, 2]]),
            (7, vec![vec![5, 2], vec![4, 1], vec![3, 0]]),
            (8, vec![vec![2, 5], vec![1, 4], vec![0, 3]]),
        ];
        for (tag, want) in upright {
            assert_eq!(rows(&numbered(tag)), want, "tag {tag}");
        }
    }
}
