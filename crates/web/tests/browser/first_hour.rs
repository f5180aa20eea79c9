//! The first hour of a stranger: from an empty folder to a mass by nine uploaded photographs, nothing typed in a terminal, with every
//! action counted; on a desk, on a phone, and by keys alone.

use std::path::{Path, PathBuf};

use arcmass_lab::Desk;
use arcmass_lab::demo::{DemoMade, DemoSize, make_demo};
use arcmass_lab::photograph::Silent;
use arcmass_notebook::edit::{bench_value, grid};
use serde_json::json;

use crate::chromium::{Browser, chromium};
use crate::common::Bench;

/// Clicks, taps and keys beside typing: more than these are no first hour.
const MOST_ACTIONS: usize = 60;
/// The bench's numbers that are asked for first.
const ASKED: [(&str, &str); 10] = [
    ("coils", "mean_radius"),
    ("coils", "separation"),
    ("coils", "turns"),
    ("coils", "current_limit"),
    ("gun", "voltage_limit"),
    ("gun", "muzzle"),
    ("bulb", "outer_radius"),
    ("camera", "distance"),
    ("scale", "spacing"),
    ("scale", "offset"),
];

/// An invented bench whose truth is known, and its photographs as a phone hands them over: all of one name.
struct Given {
    made: DemoMade,
    photographs: Vec<PathBuf>,
    _folder: tempfile::TempDir,
}

impl Given {
    fn new() -> Self {
        let folder = tempfile::tempdir().unwrap();
        let size = DemoSize { width_px: 1500, ..DemoSize::default() };
        let made =
            make_demo(&folder.path().join("demo"), size, &Desk { seed: 3, workers: 2 }, &Silent).unwrap();
        let mut names: Vec<PathBuf> = std::fs::read_dir(made.folder.join("photos"))
            .unwrap()
            .map(|entry| entry.unwrap().path())
            .collect();
        names.sort();
        let alike = |(at, from): (usize, &PathBuf)| {
            let own = folder.path().join(at.to_string());
            std::fs::create_dir(&own).unwrap();
            std::fs::copy(from, own.join("image.jpg")).unwrap();
            own.join("image.jpg")
        };
        let photographs = names.iter().enumerate().map(alike).collect();
        Self { made, photographs, _folder: folder }
    }

    /// What stands on the bench's data sheets and rulers, as a person types it.
    fn number(&self, table: &str, key: &str) -> String {
        let text = std::fs::read_to_string(self.made.folder.join("bench.toml")).unwrap();
        bench_value(&text, table, key).unwrap()
    }

    /// Voltage and current of each run, its first reading.
    fn settings(&self) -> Vec<[String; 2]> {
        let text = std::fs::read_to_string(self.made.folder.join("readings.csv")).unwrap();
        let grid = grid(&text);
        let mut seen = std::collections::BTreeSet::new();
        let first = grid.rows.iter().filter(|row| seen.insert(grid.cell(row, "run")));
        first.map(|row| ["voltage_V", "current_A"].map(|column| grid.cell(row, column).to_owned())).collect()
    }
}

/// A person's hand: what it does is counted, what it types is counted apart.
struct Hand {
    page: Browser,
    actions: usize,
    facts: usize,
}

impl Hand {
    fn press(&mut self, element: &str) {
        self.page.presses_on(element);
        self.actions += 1;
    }

    fn key(&mut self, key: &str) {
        self.page.presses(key);
        self.actions += 1;
    }

    fn types(&mut self, text: &str) {
        self.page.types(text);
        self.facts += 1;
    }

    fn until(&mut self, what: &str) {
        self.page.until(what);
    }

    /// Goes on with Tab, or back with Shift+Tab, until an element has the focus.
    fn tab_to(&mut self, element: &str, back: bool) {
        for _ in 0..120 {
            if self.page.value(&format!("document.activeElement.matches('{element}')")) == json!(true) {
                return;
            }
            if back {
                self.page.presses_shifted("Tab")
            } else {
                self.page.presses("Tab")
            }
            self.actions += 1;
        }
        panic!("{element} is not reached by Tab");
    }

