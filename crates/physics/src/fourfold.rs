//! The series of spherical harmonics of coaxial square windings about a point of their axis.

use arcmass_quantity::constants::VACUUM_PERMEABILITY;

use crate::error::FieldError;
use crate::gauss;
use crate::lane8::Lane8;
use crate::lanes::{VectorWidth, Work, at_width};
use crate::prepared::Columns;
use crate::vec3::Vec3;
use crate::winding::Winding;

/// Highest degree used; coils whose region would need more are left to the direct field.
const MOST_DEGREES: usize = 128;
/// Shells of the region for which the number of terms is kept.
const SHELLS: usize = 16;
/// An odd (even) part below this share of the field is rounding, and the coils are symmetric about the centre.
const ROUNDING: f64 = 1e-14;
/// Rounding of the projection and of the sums, in units of the largest field of the sides in the region.
const ROUNDING_OF_SUMS: f64 = 64.0 * f64::EPSILON;

/// One step of a sum run backwards: `y = value + (slope_z ζ + slope_r r²) y₁ − w y₂`.
#[derive(Clone, Copy, Debug)]
struct Row {
    value: f64,
    slope_z: f64,
    slope_r: f64,
}

/// A sum of solid harmonics of one order, `Σ c_j T_{m+j}^m`, ready for Clenshaw's rule.
#[derive(Clone, Debug)]
struct Column {
    rows: Vec<Row>,
    /// Rows needed within (i + 1)/[`SHELLS`] of the radius.
    rows_within: [u32; SHELLS],
    /// Every harmonic carries a factor z, which is multiplied in at the end.
    odd: bool,
}

/// The three sums that the terms of one order m of the potential give: along the axis, and turned by (m + 1)φ and (m − 1)φ.
#[derive(Clone, Debug)]
struct Band {
    axial: Column,
    above: Column,
    below: Option<Column>,
}

/// Spherical harmonics of orders 0, 4, 8 … scaled to the region's radius, tesla per ampere.
///
/// The potential is `ψ = Σ a_lm Re(x + iy)^m T_l^m`, `T_l^m = r^(l−m) d^m P_l/du^m / (2m−1)!!` with `u = z/r`, `B = ∇ψ`, lengths in units of
/// the region's radius. The derivatives are harmonics again (Cunningham's rule): `∂_z` gives `(l + m) T_{l−1}^m`, `∂_x ± i∂_y`
/// give orders m ± 1. The coefficients are the projection of the direct field's radial part on the sphere's surface, which
/// determines the field inside it.
///
/// **Source** J. D. Jackson, *Classical Electrodynamics*, 3rd ed., § 3.5; L. E. Cunningham, Celestial Mechanics 2 (1970) 207.
#[derive(Clone, Debug)]
pub(crate) struct Fourfold {
    bands: Vec<Band>,
    inverse_radius_per_m: f64,
    /// Symmetric about the centre: sums over every other harmonic.
    even: bool,
    pub(crate) error_bound_t_per_a: f64,
}

impl Fourfold {
    /// The series of square windings that share axis and sides, in their own frame; `None` if the region reaches too near.
    ///
    /// `field` is their direct field in that frame, the region's centre at the origin.
    pub(crate) fn new(
        windings: &[Winding],
        axis: Vec3,
        centre_m: Vec3,
        radius_m: f64,
        share: f64,
        field: impl Fn(Vec3) -> Result<Vec3, FieldError>,
    ) -> Result<Option<Self>, FieldError> {
        let (mut nearest, mut sides) = (f64::INFINITY, 0.0);
        for w in windings {
            let height = (w.centre_m - centre_m).dot(axis).abs() - 0.5 * w.winding_axial_m;
            let half_side = w.mean_radius_m - 0.5 * w.winding_radial_m;
            let distance = height.max(0.0).hypot(half_side);
            nearest = nearest.min(distance);
            // μ₀ N/4π ∮ dl/r'², at most
            let length = 8.0 * (w.mean_radius_m + 0.5 * w.winding_radial_m);
            sides += 0.25 / std::f64::consts::PI * VACUUM_PERMEABILITY.value * w.turns * length
                / (distance * distance);
        }
        let ratio = radius_m / nearest;
        let allowed = share * sides;
        let error = |n: usize| sides * left_out(n, ratio);
        let Some(degree) = (6..=MOST_DEGREES).find(|n| ratio < 1.0 && error(*n) <= allowed) else {
            return Ok(None);
        };
        let potential = Potential::project(degree, radius_m, field)?;
        let even = potential.is_odd_along_axis();
        let (bands, by_shells) = potential.bands(even, allowed);
        let nearer = 1.0 - ratio;
        let rounding = ROUNDING_OF_SUMS * sides / (nearer * nearer);
        Ok(Some(Self {
            bands,
            inverse_radius_per_m: 1.0 / radius_m,
            even,
            error_bound_t_per_a: error(degree) + by_shells + rounding,
        }))
    }

