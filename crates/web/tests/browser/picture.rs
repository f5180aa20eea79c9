//! One phone picture from its dropping to a diameter: at most ten actions and sixty seconds, by mouse, by finger, by keys.

use std::path::PathBuf;
use std::time::{Duration, Instant};

use serde_json::json;

use crate::chromium::Browser;
use crate::common::Bench;
use crate::drawn::{BEFORE_MM, CAMERA_MM, RING_MM, phone_picture, places};
use crate::first_page;

/// Most actions and longest time from the picture to its diameter.
const MOST_ACTIONS: usize = 10;
const LONGEST: Duration = Duration::from_secs(60);
/// How far a hand is beside what it means, screen pixels.
const HANDS_PX: [[f64; 2]; 3] = [[1.6, -1.1], [-1.2, 1.4], [0.7, 1.8]];

/// One person before the page, and how often they did something.
struct Person<'a> {
    page: &'a mut Browser,
    is_touch: bool,
    actions: usize,
}

impl Person<'_> {
    fn press(&mut self, element: &str) {
        self.actions += 1;
        self.page.presses_on(element);
    }

    /// A click or tap on the photograph, as near as a hand comes.
    fn mark(&mut self, [x, y]: [f64; 2], hand: [f64; 2]) {
        self.actions += 1;
        let place = self.on_screen([x, y]);
        let aim = [place[0] + hand[0], place[1] + hand[1]];
        // a finger comes down beside it and is drawn there under the loupe
        if self.is_touch {
            self.page.touches(&[[aim[0] - 14.0, aim[1] + 11.0], aim])
        } else {
            self.page.clicks(aim)
        }
    }

    fn on_screen(&mut self, [x, y]: [f64; 2]) -> [f64; 2] {
        self.page.value("document.getElementById('photo').scrollIntoView({ block: 'nearest' })");
        let place = format!(
            "(() => {{ const c = document.getElementById('photo'); const b = c.getBoundingClientRect(); \
             const k = Math.min(c.clientWidth / 1600, c.clientHeight / 1200); \
             return [b.left + (c.clientWidth - 1600 * k) / 2 + ({x} + 0.5) * k, b.top + (c.clientHeight - 1200 * k) / 2 + ({y} + 0.5) * k]; }})()"
        );
        let place = self.page.value(&place);
        [0, 1].map(|k| place[k].as_f64().unwrap())
    }

    /// Types a number and Enter, as one action.
    fn type_in(&mut self, text: &str) {
        self.actions += 1;
        self.page.types(text);
        self.page.presses("Enter");
    }
}

fn picture(folder: &std::path::Path) -> (PathBuf, [[f64; 2]; 3], [[f64; 2]; 2]) {
    let seed = 20_261_201;
    println!("seed {seed}");
    let drawn = phone_picture(seed);
    let file = folder.join("image.jpg");
    std::fs::write(&file, &drawn.jpeg).unwrap();
    let (beam, labels) = places(&drawn);
    (file, beam, labels)
}

/// A bench of which nothing about scale and camera is stated but the camera's distance, and one reading.
fn prepare(bench: &Bench) {
    let text = std::fs::read_to_string(bench.root.join("bench.toml")).unwrap();
    let text = text.replace("distance = \"1.20(2) m\"", &format!("distance = \"{CAMERA_MM} mm ± 15 mm\""));
    let lines = text.lines().filter(|line| !line.starts_with("offset ="));
    std::fs::write(bench.root.join("bench.toml"), lines.collect::<Vec<_>>().join("\n") + "\n").unwrap();
    std::fs::write(bench.root.join("readings.csv"), "run,voltage_V,current_A\n1,200,1.5\n").unwrap();
}

