//! Edges on a photograph, the light across them, and where the same course of light stands on another photograph.

use crate::picture::{LightPlane, Picture};

/// Edges are looked for on a picture of about this many pixels on its longer side.
const SEARCH_PX: usize = 1200;
/// One edge a cell of this many cells along the longer side: evenly spread, few enough to be quick.
const CELLS: usize = 100;
/// Edges stand above this many times the picture's usual slope.
const ABOVE_USUAL: f32 = 3.0;
/// Courses of light that correlate less are not the same edge.
const ALIKE: f32 = 0.9;

/// How the light across an edge is sampled.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Sampling {
    /// Pixels between samples across the edge.
    pub(super) step_px: f64,
    /// Samples to each side that are compared.
    pub(super) half: usize,
    /// Samples to each side that the edge may have moved.
    pub(super) reach: usize,
    /// Samples along the edge to each side, averaged, and pixels between them.
    pub(super) along: usize,
    pub(super) along_px: f64,
}

impl Sampling {
    /// About a rough guess.
    pub(super) fn fine(fine_px: f64) -> Self {
        Self { step_px: fine_px, half: 10, reach: 8, along: 4, along_px: 3.5 * fine_px }
    }

    /// The same, close to a good guess.
    pub(super) fn near(fine_px: f64) -> Self {
        Self { reach: 3, ..Self::fine(fine_px) }
    }
}

/// A place where the light changes across a line.
#[derive(Debug, Clone)]
pub(super) struct Edge {
    /// Pixel.
    pub(super) px: [f64; 2],
    /// Unit vector along the steepest rise.
    pub(super) normal: [f64; 2],
    /// Slope of the light across it, of unit length.
    pub(super) course: Vec<f32>,
}

impl Edge {
    /// Reads the light across it.
    pub(super) fn read(&mut self, picture: &Picture, fine_px: f64) {
        let sampling = Sampling::fine(fine_px);
        self.course = unit(slopes(picture, self.px, self.normal, sampling, sampling.half));
    }
}

/// Where an edge is looked for on the other photograph.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Guess {
    /// Pixel.
    pub(super) at: [f64; 2],
    /// How a step there is turned and grown: cosine and sine of the turn times the growth.
    pub(super) turn: [f64; 2],
}

impl Guess {
    /// A direction turned as the guess says, of unit length.
    pub(super) fn turned(&self, [x, y]: [f64; 2]) -> [f64; 2] {
        let [c, s] = self.turn;
        let growth = self.growth();
        [(c * x - s * y) / growth, (s * x + c * y) / growth]
    }

    fn growth(&self) -> f64 {
        self.turn[0].hypot(self.turn[1]).max(1e-9)
    }
}

/// An edge found on the other photograph.
#[derive(Debug, Clone, Copy)]
pub(super) struct Found {
    /// A point on it, the direction across it.
    pub(super) at: [f64; 2],
    pub(super) normal: [f64; 2],
}

/// Strong edges, evenly spread over the picture.
pub(super) fn edges(picture: &Picture) -> Vec<Edge> {
    let factor = (picture.width().max(picture.height()) / SEARCH_PX).max(1);
    let mut light = picture.reduced_mean(factor);
    // light is about the square of what stands in the file
    light.values.iter_mut().for_each(|v| *v *= *v);
    let light = smoothed(&light);
    let (width, height) = (light.width as isize, light.height as isize);
    let slope = |x: isize, y: isize| {
        [light.at(x + 1, y) - light.at(x - 1, y), light.at(x, y + 1) - light.at(x, y - 1)]
    };
    let size = |s: [f32; 2]| s[0].hypot(s[1]);
    let mut sizes: Vec<f32> = Vec::new();
    for y in (4..height - 4).step_by(5) {
        sizes.extend((4..width - 4).step_by(5).map(|x| size(slope(x, y))));
    }
    if sizes.is_empty() {
        return Vec::new();
    }
    let half = sizes.len() / 2;
    let usual = *sizes.select_nth_unstable_by(half, f32::total_cmp).1;
    let cell = (light.width.max(light.height) / CELLS).max(8) as isize;
    let mut found = Vec::new();
    for top in (4..height - 4).step_by(cell as usize) {
        for left in (4..width - 4).step_by(cell as usize) {
            let mut best: Option<(isize, isize, [f32; 2], f32)> = None;
            for y in top..(top + cell).min(height - 4) {
                for x in left..(left + cell).min(width - 4) {
                    let s = slope(x, y);
                    let steep = size(s);
                    if steep > ABOVE_USUAL * usual && best.is_none_or(|b| steep > b.3) {
                        best = Some((x, y, s, steep));
                    }
                }
            }
            if let Some((x, y, s, steep)) = best {
                let at = |i: isize| factor as f64 * i as f64 + (factor as f64 - 1.0) / 2.0;
                let normal = s.map(|v| f64::from(v / steep));
                found.push(Edge { px: [at(x), at(y)], normal, course: Vec::new() });
            }
        }
    }
    found
}

