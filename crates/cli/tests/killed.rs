//! The server killed at random moments while readings, numbers, marks and photographs are saved: nothing acknowledged is lost.
//!
//! CI kills it a few times; `cargo xtask study kill` sets `ARCMASS_KILLS` to 200. The seed is printed.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]
#![cfg(unix)]

use std::io::{BufRead, BufReader, Read, Write};
use std::net::TcpStream;
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::sync::atomic::{AtomicUsize, Ordering};
use std::sync::{Arc, Mutex};
use std::time::Duration;

/// A 64 × 64 grey PNG with a number in its pixels would need a packer; a TIFF needs none.
fn photograph(number: usize) -> Vec<u8> {
    let side = 64_u32;
    let mut tiff = b"II\x2a\0\x08\0\0\0".to_vec();
    let entries: [(u16, u16, u32); 8] = [
        (256, 4, side),
        (257, 4, side),
        (258, 3, 8),
        (259, 3, 1),
        (262, 3, 1),
        (273, 4, 8 + 2 + 8 * 12 + 4),
        (278, 4, side),
        (279, 4, side * side),
    ];
    tiff.extend((entries.len() as u16).to_le_bytes());
    for (tag, kind, value) in entries {
        tiff.extend(tag.to_le_bytes());
        tiff.extend(kind.to_le_bytes());
        tiff.extend(1_u32.to_le_bytes());
        tiff.extend(value.to_le_bytes());
    }
    tiff.extend(0_u32.to_le_bytes());
    tiff.extend((0..side * side).map(|i| (i as usize * 7 + number * 13) as u8));
    tiff
}

struct Server {
    child: Child,
    port: u16,
    cookie: String,
}

fn start(folder: &Path) -> Server {
    let mut child = Command::new(env!("CARGO_BIN_EXE_arcmass"))
        .args(["serve", "--port", "0"])
        .arg(folder)
        .stdout(Stdio::piped())
        .stderr(Stdio::null())
        .spawn()
        .unwrap();
    let lines = BufReader::new(child.stdout.take().unwrap()).lines();
    let link = lines.map(Result::unwrap).find(|line| line.contains("key=")).unwrap();
    let (host, key) = link.trim().trim_start_matches("http://").split_once("/?key=").unwrap();
    let port: u16 = host.rsplit(':').next().unwrap().parse().unwrap();
    let (status, head) = ask(port, "", "GET", &format!("/?key={key}"), b"").unwrap();
    assert_eq!(status, 303);
    let cookie = head.lines().find_map(|line| line.strip_prefix("set-cookie: ")).unwrap();
    let cookie = cookie.split(';').next().unwrap().to_owned();
    Server { child, port, cookie }
}

/// One request; nothing where the connection broke before the whole answer's head came.
fn ask(port: u16, cookie: &str, method: &str, path: &str, body: &[u8]) -> Option<(u16, String)> {
    let mut stream = TcpStream::connect(("127.0.0.1", port)).ok()?;
    stream.set_read_timeout(Some(Duration::from_secs(30))).ok()?;
    let head = format!(
        "{method} {path} HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\nOrigin: http://127.0.0.1:{port}\r\nCookie: {cookie}\r\n\
         Content-Type: application/json\r\nConnection: close\r\nContent-Length: {}\r\n\r\n",
        body.len()
    );
    stream.write_all(head.as_bytes()).ok()?;
    stream.write_all(body).ok()?;
    let mut answer = Vec::new();
    let _ = stream.read_to_end(&mut answer);
    let text = String::from_utf8_lossy(&answer).into_owned();
    let (head, _) = text.split_once("\r\n\r\n")?;
    Some((head.split(' ').nth(1)?.parse().ok()?, head.to_owned()))
}

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
