//! The path of a charged particle through a magnetic field, followed by arc length to ten digits.
//!
//! In a magnetic field alone the orbit depends on nothing but p/q: with the unit vector t along the velocity,
//! `dx/ds = t`, `dt/ds = (q/p) t × B`. Each step takes out the rotation about a mean field exactly and solves for the rest
//! at 16 Gauss nodes by iteration (implicit collocation), so that a nearly uniform field costs a few rounds of a third of a turn.

use std::f64::consts::{PI, TAU};

use crate::collocation::{NODES, Row, series_and_integral};
use crate::error::{FieldError, PathError};
use crate::lane8::Lane8;
use crate::lanes::{Work, widest};
use crate::prepared::{BenchField, Columns};
use crate::step::{State, take_step};
use crate::vec3::Vec3;

/// A field that a path can be followed in.
pub trait MagneticField {
    /// Flux density at a point, tesla.
    fn flux_density(&self, point: Vec3) -> Result<Vec3, FieldError>;

    /// Flux density at the nodes of a step, in columns `[x; 16], [y; 16], [z; 16]`.
    #[doc(hidden)]
    #[inline(always)]
    fn at_nodes(&self, p: &[Row; 3]) -> Result<[Row; 3], FieldError> {
        let mut b = [[0.0; NODES]; 3];
        for i in 0..NODES {
            let v = self.flux_density(Vec3::new(p[0][i], p[1][i], p[2][i]))?;
            (b[0][i], b[1][i], b[2][i]) = (v.x, v.y, v.z);
        }
        Ok(b)
    }
}

impl<F: Fn(Vec3) -> Result<Vec3, FieldError>> MagneticField for F {
    fn flux_density(&self, point: Vec3) -> Result<Vec3, FieldError> {
        self(point)
    }
}

impl MagneticField for BenchField<'_> {
    fn flux_density(&self, point: Vec3) -> Result<Vec3, FieldError> {
        self.at(point)
    }

    #[inline(always)]
    fn at_nodes(&self, p: &Columns<NODES>) -> Result<Columns<NODES>, FieldError> {
        let factor = self.scale * self.current_a;
        if self.prepared.holds_all(p) {
            let mut b = self.prepared.columns(p);
            for (column, add) in b.iter_mut().zip(<[f64; 3]>::from(self.background_t)) {
                for v in column.iter_mut() {
                    *v = *v * factor + add;
                }
            }
            return Ok(b);
        }
        let mut b = [[0.0; NODES]; 3];
        for i in 0..NODES {
            let v = self.at(Vec3::new(p[0][i], p[1][i], p[2][i]))?;
            (b[0][i], b[1][i], b[2][i]) = (v.x, v.y, v.z);
        }
        Ok(b)
    }
}

/// Where to stop following a path.
#[derive(Clone, Copy, Debug, PartialEq)]
#[non_exhaustive]
pub enum Until {
    /// The direction of the velocity, seen along z, has turned by this many full turns (either way).
    Turns(f64),
    /// The path is this long, in metres.
    Length(f64),
    /// The path leaves the sphere about the origin (inner face of the glass), or has turned this many times.
    Glass {
        /// Inner radius of the glass.
        inner_radius_m: f64,
        /// Most turns to follow.
        most_turns: f64,
    },
}

/// How a path is followed.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct TraceOptions {
    /// Wanted accuracy of the end point, in units of the gyroradius, a turn.
    pub tolerance: f64,
    /// Longest path ever followed, in metres.
    pub most_length_m: f64,
    /// Longest step, in metres; bounds the first step where there is no field.
    pub longest_step_m: f64,
}

impl Default for TraceOptions {
    fn default() -> Self {
        Self { tolerance: 1e-11, most_length_m: 20.0, longest_step_m: 0.5 }
    }
}

/// One step of a path, kept so that any place in it can be asked for.
#[derive(Clone, Debug)]
pub(crate) struct Segment {
    pub(crate) start_m: f64,
    pub(crate) length_m: f64,
    pub(crate) place: Vec3,
    /// Legendre coefficients of the direction's components.
    pub(crate) spectrum: [Row; 3],
    pub(crate) turned_before_rad: f64,
    pub(crate) turned_rad: f64,
}

impl Segment {
    /// Place and (unit) direction at a share of the step, 0 to 1.
    fn at(&self, share: f64) -> (Vec3, Vec3) {
        let x = 2.0 * share - 1.0;
        let (t, moved) = series_and_integral(&self.spectrum, x);
        (self.place + Vec3::from(moved) * (0.5 * self.length_m), Vec3::from(t) / Vec3::from(t).norm())
    }
}

