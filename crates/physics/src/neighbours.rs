//! Neighbouring set-ups: axial focusing, plates, crossed fields, an arc in a deflection tube, mass separation.

use std::f64::consts::TAU;

use crate::error::{FieldError, MotionError};
use crate::vec3::Vec3;

/// Flux density along the beam that brings it to its `order`-th focus after `distance_m`: `2π n p/(|q| L)`.
///
/// Paraxial beam from a point, uniform field (Busch). **Source** H. Busch, Phys. Z. 23 (1922) 438.
pub fn focusing_flux_density_t(momentum_over_charge_t_m: f64, distance_m: f64, order: u32) -> f64 {
    TAU * f64::from(order) * momentum_over_charge_t_m.abs() / distance_m
}

/// Distance of the `order`-th focus of electrons that leave at `angle_rad` to the field: `2π n p cos a/(|q| B)`.
pub fn focus_distance_m(
    momentum_over_charge_t_m: f64,
    flux_density_t: f64,
    angle_rad: f64,
    order: u32,
) -> f64 {
    TAU * f64::from(order) * momentum_over_charge_t_m.abs() * angle_rad.cos() / flux_density_t.abs()
}

/// Charge over mass from axial focusing, `8π² n² V/(B L)²` (non-relativistic).
pub fn charge_to_mass_from_focusing(voltage_v: f64, flux_density_t: f64, distance_m: f64, order: u32) -> f64 {
    let product = flux_density_t * distance_m / f64::from(order);
    2.0 * TAU * TAU * voltage_v / (product * product)
}

/// Places along an axis where a paraxial beam from its start comes to a focus in an axial field that varies along it.
///
/// The beam gyrates by `∫ B dz /(p/q)`; a focus stands wherever that reaches a multiple of 2π.
///
/// - **Takes** the axial flux density by place along the axis, the range, signed p/q.
/// - **Gives** the foci in order, and the field integral over the whole range in tesla metre.
/// - **Holds** for rays close to the axis and a field that varies slowly over one gyration.
pub fn axial_foci(
    axial_flux_density_t: impl Fn(f64) -> Result<f64, FieldError>,
    from_m: f64,
    to_m: f64,
    momentum_over_charge_t_m: f64,
) -> Result<(Vec<f64>, f64), FieldError> {
    const PIECES: usize = 200;
    let piece = (to_m - from_m) / PIECES as f64;
    let over = |a: f64, b: f64| -> Result<f64, FieldError> {
        let mut sum = 0.0;
        for (x, w) in crate::gauss::rule(8) {
            sum += 0.5 * (b - a) * w * axial_flux_density_t(0.5 * (a + b) + 0.5 * (b - a) * x)?;
        }
        Ok(sum)
    };
    let (mut foci, mut integral) = (Vec::new(), 0.0f64);
    let full = TAU * momentum_over_charge_t_m.abs();
    for i in 0..PIECES {
        let a = from_m + piece * i as f64;
        let next = integral + over(a, a + piece)?;
        let mut wanted = (foci.len() + 1) as f64 * full;
        while next.abs() >= wanted {
            let (mut low, mut high) = (a, a + piece);
            for _ in 0..60 {
                let middle = 0.5 * (low + high);
                if (integral + over(a, middle)?).abs() < wanted {
                    low = middle;
                } else {
                    high = middle;
                }
            }
            foci.push(0.5 * (low + high));
            wanted += full;
        }
        integral = next;
    }
    Ok((foci, integral))
}

/// An ideal pair of deflecting plates: uniform field between them, none outside.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PlatePair {
    /// Voltage between the plates.
    pub voltage_v: f64,
    /// Distance between the plates.
    pub gap_m: f64,
    /// Length along the beam.
    pub length_m: f64,
}

/// What a plate pair does to a beam.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Deflection {
    /// Sideways at the end of the plates.
    pub at_exit_m: f64,
    /// Angle behind them.
    pub angle_rad: f64,
}

impl Deflection {
    /// Sideways on a screen `distance_m` behind the plates.
    pub fn at_screen_m(&self, distance_m: f64) -> f64 {
        self.at_exit_m + distance_m * self.angle_rad.tan()
    }
}

impl PlatePair {
    /// Field strength between the plates, `V/d`.
    pub fn field_v_per_m(&self) -> f64 {
        self.voltage_v / self.gap_m
    }

    /// Deflection of a beam accelerated through `accelerating_voltage_v`: `y = V_d L²/(4 d V_a)`, `tan a = V_d L/(2 d V_a)`.
    ///
    /// **Holds** non-relativistically and without fringe field. **Fails** if the beam meets a plate or was not accelerated.
    pub fn deflect(&self, accelerating_voltage_v: f64) -> Result<Deflection, MotionError> {
        if !(accelerating_voltage_v > 0.0 && accelerating_voltage_v.is_finite()) {
            return Err(MotionError::OutOfRange {
                what: "accelerating voltage in V",
                must: "above 0 and finite",
                got: accelerating_voltage_v,
            });
        }
        let slope = self.field_v_per_m() * self.length_m / (2.0 * accelerating_voltage_v);
        let at_exit_m = 0.5 * self.length_m * slope;
        if !(at_exit_m.abs() <= 0.5 * self.gap_m) {
            return Err(MotionError::OutOfRange {
                what: "deflection at the end of the plates in m",
                must: "within half their gap, else the beam meets a plate",
                got: at_exit_m,
            });
        }
        Ok(Deflection { at_exit_m, angle_rad: slope.atan() })
    }
}

