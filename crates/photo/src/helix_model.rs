//! A helix before a camera, its picture on a plane, and its fit to points in that plane.

use nalgebra::{SMatrix, SVector};

use crate::normal::Normal;

/// Number of unknowns of [`HelixCurve`].
pub(crate) const UNKNOWNS: usize = 8;
/// Points of the drawn curve in one turn.
const PER_TURN: f64 = 72.0;

/// A helix in the frame of a plane (z = 0, z towards the camera), in the plane's unit of length.
///
/// `P(ψ) = o + offset · n + pitch · ψ / 2π · e + radius · (cos ψ' · n + sin ψ' · hand · (e × n))` with `ψ' = ψ + phase`; `e` is the
/// axis' direction, `angle` its direction in the plane, `tilt` its angle out of the plane, `n` the unit vector at right
/// angles to it in the plane; `o` is the frame's middle, which keeps the unknowns apart. The radius grows by the part `taper`
/// a turn and is `radius` at the angle `half_way`. The eye stands `exp(far)` times as far from the plane as it is said to.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct HelixCurve {
    /// Place about which the axis turns, in the plane.
    pub(crate) middle: [f64; 2],
    /// Distance of the axis from the plane, positive towards the camera.
    pub(crate) depth: f64,
    /// +1 or −1: which half of each turn lies nearer to the camera.
    pub(crate) hand: f64,
    pub(crate) offset: f64,
    pub(crate) angle: f64,
    pub(crate) tilt: f64,
    pub(crate) pitch: f64,
    pub(crate) radius: f64,
    pub(crate) phase: f64,
    pub(crate) taper: f64,
    pub(crate) far: f64,
    pub(crate) half_way: f64,
}

/// What is known of a helix before it is seen: standard uncertainties about 0.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Known {
    /// Of the axis' angle to the plane, in radians.
    pub(crate) u_tilt: f64,
    /// Of the radius' relative change in one turn.
    pub(crate) u_taper: f64,
    /// Of the logarithm of the eye's distance against the one said.
    pub(crate) u_far: f64,
}

/// A point of the picture with its weight and the angle of the turn at which it lies.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct OnCurve {
    pub(crate) at: [f64; 2],
    pub(crate) weight: f64,
    pub(crate) psi: f64,
}

impl HelixCurve {
    fn vector(&self) -> SVector<f64, UNKNOWNS> {
        SVector::from([
            self.offset,
            self.angle,
            self.tilt,
            self.pitch,
            self.radius,
            self.phase,
            self.taper,
            self.far,
        ])
    }

    fn with(&self, v: &SVector<f64, UNKNOWNS>) -> Self {
        let [offset, angle, tilt, pitch, radius, phase, taper, far] = (*v).into();
        Self { offset, angle, tilt, pitch, radius, phase, taper, far, ..*self }
    }

    /// The picture of the point at `psi`: where the ray from the eye through it meets the plane.
    pub(crate) fn seen(&self, psi: f64, eye: [f64; 3]) -> [f64; 2] {
        let ((st, ct), (sa, ca)) = (self.tilt.sin_cos(), self.angle.sin_cos());
        let along = self.pitch * psi / std::f64::consts::TAU;
        let (s, c) = (psi + self.phase).sin_cos();
        let radius = self.radius * (1.0 + self.taper * (psi - self.half_way) / std::f64::consts::TAU);
        let across = self.offset + radius * c;
        let out = self.hand * radius * s;
        // e = (ct ca, ct sa, st), n = (−sa, ca, 0), e × n = (−st ca, −st sa, ct)
        let x = self.middle[0] + along * ct * ca - across * sa - out * st * ca;
        let y = self.middle[1] + along * ct * sa + across * ca - out * st * sa;
        let z = self.depth + along * st + out * ct;
        let eye_z = eye[2] * self.far.exp();
        let k = eye_z / (eye_z - z).max(1e-3 * eye_z);
        [eye[0] + (x - eye[0]) * k, eye[1] + (y - eye[1]) * k]
    }

    /// Direction of the picture's curve at `psi`, per radian.
    pub(crate) fn tangent(&self, psi: f64, eye: [f64; 3]) -> [f64; 2] {
        const STEP: f64 = 1e-4;
        let (a, b) = (self.seen(psi - STEP, eye), self.seen(psi + STEP, eye));
        [(b[0] - a[0]) / (2.0 * STEP), (b[1] - a[1]) / (2.0 * STEP)]
    }

    /// Unit normal of the picture's curve at `psi`.
    pub(crate) fn normal(&self, psi: f64, eye: [f64; 3]) -> [f64; 2] {
        let [x, y] = self.tangent(psi, eye);
        let length = x.hypot(y).max(1e-12);
        [-y / length, x / length]
    }

    /// The curve drawn from one angle to another: (angle, place) from point to point.
    pub(crate) fn drawn(&self, range: [f64; 2], eye: [f64; 3]) -> Vec<(f64, [f64; 2])> {
        let count = ((range[1] - range[0]) / std::f64::consts::TAU * PER_TURN).ceil().clamp(2.0, 20_000.0);
        let at = |i: f64| range[0] + (range[1] - range[0]) * i / count;
        (0..=count as usize).map(|i| (at(i as f64), self.seen(at(i as f64), eye))).collect()
    }

    /// Angle of the nearest point of the curve, from a start by Newton steps on the distance along the tangent.
    pub(crate) fn foot(&self, at: [f64; 2], start: f64, eye: [f64; 3]) -> f64 {
        let mut psi = start;
        for _ in 0..6 {
            let (p, t) = (self.seen(psi, eye), self.tangent(psi, eye));
            let change =
                ((at[0] - p[0]) * t[0] + (at[1] - p[1]) * t[1]) / (t[0] * t[0] + t[1] * t[1]).max(1e-12);
            psi += change.clamp(-0.1, 0.1);
            if change.abs() < 1e-6 {
                break;
            }
        }
        psi
    }

