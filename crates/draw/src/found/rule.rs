//! The scale in the ring's own photograph: a strip with numbered centimetres before or behind the bulb.

use super::brush::{Cover, line};
use super::digits;
use super::light::Light;
use super::paint::{Easel, FoundLabel};
use super::scene::{FoundScale, FoundScene, Material, Numbering};
use crate::bulb::{seen_through, walls_passed};
use crate::camera::View;
use crate::vector::{Vec3, along};

/// Thickness of printed strokes in parts of a numeral's height, and of a centimetre's and a fine mark in millimetres.
const STROKE: f64 = 0.13;
const CENTIMETRE_MM: f64 = 0.55;
const FINE_MM: f64 = 0.32;
/// Height of the mirror beside the marks, or of clear acrylic.
const MIRROR_MM: f64 = 16.0;

/// A scale laid into the picture.
pub(crate) struct Laid<'a> {
    view: &'a View,
    scene: &'a FoundScene,
    scale: &'a FoundScale,
    along: Vec3,
    across: Vec3,
}

impl<'a> Laid<'a> {
    pub(crate) fn new(view: &'a View, scene: &'a FoundScene) -> Option<Self> {
        let scale = scene.scale.as_ref()?;
        let turn = scale.turn_deg.to_radians();
        let (sine, cosine) = (libm::sin(turn), libm::cos(turn));
        Some(Laid { view, scene, scale, along: [cosine, sine, 0.0], across: [-sine, cosine, 0.0] })
    }

    /// Whether it stands nearer to the camera than the beam.
    pub(crate) fn is_in_front(&self) -> bool {
        self.scale.middle_mm[2] > self.scene.gun.muzzle_mm[2]
    }

    fn half_mm(&self) -> f64 {
        5.0 * f64::from(self.scale.length_cm)
    }

    /// The point at so many millimetres from the strip's middle, along and across.
    fn place(&self, u: f64, v: f64) -> Vec3 {
        along(along(self.scale.middle_mm, self.along, u), self.across, v)
    }

    /// Where it is seen, through the bulb where that stands before it.
    fn seen(&self, u: f64, v: f64) -> Option<[f64; 2]> {
        let (bulb, eye, place) = (&self.scene.bulb, self.view.origin, self.place(u, v));
        self.view.project(seen_through(bulb, eye, place, walls_passed(bulb, eye, place)))
    }

    /// The outline of a piece of the strip's plane, fine enough to follow the glass.
    fn piece(&self, u: [f64; 2], v: [f64; 2]) -> Option<Vec<[f64; 2]>> {
        let steps = ((u[1] - u[0]) / 3.0).ceil().max(1.0) as usize;
        let at = |step: usize| u[0] + (u[1] - u[0]) * step as f64 / steps as f64;
        let foot = (0..=steps).map(|step| self.seen(at(step), v[0]));
        let head = (0..=steps).rev().map(|step| self.seen(at(step), v[1]));
        foot.chain(head).collect()
    }

    /// Paints bar, strip, marks and numerals.
    pub(crate) fn paint(&self, easel: &mut Easel) {
        let (scale, half, wide) = (self.scale, self.half_mm() + 5.0, 0.5 * self.scale.width_mm);
        let normal = [0.0, 0.0, 1.0];
        let room = easel.falling(scale.middle_mm, normal);
        let own = |share: f64| scale.colour.map(|c| c * (scale.light * share) as f32);
        let ground = |reflects: f32, share: f64| -> [f32; 3] {
            let own = own(share);
            std::array::from_fn(|k| own[k] + reflects * room[k])
        };
        let fill = |easel: &mut Easel, u: [f64; 2], v: [f64; 2], opacity: f32, colour: [f32; 3]| {
            if let Some(outline) = self.piece(u, v) {
                easel.paint(&[outline], opacity, |_, _| colour);
            }
        };
        let strip = [-half, half];
        let ink = match scale.material {
            Material::White => {
                fill(easel, [-half - 40.0, half + 40.0], [-wide - 3.0, wide + 9.0], 1.0, ground(0.03, 0.02));
                fill(easel, strip, [-wide, wide], 1.0, ground(0.75, 1.0));
                ground(0.05, 0.08)
            }
            Material::Acrylic => {
                fill(easel, [-half - 15.0, half + 15.0], [-wide, wide + MIRROR_MM], 0.25, ground(0.2, 0.12));
                fill(easel, strip, [-wide, wide], 0.5, ground(0.4, 0.30));
                for v in [-wide, wide + MIRROR_MM] {
                    fill(easel, [-half - 15.0, half + 15.0], [v - 0.6, v + 0.6], 1.0, ground(0.7, 1.5));
                }
                ground(0.8, 1.3)
            }
            Material::Mirror => {
                fill(easel, strip, [-wide - 2.0, wide + MIRROR_MM], 0.9, ground(0.12, 0.05));
                fill(easel, strip, [-wide, wide], 1.0, ground(0.7, 1.0));
                ground(0.04, 0.06)
            }
            Material::Dark => {
                fill(easel, strip, [-wide, wide], 1.0, ground(0.03, 0.05));
                ground(0.8, 1.0)
            }
        };
        self.paint_marks(easel, ink);
        self.paint_pointers(easel);
    }

