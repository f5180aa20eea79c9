//! A helix photographed across its axis: its pitch and diameter in pixels, and in millimetres in the scale's plane.

use crate::error::{PhotoCaveat, PhotoError};
use crate::glow::{Glow, full};
use crate::helix_model::{HelixCurve, HelixFit, Known, OnCurve};
use crate::helix_read::read_stations;
use crate::helix_search::{Wave, near, waves};
use crate::picture::Picture;
use crate::plane::ScalePlane;
use crate::ring::RingHints;
use crate::ring_curve::{correlated_neighbours, median};

/// Part of a turn that must be seen: below it pitch and diameter stand in for each other.
const LEAST_TURNS: f64 = 0.6;
/// Part of a turn below which it is said.
const SAID_TURNS: f64 = 1.0;
/// Longest gap in the visible beam, in turns: the gun and its reflection hide less (common practice, no source).
const LONGEST_GAP_TURNS: f64 = 0.35;
/// Standard uncertainty of the axis' angle to the plane of the scale, in radians, before the picture says more: a scale held
/// along the coils' axis by eye.
const U_TILT: f64 = 0.05;
/// Standard uncertainty of the radius' relative change in one turn: the coils' fall-off and the gas make some hundredth
/// (our judgement, no source).
const U_TAPER: f64 = 0.015;
/// What is known on the picture alone, and with a calibrated camera.
const KNOWN: Known = Known { u_tilt: U_TILT, u_taper: U_TAPER, u_far: U_LN_FOCAL };
const CALIBRATED: Known = Known { u_far: 1e-6, ..KNOWN };
/// Root mean square distance of the beam from the helix, against the radius, above which it is no helix, and from which it
/// is said: stray fields and the coils' fall-off bend it by some hundredths.
const NO_HELIX: f64 = 0.12;
const ROUGH_HELIX: f64 = 0.012;
/// Focal length of the start against the frame's longer side, and the standard uncertainty of its logarithm: from a wide lens
/// to a cropped telephoto (common practice, no source).
const FOCAL: f64 = 3.0;
const U_LN_FOCAL: f64 = 0.8;
/// Standard uncertainty of slow errors of the centre line, alike all along a bend, in pixels: what drawn photographs of other
/// code left (0.03 to 0.08 pixels).
const SLOW_PX: f64 = 0.06;
/// A hand that fits this much worse in χ² (95 % for one degree of freedom) is still taken for possible.
const ALIKE: f64 = 3.84;

/// A point of the beam on the side view.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct HelixPoint {
    /// Position in pixels.
    pub x_px: f64,
    /// Position in pixels.
    pub y_px: f64,
    /// Standard uncertainty across the beam in pixels, of this point alone.
    pub u_px: f64,
    /// Turns from the first crest on; grows along the axis.
    pub turns: f64,
    /// Distance from the fitted helix in pixels.
    pub residual_px: f64,
}

/// A helix on a side view.
#[derive(Debug, Clone, PartialEq)]
pub struct Helix {
    /// Points of the beam in order along the axis.
    pub points: Vec<HelixPoint>,
    /// Advance along the axis in one turn, pixels in the plane of the axis, and its standard uncertainty; never negative.
    pub pitch_px: [f64; 2],
    /// Diameter of the turns, pixels in the plane of the axis, and its standard uncertainty.
    pub diameter_px: [f64; 2],
    /// Direction of the axis in degrees, from +x towards +y of the picture, −90 < angle ≤ 90.
    pub axis_angle_deg: f64,
    /// Turns seen, gaps left out.
    pub turns_seen: f64,
    /// Number of independent points.
    pub effective_points: f64,
    /// Root mean square distance of the points from the helix in pixels.
    pub scatter_px: f64,
    /// The fitted curve, drawn over the turns seen.
    pub outline_px: Vec<[f64; 2]>,
    /// Cautions that travel with the result.
    pub caveats: Vec<PhotoCaveat>,
    curve: HelixCurve,
    /// Angle of the turn of the first point on `curve`.
    first_psi: f64,
}

/// Pitch and diameter in millimetres.
#[derive(Debug, Clone, PartialEq)]
pub struct HelixInPlane {
    /// Advance along the axis in one turn; never negative.
    pub pitch_mm: f64,
    /// Standard uncertainty of the pitch: beam and plane together (the scale's own calibration is not in it).
    pub u_pitch_mm: f64,
    /// Diameter of the turns.
    pub diameter_mm: f64,
    /// Standard uncertainty of the diameter, likewise.
    pub u_diameter_mm: f64,
    /// Angle between the axis and the plane of the scale, as fitted, in degrees.
    pub tilt_deg: f64,
    /// Root mean square distance of the beam from the helix.
    pub rms_mm: f64,
}

