//! Where thin bright lines run on a reduced picture, and which of them close to a ring.

mod ridge;

use crate::picture::{LightPlane, Picture, linear_light};
use crate::ring_ellipse::{Ellipse, Weighted};
pub(crate) use ridge::RidgePoint;
use ridge::{blurred, collect_ridges, local_maxima, noise_of};

/// Long side of the reduced picture: a beam of 1/300 of the frame is still 2.7 pixels wide on it.
const SEARCH_SIDE_PX: usize = 800;
/// Smoothing for thin and for blurred beams, in reduced pixels.
const SCALES_PX: [f32; 2] = [1.0, 2.5];
/// Ridge points kept, strongest first: a ring of the largest size has about 1 500.
const MOST_POINTS: usize = 4000;
/// A ridge must stand this many standard deviations of the noise above both its sides.
const RIDGE_SIGNIFICANCE: f32 = 4.0;
/// Rank of a bulb's outline, against the best line, from which it disturbs the search.
const OUTLINE: f64 = 0.15;
/// An outline is rounder than this: p and q in parts of the radius.
const ROUND: f64 = 0.06;
/// What lies closer to it than this part of its radius belongs to it: the glass has two surfaces.
const BESIDE_OUTLINE: f64 = 0.04;
/// Least cosine between a ridge's normal and the ellipse's for the ridge to run along it.
const ALONG: f64 = 0.9;
/// One ridge point of so many shows where a start leads to; all of them say where the line lies.
const ROUGHLY: usize = 4;
/// One ridge point of so many votes for the centre: neighbours on a line say the same.
const VOTERS: usize = 2;
/// Half-width of a normal's vote for the centre, and cell of the vote, in reduced pixels.
const VOTE_CELL_PX: f64 = 4.0;

/// Full-resolution pixels in one of the picture that is searched.
pub(crate) fn search_factor(picture: &Picture) -> usize {
    let long = picture.width().max(picture.height());
    ((long as f64 / SEARCH_SIDE_PX as f64).round() as usize).max(1)
}

/// The reduced picture and the bright lines on it.
#[derive(Debug, Clone)]
pub(crate) struct Glow {
    /// Full-resolution pixels in one reduced pixel.
    pub(crate) factor: usize,
    /// Encoded light, mean of the channels.
    pub(crate) plane: LightPlane,
    /// The same, smoothed for a thin and for a blurred beam.
    smooth: Vec<LightPlane>,
    /// Ridge points, strongest first.
    pub(crate) ridges: Vec<RidgePoint>,
    /// Standard deviation of one value of `plane`.
    pub(crate) noise: f32,
}

/// A line that closes, or would close, to an ellipse; reduced pixels.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Candidate {
    pub(crate) ellipse: Ellipse,
    /// Median height of the line above its higher side, where it is seen.
    pub(crate) contrast: f64,
    /// Part of the ellipse on which the line is seen, 0 to 1.
    pub(crate) seen: f64,
    /// Smoothing at which it stands out best, in reduced pixels.
    pub(crate) scale: f64,
}

impl Candidate {
    /// Rank: height times visible length.
    pub(crate) fn score(&self) -> f64 {
        self.contrast * self.seen
    }
}

impl Glow {
    /// Reduces the picture and finds the bright lines; `allowed` says whether a full-resolution point may be used.
    pub(crate) fn find(picture: &Picture, allowed: &dyn Fn(f64, f64) -> bool) -> Self {
        let factor = search_factor(picture);
        Self::on(picture.reduced_mean(factor), factor, allowed)
    }

    /// The bright lines of a picture reduced by `factor` to one plane.
    pub(crate) fn on(plane: LightPlane, factor: usize, allowed: &dyn Fn(f64, f64) -> bool) -> Self {
        let noise = noise_of(&plane);
        let smooth: Vec<_> = SCALES_PX.iter().map(|&s| blurred(&plane, s)).collect();
        let mut ridges = Vec::new();
        for (plane, &scale) in smooth.iter().zip(&SCALES_PX) {
            // smoothing by a Gaussian of width s leaves noise / (2 √π s)
            let left = noise / (2.0 * std::f32::consts::PI.sqrt() * scale);
            collect_ridges(plane, scale, RIDGE_SIGNIFICANCE * left.max(2e-4), &mut ridges);
        }
        ridges.retain(|r| allowed(full(r.x, factor), full(r.y, factor)));
        ridges.sort_by(|a, b| b.contrast.total_cmp(&a.contrast));
        thin_out(&mut ridges);
        Self { factor, plane, smooth, ridges, noise }
    }