fn diameter_of_one_picture(is_touch: bool) {
    let Some((bench, mut page, own)) = first_page() else { return };
    prepare(&bench);
    let folder = tempfile::tempdir().unwrap();
    let (file, beam, labels) = picture(folder.path());
    if is_touch {
        page.phone();
    }
    page.go(&format!("{own}/readings"));
    let begun = Instant::now();
    let mut person = Person { page: &mut page, is_touch, actions: 1 };
    person.page.choose("#photo-files", &[file]);
    person.page.until("location.pathname === '/ring' && document.readyState === 'complete'");
    // marks may be set while the program still looks
    person.page.until("document.querySelector('input[name=tool]:checked').value === 'beam' && document.getElementById('photo').clientHeight > 0 && document.querySelector('#ring-ask').innerText !== ''");
    shot(person.page, is_touch, "1-opened");
    mark_the_beam(&mut person, beam);
    shot(person.page, is_touch, "2-beam");
    mark_two_labels(&mut person, labels);
    shot(person.page, is_touch, "3-labels");
    say_where_it_stands(&mut person);
    person.page.until("/[0-9] mm/.test(document.getElementById('diameter').textContent) && document.getElementById('desk').ariaBusy === null");
    let took = begun.elapsed();
    shot(person.page, is_touch, "4-diameter");
    let actions = person.actions;
    let said = page.value("document.getElementById('diameter').textContent");
    println!("{actions} actions, {:.1} s: {said}", took.as_secs_f64());
    assert!(actions <= MOST_ACTIONS, "{actions} actions");
    assert!(took <= LONGEST, "{took:?}");
    let (d, u) = numbers(said.as_str().unwrap());
    assert!(u < 0.025 * d, "{d} ± {u} mm: of use");
    let apart = (d - 2.0 * RING_MM).abs();
    assert!(apart < (0.01 * d).max(2.0 * u), "{d} ± {u} mm for {} mm", 2.0 * RING_MM);
    // a large uncertainty is no leave for a large error
    assert!(apart < 0.025 * d, "{d} ± {u} mm for {} mm", 2.0 * RING_MM);
    let told =
        page.value("document.getElementById('desk').innerText.match(/[0-9]+ points marked by hand give/)[0]");
    assert_eq!(told, json!("2 points marked by hand give"), "as many labels as the person marked");
    let marks = std::fs::read_to_string(bench.root.join("marks/image.jpg.csv")).unwrap();
    assert_eq!(marks.lines().filter(|line| line.starts_with("scale,")).count(), 2, "{marks}");
    page.presses_on("#panel-match button");
    page.until(
        "document.getElementById('panel-match').innerText.includes('Run 1, scale in the same picture')",
    );
    page.until("/[0-9] mm/.test(document.getElementById('diameter').textContent)");
    let table = std::fs::read_to_string(bench.root.join("readings.csv")).unwrap();
    assert_eq!(table.matches("image.jpg").count(), 2, "{table}");
    let complaints = page.complaints(&own);
    assert!(complaints.is_empty(), "{complaints:#?}");
    drop(page);
    bench.stop();
}

fn numbers(said: &str) -> (f64, f64) {
    let number = |text: &str| text.trim().trim_end_matches(" mm").parse::<f64>().unwrap();
    let (d, u) = said.split_once('±').unwrap();
    (number(d), number(u))
}

/// Three marks: with one and two nothing is saved and nothing changes.
fn mark_the_beam(person: &mut Person<'_>, beam: [[f64; 2]; 3]) {
    if person.page.value("document.querySelector('input[name=tool]:checked').value") != json!("beam") {
        person.press("[data-step=beam]");
    }
    for (at, (place, hand)) in beam.into_iter().zip(HANDS_PX).enumerate() {
        person.mark(place, hand);
        if at < 2 {
            let needed = ["2 more marks needed.", "1 more mark needed."][at];
            person.page.until(&format!("document.getElementById('ring-ask').innerText === '{needed}'"));
        }
    }
    person.page.until("document.getElementById('ring-said').innerText.includes('Marks saved')");
}

fn mark_two_labels(person: &mut Person<'_>, labels: [[f64; 2]; 2]) {
    if person.page.value("document.querySelector('input[name=tool]:checked').value") != json!("scale") {
        person.press("[data-step=scale]");
    }
    for (place, hand) in labels.into_iter().zip([[0.6, 0.9], [-0.5, -0.7]]) {
        person.mark(place, hand);
    }
    person.page.until("document.activeElement.closest('#labels') !== null");
    // in centimetres, as they are printed
    person.type_in("5");
    person.type_in("15");
    person.page.until("document.querySelector('[data-step=scale]').dataset.stands === 'done'");
}

fn say_where_it_stands(person: &mut Person<'_>) {
    person.page.until("document.querySelector('input[name=tool]:checked').value === 'place' && !document.getElementById('panel-place').hidden");
    person.press("#panel-place [value=front]");
    person.page.value("document.querySelector('#panel-place [name=mm]').focus()");
    person.type_in(&format!("{BEFORE_MM}"));
}

/// Keeps a picture of the step where `cargo xtask study screens` asks for it.
fn shot(page: &mut Browser, is_touch: bool, step: &str) {
    let Some(folder) = std::env::var_os("ARCMASS_SCREENS") else { return };
    std::thread::sleep(Duration::from_millis(300));
    std::fs::create_dir_all(&folder).unwrap();
    let device = if is_touch { "phone" } else { "desk" };
    std::fs::write(PathBuf::from(folder).join(format!("picture-{device}-{step}.png")), page.picture())
        .unwrap();
}

#[test]
fn a_phone_picture_comes_to_its_diameter_in_ten_actions_by_mouse() {
    diameter_of_one_picture(false);
}

#[test]
fn a_phone_picture_comes_to_its_diameter_in_ten_actions_by_finger() {
    diameter_of_one_picture(true);
}
