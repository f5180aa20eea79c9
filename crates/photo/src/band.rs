//! The beam followed in a band about an ellipse that a person clicked or the search proposed: wide, saturated and open
//! beams too, in whatever mixture of the channels shows it best.

mod colour;
mod light;
mod line;
mod precise;
mod start;
mod trace;

use crate::picture::Picture;
use crate::ring_curve::tukey;
use crate::ring_ellipse::{Ellipse, Weighted};
use colour::Mixture;
use light::PolarLight;
use line::{Seen, see};
pub(crate) use start::{circle_through, ellipses_through, elongated_through};
use trace::Settled;

/// Standard deviations of the beam's cross-section that are tried, in parts of the ring's radius: full widths from 1 % to 10 %
/// of the diameter, as beams of common tubes have.
const SIGMAS: [f64; 6] = [0.008, 0.014, 0.024, 0.04, 0.062, 0.085];
/// Widest standard deviation, in parts of the radius.
const WIDEST: f64 = 0.095;
/// A sum of channels measures the line where it shows this part of what a difference does.
const SUM_SEEN: f64 = 0.6;
/// The flanks of a line lie no further than this from its middle, in the standard deviations with which they are seen.
const FLANK_SIGMAS: f64 = 1.5;
/// Parts of the greatest height and merit that a narrower width must show.
const MOST_HEIGHT: f64 = 0.75;
const MOST_MERIT: f64 = 0.7;
/// Widths tried about a known one.
const NEAR_SIGMAS: [f64; 3] = [0.75, 1.0, 1.33];
/// The tuned mixture must show the line better than a plain one by this factor: it was made from the line itself.
const BETTER: f64 = 1.05;
/// Distance from the crest at which both sides are read, in standard deviations.
const SIDE: f64 = 2.3;
/// Share of the typical height above which the line counts as seen.
const LEAST_HEIGHT: f64 = 0.1;
/// Independent pieces of a whole turn, and by what they err at least, in standard deviations of the beam.
const INDEPENDENT: f64 = 24.0;
const ALIKE_U_SIGMAS: f64 = 0.2;
/// Half-widths of the band from round to round, in parts of the first; the rounds end where the ellipse moves less than this, in
/// standard deviations of the beam.
const ROUNDS: [f64; 5] = [0.8, 0.6, 0.6, 0.6, 0.6];
const SETTLED_SIGMAS: f64 = 0.1;
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

/// In which mixtures and widths a line is looked for.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum Eyes {
    /// In all, and in the one in which it then stands out best.
    Any,
    /// In sums of channels, all widths.
    Sums,
    /// As it was seen before, and a little wider and narrower.
    Known(Look),
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
    /// Points that a person set on the line, pixels, and their standard uncertainty.
    anchors: Vec<[f64; 2]>,
    anchor_u_px: f64,
    merit: f64,
    light: PolarLight,
}