    /// Candidates for the ring, no larger than `limit_px`, inside a bulb whose outline has a radius within `bulb_px`, best first;
    /// reduced pixels.
    ///
    /// Where the outline is bright, pieces of it make up most of what looks like a ring: then it is taken out of the bright lines,
    /// and the ring is looked for in what is left.
    pub(crate) fn candidates_inside(&mut self, limit_px: f64, bulb_px: [f64; 2]) -> Vec<Candidate> {
        let found = self.candidates(limit_px);
        let best = found.first().map_or(0.0, Candidate::score);
        let Some(outline) = self.outline(bulb_px).filter(|outline| outline.score() > OUTLINE * best) else {
            return found;
        };
        let outline = outline.ellipse;
        let beside = (BESIDE_OUTLINE * outline.r).max(4.0);
        self.ridges.retain(|point| outline.distance(point.x, point.y).abs() > beside);
        let mut found = self.candidates(limit_px);
        // pieces of what is left beside it
        let on_outline = |c: &Candidate| {
            let around = (0..72).map(|k| c.ellipse.point(f64::from(k) * std::f64::consts::TAU / 72.0));
            let near = around.filter(|[x, y]| outline.distance(*x, *y).abs() < 1.5 * beside).count();
            near as f64 / 72.0
        };
        found.retain(|c| on_outline(c) < 0.5 * c.seen);
        found
    }

    /// The bulb's outline: the best nearly round line with a radius within `radii_px`.
    fn outline(&self, radii_px: [f64; 2]) -> Option<Candidate> {
        let [least, most] = radii_px;
        let fitted = |(x, y): (f64, f64)| {
            let circle = Ellipse::circle(x, y, 0.5 * (least + most));
            let drawn = self.drawn_through_some(circle, &[0.08, 0.04], ROUGHLY)?;
            let drawn = self.drawn_through(drawn, &[0.03, 0.015])?;
            let is_round = drawn.p.hypot(drawn.q) < ROUND * drawn.r;
            if is_round && (least..=most).contains(&drawn.r) { self.judged(drawn) } else { None }
        };
        let all = self.meeting(least, most, 3).into_iter().filter_map(fitted);
        all.max_by(|a, b| a.score().total_cmp(&b.score()))
    }

    /// Candidates for the ring, best first; `radius_limit_px` is the largest mean semi-axis in reduced pixels.
    pub(crate) fn candidates(&self, radius_limit_px: f64) -> Vec<Candidate> {
        let mut found: Vec<Candidate> = Vec::new();
        for (x, y) in self.centres(radius_limit_px) {
            for radius in self.radii(x, y, radius_limit_px) {
                let seen_before =
                    |e: &Ellipse| e.r > radius_limit_px || found.iter().any(|c| same(&c.ellipse, e));
                let circle = Ellipse::circle(x, y, radius);
                let Some(rough) = self.drawn_through_some(circle, &[0.12, 0.06], ROUGHLY) else {
                    continue;
                };
                if seen_before(&rough) {
                    continue;
                }
                let Some(ellipse) = self.drawn_through(rough, &[0.03, 0.015]) else { continue };
                if seen_before(&ellipse) {
                    continue;
                }
                if let Some(candidate) = self.judged(ellipse) {
                    found.push(candidate);
                }
            }
        }
        found.sort_by(|a, b| b.score().total_cmp(&a.score()));
        found
    }

    /// Likely centres: where the normals of the bright lines meet.
    fn centres(&self, radius_limit_px: f64) -> Vec<(f64, f64)> {
        self.meeting(0.03 * self.plane.width.min(self.plane.height) as f64, radius_limit_px, 10)
    }

    /// The `count` places where most normals meet between `least` and `most` from their lines.
    fn meeting(&self, least: f64, most: f64, count: usize) -> Vec<(f64, f64)> {
        let (w, h) = (self.plane.width as f64, self.plane.height as f64);
        let (nx, ny) = ((2.0 * w / VOTE_CELL_PX) as usize + 1, (2.0 * h / VOTE_CELL_PX) as usize + 1);
        let mut votes = LightPlane { width: nx, height: ny, values: vec![0.0; nx * ny] };
        let steps = ((most - least) / VOTE_CELL_PX).ceil().max(0.0) as usize;
        for point in self.ridges.iter().step_by(VOTERS) {
            let weight = point.contrast.sqrt();
            for sign in [-1.0, 1.0] {
                // in cells: one cell further at every step
                let (di, dj) = (sign * point.nx, sign * point.ny);
                let (x, y) = (point.x + least * di + 0.5 * w, point.y + least * dj + 0.5 * h);
                let (mut i, mut j) = (x / VOTE_CELL_PX, y / VOTE_CELL_PX);
                for _ in 0..steps {
                    if i >= 0.0 && j >= 0.0 && i < nx as f64 && j < ny as f64 {
                        votes.values[j as usize * nx + i as usize] += weight;
                    }
                    i += di;
                    j += dj;
                }
            }
        }
        let votes = blurred(&votes, 1.2);
        let mut peaks = local_maxima(&votes);
        peaks.truncate(count);
        let place = |(i, j): (usize, usize)| {
            ((i as f64 + 0.5) * VOTE_CELL_PX - 0.5 * w, (j as f64 + 0.5) * VOTE_CELL_PX - 0.5 * h)
        };
        peaks.into_iter().map(place).collect()
    }

