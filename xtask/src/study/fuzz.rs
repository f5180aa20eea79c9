//! `cargo xtask study fuzz`: mutated notebooks (`fuzz notebooks`), and mutated photographs through decoding and measuring; nothing may panic or outgrow its memory.

mod notebooks;
mod wounds;

use std::panic::{AssertUnwindSafe, catch_unwind};
use std::process::ExitCode;
use std::time::{Duration, Instant};

use arcmass_photo::load::DecodeLimits;
use arcmass_photo::overlay::{StripFrame, draw_ring, draw_scale, draw_strip};
use arcmass_photo::plane::{CameraHints, TraceInPixels, fit_plane, ring_in_plane};
use arcmass_photo::scale::{ScaleHints, ScaleKind, find_scale};
use arcmass_photo::{Picture, RingHints, find_helix, find_ring};

use super::photographs::dice::Dice;
use wounds::{Manner, Wounded, sources};

const HELP: &str = "\
cargo xtask study fuzz notebooks [--runs N] [--seed S] [--each]
cargo xtask study fuzz [--minutes N] [--runs N] [--seed S]
  --minutes N  end after so many minutes (30)
  --runs N     or after so many mutated files, whichever comes first (no end)
  --seed S     of the mutations (1)";

/// Pixels a mutated file may declare: it is decoded up to here.
const MOST_PX: u64 = 8_000_000;
/// Memory that measuring such a picture may take at its peak, beyond what the program held before: 40 bytes a pixel (samples,
/// three planes of light, maps of the search), and what the libraries keep.
const MOST_BYTES: u64 = 40 * MOST_PX + (64 << 20);
/// A single file that takes longer is said; time of the processor, where the system tells it, since the study may give way to
/// other work.
const SLOW: Duration = Duration::from_secs(30);

/// How long to go on.
struct Asked {
    time: Duration,
    runs: u64,
    seed: u64,
}

impl Asked {
    fn read(words: &[&str]) -> Result<Self, String> {
        let mut asked = Self { time: Duration::from_secs(1800), runs: u64::MAX, seed: 1 };
        let mut words = words.iter();
        while let Some(word) = words.next() {
            let text = words.next().copied().ok_or(format!("`{word}` needs a value"))?;
            let number = text.parse::<u64>().map_err(|_| format!("`{text}` is no whole number"))?;
            match *word {
                "--minutes" => asked.time = Duration::from_secs(60 * number),
                "--runs" => asked.runs = number,
                "--seed" => asked.seed = number,
                other => return Err(format!("`{other}` is not known")),
            }
        }
        Ok(asked)
    }
}

/// Runs the study; status 2 for a word it does not know, 1 where something panicked or outgrew its memory.
pub(crate) fn run(words: &[&str]) -> ExitCode {
    if let Some(("notebooks", rest)) = words.split_first().map(|(first, rest)| (*first, rest)) {
        return notebooks::run(rest);
    }
    let asked = match Asked::read(words) {
        Ok(asked) => asked,
        Err(why) => {
            eprintln!("{why}\n{HELP}");
            return ExitCode::from(2);
        }
    };
    match fuzzed(&asked, true) {
        Ok(told) => {
            println!("{}", told.sentence(asked.seed));
            if told.faults.is_empty() { ExitCode::SUCCESS } else { ExitCode::FAILURE }
        }
        Err(why) => {
            eprintln!("{why}");
            ExitCode::FAILURE
        }
    }
}

/// What came of it.
#[derive(Default)]
struct Told {
    runs: u64,
    decoded: u64,
    scales: u64,
    rings: u64,
    slowest: Duration,
    /// Peak of resident memory beyond the start's, where the system says it.
    peak_bytes: Option<u64>,
    seconds: f64,
    faults: Vec<String>,
}

impl Told {
    fn sentence(&self, seed: u64) -> String {
        let memory = self.peak_bytes.map_or_else(
            || "peak memory not known on this system".to_owned(),
            |peak| format!("peak memory {} MB above the start's (limit {} MB)", peak >> 20, MOST_BYTES >> 20),
        );
        let mut text = format!(
            "seed {seed}: {} mutated photographs in {:.0} s; {} could be decoded, {} showed a scale, {} a ring; slowest {:.1} s; {memory}; {} faults",
            self.runs,
            self.seconds,
            self.decoded,
            self.scales,
            self.rings,
            self.slowest.as_secs_f64(),
            self.faults.len()
        );
        for fault in &self.faults {
            text.push_str(&format!("\n  {fault}"));
        }
        text
    }
}

