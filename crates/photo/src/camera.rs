//! The camera's lens and pose: from pixels to rays, and from rays to a plane.

use nalgebra::{Matrix3, Vector3};

use crate::picture::ShotFacts;

/// Diagonal of the frame that "35 mm equivalent" focal lengths refer to, 36 mm × 24 mm.
const FULL_FRAME_DIAGONAL_MM: f64 = 43.267;
/// Relative standard uncertainty of a focal length as cameras write it: rounded, at infinity, before any cropping
/// (common practice, no source).
const WRITTEN_FOCAL_U: f64 = 0.1;

/// Ratios of the sides that differ by more than this belong to pictures of different shape.
const SAME_SHAPE: f64 = 0.01;

/// What is known of the camera before looking at the scale.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct CameraHints {
    /// Distance from the lens to the scale's plane (the bulb's centre) in millimetres, with its standard uncertainty.
    pub distance_mm: Option<(f64, f64)>,
    /// Focal length in pixels, with its standard uncertainty.
    pub focal_px: Option<(f64, f64)>,
    /// Whether the camera wrote of another shape of picture than this one has.
    pub is_cut_down: bool,
}

impl CameraHints {
    /// Adds the focal length that the camera wrote, if none is known yet, and whether the picture was cut down since.
    pub fn with_facts(mut self, facts: &ShotFacts, width_px: usize, height_px: usize) -> Self {
        if let (None, Some(mm)) = (self.focal_px, facts.focal_length_35mm) {
            let diagonal = (width_px as f64).hypot(height_px as f64);
            let focal = mm / FULL_FRAME_DIAGONAL_MM * diagonal;
            self.focal_px = Some((focal, WRITTEN_FOCAL_U * focal));
        }
        if let Some([width, height]) = facts.written_px {
            let sides = |a: f64, b: f64| a.max(b) / a.min(b).max(1.0);
            let [here, there] = [sides(width_px as f64, height_px as f64), sides(width, height)];
            // a picture made smaller keeps its shape, but for a pixel
            self.is_cut_down |= (here / there - 1.0).abs() > SAME_SHAPE;
        }
        self
    }
}

/// A lens with radial distortion: `x_px = f x (1 + k1 r² + k2 r⁴) + c` for a ray `(x, y, 1)`, `r² = x² + y²`.
///
/// Source: Brown, Photogrammetric Engineering 37 (1971) 855, radial terms.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Camera {
    /// Focal length in pixels.
    pub focal_px: f64,
    /// Principal point in pixels.
    pub centre_px: [f64; 2],
    /// First radial coefficient, in units of 1/(focal length)².
    pub k1: f64,
    /// Second radial coefficient, in units of 1/(focal length)⁴.
    pub k2: f64,
}

impl Camera {
    /// Pixel of the ray `(x, y, 1)`; x right, y down.
    pub fn to_px(&self, ray: [f64; 2]) -> [f64; 2] {
        let r2 = ray[0] * ray[0] + ray[1] * ray[1];
        let stretch = self.focal_px * (1.0 + r2 * (self.k1 + r2 * self.k2));
        [self.centre_px[0] + stretch * ray[0], self.centre_px[1] + stretch * ray[1]]
    }

    /// Ray `(x, y, 1)` of a pixel; none where the distortion folds over.
    pub fn to_ray(&self, px: [f64; 2]) -> Option<[f64; 2]> {
        let seen = [(px[0] - self.centre_px[0]) / self.focal_px, (px[1] - self.centre_px[1]) / self.focal_px];
        let bent = seen[0].hypot(seen[1]);
        if bent < 1e-12 {
            return Some(seen);
        }
        let mut r = bent;
        for _ in 0..12 {
            let r2 = r * r;
            let value = r * (1.0 + r2 * (self.k1 + r2 * self.k2)) - bent;
            let slope = 1.0 + r2 * (3.0 * self.k1 + 5.0 * r2 * self.k2);
            if slope < 0.1 {
                return None;
            }
            let step = value / slope;
            r -= step;
            if step.abs() < 1e-14 {
                break;
            }
        }
        (r.is_finite() && r > 0.0).then(|| [seen[0] * r / bent, seen[1] * r / bent])
    }
}

/// Where a plane stands before the camera: `X_camera = R (u, v, 0) + t`, camera x right, y down, z forward.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Pose {
    /// From the plane's frame (u, v, towards the camera) to the camera's.
    pub rotation: Matrix3<f64>,
    /// The plane's origin in the camera's frame, in millimetres.
    pub translation: Vector3<f64>,
}

impl Pose {
    /// Ray `(x, y, 1)` to a point of the plane; none behind the camera.
    pub fn to_ray(&self, point: [f64; 2]) -> Option<[f64; 2]> {
        let p = self.rotation * Vector3::new(point[0], point[1], 0.0) + self.translation;
        (p.z > 0.0).then(|| [p.x / p.z, p.y / p.z])
    }

    /// The matrix from a ray to homogeneous coordinates on the plane.
    pub fn to_plane(&self) -> Option<Matrix3<f64>> {
        let mut h = self.rotation;
        h.set_column(2, &self.translation);
        h.try_inverse()
    }

    /// The camera's place in the plane's frame, in millimetres.
    pub fn camera(&self) -> [f64; 3] {
        (-(self.rotation.transpose() * self.translation)).into()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_ray_comes_back_through_the_distortion() {
        let camera = Camera { focal_px: 3000.0, centre_px: [2010.0, 1490.0], k1: -0.08, k2: 0.03 };
        for ray in [[0.0, 0.0], [0.3, -0.2], [-0.6, 0.4]] {
            let back = camera.to_ray(camera.to_px(ray)).expect("within the lens");
            assert!(
                (back[0] - ray[0]).abs() < 1e-12 && (back[1] - ray[1]).abs() < 1e-12,
                "{ray:?} gives {back:?}"
            );
        }
    }

    #[test]
    fn a_folded_distortion_gives_no_ray() {
        let camera = Camera { focal_px: 1000.0, centre_px: [0.0, 0.0], k1: -0.4, k2: 0.0 };
        assert_eq!(camera.to_ray([900.0, 0.0]), None);
    }
}
