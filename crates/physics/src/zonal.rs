//! The series of zonal harmonics of coaxial windings about a point of their axis.

use arcmass_quantity::constants::VACUUM_PERMEABILITY;

use crate::error::FieldError;
use crate::prepared::Columns;
use crate::vec3::Vec3;
use crate::winding::Winding;

/// Highest order ever used; a region that would need more reaches too near the conductors.
const MOST_ORDERS: usize = 400;
/// Region radius over conductor distance above which the series is refused.
const NEAREST: f64 = 0.92;

/// Field of one term over its coefficient, at most: `√(P_m² + sin²θ P_m'²/m²) ≤ √((m+1)/m)`, m ≥ 6 (DLMF 18.14, Bernstein's bound).
const TERM_FIELD: f64 = 1.1;

/// One step of the recurrence run backwards: `y = coefficient + (slope_z z + slope_r r²) y₁ − w y₂`.
#[derive(Clone, Copy, Debug)]
struct Term {
    /// Coefficient of the axial and of the transverse sum.
    axial: f64,
    transverse: f64,
    axial_z: f64,
    transverse_z: f64,
}

/// Zonal harmonics scaled to the region's radius, tesla per ampere.
///
/// Axial `G = Σ c_n r^n P_n`, transverse `F = −Σ c_n/(n+1) r^(n−1) P_n'`, in units of the region's radius, so that
/// `B = F ρ⃗/R + G axis`. Both sums run backwards (Clenshaw) with the harmonics rescaled so that the last factor of the
/// recurrence is exactly `−r²`.
#[derive(Clone, Debug)]
pub(crate) struct Series {
    terms: Vec<Term>,
    /// `c_n`, before rescaling.
    pub(crate) coefficients: Vec<f64>,
    inverse_radius_per_m: f64,
    pub(crate) error_bound_t_per_a: f64,
}

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
        // |P'_{n+1}| ≤ (n+1)(n+2)/2, each term's field at most its coefficient: the rest after N is below
        // strength Σ_{n>N} (n+1)(n+2)/2 ratio^n.
        let order = (4..MOST_ORDERS).find(|n| tail(*n, ratio) <= share).unwrap_or(MOST_ORDERS);
        let coefficients = coefficients(&sources, radius_m, order);
        let rounding = f64::EPSILON * strength * (1.0 + ratio) / (1.0 - ratio);
        Ok(Self {
            terms: terms(&coefficients),
            coefficients,
            inverse_radius_per_m: 1.0 / radius_m,
            error_bound_t_per_a: strength * tail(order, ratio) + 4.0 * rounding,
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
        let (mut z, mut r2) = ([0.0; N], [0.0; N]);
        for i in 0..N {
            let (x, y) = (p[0][i] * k, p[1][i] * k);
            z[i] = p[2][i] * k;
            r2[i] = x * x + y * y + z[i] * z[i];
        }
        let (mut g1, mut g2, mut f1, mut f2) = ([0.0; N], [0.0; N], [0.0; N], [0.0; N]);
        for t in self.terms.iter().rev() {
            for i in 0..N {
                let g = (t.axial_z * z[i]).mul_add(g1[i], (-r2[i]).mul_add(g2[i], t.axial));
                let f = (t.transverse_z * z[i]).mul_add(f1[i], (-r2[i]).mul_add(f2[i], t.transverse));
                g2[i] = g1[i];
                f2[i] = f1[i];
                g1[i] = g;
                f1[i] = f;
            }
        }
        let mut b = [[0.0; N]; 3];
        for i in 0..N {
            // The transverse sum starts at n = 1: f2 holds it after the step for n = 0.
            let f = f2[i] * k;
            (b[0][i], b[1][i], b[2][i]) = (f * p[0][i], f * p[1][i], g1[i]);
        }
        b
    }
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
        let half = 0.5 * winding.winding_radial_m.hypot(winding.winding_axial_m);
        let away = (winding.centre_m - centre_m).norm().hypot(winding.mean_radius_m) - half - reach_m;
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

/// Rescaled recurrences: with `s_{n+1} = s_{n−1} (n+1)/n` the axial harmonics obey `u_{n+1} = a_n z u_n − r² u_{n−1}`,
/// and with `σ_{n+1} = σ_{n−1} n/(n+1)` so do the transverse ones.
fn terms(coefficients: &[f64]) -> Vec<Term> {
    let mut axial_scale = [1.0, 1.0];
    let mut transverse_scale = [1.0, 1.0];
    let mut terms = Vec::with_capacity(coefficients.len());
    for (n, c) in coefficients.iter().enumerate() {
        let k = n as f64;
        let [s, s_next] = axial_scale;
        let [t, t_next] = transverse_scale;
        terms.push(Term {
            axial: c / s,
            transverse: if n == 0 { 0.0 } else { -c / (k + 1.0) / t },
            axial_z: (2.0 * k + 1.0) / (k + 1.0) * s_next / s,
            transverse_z: if n == 0 { 0.0 } else { (2.0 * k + 1.0) / k * t_next / t },
        });
        axial_scale = [s_next, s * (k + 2.0) / (k + 1.0)];
        transverse_scale = [t_next, t * (k + 1.0) / (k + 2.0)];
    }
    terms
}
