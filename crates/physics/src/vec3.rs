//! Vectors and 3 × 3 matrices in the bench's right-handed frame, metres or tesla as the name around them says.

use std::ops::{Add, AddAssign, Div, Index, Mul, Neg, Sub, SubAssign};

/// Three Cartesian components; the unit is that of the quantity it holds.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Vec3 {
    /// Component along +x.
    pub x: f64,
    /// Component along +y (up).
    pub y: f64,
    /// Component along +z (the pair's axis).
    pub z: f64,
}

impl Vec3 {
    /// The vector without length.
    pub const ZERO: Self = Self::new(0.0, 0.0, 0.0);
    /// Unit vector along +x.
    pub const X: Self = Self::new(1.0, 0.0, 0.0);
    /// Unit vector along +y.
    pub const Y: Self = Self::new(0.0, 1.0, 0.0);
    /// Unit vector along +z.
    pub const Z: Self = Self::new(0.0, 0.0, 1.0);

    /// A vector from its components.
    pub const fn new(x: f64, y: f64, z: f64) -> Self {
        Self { x, y, z }
    }

    /// Scalar product.
    pub fn dot(self, other: Self) -> f64 {
        self.x * other.x + self.y * other.y + self.z * other.z
    }

    /// Vector product `self × other`.
    pub fn cross(self, other: Self) -> Self {
        Self::new(
            self.y * other.z - self.z * other.y,
            self.z * other.x - self.x * other.z,
            self.x * other.y - self.y * other.x,
        )
    }

    /// Length.
    pub fn norm(self) -> f64 {
        self.dot(self).sqrt()
    }

    /// The unit vector along this one, or `None` for a vector without length or with an infinite or undefined one.
    pub fn unit(self) -> Option<Self> {
        let length = self.norm();
        (length > 0.0 && length.is_finite()).then(|| self / length)
    }

    /// Whether all three components are numbers.
    pub fn is_finite(self) -> bool {
        self.x.is_finite() && self.y.is_finite() && self.z.is_finite()
    }

    /// The vector turned about the unit vector `axis` by `angle_rad`, right-handed (Rodrigues).
    pub fn rotated(self, axis: Self, angle_rad: f64) -> Self {
        let (sine, cosine) = angle_rad.sin_cos();
        let half = (0.5 * angle_rad).sin();
        self * cosine + axis.cross(self) * sine + axis * (axis.dot(self) * 2.0 * half * half)
    }

    /// Some unit vector at right angles to this one (which must have length).
    pub fn any_perpendicular(self) -> Option<Self> {
        let helper = if self.x.abs() <= self.y.abs() && self.x.abs() <= self.z.abs() {
            Self::X
        } else if self.y.abs() <= self.z.abs() {
            Self::Y
        } else {
            Self::Z
        };
        self.cross(helper).unit()
    }
}

impl From<[f64; 3]> for Vec3 {
    fn from([x, y, z]: [f64; 3]) -> Self {
        Self::new(x, y, z)
    }
}

impl From<Vec3> for [f64; 3] {
    fn from(v: Vec3) -> Self {
        [v.x, v.y, v.z]
    }
}

impl Add for Vec3 {
    type Output = Self;
    fn add(self, o: Self) -> Self {
        Self::new(self.x + o.x, self.y + o.y, self.z + o.z)
    }
}

impl Sub for Vec3 {
    type Output = Self;
    fn sub(self, o: Self) -> Self {
        Self::new(self.x - o.x, self.y - o.y, self.z - o.z)
    }
}

impl AddAssign for Vec3 {
    fn add_assign(&mut self, o: Self) {
        *self = *self + o;
    }
}

impl SubAssign for Vec3 {
    fn sub_assign(&mut self, o: Self) {
        *self = *self - o;
    }
}

impl Mul<f64> for Vec3 {
    type Output = Self;
    fn mul(self, k: f64) -> Self {
        Self::new(self.x * k, self.y * k, self.z * k)
    }
}

impl Mul<Vec3> for f64 {
    type Output = Vec3;
    fn mul(self, v: Vec3) -> Vec3 {
        v * self
    }
}

impl Div<f64> for Vec3 {
    type Output = Self;
    fn div(self, k: f64) -> Self {
        Self::new(self.x / k, self.y / k, self.z / k)
    }
}

impl Neg for Vec3 {
    type Output = Self;
    fn neg(self) -> Self {
        Self::new(-self.x, -self.y, -self.z)
    }
}

/// A 3 × 3 matrix; as a gradient, element `[i][j]` is the derivative of component i along direction j.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Mat3 {
    /// Rows.
    pub rows: [[f64; 3]; 3],
}

impl Mat3 {
    /// The matrix of products `left_i right_j`.
    pub fn outer(left: Vec3, right: Vec3) -> Self {
        let r: [f64; 3] = right.into();
        let row = |l: f64| [l * r[0], l * r[1], l * r[2]];
        Self { rows: [row(left.x), row(left.y), row(left.z)] }
    }

    /// `k` times the unit matrix.
    pub fn diagonal(k: f64) -> Self {
        Self { rows: [[k, 0.0, 0.0], [0.0, k, 0.0], [0.0, 0.0, k]] }
    }

    /// Sum of the diagonal: the divergence, for a gradient.
    pub fn trace(&self) -> f64 {
        self.rows[0][0] + self.rows[1][1] + self.rows[2][2]
    }

    /// The curl, for a gradient: `(∂y Bz − ∂z By, …)`.
    pub fn curl(&self) -> Vec3 {
        let r = &self.rows;
        Vec3::new(r[2][1] - r[1][2], r[0][2] - r[2][0], r[1][0] - r[0][1])
    }

    /// Largest magnitude of any element.
    pub fn max_abs(&self) -> f64 {
        self.rows.iter().flatten().fold(0.0, |m: f64, v| m.max(v.abs()))
    }
}

impl Index<usize> for Mat3 {
    type Output = [f64; 3];
    fn index(&self, row: usize) -> &[f64; 3] {
        &self.rows[row]
    }
}

impl Add for Mat3 {
    type Output = Self;
    fn add(self, o: Self) -> Self {
        let mut rows = self.rows;
        for (row, other) in rows.iter_mut().zip(o.rows) {
            for (a, b) in row.iter_mut().zip(other) {
                *a += b;
            }
        }
        Self { rows }
    }
}

impl Mul<f64> for Mat3 {
    type Output = Self;
    fn mul(self, k: f64) -> Self {
        Self { rows: self.rows.map(|row| row.map(|v| v * k)) }
    }
}

impl Mul<Vec3> for Mat3 {
    type Output = Vec3;
    fn mul(self, v: Vec3) -> Vec3 {
        let r = self.rows.map(|row| Vec3::from(row).dot(v));
        Vec3::from(r)
    }
}
