//! The whole day with photographs: a bench typed in, photographs taken in and matched, marks moved, a run struck, a plan, a
//! prediction laid over a photograph, and the report taken away.

use std::path::{Path, PathBuf};

use serde_json::json;

use crate::chromium::Browser;
use crate::common::Bench;
use crate::first_page;
use crate::looks;

/// What is known of the simulated bench whose photographs stand in `tests/data/typical`, as its bench file has it.
const KNOWN: [(&str, &str); 15] = [
    ("coils-mean_radius", "161 mm ± 0.5 mm"),
    ("coils-separation", "161 mm ± 0.7 mm"),
    ("coils-turns", "129"),
    ("coils-winding_axial", "14 mm ± 0.5 mm"),
    ("coils-current_limit", "4 A"),
    ("gun-muzzle", "0 mm, -36 mm, 0 mm"),
    ("gun-voltage_limit", "350 V"),
    ("bulb-outer_radius", "84 mm ± 0.5 mm"),
    ("bulb-glass_thickness", "2 mm ± 0.2 mm"),
    ("meters-current-of_reading", "1 %"),
    ("meters-current-resolution", "0.001 A"),
    ("camera-distance", "625 mm ± 6 mm"),
    ("scale-spacing", "1"),
    ("scale-offset", "0 ± 1"),
    ("meters-voltage-resolution", "0,1"),
];
/// Run, voltage, current of `tests/data/typical/readings.csv`; the last is a repeated reading.
const READINGS: [[&str; 3]; 5] = [
    ["1", "260.0", "2.638"],
    ["2", "135.2", "1.790"],
    ["4", "159.9", "1.419"],
    ["5", "169.9", "1.230"],
    ["5", "169.9", "1.231"],
];

#[test]
fn a_day_with_photographs_ends_with_a_report_taken_away() {
    let Some((bench, mut page, own)) = first_page() else { return };
    describe(&mut page);
    page.go(&format!("{own}/readings"));
    take_readings(&mut page);
    take_photographs(&mut page);
    mark_the_beam(&mut page, &bench, &own);
    strike_by_repeat(&mut page, &bench, &own);
    page.go(&format!("{own}/mass"));
    page.until("document.querySelector('.result .large') !== null");
    work_a_run_through(&mut page);
    lay_over(&mut page, &own);
    plan(&mut page, &own);
    take_the_report(&mut page, &own);
    looks::at_every_station(&mut page, &own);
    let mut complaints = page.complaints(&own);
    // built without PNG, the page answers the one question for it with 404, which the browser notes
    let on_purpose =
        |told: &String| !cfg!(feature = "png") && told.contains("name=law&kind=png") && told.contains("404");
    complaints.retain(|told| !on_purpose(told));
    assert!(complaints.is_empty(), "{complaints:#?}");
    drop(page);
    bench.stop();
}

fn describe(page: &mut Browser) {
    page.value("document.querySelectorAll('#work details').forEach((part) => { part.open = true; })");
    for (id, typed) in KNOWN {
        page.value(&format!(
            "document.getElementById('{id}').focus(); document.getElementById('{id}').select()"
        ));
        page.types(typed);
        page.presses("Enter");
        page.until(&format!("document.getElementById('{id}').dataset.seen === document.getElementById('{id}').value && document.getElementById('{id}').value !== ''"));
    }
}

fn take_readings(page: &mut Browser) {
    for [run, volts, amperes] in READINGS {
        let before = page.value("document.querySelectorAll('tr[data-run]').length");
        page.value("document.querySelector('form.next [name=run]').focus(); document.querySelector('form.next [name=run]').select()");
        page.types(run);
        page.presses("Enter");
        page.types(volts);
        page.presses("Enter");
        page.types(amperes);
        page.presses("Enter");
        page.until(&format!("document.querySelectorAll('tr[data-run]').length > {before}"));
        let shown = page.value("document.getElementById('work').innerText");
        assert!(!shown.as_str().unwrap().contains("Predicted"), "nobody sees a prediction unasked");
    }
}

