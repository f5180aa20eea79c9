//! Fields and paths on benches drawn by lot against `reference/bench_paths.toml`, made by an independent integrator.

use arcmass_physics::motion::Particle;
use arcmass_physics::{
    BenchField, CoilSet, PreparedField, Shape, Surroundings, TraceOptions, Vec3, Winding, summarise,
};
use toml::Value;

use crate::table::{Case, Outcome, number, numbers, run};

#[test]
fn benches_drawn_by_lot_agree_with_an_independent_integrator() {
    run(include_str!("../../../../reference/bench_paths.toml"), &[], |case, _| {
        check(case);
        Outcome::Checked
    });
}

fn vector(v: &[f64]) -> Vec3 {
    let [x, y, z] = v else { panic!("three components") };
    Vec3::new(*x, *y, *z)
}

fn coils(case: &Case<'_>) -> CoilSet {
    let list = case.raw("inputs", "coils").and_then(Value::as_array).expect("a list of coils");
    let one = |coil: &Value| {
        let get = |key: &str| number(coil.get(key).expect("the coil's key"));
        let three = |key: &str| vector(&numbers(coil.get(key).expect("the coil's key")));
        let square = coil.get("shape").and_then(Value::as_str) == Some("square");
        Winding {
            shape: if square { Shape::Square } else { Shape::Circular },
            mean_radius_m: get("radius_m"),
            turns: get("turns"),
            sense: get("sense"),
            centre_m: three("centre_m"),
            axis: three("axis").unit().expect("an axis"),
            winding_radial_m: get("radial_m"),
            winding_axial_m: get("axial_m"),
        }
    };
    CoilSet { windings: list.iter().map(one).collect() }
}

fn check(case: &Case<'_>) {
    let set = coils(case);
    let prepared = PreparedField::new(&set, 0.0785).unwrap();
    let background = vector(&case.input_list("background_T"));
    let current = case.input("current_A");
    let at = vector(&case.input_list("at_m"));
    // at the point: sense +, bench not turned; prepared and direct
    for unit in [prepared.flux_density_per_ampere(at).unwrap(), set.flux_density_per_ampere(at).unwrap()] {
        let b = unit * current + background;
        case.agree_vector(
            "flux_density_T",
            &<[f64; 3]>::from(b),
            case.tolerance("flux_density_rel_of_norm").unwrap(),
        );
    }
    let sign = if case.input_text("field_sense") == Some("-") { -1.0 } else { 1.0 };
    let turned = -case.input("bench_turned_deg").to_radians();
    let field = BenchField {
        prepared: &prepared,
        current_a: sign * current,
        scale: 1.0,
        background_t: background.rotated(Vec3::Y, turned),
    };
    let tilt = case.input("gun_tilt_deg").to_radians();
    let plain = vector(&case.input_list("direction")).unit().unwrap();
    let direction = plain * tilt.cos() + Vec3::Z * tilt.sin();
    let voltage = case.input("voltage_V") + case.input("voltage_offset_V");
    let p = Particle::default().accelerated(voltage).unwrap().momentum_over_charge_t_m();
    let glass = Surroundings { glass_inner_radius_m: Some(case.input("glass_inner_radius_m")), gun: None };
    let muzzle = vector(&case.input_list("muzzle_m"));
    let got = summarise(&field, muzzle, direction, p, &glass, 180, &TraceOptions::default()).unwrap();
    let length = case.tolerance("length_rel").unwrap();
    // of the glass's radius where a length may be next to nothing
    let abs = length * case.input("glass_inner_radius_m");
    let all = [
        ("fitted_diameter_m", got.fitted_diameter_m, case.tolerance("diameter_rel").unwrap()),
        ("chord_diameter_m", got.chord_diameter_m, length),
        ("pitch_m", got.pitch_m, length),
        ("turns_to_glass", got.turns_to_glass, length),
    ];
    for (key, value, rel) in all {
        if case.has_expected(key) {
            case.agree_within(key, &[value.unwrap_or(f64::NAN)], rel, abs);
        }
    }
    assert_eq!(case.has_expected("fitted_diameter_m"), got.fitted_diameter_m.is_some(), "{}", case.id);
    if case.has_expected("glass_point_m") {
        let point = <[f64; 3]>::from(got.glass_point_m.unwrap());
        case.agree_within("glass_point_m", &point, 0.0, abs);
    }
}
