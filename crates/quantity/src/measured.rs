//! Values that remember why they are uncertain, so that shared causes stay shared.

use std::sync::Arc;

use crate::quantities::Scalar;

/// One independent reason for uncertainty: a meter's gain, a ruler's stretch, one reading's noise.
///
/// Two causes made apart are different even with the same name; clones are the same cause.
#[derive(Debug, Clone)]
pub struct Cause(Arc<str>);

impl Cause {
    /// A new cause, independent of every other.
    pub fn new(name: &str) -> Self {
        Self(Arc::from(name))
    }

    /// Its name, for a budget.
    pub fn name(&self) -> &str {
        &self.0
    }

    fn is(&self, other: &Self) -> bool {
        Arc::ptr_eq(&self.0, &other.0)
    }
}

/// A value with its standard uncertainty split by cause, to first order (JCGM 100:2008, 5.2).
///
/// ```
/// use arcmass_quantity::{Cause, Measured};
/// let gain = Cause::new("ammeter gain");
/// let a = Measured::new(2.0, 0.02, &gain);
/// let b = Measured::new(1.0, 0.01, &gain);
/// // the shared gain cancels in the ratio, and adds up in the sum
/// assert!(a.ratio(&b).standard_uncertainty() < 1e-15);
/// assert!((a.sum(&b).standard_uncertainty() - 0.03).abs() < 1e-15);
/// ```
#[derive(Debug, Clone)]
pub struct Measured<T = f64> {
    value: T,
    parts: Vec<(Cause, f64)>,
}

impl<T: Scalar> Measured<T> {
    /// A value, its standard uncertainty in SI, and the one cause of it.
    pub fn new(value: T, standard_uncertainty: f64, cause: &Cause) -> Self {
        Self { value, parts: vec![(cause.clone(), standard_uncertainty)] }
    }

    /// A value whose uncertainty has several causes, each with its signed share in SI.
    pub fn with_parts(value: T, parts: Vec<(Cause, f64)>) -> Self {
        let mut merged = Self { value, parts: Vec::with_capacity(parts.len()) };
        for (cause, share) in parts {
            merged.add_part(&cause, share);
        }
        merged
    }

    /// The best estimate.
    pub fn value(&self) -> T {
        self.value
    }

    /// Root of the sum of squares over independent causes, in SI.
    pub fn standard_uncertainty(&self) -> f64 {
        self.parts.iter().map(|(_, share)| share * share).sum::<f64>().sqrt()
    }

    /// Each cause with its signed share in SI: sensitivity times the cause's standard uncertainty.
    pub fn parts(&self) -> &[(Cause, f64)] {
        &self.parts
    }

    /// Covariance with another value, in the product of their SI units.
    pub fn covariance<U: Scalar>(&self, other: &Measured<U>) -> f64 {
        self.parts.iter().map(|(cause, share)| share * other.share_of(cause)).sum()
    }

    /// Correlation coefficient with another value; 0 where either is exact.
    pub fn correlation<U: Scalar>(&self, other: &Measured<U>) -> f64 {
        let scale = self.standard_uncertainty() * other.standard_uncertainty();
        if scale > 0.0 { self.covariance(other) / scale } else { 0.0 }
    }

    /// Any function of it, with its derivative there (both in SI).
    pub fn map<U: Scalar>(&self, value: U, derivative: f64) -> Measured<U> {
        let parts = self.parts.iter().map(|(cause, share)| (cause.clone(), share * derivative)).collect();
        Measured { value, parts }
    }

    /// The same as a bare number in SI.
    pub fn in_si(&self) -> Measured<f64> {
        self.map(self.value.si(), 1.0)
    }

    fn share_of(&self, cause: &Cause) -> f64 {
        self.parts.iter().find(|(own, _)| own.is(cause)).map_or(0.0, |(_, share)| *share)
    }

    fn add_part(&mut self, cause: &Cause, share: f64) {
        match self.parts.iter_mut().find(|(own, _)| own.is(cause)) {
            Some((_, own)) => *own += share,
            None => self.parts.push((cause.clone(), share)),
        }
    }
}

impl Measured<f64> {
    /// A function of two values with its two partial derivatives there.
    pub fn combine(&self, other: &Self, value: f64, by_self: f64, by_other: f64) -> Self {
        let mut result = self.map(value, by_self);
        for (cause, share) in &other.parts {
            result.add_part(cause, share * by_other);
        }
        result
    }

    /// Their sum.
    pub fn sum(&self, other: &Self) -> Self {
        self.combine(other, self.value + other.value, 1.0, 1.0)
    }

    /// Their difference.
    pub fn difference(&self, other: &Self) -> Self {
        self.combine(other, self.value - other.value, 1.0, -1.0)
    }

    /// Their product.
    pub fn product(&self, other: &Self) -> Self {
        self.combine(other, self.value * other.value, other.value, self.value)
    }

    /// Their ratio; not finite where `other` is 0.
    pub fn ratio(&self, other: &Self) -> Self {
        let value = self.value / other.value;
        self.combine(other, value, 1.0 / other.value, -value / other.value)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::quantities::Length;

    #[test]
    fn independent_causes_add_in_squares_and_shared_ones_do_not() {
        let a = Measured::new(3.0, 0.3, &Cause::new("a"));
        let b = Measured::new(4.0, 0.4, &Cause::new("b"));
        assert!((a.sum(&b).standard_uncertainty() - 0.5).abs() < 1e-15);
        assert_eq!(a.difference(&a).standard_uncertainty(), 0.0);
        assert!((a.product(&a).standard_uncertainty() - 1.8).abs() < 1e-12);
        assert_eq!(a.correlation(&b), 0.0);
        assert!((a.correlation(&a) - 1.0).abs() < 1e-15);
    }

    #[test]
    fn causes_with_the_same_name_made_apart_are_different() {
        let a = Measured::new(1.0, 0.1, &Cause::new("noise"));
        let b = Measured::new(1.0, 0.1, &Cause::new("noise"));
        assert_eq!(a.covariance(&b), 0.0);
    }

    #[test]
    fn a_typed_value_keeps_its_causes_through_a_function() {
        let stretch = Cause::new("ruler");
        let d = Measured::new(Length::mm(90.0), 0.09e-3, &stretch);
        let r = d.map(d.value() * 0.5, 0.5);
        assert!((r.value().in_mm() - 45.0).abs() < 1e-12);
        assert!((r.standard_uncertainty() - 0.045e-3).abs() < 1e-18);
        assert!((r.correlation(&d) - 1.0).abs() < 1e-15);
    }

    #[test]
    fn the_same_cause_twice_is_added_before_squaring() {
        let gain = Cause::new("gain");
        let twice = Measured::with_parts(1.0, vec![(gain.clone(), 0.1), (gain, -0.1)]);
        assert_eq!(twice.standard_uncertainty(), 0.0);
    }
}
