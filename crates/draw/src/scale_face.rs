//! The face of a ruler, grid or board: what is printed where, and how much of a pixel it covers.

use crate::camera::View;
use crate::canvas::{covered, covered_strip};
use crate::error::DrawError;
use crate::glyphs;
use crate::noise::texture;
use crate::scene::{ScaleKind, ScaleObject};
use crate::vector::{Vec3, along, cross, dot, sub, unit};

/// A ruler goes on this far beyond its first and last mark; paper twice as far.
const MARGIN_MM: f64 = 6.0;
/// Width of a ruler's mark.
const MARK_WIDTH_MM: f64 = 0.18;
/// Lengths of millimetre marks: every one, every fifth, every tenth.
const MM_LENGTHS: [f64; 3] = [3.2, 4.8, 6.6];
/// Lengths of inch marks: sixteenth, eighth, quarter, half, whole.
const INCH_LENGTHS: [f64; 5] = [2.4, 3.2, 4.2, 5.4, 6.8];
/// A sixteenth of an inch of 25.4 mm exactly.
const SIXTEENTH_MM: f64 = 25.4 / 16.0;
/// Height of the numerals.
const NUMERAL_MM: f64 = 3.0;

/// A scale laid into the picture.
pub(crate) struct Face<'a> {
    object: &'a ScaleObject,
    view: &'a View,
    along: Vec3,
    across: Vec3,
    normal: Vec3,
    seed: u64,
    /// Smallest and largest place of the face: along from, to, across from, to.
    bounds: [f64; 4],
    /// Pixels that may show the face: left, top, right, bottom.
    box_px: [f64; 4],
}

/// A place on the face under a pixel, and how it changes from pixel to pixel.
struct Spot {
    u: f64,
    v: f64,
    du: [f64; 2],
    dv: [f64; 2],
    /// Size of a pixel on the face.
    pixel: f64,
}

impl<'a> Face<'a> {
    pub(crate) fn new(object: &'a ScaleObject, view: &'a View, seed: u64) -> Result<Self, DrawError> {
        let normal = unit(object.normal).ok_or(DrawError::NoDirection { name: "the scale's normal" })?;
        let in_plane = along(object.along, normal, -dot(object.along, normal));
        let along_marks = unit(in_plane).ok_or(DrawError::NoDirection { name: "the scale" })?;
        if dot(sub(view.origin, object.origin_mm), normal) <= 1.0 {
            return Err(DrawError::ScaleTurnedAway);
        }
        let bounds = match object.kind {
            ScaleKind::Ruler { length_mm, width_mm, .. } => {
                [-MARGIN_MM, f64::from(length_mm) + MARGIN_MM, 0.0, width_mm]
            }
            ScaleKind::Grid { columns, rows, spacing_mm: side, .. }
            | ScaleKind::Board { columns, rows, square_mm: side } => {
                let edge = 2.0 * MARGIN_MM;
                [-edge, f64::from(columns) * side + edge, -edge, f64::from(rows) * side + edge]
            }
        };
        let across = cross(normal, along_marks);
        let mut face =
            Face { object, view, along: along_marks, across, normal, seed, bounds, box_px: [0.0; 4] };
        face.box_px = face.box_in_picture()?;
        Ok(face)
    }

    /// A box that holds the face in the picture, corners and sides (which distortion bends).
    fn box_in_picture(&self) -> Result<[f64; 4], DrawError> {
        let [u0, u1, v0, v1] = self.bounds;
        // A post runs down out of the picture, a clamp stands out over the far edge.
        let above = if self.object.holder.is_some() { 12.0 } else { 0.0 };
        let mut bounds = [f64::INFINITY, f64::INFINITY, f64::NEG_INFINITY, f64::NEG_INFINITY];
        for step in 0..=16 {
            let part = f64::from(step) / 16.0;
            let (u, v) = (u0 + (u1 - u0) * part, v0 + (v1 + above - v0) * part);
            for place in [[u, v0], [u, v1 + above], [u0, v], [u1, v]] {
                let [x, y] = self
                    .view
                    .project(self.place(place[0], place[1]))
                    .ok_or(DrawError::BehindCamera { what: "a corner of the scale" })?;
                bounds = [bounds[0].min(x), bounds[1].min(y), bounds[2].max(x), bounds[3].max(y)];
            }
        }
        let reach = 4.0;
        Ok([bounds[0] - reach, bounds[1] - reach, bounds[2] + reach, bounds[3] + reach])
    }

