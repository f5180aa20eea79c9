//! `[[coil]]` tables of every kind against closed formulas on the axis.

use std::f64::consts::PI;

use arcmass_lab::Desk;
use arcmass_lab::field::{FieldQuestion, field};

use super::bench::{field_of, notebook};

const MU_0: f64 = 1.256_637_061_27e-6; // CODATA 2022

/// One `[[coil]]`.
fn coil(shape: &str, size_mm: f64, turns: u32, z_mm: f64, section: &str, sense: &str) -> String {
    let key = if shape == "square" { "mean_half_side" } else { "mean_radius" };
    format!(
        "[[coil]]\nshape = \"{shape}\"\n{key} = \"{size_mm} mm ± 0.5 mm\"\nturns = {turns}\n\
         centre = [\"0 mm\", \"0 mm\", \"{z_mm} mm\"]\naxis = [0, 0, 1]\nsense = \"{sense}\"\n{section}\n"
    )
}

/// Bz in mT at heights z (mm) for 1 A, no background.
fn on_axis(coils: &str, heights_mm: &[f64]) -> Vec<f64> {
    let bench = format!(
        "[bench]\nformat = 1\n\n{coils}\n[surroundings]\nbackground = [\"0(0) uT\", \"0(0) uT\", \"0(0) uT\"]\n"
    );
    let (_folder, notebook) = notebook(&[("bench.toml", &bench)]);
    let at_mm = heights_mm.iter().map(|z| [0.0, 0.0, *z]).collect();
    let question = FieldQuestion { current_a: Some(1.0), at_mm, ..FieldQuestion::default() };
    let document = field(&notebook, &question, &Desk::default()).unwrap();
    document.points.iter().map(|point| point.flux_density_mt[2]).collect()
}

/// Bz of a round loop, mT/A: μ₀ N R²/2(R² + z²)^{3/2} (Jackson, 3rd ed., problem 5.3 and § 5.5).
fn round(radius_m: f64, turns: f64, z_m: f64) -> f64 {
    1e3 * MU_0 * turns * radius_m * radius_m / (2.0 * (radius_m * radius_m + z_m * z_m).powf(1.5))
}

/// Bz of a square loop of half side a, mT/A: 2 μ₀ N a²/π (a² + z²) √(2a² + z²), by Biot and Savart over four sides.
fn square(half_m: f64, turns: f64, z_m: f64) -> f64 {
    let (a2, z2) = (half_m * half_m, z_m * z_m);
    1e3 * 2.0 * MU_0 * turns * a2 / (PI * (a2 + z2) * (2.0 * a2 + z2).sqrt())
}

/// Bz of a winding with a section on its axis, mT/A: the current sheet's (z/2)(…) integrated over the radius in closed form,
/// B = μ₀ j/2 [ζ ln((r₂ + √(r₂² + ζ²))/(r₁ + √(r₁² + ζ²)))] between the ends.
fn thick(inner_m: f64, outer_m: f64, length_m: f64, turns: f64, z_m: f64) -> f64 {
    let density = turns / ((outer_m - inner_m) * length_m);
    let end = |zeta: f64| zeta * ((outer_m + outer_m.hypot(zeta)) / (inner_m + inner_m.hypot(zeta))).ln();
    1e3 * MU_0 * density / 2.0 * (end(z_m + 0.5 * length_m) - end(z_m - 0.5 * length_m))
}

fn assert_close(found: &[f64], wanted: &[f64], what: &str) {
    for (found, wanted) in found.iter().zip(wanted) {
        assert!((found / wanted - 1.0).abs() < 1e-8, "{what}: {found} against {wanted}");
    }
}

const HEIGHTS_MM: [f64; 5] = [0.0, 10.0, -25.0, 60.0, 150.0];

#[test]
fn a_single_coil() {
    let found = on_axis(&coil("circular", 120.0, 80, 0.0, "", "+"), &HEIGHTS_MM);
    let wanted = HEIGHTS_MM.map(|z| round(0.12, 80.0, 1e-3 * z));
    assert_close(&found, &wanted, "one loop");
}

#[test]
fn a_square_coil_and_a_square_pair() {
    let found = on_axis(&coil("square", 130.0, 60, 0.0, "", "+"), &HEIGHTS_MM);
    assert_close(&found, &HEIGHTS_MM.map(|z| square(0.13, 60.0, 1e-3 * z)), "one square");
    let pair = "[coils]\nshape = \"square\"\nmean_half_side = \"130.0(5) mm\"\nseparation = \"142.0(5) mm\"\nturns = 60\n\
                field_direction = \"+z\"\n";
    let found = on_axis(pair, &HEIGHTS_MM[..3]);
    let wanted =
        HEIGHTS_MM.map(|z| square(0.13, 60.0, 1e-3 * z - 0.071) + square(0.13, 60.0, 1e-3 * z + 0.071));
    assert_close(&found, &wanted[..3], "square pair");
}

#[test]
fn three_coils_of_different_size_turns_and_sense() {
    let coils = coil("circular", 150.0, 100, -80.0, "", "+")
        + &coil("circular", 150.0, 90, 80.0, "", "+")
        + &coil("circular", 200.0, 20, 0.0, "", "-");
    let found = on_axis(&coils, &HEIGHTS_MM);
    let wanted = HEIGHTS_MM.map(|z| {
        let z = 1e-3 * z;
        round(0.15, 100.0, z + 0.08) + round(0.15, 90.0, z - 0.08) - round(0.2, 20.0, z)
    });
    assert_close(&found, &wanted, "three coils");
}

#[test]
fn a_long_solenoid_is_one_coil_with_a_long_section() {
    let section = "winding_radial = \"10 mm\"\nwinding_axial = \"400 mm\"";
    let found = on_axis(&coil("circular", 45.0, 3000, 0.0, section, "+"), &HEIGHTS_MM);
    let wanted = HEIGHTS_MM.map(|z| thick(0.040, 0.050, 0.4, 3000.0, 1e-3 * z));
    assert_close(&found, &wanted, "solenoid");
}

#[test]
fn a_coil_across_the_bench_makes_its_field_along_its_own_axis() {
    let across = coil("circular", 120.0, 80, 0.0, "", "+").replace("axis = [0, 0, 1]", "axis = [0, 1, 0]");
    let bench = format!("[bench]\nformat = 1\n{across}");
    let document = field_of(&[("bench.toml", &bench)]);
    assert!((document.field_per_ampere_mt_per_a.value / round(0.12, 80.0, 0.0) - 1.0).abs() < 1e-8);
}
