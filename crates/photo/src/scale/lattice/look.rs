//! How a crossing must look: darker (or lighter) than the four cells around it, or between squares of two colours.

use std::f64::consts::PI;

use crate::picture::LightPlane;
use crate::scale::lattice::period::{PATCH, Period};

/// What crossings look like on this scale.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Look {
    /// Dark lines on a light ground.
    Dark,
    /// Light lines on a dark ground.
    Light,
    /// Squares of two colours.
    Squares,
}

/// Each of the four cells around a crossing shows at least this part of the mean contrast.
const LEAST_SHARE: f64 = 0.35;
/// Bins of a cell when its lines are looked for.
const BINS: usize = 12;

impl Look {
    /// Contrast of a crossing at `at` with steps `a`, `b`; positive if it looks as it must.
    ///
    /// For squares the sign changes from each corner to the next: `odd` is whether this one is an odd step from the first.
    pub(crate) fn contrast(
        self,
        plane: &LightPlane,
        at: [f64; 2],
        a: [f64; 2],
        b: [f64; 2],
        odd: bool,
    ) -> f64 {
        let value = |s: f64, t: f64| {
            let p = [0, 1].map(|k| at[k] + s * a[k] + t * b[k]);
            f64::from(plane.sample(p[0], p[1]))
        };
        let part = if self == Self::Squares { 0.3 } else { 0.5 };
        // around the crossing in order; every second square has the other colour
        let around = [(part, part), (part, -part), (-part, -part), (-part, part)].map(|c| value(c.0, c.1));
        let mean = 0.25 * around.iter().sum::<f64>();
        let line = value(0.0, 0.0);
        let each = match self {
            Self::Squares => {
                let sign = if odd { -1.0 } else { 1.0 };
                let [a, b, c, d] = around.map(|v| sign * (v - mean));
                [a, -b, c, -d]
            }
            Self::Dark => around.map(|v| v - line),
            Self::Light => around.map(|v| line - v),
        };
        // beside the edge of a body that hides the scale two of the four fail
        let contrast = 0.25 * each.iter().sum::<f64>();
        if each.iter().all(|e| *e > LEAST_SHARE * contrast) { contrast } else { 0.0 }
    }

    /// What the lattice of a patch looks like, and the places where crossings are expected, next to its middle first.
    pub(crate) fn seeds(plane: &LightPlane, period: &Period, board: bool) -> (Self, Vec<[f64; 2]>) {
        let middle = period.corner.map(|c| c as f64 + (PATCH as f64 - 1.0) / 2.0);
        let (look, phase) = if board { squares(plane, period) } else { lines(plane, period) };
        let centred = phase.map(|p| p - p.round());
        let mut offsets: Vec<(i32, i32)> = (-2..=2).flat_map(|j| (-2..=2).map(move |i| (i, j))).collect();
        offsets.sort_by_key(|(i, j)| i * i + j * j);
        let place = |(i, j): (i32, i32)| {
            let (s, t) = (centred[0] + f64::from(i), centred[1] + f64::from(j));
            [0, 1].map(|k| middle[k] + s * period.a[k] + t * period.b[k])
        };
        (look, offsets.into_iter().map(place).collect())
    }
}

/// Every pixel of the patch with its place in steps from the patch's middle.
fn each(plane: &LightPlane, period: &Period, mut tell: impl FnMut(f64, f64, f64)) {
    let (a, b) = (period.a, period.b);
    let det = a[0] * b[1] - a[1] * b[0];
    let middle = (PATCH as f64 - 1.0) / 2.0;
    for y in 0..PATCH {
        for x in 0..PATCH {
            let (dx, dy) = (x as f64 - middle, y as f64 - middle);
            let u = (dx * b[1] - dy * b[0]) / det;
            let v = (a[0] * dy - a[1] * dx) / det;
            let light = plane.at((x + period.corner[0]) as isize, (y + period.corner[1]) as isize);
            tell(u, v, f64::from(light));
        }
    }
}

/// Lines: the narrow excursion of the mean over one family is the line, whichever way it goes.
fn lines(plane: &LightPlane, period: &Period) -> (Look, [f64; 2]) {
    let mut sums = [[(0.0_f64, 0.0_f64); BINS]; 2];
    each(plane, period, |u, v, light| {
        for (family, place) in sums.iter_mut().zip([u, v]) {
            let bin = ((place.rem_euclid(1.0) * BINS as f64) as usize).min(BINS - 1);
            if let Some(s) = family.get_mut(bin) {
                *s = (s.0 + light, s.1 + 1.0);
            }
        }
    });
    let means = sums.map(|family| family.map(|s| s.0 / f64::max(s.1, 1.0)));
    let mut skew = 0.0;
    for family in &means {
        let mean = family.iter().sum::<f64>() / BINS as f64;
        let second = family.iter().map(|m| (m - mean).powi(2)).sum::<f64>() / BINS as f64;
        let third = family.iter().map(|m| (m - mean).powi(3)).sum::<f64>() / BINS as f64;
        skew += third / second.max(1e-12).powf(1.5);
    }
    // a blurred lattice is a pair of waves and tells no colour; paper is lighter than ink
    let look = if skew > 0.6 { Look::Light } else { Look::Dark };
    let sign = if look == Look::Dark { 1.0 } else { -1.0 };
    let phase = means.map(|family| {
        let lowest = family.iter().enumerate().min_by(|p, q| (sign * p.1).total_cmp(&(sign * q.1)));
        (lowest.map_or(0, |p| p.0) as f64 + 0.5) / BINS as f64
    });
    (look, phase)
}

/// Squares: the phase of the wave that changes sign from cell to cell, in both directions.
fn squares(plane: &LightPlane, period: &Period) -> (Look, [f64; 2]) {
    let mut sums = [[0.0_f64; 2]; 2];
    let mut mean = (0.0, 0.0);
    each(plane, period, |_, _, light| mean = (mean.0 + light, mean.1 + 1.0));
    let mean = mean.0 / f64::max(mean.1, 1.0);
    each(plane, period, |u, v, light| {
        let (su, cu) = (PI * u).sin_cos();
        let (sv, cv) = (PI * v).sin_cos();
        let light = light - mean;
        sums[0][0] += light * su * sv;
        sums[0][1] += light * su * cv;
        sums[1][0] += light * cu * sv;
        sums[1][1] += light * cu * cv;
    });
    let [[ss, sc], [cs, cc]] = sums;
    let u = if ss.hypot(cs) > sc.hypot(cc) { (-cs).atan2(ss) } else { (-cc).atan2(sc) };
    let v = if ss.hypot(sc) > cs.hypot(cc) { (-sc).atan2(ss) } else { (-cc).atan2(cs) };
    (Look::Squares, [u / PI, v / PI])
}
