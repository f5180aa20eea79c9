//! `cargo xtask study fuzz notebooks`: slips of the pen in every file of a notebook, every command, in bounded time and memory.
//!
//! A slip may be harmless (the mass stays within 3 u), or be named with its file and line or run, or be refused; a mass that
//! moves by more than 5 % without a word is silent. A constant factor on a whole column may be listed among its candidates.

mod slips;

use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, ExitCode, Stdio};
use std::time::{Duration, Instant};

use serde_json::Value;

use super::super::photographs::dice::Dice;
use super::peak_resident;
use crate::repository;
use crate::stage::cargo;
use slips::{Slip, by_lot};

const HELP: &str = "\
cargo xtask study fuzz notebooks [--runs N] [--seed S] [--each]
  --runs N  slips (20000)
  --seed S  of the slips (1)
  --each    say each case that is silent, slow or a fault";

/// No command may take longer on a notebook of this size.
const LONGEST: Duration = Duration::from_secs(10);
/// Nor hold more memory, bytes.
const MOST_BYTES: u64 = 300 << 20;
/// A mass this far off without a word is silent.
const FAR: f64 = 0.05;
/// A mass within this many of its standard uncertainties is the same.
const NEAR_U: f64 = 3.0;
/// The files of the notebook.
const FILES: [&str; 3] = ["bench.toml", "readings.csv", "field-probe.csv"];

struct Asked {
    runs: u64,
    seed: u64,
    each: bool,
    /// Whether a command that takes long is a fault: a study is, a test beside other work is not.
    timed: bool,
}

impl Asked {
    fn read(words: &[&str]) -> Result<Self, String> {
        let mut asked = Self { runs: 20_000, seed: 1, each: false, timed: true };
        let mut words = words.iter();
        while let Some(word) = words.next() {
            if *word == "--each" {
                asked.each = true;
                continue;
            }
            let text = words.next().copied().ok_or(format!("`{word}` needs a value"))?;
            let number = text.parse::<u64>().map_err(|_| format!("`{text}` is no whole number"))?;
            match *word {
                "--runs" => asked.runs = number,
                "--seed" => asked.seed = number,
                other => return Err(format!("`{other}` is not known")),
            }
        }
        Ok(asked)
    }
}

/// Runs the study; status 2 for a word it does not know, 1 where a case is silent, slow, large or a fault of the program.
pub(super) fn run(words: &[&str]) -> ExitCode {
    let told = Asked::read(words).map_err(|why| format!("{why}\n{HELP}")).and_then(|asked| {
        built()?;
        fuzzed(&asked, &binary())
    });
    match told {
        Ok(told) => {
            println!("{}", told.sentence());
            if told.faults.is_empty() { ExitCode::SUCCESS } else { ExitCode::FAILURE }
        }
        Err(why) => {
            eprintln!("{why}");
            ExitCode::from(2)
        }
    }
}

/// In the profile that this program is built in: a test must not build the program a second time.
const PROFILE: &str = if cfg!(debug_assertions) { "debug" } else { "release" };

fn binary() -> PathBuf {
    let target = std::env::var_os("CARGO_TARGET_DIR").map(PathBuf::from);
    target.unwrap_or_else(|| repository::root().join("target")).join(PROFILE).join("arcmass")
}

fn built() -> Result<(), String> {
    let mut build = Command::new(cargo());
    build.args(["build", "--quiet", "--package", "arcmass"]).current_dir(repository::root());
    if PROFILE == "release" {
        build.arg("--release");
    }
    let status = build.status();
    if status.is_ok_and(|status| status.success()) {
        Ok(())
    } else {
        Err("arcmass can't be built".to_owned())
    }
}

/// How one case ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum End {
    Harmless,
    Named,
    /// A finding or caveat that the sound notebook does not have, but none with the place.
    Said,
    Refused,
    /// Refused without the file's name.
    RefusedElsewhere,
    Silent,
}

#[derive(Default)]
struct Told {
    runs: u64,
    ends: Vec<(End, u64)>,
    slowest: Duration,
    largest_bytes: u64,
    faults: Vec<String>,
}

