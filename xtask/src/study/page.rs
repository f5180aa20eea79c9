//! The study `page`: how soon the page answers, how large its stations are, and whether it keeps up with the hand.

use std::io::{BufRead, BufReader, Read, Write};
use std::net::TcpStream;
use std::path::Path;
use std::process::{Child, Command, ExitCode, Stdio};
use std::time::{Duration, Instant};

use arcmass_lab::Desk;
use arcmass_lab::demo::{DemoSize, make_demo};
use arcmass_lab::photograph::Silent;
use serde_json::{Value, json};

use crate::repository;
use crate::stage::cargo;

const STATIONS: [&str; 9] = ["bench", "field", "plan", "readings", "ring", "mass", "path", "board", "report"];
/// Width of the demo's photographs, and of one of twelve megapixels (4243 × 2828).
const WIDTHS_PX: [u32; 2] = [2400, 4243];
/// Asked so often for each figure of speed.
const TIMES: usize = 400;
/// Starts of the server.
const STARTS: usize = 9;

/// `study page`: prints a table of times and sizes, each with what it was asked to be.
pub(super) fn run(_words: &[&str]) -> ExitCode {
    match measured() {
        Ok(()) => ExitCode::SUCCESS,
        Err(why) => {
            println!("{why}");
            ExitCode::FAILURE
        }
    }
}

fn measured() -> Result<(), String> {
    let root = repository::root();
    let built = Command::new(cargo())
        .args(["build", "--release", "--quiet", "--package", "arcmass"])
        .current_dir(&root)
        .status();
    if !built.is_ok_and(|status| status.success()) {
        return Err("the command could not be built".to_owned());
    }
    let target = std::env::var_os("CARGO_TARGET_DIR").map_or_else(|| root.join("target"), Into::into);
    let program = target.join("release").join("arcmass");
    let place = tempfile::tempdir().map_err(|why| why.to_string())?;
    for width_px in WIDTHS_PX {
        let folder = place.path().join(width_px.to_string());
        let desk = Desk { seed: 1, workers: 2 };
        make_demo(&folder, DemoSize { runs: 8, width_px }, &desk, &Silent).map_err(|why| why.to_string())?;
        println!("\nthe demo with photographs of {width_px} × {} pixels", width_px * 2 / 3);
        if width_px == WIDTHS_PX[0] {
            starts(&program, &folder)?;
        }
        let server = Server::start(&program, &folder)?;
        if width_px == WIDTHS_PX[0] {
            sizes(&server)?;
            sliders(&server)?;
        }
        marks(&server)?;
    }
    Ok(())
}

/// From the start of the process to the last byte of its first page.
fn starts(program: &Path, folder: &Path) -> Result<(), String> {
    let mut times = Vec::new();
    for _ in 0..STARTS {
        let begun = Instant::now();
        let server = Server::start(program, folder)?;
        server.get("/bench")?;
        times.push(begun.elapsed());
    }
    say("start to first page", &mut times, "150 ms");
    Ok(())
}

fn sizes(server: &Server) -> Result<(), String> {
    let begun = Instant::now();
    let waits = |text: &str| text.contains("data-wait");
    while waits(&server.get("/mass")?) || waits(&server.get("/plan")?) {
        if begun.elapsed() > Duration::from_secs(120) {
            return Err("mass and plan were not there after two minutes".to_owned());
        }
        std::thread::sleep(Duration::from_millis(50));
    }
    for station in STATIONS {
        let bytes = server.get(&format!("/{station}"))?.len();
        println!("  {station:<10} {:>7.1} kB   (asked for: at most 150)", bytes as f64 / 1e3);
    }
    Ok(())
}

fn sliders(server: &Server) -> Result<(), String> {
    let mut connection = server.connect()?;
    let mut times = Vec::new();
    for k in 0..TIMES {
        let (voltage, tilt) = (150.0 + 0.4 * k as f64, 0.5 * (k % 60) as f64);
        let address = format!("/path/at?voltage={voltage}&current=1.5&tilt={tilt}&turned=0&sense=%2B");
        let begun = Instant::now();
        server.ask(&mut connection, "GET", &address, "")?;
        times.push(begun.elapsed());
    }
    say("slider to new path", &mut times, "4 ms at 95 %");
    Ok(())
}

