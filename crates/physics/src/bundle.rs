//! Many orbits at once: eight side by side in the lanes of a vector, each to the end of its own arc length.

use std::sync::OnceLock;

use crate::collocation::sine_cosine_lanes;
use crate::error::PathError;
use crate::gauss;
use crate::lane8::Lane8;
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
const ROTATION_RAD: f64 = 1.3;
/// Most steps of an orbit followed here; longer ones are followed one by one.
const MOST_STEPS: usize = 4000;
/// Rounds of iteration before a batch is given up and its orbits followed one by one.
const MOST_ROUNDS: usize = 14;
/// The highest Legendre coefficient of the deviation may be this times the root of the tolerance: the error of a step's end goes as the
/// product of what the nodes leave out of the deviation and of its kernel, each of that size. Checked against [`trace`] on random benches.
const ROUGHNESS: f64 = 0.3;

type Vector<V> = [V; 3];
/// Component, node; the lanes are the orbits.
type Block<V> = [[V; NODES]; 3];

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
///
/// ```
/// use arcmass_physics::{BenchField, CoilSet, Launch, Particle, PreparedField, Vec3, follow_bundle};
/// let prepared = PreparedField::new(&CoilSet::pair(0.15, 0.15, 124.0, 0.0, 0.0, 1.0), 0.08)?;
/// let field = BenchField { prepared: &prepared, current_a: 1.5, scale: 1.0, background_t: Vec3::ZERO };
/// let launch = |voltage: f64| -> Result<Launch, arcmass_physics::MotionError> {
///     let momentum_over_charge_t_m = Particle::default().accelerated(voltage)?.momentum_over_charge_t_m();
///     Ok(Launch { place_m: Vec3::new(0.0, -0.04, 0.0), direction: Vec3::X, momentum_over_charge_t_m, length_m: 0.14 })
/// };
/// let bundle = [launch(219.0)?, launch(220.0)?, launch(221.0)?];
/// let ends = follow_bundle(&field, &bundle, 1e-10, 1)?;
/// // half a turn on, more energy has gone farther up
/// assert!(ends[0].place_m.y < ends[1].place_m.y && ends[1].place_m.y < ends[2].place_m.y);
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
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
    fn run<V: Lane8>(self) -> Self::Output {
        for (launches, arrivals) in self.launches.chunks(LANES).zip(self.arrivals.chunks_mut(LANES)) {
            if !batch::<V>(self.field, launches, arrivals, self.tolerance) {
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
fn batch<V: Lane8>(
    field: &BenchField<'_>,
    launches: &[Launch],
    arrivals: &mut [Arrival],
    tolerance: f64,
) -> bool {
    let Some(mut state) = State::<V>::new(field, launches) else { return false };
    let Some(steps) = state.steps() else { return false };
    let bench = Bench::new(field);
    let h = state.length / V::splat(steps as f64);
    let t = Tables::<V>::new();
    let mut worst: f64 = 0.0;
    for _ in 0..steps {
        match state.step(&bench, &t, h, tolerance) {
            Some(roughness) => worst = worst.max(roughness),
            None => return false,
        }
    }
    if worst > ROUGHNESS * tolerance.sqrt() {
        return false;
    }
    let (x, t) = (&state.place, &state.direction);
    let place = [x[0].store(), x[1].store(), x[2].store()];
    let direction = [t[0].store(), t[1].store(), t[2].store()];
    let mut finite = true;
    for (l, arrival) in arrivals.iter_mut().enumerate().take(LANES) {
        let at = |v: &[[f64; LANES]; 3]| Vec3::new(v[0][l], v[1][l], v[2][l]);
        let along = at(&direction);
        *arrival = Arrival { place_m: at(&place), direction: along / along.norm() };
        finite = finite && arrival.place_m.is_finite();
    }
    finite
}

/// The field with its factors spread over the lanes.
struct Bench<'a, V> {
    field: &'a BenchField<'a>,
    factor: V,
    background: Vector<V>,
}

impl<'a, V: Lane8> Bench<'a, V> {
    #[inline(always)]
    fn new(field: &'a BenchField<'a>) -> Self {
        let b = field.background_t;
        let background = [V::splat(b.x), V::splat(b.y), V::splat(b.z)];
        Self { field, factor: V::splat(field.scale * field.current_a), background }
    }

    #[inline(always)]
    fn lanes<const M: usize>(&self, p: &[[V; M]; 3]) -> [[V; M]; 3] {
        let mut b = self.field.prepared.lanes(p);
        for c in 0..3 {
            for m in 0..M {
                b[c][m] = b[c][m].fma(self.factor, self.background[c]);
            }
        }
        b
    }

    /// The field at all nodes, [`TOGETHER`] at a time; `None` outside the prepared region.
    #[inline(always)]
    fn at_nodes(&self, p: &Block<V>) -> Option<Block<V>> {
        if !self.field.prepared.holds_lanes(p) {
            return None;
        }
        let mut out = [[V::zero(); NODES]; 3];
        for j in (0..NODES).step_by(TOGETHER) {
            let mut q = [[V::zero(); TOGETHER]; 3];
            for c in 0..3 {
                for m in 0..TOGETHER {
                    q[c][m] = p[c][j + m];
                }
            }
            let b = self.lanes(&q);
            for c in 0..3 {
                for m in 0..TOGETHER {
                    out[c][j + m] = b[c][m];
                }
            }
        }
        Some(out)
    }
}

/// Nodes whose series run together: enough chains to hide each other's latency, few enough for the registers.
const TOGETHER: usize = 4;

/// Eight orbits on their way.
struct State<V> {
    place: Vector<V>,
    direction: Vector<V>,
    mean_field: Vector<V>,
    /// q/p.
    k: V,
    length: V,
}

impl<V: Lane8> State<V> {
    /// Lanes without a launch repeat the first one.
    #[inline(always)]
    fn new(field: &BenchField<'_>, launches: &[Launch]) -> Option<Self> {
        let first = launches.first()?;
        let mut place = [[0.0; LANES]; 3];
        let mut direction = [[0.0; LANES]; 3];
        let (mut k, mut length) = ([0.0; LANES], [0.0; LANES]);
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
                (place[c][l], direction[c][l]) = (x, t);
            }
            (k[l], length[l]) = (1.0 / launch.momentum_over_charge_t_m, launch.length_m);
        }
        let place = [V::load(&place[0]), V::load(&place[1]), V::load(&place[2])];
        let one = [[place[0]], [place[1]], [place[2]]];
        if !field.prepared.holds_lanes(&one) {
            return None;
        }
        let [[bx], [by], [bz]] = Bench::new(field).lanes(&one);
        let mean_field = [bx, by, bz];
        let direction = [V::load(&direction[0]), V::load(&direction[1]), V::load(&direction[2])];
        Some(Self { place, direction, mean_field, k: V::load(&k), length: V::load(&length) })
    }

    /// Equal steps that turn by at most [`ROTATION_RAD`] in the field at the start.
    #[inline(always)]
    fn steps(&self) -> Option<usize> {
        let b = &self.mean_field;
        let strength = b[0].fma(b[0], b[1].fma(b[1], b[2] * b[2])).sqrt();
        let most = (strength * self.k * self.length).abs().largest();
        let steps = (most / ROTATION_RAD).ceil().max(1.0);
        (steps <= MOST_STEPS as f64).then_some(steps as usize)
    }

    /// One step of all lanes; gives the largest high Legendre coefficient of the deviation, or `None` if it did not converge.
    #[inline(always)]
    fn step(&mut self, bench: &Bench<'_, V>, t: &Tables<V>, h: V, tolerance: f64) -> Option<f64> {
        let mut turn = Turn::new(t, &self.mean_field, self.k, h);
        let d = self.direction;
        let mut u = [[d[0]; NODES], [d[1]; NODES], [d[2]; NODES]];
        let mut nodes = turn.forward(&u);
        let mut before = f64::INFINITY;
        for round in 0..MOST_ROUNDS {
            let b = bench.at_nodes(&integrate(t, &nodes, &self.place, h))?;
            if round == 0 {
                self.mean_field = weighted(t, &b);
                turn = Turn::new(t, &self.mean_field, self.k, h);
            }
            let force = turn.backward(&bend(&nodes, &b, &self.mean_field, self.k));
            let moved = integrate(t, &force, &self.direction, h);
            let change = largest_change(&u, &moved);
            u = moved;
            nodes = turn.forward(&u);
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
    fn finish(&mut self, t: &Tables<V>, turn: &Turn<V>, nodes: &Block<V>, force: &Block<V>, h: V) {
        let (along, bent) = (weighted(t, nodes), weighted(t, force));
        for c in 0..3 {
            self.place[c] = along[c].fma(h, self.place[c]);
            self.direction[c] = bent[c].fma(h, self.direction[c]);
        }
        self.direction = turn.end(&self.direction);
    }
}

/// Node tables for a step of length 1.
struct Numbers {
    place: [f64; NODES],
    weight: [f64; NODES],
    /// `integral[i][j]`: share of node j in the integral from 0 to node i.
    integral: [[f64; NODES]; NODES],
    /// Shares of the nodes in the two highest Legendre coefficients.
    highest: [[f64; NODES]; 2],
}

fn numbers() -> &'static Numbers {
    static NUMBERS: OnceLock<Numbers> = OnceLock::new();
    NUMBERS.get_or_init(|| {
        let rule = gauss::rule(NODES);
        let mut t = Numbers {
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

/// The tables, to be spread over the lanes where they are used.
struct Tables<V> {
    numbers: &'static Numbers,
    lanes: std::marker::PhantomData<V>,
}

impl<V: Lane8> Tables<V> {
    #[inline(always)]
    fn new() -> Self {
        Self { numbers: numbers(), lanes: std::marker::PhantomData }
    }
}

#[inline(always)]
fn integrate<V: Lane8>(t: &Tables<V>, values: &Block<V>, from: &Vector<V>, h: V) -> Block<V> {
    let mut out = [[V::zero(); NODES]; 3];
    for i in 0..NODES {
        let mut sum = [V::zero(); 3];
        for j in 0..NODES {
            let share = V::splat(t.numbers.integral[i][j]);
            for c in 0..3 {
                sum[c] = share.fma(values[c][j], sum[c]);
            }
        }
        for c in 0..3 {
            out[c][i] = sum[c].fma(h, from[c]);
        }
    }
    out
}

#[inline(always)]
fn weighted<V: Lane8>(t: &Tables<V>, values: &Block<V>) -> Vector<V> {
    let mut out = [V::zero(); 3];
    for j in 0..NODES {
        let weight = V::splat(t.numbers.weight[j]);
        for c in 0..3 {
            out[c] = weight.fma(values[c][j], out[c]);
        }
    }
    out
}

/// `(q/p) t × (B − mean)`.
#[inline(always)]
fn bend<V: Lane8>(t: &Block<V>, b: &Block<V>, mean: &Vector<V>, k: V) -> Block<V> {
    let mut out = [[V::zero(); NODES]; 3];
    for j in 0..NODES {
        // no closures here: one that is not inlined would be compiled without the vector's features
        let (x, y, z) = (k * (b[0][j] - mean[0]), k * (b[1][j] - mean[1]), k * (b[2][j] - mean[2]));
        out[0][j] = t[1][j] * z - t[2][j] * y;
        out[1][j] = t[2][j] * x - t[0][j] * z;
        out[2][j] = t[0][j] * y - t[1][j] * x;
    }
    out
}

#[inline(always)]
fn largest_change<V: Lane8>(a: &Block<V>, b: &Block<V>) -> f64 {
    let mut worst = V::zero();
    for c in 0..3 {
        for j in 0..NODES {
            worst = worst.larger((a[c][j] - b[c][j]).abs());
        }
    }
    worst.largest()
}

#[inline(always)]
fn roughness<V: Lane8>(t: &Tables<V>, u: &Block<V>) -> f64 {
    let mut worst = V::zero();
    for row in &t.numbers.highest {
        for column in u {
            let mut sum = V::zero();
            for j in 0..NODES {
                sum = V::splat(row[j]).fma(column[j], sum);
            }
            worst = worst.larger(sum.abs());
        }
    }
    worst.largest()
}

/// Rotation of every lane about its mean field.
struct Turn<V> {
    axis: Vector<V>,
    sine: [V; NODES],
    cosine: [V; NODES],
    full: V,
}

impl<V: Lane8> Turn<V> {
    #[inline(always)]
    fn new(t: &Tables<V>, mean: &Vector<V>, k: V, h: V) -> Self {
        let norm = mean[0].fma(mean[0], mean[1].fma(mean[1], mean[2] * mean[2])).sqrt();
        // without a field any axis will do: the smallest number that still has an inverse keeps it finite
        let inverse = V::splat(1.0) / norm.larger(V::splat(f64::MIN_POSITIVE));
        let full = V::zero() - k * h * norm;
        let mut turn = Self {
            axis: [mean[0] * inverse, mean[1] * inverse, mean[2] * inverse],
            sine: [V::zero(); NODES],
            cosine: [V::zero(); NODES],
            full,
        };
        for j in 0..NODES {
            (turn.sine[j], turn.cosine[j]) = sine_cosine_lanes(full * V::splat(t.numbers.place[j]));
        }
        turn
    }

    #[inline(always)]
    fn forward(&self, v: &Block<V>) -> Block<V> {
        let mut out = [[V::zero(); NODES]; 3];
        for j in 0..NODES {
            let turned = self.one([v[0][j], v[1][j], v[2][j]], self.sine[j], self.cosine[j]);
            (out[0][j], out[1][j], out[2][j]) = (turned[0], turned[1], turned[2]);
        }
        out
    }

    #[inline(always)]
    fn backward(&self, v: &Block<V>) -> Block<V> {
        let mut out = [[V::zero(); NODES]; 3];
        for j in 0..NODES {
            let turned = self.one([v[0][j], v[1][j], v[2][j]], V::zero() - self.sine[j], self.cosine[j]);
            (out[0][j], out[1][j], out[2][j]) = (turned[0], turned[1], turned[2]);
        }
        out
    }

    #[inline(always)]
    fn end(&self, v: &Vector<V>) -> Vector<V> {
        let (s, c) = sine_cosine_lanes(self.full);
        self.one(*v, s, c)
    }

    /// `v cos + (a × v) sin + a (a·v)(1 − cos)`.
    #[inline(always)]
    fn one(&self, [x, y, z]: Vector<V>, s: V, c: V) -> Vector<V> {
        let [ax, ay, az] = self.axis;
        let along = ax.fma(x, ay.fma(y, az * z)) * (V::splat(1.0) - c);
        [
            x.fma(c, s.fma(ay * z - az * y, ax * along)),
            y.fma(c, s.fma(az * x - ax * z, ay * along)),
            z.fma(c, s.fma(ax * y - ay * x, az * along)),
        ]
    }
}
