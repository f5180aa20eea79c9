//! Single marks as short lines: dark (or light) in every row of a strip, linked from row to row.

use crate::scale::strip::Strip;

/// A mark's contrast may fall to this part of the typical one before it is lost to the search.
const FAINTEST: f32 = 0.22;
/// Rows that a mark may miss (dust, a reflection) before it ends.
const MISSED_ROWS: usize = 2;

/// One mark of a strip: `s = at + slope · (v − middle)`.
#[derive(Debug, Clone)]
pub(crate) struct Tick {
    pub(crate) at: f64,
    pub(crate) slope: f64,
    pub(crate) middle: f64,
    /// Both ends across the strip, where the contrast falls to half.
    pub(crate) ends: [f64; 2],
    /// Standard deviation of one row's position, in pixels.
    pub(crate) scatter: f64,
    /// Rows that independent noise would give the same information as.
    pub(crate) independent: f64,
    /// Half the rows used, in pixels across: positions at `middle ± spread/√3` are uncorrelated.
    pub(crate) spread: f64,
}

impl Tick {
    /// Position along the strip at `v`.
    pub(crate) fn s(&self, v: f64) -> f64 {
        self.at + self.slope * (v - self.middle)
    }
}

/// Finds the marks; `sign` is 1 for dark marks, −1 for light ones.
pub(crate) fn find_ticks(strip: &Strip, pitch: f64, sign: f32) -> Vec<Tick> {
    let smooth = Smooth::new(strip, (0.1 * pitch).clamp(0.7, 5.0), sign);
    let rows: Vec<Vec<Dip>> = (0..strip.rows).map(|j| dips(smooth.row(j))).collect();
    let Some(threshold) = threshold(&rows, pitch, strip.columns) else { return Vec::new() };
    let chains = link(&rows, threshold, pitch, strip);
    chains.iter().filter_map(|c| tick(c, strip, &smooth, pitch)).collect()
}

/// A dip of one row: place in columns and depth below the lower of both shoulders.
#[derive(Debug, Clone, Copy)]
struct Dip {
    x: f32,
    depth: f32,
}

/// The strip smoothed over three rows and, along the row, by repeated [1 2 1]/4.
struct Smooth {
    values: Vec<f32>,
    columns: usize,
}

impl Smooth {
    fn new(strip: &Strip, sigma: f64, sign: f32) -> Self {
        let columns = strip.columns;
        let passes = (2.0 * sigma * sigma).round().max(1.0) as usize;
        let mut values = Vec::with_capacity(strip.values.len());
        let mut spare = vec![0.0_f32; columns];
        for j in 0..strip.rows {
            let (above, here, below) =
                (strip.row(j.saturating_sub(1)), strip.row(j), strip.row((j + 1).min(strip.rows - 1)));
            let mut line: Vec<f32> =
                above.iter().zip(here).zip(below).map(|((a, b), c)| sign * (a + b + c) / 3.0).collect();
            for _ in 0..passes {
                binomial(&line, &mut spare);
                std::mem::swap(&mut line, &mut spare);
            }
            values.extend_from_slice(&line);
        }
        Self { values, columns }
    }

    fn row(&self, j: usize) -> &[f32] {
        self.values.get(j * self.columns..(j + 1) * self.columns).unwrap_or(&[])
    }
}

fn binomial(from: &[f32], to: &mut [f32]) {
    let n = from.len();
    if n < 3 {
        to.copy_from_slice(from);
        return;
    }
    for (out, w) in to[1..n - 1].iter_mut().zip(from.windows(3)) {
        *out = 0.25 * (w[0] + 2.0 * w[1] + w[2]);
    }
    to[0] = from[0];
    to[n - 1] = from[n - 1];
}