    /// Ticks from the upper edge, and numerals under the numbered ones.
    fn paint_marks(&self, easel: &mut Easel, ink: [f32; 3]) {
        let head = 0.5 * self.scale.width_mm;
        let half = self.half_mm();
        if self.scale.fine_mm > 0 {
            let step = f64::from(self.scale.fine_mm);
            let count = (2.0 * half / step) as u32;
            for index in 0..=count {
                let u = f64::from(index) * step - half;
                let five = (u + half).rem_euclid(5.0) < 1e-6;
                let long = self.scale.width_mm * if five { 0.24 } else { 0.16 };
                self.tick(easel, u, [head, head - long], FINE_MM, ink);
            }
        }
        for cm in 0..=self.scale.length_cm {
            let u = 10.0 * f64::from(cm) - half;
            self.tick(easel, u, [head, head - self.tick_mm()], CENTIMETRE_MM, ink);
            if let Some(number) = self.number(cm) {
                self.numeral(easel, number, u, ink);
            }
        }
    }

    fn tick_mm(&self) -> f64 {
        0.34 * self.scale.width_mm
    }

    fn tick(&self, easel: &mut Easel, u: f64, v: [f64; 2], wide_mm: f64, ink: [f32; 3]) {
        let corners = [
            self.seen(u - 0.5 * wide_mm, v[0]),
            self.seen(u + 0.5 * wide_mm, v[0]),
            self.seen(u + 0.5 * wide_mm, v[1]),
            self.seen(u - 0.5 * wide_mm, v[1]),
        ];
        let outline: Option<Vec<_>> = corners.into_iter().collect();
        if let Some(outline) = outline {
            easel.paint(&[outline], 1.0, |_, _| ink);
        }
    }

    fn numeral(&self, easel: &mut Easel, number: u32, u: f64, ink: [f32; 3]) {
        let high = self.scale.numeral_mm;
        let foot =
            (-0.5 * self.scale.width_mm + 1.0).min(0.5 * self.scale.width_mm - self.tick_mm() - 0.5 - high);
        let wide = 0.5 * STROKE * high * easel.px_per_mm(self.scale.middle_mm);
        for stroke in digits::numeral(number) {
            let points: Option<Vec<_>> =
                stroke.iter().map(|[x, y]| self.seen(u + high * x, foot + high * y)).collect();
            if let Some(points) = points {
                easel.paint(&[line(&points, |_| wide)], 1.0, |_, _| ink);
            }
        }
    }

    /// What is printed at a centimetre counted from the left end, where anything is.
    fn number(&self, cm: u32) -> Option<u32> {
        let from_zero = match self.scale.numbering {
            Numbering::FromEnd => cm,
            Numbering::FromMiddle => cm.abs_diff(self.scale.length_cm / 2),
        };
        from_zero.is_multiple_of(self.scale.number_every_cm.max(1)).then_some(from_zero)
    }

    fn paint_pointers(&self, easel: &mut Easel) {
        let wide = 0.5 * self.scale.width_mm;
        for u in &self.scale.pointers_mm {
            let dark = easel.lit([0.04; 3], self.place(*u, 0.0), [0.0, 0.0, 1.0]);
            let bright = easel.lit([0.7; 3], self.place(*u, 0.0), [0.0, 0.5, 0.8]);
            for (half, v, colour) in
                [(3.5, [-wide - 6.0, wide + 2.0], dark), (0.7, [wide + 2.0, wide + 30.0], bright)]
            {
                if let Some(outline) = self.piece([u - half, u + half], v) {
                    easel.paint(&[outline], 1.0, |_, _| colour);
                }
            }
        }
    }

    /// The beam seen once more in the mirror.
    pub(crate) fn mirror(&self, easel: &mut Easel, light: &Light) {
        if self.scale.material != Material::Mirror {
            return;
        }
        let (half, wide) = (self.half_mm() + 5.0, 0.5 * self.scale.width_mm);
        let Some(outline) = self.piece([-half, half], [wide, wide + MIRROR_MM]) else { return };
        let Some(cover) = Cover::new(&[outline], self.view.width, self.view.height) else { return };
        let image = light.image(self.view, self.scene, self.scale.middle_mm[2]);
        let mut row = vec![[0.0_f32; 1]; self.view.width];
        let (mut at, colour) = (usize::MAX, light.beam_colour());
        let canvas = &mut easel.canvas;
        cover.each(|x, y, share| {
            if at != y {
                image.row(y, &mut row);
                at = y;
            }
            for (k, value) in canvas.row_mut(y)[x].iter_mut().enumerate() {
                *value += share * row[x][0] * colour[k];
            }
        });
    }

    /// The numbered marks; whether they can be seen is not yet known.
    pub(crate) fn labels(&self) -> Vec<FoundLabel> {
        let half = self.half_mm();
        let v = 0.5 * self.scale.width_mm - 0.5 * self.tick_mm();
        let label = |cm: u32| {
            let u = 10.0 * f64::from(cm) - half;
            let along_mm = match self.scale.numbering {
                Numbering::FromEnd => u + half,
                Numbering::FromMiddle => u,
            };
            Some(FoundLabel {
                printed_cm: self.number(cm)?,
                along_mm,
                px: self.seen(u, v)?,
                is_visible: true,
            })
        };
        (0..=self.scale.length_cm).filter_map(label).collect()
    }
}
