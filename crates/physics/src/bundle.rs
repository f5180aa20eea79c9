//! Many orbits at once: eight side by side in the lanes of a vector, each to the end of its own arc length.

use std::sync::OnceLock;

use crate::collocation::sine_cosine;
use crate::error::PathError;
use crate::gauss;
use crate::lanes::{VectorWidth, Work, at_width};
use crate::path::{TraceOptions, Until, trace};
use crate::prepared::BenchField;
use crate::threads;
use crate::vec3::Vec3;

/// Orbits side by side.
const LANES: usize = 8;
/// Gauss nodes of a step: the end of a step is right to order 16.
const NODES: usize = 8;
/// Rotation about the mean field in one step.
const ROTATION_RAD: f64 = 1.05;
/// Most steps of an orbit followed here; longer ones are followed one by one.
const MOST_STEPS: usize = 4000;
/// Rounds of iteration before a batch is given up and its orbits followed one by one.
const MOST_ROUNDS: usize = 14;
/// The highest Legendre coefficient of the deviation may be this times the root of the tolerance: the error of a step's end goes as the
/// product of what the nodes leave out of the deviation and of its kernel, each of that size. Checked against [`trace`] on random benches.
const ROUGHNESS: f64 = 0.3;

type Lane = [f64; LANES];
type Vector = [Lane; 3];
/// Component, node, lane.
type Block = [[Lane; NODES]; 3];

/// One particle of a bundle: where it starts, which way, its signed p/q and how far to follow it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Launch {
    /// Start.
    pub place_m: Vec3,
    /// Unit vector along the velocity.
    pub direction: Vec3,
    /// Momentum over charge with the charge's sign, tesla metre.
    pub momentum_over_charge_t_m: f64,
    /// Arc length to follow.
    pub length_m: f64,
}

/// Where a particle of a bundle is at the end of its arc length.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Arrival {
    /// Place.
    pub place_m: Vec3,
    /// Unit vector along the velocity.
    pub direction: Vec3,
}

/// Follows every launch to the end of its arc length.
///
/// - **Takes** the field, the launches in order, the wanted accuracy in gyroradii a turn, and how many threads to use (at least 1).
/// - **Gives** one arrival a launch, in order: the same bits for any number of threads and any vector width.
/// - **Fails** as [`trace`] does, with the first launch that fails.
/// - An orbit that leaves the prepared region, or that changes too fast for the batch, is followed by [`trace`].
pub fn follow_bundle(
    field: &BenchField<'_>,
    launches: &[Launch],
    tolerance: f64,
    threads: usize,
) -> Result<Vec<Arrival>, PathError> {
    follow_bundle_at_width(field, launches, tolerance, threads, VectorWidth::widest())
}

/// [`follow_bundle`] with a stated vector width; what the machine lacks is run as the widest it has.
pub fn follow_bundle_at_width(
    field: &BenchField<'_>,
    launches: &[Launch],
    tolerance: f64,
    threads: usize,
    width: VectorWidth,
) -> Result<Vec<Arrival>, PathError> {
    let empty = Arrival { place_m: Vec3::ZERO, direction: Vec3::ZERO };
    let mut arrivals = vec![empty; launches.len()];
    threads::in_chunks(launches, &mut arrivals, LANES, threads, |part, out| {
        at_width(width, Chunk { field, launches: part, arrivals: out, tolerance })
    })?;
    Ok(arrivals)
}

struct Chunk<'a> {
    field: &'a BenchField<'a>,
    launches: &'a [Launch],
    arrivals: &'a mut [Arrival],
    tolerance: f64,
}

impl Work for Chunk<'_> {
    type Output = Result<(), PathError>;

    #[inline(always)]
    fn run(self) -> Self::Output {
        for (launches, arrivals) in self.launches.chunks(LANES).zip(self.arrivals.chunks_mut(LANES)) {
            if !batch(self.field, launches, arrivals, self.tolerance) {
                one_by_one(self.field, launches, arrivals, self.tolerance)?;
            }
        }
        Ok(())
    }
}

#[inline(never)]
fn one_by_one(
    field: &BenchField<'_>,
    launches: &[Launch],
    arrivals: &mut [Arrival],
    tolerance: f64,
) -> Result<(), PathError> {
    for (launch, arrival) in launches.iter().zip(arrivals) {
        let options =
            TraceOptions { tolerance, most_length_m: launch.length_m.max(1.0), ..TraceOptions::default() };
        let until = Until::Length(launch.length_m);
        let path =
            trace(field, launch.place_m, launch.direction, launch.momentum_over_charge_t_m, until, &options)?;
        let (place_m, direction) = path.at(path.length_m());
        *arrival = Arrival { place_m, direction };
    }
    Ok(())
}

