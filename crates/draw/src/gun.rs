//! The gun: a cylinder in the way of the beam, drawn as metal with a glowing slit.

use crate::camera::View;
use crate::error::DrawError;
use crate::scene::Gun;
use crate::vector::{Vec3, along, dot, scaled, sub, unit};

/// The gun made ready: base, axis and size.
#[derive(Debug, Clone)]
pub(crate) struct GunBody {
    pub(crate) base: Vec3,
    pub(crate) axis: Vec3,
    pub(crate) length: f64,
    pub(crate) radius: f64,
    pub(crate) neck: Vec3,
}

/// Where a ray meets a body: how far along, and which way the surface looks.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Meeting {
    pub(crate) at: f64,
    pub(crate) normal: Vec3,
}

impl GunBody {
    pub(crate) fn new(gun: &Gun) -> Result<Self, DrawError> {
        let axis = unit(gun.direction).ok_or(DrawError::NoDirection { name: "the gun" })?;
        Ok(GunBody {
            base: along(gun.muzzle_mm, axis, -gun.length_mm),
            axis,
            length: gun.length_mm,
            radius: gun.radius_mm,
            neck: unit(gun.neck_direction).unwrap_or([0.0, -1.0, 0.0]),
        })
    }

    pub(crate) fn middle(&self) -> Vec3 {
        along(self.base, self.axis, 0.5 * self.length)
    }

    /// First meeting of a ray with the cylinder or its ends.
    pub(crate) fn meet(&self, origin: Vec3, direction: Vec3) -> Option<Meeting> {
        let from = sub(origin, self.base);
        let (d_axis, o_axis) = (dot(direction, self.axis), dot(from, self.axis));
        let d_across = along(direction, self.axis, -d_axis);
        let o_across = along(from, self.axis, -o_axis);
        let a = dot(d_across, d_across);
        let b = dot(d_across, o_across);
        let c = dot(o_across, o_across) - self.radius * self.radius;
        let root = b * b - a * c;
        if root < 0.0 {
            return None;
        }
        let side = (a > 1e-18).then(|| (-b - root.sqrt()) / a);
        let side = side.filter(|t| *t > 0.0 && (0.0..=self.length).contains(&(o_axis + t * d_axis)));
        let mut first =
            side.map(|at| Meeting { at, normal: scaled(along(o_across, d_across, at), 1.0 / self.radius) });
        for (end, sense) in [(0.0, -1.0), (self.length, 1.0)] {
            let at = (end - o_axis) / d_axis;
            let across = along(o_across, d_across, at);
            let nearer = first.is_none_or(|m| at < m.at);
            if at > 0.0 && nearer && dot(across, across) <= self.radius * self.radius {
                first = Some(Meeting { at, normal: scaled(self.axis, sense) });
            }
        }
        first
    }

    /// Whether the gun stands between the camera and a point.
    pub(crate) fn hides(&self, camera: Vec3, point: Vec3) -> bool {
        self.meet(camera, sub(point, camera)).is_some_and(|meeting| meeting.at < 1.0 - 1e-9)
    }

    /// Whether a point lies wholly before the gun as the camera sees it.
    pub(crate) fn is_behind(&self, view: &View, point: Vec3) -> bool {
        let place = dot(sub(point, self.base), self.axis).clamp(0.0, self.length);
        let nearest = along(self.base, self.axis, place);
        view.depth(point) < view.depth(nearest) - self.radius
    }

    /// Corners of the box of pixels that holds the gun: left, top, right, bottom.
    pub(crate) fn box_px(&self, view: &View) -> Option<[usize; 4]> {
        let mut bounds = [f64::INFINITY, f64::INFINITY, f64::NEG_INFINITY, f64::NEG_INFINITY];
        for end in [self.base, along(self.base, self.axis, self.length)] {
            let [x, y] = view.project(end)?;
            // The radius as the camera sees it from nearest, and a margin for perspective.
            let reach = 1.3 * self.radius * view.focal_px / view.depth(end) + 3.0;
            bounds = [
                bounds[0].min(x - reach),
                bounds[1].min(y - reach),
                bounds[2].max(x + reach),
                bounds[3].max(y + reach),
            ];
        }
        let [left, top, right, foot] = bounds;
        let outside = right < 0.0 || foot < 0.0 || left >= view.width as f64 || top >= view.height as f64;
        (!outside).then(|| {
            let clip = |v: f64, n: usize| (v.max(0.0) as usize).min(n - 1);
            [clip(left, view.width), clip(top, view.height), clip(right, view.width), clip(foot, view.height)]
        })
    }

    /// Colour of the metal where a ray meets it, for light of 1 from above and the glow's colour from the ring.
    pub(crate) fn shade(&self, place: Vec3, normal: Vec3, room: f64, glow: [f32; 3]) -> [f32; 3] {
        let at = dot(sub(place, self.base), self.axis) / self.length;
        // Anode disc, shield and two seams: bands along the axis that catch more or less light.
        let metal = match at {
            a if a > 0.94 => 0.62,
            a if a > 0.90 => 0.12,
            a if a < 0.07 => 0.52,
            a if (0.52..0.56).contains(&a) => 0.16,
            _ => 0.34,
        };
        let above = 0.35 + 0.65 * (0.5 + 0.5 * normal[1]).max(0.0);
        let sheen = {
            let s = (0.6 * normal[1] + 0.8 * normal[2]).max(0.0);
            let s2 = s * s;
            0.5 * s2 * s2 * s2 * s2
        };
        let lit = room * metal * above + room * sheen;
        let from_ring = metal * (0.4 + 0.6 * normal[1].max(0.0)) + 0.4 * sheen;
        std::array::from_fn(|channel| {
            let tint = [1.0, 0.97, 0.92][channel];
            (lit * tint) as f32 + (from_ring * 0.055) as f32 * glow[channel]
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn gun() -> GunBody {
        GunBody::new(&Gun {
            muzzle_mm: [0.0, -40.0, 0.0],
            direction: [2.0, 0.0, 0.0],
            length_mm: 30.0,
            radius_mm: 6.0,
            neck_direction: [0.0, -1.0, 0.0],
        })
        .unwrap()
    }

    #[test]
    fn the_gun_hides_what_is_behind_it_and_nothing_else() {
        let camera = [0.0, 0.0, 600.0];
        assert!(gun().hides(camera, [-15.0, -40.0, -1.0]));
        assert!(!gun().hides(camera, [-15.0, -40.0, 10.0]));
        assert!(!gun().hides(camera, [-15.0, -20.0, -1.0]));
        assert!(!gun().hides(camera, [5.0, -40.0, 0.0]));
    }

    #[test]
    fn a_ray_from_the_side_meets_the_cylinder_at_its_radius() {
        let meeting = gun().meet([-10.0, -40.0, 100.0], [0.0, 0.0, -1.0]).unwrap();
        assert!((meeting.at - 94.0).abs() < 1e-12 && (meeting.normal[2] - 1.0).abs() < 1e-12);
        let end = gun().meet([100.0, -38.0, 0.0], [-1.0, 0.0, 0.0]).unwrap();
        assert!((end.at - 100.0).abs() < 1e-12 && (end.normal[0] - 1.0).abs() < 1e-12);
    }
}