/// All local minima of a row with the height of the lower neighbouring maximum above them.
fn dips(row: &[f32]) -> Vec<Dip> {
    let mut found = Vec::new();
    let mut peak = row.first().copied().unwrap_or(0.0);
    let mut open: Option<(f32, f32, f32)> = None;
    for (i, w) in row.windows(3).enumerate() {
        if w[1] < w[0] && w[1] <= w[2] {
            let bend = w[0] - 2.0 * w[1] + w[2];
            let shift = if bend > 0.0 { 0.5 * (w[0] - w[2]) / bend } else { 0.0 };
            open = Some(((i + 1) as f32 + shift, w[1], peak));
        } else if w[1] >= w[0] && w[1] > w[2] {
            if let Some((x, low, before)) = open.take() {
                found.push(Dip { x, depth: (before - low).min(w[1] - low) });
            }
            peak = w[1];
        }
    }
    found
}

/// Depth below which a dip is no mark: a part of the depth typical for the rows that hold most marks.
fn threshold(rows: &[Vec<Dip>], pitch: f64, columns: usize) -> Option<f32> {
    let expected = (columns as f64 / pitch).max(4.0) as usize;
    let mut typical: Vec<f32> = rows
        .iter()
        .skip(rows.len() / 4)
        .take(rows.len() / 2)
        .filter_map(|row| {
            let mut depths: Vec<f32> = row.iter().map(|d| d.depth).collect();
            depths.sort_by(|a, b| b.total_cmp(a));
            // half of the marks may be hidden
            depths.get(expected / 3).copied()
        })
        .collect();
    typical.sort_by(|a, b| b.total_cmp(a));
    let best = *typical.get(typical.len() / 6)?;
    (best > 0.004).then_some(best * FAINTEST)
}

/// Dips of one mark, row by row: (row, column).
struct Chain {
    dips: Vec<(usize, f64)>,
    slope: f64,
}

impl Chain {
    fn expected(&self, row: usize) -> Option<f64> {
        self.dips.last().map(|(r, x)| x + self.slope * (row - r) as f64)
    }

    fn push(&mut self, row: usize, x: f64) {
        self.dips.push((row, x));
        let n = self.dips.len();
        if n >= 5
            && let (Some(a), Some(b)) = (self.dips.get(n.saturating_sub(12)), self.dips.last())
        {
            self.slope = (b.1 - a.1) / (b.0 - a.0).max(1) as f64;
        }
    }
}

fn link(rows: &[Vec<Dip>], threshold: f32, pitch: f64, strip: &Strip) -> Vec<Chain> {
    let tolerance = (0.12 * pitch).clamp(0.6, 1.6);
    let mut open: Vec<Chain> = Vec::new();
    let mut done = Vec::new();
    for (j, row) in rows.iter().enumerate() {
        let v = strip.row_v(j);
        let mut free: Vec<f64> = row
            .iter()
            .filter(|d| d.depth >= threshold && strip.inside(strip.from + f64::from(d.x), v, 2.0))
            .map(|d| f64::from(d.x))
            .collect();
        open.sort_by(|a, b| a.expected(j).unwrap_or(0.0).total_cmp(&b.expected(j).unwrap_or(0.0)));
        for chain in &mut open {
            let Some(x) = chain.expected(j) else { continue };
            let near = free.partition_point(|f| *f < x);
            let candidates = [near.wrapping_sub(1), near];
            let best = candidates
                .iter()
                .filter_map(|k| free.get(*k).map(|f| (*k, (f - x).abs())))
                .min_by(|a, b| a.1.total_cmp(&b.1));
            if let Some((k, _)) = best.filter(|b| b.1 <= tolerance) {
                chain.push(j, free.remove(k));
            }
        }
        let (ended, going): (Vec<_>, Vec<_>) =
            open.into_iter().partition(|c| c.dips.last().is_none_or(|d| j - d.0 > MISSED_ROWS));
        done.extend(ended);
        open = going;
        open.extend(free.into_iter().map(|x| Chain { dips: vec![(j, x)], slope: 0.0 }));
    }
    done.extend(open);
    done
}