/// Follows up to eight orbits together; `false` if they need [`trace`].
#[inline(always)]
fn batch(field: &BenchField<'_>, launches: &[Launch], arrivals: &mut [Arrival], tolerance: f64) -> bool {
    let Some(mut state) = State::new(field, launches) else { return false };
    let Some(steps) = state.steps() else { return false };
    let mut h = [0.0; LANES];
    for l in 0..LANES {
        h[l] = state.length[l] / steps as f64;
    }
    let tables = tables();
    let mut worst = 0.0;
    for _ in 0..steps {
        match state.step(field, tables, &h, tolerance) {
            Some(roughness) => worst = f64::max(worst, roughness),
            None => return false,
        }
    }
    if worst > ROUGHNESS * tolerance.sqrt() {
        return false;
    }
    for (l, arrival) in arrivals.iter_mut().enumerate().take(LANES) {
        let at = |v: &Vector| Vec3::new(v[0][l], v[1][l], v[2][l]);
        let direction = at(&state.direction);
        *arrival = Arrival { place_m: at(&state.place), direction: direction / direction.norm() };
    }
    true
}

/// Eight orbits on their way.
struct State {
    place: Vector,
    direction: Vector,
    mean_field: Vector,
    /// q/p.
    k: Lane,
    length: Lane,
}

impl State {
    /// Lanes without a launch repeat the first one.
    #[inline(always)]
    fn new(field: &BenchField<'_>, launches: &[Launch]) -> Option<Self> {
        let first = launches.first()?;
        let zero = [[0.0; LANES]; 3];
        let mut state =
            Self { place: zero, direction: zero, mean_field: zero, k: [0.0; LANES], length: [0.0; LANES] };
        for l in 0..LANES {
            let launch = launches.get(l).unwrap_or(first);
            let unit = launch.direction.unit()?;
            let good = launch.momentum_over_charge_t_m != 0.0
                && launch.momentum_over_charge_t_m.is_finite()
                && launch.length_m > 0.0
                && launch.length_m.is_finite()
                && launch.place_m.is_finite();
            if !good {
                return None;
            }
            for (c, (x, t)) in
                <[f64; 3]>::from(launch.place_m).into_iter().zip(<[f64; 3]>::from(unit)).enumerate()
            {
                (state.place[c][l], state.direction[c][l]) = (x, t);
            }
            (state.k[l], state.length[l]) = (1.0 / launch.momentum_over_charge_t_m, launch.length_m);
        }
        if !field.prepared.holds_all(&state.place) {
            return None;
        }
        state.mean_field = bench_columns(field, &state.place);
        Some(state)
    }

    /// Equal steps that turn by at most [`ROTATION_RAD`] in the field at the start.
    #[inline(always)]
    fn steps(&self) -> Option<usize> {
        let mut most: f64 = 0.0;
        for l in 0..LANES {
            let b = &self.mean_field;
            let strength = (b[0][l] * b[0][l] + b[1][l] * b[1][l] + b[2][l] * b[2][l]).sqrt();
            most = most.max((strength * self.k[l] * self.length[l]).abs());
        }
        let steps = (most / ROTATION_RAD).ceil().max(1.0);
        (steps <= MOST_STEPS as f64).then_some(steps as usize)
    }

    /// One step of all lanes; gives the largest high Legendre coefficient of the deviation, or `None` if it did not converge.
    #[inline(always)]
    fn step(&mut self, field: &BenchField<'_>, t: &Tables, h: &Lane, tolerance: f64) -> Option<f64> {
        let mut turn = Turn::new(t, &self.mean_field, &self.k, h);
        let mut u = [[[0.0; LANES]; NODES]; 3];
        for c in 0..3 {
            u[c] = [self.direction[c]; NODES];
        }
        let mut nodes = turn.turned(&u, 1.0);
        let mut before = f64::INFINITY;
        for round in 0..MOST_ROUNDS {
            let b = field_at(field, &integrate(t, &nodes, &self.place, h))?;
            if round == 0 {
                self.mean_field = weighted(t, &b);
                turn = Turn::new(t, &self.mean_field, &self.k, h);
            }
            let force = turn.turned(&bend(&nodes, &b, &self.mean_field, &self.k), -1.0);
            let moved = integrate(t, &force, &self.direction, h);
            let change = largest_change(&u, &moved);
            u = moved;
            nodes = turn.turned(&u, 1.0);
            if (round > 0 && change * (change / before) <= 0.05 * tolerance) || change < 1e-15 {
                self.finish(t, &turn, &nodes, &force, h);
                return Some(roughness(t, &u));
            }
            if !(change < 0.5 * before) {
                return None;
            }
            before = change;
        }
        None
    }

