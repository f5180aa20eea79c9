//! Diameters of traced rings against the logarithm of the gyroradius at the centre's field, with their derivatives.
//!
//! In a field that only grows or shrinks, a path keeps its shape where momentum and field grow alike: one curve of one
//! variable holds every setting of a bench.

use arcmass_lab::LabError;
use arcmass_physics::Vec3;

/// Smallest and largest gyroradius, m: no ring in a bulb is outside.
const SMALLEST_M: f64 = 0.008;
const LARGEST_M: f64 = 0.110;
/// Rings traced.
const COUNT: usize = 24;

/// What is known at one place of the curve.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(crate) struct Sample {
    /// ln(d/m).
    pub(crate) ln_d: f64,
    /// Derivative by ln gyroradius.
    pub(crate) slope: f64,
    /// What a field along the axis counts against the coils' own, about 1.
    pub(crate) axial: f64,
    /// By a field across (x, y) over the coils' field: first power and second.
    pub(crate) across: [f64; 2],
    pub(crate) across_squared: [f64; 2],
    /// By the muzzle's place, 1/m.
    pub(crate) muzzle: [f64; 3],
    /// By the gun's direction, 1/rad: in the ring's plane, towards z.
    pub(crate) direction: [f64; 2],
}

impl Sample {
    fn mixed(&self, other: &Self, t: f64) -> Self {
        let mix = |a: f64, b: f64| a + t * (b - a);
        let pair = |a: [f64; 2], b: [f64; 2]| [mix(a[0], b[0]), mix(a[1], b[1])];
        Self {
            ln_d: mix(self.ln_d, other.ln_d),
            slope: mix(self.slope, other.slope),
            axial: mix(self.axial, other.axial),
            across: pair(self.across, other.across),
            across_squared: pair(self.across_squared, other.across_squared),
            muzzle: [0, 1, 2].map(|i| mix(self.muzzle[i], other.muzzle[i])),
            direction: pair(self.direction, other.direction),
        }
    }
}

/// The curve.
#[derive(Debug, Clone)]
pub(crate) struct Curve {
    first: f64,
    step: f64,
    samples: Vec<Sample>,
}

type Trace<'a> = dyn Fn(f64, Vec3, Vec3, [f64; 2]) -> Result<f64, LabError> + 'a;

impl Curve {
    /// Traces the curve with `trace(gyroradius, background, muzzle moved by, direction turned by)` → ln d.
    pub(crate) fn traced(
        field_direction: f64,
        field_t: f64,
        has_muzzle: bool,
        trace: &Trace<'_>,
    ) -> Result<Self, LabError> {
        let first = SMALLEST_M.ln();
        let step = (LARGEST_M.ln() - first) / (COUNT - 1) as f64;
        let mut samples: Vec<Sample> = Vec::new();
        for index in 0..COUNT {
            let gyroradius = (first + step * index as f64).exp();
            match sample(gyroradius, field_direction, field_t, has_muzzle, trace) {
                Ok(sample) => samples.push(sample),
                Err(fault) if samples.len() < 4 => return Err(fault),
                Err(_) => break,
            }
        }
        let ends = samples.len().saturating_sub(1);
        for index in 0..samples.len() {
            let (low, high) = (index.saturating_sub(1), (index + 1).min(ends));
            samples[index].slope = (samples[high].ln_d - samples[low].ln_d) / ((high - low) as f64 * step);
        }
        // a field along the axis: change of ln d over that of the gyroradius
        for sample in &mut samples {
            sample.axial /= -sample.slope;
        }
        Ok(Self { first, step, samples })
    }

    /// At ln(gyroradius/m); beyond the ends the last slope goes on.
    pub(crate) fn at(&self, x: f64) -> Sample {
        let last = self.samples.len().saturating_sub(2);
        let place = (x - self.first) / self.step;
        let index = if place > 0.0 { (place as usize).min(last) } else { 0 };
        let (a, b) = (&self.samples[index], &self.samples[(index + 1).min(self.samples.len() - 1)]);
        let t = place - index as f64;
        let mut at = a.mixed(b, t.clamp(0.0, 1.0));
        if (0.0..=1.0).contains(&t) {
            // the cubic through both ends with their slopes
            let (m0, m1) = (a.slope * self.step, b.slope * self.step);
            let (t2, t3) = (t * t, t * t * t);
            at.ln_d = (2.0 * t3 - 3.0 * t2 + 1.0) * a.ln_d
                + (t3 - 2.0 * t2 + t) * m0
                + (3.0 * t2 - 2.0 * t3) * b.ln_d
                + (t3 - t2) * m1;
        } else {
            at.ln_d += at.slope * self.step * (t - t.clamp(0.0, 1.0));
        }
        at
    }
}

fn sample(
    gyroradius: f64,
    field_direction: f64,
    field_t: f64,
    has_muzzle: bool,
    trace: &Trace<'_>,
) -> Result<Sample, LabError> {
    const ACROSS: f64 = 0.04;
    const AXIAL: f64 = 1e-3;
    const MOVED_M: f64 = 5e-4;
    const TURNED_RAD: f64 = 5e-3;
    let none = Vec3::ZERO;
    let base = trace(gyroradius, none, none, [0.0; 2])?;
    let mut sample = Sample { ln_d: base, ..Sample::default() };
    let axial = Vec3::new(0.0, 0.0, field_direction * AXIAL * field_t);
    sample.axial = (trace(gyroradius, axial, none, [0.0; 2])? - base) / AXIAL;
    let unit = |axis: usize, size: f64| {
        let on = |i: usize| if i == axis { size } else { 0.0 };
        Vec3::new(on(0), on(1), on(2))
    };
    for axis in 0..2 {
        let [plus, minus] =
            [1.0, -1.0].map(|sign| trace(gyroradius, unit(axis, sign * ACROSS * field_t), none, [0.0; 2]));
        let (plus, minus) = (plus?, minus?);
        sample.across[axis] = (plus - minus) / (2.0 * ACROSS);
        sample.across_squared[axis] = (0.5 * (plus + minus) - base) / (ACROSS * ACROSS);
    }
    if has_muzzle {
        for axis in 0..3 {
            sample.muzzle[axis] = (trace(gyroradius, none, unit(axis, MOVED_M), [0.0; 2])? - base) / MOVED_M;
        }
    }
    for way in 0..2 {
        let turned = if way == 0 { [TURNED_RAD, 0.0] } else { [0.0, TURNED_RAD] };
        sample.direction[way] = (trace(gyroradius, none, none, turned)? - base) / TURNED_RAD;
    }
    Ok(sample)
}
