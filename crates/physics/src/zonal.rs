//! The series of zonal harmonics of coaxial windings about a point of their axis.

use arcmass_quantity::constants::VACUUM_PERMEABILITY;

use crate::error::FieldError;
use crate::lane8::Lane8;
use crate::prepared::Columns;
use crate::vec3::Vec3;
use crate::winding::Winding;

/// Highest order ever used; a region that would need more reaches too near the conductors.
const MOST_ORDERS: usize = 400;
/// Region radius over conductor distance above which the series is refused.
const NEAREST: f64 = 0.92;

/// Gap between region and conductor that the loops of a section are made for, at least, in units of the conductor's distance; where the gap
/// is smaller the region is refused.
const LEAST_GAP: f64 = 0.05;

/// Field of one term over its coefficient, at most: `√(P_m² + sin²θ P_m'²/m²) ≤ √((m+1)/m)`, m ≥ 6 (DLMF 18.14, Bernstein's bound).
const TERM_FIELD: f64 = 1.1;

/// One step of the recurrence run backwards: `y = coefficient + (slope_z ζ + slope_r r²) y₁ − w y₂`, for the axial and the
/// transverse sum side by side.
#[derive(Clone, Copy, Debug, Default)]
struct Term {
    axial: f64,
    axial_z: f64,
    axial_r: f64,
    transverse: f64,
    transverse_z: f64,
    transverse_r: f64,
}

/// Zonal harmonics scaled to the region's radius, tesla per ampere.
///
/// Axial `G = Σ c_n r^n P_n`, transverse `F = −Σ c_n/(n+1) r^(n−1) P_n'`, in units of the region's radius, so that
/// `B = F ρ⃗/R + G axis`. Both sums run backwards (Clenshaw) with the harmonics rescaled so that the last factor of the
/// recurrence is exactly `−r²` (all orders) or `−r⁴` (even orders alone, for coils symmetric about the centre).
#[derive(Clone, Debug)]
pub(crate) struct Series {
    terms: Vec<Term>,
    /// `c_n`, before rescaling.
    coefficients: Vec<f64>,
    /// Terms needed within (i + 1)/[`SHELLS`] of the radius.
    terms_within: [u32; SHELLS],
    even: bool,
    inverse_radius_per_m: f64,
    pub(crate) error_bound_t_per_a: f64,
}

/// Shells of the region for which the number of terms is kept.
const SHELLS: usize = 32;

impl Series {
    pub(crate) fn new(
        windings: &[Winding],
        axis: Vec3,
        centre_m: Vec3,
        radius_m: f64,
        share: f64,
    ) -> Result<Self, FieldError> {
        let sources = sources(windings, axis, centre_m, radius_m)?;
        let strength: f64 = sources.iter().map(|s| s.strength().abs()).sum();
        let nearest = sources.iter().map(|s| s.distance).fold(f64::INFINITY, f64::min);
        let ratio = radius_m / nearest;
        if !(ratio < NEAREST) {
            return Err(FieldError::RegionReachesCoil { radius_m, limit_m: nearest });
        }
        // |P'_{n+1}| ≤ (n+1)(n+2)/2: the rest after N is below strength Σ_{n>N} (n+1)(n+2)/2 ratio^n.
        let order = (4..MOST_ORDERS).find(|n| tail(*n, ratio) <= share).unwrap_or(MOST_ORDERS);
        let mut coefficients = coefficients(&sources, radius_m, order | 1);
        let odd = drop_odd(&mut coefficients, strength, ratio);
        let even = odd.is_some();
        let left_out = strength * tail(order, ratio) + odd.unwrap_or(0.0);
        let (terms_within, by_shells) = shells(&coefficients, share * strength, even);
        let rounding = 4.0 * f64::EPSILON * strength * (1.0 + ratio) / (1.0 - ratio);
        Ok(Self {
            terms: if even { even_terms(&coefficients) } else { terms(&coefficients) },
            coefficients,
            terms_within,
            even,
            inverse_radius_per_m: 1.0 / radius_m,
            error_bound_t_per_a: left_out + by_shells + rounding,
        })
    }

