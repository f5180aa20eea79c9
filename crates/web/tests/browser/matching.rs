//! Photographs all named alike by a phone: taken in, matched by one click, renamed, removed, and all of it taken back after a
//! reload; then the Ring station by keys alone.

use std::path::{Path, PathBuf};

use serde_json::{Value, json};

use crate::chromium::Browser;
use crate::common::Bench;
use crate::first_page;

/// Bench and readings of `tests/data/typical`, without its photographs.
fn prepare(bench: &Bench) {
    let typical = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../tests/data/typical");
    std::fs::copy(typical.join("bench.toml"), bench.root.join("bench.toml")).unwrap();
    let runs = "run,voltage_V,current_A\n1,260.0,2.638\n2,135.2,1.790\n4,159.9,1.419\n5,169.9,1.230\n5,169.9,1.231\n";
    std::fs::write(bench.root.join("readings.csv"), runs).unwrap();
}

/// The photographs as a phone hands them over: each `image.jpg`.
fn alike(folder: &Path) -> Vec<PathBuf> {
    let photos = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../tests/data/typical/photos");
    let names = ["ring-01.jpg", "ring-02.jpg", "ring-04.jpg", "ring-05.jpg", "scale-01.jpg"];
    let copy = |name: &&str| {
        let own = folder.join(name.trim_end_matches(".jpg"));
        std::fs::create_dir(&own).unwrap();
        std::fs::copy(photos.join(name), own.join("image.jpg")).unwrap();
        own.join("image.jpg")
    };
    names.iter().map(copy).collect()
}

fn readings(bench: &Bench) -> String {
    std::fs::read_to_string(bench.root.join("readings.csv")).unwrap()
}

#[test]
fn photographs_named_alike_are_matched_by_one_click_and_every_change_is_taken_back() {
    let Some((bench, mut page, own)) = first_page() else { return };
    prepare(&bench);
    let folder = tempfile::tempdir().unwrap();
    page.go(&format!("{own}/readings"));
    page.choose("#photo-files", &alike(folder.path()));
    page.until("document.getElementById('photo-said').innerText.includes('5 saved')");
    page.presses_on("[data-accept]");
    page.until("document.getElementById('photo-said').innerText.includes('4 rings matched')");
    let matched = readings(&bench);
    for (run, name) in [("1", "image.jpg"), ("2", "image-2.jpg"), ("4", "image-3.jpg"), ("5", "image-4.jpg")]
    {
        let row = matched.lines().find(|line| line.starts_with(&format!("{run},"))).unwrap();
        assert!(row.ends_with(&format!(",{name},image-5.jpg")), "{row}");
    }
    rename_and_remove(&mut page, &bench);
    take_back_after_a_reload(&mut page, &bench, &own, &matched);
    by_keys(&mut page, &bench, &own);
    let complaints = page.complaints(&own);
    assert!(complaints.is_empty(), "{complaints:#?}");
    drop(page);
    bench.stop();
}

fn rename_and_remove(page: &mut Browser, bench: &Bench) {
    page.presses_on("[data-rename=\"image-2.jpg\"]");
    page.until("document.activeElement.getAttribute('aria-label') === 'New name of image-2.jpg'");
    page.types("ring-02"); // the stem is chosen, the ending stays
    page.presses("Enter");
    page.until("document.querySelector('[data-rename=\"ring-02.jpg\"]') !== null");
    assert!(bench.root.join("photos/ring-02.jpg").is_file() && readings(bench).contains(",ring-02.jpg,"));
    page.presses_on("[data-remove=\"image-4.jpg\"]");
    page.until("document.querySelector('[data-remove=\"image-4.jpg\"]') === null && document.querySelector('.removed') !== null");
    assert!(!bench.root.join("photos/image-4.jpg").exists() && !readings(bench).contains("image-4"));
    assert!(bench.root.join("removed/photos/image-4.jpg").is_file(), "removed, not destroyed");
}

fn take_back_after_a_reload(page: &mut Browser, bench: &Bench, own: &str, matched: &str) {
    page.go(&format!("{own}/readings"));
    for words in ["image-4.jpg removed", "image-2.jpg renamed to ring-02.jpg"] {
        assert_eq!(page.value("document.getElementById('undo-words').innerText"), json!(words));
        page.presses_on("#undo");
        page.until(&format!("document.getElementById('next-said').innerText.includes('{words}')"));
    }
    assert_eq!(readings(bench), matched);
    assert!(
        bench.root.join("photos/image-2.jpg").is_file() && bench.root.join("photos/image-4.jpg").is_file()
    );
}

