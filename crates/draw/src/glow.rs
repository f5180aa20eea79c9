//! The light of the beam: a thin core, its halo, the slow electrons inside the ring, and the mirrored ring.

use crate::bulb::{mirrored_at, seen_point};
use crate::camera::View;
use crate::canvas::Canvas;
use crate::error::DrawError;
use crate::gun::GunBody;
use crate::scene::{Beam, Bulb, Haze};
use crate::vector::{Vec3, add, along, dot, norm, scaled, sub, unit};

/// Haze and halo are so wide that a raster this many times coarser holds them.
pub(crate) const SOFT: usize = 4;
/// Spots along the core stand this many standard deviations apart: the ripple between them is below 1e-8.
const SPOT_SPACING: f64 = 0.6;
/// Widths of the halo in standard deviations of the core, and its light's shares in each.
const HALO: [(f64, f64); 3] = [(3.2, 0.45), (10.0, 0.35), (34.0, 0.20)];
/// Share of the light that the inner wall of the glass throws back (two surfaces of about 3.7 % each).
const MIRRORED: f64 = 0.07;
/// Points along the path from which slow electrons start, and losses drawn at each.
const COLLISIONS: usize = 160;
const LOSSES: usize = 6;

/// A piece of the beam in the picture.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Spark {
    pub(crate) px: [f64; 2],
    pub(crate) sigma_px: f64,
    /// Light for each pixel of length of the beam as seen square on.
    per_px: f64,
    before_gun: bool,
}

/// The beam's light on the picture's raster and on coarser ones.
pub(crate) struct Glow {
    pub(crate) core: Canvas<1>,
    /// The part of the core that passes before the gun; nothing in most pictures.
    pub(crate) core_before_gun: Option<Canvas<1>>,
    pub(crate) haze: Canvas<1>,
    pub(crate) halo: Canvas<1>,
    pub(crate) ghost: Canvas<1>,
}

/// What is needed to see the beam.
pub(crate) struct Stage<'a> {
    pub(crate) view: &'a View,
    pub(crate) bulb: Option<&'a Bulb>,
    pub(crate) gun: Option<&'a GunBody>,
    pub(crate) beam: &'a Beam,
}

