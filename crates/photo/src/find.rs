//! The glowing ring among everything round on a photograph: many candidates, several independent signs, and how sure it is.

mod evidence;
mod propose;

use crate::band::{Band, Reach};
use crate::picture::Picture;
use crate::propose::{Proposal, propose};
use crate::ring::RingTrace;
use crate::ring_ellipse::Ellipse;
use evidence::Evidence;
use propose::proposals;

/// A candidate looked at closely.
#[derive(Debug, Clone)]
pub(crate) struct Found {
    pub(crate) ellipse: Ellipse,
    pub(crate) evidence: Evidence,
}

/// Half-width of the band about a proposal in parts of its radius, and stations round it.
const REACH: Reach = Reach { part: 0.08, stations: 96, elongation: 0.06 };
/// The same for the measurement.
const CLOSE: Reach = Reach { part: 0.12, stations: 360, elongation: 0.06 };
/// Two ellipses this close, in parts of the radius, are one ring.
const SAME: f64 = 0.12;

/// From this score on a ring of the network's ends the search: bright lines on further planes are not asked for.
const PLAIN: f64 = 0.8;
/// A ring is surely the beam from this score and this word of the network on, where no other ring has half of it.
const SURE: f64 = 0.45;
const SURE_LEARNED: f64 = 0.45;
const RIVAL: f64 = 0.5;
/// Below this score nothing looks like the beam.
const LEAST: f64 = 0.12;

/// What the search ends with: candidates, likeliest first.
#[derive(Debug, Clone, Default)]
pub(crate) struct Search {
    pub(crate) found: Vec<Found>,
}

impl Search {
    /// The likeliest ring, if any looks like the beam at all.
    pub(crate) fn best(&self) -> Option<&Found> {
        self.found.first().filter(|found| found.evidence.score() >= LEAST)
    }

    /// Whether the likeliest ring is surely the beam.
    pub(crate) fn is_sure(&self) -> bool {
        let score = |found: &Found| found.evidence.score();
        let Some(best) = self.best() else { return false };
        let rival = self.found.get(1).map_or(0.0, score);
        score(best) >= SURE && best.evidence.learned >= SURE_LEARNED && rival < RIVAL * score(best)
    }
}

/// Everything that may be the ring: where the network sees it and, unless that is plain, where bright lines close.
pub(crate) fn find(picture: &Picture, limit_px: f64, allowed: &dyn Fn(f64, f64) -> bool) -> Search {
    let learned = propose(picture);
    let mut found: Vec<Found> = Vec::new();
    let fits = |ellipse: &Ellipse| ellipse.is_sound(6.0) && ellipse.r < limit_px;
    let starts: Vec<Ellipse> = learned.rings.iter().map(|ring| ring.ellipse).filter(fits).collect();
    let look = |starts: Vec<Ellipse>, found: &mut Vec<Found>| {
        for start in starts {
            looked_at(picture, start, &learned, allowed).into_iter().for_each(|new| add(found, new));
        }
        found.sort_by(|a, b| b.evidence.score().total_cmp(&a.evidence.score()));
    };
    look(starts, &mut found);
    if found.first().is_none_or(|best| best.evidence.score() < PLAIN) {
        look(proposals(picture, limit_px, allowed), &mut found);
    }
    Search { found }
}

fn looked_at(
    picture: &Picture,
    start: Ellipse,
    learned: &Proposal,
    allowed: &dyn Fn(f64, f64) -> bool,
) -> Option<Found> {
    let band = Band::settled(picture, start, REACH, (&[], 1.0), allowed)?;
    let ellipse = band.ellipse(REACH.elongation)?;
    let evidence = Evidence {
        learned: learned_score(learned, &ellipse),
        in_bulb: in_bulb(learned, &ellipse),
        ..Evidence::of(picture, &band, &ellipse)
    };
    Some(Found { ellipse, evidence })
}

/// Keeps the better of two candidates on one ring.
fn add(found: &mut Vec<Found>, new: Found) {
    match found.iter_mut().find(|other| is_same(&other.ellipse, &new.ellipse)) {
        Some(other) if other.evidence.score() < new.evidence.score() => *other = new,
        Some(_) => {}
        None => found.push(new),
    }
}

impl Found {
    /// The line measured at full length about this ring.
    pub(crate) fn measured(
        &self,
        picture: &Picture,
        allowed: &dyn Fn(f64, f64) -> bool,
    ) -> Option<RingTrace> {
        let band = Band::settled(picture, self.ellipse, CLOSE, (&[], 1.0), allowed)?;
        let settled = band.read(CLOSE.elongation)?;
        Some(band.measured(picture, &settled, allowed))
    }
}

/// The network's score of this ring, 0 where it proposed none here.
fn learned_score(learned: &Proposal, ellipse: &Ellipse) -> f64 {
    let here = learned.rings.iter().filter(|ring| is_same(&ring.ellipse, ellipse));
    here.map(|ring| ring.score).fold(0.0, f64::max)
}

/// How well the ring lies in the bulb as the network sees it: 1 inside, 0 outside, half where no bulb is seen.
fn in_bulb(learned: &Proposal, ellipse: &Ellipse) -> f64 {
    let Some(bulb) = &learned.bulb else { return 0.5 };
    let [x, y] = bulb.centre_px;
    let reach = (ellipse.cx - x).hypot(ellipse.cy - y) + ellipse.r;
    f64::from(u8::from(reach < 1.15 * bulb.radius_px && ellipse.r > 0.2 * bulb.radius_px))
}

pub(crate) fn is_same(a: &Ellipse, b: &Ellipse) -> bool {
    let far = (a.cx - b.cx).hypot(a.cy - b.cy) + (a.r - b.r).abs();
    far < SAME * a.r.min(b.r)
}
