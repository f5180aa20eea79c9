//! Rulers drawn with a known camera: its own projection, nothing shared with the code under test.

use arcmass_photo::Picture;

/// A small seeded generator (xorshift), enough to vary drawings.
pub(crate) struct Dice(u64);

impl Dice {
    pub(crate) fn new(seed: u64) -> Self {
        Self(seed.wrapping_mul(0x9e37_79b9_7f4a_7c15) | 1)
    }

    pub(crate) fn unit(&mut self) -> f64 {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        (self.0 >> 11) as f64 / (1_u64 << 53) as f64
    }

    pub(crate) fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.unit()
    }

    pub(crate) fn normal(&mut self) -> f64 {
        // sum of twelve: standard deviation 1, fast, tails do not matter for a drawing
        (0..12).map(|_| self.unit()).sum::<f64>() - 6.0
    }
}

/// One edge's marks.
#[derive(Clone, Copy, Debug)]
pub(crate) enum Marks {
    Millimetres,
    HalfMillimetres,
    Centimetres,
    Sixteenths,
    None,
}

impl Marks {
    pub(crate) fn spacing_mm(self) -> f64 {
        match self {
            Self::Millimetres => 1.0,
            Self::HalfMillimetres => 0.5,
            Self::Centimetres => 10.0,
            Self::Sixteenths => 25.4 / 16.0,
            Self::None => f64::NAN,
        }
    }

    /// Length of mark `n` in millimetres.
    fn length_mm(self, n: i64) -> f64 {
        match self {
            Self::Millimetres if n % 10 == 0 => 7.5,
            Self::Millimetres if n % 5 == 0 => 5.5,
            Self::Millimetres => 3.8,
            Self::HalfMillimetres if n % 20 == 0 => 7.5,
            Self::HalfMillimetres if n % 10 == 0 => 5.5,
            Self::HalfMillimetres if n % 2 == 0 => 4.0,
            Self::HalfMillimetres => 2.8,
            Self::Centimetres => 8.0,
            Self::Sixteenths => 3.0 + 1.4 * f64::from((n as i32).trailing_zeros().min(4)),
            Self::None => 0.0,
        }
    }
}

/// What to draw.
#[derive(Clone, Debug)]
pub(crate) struct Scene {
    pub(crate) size: [usize; 2],
    pub(crate) focal_px: f64,
    pub(crate) centre_px: [f64; 2],
    pub(crate) k1: f64,
    pub(crate) px_per_mm: f64,
    /// Direction of the ruler in the picture, tilt about which axis and by how much, degrees.
    pub(crate) direction_deg: f64,
    pub(crate) tilt_axis_deg: f64,
    pub(crate) tilt_deg: f64,
    /// Where the ruler's middle lies, in pixels from the picture's middle.
    pub(crate) shift_px: [f64; 2],
    pub(crate) length_mm: f64,
    pub(crate) width_mm: f64,
    pub(crate) edges: [Marks; 2],
    pub(crate) gap_mm: f64,
    pub(crate) line_mm: f64,
    /// Light of ground, marks and surroundings, 0 to 1.
    pub(crate) ground: [f64; 3],
    pub(crate) ink: [f64; 3],
    pub(crate) around: [f64; 3],
    pub(crate) blur_px: f64,
    pub(crate) noise: f64,
    /// Hidden stretches of the ruler (from, to, across from, across to), millimetres.
    pub(crate) hidden: Vec<[f64; 4]>,
    pub(crate) grain: f64,
    /// Windings of a coil about the picture's middle: inner and outer radius and distance from wire to wire in pixels.
    pub(crate) windings: Option<[f64; 3]>,
    pub(crate) seed: u64,
}

impl Default for Scene {
    fn default() -> Self {
        Self {
            size: [2400, 1600],
            focal_px: 4200.0,
            centre_px: [1199.5, 799.5],
            k1: 0.0,
            px_per_mm: 8.0,
            direction_deg: 20.0,
            tilt_axis_deg: 0.0,
            tilt_deg: 0.0,
            shift_px: [0.0, 0.0],
            length_mm: 250.0,
            width_mm: 28.0,
            edges: [Marks::Millimetres, Marks::Sixteenths],
            gap_mm: 0.4,
            line_mm: 0.22,
            ground: [0.8, 0.8, 0.8],
            ink: [0.1, 0.1, 0.1],
            around: [0.3, 0.28, 0.26],
            blur_px: 0.9,
            noise: 0.008,
            hidden: Vec::new(),
            grain: 0.06,
            windings: None,
            seed: 1,
        }
    }
}

