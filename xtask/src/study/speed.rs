//! Our kernels beside a folder of anchors, turn about in one run on one machine: one JSON line a kernel.

use std::io::{BufRead, BufReader, Write};
use std::path::{Path, PathBuf};
use std::process::{Child, ChildStdin, ChildStdout, Command, ExitCode, Stdio};

use serde_json::{Value, json};

use crate::repository;
use crate::stage::cargo;

/// A kernel of ours and the anchors that solve the same problem.
struct Kernel {
    /// Name in the output and in [`Kernel::example`].
    name: &'static str,
    /// Crate and example that run it; the example speaks the words of `crates/physics/examples/speed/worker.rs`.
    package: &'static str,
    example: &'static str,
    /// Script of the folder that measures the anchors, and words its problem must hold; none where no anchor solves the problem.
    script: Option<&'static str>,
    work: &'static [&'static str],
    /// What is wanted: the fastest anchor whose name holds none of `beside` is to be beaten by `ratio`.
    ratio: f64,
    /// Anchors that are shown, but are no general tools for the problem.
    beside: &'static [&'static str],
}

/// Another kernel: its line here, and an example that answers for it.
const KERNELS: &[Kernel] = &[
    Kernel {
        name: "field of a thin pair",
        package: "arcmass-physics",
        example: "speed",
        script: Some("k1_field"),
        work: &["2 loops"],
        ratio: 1.0,
        beside: &[],
    },
    Kernel {
        name: "field of 128 loops",
        package: "arcmass-physics",
        example: "speed",
        script: Some("k1_field"),
        work: &["128 loops"],
        ratio: 25.0,
        // a series written for coaxial loops alone
        beside: &["zonal"],
    },
    Kernel {
        name: "one turn",
        package: "arcmass-physics",
        example: "speed",
        script: Some("k2_orbit"),
        work: &["one turn", "goal 1e-10"],
        ratio: 2.0,
        // eight turns at once answer another question than one turn
        beside: &["batch"],
    },
    Kernel {
        name: "bundle of 10 000 turns",
        package: "arcmass-physics",
        example: "speed",
        script: Some("k3_bundle"),
        work: &["10000 orbits", "goal 1e-10"],
        ratio: 2.0,
        beside: &[],
    },
    Kernel {
        name: "decode of 12 megapixels",
        package: "arcmass-photo",
        example: "photo_speed",
        script: Some("k4_photo"),
        work: &["12-megapixel", "pixels"],
        ratio: 1.0,
        beside: &[],
    },
    Kernel {
        name: "ring on 12 megapixels",
        package: "arcmass-photo",
        example: "photo_speed",
        script: Some("k4_photo"),
        work: &["12-megapixel", "semi-axes"],
        ratio: 1.0,
        beside: &[],
    },
    Kernel {
        name: "a million draws",
        package: "arcmass-fit",
        example: "inference_speed",
        script: Some("k5_mc"),
        work: &["1e+06 draws"],
        ratio: 3.0,
        beside: &[],
    },
    Kernel {
        name: "linear propagation",
        package: "arcmass-fit",
        example: "inference_speed",
        script: Some("k5_mc"),
        work: &["linear propagation"],
        ratio: 1.0,
        beside: &[],
    },
    Kernel {
        name: "fit of 24 runs",
        package: "arcmass-fit",
        example: "inference_speed",
        script: Some("k6_fit"),
        work: &["24 runs"],
        ratio: 1.0,
        beside: &[],
    },
    Kernel {
        name: "posterior of 24 runs",
        package: "arcmass-fit",
        example: "inference_speed",
        script: Some("k6_fit"),
        work: &["posterior"],
        ratio: 1.0,
        beside: &[],
    },
    Kernel {
        name: "fit of 24 traced runs",
        package: "arcmass-lab",
        example: "traced_speed",
        script: None,
        work: &[],
        ratio: 1.0,
        beside: &[],
    },
];

/// Turns of ours and an anchor's; few where one takes long.
const ROUNDS: usize = 9;
/// An anchor that takes longer than this, in seconds, gets few rounds.
const LONG_S: f64 = 0.3;
const FEW: usize = 3;

/// `cargo xtask study speed [FOLDER [KERNEL …]]`: without a folder ours alone; kernels by any part of their name.
pub(super) fn run(words: &[&str]) -> ExitCode {
    let (folder, wanted) = match words.split_first() {
        Some((folder, rest)) => (Some(PathBuf::from(folder)), rest),
        None => (None, words),
    };
    let chosen: Vec<&Kernel> = KERNELS
        .iter()
        .filter(|k| wanted.is_empty() || wanted.iter().any(|word| k.name.contains(word)))
        .collect();
    let outcome = match folder {
        Some(folder) => beside(&folder, &chosen),
        None => chosen.iter().try_for_each(|kernel| {
            let line = alone(kernel)?;
            println!("{line}");
            Ok(())
        }),
    };
    match outcome {
        Ok(()) => ExitCode::SUCCESS,
        Err(why) => {
            eprintln!("{why}");
            ExitCode::FAILURE
        }
    }
}

