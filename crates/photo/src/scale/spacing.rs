//! How many millimetres lie between the marks: by their rhythm, by the ruler's other edge, or as stated.

use super::{Rhythm, Row, ScaleFound, ScaleHints, fine};
use crate::error::{PhotoCaveat, PhotoError};
use crate::picture::LightPlane;

/// Millimetres in an inch, exact by definition (international yard and pound agreement, 1959).
const INCH_MM: f64 = 25.4;

/// Gives each row its spacing from rhythm, from the other row, or from what is stated.
pub(super) fn named(
    mut rows: Vec<Row>,
    hints: &ScaleHints,
    plane: &LightPlane,
) -> Result<ScaleFound, PhotoError> {
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
/// row may beg to differ (`ratio` of its spacing to this one's). On a small picture the other edge of a ruler (sixteenths
/// of an inch, say) would else pass for millimetres, a silent factor of 1.6.
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
pub(super) fn by_rhythm(row: &Row, stated: Option<f64>) -> Option<f64> {
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
            "a piece of the scale lies beyond a gap that can't be counted across; it was not used",
            "photograph the scale with less of it covered",
        ));
    }
}

/// Steps of long marks over the stated fine ones that rulers have: fives and tens.
pub(super) const LONG_STEPS: [f64; 3] = [1.0, 5.0, 10.0];

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
                "the fine marks can't be resolved one by one; the long ones were measured, with {n} fine ones between two of them"
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