/// Binomial smoothing, five wide, twice each way.
fn smoothed(light: &LightPlane) -> LightPlane {
    let mut out = light.clone();
    for _ in 0..2 {
        for across in [true, false] {
            let from = out.clone();
            for y in 0..from.height {
                for x in 0..from.width {
                    let at = |d: isize| {
                        if across {
                            from.at(x as isize + d, y as isize)
                        } else {
                            from.at(x as isize, y as isize + d)
                        }
                    };
                    let sum = at(-2) + 4.0 * at(-1) + 6.0 * at(0) + 4.0 * at(1) + at(2);
                    if let Some(v) = out.values.get_mut(y * from.width + x) {
                        *v = sum / 16.0;
                    }
                }
            }
        }
    }
    out
}

/// Slope of the light across an edge at `2 half + 1` samples, averaged along the edge.
fn slopes(picture: &Picture, px: [f64; 2], normal: [f64; 2], sampling: Sampling, half: usize) -> Vec<f32> {
    // three more at each end are lost to smoothing and to the difference
    let count = 2 * half + 1 + 6;
    let mut light = vec![0.0_f32; count];
    let middle = (count / 2) as f64;
    let along = sampling.along as i32;
    for side in -along..=along {
        let aside = f64::from(side) * sampling.along_px;
        let start = [px[0] - aside * normal[1], px[1] + aside * normal[0]];
        for (k, sum) in light.iter_mut().enumerate() {
            let d = (k as f64 - middle) * sampling.step_px;
            let (x, y) = (start[0] + d * normal[0], start[1] + d * normal[1]);
            *sum += picture.light(x, y);
        }
    }
    let five = |w: &[f32]| (w[0] + 4.0 * w[1] + 6.0 * w[2] + 4.0 * w[3] + w[4]) / 16.0;
    let smooth: Vec<f32> = light.windows(5).map(five).collect();
    smooth.windows(3).map(|w| w[2] - w[0]).collect()
}

fn unit(mut v: Vec<f32>) -> Vec<f32> {
    let length = v.iter().map(|x| x * x).sum::<f32>().sqrt().max(1e-12);
    v.iter_mut().for_each(|x| *x /= length);
    v
}

/// Looks for an edge on another photograph around where it is guessed to have gone: every place where the light is alike but for the
/// ends of the reach.
///
/// A coil has edges side by side, rims of its faces some pixels apart; which of them it is only the others tell.
pub(super) fn look(other: &Picture, edge: &Edge, sampling: Sampling, guess: &Guess) -> Vec<Found> {
    let normal = guess.turned(edge.normal);
    let growth = guess.growth();
    let grown =
        Sampling { step_px: growth * sampling.step_px, along_px: growth * sampling.along_px, ..sampling };
    let seen = slopes(other, guess.at, normal, grown, sampling.half + sampling.reach);
    let own = &edge.course;
    let alike: Vec<f32> = seen
        .windows(own.len().max(1))
        .map(|window| {
            let product: f32 = window.iter().zip(own).map(|(a, b)| a * b).sum();
            let power: f32 = window.iter().map(|a| a * a).sum();
            // its sign turns where the light comes from elsewhere
            if power > 1e-12 { (product / power.sqrt()).abs() } else { 0.0 }
        })
        .collect();
    let middle = (alike.len() / 2) as f64;
    let found = |(k, w): (usize, &[f32])| {
        let [a, top, b] = *w else { return None };
        if top < ALIKE || top < a || top <= b {
            return None;
        }
        let bend = a - 2.0 * top + b;
        let part = if bend < -1e-6 { f64::from(0.5 * (a - b) / bend) } else { 0.0 };
        let across = ((k + 1) as f64 + part - middle) * grown.step_px;
        let at = [0, 1].map(|n| guess.at[n] + across * normal[n]);
        Some(Found { at, normal })
    };
    alike.windows(3).enumerate().filter_map(found).collect()
}
