//! What the bulb's glass does to where things are seen: a concentric shell with the same gas, or none, on both sides.

use nalgebra::Vector3;

/// A spherical shell of glass about the origin, lengths in millimetres.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Shell {
    /// Outer radius.
    pub outer_mm: f64,
    /// Inner radius.
    pub inner_mm: f64,
    /// Refractive index of the glass; that of air and of the gas is taken as 1.
    pub index: f64,
}

/// Steps until the line of sight settles; each gains three digits and more.
const STEPS: usize = 6;

impl Shell {
    /// Angle in radians by which light that passes the centre at a distance is turned where it goes through the wall.
    ///
    /// Along a ray through concentric spheres n r sin i is the same everywhere, so that with the same medium on both
    /// sides the ray keeps its distance from the centre and only turns (Bouguer's formula: Born and Wolf, Principles of
    /// Optics, § 3.2, cited from memory).
    pub fn turned(&self, distance_mm: f64) -> f64 {
        let b = distance_mm.abs().min(self.inner_mm);
        let bent = |radius: f64| (b / radius).asin() - (b / (self.index * radius)).asin();
        bent(self.inner_mm) - bent(self.outer_mm)
    }

    /// Where a point seems to lie for a lens outside the shell if its light is thought straight.
    ///
    /// - **Takes** lens and point from the shell's centre, in millimetres; the point inside the shell, or behind it.
    /// - **Gives** the point turned about the centre, away from the lens: once for each wall.
    pub fn apparent(&self, lens_mm: [f64; 3], point_mm: [f64; 3]) -> [f64; 3] {
        let (lens, point) = (Vector3::from(lens_mm), Vector3::from(point_mm));
        let across = lens - point * (lens.dot(&point) / point.norm_squared().max(1e-300));
        let (radius, away) = (point.norm(), across.norm());
        if away < 1e-9 * lens.norm() || radius < 1e-12 {
            return point_mm;
        }
        let walls = if radius < self.outer_mm { 1.0 } else { 2.0 };
        let mut seen = point;
        for _ in 0..STEPS {
            let sight = lens - seen;
            let distance = lens.cross(&sight).norm() / sight.norm();
            let angle = walls * self.turned(distance);
            seen = point * angle.cos() - across * (radius / away * angle.sin());
        }
        seen.into()
    }

    /// How far from the line through lens and centre a point of a plane behind the shell truly lies, from where it is seen there.
    ///
    /// The light keeps its distance from the centre and is turned away from the line by each wall; what is seen beside the shell is
    /// where it seems.
    ///
    /// - **Takes** the distances of lens and plane from the centre and that of the point as seen, in millimetres.
    pub fn behind(&self, lens_mm: f64, behind_mm: f64, seen_mm: f64) -> f64 {
        let sight = (seen_mm / (lens_mm + behind_mm)).atan();
        let passes = lens_mm * sight.sin();
        if passes.abs() >= self.outer_mm || behind_mm <= 0.0 {
            return seen_mm;
        }
        let (sin, cos) = (sight + 2.0 * self.turned(passes) * passes.signum()).sin_cos();
        passes * cos + (passes * sin + behind_mm) / cos * sin
    }

    /// By what factor things in a plane behind the shell look smaller than without it, averaged over a disc.
    ///
    /// - **Takes** the distances of lens and plane from the centre and the disc's radius, in millimetres.
    pub fn shrinks(&self, lens_mm: f64, behind_mm: f64, radius_mm: f64) -> f64 {
        const RINGS: u32 = 8;
        let lens = [0.0, 0.0, lens_mm];
        let factor = |k: u32| {
            // rings of equal area
            let radius = radius_mm * ((f64::from(k) + 0.5) / f64::from(RINGS)).sqrt();
            let seen = self.apparent(lens, [radius, 0.0, -behind_mm]);
            // carried on to the plane again
            let on_plane = seen[0] * (lens_mm + behind_mm) / (lens_mm - seen[2]);
            on_plane / radius
        };
        (0..RINGS).map(factor).sum::<f64>() / f64::from(RINGS)
    }
}

