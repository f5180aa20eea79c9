//! A coil set's field prepared once as zonal harmonics about a point, fast inside a sphere and exact outside it.

use crate::coil::Frame;
use crate::error::FieldError;
use crate::fourfold::Fourfold;
use crate::lane8::Lane8;
use crate::lanes::{Work, widest};
use crate::vec3::Vec3;
use crate::winding::{CoilSet, Shape, Winding};
use crate::zonal::Series;

/// What the series leaves out, as a share of the sum of |B| over the loops at the centre.
const TRUNCATION: f64 = 1e-13;
/// Axes and centres that agree this closely, in units of the sizes involved, count as one line.
const SAME_LINE: f64 = 1e-13;

/// Points in columns, so that one operation serves all of them: `[x; n], [y; n], [z; n]`.
pub(crate) type Columns<const N: usize> = [[f64; N]; 3];

/// A vector's components, each over all lanes.
#[inline(always)]
pub(crate) fn splat<V: Lane8>(v: Vec3) -> [V; 3] {
    [V::splat(v.x), V::splat(v.y), V::splat(v.z)]
}

/// The coils of one shape that share one axis line, as one series.
#[derive(Clone, Debug)]
struct Group {
    frame: Frame,
    along_z: bool,
    centre_m: Vec3,
    series: Harmonics,
}

/// Harmonics about a point of the axis.
#[derive(Clone, Debug)]
enum Harmonics {
    /// Of round coils: order 0.
    Zonal(Series),
    /// Of square coils: orders 0, 4, 8 …
    Fourfold(Box<Fourfold>),
}

impl Harmonics {
    #[inline(always)]
    fn lanes<V: Lane8, const M: usize>(&self, p: &[[V; M]; 3]) -> [[V; M]; 3] {
        match self {
            Self::Zonal(series) => series.lanes(p),
            Self::Fourfold(series) => series.lanes(p),
        }
    }

    #[inline(always)]
    fn columns<const N: usize>(&self, p: &Columns<N>) -> Columns<N> {
        match self {
            Self::Zonal(series) => series.columns(p),
            Self::Fourfold(series) => series.columns(p),
        }
    }
}

/// A coil set made ready for many points inside a sphere.
///
/// Each set of round coils on one axis becomes a series of zonal harmonics about the point of that axis nearest the centre,
/// `B_z = Σ b_n r^n P_n`, `B_ρ = −ρ Σ b_n/(n+1) r^(n−1) P_n'`, each set of square ones a series of spherical harmonics of orders
/// 0, 4, 8 …; a coil that leans or stands aside has a series of its own. The truncation error is bounded by
/// [`PreparedField::error_bound_t_per_a`]. Outside the sphere, and for square coils that come too near it, the direct field answers.
///
/// **Source** J. D. Jackson, *Classical Electrodynamics*, 3rd ed., § 3.3 (potential off the axis from that on it).
///
/// ```
/// use arcmass_physics::{CoilSet, PreparedField, Vec3};
/// let coils = CoilSet::pair(0.15, 0.15, 124.0, 0.012, 0.016, 1.0);
/// let prepared = PreparedField::new(&coils, 0.08)?;
/// let place = Vec3::new(0.03, -0.02, 0.01);
/// let (series, sum) = (prepared.flux_density_per_ampere(place)?, coils.flux_density_per_ampere(place)?);
/// assert!((series - sum).norm() <= prepared.error_bound_t_per_a() + 1e-14 * sum.norm());
/// # Ok::<(), arcmass_physics::FieldError>(())
/// ```
#[derive(Clone, Debug)]
pub struct PreparedField {
    direct: CoilSet,
    groups: Vec<Group>,
    rest: CoilSet,
    centre_m: Vec3,
    radius_m: f64,
    error_bound_t_per_a: f64,
}

impl PreparedField {
    /// Prepares `coils` for the sphere of `radius_m` about the origin.
    ///
    /// **Fails** with [`FieldError::RegionReachesCoil`] when a round coil's conductor comes too near the sphere.
    pub fn new(coils: &CoilSet, radius_m: f64) -> Result<Self, FieldError> {
        Self::about(coils, Vec3::ZERO, radius_m)
    }

    /// Prepares `coils` for the sphere of `radius_m` about `centre_m`.
    pub fn about(coils: &CoilSet, centre_m: Vec3, radius_m: f64) -> Result<Self, FieldError> {
        let mut prepared = Self {
            direct: coils.clone(),
            groups: Vec::new(),
            rest: CoilSet::default(),
            centre_m,
            radius_m,
            error_bound_t_per_a: 0.0,
        };
        let mut left = coils.windings.clone();
        while let Some(first) = left.first().copied() {
            first.check()?;
            let (same, other): (Vec<Winding>, Vec<Winding>) = left
                .iter()
                .partition(|w| first.shape == w.shape && on_one_line(&first, w) && sides_agree(&first, w));
            left = other;
            prepared.add_group(&first, &same)?;
        }
        Ok(prepared)
    }

