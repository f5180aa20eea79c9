//! Every station, in every look, on a desk and on a phone.

use serde_json::{Value, json};

use crate::chromium::Browser;

const STATIONS: [&str; 10] =
    ["start", "bench", "field", "plan", "readings", "ring", "mass", "path", "board", "report"];

/// A desk, a phone, a projector, and a desk's page at 400 %.
const SIZES: [(u32, u32); 4] = [(1280, 800), (390, 844), (1920, 1080), (320, 256)];

/// Each station, in every look and size: nothing wider than the screen, nothing that axe-core finds at any level.
pub(crate) fn at_every_station(page: &mut Browser, own: &str) {
    let axe = std::env::var("ARCMASS_AXE").ok().map(|file| std::fs::read_to_string(file).unwrap());
    for look in ["dark", "light", "dim"] {
        for (width, height) in SIZES {
            page.size(width, height);
            page.value(&format!("document.cookie = 'arcmass-look={look}; path=/'"));
            for station in STATIONS {
                page.go(&format!("{own}/{station}"));
                page.until(
                    "document.querySelector('h1') !== null && document.querySelector('[data-wait]') === null",
                );
                page.value("document.querySelectorAll('details.run').forEach((run) => { run.open = true; })");
                assert_eq!(page.value("document.documentElement.dataset.theme"), json!(look), "{station}");
                let wide = page.value("document.documentElement.scrollWidth");
                assert!(wide.as_u64().unwrap() <= u64::from(width), "{station} is {wide} wide on {width}");
                if let Some(axe) = &axe {
                    assert_eq!(found(page, axe), json!([]), "{station}, {look}, {width}");
                }
                keep(page, station, look, width);
            }
        }
    }
}

/// All findings of axe-core, best practice too.
fn found(page: &mut Browser, axe: &str) -> Value {
    page.value(&format!("{axe};0"));
    page.value(
        "axe.run(document, { iframes: false }).then((found) => found.violations\
         .map((v) => [v.id, v.impact, v.nodes[0].html, v.nodes[0].failureSummary]))",
    )
}

/// Keeps a picture of each station where `cargo xtask study screens` asks for it.
fn keep(page: &mut Browser, station: &str, look: &str, width: u32) {
    let Some(folder) = std::env::var_os("ARCMASS_SCREENS") else { return };
    let device = match width {
        320 => "zoomed",
        390 => "phone",
        1920 => "projector",
        _ => "desk",
    };
    std::thread::sleep(std::time::Duration::from_millis(400));
    let picture = page.picture();
    let folder = std::path::PathBuf::from(folder);
    std::fs::create_dir_all(&folder).unwrap();
    std::fs::write(folder.join(format!("{station}-{device}-{look}.png")), picture).unwrap();
}
