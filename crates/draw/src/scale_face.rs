//! The face of a ruler, grid or board: where it lies in the picture, and what is painted there.

use crate::bulb::{bent, seen_through, walls_passed};
use crate::camera::View;
use crate::canvas::covered_strip;
use crate::error::DrawError;
use crate::noise::texture;
use crate::scale_object::{Edge, ScaleKind, ScaleObject, Surface};
use crate::scale_print::{board_ink, edge_ink, grid_ink, numerals_ink};
use crate::scene::Bulb;
use crate::vector::{Vec3, along, cross, dot, sub, unit};

/// A ruler goes on this far beyond its first and last mark; paper twice as far.
const MARGIN_MM: f64 = 6.0;
/// A panel of light behind a scale is this much larger on every side.
const PANEL_MM: f64 = 18.0;
/// Light of what hides a piece of a scale, as a share of the room's.
const COVER_LIGHT: f64 = 0.045;

/// A scale laid into the picture.
pub(crate) struct Face<'a> {
    object: &'a ScaleObject,
    view: &'a View,
    /// The bulb through which the scale is seen, where it stands in the way.
    bulb: Option<&'a Bulb>,
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
pub(crate) struct Spot {
    pub(crate) u: f64,
    pub(crate) v: f64,
    pub(crate) du: [f64; 2],
    pub(crate) dv: [f64; 2],
    /// Size of a pixel on the face.
    pub(crate) pixel: f64,
}

impl<'a> Face<'a> {
    pub(crate) fn new(
        object: &'a ScaleObject,
        view: &'a View,
        bulb: Option<&'a Bulb>,
        seed: u64,
    ) -> Result<Self, DrawError> {
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
            Face { object, view, bulb, along: along_marks, across, normal, seed, bounds, box_px: [0.0; 4] };
        face.box_px = face.box_in_picture()?;
        Ok(face)
    }

    /// A box that holds the face in the picture, corners and sides (which distortion bends).
    fn box_in_picture(&self) -> Result<[f64; 4], DrawError> {
        let panel = if self.object.lit_from_behind > 0.0 { PANEL_MM } else { 0.0 };
        let [u0, u1, v0, v1] = self.bounds;
        let [u0, u1, v0, v1] = [u0 - panel, u1 + panel, v0 - panel, v1 + panel];
        // A post runs down out of the picture, a clamp stands out over the far edge.
        let above = if self.object.holder.is_some() { 12.0 } else { 0.0 };
        let mut bounds = [f64::INFINITY, f64::INFINITY, f64::NEG_INFINITY, f64::NEG_INFINITY];
        for step in 0..=16 {
            let part = f64::from(step) / 16.0;
            let (u, v) = (u0 + (u1 - u0) * part, v0 + (v1 + above - v0) * part);
            for place in [[u, v0], [u, v1 + above], [u0, v], [u1, v]] {
                let [x, y] =
                    self.seen(place).ok_or(DrawError::BehindCamera { what: "a corner of the scale" })?;
                bounds = [bounds[0].min(x), bounds[1].min(y), bounds[2].max(x), bounds[3].max(y)];
            }
        }
        // glass moves the edges by a few pixels
        let reach = if self.bulb.is_some() { 40.0 } else { 4.0 };
        Ok([bounds[0] - reach, bounds[1] - reach, bounds[2] + reach, bounds[3] + reach])
    }

    /// The point of the bench at a place of the face.
    pub(crate) fn place(&self, along_mm: f64, across_mm: f64) -> Vec3 {
        along(along(self.object.origin_mm, self.along, along_mm), self.across, across_mm)
    }

    /// Where a place of the face is seen, through the glass where it stands in the way.
    pub(crate) fn seen(&self, [along_mm, across_mm]: [f64; 2]) -> Option<[f64; 2]> {
        let place = self.place(along_mm, across_mm);
        let seen = self.bulb.map_or(place, |bulb| {
            let camera = self.view.origin;
            seen_through(bulb, camera, place, walls_passed(bulb, camera, place))
        });
        self.view.project(seen)
    }

    /// Places of the marks of the near edge (of crossings or corners for grid and board), along first.
    pub(crate) fn marks(&self) -> Vec<[f64; 2]> {
        let lattice =
            |columns: std::ops::RangeInclusive<u32>, rows: std::ops::RangeInclusive<u32>, side: f64| {
                let row = |j: u32| columns.clone().map(move |i| [f64::from(i) * side, f64::from(j) * side]);
                rows.flat_map(row).collect()
            };
        match self.object.kind {
            ScaleKind::Ruler { length_mm, near, .. } => edge_marks(near, length_mm, 0.0),
            ScaleKind::Grid { columns, rows, spacing_mm, .. } => lattice(0..=columns, 0..=rows, spacing_mm),
            // Only corners where four squares meet are crossings of light and dark.
            ScaleKind::Board { columns, rows, square_mm } => {
                lattice(1..=columns - 1, 1..=rows - 1, square_mm)
            }
        }
    }

    /// Places of the marks of a ruler's far edge.
    pub(crate) fn far_marks(&self) -> Vec<[f64; 2]> {
        match self.object.kind {
            ScaleKind::Ruler { length_mm, width_mm, far, .. } => edge_marks(far, length_mm, width_mm),
            _ => Vec::new(),
        }
    }

    /// Whether something covers a place of the face.
    pub(crate) fn is_hidden(&self, u: f64, v: f64) -> bool {
        let pieces = &self.object.hidden_mm;
        self.is_clamped(u, v)
            || pieces.iter().any(|[u0, u1, v0, v1]| (*u0..=*u1).contains(&u) && (*v0..=*v1).contains(&v))
    }

