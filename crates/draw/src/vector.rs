//! Vectors of three components in the bench's frame.

/// A point or direction, in millimetres or without unit.
pub(crate) type Vec3 = [f64; 3];

pub(crate) fn add(a: Vec3, b: Vec3) -> Vec3 {
    [a[0] + b[0], a[1] + b[1], a[2] + b[2]]
}

pub(crate) fn sub(a: Vec3, b: Vec3) -> Vec3 {
    [a[0] - b[0], a[1] - b[1], a[2] - b[2]]
}

pub(crate) fn scaled(a: Vec3, factor: f64) -> Vec3 {
    [a[0] * factor, a[1] * factor, a[2] * factor]
}

/// `a + factor · b`.
pub(crate) fn along(a: Vec3, b: Vec3, factor: f64) -> Vec3 {
    [a[0] + factor * b[0], a[1] + factor * b[1], a[2] + factor * b[2]]
}

pub(crate) fn dot(a: Vec3, b: Vec3) -> f64 {
    a[0] * b[0] + a[1] * b[1] + a[2] * b[2]
}

pub(crate) fn cross(a: Vec3, b: Vec3) -> Vec3 {
    [a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]]
}

pub(crate) fn norm(a: Vec3) -> f64 {
    dot(a, a).sqrt()
}

/// The unit vector along `a`, or nothing when `a` is too short to have a direction.
pub(crate) fn unit(a: Vec3) -> Option<Vec3> {
    let length = norm(a);
    (length > 1e-12 && length.is_finite()).then(|| scaled(a, 1.0 / length))
}
