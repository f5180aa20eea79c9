//! Measures the glowing ring on a photograph, blind to the readings of the meters.

mod band;
mod by_hand;
pub mod camera;
pub mod error;
mod find;
pub mod glass;
pub mod glow;
pub mod helix;
mod helix_model;
mod helix_read;
mod helix_search;
pub mod load;
pub mod marks;
mod normal;
pub mod outline;
pub mod overlay;
pub mod picture;
pub mod plane;
pub mod propose;
pub mod ring;
mod ring_choose;
mod ring_cross;
mod ring_curve;
pub mod ring_ellipse;
mod ring_follow;
mod ring_gun;
mod ring_line;
mod ring_result;
mod ring_travel;
mod ring_turns;
pub mod scale;
pub mod still;
pub mod trace;
mod trace_shape;

pub use by_hand::{FEWEST_BY_HAND, click_u_px, ring_by_hand};
pub use error::{PhotoCaveat, PhotoError};
pub use helix::{Helix, HelixInPlane, HelixPoint, find_helix, helix_in_plane};
pub use picture::{LightPlane, Picture, ShotFacts};
pub use ring::{Rejected, RingHints, RingTrace, TracePoint, UNSURE, View, find_ring, find_ring_telling};
pub use ring_ellipse::Ellipse;

/// TEMP
pub fn temp_find(picture: &Picture) -> Vec<(Ellipse, [f64; 12], String)> {
    let limit = 0.45 * picture.width().max(picture.height()) as f64;
    find::find(picture, limit, &|_, _| true).found.into_iter().map(|f| { let e = f.evidence; (f.ellipse, [e.seen, e.clear, e.width, e.scatter, e.elongation, e.colour, e.alike, e.bright, e.haze, e.glow, e.learned, e.in_bulb], find::describe(&e)) }).collect()
}