/// Finds a helix on a side view and fits it.
///
/// Place and slope of each bright point give its angle of the turn; along a helix this angle grows evenly with the length
/// along the axis. The wave so found is then followed on the full photograph and fitted as a helix before a camera,
/// with the axis' tilt out of the picture and the nearer half of each turn larger.
///
/// - **Takes** an upright picture; of the hints only what to leave out.
/// - **Gives** points, pitch and diameter in pixels, caveats.
/// - **Fails** with [`PhotoError::NoHelix`] or [`PhotoError::TooFewTurns`].
/// - **Holds** for pitches of a twentieth of the radius up to ones of some three diameters.
pub fn find_helix(picture: &Picture, hints: &RingHints) -> Result<Helix, PhotoError> {
    let allowed = |x: f64, y: f64| !hints.leave_out.iter().any(|polygon| crate::ring::holds(polygon, x, y));
    let glow = Glow::find(picture, &allowed);
    let mut why = PhotoError::NoHelix { why: "no bright line runs as a wave along a straight axis".into() };
    let mut best: Option<(f64, Seen)> = None;
    for wave in waves(&glow) {
        match seen_along(&glow, &wave) {
            Ok(seen) => {
                if best.as_ref().is_none_or(|b| seen.light > b.0) {
                    best = Some((seen.light, seen));
                }
            }
            Err(error) if matches!(error, PhotoError::TooFewTurns { .. }) => why = error,
            Err(_) => {}
        }
    }
    let (_, seen) = best.ok_or(why)?;
    measured(picture, &glow, &seen, &allowed)
}

/// A wave with the part of it on which the line is seen; reduced pixels.
struct Seen {
    curve: HelixCurve,
    range: [f64; 2],
    scale: f64,
    light: f64,
}

/// The eye before a picture of which only the frame is known.
fn eye_of(width: f64, height: f64) -> [f64; 3] {
    [0.5 * (width - 1.0), 0.5 * (height - 1.0), FOCAL * width.max(height)]
}

/// Fits the wave to the bright points and finds how much of it is seen.
fn seen_along(glow: &Glow, wave: &Wave) -> Result<Seen, PhotoError> {
    let no = |why: &str| PhotoError::NoHelix { why: why.into() };
    let eye = eye_of(glow.plane.width as f64, glow.plane.height as f64);
    let mut curve = wave.curve;
    let whole = 0.6 * (glow.plane.width as f64).hypot(glow.plane.height as f64);
    let reach = (std::f64::consts::TAU * whole / curve.pitch).min(160.0);
    for band in [0.15, 0.08, 0.05] {
        let points = near(glow, &curve, [-reach, reach], (band * curve.radius).max(2.0), eye);
        if points.len() < 20 {
            return Err(no("no bright line runs as a wave along a straight axis"));
        }
        let both = [1.0, -1.0].map(|hand| HelixCurve { hand, ..curve }.fitted(&points, KNOWN, eye, 8));
        curve = better(both, eye).ok_or_else(|| no("the bright wave is no helix"))?.curve;
    }
    let light = glow.heights_along(&curve.drawn([-reach, reach], eye), |psi| curve.normal(psi, eye));
    let (range, share, scale, height) =
        longest_run(&light).ok_or_else(|| no("no bright line runs along the wave"))?;
    let turns = (range[1] - range[0]) / std::f64::consts::TAU;
    if turns * share < LEAST_TURNS {
        return Err(PhotoError::TooFewTurns { seen: turns * share, needed: LEAST_TURNS });
    }
    if share < 0.6 {
        return Err(no("only pieces of a wave are bright"));
    }
    Ok(Seen { curve, range, scale, light: turns * share * height * curve.radius })
}

/// The fit of the two hands that leaves less.
fn better(both: [Option<HelixFit>; 2], eye: [f64; 3]) -> Option<HelixFit> {
    let cost = |f: &HelixFit| f.squares(eye) / f.points.iter().map(|p| p.weight).sum::<f64>().max(1e-12);
    both.into_iter().flatten().min_by(|a, b| cost(a).total_cmp(&cost(b)))
}

