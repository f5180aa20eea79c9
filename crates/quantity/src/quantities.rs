//! Typed quantities: a length cannot be handed in where a voltage belongs.

use std::fmt;

/// Anything one number in SI units stands for.
pub trait Scalar: Copy {
    /// From SI base units.
    fn from_si(value: f64) -> Self;
    /// In SI base units.
    fn si(self) -> f64;
}

impl Scalar for f64 {
    fn from_si(value: f64) -> Self {
        value
    }
    fn si(self) -> f64 {
        self
    }
}

macro_rules! quantity {
    ($(#[$doc:meta])* $name:ident, $si_symbol:literal, { $($make:ident / $get:ident = $factor:expr, $words:literal;)+ }) => {
        $(#[$doc])*
        #[derive(Debug, Clone, Copy, PartialEq, PartialOrd)]
        pub struct $name(f64);

        impl $name {
            $(
                #[doc = concat!("From a number of ", $words, ".")]
                pub fn $make(value: f64) -> Self {
                    Self(value * $factor)
                }
                #[doc = concat!("As a number of ", $words, ".")]
                pub fn $get(self) -> f64 {
                    self.0 / $factor
                }
            )+
        }

        impl Scalar for $name {
            fn from_si(value: f64) -> Self {
                Self(value)
            }
            fn si(self) -> f64 {
                self.0
            }
        }

        impl fmt::Display for $name {
            fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                write!(f, "{} {}", self.0, $si_symbol)
            }
        }

        impl std::ops::Add for $name {
            type Output = Self;
            fn add(self, other: Self) -> Self {
                Self(self.0 + other.0)
            }
        }

        impl std::ops::Sub for $name {
            type Output = Self;
            fn sub(self, other: Self) -> Self {
                Self(self.0 - other.0)
            }
        }

        impl std::ops::Mul<f64> for $name {
            type Output = Self;
            fn mul(self, factor: f64) -> Self {
                Self(self.0 * factor)
            }
        }
    };
}

quantity!(/// A length.
    Length, "m", { m / in_m = 1.0, "metres"; cm / in_cm = 1e-2, "centimetres"; mm / in_mm = 1e-3, "millimetres"; inch / in_inch = 0.0254, "inches"; });
quantity!(/// An accelerating or other voltage.
    Voltage, "V", { volt / in_volt = 1.0, "volts"; kilovolt / in_kilovolt = 1e3, "kilovolts"; });
quantity!(/// An electric current.
    Current, "A", { ampere / in_ampere = 1.0, "amperes"; milliampere / in_milliampere = 1e-3, "milliamperes"; });
quantity!(/// A magnetic flux density.
FluxDensity, "T", {
    tesla / in_tesla = 1.0, "teslas";
    millitesla / in_millitesla = 1e-3, "milliteslas";
    microtesla / in_microtesla = 1e-6, "microteslas";
    gauss / in_gauss = 1e-4, "gauss";
    newton_per_e_m_per_s / in_newton_per_e_m_per_s = 1.0 / crate::constants::ELEMENTARY_CHARGE.value, "newtons per elementary charge per metre a second";
});
quantity!(/// Flux density that one ampere of coil current makes.
    FieldPerAmpere, "T/A", { tesla_per_ampere / in_tesla_per_ampere = 1.0, "teslas per ampere"; millitesla_per_ampere / in_millitesla_per_ampere = 1e-3, "milliteslas per ampere"; });
quantity!(/// A plane angle.
    Angle, "rad", { rad / in_rad = 1.0, "radians"; deg / in_deg = std::f64::consts::PI / 180.0, "degrees"; });
quantity!(/// An energy.
    Energy, "J", { joule / in_joule = 1.0, "joules"; electronvolt / in_electronvolt = crate::constants::ELEMENTARY_CHARGE.value, "electronvolts"; });
quantity!(/// A mass.
    Mass, "kg", { kg / in_kg = 1.0, "kilograms"; u / in_u = crate::constants::ATOMIC_MASS.value, "unified atomic mass units"; });
quantity!(/// A gas pressure.
    Pressure, "Pa", { pascal / in_pascal = 1.0, "pascals"; mbar / in_mbar = 100.0, "millibars"; torr / in_torr = 101_325.0 / 760.0, "torr"; });
quantity!(/// A speed.
    Speed, "m/s", { metre_per_second / in_metre_per_second = 1.0, "metres a second"; });
quantity!(/// A momentum.
    Momentum, "kg m/s", { kg_m_per_s / in_kg_m_per_s = 1.0, "kilogram metres a second"; });
