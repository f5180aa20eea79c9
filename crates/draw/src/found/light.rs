//! Light of beam and gas: the broad beam, its stub, slowed electrons, the glow that fills the bulb, and what its wall throws back.

use super::lot::Lot;
use super::scene::FoundScene;
use crate::bulb::{mirrored_at, seen_point};
use crate::camera::View;
use crate::canvas::Canvas;
use crate::error::DrawError;
use crate::noise::texture;
use crate::vector::{Vec3, add, along, cross, dot, norm, scaled, sub, unit};

/// Widths of the beam's cross-section in standard deviations, and their shares of the peak.
const PROFILE: [(f64, f64); 3] = [(1.0, 0.80), (2.0, 0.16), (5.5, 0.04)];
/// Share of the bulb's glow that lies between the gun and the eye.
const BEFORE_GUN: f32 = 0.35;
/// Spots along a line stand this many standard deviations apart.
const SPACING: f64 = 0.7;

/// A plane of light on a raster coarser than the picture by some factor.
pub(crate) struct Plane {
    canvas: Canvas<1>,
    factor: usize,
}

impl Plane {
    fn new(view: &View, factor: usize) -> Self {
        Plane { canvas: Canvas::coarser(view.width, view.height, factor), factor }
    }

    /// A spot with its place and width in the picture's pixels and a peak of that height.
    fn spot(&mut self, px: [f64; 2], sigma_px: f64, peak: f64) {
        let factor = self.factor as f64;
        let sigma = (sigma_px / factor).max(0.6);
        let shrunk = (sigma_px / factor / sigma).powi(2);
        let [x, y] = px.map(|v| (v + 0.5) / factor - 0.5);
        self.canvas.add_spot(x, y, sigma, shrunk * peak * 2.0 * std::f64::consts::PI * sigma * sigma);
    }

    pub(crate) fn row(&self, y: usize, row: &mut [[f32; 1]]) {
        self.canvas.enlarged_row(y, self.factor, row);
    }
}

/// All light of beam and gas.
pub(crate) struct Light {
    /// Where each point of the path is seen.
    pub(crate) seen_px: Vec<[f64; 2]>,
    pub(crate) beam: Plane,
    pub(crate) soft: Plane,
    pub(crate) ghost: Plane,
    pub(crate) fill: Plane,
    beads: Vec<Bead>,
    beam_colour: [f32; 3],
    gas_colour: [f32; 3],
}

impl Light {
    /// Adds all of it to the picture.
    pub(crate) fn shine(&self, canvas: &mut Canvas<3>) {
        let mut rows = [(); 4].map(|()| vec![[0.0_f32; 1]; canvas.width]);
        for y in 0..canvas.height {
            let planes = [&self.beam, &self.soft, &self.ghost, &self.fill];
            for (plane, row) in planes.into_iter().zip(&mut rows) {
                plane.row(y, row);
            }
            for (x, value) in canvas.row_mut(y).iter_mut().enumerate() {
                let (line, gas) = (rows[0][x][0] + rows[2][x][0], rows[1][x][0] + rows[3][x][0]);
                for (k, channel) in value.iter_mut().enumerate() {
                    *channel += line * self.beam_colour[k] + gas * self.gas_colour[k];
                }
            }
        }
    }

    /// Adds what hangs in the gas before the gun, over what covers the beam so far.
    pub(crate) fn veil(&self, canvas: &mut Canvas<3>, front: Option<&Canvas<1>>) {
        let Some(front) = front else { return };
        let mut row = vec![[0.0_f32; 1]; canvas.width];
        for y in 0..canvas.height {
            self.fill.row(y, &mut row);
            let pixels = canvas.row_mut(y).iter_mut().zip(front.row(y)).zip(&row);
            for ((value, covered), fill) in pixels {
                for (k, channel) in value.iter_mut().enumerate() {
                    *channel += BEFORE_GUN * covered[0] * fill[0] * self.gas_colour[k];
                }
            }
        }
    }

    /// Where a mirror shows the beam once more: its line on a plane of the picture's size.
    pub(crate) fn image(&self, view: &View, scene: &FoundScene, plane_z_mm: f64) -> Plane {
        let mut plane = Plane::new(view, self.beam.factor);
        let image = |(point, bead): (&Vec3, &Bead)| {
            let px = view.project([point[0], point[1], 2.0 * plane_z_mm - point[2]])?;
            Some(Bead { px, peak: 0.6 * bead.peak, ..*bead })
        };
        let beads: Vec<Bead> = scene.beam.points_mm.iter().zip(&self.beads).filter_map(image).collect();
        add_line(&mut plane, &beads, 0.9, 1.0);
        plane
    }