    #[inline(always)]
    fn finish(&mut self, t: &Tables, turn: &Turn, nodes: &Block, force: &Block, h: &Lane) {
        let (along, bent) = (weighted(t, nodes), weighted(t, force));
        for c in 0..3 {
            for l in 0..LANES {
                self.place[c][l] += along[c][l] * h[l];
                self.direction[c][l] += bent[c][l] * h[l];
            }
        }
        self.direction = turn.end(&self.direction);
    }
}

/// Node tables for a step of length 1.
struct Tables {
    place: [f64; NODES],
    weight: [f64; NODES],
    /// `integral[i][j]`: share of node j in the integral from 0 to node i.
    integral: [[f64; NODES]; NODES],
    /// Shares of the nodes in the two highest Legendre coefficients.
    highest: [[f64; NODES]; 2],
}

fn tables() -> &'static Tables {
    static TABLES: OnceLock<Tables> = OnceLock::new();
    TABLES.get_or_init(|| {
        let rule = gauss::rule(NODES);
        let mut t = Tables {
            place: [0.0; NODES],
            weight: [0.0; NODES],
            integral: [[0.0; NODES]; NODES],
            highest: [[0.0; NODES]; 2],
        };
        let share = |n: usize, x: f64, w: f64| (n as f64 + 0.5) * w * gauss::legendre(n, x).0;
        for (j, (x, w)) in rule.iter().enumerate().take(NODES) {
            (t.place[j], t.weight[j]) = (0.5 * (1.0 + x), 0.5 * w);
            t.highest[0][j] = share(NODES - 1, *x, *w);
            t.highest[1][j] = share(NODES - 2, *x, *w);
            for (i, (end, _)) in rule.iter().enumerate().take(NODES) {
                let part = |n: usize| share(n, *x, *w) * 0.5 * crate::collocation::integrated(n, *end);
                t.integral[i][j] = (0..NODES).map(part).sum();
            }
        }
        t
    })
}

#[inline(always)]
fn integrate(t: &Tables, values: &Block, from: &Vector, h: &Lane) -> Block {
    let mut out = [[[0.0; LANES]; NODES]; 3];
    for c in 0..3 {
        for i in 0..NODES {
            let mut sum = [0.0; LANES];
            for j in 0..NODES {
                for l in 0..LANES {
                    sum[l] = t.integral[i][j].mul_add(values[c][j][l], sum[l]);
                }
            }
            for l in 0..LANES {
                out[c][i][l] = sum[l].mul_add(h[l], from[c][l]);
            }
        }
    }
    out
}

#[inline(always)]
fn weighted(t: &Tables, values: &Block) -> Vector {
    let mut out = [[0.0; LANES]; 3];
    for c in 0..3 {
        for j in 0..NODES {
            for l in 0..LANES {
                out[c][l] = t.weight[j].mul_add(values[c][j][l], out[c][l]);
            }
        }
    }
    out
}

#[inline(always)]
fn bench_columns<const N: usize>(field: &BenchField<'_>, p: &[[f64; N]; 3]) -> [[f64; N]; 3] {
    let factor = field.scale * field.current_a;
    let mut b = field.prepared.columns(p);
    for (column, add) in b.iter_mut().zip(<[f64; 3]>::from(field.background_t)) {
        for v in column.iter_mut() {
            *v = v.mul_add(factor, add);
        }
    }
    b
}

/// The field at all nodes of all lanes, two nodes at a time; `None` outside the prepared region.
#[inline(always)]
fn field_at(field: &BenchField<'_>, p: &Block) -> Option<Block> {
    const PAIR: usize = 2 * LANES;
    let mut out = [[[0.0; LANES]; NODES]; 3];
    for j in (0..NODES).step_by(2) {
        let mut q = [[0.0; PAIR]; 3];
        for c in 0..3 {
            for l in 0..LANES {
                q[c][l] = p[c][j][l];
                q[c][LANES + l] = p[c][j + 1][l];
            }
        }
        if !field.prepared.holds_all(&q) {
            return None;
        }
        let b = bench_columns(field, &q);
        for c in 0..3 {
            for l in 0..LANES {
                out[c][j][l] = b[c][l];
                out[c][j + 1][l] = b[c][LANES + l];
            }
        }
    }
    Some(out)
}

