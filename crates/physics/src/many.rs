//! The field at many points at once, in columns, on the machine's widest vectors.

use arcmass_quantity::constants::VACUUM_PERMEABILITY;

use crate::coil::Frame;
use crate::error::FieldError;
use crate::lane8::Lane8;
use crate::lanes::{VectorWidth, Work, at_width};
use crate::prepared::{PreparedField, splat};
use crate::threads;
use crate::vec3::Vec3;
use crate::winding::{CoilSet, Shape, Winding};

/// Vectors of eight that go through the mean together (more would not fit the registers), and through the series.
const MEAN: usize = 2;
const SERIES: usize = 4;
/// The short arithmetic–geometric mean is right to rounding while `(α/β)² ≥ 0.09`, that is `P² ≥ 0.303 s²` with `P = αβ`,
/// `s = (α² + β²)/2` …
const LEAST_SHARE: f64 = 0.303;
/// … and within twice the coil's radius, `s ≤ 4 a²`; elsewhere the exact form answers.
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

/// Vectors in columns of equal length: `x[i], y[i], z[i]` belong together; metres for points, tesla for fields.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct VectorColumns {
    /// Components along x.
    pub x: Vec<f64>,
    /// Components along y.
    pub y: Vec<f64>,
    /// Components along z.
    pub z: Vec<f64>,
}

impl VectorColumns {
    /// As many zero vectors as asked.
    pub fn zeros(len: usize) -> Self {
        Self { x: vec![0.0; len], y: vec![0.0; len], z: vec![0.0; len] }
    }

    /// Number of whole vectors: the shortest column's length.
    pub fn len(&self) -> usize {
        self.x.len().min(self.y.len()).min(self.z.len())
    }

    /// Whether there is none.
    pub fn is_empty(&self) -> bool {
        self.len() == 0
    }

    /// One of them.
    pub fn get(&self, index: usize) -> Option<Vec3> {
        Some(Vec3::new(*self.x.get(index)?, *self.y.get(index)?, *self.z.get(index)?))
    }

    /// All of them, in order.
    pub fn iter(&self) -> impl Iterator<Item = Vec3> + '_ {
        self.x.iter().zip(&self.y).zip(&self.z).map(|((x, y), z)| Vec3::new(*x, *y, *z))
    }
}

impl FromIterator<Vec3> for VectorColumns {
    fn from_iter<I: IntoIterator<Item = Vec3>>(vectors: I) -> Self {
        let mut columns = Self::default();
        for v in vectors {
            columns.x.push(v.x);
            columns.y.push(v.y);
            columns.z.push(v.z);
        }
        columns
    }
}

impl CoilSet {
    /// Flux density for one ampere at many points, in order, tesla, into `out` (made as long as `points_m`).
    ///
    /// Thin round coils run through a short arithmetic–geometric mean on vectors where it is right to rounding (1e-14 of the sum
    /// of |B| over the coils); every other point or coil gets [`Winding::flux_density_per_ampere`].
    pub fn fill(
        &self,
        points_m: &VectorColumns,
        out: &mut VectorColumns,
        how: HowWide,
    ) -> Result<(), FieldError> {
        let mut thin = Vec::new();
        for winding in &self.windings {
            winding.check()?;
            thin.push(Thin::new(winding)?);
        }
        threads::in_columns(points_m, out, 8 * MEAN, how.threads, |points, out| {
            at_width(how.width, Direct { coils: self, thin: &thin, points, out })
        })
    }
}

impl PreparedField {
    /// Flux density for one ampere at many points, in order, tesla, into `out` (made as long as `points_m`).
    ///
    /// Blocks of points that all lie in the sphere take the series together; any other point gets
    /// [`PreparedField::flux_density_per_ampere`].
    pub fn fill(
        &self,
        points_m: &VectorColumns,
        out: &mut VectorColumns,
        how: HowWide,
    ) -> Result<(), FieldError> {
        threads::in_columns(points_m, out, 8 * SERIES, how.threads, |points, out| {
            at_width(how.width, Prepared { field: self, points, out })
        })
    }
}

