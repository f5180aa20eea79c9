//! The beam's centre line on the photograph, with the uncertainty of each point, and the ellipse it nearly is.

use crate::error::{PhotoCaveat, PhotoError};
use crate::glow::{Glow, full};
use crate::picture::Picture;
use crate::ring_choose::choose;
use crate::ring_cross::{CrossSections, Sector, shape_at};
use crate::ring_curve::{Offset, OpenCurve, correlated_neighbours, median};
use crate::ring_ellipse::{Ellipse, Weighted};
use crate::ring_follow::{Followed, follow, station};
use crate::trace::LineFit;

/// Shortest arc that still fixes a circle to about a hundredth; below it the ring is refused.
const SHORTEST_ARC_DEG: f64 = 60.0;
/// Arc below which a caveat is said: the ellipse's short axis then leans on an assumption of roundness.
const SHORT_ARC_DEG: f64 = 150.0;
/// Full width at half height of a Gaussian over its standard deviation.
const FULL_WIDTH: f64 = 2.354_820_045;

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
    /// Length along the arc over which residuals hang together, in pixels: points closer than this are not independent.
    pub correlation_length_px: f64,
    /// Number of independent points: arc seen over `correlation_length_px`.
    pub effective_points: f64,
    /// Root mean square of the accepted points about the smooth open line, in pixels.
    pub scatter_px: f64,
    /// Root mean square of the smooth line about the ellipse, in pixels: how far the path is from an ellipse.
    pub out_of_ellipse_px: f64,
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
    let allowed = |x: f64, y: f64| !hints.leave_out.iter().any(|polygon| holds(polygon, x, y));
    let clock = std::time::Instant::now();
    let glow = Glow::find(picture, &allowed);
    if std::env::var("T").is_ok() { eprintln!("glow {:?}", clock.elapsed()); }
    let choice = choose(&glow, hints)?;
    let chosen = choice.ring;
    if std::env::var("T").is_ok() { eprintln!("choose {:?} ridges {}", clock.elapsed(), glow.ridges.len()); }
    let base = to_full(&chosen.ellipse, glow.factor);
    let followed = follow(picture, &base, chosen.scale * glow.factor as f64).ok_or_else(faint)?;
    if std::env::var("T").is_ok() { eprintln!("follow {:?}", clock.elapsed()); }
    let line = Line::measured(picture, base, &followed, &allowed)?;
    let mut trace = line.finished(picture)?;
    trace.caveats.extend(choice.caveats);
    Ok(trace)
}

fn faint() -> PhotoError {
    PhotoError::NoRing { why: "a faint line could not be followed at full resolution".into() }
}

/// Whether a polygon holds a point (crossings of a ray to the right).
fn holds(polygon: &[[f64; 2]], x: f64, y: f64) -> bool {
    let next = polygon.iter().cycle().skip(1);
    let crosses = |(a, b): (&[f64; 2], &[f64; 2])| {
        (a[1] > y) != (b[1] > y) && x < a[0] + (y - a[1]) / (b[1] - a[1]) * (b[0] - a[0])
    };
    polygon.iter().zip(next).filter(|&pair| crosses(pair)).count() % 2 == 1
}

/// The same ellipse in full-resolution pixels.
fn to_full(e: &Ellipse, factor: usize) -> Ellipse {
    let f = factor as f64;
    Ellipse { cx: full(e.cx, factor), cy: full(e.cy, factor), r: e.r * f, p: e.p * f, q: e.q * f }
}

/// Stations along the ring with what was measured at each.
struct Line {
    base: Ellipse,
    followed: Followed,
    cross: CrossSections,
    sectors: Vec<Sector>,
    fits: Vec<Option<LineFit>>,
    curve: OpenCurve,
    /// Weight of each station about the smooth line; 0: not believed.
    weights: Vec<f64>,
    why: Vec<&'static str>,
}