    pub(crate) fn beam_colour(&self) -> [f32; 3] {
        self.beam_colour
    }
}

/// One point of a line of light in the picture.
#[derive(Clone, Copy)]
struct Bead {
    px: [f64; 2],
    sigma_px: f64,
    /// Peak of the line's cross-section.
    peak: f64,
}

pub(crate) fn light(view: &View, scene: &FoundScene) -> Result<Light, DrawError> {
    let beads = beads(view, scene)?;
    let broad = beads.iter().map(|bead| bead.sigma_px).fold(f64::INFINITY, f64::min);
    let factor = if broad > 10.0 {
        4
    } else if broad > 4.5 {
        2
    } else {
        1
    };
    let soft = if broad > 3.0 { 4 } else { 2 };
    let mut light = Light {
        seen_px: beads.iter().map(|bead| bead.px).collect(),
        beam: Plane::new(view, factor),
        soft: Plane::new(view, soft),
        ghost: Plane::new(view, soft),
        fill: fill(view, scene),
        beads: Vec::new(),
        beam_colour: scene.beam.colour,
        gas_colour: scene.gas.colour,
    };
    add_line(&mut light.beam, &beads, PROFILE[0].0, PROFILE[0].1);
    for (width, share) in &PROFILE[1..] {
        add_line(&mut light.soft, &beads, *width, *share);
    }
    add_line(&mut light.beam, &stub(view, scene), 1.0, 0.9);
    add_slowed(&mut light.soft, view, scene, &beads);
    add_ghosts(&mut light.ghost, view, scene, &beads);
    light.beads = beads;
    Ok(light)
}

fn beads(view: &View, scene: &FoundScene) -> Result<Vec<Bead>, DrawError> {
    let beam = &scene.beam;
    let count = beam.points_mm.len();
    let step_mm: f64 =
        beam.points_mm.windows(2).map(|pair| norm(sub(pair[1], pair[0]))).sum::<f64>() / (count - 1) as f64;
    let bead = |(index, point): (usize, &Vec3)| {
        let px = view.project(seen_point(&scene.bulb, view.origin, *point));
        let px = px.ok_or(DrawError::BehindCamera { what: "a point of the beam" })?;
        let wider = 1.0 + (beam.widening - 1.0) * index as f64 / (count - 1) as f64;
        let fading = libm::exp(-(index as f64) * step_mm / beam.fading_length_mm);
        let sigma_px = (beam.sigma_mm * wider * view.focal_px / view.depth(*point)).max(0.45);
        Ok(Bead { px, sigma_px, peak: beam.brightness * fading / wider })
    };
    beam.points_mm.iter().enumerate().map(bead).collect()
}

/// Lays spots along a line so closely that they look like one; `wider` and `share` change width and peak.
fn add_line(plane: &mut Plane, beads: &[Bead], wider: f64, share: f64) {
    for pair in beads.windows(2) {
        let [from, to] = [pair[0], pair[1]];
        let sigma = wider * from.sigma_px.min(to.sigma_px).max(0.6 * plane.factor as f64);
        let (dx, dy) = (to.px[0] - from.px[0], to.px[1] - from.px[1]);
        let long = (dx * dx + dy * dy).sqrt();
        let count = (long / (SPACING * sigma)).ceil().max(1.0);
        for part in 0..count as usize {
            let t = (part as f64 + 0.5) / count;
            let mix = |a: f64, b: f64| a + (b - a) * t;
            let sigma = wider * mix(from.sigma_px, to.sigma_px);
            // spots `long/count` apart with this peak add up to a line of the peak asked for
            let peak = share * mix(from.peak, to.peak) * long / count;
            let peak = peak / (sigma * (2.0 * std::f64::consts::PI).sqrt());
            plane.spot([mix(from.px[0], to.px[0]), mix(from.px[1], to.px[1])], sigma, peak);
        }
    }
}

