//! The whole photograph, from the wall behind the bench to what stands before the bulb, and the truth behind it.

use super::brush::Cover;
use super::light::Light;
use super::scene::FoundScene;
use super::{bench, gun, light, phone, room, rule, supplies, tube};
use crate::bulb::seen_point;
use crate::camera::View;
use crate::canvas::Canvas;
use crate::error::DrawError;
use crate::gun::GunBody;
use crate::ring::RingTruth;
use crate::vector::{Vec3, add, dot, norm, scaled, sub, unit};

/// A numbered mark of the scale.
#[derive(Debug, Clone, PartialEq)]
pub struct FoundLabel {
    /// What is printed there, in centimetres.
    pub printed_cm: u32,
    /// Place along the scale from its zero; negative left of a zero in the middle.
    pub along_mm: f64,
    /// Where the mark crosses the middle of the strip, as the kept picture shows it.
    pub px: [f64; 2],
    /// In the picture, with nothing before it.
    pub is_visible: bool,
}

/// What is in the photograph, in the pixels of the picture that is kept.
#[derive(Debug, Clone, PartialEq)]
pub struct FoundTruth {
    /// Width and height.
    pub size_px: [u32; 2],
    /// The beam's centre line, point by point.
    pub ring: RingTruth,
    /// The numbered marks; none without a scale.
    pub labels: Vec<FoundLabel>,
    /// The bulb's outline, point by point.
    pub bulb_px: Vec<[f64; 2]>,
    /// The muzzle.
    pub muzzle_px: [f64; 2],
    /// The middle of the gun's body.
    pub gun_px: [f64; 2],
    /// The outer edge of the front coil's rim; none without coils.
    pub rim_px: Vec<[f64; 2]>,
}

/// A photograph and its truth.
#[derive(Debug, Clone, PartialEq)]
pub struct FoundPicture {
    /// The photograph.
    pub jpeg: Vec<u8>,
    /// What is in it.
    pub truth: FoundTruth,
}

/// Draws a photograph as found in laboratories.
///
/// # Errors
///
/// When a number cannot be drawn, or beam or scale lie behind the camera; see [`DrawError`].
pub fn draw_found(scene: &FoundScene) -> Result<FoundPicture, DrawError> {
    scene.check()?;
    let view = View::new(&scene.camera)?;
    let body = GunBody::new(&scene.gun)?;
    let light = light::light(&view, scene)?;
    let mut easel = Easel::new(&view, scene);
    room::paint(&mut easel);
    supplies::paint(&mut easel);
    bench::paint_back(&mut easel);
    let rule = rule::Laid::new(&view, scene);
    if let Some(rule) = rule.as_ref().filter(|rule| !rule.is_in_front()) {
        rule.paint(&mut easel);
        rule.mirror(&mut easel, &light);
    }
    tube::paint_back(&mut easel);
    light.shine(&mut easel.canvas);
    easel.front = Some(Canvas::new(view.width, view.height));
    gun::paint(&mut easel, &body);
    light.veil(&mut easel.canvas, easel.front.as_ref());
    if let Some(rule) = rule.as_ref().filter(|rule| rule.is_in_front()) {
        rule.paint(&mut easel);
        // what comes later may hide the scale, too
        let later = Canvas::new(view.width, view.height);
        easel.behind_scale = easel.front.replace(later);
    }
    tube::paint_front(&mut easel, &light);
    bench::paint_front(&mut easel);
    let truth = truth(&easel, &body, &light, rule.as_ref())?;
    let Easel { canvas, .. } = easel;
    Ok(FoundPicture { jpeg: phone::develop(canvas, &view, &scene.phone, scene.seed)?, truth })
}

/// The picture in the making.
pub(crate) struct Easel<'a> {
    pub(crate) view: &'a View,
    pub(crate) scene: &'a FoundScene,
    pub(crate) canvas: Canvas<3>,
    /// How far each pixel is covered by what stands before the beam; kept from the moment the beam is there.
    pub(crate) front: Option<Canvas<1>>,
    /// The same of all up to a scale before the beam and with it; `front` then begins anew.
    behind_scale: Option<Canvas<1>>,
    ring_middle: Vec3,
}

impl<'a> Easel<'a> {
    fn new(view: &'a View, scene: &'a FoundScene) -> Self {
        let points = &scene.beam.points_mm;
        let sum = points.iter().fold([0.0; 3], |sum, p| add(sum, *p));
        Easel {
            view,
            scene,
            canvas: Canvas::new(view.width, view.height),
            front: None,
            behind_scale: None,
            ring_middle: scaled(sum, 1.0 / points.len() as f64),
        }
    }

