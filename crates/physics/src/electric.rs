//! Motion in a magnetic field and between ideal deflecting plates: relativistic, followed in time to ten digits and more.
//!
//! With `u = p/(m c)`, `γ = √(1 + u²)` and `s = c t`: `dx/ds = u/γ`, `du/ds = q/(m c²) (E + c (u/γ) × B)`. Each step solves for u and x at
//! 16 Gauss nodes by iteration, order 32 at its end. The edge of the plates' field is met exactly: a step ends there.

mod follow;

use arcmass_quantity::constants::SPEED_OF_LIGHT;

use crate::collocation::{NODES, Row, series_and_integral, tables};
use crate::error::{FieldError, PathError};
use crate::motion::Particle;
use crate::path::{MagneticField, turn_between};
use crate::ring::GunShape;
use crate::vec3::Vec3;
use follow::Follower;

const C: f64 = SPEED_OF_LIGHT.value;
/// Angle about the field in one step, at most: the iteration gains a factor of about this over the round's number each round.
const MOST_ROTATION_RAD: f64 = 1.0;
/// Growth of the momentum in one step, at most, in units of itself: keeps the iteration short where the field is strong.
const MOST_GROWTH: f64 = 1.0;
/// Rounds of iteration before the step is halved.
const MOST_ROUNDS: usize = 60;
/// Pieces of a step between which an event is looked for.
const PIECES: usize = 24;
/// Longest way in one step, metres.
const LONGEST_M: f64 = 0.5;
/// A step shorter than this share of the first is hopeless.
const SHORTEST: f64 = 1e-12;
/// Steps of a path at most.
const MOST_STEPS: usize = 100_000;

/// An ideal pair of plates in the bench's frame: a uniform field in the box between them, none outside.
///
/// Without the fringe a particle's energy does not change at the edge, and the potential jumps there; the work done inside is
/// what [`MovingPath::work_j`] gives.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Plates {
    /// Middle of the box.
    pub centre_m: Vec3,
    /// Unit vector along the plates, the way the beam runs.
    pub along: Vec3,
    /// Unit vector from one plate to the other, at right angles to `along`.
    pub across: Vec3,
    /// Distance between the plates.
    pub gap_m: f64,
    /// Length along `along`.
    pub length_m: f64,
    /// Width at right angles to both; infinite for plates that are wide enough.
    pub width_m: f64,
    /// Voltage of the plate on the side that `across` points to, against the other.
    pub voltage_v: f64,
}

impl Plates {
    /// Field strength between the plates, `−V/d` along `across`, volt per metre.
    pub fn field_v_per_m(&self) -> Vec3 {
        self.across * (-self.voltage_v / self.gap_m)
    }

    /// How far inside the box a point is, in metres along the nearest way out; negative outside.
    fn depth_m(&self, point: Vec3) -> f64 {
        let (to_plate, to_end, to_side) = self.depths_m(point);
        to_plate.min(to_end).min(to_side)
    }

    fn depths_m(&self, point: Vec3) -> (f64, f64, f64) {
        let d = point - self.centre_m;
        let third = self.along.cross(self.across);
        let side = 0.5 * self.width_m - d.dot(third).abs();
        (0.5 * self.gap_m - d.dot(self.across).abs(), 0.5 * self.length_m - d.dot(self.along).abs(), side)
    }

    /// Whether a point on the box's surface lies on a plate.
    fn on_plate(&self, point: Vec3) -> bool {
        let (to_plate, to_end, to_side) = self.depths_m(point);
        to_plate.abs() < to_end.abs().min(to_side.abs())
    }

    /// A way in one step that can't pass the box unseen: not farther than up to it, or a part of its length.
    fn safe_step_m(&self, place: Vec3, inside: bool) -> f64 {
        let part = 0.5 * self.length_m.min(self.width_m);
        let (to_plate, to_end, to_side) = self.depths_m(place);
        // outside the box the distance from it is at least the farthest it lies beyond one of its faces
        let away = (-to_plate).max(-to_end).max(-to_side);
        if inside { self.length_m } else { away.max(part.min(self.gap_m)) }
    }