/// A bulb before a scale, as a picture shows it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BulbBefore {
    /// Its outline in pixels.
    pub centre_px: [f64; 2],
    /// Radius of the outline in pixels.
    pub radius_px: f64,
    /// Its wall.
    pub shell: Shell,
    /// Distances of lens and scale from its centre, in millimetres.
    pub lens_mm: f64,
    /// The scale stands so far behind.
    pub behind_mm: f64,
}

/// Nearer to the outline than this part of its radius the glass throws things about by more than the outline is known to.
const RIM: [f64; 2] = [0.88, 1.03];
/// Up to this part a single point is still moved, and its uncertainty says what that is worth.
const LAST: f64 = 0.97;
/// Relative standard uncertainty of the outline's radius in the picture.
const OUTLINE_U: f64 = 0.015;

impl BulbBefore {
    /// Where a point of the scale would be seen without the bulb; at the rim, and beside the bulb, where it is seen.
    pub fn straightened(&self, px: [f64; 2]) -> [f64; 2] {
        let [x, y] = [px[0] - self.centre_px[0], px[1] - self.centre_px[1]];
        let grown = self.grown(x.hypot(y));
        [self.centre_px[0] + grown * x, self.centre_px[1] + grown * y]
    }

    /// Standard uncertainty in pixels that the outline's own leaves to [`Self::straightened`].
    pub fn straightened_u(&self, px: [f64; 2]) -> f64 {
        let with = |part: f64| Self { radius_px: part * self.radius_px, ..*self }.straightened(px);
        let (a, b) = (with(1.0 + OUTLINE_U), with(1.0 - OUTLINE_U));
        let here = self.straightened(px);
        let apart = |p: [f64; 2]| (p[0] - here[0]).hypot(p[1] - here[1]);
        apart(a).max(apart(b))
    }

    /// Where a point of the scale is seen that without the bulb would be seen at `px`; none at the rim.
    pub fn seen_at(&self, px: [f64; 2]) -> Option<[f64; 2]> {
        let [x, y] = [px[0] - self.centre_px[0], px[1] - self.centre_px[1]];
        let away = x.hypot(y);
        let part = away / self.radius_px;
        if part >= RIM[1] {
            return Some(px);
        }
        let mut shrunk = 1.0;
        for _ in 0..STEPS {
            shrunk = 1.0 / self.grown(shrunk * away);
        }
        (part * shrunk < RIM[0]).then(|| [self.centre_px[0] + shrunk * x, self.centre_px[1] + shrunk * y])
    }

    /// Pixels of a thing as far from the lens as it is large, by the outline: that is where rays touch the sphere.
    pub fn focal_px(&self) -> f64 {
        let sine = (self.shell.outer_mm / self.lens_mm).min(0.95);
        self.radius_px * (1.0 - sine * sine).sqrt() / sine
    }