    /// Whether the clamp lies over a place.
    fn is_clamped(&self, u: f64, v: f64) -> bool {
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
            self.paint_panel(&spot, value);
            let cover = self.cover(&spot) as f32;
            if cover > 0.0 {
                self.paint_ground(&spot, room, cover, value);
            }
            self.paint_hidden(&spot, room, value);
            self.paint_clamp(&spot, room, value);
        }
    }

    /// Ground and marks: what they throw back of the room's light, and what comes through them.
    fn paint_ground(&self, spot: &Spot, room: f64, cover: f32, value: &mut [f32; 3]) {
        let printed = self.printed(spot) as f32;
        let shading = self.shading(spot);
        let clear = self.object.see_through as f32;
        // opaque ground over a panel of light lets a part through, as paper does
        let through = self.object.lit_from_behind * if clear > 0.0 { 0.0 } else { 0.75 };
        let light = ((room + through) * shading) as f32;
        for (channel, (ground, ink)) in value.iter_mut().zip(self.object.ground.iter().zip(self.object.ink)) {
            let bare = ground * light * (1.0 - clear) + *channel * clear;
            // ink throws back the room's light alone
            let marked = ink * (room * shading) as f32;
            let colour = bare + (marked - bare) * printed;
            *channel += (colour - *channel) * cover;
        }
    }

    /// A bright panel close behind the scale.
    fn paint_panel(&self, spot: &Spot, value: &mut [f32; 3]) {
        let light = self.object.lit_from_behind;
        if light == 0.0 {
            return;
        }
        let [u0, u1, v0, v1] = self.bounds;
        let cover = covered_strip(spot.u, spot.du, u0 - PANEL_MM, u1 + PANEL_MM)
            * covered_strip(spot.v, spot.dv, v0 - PANEL_MM, v1 + PANEL_MM);
        let uneven = 1.0 + 0.06 * texture(self.seed ^ 23, spot.u / 60.0, spot.v / 50.0);
        for channel in value {
            *channel += ((0.9 * light * uneven) as f32 - *channel) * cover as f32;
        }
    }

    /// What lies over the hidden pieces.
    fn paint_hidden(&self, spot: &Spot, room: f64, value: &mut [f32; 3]) {
        for [u0, u1, v0, v1] in &self.object.hidden_mm {
            let cover = covered_strip(spot.u, spot.du, *u0, *u1) * covered_strip(spot.v, spot.dv, *v0, *v1);
            for channel in value.iter_mut() {
                *channel += ((room * COVER_LIGHT) as f32 - *channel) * cover as f32;
            }
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
        let (start, ray) = (self.view.origin, self.view.ray(x, y));
        let straight = self.met(start, ray)?;
        let met = match self.bulb {
            Some(bulb) => {
                // how far the line of sight is bent is judged where it would meet the face unbent
                let walls = walls_passed(bulb, start, straight);
                let (start, ray) = bent(bulb, start, ray, walls);
                self.met(start, ray)?
            }
            None => straight,
        };
        let from_origin = sub(met, self.object.origin_mm);
        Some([dot(from_origin, self.along), dot(from_origin, self.across)])
    }

    /// Where a ray meets the face's plane.
    fn met(&self, start: Vec3, ray: Vec3) -> Option<Vec3> {
        let at = dot(sub(self.object.origin_mm, start), self.normal) / dot(ray, self.normal);
        (at > 0.0 && at.is_finite()).then(|| along(start, ray, at))
    }

    /// Share of a pixel that the face covers.
    fn cover(&self, spot: &Spot) -> f64 {
        let [u0, u1, v0, v1] = self.bounds;
        covered_strip(spot.u, spot.du, u0, u1) * covered_strip(spot.v, spot.dv, v0, v1)
    }

    /// Share of ink on the face under a pixel.
    fn printed(&self, spot: &Spot) -> f64 {
        match self.object.kind {
            ScaleKind::Ruler { length_mm, width_mm, near, far, numerals } => {
                let from_far = spot.dv.map(|slope| -slope);
                let mut ink = edge_ink(near, spot, spot.v, spot.dv, length_mm);
                ink = ink.max(edge_ink(far, spot, width_mm - spot.v, from_far, length_mm));
                if numerals {
                    ink = ink.max(numerals_ink(spot, length_mm, width_mm, near, far));
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
        0.93 + slow + fine + 0.06 * (0.5 - place) + self.grain(spot)
    }

    /// Grain of wood along the scale; brush marks across steel and a glare over a part of it.
    fn grain(&self, spot: &Spot) -> f64 {
        match self.object.surface {
            Surface::Plain => 0.0,
            Surface::Wood => {
                0.10 * texture(self.seed ^ 24, spot.u / 45.0, spot.v / 0.7)
                    + 0.06 * texture(self.seed ^ 25, spot.u / 12.0, spot.v / 0.25)
            }
            Surface::Steel => {
                let glare = (spot.u - 0.35 * (self.bounds[0] + self.bounds[1])) / 40.0;
                0.012 * texture(self.seed ^ 26, spot.u / 0.4, spot.v / 6.0)
                    + 0.12 * libm::exp(-0.5 * glare * glare)
            }
        }
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

/// Places of the marks of one edge.
fn edge_marks(edge: Edge, length_mm: u32, across_mm: f64) -> Vec<[f64; 2]> {
    let Some(spacing) = edge.spacing_mm() else { return Vec::new() };
    let last = (f64::from(length_mm) / spacing + 1e-9) as u32;
    (0..=last).map(|mark| [f64::from(mark) * spacing, across_mm]).collect()
}
