//! `cargo xtask study photographs`: drawn photographs through the whole measurement, against their hidden truth.

mod condition;
pub(crate) mod dice;
mod found;
mod notebook;
mod setup;
mod table;

use std::fs::{self, File, OpenOptions};
use std::io::Write;
use std::path::{Path, PathBuf};
use std::process::ExitCode;
use std::sync::Mutex;
use std::sync::atomic::{AtomicUsize, Ordering};

use arcmass_photo::scale::ScaleKind;
use condition::{CONDITIONS, Condition};
use notebook::Row;
use serde::Serialize;
use serde::de::DeserializeOwned;

use crate::repository;

use notebook::draw_into;

const HELP: &str = "\
cargo xtask study photographs [--benches N] [--workers N] [--only CONDITION] [--fresh] [--table] [--keep FOLDER] [--draw FOLDER] [--found]
  --benches N      benches under each condition, three rings and one scale each (6)
  --workers N      side by side (2)
  --only CONDITION one condition
  --fresh          forget what was measured before; else a run that was broken off goes on
  --table          only the table of what was measured before
  --keep FOLDER    keep what is drawn there with its truth, and measure again what is there already
  --draw FOLDER    draw the first bench of each condition there, to be looked at, and measure nothing
  --found          the kind \"as found in laboratories\" instead: N pictures under each of its conditions (11), with the truth beside each";

/// What was asked on the command line.
struct Asked {
    benches: u64,
    workers: usize,
    only: Option<String>,
    is_fresh: bool,
    is_table: bool,
    draw: Option<PathBuf>,
    keep: Option<PathBuf>,
    is_found: bool,
}

impl Asked {
    fn read(words: &[&str]) -> Result<Self, String> {
        let mut asked = Self {
            benches: 6,
            workers: 2,
            only: None,
            is_fresh: false,
            is_table: false,
            draw: None,
            keep: None,
            is_found: words.contains(&"--found"),
        };
        if asked.is_found {
            asked.benches = 11;
        }
        let mut words = words.iter();
        while let Some(word) = words.next() {
            let mut value = || words.next().copied().ok_or(format!("`{word}` needs a value"));
            let number = |text: &str| text.parse::<u64>().map_err(|_| format!("`{text}` is no whole number"));
            match *word {
                "--benches" => asked.benches = number(value()?)?,
                "--workers" => asked.workers = number(value()?)?.clamp(1, 64) as usize,
                "--only" => asked.only = Some(value()?.to_owned()),
                "--keep" => asked.keep = Some(PathBuf::from(value()?)),
                "--draw" => asked.draw = Some(PathBuf::from(value()?)),
                "--found" => (),
                "--fresh" => asked.is_fresh = true,
                "--table" => asked.is_table = true,
                other => return Err(format!("`{other}` is not known")),
            }
        }
        Ok(asked)
    }

    fn conditions(&self) -> impl Iterator<Item = &'static Condition> {
        CONDITIONS.iter().filter(|condition| self.only.as_deref().is_none_or(|only| only == condition.name))
    }
}

/// Runs the study; status 2 for a word it does not know.
pub(crate) fn run(words: &[&str]) -> ExitCode {
    let asked = match Asked::read(words) {
        Ok(asked) => asked,
        Err(why) => {
            eprintln!("{why}\n{HELP}");
            return ExitCode::from(2);
        }
    };
    match study(&asked) {
        Ok(()) => ExitCode::SUCCESS,
        Err(why) => {
            eprintln!("{why}");
            ExitCode::FAILURE
        }
    }
}

fn study(asked: &Asked) -> Result<(), String> {
    if asked.is_found {
        return match &asked.draw {
            Some(folder) => found::draw(asked, folder),
            None => found::study(asked),
        };
    }
    if let Some(folder) = &asked.draw {
        for condition in asked.conditions() {
            draw_into(&folder.join(condition.name.replace(' ', "-")), condition, 0)?;
        }
        return Ok(());
    }
    let path = kept_file("photographs.jsonl")?;
    if asked.is_fresh {
        let _ = fs::remove_file(&path);
    }
    let before = read_lines(&path);
    if !asked.is_table {
        measure(asked, &before, &path)?;
    }
    let names: Vec<(&str, &str)> = CONDITIONS.iter().map(|c| (c.name, c.says)).collect();
    let rows: Vec<Row> = read_lines(&path);
    println!("{}", table::markdown(&rows, &names));
    tell_of_the_worst(&rows);
    Ok(())
}

/// A photograph in JPEG, and what kind of scale may be looked for on it.
pub(crate) struct Small {
    pub(crate) jpeg: Vec<u8>,
    pub(crate) kind: ScaleKind,
}

