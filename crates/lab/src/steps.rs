//! One run's way from reading to mass, step by step with the numbers in, for a teacher's board.
//!
//! Texts carry the marks of a figure's label: `*V*` is a symbol, `_{0}` lowered, `^{2}` raised.

use arcmass_notebook::Run;
use arcmass_quantity::constants::{ELEMENTARY_CHARGE, SPEED_OF_LIGHT};
use arcmass_quantity::print;

use crate::document::{Q, RunEntry};
use crate::field_unit::FieldUnit;

/// Digits of a number that is shown on its way, not as a result.
const DIGITS: i32 = 5;

/// One line on the board.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Step {
    /// What is found, in words.
    pub name: &'static str,
    /// Symbol and formula, marked.
    pub formula: String,
    /// The same with numbers in, marked; empty where the number is a result of the joint fit alone.
    pub with_numbers: String,
    /// What comes out, with its unit.
    pub result: String,
}

/// A run by the textbook's formula and by the full model.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Worked {
    /// Name of the run.
    pub run: String,
    /// The textbook's way: readings as read, nothing corrected.
    pub textbook: Vec<Step>,
    /// The full model's way: every number as the joint fit finds it.
    pub full: Vec<Step>,
}

/// Works a run through twice: by the textbook's formula, and with what the joint fit found.
///
/// - **Takes** one run of a reduction, that run's readings, and the unit flux densities are read in.
/// - **Gives** steps in the order they are done. The textbook's steps multiply out to `textbook_mass_kg`, the full
///   model's to the run's own `mass_kg`, both to the digits shown.
/// - **Holds** for a particle of one elementary charge.
/// - **Source** the formulas of the contract: p = e B r, T = e (V + V₀), m = p²/2T − T/2c².
pub fn worked(entry: &RunEntry, run: &Run, unit: &FieldUnit) -> Worked {
    Worked { run: entry.run.clone(), textbook: textbook(entry, run, unit), full: full(entry, unit) }
}

/// A number on its way, to [`DIGITS`] digits.
fn n(value: f64) -> String {
    print::significant(value, DIGITS)
}

fn q(quantity: &Q, factor: f64) -> String {
    print::short(quantity.value * factor, quantity.standard_uncertainty * factor)
}

fn textbook(entry: &RunEntry, run: &Run, unit: &FieldUnit) -> Vec<Step> {
    let e = ELEMENTARY_CHARGE.value;
    let (voltage, current) = (run.mean_voltage_v(), run.mean_current_a());
    let diameter_m = 1e-3 * entry.measured_diameter_mm.value;
    let radius_m = diameter_m / 2.0;
    // the mass is e (B r)² / 2V, so what it says of B is what the textbook's way put in
    let field_t = (2.0 * voltage * entry.textbook_mass_kg / e).sqrt() / radius_m;
    let per_ampere = field_t / current;
    let in_unit = 1e3 * unit.per_millitesla;
    let speed = e * field_t * radius_m / entry.textbook_mass_kg;
    vec![
        Step {
            name: "radius of the ring",
            formula: "*r* = *d* / 2".into(),
            with_numbers: format!("{} mm / 2", n(1e3 * diameter_m)),
            result: format!("{} mm", n(1e3 * radius_m)),
        },
        Step {
            name: "flux density",
            formula: "*B* = *k* *I*".into(),
            with_numbers: format!("{} {}/A × {} A", n(in_unit * per_ampere), unit.shown, n(current)),
            result: format!("{} {}", n(in_unit * field_t), unit.shown),
        },
        Step {
            name: "mass",
            formula: "*m* = *e* (*B* *r*)^{2} / 2*V*".into(),
            with_numbers: format!(
                "{} C × ({} T × {} m)^{{2}} / (2 × {} V)",
                n(e),
                n(field_t),
                n(radius_m),
                n(voltage)
            ),
            result: format!("{} kg", n(entry.textbook_mass_kg)),
        },
        Step {
            name: "speed",
            formula: "*v* = *e* *B* *r* / *m*".into(),
            with_numbers: format!(
                "{} C × {} T × {} m / {} kg",
                n(e),
                n(field_t),
                n(radius_m),
                n(entry.textbook_mass_kg)
            ),
            result: format!("{} m/s", n(speed)),
        },
    ]
}

fn full(entry: &RunEntry, unit: &FieldUnit) -> Vec<Step> {
    let (e, c) = (ELEMENTARY_CHARGE.value, SPEED_OF_LIGHT.value);
    let accelerating = entry.accelerating_voltage_v.unwrap_or(entry.voltage_v);
    let accelerating_v = accelerating.value;
    let offset_v = accelerating_v - entry.voltage_v.value;
    let place = print::last_place(accelerating.standard_uncertainty).unwrap_or(-2);
    let energy = e * accelerating_v;
    let momentum = entry.momentum_kg_m_per_s.value;
    let radius_m = 5e-4 * entry.ring_diameter_mm.value;
    vec![
        Step {
            name: "accelerating voltage: voltmeter corrected, with the voltage offset of the gun, less the loss in the gas",
            formula: "*V* + *V*_{0}".into(),
            with_numbers: format!("{} V + ({} V)", q(&entry.voltage_v, 1.0), print::fixed(offset_v, place)),
            result: format!("{} V", q(&accelerating, 1.0)),
        },
        Step {
            name: "coil current, ammeter corrected",
            formula: "*I*".into(),
            with_numbers: String::new(),
            result: format!("{} A", q(&entry.current_a, 1.0)),
        },
        Step {
            name: "mean flux density along the ring, with the background field",
            formula: "*B*".into(),
            with_numbers: String::new(),
            result: format!("{} {}", q(&entry.flux_density_mt, unit.per_millitesla), unit.shown),
        },
        Step {
            name: "radius of the ring, corrected for perspective and scale",
            formula: "*r* = *d* / 2".into(),
            with_numbers: format!("{} mm / 2", q(&entry.ring_diameter_mm, 1.0)),
            result: format!("{} mm", n(1e3 * radius_m)),
        },
        Step {
            name: "momentum",
            formula: "*p* = *e* *B* *r*".into(),
            with_numbers: format!(
                "{} C × {} T × {} m",
                n(e),
                n(1e-3 * entry.flux_density_mt.value),
                n(radius_m)
            ),
            result: format!("{} kg m/s", q(&entry.momentum_kg_m_per_s, 1.0)),
        },
        Step {
            name: "kinetic energy",
            formula: "*T* = *e* (*V* + *V*_{0})".into(),
            with_numbers: format!("{} C × {} V", n(e), n(accelerating_v)),
            result: format!("{} J, {} eV", n(energy), n(accelerating_v)),
        },
        Step {
            name: "mass",
            formula: "*m* = *p*^{2} / 2*T* - *T* / 2*c*^{2}".into(),
            with_numbers: format!(
                "({} kg m/s)^{{2}} / (2 × {} J) - {} kg",
                n(momentum),
                n(energy),
                print::significant(energy / (2.0 * c * c), 2)
            ),
            result: format!("{} kg", q(&entry.mass_kg, 1.0)),
        },
        Step {
            name: "speed",
            formula: "*v* = *p* *c*^{2} / (*T* + *m* *c*^{2})".into(),
            with_numbers: String::new(),
            result: format!("{} m/s", q(&entry.speed_m_per_s, 1.0)),
        },
    ]
}
