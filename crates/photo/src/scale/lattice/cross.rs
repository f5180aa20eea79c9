//! One crossing of lines, or one corner of four squares, to a small part of a pixel.
//!
//! A corner is where edges meet; a line has two edges, and their middle is better read from the line's own profile.

use crate::picture::LightPlane;

/// Where the lines through a window meet.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Meeting {
    pub(crate) at: [f64; 2],
    /// Smaller over larger eigenvalue of the summed squares of the gradient: 0 for one line alone.
    pub(crate) crossness: f64,
}

/// Steps of the iteration; each one divides the distance by about five.
const ROUNDS: usize = 8;

/// Half the window in which lines are read, in steps, and at most in pixels.
const LINE_REACH: f64 = 0.42;
const LINE_REACH_PX: f64 = 26.0;
/// Half the width of the bell that is laid over a line, in steps, and its limits in pixels.
const LINE_WIDTH: f64 = 0.25;
const LINE_WIDTH_PX: [f64; 2] = [3.0, 20.0];

/// The crossing of two lines with steps `a` and `b` from crossing to crossing; `sign` is 1 for dark lines, −1 for light ones.
///
/// Each family's place is where a bell's slope, laid across the line, finds as much ink on either side:
/// `Σ w ink τ (1 − τ²)² = 0` with τ the distance from the line in half widths of the bell. The window has the lattice's own directions, so that the
/// other line lies alike on both sides.
pub(crate) fn crossed_lines(
    plane: &LightPlane,
    start: [f64; 2],
    [a, b]: [[f64; 2]; 2],
    sign: f64,
    [leash, settled]: [f64; 2],
) -> Option<Meeting> {
    let mut at = start;
    let mut crossness = 0.0;
    for _ in 0..ROUNDS {
        let (step, c) = across_lines(plane, at, a, b, sign)?;
        at = [at[0] + step[0], at[1] + step[1]];
        crossness = c;
        if (at[0] - start[0]).hypot(at[1] - start[1]) > leash {
            return None;
        }
        if step[0].hypot(step[1]) < settled {
            break;
        }
    }
    Some(Meeting { at, crossness })
}

/// One step towards the crossing, and the weaker line's strength over the stronger one's.
fn across_lines(
    plane: &LightPlane,
    at: [f64; 2],
    a: [f64; 2],
    b: [f64; 2],
    sign: f64,
) -> Option<([f64; 2], f64)> {
    let det = a[0] * b[1] - a[1] * b[0];
    let lengths = [a[0].hypot(a[1]), b[0].hypot(b[1])];
    let shortest = lengths[0].min(lengths[1]);
    if shortest <= 0.0 || det == 0.0 {
        return None;
    }
    let reach = LINE_REACH.min(LINE_REACH_PX / shortest);
    let half_width = (LINE_WIDTH * shortest).clamp(LINE_WIDTH_PX[0], LINE_WIDTH_PX[1]);
    // distance from the line along a for one step along b, and the other way round
    let high = [det.abs() / lengths[1], det.abs() / lengths[0]];
    let half = [0, 1].map(|k| (reach * (a[k].abs() + b[k].abs())).ceil() as isize);
    let (cx, cy) = (at[0].round() as isize, at[1].round() as isize);
    let (width, height) = (plane.width as isize, plane.height as isize);
    if cx - half[0] < 0 || cy - half[1] < 0 || cx + half[0] >= width || cy + half[1] >= height {
        return None;
    }
    let ground = f64::from(plane.sample(at[0] + 0.5 * (a[0] + b[0]), at[1] + 0.5 * (a[1] + b[1])));
    // for each family: pull, stiffness
    let mut sums = [[0.0_f64; 2]; 2];
    for y in cy - half[1]..=cy + half[1] {
        let from = y * width + cx - half[0];
        let line = plane.values.get(from as usize..(from + 2 * half[0] + 1) as usize)?;
        let dy = y as f64 - at[1];
        for (k, light) in line.iter().enumerate() {
            let dx = (cx - half[0]) as f64 + k as f64 - at[0];
            let place = [(dx * b[1] - dy * b[0]) / det, (a[0] * dy - a[1] * dx) / det];
            let taper = place.map(|p| 1.0 - (p / reach).powi(2));
            if taper.iter().any(|t| *t <= 0.0) {
                continue;
            }
            let ink = sign * (ground - f64::from(*light)) * (taper[0] * taper[1]).powi(2);
            for (sum, (p, h)) in sums.iter_mut().zip(place.iter().zip(high)) {
                let tau = p * h / half_width;
                let left = 1.0 - tau * tau;
                if left > 0.0 {
                    sum[0] += ink * tau * left * left;
                    sum[1] += ink * left * (left - 4.0 * tau * tau);
                }
            }
        }
    }
    let strengths = sums.map(|s| s[1]);
    if strengths.iter().any(|s| *s <= 0.0) {
        return None;
    }
    // places along a and b, in steps
    let move_by = [0, 1].map(|k| (sums[k][0] / sums[k][1]).clamp(-0.4, 0.4) * half_width / high[k]);
    let step = [0, 1].map(|k| move_by[0] * a[k] + move_by[1] * b[k]);
    Some((step, strengths[0].min(strengths[1]) / strengths[0].max(strengths[1])))
}