fn photographs() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../../tests/data/typical/photos")
}

/// Ring photographs of runs 1, 2, 4 and 5, and their scale.
fn take_photographs(page: &mut Browser) {
    let names = ["ring-01.jpg", "ring-02.jpg", "ring-04.jpg", "ring-05.jpg", "scale-01.jpg"];
    let files: Vec<PathBuf> =
        names.iter().map(|name| photographs().join(name).canonicalize().unwrap()).collect();
    page.choose("#photo-files", &files);
    page.until("document.getElementById('photo-said').innerText.includes('5 saved')");
    page.until("document.querySelector('[data-accept]') !== null");
    let asked = page.value("document.querySelector('.proposal').innerText");
    assert!(asked.as_str().unwrap().contains("4 rings and 1 scale found"), "{asked}");
    page.presses_on("[data-accept]");
    page.until("document.getElementById('photo-said').innerText.includes('4 rings matched')");
    // the same by hand
    let select = "document.querySelector('select[data-photo=\"ring-04.jpg\"]')";
    for (shows, words) in [("none:", "belongs to no run"), ("ring:4", "ring of run 4")] {
        page.value(&format!(
            "{select}.value = '{shows}'; {select}.dispatchEvent(new Event('change', {{ bubbles: true }}))"
        ));
        page.until(&format!("{select}.closest('li').querySelector('p.quiet').innerText.includes('{words}')"));
    }
}

/// Three marks on the beam by mouse, one of them moved by keys: the marks are kept, the diameter follows.
fn mark_the_beam(page: &mut Browser, bench: &Bench, own: &str) {
    page.go(&format!("{own}/ring?name=ring-01.jpg"));
    page.until("/[0-9] mm/.test(document.getElementById('diameter').textContent) && document.getElementById('ring-said').innerText === ''");
    page.value("document.querySelector('input[name=tool][value=beam]').click()");
    let found = page.value("document.getElementById('diameter').textContent");
    // where the beam is, asked of the server as the page does; the whole picture is shown
    let place = "(async () => { const seen = await (await fetch('/ring/measure', { method: 'POST', headers: { 'content-type': 'application/json' }, body: JSON.stringify({ photo: 'ring-01.jpg', marks: [], quick: true }) })).json(); \
        const canvas = document.getElementById('photo'); const box = canvas.getBoundingClientRect(); \
        const k = Math.min(canvas.clientWidth / seen.width_px, canvas.clientHeight / seen.height_px); \
        const at = (p) => [box.left + (canvas.clientWidth - seen.width_px * k) / 2 + (p.x_px + 0.5) * k, box.top + (canvas.clientHeight - seen.height_px * k) / 2 + (p.y_px + 0.5) * k]; \
        const n = seen.points.length; return [0.2, 0.5, 0.8].map((share) => at(seen.points[Math.floor(share * n)])); })()";
    page.value("document.getElementById('photo').scrollIntoView({ block: 'center' })");
    let places = page.value(place);
    let file = bench.root.join("marks/ring-01.jpg.csv");
    let marks = || {
        std::fs::read_to_string(&file)
            .unwrap_or_default()
            .lines()
            .filter(|line| line.starts_with("beam,"))
            .count()
    };
    for (count, place) in (1..).zip(places.as_array().unwrap()) {
        page.clicks([0, 1].map(|k| place[k].as_f64().unwrap()));
        if count < 3 {
            let needed = ["2 more marks needed.", "1 more mark needed."][count - 1];
            page.until(&format!("document.getElementById('ring-ask').innerText === '{needed}'"));
            assert_eq!(marks(), 0, "a stray click is not saved");
            assert_eq!(
                page.value("document.getElementById('diameter').textContent"),
                found,
                "and changes nothing"
            );
        }
    }
    page.until("document.getElementById('ring-said').innerText.includes('Marks saved')");
    page.value("document.getElementById('ring-said').textContent = ''");
    assert_eq!(marks(), 3);
    let before = beam_marks(&file);
    page.value("document.getElementById('photo').focus()");
    // the mark that was set last is still chosen where the page stays at this step: let go of it first
    page.presses("Escape");
    page.presses("p");
    page.presses("f");
    page.presses("ArrowRight");
    page.until("document.getElementById('ring-said').innerText.includes('Marks saved')");
    let after = beam_marks(&file);
    let mut moved = before.clone();
    moved.last_mut().unwrap()[0] += 0.1;
    let is_near = |a: &[f64; 2], b: &[f64; 2]| a.iter().zip(b).all(|(a, b)| (a - b).abs() < 1e-9);
    assert!(
        after.len() == 3 && after.iter().zip(&moved).all(|(a, b)| is_near(a, b)),
        "one key moves the last mark by a tenth of a pixel and no other: {before:?} to {after:?}"
    );
    let shown = page.value("document.getElementById('diameter').textContent");
    assert!(shown.as_str().unwrap().contains("± "), "{shown}");
    let original = std::fs::read(photographs().join("ring-01.jpg")).unwrap();
    assert_eq!(std::fs::read(bench.root.join("photos/ring-01.jpg")).unwrap(), original, "never changed");
}

