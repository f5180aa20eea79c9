//! Numbers that carry their derivatives, so that one formula gives a field and its gradient.

use std::ops::{Add, Div, Mul, Neg, Sub};

/// What a field formula needs of a number: `f64` for the value alone, [`Dual`] for value and derivatives.
pub(crate) trait Real:
    Copy
    + Add<Output = Self>
    + Sub<Output = Self>
    + Mul<Output = Self>
    + Div<Output = Self>
    + Neg<Output = Self>
    + Mul<f64, Output = Self>
    + Add<f64, Output = Self>
    + Sub<f64, Output = Self>
{
    fn constant(value: f64) -> Self;
    fn value(self) -> f64;
    fn sqrt(self) -> Self;
}

impl Real for f64 {
    fn constant(value: f64) -> Self {
        value
    }
    fn value(self) -> f64 {
        self
    }
    fn sqrt(self) -> Self {
        f64::sqrt(self)
    }
}

/// A value and its derivatives along `N` directions.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Dual<const N: usize> {
    pub(crate) v: f64,
    pub(crate) d: [f64; N],
}

impl<const N: usize> Dual<N> {
    /// The independent variable number `index`.
    pub(crate) fn variable(v: f64, index: usize) -> Self {
        let mut d = [0.0; N];
        if let Some(slot) = d.get_mut(index) {
            *slot = 1.0;
        }
        Self { v, d }
    }

    /// `v` with derivatives `ka a' + kb b'`.
    fn chain(v: f64, a: &Self, ka: f64, b: &Self, kb: f64) -> Self {
        let mut d = [0.0; N];
        for ((slot, da), db) in d.iter_mut().zip(a.d).zip(b.d) {
            *slot = ka * da + kb * db;
        }
        Self { v, d }
    }
}

impl<const N: usize> Add for Dual<N> {
    type Output = Self;
    fn add(self, o: Self) -> Self {
        Self::chain(self.v + o.v, &self, 1.0, &o, 1.0)
    }
}

impl<const N: usize> Sub for Dual<N> {
    type Output = Self;
    fn sub(self, o: Self) -> Self {
        Self::chain(self.v - o.v, &self, 1.0, &o, -1.0)
    }
}

impl<const N: usize> Mul for Dual<N> {
    type Output = Self;
    fn mul(self, o: Self) -> Self {
        Self::chain(self.v * o.v, &self, o.v, &o, self.v)
    }
}

impl<const N: usize> Div for Dual<N> {
    type Output = Self;
    fn div(self, o: Self) -> Self {
        let v = self.v / o.v;
        Self::chain(v, &self, 1.0 / o.v, &o, -v / o.v)
    }
}

impl<const N: usize> Neg for Dual<N> {
    type Output = Self;
    fn neg(self) -> Self {
        Self { v: -self.v, d: self.d.map(|x| -x) }
    }
}

impl<const N: usize> Mul<f64> for Dual<N> {
    type Output = Self;
    fn mul(self, k: f64) -> Self {
        Self { v: self.v * k, d: self.d.map(|x| x * k) }
    }
}

impl<const N: usize> Add<f64> for Dual<N> {
    type Output = Self;
    fn add(self, k: f64) -> Self {
        Self { v: self.v + k, d: self.d }
    }
}

impl<const N: usize> Sub<f64> for Dual<N> {
    type Output = Self;
    fn sub(self, k: f64) -> Self {
        Self { v: self.v - k, d: self.d }
    }
}

impl<const N: usize> Real for Dual<N> {
    fn constant(v: f64) -> Self {
        Self { v, d: [0.0; N] }
    }
    fn value(self) -> f64 {
        self.v
    }
    fn sqrt(self) -> Self {
        let root = self.v.sqrt();
        Self { v: root, d: self.d.map(|x| if root > 0.0 { 0.5 * x / root } else { 0.0 }) }
    }
}
