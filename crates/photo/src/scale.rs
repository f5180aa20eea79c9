//! The scale on a photograph: its marks found, measured one by one, numbered, and its spacing known by their rhythm.

mod along;
mod band;
mod count;
mod fine;
mod lattice;
mod rhythm;
mod root;
mod row;
mod search;
mod spacing;
mod strip;
mod tick;
mod zoom;

use crate::by_hand::click_u_px;
use crate::error::{PhotoCaveat, PhotoError};
use crate::glass::BulbBefore;
use crate::marks::{HandMark, HandMarkKind, inside_outline};
use crate::picture::{LightPlane, Picture};
use crate::propose::Bar;
use along::Label;
pub use lattice::ScaleCrossing;
pub use rhythm::Rhythm;
use row::Row;
use search::{on_finer, search, whole_factor};
use spacing::{by_rhythm, named};

/// Fewer marks than this fix no plane.
pub const FEWEST_MARKS: usize = 8;

/// What kind of scale the photograph shows.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum ScaleKind {
    /// A straight ruler with marks along one or both edges.
    #[default]
    Ruler,
    /// Crossed lines.
    Grid,
    /// Squares of two colours.
    Board,
}

/// What is known of the scale before looking.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct ScaleHints {
    /// Kind of scale.
    pub kind: ScaleKind,
    /// Stated distance from mark to mark in millimetres.
    pub spacing_mm: Option<f64>,
    /// Pixels a millimetre of the scale that a usual lens gives at the stated distance, least and most.
    pub px_per_mm: Option<[f64; 2]>,
    /// Closed outlines (pixels) in which nothing is to be used.
    pub leave_out: Vec<Vec<[f64; 2]>>,
    /// Points marked by hand; those of the scale replace the search.
    pub hand_marks: Vec<HandMark>,
    /// The bulb, where the scale stands behind it: points marked by hand are moved to where they would be seen without it.
    pub bulb: Option<BulbBefore>,
}

impl ScaleHints {
    fn allows(&self, point: [f64; 2]) -> bool {
        !self.leave_out.iter().any(|outline| inside_outline(outline, point))
    }
}

/// One mark of the scale.
#[derive(Debug, Clone, PartialEq)]
pub struct ScaleMark {
    /// Number along its row; a longest mark has number 0, the direction is arbitrary.
    pub number: i32,
    /// Two points on the mark's centre line, at different depths, in pixels; their errors are independent.
    pub points_px: [[f64; 2]; 2],
    /// Standard uncertainty of each point across the mark, in pixels.
    pub u_px: f64,
    /// The mark's foot (the end that all marks of the row share) and its other end, in pixels.
    pub ends_px: [[f64; 2]; 2],
    /// Rank of its length in the rhythm, 0 for the shortest.
    pub rank: usize,
}

/// One row of marks.
#[derive(Debug, Clone, PartialEq)]
pub struct ScaleRow {
    /// Marks in order of their numbers.
    pub marks: Vec<ScaleMark>,
    /// Distance from mark to mark in millimetres; none when it is left to the fit.
    pub spacing_mm: Option<f64>,
    /// How the lengths of the marks repeat.
    pub rhythm: Rhythm,
    /// Standard deviation of the marks' feet across the row, in pixels.
    pub foot_scatter_px: f64,
    /// Whether the marks are darker than the ground.
    pub dark: bool,
}

impl ScaleRow {
    /// Mean distance from mark to mark in pixels.
    pub fn pitch_px(&self) -> f64 {
        let (Some(a), Some(b)) = (self.marks.first(), self.marks.last()) else { return 0.0 };
        let (p, q) = (a.ends_px[0], b.ends_px[0]);
        (p[0] - q[0]).hypot(p[1] - q[1]) / f64::from((b.number - a.number).abs().max(1))
    }
}

/// The scale as found.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct ScaleFound {
    /// Rows of marks; the first one sets the unit.
    pub rows: Vec<ScaleRow>,
    /// Crossings of squared paper, or corners of a board's squares.
    pub crossings: Vec<ScaleCrossing>,
    /// Distance from a crossing to the next number's, in millimetres.
    pub crossing_spacing_mm: Option<f64>,
    /// Every so many lines of squared paper one is heavier, if so.
    pub heavier_every: Option<i32>,
    /// Points of the scale marked by hand.
    pub hand_marks: Vec<HandMark>,
    /// Their standard uncertainty in pixels, that of a click or, where the scale's own marks made them finer, less.
    pub hand_u_px: f64,
    /// How many a person marked.
    pub labels: usize,
    /// What deserves a caution.
    pub caveats: Vec<PhotoCaveat>,
}

/// Finds the scale.
///
/// Local directions vote for straight rows of parallel marks; each row is laid straight, its marks are followed as
/// short lines, numbered outwards from an even run, and their rhythm of lengths gives the spacing.
///
/// - **Takes** the photograph and what is known of the scale.
/// - **Gives** at least one row with [`FEWEST_MARKS`] marks, or the points marked by hand.
/// - **Fails** with [`PhotoError::NoScale`] or [`PhotoError::ScaleUnclear`].
pub fn find_scale(picture: &Picture, hints: &ScaleHints) -> Result<ScaleFound, PhotoError> {
    let hand: Vec<HandMark> = hints
        .hand_marks
        .iter()
        .filter(|m| m.what == HandMarkKind::Scale && m.along_mm.is_some())
        .copied()
        .collect();
    if hand.len() >= 2 {
        return Ok(by_hand(picture, &hand, hints.bulb.as_ref()));
    }
    if hints.kind != ScaleKind::Ruler {
        return lattice::find_lattice(picture, hints);
    }
    let mut plane = picture.reduced(1, if picture.channels() == 3 { 1 } else { 0 });
    let found = on_plane(&plane, hints);
    if found.is_ok() {
        return found;
    }
    // what stands in the file makes the noise of a dark room large beside a dim scale; light itself, about its square, does not
    plane.values.iter_mut().for_each(|value| *value *= *value);
    on_plane(&plane, hints).or(found)
}

