//! Where ring, bulb, gun and scale may lie on a picture of the whole bench, by a small learned network: proposals, no measurement.

mod arc;
mod bar;
mod blob;
mod net;
mod search;

use crate::picture::{LightPlane, Picture};
use crate::ring_ellipse::Ellipse;
pub use bar::Bar;
pub use blob::{Outline, Place};
use net::{Window, maps_of};

/// Most rings proposed.
const MOST_RINGS: usize = 5;
/// A ring whose radius is below this on the network's input is looked at again, larger.
const SMALL_PX: f64 = 40.0;
/// The radius it then has, and the sides of the second input.
const LARGER_PX: f64 = 64.0;
const SECOND_SIDE_PX: usize = 384;
/// Proposals that agree to within this part of the radius are one.
const SAME: f64 = 0.15;

/// What the network sees, each 0 to 1, half as wide and high as its input.
#[derive(Debug, Clone)]
pub struct Maps {
    /// Centre line of the beam.
    pub beam: LightPlane,
    /// Inside of the bulb.
    pub bulb: LightPlane,
    /// Electron gun.
    pub gun: LightPlane,
    /// Ruler or scale.
    pub scale: LightPlane,
    /// Full-resolution pixel in which the centre of the top-left cell lies, x and y.
    pub origin_px: [f64; 2],
    /// Full-resolution pixels in a cell.
    pub cell_px: f64,
}

impl Maps {
    /// Cell coordinates of a full-resolution point.
    pub fn cell(&self, point_px: [f64; 2]) -> [f64; 2] {
        [0, 1].map(|k| (point_px[k] - self.origin_px[k]) / self.cell_px)
    }

    /// Full-resolution ellipse of one in cells.
    fn in_pixels(&self, e: &Ellipse) -> Ellipse {
        let k = self.cell_px;
        Ellipse {
            cx: self.origin_px[0] + k * e.cx,
            cy: self.origin_px[1] + k * e.cy,
            r: k * e.r,
            p: k * e.p,
            q: k * e.q,
        }
    }
}

/// An ellipse along which the beam may run.
#[derive(Debug, Clone, Copy)]
pub struct RingProposal {
    /// Full-resolution pixels.
    pub ellipse: Ellipse,
    /// How sure, 0 to 1: strength of the beam map along the ellipse, its visible part, how empty it is beside it.
    pub score: f64,
    /// Part of the ellipse along which the beam map shows it, 0 to 1.
    pub seen: f64,
}

/// Everything proposed for one picture; lengths in full-resolution pixels.
#[derive(Debug, Clone)]
pub struct Proposal {
    /// Maps of the whole picture.
    pub maps: Maps,
    /// Rings, best first, at most five.
    pub rings: Vec<RingProposal>,
    /// The bulb's outline.
    pub bulb: Option<Outline>,
    /// The electron gun.
    pub gun: Option<Place>,
    /// The scale.
    pub scale: Option<Bar>,
}

/// Looks at the whole picture, and once more, larger, where the best ring or the bulb is small on it.
///
/// - **Takes** a picture of any size.
/// - **Gives** proposals only: ridge and fit measure the ring. A picture without a beam gives rings of low score or none.
/// - **Holds** for what the network was trained on: `crates/photo/learn/README.md`.
pub fn propose(picture: &Picture) -> Proposal {
    let whole = Window::whole(picture);
    let maps = maps_of(picture, &whole);
    let mut rings = search::rings(&maps);
    let bulb = blob::bulb(&maps, rings.first());
    if let Some(window) = closer(picture, &whole, rings.first(), bulb.as_ref()) {
        rings = joined(search::rings(&maps_of(picture, &window)), rings);
    }
    let gun = blob::gun(&maps);
    let scale = bar::scale(&maps);
    Proposal { maps, rings, bulb, gun, scale }
}

/// The window of a second look, if one is worth it.
fn closer(
    picture: &Picture,
    whole: &Window,
    ring: Option<&RingProposal>,
    bulb: Option<&Outline>,
) -> Option<Window> {
    /// Below this score the bulb says better than the ring where to look.
    const DOUBTFUL: f64 = 0.25;
    /// Usual radius of the ring in parts of the bulb's.
    const RING_IN_BULB: f64 = 0.55;
    let by_ring = ring.filter(|r| r.score >= DOUBTFUL).map(|r| (r.ellipse.cx, r.ellipse.cy, r.ellipse.r));
    let by_bulb = bulb.map(|b| (b.centre_px[0], b.centre_px[1], RING_IN_BULB * b.radius_px));
    let any = ring.map(|r| (r.ellipse.cx, r.ellipse.cy, r.ellipse.r));
    let (x, y, radius) = by_ring.or(by_bulb).or(any)?;
    let step = (radius / LARGER_PX).max(1.0);
    let is_small = radius / whole.step_px < SMALL_PX && step < 0.8 * whole.step_px;
    is_small.then(|| Window::about(picture, [x, y], step, SECOND_SIDE_PX))
}

/// Rings of the second look before those of the first, the same ones once, by score.
fn joined(second: Vec<RingProposal>, first: Vec<RingProposal>) -> Vec<RingProposal> {
    let mut all = second;
    for ring in first {
        match all.iter_mut().find(|r| search::same(&r.ellipse, &ring.ellipse, SAME)) {
            // both looks see it: the larger one says where, the surer one how sure
            Some(known) => known.score = known.score.max(ring.score),
            None => all.push(ring),
        }
    }
    all.sort_by(|a, b| b.score.total_cmp(&a.score));
    all.truncate(MOST_RINGS);
    all
}
