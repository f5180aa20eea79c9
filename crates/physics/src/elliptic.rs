//! Complete elliptic integrals by the arithmetic–geometric mean, without cancellation at either end, and Carlson's forms.

use std::f64::consts::FRAC_PI_2;

/// The complete integrals of one modulus.
///
/// `K = ∫ dθ/Δ`, `E = ∫ Δ dθ`, `D = ∫ sin²θ dθ/Δ = (K − E)/k²`, `B = ∫ cos²θ dθ/Δ = (E − kc² K)/k²`,
/// `C = ∫ sin²θ cos²θ dθ/Δ³ = ((2 − k²) K − 2 E)/k⁴`, with `Δ² = 1 − k² sin²θ` and θ from 0 to π/2.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct CompleteIntegrals {
    /// First kind.
    pub k: f64,
    /// Second kind.
    pub e: f64,
    /// `(K − E)/k²`.
    pub d: f64,
    /// `(E − kc² K)/k²`.
    pub b: f64,
    /// `((2 − k²) K − 2 E)/k⁴`.
    pub c: f64,
}

/// Complete elliptic integrals for the complementary modulus `kc = √(1 − k²)` and the parameter `m = k²`.
///
/// Both are asked for, because each is exact where the other has lost its digits. Errors: a few units in the last place.
/// **Holds** for `0 < kc ≤ 1`; gives `None` otherwise. **Source** DLMF 19.8 (arithmetic–geometric mean), 19.2.8.
pub fn complete(m: f64, kc: f64) -> Option<CompleteIntegrals> {
    if !(kc > 0.0 && kc <= 1.0 && (0.0..=1.0).contains(&m)) {
        return None;
    }
    let (mut a, mut b) = (0.5 * (1.0 + kc), kc.sqrt());
    // u_n = c_n / k²; sum = Σ 2^(n−1) u_n², n ≥ 1, so that K − E = K m (1/2 + m sum).
    let mut u = 0.5 / (1.0 + kc);
    let mut sum = u * u;
    let mut weight = 1.0;
    for _ in 0..40 {
        let c = u * m;
        if c <= 1e-9 * a {
            break;
        }
        let next = 0.5 * (a + b);
        b = (a * b).sqrt();
        a = next;
        u *= c / (4.0 * a);
        weight *= 2.0;
        sum += weight * u * u;
    }
    let k = FRAC_PI_2 / (0.5 * (a + b));
    let d = k * (0.5 + m * sum);
    if m > 0.6 {
        // Here E and the rest come from the descending sum in kc, where nothing large cancels.
        let e = general(kc, 1.0, 1.0, kc * kc)?;
        let b = general(kc, 1.0, 1.0, 0.0)?;
        return Some(CompleteIntegrals { k, e, d, b, c: 2.0 * k * sum });
    }
    // E − kc²K = K m (1/2 − m sum);  (2 − m)K − 2E = 2 K m² sum
    Some(CompleteIntegrals {
        k,
        e: k * (1.0 - 0.5 * m - m * m * sum),
        d,
        b: k * (0.5 - m * sum),
        c: 2.0 * k * sum,
    })
}

/// Bulirsch's general complete integral `cel(kc, p, a, b) = ∫ (a cos²θ + b sin²θ) / ((cos²θ + p sin²θ) √(cos²θ + kc² sin²θ)) dθ`.
///
/// **Fails** with `None` for `kc = 0` or `p = 0`. A negative p gives the Cauchy principal value.
/// **Source** R. Bulirsch, Numer. Math. 13 (1969) 305, procedure cel.
pub fn general(kc: f64, p: f64, a: f64, b: f64) -> Option<f64> {
    if !(kc != 0.0 && p != 0.0 && kc.is_finite() && p.is_finite()) {
        return None;
    }
    let mut kc = kc.abs();
    let (mut a, mut b, mut p) = (a, b, p);
    let mut e = kc;
    let mut m = 1.0;
    if p > 0.0 {
        p = p.sqrt();
        b /= p;
    } else {
        let mut f = kc * kc;
        let mut q = 1.0 - f;
        let g = 1.0 - p;
        f -= p;
        q *= b - a * p;
        p = (f / g).sqrt();
        a = (a - b) / g;
        b = -q / (g * g * p) + a * p;
    }
    for _ in 0..60 {
        let f = a;
        a += b / p;
        let g = e / p;
        b = 2.0 * (b + f * g);
        p += g;
        let g = m;
        m += kc;
        if (g - kc).abs() <= 1e-8 * g {
            return Some(FRAC_PI_2 * (b + a * m) / (m * (m + p)));
        }
        kc = 2.0 * e.sqrt();
        e = kc * m;
    }
    None
}

const CARLSON_ROUNDS: usize = 100;

/// Carlson's degenerate integral `R_C(x, y) = ½ ∫₀^∞ dt / (√(t + x) (t + y))`, x ≥ 0, y ≠ 0 (principal value for y < 0).
///
/// **Source** B. C. Carlson, Numer. Algorithms 10 (1995) 13; DLMF 19.36.
pub fn carlson_rc(x: f64, y: f64) -> Option<f64> {
    if !(x >= 0.0 && y != 0.0 && x.is_finite() && y.is_finite()) {
        return None;
    }
    if y < 0.0 {
        return Some((x / (x - y)).sqrt() * carlson_rc(x - y, -y)?);
    }
    let (mut x, mut y) = (x, y);
    for _ in 0..CARLSON_ROUNDS {
        let mean = (x + 2.0 * y) / 3.0;
        let s = (y - mean) / mean;
        if s.abs() < 1e-3 {
            let series =
                0.3 + s * (1.0 / 7.0 + s * (0.375 + s * (9.0 / 22.0 + s * (159.0 / 208.0 + s * 1.125))));
            return Some((1.0 + s * s * series) / mean.sqrt());
        }
        let lambda = 2.0 * (x * y).sqrt() + y;
        x = 0.25 * (x + lambda);
        y = 0.25 * (y + lambda);
    }
    None
}