impl Line {
    fn measured(
        picture: &Picture,
        base: Ellipse,
        followed: &Followed,
        allowed: &dyn Fn(f64, f64) -> bool,
    ) -> Result<Self, PhotoError> {
        let n = followed.t.len();
        let mut lit = followed.lit.clone();
        for (flag, (&t, &d)) in lit.iter_mut().zip(followed.t.iter().zip(&followed.offset_px)) {
            let s = station(&base, t, d);
            *flag &= allowed(s.x, s.y);
        }
        let span = 360.0 * lit.iter().filter(|l| **l).count() as f64 / n as f64;
        let needed = PhotoError::ArcTooShort { seen_deg: span, needed_deg: SHORTEST_ARC_DEG };
        if span < 0.7 * SHORTEST_ARC_DEG {
            return Err(needed);
        }
        let rough: Vec<Offset> = offsets(&followed.t, &followed.offset_px, &lit);
        let (curve, _) = OpenCurve::fitted(&rough, terms(span)).ok_or(needed.clone())?;
        let middle: Vec<f64> = followed.t.iter().map(|&t| curve.at(t)).collect();
        let rows = (followed.spacing_px.round() as usize).clamp(1, 6);
        let sigma = followed.sigma_px;
        let cross =
            CrossSections::read(picture, &base, &followed.t, &middle, sigma, rows, &lit).ok_or_else(faint)?;
        let first = cross.first_centres(sigma);
        let centres: Vec<f64> = first.iter().map(|f| f.map_or(f64::NAN, |f| f.centre_px)).collect();
        let usable: Vec<bool> = first.iter().zip(&lit).map(|(f, l)| *l && f.is_some()).collect();
        let (curve, weights) =
            OpenCurve::fitted(&offsets(&followed.t, &centres, &usable), terms(span)).ok_or(needed.clone())?;
        let mut good = usable.clone();
        spread(&mut good, &weights);
        let smooth: Vec<f64> = followed.t.iter().map(|&t| curve.at(t)).collect();
        let sectors = cross.sectors(&smooth, &good, sigma);
        if sectors.is_empty() {
            return Err(faint());
        }
        let fits = cross.centres(&smooth, &sectors);
        let mut line = Self {
            base,
            followed: Followed { lit, ..followed.clone() },
            cross,
            sectors,
            fits,
            curve,
            weights: vec![0.0; n],
            why: vec![""; n],
        };
        line.judge(span).ok_or(needed)?;
        Ok(line)
    }

    /// Decides which stations to believe and draws the smooth line through them.
    fn judge(&mut self, span: f64) -> Option<()> {
        let heights: Vec<f64> = self.kept(|f| f.height);
        let ratios: Vec<f64> = self.kept(|f| f.scatter / f.height.max(1e-9));
        let (height, ratio) = (median(heights), median(ratios));
        let mut usable = self.followed.lit.clone();
        for ((flag, fit), why) in usable.iter_mut().zip(&self.fits).zip(&mut self.why) {
            *why = match fit {
                _ if !*flag => "the line is not seen here",
                None => "no thin line fits the cross-section",
                Some(f) if f.height < 0.12 * height => "the line is too faint here",
                Some(f) if f.scatter > 4.0 * ratio * f.height.max(0.5 * height) => {
                    "something else shines on the line"
                }
                Some(_) => "",
            };
            *flag = why.is_empty();
        }
        self.erode(&mut usable);
        let centres: Vec<f64> = self.fits.iter().map(|f| f.map_or(f64::NAN, |f| f.centre_px)).collect();
        let points: Vec<Offset> = offsets_with(&self.followed.t, &self.fits, &usable);
        let (curve, weights) = OpenCurve::fitted(&points, terms(span))?;
        let mut all = usable.iter();
        let mut next = weights.iter();
        for (slot, why) in self.weights.iter_mut().zip(&mut self.why) {
            *slot = if all.next() == Some(&true) { next.next().copied().unwrap_or(0.0) } else { 0.0 };
            if *slot == 0.0 && why.is_empty() {
                *why = "off the smooth line";
            }
        }
        let _ = centres;
        self.curve = curve;
        Some(())
    }

