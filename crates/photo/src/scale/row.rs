//! One row of marks measured: from a voted band to numbered marks with their places in pixels.

use crate::picture::LightPlane;
use crate::ring_curve::median;
use crate::scale::band::Band;
use crate::scale::count::count;
use crate::scale::rhythm::{Rhythm, find_rhythm};
use crate::scale::root::{Root, find_root, polynomial};
use crate::scale::strip::Strip;
use crate::scale::tick::{Tick, find_ticks};
use crate::scale::{FEWEST_MARKS, ScaleMark, ScaleRow};

/// Half the height of the strip in which marks are followed, in pixels of the searched picture.
const HALF_HEIGHT_PX: f64 = 100.0;
/// Marks of a row that is the ruler beyond doubt.
const SURE_MARKS: usize = 25;
/// Gain of a rhythm, a mark, above which it is taken for no play of chance. A guess: with it four light-on-dark rulers of
/// independent drawings were read rightly, two of which were not before; the gains themselves were not tabulated.
const SURE_MARGIN: f64 = 0.6;
/// Marks that miss even steps by more than this (pixels of the strip; its own marks miss them by a few tenths, more where the
/// lens distorts) may be no marks.
const MOST_UNEVEN_PX: f64 = 1.2;
/// Rows looked for on one strip.
const TRIES: usize = 4;
/// Lines longer than this many spacings are no shortest marks (2 to 6 mm on millimetres, 2 to 5 mm on half millimetres and
/// sixty-fourths of an inch: common practice, no source) but windings of coils or lines of a background.
const LONGEST_MARK: f64 = 14.0;
/// Marks further apart than this (pixels) are not blurred together.
const BLURRED_PX: f64 = 14.0;
/// Sine of the angle from which a second ruler tells of the plane's tilt.
const ACROSS: f64 = 0.3;
/// Smallest standard uncertainty of a mark's point in pixels: print, compression, pixel response (from samples and
/// drawn rulers: means over many marks scatter no less).
const LEAST_U_PX: f64 = 0.03;

/// A row with numbered marks, before its spacing is known.
#[derive(Debug, Clone)]
pub(crate) struct Row {
    pub(crate) marks: Vec<ScaleMark>,
    pub(crate) rhythm: Rhythm,
    pub(crate) broken: usize,
    /// Typical length of the shortest marks, in spacings.
    pub(crate) shortest: f64,
    /// Root mean square distance of the marks from even steps, in pixels of the strip.
    uneven_px: f64,
    /// How much better the rhythm describes the marks' lengths than the next best, a mark.
    margin: f64,
    foot_scatter: f64,
    dark: bool,
}

impl Row {
    /// Long and rhythmic: surely a ruler.
    pub(crate) fn is_sure(&self) -> bool {
        self.marks.len() >= SURE_MARKS && self.rhythm != Rhythm::None && self.margin > SURE_MARGIN
    }

    /// Whether another row can be that of a second ruler at an angle.
    pub(crate) fn is_across(&self, other: &Self) -> bool {
        let (Some((_, a)), Some((_, b))) = (self.axis(), other.axis()) else { return false };
        (a[0] * b[1] - a[1] * b[0]).abs() > ACROSS && other.is_sure() && self.dark == other.dark
    }

    /// Whether the marks stand in even steps: strokes of numerals, which are centred on theirs, do not.
    fn is_even(&self) -> bool {
        self.uneven_px < MOST_UNEVEN_PX
    }

    /// Rank among rows: a rhythm counts like as many marks again, uneven steps as a third of them.
    pub(crate) fn merit(&self) -> f64 {
        let even = if self.is_even() { 1.0 } else { 0.3 };
        even * self.marks.len() as f64
            * if self.rhythm == Rhythm::None { 1.0 } else { 1.2 + self.margin.min(1.8) }
    }