/// Heights of the line along a drawn curve: (angle, smoothing, height), and the longest run of lit ones with its share.
fn longest_run(light: &[(f64, f64, f64)]) -> Option<([f64; 2], f64, f64, f64)> {
    let mut heights: Vec<f64> = light.iter().map(|l| l.2).filter(|h| *h > 0.0).collect();
    heights.sort_by(f64::total_cmp);
    let strong = heights.get(heights.len() * 4 / 5).copied()?;
    let lit: Vec<(f64, f64, f64)> = light.iter().copied().filter(|l| l.2 > 0.25 * strong).collect();
    let gap = LONGEST_GAP_TURNS * std::f64::consts::TAU;
    let runs = lit.chunk_by(|a, b| b.0 - a.0 < gap);
    let run = runs.max_by_key(|r| r.len())?;
    let (first, last) = (run.first()?.0, run.last()?.0);
    let step = light.windows(2).next().map_or(1.0, |w| w[1].0 - w[0].0);
    let share = run.len() as f64 * step / (last - first + step);
    let scale = median(run.iter().map(|l| l.1).collect());
    Some(([first, last], share, scale, median(run.iter().map(|l| l.2).collect())))
}

/// Reads the beam on the full photograph along the wave and fits the helix there.
fn measured(
    picture: &Picture,
    glow: &Glow,
    seen: &Seen,
    allowed: &dyn Fn(f64, f64) -> bool,
) -> Result<Helix, PhotoError> {
    let no = |why: &str| PhotoError::NoHelix { why: why.into() };
    let (w, h) = (picture.width() as f64, picture.height() as f64);
    let eye = eye_of(w, h);
    let f = glow.factor as f64;
    let c = seen.curve;
    let curve = HelixCurve {
        middle: c.middle.map(|v| full(v, glow.factor)),
        offset: c.offset * f,
        pitch: c.pitch * f,
        radius: c.radius * f,
        ..c
    };
    let mut stations = read_stations(picture, &curve, seen.range, eye, seen.scale * f, allowed)
        .ok_or_else(|| no("a faint wave could not be followed at full resolution"))?;
    let mut from = HelixCurve { half_way: 0.5 * (seen.range[0] + seen.range[1]), ..curve };
    let mut fits: Vec<HandFit> = Vec::new();
    for _ in 0..6 {
        let points: Vec<OnCurve> = stations.iter().map(|s| s.on_curve()).collect();
        let fit = |hand| HelixCurve { hand, ..from }.fitted(&points, KNOWN, eye, 30);
        fits = [1.0, -1.0]
            .into_iter()
            .filter_map(fit)
            .map(|fit| HandFit { squares: fit.squares(eye), fit })
            .collect();
        fits.sort_by(|a, b| a.squares.total_cmp(&b.squares));
        let best = fits.first().ok_or_else(|| no("the bright wave is no helix"))?;
        let distances: Vec<f64> = best.fit.points.iter().map(|p| best.fit.curve.distance(p, eye)).collect();
        let spread = 1.4826 * median(distances.iter().map(|d| d.abs()).collect());
        let limit = (4.0 * spread).max(1.0);
        let mut far = distances.iter().map(|d| d.abs() > limit);
        let before = stations.len();
        stations.retain(|_| far.next() != Some(true));
        from = best.fit.curve;
        if stations.len() == before {
            break;
        }
    }
    finished(&fits, &stations, eye)
}

/// A fit for one hand.
struct HandFit {
    squares: f64,
    fit: HelixFit,
}

