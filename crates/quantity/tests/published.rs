//! Constants against the published table in `reference/constants.toml`.

use std::path::Path;

use arcmass_quantity::constants;
use toml::Value;

/// Why a row of the table is not checked here; anything else unchecked fails.
fn reason_to_skip(id: &str, adjustment: i64) -> Option<&'static str> {
    if adjustment != 2022 {
        return Some("arcmass holds the 2022 adjustment only");
    }
    match id {
        "codata2022-a_0" | "codata2022-alpha" => Some("not used by any formula here"),
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
        "m_e_c2" => Some(m_e * c * c),
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
        let Some(symbol) = case["inputs"].get("symbol").and_then(Value::as_str) else {
            unexplained.push(id.to_owned());
            continue;
        };
        let adjustment = case["inputs"]["adjustment"].as_integer().unwrap();
        if let Some(reason) = reason_to_skip(id, adjustment) {
            println!("skipped {id}: {reason}");
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
    assert!(checked >= 14, "only {checked} rows checked");
}