/// The scale by the labels that a person marked, made finer by the marks between them where these can be seen.
fn by_hand(picture: &Picture, hand: &[HandMark], bulb: Option<&BulbBefore>) -> ScaleFound {
    let click_u = click_u_px(picture.width(), picture.height());
    let label = |mark: &HandMark| {
        let px = mark.point_px();
        let [x_px, y_px] = bulb.map_or(px, |bulb| bulb.straightened(px));
        let u_px = bulb.map_or(0.0, |bulb| bulb.straightened_u(px)).hypot(click_u);
        Label { mark: HandMark { x_px, y_px, ..*mark }, u_px }
    };
    let labels: Vec<Label> = hand.iter().map(label).collect();
    let (hand_marks, hand_u_px) = match along::finer(picture, &labels, bulb) {
        Some(finer) => (finer.points, finer.u_px),
        None => {
            let mean = labels.iter().map(|label| label.u_px * label.u_px).sum::<f64>() / labels.len() as f64;
            (labels.iter().map(|label| label.mark).collect(), mean.sqrt())
        }
    };
    ScaleFound { hand_marks, hand_u_px, labels: labels.len(), ..ScaleFound::default() }
}

/// The scale of a picture of the whole bench by the rhythm of its centimetres, where the millimetres can't be told apart.
///
/// - **Takes** where the scale lies, how many pixels a millimetre of it has, with the relative standard uncertainty, and the bulb
///   before it, if any.
/// - **Gives** points along the scale, with caveat `scale-by-rhythm`; none unless the rhythm is plain and agrees with what was
///   expected: the rhythm alone does not tell centimetres from another division.
pub fn scale_by_rhythm(
    picture: &Picture,
    bar: &Bar,
    expected: (f64, f64),
    bulb: Option<&BulbBefore>,
) -> Option<ScaleFound> {
    let found = along::unaided(picture, bar.ends_px, expected, bulb)?;
    let caveat = PhotoCaveat::new(
        "scale-by-rhythm",
        format!(
            "the scale was found by the rhythm of its marks, taken as centimetres because bulb, lens and distance ask for {:.2} px a millimetre within {:.0} %",
            expected.0,
            100.0 * expected.1,
        ),
        "check the scale on the drawn-back photograph, or mark two of its numbers",
    );
    Some(ScaleFound {
        hand_marks: found.points,
        hand_u_px: found.u_px,
        caveats: vec![caveat],
        ..ScaleFound::default()
    })
}

/// Finds the ruler on one plane of light.
fn on_plane(plane: &LightPlane, hints: &ScaleHints) -> Result<ScaleFound, PhotoError> {
    let seen = search(plane, whole_factor(plane), 1.0, hints, &|p| hints.allows(p));
    let is_plain = seen.as_ref().is_ok_and(Seen::is_plain);
    let bounds = seen.as_ref().ok().and_then(|seen| seen.rows.first().map(Row::bounds));
    let merit = seen.as_ref().map_or(0.0, Seen::merit);
    let named = seen.and_then(|seen| seen.named(hints, plane));
    if is_plain && named.is_ok() {
        return named;
    }
    // marks with few pixels each are looked for once more on a finer picture
    let Some(finer) = on_finer(plane, bounds, hints) else { return named };
    let is_better = finer.merit() >= 0.8 * merit;
    match (finer.named(hints, plane), named) {
        (Ok(finer), Ok(named)) => Ok(if is_better { finer } else { named }),
        (Ok(found), Err(_)) | (Err(_), Ok(found)) => Ok(found),
        (Err(_), Err(why)) => Err(why),
    }
}

/// Marks closer than this (pixels) have few pixels each.
const FINE_PX: f64 = 9.0;

/// The rows that were seen.
struct Seen {
    /// The best row, and the one beside it with the same direction.
    rows: Vec<Row>,
    /// One of a second ruler at an angle.
    across: Option<Row>,
}

impl Seen {
    /// Whether this is a ruler beyond doubt whose marks have pixels enough.
    fn is_plain(&self) -> bool {
        self.rows.first().is_some_and(|row| row.is_sure() && row.finished(None).pitch_px() >= FINE_PX)
    }

    /// Rank of the best row.
    fn merit(&self) -> f64 {
        self.rows.first().map_or(0.0, Row::merit)
    }

    /// The rows with their spacing.
    fn named(self, hints: &ScaleHints, plane: &LightPlane) -> Result<ScaleFound, PhotoError> {
        let mut found = named(self.rows, hints, plane)?;
        found.rows.extend(self.across.and_then(|row| second_ruler(&row, &found, hints)));
        Ok(found)
    }
}

/// Under 30° of tilt two rulers differ by up to 15 % in pixels a millimetre, and perspective adds some.
const TILTED_RATIO: [f64; 2] = [0.7, 1.43];

/// A second ruler's row at an angle, if its spacing is as clear as the first one's.
fn second_ruler(row: &Row, found: &ScaleFound, hints: &ScaleHints) -> Option<ScaleRow> {
    let main = found.rows.first()?;
    let spacing = by_rhythm(row, hints.spacing_mm)?;
    let finished = row.finished(Some(spacing));
    let ratio = (finished.pitch_px() / spacing) / (main.pitch_px() / main.spacing_mm?);
    (TILTED_RATIO[0]..TILTED_RATIO[1]).contains(&ratio).then_some(finished)
}