    /// Taylor coefficients of the axial field on the axis about the centre, T A⁻¹ m⁻ⁿ.
    pub(crate) fn axial_taylor(&self) -> Vec<f64> {
        let mut power = 1.0;
        let scaled = self.coefficients.iter().map(|c| {
            let value = c * power;
            power *= self.inverse_radius_per_m;
            value
        });
        scaled.collect()
    }

    /// The field at many points in the coils' own frame.
    #[inline(always)]
    pub(crate) fn columns<const N: usize>(&self, p: &Columns<N>) -> Columns<N> {
        let k = self.inverse_radius_per_m;
        let (mut z, mut r2, mut w) = ([0.0; N], [0.0; N], [0.0; N]);
        let mut farthest: f64 = 0.0;
        for i in 0..N {
            let (x, y) = (p[0][i] * k, p[1][i] * k);
            z[i] = p[2][i] * k;
            r2[i] = x * x + y * y + z[i] * z[i];
            w[i] = -r2[i];
            farthest = farthest.max(r2[i]);
        }
        let shell = ((farthest.sqrt() * SHELLS as f64) as usize).min(SHELLS - 1);
        let terms = self.terms.get(..self.terms_within[shell] as usize).unwrap_or(&self.terms);
        let (g, mut f) = if self.even { even_sums(terms, &z, &r2, &w) } else { all_sums(terms, &z, &w) };
        for i in 0..N {
            f[i] *= k;
        }
        let mut b = [[0.0; N]; 3];
        for i in 0..N {
            b[0][i] = f[i] * p[0][i];
            b[1][i] = f[i] * p[1][i];
            b[2][i] = g[i];
        }
        b
    }
}

/// Sums over every order.
#[inline(always)]
fn all_sums<const N: usize>(terms: &[Term], z: &[f64; N], w: &[f64; N]) -> ([f64; N], [f64; N]) {
    let (mut g1, mut g2, mut f1, mut f2) = ([0.0; N], [0.0; N], [0.0; N], [0.0; N]);
    for t in terms.iter().rev() {
        for i in 0..N {
            let g = (t.axial_z * z[i]).mul_add(g1[i], w[i].mul_add(g2[i], t.axial));
            g2[i] = g1[i];
            g1[i] = g;
        }
        for i in 0..N {
            let f = (t.transverse_z * z[i]).mul_add(f1[i], w[i].mul_add(f2[i], t.transverse));
            f2[i] = f1[i];
            f1[i] = f;
        }
    }
    // The transverse sum starts at n = 1: f2 holds it after the step for n = 0.
    (g1, f2)
}

/// Sums over even orders alone.
#[inline(always)]
fn even_sums<const N: usize>(
    terms: &[Term],
    z: &[f64; N],
    r2: &[f64; N],
    w: &[f64; N],
) -> ([f64; N], [f64; N]) {
    let (mut g1, mut g2, mut f1, mut f2) = ([0.0; N], [0.0; N], [0.0; N], [0.0; N]);
    let (mut zz, mut ww) = ([0.0; N], [0.0; N]);
    for i in 0..N {
        zz[i] = z[i] * z[i];
        ww[i] = w[i] * r2[i];
    }
    for t in terms.iter().rev() {
        for i in 0..N {
            let slope = t.axial_z.mul_add(zz[i], t.axial_r * r2[i]);
            let g = slope.mul_add(g1[i], ww[i].mul_add(g2[i], t.axial));
            g2[i] = g1[i];
            g1[i] = g;
        }
        for i in 0..N {
            let slope = t.transverse_z.mul_add(zz[i], t.transverse_r * r2[i]);
            let f = slope.mul_add(f1[i], ww[i].mul_add(f2[i], t.transverse));
            f2[i] = f1[i];
            f1[i] = f;
        }
    }
    // The transverse sum starts at n = 2: f2 holds it after the step for n = 0; each of its harmonics carries a factor z.
    for i in 0..N {
        f2[i] *= z[i];
    }
    (g1, f2)
}

/// A point's coordinates in units of the region's radius, eight at a time.
#[derive(Clone, Copy)]
pub(crate) struct Scaled8<V> {
    z: V,
    r2: V,
}

