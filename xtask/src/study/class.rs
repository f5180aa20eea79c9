//! Are the slips of simulated classes named, and nobody accused? Every code, two at once, bad benches, careless groups.

use std::collections::BTreeMap;
use std::process::ExitCode;
use std::time::{Duration, Instant};

use arcmass_class::document::{ClassDocument, GroupEntry, Verdict};
use arcmass_class::simulate::{Asked, GroupTruth, SimulatedClass, simulate};
use arcmass_class::slips::Where;
use arcmass_class::{NamedBench, check};
use arcmass_lab::Desk;
use arcmass_notebook::{Notebook, read_class};
use arcmass_quantity::constants::ELECTRON_MASS;

/// Groups, unless the command line says otherwise.
const GROUPS: usize = 5000;
/// Of the first class; each next one has the next.
const FIRST_SEED: u64 = 20_000;

/// How often something was right.
#[derive(Default, Clone, Copy)]
struct Share {
    right: usize,
    all: usize,
}

impl Share {
    fn count(&mut self, is_right: bool) {
        self.all += 1;
        self.right += usize::from(is_right);
    }

    fn said(&self) -> String {
        let percent = 100.0 * self.right as f64 / self.all.max(1) as f64;
        format!("{percent:.2} %  ({} of {})", self.right, self.all)
    }
}

#[derive(Default)]
struct Score {
    first: Share,
    verdict: Share,
    among_three: Share,
    place: Share,
    rows: Share,
    both: Share,
    honest_accused: Share,
    honest_undecided: Share,
    bad_named: Share,
    equal_beside: Share,
    pulls: Vec<f64>,
    pulls_of_bad: Vec<f64>,
    by_code: BTreeMap<String, Share>,
    longest: Duration,
}

/// Runs the study.
pub(super) fn run(words: &[&str]) -> ExitCode {
    let groups = words.iter().find_map(|word| word.parse().ok()).unwrap_or(GROUPS);
    let tells = words.contains(&"each");
    let mut score = Score::default();
    let (mut done, mut seed) = (0, FIRST_SEED);
    while done < groups {
        let asked =
            Asked { seed, groups: 24, benches: 1 + (seed % 4) as usize, honest: 0.45, bad_benches: 0.15 };
        let class = simulate(&asked);
        match judged(&class) {
            Ok((document, took)) => {
                score.longest = score.longest.max(took);
                for (truth, entry) in class.truths.iter().zip(&document.groups) {
                    score.group(truth, entry, seed, tells);
                }
            }
            Err(why) => println!("class {seed}: {why}"),
        }
        done += class.truths.len();
        seed += 1;
    }
    score.print(done);
    ExitCode::SUCCESS
}

/// Writes the class's files and checks them as the command does.
fn judged(class: &SimulatedClass) -> Result<(ClassDocument, Duration), String> {
    let folder = tempfile::tempdir().map_err(|why| why.to_string())?;
    let write =
        |path: std::path::PathBuf, text: &str| std::fs::write(path, text).map_err(|why| why.to_string());
    let table = folder.path().join("class.csv");
    write(table.clone(), &class.csv)?;
    let mut benches = Vec::new();
    for (name, file, probe) in &class.benches {
        let own = folder.path().join(name);
        std::fs::create_dir(&own).map_err(|why| why.to_string())?;
        write(own.join("bench.toml"), file)?;
        if let Some(probe) = probe {
            write(own.join("field-probe.csv"), probe)?;
        }
        let notebook = Notebook::open(&own).map_err(|why| why.to_string())?;
        benches.push(NamedBench { name: name.clone(), notebook });
    }
    let read = read_class(&table, None).map_err(|why| why.to_string())?;
    let start = Instant::now();
    let document = check(&read, &benches, &Desk::default()).map_err(|why| why.to_string())?;
    Ok((document, start.elapsed()))
}

fn place_of(place: Where) -> &'static str {
    match place {
        Where::Reading => "reading",
        Where::Working => "working",
    }
}

