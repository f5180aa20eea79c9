//! What a concentric shell of glass does to light: it turns the ray about the centre, and it mirrors.

use crate::scene::Bulb;
use crate::vector::{Vec3, add, cross, dot, norm, scaled, sub, unit};

/// Turns for the apparent place to settle; each gains three digits for glass a few millimetres thick.
const REFRACTION_STEPS: usize = 8;

/// Angle by which the shell turns a ray that would pass the centre at distance `b`.
///
/// Snell's law in a body of concentric spheres keeps `n·r·sin(i)` along the ray, so the impact parameter is
/// the same inside and outside and only the angle swept about the centre changes:
/// `Δ(b) = asin(b/R) - asin(b/nR) + asin(b/nr) - asin(b/r)` with outer and inner radius `R`, `r`.
/// Source: follows from Snell's law; Born and Wolf, *Principles of Optics*, § 3.2 (from memory).
fn turned_by(bulb: &Bulb, b: f64) -> f64 {
    let (outer, inner, index) = (bulb.outer_radius_mm, bulb.inner_radius_mm(), bulb.glass_index);
    let angle = |radius: f64| libm::asin((b / radius).min(1.0));
    angle(outer) - angle(index * outer) + angle(index * inner) - angle(inner)
}

/// The point where a camera without glass would have to look to see `point` inside the bulb.
///
/// It lies on the straight continuation of the ray outside the glass, as far from the centre as `point`.
pub(crate) fn seen_point(bulb: &Bulb, camera: Vec3, point: Vec3) -> Vec3 {
    seen_through(bulb, camera, point, 1.0)
}

/// The same for light that passes so many walls.
pub(crate) fn seen_through(bulb: &Bulb, camera: Vec3, point: Vec3, walls: f64) -> Vec3 {
    let Some(plane) = unit(cross(camera, point)) else {
        return point; // on the line through the centre nothing is bent
    };
    let sideways = cross(plane, point);
    let mut seen = point;
    for _ in 0..REFRACTION_STEPS {
        let line = sub(seen, camera);
        let impact = norm(cross(camera, line)) / norm(line);
        let angle = -walls * turned_by(bulb, impact);
        seen = add(scaled(point, libm::cos(angle)), scaled(sideways, libm::sin(angle)));
    }
    seen
}

/// How often the light of a place passes the wall of the bulb on its way to the camera.
///
/// Once from inside; twice from behind; never from beside or before it.
pub(crate) fn walls_passed(bulb: &Bulb, camera: Vec3, point: Vec3) -> f64 {
    let line = sub(point, camera);
    let impact = norm(cross(camera, line)) / norm(line);
    if norm(point) < bulb.outer_radius_mm {
        1.0
    } else if impact < bulb.inner_radius_mm() && dot(point, line) > 0.0 {
        2.0
    } else {
        0.0
    }
}

/// The straight line of sight as it runs on after `walls` walls: its origin and direction turned about the centre.
pub(crate) fn bent(bulb: &Bulb, origin: Vec3, ray: Vec3, walls: f64) -> (Vec3, Vec3) {
    let across = cross(origin, ray);
    let Some(axis) = unit(across).filter(|_| walls > 0.0) else { return (origin, ray) };
    let angle = walls * turned_by(bulb, norm(across) / norm(ray));
    let (sine, cosine) = (libm::sin(angle), libm::cos(angle));
    // both lie in the plane square to the axis
    let turn = |v: Vec3| add(scaled(v, cosine), scaled(cross(axis, v), sine));
    (turn(origin), turn(ray))
}