/// Rows of a matrix from the ruler's frame to the camera's, and the ruler's origin there.
pub(crate) struct Truth {
    r: [[f64; 3]; 3],
    t: [f64; 3],
    scene: Scene,
}

impl Truth {
    pub(crate) fn new(scene: &Scene) -> Self {
        let (s, c) = scene.direction_deg.to_radians().sin_cos();
        // u along the ruler (counter-clockwise as seen), v across, w towards the camera; camera y runs down
        let flat = [[c, -s, 0.0], [-s, -c, 0.0], [0.0, 0.0, -1.0]];
        let (sa, ca) = scene.tilt_axis_deg.to_radians().sin_cos();
        let (st, ct) = scene.tilt_deg.to_radians().sin_cos();
        // Rodrigues' formula about the axis (ca, sa, 0)
        let (x, y) = (ca, sa);
        let turn = [
            [ct + x * x * (1.0 - ct), x * y * (1.0 - ct), y * st],
            [x * y * (1.0 - ct), ct + y * y * (1.0 - ct), -x * st],
            [-y * st, x * st, ct],
        ];
        let mut r = [[0.0; 3]; 3];
        for (i, row) in r.iter_mut().enumerate() {
            for (j, out) in row.iter_mut().enumerate() {
                *out = (0..3).map(|k| turn[i][k] * flat[k][j]).sum();
            }
        }
        let depth = scene.focal_px / scene.px_per_mm;
        let m = [scene.length_mm / 2.0, scene.width_mm / 2.0];
        let at = [scene.shift_px[0] / scene.px_per_mm, scene.shift_px[1] / scene.px_per_mm, depth];
        let t = [0, 1, 2].map(|i| at[i] - r[i][0] * m[0] - r[i][1] * m[1]);
        Self { r, t, scene: scene.clone() }
    }

    /// Pixel of a point of the ruler's plane.
    pub(crate) fn px(&self, u: f64, v: f64) -> [f64; 2] {
        let p = [0, 1, 2].map(|i| self.r[i][0] * u + self.r[i][1] * v + self.t[i]);
        let (x, y) = (p[0] / p[2], p[1] / p[2]);
        let d = self.scene.focal_px * (1.0 + self.scene.k1 * (x * x + y * y));
        [self.scene.centre_px[0] + d * x, self.scene.centre_px[1] + d * y]
    }

    /// Point of the ruler's plane under a pixel.
    pub(crate) fn plane(&self, px: [f64; 2]) -> [f64; 2] {
        let d = [0, 1].map(|k| (px[k] - self.scene.centre_px[k]) / self.scene.focal_px);
        let mut q = d;
        for _ in 0..4 {
            let f = 1.0 + self.scene.k1 * (q[0] * q[0] + q[1] * q[1]);
            q = [d[0] / f, d[1] / f];
        }
        let ray = [q[0], q[1], 1.0];
        // distance along the ray to the plane whose normal is the third column
        let n = [0, 1, 2].map(|i| self.r[i][2]);
        let far = (0..3).map(|i| n[i] * self.t[i]).sum::<f64>() / (0..3).map(|i| n[i] * ray[i]).sum::<f64>();
        let p = [0, 1, 2].map(|i| ray[i] * far - self.t[i]);
        [0, 1].map(|j| (0..3).map(|i| self.r[i][j] * p[i]).sum())
    }
}

/// Light that a bar of half-width `h` takes at distance `d` when blurred by `s`.
fn bar(d: f64, h: f64, s: f64) -> f64 {
    step((d + h) / s) - step((d - h) / s)
}

/// Normal distribution function, by the logistic approximation good to 0.01 (enough for a drawing, and symmetric).
fn step(x: f64) -> f64 {
    1.0 / (1.0 + (-1.5976 * x - 0.070_56 * x * x * x).exp())
}