/// The straight light that leaves the gun along the tangent: neutral atoms and electrons that turn in no field.
fn stub(view: &View, scene: &FoundScene) -> Vec<Bead> {
    let points = &scene.beam.points_mm;
    let Some(tangent) = unit(sub(points[1], points[0])).filter(|_| scene.beam.stub_mm > 0.5) else {
        return Vec::new();
    };
    let steps = 12;
    (0..=steps)
        .filter_map(|step| {
            let t = f64::from(step) / f64::from(steps);
            let place = along(points[0], tangent, scene.beam.stub_mm * t);
            let px = view.project(seen_point(&scene.bulb, view.origin, place))?;
            let sigma_px = 0.8 * scene.beam.sigma_mm * view.focal_px / view.depth(place);
            Some(Bead {
                px,
                sigma_px: sigma_px.max(0.45),
                peak: 0.8 * scene.beam.brightness * (1.0 - t).powf(0.7),
            })
        })
        .collect()
}

/// Electrons that lost energy leave the beam along its tangent on smaller circles and pull its light inwards.
fn add_slowed(plane: &mut Plane, view: &View, scene: &FoundScene, beads: &[Bead]) {
    const LOSSES: [f64; 4] = [0.03, 0.08, 0.17, 0.35];
    let points = &scene.beam.points_mm;
    let strength = scene.beam.slowed;
    if strength <= 0.0 {
        return;
    }
    let stride = (points.len() / 36).max(1);
    for index in (1..points.len() - 1).step_by(stride) {
        let Some((tangent, normal, radius)) = bend(points, index) else { continue };
        for loss in LOSSES {
            let slow = radius * (1.0 - loss).sqrt();
            let steps = 36;
            let mut beads_slow = Vec::with_capacity(steps);
            for step in 0..steps {
                let angle = 3.4 * step as f64 / steps as f64;
                let (sine, cosine) = (libm::sin(angle), libm::cos(angle));
                let place =
                    add(along(points[index], normal, slow * (1.0 - cosine)), scaled(tangent, slow * sine));
                let Some(px) = view.project(seen_point(&scene.bulb, view.origin, place)) else { continue };
                let way = step as f64 / steps as f64;
                let peak = strength * 0.035 * beads[index].peak * (1.0 - way);
                beads_slow.push(Bead { px, sigma_px: beads[index].sigma_px * (1.5 + 2.0 * way), peak });
            }
            add_line(plane, &beads_slow, 1.0, 1.0);
        }
    }
}

/// Tangent, direction to the centre of curvature, and radius at a point; nothing where the path is straight.
fn bend(points: &[Vec3], index: usize) -> Option<(Vec3, Vec3, f64)> {
    let (before, here, after) = (points.get(index - 1)?, points.get(index)?, points.get(index + 1)?);
    let tangent = unit(sub(*after, *before))?;
    let bent = sub(add(*before, *after), scaled(*here, 2.0));
    let bent = along(bent, tangent, -dot(bent, tangent));
    let step = 0.5 * norm(sub(*after, *before));
    let radius = step * step / norm(bent);
    (radius.is_finite() && radius < 1e4).then_some((tangent, unit(bent)?, radius))
}

/// The smaller ring in the far wall, and arcs seen once more aside.
fn add_ghosts(plane: &mut Plane, view: &View, scene: &FoundScene, beads: &[Bead]) {
    let mut lot = Lot::new(scene.seed, 21);
    let ghosts = &scene.ghosts;
    if ghosts.mirrored > 0.0 {
        let from = (lot.between(0.0, 0.5) * beads.len() as f64) as usize;
        let to = (lot.between(0.5, 1.0) * beads.len() as f64) as usize;
        let images = scene.beam.points_mm.iter().zip(beads).skip(from).take(to.saturating_sub(from));
        let image = |(point, bead): (&Vec3, &Bead)| {
            let place = mirrored_at(&scene.bulb, view.origin, *point)?;
            let px = view.project(place)?;
            Some(Bead { px, sigma_px: 0.8 * bead.sigma_px, peak: ghosts.mirrored * bead.peak })
        };
        add_line(plane, &images.filter_map(image).collect::<Vec<_>>(), 1.0, 1.0);
    }
    let Some(middle) = view.project([0.0; 3]).filter(|_| ghosts.arcs > 0.0) else { return };
    for _ in 0..lot.one(&[1, 2, 2, 3], 2) {
        let size = lot.one(&[-0.7, -0.45, 0.85, 1.12, 1.25], 1.1) * lot.between(0.92, 1.08);
        let reach = lot.between(0.1, 0.3) * beads.len() as f64;
        let start = lot.between(0.0, 0.9) * beads.len() as f64;
        let shift = [lot.between(-0.6, 0.6), lot.between(-0.6, 0.6)].map(|v| v * beads[0].sigma_px * 6.0);
        let strength = ghosts.arcs * lot.between(0.3, 1.0);
        let arc: Vec<Bead> = beads
            .iter()
            .enumerate()
            .skip(start as usize)
            .take(reach as usize)
            .map(|(index, bead)| {
                let way = (index as f64 - start) / reach.max(1.0);
                let px = [0, 1].map(|k| middle[k] + size * (bead.px[k] - middle[k]) + shift[k]);
                let peak = strength * bead.peak * (4.0 * way * (1.0 - way)).max(0.0);
                Bead { px, sigma_px: 0.9 * bead.sigma_px, peak }
            })
            .collect();
        add_line(plane, &arc, 1.0, 1.0);
    }
}