    /// Largest truncation error anywhere in the sphere, tesla per ampere (rounding comes on top, about 1e-15 of the field).
    pub fn error_bound_t_per_a(&self) -> f64 {
        self.error_bound_t_per_a
    }

    /// Taylor coefficients of the field along the axis about the centre, `B_z(z) = Σ c_n zⁿ`, in T A⁻¹ m⁻ⁿ; `None` unless all
    /// coils are round and share one axis.
    pub fn axial_taylor(&self) -> Option<Vec<f64>> {
        match (self.groups.as_slice(), self.rest.windings.is_empty()) {
            ([Group { series: Harmonics::Zonal(series), .. }], true) => Some(series.axial_taylor()),
            _ => None,
        }
    }

    /// Radius of the sphere in which the series answers.
    pub fn radius_m(&self) -> f64 {
        self.radius_m
    }

    /// The coils this was made from.
    pub fn coils(&self) -> &CoilSet {
        &self.direct
    }

    /// Flux density for one ampere, in tesla: the series inside the sphere, the direct field outside.
    pub fn flux_density_per_ampere(&self, point: Vec3) -> Result<Vec3, FieldError> {
        if !self.holds(point) {
            return self.direct.flux_density_per_ampere(point);
        }
        let mut sum = self.rest.flux_density_per_ampere(point)?;
        let [[x], [y], [z]] = widest(OnePoint(self, [[point.x], [point.y], [point.z]]));
        sum += Vec3::new(x, y, z);
        Ok(sum)
    }

    fn holds(&self, point: Vec3) -> bool {
        (point - self.centre_m).norm() <= self.radius_m
    }

    /// Whether every one of the points is served by series alone.
    #[inline(always)]
    pub(crate) fn holds_all<const N: usize>(&self, p: &Columns<N>) -> bool {
        let mut farthest: f64 = 0.0;
        for i in 0..N {
            let (x, y, z) = (p[0][i] - self.centre_m.x, p[1][i] - self.centre_m.y, p[2][i] - self.centre_m.z);
            let r2 = x * x + y * y + z * z;
            // A value that is no number must not pass.
            farthest = if r2 <= farthest { farthest } else { r2 };
        }
        farthest <= self.radius_m * self.radius_m && self.rest.windings.is_empty()
    }

    /// The series at many points, for callers that have asked [`Self::holds_all`].
    #[inline(always)]
    pub(crate) fn columns<const N: usize>(&self, p: &Columns<N>) -> Columns<N> {
        let mut sum = [[0.0; N]; 3];
        for group in &self.groups {
            let b = group.columns(p);
            for (s, v) in sum.iter_mut().zip(&b) {
                for (s, v) in s.iter_mut().zip(v) {
                    *s += v;
                }
            }
        }
        sum
    }

    /// Whether every lane of every vector is served by series alone.
    #[inline(always)]
    pub(crate) fn holds_lanes<V: Lane8, const M: usize>(&self, p: &[[V; M]; 3]) -> bool {
        let c = splat(self.centre_m);
        let mut farthest = V::zero();
        let mut sum = V::zero();
        for m in 0..M {
            let (x, y, z) = (p[0][m] - c[0], p[1][m] - c[1], p[2][m] - c[2]);
            let r2 = x.fma(x, y.fma(y, z * z));
            farthest = farthest.larger(r2);
            sum = sum + r2;
        }
        // a value that is no number is lost by the comparison, but not by the sum
        let all: f64 = sum.store().iter().sum();
        all.is_finite()
            && farthest.largest() <= self.radius_m * self.radius_m
            && self.rest.windings.is_empty()
    }

    /// The series on vectors, for callers that have asked [`Self::holds_lanes`].
    #[inline(always)]
    pub(crate) fn lanes<V: Lane8, const M: usize>(&self, p: &[[V; M]; 3]) -> [[V; M]; 3] {
        let mut sum = [[V::zero(); M]; 3];
        for group in &self.groups {
            let b = group.lanes(p);
            for c in 0..3 {
                for m in 0..M {
                    sum[c][m] = sum[c][m] + b[c][m];
                }
            }
        }
        sum
    }

