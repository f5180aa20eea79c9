//! What is printed on a scale: marks, numerals, lines and squares, and how much of a pixel they cover.

use crate::canvas::{covered, covered_strip};
use crate::glyphs;
use crate::scale_face::Spot;
use crate::scale_object::Edge;

/// Width of a mark of a millimetre or inch edge.
const MARK_WIDTH_MM: f64 = 0.18;
/// Lengths of millimetre marks: every one, every fifth, every tenth.
const MM_LENGTHS: [f64; 3] = [3.2, 4.8, 6.6];
/// Lengths of inch marks: sixteenth, eighth, quarter, half, whole.
const INCH_LENGTHS: [f64; 5] = [2.4, 3.2, 4.2, 5.4, 6.8];
/// No mark is longer.
const LONGEST_MM: f64 = 6.8;
/// Height of the numerals.
const NUMERAL_MM: f64 = 3.0;

/// Numbers of the marks whose ink may reach a pixel.
fn reached(
    value: f64,
    slope: [f64; 2],
    spacing: f64,
    half_width: f64,
    last: u32,
) -> std::ops::RangeInclusive<i64> {
    let reach = half_width + 0.5 * (slope[0].abs() + slope[1].abs());
    let low = ((value - reach) / spacing).ceil().max(0.0);
    let high = ((value + reach) / spacing).floor().min(f64::from(last));
    // Empty when no mark is near.
    low as i64..=high as i64
}

/// Share of a pixel under the marks of one edge; `depth` is the distance from that edge, `slope` its change.
pub(crate) fn edge_ink(edge: Edge, spot: &Spot, depth: f64, slope: [f64; 2], length_mm: u32) -> f64 {
    let Some(spacing) = edge.spacing_mm() else { return 0.0 };
    if depth > LONGEST_MM + 1.0 {
        return 0.0;
    }
    let half = 0.5 * mark_width(edge);
    let last = (f64::from(length_mm) / spacing + 1e-9) as u32;
    reached(spot.u, spot.du, spacing, half, last)
        .map(|mark| {
            let at = mark as f64 * spacing;
            covered_strip(spot.u, spot.du, at - half, at + half)
                * covered(mark_length(edge, mark) - depth, slope)
        })
        .sum()
}

fn mark_width(edge: Edge) -> f64 {
    match edge {
        Edge::HalfMillimetres => 0.12,
        Edge::Centimetres => 0.3,
        _ => MARK_WIDTH_MM,
    }
}

/// Length of a mark by its number.
fn mark_length(edge: Edge, mark: i64) -> f64 {
    let of = |steps: [i64; 2]| usize::from(mark % steps[0] == 0) + usize::from(mark % steps[1] == 0);
    match edge {
        Edge::Bare => 0.0,
        Edge::Millimetres => MM_LENGTHS[of([5, 10])],
        Edge::HalfMillimetres if mark % 2 != 0 => 2.4,
        Edge::HalfMillimetres => MM_LENGTHS[of([10, 20])],
        Edge::Centimetres => MM_LENGTHS[2],
        // Whole inches are divisible by 16, halves by 8 and so on: the number of twos says the rank.
        Edge::SixteenthInches if mark == 0 => INCH_LENGTHS[4],
        Edge::SixteenthInches => INCH_LENGTHS[mark.trailing_zeros().min(4) as usize],
    }
}

/// Share of a pixel under the numerals of both edges.
pub(crate) fn numerals_ink(spot: &Spot, length_mm: u32, width_mm: f64, near: Edge, far: Edge) -> f64 {
    let head = MM_LENGTHS[2] + 1.2;
    let at_near = numeral_ink(near, spot.u, spot.v - head, spot.pixel, length_mm, false);
    // These stand on the other edge, so they are upside down as seen from the first.
    let at_far = numeral_ink(far, spot.u, width_mm - spot.v - head, spot.pixel, length_mm, true);
    at_near.max(at_far)
}

fn numeral_ink(edge: Edge, u: f64, above: f64, pixel: f64, length_mm: u32, turned: bool) -> f64 {
    if !(-1.0..NUMERAL_MM + 1.0).contains(&above) || edge == Edge::Bare {
        return 0.0;
    }
    let (step, factor) = match edge {
        Edge::SixteenthInches => (25.4, 1),
        Edge::Centimetres => (10.0, 1),
        _ => (10.0, 10),
    };
    let number = (u / step).round();
    if number < 0.0 || number * step > f64::from(length_mm) {
        return 0.0;
    }
    let word = format!("{}", number as i64 * factor);
    let left = number * step - 0.5 * glyphs::width(&word, NUMERAL_MM);
    let right = number * step + 0.5 * glyphs::width(&word, NUMERAL_MM);
    let at = if turned { right - u } else { u - left };
    let ink = glyphs::ink(&word, NUMERAL_MM, at, above, pixel);
    if factor == 10 && !turned {
        return ink.max(glyphs::ink("mm", 0.8 * NUMERAL_MM, u - 2.6, above, pixel));
    }
    ink
}

pub(crate) fn grid_ink(spot: &Spot, columns: u32, rows: u32, side: f64, line: f64) -> f64 {
    let half = 0.5 * line;
    let (u_end, v_end) = (f64::from(columns) * side, f64::from(rows) * side);
    let lines = |value: f64, slope: [f64; 2], last: u32| -> f64 {
        let widest = 1.6 * half;
        reached(value, slope, side, widest, last)
            .map(|k| {
                let (at, half) = (k as f64 * side, if k % 10 == 0 { widest } else { half });
                covered_strip(value, slope, at - half, at + half)
            })
            .sum()
    };
    let upright = lines(spot.u, spot.du, columns) * covered_strip(spot.v, spot.dv, -half, v_end + half);
    let level = lines(spot.v, spot.dv, rows) * covered_strip(spot.u, spot.du, -half, u_end + half);
    0.8 * (upright + level - upright * level).clamp(0.0, 1.0)
}

/// Dark squares: the product of two square waves, each averaged over the pixel.
pub(crate) fn board_ink(spot: &Spot, columns: u32, rows: u32, side: f64) -> f64 {
    let wave = |value: f64, slope: [f64; 2]| {
        // Signed: +1 in even cells, -1 in odd ones; only the nearest edge can run through a pixel.
        let edge = (value / side).round();
        let sign = if (edge as i64).rem_euclid(2) == 0 { 1.0 } else { -1.0 };
        sign * (2.0 * covered(value - edge * side, slope) - 1.0)
    };
    let inside = covered_strip(spot.u, spot.du, 0.0, f64::from(columns) * side)
        * covered_strip(spot.v, spot.dv, 0.0, f64::from(rows) * side);
    0.93 * inside * 0.5 * (1.0 + wave(spot.u, spot.du) * wave(spot.v, spot.dv))
}
