//! Slips of the pen that multiply the mass by one factor, whatever the reading.
//!
//! The factors are exact algebra on m = e (B r)² / 2V with B = µ₀ N I R² / (R² + (s/2)²)^{3/2}, where s = R.

/// A slip that shows as a constant factor.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ConstantSlip {
    /// Fixed name.
    pub code: &'static str,
    /// What was done.
    pub what: &'static str,
    /// Mass written down over mass that the same readings give.
    pub factor_on_mass: f64,
    /// How it is told from others with the same factor.
    pub look_at: &'static str,
}

/// (4/5)^{3/2}: the factor of a pair whose separation is its radius.
const PAIR: f64 = 0.715_541_752_799_932_7;

/// The slips a class makes most, by the size of their factor.
pub const CONSTANT_SLIPS: [ConstantSlip; 10] = [
    ConstantSlip {
        code: "unit-length",
        what: "unit of length: radius left in millimetres",
        factor_on_mass: 1e6,
        look_at: "a power of ten; the radius column",
    },
    ConstantSlip {
        code: "unit-length",
        what: "unit of length: radius left in centimetres",
        factor_on_mass: 1e4,
        look_at: "a power of ten; the radius column",
    },
    ConstantSlip {
        code: "diameter-as-radius",
        what: "the diameter put in for the radius",
        factor_on_mass: 4.0,
        look_at: "the radius column is twice the bench’s",
    },
    ConstantSlip {
        code: "double-field",
        what: "the turns of both coils in each, or the current of both",
        factor_on_mass: 4.0,
        look_at: "the flux density is twice the bench’s",
    },
    ConstantSlip {
        code: "factor-two-omitted",
        what: "the 2 left out of 2V",
        factor_on_mass: 2.0,
        look_at: "radius and flux density are right",
    },
    ConstantSlip {
        code: "pair-factor-omitted",
        what: "µ₀ N I / R without the pair’s (4/5)^{3/2}",
        factor_on_mass: 1.0 / (PAIR * PAIR),
        look_at: "the flux density is 1.398 times the bench’s",
    },
    ConstantSlip {
        code: "pair-factor-wrong-power",
        what: "(4/5)³ for (4/5)^{3/2}",
        factor_on_mass: PAIR * PAIR,
        look_at: "the flux density is 0.716 times the bench’s",
    },
    ConstantSlip {
        code: "single-loop-field",
        what: "the field of one coil’s centre, µ₀ N I / 2R",
        factor_on_mass: 1.0 / (4.0 * PAIR * PAIR),
        look_at: "the flux density is 0.699 times the bench’s",
    },
    ConstantSlip {
        code: "radius-halved-twice",
        what: "the radius halved once more",
        factor_on_mass: 0.25,
        look_at: "the radius column is half the bench’s",
    },
    ConstantSlip {
        code: "half-field",
        what: "the coils’ diameter put in for their radius",
        factor_on_mass: 0.25,
        look_at: "the flux density is half the bench’s",
    },
];

#[cfg(test)]
mod tests {
    use super::*;

    /// Field of the pair on its axis per μ₀ N I, at its centre.
    fn pair(radius: f64, separation: f64) -> f64 {
        radius * radius / (radius * radius + 0.25 * separation * separation).powf(1.5)
    }

    fn factor(code: &str) -> f64 {
        CONSTANT_SLIPS.iter().find(|slip| slip.code == code).map_or(f64::NAN, |slip| slip.factor_on_mass)
    }

    #[test]
    fn factors_follow_from_the_formula() {
        let (radius, right) = (0.15, pair(0.15, 0.15));
        let of = |field: f64, ring: f64| (field / right * ring).powi(2);
        let cases = [
            ("diameter-as-radius", of(right, 2.0)),
            ("radius-halved-twice", of(right, 0.5)),
            ("double-field", of(2.0 * right, 1.0)),
            ("half-field", of(pair(0.30, 0.30), 1.0)),
            ("pair-factor-omitted", of(1.0 / radius, 1.0)),
            ("single-loop-field", of(0.5 / radius, 1.0)),
            ("pair-factor-wrong-power", of(0.8_f64.powi(3) / radius, 1.0)),
        ];
        let lengths: Vec<f64> = CONSTANT_SLIPS
            .iter()
            .filter(|slip| slip.code == "unit-length")
            .map(|s| s.factor_on_mass)
            .collect();
        assert_eq!(lengths, [of(right, 1000.0).round(), of(right, 100.0).round()]);
        for (code, expected) in cases {
            assert!((factor(code) / expected - 1.0).abs() < 1e-12, "{code}: {} {expected}", factor(code));
        }
    }
}