impl Series {
    /// The field at `M` vectors of eight points in the coils' own frame, side by side so that their chains overlap.
    #[inline(always)]
    pub(crate) fn lanes<V: Lane8, const M: usize>(&self, p: &[[V; M]; 3]) -> [[V; M]; 3] {
        let k = V::splat(self.inverse_radius_per_m);
        let mut at = [Scaled8 { z: V::zero(), r2: V::zero() }; M];
        let mut farthest = V::zero();
        for m in 0..M {
            let (x, y, z) = (p[0][m] * k, p[1][m] * k, p[2][m] * k);
            at[m] = Scaled8 { z, r2: x.fma(x, y.fma(y, z * z)) };
            farthest = farthest.larger(at[m].r2);
        }
        let shell = ((farthest.largest().sqrt() * SHELLS as f64) as usize).min(SHELLS - 1);
        let terms = self.terms.get(..self.terms_within[shell] as usize).unwrap_or(&self.terms);
        let (g, f) = if self.even { even_lanes(terms, &at) } else { all_lanes(terms, &at) };
        let mut b = [[V::zero(); M]; 3];
        for m in 0..M {
            let f = f[m] * k;
            b[0][m] = f * p[0][m];
            b[1][m] = f * p[1][m];
            b[2][m] = g[m];
        }
        b
    }
}

/// [`all_sums`] on vectors.
#[inline(always)]
fn all_lanes<V: Lane8, const M: usize>(terms: &[Term], at: &[Scaled8<V>; M]) -> ([V; M], [V; M]) {
    let zero = [V::zero(); M];
    let (mut g1, mut g2, mut f1, mut f2) = (zero, zero, zero, zero);
    for t in terms.iter().rev() {
        let (gc, gz) = (V::splat(t.axial), V::splat(t.axial_z));
        let (fc, fz) = (V::splat(t.transverse), V::splat(t.transverse_z));
        for m in 0..M {
            let g = (gz * at[m].z).fma(g1[m], at[m].r2.fnma(g2[m], gc));
            let f = (fz * at[m].z).fma(f1[m], at[m].r2.fnma(f2[m], fc));
            (g2[m], f2[m]) = (g1[m], f1[m]);
            (g1[m], f1[m]) = (g, f);
        }
    }
    (g1, f2)
}

/// [`even_sums`] on vectors.
#[inline(always)]
fn even_lanes<V: Lane8, const M: usize>(terms: &[Term], at: &[Scaled8<V>; M]) -> ([V; M], [V; M]) {
    let zero = [V::zero(); M];
    let (mut g1, mut g2, mut f1, mut f2) = (zero, zero, zero, zero);
    let (mut zz, mut rr) = (zero, zero);
    for m in 0..M {
        zz[m] = at[m].z * at[m].z;
        rr[m] = at[m].r2 * at[m].r2;
    }
    for t in terms.iter().rev() {
        let (gc, gz, gr) = (V::splat(t.axial), V::splat(t.axial_z), V::splat(t.axial_r));
        let (fc, fz, fr) = (V::splat(t.transverse), V::splat(t.transverse_z), V::splat(t.transverse_r));
        for m in 0..M {
            let g = gz.fma(zz[m], gr * at[m].r2).fma(g1[m], rr[m].fnma(g2[m], gc));
            let f = fz.fma(zz[m], fr * at[m].r2).fma(f1[m], rr[m].fnma(f2[m], fc));
            (g2[m], f2[m]) = (g1[m], f1[m]);
            (g1[m], f1[m]) = (g, f);
        }
    }
    for m in 0..M {
        f2[m] = f2[m] * at[m].z;
    }
    (g1, f2)
}

/// One loop of the section as the centre sees it.
struct Source {
    ampere_turns: f64,
    radius: f64,
    distance: f64,
    cosine: f64,
}

impl Source {
    /// `μ₀ I a²/(2 d³)`, the loop's field at the centre.
    fn strength(&self) -> f64 {
        let d = self.distance;
        0.5 * VACUUM_PERMEABILITY.value * self.ampere_turns * self.radius * self.radius / (d * d * d)
    }
}

