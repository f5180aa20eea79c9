//! Physical dimensions: what kind of thing a number measures.

/// Exponents of the base quantities. An angle counts as a base quantity of its own here, so that degrees written where
/// a ratio belongs are noticed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Dimension {
    /// Exponent of length.
    pub length: i8,
    /// Exponent of mass.
    pub mass: i8,
    /// Exponent of time.
    pub time: i8,
    /// Exponent of electric current.
    pub current: i8,
    /// Exponent of plane angle.
    pub angle: i8,
}

const fn of(length: i8, mass: i8, time: i8, current: i8, angle: i8) -> Dimension {
    Dimension { length, mass, time, current, angle }
}

/// A pure number or a percentage.
pub const RATIO: Dimension = of(0, 0, 0, 0, 0);
/// A length.
pub const LENGTH: Dimension = of(1, 0, 0, 0, 0);
/// A time.
pub const TIME: Dimension = of(0, 0, 1, 0, 0);
/// A mass.
pub const MASS: Dimension = of(0, 1, 0, 0, 0);
/// An electric current.
pub const CURRENT: Dimension = of(0, 0, 0, 1, 0);
/// A plane angle.
pub const ANGLE: Dimension = of(0, 0, 0, 0, 1);
/// A voltage.
pub const VOLTAGE: Dimension = of(2, 1, -3, -1, 0);
/// A magnetic flux density.
pub const FLUX_DENSITY: Dimension = of(0, 1, -2, -1, 0);
/// Flux density per ampere of coil current.
pub const FIELD_PER_AMPERE: Dimension = of(0, 1, -2, -2, 0);
/// An energy.
pub const ENERGY: Dimension = of(2, 1, -2, 0, 0);
/// A pressure.
pub const PRESSURE: Dimension = of(-1, 1, -2, 0, 0);
/// A force.
pub const FORCE: Dimension = of(1, 1, -2, 0, 0);
/// A speed.
pub const SPEED: Dimension = of(1, 0, -1, 0, 0);
/// A momentum.
pub const MOMENTUM: Dimension = of(1, 1, -1, 0, 0);
/// An electric charge.
pub const CHARGE: Dimension = of(0, 0, 1, 1, 0);

/// Name, dimension and an example a person can copy.
const NAMED: [(Dimension, &str, &str); 15] = [
    (RATIO, "a ratio", "0.5 %"),
    (LENGTH, "a length", "150.0(5) mm"),
    (TIME, "a time", "35 ns"),
    (MASS, "a mass", "9.11e-31 kg"),
    (CURRENT, "a current", "1.500(5) A"),
    (ANGLE, "an angle", "0.4 deg"),
    (VOLTAGE, "a voltage", "250.0(5) V"),
    (FLUX_DENSITY, "a flux density", "-45(10) uT"),
    (FIELD_PER_AMPERE, "a flux density per ampere", "0.779(4) mT/A"),
    (ENERGY, "an energy", "250 eV"),
    (PRESSURE, "a pressure", "1.0(3) Pa"),
    (FORCE, "a force", "3.2(1) mN"),
    (SPEED, "a speed", "9.4e6 m/s"),
    (MOMENTUM, "a momentum", "8.5e-24 kg m/s"),
    (CHARGE, "a charge", "1.6e-19 C"),
];

impl Dimension {
    /// What a person calls it: "a length", "a flux density per ampere".
    pub fn name(self) -> &'static str {
        NAMED.iter().find(|row| row.0 == self).map_or("a quantity of another kind", |row| row.1)
    }

    /// A well-formed text of this kind, to show beside a fault.
    pub fn example(self) -> &'static str {
        NAMED.iter().find(|row| row.0 == self).map_or("150.0(5) mm", |row| row.2)
    }

    /// The product of two dimensions, `other` raised to `power`.
    pub(crate) fn times(self, other: Self, power: i8) -> Self {
        of(
            self.length + power * other.length,
            self.mass + power * other.mass,
            self.time + power * other.time,
            self.current + power * other.current,
            self.angle + power * other.angle,
        )
    }
}