fn tick(chain: &Chain, strip: &Strip, smooth: &Smooth, pitch: f64) -> Option<Tick> {
    let n = chain.dips.len();
    if n < 5 {
        return None;
    }
    // the ends of a mark are rounded by blur and pull on neighbours' tails: leave a tenth out at each
    let trim = if n >= 10 { (n / 10).max(1) } else { 0 };
    let kept = chain.dips.get(trim..n - trim)?;
    let points: Vec<(f64, f64)> = kept.iter().map(|(j, x)| (strip.row_v(*j), strip.from + x)).collect();
    let (middle, at, slope, scatter) = line(&points)?;
    let (first, last) = (points.first()?.0, points.last()?.0);
    let mut tick = Tick {
        at,
        slope,
        middle,
        ends: [first, last],
        scatter: scatter.max(0.03),
        // rows are smoothed over three
        independent: (points.len() as f64 / 3.0).max(1.0),
        spread: ((last - first) / 2.0).max(strip.step),
    };
    tick.ends = ends(
        &tick,
        strip,
        smooth,
        pitch,
        (strip.row_v(chain.dips.first()?.0), strip.row_v(chain.dips.last()?.0)),
    )?;
    Some(tick)
}

/// Centre, value there, slope and standard deviation of a straight line through (v, s).
fn line(points: &[(f64, f64)]) -> Option<(f64, f64, f64, f64)> {
    let n = points.len() as f64;
    let (v, s) = points.iter().fold((0.0, 0.0), |m, p| (m.0 + p.0 / n, m.1 + p.1 / n));
    let vv: f64 = points.iter().map(|p| (p.0 - v).powi(2)).sum();
    let vs: f64 = points.iter().map(|p| (p.0 - v) * (p.1 - s)).sum();
    if vv <= 0.0 {
        return None;
    }
    let slope = vs / vv;
    let left: f64 = points.iter().map(|p| (p.1 - s - slope * (p.0 - v)).powi(2)).sum();
    Some((v, s, slope, (left / (n - 2.0).max(1.0)).sqrt()))
}

/// Both ends of a mark, where its contrast against the gaps beside it falls to half.
fn ends(tick: &Tick, strip: &Strip, smooth: &Smooth, pitch: f64, found: (f64, f64)) -> Option<[f64; 2]> {
    let sample = |s: f64, j: usize| {
        let x = (s - strip.from).clamp(0.0, strip.columns as f64 - 1.0);
        let (i, f) = (x as usize, (x - x.floor()) as f32);
        let row = smooth.row(j);
        let a = row.get(i).copied().unwrap_or(0.0);
        a * (1.0 - f) + row.get(i + 1).copied().unwrap_or(a) * f
    };
    let contrast = |j: usize| {
        let s = tick.s(strip.row_v(j));
        0.5 * (sample(s - 0.5 * pitch, j) + sample(s + 0.5 * pitch, j)) - sample(s, j)
    };
    let row_of = |v: f64| ((v - strip.top) / strip.step).round().clamp(0.0, strip.rows as f64 - 1.0) as usize;
    let (first, last) = (row_of(found.0), row_of(found.1));
    let mut inner: Vec<f32> = (first..=last).map(contrast).collect();
    let half = inner.len() / 2;
    let level = 0.5 * *inner.select_nth_unstable_by(half, f32::total_cmp).1;
    let middle = (first + last) / 2;
    let up = crossing((0..=middle).rev().map(|j| (j, contrast(j))), level, first);
    let down = crossing((middle..strip.rows).map(|j| (j, contrast(j))), level, last);
    let v = |j: f64| strip.top + strip.step * j;
    (level > 0.0).then(|| [v(up), v(down)])
}

/// Row, between rows, where the contrast first falls below `level`; the chain's own end if it never does.
fn crossing(rows: impl Iterator<Item = (usize, f32)>, level: f32, otherwise: usize) -> f64 {
    let mut before: Option<(usize, f32)> = None;
    for (j, c) in rows {
        if c < level {
            let Some((k, high)) = before else { return otherwise as f64 };
            let part = f64::from((high - level) / (high - c).max(1e-9));
            return k as f64 + (j as f64 - k as f64) * part;
        }
        before = Some((j, c));
    }
    otherwise as f64
}