    fn kept(&self, value: impl Fn(&LineFit) -> f64) -> Vec<f64> {
        self.fits
            .iter()
            .zip(&self.followed.lit)
            .filter(|(_, l)| **l)
            .filter_map(|(f, _)| f.as_ref())
            .map(value)
            .collect()
    }

    /// Takes away stations nearer than two beam widths to the end of a lit piece: there the gun cuts the profile.
    fn erode(&mut self, usable: &mut [bool]) {
        let n = usable.len();
        let reach = (2.0 * self.followed.sigma_px / self.followed.spacing_px).ceil() as usize;
        let before = usable.to_vec();
        for i in 0..n {
            let dark = (1..=reach).any(|k| {
                !before.get((i + k) % n).unwrap_or(&true) || !before.get((i + n - k) % n).unwrap_or(&true)
            });
            if let (true, Some(flag), Some(why)) = (dark, usable.get_mut(i), self.why.get_mut(i))
                && *flag
            {
                (*flag, *why) = (false, "at the end of a visible piece");
            }
        }
    }

    /// Residuals about the smooth line, `None` where not believed.
    fn residuals(&self) -> Vec<Option<f64>> {
        let one = |((fit, &t), &w): ((&Option<LineFit>, &f64), &f64)| {
            fit.filter(|_| w > 0.0).map(|f| f.centre_px - self.curve.at(t))
        };
        self.fits.iter().zip(&self.followed.t).zip(&self.weights).map(one).collect()
    }

    /// The finished trace.
    fn finished(self, _picture: &Picture) -> Result<RingTrace, PhotoError> {
        let residuals = self.residuals();
        let known: Vec<f64> = residuals.iter().flatten().copied().collect();
        let arc_seen_deg = 360.0 * known.len() as f64 / residuals.len() as f64;
        if arc_seen_deg < SHORTEST_ARC_DEG {
            return Err(PhotoError::ArcTooShort { seen_deg: arc_seen_deg, needed_deg: SHORTEST_ARC_DEG });
        }
        let scatter_px = (known.iter().map(|r| r * r).sum::<f64>() / known.len() as f64).sqrt();
        let stated = median(
            self.fits
                .iter()
                .zip(&self.weights)
                .filter(|(_, w)| **w > 0.0)
                .filter_map(|(f, _)| f.map(|f| f.u_px))
                .collect(),
        );
        let widen = (1.4826 * median(known.iter().map(|r| r.abs()).collect()) / stated.max(1e-9)).max(1.0);
        let points = self.points(widen);
        let weighted: Vec<Weighted> = points
            .iter()
            .filter(|p| p.accepted)
            .map(|p| Weighted { x: p.x_px, y: p.y_px, weight: p.u_px.powi(-2) })
            .collect();
        let ellipse = self.base.fitted(&weighted, 1e6, 30).ok_or_else(faint)?;
        let out =
            weighted.iter().map(|w| ellipse.distance(w.x, w.y).powi(2)).sum::<f64>() / weighted.len() as f64;
        let spacing = self.followed.spacing_px;
        let correlation_length_px = spacing * correlated_neighbours(&residuals);
        let arc_px = known.len() as f64 * spacing;
        let widths: Vec<f64> = points.iter().filter(|p| p.accepted).map(|p| p.width_px).collect();
        let width = median(widths.clone());
        let u_width = 1.4826
            * median(
                self.sectors.iter().map(|s| (FULL_WIDTH * s.fit.shape.sigma_px - width).abs()).collect(),
            );
        Ok(RingTrace {
            muzzle_px: None,
            travel_known: false,
            arc_seen_deg,
            ellipse,
            centre_px: [ellipse.cx, ellipse.cy],
            semi_axes_px: ellipse.semi_axes(),
            axis_angle_deg: ellipse.axis_angle_deg(),
            beam_width_px: [width, u_width / (self.sectors.len() as f64).sqrt()],
            correlation_length_px,
            effective_points: arc_px / correlation_length_px,
            scatter_px,
            out_of_ellipse_px: (out - scatter_px * scatter_px).max(0.0).sqrt(),
            channel_weights: self.cross.weights,
            rejected: self.rejected(),
            caveats: self.caveats(arc_seen_deg),
            points,
        })
    }

