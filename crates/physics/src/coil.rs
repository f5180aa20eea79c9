//! The exact field of one current loop, circular or rectangular, at any point off the wire.

use arcmass_quantity::constants::VACUUM_PERMEABILITY;

use crate::dual::{Dual, Real};
use crate::error::FieldError;
use crate::vec3::{Mat3, Vec3};

const MU_0: f64 = VACUUM_PERMEABILITY.value;
/// Below this `kc²` the point is near the wire and the form that keeps its digits there is used; both forms agree to
/// rounding between 0.01 and 0.3.
const NEAR_WIRE: f64 = 0.06;
/// A point this close to the wire, in units of the sizes involved, can't be told from one on it in double precision.
const ON_WIRE: f64 = 4.0 * f64::EPSILON;

/// A circular loop of thin wire.
///
/// Positive current runs counter-clockwise seen from the `axis` side, so the field on the axis points along `axis`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Loop {
    /// Radius, above 0.
    pub radius_m: f64,
    /// Centre.
    pub centre_m: Vec3,
    /// Unit vector along the axis.
    pub axis: Vec3,
    /// Turns times sense: ampere-turns for each ampere at the meter.
    pub ampere_turns_per_ampere: f64,
}

impl Loop {
    /// Flux density for one ampere, in tesla, exact up to rounding on and off the axis, near and far.
    ///
    /// With `α² = (a − ρ)² + z²`, `β² = (a + ρ)² + z²`, `k² = 4aρ/β²`:
    /// `B_z = μ₀I/(2πβα²) ((a² − ρ² − z²) E + α² K)`, `B_ρ = μ₀I z/(2πρβα²) ((a² + ρ² + z²) E − α² K)`,
    /// rearranged so that nothing cancels on the axis, far away or near the wire.
    ///
    /// - **Fails** with [`FieldError::OnWire`] on the wire, and for a bad loop or point.
    /// - **Source** W. R. Smythe, *Static and Dynamic Electricity*, § 7.10; elliptic integrals by AGM, DLMF 19.8.
    ///
    /// ```
    /// use arcmass_physics::{Loop, Vec3};
    /// let one = Loop { radius_m: 0.15, centre_m: Vec3::ZERO, axis: Vec3::Z, ampere_turns_per_ampere: 124.0 };
    /// // on the axis: μ₀ N a²/(2 (a² + z²)^(3/2))
    /// let b = one.flux_density_per_ampere(Vec3::Z * 0.2)?;
    /// let wanted = 1.25663706127e-6 * 124.0 * 0.0225 / (2.0 * 0.25f64.powi(3));
    /// assert!((b.z / wanted - 1.0).abs() < 1e-14 && b.x == 0.0 && b.y == 0.0);
    /// # Ok::<(), arcmass_physics::FieldError>(())
    /// ```
    pub fn flux_density_per_ampere(&self, point: Vec3) -> Result<Vec3, FieldError> {
        let local = Local::new(self.centre_m, self.axis, point)?;
        let (f, g) = loop_terms(self.checked_radius()?, local.w(self.radius_m), local.rho, local.z)
            .ok_or(FieldError::OnWire(point))?;
        Ok(local.vector(f, g) * self.ampere_turns_per_ampere)
    }

    /// Gradient matrix for one ampere, `[i][j] = ∂B_i/∂x_j`, in tesla per metre, by exact differentiation.
    pub fn gradient_per_ampere(&self, point: Vec3) -> Result<Mat3, FieldError> {
        let local = Local::new(self.centre_m, self.axis, point)?;
        let (f, g) = local.dual_terms(self.checked_radius()?).ok_or(FieldError::OnWire(point))?;
        Ok(local.gradient(f, g) * self.ampere_turns_per_ampere)
    }

    fn checked_radius(&self) -> Result<f64, FieldError> {
        positive("radius of a loop in metres", self.radius_m)
    }
}

