//! An ellipse written so that a circle is no special case, and its orthogonal-distance fit.

use crate::normal::Normal;

/// The points `c + A (cos t, sin t)` with the symmetric matrix `A = [[r + p, q], [q, r − p]]`.
///
/// Semi-axes are `r ± √(p² + q²)`; unlike axes and angle the five numbers stay well determined for a circle.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Ellipse {
    /// Centre, x in pixels.
    pub cx: f64,
    /// Centre, y in pixels.
    pub cy: f64,
    /// Mean semi-axis in pixels.
    pub r: f64,
    /// Elongation along x in pixels.
    pub p: f64,
    /// Elongation along the diagonal in pixels.
    pub q: f64,
}

/// A point with its weight in a fit.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Weighted {
    pub(crate) x: f64,
    pub(crate) y: f64,
    pub(crate) weight: f64,
}

/// The point of an ellipse nearest to another point.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Nearest {
    /// Cosine and sine of its parameter.
    cosine: f64,
    sine: f64,
    /// Unit normal there, pointing out.
    pub(crate) normal: [f64; 2],
    /// Signed distance of the other point, positive outside.
    pub(crate) distance: f64,
}

impl Ellipse {
    /// A circle.
    pub fn circle(cx: f64, cy: f64, r: f64) -> Self {
        Self { cx, cy, r, p: 0.0, q: 0.0 }
    }

    /// Semi-axes in pixels, major first.
    pub fn semi_axes(&self) -> [f64; 2] {
        let e = self.p.hypot(self.q);
        [self.r + e, self.r - e]
    }

    /// Direction of the major axis, degrees from +x towards +y of the picture, −90 < angle ≤ 90.
    pub fn axis_angle_deg(&self) -> f64 {
        let angle = 0.5 * self.q.atan2(self.p).to_degrees();
        if angle <= -90.0 { angle + 180.0 } else { angle }
    }

    /// Point at parameter `t`.
    pub fn point(&self, t: f64) -> [f64; 2] {
        let (s, c) = t.sin_cos();
        [self.cx + (self.r + self.p) * c + self.q * s, self.cy + self.q * c + (self.r - self.p) * s]
    }

    /// Derivative of [`Self::point`] with respect to `t`.
    pub fn tangent(&self, t: f64) -> [f64; 2] {
        let (s, c) = t.sin_cos();
        [-(self.r + self.p) * s + self.q * c, -self.q * s + (self.r - self.p) * c]
    }

    /// Unit normal pointing out.
    pub fn normal(&self, t: f64) -> [f64; 2] {
        let [tx, ty] = self.tangent(t);
        let length = tx.hypot(ty).max(1e-12);
        [ty / length, -tx / length]
    }

    /// Circumference in pixels, by the mean length of the tangent.
    pub fn circumference(&self) -> f64 {
        let n = 72;
        let step = std::f64::consts::TAU / f64::from(n);
        (0..n).map(|i| self.tangent(f64::from(i) * step)).map(|[x, y]| x.hypot(y)).sum::<f64>() * step
    }

    /// Parameter of the nearest point of the ellipse.
    pub fn foot(&self, x: f64, y: f64) -> f64 {
        let Nearest { cosine, sine, .. } = self.nearest(x, y);
        sine.atan2(cosine)
    }

    /// Signed distance from the ellipse, positive outside.
    pub fn distance(&self, x: f64, y: f64) -> f64 {
        self.nearest(x, y).distance
    }

    /// The nearest point of the ellipse, by three Newton steps from the affine angle; the angle itself is never formed.
    pub(crate) fn nearest(&self, x: f64, y: f64) -> Nearest {
        let (dx, dy) = (x - self.cx, y - self.cy);
        // the inverse matrix but for its determinant: only the direction counts
        let (u, v) = ((self.r - self.p) * dx - self.q * dy, (self.r + self.p) * dy - self.q * dx);
        let square = u * u + v * v;
        let (mut c, mut s) = (1.0, 0.0);
        if square > 0.0 {
            let scale = 1.0 / square.sqrt();
            (c, s) = (u * scale, v * scale);
        }
        for _ in 0..3 {
            let (px, py) = ((self.r + self.p) * c + self.q * s, self.q * c + (self.r - self.p) * s);
            let (tx, ty) = (self.q * c - (self.r + self.p) * s, (self.r - self.p) * c - self.q * s);
            let (ex, ey) = (dx - px, dy - py);
            let slope = tx * tx + ty * ty + ex * px + ey * py;
            if slope.abs() < 1e-9 {
                break;
            }
            let change = (ex * tx + ey * ty) / slope;
            // turned by the arc tangent of the change, which differs from it by a third of its cube
            let (turned_c, turned_s) = (c - s * change, s + c * change);
            let small = change * change;
            // 1 / √(1 + x) to the square of x, which leaves 1e-9 where x is below a thousandth
            let scale =
                if small < 1e-3 { 1.0 - small * (0.5 - 0.375 * small) } else { 1.0 / (1.0 + small).sqrt() };
            (c, s) = (turned_c * scale, turned_s * scale);
            // the next step would move by about the square of this one
            if change.abs() < 1e-5 {
                break;
            }
        }
        let (px, py) = ((self.r + self.p) * c + self.q * s, self.q * c + (self.r - self.p) * s);
        let (tx, ty) = (self.q * c - (self.r + self.p) * s, (self.r - self.p) * c - self.q * s);
        let scale = 1.0 / (tx * tx + ty * ty).sqrt().max(1e-12);
        let normal = [ty * scale, -tx * scale];
        let distance = (dx - px) * normal[0] + (dy - py) * normal[1];
        Nearest { cosine: c, sine: s, normal, distance }
    }