/// Where on the far inner wall the camera sees `point` mirrored; nothing when it sees no image there.
///
/// In the plane of centre, camera and point, the normal at the wall halves the angle between both.
pub(crate) fn mirrored_at(bulb: &Bulb, camera: Vec3, point: Vec3) -> Option<Vec3> {
    let back = unit(scaled(camera, -1.0))?;
    let sideways = unit(sub(point, scaled(back, dot(point, back))))?;
    let radius = bulb.inner_radius_mm();
    let wall =
        |angle: f64| scaled(add(scaled(back, libm::cos(angle)), scaled(sideways, libm::sin(angle))), radius);
    // Sine of the angle of incidence, with its sign, minus that of reflection.
    let mismatch = |angle: f64| {
        let place = wall(angle);
        let across = add(scaled(back, -libm::sin(angle)), scaled(sideways, libm::cos(angle)));
        let sine = |end: Vec3| dot(across, sub(end, place)) / norm(sub(end, place));
        sine(camera) + sine(point)
    };
    let (mut low, mut high) = (-1.2, 1.2);
    let rising = mismatch(high) > 0.0;
    if (mismatch(low) > 0.0) == rising {
        return None;
    }
    for _ in 0..48 {
        let middle = 0.5 * (low + high);
        if (mismatch(middle) > 0.0) == rising { high = middle } else { low = middle }
    }
    Some(wall(0.5 * (low + high)))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::vector::along;

    fn bulb() -> Bulb {
        Bulb { outer_radius_mm: 84.0, glass_thickness_mm: 2.0, glass_index: 1.48 }
    }

    /// Snell's law in vector form at one surface, normal against the ray.
    fn bend(direction: Vec3, normal: Vec3, ratio: f64) -> Vec3 {
        let cosine = -dot(normal, direction);
        let root = (1.0 - ratio * ratio * (1.0 - cosine * cosine)).sqrt();
        add(scaled(direction, ratio), scaled(normal, ratio * cosine - root))
    }

    /// Where a ray from outside first meets a sphere about the centre.
    fn meet(origin: Vec3, direction: Vec3, radius: f64) -> Vec3 {
        let half = dot(origin, direction);
        let root = (half * half - dot(origin, origin) + radius * radius).sqrt();
        along(origin, direction, -half - root)
    }

    #[test]
    fn the_seen_direction_traced_through_the_glass_meets_the_point() {
        // An independent trace, surface by surface, with Snell's law in vector form.
        let (bulb, camera) = (bulb(), [140.0, -60.0, 600.0]);
        for point in [[45.0, 10.0, 3.0], [-30.0, 55.0, -20.0], [0.0, -70.0, 25.0], [1.0, 2.0, 70.0]] {
            let look = unit(sub(seen_point(&bulb, camera, point), camera)).unwrap();
            let outer = meet(camera, look, bulb.outer_radius_mm);
            let in_glass = bend(look, unit(outer).unwrap(), 1.0 / bulb.glass_index);
            let inner = meet(outer, in_glass, bulb.inner_radius_mm());
            let inside = bend(in_glass, unit(inner).unwrap(), bulb.glass_index);
            let miss = norm(cross(sub(point, inner), inside));
            assert!(miss < 1e-9, "missed {point:?} by {miss} mm");
        }
    }

    #[test]
    fn a_line_of_sight_bent_by_the_glass_meets_the_point_it_shows() {
        let (bulb, camera) = (bulb(), [60.0, 40.0, 600.0]);
        for point in [[45.0, 10.0, 3.0], [-30.0, 40.0, -95.0], [20.0, -50.0, -88.0]] {
            let walls = walls_passed(&bulb, camera, point);
            let look = sub(seen_through(&bulb, camera, point, walls), camera);
            let (origin, ray) = bent(&bulb, camera, look, walls);
            let miss = norm(cross(sub(point, origin), ray)) / norm(ray);
            assert!(miss < 1e-9, "missed {point:?} by {miss} mm after {walls} walls");
        }
        assert_eq!(walls_passed(&bulb, camera, [0.0, 0.0, 120.0]), 0.0, "before the bulb");
        assert_eq!(walls_passed(&bulb, camera, [0.0, -110.0, -5.0]), 0.0, "beside the bulb");
    }

    #[test]
    fn a_line_of_sight_through_the_whole_bulb_obeys_snells_law() {
        // traced surface by surface: two spheres in, two out
        let (bulb, camera, point) = (bulb(), [60.0, 40.0, 600.0], [-30.0, 40.0, -95.0]);
        let look = unit(sub(seen_through(&bulb, camera, point, 2.0), camera)).unwrap();
        let (n, outer, inner) = (bulb.glass_index, bulb.outer_radius_mm, bulb.inner_radius_mm());
        let a = meet(camera, look, outer);
        let ray = bend(look, unit(a).unwrap(), 1.0 / n);
        let b = meet(a, ray, inner);
        let ray = bend(ray, unit(b).unwrap(), n);
        let leave = |origin: Vec3, ray: Vec3, radius: f64| {
            let half = dot(origin, ray);
            along(origin, ray, -half + (half * half - dot(origin, origin) + radius * radius).sqrt())
        };
        let c = leave(b, ray, inner);
        let ray = bend(ray, unit(scaled(c, -1.0)).unwrap(), 1.0 / n);
        let d = leave(c, ray, outer);
        let ray = bend(ray, unit(scaled(d, -1.0)).unwrap(), n);
        let miss = norm(cross(sub(point, d), ray));
        assert!(miss < 1e-9, "missed by {miss} mm");
    }

    #[test]
    fn glass_of_no_power_bends_nothing() {
        let bulb = Bulb { glass_index: 1.0, ..bulb() };
        let seen = seen_point(&bulb, [0.0, 0.0, 600.0], [40.0, 20.0, 5.0]);
        assert!(norm(sub(seen, [40.0, 20.0, 5.0])) < 1e-12);
    }

    #[test]
    fn the_mirrored_image_obeys_the_law_of_reflection_and_is_inverted() {
        let (bulb, camera, point) = (bulb(), [30.0, 20.0, 600.0], [35.0, -10.0, 2.0]);
        let place = mirrored_at(&bulb, camera, point).unwrap();
        let normal = unit(scaled(place, -1.0)).unwrap();
        let (a, b) = (unit(sub(camera, place)).unwrap(), unit(sub(point, place)).unwrap());
        assert!((dot(a, normal) - dot(b, normal)).abs() < 1e-9);
        // A concave mirror shows a point at its centre of curvature upside down: seen across the axis.
        assert!(place[0] * point[0] + place[1] * point[1] < 0.0);
    }
}
