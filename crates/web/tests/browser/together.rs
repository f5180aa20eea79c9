//! Two pages open at once, and files changed by another program.

use serde_json::json;

use crate::chromium::{Browser, chromium};
use crate::common::Bench;

fn text(bench: &Bench, name: &str) -> String {
    std::fs::read_to_string(bench.root.join(name)).unwrap()
}

/// Focuses a field of the Bench and puts a text in place of what it holds, without leaving it.
fn puts(page: &mut Browser, id: &str, typed: &str) {
    page.value(&format!("document.getElementById('{id}').focus(); document.getElementById('{id}').select()"));
    page.types(typed);
}

#[test]
fn two_open_pages_show_a_conflict_with_both_values() {
    let Some(program) = chromium() else { return };
    let bench = Bench::new(None);
    let own = format!("http://{}", bench.host());
    let mut one = Browser::open(&program);
    one.go(&format!("{own}/?key={}", bench.key));
    let mut other = one.another();
    other.go(&format!("{own}/bench"));
    // both look at 300 V; the other types first and saves last
    puts(&mut other, "gun-voltage_limit", "250 V");
    puts(&mut one, "gun-voltage_limit", "280 V");
    one.presses("Enter");
    one.until("document.getElementById('gun-voltage_limit').dataset.seen === '280 V'");
    other.presses("Enter");
    other.until("document.getElementById('gun-voltage_limit-said').innerText.includes('Meanwhile')");
    let said = other.value("document.getElementById('gun-voltage_limit-said').innerText");
    let said = said.as_str().unwrap();
    assert!(said.contains("280 V") && said.contains("250 V"), "{said}");
    assert!(text(&bench, "bench.toml").contains("voltage_limit = \"280 V\""), "nothing was written over");
    assert_eq!(other.value("document.activeElement.innerText"), json!("Keep the file's"));
    other.presses("Tab");
    other.presses("Enter");
    other.until("document.getElementById('gun-voltage_limit').dataset.seen === '250 V'");
    assert!(text(&bench, "bench.toml").contains("voltage_limit = \"250 V\""), "the person decided");
    one.call("Page.bringToFront", &json!({}));
    one.until("document.getElementById('gun-voltage_limit').value === '250 V'");
    changed_outside(&mut one, &bench, &own);
    for page in [&one, &other] {
        let complaints = page.complaints(&own);
        let on_purpose = |told: &String| told.contains("/bench/set") && told.contains("409");
        assert!(complaints.iter().all(on_purpose), "{complaints:#?}");
    }
    drop((other, one));
    bench.stop();
}

/// An editor changes the bench file, a spreadsheet the readings: both show without a hand on the page.
fn changed_outside(page: &mut Browser, bench: &Bench, own: &str) {
    let file = text(bench, "bench.toml").replace("Window bench", "Attic bench");
    std::fs::write(bench.root.join("bench.toml"), file).unwrap();
    page.until("document.getElementById('bench-name').value === 'Attic bench'");
    page.go(&format!("{own}/readings"));
    page.value("document.querySelector('[name=voltage_V]').focus()");
    page.types("21");
    let table = text(bench, "readings.csv") + "7,199.5,1.25,,,,,,,,,,,\n";
    std::fs::write(bench.root.join("readings.csv"), table).unwrap();
    page.until("document.querySelector('tr[data-run=\"7\"]') !== null");
    let typed = page.value("document.querySelector('form.next [name=voltage_V]').value");
    assert_eq!(typed, json!("21"), "what is being typed stays");
    std::fs::write(bench.root.join("readings.csv"), "run,voltage_V,current_A\n1,two,1.5\n").unwrap();
    page.until("document.querySelector('#work .fault, #work .faults') !== null");
    let said = page.value("document.getElementById('work').innerText");
    assert!(said.as_str().unwrap().contains("two"), "{said}");
}
