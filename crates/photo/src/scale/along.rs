//! Two labels of a scale made finer by the rhythm of its marks between them: centimetres, and millimetres where they stand apart.

use crate::marks::{HandMark, HandMarkKind};
use crate::picture::Picture;

/// Period of a scale's numbered marks, millimetres, and the parts of it that are looked for: the first to find the rhythm, all to
/// place it.
const PERIOD_MM: f64 = 10.0;
const COARSE: [f64; 2] = [1.0, 2.0];
const FINE: [f64; 5] = [1.0, 2.0, 3.0, 5.0, 10.0];
/// A part must have so many pixels to be seen.
const LEAST_PX: f64 = 2.6;
/// Half-width of the strip about the line through both labels, millimetres, and its rows at most.
const STRIP_MM: f64 = 13.0;
const ROWS: usize = 32;
/// Samples along the strip at most.
const SAMPLES: usize = 900;
/// Fewest periods between two labels that make a rhythm.
const FEWEST_PERIODS: f64 = 4.0;
/// Bend tried: how much the millimetres a pixel change from end to end, a half of it; perspective of a scale seen at a slant.
const BENDS: i32 = 9;
const BEND_STEP: f64 = 0.01;
/// Largest change of the length between the labels that is tried, in standard uncertainties of the clicks, and in parts of it.
const REACH_U: f64 = 3.0;
const MOST: f64 = 0.06;
/// The rhythm must stand this much above what other lengths give: median of all, and the best away from it.
const ABOVE_MEDIAN: f64 = 1.7;
const ABOVE_OTHERS: f64 = 1.15;
/// Standard uncertainty of a place along the scale that the rhythm gives, pixels.
pub(super) const RHYTHM_U_PX: f64 = 0.5;
/// Points that stand for the line of the scale.
const POINTS: usize = 5;

/// The scale between two labels, by its own marks.
///
/// A strip along both is laid straight; the length between the labels, and its bend by perspective, are those with which the
/// strip's light has most of the period of the numbered marks.
///
/// - **Takes** two marks of the scale a person set, with standard uncertainty `u_px`.
/// - **Gives** points along the line with their millimetres; none where no rhythm stands out, or the labels are too near.
pub(super) fn finer(picture: &Picture, labels: &[HandMark], u_px: f64) -> Option<Vec<HandMark>> {
    let [a, b] = labels else { return None };
    let span_mm = b.along_mm? - a.along_mm?;
    let (from, to) = (a.point_px(), b.point_px());
    let length_px = (to[0] - from[0]).hypot(to[1] - from[1]);
    if span_mm.abs() < FEWEST_PERIODS * PERIOD_MM || length_px < LEAST_PX * span_mm.abs() / PERIOD_MM {
        return None;
    }
    let strip = Strip::read(picture, from, to, span_mm.abs());
    let reach = (REACH_U * std::f64::consts::SQRT_2 * u_px / length_px).clamp(0.01, MOST);
    let coarse = strip.best(&COARSE, [0.0, reach], [0.0, BEND_STEP * f64::from(BENDS)])?;
    if !coarse.is_plain {
        return None;
    }
    let cycle = PERIOD_MM / span_mm.abs();
    let fine =
        strip.best(&FINE, [coarse.length, 0.3 * cycle], [coarse.bend, 1.5 * BEND_STEP]).unwrap_or(coarse);
    let point = |k: usize| {
        let t = k as f64 / (POINTS - 1) as f64;
        HandMark {
            what: HandMarkKind::Scale,
            x_px: from[0] + t * (to[0] - from[0]),
            y_px: from[1] + t * (to[1] - from[1]),
            along_mm: a.along_mm.map(|start| start + span_mm * fine.place(t)),
            across_mm: None,
        }
    };
    Some((0..POINTS).map(point).collect())
}

/// What a trial of length and bend gives.
#[derive(Debug, Clone, Copy)]
struct Trial {
    /// Relative change of the length between the labels, and bend.
    length: f64,
    bend: f64,
    power: f64,
    is_plain: bool,
}

impl Trial {
    /// Part of the span at part `t` of the way between the labels.
    fn place(&self, t: f64) -> f64 {
        (1.0 + self.length) * t + self.bend * (t * t - t)
    }
}

/// Light along the scale, row by row, evened.
struct Strip {
    /// Part of the way between the labels of each sample.
    t: Vec<f64>,
    rows: Vec<Vec<f32>>,
    span_mm: f64,
    /// Pixels of one period.
    period_px: f64,
}

impl Strip {
    fn read(picture: &Picture, from: [f64; 2], to: [f64; 2], span_mm: f64) -> Self {
        let way = [to[0] - from[0], to[1] - from[1]];
        let length = way[0].hypot(way[1]);
        let scale = length / span_mm;
        // half a period beyond each label
        let beyond = 0.5 * PERIOD_MM / span_mm;
        let count = ((1.0 + 2.0 * beyond) * length).ceil().clamp(64.0, SAMPLES as f64) as usize;
        let t: Vec<f64> =
            (0..count).map(|i| -beyond + (1.0 + 2.0 * beyond) * i as f64 / (count - 1) as f64).collect();
        let rows = ((2.0 * STRIP_MM * scale) as usize).clamp(5, ROWS);
        let across = [-way[1] / length, way[0] / length];
        let period =
            (PERIOD_MM / span_mm / ((1.0 + 2.0 * beyond) / (count - 1) as f64)).round().max(3.0) as usize;
        let row = |k: usize| -> Vec<f32> {
            let off = STRIP_MM * scale * (2.0 * k as f64 / (rows - 1) as f64 - 1.0);
            let light: Vec<f32> = t
                .iter()
                .map(|t| {
                    let (x, y) =
                        (from[0] + t * way[0] + off * across[0], from[1] + t * way[1] + off * across[1]);
                    picture.light(x, y).max(0.0).sqrt()
                })
                .collect();
            evened(&light, period)
        };
        Self { rows: (0..rows).map(row).collect(), t, span_mm, period_px: PERIOD_MM * scale }
    }