/// Marks by keys alone, with few presses, and few stops on the way to them.
fn by_keys(page: &mut Browser, bench: &Bench, own: &str) {
    page.go(&format!("{own}/ring?name=image.jpg"));
    page.until("/[0-9] mm/.test(document.getElementById('diameter').textContent) && document.getElementById('ring-said').innerText === ''");
    let stops = tab_stops(page);
    println!("{} tab stops: {stops:?}", stops.len());
    assert!(stops.len() <= 12, "{stops:?}");
    let seen = page.value("fetch('/ring/measure', { method: 'POST', headers: { 'content-type': 'application/json' }, body: JSON.stringify({ photo: 'image.jpg', marks: [], quick: true }) }).then((a) => a.json()).then((seen) => [0.2, 0.5, 0.8].map((share) => seen.points[Math.floor(share * seen.points.length)]))");
    page.value("document.querySelector('input[name=tool]:checked').focus()");
    while page.value("document.querySelector('input[name=tool]:checked').value") != json!("beam") {
        page.presses("ArrowLeft");
    }
    page.presses("Tab");
    assert_eq!(page.value("document.activeElement.id"), json!("photo"));
    let mut presses = 0;
    let mut at = middle(page);
    for point in seen.as_array().unwrap() {
        let to = ["x_px", "y_px"].map(|key| point[key].as_f64().unwrap());
        presses += walk(page, &mut at, to);
        page.presses("Enter");
        presses += 1;
    }
    println!("{presses} presses for three marks");
    assert!(presses <= 3 * 30, "{presses}");
    page.until("document.getElementById('ring-said').innerText.includes('Marks saved')");
    let marks = || std::fs::read_to_string(bench.root.join("marks/image.jpg.csv")).unwrap();
    assert_eq!(marks().matches("beam,").count(), 3);
    page.presses("o");
    assert_eq!(page.value("document.querySelector('[data-overlay]').ariaPressed"), json!("false"));
    page.presses("o");
    page.go(&format!("{own}/ring?name=image.jpg"));
    page.until("document.getElementById('diameter').textContent.includes('±') && document.getElementById('ring-said').innerText === ''");
    page.value("document.getElementById('photo').focus()");
    page.presses("u");
    page.until("document.getElementById('ring-said').innerText.includes('taken back')");
    assert_eq!(marks().matches("beam,").count(), 0, "taken back after a reload");
}

/// What Tab stops at between the head of the page and its foot.
fn tab_stops(page: &mut Browser) -> Vec<String> {
    page.value("document.getElementById('work').focus()");
    let mut stops = Vec::new();
    loop {
        page.presses("Tab");
        let here = page.value("document.activeElement.closest('#work') && (document.activeElement.id || document.activeElement.innerText || document.activeElement.name)");
        match here {
            Value::String(name) if stops.len() < 40 => stops.push(name),
            _ => return stops,
        }
    }
}

/// Where the cross stands at first: the middle of the picture that is wholly shown.
fn middle(page: &mut Browser) -> [f64; 2] {
    let size = page.value("(() => { const i = new Image(); i.src = document.getElementById('desk').dataset.src; return i.decode().then(() => [i.naturalWidth, i.naturalHeight]); })()");
    [0, 1].map(|k| size[k].as_f64().unwrap() / 2.0 - 0.5)
}

/// Walks the cross near a place: large steps, then small ones; the number of presses.
fn walk(page: &mut Browser, at: &mut [f64; 2], to: [f64; 2]) -> usize {
    let told = page.value("document.getElementById('ring-keys').innerText");
    let sizes: Vec<f64> = told
        .as_str()
        .unwrap()
        .split(" px")
        .filter_map(|part| part.rsplit(' ').next()?.parse().ok())
        .collect();
    let mut presses = 0;
    for axis in [0, 1] {
        let keys = [["ArrowLeft", "ArrowRight"], ["ArrowUp", "ArrowDown"]][axis];
        for (size, is_far) in [(sizes[1], true), (sizes[0], false)] {
            while (to[axis] - at[axis]).abs() > 0.5 * size {
                let step = size.copysign(to[axis] - at[axis]);
                let key = keys[usize::from(step > 0.0)];
                if is_far {
                    page.presses_shifted(key)
                } else {
                    page.presses(key)
                }
                at[axis] += step;
                presses += 1;
            }
        }
    }
    presses
}