    fn points(&self, widen: f64) -> Vec<TracePoint> {
        let mut points = Vec::new();
        for (i, (fit, &t)) in self.fits.iter().zip(&self.followed.t).enumerate() {
            let (Some(fit), Some(&weight), Some(shape)) =
                (fit, self.weights.get(i), shape_at(&self.sectors, t))
            else {
                continue;
            };
            let place = station(&self.base, t, fit.centre_px);
            let half = 0.5 * FULL_WIDTH * shape.sigma_px;
            points.push(TracePoint {
                x_px: place.x,
                y_px: place.y,
                normal: [place.nx, place.ny],
                u_px: fit.u_px * widen,
                width_px: 2.0 * half,
                edges_px: [half, half],
                brightness: fit.height,
                s_px: i as f64 * self.followed.spacing_px,
                accepted: weight > 0.0,
            });
        }
        points
    }

    fn rejected(&self) -> Vec<Rejected> {
        let mut out: Vec<Rejected> = Vec::new();
        for (i, why) in self.why.iter().enumerate().filter(|(_, w)| !w.is_empty()) {
            let (Some(&t), Some(fit)) = (self.followed.t.get(i), self.fits.get(i)) else { continue };
            let place = station(&self.base, t, fit.map_or(self.curve.at(t), |f| f.centre_px));
            match out.iter_mut().find(|r| r.why == *why) {
                Some(r) => r.points_px.push([place.x, place.y]),
                None => out.push(Rejected { points_px: vec![[place.x, place.y]], why: (*why).to_owned() }),
            }
        }
        out
    }

    fn caveats(&self, arc_seen_deg: f64) -> Vec<PhotoCaveat> {
        let mut caveats = Vec::new();
        if arc_seen_deg < SHORT_ARC_DEG {
            caveats.push(PhotoCaveat::new(
                "short-arc",
                format!("only {arc_seen_deg:.0}° of the ring is bright enough to follow"),
                "darken the room or expose for longer, then photograph again",
            ));
        }
        if self.cross.saturated > 0.1 {
            caveats.push(PhotoCaveat::new(
                "saturated-beam",
                format!(
                    "the beam must not be overexposed; {:.0} % of its core is at full scale",
                    100.0 * self.cross.saturated
                ),
                "expose for a shorter time, then photograph again",
            ));
        }
        caveats
    }
}

/// Terms of the smooth line for an arc: enough for four waves a turn, fewer for less.
fn terms(span_deg: f64) -> usize {
    (3.0 + span_deg / 45.0).round() as usize
}

fn offsets(t: &[f64], d: &[f64], usable: &[bool]) -> Vec<Offset> {
    let each = t.iter().zip(d).zip(usable).filter(|(_, u)| **u);
    each.map(|((&t, &d), _)| Offset { t, d, u: 1.0 }).collect()
}

fn offsets_with(t: &[f64], fits: &[Option<LineFit>], usable: &[bool]) -> Vec<Offset> {
    let floor = median(fits.iter().flatten().map(|f| f.u_px).collect());
    let each = t.iter().zip(fits).zip(usable).filter(|(_, u)| **u);
    each.filter_map(|((&t, f), _)| f.map(|f| Offset { t, d: f.centre_px, u: f.u_px.hypot(floor) })).collect()
}

/// Switches off the flags whose weight (one for each flag that is on, in order) is 0.
fn spread(flags: &mut [bool], weights: &[f64]) {
    let mut next = weights.iter();
    for flag in flags.iter_mut().filter(|f| **f) {
        *flag = next.next().is_some_and(|w| *w > 0.0);
    }
}
