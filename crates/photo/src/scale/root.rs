//! The common foot of the marks: of the two ends of each mark one lies on a shared line.

use crate::scale::tick::Tick;

/// The marks' foot line, `v = line(s)`, and the side on which it lies.
#[derive(Debug, Clone)]
pub(crate) struct Root {
    /// 0 if the marks start there with the smaller `v`, 1 with the larger.
    pub(crate) side: usize,
    /// Intercept, slope and bow over `s / 1000`.
    pub(crate) line: [f64; 3],
    /// Indices of the marks that stand on the line.
    pub(crate) members: Vec<usize>,
    /// Standard deviation of the members' feet, in pixels across.
    pub(crate) scatter: f64,
}

impl Root {
    /// `v` of the foot line at `s`.
    pub(crate) fn v(&self, s: f64) -> f64 {
        let x = s / 1000.0;
        self.line[0] + x * (self.line[1] + x * self.line[2])
    }
}

/// Slopes tried, in pixels across for a thousand along: the voted band is at most 2° off.
const STEEPEST: i32 = 40;

/// The line on which most marks stand; none if fewer than five do.
pub(crate) fn find_root(ticks: &[Tick], pitch: f64) -> Option<Root> {
    let tolerance = (0.12 * pitch).clamp(1.2, 4.0);
    let sides = [0, 1].map(|side| root_on(ticks, side, tolerance));
    let [low, high] = sides;
    match (low, high) {
        (Some(a), Some(b)) => Some(if b.members.len() > a.members.len() { b } else { a }),
        (a, b) => a.or(b),
    }
}

fn end(t: &Tick, side: usize) -> f64 {
    if side == 0 { t.ends[0] } else { t.ends[1] }
}

fn root_on(ticks: &[Tick], side: usize, tolerance: f64) -> Option<Root> {
    let (offset, slope) = most_voted(ticks, side, tolerance)?;
    let mut root = Root { side, line: [offset, slope, 0.0], members: Vec::new(), scatter: 0.0 };
    for bow in [false, true, true] {
        root.members = (0..ticks.len())
            .filter(|k| ticks.get(*k).is_some_and(|t| (end(t, side) - root.v(t.at)).abs() < 1.5 * tolerance))
            .collect();
        let feet: Vec<(f64, f64)> = root
            .members
            .iter()
            .filter_map(|k| ticks.get(*k).map(|t| (t.at / 1000.0, end(t, side))))
            .collect();
        if feet.len() < 5 {
            return None;
        }
        root.line = curve(&feet, bow && feet.len() >= 20)?;
        let left: f64 = feet.iter().map(|f| (f.1 - root.v(f.0 * 1000.0)).powi(2)).sum();
        root.scatter = (left / (feet.len() as f64 - 2.0)).sqrt();
    }
    Some(root)
}

/// Intercept and slope (a thousand pixels) with most ends within the tolerance.
fn most_voted(ticks: &[Tick], side: usize, tolerance: f64) -> Option<(f64, f64)> {
    let mut best: Option<(usize, f64, f64)> = None;
    let mut shifted = Vec::with_capacity(ticks.len());
    for step in -STEEPEST..=STEEPEST {
        let slope = f64::from(step);
        shifted.clear();
        shifted.extend(ticks.iter().map(|t| end(t, side) - slope * t.at / 1000.0));
        shifted.sort_by(f64::total_cmp);
        for (k, low) in shifted.iter().enumerate() {
            let count = shifted.partition_point(|v| *v <= low + 2.0 * tolerance) - k;
            if best.is_none_or(|b| count > b.0) {
                best = Some((count, low + tolerance, slope));
            }
        }
    }
    best.map(|b| (b.1, b.2))
}

/// Least-squares line, or parabola, through (x, y).
fn curve(points: &[(f64, f64)], bow: bool) -> Option<[f64; 3]> {
    let degree = if bow { 2 } else { 1 };
    let c = polynomial(points.iter().map(|p| (p.0, p.1, 1.0)), degree)?.0;
    Some([*c.first()?, *c.get(1)?, c.get(2).copied().unwrap_or(0.0)])
}

/// Weighted least-squares polynomial: coefficients and their covariance for unit weights.
pub(crate) fn polynomial(
    points: impl Iterator<Item = (f64, f64, f64)>,
    degree: usize,
) -> Option<(Vec<f64>, nalgebra::DMatrix<f64>)> {
    let n = degree + 1;
    let mut normal = nalgebra::DMatrix::<f64>::zeros(n, n);
    let mut right = nalgebra::DVector::<f64>::zeros(n);
    for (x, y, w) in points {
        let row = nalgebra::DVector::from_fn(n, |k, _| x.powi(k as i32));
        normal += &row * row.transpose() * w;
        right += row * (w * y);
    }
    let factor = normal.cholesky()?;
    let solved = factor.solve(&right);
    Some((solved.iter().copied().collect(), factor.inverse()))
}