/// The glow that fills the bulb: thicker where the eye looks through more gas, and about the ring's middle.
fn fill(view: &View, scene: &FoundScene) -> Plane {
    let factor = if view.width.max(view.height) > 1600 { 6 } else { 3 };
    let mut plane = Plane::new(view, factor);
    let gas = &scene.gas;
    let peak = scene.beam.brightness.min(1.1);
    let inner = scene.bulb.inner_radius_mm();
    let points = &scene.beam.points_mm;
    let (middle, radius) = middle_of(points);
    let fan_towards = fan_direction(scene, middle);
    let muzzle = scene.gun.muzzle_mm;
    for y in 0..plane.canvas.height {
        for x in 0..plane.canvas.width {
            let place = |v: usize| (v as f64 + 0.5) * factor as f64 - 0.5;
            let Some(ray) = unit(view.ray(place(x), place(y))) else { continue };
            let impact = norm(cross(view.origin, ray));
            if impact >= inner {
                continue;
            }
            let chord = (1.0 - (impact / inner).powi(2)).sqrt();
            let far = (muzzle[2] - view.origin[2]) / ray[2];
            let here = along(view.origin, ray, far);
            let off = norm(sub([here[0], here[1], 0.0], [middle[0], middle[1], 0.0])) / radius;
            let inside = libm::exp(-0.5 * off.powi(2)) * 0.6 + 0.4 / (1.0 + off.powi(8));
            let cloud = 1.0 + 0.10 * texture(scene.seed, here[0] / 22.0, here[1] / 22.0);
            let even = chord.powf(0.45);
            let glow = gas.fill
                * ((1.0 - gas.towards_middle) * even + gas.towards_middle * inside * chord.powf(0.3));
            let fan = gas.fan * fan_light(sub(here, muzzle), fan_towards, radius) * chord.powf(0.3);
            plane.canvas.row_mut(y)[x][0] = (peak * (glow * cloud + fan)) as f32;
        }
    }
    plane
}

/// Middle and radius of the points, roughly.
pub(crate) fn middle_of(points: &[Vec3]) -> (Vec3, f64) {
    let (mut low, mut high) = (points[0], points[0]);
    for p in points {
        for k in 0..3 {
            low[k] = low[k].min(p[k]);
            high[k] = high[k].max(p[k]);
        }
    }
    let middle = [0, 1, 2].map(|k| 0.5 * (low[k] + high[k]));
    (middle, 0.25 * (high[0] - low[0] + high[1] - low[1]).max(1.0))
}

fn fan_direction(scene: &FoundScene, middle: Vec3) -> Vec3 {
    let mut lot = Lot::new(scene.seed, 22);
    let up = unit(sub(middle, scene.gun.muzzle_mm)).unwrap_or([0.0, 1.0, 0.0]);
    let angle = lot.between(-0.7, 0.7);
    let (sine, cosine) = (libm::sin(angle), libm::cos(angle));
    [up[0] * cosine - up[1] * sine, up[0] * sine + up[1] * cosine, 0.0]
}

fn fan_light(from: Vec3, towards: Vec3, radius: f64) -> f64 {
    let flat = [from[0], from[1], 0.0];
    let far = norm(flat).max(2.0);
    let off = 1.0 - dot(flat, towards) / far;
    libm::exp(-off / 0.045) * libm::exp(-far / (0.8 * radius))
}
