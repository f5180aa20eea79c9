//! What is printed between and along the lines found: finer lines, and heavier ones every so often.

use crate::picture::LightPlane;
use crate::scale::lattice::ScaleCrossing;
use crate::scale::lattice::grow::Nodes;
use crate::scale::lattice::look::Look;
use crate::scale::lattice::smooth::Smooth;

/// Finer lines are looked for only where they would stand at least this far apart, in pixels.
const RESOLVED_PX: f64 = 3.0;
/// A finer line is at least this part as deep as the lines found.
const FINER: f64 = 0.1;
/// A heavier line is deeper by this factor, and the difference clear by this many standard deviations.
const HEAVIER: f64 = 1.2;
const CLEAR: f64 = 6.0;
/// Cells averaged.
const CELLS: usize = 600;

/// The print of squared paper.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub(crate) struct Print {
    /// Each cell found is divided by finer lines into so many in each direction.
    pub(crate) finer: Option<i32>,
    /// Every so many lines one is heavier.
    pub(crate) heavier_every: Option<i32>,
}

impl Print {
    /// Looks between and along the lines.
    pub(crate) fn of(plane: &LightPlane, crossings: &[ScaleCrossing], nodes: &Nodes, look: Look) -> Self {
        let pairs: Vec<_> = crossings.iter().map(|c| (c.number.map(f64::from), c.px)).collect();
        let Some(whole) = Smooth::of(&pairs) else { return Self::default() };
        let sign = if look == Look::Light { -1.0 } else { 1.0 };
        let every = crossings.len().div_ceil(CELLS);
        let cells: Vec<[f64; 2]> = pairs.iter().step_by(every).map(|p| p.0).collect();
        let light = |n: [f64; 2]| {
            let p = whole.pixel(n)?;
            let inside = p[0] > 1.0
                && p[1] > 1.0
                && p[0] < plane.width as f64 - 2.0
                && p[1] < plane.height as f64 - 2.0;
            inside.then(|| sign * f64::from(plane.sample(p[0], p[1])))
        };
        let step = whole
            .place(crossings.get(crossings.len() / 2).map_or([0, 0], |c| c.number))
            .map_or(0.0, |p| p[1][0].hypot(p[1][1]).min(p[2][0].hypot(p[2][1])));
        let families = [0, 1].map(|family| finer(&cells, &light, family, step));
        let [a, b] = families;
        let finer = a.filter(|a| Some(*a) == b);
        let places: Vec<[f64; 2]> = nodes.keys().map(|n| n.map(f64::from)).collect();
        let heavier_every = match [0, 1].map(|family| heavier(&places, &light, family)) {
            // every fifth heavier and every tenth heavier still: one family may show the one, one the other
            [Some(a), Some(b)] if a % b == 0 || b % a == 0 => Some(a.min(b)),
            _ => None,
        };
        Self { finer, heavier_every }
    }
}

/// Mean light along one family's cells at parts of a step; index 0 is the line itself.
fn profile(
    cells: &[[f64; 2]],
    light: &dyn Fn([f64; 2]) -> Option<f64>,
    family: usize,
    parts: usize,
) -> Vec<f64> {
    (0..parts)
        .map(|k| {
            let t = k as f64 / parts as f64;
            let (mut sum, mut n) = (0.0, 0.0);
            for cell in cells {
                for across in [0.35, 0.45, 0.55, 0.65] {
                    let mut at = *cell;
                    at[family] += t;
                    at[1 - family] += across;
                    if let Some(v) = light(at) {
                        (sum, n) = (sum + v, n + 1.0);
                    }
                }
            }
            sum / f64::max(n, 1.0)
        })
        .collect()
}

/// Number of finer cells in one, the largest number for which every finer line shows.
fn finer(
    cells: &[[f64; 2]],
    light: &dyn Fn([f64; 2]) -> Option<f64>,
    family: usize,
    step_px: f64,
) -> Option<i32> {
    [10, 5, 4, 2].into_iter().filter(|n| step_px / f64::from(*n) >= RESOLVED_PX).find(|n| {
        // two samples a finer cell: on the line expected, and halfway
        let line = profile(cells, light, family, 2 * *n as usize);
        let value = |k: usize| line.get(k % line.len()).copied().unwrap_or(0.0);
        let depth = |k: usize| 0.5 * (value(k + 1) + value(k + line.len() - 1)) - value(k);
        let main = depth(0);
        main > 0.0 && (1..*n as usize).all(|m| depth(2 * m) > FINER * main)
    })
}

/// Period of heavier lines of one family.
fn heavier(places: &[[f64; 2]], light: &dyn Fn([f64; 2]) -> Option<f64>, family: usize) -> Option<i32> {
    let mut depths: std::collections::BTreeMap<i32, (f64, f64)> = std::collections::BTreeMap::new();
    let every = places.len().div_ceil(20 * CELLS).max(1);
    for n in places.iter().step_by(every) {
        let value = |t: f64| {
            let mut at = *n;
            at[family] += t;
            at[1 - family] += 0.5;
            light(at)
        };
        if let (Some(line), Some(before), Some(after)) = (value(0.0), value(-0.5), value(0.5)) {
            let sum = depths.entry(n[family] as i32).or_insert((0.0, 0.0));
            *sum = (sum.0 + 0.5 * (before + after) - line, sum.1 + 1.0);
        }
    }
    let lines: Vec<(i32, f64)> = depths.iter().map(|(n, s)| (*n, s.0 / s.1)).collect();
    let best = [10, 5, 4, 2].into_iter().filter_map(|n| Some((contrast(&lines, n)?, n)));
    best.max_by(|p, q| p.0.total_cmp(&q.0)).map(|p| p.1)
}

/// How clearly every n-th line is heavier, in standard deviations of the lighter ones; none if it is not.
fn contrast(lines: &[(i32, f64)], n: i32) -> Option<f64> {
    let by_phase = (0..n).filter_map(|phase| {
        let (heavy, light): (Vec<_>, Vec<_>) = lines.iter().partition(|l| (l.0 - phase).rem_euclid(n) == 0);
        if heavy.len() < 2 || light.len() < 3 {
            return None;
        }
        let mean = |v: &[&(i32, f64)]| v.iter().map(|l| l.1).sum::<f64>() / v.len() as f64;
        let (h, l) = (mean(&heavy), mean(&light));
        let scatter = |v: &[&(i32, f64)], m: f64| v.iter().map(|x| (x.1 - m).powi(2)).sum::<f64>();
        let pooled = (scatter(&heavy, h) + scatter(&light, l)) / (lines.len() as f64 - 2.0).max(1.0);
        let u = (pooled * (1.0 / heavy.len() as f64 + 1.0 / light.len() as f64)).sqrt().max(1e-6);
        let clear = (h - l) / u;
        (h > HEAVIER * l && l > 0.0 && clear > CLEAR).then_some(clear)
    });
    by_phase.max_by(f64::total_cmp)
}
