//! The line of a band measured by its cross-section's shape where that can be had, by its middle where not.

use super::{Band, Settled};
use crate::picture::Picture;
use crate::ring::RingTrace;
use crate::ring_ellipse::Ellipse;
use crate::ring_follow::Followed;
use crate::ring_line::Line;

/// Both ways must give one line: this far apart, in standard deviations of the beam and in parts of the radius.
const ALIKE_SIGMAS: f64 = 0.15;
const ALIKE_PART: f64 = 0.001;
/// The finer way must believe this part of the arc that the plain one does.
const LEAST_ARC: f64 = 0.75;
/// Cautions with which the finer way says itself that something lies beside the line.
const DOUBTS: [&str; 2] = ["doubled-line", "second-turn"];

impl Band {
    /// The trace of the line: with core, haze and veil fitted to its cross-sections where those are of one beam and lie where
    /// the band's own middles do, else those middles.
    pub(crate) fn measured(
        &self,
        picture: &Picture,
        settled: &Settled,
        allowed: &dyn Fn(f64, f64) -> bool,
    ) -> RingTrace {
        let plain = settled.trace(self);
        let fine = self.finely(picture, settled, allowed);
        fine.filter(|fine| self.is_alike(fine, &plain)).unwrap_or(plain)
    }

    fn finely(
        &self,
        picture: &Picture,
        settled: &Settled,
        allowed: &dyn Fn(f64, f64) -> bool,
    ) -> Option<RingTrace> {
        let (t, order) = self.order_from(self.dark_start());
        let offset = |i: &usize| settled.offset(*i).or_else(|| self.offset_px.get(*i).copied());
        let followed = Followed {
            t,
            offset_px: order.iter().filter_map(offset).collect(),
            lit: order.iter().map(|&i| self.lit.get(i) == Some(&true)).collect(),
            sigma_px: settled.sigma_px,
            spacing_px: self.spacing_px,
        };
        let line = Line::measured(picture, self.base, &followed, allowed).ok()?;
        line.ordered_by_travel(picture).ok()?.finished(picture).ok()
    }

    fn is_alike(&self, fine: &RingTrace, plain: &RingTrace) -> bool {
        let far = |a: &Ellipse, b: &Ellipse| {
            (a.cx - b.cx).hypot(a.cy - b.cy).max((a.r - b.r).abs()).max((a.p - b.p).hypot(a.q - b.q))
        };
        let most = ALIKE_SIGMAS * self.sigma_px + ALIKE_PART * plain.ellipse.r;
        far(&fine.ellipse, &plain.ellipse) < most
            && fine.arc_seen_deg > LEAST_ARC * plain.arc_seen_deg
            && !fine.caveats.iter().any(|c| DOUBTS.contains(&c.code))
    }
}
