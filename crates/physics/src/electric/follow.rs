//! Step by step along a motion between plates: each solved by iteration at Gauss nodes, cut at edges and where it is to end.

use super::*;

/// Where the motion is, and how it goes on.
pub(super) struct Follower<'a, F> {
    pub(super) field: &'a F,
    pub(super) plates: &'a [Plates],
    pub(super) particle: &'a Particle,
    pub(super) inside: Vec<bool>,
    pub(super) place: Vec3,
    pub(super) u: Vec3,
    pub(super) step: f64,
    pub(super) work_j: f64,
    pub(super) tolerance: f64,
}

impl<F: MagneticField> Follower<'_, F> {
    pub(super) fn follow(&mut self, until: MotionUntil, most: f64) -> Result<MovingPath, PathError> {
        let mut path = MovingPath {
            particle: *self.particle,
            pieces: Vec::new(),
            length: 0.0,
            turned_rad: 0.0,
            ended: Ended::OutOfTime,
        };
        while path.length < most && path.pieces.len() < MOST_STEPS {
            let mut piece = self.one_step(path.length, most - path.length)?;
            let edge = self.first_edge(&piece);
            let asked = asked(&piece, until, path.turned_rad);
            let share = edge.map_or(1.0, |e| e.0).min(asked.unwrap_or(1.0));
            let is_asked = asked.is_some_and(|a| a <= share);
            let (place, u) = piece.at(share);
            path.turned_rad += turned(&piece, share);
            self.work_j += piece.force_n.dot(place - self.place);
            let length = piece.length * share;
            piece.used = share;
            (self.place, self.u) = (place, u);
            path.length =
                if share == 1.0 && length >= most - path.length { most } else { path.length + length };
            path.pieces.push(piece);
            if is_asked {
                path.ended = Ended::AsAsked;
                return Ok(path);
            }
            if let Some((_, index)) = edge {
                if self.plates.get(index).is_some_and(|p| p.on_plate(place)) {
                    path.ended = Ended::AtPlate;
                    return Ok(path);
                }
                if let Some(flag) = self.inside.get_mut(index) {
                    *flag = !*flag;
                }
            }
        }
        if matches!(until, MotionUntil::Time(_)) {
            path.ended = Ended::AsAsked;
        }
        Ok(path)
    }

    /// Uniform electric field of the plates the particle is between.
    fn electric(&self) -> Vec3 {
        let between = self.plates.iter().zip(&self.inside).filter(|(_, inside)| **inside);
        between.fold(Vec3::ZERO, |sum, (p, _)| sum + p.field_v_per_m())
    }

    /// Where in the step the particle first comes to an edge of a pair of plates, and which pair.
    fn first_edge(&self, piece: &Piece) -> Option<(f64, usize)> {
        let mut first: Option<(f64, usize)> = None;
        for (index, (plates, inside)) in self.plates.iter().zip(&self.inside).enumerate() {
            let sign = if *inside { 1.0 } else { -1.0 };
            let value = |share: f64| sign * plates.depth_m(piece.at(share).0);
            let mut last = 0.0;
            for k in 1..=PIECES {
                let share = k as f64 / PIECES as f64;
                if value(share) < 0.0 {
                    // the step before may begin on the edge itself, where rounding decides the sign
                    let low = if k == 1 { 1e-9 } else { last };
                    let at = if value(low) > 0.0 { bisect(&value, low, share) } else { low };
                    if first.is_none_or(|f| at < f.0) {
                        first = Some((at, index));
                    }
                    break;
                }
                last = share;
            }
        }
        first
    }

    fn one_step(&mut self, start: f64, most: f64) -> Result<Piece, PathError> {
        let rate = self.particle.charge_c() / (self.particle.mass_kg * C);
        let electric = self.electric() * (rate / C);
        let gamma = (1.0 + self.u.dot(self.u)).sqrt();
        let turn = rate.abs() * self.field.flux_density(self.place)?.norm() / gamma;
        let growth = electric.norm() / self.u.norm();
        let reach =
            self.plates.iter().zip(&self.inside).fold(LONGEST_M, |reach, (plates, inside)| {
                reach.min(plates.safe_step_m(self.place, *inside))
            });
        let speed = self.u.norm() / gamma;
        let longest = (MOST_ROTATION_RAD / turn).min(MOST_GROWTH / growth).min(reach / speed).min(most);
        let mut length = self.step.min(longest);
        let shortest = SHORTEST * longest.min(1e3);
        while length > shortest {
            match self.solve(length, rate, electric)? {
                Some((error, velocity, momentum)) if error <= self.tolerance => {
                    let grow = (self.tolerance / error.max(1e-18)).powf(1.0 / 16.0);
                    self.step = length * (0.9 * grow).clamp(0.5, 3.0);
                    let force_n = self.electric() * self.particle.charge_c();
                    return Ok(Piece {
                        start,
                        length,
                        used: 1.0,
                        place: self.place,
                        velocity,
                        momentum,
                        work_before_j: self.work_j,
                        force_n,
                    });
                }
                Some((error, ..)) => {
                    length *= (self.tolerance / error).powf(1.0 / 16.0).clamp(0.2, 0.85);
                }
                None => length *= 0.5,
            }
        }
        Err(PathError::StepTooSmall(self.place))
    }

    /// Solves one step; gives its roughness and the Legendre coefficients of u/γ and u, or nothing where the iteration does not converge.
    #[allow(clippy::type_complexity)]
    fn solve(
        &self,
        length: f64,
        rate: f64,
        electric: Vec3,
    ) -> Result<Option<(f64, [Row; 3], [Row; 3])>, PathError> {
        let size = self.u.norm();
        let start: [f64; 3] = self.u.into();
        let mut u = start.map(|v| [v; NODES]);
        let mut before = f64::INFINITY;
        for _ in 0..MOST_ROUNDS {
            let v = velocity(&u);
            let x = integrated(&v, self.place.into(), length);
            let b = self.field.at_nodes(&x)?;
            let mut force = [[0.0; NODES]; 3];
            for j in 0..NODES {
                force[0][j] = electric.x + rate * (v[1][j] * b[2][j] - v[2][j] * b[1][j]);
                force[1][j] = electric.y + rate * (v[2][j] * b[0][j] - v[0][j] * b[2][j]);
                force[2][j] = electric.z + rate * (v[0][j] * b[1][j] - v[1][j] * b[0][j]);
            }
            let next = integrated(&force, start, length);
            let mut change = 0.0f64;
            for c in 0..3 {
                for j in 0..NODES {
                    let d = (next[c][j] - u[c][j]).abs();
                    change = if d <= change { change } else { d };
                }
            }
            u = next;
            // down to rounding, or as far as the iteration goes on shrinking the change
            if change <= 2e-16 * size || (change <= 1e-14 * size && change >= 0.5 * before) {
                let momentum = spectrum(&u);
                return Ok(Some((roughness(&momentum) / size, spectrum(&velocity(&u)), momentum)));
            }
            if !change.is_finite() || change > 4.0 * before {
                return Ok(None);
            }
            before = change;
        }
        Ok(None)
    }
}

