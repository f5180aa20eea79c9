//! The beam's centre line on the photograph, with the uncertainty of each point, and the ellipse it nearly is.

use crate::by_hand::{FEWEST_BY_HAND, ring_by_hand};
use crate::error::{PhotoCaveat, PhotoError};
use crate::find::{Search, find, is_same};
use crate::glow::{Candidate, Glow, full};
use crate::picture::Picture;
use crate::ring_choose::{better_left_out, choose};
use crate::ring_curve::median;
use crate::ring_ellipse::Ellipse;
use crate::ring_follow::follow;
use crate::ring_line::{Line, faint};

/// From which side the camera looks at the coils.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum View {
    /// Along the axis: the path is a ring.
    #[default]
    Front,
    /// At right angles to the axis: the path is a line or a wave.
    Side,
}

/// What is known of the photograph beforehand; nothing here predicts the ring.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct RingHints {
    /// Smallest and largest outer radius of the bulb in pixels: its outline is not the ring.
    pub bulb_radius_px: Option<[f64; 2]>,
    /// From where the camera looks.
    pub view: View,
    /// Polygons (corners in pixels) to leave out.
    pub leave_out: Vec<Vec<[f64; 2]>>,
    /// Points on the beam marked by hand, in pixels; three or more choose the ring.
    pub beam_points_px: Vec<[f64; 2]>,
}

/// Code of the caveat on a ring that may not be the beam.
pub const UNSURE: &str = "ring-unsure";

/// One point of the beam's centre line.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TracePoint {
    /// Position in pixels.
    pub x_px: f64,
    /// Position in pixels.
    pub y_px: f64,
    /// Unit normal pointing out of the ring.
    pub normal: [f64; 2],
    /// Standard uncertainty along the normal in pixels, of this point alone.
    pub u_px: f64,
    /// Full width of the beam at half height in pixels, lens blur included.
    pub width_px: f64,
    /// Distance of the inner and the outer edge (half height) from the centre line, both positive, in pixels.
    pub edges_px: [f64; 2],
    /// Height of the beam above its surroundings in linear light, full scale 1, in the channels used.
    pub brightness: f64,
    /// Distance along the arc from its first point in pixels; gaps count.
    pub s_px: f64,
    /// Whether the point belongs to the smooth line.
    pub accepted: bool,
}

/// Points that were found but not believed.
#[derive(Debug, Clone, PartialEq)]
pub struct Rejected {
    /// Where, in pixels.
    pub points_px: Vec<[f64; 2]>,
    /// Why, lower case, no full stop.
    pub why: String,
}

/// The beam followed over the photograph.
#[derive(Debug, Clone, PartialEq)]
pub struct RingTrace {
    /// Points in order along the arc; from the muzzle on when `travel_known`.
    pub points: Vec<TracePoint>,
    /// Where the beam leaves the gun in pixels, if that end of the arc could be told.
    pub muzzle_px: Option<[f64; 2]>,
    /// Whether the order of the points is the electrons' direction.
    pub travel_known: bool,
    /// Arc covered by accepted points in degrees, gaps left out.
    pub arc_seen_deg: f64,
    /// Orthogonal-distance ellipse through the accepted points.
    pub ellipse: Ellipse,
    /// Centre of the ellipse in pixels.
    pub centre_px: [f64; 2],
    /// Semi-axes in pixels, major first.
    pub semi_axes_px: [f64; 2],
    /// Direction of the major axis in degrees, from +x towards +y of the picture.
    pub axis_angle_deg: f64,
    /// Full width of the beam at half height in pixels (median) and its standard uncertainty.
    pub beam_width_px: [f64; 2],
    /// Distances of the beam's inner and outer edge from its centre line (medians) with their standard uncertainties, in
    /// pixels: where the light falls half-way from the top to what shines beside the beam on that side.
    pub edges_px: [[f64; 2]; 2],
    /// Length along the arc over which residuals hang together, in pixels: points closer than this are not independent.
    pub correlation_length_px: f64,
    /// Number of independent points: arc seen over `correlation_length_px`.
    pub effective_points: f64,
    /// Root mean square of the accepted points about the smooth open line, in pixels.
    pub scatter_px: f64,
    /// Root mean square of the smooth line about the ellipse, in pixels: how far the path is from an ellipse.
    pub out_of_ellipse_px: f64,
    /// Standard uncertainty of the centre line that varies slowly along the beam (its shape, haze, glass), in pixels.
    pub slow_u_px: f64,
    /// Standard uncertainty of the centre line that is the same all along it, in pixels: it goes straight into the radius.
    pub common_u_px: f64,
    /// Weight of red, green and blue in the measurement.
    pub channel_weights: [f32; 3],
    /// What was found but not believed.
    pub rejected: Vec<Rejected>,
    /// Cautions that travel with the result.
    pub caveats: Vec<PhotoCaveat>,
}

