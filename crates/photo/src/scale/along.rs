//! Labels of a scale made finer by the rhythm of its marks between them: centimetres, their numerals, and what divides them.
//!
//! What the labels say bounds how many pixels a centimetre has to a few per cent, so the rhythm is looked for in a narrow range
//! only: the light of a strip along the labels is weighed for each length of the scale and each perspective, row by row and
//! channel by channel, against what other rhythms have there. What comes out is a probability, which the clicks begin.

mod strip;

use crate::glass::BulbBefore;
use crate::marks::{HandMark, HandMarkKind};
use crate::picture::Picture;
use strip::{FINEST, Strip};

/// Period of a scale's numbered marks, millimetres.
const PERIOD_MM: f64 = 10.0;
/// Parts of it that tell its length and place roughly: numerals, too, turn with it, but their ink lies now left, now right.
const ROUGH: &[usize] = &[1, 2];
/// Parts that sharp marks have and numerals have not; from these the length comes, stage by stage.
const SHARP: [&[usize]; 2] = [&[2, 3, 4, 5], &[2, 3, 4, 5, 6, 8, FINEST]];
/// What the numerals leave open between both ends, periods.
const INK_U: f64 = 0.1;
/// Fewest periods between two labels that make a rhythm, and pixels of one.
const FEWEST_PERIODS: f64 = 3.0;
const LEAST_PX: f64 = 4.0;
/// Standard deviation of the perspective along a scale: length over the camera's distance times the sine of its slant.
const PERSPECTIVE_U: f64 = 0.05;
/// How far lengths and perspectives are looked for, in standard deviations.
const REACH: f64 = 3.5;
/// Most of the length that a click's uncertainty may leave open.
const WIDEST_U: f64 = 0.06;
/// A stage looks this many of the last one's standard deviations to both sides.
const NEXT_REACH: f64 = 3.0;
/// No stage is taken to be better than the one before it by more than this factor.
const LEAST_STEP: f64 = 0.05;
/// Steps in cycles of the finest part over the whole span.
const STEP_CYCLES: f64 = 0.14;
const FEWEST_STEPS: f64 = 4.0;
/// Trials of a stage at most.
const MOST_TRIALS: usize = 4000;
/// Logarithm of the odds from which a rhythm is believed, and least probability of one length.
const BELIEVED: f64 = 3.0;
const SURE: f64 = 0.9;
/// The same where nobody marked anything, and how far the length may lie from what was expected, in standard uncertainties.
const PLAIN: f64 = 12.0;
const AGREES: f64 = 2.5;
/// Lengths that differ by fewer cycles than this are one.
const ONE_CYCLES: f64 = 0.4;
/// Points that stand for the line of the scale, and what their scatter is to that of the length through them.
const POINTS: usize = 5;
const POINTS_OVER_LENGTH: f64 = 0.79;
/// Least standard uncertainty of such a point, pixels.
const LEAST_U_PX: f64 = 0.3;

/// A mark of the scale that a person set.
pub(super) struct Label {
    /// Where it would be seen without the bulb.
    pub(super) mark: HandMark,
    /// Its standard uncertainty in pixels.
    pub(super) u_px: f64,
}

/// The scale's own marks along the labels.
pub(super) struct Finer {
    /// Points along the line with their millimetres.
    pub(super) points: Vec<HandMark>,
    /// Standard uncertainty of each along it, pixels.
    pub(super) u_px: f64,
    /// By how much the length was mended, relative.
    off: f64,
}

/// The scale between labels, by its own marks.
///
/// - **Takes** two or more labels on one line, as they would be seen without the bulb, and the bulb before them, if any.
/// - **Gives** points along the line; none where no rhythm stands out, or the labels are too near.
pub(super) fn finer(picture: &Picture, labels: &[Label], bulb: Option<&BulbBefore>) -> Option<Finer> {
    of_line(picture, &Line::through(labels)?, bulb, BELIEVED)
}

/// The scale along a line of which it is known how many pixels a millimetre has, within a few per cent.
///
/// - **Takes** both ends of the line, the pixels of a millimetre with their relative standard uncertainty, and the bulb before it,
///   if any.
/// - **Gives** points along the line with millimetres from an arbitrary zero; none where no rhythm stands out plainly.
pub(super) fn unaided(
    picture: &Picture,
    [from, to]: [[f64; 2]; 2],
    (px_per_mm, length_u): (f64, f64),
    bulb: Option<&BulbBefore>,
) -> Option<Finer> {
    let way = [to[0] - from[0], to[1] - from[1]];
    let length_px = way[0].hypot(way[1]);
    let line = Line { from, way, length_px, start_mm: 0.0, span_mm: length_px / px_per_mm, length_u };
    if !(line.span_mm.is_finite() && line.span_mm > 0.0) {
        return None;
    }
    of_line(picture, &line, bulb, PLAIN).filter(|found| found.off.abs() < AGREES * length_u)
}

