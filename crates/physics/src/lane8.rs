//! Eight numbers side by side, as one vector of 512 bits, two of 256, or eight plain numbers: the same bits in each form.

use std::ops::{Add, Div, Mul, Sub};

use crate::lanes::VectorWidth;

/// Eight numbers on which every operation acts lane by lane.
pub(crate) trait Lane8:
    Copy + Add<Output = Self> + Sub<Output = Self> + Mul<Output = Self> + Div<Output = Self>
{
    /// The width that these vectors are for.
    const WIDTH: VectorWidth;
    fn splat(v: f64) -> Self;
    fn load(v: &[f64; 8]) -> Self;
    fn store(self) -> [f64; 8];
    /// `self · b + c` with one rounding.
    fn fma(self, b: Self, c: Self) -> Self;
    /// `c − self · b` with one rounding.
    fn fnma(self, b: Self, c: Self) -> Self;
    fn sqrt(self) -> Self;
    fn abs(self) -> Self;
    /// The larger; the second if either is no number.
    fn larger(self, other: Self) -> Self;

    #[inline(always)]
    fn zero() -> Self {
        Self::splat(0.0)
    }

    /// Eight numbers from a column; what is missing at the end is 0.
    #[inline(always)]
    fn from_slice(v: &[f64]) -> Self {
        match v.first_chunk::<8>() {
            Some(all) => Self::load(all),
            None => {
                let mut padded = [0.0; 8];
                for (p, v) in padded.iter_mut().zip(v) {
                    *p = *v;
                }
                Self::load(&padded)
            }
        }
    }

    /// Largest of the eight.
    #[inline(always)]
    fn largest(self) -> f64 {
        self.store().into_iter().fold(f64::NEG_INFINITY, |a, b| if a > b { a } else { b })
    }
}

/// Eight plain numbers.
#[derive(Clone, Copy)]
pub(crate) struct Plain([f64; 8]);

impl Plain {
    #[inline(always)]
    fn with(self, o: Self, f: impl Fn(f64, f64) -> f64) -> Self {
        let mut out = [0.0; 8];
        for (out, (a, b)) in out.iter_mut().zip(self.0.into_iter().zip(o.0)) {
            *out = f(a, b);
        }
        Self(out)
    }
}

impl Lane8 for Plain {
    const WIDTH: VectorWidth = VectorWidth::Portable;
    #[inline(always)]
    fn splat(v: f64) -> Self {
        Self([v; 8])
    }
    #[inline(always)]
    fn load(v: &[f64; 8]) -> Self {
        Self(*v)
    }
    #[inline(always)]
    fn store(self) -> [f64; 8] {
        self.0
    }
    #[inline(always)]
    fn fma(self, b: Self, c: Self) -> Self {
        let mut out = c.0;
        for (out, (a, b)) in out.iter_mut().zip(self.0.into_iter().zip(b.0)) {
            *out = a.mul_add(b, *out);
        }
        Self(out)
    }
    #[inline(always)]
    fn fnma(self, b: Self, c: Self) -> Self {
        Self(self.0.map(|v| -v)).fma(b, c)
    }
    #[inline(always)]
    fn sqrt(self) -> Self {
        Self(self.0.map(f64::sqrt))
    }
    #[inline(always)]
    fn abs(self) -> Self {
        Self(self.0.map(f64::abs))
    }
    #[inline(always)]
    fn larger(self, other: Self) -> Self {
        self.with(other, |a, b| if a > b { a } else { b })
    }
}

macro_rules! operators {
    ($name:ident, $a:ident, $b:ident, $add:expr, $sub:expr, $mul:expr, $div:expr) => {
        operators!(one $name, Add, add, $a, $b, $add);
        operators!(one $name, Sub, sub, $a, $b, $sub);
        operators!(one $name, Mul, mul, $a, $b, $mul);
        operators!(one $name, Div, div, $a, $b, $div);
    };
    (one $name:ident, $trait:ident, $method:ident, $a:ident, $b:ident, $value:expr) => {
        impl $trait for $name {
            type Output = Self;
            #[inline(always)]
            fn $method(self, other: Self) -> Self {
                let ($a, $b) = (self, other);
                $value
            }
        }
    };
}

operators!(
    Plain,
    a,
    b,
    a.with(b, |x, y| x + y),
    a.with(b, |x, y| x - y),
    a.with(b, |x, y| x * y),
    a.with(b, |x, y| x / y)
);

#[cfg(target_arch = "x86_64")]
pub(crate) mod x86 {
    //! The vector forms. Every intrinsic here needs the features that [`crate::lanes`] detects before it runs a kernel with
    //! these types; nothing else makes a value of them, which is what makes the calls sound.

    use std::arch::x86_64::*;
    use std::ops::{Add, Div, Mul, Sub};