/// Where the marks on the beam are, in the order of their file, px.
fn beam_marks(file: &Path) -> Vec<[f64; 2]> {
    let text = std::fs::read_to_string(file).unwrap();
    let place = |line: &str| {
        let cells: Vec<&str> = line.split(',').collect();
        [1, 2].map(|k: usize| cells[k].parse().unwrap())
    };
    text.lines().filter(|line| line.starts_with("beam,")).map(place).collect()
}

/// A run of two readings is struck as one, and the undo takes it back; struck again it stays so.
fn strike_by_repeat(page: &mut Browser, bench: &Bench, own: &str) {
    page.go(&format!("{own}/readings"));
    for undone in [true, false] {
        page.value("[...document.querySelectorAll('[data-act=strike]')].pop().focus()");
        page.presses("Enter");
        page.until("document.activeElement.getAttribute('aria-label') === 'Why this run does not count'");
        page.types("the tube was knocked");
        page.presses("Enter");
        page.until("document.querySelectorAll('tr.struck').length === 2");
        if undone {
            page.value("document.getElementById('undo').click()");
            page.until("document.querySelectorAll('tr.struck').length === 0");
        }
    }
    let table = std::fs::read_to_string(bench.root.join("readings.csv")).unwrap();
    assert_eq!(table.matches("the tube was knocked").count(), 2, "{table}");
}

/// Both ways of a run stand side by side, and flux densities follow the unit.
fn work_a_run_through(page: &mut Browser) {
    page.value("document.querySelector('details.run').open = true");
    let said = |page: &mut Browser| {
        page.value("document.querySelector('details.run').innerText").as_str().unwrap().to_owned()
    };
    let first = said(page);
    assert!(
        first.contains("By the textbook") && first.contains("By the full model") && first.contains(" mT"),
        "{first}"
    );
    page.value("document.getElementById('unit').value = 'G'; document.getElementById('unit').dispatchEvent(new Event('change', { bubbles: true }))");
    page.until("document.querySelector('details.run').innerText.includes(' G')");
    let second = page.value(
        "document.getElementById('work').innerText.replace(document.getElementById('unit').innerText, '')",
    );
    let second = second.as_str().unwrap();
    let left = ["mT", "µT"].into_iter().find_map(|unit| second.split_once(unit));
    assert!(left.is_none(), "sentences, tables and figures of the station follow: {second}");
    let report = page.value("fetch('/report/file?kind=html').then((answer) => answer.text()).then((text) => text.replace(/<style>[^]*?<\\/style>|<[^>]*>/g, ''))");
    let report = report.as_str().unwrap();
    assert!(
        report.contains(" G/A") && !report.contains("mT") && !report.contains("µT"),
        "so does the report"
    );
    let picture = page.value(
        "fetch('/figure?of=mass&name=law&kind=png').then((answer) => answer.headers.get('content-type'))",
    );
    let (has_png, kind) = (cfg!(feature = "png"), picture.as_str().unwrap());
    assert_eq!(kind == "image/png", has_png, "{kind}");
    let offered = page
        .value("[...document.querySelectorAll('.downloads a')].some((link) => link.download === 'law.png')");
    assert_eq!(offered, json!(has_png), "a figure is offered as PNG where that is built in");
    page.value("document.cookie = 'arcmass-unit=mT; path=/'");
}