    /// Light that falls on a surface: of the room, of the beam, and red light from the supplies' digits.
    pub(crate) fn falling(&self, place: Vec3, normal: Vec3) -> [f32; 3] {
        const LAMP: Vec3 = [-0.35, 0.75, 0.55];
        const WARM: [f64; 3] = [1.0, 0.96, 0.88];
        let around = &self.scene.around;
        let above = 0.4 + 0.6 * dot(normal, LAMP).max(0.0);
        let to_ring = sub(self.ring_middle, place);
        let far = norm(to_ring).max(1.0);
        let facing = 0.35 + 0.65 * (dot(normal, to_ring) / far).max(0.0);
        let beam = self.scene.beam.brightness.min(2.0) * 0.10 * facing / (1.0 + (far / 55.0).powi(2));
        let red = supplies::red_light(self.scene, place) * 0.05;
        std::array::from_fn(|k| {
            let room = around.light * above * WARM[k];
            let digits = red * [1.0, 0.04, 0.10][k];
            (room + digits) as f32 + beam as f32 * self.scene.gas.colour[k]
        })
    }

    /// The colour of a surface under that light.
    pub(crate) fn lit(&self, colour: [f32; 3], place: Vec3, normal: Vec3) -> [f32; 3] {
        let light = self.falling(place, normal);
        std::array::from_fn(|k| colour[k] * light[k])
    }

    pub(crate) fn project(&self, corners: &[Vec3]) -> Option<Vec<[f64; 2]>> {
        corners.iter().map(|p| self.view.project(*p)).collect()
    }

    /// Size of a millimetre at a place, in pixels.
    pub(crate) fn px_per_mm(&self, place: Vec3) -> f64 {
        self.view.focal_px / self.view.depth(place).max(1.0)
    }

    /// Lays a shape over the picture.
    pub(crate) fn paint(
        &mut self,
        outlines: &[Vec<[f64; 2]>],
        opacity: f32,
        colour: impl Fn(f64, f64) -> [f32; 3],
    ) {
        let Some(cover) = Cover::new(outlines, self.view.width, self.view.height) else { return };
        cover.paint(&mut self.canvas, opacity, colour);
        if let Some(front) = &mut self.front {
            cover.each(|x, y, share| {
                let value = &mut front.row_mut(y)[x][0];
                *value += (1.0 - *value) * share * opacity;
            });
        }
    }

    /// Adds light in a shape.
    pub(crate) fn shine(&mut self, outline: Vec<[f64; 2]>, light: [f32; 3]) {
        if let Some(cover) = Cover::new(&[outline], self.view.width, self.view.height) {
            cover.shine(&mut self.canvas, |_, _| light);
        }
    }

    /// A flat face of one colour, under the light that falls on it.
    pub(crate) fn face(&mut self, corners: &[Vec3], normal: Vec3, colour: [f32; 3]) {
        let middle = scaled(corners.iter().fold([0.0; 3], |s, p| add(s, *p)), 1.0 / corners.len() as f64);
        let lit = self.lit(colour, middle, normal);
        if let Some(outline) = self.project(corners) {
            self.paint(&[outline], 1.0, |_, _| lit);
        }
    }

    /// A round rod between two places, darker at its sides, with a gloss along it.
    pub(crate) fn rod(&mut self, from: Vec3, to: Vec3, radius_mm: f64, colour: [f32; 3], gloss: f32) {
        let Some(ends) = self.project(&[from, to]) else { return };
        let halves = [from, to].map(|p| radius_mm * self.px_per_mm(p));
        let lit = self.lit(colour, from, [0.0, 0.3, 0.9]);
        let shine = self.falling(from, [0.0, 0.6, 0.7]);
        let (dx, dy) = (ends[1][0] - ends[0][0], ends[1][1] - ends[0][1]);
        let long = dx.hypot(dy).max(1e-9);
        let half = 0.5 * (halves[0] + halves[1]);
        self.paint(&[super::brush::line(&ends, |i| halves[i])], 1.0, |x, y| {
            let off = ((x - ends[0][0]) * dy - (y - ends[0][1]) * dx) / long / half;
            let body = 0.3 + 0.7 * (1.0 - off * off).max(0.0).sqrt();
            let bright = libm::exp(-((off + 0.35) / 0.22).powi(2)) as f32 * gloss * 0.5;
            std::array::from_fn(|k| lit[k] * body as f32 + shine[k] * bright)
        });
    }

    /// A round face that looks to +z.
    pub(crate) fn disc(&mut self, middle: Vec3, radius_mm: f64, colour: [f32; 3]) {
        self.face(&circle(middle, [1.0, 0.0, 0.0], [0.0, 1.0, 0.0], radius_mm, 28), [0.0, 0.0, 1.0], colour);
    }

    /// A word printed on a face that looks to +z, its middle's foot at a place.
    pub(crate) fn print(&mut self, word: &str, foot: Vec3, high_mm: f64, colour: [f32; 3]) {
        let lit = self.lit(colour, foot, [0.0, 0.0, 1.0]);
        let half = (0.07 * high_mm * self.px_per_mm(foot)).max(0.3);
        for stroke in super::digits::word(word) {
            let points: Vec<Vec3> =
                stroke.iter().map(|[x, y]| [foot[0] + high_mm * x, foot[1] + high_mm * y, foot[2]]).collect();
            if let Some(points) = self.project(&points) {
                self.paint(&[super::brush::line(&points, |_| half)], 1.0, |_, _| lit);
            }
        }
    }

