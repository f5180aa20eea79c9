//! One step of a path: the rotation about a mean field taken out exactly, the rest solved at the nodes by iteration.

use crate::collocation::{NODES, Row, sine_cosine, tables};
use crate::error::PathError;
use crate::path::{MagneticField, Segment, TraceOptions, turn_between};
use crate::vec3::Vec3;

/// Most rotation about the mean field in one step: three steps make a turn, with a little to spare for its end.
const MOST_ROTATION_RAD: f64 = 2.15;
/// Rotation that the tables of a step still resolve to rounding.
const WIDEST_RAD: f64 = 3.1;
/// Rounds of iteration before the step is halved.
const MOST_ROUNDS: usize = 24;
/// A step shorter than this share of the longest step is hopeless.
const SHORTEST: f64 = 1e-9;

/// Where a path stands.
#[derive(Clone, Debug)]
pub(crate) struct State {
    pub(crate) place: Vec3,
    pub(crate) direction: Vec3,
    pub(crate) arc_length_m: f64,
    pub(crate) mean_field: Vec3,
    step_m: f64,
}

impl State {
    pub(crate) fn new(place: Vec3, direction: Vec3) -> Self {
        Self { place, direction, arc_length_m: 0.0, mean_field: Vec3::ZERO, step_m: f64::INFINITY }
    }
}

/// What the iteration gave.
pub(crate) struct Solved {
    pub(crate) nodes: [Row; 3],
    pub(crate) place: Vec3,
    pub(crate) direction: Vec3,
    pub(crate) mean_field: Vec3,
    /// Estimated error of the direction inside the step, and whether the iteration converged.
    pub(crate) error: f64,
    pub(crate) converged: bool,
}

/// Takes one step of at most `most_m`, as long as the tolerance allows.
#[inline(always)]
pub(crate) fn take_step<F: MagneticField>(
    field: &F,
    state: &mut State,
    momentum_over_charge_t_m: f64,
    options: &TraceOptions,
    most_m: f64,
) -> Result<Segment, PathError> {
    let mut length = state.step_m.min(options.longest_step_m).min(most_m);
    loop {
        let rate = state.mean_field.norm() / momentum_over_charge_t_m.abs();
        if rate * length > MOST_ROTATION_RAD {
            length = MOST_ROTATION_RAD / rate;
        }
        if length < SHORTEST * options.longest_step_m.min(most_m) {
            return Err(PathError::StepTooSmall(state.place));
        }
        let solved = solve(field, state, momentum_over_charge_t_m, length, options.tolerance)?;
        // the direction's error over the step moves the end by that angle times the step
        if !solved.converged || solved.error > options.tolerance {
            length *= if solved.converged {
                (options.tolerance / solved.error).powf(1.0 / 16.0).clamp(0.2, 0.85)
            } else {
                0.5
            };
            continue;
        }
        let growth = (options.tolerance / solved.error.max(1e-18)).powf(1.0 / 16.0);
        state.step_m = length * (0.9 * growth).clamp(0.5, 3.0);
        return Ok(finish(state, solved, length, most_m));
    }
}

#[inline(always)]
fn finish(state: &mut State, solved: Solved, length: f64, most_m: f64) -> Segment {
    let from = state.direction;
    let mut turned = 0.0;
    let mut last = from;
    // Every fourth node: fewer than half a turn between them.
    for i in [3, 7, 11] {
        let t = Vec3::new(solved.nodes[0][i], solved.nodes[1][i], solved.nodes[2][i]);
        turned += turn_between(last, t);
        last = t;
    }
    turned += turn_between(last, solved.direction);
    let segment = Segment {
        start_m: state.arc_length_m,
        length_m: length,
        place: state.place,
        spectrum: spectrum(&solved.nodes),
        turned_before_rad: 0.0,
        turned_rad: turned,
    };
    state.place = solved.place;
    state.direction = solved.direction;
    state.mean_field = solved.mean_field;
    // the last step ends exactly where it must, so that no sliver of a step is left
    state.arc_length_m += if length >= most_m { most_m } else { length };
    segment
}

/// Solves `u = t₀ + ∫ (q/p) R⁻¹ (t × δB)`, `t = R u`, `x = x₀ + ∫ t` at the nodes, R the rotation about the mean field.
#[inline(always)]
pub(crate) fn solve<F: MagneticField>(
    field: &F,
    state: &State,
    momentum_over_charge_t_m: f64,
    length: f64,
    tolerance: f64,
) -> Result<Solved, PathError> {
    let t = tables();
    let k = 1.0 / momentum_over_charge_t_m;
    let mut mean = state.mean_field;
    let mut turn = Turn::new(mean, -k * length);
    let start: [f64; 3] = state.direction.into();
    let mut u: [Row; 3] = start.map(|v| [v; NODES]);
    let mut nodes = turn.forward(&u);
    let mut change = f64::INFINITY;
    let mut converged = false;
    let mut force = [[0.0; NODES]; 3];
    for round in 0..MOST_ROUNDS {
        let b = field.at_nodes(&integrate(t, &nodes, state.place, length))?;
        if round == 0 {
            mean = weighted(&t.weight, &b);
            turn = Turn::new(mean, -k * length);
            if !(turn.full_angle.abs() < WIDEST_RAD) {
                break;
            }
        }
        force = turn.backward(&bend(&nodes, &b, mean, k));
        let mut moved = integrate(t, &force, state.direction, length);
        let before = change;
        change = largest_change(&u, &moved);
        std::mem::swap(&mut u, &mut moved);
        nodes = turn.forward(&u);
        // each round shrinks the change by about the same factor, so what is left is the next change
        let left = change * (change / before);
        if (round > 0 && left <= 0.05 * tolerance) || (change < 1e-14 && round > 1) {
            converged = true;
            break;
        }
        if round > 3 && change > 0.7 * before {
            break;
        }
    }
    let end_u = state.direction + weighted(&t.weight, &force) * length;
    let place = state.place + weighted(&t.weight, &nodes) * length;
    let direction = turn.end(end_u);
    Ok(Solved {
        nodes,
        place,
        direction: direction / direction.norm(),
        mean_field: mean,
        error: roughness(t, &nodes),
        converged,
    })
}