fn fuzzed(asked: &Asked, is_told: bool) -> Result<Told, String> {
    let sources = sources()?;
    let start = Instant::now();
    let before = peak_resident("self");
    let mut told = Told::default();
    let mut last = Instant::now();
    std::panic::set_hook(Box::new(|_| {}));
    while told.runs < asked.runs && start.elapsed() < asked.time {
        // each file has a stream of its own: a fault is found again from seed and number alone
        let mut dice = Dice::new(asked.seed.wrapping_mul(1_000_003).wrapping_add(told.runs));
        let number = told.runs;
        let Some((wounded, kind)) = Wounded::by_lot(&sources, Manner::of(number), &mut dice) else {
            return Err("no photograph to wound".to_owned());
        };
        let one = spent(start);
        match catch_unwind(AssertUnwindSafe(|| measured(wounded, kind))) {
            Ok(seen) => {
                told.decoded += u64::from(seen.decoded);
                told.scales += u64::from(seen.scale);
                told.rings += u64::from(seen.ring);
            }
            Err(_) => told.faults.push(format!("file {number} panicked")),
        }
        let took = spent(start).saturating_sub(one);
        if took > SLOW {
            told.faults.push(format!("file {number} took {:.0} s", took.as_secs_f64()));
        }
        told.slowest = told.slowest.max(took);
        told.runs += 1;
        if is_told && last.elapsed() > Duration::from_secs(60) {
            last = Instant::now();
            eprintln!("{} files, {} decoded, {} faults", told.runs, told.decoded, told.faults.len());
        }
    }
    let _ = std::panic::take_hook();
    told.seconds = start.elapsed().as_secs_f64();
    told.peak_bytes = peak_resident("self").zip(before).map(|(now, before)| now.saturating_sub(before));
    if told.peak_bytes.is_some_and(|peak| peak > MOST_BYTES) {
        told.faults.push("more memory than the limit".to_owned());
    }
    Ok(told)
}

/// How far one file came.
#[derive(Default)]
struct Seen {
    decoded: bool,
    scale: bool,
    ring: bool,
}

fn measured(wounded: Wounded, kind: ScaleKind) -> Seen {
    let mut seen = Seen::default();
    let picture = match wounded {
        Wounded::Picture(picture) => *picture,
        Wounded::File(bytes) => {
            let Ok(picture) = Picture::from_bytes_within(&bytes, DecodeLimits { most_px: MOST_PX }) else {
                return seen;
            };
            picture
        }
    };
    seen.decoded = true;
    let hints = ScaleHints { kind, spacing_mm: Some(1.0), ..ScaleHints::default() };
    let size = [picture.width(), picture.height()];
    let camera = CameraHints { distance_mm: Some((900.0, 10.0)), ..CameraHints::default() }.with_facts(
        picture.facts(),
        size[0],
        size[1],
    );
    let plane = find_scale(&picture, &hints).ok().and_then(|found| {
        let plane = fit_plane(&found, size, &camera).ok()?;
        draw_scale(&picture, &found, Some(&plane));
        Some(plane)
    });
    seen.scale = plane.is_some();
    if let Ok(trace) = find_ring(&picture, &RingHints::default()) {
        seen.ring = true;
        let points: Vec<[f64; 2]> = trace.points.iter().map(|point| [point.x_px, point.y_px]).collect();
        let line = TraceInPixels { points_px: &points, u_px: &[] };
        let ring = plane.as_ref().and_then(|plane| ring_in_plane(line, plane).ok());
        draw_ring(&picture, &trace, ring.as_ref());
        if let Some((plane, ring)) = plane.zip(ring) {
            let frame = StripFrame {
                centre_mm: ring.centre_mm,
                radius_mm: 0.5 * ring.diameter_mm,
                from_rad: 0.0,
                arc_rad: std::f64::consts::TAU,
                across_mm: [-4.0, 4.0],
            };
            draw_strip(&picture, &plane, &frame);
        }
    } else {
        let _ = find_helix(&picture, &RingHints::default());
    }
    seen
}

/// Time that this thread has had the processor (Linux), else by the clock.
fn spent(start: Instant) -> Duration {
    let told = std::fs::read_to_string("/proc/thread-self/schedstat").ok();
    let spent = told.and_then(|text| text.split_whitespace().next()?.parse().ok());
    spent.map_or_else(|| start.elapsed(), Duration::from_nanos)
}

/// Largest resident memory of a process so far, in bytes, by its number or `self`; none where the system does not tell (Linux does).
fn peak_resident(process: &str) -> Option<u64> {
    let status = std::fs::read_to_string(format!("/proc/{process}/status")).ok()?;
    let line = status.lines().find(|line| line.starts_with("VmHWM:"))?;
    line.split_whitespace().nth(1)?.parse::<u64>().ok().map(|kilobytes| kilobytes << 10)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_slice_of_mutated_files_neither_panics_nor_outgrows_its_memory() {
        let asked = Asked { time: Duration::from_secs(60), runs: 40, seed: 7 };
        let told = fuzzed(&asked, false).unwrap_or_else(|why| panic!("{why}"));
        println!("{}", told.sentence(asked.seed));
        assert!(told.runs > 5, "only {} files", told.runs);
        assert!(told.faults.is_empty(), "{}", told.sentence(asked.seed));
    }
}