fn of_line(picture: &Picture, line: &Line, bulb: Option<&BulbBefore>, believed: f64) -> Option<Finer> {
    let periods = line.span_mm.abs() / PERIOD_MM;
    if periods < FEWEST_PERIODS || line.length_px < LEAST_PX * periods {
        return None;
    }
    let strip = Strip::read(picture, line, bulb);
    let clicked = Region {
        middle: [0.0; 2],
        reach: [(REACH * line.length_u).max(0.3 / periods), REACH * PERSPECTIVE_U],
    };
    let rough = strip.weigh(ROUGH, &clicked, line)?;
    if !(rough.odds > believed && rough.mass > SURE) {
        return None;
    }
    let ink = [INK_U / periods, 4.0 * INK_U / periods];
    let mut found = Found { u: [0, 1].map(|k| rough.u[k].hypot(ink[k])), ..rough };
    for parts in SHARP {
        let region = Region { middle: found.mean, reach: found.u.map(|u| NEXT_REACH * u) };
        let finer = strip.weigh(parts, &region, line)?;
        if finer.odds > BELIEVED {
            found = Found { u: [0, 1].map(|k| finer.u[k].max(LEAST_STEP * found.u[k])), ..finer };
        }
    }
    let u_px = (POINTS_OVER_LENGTH * line.length_px * found.u[0]).max(LEAST_U_PX);
    let points = (0..POINTS).map(|k| line.mark(k as f64 / (POINTS - 1) as f64, found.mean)).collect();
    Some(Finer { points, u_px, off: found.mean[0] })
}

/// One label: what it says, mm, where it was clicked, px, and its weight, 1/px².
type Known = (f64, [f64; 2], f64);

/// The line through the labels.
struct Line {
    from: [f64; 2],
    way: [f64; 2],
    length_px: f64,
    start_mm: f64,
    span_mm: f64,
    /// Relative standard uncertainty of the span by the clicks.
    length_u: f64,
}

impl Line {
    fn through(labels: &[Label]) -> Option<Self> {
        if labels.iter().any(|label| label.mark.across_mm.is_some_and(|mm| mm != 0.0)) {
            return None;
        }
        let mut known: Vec<Known> = labels
            .iter()
            .filter_map(|label| Some((label.mark.along_mm?, label.mark.point_px(), label.u_px.powi(-2))))
            .collect();
        known.sort_by(|a, b| a.0.total_cmp(&b.0));
        let (first, last) = (known.first()?.1, known.last()?.1);
        let way = [last[0] - first[0], last[1] - first[1]];
        let length_px = way[0].hypot(way[1]);
        let weight: f64 = known.iter().map(|k| k.2).sum();
        let mean = |of: &dyn Fn(&Known) -> f64| known.iter().map(|k| k.2 * of(k)).sum::<f64>() / weight;
        // the direction from end to end, the place by all labels
        let across = [-way[1] / length_px, way[0] / length_px];
        let aside = mean(&|k| (k.1[0] - first[0]) * across[0] + (k.1[1] - first[1]) * across[1]);
        let from = [0, 1].map(|k| first[k] + aside * across[k]);
        // the slope of millimetres over the part of the way, by least squares
        let part =
            |p: [f64; 2]| ((p[0] - from[0]) * way[0] + (p[1] - from[1]) * way[1]) / (length_px * length_px);
        let (t_mean, mm_mean) = (mean(&|k| part(k.1)), mean(&|k| k.0));
        let moment = mean(&|k| (part(k.1) - t_mean).powi(2));
        let span_mm = mean(&|k| (part(k.1) - t_mean) * (k.0 - mm_mean)) / moment;
        let length_u = ((weight * moment).sqrt() * length_px).recip().min(WIDEST_U);
        let is_line = length_px > 0.0 && span_mm > 0.0 && span_mm.is_finite() && length_u > 0.0;
        is_line.then_some(Self {
            from,
            way,
            length_px,
            start_mm: mm_mean - span_mm * t_mean,
            span_mm,
            length_u,
        })
    }

    /// Logarithm of the probability that the clicks alone give a trial.
    fn prior(&self, [length, bend]: [f64; 2]) -> f64 {
        -0.5 * ((length / self.length_u).powi(2) + (bend / PERSPECTIVE_U).powi(2))
    }

    /// A point so far along the way, with its millimetres.
    fn mark(&self, t: f64, trial: [f64; 2]) -> HandMark {
        HandMark {
            what: HandMarkKind::Scale,
            x_px: self.from[0] + t * self.way[0],
            y_px: self.from[1] + t * self.way[1],
            along_mm: Some(self.start_mm + self.span_mm * place(trial, t)),
            across_mm: None,
        }
    }
}

/// Part of the span at part `t` of the way between the labels: a projection of a line, which keeps its first end.
fn place([length, bend]: [f64; 2], t: f64) -> f64 {
    (1.0 + length) * t * (1.0 - bend) / (1.0 - bend * t)
}

/// Lengths and perspectives that are tried.
struct Region {
    middle: [f64; 2],
    reach: [f64; 2],
}

/// What a stage comes to.
struct Found {
    /// Mean and standard deviation of length and perspective.
    mean: [f64; 2],
    u: [f64; 2],
    /// Logarithm of the odds that there is a rhythm at all.
    odds: f64,
    /// Probability of the likeliest length.
    mass: f64,
}

