//! What a person sees of a path: the ring's diameters, the pitch, where it meets the glass or the gun.

use crate::error::PathError;
use crate::path::{HALF_TURN_RAD, MagneticField, Path, TraceOptions, Until, trace};
use crate::vec3::Vec3;

/// What stands in the beam's way.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Surroundings {
    /// Inner radius of the glass sphere about the origin; `None` for no glass.
    pub glass_inner_radius_m: Option<f64>,
    /// The gun; `None` for a muzzle without a body.
    pub gun: Option<GunShape>,
}

/// The gun's body: a cylinder that ends at the muzzle and lies behind it, along the beam's first direction.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct GunShape {
    /// Radius of the cylinder (half the beam's width added by the caller if wanted).
    pub radius_m: f64,
    /// Length behind the muzzle.
    pub length_m: f64,
}

impl GunShape {
    /// Whether the body holds a place `apart` from the muzzle, the beam leaving along the unit vector `direction`.
    pub fn holds(&self, apart: Vec3, direction: Vec3) -> bool {
        let behind = -apart.dot(direction);
        let aside = (apart + direction * behind).norm();
        (0.0..=self.length_m).contains(&behind) && aside <= self.radius_m
    }
}

/// One turn of a path, measured as the contract says.
#[derive(Clone, Debug)]
pub struct PathSummary {
    /// The turn itself (shorter if the glass ends it first).
    pub path: Path,
    /// Points on it, equally spaced in arc length, the first at the muzzle, the last one spacing before the end of the turn.
    pub points_m: Vec<Vec3>,
    /// Circle of least orthogonal distances through the turn, equal shares of its length counting equally, in the x–y projection; `None` if
    /// the glass ends the turn.
    pub fitted_circle: Option<Circle>,
    /// Diameter of that circle.
    pub fitted_diameter_m: Option<f64>,
    /// From the muzzle to the far crossing of the plane through the muzzle that holds ẑ and is at right angles to the beam there,
    /// in the x–y projection; `None` if the glass comes first.
    pub chord_diameter_m: Option<f64>,
    /// Signed change of z over the turn; `None` if the glass ends it.
    pub pitch_m: Option<f64>,
    /// Turns until the glass, if it is met within the turns followed.
    pub turns_to_glass: Option<f64>,
    /// Where it is met.
    pub glass_point_m: Option<Vec3>,
    /// Whether the beam comes back to the gun's body within a turn and a quarter, before the glass.
    pub meets_gun: bool,
}

/// A circle in the x–y projection.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Circle {
    /// Centre, x.
    pub centre_x_m: f64,
    /// Centre, y.
    pub centre_y_m: f64,
    /// Radius.
    pub radius_m: f64,
}

/// Turns followed in search of the glass.
pub const MOST_TURNS_TO_GLASS: f64 = 20.0;
/// Points of the turn that the circle is fitted to. A real turn does not close, so that a circle through points from its start on
/// depends on their number, by 1e-5 for some hundred; the middles of equal parts of the turn agree with infinitely many to 1e-7.
const FITTED_POINTS: usize = 360;
/// Turns within which the beam is looked for at the gun.
const TURNS_TO_GUN: f64 = 1.25;

/// Follows one turn from the muzzle and measures it; follows on to the glass.
///
/// ```
/// use arcmass_physics::{BenchField, CoilSet, Particle, PreparedField, Surroundings, TraceOptions, Vec3, summarise};
/// let coils = CoilSet::pair(0.15, 0.15, 124.0, 0.012, 0.016, 1.0);
/// let prepared = PreparedField::new(&coils, 0.08)?;
/// let background_t = Vec3::new(0.0, -45e-6, 0.0);
/// let field = BenchField { prepared: &prepared, current_a: 1.5, scale: 1.0, background_t };
/// let p = Particle::default().accelerated(250.0)?.momentum_over_charge_t_m();
/// let glass = Surroundings { glass_inner_radius_m: Some(0.0785), gun: None };
/// let ring = summarise(&field, Vec3::new(0.0, -0.04, 0.0), Vec3::X, p, &glass, 180, &TraceOptions::default())?;
/// // the textbook's 2p/(eB) with the field at the centre is half a per cent small: the field falls off towards the coils
/// let textbook = 2.0 * p.abs() / field.at(Vec3::ZERO)?.norm();
/// let measured = ring.fitted_diameter_m.ok_or("the glass ends this turn")?;
/// assert!(measured > textbook && measured < 1.01 * textbook, "{measured} {textbook}");
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
///
/// - **Takes** the field, muzzle, first direction, signed p/q, what stands in the way and how many points a turn.
/// - **Gives** a [`PathSummary`]; what the glass prevents is `None`.
/// - **Fails** as [`trace`] does.
pub fn summarise<F: MagneticField>(
    field: &F,
    muzzle: Vec3,
    direction: Vec3,
    momentum_over_charge_t_m: f64,
    surroundings: &Surroundings,
    points_per_turn: usize,
    options: &TraceOptions,
) -> Result<PathSummary, PathError> {
    let follow = |until: Until| trace(field, muzzle, direction, momentum_over_charge_t_m, until, options);
    let turn_until = |turns: f64| match surroundings.glass_inner_radius_m {
        Some(inner_radius_m) => Until::Glass { inner_radius_m, most_turns: turns },
        None => Until::Turns(turns),
    };
    let path = follow(turn_until(1.0))?;
    let points_m = path.points(points_per_turn, true);
    let whole = !path.ended_at_glass();
    let fitted_circle = whole.then(|| fit_circle(&path.middles(FITTED_POINTS))).flatten();
    let glass = glass(&path, surroundings, follow)?;
    let meets_gun = match surroundings.gun {
        Some(gun) => returns_to_gun(&follow(turn_until(TURNS_TO_GUN))?, gun),
        None => false,
    };
    Ok(PathSummary {
        chord_diameter_m: chord_diameter_m(&path),
        fitted_diameter_m: fitted_circle.map(|c| 2.0 * c.radius_m),
        pitch_m: whole.then(|| path.at(path.length_m()).0.z - muzzle.z),
        turns_to_glass: glass.map(|g| g.0),
        glass_point_m: glass.map(|g| g.1),
        fitted_circle,
        points_m,
        meets_gun,
        path,
    })
}

