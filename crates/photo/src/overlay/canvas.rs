//! A small picture to draw on: soft lines and discs with a dark rim, and plain digits.

use crate::picture::Picture;

/// Longest side of what is drawn, in pixels: readable on a page, small enough to send.
const LONGEST_SIDE_PX: usize = 1600;
/// Rim that keeps marks readable on the beam and on white rulers alike.
const RIM: [u8; 3] = [0x0e, 0x10, 0x13];

/// Red, green, blue.
pub(crate) type Colour = [u8; 3];

/// Rows of red, green and blue bytes, with the way from the photograph's pixels to its own.
#[derive(Debug, Clone)]
pub(crate) struct Canvas {
    pub(crate) width: usize,
    pub(crate) height: usize,
    pub(crate) rgb: Vec<u8>,
    factor: f64,
}

impl Canvas {
    /// The photograph, reduced by a whole factor.
    pub(crate) fn of(picture: &Picture) -> Self {
        let longest = picture.width().max(picture.height());
        let factor = longest.div_ceil(LONGEST_SIDE_PX).max(1);
        let (width, height, rgb) = picture.reduced_rgb8(factor);
        Self { width, height, rgb, factor: factor as f64 }
    }

    /// A black canvas in its own pixels.
    pub(crate) fn dark(width: usize, height: usize) -> Self {
        Self { width, height, rgb: vec![0; 3 * width * height], factor: 1.0 }
    }

    /// From the photograph's pixels to the canvas's.
    fn place(&self, p: [f64; 2]) -> [f64; 2] {
        p.map(|c| (c - (self.factor - 1.0) / 2.0) / self.factor)
    }

    /// Mixes a colour in, `part` from 0 to 1.
    pub(crate) fn blend(&mut self, x: isize, y: isize, colour: Colour, part: f64) {
        let (Ok(x), Ok(y)) = (usize::try_from(x), usize::try_from(y)) else { return };
        if x >= self.width || y >= self.height {
            return;
        }
        let at = 3 * (y * self.width + x);
        for (old, new) in self.rgb.iter_mut().skip(at).take(3).zip(colour) {
            *old = (f64::from(*old) * (1.0 - part) + f64::from(new) * part).round() as u8;
        }
    }

    /// Paints where `distance` (canvas pixels, negative inside) says, within a box.
    fn paint(&mut self, low: [f64; 2], high: [f64; 2], colour: Colour, distance: impl Fn(f64, f64) -> f64) {
        let clamp = |v: f64, most: usize| v.clamp(-1.0, most as f64) as isize;
        for y in clamp(low[1].floor(), self.height)..=clamp(high[1].ceil(), self.height) {
            for x in clamp(low[0].floor(), self.width)..=clamp(high[0].ceil(), self.width) {
                let part = 0.5 - distance(x as f64, y as f64);
                if part > 0.0 {
                    self.blend(x, y, colour, part.min(1.0));
                }
            }
        }
    }

    fn stroke(&mut self, a: [f64; 2], b: [f64; 2], half_width: f64, colour: Colour) {
        let d = [b[0] - a[0], b[1] - a[1]];
        let length2 = (d[0] * d[0] + d[1] * d[1]).max(1e-12);
        let away = |x: f64, y: f64| {
            let t = (((x - a[0]) * d[0] + (y - a[1]) * d[1]) / length2).clamp(0.0, 1.0);
            (x - a[0] - t * d[0]).hypot(y - a[1] - t * d[1]) - half_width
        };
        let reach = half_width + 1.0;
        let low = [0, 1].map(|k| a[k].min(b[k]) - reach);
        let high = [0, 1].map(|k| a[k].max(b[k]) + reach);
        self.paint(low, high, colour, away);
    }

    /// A line through points of the photograph, with a rim.
    pub(crate) fn line(&mut self, points_px: &[[f64; 2]], half_width: f64, colour: Colour) {
        let places: Vec<[f64; 2]> = points_px.iter().map(|p| self.place(*p)).collect();
        for (width, tint) in [(half_width + 1.0, RIM), (half_width, colour)] {
            for pair in places.windows(2) {
                self.stroke(pair[0], pair[1], width, tint);
            }
        }
    }

    /// A thin line without a rim, between two points of the photograph: for marks that stand close together.
    pub(crate) fn thin(&mut self, ends_px: &[[f64; 2]; 2], colour: Colour) {
        let [a, b] = ends_px.map(|p| self.place(p));
        self.stroke(a, b, 0.8, colour);
    }

    /// A filled disc with a rim.
    pub(crate) fn disc(&mut self, p_px: [f64; 2], radius: f64, colour: Colour) {
        let p = self.place(p_px);
        for (r, tint) in [(radius + 1.0, RIM), (radius, colour)] {
            let reach = r + 1.0;
            let (low, high) = (p.map(|c| c - reach), p.map(|c| c + reach));
            self.paint(low, high, tint, |x, y| (x - p[0]).hypot(y - p[1]) - r);
        }
    }

    /// An open circle with a slash: struck or rejected.
    pub(crate) fn struck(&mut self, p_px: [f64; 2], radius: f64, colour: Colour) {
        let p = self.place(p_px);
        let reach = radius + 2.0;
        let (low, high) = (p.map(|c| c - reach), p.map(|c| c + reach));
        self.paint(low, high, colour, |x, y| ((x - p[0]).hypot(y - p[1]) - radius).abs() - 0.8);
        self.stroke([p[0] - radius, p[1] + radius], [p[0] + radius, p[1] - radius], 0.8, colour);
    }

    /// A whole number, its middle at a point of the photograph; each dot of a digit is `dot` canvas pixels wide.
    pub(crate) fn number(&mut self, value: i64, p_px: [f64; 2], dot: usize, colour: Colour) {
        let text = value.to_string();
        let middle = self.place(p_px);
        let (wide, high) = ((text.len() * 4 * dot) as f64, (5 * dot) as f64);
        let (left, top) =
            ((middle[0] - wide / 2.0).round() as isize, (middle[1] - high / 2.0).round() as isize);
        for (tint, grow) in [(RIM, 1), (colour, 0)] {
            for (k, digit) in text.chars().enumerate() {
                self.digit(digit, left + (k * 4 * dot) as isize, top, dot as isize, grow, tint);
            }
        }
    }

    fn digit(&mut self, digit: char, left: isize, top: isize, dot: isize, grow: isize, colour: Colour) {
        for (row, bits) in glyph(digit).iter().enumerate() {
            for column in 0..3 {
                if bits >> (2 - column) & 1 == 0 {
                    continue;
                }
                let (x, y) = (left + column * dot, top + row as isize * dot);
                for yy in y - grow..y + dot + grow {
                    (x - grow..x + dot + grow).for_each(|xx| self.blend(xx, yy, colour, 1.0));
                }
            }
        }
    }
}

/// Five rows of three dots.
fn glyph(digit: char) -> [u8; 5] {
    match digit {
        '0' => [7, 5, 5, 5, 7],
        '1' => [2, 6, 2, 2, 7],
        '2' => [7, 1, 7, 4, 7],
        '3' => [7, 1, 3, 1, 7],
        '4' => [5, 5, 7, 1, 1],
        '5' => [7, 4, 7, 1, 7],
        '6' => [7, 4, 7, 5, 7],
        '7' => [7, 1, 2, 2, 2],
        '8' => [7, 5, 7, 5, 7],
        '9' => [7, 5, 7, 1, 7],
        '-' => [0, 0, 7, 0, 0],
        _ => [0; 5],
    }
}