/// The part of the direction that the highest two Legendre coefficients carry: what the next would be, and more.
#[inline(always)]
fn roughness(t: &crate::collocation::Tables, nodes: &[Row; 3]) -> f64 {
    let mut worst: f64 = 0.0;
    for column in nodes {
        let mut size: f64 = 0.0;
        for row in [&t.spectrum[NODES - 1], &t.spectrum[NODES - 2]] {
            let mut c = 0.0;
            for j in 0..NODES {
                c += row[j] * column[j];
            }
            size = size.max(c.abs());
        }
        worst = worst.max(size);
    }
    // integrated over the step a coefficient of order n counts 1/(2n+1)
    worst / (2.0 * NODES as f64)
}

#[inline(always)]
fn integrate(t: &crate::collocation::Tables, values: &[Row; 3], from: Vec3, length: f64) -> [Row; 3] {
    let from: [f64; 3] = from.into();
    let mut out = [[0.0; NODES]; 3];
    for c in 0..3 {
        let mut sum = [0.0; NODES];
        for j in 0..NODES {
            let v = values[c][j] * length;
            for i in 0..NODES {
                sum[i] = t.integral[j][i].mul_add(v, sum[i]);
            }
        }
        for i in 0..NODES {
            out[c][i] = from[c] + sum[i];
        }
    }
    out
}

/// `(q/p) t × (B − mean)` at the nodes.
#[inline(always)]
fn bend(t: &[Row; 3], b: &[Row; 3], mean: Vec3, k: f64) -> [Row; 3] {
    let mut out = [[0.0; NODES]; 3];
    for i in 0..NODES {
        let (x, y, z) = (k * (b[0][i] - mean.x), k * (b[1][i] - mean.y), k * (b[2][i] - mean.z));
        out[0][i] = t[1][i] * z - t[2][i] * y;
        out[1][i] = t[2][i] * x - t[0][i] * z;
        out[2][i] = t[0][i] * y - t[1][i] * x;
    }
    out
}

/// Legendre coefficients of three columns over a step.
#[inline(always)]
fn spectrum(nodes: &[Row; 3]) -> [Row; 3] {
    let t = tables();
    let mut out = [[0.0; NODES]; 3];
    for c in 0..3 {
        for j in 0..NODES {
            let v = nodes[c][j];
            for n in 0..NODES {
                out[c][n] = t.spectrum_by_node[j][n].mul_add(v, out[c][n]);
            }
        }
    }
    out
}

#[inline(always)]
fn weighted(weight: &Row, values: &[Row; 3]) -> Vec3 {
    let mut sum = [0.0; 3];
    for c in 0..3 {
        for j in 0..NODES {
            sum[c] += weight[j] * values[c][j];
        }
    }
    Vec3::from(sum)
}

#[inline(always)]
fn largest_change(a: &[Row; 3], b: &[Row; 3]) -> f64 {
    let mut worst: f64 = 0.0;
    for c in 0..3 {
        for i in 0..NODES {
            let d = (a[c][i] - b[c][i]).abs();
            // a value that is no number must not pass as small
            worst = if d <= worst { worst } else { d };
        }
    }
    worst
}

/// Rotation about the mean field at every node of a step.
struct Turn {
    axis: Vec3,
    sine: Row,
    cosine: Row,
    full_angle: f64,
}

impl Turn {
    /// `scale` is −(q/p) × step length: `dt/ds = (q/p) t × B` is a rotation about B at the rate −(q/p) |B|.
    #[inline(always)]
    fn new(mean: Vec3, scale: f64) -> Self {
        let norm = mean.norm();
        let axis = if norm > 0.0 { mean / norm } else { Vec3::Z };
        let full_angle = scale * norm;
        let (mut sine, mut cosine) = ([0.0; NODES], [0.0; NODES]);
        let place = &tables().place;
        for i in 0..NODES {
            (sine[i], cosine[i]) = sine_cosine(full_angle * place[i]);
        }
        Self { axis, sine, cosine, full_angle }
    }

    #[inline(always)]
    fn forward(&self, v: &[Row; 3]) -> [Row; 3] {
        self.turned(v, 1.0)
    }

    #[inline(always)]
    fn backward(&self, v: &[Row; 3]) -> [Row; 3] {
        self.turned(v, -1.0)
    }

    #[inline(always)]
    fn turned(&self, v: &[Row; 3], sign: f64) -> [Row; 3] {
        let a = self.axis;
        let mut out = [[0.0; NODES]; 3];
        for i in 0..NODES {
            let (x, y, z) = (v[0][i], v[1][i], v[2][i]);
            let (s, c) = (sign * self.sine[i], self.cosine[i]);
            let along = (a.x * x + a.y * y + a.z * z) * (1.0 - c);
            out[0][i] = x * c + (a.y * z - a.z * y) * s + a.x * along;
            out[1][i] = y * c + (a.z * x - a.x * z) * s + a.y * along;
            out[2][i] = z * c + (a.x * y - a.y * x) * s + a.z * along;
        }
        out
    }

    /// The end of the step.
    #[inline(always)]
    fn end(&self, v: Vec3) -> Vec3 {
        let (s, c) = sine_cosine(self.full_angle);
        v * c + self.axis.cross(v) * s + self.axis * (self.axis.dot(v) * (1.0 - c))
    }
}