/// A frozen prediction of a run's own setting, seen by the photograph's camera, lies within 5 % of the photographed ring.
fn lay_over(page: &mut Browser, own: &str) {
    page.go(&format!("{own}/path"));
    page.until("document.querySelector('[data-figure=fitted]').textContent.includes('mm')");
    page.value("const s = document.getElementById('over-photo'); s.value = 'ring-02.jpg'; s.dispatchEvent(new Event('change', { bubbles: true }))");
    page.until("document.getElementById('over-said').textContent.includes('Photographed')");
    let apart =
        "Number(document.getElementById('over-said').textContent.match(/prediction is ([0-9.]+) mm/)[1])";
    let before = page.value(apart).as_f64().unwrap();
    page.value("document.getElementById('over-setting').click()");
    page.until(&format!("{apart} !== {before}"));
    let apart = page.value(apart).as_f64().unwrap();
    assert!(apart < 0.05 * 50.0, "{apart} mm");
    page.value("document.getElementById('freeze').click()");
    page.until("document.getElementById('freeze').getAttribute('aria-pressed') === 'true'");
}

fn plan(page: &mut Browser, own: &str) {
    page.go(&format!("{own}/plan"));
    page.until("document.querySelectorAll('table.plan tbody tr').length === 12");
    page.value("document.getElementById('runs').focus(); document.getElementById('runs').select()");
    page.types("5");
    page.presses("Enter");
    page.until("document.querySelectorAll('table.plan tbody tr').length === 5");
    let said = page.value("document.querySelector('.card').innerText");
    let said = said.as_str().unwrap();
    assert!(said.contains("350 V") && said.contains("4 A") && said.contains("voltage to 0"), "{said}");
}

fn take_the_report(page: &mut Browser, own: &str) {
    let folder = tempfile::tempdir().unwrap();
    let to = json!({ "behavior": "allow", "downloadPath": folder.path().display().to_string() });
    page.call("Page.setDownloadBehavior", &to);
    page.go(&format!("{own}/report"));
    page.until("document.querySelector('iframe.preview') !== null");
    let mut files = vec![
        ("html", "report.html", "he tube was knocked", "</html>"),
        ("worksheet", "worksheet.html", "Worksheet", "</html>"),
        ("key", "key.html", "Run 1", "</html>"),
    ];
    if cfg!(feature = "pdf") {
        files.push(("pdf", "report.pdf", "%PDF-", "%%EOF"));
    }
    let has = |file: &std::path::Path, word: &str| {
        std::fs::read(file)
            .is_ok_and(|bytes| bytes.windows(word.len()).any(|window| window == word.as_bytes()))
    };
    for (kind, name, holds, end) in files {
        page.value(&format!("document.querySelector('a[href=\"/report/file?kind={kind}\"]').click()"));
        let file = folder.path().join(name);
        let begun = std::time::Instant::now();
        while !has(&file, end) {
            assert!(begun.elapsed().as_secs() < 30, "{name} was not taken away");
            std::thread::sleep(std::time::Duration::from_millis(50));
        }
        assert!(has(&file, holds), "{name}");
    }
}