    fn axis(&self) -> Option<([f64; 2], [f64; 2])> {
        let (a, b) = (self.marks.first()?.ends_px[0], self.marks.last()?.ends_px[0]);
        let length = (b[0] - a[0]).hypot(b[1] - a[1]).max(1e-9);
        Some((a, [(b[0] - a[0]) / length, (b[1] - a[1]) / length]))
    }

    /// Whether both rows are the same marks found twice.
    pub(crate) fn same_as(&self, other: &Self) -> bool {
        let pitch = self.finished(None).pitch_px();
        let near = |m: &ScaleMark| {
            self.marks.iter().any(|k| {
                (k.ends_px[0][0] - m.ends_px[0][0]).hypot(k.ends_px[0][1] - m.ends_px[0][1]) < 0.5 * pitch
            })
        };
        2 * other.marks.iter().filter(|m| near(m)).count() > other.marks.len()
    }

    /// Whether another row can be the other edge of the same ruler: same direction, beside it.
    pub(crate) fn belongs(&self, other: &Self) -> bool {
        let (Some((p, a)), Some((q, b))) = (self.axis(), other.axis()) else { return false };
        let sine = (a[0] * b[1] - a[1] * b[0]).abs();
        let apart = ((q[0] - p[0]) * a[1] - (q[1] - p[1]) * a[0]).abs();
        let pitch = self.finished(None).pitch_px();
        let span = |r: &Self, p: [f64; 2]| {
            r.marks
                .iter()
                .map(|m| (m.ends_px[0][0] - p[0]) * a[0] + (m.ends_px[0][1] - p[1]) * a[1])
                .fold((f64::MAX, f64::MIN), |m, x| (m.0.min(x), m.1.max(x)))
        };
        let (own, its) = (span(self, p), span(other, p));
        let overlap = own.1.min(its.1) - own.0.max(its.0);
        sine < 0.12
            && apart < 80.0 * pitch
            && overlap > 0.3 * (its.1 - its.0)
            && self.dark == other.dark
            && other.marks.len() >= 12
    }

    /// Pixels from mark to mark in the part that lies beside the other row.
    pub(crate) fn pitch_near(&self, other: &Self) -> f64 {
        let Some((p, a)) = self.axis() else { return 1.0 };
        let at = |m: &ScaleMark| (m.ends_px[0][0] - p[0]) * a[0] + (m.ends_px[0][1] - p[1]) * a[1];
        let range =
            |r: &Self| r.marks.iter().map(at).fold((f64::MAX, f64::MIN), |m, x| (m.0.min(x), m.1.max(x)));
        let (own, its) = (range(self), range(other));
        let (from, to) = (own.0.max(its.0) - 1.0, own.1.min(its.1) + 1.0);
        let inside: Vec<&ScaleMark> = self.marks.iter().filter(|m| (from..=to).contains(&at(m))).collect();
        let (Some(first), Some(last)) = (inside.first(), inside.last()) else { return 1.0 };
        (at(last) - at(first)).abs() / f64::from((last.number - first.number).abs().max(1))
    }

    /// Least and largest x and y of its marks.
    pub(crate) fn bounds(&self) -> ([f64; 2], [f64; 2]) {
        let points = || self.marks.iter().flat_map(|m| m.ends_px);
        let least = |k: usize| points().map(|p| p[k]).fold(f64::INFINITY, f64::min);
        let most = |k: usize| points().map(|p| p[k]).fold(f64::NEG_INFINITY, f64::max);
        ([least(0), least(1)], [most(0), most(1)])
    }

    /// The same row in other pixels, `size` of them for one of these.
    pub(crate) fn placed(&self, at: impl Fn([f64; 2]) -> [f64; 2], size: f64) -> Self {
        let placed = |m: &ScaleMark| ScaleMark {
            points_px: m.points_px.map(&at),
            ends_px: m.ends_px.map(&at),
            u_px: (m.u_px * size).max(LEAST_U_PX),
            ..m.clone()
        };
        Self {
            marks: self.marks.iter().map(placed).collect(),
            foot_scatter: self.foot_scatter * size,
            ..self.clone()
        }
    }