    fn is_at(&mut self, path: &str) {
        self.until(&format!("location.pathname === '{path}' && document.readyState === 'complete'"));
    }
}

fn begin(size: impl Fn(&mut Browser)) -> Option<(Bench, Hand)> {
    let program = chromium()?;
    let bench = Bench::empty();
    let mut page = Browser::open(&program);
    size(&mut page);
    page.go(&format!("http://{}/?key={}", bench.host(), bench.key));
    let mut hand = Hand { page, actions: 0, facts: 0 };
    hand.is_at("/start");
    Some((bench, hand))
}

/// The notebook is made where the server was started, which holds none yet.
fn make_notebook(hand: &mut Hand, bench: &Bench) {
    hand.until("document.activeElement.id === 'new-name'");
    hand.types("Attic bench");
    hand.key("Enter");
    hand.is_at("/bench");
    assert!(bench.root.join("bench.toml").is_file() && bench.root.join("photos").is_dir());
}

fn describe(hand: &mut Hand, given: &Given) {
    for (table, key) in ASKED {
        let id = format!("{table}-{key}");
        hand.until(&format!("document.activeElement.id === '{id}'"));
        hand.page.value("document.activeElement.select()");
        let typed = given.number(table, key);
        hand.types(&typed);
        hand.until(&format!(
            "document.activeElement.id === '{id}' && document.activeElement.value === '{typed}'"
        ));
        hand.key("Enter");
        hand.until(&format!(
            "document.getElementById('{id}').dataset.seen === document.getElementById('{id}').value"
        ));
    }
    hand.until("document.querySelector('.next-step').innerText.includes('Nothing is left')");
}

fn read_meters(hand: &mut Hand, given: &Given) {
    hand.until("document.activeElement.name === 'voltage_V'");
    for (count, [volts, amperes]) in (1..).zip(given.settings()) {
        hand.types(&volts);
        hand.key("Enter");
        hand.until("document.activeElement.name === 'current_A'");
        hand.types(&amperes);
        hand.key("Enter");
        hand.until(&format!("document.querySelectorAll('tr[data-run]').length === {count} && document.activeElement.name === 'voltage_V'"));
    }
}

fn upload(hand: &mut Hand, given: &Given) {
    hand.page.choose("#photo-files", &given.photographs);
    hand.actions += 1;
    hand.until("document.querySelector('[data-accept]') !== null");
    hand.until("document.querySelector('#proposal-heading').innerText === '8 rings and 1 scale found'");
}

/// The mass lies where the truth is, within three of its own standard uncertainties.
fn is_true(hand: &mut Hand, bench: &Bench, given: &Given) {
    hand.until("document.querySelector('.result .large') !== null");
    let text = std::fs::read_to_string(bench.root.join("results/reduction.json")).unwrap();
    let reduction: serde_json::Value = serde_json::from_str(&text).unwrap();
    let [mass, u] = ["value", "standard_uncertainty"].map(|key| reduction["mass_kg"][key].as_f64().unwrap());
    let runs = reduction["runs"].as_array().unwrap().len();
    println!(
        "{} actions beside {} typed facts; {runs} runs, m = {mass:.4e} ± {u:.1e} kg",
        hand.actions, hand.facts
    );
    // the demo's truth is drawn with the accepted mass of the electron (CODATA 2022)
    assert_eq!(runs, given.settings().len());
    assert!((mass - 9.109_383_713_9e-31).abs() < 3.0 * u && u < 0.05 * mass, "{mass} ± {u}");
    let complaints = hand.page.complaints(&format!("http://{}", bench.host()));
    assert!(complaints.is_empty(), "{complaints:#?}");
}

