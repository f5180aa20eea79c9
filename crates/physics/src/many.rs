//! The field at many points at once, in columns, on the machine's widest vectors.

use arcmass_quantity::constants::VACUUM_PERMEABILITY;

use crate::coil::Frame;
use crate::error::FieldError;
use crate::lanes::{VectorWidth, Work, at_width};
use crate::prepared::PreparedField;
use crate::threads;
use crate::vec3::Vec3;
use crate::winding::{CoilSet, Shape, Winding};

/// Points that go through a kernel together.
const BLOCK: usize = 16;
/// The short arithmetic–geometric mean is right to rounding while `(α/β)² ≥ 0.09`, that is `P² ≥ 0.303 s²` with `P = αβ`, `s = (α² + β²)/2` …
const LEAST_SHARE: f64 = 0.303;
/// … and within twice the coil's radius; elsewhere the exact form answers.
const FARTHEST: f64 = 4.0;

/// How many points at once are worked on: threads and vector width. Neither changes a bit of the result.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct HowWide {
    /// Threads, at least 1.
    pub threads: usize,
    /// Vector width.
    pub width: VectorWidth,
}

impl Default for HowWide {
    /// One thread, the widest vectors.
    fn default() -> Self {
        Self { threads: 1, width: VectorWidth::widest() }
    }
}

impl CoilSet {
    /// Flux density for one ampere at many points, in order, tesla.
    ///
    /// Thin round coils run through a short arithmetic–geometric mean on vectors where it is right to rounding (1e-14 of the sum of
    /// |B| over the coils); every other point or coil gets [`Winding::flux_density_per_ampere`].
    pub fn flux_densities_per_ampere(
        &self,
        points_m: &[Vec3],
        how: HowWide,
    ) -> Result<Vec<Vec3>, FieldError> {
        let mut out = vec![Vec3::ZERO; points_m.len()];
        for winding in &self.windings {
            winding.check()?;
        }
        threads::in_chunks(points_m, &mut out, BLOCK, how.threads, |points, out| {
            at_width(how.width, Direct { coils: self, points, out })
        })?;
        Ok(out)
    }
}

impl PreparedField {
    /// Flux density for one ampere at many points, in order, tesla; blocks of 16 points that all lie in the sphere take the series
    /// together.
    pub fn flux_densities_per_ampere(
        &self,
        points_m: &[Vec3],
        how: HowWide,
    ) -> Result<Vec<Vec3>, FieldError> {
        let mut out = vec![Vec3::ZERO; points_m.len()];
        self.fill(points_m, &mut out, how)?;
        Ok(out)
    }

    /// The same into a slice of the same length; what is longer is left alone.
    pub fn fill(&self, points_m: &[Vec3], out: &mut [Vec3], how: HowWide) -> Result<(), FieldError> {
        threads::in_chunks(points_m, out, BLOCK, how.threads, |points, out| {
            at_width(how.width, Prepared { field: self, points, out })
        })
    }
}

struct Prepared<'a> {
    field: &'a PreparedField,
    points: &'a [Vec3],
    out: &'a mut [Vec3],
}

impl Work for Prepared<'_> {
    type Output = Result<(), FieldError>;

    #[inline(always)]
    fn run(self) -> Self::Output {
        for (points, out) in self.points.chunks(BLOCK).zip(self.out.chunks_mut(BLOCK)) {
            let p = gather(points);
            if self.field.holds_all(&p) {
                scatter(&self.field.columns(&p), out);
            } else {
                for (point, out) in points.iter().zip(out) {
                    *out = self.field.flux_density_per_ampere(*point)?;
                }
            }
        }
        Ok(())
    }
}

/// A block's points in columns; a short block repeats its first point.
#[inline(always)]
fn gather(points: &[Vec3]) -> [[f64; BLOCK]; 3] {
    let mut p = [[0.0; BLOCK]; 3];
    let first = points.first().copied().unwrap_or(Vec3::ZERO);
    for i in 0..BLOCK {
        let point = points.get(i).copied().unwrap_or(first);
        (p[0][i], p[1][i], p[2][i]) = (point.x, point.y, point.z);
    }
    p
}

#[inline(always)]
fn scatter(b: &[[f64; BLOCK]; 3], out: &mut [Vec3]) {
    for (i, out) in out.iter_mut().enumerate().take(BLOCK) {
        *out = Vec3::new(b[0][i], b[1][i], b[2][i]);
    }
}

struct Direct<'a> {
    coils: &'a CoilSet,
    points: &'a [Vec3],
    out: &'a mut [Vec3],
}

impl Work for Direct<'_> {
    type Output = Result<(), FieldError>;

    #[inline(always)]
    fn run(self) -> Self::Output {
        let mut thin = Vec::new();
        for winding in &self.coils.windings {
            thin.push(Thin::new(winding)?);
        }
        for (points, out) in self.points.chunks(BLOCK).zip(self.out.chunks_mut(BLOCK)) {
            let p = gather(points);
            let mut sum = [[0.0; BLOCK]; 3];
            let mut good = true;
            for coil in &thin {
                good = good && coil.as_ref().is_some_and(|coil| coil.add(&p, &mut sum));
            }
            if good {
                scatter(&sum, out);
                continue;
            }
            for (point, out) in points.iter().zip(out) {
                *out = self.coils.flux_density_per_ampere(*point)?;
            }
        }
        Ok(())
    }
}