    fn check(&self) -> Result<(), PathError> {
        for (what, got) in
            [("gap of the plates in m", self.gap_m), ("length of the plates in m", self.length_m)]
        {
            if !(got > 0.0 && got.is_finite()) {
                return Err(PathError::OutOfRange { what, must: "above 0 and finite", got });
            }
        }
        if !(self.width_m > 0.0) {
            return Err(PathError::OutOfRange {
                what: "width of the plates in m",
                must: "above 0",
                got: self.width_m,
            });
        }
        let skew = self.along.dot(self.across).abs()
            + (self.along.norm() - 1.0).abs()
            + (self.across.norm() - 1.0).abs();
        if !(skew < 1e-12 && self.centre_m.is_finite() && self.voltage_v.is_finite()) {
            return Err(PathError::OutOfRange {
                what: "deviation of the plates' directions from unit vectors at right angles",
                must: "0, and centre and voltage finite",
                got: skew,
            });
        }
        Ok(())
    }
}

/// Where to stop following a motion.
#[derive(Clone, Copy, Debug, PartialEq)]
#[non_exhaustive]
pub enum MotionUntil {
    /// After a time in seconds.
    Time(f64),
    /// When the direction of the velocity, seen along z, has turned by this many full turns.
    Turns(f64),
    /// Where the path crosses the plane through `point` at right angles to `normal`; a start on it does not count.
    Plane {
        /// A point of the plane.
        point: Vec3,
        /// At right angles to it.
        normal: Vec3,
    },
    /// Where the path leaves the sphere about the origin (inner face of the glass).
    Glass {
        /// Inner radius of the glass.
        inner_radius_m: f64,
    },
}

/// Why a followed motion ended.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[non_exhaustive]
pub enum Ended {
    /// Where it was asked to.
    AsAsked,
    /// At one of the plates.
    AtPlate,
    /// At the longest time allowed, before what was asked for.
    OutOfTime,
}

/// How a motion is followed.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct MotionOptions {
    /// Wanted relative accuracy of the momentum over a step.
    pub tolerance: f64,
    /// Longest time ever followed, seconds.
    pub most_time_s: f64,
}

impl Default for MotionOptions {
    fn default() -> Self {
        Self { tolerance: 1e-13, most_time_s: 1e-5 }
    }
}

/// One step, kept so that any moment in it can be asked for; lengths in `s = c t`.
#[derive(Clone, Debug)]
struct Piece {
    start: f64,
    length: f64,
    /// Share of it that the path takes: less than 1 where the step was cut at an edge.
    used: f64,
    place: Vec3,
    velocity: [Row; 3],
    momentum: [Row; 3],
    work_before_j: f64,
    force_n: Vec3,
}

impl Piece {
    /// Place, u and u/γ at a share of the step.
    fn at(&self, share: f64) -> (Vec3, Vec3) {
        let x = 2.0 * share - 1.0;
        let (_, moved) = series_and_integral(&self.velocity, x);
        let (u, _) = series_and_integral(&self.momentum, x);
        (self.place + Vec3::from(moved) * (0.5 * self.length), Vec3::from(u))
    }
}

/// A followed motion: place and momentum at any moment.
#[derive(Clone, Debug)]
pub struct MovingPath {
    particle: Particle,
    pieces: Vec<Piece>,
    length: f64,
    turned_rad: f64,
    /// Why it ended.
    pub ended: Ended,
}

/// A moment of a motion.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Moment {
    /// Place.
    pub place_m: Vec3,
    /// Momentum over rest mass and speed of light.
    pub u: Vec3,
    /// Velocity.
    pub velocity_m_per_s: Vec3,
    /// Kinetic energy, `m c² u²/(γ + 1)`, joule.
    pub kinetic_energy_j: f64,
}