fn by_hand(size: impl Fn(&mut Browser)) {
    let given = Given::new();
    let Some((bench, mut hand)) = begin(size) else { return };
    make_notebook(&mut hand, &bench);
    hand.until("document.getElementById('coils-mean_radius') !== null");
    hand.press("#coils-mean_radius");
    describe(&mut hand, &given);
    hand.press(".next-step a");
    hand.is_at("/readings");
    read_meters(&mut hand, &given);
    upload(&mut hand, &given);
    hand.press("[data-accept]");
    hand.until("document.getElementById('photo-said').innerText.includes('8 rings matched')");
    hand.until("document.querySelector('.next-step a').pathname === '/mass'");
    hand.press(".next-step a");
    hand.is_at("/mass");
    is_true(&mut hand, &bench, &given);
    assert!(hand.actions <= MOST_ACTIONS, "{} actions", hand.actions);
    drop(hand);
    bench.stop();
}

#[test]
fn an_empty_folder_comes_to_a_mass_in_few_actions() {
    by_hand(|page| page.size(1280, 800));
}

#[test]
fn an_empty_folder_comes_to_a_mass_on_a_phone() {
    by_hand(Browser::phone);
}

#[test]
fn an_empty_folder_comes_to_a_mass_by_keys_alone() {
    let given = Given::new();
    let Some((bench, mut hand)) = begin(|page| page.size(1280, 800)) else { return };
    make_notebook(&mut hand, &bench);
    hand.tab_to("#coils-mean_radius", false);
    describe(&mut hand, &given);
    hand.tab_to(".next-step a", true);
    hand.key("Enter");
    hand.is_at("/readings");
    read_meters(&mut hand, &given);
    hand.tab_to("#photo-files", false);
    upload(&mut hand, &given);
    hand.tab_to("[data-accept]", false);
    hand.key("Enter");
    hand.until("document.getElementById('photo-said').innerText.includes('8 rings matched')");
    hand.until("document.querySelector('.next-step a').pathname === '/mass'");
    // what the keys of the page's foot say: a full stop goes to the station after
    hand.page.value("document.activeElement.blur()");
    hand.key(".");
    hand.is_at("/ring");
    hand.until("document.querySelector('h1') !== null");
    hand.key(".");
    hand.is_at("/mass");
    is_true(&mut hand, &bench, &given);
    drop(hand);
    bench.stop();
}

#[test]
fn a_notebook_is_opened_again_and_another_page_writes_nothing_into_it() {
    let Some((bench, mut hand)) = begin(|page| page.size(1280, 800)) else { return };
    make_notebook(&mut hand, &bench);
    let own = format!("http://{}", bench.host());
    let mut other = hand.page.another();
    other.size(1280, 800);
    other.go(&format!("{own}/readings"));
    other.until("document.querySelector('#next-reading') !== null");
    // a second notebook, in a folder chosen on the page
    hand.page.go(&format!("{own}/start"));
    hand.until("document.querySelector('[data-open]') !== null");
    hand.press("[data-pick=notebook]");
    hand.until("document.getElementById('picker-at').innerText !== ''");
    hand.press("#picker-close");
    let second = Path::new(&bench.root).parent().unwrap().join("second");
    arcmass_notebook::new_notebook(&second).unwrap();
    let open = format!(
        "fetch('/start/open', {{ method: 'POST', headers: {{ 'content-type': 'application/json' }}, body: JSON.stringify({{ folder: {:?} }}) }}).then((answer) => answer.ok)",
        second.display().to_string()
    );
    assert_eq!(hand.page.value(&open), json!(true));
    let before = std::fs::read_to_string(second.join("readings.csv")).unwrap();
    other.value("const f = document.getElementById('next-reading').elements; f.voltage_V.value = '200'; f.current_A.value = '1.5'; document.getElementById('next-reading').requestSubmit()");
    other.until("document.getElementById('next-said').innerText.includes('another notebook') || document.getElementById('next-said').innerText.includes('Another notebook')");
    assert_eq!(std::fs::read_to_string(second.join("readings.csv")).unwrap(), before);
    hand.page.go(&format!("{own}/start"));
    hand.until("document.querySelectorAll('[data-open]').length === 2");
    hand.page.value("[...document.querySelectorAll('[data-open]')].pop().click()");
    hand.is_at("/bench");
    assert_eq!(hand.page.value("document.getElementById('bench-name').value"), json!("Attic bench"));
    drop(hand);
    bench.stop();
}
