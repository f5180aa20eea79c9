//! The Board as a lesson on a projector: step by step by a clicker's keys, legible from afar in every look.

use std::path::Path;

use serde_json::json;

use crate::chromium::Browser;
use crate::common::Bench;
use crate::first_page;

/// Bench, readings and two photographs of `tests/data/typical`.
fn prepare(bench: &Bench) {
    let typical = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../tests/data/typical");
    std::fs::copy(typical.join("bench.toml"), bench.root.join("bench.toml")).unwrap();
    let runs = "run,voltage_V,current_A,ring_photo,scale_photo\n1,260.0,2.638,ring-01.jpg,scale-01.jpg\n2,135.2,1.790,ring-02.jpg,scale-01.jpg\n";
    std::fs::write(bench.root.join("readings.csv"), runs).unwrap();
    for name in ["ring-01.jpg", "ring-02.jpg", "scale-01.jpg"] {
        std::fs::copy(typical.join("photos").join(name), bench.root.join("photos").join(name)).unwrap();
    }
}

#[test]
fn a_lesson_goes_by_a_clicker_from_the_reading_to_why_the_runs_differ() {
    let Some((bench, mut page, own)) = first_page() else { return };
    prepare(&bench);
    page.go(&format!("{own}/mass"));
    page.until("document.querySelector('.result .large') !== null");
    page.size(1920, 1080);
    page.go(&format!("{own}/board"));
    page.until("document.querySelector('article.board') !== null");
    assert_eq!(shown(&mut page), json!([]), "nothing is told before it is asked for");
    for opened in ["guess", "predicted", "measured", "mass"] {
        page.presses("PageDown");
        page.until(&format!("[...document.querySelectorAll('article.board:not([hidden]) .open')].pop()?.dataset.step === '{opened}'"));
        if opened == "guess" {
            page.types("72");
        }
    }
    let told = page.value("document.querySelector('article.board:not([hidden])').innerText");
    let told = told.as_str().unwrap();
    assert_eq!(
        told.matches(" ± ").count(),
        3,
        "prediction, measurement and mass each with its uncertainty: {told}"
    );
    page.until("document.querySelector('article.board:not([hidden]) canvas').width > 300 && !document.querySelector('article.board:not([hidden]) .board-legend').hidden");
    one_number(&mut page, &own);
    page.go(&format!("{own}/board#3.2"));
    page.until("document.querySelector('article.board:not([hidden])').dataset.run === 'all'");
    page.until("document.querySelectorAll('article.board:not([hidden]) .open').length === 2");
    page.presses("PageUp");
    page.until("document.querySelectorAll('article.board:not([hidden]) .open').length === 1");
    page.presses(".");
    page.until("document.body.classList.contains('blank')");
    page.presses(".");
    assert_eq!(page.value("location.pathname"), json!("/board"), "a clicker's keys stay on the board");
    for look in ["dark", "light", "dim"] {
        for slide in ["#1.4", "#3.2"] {
            legible(&mut page, &own, look, slide);
        }
    }
    let complaints = page.complaints(&own);
    assert!(complaints.is_empty(), "{complaints:#?}");
    drop(page);
    bench.stop();
}

fn shown(page: &mut Browser) -> serde_json::Value {
    page.value("[...document.querySelectorAll('article.board:not([hidden]) .open')].map((veil) => veil.dataset.step)")
}

/// The ring's diameter reads the same on Board, Ring and Mass.
fn one_number(page: &mut Browser, own: &str) {
    let board = page
        .value("document.querySelector('[data-step=measured] dd').innerText.replace(/\\s+/g, ' ').trim()");
    page.go(&format!("{own}/ring?name=ring-01.jpg"));
    page.until("document.getElementById('diameter').textContent.includes('±') && document.getElementById('ring-said').innerText === ''");
    assert_eq!(page.value("document.getElementById('diameter').textContent"), board);
    page.go(&format!("{own}/mass"));
    page.until("document.querySelector('details.run') !== null");
    let run = page.value(
        "document.querySelector('details.run').open = true, document.querySelector('details.run').innerText",
    );
    assert!(
        run.as_str().unwrap().contains(&format!("ring diameter {}", board.as_str().unwrap())),
        "{board}: {run}"
    );
}

/// Every text of the slide has a contrast of 7 : 1 at least (WCAG 2.2, 1.4.6) against the ground.
fn legible(page: &mut Browser, own: &str, look: &str, slide: &str) {
    page.value(&format!("document.cookie = 'arcmass-look={look}; path=/'"));
    page.go("about:blank");
    page.go(&format!("{own}/board{slide}"));
    page.until("document.querySelector('article.board:not([hidden])') !== null");
    let least = page.value(
        "(() => { const light = (c) => { const [r, g, b] = c.match(/[0-9.]+/g).slice(0, 3).map((v) => { v /= 255; return v <= 0.04045 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4; }); return 0.2126 * r + 0.7152 * g + 0.0722 * b; };\
         const ground = light(getComputedStyle(document.documentElement).backgroundColor);\
         const all = [...document.querySelectorAll('#lesson *')].filter((e) => e.checkVisibility({ visibilityProperty: true }) && [...e.childNodes].some((n) => n.nodeType === 3 && n.textContent.trim()) && !e.closest('svg, button'));\
         const seen = all.map((e) => { const l = light(getComputedStyle(e).color); return [(Math.max(l, ground) + 0.05) / (Math.min(l, ground) + 0.05), e.className + ' ' + e.textContent.slice(0, 30)]; });\
         return seen.sort((a, b) => a[0] - b[0])[0]; })()",
    );
    assert!(least[0].as_f64().unwrap() >= 7.0, "{look} {slide}: {least}");
}
