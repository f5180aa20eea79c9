//! The beam followed in a band about an ellipse that a person clicked or the search proposed: wide, saturated and open
//! beams too, in whatever mixture of the channels shows it best.

mod colour;
mod light;
mod line;
mod precise;
mod start;
mod trace;

use crate::picture::Picture;
use crate::ring_ellipse::{Ellipse, Weighted};
use colour::Mixture;
use light::PolarLight;
use line::{Seen, see};
pub(crate) use start::{circle_through, ellipses_through, elongated_through};
use trace::Settled;

/// Standard deviations of the beam's cross-section that are tried, in parts of the ring's radius: full widths from 1 % to 10 %
/// of the diameter, as beams of common tubes have.
const SIGMAS: [f64; 6] = [0.008, 0.014, 0.024, 0.04, 0.062, 0.085];
/// Widths tried about a known one.
const NEAR_SIGMAS: [f64; 3] = [0.75, 1.0, 1.33];
/// The tuned mixture must show the line better than a plain one by this factor: it was made from the line itself.
const BETTER: f64 = 1.05;
/// Distance from the crest at which both sides are read, in standard deviations.
const SIDE: f64 = 2.3;
/// Share of the typical height above which the line counts as seen.
const LEAST_HEIGHT: f64 = 0.1;
/// Height over the clutter's standard deviation above which the line counts as seen.
const LEAST_SIGNIFICANCE: f64 = 2.5;

/// How finely, and how far from the ellipse, the line is looked for.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Reach {
    /// Half-width of the band in parts of the radius.
    pub(crate) part: f64,
    /// Most stations round the ellipse.
    pub(crate) stations: usize,
    /// Standard deviation expected of the ellipse's elongation, in parts of the radius.
    pub(crate) elongation: f64,
}

/// With which eyes a line is looked at.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Look {
    /// Mixture of red, green and blue.
    pub(crate) mixture: Mixture,
    /// Standard deviation of the cross-section, pixels.
    pub(crate) sigma_px: f64,
}

/// The line as it was seen in a band.
#[derive(Debug, Clone)]
pub(crate) struct Band {
    /// The ellipse about which it was looked for.
    pub(crate) base: Ellipse,
    /// Parameter of each station on the base.
    pub(crate) t: Vec<f64>,
    /// Offset of the line from the base along the outward normal, pixels.
    pub(crate) offset_px: Vec<f64>,
    /// Height of the line above its higher side, encoded light in the mixture used.
    pub(crate) height: Vec<f64>,
    /// Whether the line stands clear there.
    pub(crate) lit: Vec<bool>,
    /// Whether the station lies in the picture and in no area left out.
    pub(crate) usable: Vec<bool>,
    /// Standard deviation of the cross-section, pixels.
    pub(crate) sigma_px: f64,
    /// Distance between stations, pixels.
    pub(crate) spacing_px: f64,
    /// Standard deviation of what is no line, in the units of `height`.
    pub(crate) clutter: f64,
    /// Mixture of red, green and blue.
    pub(crate) mixture: Mixture,
    merit: f64,
    light: PolarLight,
}

impl Band {
    /// Looks for the line within `reach` of an ellipse; `None` where the picture shows nothing there.
    ///
    /// With a `look` known from before only widths like its own are tried, in its mixture.
    pub(crate) fn about(
        picture: &Picture,
        base: Ellipse,
        reach: Reach,
        look: Option<Look>,
        allowed: &dyn Fn(f64, f64) -> bool,
    ) -> Option<Self> {
        let light = PolarLight::read(picture, &base, reach, allowed);
        if light.usable.iter().filter(|usable| **usable).count() < 12 {
            return None;
        }
        let try_with = |mixture: Mixture, sigmas: &[f64]| -> Option<(Seen, Look)> {
            let values = light.mixed(&mixture);
            let seen = sigmas.iter().filter_map(|&sigma| {
                let sigma_px = sigma.max(0.8);
                Some((see(&light, &values, sigma_px)?, Look { mixture, sigma_px }))
            });
            seen.max_by(|a, b| a.0.merit.total_cmp(&b.0.merit))
        };
        let near = |sigma_px: f64| NEAR_SIGMAS.map(|factor| factor * sigma_px);
        if let Some(look) = look {
            let (seen, look) = try_with(look.mixture, &near(look.sigma_px))?;
            return Some(Self::of(base, light, seen, look));
        }
        let all = SIGMAS.map(|part| part * base.r);
        let plain = Mixture::plain(picture.channels());
        let plain = plain.into_iter().filter_map(|mixture| try_with(mixture, &all));
        let first = plain.max_by(|a, b| a.0.merit.total_cmp(&b.0.merit))?;
        let tuned = Mixture::tuned(&light, &first.0, first.1.sigma_px);
        let second = tuned.and_then(|mixture| try_with(mixture, &near(first.1.sigma_px)));
        let (seen, look) = match second {
            Some(second) if second.0.merit > BETTER * first.0.merit => second,
            _ => first,
        };
        Some(Self::of(base, light, seen, look))
    }