    /// The point of the bench at a place of the face.
    pub(crate) fn place(&self, along_mm: f64, across_mm: f64) -> Vec3 {
        along(along(self.object.origin_mm, self.along, along_mm), self.across, across_mm)
    }

    /// Places of the marks (of crossings or corners for grid and board), along first.
    pub(crate) fn marks(&self) -> Vec<[f64; 2]> {
        let lattice =
            |columns: std::ops::RangeInclusive<u32>, rows: std::ops::RangeInclusive<u32>, side: f64| {
                let row = |j: u32| columns.clone().map(move |i| [f64::from(i) * side, f64::from(j) * side]);
                rows.flat_map(row).collect()
            };
        match self.object.kind {
            ScaleKind::Ruler { length_mm, .. } => lattice(0..=length_mm, 0..=0, 1.0),
            ScaleKind::Grid { columns, rows, spacing_mm, .. } => lattice(0..=columns, 0..=rows, spacing_mm),
            // Only corners where four squares meet are crossings of light and dark.
            ScaleKind::Board { columns, rows, square_mm } => {
                lattice(1..=columns - 1, 1..=rows - 1, square_mm)
            }
        }
    }

    /// Places of the marks of the inch edge.
    pub(crate) fn inch_marks(&self) -> Vec<[f64; 2]> {
        match self.object.kind {
            ScaleKind::Ruler { length_mm, width_mm, inch_edge: true, .. } => {
                let count = (f64::from(length_mm) / SIXTEENTH_MM) as u32;
                (0..=count).map(|k| [f64::from(k) * SIXTEENTH_MM, width_mm]).collect()
            }
            _ => Vec::new(),
        }
    }

    /// Whether the clamp lies over a place.
    pub(crate) fn is_clamped(&self, u: f64, v: f64) -> bool {
        self.object.holder.as_ref().is_some_and(|holder| {
            (u - holder.along_mm).abs() <= 0.5 * holder.width_mm && v >= self.bounds[3] - holder.reach_mm
        })
    }

    /// Paints the face over one row of the picture.
    pub(crate) fn paint_row(&self, y: usize, room: f64, row: &mut [[f32; 3]]) {
        self.paint_post(y, room, row);
        let [left, top, right, foot] = self.box_px;
        if (y as f64) < top || (y as f64) > foot || right < 0.0 {
            return;
        }
        let (from, to) = (left.max(0.0) as usize, (right as usize).min(row.len().saturating_sub(1)));
        for (x, value) in row.iter_mut().enumerate().take(to + 1).skip(from) {
            let Some(spot) = self.spot(x as f64, y as f64) else { continue };
            let cover = self.cover(&spot) as f32;
            if cover > 0.0 {
                let printed = self.printed(&spot) as f32;
                let shading = (room * self.shading(&spot)) as f32;
                for (channel, (ground, ink)) in
                    value.iter_mut().zip(self.object.ground.iter().zip(self.object.ink))
                {
                    let colour = (ground + (ink - ground) * printed) * shading;
                    *channel += (colour - *channel) * cover;
                }
            }
            self.paint_clamp(&spot, room, value);
        }
    }

    /// The place of the face under a pixel.
    fn spot(&self, x: f64, y: f64) -> Option<Spot> {
        let [u, v] = self.under(x, y)?;
        let ([ur, vr], [ud, vd]) = (self.under(x + 0.5, y)?, self.under(x, y + 0.5)?);
        let du = [2.0 * (ur - u), 2.0 * (ud - u)];
        let dv = [2.0 * (vr - v), 2.0 * (vd - v)];
        let pixel = (du[0] * dv[1] - du[1] * dv[0]).abs().sqrt();
        Some(Spot { u, v, du, dv, pixel })
    }

