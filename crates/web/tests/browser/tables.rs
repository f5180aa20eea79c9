//! Tables on the page: the field's readings typed and pasted with their line drawn live, a reading that is asked about, a run called
//! otherwise, deleted, repeated.

use std::path::Path;

use serde_json::json;

use crate::chromium::Browser;
use crate::common::Bench;
use crate::first_page;

/// The bench file of `tests/data/typical`.
fn prepare(bench: &Bench) {
    let typical = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../tests/data/typical");
    std::fs::copy(typical.join("bench.toml"), bench.root.join("bench.toml")).unwrap();
}

#[test]
fn readings_of_the_field_are_typed_and_pasted_and_their_line_is_drawn() {
    let Some((bench, mut page, own)) = first_page() else { return };
    prepare(&bench);
    let table = || std::fs::read_to_string(bench.root.join("field-probe.csv")).unwrap();
    page.go(&format!("{own}/field"));
    page.until("document.getElementById('next-field') !== null");
    page.value("document.querySelector('#next-field [name=current_A]').focus()");
    for (rows, [amperes, millitesla]) in (1..).zip([["0,50", "0,360"], ["1.00", "0.720"]]) {
        page.types(amperes);
        page.presses("Enter");
        page.until("document.activeElement.name === 'flux_density'");
        page.types(millitesla);
        page.presses("Enter");
        page.until(&format!("document.querySelectorAll('table.field tr[data-line]').length === {rows} && document.activeElement.name === 'current_A'"));
    }
    assert!(table().contains("0.50,0.360") && table().contains("1.00,0.720"), "{}", table());
    page.until("document.querySelector('.field-line svg.figure') !== null");
    coils_off(&mut page);
    assert!(table().lines().last().unwrap().contains("yes"), "{}", table());
    page.value("document.querySelector('#next-field details').open = true; document.querySelector('[name=pasted]').value = 'I / A\\tB / mT\\n1,50\\t1,081\\n2,00\\t1,440\\n'");
    page.presses_on("#paste");
    page.until("document.querySelectorAll('table.field tr[data-line]').length === 5");
    assert!(table().contains("1.50,1.081") && table().contains("2.00,1.440"), "{}", table());
    page.value("[...document.querySelectorAll('[data-remove-row]')].pop().click()");
    page.until("document.querySelectorAll('table.field tr[data-line]').length === 4");
    page.presses_on("#field-undo");
    page.until("document.querySelectorAll('table.field tr[data-line]').length === 5");
    balance(&mut page, &bench);
    let complaints = page.complaints(&own);
    assert!(complaints.is_empty(), "{complaints:#?}");
    drop(page);
    bench.stop();
}

/// With the coils off and the probe turned.
fn coils_off(page: &mut Browser) {
    page.presses_on("[name=off]");
    page.presses_on("[name=reversed]");
    page.until("document.querySelector('#next-field [name=current_A]').value === '0'");
    page.value("document.querySelector('#next-field [name=flux_density]').focus()");
    page.types("0.004");
    page.presses("Enter");
    page.until("document.querySelectorAll('table.field tr[data-line]').length === 3");
    page.presses_on("[name=off]");
    page.presses_on("[name=reversed]");
}

fn balance(page: &mut Browser, bench: &Bench) {
    page.presses_on("[name=file][value=\"field-balance.csv\"]");
    page.until("!document.querySelector('[name=wire_current_A]').closest('label').hidden");
    page.value("document.querySelector('#next-field [name=current_A]').focus()");
    for typed in ["2.0", "3.0", "100", "0.43"] {
        page.types(typed);
        page.presses("Enter");
    }
    page.until("document.querySelector('table[data-file=\"field-balance.csv\"]') !== null");
    let text = std::fs::read_to_string(bench.root.join("field-balance.csv")).unwrap();
    assert!(text.contains("2.0,3.0,100,0.43"), "{text}");
}

#[test]
fn a_reading_beyond_a_rating_is_asked_about_and_runs_are_called_repeated_and_deleted() {
    let Some((bench, mut page, own)) = first_page() else { return };
    prepare(&bench);
    let table = || std::fs::read_to_string(bench.root.join("readings.csv")).unwrap();
    page.go(&format!("{own}/readings"));
    page.until("document.activeElement.name === 'voltage_V'");
    // the tube of this bench is rated 350 V
    for typed in ["450", "1,50 A"] {
        page.types(typed);
        page.presses("Enter");
    }
    page.until("document.getElementById('next-said').innerText.includes('450 V is beyond the rating of 350 V of the tube. Keep it?')");
    assert!(!table().contains("450"), "nothing is saved before the answer");
    page.value("document.querySelector('#next-said button').click()");
    page.until("document.querySelectorAll('tr[data-run]').length === 1");
    assert!(table().contains("450,1.50"), "{}", table());
    page.presses_on("#same-run");
    page.until("document.activeElement.name === 'voltage_V' && document.activeElement.value === '450'");
    page.types("250");
    page.presses("Enter");
    page.until("document.querySelectorAll('tr[data-run]').length === 2");
    assert!(table().contains("1,250,1.50"), "{}", table());
    page.value("const f = document.querySelectorAll('th input[name=run]')[1]; f.focus(); f.select()");
    page.types("7");
    page.presses("Enter");
    page.until("document.querySelector('tr[data-run=\"7\"]') !== null");
    page.presses_on("tr[data-run=\"1\"] [data-act=delete]");
    page.until("document.querySelectorAll('tr[data-run]').length === 1");
    assert!(!table().contains("450"), "{}", table());
    page.presses_on("#undo");
    page.until("document.querySelectorAll('tr[data-run]').length === 2");
    // a key pressed where nothing is typed acts on no data
    page.value("document.activeElement.blur()");
    let before = table();
    for key in ["x", "Delete", "u", "s", "1", "Enter"] {
        page.presses(key);
    }
    assert_eq!(table(), before);
    assert_eq!(page.value("location.pathname"), json!("/readings"));
    let mut complaints = page.complaints(&own);
    complaints.retain(|told| !(told.contains("/readings/add") && told.contains("409")));
    assert!(complaints.is_empty(), "{complaints:#?}");
    drop(page);
    bench.stop();
}