    /// A box with its faces square to the axes, of which the camera sees three.
    pub(crate) fn solid(&mut self, low: Vec3, high: Vec3, colour: [f32; 3]) {
        let eye = self.view.origin;
        for axis in 0..3 {
            let (a, b) = ((axis + 1) % 3, (axis + 2) % 3);
            let (at, sense) = if eye[axis] > high[axis] {
                (high[axis], 1.0)
            } else if eye[axis] < low[axis] {
                (low[axis], -1.0)
            } else {
                continue;
            };
            let corner = |u: f64, v: f64| {
                let mut place = [0.0; 3];
                (place[axis], place[a], place[b]) = (at, u, v);
                place
            };
            let corners = [
                corner(low[a], low[b]),
                corner(high[a], low[b]),
                corner(high[a], high[b]),
                corner(low[a], high[b]),
            ];
            let mut normal = [0.0; 3];
            normal[axis] = sense;
            self.face(&corners, normal, colour);
        }
    }
}

/// A circle in the plane of two directions.
pub(crate) fn circle(middle: Vec3, a: Vec3, b: Vec3, radius: f64, steps: usize) -> Vec<Vec3> {
    (0..steps)
        .map(|step| {
            let angle = 2.0 * std::f64::consts::PI * step as f64 / steps as f64;
            let (sine, cosine) = (libm::sin(angle), libm::cos(angle));
            add(middle, add(scaled(a, radius * cosine), scaled(b, radius * sine)))
        })
        .collect()
}

fn truth(
    easel: &Easel,
    body: &GunBody,
    light: &Light,
    rule: Option<&rule::Laid>,
) -> Result<FoundTruth, DrawError> {
    let (scene, view) = (easel.scene, easel.view);
    let size = phone::kept_size(view, &scene.phone);
    let factor = [f64::from(size[0]) / view.width as f64, f64::from(size[1]) / view.height as f64];
    let kept = |px: [f64; 2]| [0, 1].map(|k| (px[k] + 0.5) * factor[k] - 0.5);
    let behind = || DrawError::BehindCamera { what: "the gun" };
    let is_under = |mask: Option<&Canvas<1>>, px: [f64; 2]| {
        let at = |v: f64, n: usize| (v.max(0.0).round() as usize).min(n - 1);
        mask.is_some_and(|mask| mask.row(at(px[1], view.height))[at(px[0], view.width)][0] > 0.5)
    };
    let is_hidden_late = |px: [f64; 2]| is_under(easel.front.as_ref(), px);
    let covered = |px: [f64; 2]| is_hidden_late(px) || is_under(easel.behind_scale.as_ref(), px);
    let points = &scene.beam.points_mm;
    let straight: Option<Vec<[f64; 2]>> = points.iter().map(|p| view.project(*p)).collect();
    let visible = |(point, px): (&Vec3, &[f64; 2])| {
        view.in_frame(*px) && !body.hides(view.origin, *point) && !covered(*px)
    };
    let ring = RingTruth {
        seen_px: light.seen_px.iter().copied().map(kept).collect(),
        seen_along: light.seen_px.iter().map(|px| view.ray(px[0], px[1])).collect(),
        straight_px: straight.ok_or_else(behind)?.into_iter().map(kept).collect(),
        visible: points.iter().zip(&light.seen_px).map(visible).collect(),
    };
    let labels = rule.map_or_else(Vec::new, |rule| rule.labels());
    let labels = labels.into_iter().map(|mut label| {
        // a scale before the beam is hidden by what was painted after it only
        label.is_visible = view.in_frame(label.px) && !is_hidden_late(label.px);
        label.px = kept(label.px);
        label
    });
    let seen = |point: Vec3| view.project(seen_point(&scene.bulb, view.origin, point));
    Ok(FoundTruth {
        size_px: size,
        ring,
        labels: labels.collect(),
        bulb_px: tube::outline(view, &scene.bulb).into_iter().map(kept).collect(),
        muzzle_px: kept(seen(scene.gun.muzzle_mm).ok_or_else(behind)?),
        gun_px: kept(seen(body.middle()).ok_or_else(behind)?),
        rim_px: bench::front_rim(easel).into_iter().map(kept).collect(),
    })
}

/// Two directions square to a third and to each other.
pub(crate) fn beside(axis: Vec3) -> [Vec3; 2] {
    let helper = if axis[1].abs() < 0.9 { [0.0, 1.0, 0.0] } else { [1.0, 0.0, 0.0] };
    let a = unit(crate::vector::cross(axis, helper)).unwrap_or([1.0, 0.0, 0.0]);
    [a, crate::vector::cross(axis, a)]
}