    /// The field at many points in the coils' own frame, with the widest vectors.
    pub(crate) fn columns<const N: usize>(&self, p: &Columns<N>) -> Columns<N> {
        self.at_width(p, VectorWidth::widest())
    }

    /// Not inlined: this much code in every kernel that asks for a field would take the compiler minutes.
    #[inline(never)]
    fn at_width<const N: usize>(&self, p: &Columns<N>, width: VectorWidth) -> Columns<N> {
        at_width(width, Evaluation { series: self, p })
    }

    #[inline(always)]
    fn evaluate<const N: usize>(&self, p: &Columns<N>) -> Columns<N> {
        let k = self.inverse_radius_per_m;
        let (mut x, mut y, mut z, mut r2) = ([0.0; N], [0.0; N], [0.0; N], [0.0; N]);
        let mut farthest: f64 = 0.0;
        for i in 0..N {
            (x[i], y[i], z[i]) = (p[0][i] * k, p[1][i] * k, p[2][i] * k);
            r2[i] = x[i].mul_add(x[i], y[i].mul_add(y[i], z[i] * z[i]));
            farthest = if r2[i] > farthest { r2[i] } else { farthest };
        }
        let shell = ((farthest.sqrt() * SHELLS as f64) as usize).min(SHELLS - 1);
        let at = Point::new(self.even, &z, &r2);
        let mut b = [[0.0; N]; 3];
        // (x + iy)^(m−1), from m = 4 on
        let (mut re, mut im) = ([1.0; N], [0.0; N]);
        for (number, band) in self.bands.iter().enumerate() {
            if number > 0 && band.rows(shell) == 0 {
                continue;
            }
            let (axial, above) = (at.sum(&band.axial, shell), at.sum(&band.above, shell));
            let Some(below) = &band.below else {
                for i in 0..N {
                    b[0][i] = -x[i] * above[i];
                    b[1][i] = -y[i] * above[i];
                    b[2][i] = axial[i];
                }
                // the first power used is the third
                for _ in 0..3 {
                    step(&mut re, &mut im, &x, &y);
                }
                continue;
            };
            let below = at.sum(below, shell);
            for i in 0..N {
                b[0][i] = (0.5 * re[i]).mul_add(below[i], b[0][i]);
                b[1][i] = (-0.5 * im[i]).mul_add(below[i], b[1][i]);
            }
            step(&mut re, &mut im, &x, &y);
            for i in 0..N {
                b[2][i] = re[i].mul_add(axial[i], b[2][i]);
            }
            step(&mut re, &mut im, &x, &y);
            for i in 0..N {
                b[0][i] = (-0.5 * re[i]).mul_add(above[i], b[0][i]);
                b[1][i] = (-0.5 * im[i]).mul_add(above[i], b[1][i]);
            }
            step(&mut re, &mut im, &x, &y);
            step(&mut re, &mut im, &x, &y);
        }
        b
    }

    /// The same on vectors.
    #[inline(always)]
    pub(crate) fn lanes<V: Lane8, const M: usize>(&self, p: &[[V; M]; 3]) -> [[V; M]; 3] {
        let mut out = [[V::zero(); M]; 3];
        for m in 0..M {
            let b = self.at_width::<8>(&[p[0][m].store(), p[1][m].store(), p[2][m].store()], V::WIDTH);
            for c in 0..3 {
                out[c][m] = V::load(&b[c]);
            }
        }
        out
    }
}

/// [`Fourfold::evaluate`], compiled for every vector width.
struct Evaluation<'a, const N: usize> {
    series: &'a Fourfold,
    p: &'a Columns<N>,
}

impl<const N: usize> Work for Evaluation<'_, N> {
    type Output = Columns<N>;

    #[inline(always)]
    fn run<V: Lane8>(self) -> Columns<N> {
        self.series.evaluate(self.p)
    }
}

/// `(re + i im)` times `(x + iy)`.
#[inline(always)]
fn step<const N: usize>(re: &mut [f64; N], im: &mut [f64; N], x: &[f64; N], y: &[f64; N]) {
    for i in 0..N {
        let next = re[i].mul_add(x[i], -(im[i] * y[i]));
        im[i] = re[i].mul_add(y[i], im[i] * x[i]);
        re[i] = next;
    }
}