/// Finds the beam and follows its centre line.
///
/// The search takes the brightest thin line that closes, or would close, to an ellipse; then cross-sections are read
/// along normals and fitted with a core, the inner haze of slowed electrons and a veil; last, a smooth open line says
/// which points to believe.
///
/// - **Takes** an upright picture and hints that predict nothing.
/// - **Gives** points in order along the arc, an ellipse, what was rejected, and caveats.
/// - **Fails** with [`PhotoError::NoRing`] or [`PhotoError::ArcTooShort`].
/// - **Holds** for rings of a twentieth of the frame up to ones cut by it, seen at up to some 40° from the axis.
pub fn find_ring(picture: &Picture, hints: &RingHints) -> Result<RingTrace, PhotoError> {
    find_ring_telling(picture, hints, &|_| ())
}

/// The same, and says each stage's name as it ends, so that its time can be taken; a line that is tried after another was
/// doubtful tells its stages again.
pub fn find_ring_telling(
    picture: &Picture,
    hints: &RingHints,
    ended: &dyn Fn(&'static str),
) -> Result<RingTrace, PhotoError> {
    if hints.view == View::Side {
        let why = "this is a side view; a ring is looked for on front views only";
        return Err(PhotoError::NoRing { why: why.into() });
    }
    if hints.beam_points_px.len() >= FEWEST_BY_HAND {
        return ring_by_hand(picture, hints);
    }
    let allowed = |x: f64, y: f64| !hints.leave_out.iter().any(|polygon| holds(polygon, x, y));
    let bright = brightest(picture, hints, &allowed, ended);
    let search = find(picture, limit_px(picture, hints), &allowed);
    ended("candidates judged");
    let trace = joined(picture, bright, &search, &allowed);
    ended("measured about the likeliest");
    trace
}

/// Largest radius of a ring, in parts of the picture's longer side where no bulb is stated; the outline of one that is.
const LARGEST: f64 = 0.8;
/// Least part of the smaller of two radii stated for the bulb that a ring stays below.
const IN_BULB: f64 = 0.97;

fn limit_px(picture: &Picture, hints: &RingHints) -> f64 {
    let long = LARGEST * picture.width().max(picture.height()) as f64;
    hints.bulb_radius_px.map_or(long, |[least, _]| (IN_BULB * least).min(long))
}

/// Cautions that the brightest line which closes is not plainly one beam.
const NOT_PLAIN: [&str; 6] = [
    "two-rings",
    "doubled-line",
    "short-arc",
    "no-gap-for-the-gun",
    "outer-line-left-out",
    "brighter-line-left-out",
];

/// Part of the arc that the plain measurement follows, from which the finer one of the same ring is as good as whole.
const WHOLE_ENOUGH: f64 = 0.5;

/// The brightest line that closes and the likeliest candidate of the search, joined to one answer.
fn joined(
    picture: &Picture,
    bright: Result<RingTrace, PhotoError>,
    search: &Search,
    allowed: &dyn Fn(f64, f64) -> bool,
) -> Result<RingTrace, PhotoError> {
    let best = search.best();
    let is_plain = |trace: &RingTrace| !trace.caveats.iter().any(|c| NOT_PLAIN.contains(&c.code));
    match (bright, best) {
        (Ok(trace), None) => Ok(if is_plain(&trace) { trace } else { unsure(trace) }),
        (Ok(trace), Some(best)) => {
            let is_one = is_same(&trace.ellipse, &best.ellipse);
            if is_one && is_plain(&trace) {
                return Ok(trace);
            }
            if !is_one && is_plain(&trace) && !search.is_sure() {
                // the search sees another ring, but is not sure of it either
                return Ok(unsure(trace));
            }
            let Some(measured) = best.measured(picture, allowed) else { return Ok(unsure(trace)) };
            let is_whole = trace.arc_seen_deg > WHOLE_ENOUGH * measured.arc_seen_deg;
            let is_doubled = trace.caveats.iter().any(|c| c.code == "doubled-line");
            let chosen = if is_one && is_whole && !is_doubled { trace } else { measured };
            Ok(if search.is_sure() { chosen } else { unsure(chosen) })
        }
        (Err(why), Some(best)) => {
            let measured = best.measured(picture, allowed).ok_or(why)?;
            Ok(if search.is_sure() { measured } else { unsure(measured) })
        }
        (Err(why), None) => Err(why),
    }
}

/// The same ring, said to be unsure.
fn unsure(mut trace: RingTrace) -> RingTrace {
    trace.caveats.push(PhotoCaveat::new(
        UNSURE,
        "the beam must stand out from everything else that is round and bright; this ring is the likeliest, but not surely the beam, and takes part in no mass until a person says so",
        "look at it on the page (Ring) and say yes, or mark three points on the beam",
    ));
    trace
}

/// The brightest thin line that closes, or would close, to an ellipse.
fn brightest(
    picture: &Picture,
    hints: &RingHints,
    allowed: &dyn Fn(f64, f64) -> bool,
    ended: &dyn Fn(&'static str),
) -> Result<RingTrace, PhotoError> {
    let mut glow = Glow::find(picture, allowed);
    ended("bright lines");
    let choice = choose(&mut glow, hints)?;
    ended("which closes to a ring");
    let measured = |candidate: &Candidate| -> Result<RingTrace, PhotoError> {
        let base = to_full(&candidate.ellipse, glow.factor);
        let followed = follow(picture, &base, candidate.scale * glow.factor as f64).ok_or_else(faint)?;
        ended("followed");
        let line = Line::measured(picture, base, &followed, allowed)?;
        ended("cross-sections");
        let trace = line.ordered_by_travel(picture)?.finished(picture)?;
        ended("ordered and fitted");
        // a piece of the bulb's outline may look like a smaller ring until it is followed
        let is_bulb = hints.bulb_radius_px.is_some_and(|[least, _]| trace.ellipse.r > least);
        if is_bulb { Err(outline()) } else { Ok(trace) }
    };
    let first = measured(&choice.ring);
    if let Ok(mut trace) = first.clone()
        && !is_doubtful(&trace)
    {
        trace.caveats.extend(choice.caveats);
        return Ok(trace);
    }
    let others = choice.next.iter().filter_map(|candidate| measured(candidate).ok());
    let better = |trace: &RingTrace| {
        // another ellipse through the same line is no other line
        let is_other = |first: &RingTrace| {
            let (a, b) = (&first.ellipse, &trace.ellipse);
            (a.cx - b.cx).hypot(a.cy - b.cy) + (a.r - b.r).abs() > OTHER_LINE * a.r
                && light(trace) > OUTLINE_OUTSHINES * light(first)
        };
        !is_doubtful(trace) && first.as_ref().map_or(true, is_other)
    };
    if let Some(mut trace) = others.into_iter().find(better) {
        trace.caveats.push(better_left_out());
        return Ok(trace);
    }
    let mut trace = first?;
    trace.caveats.extend(choice.caveats);
    Ok(trace)
}

/// Said of a line as large as the bulb.
fn outline() -> PhotoError {
    PhotoError::NoRing { why: "the only bright line is as large as the bulb and is its outline".into() }
}

/// A lit outline of the bulb may be this much brighter than the beam; the beam's reflection in the glass is weaker than it
/// by more (two surfaces of 4 %).
const OUTLINE_OUTSHINES: f64 = 0.15;
/// Two ellipses further apart than this, in parts of the radius, lie on two lines.
const OTHER_LINE: f64 = 0.12;
/// Arc from which a line has no gap for the gun: the smallest gun hides some ten degrees (common practice, no source).
pub(crate) const WHOLE_DEG: f64 = 352.0;

/// Whether a line is more likely an outline than the beam: seen all round. A line with another beside it may well be the
/// beam, since the reflection of an overexposed one is bright too; it keeps its caveat.
fn is_doubtful(trace: &RingTrace) -> bool {
    trace.arc_seen_deg > WHOLE_DEG
}

/// Median height of the believed points.
fn light(trace: &RingTrace) -> f64 {
    median(trace.points.iter().filter(|p| p.accepted).map(|p| p.brightness).collect())
}

/// Whether a polygon holds a point (crossings of a ray to the right).
pub(crate) fn holds(polygon: &[[f64; 2]], x: f64, y: f64) -> bool {
    let next = polygon.iter().cycle().skip(1);
    let crosses = |(a, b): (&[f64; 2], &[f64; 2])| {
        (a[1] > y) != (b[1] > y) && x < a[0] + (y - a[1]) / (b[1] - a[1]) * (b[0] - a[0])
    };
    polygon.iter().zip(next).filter(|&pair| crosses(pair)).count() % 2 == 1
}

/// The same ellipse in full-resolution pixels.
pub(crate) fn to_full(e: &Ellipse, factor: usize) -> Ellipse {
    let f = factor as f64;
    Ellipse { cx: full(e.cx, factor), cy: full(e.cy, factor), r: e.r * f, p: e.p * f, q: e.q * f }
}