impl Band {
    /// Looks for the line within `reach` of an ellipse; `None` where the picture shows nothing there.
    ///
    pub(crate) fn about(
        picture: &Picture,
        base: Ellipse,
        reach: Reach,
        eyes: Eyes,
        allowed: &dyn Fn(f64, f64) -> bool,
    ) -> Option<Self> {
        let light = PolarLight::read(picture, &base, reach, allowed);
        if light.usable.iter().filter(|usable| **usable).count() < 12 {
            return None;
        }
        let try_with = |mixture: Mixture, sigmas: &[f64]| -> Option<(Seen, Look)> {
            let values = light.mixed(&mixture);
            let seen: Vec<(Seen, Look)> = sigmas
                .iter()
                .filter_map(|&sigma| {
                    let sigma_px = sigma.clamp(0.8, (WIDEST * base.r).max(0.8));
                    Some((see(&light, &values, sigma_px)?, Look { mixture, sigma_px }))
                })
                .collect();
            narrowest(seen)
        };
        let near = |sigma_px: f64| NEAR_SIGMAS.map(|factor| factor * sigma_px);
        if let Eyes::Known(look) = eyes {
            let (seen, look) = try_with(look.mixture, &near(look.sigma_px))?;
            return Some(Self::of(base, light, seen, look));
        }
        let all = SIGMAS.map(|part| part * base.r);
        let sums = Mixture::sums(picture.channels()).into_iter();
        let differences = Mixture::differences(picture.channels()).into_iter();
        let best = |found: &mut dyn Iterator<Item = (Seen, Look)>| {
            found.max_by(|a, b| a.0.merit.total_cmp(&b.0.merit))
        };
        let plain = best(&mut sums.filter_map(|mixture| try_with(mixture, &all)));
        if eyes == Eyes::Sums {
            return plain.map(|(seen, look)| Self::of(base, light, seen, look));
        }
        let first =
            best(&mut plain.into_iter().chain(differences.filter_map(|mixture| try_with(mixture, &all))))?;
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
            anchors: Vec::new(),
            anchor_u_px: 1.0,
            merit: seen.merit,
            light,
        }
    }

    /// The line looked for again and again, each time about the ellipse through what was seen last and, where a person set some
    /// of them, through those `marks` of standard uncertainty `mark_u_px`.
    pub(crate) fn settled(
        picture: &Picture,
        start: Ellipse,
        reach: Reach,
        (marks, mark_u_px): (&[[f64; 2]], f64),
        allowed: &dyn Fn(f64, f64) -> bool,
    ) -> Option<Self> {
        let marked = |band: Self| Self { anchors: marks.to_vec(), anchor_u_px: mark_u_px, ..band };
        let mut band = marked(Self::about(picture, start, reach, Eyes::Any, allowed)?);
        for (round, narrower) in ROUNDS.into_iter().enumerate() {
            let Some(ellipse) = band.ellipse(reach.elongation) else { break };
            let moved = (ellipse.cx - band.base.cx).hypot(ellipse.cy - band.base.cy)
                + (ellipse.r - band.base.r).abs();
            if round > 1 && moved < SETTLED_SIGMAS * band.sigma_px {
                break;
            }
            let part = (narrower * reach.part).max(1.2 * band.sigma_px / ellipse.r);
            // about a better ellipse the line may show best in another mixture and width
            let eyes = if round == 0 { Eyes::Any } else { Eyes::Known(band.look()) };
            let next = Self::about(picture, ellipse, Reach { part, ..reach }, eyes, allowed);
            let Some(next) = next.map(marked) else { break };
            // what was found must not be lost again
            if next.seen() < 0.8 * band.seen() {
                break;
            }
            band = next;
        }
        // colours against each other show a line where sums do not, but not its middle: a core at full scale is white, and its
        // coloured flanks look like two lines
        if !band.mixture.is_sum()
            && let Some(ellipse) = band.ellipse(reach.elongation)
        {
            let part = reach.part.max(FLANK_SIGMAS * band.sigma_px / ellipse.r + 0.04).min(0.25);
            let first =
                Self::about(picture, ellipse, Reach { part, ..reach }, Eyes::Sums, allowed).map(marked);
            let again = first.as_ref().and_then(|sum| {
                let part = (0.6 * part).max(1.2 * sum.sigma_px / ellipse.r);
                let about = sum.ellipse(reach.elongation)?;
                Self::about(picture, about, Reach { part, ..reach }, Eyes::Known(sum.look()), allowed)
                    .map(marked)
            });
            if let Some(sum) = again.or(first).filter(|sum| sum.seen() > SUM_SEEN * band.seen()) {
                band = sum;
            }
        }
        Some(band)
    }

    /// Ellipse through the line where it is seen, robustly; `elongation` is the standard deviation expected of it.
    pub(crate) fn ellipse(&self, elongation: f64) -> Option<Ellipse> {
        let mut weights: Vec<f64> =
            self.height.iter().zip(&self.lit).map(|(h, lit)| if *lit { h.max(0.0) } else { 0.0 }).collect();
        let typical = crate::ring_curve::median(weights.iter().copied().filter(|w| *w > 0.0).collect());
        weights.iter_mut().for_each(|w| *w = (*w / typical.max(1e-9)).min(1.0));
        let places: Vec<[f64; 2]> = (0..self.t.len()).map(|i| self.place(i)).collect();
        let mut ellipse = self.base;
        for _ in 0..6 {
            let off: Vec<f64> = places.iter().map(|[x, y]| ellipse.distance(*x, *y)).collect();
            let seen = off.iter().zip(&weights).filter(|(_, w)| **w > 0.0).map(|(d, _)| d.abs());
            let scatter =
                (1.4826 * crate::ring_curve::median(seen.collect())).max(0.15 * self.sigma_px).max(0.3);
            let points: Vec<Weighted> = places
                .iter()
                .zip(&off)
                .zip(&weights)
                .map(|(([x, y], d), w)| Weighted { x: *x, y: *y, weight: w * tukey(d / scatter) })
                .collect();
            if points.iter().filter(|p| p.weight > 0.0).count() < 8 {
                return None;
            }
            ellipse = self.fitted(ellipse, points, scatter, elongation, 4)?;
        }
        ellipse.is_sound(3.0).then_some(ellipse)
    }

    /// Ellipse through points of the line (weights up to 1) and a person's marks.
    ///
    /// Neighbours along the line err alike, by a part of its width at least; elongation and marks are weighed against that.
    pub(super) fn fitted(
        &self,
        from: Ellipse,
        mut points: Vec<Weighted>,
        scatter_px: f64,
        elongation: f64,
        steps: usize,
    ) -> Option<Ellipse> {
        let scatter = scatter_px.max(ALIKE_U_SIGMAS * self.sigma_px);
        // stations that count as one
        let alike = (self.t.len() as f64 / INDEPENDENT).max(1.0);
        let weight = alike * (scatter / self.anchor_u_px).powi(2);
        points.extend(self.anchors.iter().map(|[x, y]| Weighted { x: *x, y: *y, weight }));
        let roundness = elongation * from.r / (scatter * alike.sqrt());
        from.fitted(&points, roundness, steps)
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

/// Of one line seen with growing widths the narrowest that shows nearly all of its height: a wider one sees the haze about it.
fn narrowest(seen: Vec<(Seen, Look)>) -> Option<(Seen, Look)> {
    let height = seen.iter().map(|(seen, _)| seen.mean_height).fold(0.0, f64::max);
    let merit = seen.iter().map(|(seen, _)| seen.merit).fold(0.0, f64::max);
    seen.into_iter()
        .find(|(seen, _)| seen.mean_height >= MOST_HEIGHT * height && seen.merit >= MOST_MERIT * merit)
}

/// The height that a quarter of the usable stations exceed.
fn upper_quarter(heights: &[f64], usable: &[bool]) -> f64 {
    let mut values: Vec<f64> = heights.iter().zip(usable).filter(|(_, u)| **u).map(|(h, _)| *h).collect();
    values.sort_by(f64::total_cmp);
    values.get(values.len() * 3 / 4).copied().unwrap_or(0.0)
}
