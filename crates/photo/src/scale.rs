//! The scale on a photograph: its marks found, measured one by one, numbered, and its spacing known by their rhythm.

mod band;
mod count;
mod fine;
mod lattice;
mod rhythm;
mod root;
mod row;
mod strip;
mod tick;
mod zoom;

use crate::error::{PhotoCaveat, PhotoError};
use crate::marks::{HandMark, HandMarkKind, inside_outline};
use crate::picture::{LightPlane, Picture};
pub use lattice::ScaleCrossing;
pub use rhythm::Rhythm;
use row::Row;
use zoom::{ZOOM, Zoomed};

/// Longest side of the picture on which rows of marks are searched, in pixels.
const SEARCH_SIDE_PX: f64 = 3200.0;
/// Bands tried before the search ends without a scale: the windings of coils, too, are rows of parallel lines.
const CANDIDATES: usize = 24;
/// Bands after which, with a ruler found, the search ends.
const ENOUGH_BANDS: usize = 5;
/// Fewer marks than this fix no plane.
pub const FEWEST_MARKS: usize = 8;
/// Millimetres in an inch, exact by definition (international yard and pound agreement, 1959).
const INCH_MM: f64 = 25.4;

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
        return Ok(ScaleFound { hand_marks: hand, ..ScaleFound::default() });
    }
    if hints.kind != ScaleKind::Ruler {
        return lattice::find_lattice(picture, hints);
    }
    let plane = picture.reduced(1, if picture.channels() == 3 { 1 } else { 0 });
    let seen = search(&plane, whole_factor(&plane), 1.0, hints, &|p| hints.allows(p));
    let is_plain = seen.as_ref().is_ok_and(Seen::is_plain);
    let bounds = seen.as_ref().ok().and_then(|seen| seen.rows.first().map(Row::bounds));
    let merit = seen.as_ref().map_or(0.0, Seen::merit);
    let named = seen.and_then(|seen| seen.named(hints, &plane));
    if is_plain && named.is_ok() {
        return named;
    }
    // marks with few pixels each are looked for once more on a finer picture
    let Some(finer) = on_finer(&plane, bounds, hints) else { return named };
    let is_better = finer.merit() >= 0.8 * merit;
    match (finer.named(hints, &plane), named) {
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

/// Distance about the best row, in lengths of it, that is looked at again on the finer picture where the whole is too large.
const ABOUT: f64 = 0.35;

/// What is seen with two pixels for one: on the whole photograph, or about the row that was found (its `bounds`) if that is too
/// large.
fn on_finer(plane: &LightPlane, bounds: Option<([f64; 2], [f64; 2])>, hints: &ScaleHints) -> Option<Seen> {
    let whole = || Zoomed::piece(plane, [0.0; 2], [plane.width as f64, plane.height as f64]);
    let about = || {
        let (low, high) = bounds?;
        let more = ABOUT * (high[0] - low[0]).hypot(high[1] - low[1]);
        Zoomed::piece(plane, low.map(|v| v - more), high.map(|v| v + more))
    };
    let zoomed = whole().or_else(about)?;
    let found = search(&zoomed.plane, 1, ZOOM as f64, hints, &|p| hints.allows(zoomed.on_photo(p))).ok()?;
    let back = |row: &Row| row.placed(|p| zoomed.on_photo(p), 1.0 / ZOOM as f64);
    Some(Seen { rows: found.rows.iter().map(back).collect(), across: found.across.as_ref().map(back) })
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

/// By how much the picture is reduced to look for bands.
fn whole_factor(plane: &LightPlane) -> usize {
    ((plane.width.max(plane.height) as f64 / SEARCH_SIDE_PX).round() as usize).max(1)
}

/// Looks for rows: bands on the picture reduced by `factor`, marks on all of it, of which `zoom` pixels are one of the
/// photograph.
fn search(
    plane: &LightPlane,
    factor: usize,
    zoom: f64,
    hints: &ScaleHints,
    is_allowed: &dyn Fn([f64; 2]) -> bool,
) -> Result<Seen, PhotoError> {
    let reduced = (factor > 1).then(|| shrink(plane, factor));
    let full = |p: f64| p * factor as f64 + (factor as f64 - 1.0) / 2.0;
    let allowed = |x: f64, y: f64| is_allowed([full(x), full(y)]);
    let bands = band::find_bands(reduced.as_ref().unwrap_or(plane), &allowed, CANDIDATES);
    let mut rows: Vec<Row> = Vec::new();
    let mut most = 0;
    for (k, band) in bands.iter().enumerate() {
        // a long row with a rhythm is the ruler; its other edge is among the next few bands, and after that only a second
        // ruler at an angle is of use
        let known = rows.iter().any(Row::is_sure) && (rows.len() >= 2 || k >= ENOUGH_BANDS);
        if known && (k >= ENOUGH_BANDS || !bands.first().is_some_and(|first| band.is_across(first))) {
            continue;
        }
        if let Some(row) = row::measure(plane, band, factor, is_allowed) {
            most = most.max(row.marks.len());
            if row.marks.len() >= FEWEST_MARKS && !rows.iter().any(|r| r.same_as(&row)) {
                rows.push(row);
            }
        }
    }
    if rows.is_empty() {
        let why = if most == 0 {
            "no row of evenly spaced marks stands out".to_owned()
        } else {
            format!("the best row shows only {most} marks that can be counted, {FEWEST_MARKS} are needed")
        };
        return Err(PhotoError::NoScale { why });
    }
    // a row that asks for a lens nobody has is none, unless there is no other: then it is said why
    let is_possible = |row: &Row| lens_is_possible(row, zoom, hints);
    rows.sort_by(|a, b| is_possible(b).cmp(&is_possible(a)).then_with(|| b.merit().total_cmp(&a.merit())));
    let first = rows.remove(0);
    let beside = rows.iter().position(|r| first.belongs(r)).map(|k| rows.remove(k));
    let across = rows.into_iter().find(|r| first.is_across(r));
    Ok(Seen { rows: [Some(first), beside].into_iter().flatten().collect(), across })
}

/// Whether the row's spacing, by its rhythm or as stated, can be what a usual lens shows at the stated distance.
fn lens_is_possible(row: &Row, zoom: f64, hints: &ScaleHints) -> bool {
    let Some([least, most]) = hints.px_per_mm else { return true };
    let pitch = row.finished(None).pitch_px() / zoom;
    let fits = |spacing: f64| (least..=most).contains(&(pitch / spacing));
    match (by_rhythm(row, hints.spacing_mm), hints.spacing_mm) {
        (Some(read), _) => fits(read),
        // long marks alone may be seen
        (None, Some(stated)) => LONG_STEPS.iter().any(|times| fits(times * stated)),
        (None, None) => true,
    }
}

/// Means over blocks of `factor` × `factor` pixels.
fn shrink(plane: &LightPlane, factor: usize) -> LightPlane {
    let (width, height) = (plane.width / factor, plane.height / factor);
    let mut values = vec![0.0_f32; width * height];
    let part = 1.0 / (factor * factor) as f32;
    for (j, out) in values.chunks_exact_mut(width.max(1)).enumerate() {
        for y in j * factor..(j + 1) * factor {
            let row = plane.values.get(y * plane.width..(y + 1) * plane.width).unwrap_or(&[]);
            for (sum, block) in out.iter_mut().zip(row.chunks_exact(factor)) {
                *sum += block.iter().sum::<f32>() * part;
            }
        }
    }
    LightPlane { width, height, values }
}

/// Gives each row its spacing from rhythm, from the other row, or from what is stated.
fn named(mut rows: Vec<Row>, hints: &ScaleHints, plane: &LightPlane) -> Result<ScaleFound, PhotoError> {
    let mut found = ScaleFound::default();
    let guesses: Vec<Option<f64>> = rows.iter().map(|r| by_rhythm(r, hints.spacing_mm)).collect();
    let ratio = match rows.as_slice() {
        [a, b, ..] => Some(b.pitch_near(a) / a.pitch_near(b)),
        _ => None,
    };
    let mut spacing = guesses;
    if spacing.iter().all(Option::is_none) && ratio.is_some_and(|ratio| (ratio - 1.0).abs() <= SAME_PITCH) {
        // of two plain rows with one spacing the second may be the numerals
        rows.truncate(1);
        spacing.truncate(1);
    }
    if let (Some(ratio), [a, b, ..]) = (ratio, spacing.as_mut_slice()) {
        pair(ratio, a, b);
    }
    let mut order: Vec<usize> = (0..rows.len()).collect();
    // the row whose spacing is known, in millimetres if there is one, sets the unit
    order.sort_by_key(|k| match spacing.get(*k).copied().flatten() {
        Some(s) if (s * 2.0).fract() == 0.0 => 0,
        Some(_) => 1,
        None => 2,
    });
    let first = order.first().copied().unwrap_or(0);
    if spacing.get(first).copied().flatten().is_none()
        && let (Some(row), Some(slot), Some(stated)) =
            (rows.get(first), spacing.get_mut(first), hints.spacing_mm)
        && let Some((read, caveat)) = long_marks(row, stated, plane)
    {
        *slot = Some(read);
        found.caveats.push(caveat);
    }
    if spacing.get(first).copied().flatten().is_none() {
        let stated = hints.spacing_mm.ok_or_else(|| PhotoError::ScaleUnclear {
            why: "no rhythm of long and short marks tells millimetres from other spacings, and no spacing is stated"
                .into(),
        })?;
        if let Some(row) = rows.get(first) {
            plain_row_is_usable(row, ratio, stated)?;
        }
        if let Some(s) = spacing.get_mut(first) {
            *s = Some(stated);
        }
        found.caveats.push(PhotoCaveat::new(
            "scale-spacing-stated",
            format!("the marks show no rhythm of long and short; their spacing of {stated} mm is taken as stated"),
            "check that every mark was found on the drawn-back photograph, or photograph a scale with long and short marks",
        ));
    }
    found.caveats.extend(stated_is_among(&rows, &spacing, hints.spacing_mm)?);
    cautions(&rows, &spacing, first, &mut found.caveats);
    for k in order {
        if let (Some(row), Some(s)) = (rows.get(k), spacing.get(k)) {
            found.rows.push(row.finished(*s));
        }
    }
    Ok(found)
}

/// Two rows whose spacings differ by less than this relatively have one.
const SAME_PITCH: f64 = 0.03;

/// Marks of one length closer than this are most likely long and short ones that the picture is too small to tell apart.
const CLEAR_PITCH_PX: f64 = 8.0;

/// Whether a row without rhythm may take the stated spacing: its marks must stand well apart, in one piece, and no second
/// row may beg to differ (`ratio` of its spacing to this one's). On a small picture the other edge of a ruler (sixteenths of an inch, say) would else pass for
/// millimetres, a silent factor of 1.6.
fn plain_row_is_usable(row: &Row, ratio: Option<f64>, stated: f64) -> Result<(), PhotoError> {
    let pitch = row.finished(None).pitch_px();
    let why = if pitch < CLEAR_PITCH_PX {
        format!("they stand only {pitch:.1} px apart, too close to tell long marks from short ones")
    } else if row.shortest < SHORTEST_MILLIMETRE && stated < 1.01 {
        "they are shorter than they stand apart, as the long marks of a scale are; its fine ones can't be seen".to_owned()
    } else if row.broken > 0 {
        "they show no rhythm of long and short, and a piece of the scale can't be joined to the rest"
            .to_owned()
    } else if ratio.is_some_and(|ratio| (ratio - 1.0).abs() > SAME_PITCH) {
        "two rows of marks were found, and neither shows a rhythm of long and short".to_owned()
    } else {
        return Ok(());
    };
    Err(PhotoError::ScaleUnclear { why })
}

/// Spacing that a row's rhythm stands for; tens are millimetres unless centimetres or another spacing is stated.
fn by_rhythm(row: &Row, stated: Option<f64>) -> Option<f64> {
    match row.rhythm {
        Rhythm::Tens => stated
            // of stated twentieths of an inch the tenths are seen
            .map(|s| if (s * 20.0 / INCH_MM - 1.0).abs() < 0.01 { 2.0 * s } else { s })
            .filter(|s| [2.0, 5.0, 10.0, 2.54].iter().any(|t| (s / t - 1.0).abs() < 0.01))
            // marks shorter than their spacing are no millimetres, but the long ones among them
            .or_else(|| (row.shortest >= SHORTEST_MILLIMETRE).then_some(1.0)),
        // half millimetres, or twentieths of an inch where those are stated
        Rhythm::Twenties => Some(stated.filter(|s| (s * 20.0 / INCH_MM - 1.0).abs() < 0.01).unwrap_or(0.5)),
        Rhythm::Halvings { levels } if levels >= 3 => Some(INCH_MM / f64::from(1 << levels)),
        Rhythm::Halvings { .. } | Rhythm::None => None,
    }
}

/// Uses the ratio of two rows' spacings: it must be that of two usual spacings, or one row is left to the fit.
fn pair(ratio: f64, a: &mut Option<f64>, b: &mut Option<f64>) {
    const USUAL: [f64; 8] =
        [1.0, 0.5, INCH_MM / 16.0, INCH_MM / 8.0, INCH_MM / 32.0, INCH_MM / 64.0, 10.0, INCH_MM / 10.0];
    let metric = |s: &Option<f64>| s.is_some_and(|s| (s * 2.0).fract() == 0.0);
    let nearest = |target: f64| USUAL.iter().copied().find(|u| (u / target - 1.0).abs() < 0.02);
    if metric(a) || !metric(b) && a.is_some() {
        *b = a.and_then(|a| nearest(a * ratio));
    } else if b.is_some() {
        *a = b.and_then(|b| nearest(b / ratio));
    }
}

/// Marks of millimetres are longer than this many spacings (2.5 mm and more); those of tenths of an inch are shorter
/// (3 to 4.5 mm are 1.2 to 1.8 spacings). Common practice, no source.
const SHORT_FOR_MILLIMETRES: f64 = 1.9;

/// Marks shorter than this many spacings are surely no millimetres.
const SHORTEST_MILLIMETRE: f64 = 0.9;

fn cautions(rows: &[Row], spacing: &[Option<f64>], first: usize, caveats: &mut Vec<PhotoCaveat>) {
    let Some(row) = rows.get(first) else { return };
    let length = row.shortest;
    if row.rhythm == Rhythm::Tens
        && spacing.get(first).copied().flatten() == Some(1.0)
        && length < SHORT_FOR_MILLIMETRES
    {
        caveats.push(PhotoCaveat::new(
            "scale-spacing-doubtful",
            format!("the shortest marks are only {length:.1} spacings long, as on rulers in tenths of an inch; they were read as millimetres"),
            "check which edge of the ruler was found, and state its spacing under [scale]",
        ));
    }
    if row.broken > 0 {
        caveats.push(PhotoCaveat::new(
            "scale-pieces-apart",
            "a piece of the scale lies beyond a gap that can't be counted across; it was left out",
            "photograph the scale with less of it covered",
        ));
    }
}

/// Steps of long marks over the stated fine ones that rulers have: fives and tens.
const LONG_STEPS: [f64; 3] = [1.0, 5.0, 10.0];

/// The spacing of long marks whose fine ones are blurred together or too small, as a multiple of what is stated, with a caveat.
///
/// The light between the long marks still shows how many fine ones there are ([`fine::divisions`]); where nothing of them is
/// left, long and short ones in turn are the fives and tens of millimetres.
fn long_marks(row: &Row, stated: f64, plane: &LightPlane) -> Option<(f64, PhotoCaveat)> {
    let is = |s: f64| (stated / s - 1.0).abs() < 0.01;
    let period = match row.rhythm {
        Rhythm::None => 1,
        Rhythm::Halvings { levels: 1 } => 2,
        _ => return None,
    };
    let (whole, half) = (is(1.0) || is(INCH_MM / 10.0), is(0.5) || is(INCH_MM / 20.0));
    let divisions = fine::divisions(plane, &row.finished(None));
    let read = match (divisions, period) {
        (Some(n @ 5), 1 | 2) | (Some(n @ 10), 1) if whole => stated * n as f64,
        (Some(n @ 10), 2) | (Some(n @ 20), 1) if half => stated * n as f64,
        // of half millimetres the whole ones are left
        (Some(5), 2) if half => 10.0 * stated,
        (None, 2) if is(1.0) || is(0.5) => 5.0,
        _ => return None,
    };
    let caveat = match divisions {
        Some(n) => PhotoCaveat::new(
            "scale-fine-marks-blurred",
            format!(
                "the fine marks can't be told apart one by one; the long ones were measured, with {n} fine ones between two of them"
            ),
            "focus on the scale, or come nearer, and photograph it again",
        ),
        None => PhotoCaveat::new(
            "scale-fine-marks-unseen",
            "the fine marks can't be seen; long and short ones in turn were taken for the fives and tens of millimetres",
            "focus on the scale, or come nearer, and photograph it again",
        ),
    };
    Some((read, caveat))
}

/// The stated spacing must be that of one of the rows, or its fives or tens: else the wrong row was found, or the wrong number
/// was stated. Binary parts of an inch can be nothing else: beside stated millimetres they are the ruler's other edge.
fn stated_is_among(
    rows: &[Row],
    spacing: &[Option<f64>],
    stated: Option<f64>,
) -> Result<Option<PhotoCaveat>, PhotoError> {
    let read: Vec<f64> = spacing.iter().flatten().copied().collect();
    let Some(stated) = stated.filter(|_| !read.is_empty()) else { return Ok(None) };
    let is = |read: f64, times: f64| (read / stated / times - 1.0).abs() < 0.01;
    let binary = (INCH_MM / stated).log2();
    let is_binary = (binary - binary.round()).abs() < 0.01;
    let is_stated = |s: f64| (stated / s - 1.0).abs() < 0.01;
    // where the finest marks can't be seen the next longer ones are read: whole millimetres of halves, eighths of sixteenths
    let coarser = |read: f64| {
        is(read, 2.0) && (is_stated(0.5) || is_stated(INCH_MM / 20.0))
            || is_binary && (is(read, 2.0) || is(read, 4.0))
    };
    if read.iter().any(|read| LONG_STEPS.iter().any(|times| is(*read, *times)) || coarser(*read)) {
        return Ok(None);
    }
    let is_inch =
        |row: &Row| matches!(row.rhythm, Rhythm::Halvings { levels } if levels >= 3) && row.is_sure();
    if rows.iter().any(is_inch) && (is_stated(1.0) || is_stated(0.5)) {
        let parts = read.iter().map(|read| INCH_MM / read).fold(0.0, f64::max);
        return Ok(Some(PhotoCaveat::new(
            "scale-other-edge",
            format!(
                "their spacing is stated as {stated} mm, but the marks found are those of the other edge, 1/{parts:.0} inch by their rhythm"
            ),
            "lay the edge with the millimetres so that it is well seen",
        )));
    }
    let read = read.iter().map(|read| format!("{read} mm")).collect::<Vec<_>>().join(" and ");
    Err(PhotoError::ScaleUnclear {
        why: format!(
            "their spacing is stated as {stated} mm, but the rhythm of long and short marks says {read}"
        ),
    })
}
