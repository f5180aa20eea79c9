//! Which of the closed bright lines is the beam: not the bulb's outline, not the beam's reflection in the glass.

use crate::error::{PhotoCaveat, PhotoError};
use crate::glow::{Candidate, Glow};
use crate::ring::RingHints;
use crate::ring_ellipse::{Ellipse, Weighted};

/// Least light of a ring inside another, against the outer one, for the inner to be the beam and the outer the bulb's
/// outline. The reflection of the beam in the glass has at most some 8 % (two surfaces of 4 %: Fresnel, index 1.5,
/// normal incidence), twice that where the beam's core is at full scale.
const BEAM_NOT_REFLECTION: f64 = 0.2;
/// Light of another line, against the chosen one, from which the choice is no longer plain.
const RIVAL: f64 = 0.35;

/// Closer than this (reduced pixels) to a line its own halo shines.
const BESIDE_PX: f64 = 4.0;

/// Rings tried in turn while the better ones can't be measured: beyond a few only furniture is left.
const MOST_TRIED: usize = 4;
/// Least rank of a ring that is tried, against the best.
const LEAST_RANK: f64 = 0.15;

/// The chosen ring in reduced pixels, with what should be said about the choice.
#[derive(Debug)]
pub(crate) struct Choice {
    pub(crate) ring: Candidate,
    /// Others to try if the chosen one can't be measured or is most likely an outline, best first.
    pub(crate) next: Vec<Candidate>,
    pub(crate) caveats: Vec<PhotoCaveat>,
}

/// Chooses the beam's ring among the bright lines.
pub(crate) fn choose(glow: &mut Glow, hints: &RingHints) -> Result<Choice, PhotoError> {
    let long = glow.plane.width.max(glow.plane.height) as f64;
    let bulb = hints.bulb_radius_px.map(|radii| radii.map(|r| r / glow.factor as f64));
    let marked: Vec<Weighted> = hints.beam_points_px.iter().map(|p| reduced(*p, glow.factor)).collect();
    let mut found = match bulb {
        Some(radii) => glow.candidates_inside((0.97 * radii[0]).min(0.8 * long), radii),
        None => glow.candidates(0.8 * long),
    };
    let glow = &*glow;
    // one or two marks: only lines that pass there
    found.retain(|c| marked.iter().all(|m| c.ellipse.distance(m.x, m.y).abs() < 0.05 * c.ellipse.r));
    let Some(&first) = found.first() else {
        return Err(PhotoError::NoRing { why: "no bright line runs along an ellipse".into() });
    };
    let others: Vec<(Candidate, f64)> =
        found.iter().skip(1).map(|c| (*c, light_apart(glow, c, &first))).collect();
    let first_light = glow.light_along(&first, |_, _| true).0;
    let inner = others.iter().filter(|(c, light)| {
        inside(&c.ellipse, &first.ellipse) && *light > BEAM_NOT_REFLECTION * first_light
    });
    let best_inner = inner.max_by(|a, b| (a.1 * a.0.seen).total_cmp(&(b.1 * b.0.seen)));
    if let Some((ring, _)) = best_inner.filter(|_| hints.bulb_radius_px.is_none()) {
        let next = tried(glow, &found, ring);
        return Ok(Choice { ring: *ring, next, caveats: vec![outline_taken()] });
    }
    let rival = others.iter().any(|(_, light)| *light > RIVAL * first_light);
    let caveats = if rival { vec![two_rings()] } else { Vec::new() };
    Ok(Choice { ring: first, next: tried(glow, &found, &first), caveats })
}

/// The candidates that may be tried after the chosen one: those that mostly lie on another line.
fn tried(glow: &Glow, found: &[Candidate], chosen: &Candidate) -> Vec<Candidate> {
    let least = LEAST_RANK * found.first().map_or(0.0, Candidate::score);
    let others = found.iter().filter(|c| c.ellipse != chosen.ellipse && c.score() > least);
    others.filter(|c| light_apart(glow, c, chosen) > 0.0).take(MOST_TRIED - 1).copied().collect()
}

fn reduced([x, y]: [f64; 2], factor: usize) -> Weighted {
    let f = factor as f64;
    let to = |v: f64| (v - 0.5 * (f - 1.0)) / f;
    Weighted { x: to(x), y: to(y), weight: 1.0 }
}

/// Whether one ellipse lies within the other.
fn inside(inner: &Ellipse, outer: &Ellipse) -> bool {
    inner.r < 0.97 * outer.r
        && (inner.cx - outer.cx).hypot(inner.cy - outer.cy) + inner.semi_axes()[0] < 1.03 * outer.r
}

/// Linear light of a line where it runs clear of another, 0 when less than a quarter of a turn does.
fn light_apart(glow: &Glow, line: &Candidate, other: &Candidate) -> f64 {
    let beside = (0.04 * other.ellipse.r).max(BESIDE_PX);
    let clear = |x: f64, y: f64| other.ellipse.distance(x, y).abs() > beside;
    let (light, seen) = glow.light_along(line, clear);
    if seen > 0.25 { light } else { 0.0 }
}

fn outline_taken() -> PhotoCaveat {
    PhotoCaveat::new(
        "outer-line-left-out",
        "the beam should be the brightest thin line; a line around it is as bright and was taken for the bulb's outline",
        "darken the room, state the bulb's radius, or mark points on the beam by hand",
    )
}

/// Said where the best line could not be measured, or goes all round as only an outline does.
pub(crate) fn better_left_out() -> PhotoCaveat {
    PhotoCaveat::new(
        "brighter-line-left-out",
        "the beam should be the brightest thin line; a brighter one is no beam by its shape and was rejected",
        "check the overlay; if the wrong line was taken, state the bulb's radius or mark points on the beam by hand",
    )
}

fn two_rings() -> PhotoCaveat {
    PhotoCaveat::new(
        "two-rings",
        "the beam should be the only bright ring; a second one is seen and was rejected",
        "check the overlay; if the wrong ring was taken, mark points on the beam by hand",
    )
}
