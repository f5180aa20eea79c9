//! From the bench to the picture and back: a pinhole with radial distortion.

use crate::error::DrawError;
use crate::scene::Camera;
use crate::vector::{Vec3, add, cross, dot, scaled, sub, unit};

/// Steps of the table that takes distortion away; the interpolation error stays below 1e-8 of the radius.
const UNDISTORT_STEPS: usize = 4096;

/// A camera made ready: its axes in the bench's frame, and a table that takes distortion away.
#[derive(Debug, Clone)]
pub(crate) struct View {
    pub(crate) origin: Vec3,
    pub(crate) right: Vec3,
    pub(crate) down: Vec3,
    pub(crate) forward: Vec3,
    pub(crate) focal_px: f64,
    pub(crate) width: usize,
    pub(crate) height: usize,
    principal: [f64; 2],
    k1: f64,
    k2: f64,
    /// Ratio of undistorted to distorted radius, over the square of the distorted radius.
    undistort: Vec<f64>,
    undistort_step: f64,
}

impl View {
    pub(crate) fn new(camera: &Camera) -> Result<Self, DrawError> {
        check(camera)?;
        let none = || DrawError::NoDirection { name: "the camera" };
        let forward = unit(sub(camera.look_at_mm, camera.position_mm)).ok_or_else(none)?;
        let level = unit(cross(forward, [0.0, 1.0, 0.0])).ok_or_else(none)?;
        let plumb = cross(forward, level);
        let roll = camera.roll_deg.to_radians();
        let (sine, cosine) = (libm::sin(roll), libm::cos(roll));
        let mut view = View {
            origin: camera.position_mm,
            right: add(scaled(level, cosine), scaled(plumb, sine)),
            down: add(scaled(plumb, cosine), scaled(level, -sine)),
            forward,
            focal_px: camera.focal_px,
            width: camera.width_px as usize,
            height: camera.height_px as usize,
            principal: camera.principal_px,
            k1: camera.k1,
            k2: camera.k2,
            undistort: Vec::new(),
            undistort_step: 1.0,
        };
        view.tabulate()?;
        Ok(view)
    }

    /// Fills the table out to a little past the farthest corner.
    fn tabulate(&mut self) -> Result<(), DrawError> {
        let far = |p: f64, n: usize| {
            let side = n as f64;
            (p + 1.0).abs().max((side - p).abs()) / self.focal_px
        };
        let (x, y) = (far(self.principal[0], self.width), far(self.principal[1], self.height));
        let largest = (x * x + y * y) * 1.1;
        self.undistort_step = largest / UNDISTORT_STEPS as f64;
        let mut radius = 0.0;
        self.undistort = vec![1.0];
        for step in 1..=UNDISTORT_STEPS + 1 {
            let wanted = (step as f64 * self.undistort_step).sqrt();
            radius = self.undistorted_radius(wanted, radius)?;
            self.undistort.push(radius / wanted);
        }
        Ok(())
    }

    /// Solves `r (1 + k1 r² + k2 r⁴) = wanted` by Newton's method from a nearby start.
    fn undistorted_radius(&self, wanted: f64, start: f64) -> Result<f64, DrawError> {
        let mut r = start;
        for _ in 0..40 {
            let s = r * r;
            let slope = 1.0 + s * (3.0 * self.k1 + 5.0 * self.k2 * s);
            if slope <= 0.05 {
                return Err(DrawError::LensFolds { k1: self.k1, k2: self.k2 });
            }
            let step = (r * (1.0 + s * (self.k1 + self.k2 * s)) - wanted) / slope;
            r -= step;
            if step.abs() < 1e-15 {
                break;
            }
        }
        Ok(r)
    }

    /// Distance in front of the lens, along the optical axis.
    pub(crate) fn depth(&self, point: Vec3) -> f64 {
        dot(sub(point, self.origin), self.forward)
    }

    /// Where a point is seen when nothing bends its light; nothing for points behind the lens.
    pub(crate) fn project(&self, point: Vec3) -> Option<[f64; 2]> {
        let from = sub(point, self.origin);
        let depth = dot(from, self.forward);
        if depth < 1.0 {
            return None;
        }
        let (x, y) = (dot(from, self.right) / depth, dot(from, self.down) / depth);
        let s = x * x + y * y;
        let stretch = self.focal_px * (1.0 + s * (self.k1 + self.k2 * s));
        Some([self.principal[0] + x * stretch, self.principal[1] + y * stretch])
    }