impl Score {
    fn group(&mut self, truth: &GroupTruth, entry: &GroupEntry, seed: u64, tells: bool) {
        if truth.slips.is_empty() {
            self.honest(truth, entry, seed, tells);
            return;
        }
        let is_there = |code: &str| entry.slips.iter().any(|slip| slip.code == code);
        if truth.is_subtle {
            return;
        }
        if !truth.equal.is_empty() {
            let all =
                truth.slips.iter().map(|slip| slip.code).chain(truth.equal.iter().copied()).all(is_there);
            self.equal_beside.count(all && entry.verdict == Verdict::Undecided);
            if tells && !(all && entry.verdict == Verdict::Undecided) {
                told("equal", truth, entry, seed);
            }
            return;
        }
        let codes: Vec<&str> = truth.slips.iter().map(|slip| slip.code).collect();
        let first = entry.slips.first().is_some_and(|slip| codes.contains(&slip.code));
        let name = codes.join(" + ");
        self.by_code.entry(name).or_default().count(first && entry.verdict == Verdict::Slip);
        self.first.count(first);
        self.verdict.count(entry.verdict == Verdict::Slip);
        if tells && !(first && entry.verdict == Verdict::Slip) {
            told("missed", truth, entry, seed);
        }
        if codes.len() > 1 {
            self.both
                .count(codes.iter().all(|code| entry.slips.iter().take(2).any(|slip| slip.code == *code)));
        }
        let three: Vec<_> = entry.slips.iter().take(3).collect();
        self.among_three.count(three.iter().any(|slip| codes.contains(&slip.code)));
        for slip in &truth.slips {
            let Some(found) = entry.slips.iter().find(|found| found.code == slip.code) else { continue };
            self.place.count(place_of(found.place) == slip.place);
            let lines =
                slip.rows.as_ref().map(|rows| rows.iter().map(|row| truth.lines[*row]).collect::<Vec<_>>());
            self.rows.count(lines == found.rows);
        }
        if entry.verdict == Verdict::Slip {
            self.pull(truth, entry);
        }
    }

    fn honest(&mut self, truth: &GroupTruth, entry: &GroupEntry, seed: u64, tells: bool) {
        self.pull(truth, entry);
        if truth.is_bad_bench {
            self.bad_named.count(entry.verdict == Verdict::Bench);
            if tells && entry.verdict != Verdict::Bench {
                told("bad bench", truth, entry, seed);
            }
            return;
        }
        self.honest_accused.count(entry.verdict == Verdict::Slip);
        self.honest_undecided.count(entry.verdict == Verdict::Undecided);
        if tells && matches!(entry.verdict, Verdict::Slip | Verdict::Undecided) {
            told("honest", truth, entry, seed);
        }
    }

    fn pull(&mut self, truth: &GroupTruth, entry: &GroupEntry) {
        let Some(mass) = &entry.recomputed_mass_kg else { return };
        let pull = (mass.value - ELECTRON_MASS.value) / mass.standard_uncertainty;
        if truth.is_bad_bench { self.pulls_of_bad.push(pull) } else { self.pulls.push(pull) }
    }

    fn print(&self, groups: usize) {
        let rms =
            |pulls: &[f64]| (pulls.iter().map(|p| p * p).sum::<f64>() / pulls.len().max(1) as f64).sqrt();
        println!("{groups} groups; longest class of 24: {:.2} s", self.longest.as_secs_f64());
        println!("decidable slip first           {}", self.first.said());
        println!("verdict `slip`                 {}", self.verdict.said());
        println!("among the first three          {}", self.among_three.said());
        println!("both of two                    {}", self.both.said());
        println!("where                          {}", self.place.said());
        println!("rows                           {}", self.rows.said());
        println!("equals side by side            {}", self.equal_beside.said());
        println!("honest accused                 {}", self.honest_accused.said());
        println!("honest undecided               {}", self.honest_undecided.said());
        println!("bad bench named                {}", self.bad_named.said());
        println!(
            "pull of mended masses          {:.2}, on bad benches {:.2}",
            rms(&self.pulls),
            rms(&self.pulls_of_bad)
        );
        println!("missed most:");
        let mut worst: Vec<_> = self.by_code.iter().filter(|(_, share)| share.right < share.all).collect();
        worst.sort_by_key(|(_, share)| std::cmp::Reverse(share.all - share.right));
        for (code, share) in worst.iter().take(30) {
            println!("  {code:<50} {} of {}", share.right, share.all);
        }
    }
}

fn told(why: &str, truth: &GroupTruth, entry: &GroupEntry, seed: u64) {
    let slips: Vec<String> =
        truth.slips.iter().map(|s| format!("{}/{} {:?}", s.code, s.place, s.rows)).collect();
    let found: Vec<String> =
        entry.slips.iter().map(|s| format!("{}/{} {:.2}", s.code, place_of(s.place), s.confidence)).collect();
    println!(
        "{why}: class {seed}, {} ({}{}): {} = {:?}; found {:?}: {}",
        truth.group,
        truth.bench,
        if truth.is_bad_bench { ", bad" } else { "" },
        slips.join(" + "),
        truth.equal,
        entry.verdict,
        found.join(", ")
    );
}
