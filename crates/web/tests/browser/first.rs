//! A first notebook, readings by hand, taken to its mass by the keyboard alone.

use serde_json::json;

use crate::chromium::Browser;
use crate::common::Bench;
use crate::first_page;

/// Readings of an invented bench: V, I and the diameter by hand.
const READINGS: [[&str; 3]; 4] = [
    ["150.0", "1.20", "92.6"],
    ["200.0", "1.40", "91.6"],
    ["250.0", "1.80", "79.7"],
    ["300.0", "2.00", "78.6"],
];

#[test]
fn a_first_notebook_comes_to_its_mass_by_the_keyboard_alone() {
    let Some((bench, mut page, own)) = first_page() else { return };
    assert_eq!(page.value("location.pathname"), json!("/bench"), "the key is gone from the address");
    name_the_bench(&mut page, &bench);
    page.go(&format!("{own}/readings"));
    page.until("document.activeElement.name === 'voltage_V'");
    for [volts, amperes, diameter] in READINGS {
        take_reading(&mut page, volts, amperes, diameter);
    }
    let table = std::fs::read_to_string(bench.root.join("readings.csv")).unwrap();
    assert!(READINGS.iter().all(|[volts, ..]| table.contains(volts)), "{table}");
    page.go(&format!("{own}/mass"));
    page.until("document.querySelector('.result .large') !== null");
    let said = page.value("document.querySelector('.result').innerText");
    assert!(said.as_str().unwrap().contains("kg"), "{said}");
    strike_the_last(&mut page, &bench, &own);
    page.go(&format!("{own}/report"));
    page.until("document.querySelector('iframe.preview') !== null");
    let mut complaints = page.complaints(&own);
    // the browser notes the one change that was refused on purpose
    let on_purpose =
        |told: &String| told.contains("/bench/set") && (told.contains("422") || told.contains("409"));
    complaints.retain(|told| !on_purpose(told));
    assert!(complaints.is_empty(), "{complaints:#?}");
    drop(page);
    bench.stop();
}

fn name_the_bench(page: &mut Browser, bench: &Bench) {
    page.value(
        "document.getElementById('bench-name').focus(); document.getElementById('bench-name').select()",
    );
    page.types("Attic bench");
    page.presses("Enter");
    page.until("document.getElementById('bench-name').dataset.seen === 'Attic bench'");
    let text = std::fs::read_to_string(bench.root.join("bench.toml")).unwrap();
    assert!(text.contains("name = \"Attic bench\"") && text.contains("# "), "comments stay");
    for (id, typed) in DESCRIBED {
        type_into(page, id, typed);
        page.until(&format!("document.getElementById('{id}').dataset.seen !== ''"));
    }
    refused_and_asked(page, bench);
}

/// What can't stand in a field is not saved; what is odd is asked about and kept only if it is wanted.
fn refused_and_asked(page: &mut Browser, bench: &Bench) {
    let file = || std::fs::read_to_string(bench.root.join("bench.toml")).unwrap();
    let before = file();
    type_into(page, "gun-voltage_limit", "300 mm");
    page.until("document.getElementById('gun-voltage_limit-said').innerText.includes('Not saved')");
    let said = page.value("document.getElementById('gun-voltage_limit-said').innerText");
    assert!(said.as_str().unwrap().contains("Voltage limit must be a voltage"), "{said}");
    assert_eq!(file(), before);
    type_into(page, "gun-voltage_limit", "1e9");
    page.until("document.getElementById('gun-voltage_limit-said').innerText.includes('Keep it?')");
    assert_eq!(file(), before, "nothing is kept before the answer");
    page.value("document.querySelectorAll('#gun-voltage_limit-said button')[1].click()");
    type_into(page, "gun-voltage_limit", "320,5");
    page.until("document.getElementById('gun-voltage_limit').dataset.seen === '320.5 V'");
    page.presses_on("#bench-undo");
    page.until("document.getElementById('gun-voltage_limit').dataset.seen === '350 V'");
    together(page);
}

/// Latitude, longitude, day and bearing are saved together.
fn together(page: &mut Browser) {
    page.value("document.querySelectorAll('#work details').forEach((part) => { part.open = true; })");
    for (id, typed) in [
        ("surroundings-latitude", "52,1"),
        ("surroundings-longitude", "4.3"),
        ("surroundings-date", "2026-03-12"),
        ("surroundings-axis_bearing", "120"),
    ] {
        assert_eq!(page.value("document.getElementById('surroundings-latitude').dataset.seen"), json!(""));
        type_into(page, id, typed);
    }
    page.until("document.getElementById('surroundings-latitude').dataset.seen === '52.1 deg'");
}

fn type_into(page: &mut Browser, id: &str, typed: &str) {
    page.value(&format!("document.getElementById('{id}').focus(); document.getElementById('{id}').select()"));
    page.types(typed);
    page.presses("Enter");
}

/// What the readings below were taken with.
const DESCRIBED: [(&str, &str); 7] = [
    ("coils-mean_radius", "150 ± 0.5"),
    ("coils-separation", "150,0(7)"),
    ("coils-turns", "124"),
    ("coils-current_limit", "4"),
    ("gun-voltage_limit", "350"),
    ("gun-muzzle", "0, -40, 0"),
    ("bulb-outer_radius", "80"),
];

fn take_reading(page: &mut Browser, volts: &str, amperes: &str, diameter: &str) {
    page.value("document.querySelector('details.more').open = true");
    page.value(&format!("document.querySelector('[name=diameter_mm]').value = '{diameter}'"));
    page.value("document.querySelector('#next-reading [name=diameter_u_mm]').value = '0.5'");
    page.value("document.querySelector('#next-reading [name=voltage_V]').focus()");
    let run = page.value("document.querySelector('#next-reading [name=run]').value");
    page.types(volts);
    page.presses("Enter");
    page.until("document.activeElement.name === 'current_A'");
    page.types(amperes);
    page.presses("Enter");
    page.until(&format!(
        "document.getElementById('next-said').innerText.includes('Run {} is saved')",
        run.as_str().unwrap()
    ));
    page.until("document.activeElement.name === 'voltage_V'");
}

fn strike_the_last(page: &mut Browser, bench: &Bench, own: &str) {
    page.go(&format!("{own}/readings"));
    page.value("[...document.querySelectorAll('[data-act=strike]')].pop().focus()");
    page.presses("Enter");
    page.until("document.activeElement.getAttribute('aria-label') === 'Why this run does not count'");
    page.types("bumped the table, twice");
    page.presses("Enter");
    page.until("document.querySelector('tr.struck') !== null");
    let table = std::fs::read_to_string(bench.root.join("readings.csv")).unwrap();
    assert!(table.contains("\"bumped the table, twice\""), "{table}");
}