    fn add_group(&mut self, first: &Winding, same: &[Winding]) -> Result<(), FieldError> {
        let axis = first.axis.unit().ok_or(FieldError::BadAxis(first.axis))?;
        let frame = Frame::new(axis)?;
        let foot = first.centre_m + axis * (self.centre_m - first.centre_m).dot(axis);
        let reach = self.radius_m + (foot - self.centre_m).norm();
        let (series, bound) = match first.shape {
            Shape::Circular => {
                let series = Series::new(same, axis, foot, reach, TRUNCATION)?;
                let bound = series.error_bound_t_per_a;
                (Harmonics::Zonal(series), bound)
            }
            Shape::Square => {
                let set = CoilSet { windings: same.to_vec() };
                let field = |p: Vec3| {
                    set.flux_density_per_ampere(foot + frame.to_bench(p)).map(|b| frame.to_local(b))
                };
                let Some(series) = Fourfold::new(same, axis, foot, reach, TRUNCATION, field)? else {
                    self.rest.windings.extend(same);
                    return Ok(());
                };
                let bound = series.error_bound_t_per_a;
                (Harmonics::Fourfold(Box::new(series)), bound)
            }
        };
        self.error_bound_t_per_a += bound;
        let along_z = axis == Vec3::Z && foot.x == 0.0 && foot.y == 0.0;
        self.groups.push(Group { frame, along_z, centre_m: foot, series });
        Ok(())
    }
}

/// One point, compiled for every vector width because of its fused multiply–adds.
struct OnePoint<'a>(&'a PreparedField, Columns<1>);

impl Work for OnePoint<'_> {
    type Output = Columns<1>;
    #[inline(always)]
    fn run<V: Lane8>(self) -> Columns<1> {
        self.0.columns(&self.1)
    }
}

/// Whether two coils share an axis line.
fn on_one_line(a: &Winding, b: &Winding) -> bool {
    let apart = b.centre_m - a.centre_m;
    let scale = a.mean_radius_m + b.mean_radius_m + apart.norm();
    a.axis.cross(b.axis).norm() <= SAME_LINE && apart.cross(a.axis).norm() <= SAME_LINE * scale
}

/// Whether the sides of two coils on one line are parallel: they follow the axis by the shortest turn from z, which for axes that
/// point opposite ways is not the same turn.
fn sides_agree(a: &Winding, b: &Winding) -> bool {
    a.shape == Shape::Circular || a.axis.dot(b.axis) > 0.0
}

impl Group {
    #[inline(always)]
    fn lanes<V: Lane8, const M: usize>(&self, p: &[[V; M]; 3]) -> [[V; M]; 3] {
        if self.along_z {
            let shift = V::splat(self.centre_m.z);
            let mut z = p[2];
            for z in &mut z {
                *z = *z - shift;
            }
            return self.series.lanes(&[p[0], p[1], z]);
        }
        let [u, v, w] = self.frame.axes();
        let (axes, centre): ([[V; 3]; 3], [V; 3]) = ([splat(u), splat(v), splat(w)], splat(self.centre_m));
        let mut local = [[V::zero(); M]; 3];
        for m in 0..M {
            let d = [p[0][m] - centre[0], p[1][m] - centre[1], p[2][m] - centre[2]];
            for c in 0..3 {
                local[c][m] = axes[c][0].fma(d[0], axes[c][1].fma(d[1], axes[c][2] * d[2]));
            }
        }
        let b = self.series.lanes(&local);
        let mut out = [[V::zero(); M]; 3];
        for m in 0..M {
            for c in 0..3 {
                out[c][m] = axes[0][c].fma(b[0][m], axes[1][c].fma(b[1][m], axes[2][c] * b[2][m]));
            }
        }
        out
    }

    #[inline(always)]
    fn columns<const N: usize>(&self, p: &Columns<N>) -> Columns<N> {
        if self.along_z {
            let mut z = p[2];
            for z in &mut z {
                *z -= self.centre_m.z;
            }
            return self.series.columns(&[p[0], p[1], z]);
        }
        let mut local = [[0.0; N]; 3];
        for i in 0..N {
            let d = self.frame.to_local(Vec3::new(p[0][i], p[1][i], p[2][i]) - self.centre_m);
            (local[0][i], local[1][i], local[2][i]) = (d.x, d.y, d.z);
        }
        let mut b = self.series.columns(&local);
        for i in 0..N {
            let v = self.frame.to_bench(Vec3::new(b[0][i], b[1][i], b[2][i]));
            (b[0][i], b[1][i], b[2][i]) = (v.x, v.y, v.z);
        }
        b
    }
}

/// The field a beam meets: coils with a current, and a uniform background.
///
/// `B = scale × current × (field per ampere) + background`; `scale` is the field per ampere in use over that of the
/// geometry (1 when the geometry itself is used).
#[derive(Clone, Debug)]
pub struct BenchField<'a> {
    /// The coils.
    pub prepared: &'a PreparedField,
    /// Ampere through each coil, with its sign.
    pub current_a: f64,
    /// Factor on the coils' field.
    pub scale: f64,
    /// Uniform background, tesla, in the bench's frame.
    pub background_t: Vec3,
}

impl BenchField<'_> {
    /// Flux density in tesla.
    pub fn at(&self, point: Vec3) -> Result<Vec3, FieldError> {
        let factor = self.scale * self.current_a;
        Ok(self.prepared.flux_density_per_ampere(point)? * factor + self.background_t)
    }
}