/// Turns to the glass and the place, from the first turn or from following on.
fn glass(
    path: &Path,
    surroundings: &Surroundings,
    follow: impl Fn(Until) -> Result<Path, PathError>,
) -> Result<Option<(f64, Vec3)>, PathError> {
    let Some(inner_radius_m) = surroundings.glass_inner_radius_m else { return Ok(None) };
    let longer;
    let met = if path.ended_at_glass() {
        path
    } else {
        longer = follow(Until::Glass { inner_radius_m, most_turns: MOST_TURNS_TO_GLASS })?;
        &longer
    };
    let turns = met.turned_rad().abs() / std::f64::consts::TAU;
    Ok(met.ended_at_glass().then(|| (turns, met.at(met.length_m()).0)))
}

/// From the start of a path to the far crossing of the plane through it that holds ẑ and is at right angles to the beam
/// there, seen along z, m; `None` if the path ends first.
pub fn chord_diameter_m(path: &Path) -> Option<f64> {
    let (muzzle, direction) = path.at(0.0);
    let normal = Vec3::new(direction.x, direction.y, 0.0).unit()?;
    let crossings = path.crossings_m(muzzle, normal);
    let far = crossings.into_iter().find(|s| path.turned_at_rad(*s).abs() > 0.5 * HALF_TURN_RAD)?;
    let apart = path.at(far).0 - muzzle;
    Some(apart.x.hypot(apart.y))
}

/// Whether the path, once it has turned by more than half a turn, enters the gun's body.
fn returns_to_gun(path: &Path, gun: GunShape) -> bool {
    let (muzzle, direction) = path.at(0.0);
    let inside = |s: f64| gun.holds(path.at(s).0 - muzzle, direction);
    // Samples a quarter of the body's radius apart can't step over it.
    let spacing = 0.25 * gun.radius_m.min(gun.length_m).max(1e-5 * path.length_m());
    let count = (path.length_m() / spacing).ceil() as usize;
    (0..=count)
        .map(|i| (i as f64 * spacing).min(path.length_m()))
        .any(|s| path.turned_at_rad(s).abs() > HALF_TURN_RAD && inside(s))
}

/// Circle of least orthogonal distances through points, in the x–y projection (Gauss–Newton from the algebraic circle).
///
/// **Gives** `None` for fewer than three points or points on a line. **Source** W. Gander, G. H. Golub, R. Strebel, BIT 34 (1994) 558.
pub fn fit_circle(points_m: &[Vec3]) -> Option<Circle> {
    if points_m.len() < 3 {
        return None;
    }
    let n = points_m.len() as f64;
    let (mx, my) = points_m.iter().fold((0.0, 0.0), |(x, y), p| (x + p.x / n, y + p.y / n));
    let centred: Vec<(f64, f64)> = points_m.iter().map(|p| (p.x - mx, p.y - my)).collect();
    let (mut cx, mut cy, mut r) = algebraic(&centred)?;
    for _ in 0..60 {
        let mut m = [[0.0; 3]; 3];
        let mut v = [0.0; 3];
        for (x, y) in &centred {
            let (dx, dy) = (x - cx, y - cy);
            let d = dx.hypot(dy);
            let row = [-dx / d, -dy / d, -1.0];
            let residual = d - r;
            for (i, a) in row.iter().enumerate() {
                v[i] -= a * residual;
                for (j, b) in row.iter().enumerate() {
                    m[i][j] += a * b;
                }
            }
        }
        let [dx, dy, dr] = solve(m, v)?;
        (cx, cy, r) = (cx + dx, cy + dy, r + dr);
        if dx.hypot(dy).hypot(dr) <= 1e-15 * r.abs() {
            break;
        }
    }
    (r > 0.0 && r.is_finite()).then_some(Circle { centre_x_m: cx + mx, centre_y_m: cy + my, radius_m: r })
}

/// Least squares of `x² + y² = 2 a x + 2 b y + c` on points about their mean.
fn algebraic(points: &[(f64, f64)]) -> Option<(f64, f64, f64)> {
    let mut m = [[0.0; 3]; 3];
    let mut v = [0.0; 3];
    for (x, y) in points {
        let row = [2.0 * x, 2.0 * y, 1.0];
        let q = x * x + y * y;
        for (i, a) in row.iter().enumerate() {
            v[i] += a * q;
            for (j, b) in row.iter().enumerate() {
                m[i][j] += a * b;
            }
        }
    }
    let [a, b, c] = solve(m, v)?;
    let r2 = c + a * a + b * b;
    (r2 > 0.0).then(|| (a, b, r2.sqrt()))
}

/// Three linear equations by Cramer's rule, scaled; `None` if they hold no solution.
fn solve(m: [[f64; 3]; 3], v: [f64; 3]) -> Option<[f64; 3]> {
    let [a, b, c] = m.map(Vec3::from);
    let (bc, ca, ab) = (b.cross(c), c.cross(a), a.cross(b));
    let det = a.dot(bc);
    let scale = a.norm() * b.norm() * c.norm();
    if !(det.abs() > 1e-14 * scale) {
        return None;
    }
    Some(((bc * v[0] + ca * v[1] + ab * v[2]) / det).into())
}