/// Where in a step that happens which was asked for.
fn asked(piece: &Piece, until: MotionUntil, turned_before: f64) -> Option<f64> {
    let first = |value: &dyn Fn(f64) -> f64| {
        let value = |share: f64| value(share);
        let (low, high) = sign_changes(&value, piece.start == 0.0).first().copied()?;
        Some(bisect(&value, low, high))
    };
    match until {
        MotionUntil::Time(_) => None,
        MotionUntil::Plane { point, normal } => first(&|share| (piece.at(share).0 - point).dot(normal)),
        MotionUntil::Glass { inner_radius_m } => {
            let value = |share: f64| inner_radius_m - piece.at(share).0.norm();
            if value(0.0) <= 0.0 { Some(0.0) } else { first(&value) }
        }
        MotionUntil::Turns(turns) => {
            let wanted = std::f64::consts::TAU * turns.abs();
            first(&|share| wanted - (turned_before + turned(piece, share)).abs())
        }
    }
}

/// Angle turned, seen along z, up to a share of a step (which turns by less than half a turn).
fn turned(piece: &Piece, share: f64) -> f64 {
    turn_between(piece.at(0.0).1, piece.at(share).1)
}

/// u/γ at every node.
fn velocity(u: &[Row; 3]) -> [Row; 3] {
    let mut v = *u;
    for j in 0..NODES {
        let inverse = 1.0 / (1.0 + u[0][j] * u[0][j] + u[1][j] * u[1][j] + u[2][j] * u[2][j]).sqrt();
        for row in &mut v {
            row[j] *= inverse;
        }
    }
    v
}

fn integrated(values: &[Row; 3], from: [f64; 3], length: f64) -> [Row; 3] {
    let t = tables();
    let mut out = [[0.0; NODES]; 3];
    for c in 0..3 {
        let mut sum = [0.0; NODES];
        for j in 0..NODES {
            for i in 0..NODES {
                sum[i] += t.integral[j][i] * values[c][j];
            }
        }
        for i in 0..NODES {
            out[c][i] = from[c] + length * sum[i];
        }
    }
    out
}

fn spectrum(nodes: &[Row; 3]) -> [Row; 3] {
    let t = tables();
    let mut out = [[0.0; NODES]; 3];
    for c in 0..3 {
        for j in 0..NODES {
            for n in 0..NODES {
                out[c][n] += t.spectrum_by_node[j][n] * nodes[c][j];
            }
        }
    }
    out
}

/// What the highest two Legendre coefficients carry, over their weight in the integral.
fn roughness(spectrum: &[Row; 3]) -> f64 {
    let highest = spectrum.iter().flat_map(|row| row.iter().skip(NODES - 2));
    highest.fold(0.0f64, |worst, c| worst.max(c.abs())) / (2.0 * NODES as f64)
}
