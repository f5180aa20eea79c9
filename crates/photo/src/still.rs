//! What stands still between the scale's photograph and the ring's: coils, clamps, base, table and room, and how the camera moved.
//!
//! They stay where they are when the tube comes out and the scale goes in. Where their edges lie elsewhere in the other photograph,
//! the camera moved, and the scale's plane must be carried along. Things before and behind the plane move by different amounts,
//! so each edge is given a distance: that of a coil's face where coils are stated, else of the bench or of the room behind it.

mod depth;
mod edge;
mod fit;
mod rough;

use crate::picture::Picture;
use crate::plane::solve::TUKEY_CUT;
use crate::plane::{Moved, ScalePlane};
use depth::{Place, places};
use edge::{Edge, Found, Guess, Sampling, edges, look};
use fit::{Seen, Unknowns};
use rough::{Similarity, Sketch};

/// A flat face of a coil, at right angles to the pair's axis.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CoilFace {
    /// Height above the scale's plane, towards the camera, in millimetres.
    pub above_mm: f64,
    /// Distance of its inner and outer rim from the axis, in millimetres (half the sides of a square coil).
    pub rims_mm: [f64; 2],
    /// Whether its rims are squares.
    pub is_square: bool,
}

impl CoilFace {
    /// How far from the axis a point lies, measured as the rims are.
    fn reach(&self, [x, y]: [f64; 2]) -> f64 {
        if self.is_square { x.abs().max(y.abs()) } else { x.hypot(y) }
    }
}

/// Fewest edges worth a comparison, and most on coils of stated size and elsewhere: more cost time and share their errors.
const FEWEST_EDGES: usize = 60;
const MOST_ON_COILS: usize = 260;
const MOST_ELSEWHERE: usize = 400;
/// Fewest of them found again on the other photograph, and of sectors of the picture (24) in which they lie.
const FEWEST_SEEN: usize = 30;
const FEWEST_SECTORS: usize = 5;
/// Looked for at wrong places some edges seem to agree as well: those that agree must be more by this factor, and by `FEWEST_SEEN`.
const ABOVE_CHANCE: f64 = 2.0;
/// The wrong place, in fine steps.
const WRONG_STEPS: [f64; 2] = [23.0, -17.0];
/// Edges that moved by less than this part of a fine step need no second look.
const PLAINLY_STILL: f64 = 0.4;
/// So many of the edges found must agree for that, and scatter by less than this part of a fine step.
const IN_PLACE: f64 = 0.8;
const TOGETHER: f64 = 0.45;
/// Edges that went by less than this many times their spread are where they were, unless another motion makes so many more agree.
const STANDING_SPREADS: f64 = 1.5;
const MORE_THAN_STANDING: f64 = 1.25;
/// What is believed at first about the rough motion, and about better ones, in fine steps.
const ABOUT_ROUGH: f64 = 4.5;
const ABOUT_FINE: f64 = 3.0;

/// Edges on the scale's photograph, ready to be looked for on another one.
#[derive(Debug, Clone)]
pub struct StillEdges {
    size_px: [usize; 2],
    step_px: f64,
    edges: Vec<Edge>,
    /// Places that each edge may have in space.
    places: Vec<Vec<Place>>,
    sketch: Sketch,
}

impl StillEdges {
    /// Finds edges on the photograph of a scale; none where too few are seen.
    ///
    /// - **Takes** the photograph, the scale's plane on it, and the faces of coils of stated size, or none.
    pub fn on_scale_photo(picture: &Picture, plane: &ScalePlane, faces: &[CoilFace]) -> Option<Self> {
        let step_px = (picture.width().max(picture.height()) as f64 / 1500.0).max(1.0);
        let all = edges(picture);
        let at = places(plane, &all, faces);
        let is_on_coil = |places: &[Place]| places.iter().any(|place| place.class < faces.len());
        let (coils, others): (Vec<_>, Vec<_>) = all
            .into_iter()
            .zip(at)
            .filter(|(_, places)| !places.is_empty())
            .partition(|(_, places)| is_on_coil(places));
        let thinned = |list: Vec<(Edge, Vec<Place>)>, most: usize| {
            let every = list.len().div_ceil(most).max(1);
            list.into_iter().step_by(every)
        };
        let kept = thinned(coils, MOST_ON_COILS).chain(thinned(others, MOST_ELSEWHERE));
        let (mut edges, places): (Vec<Edge>, Vec<Vec<Place>>) = kept.unzip();
        if edges.len() < FEWEST_EDGES {
            return None;
        }
        edges.iter_mut().for_each(|edge| edge.read(picture, step_px));
        let size_px = [picture.width(), picture.height()];
        Some(Self { size_px, step_px, edges, places, sketch: Sketch::of(picture) })
    }