/// Speed that crossed fields let through undeflected, `E/B`.
pub fn selected_speed_m_per_s(field_v_per_m: f64, flux_density_t: f64) -> f64 {
    field_v_per_m / flux_density_t
}

/// Electric field that cancels the magnetic force on a velocity, `−v × B`, volt per metre.
pub fn undeflecting_field_v_per_m(velocity_m_per_s: Vec3, flux_density_t: Vec3) -> Vec3 {
    -velocity_m_per_s.cross(flux_density_t)
}

/// Charge over mass from a velocity selector followed by an arc in the same flux density, `E/(B² r)`.
pub fn charge_to_mass_from_selector(field_v_per_m: f64, flux_density_t: f64, radius_m: f64) -> f64 {
    field_v_per_m / (flux_density_t * flux_density_t * radius_m)
}

/// Mass over charge and speed from equal electric and magnetic deflections: `v = F/H`, `m/e = H² l/(F θ)`.
///
/// In whatever coherent system the inputs are (SI, or the electromagnetic units of 1897).
/// **Source** J. J. Thomson, Phil. Mag. 44 (1897) 293.
pub fn mass_to_charge_from_equal_deflections(
    angle_rad: f64,
    flux_density: f64,
    field: f64,
    length: f64,
) -> (f64, f64) {
    (field / flux_density, flux_density * flux_density * length / (field * angle_rad))
}

/// Radius of the arc through the entry and a mark, for a beam that enters along x: `(x² + y²)/(2 y)`.
///
/// `x` along the entering beam and `y` sideways, both from the point where the field begins. **Fails** for `y = 0`.
pub fn arc_radius_m(x_m: f64, y_m: f64) -> Result<f64, MotionError> {
    if y_m == 0.0 || !y_m.is_finite() || !x_m.is_finite() {
        return Err(MotionError::OutOfRange {
            what: "deflection of the arc in m",
            must: "other than 0 and finite",
            got: y_m,
        });
    }
    Ok((x_m * x_m + y_m * y_m) / (2.0 * y_m.abs()))
}

/// Radius of the arc of an ion, `m v/(|q| B)` (non-relativistic).
pub fn ion_radius_m(mass_kg: f64, speed_m_per_s: f64, charge_c: f64, flux_density_t: f64) -> f64 {
    mass_kg * speed_m_per_s / (charge_c * flux_density_t).abs()
}

/// Distance between two ions of one speed and charge after half a turn, `2 (m₂ − m₁) v/(|q| B)`.
pub fn separation_after_half_turn_m(
    first_mass_kg: f64,
    second_mass_kg: f64,
    speed_m_per_s: f64,
    charge_c: f64,
    flux_density_t: f64,
) -> f64 {
    2.0 * ion_radius_m(second_mass_kg - first_mass_kg, speed_m_per_s, charge_c, flux_density_t)
}

/// Time for one turn of a slow particle, `2π m/(|q| B)`.
pub fn slow_period_s(mass_kg: f64, charge_c: f64, flux_density_t: f64) -> f64 {
    TAU * mass_kg / (charge_c * flux_density_t).abs()
}

/// Mass from the time of a number of turns, `|q| B t/(2π n)`.
pub fn mass_from_turns_kg(charge_c: f64, flux_density_t: f64, time_s: f64, turns: f64) -> f64 {
    (charge_c * flux_density_t).abs() * time_s / (TAU * turns)
}

/// Lorentz force `q (E + v × B)`, newton.
pub fn lorentz_force_n(
    charge_c: f64,
    field_v_per_m: Vec3,
    velocity_m_per_s: Vec3,
    flux_density_t: Vec3,
) -> Vec3 {
    (field_v_per_m + velocity_m_per_s.cross(flux_density_t)) * charge_c
}

/// The textbook reduction of one reading: `e/m = 2 V/(B r)²`, non-relativistic, field taken as uniform.
pub fn textbook_charge_to_mass(voltage_v: f64, flux_density_t: f64, ring_radius_m: f64) -> f64 {
    let product = flux_density_t * ring_radius_m;
    2.0 * voltage_v / (product * product)
}

/// Field at the centre of an ideal pair (separation = radius) for one ampere, `(4/5)^(3/2) μ₀ N/R`, tesla.
pub fn ideal_pair_centre_t_per_a(turns: f64, radius_m: f64) -> f64 {
    0.8f64.powf(1.5) * arcmass_quantity::constants::VACUUM_PERMEABILITY.value * turns / radius_m
}