/// `value` if it is above 0 and finite.
pub(crate) fn positive(what: &'static str, value: f64) -> Result<f64, FieldError> {
    if value > 0.0 && value.is_finite() {
        Ok(value)
    } else {
        Err(FieldError::BadCoil { what, must: "above 0 and finite", got: value })
    }
}

/// A point seen from a coil: along its axis and at right angles to it.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Local {
    axis: Vec3,
    perpendicular: Vec3,
    pub(crate) rho: f64,
    pub(crate) z: f64,
}

impl Local {
    pub(crate) fn new(centre_m: Vec3, axis: Vec3, point: Vec3) -> Result<Self, FieldError> {
        if !point.is_finite() {
            return Err(FieldError::PointNotFinite(point));
        }
        let length = axis.norm();
        if !(length > 0.0 && length.is_finite()) {
            return Err(FieldError::BadAxis(axis));
        }
        let axis = if (length - 1.0).abs() < 4.0 * f64::EPSILON { axis } else { axis / length };
        let d = point - centre_m;
        let z = d.dot(axis);
        let perpendicular = d - axis * z;
        Ok(Self { axis, perpendicular, rho: perpendicular.norm(), z })
    }

    /// `a² − ρ²` with a single rounding's error, which keeps the distance from the wire exact close to it.
    pub(crate) fn w(&self, a: f64) -> f64 {
        let p = self.perpendicular;
        exact_squares(a, [p.x, p.y, p.z])
    }

    pub(crate) fn vector(&self, f: f64, g: f64) -> Vec3 {
        self.perpendicular * f + self.axis * g
    }

    pub(crate) fn dual_terms(&self, a: f64) -> Option<(Dual<2>, Dual<2>)> {
        let rho = Dual::<2>::variable(self.rho, 0);
        let w = Dual { v: self.w(a), d: [-2.0 * self.rho, 0.0] };
        loop_terms(a, w, rho, Dual::<2>::variable(self.z, 1))
    }

    /// Gradient of `F ρ⃗ + G axis`; derivatives of F and G along ρ and z.
    pub(crate) fn gradient(&self, f: Dual<2>, g: Dual<2>) -> Mat3 {
        let radial = if self.rho > 0.0 { self.perpendicular / self.rho } else { Vec3::ZERO };
        let [f_rho, f_z] = f.d;
        let [g_rho, g_z] = g.d;
        Mat3::diagonal(f.v)
            + Mat3::outer(self.axis, self.axis) * -f.v
            + Mat3::outer(self.perpendicular, radial * f_rho + self.axis * f_z)
            + Mat3::outer(self.axis, radial * g_rho + self.axis * g_z)
    }
}

/// `a² − x² − y² − z²` with the rounding errors of the squares put back (two-product by fused multiply–add).
fn exact_squares(a: f64, p: [f64; 3]) -> f64 {
    let aa = a * a;
    let mut sum = aa;
    let mut rest = a.mul_add(a, -aa);
    for x in p {
        let xx = x * x;
        rest -= x.mul_add(x, -xx);
        let next = sum - xx;
        let back = next - sum;
        rest += (sum - (next - back)) + (-xx - back);
        sum = next;
    }
    sum + rest
}

/// `(F, G)` with `B = F ρ⃗ + G axis`, tesla per ampere, for `w = a² − ρ²`; `None` on the wire.
pub(crate) fn loop_terms<R: Real>(a: f64, w: R, rho: R, z: R) -> Option<(R, R)> {
    let gap = w / (rho + a);
    let alpha2 = gap * gap + z * z;
    if alpha2.value().sqrt() <= ON_WIRE * a {
        return None;
    }
    let sum = rho + a;
    let beta2 = sum * sum + z * z;
    let beta = beta2.sqrt();
    let kc2 = alpha2 / beta2;
    let kc = kc2.sqrt();
    let m = rho * (4.0 * a) / beta2;
    let (mean, series) = agm(kc, m);
    // K = π/(2 mean), so μ₀/(2πβα²) K = μ₀/(4 β α² mean)
    let k_factor = R::constant(0.25 * MU_0) / (beta * alpha2 * mean);
    if kc2.value() < NEAR_WIRE {
        let e_over_k = R::constant(1.0) - m * (m * series + 0.5);
        let g = k_factor * ((w - z * z) * e_over_k + alpha2);
        let s = rho * rho + z * z + a * a;
        let f = k_factor * z * (s * e_over_k - alpha2) / (rho * rho);
        return Some((f, g));
    }
    let common = k_factor * (2.0 * a);
    let bracket = rho * rho * series * 8.0 / beta2 - rho * sum * (m * series + 0.5) * 4.0 / beta2 + 1.0;
    let f = common * z * 4.0 / beta2 * (R::constant(0.5) - (R::constant(2.0) - m) * series) * a;
    Some((f, common * bracket * a))
}

