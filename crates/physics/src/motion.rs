//! Speed, momentum, gyroradius and period of an accelerated particle, relativistic and without cancellation.

use arcmass_quantity::constants::{ELECTRON_MASS, ELEMENTARY_CHARGE, SPEED_OF_LIGHT};

use crate::error::MotionError;
use crate::vec3::Vec3;

const C: f64 = SPEED_OF_LIGHT.value;
const E: f64 = ELEMENTARY_CHARGE.value;

/// A charged particle.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Particle {
    /// Charge in elementary charges, with its sign.
    pub charge_number: f64,
    /// Rest mass, above 0.
    pub mass_kg: f64,
}

impl Default for Particle {
    /// The electron, CODATA 2022.
    fn default() -> Self {
        Self { charge_number: -1.0, mass_kg: ELECTRON_MASS.value }
    }
}

impl Particle {
    /// Charge in coulomb, with its sign.
    pub fn charge_c(&self) -> f64 {
        self.charge_number * E
    }

    /// Kinetic energy gained from rest through `voltage_v`: `T = |q| V`, joule.
    pub fn kinetic_energy_j(&self, voltage_v: f64) -> Result<f64, MotionError> {
        energy(self.charge_c().abs() * voltage_v)
    }

    /// The motion of this particle with a kinetic energy in joule.
    pub fn with_kinetic_energy(&self, kinetic_energy_j: f64) -> Result<Motion, MotionError> {
        let t = energy(kinetic_energy_j)?;
        positive("mass of the particle in kg", self.mass_kg)?;
        let momentum_kg_m_per_s = momentum(t, self.mass_kg);
        let excess = t / (self.mass_kg * C * C);
        Ok(Motion { particle: *self, kinetic_energy_j: t, momentum_kg_m_per_s, gamma_minus_1: excess })
    }

    /// The motion of this particle after acceleration from rest through `voltage_v`.
    pub fn accelerated(&self, voltage_v: f64) -> Result<Motion, MotionError> {
        self.with_kinetic_energy(self.kinetic_energy_j(voltage_v)?)
    }
}

/// How a particle moves: energy, momentum, speed.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Motion {
    /// Which particle.
    pub particle: Particle,
    /// Kinetic energy in joule.
    pub kinetic_energy_j: f64,
    /// Magnitude of the momentum, `√(T (T + 2 m c²))/c`.
    pub momentum_kg_m_per_s: f64,
    /// Lorentz factor less one, `T/(m c²)`, without cancellation.
    pub gamma_minus_1: f64,
}

impl Motion {
    /// Speed, `p c²/(T + m c²)`.
    pub fn speed_m_per_s(&self) -> f64 {
        speed(self.momentum_kg_m_per_s, self.kinetic_energy_j, self.particle.mass_kg)
    }

    /// Lorentz factor.
    pub fn gamma(&self) -> f64 {
        1.0 + self.gamma_minus_1
    }

    /// Momentum over charge with the charge's sign, tesla metre: all that the orbit depends on.
    pub fn momentum_over_charge_t_m(&self) -> f64 {
        self.momentum_kg_m_per_s / self.particle.charge_c()
    }

    /// Radius of the circle at right angles to a uniform field, `r = p/(|q| B)`. Source: Jackson, 3rd ed., § 12.2.
    pub fn gyroradius_m(&self, flux_density_t: f64) -> Result<f64, MotionError> {
        Ok(self.momentum_over_charge_t_m().abs() / field(flux_density_t)?)
    }

    /// Time for one turn, `2π γ m/(|q| B)`, whatever the pitch. Source: Jackson, 3rd ed., § 12.2.
    pub fn period_s(&self, flux_density_t: f64) -> Result<f64, MotionError> {
        let mass = self.gamma() * self.particle.mass_kg;
        Ok(std::f64::consts::TAU * mass / (self.particle.charge_c().abs() * field(flux_density_t)?))
    }

    /// Radius and pitch of the helix of a beam that leaves the plane at right angles to the field by `tilt_rad`.
    ///
    /// `r = p cos t/(|q|B)`, `pitch = 2π p sin t/(|q|B)` (signed as the tilt).
    pub fn helix_m(&self, flux_density_t: f64, tilt_rad: f64) -> Result<(f64, f64), MotionError> {
        let full = self.gyroradius_m(flux_density_t)?;
        Ok((full * tilt_rad.cos(), std::f64::consts::TAU * full * tilt_rad.sin()))
    }
}

/// Momentum from kinetic energy, `√(2 m T + (T/c)²)`.
pub fn momentum(kinetic_energy_j: f64, mass_kg: f64) -> f64 {
    let over_c = kinetic_energy_j / C;
    (2.0 * mass_kg * kinetic_energy_j + over_c * over_c).sqrt()
}

/// Rest mass from momentum and kinetic energy, `p²/2T − T/2c²`: what a ring and a voltage give together.
pub fn mass_from_momentum(momentum_kg_m_per_s: f64, kinetic_energy_j: f64) -> f64 {
    momentum_kg_m_per_s * momentum_kg_m_per_s / (2.0 * kinetic_energy_j) - kinetic_energy_j / (2.0 * C * C)
}

/// Speed from momentum, kinetic energy and rest mass, `p c²/(T + m c²)`.
pub fn speed(momentum_kg_m_per_s: f64, kinetic_energy_j: f64, mass_kg: f64) -> f64 {
    momentum_kg_m_per_s / (kinetic_energy_j / (C * C) + mass_kg)
}

/// Place and direction on the exact path in a uniform field after a path length `length_m`.
///
/// With `ω = −B q/p` the direction turns about B: `t(s) = R(ω s) t₀`,
/// `x(s) = x₀ + t∥ s + (sin ωs/ω) t⊥ + ((1 − cos ωs)/ω) b̂ × t⊥`.
pub fn uniform_field_path(
    start: Vec3,
    direction: Vec3,
    flux_density_t: Vec3,
    momentum_over_charge_t_m: f64,
    length_m: f64,
) -> (Vec3, Vec3) {
    let Some(axis) = flux_density_t.unit() else {
        return (start + direction * length_m, direction);
    };
    let rate = -flux_density_t.norm() / momentum_over_charge_t_m;
    let angle = rate * length_m;
    let along = axis * axis.dot(direction);
    let across = direction - along;
    let half = (0.5 * angle).sin();
    let place = start
        + along * length_m
        + across * (angle.sin() / rate)
        + axis.cross(across) * (2.0 * half * half / rate);
    (place, direction.rotated(axis, angle))
}

fn energy(t: f64) -> Result<f64, MotionError> {
    if t > 0.0 && t.is_finite() { Ok(t) } else { Err(MotionError::NotAccelerated(t)) }
}

fn field(b: f64) -> Result<f64, MotionError> {
    if b != 0.0 && b.is_finite() { Ok(b.abs()) } else { Err(MotionError::NoField(b)) }
}

fn positive(what: &'static str, got: f64) -> Result<f64, MotionError> {
    if got > 0.0 && got.is_finite() {
        Ok(got)
    } else {
        Err(MotionError::OutOfRange { what, must: "above 0 and finite", got })
    }
}
