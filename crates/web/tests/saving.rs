//! What a person types is saved at once, checked, and never written over something they didn't see.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

mod common;

use common::{Answer, Bench};

fn set(bench: &Bench, cookie: &str, seen: &str, typed: &str) -> Answer {
    let body = format!(r#"{{"table":"gun","key":"voltage_limit","seen":"{seen}","typed":"{typed}"}}"#);
    bench.post(cookie, "/bench/set", &body)
}

fn file(bench: &Bench, name: &str) -> String {
    std::fs::read_to_string(bench.root.join(name)).unwrap()
}

#[test]
fn a_number_is_saved_with_every_comment_kept() {
    let bench = Bench::new(None);
    let cookie = bench.cookie();
    let before = file(&bench, "bench.toml");
    assert_eq!(set(&bench, &cookie, "300 V", "280 V ± 1 V").status, 422, "a limit has no uncertainty");
    assert_eq!(set(&bench, &cookie, "300 V", "280 mm").status, 422);
    assert_eq!(file(&bench, "bench.toml"), before, "nothing was written");
    assert_eq!(set(&bench, &cookie, "300 V", "280 V").status, 200);
    assert_eq!(file(&bench, "bench.toml"), before.replace("\"300 V\"", "\"280 V\""));
    bench.stop();
}

#[test]
fn two_open_pages_do_not_write_over_each_other() {
    let bench = Bench::new(None);
    let cookie = bench.cookie();
    assert_eq!(set(&bench, &cookie, "300 V", "280 V").status, 200);
    let late = set(&bench, &cookie, "300 V", "250 V");
    assert_eq!(late.status, 409);
    assert!(late.text().contains("280 V"), "the file's value is shown: {}", late.text());
    assert!(file(&bench, "bench.toml").contains("\"280 V\""));
    let add = |v: &str| format!(r#"{{"cells":[["run","1"],["voltage_V","{v}"],["current_A","1.5"]]}}"#);
    assert_eq!(bench.post(&cookie, "/readings/add", &add("200")).status, 200);
    let raw = "1,200,1.5,,,,,,,,,,,";
    let change = |v: &str| format!(r#"{{"line":4,"raw":"{raw}","cells":[["voltage_V","{v}"]]}}"#);
    assert_eq!(
        bench.post(&cookie, "/readings/set", &change("201")).status,
        200,
        "{}",
        file(&bench, "readings.csv")
    );
    assert_eq!(bench.post(&cookie, "/readings/set", &change("202")).status, 409);
    assert!(file(&bench, "readings.csv").contains("1,201,1.5"));
    bench.stop();
}

#[test]
fn a_change_made_to_the_files_outside_shows() {
    let bench = Bench::new(None);
    let cookie = bench.cookie();
    let now = bench.get(&cookie, "/now").text();
    let text = file(&bench, "bench.toml").replace("Window bench", "Attic bench");
    std::fs::write(bench.root.join("bench.toml"), text).unwrap();
    assert_ne!(bench.get(&cookie, "/now").text(), now);
    assert!(bench.get(&cookie, "/bench/work").text().contains("Attic bench"));
    std::fs::write(
        bench.root.join("bench.toml"),
        "[bench]\nformat = 1\n\n[gun]\nvoltage_limit = \"300 mm\"\n",
    )
    .unwrap();
    let page = bench.get(&cookie, "/bench").text();
    let field = page.split("id=\"gun-voltage_limit\"").nth(1).unwrap();
    let field = field.split("class=\"entry\"").next().unwrap();
    assert!(
        field.contains("class=\"fault\"") && field.contains("length"),
        "the fault stands beside its field"
    );
    bench.stop();
}

#[test]
fn a_reading_comes_is_struck_and_goes() {
    let bench = Bench::new(None);
    let cookie = bench.cookie();
    let before = file(&bench, "readings.csv");
    let add = r#"{"cells":[["run","1"],["voltage_V","200,5"],["current_A","1.5"]]}"#;
    let answer = bench.post(&cookie, "/readings/add", add);
    assert_eq!(answer.status, 200, "{}", answer.text());
    assert!(file(&bench, "readings.csv").contains("1,200.5,1.5"), "a decimal comma is understood");
    let check = bench.get(&cookie, "/readings/check?run=1").text();
    assert!(check.contains("Predicted ring"), "{check}");
    let raw = "1,200.5,1.5,,,,,,,,,,,";
    let strike = format!(r#"{{"line":4,"raw":"{raw}","cells":[["struck_because","blurred, dark"]]}}"#);
    assert_eq!(bench.post(&cookie, "/readings/set", &strike).status, 200);
    assert!(file(&bench, "readings.csv").contains("\"blurred, dark\""));
    let struck = "1,200.5,1.5,,,,,,,,,,\\\"blurred, dark\\\",";
    let back = format!(r#"{{"line":4,"raw":"{struck}","cells":[["struck_because",""]]}}"#);
    assert_eq!(bench.post(&cookie, "/readings/set", &back).status, 200);
    let gone = format!(r#"{{"line":4,"raw":"{raw}"}}"#);
    assert_eq!(bench.post(&cookie, "/readings/remove", &gone).status, 200);
    assert_eq!(file(&bench, "readings.csv"), before);
    bench.stop();
}

#[cfg(unix)]
#[test]
fn a_folder_that_can_not_be_written_is_said_and_nothing_is_lost() {
    use std::os::unix::fs::PermissionsExt;
    let bench = Bench::new(None);
    let cookie = bench.cookie();
    let before = file(&bench, "bench.toml");
    std::fs::set_permissions(bench.root.join("bench.toml"), std::fs::Permissions::from_mode(0o444)).unwrap();
    let answer = set(&bench, &cookie, "300 V", "280 V");
    assert_eq!(answer.status, 500);
    assert!(answer.text().contains("can't be written"), "{}", answer.text());
    assert_eq!(file(&bench, "bench.toml"), before);
    bench.stop();
}

#[test]
fn every_station_answers_soon_and_small() {
    let bench = Bench::new(None);
    let cookie = bench.cookie();
    // an invented bench: V, I and the diameter by hand
    let readings = [(150, 1.2, 92.6), (200, 1.4, 91.6), (250, 1.8, 79.7), (300, 2.0, 78.6), (200, 1.8, 71.3)];
    for (run, (volts, amperes, mm)) in (1..).zip(readings) {
        let row = format!(
            r#"{{"cells":[["run","{run}"],["voltage_V","{volts}"],["current_A","{amperes}"],["diameter_mm","{mm}"],["diameter_u_mm","0.5"]]}}"#
        );
        assert_eq!(bench.post(&cookie, "/readings/add", &row).status, 200);
    }
    for station in ["/bench", "/field", "/plan", "/readings", "/ring", "/mass", "/path", "/board", "/report"]
    {
        let answer = whole(&bench, &cookie, station);
        assert_eq!(answer.status, 200, "{station}");
        println!("{station}: {} bytes", answer.body.len());
        assert!(answer.body.len() < 150_000, "{station}: {} bytes", answer.body.len());
    }
    bench.stop();
}

/// A station once its long work has ended.
fn whole(bench: &Bench, cookie: &str, station: &str) -> Answer {
    let begun = std::time::Instant::now();
    loop {
        let answer = bench.get(cookie, station);
        if !answer.text().contains("data-wait") {
            return answer;
        }
        assert!(begun.elapsed().as_secs() < 120, "{station} still waits");
        std::thread::sleep(std::time::Duration::from_millis(100));
    }
}