/// The arithmetic–geometric mean of 1 and kc, and `S = Σ 2^(n−1) c_n²/k⁴` (n ≥ 1), with `K − E = K k² (1/2 + k² S)`.
///
/// `c_n/k²` is carried along instead of `c_n`, so that S keeps its digits as k goes to 0.
fn agm<R: Real>(kc: R, m: R) -> (R, R) {
    let mut a = (kc + 1.0) * 0.5;
    let mut b = kc.sqrt();
    let mut u = R::constant(0.5) / (kc + 1.0);
    let mut sum = u * u;
    let mut weight = 1.0;
    for _ in 0..40 {
        let c = u * m;
        let next = (a + b) * 0.5;
        if c.value() <= 1e-9 * a.value() {
            return (next, sum);
        }
        b = (a * b).sqrt();
        u = u * c / (next * 4.0);
        a = next;
        weight *= 2.0;
        sum = sum + u * u * weight;
    }
    (a, sum)
}

/// A rectangular loop of thin wire, sides along its own u and v.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct RectangularLoop {
    /// Half the side along u, above 0.
    pub half_u_m: f64,
    /// Half the side along v, above 0.
    pub half_v_m: f64,
    /// Centre.
    pub centre_m: Vec3,
    /// Unit vector along the axis; u and v are the bench's x and y carried along by the shortest turn from z to `axis`.
    pub axis: Vec3,
    /// Turns times sense.
    pub ampere_turns_per_ampere: f64,
}

impl RectangularLoop {
    /// Flux density for one ampere, in tesla, from the four straight sides (Biot–Savart, exact).
    ///
    /// One side from A to B, `r = P − A`, `r' = P − B`, `L = B − A`:
    /// `B = μ₀I/4π · L × r (|r| + |r'|) / (|r||r'| (|r||r'| + r·r'))`. **Source** J. D. Jackson, *Classical
    /// Electrodynamics*, 3rd ed., § 5.2, integrated over a finite side.
    pub fn flux_density_per_ampere(&self, point: Vec3) -> Result<Vec3, FieldError> {
        let frame = Frame::new(self.axis)?;
        let local = frame.to_local(checked_point(point)? - self.centre_m);
        let b = self.sides(local.into()).ok_or(FieldError::OnWire(point))?;
        Ok(frame.to_bench(Vec3::from(b)) * self.ampere_turns_per_ampere)
    }

    /// Gradient matrix for one ampere, `[i][j] = ∂B_i/∂x_j`, in tesla per metre, by exact differentiation.
    pub fn gradient_per_ampere(&self, point: Vec3) -> Result<Mat3, FieldError> {
        let frame = Frame::new(self.axis)?;
        let local = frame.to_local(checked_point(point)? - self.centre_m);
        let p = [Dual::<3>::variable(local.x, 0), Dual::variable(local.y, 1), Dual::variable(local.z, 2)];
        let b = self.sides(p).ok_or(FieldError::OnWire(point))?;
        Ok(frame.matrix_to_bench(&Mat3 { rows: b.map(|c| c.d) }) * self.ampere_turns_per_ampere)
    }