struct Prepared<'a, 'b> {
    field: &'a PreparedField,
    points: [&'a [f64]; 3],
    out: [&'b mut [f64]; 3],
}

impl Work for Prepared<'_, '_> {
    type Output = Result<(), FieldError>;

    #[inline(always)]
    fn run<V: Lane8>(self) -> Self::Output {
        let Self { field, points, mut out } = self;
        let mut from = 0;
        while from < points[0].len() {
            let p = gather::<V, SERIES>(&points, from);
            if field.holds_lanes(&p) {
                scatter(&field.lanes(&p), &mut out, from);
            } else {
                singly(&points, &mut out, from, 8 * SERIES, |p| field.flux_density_per_ampere(p))?;
            }
            from += 8 * SERIES;
        }
        Ok(())
    }
}

/// A block's points; past the end, zeros.
#[inline(always)]
fn gather<V: Lane8, const M: usize>(points: &[&[f64]; 3], from: usize) -> [[V; M]; 3] {
    let mut p = [[V::zero(); M]; 3];
    for c in 0..3 {
        for (m, slot) in p[c].iter_mut().enumerate() {
            *slot = V::from_slice(points[c].get(from + 8 * m..).unwrap_or(&[]));
        }
    }
    p
}

#[inline(always)]
fn scatter<V: Lane8, const M: usize>(b: &[[V; M]; 3], out: &mut [&mut [f64]; 3], from: usize) {
    for c in 0..3 {
        for m in 0..M {
            let Some(rest) = out[c].get_mut(from + 8 * m..) else { continue };
            let values = b[c][m].store();
            match rest.first_chunk_mut::<8>() {
                Some(all) => *all = values,
                None => rest.iter_mut().zip(values).for_each(|(o, v)| *o = v),
            }
        }
    }
}

/// Whether every lane is a number: the comparisons of vectors lose those that are not.
#[inline(always)]
fn all_finite<V: Lane8, const M: usize>(p: &[[V; M]; 3]) -> bool {
    let mut sum = V::zero();
    for column in p {
        for v in column {
            sum = v.fma(V::zero(), sum);
        }
    }
    sum.store().iter().all(|v| *v == 0.0)
}

/// The block's points one by one.
#[inline(never)]
fn singly(
    points: &[&[f64]; 3],
    out: &mut [&mut [f64]; 3],
    from: usize,
    block: usize,
    field: impl Fn(Vec3) -> Result<Vec3, FieldError>,
) -> Result<(), FieldError> {
    for i in from..(from + block).min(points[0].len()) {
        let b = field(Vec3::new(points[0][i], points[1][i], points[2][i]))?;
        (out[0][i], out[1][i], out[2][i]) = (b.x, b.y, b.z);
    }
    Ok(())
}

struct Direct<'a, 'b> {
    coils: &'a CoilSet,
    thin: &'a [Option<Thin>],
    points: [&'a [f64]; 3],
    out: [&'b mut [f64]; 3],
}

impl Work for Direct<'_, '_> {
    type Output = Result<(), FieldError>;

    #[inline(always)]
    fn run<V: Lane8>(self) -> Self::Output {
        let Self { coils, thin, points, mut out } = self;
        let all_thin = thin.iter().all(Option::is_some);
        let mut from = 0;
        while from < points[0].len() {
            let p = gather::<V, MEAN>(&points, from);
            let mut sum = [[V::zero(); MEAN]; 3];
            // the worst margin of the block, negated so that the larger is the worse
            let mut worst = V::splat(if all_thin { -1.0 } else { 1.0 });
            for coil in thin.iter().flatten() {
                coil.add(&p, &mut sum, &mut worst);
            }
            if worst.largest() < 0.0 && all_finite(&p) {
                scatter(&sum, &mut out, from);
            } else {
                singly(&points, &mut out, from, 8 * MEAN, |p| coils.flux_density_per_ampere(p))?;
            }
            from += 8 * MEAN;
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

    /// Adds the coil's field at a block.
    #[inline(always)]
    fn add<V: Lane8>(&self, p: &[[V; MEAN]; 3], sum: &mut [[V; MEAN]; 3], worst: &mut V) {
        if self.along_z {
            let shift = V::splat(self.centre_m.z);
            for m in 0..MEAN {
                let (q, g) = self.terms(p[0][m], p[1][m], p[2][m] - shift, worst);
                sum[0][m] = q.fma(p[0][m], sum[0][m]);
                sum[1][m] = q.fma(p[1][m], sum[1][m]);
                sum[2][m] = sum[2][m] + g;
            }
            return;
        }
        let [u, v, w] = self.frame.axes();
        let (axes, centre): ([[V; 3]; 3], [V; 3]) = ([splat(u), splat(v), splat(w)], splat(self.centre_m));
        for m in 0..MEAN {
            let d = [p[0][m] - centre[0], p[1][m] - centre[1], p[2][m] - centre[2]];
            let mut local = [V::zero(); 3];
            for c in 0..3 {
                local[c] = axes[c][0].fma(d[0], axes[c][1].fma(d[1], axes[c][2] * d[2]));
            }
            let (q, g) = self.terms(local[0], local[1], local[2], worst);
            let (bu, bv) = (q * local[0], q * local[1]);
            for c in 0..3 {
                sum[c][m] = axes[0][c].fma(bu, axes[1][c].fma(bv, axes[2][c].fma(g, sum[c][m])));
            }
        }
    }

    /// `(B_ρ/ρ, B_z)` by the mean with its first step taken in closed form, in ρ² only.
    ///
    /// `s = a² + ρ² + z²`, `P² = s² − 4a²ρ²`; `a₁ = √((s + P)/2)`, `b₁ = √P`, `c₁² = 2a²ρ²/(s + P)`, three plain steps more;
    /// `S = Σ 2^(n−1) c_n²`, `B_z = μ₀I/(4MP²) ((2a² − s)(s − S) + P²)`, `B_ρ/ρ = μ₀I z/(4MP²) (4a² − sS/ρ²)`.
    #[inline(always)]
    fn terms<V: Lane8>(&self, x: V, y: V, z: V, worst: &mut V) -> (V, V) {
        let n = V::splat;
        let (a2, half, quarter) = (V::splat(self.radius2), V::splat(0.5), V::splat(0.25));
        let rho2 = x.fma(x, y * y);
        let s = z.fma(z, a2 + rho2);
        let p2 = s.fma(s, n(-4.0 * self.radius2) * rho2);
        let p = p2.sqrt();
        let sp = s + p;
        let (m1, g1) = ((half * sp).sqrt(), p.sqrt());
        let (m2, g2) = (half * (m1 + g1), (m1 * g1).sqrt());
        let (m3, g3) = (half * (m2 + g2), (m2 * g2).sqrt());
        let m4 = half * (m3 + g3);
        let (d1, d2) = (n(1.0) / (sp * m2), n(1.0) / (m4 * p2));
        // c₁²/ρ², c₂/ρ², c₃/ρ², c₄/ρ²
        let first = n(2.0 * self.radius2) * m2 * d1;
        let second = quarter * first * sp * d1;
        let inverse = p2 * d2;
        let c4 = half * (m3 - g3);
        let third = quarter * second * second * rho2 * inverse * c4.fnma(inverse, n(1.0));
        let fourth = quarter * third * third * rho2 * inverse;
        let squares = (n(2.0) * second).fma(second, (n(4.0) * third).fma(third, n(8.0) * fourth * fourth));
        let sum = rho2.fma(squares, first);
        let e = c4 * inverse;
        let factor = n(self.strength) * (m4 * d2) * (inverse * (quarter * e).fma(e, n(1.0)));
        let axial = factor * (n(2.0 * self.radius2) - s).fma(sum.fnma(rho2, s), p2);
        let across = factor * z * s.fnma(sum, n(4.0 * self.radius2));
        // negated margins; at a point that is no number the comparison keeps the second, which is then no number either
        let near = (n(LEAST_SHARE) * s).fma(s, n(0.0) - p2);
        let far = s - n(FARTHEST * self.radius2);
        *worst = worst.larger(near.larger(far));
        (across, axial)
    }
}