/// A process that answers each line with one line of JSON.
struct Worker {
    child: Child,
    to: ChildStdin,
    from: BufReader<ChildStdout>,
    name: String,
}

impl Worker {
    fn start(mut command: Command, name: &str) -> Result<Self, String> {
        let mut child = command
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .spawn()
            .map_err(|why| format!("{name} could not be started: {why}"))?;
        match (child.stdin.take(), child.stdout.take()) {
            (Some(to), Some(from)) => {
                Ok(Self { child, to, from: BufReader::new(from), name: name.to_owned() })
            }
            _ => Err(format!("{name} has no pipes")),
        }
    }

    fn ours(kernel: &Kernel) -> Result<Self, String> {
        let mut command = Command::new(cargo());
        command
            .args(["run", "--release", "--quiet", "-p", kernel.package, "--example", kernel.example])
            .args(["--", "worker"])
            .current_dir(repository::root());
        Self::start(command, kernel.package)
    }

    fn tell(&mut self, line: &str) -> Result<(), String> {
        writeln!(self.to, "{line}")
            .and_then(|()| self.to.flush())
            .map_err(|why| format!("{} is gone: {why}", self.name))
    }

    /// The next line; `None` at the end.
    fn hear(&mut self) -> Result<Option<Value>, String> {
        let mut line = String::new();
        let read = self.from.read_line(&mut line).map_err(|why| format!("{}: {why}", self.name))?;
        if read == 0 {
            return Ok(None);
        }
        let value: Value =
            serde_json::from_str(&line).map_err(|why| format!("{}: {why}: {line}", self.name))?;
        match value.get("fault").and_then(Value::as_str) {
            Some(fault) => Err(format!("{}: {fault}", self.name)),
            None => Ok(Some(value)),
        }
    }

    fn ask(&mut self, line: &str) -> Result<Value, String> {
        self.tell(line)?;
        self.hear()?.ok_or_else(|| format!("{} ended at `{line}`", self.name))
    }

    fn seconds(&mut self) -> Result<f64, String> {
        number(&self.ask("run")?, "seconds")
    }
}