    /// The field of the four sides in the loop's own frame; `None` on the wire.
    pub(crate) fn sides<R: Real>(&self, p: [R; 3]) -> Option<[R; 3]> {
        let (u, v) = (self.half_u_m, self.half_v_m);
        let corners = [[u, -v], [u, v], [-u, v], [-u, -v]];
        let mut sum = [R::constant(0.0); 3];
        for (from, to) in corners.iter().zip(corners.iter().cycle().skip(1)) {
            let side = straight(*from, *to, p)?;
            sum = [sum[0] + side[0], sum[1] + side[1], sum[2] + side[2]];
        }
        Some(sum)
    }
}

pub(crate) fn checked_point(point: Vec3) -> Result<Vec3, FieldError> {
    if point.is_finite() { Ok(point) } else { Err(FieldError::PointNotFinite(point)) }
}

/// One straight side in the plane z = 0.
fn straight<R: Real>(from: [f64; 2], to: [f64; 2], p: [R; 3]) -> Option<[R; 3]> {
    let (lx, ly) = (to[0] - from[0], to[1] - from[1]);
    let [rx, ry, rz] = [p[0] - from[0], p[1] - from[1], p[2]];
    let [sx, sy] = [p[0] - to[0], p[1] - to[1]];
    let cross = [rz * ly, rz * -lx, ry * lx - rx * ly];
    let (r, s) = ((rx * rx + ry * ry + rz * rz).sqrt(), (sx * sx + sy * sy + rz * rz).sqrt());
    let dot = rx * sx + ry * sy + rz * rz;
    let product = r * s;
    let cross2 = cross[0] * cross[0] + cross[1] * cross[1] + cross[2] * cross[2];
    let length = lx.hypot(ly);
    if dot.value() <= 0.0 {
        if cross2.value().sqrt() <= ON_WIRE * length * length {
            return None;
        }
        // |r||r'| + r·r' = |r × r'|² / (|r||r'| − r·r'), which keeps its digits beside the wire
        let scale = (r + s) * (product - dot) / (product * cross2) * (MU_0 / (4.0 * std::f64::consts::PI));
        return Some(cross.map(|c| c * scale));
    }
    let scale = (r + s) / (product * (product + dot)) * (MU_0 / (4.0 * std::f64::consts::PI));
    Some(cross.map(|c| c * scale))
}

/// The axes u, v, axis of a coil: x, y, z turned by the shortest way.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Frame {
    u: Vec3,
    v: Vec3,
    w: Vec3,
}

impl Frame {
    pub(crate) fn new(axis: Vec3) -> Result<Self, FieldError> {
        let w = axis.unit().ok_or(FieldError::BadAxis(axis))?;
        let turn = Vec3::Z.cross(w);
        if turn.norm() == 0.0 {
            let v = if w.z > 0.0 { Vec3::Y } else { -Vec3::Y };
            return Ok(Self { u: Vec3::X, v, w });
        }
        let about = turn.unit().ok_or(FieldError::BadAxis(axis))?;
        let angle = turn.norm().atan2(w.z);
        Ok(Self { u: Vec3::X.rotated(about, angle), v: Vec3::Y.rotated(about, angle), w })
    }

    pub(crate) fn axes(self) -> [Vec3; 3] {
        [self.u, self.v, self.w]
    }

    pub(crate) fn to_local(self, d: Vec3) -> Vec3 {
        Vec3::new(d.dot(self.u), d.dot(self.v), d.dot(self.w))
    }

    pub(crate) fn to_bench(self, b: Vec3) -> Vec3 {
        self.u * b.x + self.v * b.y + self.w * b.z
    }

    pub(crate) fn matrix_to_bench(self, m: &Mat3) -> Mat3 {
        let axes = [self.u, self.v, self.w];
        let mut sum = Mat3::default();
        for (row, left) in m.rows.iter().zip(axes) {
            for (value, right) in row.iter().zip(axes) {
                sum = sum + Mat3::outer(left, right) * *value;
            }
        }
        sum
    }
}
