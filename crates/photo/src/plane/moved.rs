//! A camera that moved between the scale's photograph and the ring's.

use nalgebra::{Rotation3, SMatrix, Vector3};

use super::ScalePlane;
use crate::camera::{Camera, Pose};

/// Unknowns of a motion: rotation about the camera's x, y, z (radians), displacement along them (millimetres), ln(focal
/// length).
pub(crate) const MOVES: usize = 7;

/// How the camera moved, as edges of what stood still tell.
#[derive(Debug, Clone)]
pub struct Moved {
    pub(crate) unknowns: [f64; MOVES],
    pub(crate) covariance: SMatrix<f64, MOVES, MOVES>,
    /// Edges seen on both photographs.
    pub edges_seen: usize,
    /// Edges that agree.
    pub edges_used: usize,
    /// Root mean square distance in pixels by which they went across themselves.
    pub edges_px: f64,
    /// Robust standard deviation of the edges' shifts about the motion, in pixels.
    pub spread_px: f64,
}

/// What a motion does to a ring in the scale's plane.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Shifted {
    /// Root mean square shift of the ring's points in pixels, and its standard uncertainty.
    pub shift_px: f64,
    /// Standard uncertainty of `shift_px`.
    pub shift_u_px: f64,
    /// Relative change of the ring's size.
    pub growth: f64,
    /// Standard uncertainty of `growth`.
    pub growth_u: f64,
}

/// The ring for which a motion is judged: this radius about the middle of the picture, in millimetres.
const RING_MM: f64 = 40.0;
/// Points of that ring.
const RING_POINTS: usize = 12;

/// Camera and pose after a motion.
pub(super) fn after(camera: Camera, pose: Pose, m: [f64; MOVES]) -> (Camera, Pose) {
    let turn = Rotation3::new(Vector3::new(m[0], m[1], m[2]));
    let pose = Pose {
        rotation: turn * pose.rotation,
        translation: turn * pose.translation + Vector3::new(m[3], m[4], m[5]),
    };
    (Camera { focal_px: camera.focal_px * m[6].exp(), ..camera }, pose)
}

impl ScalePlane {
    /// The place in the plane's frame of what is seen at a pixel and stands so high above the plane.
    pub(crate) fn at_height(&self, px: [f64; 2], above_mm: f64) -> Option<[f64; 2]> {
        let p = self.space_point(px, above_mm)?;
        Some(self.frame.place([p.x, p.y]))
    }

    /// The same in the scale's own axes.
    pub(crate) fn space_point(&self, px: [f64; 2], above_mm: f64) -> Option<Vector3<f64>> {
        let ray = self.camera.to_ray(px)?;
        // in the scale's axes: the camera's place and the ray's direction
        let back = self.pose.rotation.transpose();
        let from = -(back * self.pose.translation);
        let along = back * Vector3::new(ray[0], ray[1], 1.0);
        let far = (above_mm - from.z) / along.z;
        (far > 0.0).then(|| from + along * far)
    }

    /// The camera after a motion.
    pub(crate) fn after(&self, m: [f64; MOVES]) -> MovedCamera {
        let (camera, pose) = after(self.camera, self.pose, m);
        MovedCamera { camera, pose }
    }

    /// Cosine and sine of the turn times the growth of what is seen of the plane about the picture's middle after a motion.
    pub(crate) fn turned_by(&self, m: [f64; MOVES]) -> Option<[f64; 2]> {
        let (before, after) = (self.after([0.0; MOVES]), self.after(m));
        let point = |x: f64| {
            let [x, y] = self.frame.to_scale([x, 0.0]);
            Vector3::new(x, y, 0.0)
        };
        let arm = |camera: &MovedCamera| {
            let (a, b) = (camera.sees(&point(0.0))?, camera.sees(&point(RING_MM))?);
            Some([b[0] - a[0], b[1] - a[1]])
        };
        let ([a, b], [c, d]) = (arm(&before)?, arm(&after)?);
        let power = a * a + b * b;
        (power > 0.0).then(|| [(a * c + b * d) / power, (a * d - b * c) / power])
    }
}

