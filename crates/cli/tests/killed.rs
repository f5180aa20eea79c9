//! The server killed at random moments while readings, numbers, marks and photographs are saved: nothing acknowledged is lost.
//!
//! CI kills it a few times; `cargo xtask study kill` sets `ARCMASS_KILLS` to 200. The seed is printed.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]
#![cfg(unix)]

mod served;

use std::path::Path;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::sync::{Arc, Mutex};
use std::time::Duration;

use served::{ask, photograph, start};

/// A linear congruential generator (constants of MMIX, from memory): moments, nothing else.
struct Moments(u64);

impl Moments {
    fn below(&mut self, most: u64) -> u64 {
        self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (self.0 >> 33) % most
    }
}

/// What the server said was saved.
#[derive(Default)]
struct Acknowledged {
    readings: Vec<usize>,
    photographs: Vec<usize>,
    limit: Option<usize>,
    marks: Option<usize>,
}

#[test]
fn nothing_acknowledged_is_lost_and_no_file_is_half_written() {
    let kills: usize = std::env::var("ARCMASS_KILLS").ok().and_then(|n| n.parse().ok()).unwrap_or(4);
    let seed = 20_261_125;
    println!("seed {seed}, {kills} kills");
    let mut moments = Moments(seed);
    let folder = tempfile::tempdir().unwrap();
    let root = folder.path().join("bench");
    arcmass_notebook::new_notebook(&root).unwrap();
    let counter = Arc::new(AtomicUsize::new(1));
    let said = Arc::new(Mutex::new(Acknowledged::default()));
    for kill in 0..kills {
        let mut server = start(&root);
        let (port, cookie) = (server.port, server.cookie.clone());
        let (counter, heard) = (Arc::clone(&counter), Arc::clone(&said));
        let typing = std::thread::spawn(move || while save(port, &cookie, &counter, &heard) {});
        std::thread::sleep(Duration::from_millis(20 + moments.below(250)));
        server.child.kill().unwrap(); // SIGKILL
        server.child.wait().unwrap();
        typing.join().unwrap();
        check(&root, &said.lock().unwrap(), kill);
    }
    let said = said.lock().unwrap();
    assert!(!said.readings.is_empty() && !said.photographs.is_empty(), "something was saved at all");
    println!("{} readings and {} photographs acknowledged", said.readings.len(), said.photographs.len());
}

/// Saves one of each; false once the server is gone.
fn save(port: u16, cookie: &str, counter: &AtomicUsize, said: &Mutex<Acknowledged>) -> bool {
    let n = counter.fetch_add(1, Ordering::Relaxed);
    let good = |answer: Option<(u16, String)>| answer.map(|(status, _)| status == 200);
    let row = format!(r#"{{"cells":[["run","n{n}"],["voltage_V","200"],["current_A","1.5"]]}}"#);
    match good(ask(port, cookie, "POST", "/readings/add", row.as_bytes())) {
        Some(true) => said.lock().unwrap().readings.push(n),
        Some(false) => panic!("a sound reading was refused"),
        None => return false,
    }
    let photo = format!("/photos/new?name=p{n}.tif");
    match good(ask(port, cookie, "PUT", &photo, &photograph(n))) {
        Some(true) => said.lock().unwrap().photographs.push(n),
        Some(false) => panic!("a sound photograph was refused"),
        None => return false,
    }
    // a number and marks: what was seen may be one try behind after a kill, which is a conflict and changes nothing
    let before = said.lock().unwrap().limit.map_or("300 V".to_owned(), |v| format!("{v} V"));
    let limit = 200 + n % 100;
    let number = format!(r#"{{"table":"gun","key":"voltage_limit","seen":"{before}","typed":"{limit} V"}}"#);
    match ask(port, cookie, "POST", "/bench/set", number.as_bytes()).map(|(status, _)| status) {
        Some(200) => said.lock().unwrap().limit = Some(limit),
        Some(409) => {}
        Some(status) => panic!("a sound number was refused: {status}"),
        None => return false,
    }
    let mark =
        |n: usize| format!(r#"{{"what":"beam","x_px":{n},"y_px":2,"along_mm":null,"across_mm":null}}"#);
    let seen = said.lock().unwrap().marks.map(mark).unwrap_or_default();
    let marks = format!(r#"{{"photo":"ring.jpg","marks":[{}],"seen":[{seen}]}}"#, mark(n));
    match ask(port, cookie, "POST", "/ring/keep", marks.as_bytes()).map(|(status, _)| status) {
        Some(200) => said.lock().unwrap().marks = Some(n),
        Some(409) => {}
        Some(status) => panic!("a sound mark was refused: {status}"),
        None => return false,
    }
    true
}

fn check(root: &Path, said: &Acknowledged, kill: usize) {
    let notebook =
        arcmass_notebook::Notebook::open(root).unwrap_or_else(|faults| panic!("after kill {kill}: {faults}"));
    let runs: Vec<String> = notebook.readings.unwrap().runs.into_iter().map(|run| run.run).collect();
    for n in &said.readings {
        assert!(
            runs.contains(&format!("n{n}")),
            "reading n{n} was acknowledged and is lost after kill {kill}"
        );
    }
    for n in &said.photographs {
        let bytes = std::fs::read(root.join(format!("photos/p{n}.tif"))).unwrap();
        assert_eq!(bytes, photograph(*n), "photograph {n} after kill {kill}");
    }
    for entry in std::fs::read_dir(root.join("photos")).unwrap().flatten() {
        let name = entry.file_name().into_string().unwrap();
        let number = name.strip_prefix('p').and_then(|rest| rest.strip_suffix(".tif"));
        if let Some(n) = number.and_then(|n| n.parse().ok()) {
            assert_eq!(
                std::fs::read(entry.path()).unwrap(),
                photograph(n),
                "{name} is whole, acknowledged or not"
            );
        } else {
            assert!(name.starts_with(".arcmass-"), "only a part that no reader looks at may stay: {name}");
        }
    }
}
