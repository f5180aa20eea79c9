//! Do the intervals of the mass hold the truth, and do findings name what is wrong? On benches drawn from what their files state.

use std::process::ExitCode;

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
    ("every diameter +2 mm", Outside::Edge(2e-3), &[2, 4]),
    ("12 V lost in the gas", Outside::GasLoss(12.0), &[2, 4]),
    ("radius in the diameter column", Outside::Slip(Slip::RadiusForDiameter), &[3, 4]),
    ("one current reads a tenth", Outside::Slip(Slip::CurrentTenth), &[1, 3, 4]),
    ("one ruler read from 10 mm", Outside::Slip(Slip::ScaleZero), &[3, 4]),
    ("one diameter of another run", Outside::Slip(Slip::OtherRun), &[1, 3, 4]),
];

pub(super) fn run(words: &[&str]) -> ExitCode {
    let mut benches = BENCHES;
    let mut part = "all";
    let mut each = false;
    for word in words {
        match (word.parse(), *word) {
            (Ok(count), _) => benches = count,
            (Err(_), "each") => each = true,
            (Err(_), name) => part = name,
        }
    }
    println!(
        "seeds from {FIRST_SEED}, {benches} benches of each design; the hidden mass lies within 15 % of the electron's\n"
    );
    println!(
        "| design | 68 % holds | 95 % holds | pull mean | pull s.d. | as stated 95 % | u(m) | with finding | named first | failed |\n\
         | --- | --- | --- | --- | --- | --- | --- | --- | --- | --- |"
    );
    if matches!(part, "all" | "clean") {
        let mut whole = Counts::default();
        for design in DESIGNS {
            let counts = many(design, Outside::Nothing, benches, each);
            print_line(design.name, &counts);
            whole.join(counts);
        }
        print_line("all", &whole);
    }
    if matches!(part, "all" | "outside") {
        for (name, outside, designs) in OUTSIDE {
            for design in designs.iter().filter_map(|place| DESIGNS.get(*place)) {
                print_line(&format!("{name}: {}", design.name), &many(design, *outside, benches, each));
            }
        }
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
fn many(design: &Design, outside: Outside, benches: usize, each: bool) -> Counts {
    // no two designs share a bench
    let first = FIRST_SEED + DESIGNS.iter().position(|other| other == design).unwrap_or(0) as u64 * 1_000_000;
    let workers = std::thread::available_parallelism().map_or(1, std::num::NonZero::get).min(benches.max(1));
    std::thread::scope(|scope| {
        let threads: Vec<_> = (0..workers)
            .map(|worker| {
                scope.spawn(move || {
                    let mut counts = Counts::default();
                    for seed in (first..).take(benches).skip(worker).step_by(workers) {
                        match trial(design, outside, seed) {
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