impl Told {
    fn count(&mut self, end: End) {
        match self.ends.iter_mut().find(|known| known.0 == end) {
            Some(known) => known.1 += 1,
            None => self.ends.push((end, 1)),
        }
        self.runs += 1;
    }

    fn sentence(&self) -> String {
        let mut ends = self.ends.clone();
        ends.sort();
        let parts: Vec<String> = ends
            .iter()
            .map(|(end, count)| {
                format!("{end:?} {count} ({:.1} %)", 100.0 * *count as f64 / self.runs.max(1) as f64)
            })
            .collect();
        let mut text = format!(
            "{} slips: {}; slowest command {:.1} s, largest {} MB; {} faults",
            self.runs,
            parts.join(", "),
            self.slowest.as_secs_f64(),
            self.largest_bytes >> 20,
            self.faults.len()
        );
        for fault in self.faults.iter().take(50) {
            text.push_str(&format!("\n  {fault}"));
        }
        text
    }
}

/// What one command did.
struct Ran {
    status: Option<i32>,
    out: Vec<u8>,
    said: String,
    took: Duration,
    peak_bytes: u64,
}

/// Runs one command of the program and watches its time and memory.
fn ran(binary: &Path, words: &[&str], folder: &Path) -> Result<Ran, String> {
    let out = folder.join(".out");
    let err = folder.join(".err");
    let file = |path: &Path| fs::File::create(path).map_err(|why| why.to_string());
    let start = Instant::now();
    let mut child = Command::new(binary)
        .args(words)
        .current_dir(folder)
        .stdin(Stdio::null())
        .stdout(file(&out)?)
        .stderr(file(&err)?)
        .spawn()
        .map_err(|why| format!("{}: {why}", binary.display()))?;
    let mut peak_bytes = 0;
    let status = loop {
        peak_bytes = peak_bytes.max(peak_resident(&child.id().to_string()).unwrap_or(0));
        match child.try_wait().map_err(|why| why.to_string())? {
            Some(status) => break status.code(),
            None if start.elapsed() > 3 * LONGEST || peak_bytes > 4 * MOST_BYTES => {
                let _ = child.kill();
                let _ = child.wait();
                break None;
            }
            None => std::thread::sleep(Duration::from_millis(4)),
        }
    };
    let took = start.elapsed();
    let said = String::from_utf8_lossy(&fs::read(&err).unwrap_or_default()).into_owned();
    Ok(Ran { status, out: fs::read(&out).unwrap_or_default(), said, took, peak_bytes })
}

/// The mass and what is said beside it.
struct Reduced {
    mass: f64,
    u: f64,
    codes: Vec<String>,
    sentences: Vec<String>,
}

fn reduced(out: &[u8]) -> Option<Reduced> {
    let document: Value = serde_json::from_slice(out).ok()?;
    let mut codes = Vec::new();
    let mut sentences = Vec::new();
    for list in ["findings", "caveats"] {
        for entry in document[list].as_array()? {
            codes.push(entry["code"].as_str()?.to_owned());
            sentences.push(entry["sentence"].as_str()?.to_owned());
        }
    }
    Some(Reduced {
        mass: document["mass_kg"]["value"].as_f64()?,
        u: document["mass_kg"]["standard_uncertainty"].as_f64()?,
        codes,
        sentences,
    })
}

