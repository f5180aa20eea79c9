//! The bench in perspective: a distant eye, above and to the right of the front camera.

use std::f64::consts::TAU;

use crate::figure::{Meaning, Outline, Panel};
use crate::sketch::{self, Winding, across};

/// Turned to the right of the axis, and raised, degrees.
const AZIMUTH_DEG: f64 = 32.0;
const ELEVATION_DEG: f64 = 16.0;
/// Distance of the eye in sizes of the bench.
const DISTANCE: f64 = 5.0;
/// Points of a drawn circle.
const POINTS: u32 = 72;

/// A point in space, mm.
pub(crate) type Place = [f64; 3];

/// An eye that looks at the bulb's centre.
pub(crate) struct Eye {
    right: Place,
    up: Place,
    towards_eye: Place,
    distance_mm: f64,
}

fn dot(a: Place, b: Place) -> f64 {
    a.iter().zip(&b).map(|(a, b)| a * b).sum()
}

impl Eye {
    /// An eye far enough from a bench of this size.
    pub(crate) fn at(size_mm: f64) -> Self {
        let (azimuth, elevation) = (AZIMUTH_DEG.to_radians(), ELEVATION_DEG.to_radians());
        let (sin_a, cos_a) = azimuth.sin_cos();
        let (sin_e, cos_e) = elevation.sin_cos();
        Self {
            right: [cos_a, 0.0, -sin_a],
            up: [-sin_a * sin_e, cos_e, -cos_a * sin_e],
            towards_eye: [sin_a * cos_e, sin_e, cos_a * cos_e],
            distance_mm: DISTANCE * size_mm,
        }
    }

    /// Where a point is seen; lengths are true in the plane through the bulb's centre.
    pub(crate) fn sees(&self, point: Place) -> [f64; 2] {
        let nearer = self.distance_mm / (self.distance_mm - dot(point, self.towards_eye));
        [nearer * dot(point, self.right), nearer * dot(point, self.up)]
    }

    /// How near a point is to the eye; larger is nearer.
    pub(crate) fn depth(&self, point: Place) -> f64 {
        dot(point, self.towards_eye)
    }

    pub(crate) fn line(&self, points: &[Place]) -> Vec<[f64; 2]> {
        points.iter().map(|point| self.sees(*point)).collect()
    }

    /// The outline of a sphere about the centre.
    pub(crate) fn sphere_mm(&self, radius_mm: f64) -> f64 {
        let far = self.distance_mm;
        radius_mm * far / (far * far - radius_mm * radius_mm).max(1.0).sqrt()
    }

    /// A winding: its silhouette with the hole left open, and the near rim as a line.
    pub(crate) fn winding(&self, winding: &Winding, panel: Panel) -> Panel {
        let faces = [winding.half_axial_mm, -winding.half_axial_mm];
        let rim = |radius: f64, axial: f64| self.line(&sketch::rim(winding, radius, axial));
        let [near, far] = {
            let of = |axial: f64| {
                let rim = sketch::rim(winding, 0.0, axial);
                rim.first().map_or(0.0, |centre| self.depth(*centre))
            };
            if of(faces[0]) >= of(faces[1]) { faces } else { [faces[1], faces[0]] }
        };
        let mut outside = rim(winding.outer_mm, near);
        outside.extend(rim(winding.outer_mm, far));
        panel.polygon_with_hole(Outline::Coil, "", hull(outside), rim(winding.inner_mm, near)).curve(
            Meaning::Plain,
            "",
            rim(winding.outer_mm, near),
        )
    }

    /// A cylinder that ends at `muzzle` and lies behind it.
    pub(crate) fn gun(&self, muzzle: Place, direction: Place, [length, radius]: [f64; 2]) -> Vec<[f64; 2]> {
        let [u, v] = across(direction);
        let mut points = Vec::new();
        for (back, wide) in [(0.0, 0.5 * radius), (0.3 * length, radius), (length, radius)] {
            for k in 0..POINTS {
                let (sin, cos) = (f64::from(k) * TAU / f64::from(POINTS)).sin_cos();
                let part = |i: usize| {
                    let pick = |v: Place| v.get(i).copied().unwrap_or(0.0);
                    pick(muzzle) - back * pick(direction) + wide * (cos * pick(u) + sin * pick(v))
                };
                points.push(self.sees([part(0), part(1), part(2)]));
            }
        }
        hull(points)
    }
}

/// The convex outline of points, counter-clockwise (A. M. Andrew, Inf. Process. Lett. 9 (1979) 216).
fn hull(mut points: Vec<[f64; 2]>) -> Vec<[f64; 2]> {
    points.sort_by(|a, b| a[0].total_cmp(&b[0]).then(a[1].total_cmp(&b[1])));
    points.dedup();
    let half = |points: &mut dyn Iterator<Item = [f64; 2]>| {
        let mut chain: Vec<[f64; 2]> = Vec::new();
        for p in points {
            while let [.., a, b] = chain.as_slice()
                && (b[0] - a[0]) * (p[1] - a[1]) - (b[1] - a[1]) * (p[0] - a[0]) <= 0.0
            {
                chain.pop();
            }
            chain.push(p);
        }
        chain.pop();
        chain
    };
    let mut outline = half(&mut points.iter().copied());
    outline.extend(half(&mut points.iter().rev().copied()));
    outline
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_square_with_a_point_inside_has_four_corners() {
        let outline = hull(vec![[0.0, 0.0], [1.0, 0.0], [0.4, 0.5], [1.0, 1.0], [0.0, 1.0]]);
        assert_eq!(outline, [[0.0, 0.0], [1.0, 0.0], [1.0, 1.0], [0.0, 1.0]]);
    }

    #[test]
    fn what_is_nearer_the_eye_is_seen_larger_and_up_stays_up() {
        let eye = Eye::at(100.0);
        let size = |z: f64| {
            let ends = [eye.sees([0.0, 10.0, z]), eye.sees([0.0, -10.0, z])];
            ends[0][1] - ends[1][1]
        };
        assert!(size(50.0) > size(0.0) && size(0.0) > size(-50.0) && size(-50.0) > 0.0);
        assert!(eye.sees([10.0, 0.0, 0.0])[0] > 0.0, "+x is to the right");
        assert_eq!(eye.sees([0.0; 3]), [0.0, 0.0]);
    }

    #[test]
    fn a_sphere_is_seen_a_little_larger_than_it_is() {
        // the tangent cone of a sphere of 1 from a distance of 5: tan = 1/√24
        assert!((Eye::at(1.0).sphere_mm(1.0) - 5.0 / 24f64.sqrt()).abs() < 1e-12);
    }
}
