//! The stations along the ring with what was measured at each, and which of them to believe.

use crate::error::PhotoError;
use crate::picture::Picture;
use crate::ring_cross::{CrossSections, Sector};
use crate::ring_curve::{Offset, OpenCurve, median};
use crate::ring_ellipse::Ellipse;
use crate::ring_follow::{Followed, station};
use crate::ring_turns::first_turn;
use crate::trace::{LineFit, Rows};
use crate::trace_shape::Shape;

/// Shortest arc that still fixes a circle to about a hundredth; below it the ring is refused.
pub(crate) const SHORTEST_ARC_DEG: f64 = 60.0;
/// Cosine between two colours below which they are two lights: the gun's lamp is orange, the glow is not.
const LIKE: f64 = 0.9;
/// Part of the beam's height that the shape of one line may leave unexplained: noise and a tone curve leave about one
/// hundredth, two lines more than a width apart several.
const ONE_LINE: f64 = 0.035;
/// Part of saturated cross-sections from which a second turn is not looked for.
pub(crate) const MOST_SATURATED: f64 = 0.1;
/// Reason given where it leaves more.
pub(crate) const DOUBLED: &str = "the cross-section is not that of one line";

/// Said when the line is lost between the search and the fine reading.
pub(crate) fn faint() -> PhotoError {
    PhotoError::NoRing { why: "a faint line could not be followed at full resolution".into() }
}

/// Said when the whole ring is enough, but not of one line.
fn no_single_line(doubled_deg: f64) -> PhotoError {
    PhotoError::NoRing {
        why: format!(
            "over {doubled_deg:.0}° the line is not that of one beam: two lie side by side, or it is an outline"
        ),
    }
}

/// Stations along the ring with what was measured at each.
pub(crate) struct Line {
    pub(crate) base: Ellipse,
    pub(crate) followed: Followed,
    pub(crate) cross: CrossSections,
    pub(crate) sectors: Vec<Sector>,
    pub(crate) fits: Vec<Option<LineFit>>,
    pub(crate) curve: OpenCurve,
    /// Weight of each station about the smooth line; 0: not believed.
    pub(crate) weights: Vec<f64>,
    pub(crate) why: Vec<&'static str>,
    /// Whether electrons run with growing station numbers; unknown: `None`.
    pub(crate) forward: Option<bool>,
    /// Whether its core is at full scale so widely that only the middle between its flanks could be read.
    pub(crate) has_flanks_only: bool,
    /// Whether a second turn was told apart from it and its light taken away.
    pub(crate) is_beside_second: bool,
}

impl Line {
    pub(crate) fn measured(
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
        let rows = Rows::between(followed.spacing_px);
        let sigma = followed.sigma_px;
        let mut cross =
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
        let flanks = first;
        let narrow = narrow_width(&sectors).min(sigma);
        // where the core is at full scale neither heights nor middles of two lines can be told
        let first = (cross.saturated < MOST_SATURATED)
            .then(|| first_turn(picture, &base, &followed.t, cross.weights, narrow, allowed))
            .flatten();
        let beside_second = first.and_then(|first| {
            let mut cross = CrossSections::read(
                picture,
                &base,
                &followed.t,
                &first.offset_px,
                first.sigma_px,
                rows,
                &first.lit,
            )?;
            first.take_away_second(&mut cross.profiles, cross.raster);
            let sectors = cross.sectors(&first.offset_px, &first.lit, first.sigma_px);
            (!sectors.is_empty()).then_some((cross, sectors, first.offset_px, first.lit))
        });
        let is_beside_second = beside_second.is_some();
        let (cross, mut sectors, smooth, lit) = beside_second.unwrap_or((cross, sectors, smooth, lit));
        let mut has_flanks_only = false;
        let mut fits = cross.centres(&smooth, &sectors);
        let fitted =
            |fits: &[Option<LineFit>]| fits.iter().zip(&lit).filter(|(f, l)| **l && f.is_some()).count();
        // without its core the beam has flanks only, of which no shape can be had; the middle between them can
        if cross.saturated > MOST_SATURATED && !is_beside_second && 2 * fitted(&fits) < fitted(&flanks) {
            fits = flanks;
            sectors.iter_mut().for_each(|sector| sector.fit.shape = Shape::gaussian(sigma));
            has_flanks_only = true;
        }
        let mut line = Self {
            base,
            followed: Followed { lit, ..followed.clone() },
            cross,
            sectors,
            fits,
            curve,
            weights: vec![0.0; n],
            why: vec![""; n],
            forward: None,
            is_beside_second,
            has_flanks_only,
        };
        if line.judge(span).is_some() {
            return Ok(line);
        }
        let doubled = 360.0 * line.why.iter().filter(|w| **w == DOUBLED).count() as f64 / n as f64;
        Err(if doubled > 0.5 * span { no_single_line(doubled) } else { needed })
    }

    /// Decides which stations to believe and draws the smooth line through them.
    pub(crate) fn judge(&mut self, span: f64) -> Option<()> {
        let heights: Vec<f64> = self.kept(|f| f.height);
        let ratios: Vec<f64> = self.kept(|f| f.scatter / f.height.max(1e-9));
        let (height, ratio) = (median(heights), median(ratios));
        let mut usable = self.followed.lit.clone();
        let doubled: Vec<bool> = self.followed.t.iter().map(|&t| self.is_doubled(t)).collect();
        let marks = self.cross.likeness.iter().zip(&doubled);
        for (((flag, fit), why), (like, double)) in
            usable.iter_mut().zip(&self.fits).zip(&mut self.why).zip(marks)
        {
            *why = match fit {
                _ if !*flag => "the line is not seen here",
                _ if like.is_some_and(|c| c < LIKE) => "the line has another colour here",
                _ if *double => DOUBLED,
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
        self.curve = curve;
        Some(())
    }

    /// Whether the nearest sector's cross-section is not that of one line.
    pub(crate) fn is_doubled(&self, t: f64) -> bool {
        let nearest = self.sectors.iter().min_by(|a, b| (a.t - t).abs().total_cmp(&(b.t - t).abs()));
        nearest.is_some_and(|s| {
            s.misfit(self.cross.raster.len()) > ONE_LINE || s.fit.middle_px.abs() > s.fit.shape.sigma_px
        })
    }

    pub(crate) fn kept(&self, value: impl Fn(&LineFit) -> f64) -> Vec<f64> {
        self.fits
            .iter()
            .zip(&self.followed.lit)
            .filter(|(_, l)| **l)
            .filter_map(|(f, _)| f.as_ref())
            .map(value)
            .collect()
    }

    /// Takes away stations nearer than two beam widths to the end of a lit piece: there the gun cuts the profile.
    pub(crate) fn erode(&mut self, usable: &mut [bool]) {
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
    pub(crate) fn residuals(&self) -> Vec<Option<f64>> {
        let one = |((fit, &t), &w): ((&Option<LineFit>, &f64), &f64)| {
            fit.filter(|_| w > 0.0).map(|f| f.centre_px - self.curve.at(t))
        };
        self.fits.iter().zip(&self.followed.t).zip(&self.weights).map(one).collect()
    }
}

/// Width of a single line where two may lie side by side: that of the narrow sectors.
fn narrow_width(sectors: &[Sector]) -> f64 {
    let mut widths: Vec<f64> = sectors.iter().map(|s| s.fit.shape.sigma_px).collect();
    widths.sort_by(f64::total_cmp);
    widths.get(widths.len() / 5).copied().unwrap_or(f64::INFINITY).max(0.5)
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