/// Draws the scene.
pub(crate) fn draw(scene: &Scene) -> Option<Picture> {
    let truth = Truth::new(scene);
    let mut dice = Dice::new(scene.seed + 77);
    let [w, h] = scene.size;
    let mut rgb = Vec::with_capacity(w * h * 3);
    for y in 0..h {
        for x in 0..w {
            let px = [x as f64, y as f64];
            let [u, v] = truth.plane(px);
            let [u1, v1] = truth.plane([px[0] + 1.0, px[1]]);
            let [u2, v2] = truth.plane([px[0], px[1] + 1.0]);
            let along = (u1 - u).hypot(u2 - u) * scene.blur_px;
            let across = (v1 - v).hypot(v2 - v) * scene.blur_px;
            let paper = bar(u - scene.length_mm / 2.0, scene.length_mm / 2.0, along)
                * bar(v - scene.width_mm / 2.0, scene.width_mm / 2.0, across);
            let ink = ink(scene, u, v, along, across);
            let hidden = scene.hidden.iter().any(|r| u > r[0] && u < r[1] && v > r[2] && v < r[3]);
            let waves =
                scene.grain * ((0.05 * px[1] + 3.0 * (0.002 * px[0]).sin()).sin() * (0.31 * px[1]).cos());
            let wire = wire(scene, px);
            for c in 0..3 {
                let around = (1.0 + wire) * scene.around[c] * (1.0 + waves) * (0.8 + 0.4 * px[0] / w as f64);
                let lit = 0.9 + 0.2 * px[1] / h as f64;
                let ruler = lit * (scene.ground[c] * (1.0 - ink) + scene.ink[c] * ink);
                let mut light = around * (1.0 - paper) + ruler * paper;
                if hidden {
                    light = 0.12;
                }
                let seen = light + scene.noise * dice.normal();
                rgb.push((255.0 * seen.clamp(0.0, 1.0)).round() as u8);
            }
        }
    }
    Picture::from_rgb8(w, h, rgb)
}

/// How much lighter or darker a coil's windings make a place.
fn wire(scene: &Scene, px: [f64; 2]) -> f64 {
    let Some([inner, outer, apart]) = scene.windings else { return 0.0 };
    let middle = scene.size.map(|n| n as f64 / 2.0);
    let r = (px[0] - middle[0]).hypot(px[1] - middle[1]);
    if (inner..=outer).contains(&r) { 0.7 * (r * std::f64::consts::TAU / apart).sin() } else { 0.0 }
}

fn ink(scene: &Scene, u: f64, v: f64, along: f64, across: f64) -> f64 {
    let mut ink: f64 = 0.0;
    for (edge, marks) in scene.edges.iter().enumerate() {
        let depth = if edge == 0 { v } else { scene.width_mm - v };
        let spacing = marks.spacing_mm();
        if spacing.is_nan() || !(-1.0..=14.0).contains(&depth) {
            continue;
        }
        // marks begin 5 mm from the end of the ruler
        let nearest = ((u - 5.0) / spacing).round() as i64;
        for n in nearest - 1..=nearest + 1 {
            let place = n as f64 * spacing + 5.0;
            if n < 0 || place > scene.length_mm - 5.0 {
                continue;
            }
            let length = marks.length_mm(n);
            let cover = bar(u - place, scene.line_mm / 2.0, along)
                * bar(depth - scene.gap_mm - length / 2.0, length / 2.0, across);
            ink += cover;
        }
        ink += numeral(u - 5.0, depth, spacing, along, across);
    }
    ink.min(1.0)
}

/// Strokes like those of numerals, beyond every tenth mark.
fn numeral(u: f64, depth: f64, spacing: f64, along: f64, across: f64) -> f64 {
    let cell = 10.0 * spacing.min(1.6);
    let x = u - (u / cell).round() * cell;
    let digit = ((u / cell).round() as i64).rem_euclid(7) as f64;
    let upright = bar(x - 0.9, 0.15, along) + bar(x + 0.9 - 0.1 * digit, 0.15, along);
    let level = bar(depth - 9.2, 0.15, across) + bar(depth - 11.6, 0.15, across);
    (upright * bar(depth - 10.4, 1.3, across) + level * bar(x, 0.9, along)).min(1.0)
}