/// Carlson's first integral `R_F(x, y, z) = ½ ∫₀^∞ dt / √((t+x)(t+y)(t+z))`; at most one argument may be 0.
///
/// **Source** B. C. Carlson, Numer. Algorithms 10 (1995) 13; DLMF 19.36.
pub fn carlson_rf(x: f64, y: f64, z: f64) -> Option<f64> {
    let zeros = [x, y, z].iter().filter(|v| **v == 0.0).count();
    if zeros > 1 || ![x, y, z].iter().all(|v| *v >= 0.0 && v.is_finite()) {
        return None;
    }
    let (mut x, mut y, mut z) = (x, y, z);
    for _ in 0..CARLSON_ROUNDS {
        let mean = (x + y + z) / 3.0;
        let (dx, dy) = (1.0 - x / mean, 1.0 - y / mean);
        let dz = -dx - dy;
        if dx.abs().max(dy.abs()).max(dz.abs()) < 1e-3 {
            let (e2, e3) = (dx * dy - dz * dz, dx * dy * dz);
            let series = 1.0 - e2 / 10.0 + e3 / 14.0 + e2 * e2 / 24.0 - 3.0 * e2 * e3 / 44.0;
            return Some(series / mean.sqrt());
        }
        let lambda = (x * y).sqrt() + (y * z).sqrt() + (z * x).sqrt();
        x = 0.25 * (x + lambda);
        y = 0.25 * (y + lambda);
        z = 0.25 * (z + lambda);
    }
    None
}

/// Carlson's third integral `R_J(x, y, z, p) = 3/2 ∫₀^∞ dt / ((t+p) √((t+x)(t+y)(t+z)))`, p > 0, at most one of x, y, z 0.
///
/// **Source** B. C. Carlson, Numer. Algorithms 10 (1995) 13; DLMF 19.36.
pub fn carlson_rj(x: f64, y: f64, z: f64, p: f64) -> Option<f64> {
    let zeros = [x, y, z].iter().filter(|v| **v == 0.0).count();
    if zeros > 1 || ![x, y, z].iter().all(|v| *v >= 0.0 && v.is_finite()) || !(p > 0.0 && p.is_finite()) {
        return None;
    }
    let (mut x, mut y, mut z, mut p) = (x, y, z, p);
    let (mut sum, mut factor) = (0.0, 1.0);
    for _ in 0..CARLSON_ROUNDS {
        let mean = (x + y + z + 2.0 * p) / 5.0;
        let (dx, dy, dz) = (1.0 - x / mean, 1.0 - y / mean, 1.0 - z / mean);
        let dp = -(dx + dy + dz) / 2.0;
        if [dx, dy, dz, dp].iter().all(|d| d.abs() < 1e-3) {
            let e2 = dx * dy + dx * dz + dy * dz - 3.0 * dp * dp;
            let e3 = dx * dy * dz + 2.0 * e2 * dp + 4.0 * dp * dp * dp;
            let e4 = (2.0 * dx * dy * dz + e2 * dp + 3.0 * dp * dp * dp) * dp;
            let e5 = dx * dy * dz * dp * dp;
            let series = 1.0 - 3.0 * e2 / 14.0 + e3 / 6.0 + 9.0 * e2 * e2 / 88.0
                - 3.0 * e4 / 22.0
                - 9.0 * e2 * e3 / 52.0
                + 3.0 * e5 / 26.0;
            return Some(6.0 * sum + factor * series / (mean * mean.sqrt()));
        }
        let (rx, ry, rz, rp) = (x.sqrt(), y.sqrt(), z.sqrt(), p.sqrt());
        let lambda = rx * ry + ry * rz + rz * rx;
        let d = (rp + rx) * (rp + ry) * (rp + rz);
        // (p − x)(p − y)(p − z) = d · (√p − √x)(√p − √y)(√p − √z)
        let e = (rp - rx) * (rp - ry) * (rp - rz) / d;
        sum += factor / d * carlson_rc(1.0, 1.0 + e)?;
        factor *= 0.25;
        x = 0.25 * (x + lambda);
        y = 0.25 * (y + lambda);
        z = 0.25 * (z + lambda);
        p = 0.25 * (p + lambda);
    }
    None
}

/// Carlson's `R_D(x, y, z) = R_J(x, y, z, z)`, z > 0, at most one of x, y 0.
pub fn carlson_rd(x: f64, y: f64, z: f64) -> Option<f64> {
    carlson_rj(x, y, z, z)
}

/// Carlson's second integral `R_G`, all arguments ≥ 0.
///
/// `2 R_G = z R_F − (x − z)(y − z) R_D/3 + √(x y / z)` with the largest as z. **Source** DLMF 19.21.10.
pub fn carlson_rg(x: f64, y: f64, z: f64) -> Option<f64> {
    let mut v = [x, y, z];
    if !v.iter().all(|a| *a >= 0.0 && a.is_finite()) {
        return None;
    }
    v.sort_by(f64::total_cmp);
    let [low, mid, high] = v;
    if mid == 0.0 {
        return Some(0.5 * high.sqrt());
    }
    // The middle argument in the last place keeps every term positive.
    let cross = (high - mid) * (mid - low);
    let rf = carlson_rf(low, high, mid)?;
    let rd = carlson_rd(low, high, mid)?;
    Some(0.5 * (mid * rf + cross * rd / 3.0 + (low * high / mid).sqrt()))
}