fn fuzzed(asked: &Asked, binary: &Path) -> Result<Told, String> {
    let source = repository::root().join("tests/data/typed");
    let read = |file: &&str| fs::read_to_string(source.join(file)).map_err(|why| format!("{file}: {why}"));
    let texts: Vec<String> = FILES.iter().map(read).collect::<Result<_, _>>()?;
    let folder = tempfile::tempdir().map_err(|why| why.to_string())?;
    let write =
        |file: &str, text: &str| fs::write(folder.path().join(file), text).map_err(|why| why.to_string());
    for (file, text) in FILES.iter().zip(&texts) {
        write(file, text)?;
    }
    let sound = ran(binary, &["reduce", "--json", "."], folder.path())?;
    let sound = reduced(&sound.out).ok_or(format!("the sound notebook is not reduced: {}", sound.said))?;
    let mut told = Told::default();
    for number in 0..asked.runs {
        let mut dice = Dice::new(asked.seed.wrapping_mul(1_000_003).wrapping_add(number));
        let Some(slip) = by_lot(&FILES, &texts, &mut dice) else { continue };
        let sound_text =
            FILES.iter().zip(&texts).find(|(file, _)| **file == slip.file).map_or("", |(_, text)| text);
        write(slip.file, &slip.text)?;
        let mut all = vec![vec!["reduce", "--json", "."]];
        // the other commands in turn: each sees a quarter of the slips
        all.push(match number % 4 {
            0 => vec!["check", "."],
            1 => vec!["field", "--json", "."],
            2 => vec!["path", "--voltage", "200", "--current", "1.5", "--json", "."],
            _ => vec!["plan", "--json", "."],
        });
        let mut first = None;
        for words in &all {
            let ran = ran(binary, words, folder.path())?;
            let name = words.first().copied().unwrap_or_default();
            let case = format!("{number} {}: {name}", slip.what);
            told.slowest = told.slowest.max(ran.took);
            told.largest_bytes = told.largest_bytes.max(ran.peak_bytes);
            if !matches!(ran.status, Some(0 | 2)) {
                told.faults.push(format!(
                    "{case}: status {:?} {}",
                    ran.status,
                    ran.said.lines().next().unwrap_or_default()
                ));
            }
            if asked.timed && ran.took > LONGEST {
                told.faults.push(format!("{case}: {:.1} s", ran.took.as_secs_f64()));
            }
            if ran.peak_bytes > MOST_BYTES {
                told.faults.push(format!("{case}: {} MB", ran.peak_bytes >> 20));
            }
            first.get_or_insert(ran);
        }
        if let Some(ran) = first {
            let end = judged(&slip, &sound, &ran);
            if end == End::Silent {
                told.faults.push(format!("{number} {}: silent", slip.what));
            }
            if asked.each && !matches!(end, End::Harmless | End::Named | End::Refused) {
                eprintln!("{end:?} {number} {} | {}", slip.what, ran.said.lines().next().unwrap_or_default());
            }
            told.count(end);
        }
        write(slip.file, sound_text)?;
    }
    Ok(told)
}

fn judged(slip: &Slip, sound: &Reduced, ran: &Ran) -> End {
    let Some(now) = reduced(&ran.out).filter(|_| ran.status == Some(0)) else {
        return if ran.said.contains(slip.file) { End::Refused } else { End::RefusedElsewhere };
    };
    let is_new = |sentence: &&String| !sound.sentences.contains(sentence);
    if now
        .sentences
        .iter()
        .filter(is_new)
        .any(|sentence| slip.places.iter().any(|place| sentence.contains(place)))
    {
        return End::Named;
    }
    let off = now.mass - sound.mass;
    let is_near = off.abs() <= NEAR_U * now.u.max(sound.u)
        && (off / sound.mass).abs() <= FAR.max(NEAR_U * sound.u / sound.mass);
    if is_near {
        return End::Harmless;
    }
    let is_said = now.codes.iter().any(|code| !sound.codes.contains(code));
    match (is_said, (off / sound.mass).abs() > FAR) {
        (true, _) => End::Said,
        (false, true) => End::Silent,
        (false, false) => End::Harmless,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_slice_of_slips_is_said_or_harmless_in_time_and_memory() {
        // the tests of the command have built it beside this one
        if !binary().is_file() {
            built().unwrap_or_else(|why| panic!("{why}"));
        }
        let asked = Asked { runs: 30, seed: 11, each: false, timed: false };
        let told = fuzzed(&asked, &binary()).unwrap_or_else(|why| panic!("{why}"));
        println!("{}", told.sentence());
        assert!(told.runs > 15 && told.faults.is_empty(), "{}", told.sentence());
    }
}
