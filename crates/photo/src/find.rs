//! The glowing ring among everything round on a photograph: many candidates, several independent signs, and how sure it is.

mod evidence;
mod propose;

use crate::band::{Band, Reach};
use crate::picture::Picture;
use crate::ring_ellipse::Ellipse;
pub(crate) use evidence::{Evidence, describe};
use propose::proposals;

/// A candidate looked at closely.
#[derive(Debug, Clone)]
pub(crate) struct Found {
    pub(crate) band: Band,
    pub(crate) ellipse: Ellipse,
    pub(crate) evidence: Evidence,
}

/// Half-width of the band about a proposal in parts of its radius, and stations round it.
const REACH: Reach = Reach { part: 0.08, stations: 96, elongation: 0.06 };
/// Two ellipses this close, in parts of the radius, are one ring.
const SAME: f64 = 0.12;

/// Everything that may be the ring, likeliest first.
pub(crate) fn find(picture: &Picture, limit_px: f64, allowed: &dyn Fn(f64, f64) -> bool) -> Vec<Found> {
    let mut all: Vec<Found> = Vec::new();
    for start in proposals(picture, limit_px, allowed) {
        let Some(band) = Band::settled(picture, start, REACH, (&[], 1.0), allowed) else { continue };
        let Some(ellipse) = band.ellipse(REACH.elongation) else { continue };
        let evidence = Evidence::of(picture, &band, &ellipse);
        let found = Found { band, ellipse, evidence };
        match all.iter_mut().find(|other| is_same(&other.ellipse, &found.ellipse)) {
            Some(other) if other.evidence.score() < found.evidence.score() => *other = found,
            Some(_) => {}
            None => all.push(found),
        }
    }
    all.sort_by(|a, b| b.evidence.score().total_cmp(&a.evidence.score()));
    all
}

fn is_same(a: &Ellipse, b: &Ellipse) -> bool {
    let far = (a.cx - b.cx).hypot(a.cy - b.cy) + (a.r - b.r).abs();
    far < SAME * a.r.min(b.r)
}