    /// Distance of a point from the curve along the normal at its foot.
    pub(crate) fn distance(&self, point: &OnCurve, eye: [f64; 3]) -> f64 {
        let (p, n) = (self.seen(point.psi, eye), self.normal(point.psi, eye));
        (point.at[0] - p[0]) * n[0] + (point.at[1] - p[1]) * n[1]
    }

    /// Orthogonal-distance fit; `known` are the standard uncertainties of tilt and taper about 0. Gives the curve, the points with
    /// their new feet, and the inverse of the normal matrix for weights that are 1 / u².
    pub(crate) fn fitted(
        &self,
        points: &[OnCurve],
        known: Known,
        eye: [f64; 3],
        rounds: usize,
    ) -> Option<HelixFit> {
        let (mut curve, mut points) = (*self, points.to_vec());
        let mut inverse = SMatrix::<f64, UNKNOWNS, UNKNOWNS>::zeros();
        for _ in 0..rounds {
            for p in &mut points {
                p.psi = curve.foot(p.at, p.psi, eye);
            }
            let (normal, right) = curve.equations(&points, known, eye);
            let factor = normal.cholesky()?;
            let change = factor.solve(&right);
            inverse = factor.inverse();
            let next = curve.with(&(curve.vector() + change));
            if !(next.radius > 0.2 * curve.radius && next.pitch > 0.2 * curve.pitch && next.tilt.abs() < 1.0)
            {
                return None;
            }
            let moved = change[0].abs() + change[3].abs() + change[4].abs();
            curve = next;
            if moved < 1e-7 * curve.radius {
                break;
            }
        }
        Some(HelixFit { curve, points, inverse })
    }

    fn equations(
        &self,
        points: &[OnCurve],
        known: Known,
        eye: [f64; 3],
    ) -> (SMatrix<f64, UNKNOWNS, UNKNOWNS>, SVector<f64, UNKNOWNS>) {
        let length = 1e-5 * self.radius;
        let steps = SVector::from([length, 1e-5, 1e-5, length, length, 1e-5, 1e-5, 1e-4]);
        let mut sums = Normal::<UNKNOWNS>::new();
        let moved: Vec<[Self; 2]> = (0..UNKNOWNS)
            .map(|k| {
                let mut step = SVector::<f64, UNKNOWNS>::zeros();
                step[k] = steps[k];
                [self.with(&(self.vector() - step)), self.with(&(self.vector() + step))]
            })
            .collect();
        for p in points.iter().filter(|p| p.weight > 0.0) {
            let n = self.normal(p.psi, eye);
            let mut row = [0.0; UNKNOWNS];
            for (k, [low, high]) in moved.iter().enumerate() {
                let (a, b) = (low.seen(p.psi, eye), high.seen(p.psi, eye));
                row[k] = ((b[0] - a[0]) * n[0] + (b[1] - a[1]) * n[1]) / (2.0 * steps[k]);
            }
            sums.add(row, p.weight, self.distance(p, eye));
        }
        let (mut normal, mut right) = (sums.matrix(), sums.right());
        for (k, u, value) in
            [(2, known.u_tilt, self.tilt), (6, known.u_taper, self.taper), (7, known.u_far, self.far)]
        {
            normal[(k, k)] += u.powi(-2);
            right[k] -= value * u.powi(-2);
        }
        for k in 0..UNKNOWNS {
            normal[(k, k)] *= 1.0 + 1e-13;
        }
        (normal, right)
    }
}

/// A fitted helix.
#[derive(Debug, Clone)]
pub(crate) struct HelixFit {
    pub(crate) curve: HelixCurve,
    pub(crate) points: Vec<OnCurve>,
    pub(crate) inverse: SMatrix<f64, UNKNOWNS, UNKNOWNS>,
}

impl HelixFit {
    /// Weighted sum of squared distances.
    pub(crate) fn squares(&self, eye: [f64; 3]) -> f64 {
        self.points.iter().map(|p| p.weight * self.curve.distance(p, eye).powi(2)).sum()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_helix_seen_from_near_is_fitted_back() {
        let eye = [30.0, -20.0, 600.0];
        let truth = HelixCurve {
            middle: [0.0, 0.0],
            depth: 0.0,
            hand: 1.0,
            offset: 3.0,
            angle: 0.2,
            tilt: 0.02,
            pitch: 25.0,
            radius: 40.0,
            phase: 0.7,
            taper: 0.01,
            far: 0.0,
            half_way: 1.0,
        };
        let at = |i: i32| OnCurve {
            at: truth.seen(f64::from(i) * 0.1, eye),
            weight: 1e10,
            psi: f64::from(i) * 0.1,
        };
        let points: Vec<_> = (-90..130).map(at).collect();
        let start = HelixCurve {
            offset: 2.0,
            angle: 0.21,
            tilt: 0.0,
            pitch: 25.5,
            radius: 39.0,
            phase: 0.75,
            taper: 0.0,
            ..truth
        };
        let found =
            start.fitted(&points, Known { u_tilt: 1.0, u_taper: 1.0, u_far: 1e-3 }, eye, 40).map(|f| f.curve);
        // a fit must stay well below the slow error of a centre line: 0.06 pixels on a radius of 300 are 2 in 10⁴
        let near = |value: f64, want: f64| (value - want).abs() < 1e-4 * want;
        assert!(
            found
                .is_some_and(|c| near(c.pitch, 25.0) && near(c.radius, 40.0) && (c.tilt - 0.02).abs() < 1e-4),
            "{found:?}"
        );
    }
}