    fn of(base: Ellipse, light: PolarLight, seen: Seen, Look { mixture, sigma_px }: Look) -> Self {
        let typical = upper_quarter(&seen.height, &light.usable);
        let least = (LEAST_HEIGHT * typical).max(LEAST_SIGNIFICANCE * seen.clutter);
        let lit = seen.height.iter().zip(&light.usable).map(|(h, u)| *u && *h > least).collect();
        Self {
            base,
            t: light.t.clone(),
            offset_px: seen.path.iter().map(|&k| light.raster.at(k)).collect(),
            height: seen.height,
            lit,
            usable: light.usable.clone(),
            sigma_px,
            spacing_px: light.spacing_px,
            clutter: seen.clutter,
            mixture,
            merit: seen.merit,
            light,
        }
    }

    /// The line looked for again and again, each time about the ellipse through what was seen last.
    pub(crate) fn settled(
        picture: &Picture,
        start: Ellipse,
        reach: Reach,
        look: Option<Look>,
        allowed: &dyn Fn(f64, f64) -> bool,
    ) -> Option<Self> {
        let mut band = Self::about(picture, start, reach, look, allowed)?;
        for narrower in [0.8, 0.6] {
            let Some(ellipse) = band.ellipse(reach.elongation) else { break };
            let part = (narrower * reach.part).max(1.2 * band.sigma_px / ellipse.r);
            let next = Self::about(picture, ellipse, Reach { part, ..reach }, Some(band.look()), allowed);
            let Some(next) = next else { break };
            // what was found must not be lost again
            if next.seen() < 0.8 * band.seen() {
                break;
            }
            band = next;
        }
        Some(band)
    }

    /// Ellipse through the line where it is seen, robustly; `elongation` is the standard deviation expected of it.
    pub(crate) fn ellipse(&self, elongation: f64) -> Option<Ellipse> {
        let mut weights: Vec<f64> =
            self.height.iter().zip(&self.lit).map(|(h, lit)| if *lit { h.max(0.0) } else { 0.0 }).collect();
        let typical = crate::ring_curve::median(weights.iter().copied().filter(|w| *w > 0.0).collect());
        weights.iter_mut().for_each(|w| *w = w.min(typical));
        let places: Vec<[f64; 2]> = (0..self.t.len()).map(|i| self.place(i)).collect();
        let mut ellipse = self.base;
        for _ in 0..6 {
            let off: Vec<f64> = places.iter().map(|[x, y]| ellipse.distance(*x, *y)).collect();
            let seen = off.iter().zip(&weights).filter(|(_, w)| **w > 0.0).map(|(d, _)| d.abs());
            let scatter = (1.4826 * crate::ring_curve::median(seen.collect())).max(0.15 * self.sigma_px).max(0.3);
            let points: Vec<Weighted> = places
                .iter()
                .zip(&off)
                .zip(&weights)
                .map(|(([x, y], d), w)| Weighted { x: *x, y: *y, weight: w * tukey(d / scatter) })
                .collect();
            if points.iter().filter(|p| p.weight > 0.0).count() < 8 {
                return None;
            }
            // neighbours along the line are alike: a few dozen of them are independent
            let roundness = elongation * ellipse.r / scatter * (36.0 * typical.max(1e-9)).sqrt().recip();
            ellipse = ellipse.fitted(&points, roundness, 4)?;
        }
        ellipse.is_sound(3.0).then_some(ellipse)
    }

    /// Where the line is at a station, pixels.
    pub(crate) fn place(&self, i: usize) -> [f64; 2] {
        let (t, d) = (self.t.get(i).copied().unwrap_or(0.0), self.offset_px.get(i).copied().unwrap_or(0.0));
        let station = crate::ring_follow::station(&self.base, t, d);
        [station.x, station.y]
    }

    /// Part of the whole turn on which the line is seen.
    pub(crate) fn seen(&self) -> f64 {
        self.lit.iter().filter(|lit| **lit).count() as f64 / self.lit.len().max(1) as f64
    }

    /// Part of the turn that could be seen.
    pub(crate) fn open(&self) -> f64 {
        self.usable.iter().filter(|usable| **usable).count() as f64 / self.usable.len().max(1) as f64
    }

    /// Mixture and width with which the line was seen.
    pub(crate) fn look(&self) -> Look {
        Look { mixture: self.mixture, sigma_px: self.sigma_px }
    }

    /// How plainly, and on how much of the turn, the line is seen: mean of ln(1 + height / clutter).
    pub(crate) fn merit(&self) -> f64 {
        self.merit
    }

    /// Typical height of the line over what is no line.
    pub(crate) fn significance(&self) -> f64 {
        upper_quarter(&self.height, &self.usable) / self.clutter.max(1e-6)
    }
}

/// Tukey's biweight at 4.685 standard deviations.
fn tukey(normalised: f64) -> f64 {
    let u = normalised / 4.685;
    if u.abs() < 1.0 { (1.0 - u * u).powi(2) } else { 0.0 }
}

/// The height that a quarter of the usable stations exceed.
fn upper_quarter(heights: &[f64], usable: &[bool]) -> f64 {
    let mut values: Vec<f64> = heights.iter().zip(usable).filter(|(_, u)| **u).map(|(h, _)| *h).collect();
    values.sort_by(f64::total_cmp);
    values.get(values.len() * 3 / 4).copied().unwrap_or(0.0)
}