    use super::Lane8;
    use crate::lanes::VectorWidth;

    /// One vector of 512 bits.
    #[derive(Clone, Copy)]
    pub(crate) struct Wide(__m512d);

    operators!(
        Wide,
        a,
        b,
        unsafe { Wide(_mm512_add_pd(a.0, b.0)) },
        unsafe { Wide(_mm512_sub_pd(a.0, b.0)) },
        unsafe { Wide(_mm512_mul_pd(a.0, b.0)) },
        unsafe { Wide(_mm512_div_pd(a.0, b.0)) }
    );

    impl Lane8 for Wide {
        const WIDTH: VectorWidth = VectorWidth::Avx512;
        #[inline(always)]
        fn splat(v: f64) -> Self {
            unsafe { Self(_mm512_set1_pd(v)) }
        }
        #[inline(always)]
        fn load(v: &[f64; 8]) -> Self {
            unsafe { Self(_mm512_loadu_pd(v.as_ptr())) }
        }
        #[inline(always)]
        fn store(self) -> [f64; 8] {
            let mut out = [0.0; 8];
            unsafe { _mm512_storeu_pd(out.as_mut_ptr(), self.0) };
            out
        }
        #[inline(always)]
        fn fma(self, b: Self, c: Self) -> Self {
            unsafe { Self(_mm512_fmadd_pd(self.0, b.0, c.0)) }
        }
        #[inline(always)]
        fn fnma(self, b: Self, c: Self) -> Self {
            unsafe { Self(_mm512_fnmadd_pd(self.0, b.0, c.0)) }
        }
        #[inline(always)]
        fn sqrt(self) -> Self {
            unsafe { Self(_mm512_sqrt_pd(self.0)) }
        }
        #[inline(always)]
        fn abs(self) -> Self {
            unsafe { Self(_mm512_abs_pd(self.0)) }
        }
        #[inline(always)]
        fn larger(self, other: Self) -> Self {
            unsafe { Self(_mm512_max_pd(self.0, other.0)) }
        }
    }

    /// Two vectors of 256 bits.
    #[derive(Clone, Copy)]
    pub(crate) struct Halves(__m256d, __m256d);

    operators!(
        Halves,
        a,
        b,
        unsafe { Halves(_mm256_add_pd(a.0, b.0), _mm256_add_pd(a.1, b.1)) },
        unsafe { Halves(_mm256_sub_pd(a.0, b.0), _mm256_sub_pd(a.1, b.1)) },
        unsafe { Halves(_mm256_mul_pd(a.0, b.0), _mm256_mul_pd(a.1, b.1)) },
        unsafe { Halves(_mm256_div_pd(a.0, b.0), _mm256_div_pd(a.1, b.1)) }
    );

    impl Lane8 for Halves {
        const WIDTH: VectorWidth = VectorWidth::Avx2;
        #[inline(always)]
        fn splat(v: f64) -> Self {
            unsafe { Self(_mm256_set1_pd(v), _mm256_set1_pd(v)) }
        }
        #[inline(always)]
        fn load(v: &[f64; 8]) -> Self {
            unsafe { Self(_mm256_loadu_pd(v.as_ptr()), _mm256_loadu_pd(v.as_ptr().add(4))) }
        }
        #[inline(always)]
        fn store(self) -> [f64; 8] {
            let mut out = [0.0; 8];
            unsafe {
                _mm256_storeu_pd(out.as_mut_ptr(), self.0);
                _mm256_storeu_pd(out.as_mut_ptr().add(4), self.1);
            }
            out
        }
        #[inline(always)]
        fn fma(self, b: Self, c: Self) -> Self {
            unsafe { Self(_mm256_fmadd_pd(self.0, b.0, c.0), _mm256_fmadd_pd(self.1, b.1, c.1)) }
        }
        #[inline(always)]
        fn fnma(self, b: Self, c: Self) -> Self {
            unsafe { Self(_mm256_fnmadd_pd(self.0, b.0, c.0), _mm256_fnmadd_pd(self.1, b.1, c.1)) }
        }
        #[inline(always)]
        fn sqrt(self) -> Self {
            unsafe { Self(_mm256_sqrt_pd(self.0), _mm256_sqrt_pd(self.1)) }
        }
        #[inline(always)]
        fn abs(self) -> Self {
            let sign = unsafe { _mm256_set1_pd(-0.0) };
            unsafe { Self(_mm256_andnot_pd(sign, self.0), _mm256_andnot_pd(sign, self.1)) }
        }
        #[inline(always)]
        fn larger(self, other: Self) -> Self {
            unsafe { Self(_mm256_max_pd(self.0, other.0), _mm256_max_pd(self.1, other.1)) }
        }
    }
}
