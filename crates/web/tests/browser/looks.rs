//! Every station, in every look, on a desk and on a phone.

use serde_json::{Value, json};

use crate::chromium::Browser;

const STATIONS: [&str; 9] = ["bench", "field", "plan", "readings", "ring", "mass", "path", "board", "report"];

/// Each station, dark and light, on a desk and on a phone: nothing wider than the screen, nothing seriously hard to reach.
pub(crate) fn at_every_station(page: &mut Browser, own: &str) {
    let axe = std::env::var("ARCMASS_AXE").ok().map(|file| std::fs::read_to_string(file).unwrap());
    for look in ["dark", "light", "dim"] {
        for (width, height) in [(1280, 800), (390, 844)] {
            page.size(width, height);
            page.value(&format!("document.cookie = 'arcmass-look={look}; path=/'"));
            for station in STATIONS {
                page.go(&format!("{own}/{station}"));
                page.until(
                    "document.querySelector('h1') !== null && document.querySelector('[data-wait]') === null",
                );
                assert_eq!(page.value("document.documentElement.dataset.theme"), json!(look), "{station}");
                let wide = page.value("document.documentElement.scrollWidth");
                assert!(wide.as_u64().unwrap() <= u64::from(width), "{station} is {wide} wide on {width}");
                // contrast changes with the look; what stands where changes with the width
                if let Some(axe) = axe.as_ref().filter(|_| width > 600 || look == "dark") {
                    let serious = seriously(page, axe);
                    assert_eq!(serious, json!([]), "{station}, {look}, {width}");
                }
                keep(page, station, look, width);
            }
        }
    }
}

/// Serious and critical findings of axe-core.
fn seriously(page: &mut Browser, axe: &str) -> Value {
    page.value(&format!("{axe};0"));
    page.value(
        "axe.run(document, { iframes: false }).then((found) => found.violations\
         .filter((v) => ['serious', 'critical'].includes(v.impact)).map((v) => [v.id, v.nodes[0].html]))",
    )
}

/// Keeps a picture of each station where `cargo xtask study screens` asks for it.
fn keep(page: &mut Browser, station: &str, look: &str, width: u32) {
    let Some(folder) = std::env::var_os("ARCMASS_SCREENS") else { return };
    let device = if width < 600 { "phone" } else { "desk" };
    std::thread::sleep(std::time::Duration::from_millis(400));
    let picture = page.picture();
    let folder = std::path::PathBuf::from(folder);
    std::fs::create_dir_all(&folder).unwrap();
    std::fs::write(folder.join(format!("{station}-{device}-{look}.png")), picture).unwrap();
}