fn sources(
    windings: &[Winding],
    axis: Vec3,
    centre_m: Vec3,
    reach_m: f64,
) -> Result<Vec<Source>, FieldError> {
    let mut sources = Vec::new();
    for winding in windings {
        let height = (winding.centre_m - centre_m).dot(axis).abs() - 0.5 * winding.winding_axial_m;
        let nearest = height.max(0.0).hypot(winding.mean_radius_m - 0.5 * winding.winding_radial_m);
        let away = (nearest - reach_m).max(LEAST_GAP * nearest);
        for one in winding.loops_for_distance(away)? {
            let height = (one.centre_m - centre_m).dot(axis);
            let distance = height.hypot(one.radius_m);
            sources.push(Source {
                ampere_turns: one.ampere_turns_per_ampere * one.axis.dot(axis).signum(),
                radius: one.radius_m,
                distance,
                cosine: height / distance,
            });
        }
    }
    Ok(sources)
}

/// `Σ_{n>N} (n+1)(n+2)/2 q^n`, in closed form from the second derivative of `q^(N+3)/(1 − q)`.
fn tail(order: usize, q: f64) -> f64 {
    let n = order as f64;
    let rest = 1.0 - q;
    let (a, b) = (n + 3.0, n + 2.0);
    let first = q.powf(n + 1.0);
    TERM_FIELD * first * (0.5 * a * b / rest + a * q / (rest * rest) + q * q / (rest * rest * rest))
}

/// `b_n R^n = Σ strength P'_{n+1}(cos α) (R/d)^n`.
fn coefficients(sources: &[Source], radius_m: f64, order: usize) -> Vec<f64> {
    let mut sums = vec![0.0; order + 1];
    for source in sources {
        let q = radius_m / source.distance;
        // p = P'_{n+1} q^n: n P'_{n+1} = (2n+1) x P'_n − (n+1) P'_{n−1}
        let (mut before, mut now) = (0.0, source.strength());
        for (n, sum) in sums.iter_mut().enumerate() {
            *sum += now;
            let k = n as f64 + 1.0;
            let next = ((2.0 * k + 1.0) * source.cosine * now - (k + 1.0) * q * before) * q / k;
            before = now;
            now = next;
        }
    }
    sums
}

/// Sets odd coefficients to zero if they are only rounding, and says what that leaves out; `None` if they are real.
fn drop_odd(coefficients: &mut [f64], strength: f64, ratio: f64) -> Option<f64> {
    let (mut left_out, mut power) = (0.0, 1.0);
    for (n, c) in coefficients.iter().enumerate() {
        let largest = 0.5 * (n as f64 + 1.0) * (n as f64 + 2.0) * power * strength;
        if n % 2 == 1 {
            if c.abs() > 8.0 * f64::EPSILON * largest {
                return None;
            }
            left_out += TERM_FIELD * c.abs();
        }
        power *= ratio;
    }
    for c in coefficients.iter_mut().skip(1).step_by(2) {
        *c = 0.0;
    }
    Some(left_out)
}

/// Terms needed in each shell for the rest to stay below `allowed`, and the most any shell leaves out.
fn shells(coefficients: &[f64], allowed: f64, even: bool) -> ([u32; SHELLS], f64) {
    let mut needed = [0; SHELLS];
    let mut worst: f64 = 0.0;
    for (i, slot) in needed.iter_mut().enumerate() {
        let r = (i as f64 + 1.0) / SHELLS as f64;
        let mut power = r.powi(coefficients.len() as i32 - 1);
        let (mut rest, mut kept) = (0.0, coefficients.len());
        for c in coefficients.iter().rev() {
            let next = rest + TERM_FIELD * c.abs() * power;
            if next > allowed || kept <= 4 {
                break;
            }
            rest = next;
            kept -= 1;
            power /= r;
        }
        worst = worst.max(rest);
        *slot = if even { kept.div_ceil(2) } else { kept } as u32;
    }
    (needed, worst)
}

/// One scaled harmonic's recurrence: `v_{n+1} = a_n z v_n − r² v_{n−1}`, and the factor that leads to the plain harmonic.
#[derive(Clone, Copy, Default)]
struct Scaled {
    slope: f64,
    scale: f64,
}

