//! Where the beam really runs to, and how far it lies from an ideal ring or helix.

use arcmass_physics::motion::uniform_field_path;
use arcmass_physics::{
    MagneticField, Path, PathError, PathSummary, Surroundings, TraceOptions, Until, Vec3, trace,
};

use crate::document::{Deviation, PathEnd};

/// Turns drawn at most.
const MOST_TURNS: f64 = 3.0;
/// Points of a drawn path for each turn.
const POINTS_A_TURN: f64 = 120.0;
/// The gun is looked for after this share of a turn.
const AWAY_TURNS: f64 = 0.5;

/// A path and how much of it the beam really takes.
pub(super) struct Drawn {
    path: Path,
    pub(super) length_m: f64,
}

/// Follows the beam to the gun, to the glass, or for three turns, whichever comes first.
pub(super) fn drawn<F: MagneticField>(
    field: &F,
    muzzle: Vec3,
    direction: Vec3,
    rigidity_t_m: f64,
    surroundings: &Surroundings,
) -> Result<(Drawn, PathEnd), PathError> {
    let until = match surroundings.glass_inner_radius_m {
        Some(inner_radius_m) => Until::Glass { inner_radius_m, most_turns: MOST_TURNS },
        None => Until::Turns(MOST_TURNS),
    };
    let path = trace(field, muzzle, direction, rigidity_t_m, until, &TraceOptions::default())?;
    let (length_m, end) = match at_gun(&path, surroundings) {
        Some(length_m) => (length_m, PathEnd::Gun),
        None if path.ended_at_glass() => (path.length_m(), PathEnd::Glass),
        None => (path.length_m(), PathEnd::Open),
    };
    Ok((Drawn { path, length_m }, end))
}

/// Arc length at which the path, once round, enters the gun's body.
fn at_gun(path: &Path, surroundings: &Surroundings) -> Option<f64> {
    let gun = surroundings.gun?;
    let (muzzle, direction) = path.at(0.0);
    // samples a quarter of the body's radius apart can't step over it
    let spacing = 0.25 * gun.radius_m;
    let count = (path.length_m() / spacing).ceil() as usize;
    let inside = |s: &f64| {
        let apart = path.at(*s).0 - muzzle;
        let along = -apart.dot(direction);
        (0.0..=gun.length_m).contains(&along) && (apart + direction * along).norm() <= gun.radius_m
    };
    let away = |s: &f64| path.turned_at_rad(*s).abs() > std::f64::consts::TAU * AWAY_TURNS;
    (0..=count).map(|k| (k as f64 * spacing).min(path.length_m())).filter(away).find(inside)
}

/// Points of the drawn path, equally spaced, the last one at its end.
pub(super) fn points(drawn: &Drawn) -> Vec<Vec3> {
    let turns = drawn.path.turned_at_rad(drawn.length_m).abs() / std::f64::consts::TAU;
    let count = (POINTS_A_TURN * turns).ceil().clamp(24.0, POINTS_A_TURN * MOST_TURNS) as usize;
    (0..=count).map(|k| drawn.path.at(drawn.length_m * k as f64 / count as f64).0).collect()
}

/// How far one traced turn lies from its fitted circle seen along z, and from the ring or helix in a uniform field.
pub(super) fn deviation(summary: &PathSummary, centre_t: Vec3, rigidity_t_m: f64) -> Option<Deviation> {
    let circle = summary.fitted_circle?;
    let path = &summary.path;
    let (muzzle, direction) = path.at(0.0);
    let (mut from_circle, mut from_uniform) = (0.0_f64, 0.0_f64);
    let count = summary.points_m.len().max(1) as f64;
    for (index, point) in summary.points_m.iter().enumerate() {
        let off = (point.x - circle.centre_x_m).hypot(point.y - circle.centre_y_m) - circle.radius_m;
        from_circle = from_circle.max(off.abs());
        let length = path.length_m() * index as f64 / count;
        let ideal = uniform_field_path(muzzle, direction, centre_t, rigidity_t_m, length).0;
        from_uniform = from_uniform.max((*point - ideal).norm());
    }
    Some(Deviation { from_fitted_circle_mm: 1e3 * from_circle, from_uniform_field_mm: 1e3 * from_uniform })
}