    /// The row as handed out.
    pub(crate) fn finished(&self, spacing_mm: Option<f64>) -> ScaleRow {
        ScaleRow {
            marks: self.marks.clone(),
            spacing_mm,
            rhythm: self.rhythm,
            foot_scatter_px: self.foot_scatter,
            dark: self.dark,
        }
    }
}

/// Measures the marks of a band, dark ones and light ones, and keeps the better row.
pub(crate) fn measure(
    plane: &LightPlane,
    band: &Band,
    factor: usize,
    allowed: &dyn Fn([f64; 2]) -> bool,
) -> Option<Row> {
    let strip = Strip::new(plane, band, factor, HALF_HEIGHT_PX);
    let pitch = strip.rough_pitch()?;
    let fine = with_pitch(&strip, pitch, allowed);
    if fine.as_ref().is_some_and(|row| row.is_sure() || row.rhythm != Rhythm::None && pitch > BLURRED_PX) {
        return fine;
    }
    // marks blurred together: the long ones stand out alone
    let long = strip.long_pitch(pitch).and_then(|pitch| with_pitch(&strip, pitch, allowed));
    let is_lost = fine.as_ref().is_none_or(|fine| fine.rhythm == Rhythm::None);
    match long.filter(|long| long.rhythm != Rhythm::None || fine.is_none()) {
        Some(long) if is_lost && long.marks.len() >= FEWEST_MARKS => Some(long),
        _ => fine,
    }
}

fn with_pitch(strip: &Strip, pitch: f64, allowed: &dyn Fn([f64; 2]) -> bool) -> Option<Row> {
    let dark = row(strip, pitch, true, allowed);
    if dark.as_ref().is_some_and(Row::is_sure) {
        return dark;
    }
    let light = row(strip, pitch, false, allowed);
    match (dark, light) {
        (Some(a), Some(b)) => Some(if b.merit() > a.merit() { b } else { a }),
        (a, b) => a.or(b),
    }
}

/// The best row on a strip: where strokes of numerals stand in a row, too, their places are uneven, and what is left without
/// them is looked at again.
fn row(strip: &Strip, pitch: f64, dark: bool, allowed: &dyn Fn([f64; 2]) -> bool) -> Option<Row> {
    let mut ticks = find_ticks(strip, pitch, if dark { 1.0 } else { -1.0 });
    ticks.retain(|t| allowed(strip.point(t.at, t.middle)));
    ticks.sort_by(|a, b| a.at.total_cmp(&b.at));
    let mut best: Option<Row> = None;
    for _ in 0..TRIES {
        let Some(root) = find_root(&ticks, pitch) else { break };
        let found = row_on(strip, &ticks, &root, dark);
        let is_even = found.as_ref().is_some_and(Row::is_even);
        if let Some(found) = found.filter(|found| best.as_ref().is_none_or(|b| found.merit() > b.merit())) {
            best = Some(found);
        }
        if is_even {
            break;
        }
        let taken = root.members;
        let mut number = 0..;
        ticks.retain(|_| number.next().is_none_or(|k| !taken.contains(&k)));
    }
    best
}

/// The row of the marks that stand on one foot line.
fn row_on(strip: &Strip, ticks: &[Tick], root: &Root, dark: bool) -> Option<Row> {
    let mut members: Vec<&Tick> = root.members.iter().filter_map(|k| ticks.get(*k)).collect();
    let depth = typical_depth(&members);
    let inward = if root.side == 0 { 0.5 } else { -0.5 };
    let place = |t: &Tick| t.s(root.v(t.at) + inward * depth);
    members.sort_by(|a, b| place(a).total_cmp(&place(b)));
    let places: Vec<f64> = members.iter().map(|t| place(t)).collect();
    let counted = count(&places)?;
    let numbered: Vec<(i32, &Tick)> =
        counted.numbers.iter().zip(&members).filter_map(|(n, t)| n.map(|n| (n, *t))).collect();
    let lengths = lengths(&numbered, root);
    let found = find_rhythm(&lengths);
    let shortest = typical_length(&lengths, |n| found.rhythm.rank(n - found.phase) == 0);
    if shortest > LONGEST_MARK {
        return None;
    }
    let u_row = typical_scatter(&numbered);
    let marks =
        numbered.iter().map(|(n, t)| mark(strip, t, root, n - found.phase, found.rhythm, u_row)).collect();
    let margin = found.margin / lengths.len().max(1) as f64;
    Some(Row {
        marks,
        rhythm: found.rhythm,
        broken: counted.broken,
        shortest,
        uneven_px: unevenness(&numbered, &place),
        margin,
        foot_scatter: root.scatter,
        dark,
    })
}