/// The result from the fits for both hands, best first.
fn finished(
    fits: &[HandFit],
    stations: &[crate::helix_read::Station],
    eye: [f64; 3],
) -> Result<Helix, PhotoError> {
    let tau = std::f64::consts::TAU;
    let best = fits.first().ok_or(PhotoError::NoHelix { why: "the bright wave is no helix".into() })?;
    let (fit, curve) = (&best.fit, best.fit.curve);
    let on: Vec<OnCurve> =
        stations.iter().map(|s| OnCurve { psi: curve.foot(s.at, s.psi, eye), ..s.on_curve() }).collect();
    let residuals: Vec<f64> = on.iter().map(|p| curve.distance(p, eye)).collect();
    let n = residuals.len() as f64;
    let scatter_px = (residuals.iter().map(|r| r * r).sum::<f64>() / n.max(1.0)).sqrt();
    let turns_seen = turns_of(&on);
    if turns_seen < LEAST_TURNS {
        return Err(PhotoError::TooFewTurns { seen: turns_seen, needed: LEAST_TURNS });
    }
    if scatter_px > NO_HELIX * curve.radius || curve.radius < 4.0 {
        return Err(PhotoError::NoHelix { why: "the bright wave is no helix".into() });
    }
    let widened = widened(&residuals, &on);
    let u = |k: usize| widened * fit.inverse[(k, k)].max(0.0).sqrt();
    // the other hand, where it fits about as well, swaps the nearer and the farther half of each turn
    let alike = |f: &&HandFit| f.squares - best.squares < ALIKE * widened * widened;
    let by_hand = |number: &dyn Fn(&HelixCurve) -> f64| {
        let off = |f: &HandFit| (number(&f.fit.curve) - number(&curve)).powi(2);
        fits.iter().filter(alike).map(off).fold(0.0, f64::max).sqrt()
    };
    let range = [on.first().map_or(0.0, |p| p.psi), on.last().map_or(0.0, |p| p.psi)];
    let angle = curve.angle.to_degrees();
    let first = range[0];
    Ok(Helix {
        points: stations
            .iter()
            .zip(&on)
            .zip(&residuals)
            .map(|((s, p), &residual_px)| HelixPoint {
                x_px: s.at[0],
                y_px: s.at[1],
                u_px: s.u_px,
                turns: (p.psi - first) / tau,
                residual_px,
            })
            .collect(),
        pitch_px: [curve.pitch, u(3).hypot(by_hand(&|c| c.pitch)).hypot(SLOW_PX / turns_seen)],
        diameter_px: [
            2.0 * curve.radius,
            (2.0 * u(4)).hypot(by_hand(&|c| 2.0 * c.radius)).hypot(2.0 * SLOW_PX),
        ],
        axis_angle_deg: angle - 180.0 * ((angle + 90.0) / 180.0).ceil() + 180.0,
        turns_seen,
        effective_points: n / neighbours(&residuals),
        scatter_px,
        outline_px: curve.drawn(range, eye).into_iter().map(|p| p.1).collect(),
        caveats: caveats(&curve, turns_seen, scatter_px),
        curve,
        first_psi: first,
    })
}

/// Turns on which points stand, in steps of a fiftieth.
fn turns_of(on: &[OnCurve]) -> f64 {
    let mut bins: Vec<i64> =
        on.iter().map(|p| (p.psi / std::f64::consts::TAU * 50.0).floor() as i64).collect();
    bins.sort_unstable();
    bins.dedup();
    bins.len() as f64 / 50.0
}

fn neighbours(residuals: &[f64]) -> f64 {
    correlated_neighbours(&residuals.iter().map(|r| Some(*r)).collect::<Vec<_>>())
}

/// Factor on the uncertainty of the fit: scatter larger than stated, and neighbours that err alike.
fn widened(residuals: &[f64], on: &[OnCurve]) -> f64 {
    let n = residuals.len() as f64;
    let chi: f64 = residuals.iter().zip(on).map(|(r, p)| r * r * p.weight).sum();
    ((chi / (n - 6.0).max(1.0)).max(1.0) * neighbours(residuals)).sqrt()
}

fn caveats(curve: &HelixCurve, turns: f64, scatter: f64) -> Vec<PhotoCaveat> {
    let mut caveats = Vec::new();
    if turns < SAID_TURNS {
        caveats.push(PhotoCaveat::new(
            "less-than-a-turn",
            format!("at least one turn of the helix should be seen; {turns:.2} turns are"),
            "raise the coil current or turn the tube less, then photograph again",
        ));
    }
    if scatter > ROUGH_HELIX * curve.radius {
        caveats.push(PhotoCaveat::new(
            "not-quite-a-helix",
            format!(
                "the beam should follow a helix of one pitch and one diameter; it departs from it by {:.1} % of the radius",
                100.0 * scatter / curve.radius
            ),
            "look at the overlay; keep the helix near the middle of the coils, where their field is even",
        ));
    }
    caveats
}