/// The point whose every line of sight runs along an edge: `Σ w g gᵀ (x − q) = 0` over a round window about q.
///
/// At the middle of crossed lines, and at the corner of four squares, each gradient stands at right angles to the way
/// from there (or has a mirror image on the line's other side). Noise adds nothing to the balance about q.
///
/// Source: Förstner, Gülch, ISPRS Intercommission Conference (1987) 281.
pub(crate) fn meeting(
    plane: &LightPlane,
    start: [f64; 2],
    reach: f64,
    [leash, settled]: [f64; 2],
) -> Option<Meeting> {
    let mut at = start;
    let mut crossness = 0.0;
    for _ in 0..ROUNDS {
        let (next, c) = balance(plane, at, reach)?;
        let moved = (next[0] - at[0]).hypot(next[1] - at[1]);
        (at, crossness) = (next, c);
        if (at[0] - start[0]).hypot(at[1] - start[1]) > leash {
            return None;
        }
        if moved < settled {
            break;
        }
    }
    Some(Meeting { at, crossness })
}

fn balance(plane: &LightPlane, at: [f64; 2], reach: f64) -> Option<([f64; 2], f64)> {
    let r = reach.ceil() as isize + 1;
    let (cx, cy) = (at[0].round() as isize, at[1].round() as isize);
    let (width, height) = (plane.width as isize, plane.height as isize);
    if cx - r < 1 || cy - r < 1 || cx + r >= width - 1 || cy + r >= height - 1 {
        return None;
    }
    let (mut xx, mut xy, mut yy, mut right) = (0.0, 0.0, 0.0, [0.0; 2]);
    let outer = (reach + 0.5).powi(2);
    for y in cy - r..=cy + r {
        let row = |k: isize| {
            let from = ((y + k) * width + cx - r - 1) as usize;
            plane.values.get(from..from + 2 * r as usize + 3)
        };
        let (above, here, below) = (row(-1)?, row(0)?, row(1)?);
        let dy = y as f64 - at[1];
        for (k, ((line, up), down)) in
            here.windows(3).zip(above.iter().skip(1)).zip(below.iter().skip(1)).enumerate()
        {
            let dx = (cx - r) as f64 + k as f64 - at[0];
            let far = (dx * dx + dy * dy) / outer;
            if far >= 1.0 {
                continue;
            }
            let w = (1.0 - far) * (1.0 - far);
            let (gx, gy) = (f64::from(line[2] - line[0]), f64::from(down - up));
            let (a, b, c) = (w * gx * gx, w * gx * gy, w * gy * gy);
            (xx, xy, yy) = (xx + a, xy + b, yy + c);
            right = [right[0] + a * dx + b * dy, right[1] + b * dx + c * dy];
        }
    }
    let (det, trace) = (xx * yy - xy * xy, xx + yy);
    if trace <= 0.0 || det <= 1e-4 * trace * trace {
        return None;
    }
    let step = [(yy * right[0] - xy * right[1]) / det, (xx * right[1] - xy * right[0]) / det];
    let root = (0.25 * trace * trace - det).max(0.0).sqrt();
    let crossness = (0.5 * trace - root) / (0.5 * trace + root);
    Some(([at[0] + step[0], at[1] + step[1]], crossness))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn drawn(value: impl Fn(f64, f64) -> f64) -> LightPlane {
        let values = (0..41 * 41).map(|k| value((k % 41) as f64, (k / 41) as f64) as f32).collect();
        LightPlane { width: 41, height: 41, values }
    }

    #[test]
    fn crossed_lines_and_corners_meet_where_they_do() {
        let (cx, cy) = (20.37, 19.81);
        let line = |d: f64| (-d * d / 2.5).exp();
        let turned = |x: f64, y: f64| (0.95 * (x - cx) + 0.31 * (y - cy), -0.2 * (x - cx) + 0.98 * (y - cy));
        let cross = drawn(|x, y| {
            let (u, v) = turned(x, y);
            0.8 - 0.6 * line(u).max(line(v))
        });
        let found = crossed_lines(&cross, [21.2, 19.1], [[9.8, 2.0], [3.1, -9.5]], 1.0, [3.0, 1e-3])
            .expect("a crossing");
        let off = (found.at[0] - cx).hypot(found.at[1] - cy);
        assert!(off < 0.02 && found.crossness > 0.8, "{off} {found:?}");
        let corner = drawn(|x, y| {
            let (u, v) = turned(x, y);
            0.5 + 0.3 * (u / 1.2).tanh() * (v / 1.2).tanh()
        });
        let found = meeting(&corner, [21.5, 19.0], 6.0, [3.0, 1e-3]).expect("a crossing");
        let off = (found.at[0] - cx).hypot(found.at[1] - cy);
        assert!(off < 0.02 && found.crossness > 0.3, "{off} {found:?}");
    }
}