/// Root mean square distance of the marks from even steps, a slow change of the step allowed.
fn unevenness(numbered: &[(i32, &Tick)], place: &dyn Fn(&Tick) -> f64) -> f64 {
    let (Some(first), Some(last)) = (numbered.first(), numbered.last()) else { return f64::INFINITY };
    let half = 0.5 * f64::from((last.0 - first.0).max(1));
    let x = |n: i32| f64::from(n - first.0) / half - 1.0;
    let degree = if numbered.len() >= 12 { 3 } else { 2 };
    let Some((c, _)) = polynomial(numbered.iter().map(|(n, t)| (x(*n), place(t), 1.0)), degree) else {
        return f64::INFINITY;
    };
    let value = |n: i32| c.iter().rev().fold(0.0, |sum, k| sum * x(n) + k);
    let squares: f64 = numbered.iter().map(|(n, t)| (place(t) - value(*n)).powi(2)).sum();
    (squares / (numbered.len() as f64 - c.len() as f64).max(1.0)).sqrt()
}

/// Median length of the marks of some numbers, in spacings.
fn typical_length(lengths: &[(i32, f64)], counts: impl Fn(i32) -> bool) -> f64 {
    median(lengths.iter().filter(|(n, _)| counts(*n)).map(|(_, length)| *length).collect())
}

/// Median length of the marks.
fn typical_depth(members: &[&Tick]) -> f64 {
    median(members.iter().map(|t| t.ends[1] - t.ends[0]).collect())
}

/// Number and length of each mark, as a part of the local spacing so that perspective does not count.
fn lengths(numbered: &[(i32, &Tick)], root: &Root) -> Vec<(i32, f64)> {
    let step = |k: usize| {
        let near = |j: usize| numbered.get(j.min(numbered.len() - 1)).map_or((0, 0.0), |m| (m.0, m.1.at));
        let (a, b) = (near(k.saturating_sub(8)), near(k + 8));
        (b.1 - a.1) / f64::from((b.0 - a.0).max(1))
    };
    let length = |t: &Tick| {
        let foot = root.v(t.at);
        if root.side == 0 { t.ends[1] - foot } else { foot - t.ends[0] }
    };
    numbered.iter().enumerate().map(|(k, (n, t))| (*n, length(t) / step(k).max(1e-9))).collect()
}

/// Root mean square scatter of a mark's rows: that of one mark alone is itself uncertain.
fn typical_scatter(numbered: &[(i32, &Tick)]) -> f64 {
    let mut all: Vec<f64> = numbered.iter().map(|(_, t)| t.scatter).collect();
    all.sort_by(f64::total_cmp);
    all.get(all.len() / 2).copied().unwrap_or(0.1)
}

fn mark(strip: &Strip, t: &Tick, root: &Root, number: i32, rhythm: Rhythm, u_row: f64) -> ScaleMark {
    let away = t.spread / 3.0_f64.sqrt();
    let point = |v: f64| strip.point(t.s(v), v);
    let ends = if root.side == 0 { t.ends } else { [t.ends[1], t.ends[0]] };
    ScaleMark {
        number,
        points_px: [point(t.middle - away), point(t.middle + away)],
        u_px: (t.scatter.max(u_row) * (2.0 / t.independent).sqrt()).max(LEAST_U_PX),
        ends_px: ends.map(point),
        rank: rhythm.rank(number),
    }
}