    /// Direction of the light that falls on a pixel; one millimetre along the optical axis.
    pub(crate) fn ray(&self, x_px: f64, y_px: f64) -> Vec3 {
        let x = (x_px - self.principal[0]) / self.focal_px;
        let y = (y_px - self.principal[1]) / self.focal_px;
        let place = (x * x + y * y) / self.undistort_step;
        let index = (place as usize).min(UNDISTORT_STEPS);
        let low = self.undistort[index];
        let factor = low + (self.undistort[index + 1] - low) * (place - index as f64).min(1.0);
        let (x, y) = (x * factor, y * factor);
        [
            self.forward[0] + x * self.right[0] + y * self.down[0],
            self.forward[1] + x * self.right[1] + y * self.down[1],
            self.forward[2] + x * self.right[2] + y * self.down[2],
        ]
    }

    /// Whether a place lies in the picture.
    pub(crate) fn in_frame(&self, px: [f64; 2]) -> bool {
        let inside = |v: f64, n: usize| v >= -0.5 && v <= n as f64 - 0.5;
        inside(px[0], self.width) && inside(px[1], self.height)
    }
}

fn check(camera: &Camera) -> Result<(), DrawError> {
    let (width_px, height_px) = (camera.width_px, camera.height_px);
    if !(16..=16384).contains(&width_px) || !(16..=16384).contains(&height_px) {
        return Err(DrawError::PictureSize { width_px, height_px });
    }
    let [x, y] = camera.principal_px;
    let numbers = [camera.roll_deg, camera.k1, camera.k2, x, y, camera.focal_px];
    let places = camera.position_mm.iter().chain(&camera.look_at_mm);
    if let Some(value) = numbers.iter().chain(places).find(|v| !v.is_finite()) {
        return Err(DrawError::NotFinite { name: "a number of the camera", value: *value });
    }
    if camera.focal_px < 1.0 {
        let (name, accepted) = ("the focal length", "1 px or more");
        return Err(DrawError::OutOfRange { name, accepted, value: camera.focal_px });
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn tilted() -> Camera {
        Camera {
            position_mm: [120.0, -40.0, 610.0],
            look_at_mm: [3.0, 5.0, -2.0],
            roll_deg: 4.0,
            k1: -0.05,
            k2: -0.08,
            ..Camera::on_axis(600.0, 1900.0, 1000, 700)
        }
    }

    #[test]
    fn a_camera_on_the_axis_follows_the_rule_of_three() {
        let view = View::new(&Camera::on_axis(600.0, 1200.0, 1001, 801)).unwrap();
        // 50 mm right and 30 mm up at 600 mm: 1200 · 50/600 = 100 px right, 60 px up.
        let [x, y] = view.project([50.0, 30.0, 0.0]).unwrap();
        assert!((x - 600.0).abs() < 1e-9 && (y - 340.0).abs() < 1e-9);
    }

    #[test]
    fn distortion_follows_its_formula() {
        let camera = Camera { k1: -0.1, k2: 0.02, ..Camera::on_axis(500.0, 1000.0, 1001, 1001) };
        let [x, y] = View::new(&camera).unwrap().project([100.0, 0.0, 0.0]).unwrap();
        // r = 0.2: 0.2 (1 - 0.1·0.04 + 0.02·0.0016) = 0.1992064
        assert!((x - 699.2064).abs() < 1e-9 && (y - 500.0).abs() < 1e-9);
    }

    #[test]
    fn a_positive_roll_turns_the_content_counter_clockwise() {
        let camera = Camera { roll_deg: 90.0, ..Camera::on_axis(500.0, 1000.0, 1001, 1001) };
        let [x, y] = View::new(&camera).unwrap().project([50.0, 0.0, 0.0]).unwrap();
        assert!((x - 500.0).abs() < 1e-9 && (y - 400.0).abs() < 1e-9, "{x} {y}");
    }

    #[test]
    fn the_ray_of_a_pixel_meets_the_point_projected_there() {
        let view = View::new(&tilted()).unwrap();
        for (x, y) in [(0.0, 0.0), (999.0, 0.0), (512.3, 340.7), (0.0, 699.0), (999.0, 699.0)] {
            let point = add(view.origin, scaled(view.ray(x, y), 550.0));
            let [u, v] = view.project(point).unwrap();
            assert!((u - x).abs() < 1e-5 && (v - y).abs() < 1e-5, "{u} {v} for {x} {y}");
        }
    }

    #[test]
    fn a_lens_that_folds_the_picture_is_refused() {
        let camera = Camera { k1: -8.0, ..Camera::on_axis(500.0, 800.0, 1000, 1000) };
        assert!(matches!(View::new(&camera), Err(DrawError::LensFolds { .. })));
    }

    #[test]
    fn a_camera_that_looks_straight_up_has_no_upright() {
        let camera = Camera { position_mm: [0.0, -500.0, 0.0], ..Camera::on_axis(1.0, 800.0, 100, 100) };
        assert_eq!(View::new(&camera).err(), Some(DrawError::NoDirection { name: "the camera" }));
    }
}