/// `(q/p) t × (B − mean)`.
#[inline(always)]
fn bend(t: &Block, b: &Block, mean: &Vector, k: &Lane) -> Block {
    let mut out = [[[0.0; LANES]; NODES]; 3];
    for j in 0..NODES {
        for l in 0..LANES {
            let x = k[l] * (b[0][j][l] - mean[0][l]);
            let y = k[l] * (b[1][j][l] - mean[1][l]);
            let z = k[l] * (b[2][j][l] - mean[2][l]);
            out[0][j][l] = t[1][j][l] * z - t[2][j][l] * y;
            out[1][j][l] = t[2][j][l] * x - t[0][j][l] * z;
            out[2][j][l] = t[0][j][l] * y - t[1][j][l] * x;
        }
    }
    out
}

#[inline(always)]
fn largest_change(a: &Block, b: &Block) -> f64 {
    let mut worst = [0.0; LANES];
    for c in 0..3 {
        for j in 0..NODES {
            for l in 0..LANES {
                let d = (a[c][j][l] - b[c][j][l]).abs();
                // a value that is no number must not pass as small
                worst[l] = if d <= worst[l] { worst[l] } else { d };
            }
        }
    }
    let mut all = 0.0;
    for d in worst {
        all = if d <= all { all } else { d };
    }
    all
}

#[inline(always)]
fn roughness(t: &Tables, u: &Block) -> f64 {
    let mut worst: f64 = 0.0;
    for row in &t.highest {
        for column in u {
            let mut sum = [0.0; LANES];
            for j in 0..NODES {
                for l in 0..LANES {
                    sum[l] = row[j].mul_add(column[j][l], sum[l]);
                }
            }
            for s in sum {
                worst = worst.max(s.abs());
            }
        }
    }
    worst
}

/// Rotation of every lane about its mean field.
struct Turn {
    axis: Vector,
    sine: [Lane; NODES],
    cosine: [Lane; NODES],
    full: Lane,
}

impl Turn {
    #[inline(always)]
    fn new(t: &Tables, mean: &Vector, k: &Lane, h: &Lane) -> Self {
        let mut turn = Self {
            axis: [[0.0; LANES]; 3],
            sine: [[0.0; LANES]; NODES],
            cosine: [[0.0; LANES]; NODES],
            full: [0.0; LANES],
        };
        for l in 0..LANES {
            let norm = (mean[0][l] * mean[0][l] + mean[1][l] * mean[1][l] + mean[2][l] * mean[2][l]).sqrt();
            // without a field any axis will do
            let inverse = if norm > 0.0 { 1.0 / norm } else { 0.0 };
            for c in 0..3 {
                turn.axis[c][l] = mean[c][l] * inverse;
            }
            turn.full[l] = -k[l] * h[l] * norm;
        }
        for j in 0..NODES {
            for l in 0..LANES {
                (turn.sine[j][l], turn.cosine[j][l]) = sine_cosine(turn.full[l] * t.place[j]);
            }
        }
        turn
    }

    #[inline(always)]
    fn turned(&self, v: &Block, sign: f64) -> Block {
        let a = &self.axis;
        let mut out = [[[0.0; LANES]; NODES]; 3];
        for j in 0..NODES {
            for l in 0..LANES {
                let (x, y, z) = (v[0][j][l], v[1][j][l], v[2][j][l]);
                let (ax, ay, az) = (a[0][l], a[1][l], a[2][l]);
                let (s, c) = (sign * self.sine[j][l], self.cosine[j][l]);
                let along = (ax * x + ay * y + az * z) * (1.0 - c);
                out[0][j][l] = x * c + (ay * z - az * y) * s + ax * along;
                out[1][j][l] = y * c + (az * x - ax * z) * s + ay * along;
                out[2][j][l] = z * c + (ax * y - ay * x) * s + az * along;
            }
        }
        out
    }

    #[inline(always)]
    fn end(&self, v: &Vector) -> Vector {
        let a = &self.axis;
        let mut out = [[0.0; LANES]; 3];
        for l in 0..LANES {
            let (x, y, z) = (v[0][l], v[1][l], v[2][l]);
            let (ax, ay, az) = (a[0][l], a[1][l], a[2][l]);
            let (s, c) = sine_cosine(self.full[l]);
            let along = (ax * x + ay * y + az * z) * (1.0 - c);
            out[0][l] = x * c + (ay * z - az * y) * s + ax * along;
            out[1][l] = y * c + (az * x - ax * z) * s + ay * along;
            out[2][l] = z * c + (ax * y - ay * x) * s + az * along;
        }
        out
    }
}