    /// How much further from the outline's centre a point seen so many pixels from it truly is.
    fn grown(&self, away_px: f64) -> f64 {
        if away_px <= 1e-9 || away_px >= LAST * self.radius_px {
            return 1.0;
        }
        let seen_mm = away_px / self.focal_px() * (self.lens_mm + self.behind_mm);
        self.shell.behind(self.lens_mm, self.behind_mm, seen_mm) / seen_mm
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_scale_behind_the_bulb_is_straightened_and_bent_back() {
        let bulb = BulbBefore {
            centre_px: [500.0, 400.0],
            radius_px: 200.0,
            shell: SHELL,
            lens_mm: 900.0,
            behind_mm: 100.0,
        };
        for away in [0.0, 40.0, 110.0, 160.0] {
            let seen = [500.0 - 0.6 * away, 400.0 + 0.8 * away];
            let straight = bulb.straightened(seen);
            let back = bulb.seen_at(straight).expect("not at the rim");
            assert!((back[0] - seen[0]).hypot(back[1] - seen[1]) < 0.02, "{away}: {straight:?} {back:?}");
        }
        let grown = (bulb.straightened([600.0, 400.0])[0] - 500.0) / 100.0;
        assert!((1.008..1.03).contains(&grown), "marks are drawn together by 1 to 2 %: {grown}");
        let u = [560.0, 660.0].map(|x| bulb.straightened_u([x, 400.0]));
        assert!(u[0] < 0.1 && u[1] > 5.0 * u[0], "less is known near the rim: {u:?}");
        assert_eq!(bulb.straightened([720.0, 400.0]), [720.0, 400.0], "beside the bulb");
        assert_eq!(bulb.seen_at([697.0, 400.0]), None, "at the rim");
    }

    const SHELL: Shell = Shell { outer_mm: 82.0, inner_mm: 80.0, index: 1.48 };

    #[test]
    fn a_point_behind_the_shell_lies_where_its_appearance_says() {
        for radius in [5.0, 30.0, 60.0, 75.0] {
            let seen = SHELL.apparent([0.0, 0.0, 900.0], [radius, 0.0, -100.0]);
            let on_plane = seen[0] * 1000.0 / (900.0 - seen[2]);
            let back = SHELL.behind(900.0, 100.0, on_plane);
            assert!((back - radius).abs() < 0.02, "{radius}: seen {on_plane}, back {back}");
        }
        assert_eq!(SHELL.behind(900.0, 100.0, 95.0), 95.0, "beside the shell");
    }

    /// Snell's law in vectors at a sphere about the origin: the way onwards, from air into glass for `ratio` 1/n.
    fn refracted(at: Vector3<f64>, way: Vector3<f64>, ratio: f64) -> Vector3<f64> {
        let mut normal = at.normalize();
        if normal.dot(&way) > 0.0 {
            normal = -normal;
        }
        let cos = -normal.dot(&way);
        let root = (1.0 - ratio * ratio * (1.0 - cos * cos)).sqrt();
        way * ratio + normal * (ratio * cos - root)
    }

    fn meets(from: Vector3<f64>, way: Vector3<f64>, radius: f64, far: bool) -> Vector3<f64> {
        let half = from.dot(&way);
        let root = (half * half - from.norm_squared() + radius * radius).sqrt();
        from + way * (-half + if far { root } else { -root })
    }

    /// Follows light backwards from the lens through the walls to the plane z.
    fn followed(lens: Vector3<f64>, towards: Vector3<f64>, plane_z: f64) -> Vector3<f64> {
        let mut way = (towards - lens).normalize();
        let mut at = meets(lens, way, SHELL.outer_mm, false);
        way = refracted(at, way, 1.0 / SHELL.index);
        at = meets(at, way, SHELL.inner_mm, false);
        way = refracted(at, way, SHELL.index);
        if plane_z < -SHELL.outer_mm {
            at = meets(at, way, SHELL.inner_mm, true);
            way = refracted(at, way, 1.0 / SHELL.index);
            at = meets(at, way, SHELL.outer_mm, true);
            way = refracted(at, way, SHELL.index);
        }
        at + way * ((plane_z - at.z) / way.z)
    }

    #[test]
    fn a_point_seems_to_lie_where_its_refracted_light_comes_from() {
        let lens = Vector3::new(40.0, -25.0, 600.0);
        for plane_z in [0.0, -4.0, -95.0] {
            for towards in [[30.0, 8.0], [-20.0, 35.0], [3.0, -48.0]] {
                let towards = Vector3::new(towards[0], towards[1], plane_z);
                let point = followed(lens, towards, plane_z);
                let seen = Vector3::from(SHELL.apparent(lens.into(), point.into()));
                let on_plane = lens + (seen - lens) * ((lens.z - plane_z) / (lens.z - seen.z));
                let miss = (on_plane - towards).norm();
                assert!(miss < 1e-6, "{plane_z} {towards:?}: {miss} mm, moved {}", (point - towards).norm());
            }
        }
    }

    #[test]
    fn a_ring_about_the_centre_shrinks_by_hundredths_of_a_percent() {
        let seen = |radius: f64| {
            let p = SHELL.apparent([0.0, 0.0, 600.0], [radius, 0.0, 0.0]);
            p[0] * 600.0 / (600.0 - p[2]) / radius - 1.0
        };
        // to first order b (n − 1)/n (1/inner − 1/outer) times the sight's slope
        for radius in [15.0, 25.0] {
            let first = -radius * (0.48 / 1.48) * (1.0 / 80.0 - 1.0 / 82.0) * radius / 600.0;
            assert!((seen(radius) / first - 1.0).abs() < 0.2, "{radius}: {} {first}", seen(radius));
        }
        let behind = SHELL.shrinks(600.0, 90.0, 40.0) - 1.0;
        assert!((-0.02..-0.012).contains(&behind), "{behind}");
    }
}