    /// Likely radii about a centre: peaks of the lines' strength over the distance.
    fn radii(&self, x: f64, y: f64, radius_limit_px: f64) -> Vec<f64> {
        let bin = 3.0;
        let mut strength = vec![0.0_f64; (radius_limit_px / bin) as usize + 3];
        for point in &self.ridges {
            let (dx, dy) = (point.x - x, point.y - y);
            let r = (dx * dx + dy * dy).sqrt();
            if r > 1.0
                && (dx * point.nx + dy * point.ny).abs() > 0.93 * r
                && let Some(s) = strength.get_mut((r / bin) as usize)
            {
                *s += f64::from(point.contrast);
            }
        }
        let smooth: Vec<f64> = strength.windows(3).map(|w| w.iter().sum()).collect();
        let mut peaks: Vec<(f64, f64)> = smooth
            .windows(3)
            .enumerate()
            .filter(|(_, w)| w[1] > 0.0 && w[1] >= w[0] && w[1] > w[2])
            .map(|(i, w)| (w[1], (i as f64 + 2.5) * bin))
            .collect();
        peaks.sort_by(|a, b| b.0.total_cmp(&a.0));
        peaks.into_iter().take(4).map(|(_, r)| r).collect()
    }

    /// An ellipse drawn through the ridge points near the start, the band narrowing from step to step.
    pub(crate) fn drawn_through(&self, start: Ellipse, bands: &[f64]) -> Option<Ellipse> {
        self.drawn_through_some(start, bands, 1)
    }

    /// The same through one point of every so many.
    fn drawn_through_some(&self, start: Ellipse, bands: &[f64], every: usize) -> Option<Ellipse> {
        let mut ellipse = start;
        for band in bands {
            let width = (band * ellipse.r).max(1.5);
            let points = self.near(&ellipse, width, every);
            if points.len() < 12 {
                return None;
            }
            ellipse = ellipse.fitted(&points, 0.1 * ellipse.r, 3)?;
        }
        ellipse.is_sound(6.0).then_some(ellipse)
    }

    /// Ridge points, one of every so many, within `width` of the ellipse that run along it, weighted by strength and nearness.
    fn near(&self, ellipse: &Ellipse, width: f64, every: usize) -> Vec<Weighted> {
        let [a, b] = ellipse.semi_axes();
        let (outer, inner) = ((a + width).powi(2), (b - width).max(0.0).powi(2));
        // the normal leans away from the line to the centre by no more than this; with it and a little for the width of the
        // band a ridge that runs across the ellipse is told without its foot
        let leans = ((a * a - b * b) / (a * a + b * b)).asin();
        let least = (ALONG.acos() + leans + 0.05).min(0.5 * std::f64::consts::PI).cos();
        let mut points = Vec::new();
        for point in self.ridges.iter().step_by(every) {
            let (dx, dy) = (point.x - ellipse.cx, point.y - ellipse.cy);
            let square = dx * dx + dy * dy;
            if square > outer || square < inner {
                continue;
            }
            if (dx * point.nx + dy * point.ny).powi(2) < least * least * square {
                continue;
            }
            let foot = ellipse.nearest(point.x, point.y);
            let (d, [nx, ny]) = (foot.distance, foot.normal);
            if d.abs() < width && (nx * point.nx + ny * point.ny).abs() > ALONG {
                let weight = f64::from(point.contrast) * (1.0 - (d / width).powi(2)).powi(2);
                points.push(Weighted { x: point.x, y: point.y, weight });
            }
        }
        points
    }

    /// Height and visible part of the line along an ellipse; `None` when it is too faint or too short.
    pub(crate) fn judged(&self, ellipse: Ellipse) -> Option<Candidate> {
        let n = 180;
        let mut best: Option<Candidate> = None;
        for (plane, &scale) in self.smooth.iter().zip(&SCALES_PX) {
            let least = RIDGE_SIGNIFICANCE * (self.noise / (3.5 * scale)).max(2e-4);
            let mut heights: Vec<f64> = (0..n)
                .filter_map(|i| {
                    line_height(plane, &ellipse, f64::from(i) * std::f64::consts::TAU / 180.0, scale)
                })
                .filter(|&h| h > f64::from(least))
                .collect();
            if heights.is_empty() {
                continue;
            }
            heights.sort_by(f64::total_cmp);
            // pieces far fainter than the rest are another line's, most often the beam's reflection in the glass
            let strong = heights.get(heights.len() * 9 / 10).copied().unwrap_or(0.0);
            heights.retain(|&h| h > 0.25 * strong);
            let contrast = heights.get(heights.len() / 2).copied().unwrap_or(0.0);
            let seen = heights.len() as f64 / f64::from(n);
            let candidate = Candidate { ellipse, contrast, seen, scale: f64::from(scale) };
            if best.is_none_or(|b| candidate.score() > b.score()) {
                best = Some(candidate);
            }
        }
        best.filter(|c| c.seen * 360.0 > 30.0)
    }