/// A followed path: any place on it by arc length.
#[derive(Clone, Debug)]
pub struct Path {
    segments: Vec<Segment>,
    length_m: f64,
    start: (Vec3, Vec3),
    turned_rad: f64,
    ended_at_glass: bool,
}

impl Path {
    /// Length of the path in metres.
    pub fn length_m(&self) -> f64 {
        self.length_m
    }

    /// Angle by which the direction of the velocity, seen along z, has turned at the end; positive counter-clockwise seen from +z.
    pub fn turned_rad(&self) -> f64 {
        self.turned_rad
    }

    /// Whether the path ended at the glass.
    pub fn ended_at_glass(&self) -> bool {
        self.ended_at_glass
    }

    /// Number of steps the path took.
    pub fn steps(&self) -> usize {
        self.segments.len()
    }

    /// Place (metres) and unit direction after an arc length (brought into 0 … [`Path::length_m`]).
    pub fn at(&self, arc_length_m: f64) -> (Vec3, Vec3) {
        let s = arc_length_m.clamp(0.0, self.length_m);
        let index = self.segments.partition_point(|g| g.start_m <= s).saturating_sub(1);
        match self.segments.get(index) {
            Some(g) => g.at((s - g.start_m) / g.length_m),
            None => self.start,
        }
    }

    /// `n` places equally spaced in arc length, the first at the start, the last one spacing before the end when `open`, at the end otherwise.
    pub fn points(&self, n: usize, open: bool) -> Vec<Vec3> {
        let count = if open { n } else { n.saturating_sub(1) }.max(1);
        let spacing = self.length_m / count as f64;
        (0..n).map(|i| self.at(spacing * i as f64).0).collect()
    }

    /// The middles of `n` equal parts of the path: sums over them approach the integral over the path as 1/n².
    pub fn middles(&self, n: usize) -> Vec<Vec3> {
        let spacing = self.length_m / n.max(1) as f64;
        (0..n).map(|i| self.at(spacing * (i as f64 + 0.5)).0).collect()
    }

    /// Angle turned, seen along z, after an arc length.
    pub fn turned_at_rad(&self, arc_length_m: f64) -> f64 {
        let s = arc_length_m.clamp(0.0, self.length_m);
        let index = self.segments.partition_point(|g| g.start_m <= s).saturating_sub(1);
        let Some(g) = self.segments.get(index) else { return 0.0 };
        let (from, to) = (self.at(g.start_m).1, self.at(s).1);
        let plain = turn_between(from, to);
        // A step turns by less than one turn; the share of it tells which branch.
        let expected = g.turned_rad * (s - g.start_m) / g.length_m;
        g.turned_before_rad + plain + TAU * ((expected - plain) / TAU).round()
    }

    /// Arc lengths at which the path crosses the plane through `point` at right angles to `normal`, in order; the start
    /// itself does not count.
    pub fn crossings_m(&self, point: Vec3, normal: Vec3) -> Vec<f64> {
        self.roots(|x, _| (x - point).dot(normal))
    }

    /// First arc length at which the path is `radius_m` from `centre`.
    pub fn reaches_sphere_m(&self, centre: Vec3, radius_m: f64) -> Option<f64> {
        self.roots(|x, _| (x - centre).norm() - radius_m).first().copied()
    }

    /// Arc lengths, in order, at which `event` of place and direction changes sign.
    pub fn roots(&self, event: impl Fn(Vec3, Vec3) -> f64) -> Vec<f64> {
        let mut roots = Vec::new();
        for g in &self.segments {
            let value = |share: f64| {
                let (x, t) = g.at(share);
                event(x, t)
            };
            let end = ((self.length_m - g.start_m) / g.length_m).min(1.0);
            let mut before = (0.0, value(0.0));
            for k in 1..=PIECES {
                let share = end * k as f64 / PIECES as f64;
                let now = (share, value(share));
                let at_start = g.start_m == 0.0 && k == 1;
                if before.1 * now.1 < 0.0 && !(at_start && before.1.abs() < NOTHING * now.1.abs()) {
                    roots.push(g.start_m + g.length_m * root(&value, before, now));
                } else if now.1 == 0.0 {
                    roots.push(g.start_m + g.length_m * share);
                }
                before = now;
            }
        }
        roots
    }

    fn cut(&mut self, length_m: f64) {
        self.turned_rad = self.turned_at_rad(length_m);
        self.length_m = length_m;
    }
}