impl Band {
    #[inline(always)]
    fn rows(&self, shell: usize) -> u32 {
        let below = self.below.as_ref().map_or(0, |c| c.rows_within[shell]);
        self.axial.rows_within[shell].max(self.above.rows_within[shell]).max(below)
    }
}

/// What the recurrences need of the points: z or z², 0 or r², r² or r⁴.
struct Point<const N: usize> {
    even: bool,
    z: [f64; N],
    slope_z: [f64; N],
    slope_r: [f64; N],
    last: [f64; N],
}

impl<const N: usize> Point<N> {
    #[inline(always)]
    fn new(even: bool, z: &[f64; N], r2: &[f64; N]) -> Self {
        let (mut slope_z, mut slope_r, mut last) = (*z, [0.0; N], *r2);
        if even {
            for i in 0..N {
                slope_z[i] = z[i] * z[i];
                slope_r[i] = r2[i];
                last[i] = r2[i] * r2[i];
            }
        }
        Self { even, z: *z, slope_z, slope_r, last }
    }

    #[inline(always)]
    fn sum(&self, column: &Column, shell: usize) -> [f64; N] {
        let rows = column.rows.get(..column.rows_within[shell] as usize).unwrap_or(&column.rows);
        let (mut now, mut before) = ([0.0; N], [0.0; N]);
        if self.even {
            for row in rows.iter().rev() {
                for i in 0..N {
                    let slope = row.slope_z.mul_add(self.slope_z[i], row.slope_r * self.slope_r[i]);
                    let next = slope.mul_add(now[i], (-self.last[i]).mul_add(before[i], row.value));
                    before[i] = now[i];
                    now[i] = next;
                }
            }
        } else {
            for row in rows.iter().rev() {
                for i in 0..N {
                    let slope = row.slope_z * self.slope_z[i];
                    let next = slope.mul_add(now[i], (-self.last[i]).mul_add(before[i], row.value));
                    before[i] = now[i];
                    now[i] = next;
                }
            }
        }
        if column.odd {
            for i in 0..N {
                now[i] *= self.z[i];
            }
        }
        now
    }
}

/// Largest field, in units of `μ₀/4π ∮ dl/r'²`, of what degrees above `n` hold and of what they do to the projection.
///
/// A wire's share of degree l is at most `l q^(l−1)`; aliased into lower degrees it grows by at most the square root of the
/// number of harmonics and the gradient's factor: `1 + 1.5 (n + 2)^(3/2)`.
fn left_out(n: usize, q: f64) -> f64 {
    // Σ_{l>n} l q^(l−1) = q^n ((n + 1) − n q)/(1 − q)²
    let k = n as f64;
    let tail = q.powi(n as i32) * (k + 1.0 - k * q) / ((1.0 - q) * (1.0 - q));
    tail * (1.0 + 1.5 * (k + 2.0).powf(1.5))
}

/// The coefficients `a_lm` for m = 0, 4, 8 …, in row m/4 from l = m on.
struct Potential {
    degree: usize,
    rows: Vec<Vec<f64>>,
}

impl Potential {
    /// Projects the radial part of the field on the sphere: `r·B = Σ l a_lm cos mφ sin^m θ T_l^m`.
    ///
    /// Gauss nodes along the axis, and in φ the middles of equal parts of an eighth of a turn, which the square's symmetry continues.
    fn project(
        degree: usize,
        radius_m: f64,
        field: impl Fn(Vec3) -> Result<Vec3, FieldError>,
    ) -> Result<Self, FieldError> {
        let (heights, angles) = (gauss::nodes(degree + 2), degree / 4 + 2);
        let orders: Vec<usize> = (0..=degree).step_by(4).collect();
        let mut rows: Vec<Vec<f64>> = orders.iter().map(|m| vec![0.0; degree + 1 - m]).collect();
        for (u, weight) in &heights {
            let sine = ((1.0 - u) * (1.0 + u)).sqrt();
            let mut means = vec![0.0; orders.len()];
            for k in 0..angles {
                let phi = (k as f64 + 0.5) * std::f64::consts::FRAC_PI_4 / angles as f64;
                let out = Vec3::new(sine * phi.cos(), sine * phi.sin(), *u);
                let radial = field(out * radius_m)?.dot(out);
                for (mean, m) in means.iter_mut().zip(&orders) {
                    let twice = if *m == 0 { 1.0 } else { 2.0 };
                    *mean += twice * radial * (*m as f64 * phi).cos() / angles as f64;
                }
            }
            for ((row, m), mean) in rows.iter_mut().zip(&orders).zip(&means) {
                let harmonics = harmonics(*m, degree, *u);
                let strength = weight * mean * sine.powi(*m as i32);
                for (a, t) in row.iter_mut().zip(&harmonics) {
                    *a += strength * t;
                }
            }
        }
        for (row, m) in rows.iter_mut().zip(&orders) {
            // square of the norm: 2/(2l+1) (l+m)!/(l−m)!/((2m−1)!!)²
            let mut square = (1..=*m).fold(2.0, |h, i| h * 2.0 * i as f64 / (2.0 * i as f64 - 1.0));
            for (j, a) in row.iter_mut().enumerate() {
                let l = m + j;
                if j > 0 {
                    square *= (l + m) as f64 / j as f64;
                }
                *a = if l == 0 { 0.0 } else { *a * (2 * l + 1) as f64 / (square * l as f64) };
            }
        }
        Ok(Self { degree, rows })
    }