/// A thin round coil ready for blocks.
struct Thin {
    frame: Frame,
    centre_m: Vec3,
    along_z: bool,
    radius2: f64,
    /// μ₀ N/4.
    strength: f64,
}

impl Thin {
    fn new(winding: &Winding) -> Result<Option<Self>, FieldError> {
        if winding.shape != Shape::Circular || winding.winding_radial_m > 0.0 || winding.winding_axial_m > 0.0
        {
            return Ok(None);
        }
        let axis = winding.axis.unit().ok_or(FieldError::BadAxis(winding.axis))?;
        Ok(Some(Self {
            frame: Frame::new(axis)?,
            centre_m: winding.centre_m,
            along_z: axis == Vec3::Z && winding.centre_m.x == 0.0 && winding.centre_m.y == 0.0,
            radius2: winding.mean_radius_m * winding.mean_radius_m,
            strength: 0.25 * VACUUM_PERMEABILITY.value * winding.turns * winding.sense,
        }))
    }

    /// Adds the coil's field at a block; `false` where the short mean does not hold.
    #[inline(always)]
    fn add(&self, p: &[[f64; BLOCK]; 3], sum: &mut [[f64; BLOCK]; 3]) -> bool {
        if self.along_z {
            let mut z = p[2];
            for z in &mut z {
                *z -= self.centre_m.z;
            }
            let (q, g, good) = self.terms(&p[0], &p[1], &z);
            for i in 0..BLOCK {
                sum[0][i] += q[i] * p[0][i];
                sum[1][i] += q[i] * p[1][i];
                sum[2][i] += g[i];
            }
            return good;
        }
        let mut d = [[0.0; BLOCK]; 3];
        for i in 0..BLOCK {
            let v = self.frame.to_local(Vec3::new(p[0][i], p[1][i], p[2][i]) - self.centre_m);
            (d[0][i], d[1][i], d[2][i]) = (v.x, v.y, v.z);
        }
        let (q, g, good) = self.terms(&d[0], &d[1], &d[2]);
        for i in 0..BLOCK {
            let b = self.frame.to_bench(Vec3::new(q[i] * d[0][i], q[i] * d[1][i], g[i]));
            sum[0][i] += b.x;
            sum[1][i] += b.y;
            sum[2][i] += b.z;
        }
        good
    }

    /// `(B_ρ/ρ, B_z)` by the mean with its first step taken in closed form, in ρ² only.
    ///
    /// `s = a² + ρ² + z²`, `P² = s² − 4a²ρ²`; `a₁ = √((s + P)/2)`, `b₁ = √P`, `c₁² = 2a²ρ²/(s + P)`, three plain steps more;
    /// `S = Σ 2^(n−1) c_n²`, `B_z = μ₀I/(4MP²) ((2a² − s)(s − S) + P²)`, `B_ρ/ρ = μ₀I z/(4MP²) (4a² − sS/ρ²)`.
    #[inline(always)]
    fn terms(
        &self,
        x: &[f64; BLOCK],
        y: &[f64; BLOCK],
        z: &[f64; BLOCK],
    ) -> ([f64; BLOCK], [f64; BLOCK], bool) {
        let a2 = self.radius2;
        let (mut q, mut g) = ([0.0; BLOCK], [0.0; BLOCK]);
        let mut worst = [f64::INFINITY; BLOCK];
        for i in 0..BLOCK {
            let rho2 = x[i].mul_add(x[i], y[i] * y[i]);
            let s = z[i].mul_add(z[i], a2 + rho2);
            let p2 = s.mul_add(s, -4.0 * a2 * rho2);
            let p = p2.sqrt();
            let sp = s + p;
            let (m1, g1) = ((0.5 * sp).sqrt(), p.sqrt());
            let (m2, g2) = (0.5 * (m1 + g1), (m1 * g1).sqrt());
            let (m3, g3) = (0.5 * (m2 + g2), (m2 * g2).sqrt());
            let m4 = 0.5 * (m3 + g3);
            let (d1, d2) = (1.0 / (sp * m2), 1.0 / (m4 * p2));
            // c₁²/ρ², c₂/ρ², c₃/ρ², c₄/ρ²
            let first = 2.0 * a2 * m2 * d1;
            let second = 0.25 * first * sp * d1;
            let inverse = p2 * d2;
            let c4 = 0.5 * (m3 - g3);
            let third = 0.25 * second * second * rho2 * inverse * (-c4).mul_add(inverse, 1.0);
            let fourth = 0.25 * third * third * rho2 * inverse;
            let squares = (2.0 * second).mul_add(second, (4.0 * third).mul_add(third, 8.0 * fourth * fourth));
            let sum = rho2.mul_add(squares, first);
            let e = c4 * inverse;
            let factor = self.strength * (m4 * d2) * (inverse * (0.25 * e).mul_add(e, 1.0));
            g[i] = factor * (2.0 * a2 - s).mul_add((-sum).mul_add(rho2, s), p2);
            q[i] = factor * z[i] * (-s).mul_add(sum, 4.0 * a2);
            let margin = (p2 - LEAST_SHARE * s * s).min(FARTHEST * a2 - s);
            // a value that is no number must fail
            worst[i] = if margin > 0.0 { 1.0 } else { -1.0 };
        }
        let mut least: f64 = 1.0;
        for w in worst {
            least = least.min(w);
        }
        (q, g, least > 0.0)
    }
}
