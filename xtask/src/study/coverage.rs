//! Do the intervals of the mass hold the truth, and do findings name what is wrong? On benches drawn from what their files state.

use std::process::ExitCode;

use arcmass_lab::reduce::Doubts;
use arcmass_lab::simulate::{Counts, DESIGNS, Design, Outside, Slip, trial};

/// Benches of each design, unless the command line says otherwise.
const BENCHES: usize = 250;
/// Of the first bench; each next one has the next.
const FIRST_SEED: u64 = 1_000;

/// What lies outside the file, and in which designs it can be told at all: (name, effect, places in `DESIGNS`).
const OUTSIDE: &[(&str, Outside, &[usize])] = &[
    ("voltage offset +30 V", Outside::VoltageOffset(30.0), &[1, 2, 3, 4]),
    ("axial stray +150 µT", Outside::StrayAxial(150e-6), &[1, 2, 3, 4]),
    ("coils 12 mm further apart", Outside::Separation(12e-3), &[1, 2, 4]),
    ("coils' field +6 %", Outside::CoilFactor(0.06), &[1, 2, 4]),
    ("probe reads +6 %", Outside::ProbeGain(0.06), &[1, 2, 4]),
    ("every diameter +2 mm", Outside::Edge(2e-3), &[2, 4]),
    ("12 V lost in the gas", Outside::GasLoss(12.0), &[2, 4]),
    ("radius in the diameter column", Outside::Slip(Slip::RadiusForDiameter), &[3, 4]),
    ("one current reads a tenth", Outside::Slip(Slip::CurrentTenth), &[1, 3, 4]),
    ("one ruler read from 10 mm", Outside::Slip(Slip::ScaleZero), &[3, 4]),
    ("one diameter of another run", Outside::Slip(Slip::OtherRun), &[1, 3, 4]),
];

/// What is asked of the study.
struct Question {
    benches: usize,
    part: String,
    /// Whether each bench is told on the side.
    each: bool,
    doubts: Doubts,
}

impl Question {
    fn of(words: &[&str]) -> Self {
        let mut asked =
            Self { benches: BENCHES, part: "all".to_owned(), each: false, doubts: Doubts::default() };
        let mut words = words.iter();
        while let Some(word) = words.next() {
            match (word.parse(), *word) {
                (Ok(count), _) => asked.benches = count,
                (Err(_), "each") => asked.each = true,
                (Err(_), "odds") => {
                    asked.doubts.odds =
                        words.next().and_then(|odds| odds.parse().ok()).unwrap_or(asked.doubts.odds);
                }
                (Err(_), name) => asked.part = name.to_owned(),
            }
        }
        asked
    }

    /// Whether benches with this name are wanted: all of a part, or those whose name holds the word.
    fn wants(&self, part: &str, name: &str) -> bool {
        self.part == "all" || self.part == part || name.contains(&self.part)
    }
}

pub(super) fn run(words: &[&str]) -> ExitCode {
    let asked = Question::of(words);
    println!(
        "seeds from {FIRST_SEED}, {} benches of each design, odds {} of each alternative; the hidden mass lies within 15 % of the \
         electron's\n",
        asked.benches, asked.doubts.odds
    );
    println!(
        "| design | 68 % holds | 95 % holds | pull mean | pull s.d. | as stated 95 % | u(m) | with finding | named first | failed |\n\
         | --- | --- | --- | --- | --- | --- | --- | --- | --- | --- |"
    );
    let mut whole = Counts::default();
    for design in DESIGNS.iter().filter(|design| asked.wants("clean", design.name)) {
        let counts = many(design, Outside::Nothing, &asked);
        print_line(design.name, &counts);
        whole.join(counts);
    }
    if whole.benches > 0 {
        print_line("all", &whole);
    }
    let mut whole = Counts::default();
    for (name, outside, designs) in OUTSIDE {
        for design in designs.iter().filter_map(|place| DESIGNS.get(*place)) {
            let name = format!("{name}: {}", design.name);
            if asked.wants("outside", &name) {
                let counts = many(design, *outside, &asked);
                print_line(&name, &counts);
                whole.join(counts);
            }
        }
    }
    if whole.benches > 0 {
        print_line("all outside", &whole);
    }
    ExitCode::SUCCESS
}

fn print_line(name: &str, counts: &Counts) {
    let (mean, deviation) = counts.pull();
    println!(
        "| {name} | {:.1} % | {:.1} % | {mean:+.3} | {deviation:.3} | {:.1} % | {:.2} % | {:.1} % | {:.1} % | {} |",
        counts.percent(counts.in_68),
        counts.percent(counts.in_95),
        counts.percent(counts.as_stated_in_95),
        counts.median_u_percent(),
        counts.percent(counts.with_finding),
        counts.percent(counts.named),
        counts.failed,
    );
}

/// Reduces many benches of one design, on all cores, always with the same result.
fn many(design: &Design, outside: Outside, asked: &Question) -> Counts {
    let Question { benches, each, doubts, .. } = *asked;
    // no two designs share a bench
    let first = FIRST_SEED + DESIGNS.iter().position(|other| other == design).unwrap_or(0) as u64 * 1_000_000;
    let workers = std::thread::available_parallelism().map_or(1, std::num::NonZero::get).min(benches.max(1));
    std::thread::scope(|scope| {
        let threads: Vec<_> = (0..workers)
            .map(|worker| {
                scope.spawn(move || {
                    let mut counts = Counts::default();
                    for seed in (first..).take(benches).skip(worker).step_by(workers) {
                        match trial(design, outside, doubts, seed) {
                            Ok(found) => {
                                if each {
                                    eprintln!("{}: {found:?}", design.name);
                                }
                                counts.add(&found, outside.code());
                            }
                            Err(fault) => {
                                eprintln!("{}, seed {seed}: {fault}", design.name);
                                counts.failed += 1;
                            }
                        }
                    }
                    counts
                })
            })
            .collect();
        let mut whole = Counts::default();
        for counts in threads.into_iter().filter_map(|thread| thread.join().ok()) {
            whole.join(counts);
        }
        whole
    })
}