    fn under(&self, x: f64, y: f64) -> Option<[f64; 2]> {
        let ray = self.view.ray(x, y);
        let at = dot(sub(self.object.origin_mm, self.view.origin), self.normal) / dot(ray, self.normal);
        if !(at > 0.0 && at.is_finite()) {
            return None;
        }
        let from_origin = sub(along(self.view.origin, ray, at), self.object.origin_mm);
        Some([dot(from_origin, self.along), dot(from_origin, self.across)])
    }

    /// Share of a pixel that the face covers.
    fn cover(&self, spot: &Spot) -> f64 {
        let [u0, u1, v0, v1] = self.bounds;
        covered_strip(spot.u, spot.du, u0, u1) * covered_strip(spot.v, spot.dv, v0, v1)
    }

    /// Share of ink on the face under a pixel.
    fn printed(&self, spot: &Spot) -> f64 {
        match self.object.kind {
            ScaleKind::Ruler { length_mm, width_mm, inch_edge, numerals } => {
                let mut ink = mm_marks(spot, length_mm);
                if inch_edge {
                    ink = ink.max(inch_marks(spot, length_mm, width_mm));
                }
                if numerals {
                    ink = ink.max(numerals_ink(spot, length_mm, width_mm, inch_edge));
                }
                0.92 * ink.min(1.0)
            }
            ScaleKind::Grid { columns, rows, spacing_mm, line_mm } => {
                grid_ink(spot, columns, rows, spacing_mm, line_mm)
            }
            ScaleKind::Board { columns, rows, square_mm } => board_ink(spot, columns, rows, square_mm),
        }
    }

    /// Light on the face: a slow change along it, a little dirt, a bevel at a ruler's edges.
    fn shading(&self, spot: &Spot) -> f64 {
        let slow = 0.05 * texture(self.seed ^ 21, spot.u / 70.0, spot.v / 40.0);
        let fine = 0.012 * texture(self.seed ^ 22, spot.u / 3.0, spot.v / 3.0);
        let place = (spot.u - self.bounds[0]) / (self.bounds[1] - self.bounds[0]);
        0.93 + slow + fine + 0.06 * (0.5 - place)
    }

    /// A dark clamp over the far edge.
    fn paint_clamp(&self, spot: &Spot, room: f64, value: &mut [f32; 3]) {
        let Some(holder) = &self.object.holder else { return };
        let half = 0.5 * holder.width_mm;
        let (from, to) = (self.bounds[3] - holder.reach_mm, self.bounds[3] + 8.0);
        let cover = covered_strip(spot.u, spot.du, holder.along_mm - half, holder.along_mm + half)
            * covered_strip(spot.v, spot.dv, from, to);
        let sheen = 0.055 + 0.02 * ((spot.u - holder.along_mm) / half);
        for channel in value {
            *channel += ((room * sheen) as f32 - *channel) * cover as f32;
        }
    }

    /// A steel post behind the face, from the clamp down.
    fn paint_post(&self, y: usize, room: f64, row: &mut [[f32; 3]]) {
        let Some(holder) = &self.object.holder else { return };
        let head = along(self.place(holder.along_mm, self.bounds[3]), self.normal, -8.0);
        let foot = along(head, [0.0, -1.0, 0.0], 400.0);
        let (Some(a), Some(b)) = (self.view.project(head), self.view.project(foot)) else { return };
        let half = 5.0 * self.view.focal_px / self.view.depth(head);
        let (dx, dy) = (b[0] - a[0], b[1] - a[1]);
        let length = (dx * dx + dy * dy).sqrt();
        if length < 1.0 {
            return;
        }
        for (x, value) in row.iter_mut().enumerate() {
            let (ex, ey) = (x as f64 - a[0], y as f64 - a[1]);
            let (run, off) = ((ex * dx + ey * dy) / length, (ex * dy - ey * dx) / length);
            // The post is out of focus a little: its edge fades over three pixels.
            let cover = ((half - off.abs()) / 3.0 + 0.5).clamp(0.0, 1.0) * (run + 0.5).clamp(0.0, 1.0);
            if cover > 0.0 {
                let round = off / half;
                let steel = room * (0.12 + 0.22 * (1.0 - (round - 0.3) * (round - 0.3)).max(0.0));
                for channel in value {
                    *channel += (steel as f32 - *channel) * cover as f32;
                }
            }
        }
    }
}

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