/// Pieces of a step between which a change of sign is looked for.
const PIECES: usize = 12;
/// A start this close to an event, in units of the event's next value, lies on it and is no crossing.
const NOTHING: f64 = 1e-9;

/// A root between two places of different sign (Illinois method, then to the last digits).
fn root(value: &impl Fn(f64) -> f64, mut low: (f64, f64), mut high: (f64, f64)) -> f64 {
    let mut side = 0;
    let mut best = 0.5 * (low.0 + high.0);
    for _ in 0..80 {
        best = (low.0 * high.1 - high.0 * low.1) / (high.1 - low.1);
        let f = value(best);
        if f == 0.0 || (high.0 - low.0).abs() < 1e-15 {
            break;
        }
        if f * high.1 > 0.0 {
            if (high.0 - best).abs() < 1e-16 {
                break;
            }
            high = (best, f);
            low.1 *= if side == -1 { 0.5 } else { 1.0 };
            side = -1;
        } else {
            if (best - low.0).abs() < 1e-16 {
                break;
            }
            low = (best, f);
            high.1 *= if side == 1 { 0.5 } else { 1.0 };
            side = 1;
        }
    }
    best
}

/// Angle from one direction to another seen along z, −π to π.
pub(crate) fn turn_between(from: Vec3, to: Vec3) -> f64 {
    (from.x * to.y - from.y * to.x).atan2(from.x * to.x + from.y * to.y)
}

/// Follows the path of a particle with the given p/q (signed, tesla metre) from `start` along `direction`.
///
/// - **Gives** a [`Path`] that ends where `until` says, right to `options.tolerance` gyroradii a turn.
/// - **Fails** with [`PathError`] where the field has no value, where a turn is not completed within `options.most_length_m`,
///   and for a start without direction.
/// - **Source** Jackson, *Classical Electrodynamics*, 3rd ed., § 12.1; collocation at Gauss nodes: Hairer, Lubich, Wanner,
///   *Geometric Numerical Integration*, § II.1.
///
/// ```
/// use arcmass_physics::{FieldError, Particle, TraceOptions, Until, Vec3, trace};
/// // 200 V electrons at right angles to 1 mT: a circle of radius p/(eB)
/// let motion = Particle::default().accelerated(200.0)?;
/// let field = |_: Vec3| -> Result<Vec3, FieldError> { Ok(Vec3::Z * 1e-3) };
/// let p = motion.momentum_over_charge_t_m();
/// let path = trace(&field, Vec3::ZERO, Vec3::X, p, Until::Turns(1.0), &TraceOptions::default())?;
/// let radius = motion.gyroradius_m(1e-3)?;
/// assert!((path.length_m() / (2.0 * std::f64::consts::PI * radius) - 1.0).abs() < 1e-11);
/// // a negative charge turns counter-clockwise seen from the side the field points to: half a turn on it is 2r up
/// assert!((path.at(0.5 * path.length_m()).0 - Vec3::Y * (2.0 * radius)).norm() < 1e-12);
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
pub fn trace<F: MagneticField>(
    field: &F,
    start: Vec3,
    direction: Vec3,
    momentum_over_charge_t_m: f64,
    until: Until,
    options: &TraceOptions,
) -> Result<Path, PathError> {
    let (mut state, limit) = begin(start, direction, momentum_over_charge_t_m, until, options)?;
    state.mean_field = field.flux_density(start)?;
    widest(Trace { field, state, momentum_over_charge_t_m, until, options, limit })
}

/// [`trace`] after its checks, compiled for every vector width.
struct Trace<'a, F> {
    field: &'a F,
    state: State,
    momentum_over_charge_t_m: f64,
    until: Until,
    options: &'a TraceOptions,
    limit: f64,
}

impl<F: MagneticField> Work for Trace<'_, F> {
    type Output = Result<Path, PathError>;

    #[inline(always)]
    fn run<V: Lane8>(self) -> Self::Output {
        let Self { field, mut state, momentum_over_charge_t_m, until, options, limit } = self;
        let mut path = Path {
            segments: Vec::with_capacity(6),
            length_m: 0.0,
            start: (state.place, state.direction),
            turned_rad: 0.0,
            ended_at_glass: false,
        };
        while state.arc_length_m < limit {
            let most = limit - state.arc_length_m;
            let step = take_step(field, &mut state, momentum_over_charge_t_m, options, most)?;
            path.turned_rad += step.turned_rad;
            path.length_m = state.arc_length_m;
            path.segments.push(Segment { turned_before_rad: path.turned_rad - step.turned_rad, ..step });
            if finished(&mut path, until) {
                return Ok(path);
            }
        }
        match until {
            Until::Length(_) => Ok(path),
            _ => Err(PathError::TooLong { length_m: path.length_m, turned_rad: path.turned_rad }),
        }
    }
}