/// A camera after a motion, with the scale's own axes before it.
pub(crate) struct MovedCamera {
    camera: Camera,
    pose: Pose,
}

impl MovedCamera {
    /// Pixel of a point in the scale's own axes; none behind the camera.
    pub(crate) fn sees(&self, point: &Vector3<f64>) -> Option<[f64; 2]> {
        let q = self.pose.rotation * point + self.pose.translation;
        (q.z > 0.0).then(|| self.camera.to_px([q.x / q.z, q.y / q.z]))
    }
}

impl ScalePlane {
    /// What a motion does to a ring of common size in the middle of the picture.
    pub fn shifted(&self, moved: &Moved) -> Option<Shifted> {
        let at = |m: [f64; MOVES]| self.ring_after(m);
        let still = at([0.0; MOVES])?;
        let there = at(moved.unknowns)?;
        let rms = |a: &[[f64; 2]], b: &[[f64; 2]]| {
            let sum: f64 = a.iter().zip(b).map(|(p, q)| (p[0] - q[0]).powi(2) + (p[1] - q[1]).powi(2)).sum();
            (sum / a.len().max(1) as f64).sqrt()
        };
        let (mut shift, mut growth) = (0.0, 0.0);
        for cause in causes(&moved.covariance) {
            let off = at(std::array::from_fn(|k| moved.unknowns[k] + cause[k]))?;
            shift += rms(&off, &there).powi(2);
            growth += (size(&off) / size(&there) - 1.0).powi(2);
        }
        Some(Shifted {
            shift_px: rms(&there, &still),
            shift_u_px: shift.sqrt(),
            growth: size(&there) / size(&still) - 1.0,
            growth_u: growth.sqrt(),
        })
    }

    fn ring_after(&self, m: [f64; MOVES]) -> Option<Vec<[f64; 2]>> {
        let camera = self.after(m);
        let point = |k: usize| {
            let (sin, cos) = (std::f64::consts::TAU * k as f64 / RING_POINTS as f64).sin_cos();
            let [x, y] = self.frame.to_scale([RING_MM * cos, RING_MM * sin]);
            camera.sees(&Vector3::new(x, y, 0.0))
        };
        (0..RING_POINTS).map(point).collect()
    }

    /// The same plane where the camera may have moved unseen: every length uncertain by this relative standard uncertainty.
    pub fn unchecked(&self, relative_u: f64) -> Self {
        Self { slant_relative_u: self.slant_relative_u.hypot(relative_u), ..self.clone() }
    }

    /// The plane as the camera sees it after a motion, the motion's uncertainty among the causes of error.
    pub fn moved_by(&self, moved: &Moved) -> Option<Self> {
        let mut plane = self.with(self.unknowns.clone(), moved.unknowns)?;
        plane.causes.clone_from(&self.causes);
        plane.motion_causes = causes(&moved.covariance);
        Some(plane)
    }
}

/// Root mean square distance of points from their middle.
fn size(points: &[[f64; 2]]) -> f64 {
    let n = points.len().max(1) as f64;
    let middle = [0, 1].map(|k| points.iter().map(|p| p[k]).sum::<f64>() / n);
    (points.iter().map(|p| (p[0] - middle[0]).powi(2) + (p[1] - middle[1]).powi(2)).sum::<f64>() / n).sqrt()
}

/// Independent directions of a motion's covariance, each one standard uncertainty long.
fn causes(covariance: &SMatrix<f64, MOVES, MOVES>) -> Vec<[f64; MOVES]> {
    let dynamic = nalgebra::DMatrix::from_fn(MOVES, MOVES, |i, j| covariance[(i, j)]);
    super::causes(&dynamic).into_iter().map(|c| std::array::from_fn(|k| c[k])).collect()
}