/// Rescaled recurrences of all orders: with `s_{n+1} = s_{n−1} (n+1)/n` the axial harmonics obey `u_{n+1} = a_n z u_n − r² u_{n−1}`,
/// and with `σ_{n+1} = σ_{n−1} n/(n+1)` so do the transverse ones (from n = 1).
fn scaled(count: usize) -> Vec<(Scaled, Scaled)> {
    let (mut s, mut s_next, mut t, mut t_next) = (1.0, 1.0, 1.0, 1.0);
    (0..count)
        .map(|n| {
            let k = n as f64;
            let axial = Scaled { slope: (2.0 * k + 1.0) / (k + 1.0) * s_next / s, scale: s };
            let slope = if n == 0 { 0.0 } else { (2.0 * k + 1.0) / k * t_next / t };
            let transverse = Scaled { slope, scale: t };
            (s, s_next) = (s_next, s * (k + 2.0) / (k + 1.0));
            (t, t_next) = (t_next, t * (k + 1.0) / (k + 2.0));
            (axial, transverse)
        })
        .collect()
}

/// Coefficient of the transverse harmonic n, `−c_n/(n+1)`.
fn transverse(c: f64, n: usize) -> f64 {
    if n == 0 { 0.0 } else { -c / (n as f64 + 1.0) }
}

fn terms(coefficients: &[f64]) -> Vec<Term> {
    let scaled = scaled(coefficients.len());
    let pairs = coefficients.iter().zip(&scaled).enumerate();
    pairs
        .map(|(n, (c, (a, t)))| Term {
            axial: c / a.scale,
            axial_z: a.slope,
            transverse: transverse(*c, n) / t.scale,
            transverse_z: t.slope,
            ..Term::default()
        })
        .collect()
}

/// Two steps of `v_{n+1} = a_n z v_n − r² v_{n−1}` in one:
/// `v_{n+2} = (a_{n+1} a_n z² − (1 + a_{n+1}/a_{n−1}) r²) v_n − (a_{n+1}/a_{n−1}) r⁴ v_{n−2}`, rescaled once more so that the last
/// factor is `−r⁴`. For the lowest n, where `v_{n−1}` is absent, the r² term is 1 alone.
fn even_terms(coefficients: &[f64]) -> Vec<Term> {
    let scaled = scaled(coefficients.len() + 2);
    let slope =
        |n: usize, axial: bool| scaled.get(n).map_or(0.0, |(a, t)| if axial { a.slope } else { t.slope });
    let scale =
        |n: usize, axial: bool| scaled.get(n).map_or(1.0, |(a, t)| if axial { a.scale } else { t.scale });
    let column = |axial: bool, first: usize| -> Vec<[f64; 3]> {
        // extra[k] rescales v_{2k}; extra_{k+1} = extra_{k−1} a_{n−1}/a_{n+1}
        let (mut extra, mut extra_next) = (1.0, 1.0);
        let mut rows = Vec::new();
        for n in (0..coefficients.len()).step_by(2) {
            let c = coefficients.get(n).copied().unwrap_or(0.0);
            let value = if axial { c } else { transverse(c, n) };
            if n < first {
                rows.push([0.0; 3]);
                continue;
            }
            let (here, next) = (slope(n, axial), slope(n + 1, axial));
            let below = if n >= 2 { next / slope(n - 1, axial) } else { 0.0 };
            let grow = extra_next / extra;
            rows.push([value / (scale(n, axial) * extra), grow * next * here, -grow * (1.0 + below)]);
            let after = slope(n + 3, axial);
            let ratio = slope(n + 1, axial) / after;
            (extra, extra_next) = (extra_next, extra * ratio);
        }
        rows
    };
    // v_2 of the transverse harmonics is a_1 z: the factor a_1 goes into the coefficients, z is multiplied in at the end.
    let first = slope(1, false);
    let (axial, across) = (column(true, 0), column(false, 2));
    let pairs = axial.iter().zip(&across);
    pairs
        .map(|([c, z, r], [tc, tz, tr])| Term {
            axial: *c,
            axial_z: *z,
            axial_r: *r,
            transverse: tc * first,
            transverse_z: *tz,
            transverse_r: *tr,
        })
        .collect()
}