impl MovingPath {
    /// How long it lasts, seconds.
    pub fn duration_s(&self) -> f64 {
        self.length / C
    }

    /// Angle by which the direction of the velocity, seen along z, has turned at the end.
    pub fn turned_rad(&self) -> f64 {
        self.turned_rad
    }

    /// The motion at a time (brought into 0 … [`MovingPath::duration_s`]).
    pub fn at(&self, time_s: f64) -> Moment {
        let s = (time_s * C).clamp(0.0, self.length);
        let (place_m, u) = match self.piece(s) {
            Some(p) => p.at((s - p.start) / p.length),
            None => (Vec3::ZERO, Vec3::ZERO),
        };
        let gamma = (1.0 + u.dot(u)).sqrt();
        let kinetic_energy_j = self.particle.mass_kg * C * C * u.dot(u) / (gamma + 1.0);
        Moment { place_m, u, velocity_m_per_s: u * (C / gamma), kinetic_energy_j }
    }

    /// Work that the plates have done since the start, joule: the kinetic energy's change, by the conservation of energy.
    pub fn work_j(&self, time_s: f64) -> f64 {
        let s = (time_s * C).clamp(0.0, self.length);
        let Some(p) = self.piece(s) else { return 0.0 };
        p.work_before_j + p.force_n.dot(p.at((s - p.start) / p.length).0 - p.place)
    }

    /// Times, in order, at which `event` of place and direction of motion changes sign.
    pub fn roots_s(&self, event: impl Fn(Vec3, Vec3) -> f64) -> Vec<f64> {
        let mut roots = Vec::new();
        for p in &self.pieces {
            let end = p.used;
            let value = |share: f64| {
                let (x, u) = p.at(share * end);
                event(x, u)
            };
            for (low, high) in sign_changes(&value, p.start == 0.0) {
                roots.push((p.start + p.length * end * bisect(&value, low, high)) / C);
            }
        }
        roots
    }

    /// Times at which the path crosses the plane through `point` at right angles to `normal`, in order.
    pub fn crossings_s(&self, point: Vec3, normal: Vec3) -> Vec<f64> {
        self.roots_s(|x, _| (x - point).dot(normal))
    }

    /// First time at which the path meets the gun's body, which ends at the start and lies behind it, once it has turned by more
    /// than half a turn.
    pub fn meets_gun_s(&self, gun: GunShape) -> Option<f64> {
        let start = self.at(0.0);
        let direction = start.u.unit()?;
        let spacing = 0.25 * gun.radius_m.min(gun.length_m);
        let mut turned = 0.0;
        let (mut time, mut last) = (0.0, start);
        while time < self.duration_s() {
            time = (time + spacing / last.velocity_m_per_s.norm().max(1.0)).min(self.duration_s());
            let now = self.at(time);
            turned += turn_between(last.u, now.u);
            if turned.abs() > std::f64::consts::PI && gun.holds(now.place_m - start.place_m, direction) {
                return Some(time);
            }
            last = now;
        }
        None
    }

    fn piece(&self, s: f64) -> Option<&Piece> {
        self.pieces.get(self.pieces.partition_point(|p| p.start <= s).saturating_sub(1))
    }
}

/// Neighbouring shares between which a value changes sign; a start on the event itself does not count.
fn sign_changes(value: &impl Fn(f64) -> f64, at_start: bool) -> Vec<(f64, f64)> {
    let mut found = Vec::new();
    let mut before = value(0.0);
    for k in 1..=PIECES {
        let share = k as f64 / PIECES as f64;
        let now = value(share);
        let on_it = at_start && k == 1 && before.abs() < 1e-9 * now.abs();
        if before * now <= 0.0 && before != 0.0 && !on_it {
            found.push(((k - 1) as f64 / PIECES as f64, share));
        }
        before = now;
    }
    found
}