    /// The length and bend within reach of a middle that give most power in these parts of the period.
    fn best(&self, parts: &[f64], [length, reach]: [f64; 2], [bend, bend_reach]: [f64; 2]) -> Option<Trial> {
        let parts: Vec<f64> =
            parts.iter().copied().filter(|part| self.period_px / part >= LEAST_PX).collect();
        let finest = parts.iter().copied().fold(0.0, f64::max);
        if finest <= 0.0 {
            return None;
        }
        // an eighth of the finest part over the whole span
        let step = 0.125 * PERIOD_MM / finest / self.span_mm;
        let steps = (reach / step).ceil().max(1.0) as i32;
        let bends = (bend_reach / (2.0 * step).min(BEND_STEP)).ceil().clamp(1.0, f64::from(BENDS)) as i32;
        let mut trials = Vec::new();
        for j in -bends..=bends {
            for i in -steps..=steps {
                let trial = Trial {
                    length: length + reach * f64::from(i) / f64::from(steps),
                    bend: bend + bend_reach * f64::from(j) / f64::from(bends),
                    power: 0.0,
                    is_plain: false,
                };
                trials.push(Trial { power: self.power(&trial, &parts), ..trial });
            }
        }
        let best = *trials.iter().max_by(|a, b| a.power.total_cmp(&b.power))?;
        let median = crate::ring_curve::median(trials.iter().map(|trial| trial.power).collect());
        let apart = 0.6 * PERIOD_MM / self.span_mm;
        let away = trials.iter().filter(|trial| (trial.length - best.length).abs() > apart);
        let others = away.map(|trial| trial.power).fold(0.0, f64::max);
        let is_inside = (best.length - length).abs() < 0.98 * reach;
        let is_plain = best.power > ABOVE_MEDIAN * median && best.power > ABOVE_OTHERS * others && is_inside;
        Some(Trial { is_plain, ..best })
    }

    /// Power of the rows in these parts of the period, each row's phase its own.
    fn power(&self, trial: &Trial, parts: &[f64]) -> f64 {
        let cycles: Vec<f64> = self.t.iter().map(|t| self.span_mm / PERIOD_MM * trial.place(*t)).collect();
        let mut power = 0.0;
        for part in parts {
            let waves: Vec<(f32, f32)> = cycles
                .iter()
                .map(|c| {
                    let (s, c) = (std::f64::consts::TAU * part * c).sin_cos();
                    (s as f32, c as f32)
                })
                .collect();
            for row in &self.rows {
                let (mut s, mut c) = (0.0_f32, 0.0_f32);
                for (value, wave) in row.iter().zip(&waves) {
                    s += value * wave.0;
                    c += value * wave.1;
                }
                power += f64::from(s * s + c * c);
            }
        }
        power
    }
}

/// A row less its mean over two periods, over its scatter there: dim and bright pieces alike.
fn evened(light: &[f32], period: usize) -> Vec<f32> {
    let flat = subtract(light, &moving_mean(light, period));
    let squares: Vec<f32> = flat.iter().map(|v| v * v).collect();
    let size = moving_mean(&squares, period);
    let least = 1e-6_f32;
    flat.iter().zip(size).map(|(v, s)| (v / (s + least).sqrt()).clamp(-3.0, 3.0)).collect()
}

fn subtract(a: &[f32], b: &[f32]) -> Vec<f32> {
    a.iter().zip(b).map(|(a, b)| a - b).collect()
}

/// Mean over `half` samples to each side.
fn moving_mean(values: &[f32], half: usize) -> Vec<f32> {
    let mut sums = vec![0.0_f64];
    for value in values {
        sums.push(sums.last().copied().unwrap_or(0.0) + f64::from(*value));
    }
    (0..values.len())
        .map(|i| {
            let (from, to) = (i.saturating_sub(half), (i + half + 1).min(values.len()));
            ((sums[to] - sums[from]) / (to - from) as f64) as f32
        })
        .collect()
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

    fn label(x: f64, mm: f64) -> HandMark {
        HandMark { what: HandMarkKind::Scale, x_px: x, y_px: 62.0, along_mm: Some(mm), across_mm: None }
    }

    #[test]
    fn labels_clicked_four_pixels_off_are_mended_by_the_centimetres_between_them() {
        let mm_px = 3.7;
        let labels = [label(60.0 + 10.0 * mm_px - 4.0, 10.0), label(60.0 + 200.0 * mm_px + 4.0, 200.0)];
        let points = finer(&ruled(mm_px), &labels, 3.0).expect("a rhythm");
        let (first, last) = (points[0], points[POINTS - 1]);
        let scale = (last.x_px - first.x_px) / (last.along_mm.unwrap_or(0.0) - first.along_mm.unwrap_or(0.0));
        assert!((scale / mm_px - 1.0).abs() < 1e-3, "{scale} for {mm_px}");
    }

    #[test]
    fn a_blank_strip_has_no_rhythm() {
        let blank = Picture::from_rgb8(900, 120, vec![90; 900 * 120 * 3]).expect("a picture");
        assert!(finer(&blank, &[label(100.0, 10.0), label(800.0, 200.0)], 3.0).is_none());
    }
}
