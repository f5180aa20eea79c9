//! Constants against the published table in `reference/constants.toml`.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

use std::path::Path;

use arcmass_quantity::constants;
use toml::Value;

/// Rows computed from the constants, not tabulated: what we get, what is expected, tolerance as the table gives it.
fn computed(id: &str, expected: &Value) -> Option<(f64, f64, f64)> {
    let e = constants::ELEMENTARY_CHARGE.value;
    let m_e = constants::ELECTRON_MASS.value;
    let c = constants::SPEED_OF_LIGHT.value;
    let field = |key: &str| expected.get(key).and_then(Value::as_float);
    match id {
        "derived2022-e_over_m" => Some((e / m_e, field("e_over_m_C_per_kg")?, 1e-15 * e / m_e)),
        "derived2022-mec2-eV" => Some((m_e * c * c / e, field("eV")?, 1e-14 * 511e3)),
        "derived2022-mu0-vs-4pie-7" => {
            let ratio = constants::VACUUM_PERMEABILITY.value / (4e-7 * std::f64::consts::PI);
            Some((ratio - 1.0, field("ratio_minus_1")?, 1e-15))
        }
        _ => None,
    }
}

/// Values that follow from the stored ones, by the row's symbol.
fn derived(symbol: &str) -> Option<f64> {
    let c = constants::SPEED_OF_LIGHT.value;
    let e = constants::ELEMENTARY_CHARGE.value;
    let m_e = constants::ELECTRON_MASS.value;
    match symbol {
        "minus_e_over_m_e" => Some(-e / m_e),
        "m_e_c2" => Some(m_e * c * c / (1e6 * e)), // in MeV
        "e_over_m_p" => Some(e / constants::PROTON_MASS.value),
        "m_mu_over_m_e" => Some(constants::MUON_MASS.value / m_e),
        "m_p_over_m_e" => Some(constants::PROTON_MASS.value / m_e),
        _ => None,
    }
}

#[test]
fn constants_agree_with_the_published_table() {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../reference/constants.toml");
    let table: toml::Table = std::fs::read_to_string(path).unwrap().parse().unwrap();
    let mut checked = 0;
    let mut unexplained = Vec::new();
    for case in table["case"].as_array().unwrap() {
        let id = case["id"].as_str().unwrap();
        let source = case["source"].as_str().unwrap();
        if let Some((got, expected, tolerance)) = computed(id, &case["expected"]) {
            assert!((got - expected).abs() <= tolerance, "{id}: got {got}, {source} has {expected}");
            checked += 1;
            continue;
        }
        if id == "derived2018-e_over_m" {
            println!("skipped {id}: arcmass holds the 2022 adjustment only");
            continue;
        }
        let Some(symbol) = case["inputs"].get("symbol").and_then(Value::as_str) else {
            unexplained.push(id.to_owned());
            continue;
        };
        let adjustment = case["inputs"]["adjustment"].as_integer().unwrap();
        if adjustment != 2022 {
            println!("skipped {id}: arcmass holds the 2022 adjustment only");
            continue;
        }
        let expected = case["expected"]["value"].as_float().unwrap();
        if let Some(constant) = constants::ALL.iter().find(|constant| constant.symbol == symbol) {
            assert_eq!(constant.value, expected, "{id}: {source}");
            let u = case["expected"]["standard_uncertainty"].as_float().unwrap();
            assert_eq!(constant.standard_uncertainty, u, "{id}: {source}");
        } else if let Some(value) = derived(symbol) {
            // what is computed from rounded constants agrees to their last printed digit: 1e-9 relative
            assert!((value / expected - 1.0).abs() < 1e-9, "{id}: got {value}, {source} has {expected}");
        } else {
            unexplained.push(id.to_owned());
            continue;
        }
        checked += 1;
    }
    assert!(unexplained.is_empty(), "rows neither checked nor explained: {unexplained:?}");
    assert!(checked >= 18, "only {checked} rows checked");
}