fn bisect(value: &impl Fn(f64) -> f64, mut low: f64, mut high: f64) -> f64 {
    let sign = value(low);
    for _ in 0..60 {
        let middle = 0.5 * (low + high);
        if value(middle) * sign > 0.0 {
            low = middle;
        } else {
            high = middle;
        }
    }
    0.5 * (low + high)
}

/// Follows a particle of kinetic energy `kinetic_energy_j` from `start` along `direction` in a magnetic field and between plates.
///
/// - **Gives** a [`MovingPath`] that ends where `until` says, at a plate, or at the longest time allowed.
/// - **Fails** with [`PathError`] where the field has no value, for plates that make no box, for a start without direction or energy.
/// - **Source** J. D. Jackson, *Classical Electrodynamics*, 3rd ed., § 12.1; collocation: Hairer, Lubich, Wanner, *Geometric Numerical
///   Integration*, § II.1.
///
/// ```
/// use arcmass_physics::{MotionOptions, MotionUntil, Particle, Plates, Vec3, follow_motion};
/// // 2 kV electrons between plates 2 cm apart and 6 cm long with 100 V: deflected by V_d L²/(4 d V_a) to first order
/// let plates = Plates {
///     centre_m: Vec3::new(0.03, 0.0, 0.0), along: Vec3::X, across: Vec3::Y,
///     gap_m: 0.02, length_m: 0.06, width_m: f64::INFINITY, voltage_v: 100.0,
/// };
/// let electron = Particle::default();
/// let energy = electron.kinetic_energy_j(2000.0)?;
/// let none = |_: Vec3| Ok(Vec3::ZERO);
/// let screen = MotionUntil::Plane { point: Vec3::X * 0.06, normal: Vec3::X };
/// let path = follow_motion(&none, &[plates], &electron, energy, -Vec3::X * 1e-3, Vec3::X, screen, &MotionOptions::default())?;
/// let y = path.at(path.duration_s()).place_m.y;
/// assert!((y / 2.25e-3 - 1.0).abs() < 0.01, "{y}");
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
#[allow(clippy::too_many_arguments)]
pub fn follow_motion<F: MagneticField>(
    field: &F,
    plates: &[Plates],
    particle: &Particle,
    kinetic_energy_j: f64,
    start: Vec3,
    direction: Vec3,
    until: MotionUntil,
    options: &MotionOptions,
) -> Result<MovingPath, PathError> {
    plates.iter().try_for_each(Plates::check)?;
    let along = direction.unit().ok_or(PathError::NoDirection(direction))?;
    if !start.is_finite() {
        return Err(PathError::Field(FieldError::PointNotFinite(start)));
    }
    let motion = particle.with_kinetic_energy(kinetic_energy_j).map_err(|_| PathError::OutOfRange {
        what: "kinetic energy in J",
        must: "above 0 and finite, of a particle with mass",
        got: kinetic_energy_j,
    })?;
    if !(options.tolerance >= 1e-15 && options.tolerance < 0.1 && options.most_time_s > 0.0) {
        return Err(PathError::OutOfRange {
            what: "tolerance of a motion",
            must: "from 1e-15 to 0.1, with a longest time above 0",
            got: options.tolerance,
        });
    }
    let u = along * (motion.momentum_kg_m_per_s / (particle.mass_kg * C));
    let inside = plates.iter().map(|p| p.depth_m(start + along * (1e-9 * p.length_m)) > 0.0).collect();
    let most = match until {
        MotionUntil::Time(t) if t > 0.0 && t <= options.most_time_s => t,
        MotionUntil::Time(got) => {
            return Err(PathError::OutOfRange {
                what: "time in seconds",
                must: "above 0 and within most_time_s",
                got,
            });
        }
        _ => options.most_time_s,
    };
    let mut follower = Follower {
        field,
        plates,
        particle,
        inside,
        place: start,
        u,
        step: f64::INFINITY,
        work_j: 0.0,
        tolerance: options.tolerance,
    };
    follower.follow(until, C * most)
}