    /// Whether the potential is odd along the axis, up to rounding: coils of one sense, symmetric about the centre.
    fn is_odd_along_axis(&self) -> bool {
        let (mut odd, mut even) = (0.0f64, 0.0f64);
        for (number, row) in self.rows.iter().enumerate() {
            for (j, a) in row.iter().enumerate() {
                let size = (a * largest(4 * number, 4 * number + j)).abs() * (4 * number + j) as f64;
                if j % 2 == 1 {
                    odd = odd.max(size);
                } else {
                    even = even.max(size);
                }
            }
        }
        even <= ROUNDING * odd
    }

    /// The bands, and the most that the shells leave out.
    fn bands(&self, even: bool, allowed: f64) -> (Vec<Band>, f64) {
        let columns = 3.0 * self.rows.len() as f64;
        let mut worst = 0.0;
        let mut bands = Vec::new();
        for (number, row) in self.rows.iter().enumerate() {
            let m = 4 * number;
            // value of the harmonic n = l − 1 of an order, from the coefficients
            let mut column = |order: usize, factor: &dyn Fn(f64) -> f64| {
                let values: Vec<f64> = (order..self.degree)
                    .map(|n| match (n + 1).checked_sub(m).and_then(|j| row.get(j)) {
                        Some(a) if !even || (n + 1 - m) % 2 == 1 => a * factor((n + 1) as f64),
                        _ => 0.0,
                    })
                    .collect();
                let (column, rest) = Column::new(order, &values, even, allowed / columns);
                worst += rest;
                column
            };
            let k = m as f64;
            let axial = column(m, &|l| l + k);
            let above = column(m + 1, &|_| 2.0 * k + 1.0);
            let below = (m > 0).then(|| column(m - 1, &|l| (l + k) * (l + k - 1.0) / (2.0 * k - 1.0)));
            bands.push(Band { axial, above, below });
        }
        (bands, worst)
    }
}

/// `T_n^m` at r = 1 for n = m … degree.
fn harmonics(m: usize, degree: usize, u: f64) -> Vec<f64> {
    let (mut before, mut now) = (0.0, 1.0);
    let order = m as f64;
    (0..=degree - m)
        .map(|j| {
            let (value, j) = (now, j as f64);
            let next = ((2.0 * order + 2.0 * j + 1.0) * u * now - (2.0 * order + j) * before) / (j + 1.0);
            (before, now) = (now, next);
            value
        })
        .collect()
}

/// Largest `|sin^m θ T_n^m|`, at most: `√((n+m)!/(n−m)!)/(2m−1)!!`.
fn largest(m: usize, n: usize) -> f64 {
    let mut product = 1.0;
    for i in 0..m {
        let (up, down) = ((n + m - i) as f64, (n - i) as f64);
        let odd = (2 * i + 1) as f64;
        product *= (up / odd).sqrt() * (down / odd).sqrt();
    }
    product
}

impl Column {
    /// From the values of `T_{m+j}^m`; `even` leaves out every other one. Gives also what the shells leave out at most.
    fn new(m: usize, values: &[f64], even: bool, allowed: f64) -> (Self, f64) {
        let odd = even && values.iter().step_by(2).all(|v| *v == 0.0);
        let (mut rows, spacing, first) = match (even, odd) {
            (false, _) => (every(m, values), 1, 0),
            (true, false) => (every_other(m, values, 0), 2, 0),
            (true, true) => (every_other(m, values, 1), 2, 1),
        };
        let sizes: Vec<f64> = (0..rows.len())
            .map(|i| {
                let j = spacing * i + first;
                values.get(j).map_or(0.0, |v| v.abs()) * largest(m, m + j)
            })
            .collect();
        let (mut rows_within, mut worst) = ([0; SHELLS], 0.0f64);
        for (shell, slot) in rows_within.iter_mut().enumerate() {
            let r = (shell as f64 + 1.0) / SHELLS as f64;
            let (mut rest, mut kept) = (0.0, rows.len());
            while kept > 0 {
                let degree = m + spacing * (kept - 1) + first;
                let next = rest + sizes.get(kept - 1).copied().unwrap_or(0.0) * r.powi(degree as i32);
                if next > allowed {
                    break;
                }
                (rest, kept) = (next, kept - 1);
            }
            worst = worst.max(rest);
            *slot = kept as u32;
        }
        rows.truncate(rows_within.iter().copied().max().unwrap_or(0) as usize);
        (Self { rows, rows_within, odd }, worst)
    }
}