impl Drop for Worker {
    fn drop(&mut self) {
        // it has nothing to save; an error means that it has ended already
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

fn number(value: &Value, key: &str) -> Result<f64, String> {
    value.get(key).and_then(Value::as_f64).ok_or_else(|| format!("no `{key}` in {value}"))
}

fn median(mut values: Vec<f64>) -> f64 {
    values.sort_by(f64::total_cmp);
    values.get(values.len() / 2).copied().unwrap_or(f64::NAN)
}

/// Ours without anything beside it, on a problem the worker makes.
fn alone(kernel: &Kernel) -> Result<Value, String> {
    let mut ours = Worker::ours(kernel)?;
    let about = ours.ask(&format!("take {}", kernel.name))?;
    let seconds = (0..ROUNDS).map(|_| ours.seconds()).collect::<Result<Vec<_>, _>>()?;
    let amount = number(&about, "amount")?;
    Ok(json!({
        "kernel": kernel.name,
        "unit": about.get("unit"),
        "ours": rounded(amount / median(seconds)),
        "ours_method": about.get("method"),
        "ours_accuracy": ours.ask("accuracy")?,
    }))
}

/// One anchor's figures beside ours.
struct Compared {
    name: String,
    ours: f64,
    anchor: f64,
    /// Median of the ratios of turns that follow each other.
    ratio: f64,
    accuracy: Value,
}

fn beside(folder: &Path, kernels: &[&Kernel]) -> Result<(), String> {
    let folder = folder.canonicalize().map_err(|why| {
        format!("the folder of anchors must exist, with its environment set up; {}: {why}", folder.display())
    })?;
    let data = std::env::temp_dir().join(format!("arcmass-speed-{}", std::process::id()));
    std::fs::create_dir_all(&data).map_err(|why| format!("{}: {why}", data.display()))?;
    for kernel in kernels.iter().filter(|k| k.script.is_none()) {
        println!("{}", alone(kernel)?);
    }
    let mut scripts: Vec<&str> = kernels.iter().filter_map(|k| k.script).collect();
    scripts.dedup();
    let outcome = scripts.iter().try_for_each(|script| {
        let of_script: Vec<&Kernel> = kernels.iter().copied().filter(|k| k.script == Some(*script)).collect();
        one_script(&folder, &data, script, &of_script)
    });
    // what is left in the temporary folder does no harm
    let _ = std::fs::remove_dir_all(&data);
    outcome
}

fn python(folder: &Path) -> Result<Command, String> {
    let environment = std::env::var_os("PERF_VENV").map_or_else(|| folder.join(".venv"), PathBuf::from);
    let python = environment.join("bin/python");
    if !python.exists() {
        return Err(format!(
            "{} must be a Python with the anchors' libraries; run the folder's setup.sh, or name the environment in PERF_VENV",
            python.display()
        ));
    }
    let mut command = Command::new(python);
    command.env("PERF_NATIVE", environment.join("native/libnative.so"));
    command.env("PYTHONDONTWRITEBYTECODE", "1").env("OMP_WAIT_POLICY", "passive");
    Ok(command)
}

/// The program that runs the folder's scripts.
fn script_path() -> Result<PathBuf, String> {
    let path = repository::root().join("xtask/src/study/speed/anchors.py");
    path.canonicalize().map_err(|why| format!("{}: {why}", path.display()))
}

fn one_script(folder: &Path, data: &Path, script: &str, kernels: &[&Kernel]) -> Result<(), String> {
    let mut command = python(folder)?;
    command.arg(script_path()?).args([folder, data]).arg(script).current_dir(folder);
    let mut anchors = Worker::start(command, script)?;
    let mut open: Vec<(&Kernel, Worker, Value, Vec<Compared>, Value)> = Vec::new();
    loop {
        let said = anchors
            .hear()?
            .ok_or_else(|| format!("the anchors' script {script} ended before it was done"))?;
        if said.get("done").is_some() {
            break;
        }
        let work = said.get("work").and_then(Value::as_str).unwrap_or_default().to_owned();
        // "2 loops" stands in "2 loops", not in "128 loops" or "12 loops"
        let fits = |k: &&Kernel| k.work.iter().all(|w| format!(" {work}").contains(&format!(" {w}")));
        let kernel = kernels.iter().copied().find(fits);
        let single = said.get("threads").and_then(Value::as_u64) == Some(1);
        if let Some(kernel) = kernel.filter(|_| single) {
            if !open.iter().any(|(k, ..)| k.name == kernel.name) {
                let mut ours = Worker::ours(kernel)?;
                let about = ours.ask(&format!("take {}\t{}", kernel.name, data.display()))?;
                ours.ask("run")?;
                let file = data.join("ours.f64");
                ours.ask(&format!("keep {}", file.display()))?;
                let accuracy = anchors.ask(&format!("check {}", file.display()))?;
                open.push((kernel, ours, about, Vec::new(), accuracy));
            }
            if let Some((_, ours, about, compared, _)) = open.iter_mut().find(|(k, ..)| k.name == kernel.name)
            {
                compared.push(turn_about(ours, number(about, "amount")?, &mut anchors, &said)?);
            }
        }
        anchors.tell("next")?;
    }
    for (kernel, _, about, compared, accuracy) in &open {
        println!("{}", line(kernel, about, compared, accuracy));
    }
    Ok(())
}

/// Ours and the anchor in turns, so that whatever else the machine does meets both.
fn turn_about(
    ours: &mut Worker,
    amount: f64,
    anchors: &mut Worker,
    said: &Value,
) -> Result<Compared, String> {
    let per_call = number(said, "per_call")?;
    let (mut own, mut other, mut ratios) = (Vec::new(), Vec::new(), Vec::new());
    let mut rounds = ROUNDS;
    while own.len() < rounds {
        let a = amount / ours.seconds()?;
        let seconds = anchors.seconds()?;
        let b = per_call / seconds;
        if seconds > LONG_S {
            rounds = FEW;
        }
        own.push(a);
        other.push(b);
        ratios.push(a / b);
    }
    let text = |key: &str| said.get(key).and_then(Value::as_str).unwrap_or_default();
    Ok(Compared {
        name: format!("{} {}", text("library"), text("version")),
        ours: median(own),
        anchor: median(other),
        ratio: median(ratios),
        accuracy: anchors.ask("own")?,
    })
}

fn line(kernel: &Kernel, about: &Value, compared: &[Compared], accuracy: &Value) -> Value {
    let counts = |c: &&Compared| !kernel.beside.iter().any(|word| c.name.contains(word));
    let fastest = compared.iter().filter(counts).max_by(|a, b| a.anchor.total_cmp(&b.anchor));
    let all: Vec<Value> = compared
        .iter()
        .map(|c| {
            json!({
                "anchor_name": c.name, "anchor": rounded(c.anchor), "ratio": rounded(c.ratio), "anchor_accuracy": c.accuracy,
            })
        })
        .collect();
    json!({
        "kernel": kernel.name,
        "unit": about.get("unit"),
        "ours": rounded(median(compared.iter().map(|c| c.ours).collect())),
        "ours_method": about.get("method"),
        "ours_accuracy": accuracy,
        "anchor_name": fastest.map(|c| c.name.as_str()),
        "anchor": fastest.map(|c| rounded(c.anchor)),
        "anchor_accuracy": fastest.map(|c| c.accuracy.clone()),
        "ratio": fastest.map(|c| rounded(c.ratio)),
        "ratio_wanted": kernel.ratio,
        "reached": fastest.is_some_and(|c| c.ratio >= kernel.ratio),
        "all_anchors": all,
    })
}

/// Four digits are more than a timing has.
fn rounded(value: f64) -> f64 {
    format!("{value:.3e}").parse().unwrap_or(value)
}