impl Stage<'_> {
    /// Where a point inside the bulb is seen.
    pub(crate) fn seen(&self, point: Vec3) -> Option<[f64; 2]> {
        let seen = self.bulb.map_or(point, |bulb| seen_point(bulb, self.view.origin, point));
        self.view.project(seen)
    }

    /// The points of a path in the picture, in their order.
    pub(crate) fn sparks(&self, path: &[Vec3]) -> Result<Vec<Spark>, DrawError> {
        let beam = self.beam;
        let step_mm = self.step_mm();
        let first_sigma = beam.sigma_at(0);
        let light = |index: usize| {
            let way = index as f64 * step_mm;
            // Peak of the core at the muzzle, times the width of the line there: light a unit of length.
            let fading = libm::exp(-way / beam.fading_length_mm);
            beam.brightness * first_sigma * (2.0 * std::f64::consts::PI).sqrt() * fading
        };
        let spark = |(index, point): (usize, &Vec3)| {
            let px = self.seen(*point).ok_or(DrawError::BehindCamera { what: "a point of the beam" })?;
            let px_per_mm = self.view.focal_px / self.view.depth(*point);
            Ok(Spark {
                px,
                sigma_px: (beam.sigma_at(index) * px_per_mm).max(0.3),
                per_px: light(index) * px_per_mm,
                before_gun: self.gun.is_some_and(|gun| gun.is_behind(self.view, *point)),
            })
        };
        path.iter().enumerate().map(spark).collect()
    }

    fn step_mm(&self) -> f64 {
        let points = &self.beam.points_mm;
        let length: f64 = points.windows(2).map(|pair| norm(sub(pair[1], pair[0]))).sum();
        length / (points.len() as f64 - 1.0)
    }

    /// Draws all of the beam's light.
    pub(crate) fn glow(&self, sparks: &[Spark]) -> Result<Glow, DrawError> {
        let (width, height) = (self.view.width, self.view.height);
        let mut glow = Glow {
            core: Canvas::new(width, height),
            core_before_gun: sparks.iter().any(|s| s.before_gun).then(|| Canvas::new(width, height)),
            haze: Canvas::coarser(width, height, SOFT),
            halo: Canvas::coarser(width, height, SOFT),
            ghost: Canvas::coarser(width, height, SOFT),
        };
        let mut total = 0.0;
        let share = 1.0 / (1 + self.beam.bundle_mm.len()) as f64;
        total += self.add_core(sparks, share, &mut glow);
        for path in &self.beam.bundle_mm {
            total += self.add_core(&self.sparks(path)?, share, &mut glow);
        }
        self.add_halo(sparks, &mut glow.halo);
        self.add_ghost(sparks, &mut glow.ghost);
        if let Some(haze) = &self.beam.haze_inside {
            self.add_haze(haze, total, &mut glow.haze);
        }
        Ok(glow)
    }

    /// Adds a path's share of the core; gives the light added.
    fn add_core(&self, sparks: &[Spark], share: f64, glow: &mut Glow) -> f64 {
        let mut total = 0.0;
        for piece in self.pieces(sparks) {
            let amount = share * piece.amount;
            total += amount;
            let canvas = match &mut glow.core_before_gun {
                Some(before) if piece.before_gun => before,
                _ => &mut glow.core,
            };
            canvas.add_spot(piece.px[0], piece.px[1], piece.sigma_px, amount);
        }
        total
    }

    /// Length of the beam square on to the line of sight, in pixels, for each step of the path.
    fn step_px(&self, index: usize) -> f64 {
        let depth = self.beam.points_mm.get(index).map_or(1.0, |p| self.view.depth(*p));
        self.step_mm() * self.view.focal_px / depth
    }

    /// Evenly bright pieces close enough together to look like a line.
    fn pieces(&self, sparks: &[Spark]) -> Vec<Piece> {
        let mut pieces = Vec::new();
        for index in 0..sparks.len().saturating_sub(1) {
            let (from, to) = (sparks[index], sparks[index + 1]);
            let before = if index > 0 { sparks[index - 1].px } else { mirrored(from.px, to.px) };
            let after = sparks.get(index + 2).map_or_else(|| mirrored(to.px, from.px), |s| s.px);
            let long = distance(from.px, to.px);
            let count = (long / (SPOT_SPACING * from.sigma_px.min(to.sigma_px))).ceil().max(1.0) as usize;
            let step = self.step_px(index) / count as f64;
            for part in 0..count {
                let t = (part as f64 + 0.5) / count as f64;
                // Light a pixel of length as seen square on; a beam seen at a slant gathers in fewer pixels.
                let per_px = from.per_px + (to.per_px - from.per_px) * t;
                pieces.push(Piece {
                    px: [0, 1].map(|k| cubic([before[k], from.px[k], to.px[k], after[k]], t)),
                    sigma_px: from.sigma_px + (to.sigma_px - from.sigma_px) * t,
                    amount: per_px * step,
                    before_gun: from.before_gun,
                });
            }
        }
        pieces
    }

    fn add_halo(&self, sparks: &[Spark], halo: &mut Canvas<1>) {
        if self.beam.halo == 0.0 {
            return;
        }
        for (width, share) in HALO {
            for (index, spark) in sparks.iter().enumerate() {
                let amount = self.beam.halo * share * spark.per_px * self.step_px(index);
                add_soft(halo, spark.px, width * spark.sigma_px, amount);
            }
        }
    }

    /// The weak upside-down ring in the far wall of the glass.
    fn add_ghost(&self, sparks: &[Spark], ghost: &mut Canvas<1>) {
        let Some(bulb) = self.bulb else { return };
        for (index, (point, spark)) in self.beam.points_mm.iter().zip(sparks).enumerate() {
            let image =
                mirrored_at(bulb, self.view.origin, *point).and_then(|place| self.view.project(place));
            if let Some(px) = image {
                let amount = MIRRORED * spark.per_px * self.step_px(index);
                add_soft(ghost, px, 1.8 * spark.sigma_px, amount);
            }
        }
    }

    /// Electrons that lost a part of their energy leave the beam along its tangent on a smaller circle.
    ///
    /// The radius goes with the momentum: `r' = r √(1 - loss)`, so all of them stay inside the ring and
    /// pull its brightness inwards.
    fn add_haze(&self, haze: &Haze, total: f64, canvas: &mut Canvas<1>) {
        let count = self.beam.points_mm.len();
        let stride = count.div_ceil(COLLISIONS).max(1);
        let places: Vec<usize> = (0..count).step_by(stride).collect();
        let share = haze.strength * total / (places.len() * LOSSES) as f64;
        for index in places {
            let Some((tangent, normal, radius)) = self.bend(index) else { continue };
            for part in 0..LOSSES {
                // Quantiles of the exponential distribution stand for many electrons.
                let quantile = (part as f64 + 0.5) / LOSSES as f64;
                let loss = (-haze.mean_loss * libm::log(1.0 - quantile)).min(0.9);
                let slow = radius * (1.0 - loss).sqrt();
                let sigma = self.beam.sigma_at(index);
                self.add_slow_turn(self.beam.points_mm[index], (tangent, normal, slow), sigma, share, canvas);
            }
        }
    }

    /// One turn of slow electrons that scatter and spread on their way.
    fn add_slow_turn(
        &self,
        start: Vec3,
        (tangent, normal, radius): (Vec3, Vec3, f64),
        sigma_mm: f64,
        amount: f64,
        canvas: &mut Canvas<1>,
    ) {
        let turn = 2.0 * std::f64::consts::PI;
        let count = (turn * radius / (1.2 * sigma_mm.max(0.5))).clamp(12.0, 400.0) as usize;
        let px_per_mm = self.view.focal_px / self.view.depth(start);
        for step in 0..count {
            let way = (step as f64 + 0.5) / count as f64;
            let (sine, cosine) = (libm::sin(turn * way), libm::cos(turn * way));
            let place = add(along(start, normal, radius * (1.0 - cosine)), scaled(tangent, radius * sine));
            let Some(px) = self.seen(place) else { continue };
            let spread = sigma_mm * (1.0 + 2.5 * way) * px_per_mm;
            add_soft(canvas, px, spread, 2.0 * amount * (1.0 - way) / count as f64);
        }
    }

    /// Tangent, direction to the centre of curvature, and radius at a point; nothing where the path is straight.
    fn bend(&self, index: usize) -> Option<(Vec3, Vec3, f64)> {
        let points = &self.beam.points_mm;
        let middle = index.clamp(1, points.len().saturating_sub(2).max(1));
        let (before, here, after) = (points.get(middle - 1)?, points.get(middle)?, points.get(middle + 1)?);
        let tangent = unit(sub(*after, *before))?;
        let bent = sub(add(*before, *after), scaled(*here, 2.0));
        let bent = along(bent, tangent, -dot(bent, tangent));
        let step = 0.5 * norm(sub(*after, *before));
        let curvature = norm(bent) / (step * step);
        let radius = 1.0 / curvature;
        (radius.is_finite() && radius < 1e4).then_some((tangent, unit(bent)?, radius))
    }
}