impl Strip {
    /// The probability of each length and perspective within a region, by the rhythm's parts that can be seen.
    fn weigh(&self, parts: &[usize], region: &Region, line: &Line) -> Option<Found> {
        let parts: Vec<usize> = parts.iter().copied().filter(|part| self.shows(*part)).collect();
        let finest = self.periods * *parts.last()? as f64;
        let levels = self.levels(&parts);
        let steps = |reach: f64, step: f64| (reach / step).ceil().clamp(FEWEST_STEPS, 200.0) as i32;
        // a perspective moves the middle by a quarter of itself
        let (mut i_most, mut j_most) = (
            steps(region.reach[0], STEP_CYCLES / finest),
            steps(region.reach[1], 4.0 * STEP_CYCLES / finest),
        );
        while (2 * i_most + 1) * (2 * j_most + 1) > MOST_TRIALS as i32 {
            (i_most, j_most) = ((i_most - 1).max(1), (j_most - 1).max(1));
        }
        let mut trials = Vec::new();
        for j in -j_most..=j_most {
            for i in -i_most..=i_most {
                let at = |k: usize, step: i32, most: i32| {
                    region.middle[k] + region.reach[k] * f64::from(step) / f64::from(most)
                };
                let trial = [at(0, i, i_most), at(1, j, j_most)];
                let prior = line.prior(trial);
                trials.push((trial, prior, prior + self.evidence(trial, &parts, &levels)));
            }
        }
        Some(summed(&trials, ONE_CYCLES / self.periods))
    }
}

/// Mean, width and odds of weighed trials.
fn summed(trials: &[([f64; 2], f64, f64)], one: f64) -> Found {
    let best = trials.iter().max_by(|a, b| a.2.total_cmp(&b.2)).map_or(([0.0; 2], 0.0), |t| (t.0, t.2));
    let (mut prior, mut total, mut near, mut mean, mut square) = (0.0, 0.0, 0.0, [0.0; 2], [0.0; 2]);
    for (trial, before, after) in trials {
        let weight = (after - best.1).exp();
        prior += before.exp();
        total += weight;
        if (trial[0] - best.0[0]).abs() < one {
            near += weight;
            for k in 0..2 {
                mean[k] += weight * trial[k];
                square[k] += weight * trial[k] * trial[k];
            }
        }
    }
    let mean = mean.map(|sum| sum / near);
    let u = [0, 1].map(|k| (square[k] / near - mean[k] * mean[k]).max(0.0).sqrt());
    Found { mean, u, odds: best.1 + (total / prior.max(1e-300)).ln(), mass: near / total }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A grey picture with dark marks every `mm_px · 10` pixels from x = 60 on, on a bright strip.
    fn ruled(mm_px: f64) -> Picture {
        let mut rgb = vec![30_u8; 900 * 120 * 3];
        for y in 40..80_usize {
            for x in 0..900_usize {
                let cm = (x as f64 - 60.0) / (10.0 * mm_px);
                let off = (cm - cm.round()).abs() * 10.0 * mm_px;
                let value = if off < 0.8 && y < 60 { 60 } else { 190 };
                rgb[3 * (y * 900 + x)..3 * (y * 900 + x) + 3].fill(value);
            }
        }
        Picture::from_rgb8(900, 120, rgb).expect("a picture")
    }

    fn label(x: f64, mm: f64) -> Label {
        let what = HandMarkKind::Scale;
        Label { mark: HandMark { what, x_px: x, y_px: 62.0, along_mm: Some(mm), across_mm: None }, u_px: 3.0 }
    }

    #[test]
    fn labels_clicked_four_pixels_off_are_mended_by_the_centimetres_between_them() {
        let mm_px = 3.7;
        let labels = [label(60.0 + 10.0 * mm_px - 4.0, 10.0), label(60.0 + 200.0 * mm_px + 4.0, 200.0)];
        let found = finer(&ruled(mm_px), &labels, None).expect("a rhythm");
        let (first, last) = (found.points[0], found.points[POINTS - 1]);
        let scale = (last.x_px - first.x_px) / (last.along_mm.unwrap_or(0.0) - first.along_mm.unwrap_or(0.0));
        assert!((scale / mm_px - 1.0).abs() < 1e-3, "{scale} for {mm_px}");
    }

    #[test]
    fn a_blank_strip_and_noise_have_no_rhythm() {
        let labels = [label(100.0, 10.0), label(800.0, 200.0)];
        let blank = Picture::from_rgb8(900, 120, vec![90; 900 * 120 * 3]).expect("a picture");
        assert!(finer(&blank, &labels, None).is_none());
        for seed in 1..20_u64 {
            let mut state = seed;
            let noise = (0..900 * 120 * 3).map(|_| {
                state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
                60 + (state >> 59) as u8
            });
            let noisy = Picture::from_rgb8(900, 120, noise.collect()).expect("a picture");
            assert!(finer(&noisy, &labels, None).is_none(), "seed {seed}");
        }
    }
}