/// Pitch and diameter in millimetres: the same points fitted in the plane of the scale, seen by the calibrated camera.
///
/// - **Takes** the helix, the plane, and how far the scale stood before the helix' axis (mm, positive towards the camera) with
///   its standard uncertainty.
/// - **Gives** pitch and diameter; the scale's nearness to the camera is taken out.
/// - **Fails** with [`PhotoError::NoHelix`] if the plane does not reach the beam.
pub fn helix_in_plane(
    helix: &Helix,
    plane: &ScalePlane,
    scale_before_axis_mm: [f64; 2],
) -> Result<HelixInPlane, PhotoError> {
    let none = || PhotoError::NoHelix { why: "the scale's plane does not reach the beam".into() };
    let [offset, u_offset] = scale_before_axis_mm;
    let fit = fitted_in(helix, plane, offset).ok_or_else(none)?;
    let residuals: Vec<f64> = fit.points.iter().map(|p| fit.curve.distance(p, plane.camera_mm)).collect();
    let widened = widened(&residuals, &fit.points);
    let own = |k: usize| widened * fit.inverse[(k, k)].max(0.0).sqrt();
    let numbers = |c: &HelixCurve| [c.pitch, 2.0 * c.radius];
    // pixels to millimetres as the radius shows them
    let slow = SLOW_PX * fit.curve.radius / helix.curve.radius;
    let mut squares =
        [own(3).powi(2) + (slow / helix.turns_seen).powi(2), (2.0 * own(4)).powi(2) + (2.0 * slow).powi(2)];
    let mut add = |a: Option<HelixFit>, b: Option<HelixFit>| {
        if let (Some(a), Some(b)) = (a, b) {
            let (x, y) = (numbers(&a.curve), numbers(&b.curve));
            for (s, (p, q)) in squares.iter_mut().zip(x.iter().zip(&y)) {
                *s += (0.5 * (p - q)).powi(2);
            }
        }
    };
    for [a, b] in plane.perturbed() {
        add(fitted_in(helix, &a, offset), fitted_in(helix, &b, offset));
    }
    if u_offset > 0.0 {
        add(fitted_in(helix, plane, offset + u_offset), fitted_in(helix, plane, offset - u_offset));
    }
    let [pitch_mm, diameter_mm] = numbers(&fit.curve);
    Ok(HelixInPlane {
        pitch_mm,
        u_pitch_mm: squares[0].sqrt(),
        diameter_mm,
        u_diameter_mm: squares[1].sqrt(),
        tilt_deg: fit.curve.tilt.to_degrees(),
        rms_mm: (residuals.iter().map(|r| r * r).sum::<f64>() / residuals.len().max(1) as f64).sqrt(),
    })
}

/// The helix fitted to the points carried to the plane, its axis `offset_mm` behind it.
fn fitted_in(helix: &Helix, plane: &ScalePlane, offset_mm: f64) -> Option<HelixFit> {
    let at: Vec<[f64; 2]> = helix.points.iter().map(|p| [p.x_px, p.y_px]).collect();
    let mm = plane.all_to_plane(&at)?;
    let c = helix.curve;
    let start = place_in(&c, plane)?;
    let scale = start.radius / c.radius;
    let tau = std::f64::consts::TAU;
    let points: Vec<OnCurve> = mm
        .iter()
        .zip(&helix.points)
        .map(|(p, h)| OnCurve {
            at: *p,
            weight: (h.u_px * scale).powi(-2),
            psi: helix.first_psi + h.turns * tau,
        })
        .collect();
    let both = [1.0, -1.0].map(|hand| {
        HelixCurve { depth: -offset_mm, far: 0.0, hand, ..start }.fitted(
            &points,
            CALIBRATED,
            plane.camera_mm,
            30,
        )
    });
    better(both, plane.camera_mm)
}

/// The pixels' helix as a start in the plane: mirrored, since the picture counts y downwards and the plane upwards.
fn place_in(c: &HelixCurve, plane: &ScalePlane) -> Option<HelixCurve> {
    let (s, k) = c.angle.sin_cos();
    let along = [c.middle[0] + 0.5 * c.radius * k, c.middle[1] + 0.5 * c.radius * s];
    let (middle, end) = (plane.to_plane(c.middle)?, plane.to_plane(along)?);
    let (dx, dy) = (end[0] - middle[0], end[1] - middle[1]);
    let scale = dx.hypot(dy) / (0.5 * c.radius);
    (scale.is_finite() && scale > 0.0).then_some(HelixCurve {
        middle,
        angle: dy.atan2(dx),
        offset: -c.offset * scale,
        pitch: c.pitch * scale,
        radius: c.radius * scale,
        phase: c.phase + std::f64::consts::PI,
        ..*c
    })
}