/// Rings at a third of their size and scales at three quarters (below, their millimetres run into one another), for studies
/// that need many pictures quickly; the last shows both together.
pub(crate) fn small_photographs() -> Result<Vec<Small>, String> {
    const THIRD: f64 = 1.0 / 3.0;
    const MARKS_APART: f64 = 0.75;
    let of = |name: &str| CONDITIONS.iter().find(|c| c.name == name).ok_or(format!("no condition {name}"));
    let mut all = Vec::new();
    let kinds = [
        ("clean", ScaleKind::Ruler),
        ("covered ruler", ScaleKind::Ruler),
        ("squared paper", ScaleKind::Grid),
        ("board", ScaleKind::Board),
    ];
    for (name, kind) in kinds {
        all.push(Small { jpeg: notebook::small_ring(of(name)?, THIRD)?, kind });
        all.push(Small { jpeg: notebook::small_scale(of(name)?, MARKS_APART)?, kind });
    }
    let together = notebook::small_ring(of("one picture")?, MARKS_APART)?;
    all.push(Small { jpeg: together, kind: ScaleKind::Ruler });
    Ok(all)
}

/// Where each measured photograph is kept as a line of JSON as soon as it is done.
fn kept_file(name: &str) -> Result<PathBuf, String> {
    let target = std::env::var_os("CARGO_TARGET_DIR").map(PathBuf::from);
    let folder = target.unwrap_or_else(|| repository::root().join("target")).join("study");
    fs::create_dir_all(&folder).map_err(|fault| format!("{}: {fault}", folder.display()))?;
    Ok(folder.join(name))
}

/// What was measured before; a line that was broken off is left out.
fn read_lines<R: DeserializeOwned>(path: &Path) -> Vec<R> {
    let text = fs::read_to_string(path).unwrap_or_default();
    text.lines().filter_map(|line| serde_json::from_str(line).ok()).collect()
}

fn measure(asked: &Asked, before: &[Row], path: &Path) -> Result<(), String> {
    // condition after condition for each bench: a run that is broken off has seen something of all
    let all =
        (0..asked.benches).flat_map(|bench| asked.conditions().map(move |condition| (condition, bench)));
    let is_done = |condition: &Condition, bench: u64| {
        before.iter().any(|row| row.condition == condition.name && row.bench == bench)
    };
    let tasks: Vec<(&Condition, u64)> =
        all.filter(|(condition, bench)| !is_done(condition, *bench)).collect();
    let file = appended(path)?;
    let done = AtomicUsize::new(0);
    each_task(&tasks, asked.workers, |(condition, bench)| {
        match notebook::bench(condition, *bench, asked.keep.as_deref()) {
            Ok(rows) => keep(&file, &rows),
            Err(why) => eprintln!("{} {bench}: not drawn: {why}", condition.name),
        }
        let count = done.fetch_add(1, Ordering::Relaxed) + 1;
        eprintln!("{count} of {}: {} {bench}", tasks.len(), condition.name);
    });
    Ok(())
}

/// The file that grows by a line for each photograph.
fn appended(path: &Path) -> Result<Mutex<File>, String> {
    let file = OpenOptions::new().create(true).append(true).open(path);
    file.map(Mutex::new).map_err(|fault| format!("{}: {fault}", path.display()))
}

/// Does all tasks, so many side by side.
fn each_task<T: Sync>(tasks: &[T], workers: usize, work: impl Fn(&T) + Sync) {
    let next = AtomicUsize::new(0);
    let work = || {
        while let Some(task) = tasks.get(next.fetch_add(1, Ordering::Relaxed)) {
            work(task);
        }
    };
    std::thread::scope(|scope| {
        for _ in 0..workers {
            scope.spawn(work);
        }
    });
}

/// Adds a bench's rows to the file in one piece.
fn keep<R: Serialize>(file: &Mutex<File>, rows: &[R]) {
    let lines: String =
        rows.iter().filter_map(|row| serde_json::to_string(row).ok()).map(|line| line + "\n").collect();
    let written = file.lock().map(|mut file| file.write_all(lines.as_bytes()));
    if !matches!(written, Ok(Ok(()))) {
        eprintln!("a result could not be kept");
    }
}

/// Names what went wrong, so that it can be drawn again and mended.
fn tell_of_the_worst(rows: &[Row]) {
    for row in rows {
        let place = format!("{} {} ring {}", row.condition, row.bench, row.ring + 1);
        if let Some(why) = &row.failed {
            println!("not measured: {place}: {why}");
        } else if let (Some(error), Some(pull)) = (row.error_percent(), row.pull())
            && (error.abs() > 0.4 || pull.abs() > 3.0)
        {
            let caveats = row.caveats.join(", ");
            println!("far off: {place}: {error:+.2} %, pull {pull:+.1}, caveats: {caveats}");
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A few benches of the study, whole: what CI can afford.
    #[test]
    fn clean_photographs_are_measured_within_half_a_percent_and_nothing_is_silently_wrong() {
        let names = ["clean", "open ring", "gas"];
        let conditions = CONDITIONS.iter().filter(|condition| names.contains(&condition.name));
        let mut measured = 0;
        for condition in conditions {
            let rows = notebook::bench(condition, 1, None).unwrap_or_default();
            assert_eq!(rows.len(), setup::RINGS, "{} seed 1", condition.name);
            for row in &rows {
                assert!(!row.is_silently_wrong(), "seed 1: {row:?}");
                let is_near = row.error_percent().is_none_or(|error| error.abs() < 0.5);
                assert!(is_near || !row.caveats.is_empty(), "seed 1: {row:?}");
                measured += usize::from(row.measured_mm.is_some());
            }
        }
        assert!(measured >= 8, "only {measured} of 9 photographs were measured");
    }
}