    /// Whether this is a usable ellipse: finite, semi-axes above `least_px`, not flatter than 1 : 4.
    pub fn is_sound(&self, least_px: f64) -> bool {
        let [a, b] = self.semi_axes();
        [self.cx, self.cy, a, b].iter().all(|v| v.is_finite()) && b > least_px && b > 0.25 * a
    }

    /// One Gauss–Newton step of the weighted orthogonal-distance fit; `roundness_px` pulls p and q towards 0.
    ///
    /// `roundness_px` is the standard deviation expected of p and q against points with a scatter of one pixel.
    fn step(&self, points: &[Weighted], roundness_px: f64) -> Option<Self> {
        let mut sums = Normal::<5>::new();
        for point in points.iter().filter(|w| w.weight > 0.0) {
            let Nearest { cosine: c, sine: s, normal: [nx, ny], distance: residual } =
                self.nearest(point.x, point.y);
            let row = [nx, ny, nx * c + ny * s, nx * c - ny * s, nx * s + ny * c];
            sums.add(row, point.weight, residual);
        }
        let (mut normal, mut right) = (sums.matrix(), sums.right());
        let pull = 1.0 / (roundness_px * roundness_px);
        for (i, value) in [(3, self.p), (4, self.q)] {
            normal[(i, i)] += pull;
            right[i] -= pull * value;
        }
        for i in 0..5 {
            normal[(i, i)] *= 1.0 + 1e-9;
        }
        let change = normal.cholesky()?.solve(&right);
        let next = Self {
            cx: self.cx + change[0],
            cy: self.cy + change[1],
            r: self.r + change[2],
            p: self.p + change[3],
            q: self.q + change[4],
        };
        next.is_sound(1.0).then_some(next)
    }

    /// Orthogonal-distance fit from this start; `None` when the points do not hold an ellipse.
    pub(crate) fn fitted(&self, points: &[Weighted], roundness_px: f64, steps: usize) -> Option<Self> {
        let mut now = *self;
        for _ in 0..steps {
            let next = now.step(points, roundness_px)?;
            let moved = (next.cx - now.cx).abs() + (next.cy - now.cy).abs() + (next.r - now.r).abs();
            now = next;
            if moved < 1e-7 * now.r {
                break;
            }
        }
        Some(now)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_fit_returns_the_ellipse_its_points_lie_on() {
        let truth = Ellipse { cx: 101.0, cy: 57.5, r: 80.0, p: 4.0, q: -7.0 };
        let at = |i: i32| truth.point(f64::from(i) * 0.05);
        let points: Vec<_> = (0..90).map(at).map(|[x, y]| Weighted { x, y, weight: 1.0 }).collect();
        let found = Ellipse::circle(95.0, 60.0, 75.0).fitted(&points, 1e9, 40);
        let off = found.map(|e| (e.cx - truth.cx).abs() + (e.r - truth.r).abs() + (e.q - truth.q).abs());
        assert!(off.is_some_and(|d| d < 1e-6), "{found:?}");
    }

    #[test]
    fn axes_and_angle_follow_from_the_matrix() {
        let e = Ellipse { cx: 0.0, cy: 0.0, r: 10.0, p: 0.0, q: 2.0 };
        assert_eq!(e.semi_axes(), [12.0, 8.0]);
        assert!((e.axis_angle_deg() - 45.0).abs() < 1e-12);
        assert!((e.distance(20.0 / 2f64.sqrt(), 20.0 / 2f64.sqrt()) - 8.0).abs() < 1e-9);
    }
}