fn mm_marks(spot: &Spot, length_mm: u32) -> f64 {
    if spot.v > MM_LENGTHS[2] + 1.0 {
        return 0.0;
    }
    let half = 0.5 * MARK_WIDTH_MM;
    reached(spot.u, spot.du, 1.0, half, length_mm)
        .map(|mark| {
            let length = MM_LENGTHS[usize::from(mark % 5 == 0) + usize::from(mark % 10 == 0)];
            let at = mark as f64;
            covered_strip(spot.u, spot.du, at - half, at + half) * covered(length - spot.v, spot.dv)
        })
        .sum()
}

fn inch_marks(spot: &Spot, length_mm: u32, width_mm: f64) -> f64 {
    let depth = width_mm - spot.v;
    if depth > INCH_LENGTHS[4] + 1.0 {
        return 0.0;
    }
    let half = 0.5 * MARK_WIDTH_MM;
    let last = (f64::from(length_mm) / SIXTEENTH_MM) as u32;
    reached(spot.u, spot.du, SIXTEENTH_MM, half, last)
        .map(|mark| {
            // Whole inches are divisible by 16, halves by 8 and so on: the number of twos says the rank.
            let rank = if mark == 0 { 4 } else { mark.trailing_zeros().min(4) as usize };
            let at = mark as f64 * SIXTEENTH_MM;
            covered_strip(spot.u, spot.du, at - half, at + half)
                * covered(INCH_LENGTHS[rank] - depth, spot.dv)
        })
        .sum()
}

fn numerals_ink(spot: &Spot, length_mm: u32, width_mm: f64, inch_edge: bool) -> f64 {
    let foot = MM_LENGTHS[2] + 1.2;
    if spot.v > foot - 1.0 && spot.v < foot + NUMERAL_MM + 1.0 {
        let number = (spot.u / 10.0).round();
        if number >= 0.0 && number * 10.0 <= f64::from(length_mm) {
            let word = format!("{}", (number * 10.0) as i64);
            let left = number * 10.0 - 0.5 * glyphs::width(&word, NUMERAL_MM);
            let ink = glyphs::ink(&word, NUMERAL_MM, spot.u - left, spot.v - foot, spot.pixel);
            let unit = glyphs::ink("mm", 0.8 * NUMERAL_MM, spot.u - 2.6, spot.v - foot, spot.pixel);
            return ink.max(unit);
        }
    }
    let head = width_mm - INCH_LENGTHS[4] - 1.2;
    if inch_edge && spot.v < head + 1.0 && spot.v > head - NUMERAL_MM - 1.0 {
        let number = (spot.u / 25.4).round();
        if number >= 1.0 && number * 25.4 <= f64::from(length_mm) {
            // These stand on the other edge, so they are upside down as seen from the first.
            let word = format!("{}", number as i64);
            let right = number * 25.4 + 0.5 * glyphs::width(&word, NUMERAL_MM);
            return glyphs::ink(&word, NUMERAL_MM, right - spot.u, head - spot.v, spot.pixel);
        }
    }
    0.0
}

fn grid_ink(spot: &Spot, columns: u32, rows: u32, side: f64, line: f64) -> f64 {
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
fn board_ink(spot: &Spot, columns: u32, rows: u32, side: f64) -> f64 {
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
