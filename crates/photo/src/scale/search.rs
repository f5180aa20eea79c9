//! Where on a picture rows of marks are, and which of them is the scale's.

use super::spacing::{LONG_STEPS, by_rhythm};
use super::zoom::{ZOOM, Zoomed};
use super::{FEWEST_MARKS, Row, ScaleHints, Seen, band, row};
use crate::error::PhotoError;
use crate::picture::LightPlane;

/// Longest side of the picture on which rows of marks are searched, in pixels.
const SEARCH_SIDE_PX: f64 = 3200.0;
/// Bands tried before the search ends without a scale: the windings of coils, too, are rows of parallel lines.
const CANDIDATES: usize = 24;
/// Bands after which, with a ruler found, the search ends.
const ENOUGH_BANDS: usize = 5;

/// By how much the picture is reduced to look for bands.
pub(super) fn whole_factor(plane: &LightPlane) -> usize {
    ((plane.width.max(plane.height) as f64 / SEARCH_SIDE_PX).round() as usize).max(1)
}

/// Looks for rows: bands on the picture reduced by `factor`, marks on all of it, of which `zoom` pixels are one of the
/// photograph.
pub(super) fn search(
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

/// Distance about the best row, in lengths of it, that is looked at again on the finer picture where the whole is too large.
const ABOUT: f64 = 0.35;

/// What is seen with two pixels for one: on the whole photograph, or about the row that was found (its `bounds`) if that is too
/// large.
pub(super) fn on_finer(
    plane: &LightPlane,
    bounds: Option<([f64; 2], [f64; 2])>,
    hints: &ScaleHints,
) -> Option<Seen> {
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