    /// Height of the line along a drawn curve where it is in the frame: (parameter, smoothing that shows it best, height).
    pub(crate) fn heights_along(
        &self,
        drawn: &[(f64, [f64; 2])],
        normal: impl Fn(f64) -> [f64; 2],
    ) -> Vec<(f64, f64, f64)> {
        let mut heights = Vec::new();
        for &(t, place) in drawn {
            let n = normal(t);
            let each = self.smooth.iter().zip(&SCALES_PX).filter_map(|(plane, &scale)| {
                let least = f64::from(RIDGE_SIGNIFICANCE * (self.noise / (3.5 * scale)).max(2e-4));
                let height = height_across(plane, place, n, scale)?;
                Some((t, f64::from(scale), if height > least { height } else { 0.0 }))
            });
            heights.extend(each.max_by(|a, b| a.2.total_cmp(&b.2)));
        }
        heights
    }

    /// Linear light of a line above its surroundings (median) and the part of the ellipse on which it is seen, both
    /// only where `counts` holds.
    pub(crate) fn light_along(&self, line: &Candidate, counts: impl Fn(f64, f64) -> bool) -> (f64, f64) {
        let best = SCALES_PX.iter().position(|&s| f64::from(s) == line.scale).unwrap_or(0);
        let (Some(plane), Some(&scale)) = (self.smooth.get(best), SCALES_PX.get(best)) else {
            return (0.0, 0.0);
        };
        let n = 180;
        let mut lights = Vec::new();
        for i in 0..n {
            let t = f64::from(i) * std::f64::consts::TAU / f64::from(n);
            let [x, y] = line.ellipse.point(t);
            let height = line_height(plane, &line.ellipse, t, scale).filter(|&h| h > 0.25 * line.contrast);
            if let (true, Some(height)) = (counts(x, y), height) {
                let top = f64::from(plane.sample(x, y));
                lights.push(linear_light(top) - linear_light((top - height).max(0.0)));
            }
        }
        (crate::ring_curve::median(lights.clone()), lights.len() as f64 / f64::from(n))
    }
}

/// Keeps the strongest half of the points allowed and an even choice of the others: bright edges of furniture must not
/// push a dim beam out of the search.
fn thin_out(ridges: &mut Vec<RidgePoint>) {
    if ridges.len() <= MOST_POINTS {
        return;
    }
    let rest = ridges.split_off(MOST_POINTS / 2);
    let every = rest.len().div_ceil(MOST_POINTS / 2);
    ridges.extend(rest.into_iter().step_by(every));
}

/// Full-resolution coordinate of a reduced one.
pub(crate) fn full(reduced_px: f64, factor: usize) -> f64 {
    let f = factor as f64;
    reduced_px * f + 0.5 * (f - 1.0)
}

/// Height of the line near one place of an ellipse above the higher of its two sides; `None` outside the frame.
fn line_height(plane: &LightPlane, ellipse: &Ellipse, t: f64, scale: f32) -> Option<f64> {
    height_across(plane, ellipse.point(t), ellipse.normal(t), scale)
}

/// The same at a place with a normal.
fn height_across(plane: &LightPlane, [x, y]: [f64; 2], [nx, ny]: [f64; 2], scale: f32) -> Option<f64> {
    let inside = x > 1.0 && y > 1.0 && x < plane.width as f64 - 2.0 && y < plane.height as f64 - 2.0;
    if !inside {
        return None;
    }
    let at = |d: f64| f64::from(plane.sample(x + d * nx, y + d * ny));
    let (mut top, mut place) = (f64::MIN, 0.0);
    for k in -4..=4 {
        let d = 0.5 * f64::from(k);
        let value = at(d);
        if value > top {
            (top, place) = (value, d);
        }
    }
    let side = 2.5 * f64::from(scale).max(1.2);
    Some(top - at(place - side).max(at(place + side)))
}

/// Whether two ellipses are one within a few hundredths of their size.
fn same(a: &Ellipse, b: &Ellipse) -> bool {
    let far = (a.cx - b.cx).hypot(a.cy - b.cy) + (a.r - b.r).abs() + (a.p - b.p).hypot(a.q - b.q);
    far < 0.04 * a.r.max(b.r)
}