/// The harmonics' recurrence rescaled: `T_j = scale_j u_j`, `u_{j+1} = slope_j z u_j − r² u_{j−1}`.
fn rescaled(m: usize, count: usize) -> Vec<(f64, f64)> {
    let order = 2.0 * m as f64;
    let (mut scale, mut next) = (1.0, 1.0);
    (0..count)
        .map(|j| {
            let k = j as f64;
            let pair = (scale, (order + 2.0 * k + 1.0) * scale / ((k + 1.0) * next));
            // scale_{j+2} = scale_j (2m + j + 1)/(j + 2)
            (scale, next) = (next, scale * (order + k + 1.0) / (k + 2.0));
            pair
        })
        .collect()
}

fn every(m: usize, values: &[f64]) -> Vec<Row> {
    let pairs = values.iter().zip(rescaled(m, values.len()));
    pairs.map(|(v, (scale, slope))| Row { value: v * scale, slope_z: slope, slope_r: 0.0 }).collect()
}

/// Two steps in one: `u_{j+2} = (a_{j+1} a_j z² − (1 + b) r²) u_j − b r⁴ u_{j−2}`, `b = a_{j+1}/a_{j−1}` (0 at first), rescaled
/// once more so that the last factor is `−r⁴`; from j = 1 on every harmonic carries z, and the first is `a_0 z`.
fn every_other(m: usize, values: &[f64], first: usize) -> Vec<Row> {
    let scales = rescaled(m, values.len() + 4);
    let slope = |j: usize| scales.get(j).map_or(1.0, |s| s.1);
    let lead = if first == 1 { slope(0) } else { 1.0 };
    let (mut extra, mut extra_next) = (1.0, 1.0);
    let mut rows = Vec::new();
    for j in (first..values.len()).step_by(2) {
        let below = if j >= 1 { slope(j + 1) / slope(j - 1) } else { 0.0 };
        let grow = extra / extra_next;
        let scale = scales.get(j).map_or(1.0, |s| s.0);
        rows.push(Row {
            value: values.get(j).copied().unwrap_or(0.0) * scale * extra * lead,
            slope_z: grow * slope(j + 1) * slope(j),
            slope_r: -grow * (1.0 + below),
        });
        // the next step's factor b must become 1: extra_{k+2} = extra_k a_{j+3}/a_{j+1}
        (extra, extra_next) = (extra_next, extra * slope(j + 3) / slope(j + 1));
    }
    rows
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Solid harmonics by their definition against the sums, both with and without every other one.
    #[test]
    fn the_sums_are_those_of_the_harmonics() {
        for m in [0, 1, 3, 4, 8] {
            let values: Vec<f64> = (0..12).map(|j| 1.0 / (1.0 + j as f64)).collect();
            for (even, first) in [(false, 0), (true, 0), (true, 1)] {
                let chosen: Vec<f64> = values
                    .iter()
                    .enumerate()
                    .map(|(j, v)| if even && j % 2 != first { 0.0 } else { *v })
                    .collect();
                let (column, rest) = Column::new(m, &chosen, even, 0.0);
                assert_eq!(rest, 0.0);
                for (z, r2) in [(0.3, 0.5), (-0.6, 0.4), (0.0, 0.9), (0.2, 0.04)] {
                    let got = Point::new(even, &[z], &[r2]).sum(&column, SHELLS - 1)[0];
                    let r = f64::sqrt(r2);
                    let plain: f64 = harmonics(m, m + 11, z / r)
                        .iter()
                        .zip(&chosen)
                        .enumerate()
                        .map(|(j, (t, v))| v * t * r.powi(j as i32))
                        .sum();
                    assert!(
                        (got - plain).abs() < 1e-13 * (1.0 + plain.abs()),
                        "m {m} {even} {first} z {z}: {got} {plain}"
                    );
                }
            }
        }
    }
}