fn marks(server: &Server) -> Result<(), String> {
    let mut connection = server.connect()?;
    let photo = "ring-01.jpg";
    let wish =
        |marks: &Value, quick: bool| json!({ "photo": photo, "marks": marks, "quick": quick }).to_string();
    let begun = Instant::now();
    let whole = server.ask(&mut connection, "POST", "/ring/measure", &wish(&json!([]), false))?;
    println!("  opened and measured at first: {:.0} ms", 1e3 * begun.elapsed().as_secs_f64());
    let seen: Value = serde_json::from_str(&whole).map_err(|why| why.to_string())?;
    let entry = &seen["entry"];
    let number = |value: &Value| value.as_f64().ok_or("the ring was not measured");
    let (x, y) = (number(&entry["centre_px"][0])?, number(&entry["centre_px"][1])?);
    let radius = number(&entry["semi_axes_px"][0])?;
    let mut times = Vec::new();
    let mut diameters = Vec::new();
    for k in 0..TIMES {
        // four corners of a piece to leave out, moved along the beam as a hand would
        let corner = |(dx, dy): (f64, f64)| json!({ "what": "leave-out", "x_px": x + radius + dx, "y_px": y + dy + 0.3 * k as f64, "along_mm": null, "across_mm": null });
        let corners = [(-60.0, -60.0), (60.0, -60.0), (60.0, 60.0), (-60.0, 60.0)].map(corner);
        let begun = Instant::now();
        let told = server.ask(&mut connection, "POST", "/ring/measure", &wish(&json!(corners), true))?;
        times.push(begun.elapsed());
        let told: Value = serde_json::from_str(&told).map_err(|why| why.to_string())?;
        diameters.push(told["entry"]["ring_diameter_in_scale_plane_mm"]["value"].to_string());
    }
    diameters.dedup();
    println!(
        "  points on the beam: {}; different diameters told: {}",
        seen["points"].as_array().map_or(0, Vec::len),
        diameters.len()
    );
    say("mark moved to new diameter", &mut times, "30 ms");
    Ok(())
}

fn say(what: &str, times: &mut [Duration], asked: &str) {
    times.sort();
    let at = |share: f64| {
        let place = ((times.len() as f64 - 1.0) * share).round() as usize;
        times.get(place).map_or(0.0, |time| 1e3 * time.as_secs_f64())
    };
    println!(
        "  {what}: median {:.1} ms, 95 % within {:.1} ms, largest {:.1} ms   (asked for: {asked})",
        at(0.5),
        at(0.95),
        at(1.0)
    );
}

/// A running server; it ends with this.
struct Server {
    child: Child,
    host: String,
    cookie: String,
}

impl Server {
    fn start(program: &Path, folder: &Path) -> Result<Self, String> {
        let mut child = Command::new(program)
            .env("ARCMASS_CONFIG", "")
            .args(["serve", "--no-open", "--port", "0"])
            .arg(folder)
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .map_err(|why| format!("{}: {why}", program.display()))?;
        let told = child.stdout.take().ok_or("the server says nothing")?;
        let mut lines = BufReader::new(told).lines().map_while(Result::ok);
        let link = lines.find(|line| line.contains("key=")).ok_or("the server told no address")?;
        let (host, key) =
            link.trim().trim_start_matches("http://").split_once("/?key=").ok_or("the server told no key")?;
        let mut server = Self { child, host: host.to_owned(), cookie: String::new() };
        let mut connection = server.connect()?;
        let (head, _) = server.exchange(&mut connection, "GET", &format!("/?key={key}"), "")?;
        let cookie = head.lines().find_map(|line| line.strip_prefix("set-cookie: ")).ok_or("no cookie")?;
        server.cookie = cookie.split(';').next().unwrap_or_default().to_owned();
        Ok(server)
    }

    fn connect(&self) -> Result<BufReader<TcpStream>, String> {
        let stream = TcpStream::connect(&self.host).map_err(|why| why.to_string())?;
        stream.set_nodelay(true).map_err(|why| why.to_string())?;
        Ok(BufReader::new(stream))
    }

    fn get(&self, path: &str) -> Result<String, String> {
        self.ask(&mut self.connect()?, "GET", path, "")
    }

    fn ask(
        &self,
        connection: &mut BufReader<TcpStream>,
        method: &str,
        path: &str,
        body: &str,
    ) -> Result<String, String> {
        self.exchange(connection, method, path, body).map(|(_, body)| body)
    }

    fn exchange(
        &self,
        connection: &mut BufReader<TcpStream>,
        method: &str,
        path: &str,
        body: &str,
    ) -> Result<(String, String), String> {
        let broken = |why: std::io::Error| format!("{path}: {why}");
        let request = format!(
            "{method} {path} HTTP/1.1\r\nHost: {host}\r\nOrigin: http://{host}\r\nCookie: {}\r\nContent-Type: application/json\r\nContent-Length: {}\r\n\r\n{body}",
            self.cookie,
            body.len(),
            host = self.host
        );
        connection.get_mut().write_all(request.as_bytes()).map_err(broken)?;
        let mut head = String::new();
        while !head.ends_with("\r\n\r\n") {
            if connection.read_line(&mut head).map_err(broken)? == 0 {
                return Err(format!("{path}: the server hung up"));
            }
        }
        let lower = head.to_lowercase();
        let length = lower.lines().find_map(|line| line.strip_prefix("content-length: "));
        let mut bytes = vec![0; length.and_then(|length| length.parse().ok()).unwrap_or(0)];
        connection.read_exact(&mut bytes).map_err(broken)?;
        let status: u16 = lower.split(' ').nth(1).and_then(|code| code.parse().ok()).unwrap_or(0);
        let text = String::from_utf8_lossy(&bytes).into_owned();
        if status >= 400 { Err(format!("{path}: {status} {text}")) } else { Ok((head, text)) }
    }
}

impl Drop for Server {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}