    /// How the camera stood when it took another photograph, against this one.
    ///
    /// - **Takes** the other photograph, of the same size, and the scale's plane on this one.
    /// - **Gives** the camera's motion with its uncertainty; none where too little is seen on both.
    pub fn moved(&self, other: &Picture, plane: &ScalePlane) -> Option<Moved> {
        if [other.width(), other.height()] != self.size_px {
            return None;
        }
        // most cameras are clamped: edges that agree that they are in their places leave nothing else to look for
        let nowhere = Unknowns::zeros();
        let near = Sampling::near(self.step_px);
        let in_place = self.seen_again(other, near, &|number| {
            self.edges.get(number).map(|edge| Guess { at: edge.px, turn: [1.0, 0.0] }).into_iter().collect()
        });
        let standing = (in_place.len() >= FEWEST_SEEN)
            .then(|| fit::motion(self, plane, &in_place, &nowhere, ABOUT_FINE * self.step_px))
            .flatten();
        if let Some(motion) = standing.clone()
            && motion.edges_used as f64 > IN_PLACE * in_place.len() as f64
            && motion.spread_px < TOGETHER * self.step_px
            && motion.edges_px < PLAINLY_STILL * self.step_px
        {
            return Some(motion);
        }
        let mut best: Option<(Moved, Vec<Seen>)> = None;
        for similarity in self.sketch.on(other) {
            let Some(found) = self.closely(other, plane, &similarity) else { continue };
            if best.as_ref().is_none_or(|best| found.0.edges_used > best.0.edges_used) {
                best = Some(found);
            }
        }
        let (motion, seen) = best?;
        // few edges agree about some motion by chance: the camera that stood as it was needs nearly as many for itself
        if let Some(standing) = standing
            && standing.edges_px < STANDING_SPREADS * standing.spread_px
            && (motion.edges_used as f64) < MORE_THAN_STANDING * standing.edges_used as f64
        {
            return Some(standing);
        }
        self.is_plain(other, plane, &motion, &seen).then_some(motion)
    }

    /// The motion by the edges about a rough one, and the edges found.
    fn closely(&self, other: &Picture, plane: &ScalePlane, rough: &Similarity) -> Option<(Moved, Vec<Seen>)> {
        let mut at = fit::of_similarity(self, plane, rough)?;
        let (fine, near) = (Sampling::fine(self.step_px), Sampling::near(self.step_px));
        let mut last = None;
        for (sampling, first) in [(fine, ABOUT_ROUGH), (near, ABOUT_FINE), (near, ABOUT_FINE)] {
            let seen = self.seen_again(other, sampling, &|number| self.guesses(plane, &at, number, [0.0; 2]));
            if seen.len() < FEWEST_SEEN {
                return None;
            }
            let found = fit::motion(self, plane, &seen, &at, first * self.step_px)?;
            at = found.unknowns.into();
            last = Some((found, seen));
        }
        last
    }

    /// Whether more edges agree, in more parts of the picture, than would by chance.
    fn is_plain(&self, other: &Picture, plane: &ScalePlane, motion: &Moved, seen: &[Seen]) -> bool {
        let at: Unknowns = motion.unknowns.into();
        let near = Sampling::near(self.step_px);
        let wrong = WRONG_STEPS.map(|steps| steps * self.step_px);
        let beside = self.seen_again(other, near, &|number| self.guesses(plane, &at, number, wrong));
        let within = TUKEY_CUT * motion.spread_px;
        let agreeing = |seen: &[Seen], aside: [f64; 2]| -> Vec<[f64; 2]> {
            let is_near = |s: &&Seen| {
                let guesses = self.guesses(plane, &at, s.edge, aside);
                s.found.iter().any(|found| {
                    let off = |guess: &Guess| {
                        let [x, y] = [0, 1].map(|k| found.at[k] - guess.at[k]);
                        (x * found.normal[0] + y * found.normal[1]).abs()
                    };
                    guesses.iter().any(|guess| off(guess) < within)
                })
            };
            seen.iter().filter(is_near).filter_map(|s| Some(self.edges.get(s.edge)?.px)).collect()
        };
        let (here, chance) = (agreeing(seen, [0.0; 2]), agreeing(&beside, wrong));
        let mut sectors: Vec<usize> = here.iter().map(|px| self.sector(*px)).collect();
        sectors.sort_unstable();
        sectors.dedup();
        here.len() as f64 > ABOVE_CHANCE * chance.len() as f64 + FEWEST_SEEN as f64
            && sectors.len() >= FEWEST_SECTORS
    }

    /// Where an edge may be seen after a motion, one guess a place, all moved `aside` by so many pixels.
    fn guesses(&self, plane: &ScalePlane, motion: &Unknowns, number: usize, aside: [f64; 2]) -> Vec<Guess> {
        let camera = plane.after((*motion).into());
        let turn = plane.turned_by((*motion).into()).unwrap_or([1.0, 0.0]);
        let mut guesses: Vec<Guess> = Vec::new();
        for place in self.places.get(number).into_iter().flatten() {
            let Some(at) = camera.sees(&place.point) else { continue };
            let at = [at[0] + aside[0], at[1] + aside[1]];
            let is_new =
                |old: &Guess| (old.at[0] - at[0]).hypot(old.at[1] - at[1]) > PLAINLY_STILL * self.step_px;
            if guesses.iter().all(is_new) {
                guesses.push(Guess { at, turn });
            }
        }
        guesses
    }

    /// The edges found again about their guesses.
    fn seen_again(
        &self,
        other: &Picture,
        sampling: Sampling,
        guesses: &dyn Fn(usize) -> Vec<Guess>,
    ) -> Vec<Seen> {
        let one = |(number, edge): (usize, &Edge)| {
            let guesses = guesses(number);
            let found: Vec<Found> =
                guesses.iter().flat_map(|guess| look(other, edge, sampling, guess)).collect();
            (!found.is_empty()).then_some(Seen { edge: number, found })
        };
        self.edges.iter().enumerate().filter_map(one).collect()
    }
}
