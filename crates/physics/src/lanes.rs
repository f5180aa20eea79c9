//! Chooses the machine's widest vectors at run time; the bits are the same for every width.
//!
//! Every kernel is written once, lane by lane, with explicit fused multiply–adds; compiled for several vector widths it does
//! the same operations in the same order in each lane, so the choice changes the speed alone.

#[cfg(target_arch = "x86_64")]
use crate::lane8::x86;
use crate::lane8::{Lane8, Plain};

/// Vector width a kernel is run with.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[non_exhaustive]
pub enum VectorWidth {
    /// What every machine of this kind has.
    Portable,
    /// 256 bits with fused multiply–add.
    Avx2,
    /// 512 bits.
    Avx512,
}

impl VectorWidth {
    /// The widths this machine offers, narrowest first.
    pub fn available() -> Vec<Self> {
        let mut widths = vec![Self::Portable];
        #[cfg(target_arch = "x86_64")]
        {
            if has_avx2() {
                widths.push(Self::Avx2);
            }
            if has_avx512() {
                widths.push(Self::Avx512);
            }
        }
        widths
    }

    /// The widest this machine offers.
    #[inline]
    pub fn widest() -> Self {
        #[cfg(target_arch = "x86_64")]
        {
            if has_avx512() {
                return Self::Avx512;
            }
            if has_avx2() {
                return Self::Avx2;
            }
        }
        Self::Portable
    }
}

#[cfg(target_arch = "x86_64")]
fn has_avx2() -> bool {
    std::is_x86_feature_detected!("avx2") && std::is_x86_feature_detected!("fma")
}

#[cfg(target_arch = "x86_64")]
fn has_avx512() -> bool {
    has_avx2()
        && std::is_x86_feature_detected!("avx512f")
        && std::is_x86_feature_detected!("avx512vl")
        && std::is_x86_feature_detected!("avx512dq")
}

/// A kernel; `run` and all it calls must be inlined, so that it is compiled for each width.
pub(crate) trait Work {
    type Output;
    fn run<V: Lane8>(self) -> Self::Output;
}

/// Runs a kernel at a width; one the machine lacks is run as the widest it has.
#[inline]
pub(crate) fn at_width<W: Work>(width: VectorWidth, work: W) -> W::Output {
    #[cfg(target_arch = "x86_64")]
    {
        if width == VectorWidth::Avx512 && has_avx512() {
            // Sound: the features have just been detected.
            return unsafe { avx512(work) };
        }
        if width != VectorWidth::Portable && has_avx2() {
            // Sound: the features have just been detected.
            return unsafe { avx2(work) };
        }
    }
    let _ = width;
    work.run::<Plain>()
}

/// Runs a kernel with the widest vectors.
#[inline]
pub(crate) fn widest<W: Work>(work: W) -> W::Output {
    at_width(VectorWidth::widest(), work)
}

#[cfg(target_arch = "x86_64")]
#[target_feature(enable = "avx512f,avx512vl,avx512dq,avx2,fma")]
fn avx512<W: Work>(work: W) -> W::Output {
    work.run::<x86::Wide>()
}

#[cfg(target_arch = "x86_64")]
#[target_feature(enable = "avx2,fma")]
fn avx2<W: Work>(work: W) -> W::Output {
    work.run::<x86::Halves>()
}