fn begin(
    start: Vec3,
    direction: Vec3,
    momentum_over_charge_t_m: f64,
    until: Until,
    options: &TraceOptions,
) -> Result<(State, f64), PathError> {
    let unit = direction.unit().ok_or(PathError::NoDirection(direction))?;
    if !(momentum_over_charge_t_m != 0.0 && momentum_over_charge_t_m.is_finite()) {
        return Err(PathError::OutOfRange {
            what: "momentum over charge in T m",
            must: "different from 0 and finite",
            got: momentum_over_charge_t_m,
        });
    }
    if !(options.tolerance >= 1e-14 && options.tolerance < 0.1) {
        return Err(PathError::OutOfRange {
            what: "tolerance",
            must: "from 1e-14 to 0.1",
            got: options.tolerance,
        });
    }
    if !start.is_finite() {
        return Err(PathError::Field(FieldError::PointNotFinite(start)));
    }
    let limit = match until {
        Until::Length(length) if length > 0.0 && length <= options.most_length_m => length,
        Until::Length(got) => {
            return Err(PathError::OutOfRange {
                what: "length in metres",
                must: "above 0 and within most_length_m",
                got,
            });
        }
        _ => options.most_length_m,
    };
    Ok((State::new(start, unit), limit))
}

/// Whether the path has come to its end in the last step, and cuts it there.
fn finished(path: &mut Path, until: Until) -> bool {
    let turned = |path: &Path, turns: f64| {
        let wanted = TAU * turns.abs();
        (path.turned_rad.abs() >= wanted).then(|| turn_end(path, wanted))
    };
    let (end, at_glass) = match until {
        Until::Length(_) => (None, false),
        Until::Turns(turns) => (turned(path, turns), false),
        Until::Glass { inner_radius_m, most_turns } => {
            match (last_exit(path, inner_radius_m), turned(path, most_turns)) {
                // both may fall into one step: the first of them counts
                (Some(exit), Some(turn)) => (Some(exit.min(turn)), exit <= turn),
                (Some(exit), None) => (Some(exit), true),
                (None, turn) => (turn, false),
            }
        }
    };
    if let Some(s) = end {
        path.cut(s);
        path.ended_at_glass = at_glass;
    }
    end.is_some()
}

/// Where in the last step the path leaves the sphere about the origin.
fn last_exit(path: &Path, radius_m: f64) -> Option<f64> {
    let g = path.segments.last()?;
    let value = |share: f64| g.at(share).0.norm() - radius_m;
    let mut before = (0.0, value(0.0));
    for k in 1..=PIECES {
        let share = k as f64 / PIECES as f64;
        let now = (share, value(share));
        if now.1 >= 0.0 {
            let share = if before.1 < 0.0 { root(&value, before, now) } else { before.0 };
            return Some(g.start_m + g.length_m * share);
        }
        before = now;
    }
    None
}

/// Where in the last step the direction has turned by `wanted`.
fn turn_end(path: &Path, wanted: f64) -> f64 {
    let Some(g) = path.segments.last() else { return path.length_m };
    let first = path.segments.first().map_or(path.start.1, |g| g.at(0.0).1);
    let sign = path.turned_rad.signum();
    let rest = wanted - sign * g.turned_before_rad;
    // The direction that has turned by `wanted`, seen along z.
    let target = first.rotated(Vec3::Z, sign * (wanted % TAU));
    let value = |share: f64| {
        let t = g.at(share).1;
        let angle = sign * turn_between(target, t);
        // within this step the angle to the target runs from −rest upwards
        let guess = sign * g.turned_rad * share - rest;
        angle + TAU * ((guess - angle) / TAU).round()
    };
    let (low, high) = ((0.0, value(0.0)), (1.0, value(1.0)));
    if low.1 >= 0.0 {
        return g.start_m;
    }
    if high.1 <= 0.0 {
        return g.start_m + g.length_m;
    }
    g.start_m + g.length_m * root(&value, low, high)
}

/// Half a turn, for callers that ask where the far side of a ring is.
pub(crate) const HALF_TURN_RAD: f64 = PI;
