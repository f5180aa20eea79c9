//! Signs that a line is the beam.

use crate::band::Band;
use crate::picture::Picture;
use crate::ring_curve::median;
use crate::ring_ellipse::Ellipse;

/// What speaks for and against a line being the beam; each sign is independent of the others' causes.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(crate) struct Evidence {
    /// Part of the turn within the picture on which the line is seen.
    pub(crate) seen: f64,
    /// ln(1 + height over clutter), the upper quarter of the turn.
    pub(crate) clear: f64,
    /// Standard deviation of the cross-section in parts of the radius.
    pub(crate) width: f64,
    /// Scatter of the line about its ellipse in standard deviations of the cross-section.
    pub(crate) scatter: f64,
    /// Elongation in parts of the radius.
    pub(crate) elongation: f64,
    /// Saturation of the colour of the line's light, 0 grey to 1 pure.
    pub(crate) colour: f64,
    /// How alike that colour is all along the line: mean cosine with its mean.
    pub(crate) alike: f64,
    /// Light on the line, of full scale (square root of linear light, largest channel).
    pub(crate) bright: f64,
    /// Light of the line's own colour inside the ring less that outside, in parts of the line's.
    pub(crate) haze: f64,
    /// The same just outside, in parts of the line's light: glow about it.
    pub(crate) glow: f64,
    /// Score that the learned network gives to a ring here, 0 to 1.
    pub(crate) learned: f64,
    /// Whether it lies in the bulb as the network sees that: 1 yes, 0 no, half where none is seen.
    pub(crate) in_bulb: f64,
}

/// Places along the line where colours are read.
const PLACES: usize = 72;

impl Evidence {
    pub(crate) fn of(picture: &Picture, band: &Band, ellipse: &Ellipse) -> Self {
        let root = |x: f64, y: f64| picture.sample_all(x, y).map(|v| f64::from(v.max(0.0).sqrt()));
        let inside = |x: f64, y: f64| {
            x >= 0.0 && y >= 0.0 && x < picture.width() as f64 && y < picture.height() as f64
        };
        let n = band.t.len();
        let mut own: Vec<[f64; 3]> = Vec::new();
        let mut lights: Vec<f64> = Vec::new();
        let [mut inner, mut outer, mut beside]: [Vec<[f64; 3]>; 3] = Default::default();
        for k in 0..PLACES {
            let i = k * n / PLACES;
            let [x, y] = band.place(i);
            let [nx, ny] = ellipse.normal(ellipse.foot(x, y));
            let at = |d: f64| {
                let (x, y) = (x + d * nx, y + d * ny);
                inside(x, y).then(|| root(x, y))
            };
            let s = 2.6 * band.sigma_px;
            let (Some(line), Some(left), Some(right)) = (at(0.0), at(-s), at(s)) else { continue };
            if band.lit.get(i) == Some(&true) {
                own.push([0, 1, 2].map(|c| line[c] - 0.5 * (left[c] + right[c])));
                lights.push(line.iter().copied().fold(0.0, f64::max));
            }
            inner.extend(at(-0.35 * ellipse.r));
            outer.extend(at(0.5 * ellipse.r));
            beside.extend(at(0.18 * ellipse.r));
        }
        let mean = [0, 1, 2].map(|c| median(own.iter().map(|v| v[c]).collect()));
        let most = mean.iter().copied().fold(0.0, f64::max);
        // a core at full scale is white; the light beside it is not
        let halo = [0, 1, 2].map(|c| median(beside.iter().chain(&inner).map(|v| v[c]).collect()));
        let far = [0, 1, 2].map(|c| median(outer.iter().map(|v| v[c]).collect()));
        let glow = [0, 1, 2].map(|c| halo[c] - 0.8 * far[c]);
        let colour = saturation(mean).max(saturation(glow).min(0.8));
        let norm = |v: &[f64; 3]| v.iter().map(|x| x * x).sum::<f64>().sqrt().max(1e-9);
        let dot = |a: &[f64; 3], b: &[f64; 3]| a.iter().zip(b).map(|(x, y)| x * y).sum::<f64>();
        let cosine = |v: &[f64; 3]| dot(v, &mean) / (norm(v) * norm(&mean));
        let weigh = |v: &[f64; 3]| dot(v, &mean) / (norm(&mean) * norm(&mean));
        let middle = |list: &[[f64; 3]]| median(list.iter().map(weigh).collect());
        let off: Vec<f64> = (0..n)
            .filter(|i| band.lit.get(*i) == Some(&true))
            .map(|i| {
                let [x, y] = band.place(i);
                ellipse.distance(x, y).abs()
            })
            .collect();
        Self {
            seen: band.seen() / band.open().max(1e-9),
            clear: band.significance().max(0.0).ln_1p(),
            width: band.sigma_px / ellipse.r,
            scatter: 1.4826 * median(off) / band.sigma_px,
            elongation: ellipse.p.hypot(ellipse.q) / ellipse.r,
            colour: if most > 0.0 { colour } else { 0.0 },
            alike: own.iter().map(cosine).sum::<f64>() / own.len().max(1) as f64,
            bright: median(lights),
            haze: (middle(&inner) - middle(&outer)).clamp(-3.0, 3.0),
            glow: (middle(&beside) - middle(&outer)).clamp(-3.0, 3.0),
            learned: 0.0,
            in_bulb: 0.5,
        }
    }

    /// Rank among candidates of one picture.
    pub(crate) fn score(&self) -> f64 {
        let shape =
            (-0.5 * (self.elongation / 0.1).powi(2)).exp() * (-0.5 * (self.scatter / 1.0).powi(2)).exp();
        self.seen
            * self.clear
            * shape
            * (0.3 + self.colour)
            * self.alike.max(0.0)
            * self.bright
            * (0.1 + self.learned)
            * (0.5 + self.in_bulb)
    }
}

/// (largest − smallest) / largest, of light that may be partly negative.
fn saturation(light: [f64; 3]) -> f64 {
    let most = light.iter().copied().fold(f64::MIN, f64::max);
    let least = light.iter().copied().fold(f64::MAX, f64::min).max(0.0);
    if most > 1e-3 { (most - least) / most } else { 0.0 }
}