/// A spot of the core.
struct Piece {
    px: [f64; 2],
    sigma_px: f64,
    amount: f64,
    before_gun: bool,
}

/// Adds a wide spot given in the picture's pixels to a coarse raster; the light a pixel stays the same.
fn add_soft(canvas: &mut Canvas<1>, px: [f64; 2], sigma_px: f64, amount: f64) {
    let soft = SOFT as f64;
    let place = px.map(|v| (v + 0.5) / soft - 0.5);
    // Never narrower than a coarse pixel can hold.
    let sigma = (sigma_px / soft).max(0.8);
    canvas.add_spot(place[0], place[1], sigma, amount / (soft * soft));
}

/// The point as far beyond `from` as `to` lies before it.
fn mirrored(from: [f64; 2], to: [f64; 2]) -> [f64; 2] {
    [2.0 * from[0] - to[0], 2.0 * from[1] - to[1]]
}

fn distance(a: [f64; 2], b: [f64; 2]) -> f64 {
    let (x, y) = (a[0] - b[0], a[1] - b[1]);
    (x * x + y * y).sqrt()
}

/// The cubic through four evenly spaced values (Catmull and Rom), between the second and the third.
fn cubic([a, b, c, d]: [f64; 4], t: f64) -> f64 {
    let linear = 0.5 * (c - a);
    let square = a - 2.5 * b + 2.0 * c - 0.5 * d;
    let cube = 0.5 * (d - a) + 1.5 * (b - c);
    b + t * (linear + t * (square + t * cube))
}
