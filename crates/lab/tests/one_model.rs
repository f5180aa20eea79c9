//! What a result says must hold together: one mixture behind every number, a budget that adds up, shifts that are refits.
//!
//! Over the open benches S01 and S02 (MIT, notices beside them), both simulated notebooks, the demo, and invented benches with and without
//! effects outside what their files state.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

use std::fmt::Write as _;
use std::path::{Path, PathBuf};

use arcmass_lab::Desk;
use arcmass_lab::demo::{DemoSize, make_demo};
use arcmass_lab::document::{Q, ReductionDocument, RingsDocument};
use arcmass_lab::photograph::{RingsQuestion, Silent, rings};
use arcmass_lab::reduce::{AcceptedMass, reduce};
use arcmass_lab::simulate::{DESIGNS, Outside, by_lot};
use arcmass_notebook::Notebook;
use rand::SeedableRng;
use rand_pcg::Pcg64;

/// Exact, C and m/s (BIPM, SI Brochure, 9th ed.).
const CHARGE: f64 = 1.602_176_634e-19;
const LIGHT: f64 = 299_792_458.0;

fn data(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../../tests/data").join(name)
}

fn reduced(notebook: &Notebook, photos: Option<&RingsDocument>) -> ReductionDocument {
    reduce(notebook, photos, &AcceptedMass::default(), &Desk::default()).unwrap()
}

fn numbers(name: &str) -> Vec<Vec<f64>> {
    let text = std::fs::read_to_string(data(name)).unwrap();
    let between = |c: char| c == ',' || c.is_whitespace();
    let row = |line: &str| line.split(between).filter_map(|cell| cell.parse().ok()).collect();
    text.lines()
        .filter(|line| !line.starts_with('#'))
        .map(row)
        .filter(|row: &Vec<f64>| row.len() > 1)
        .collect()
}

fn written(bench: &str, readings: &str, probe: Option<&str>) -> Notebook {
    let folder = tempfile::tempdir().unwrap();
    std::fs::write(folder.path().join("bench.toml"), bench).unwrap();
    std::fs::write(folder.path().join("readings.csv"), readings).unwrap();
    if let Some(probe) = probe {
        std::fs::write(folder.path().join("field-probe.csv"), probe).unwrap();
    }
    Notebook::open(folder.path()).unwrap()
}

/// A field line with both signs of current, 17 rings, no sizes.
fn s01() -> Notebook {
    let mut probe = String::from("current_A,flux_density_G\n");
    for row in numbers("S01/calibration.txt") {
        writeln!(probe, "{},{}", row[0], row[1]).unwrap();
    }
    let mut readings = String::from("run,voltage_V,current_A,diameter_mm\n");
    for (i, row) in numbers("S01/e_over_m.txt").iter().filter(|row| row[2] > 0.0).enumerate() {
        writeln!(readings, "{},{},{},{}", i + 1, row[0], row[1], 1e3 * row[2]).unwrap();
    }
    written("[bench]\nformat = 1\nname = \"S01\"\n", &readings, Some(&probe))
}

/// A grid of six voltages by six currents, sizes of the coils alone.
fn s02() -> Notebook {
    let mut readings = String::from("run,voltage_V,current_A,diameter_mm\n");
    for (i, row) in numbers("S02/rings.csv").iter().enumerate() {
        writeln!(readings, "{},{},{},{}", i + 1, row[0], row[1], row[2]).unwrap();
    }
    let bench = "[bench]\nformat = 1\nname = \"S02\"\n[coils]\nmean_radius = \"150 mm\"\nseparation = \"156 mm\"\nturns = 130\n";
    written(bench, &readings, None)
}

fn photographed(folder: &Path) -> ReductionDocument {
    let notebook = Notebook::open(folder).unwrap();
    let photos = rings(&notebook, &RingsQuestion::default(), &Desk::default(), &Silent).unwrap().document;
    reduced(&notebook, Some(&photos))
}

/// Every result, with its name.
fn all() -> Vec<(String, ReductionDocument)> {
    let mut all = vec![
        ("S01".to_owned(), reduced(&s01(), None)),
        ("S02".to_owned(), reduced(&s02(), None)),
        ("typical".to_owned(), photographed(&data("typical"))),
        ("tilted-camera".to_owned(), photographed(&data("tilted-camera"))),
    ];
    let folder = tempfile::tempdir().unwrap();
    let place = folder.path().join("demo");
    make_demo(&place, DemoSize { runs: 6, width_px: 1800 }, &Desk::default(), &Silent).unwrap();
    all.push(("demo".to_owned(), photographed(&place)));
    all.extend(invented());
    all
}

/// One test, for the results are made once.
#[test]
fn a_result_holds_together() {
    let results = all();
    mass_and_specific_charge_are_one_number(&results);
    the_budget_adds_up_to_what_is_printed(&results);
    the_mixture_names_its_parts_and_gives_their_mean(&results);
    every_run_can_be_checked_by_hand(&results);
    run_masses_and_result_are_one_models(&results);
    no_finding_claims_what_the_intervals_do_not_hold(&results);
    effects_that_only_matter_together_have_one_shift(&results);
}

/// Fifty benches, half of them with something outside what is stated.
fn invented() -> Vec<(String, ReductionDocument)> {
    let outside = [
        Outside::Nothing,
        Outside::Nothing,
        Outside::VoltageOffset(30.0),
        Outside::StrayAxial(150e-6),
        Outside::Nothing,
        Outside::Edge(2e-3),
        Outside::Nothing,
        Outside::GasLoss(12.0),
        Outside::Separation(12e-3),
        Outside::Nothing,
    ];
    let one = |seed: u64| {
        let design = &DESIGNS[seed as usize % DESIGNS.len()];
        let outside = outside[(seed / 8 + seed) as usize % outside.len()];
        let bench = by_lot(design, outside, &mut Pcg64::seed_from_u64(seed)).unwrap();
        (format!("{} {outside:?}, seed {seed}", design.name), reduced(&bench.notebook, bench.rings.as_ref()))
    };
    (7000..7050).map(one).collect()
}

fn relative(q: &Q) -> f64 {
    q.standard_uncertainty / q.value
}

fn mass_and_specific_charge_are_one_number(results: &[(String, ReductionDocument)]) {
    for (name, result) in results {
        let (m, ratio) = (&result.mass_kg, &result.charge_to_mass_c_per_kg);
        let is_charge = |product: f64| (product / CHARGE - 1.0).abs() < 1e-6;
        assert!(is_charge(m.value * ratio.value), "{name}: {} × {}", m.value, ratio.value);
        for (a, b) in [(m.interval_95, ratio.interval_95), (m.interval_68, ratio.interval_68)] {
            assert!(is_charge(a[0] * b[1]) && is_charge(a[1] * b[0]), "{name}: {a:?} and {b:?}");
        }
    }
}

fn the_budget_adds_up_to_what_is_printed(results: &[(String, ReductionDocument)]) {
    for (name, result) in results {
        let whole = 100.0 * relative(&result.mass_kg);
        let sum: f64 = result.budget.iter().map(|line| line.standard_uncertainty_percent.powi(2)).sum();
        assert!((sum.sqrt() / whole - 1.0).abs() < 0.02, "{name}: {} against {whole} %", sum.sqrt());
        let shares: f64 = result.budget.iter().map(|line| line.share).sum();
        assert!((shares - 1.0).abs() < 1e-6, "{name}: shares sum to {shares}");
        assert!(result.budget.iter().all(|line| line.share >= 0.0), "{name}");
    }
}

fn the_mixture_names_its_parts_and_gives_their_mean(results: &[(String, ReductionDocument)]) {
    for (name, result) in results {
        let models = &result.mixture.models;
        let weight: f64 = models.iter().map(|model| model.weight).sum();
        assert!(weight <= 1.0 + 1e-9 && weight > 0.6, "{name}: {weight}");
        assert!(models.iter().any(|model| model.code == "as-stated"), "{name}");
        assert!(models.windows(2).all(|pair| pair[0].weight >= pair[1].weight), "{name}");
        let masses = models.iter().filter_map(|model| Some(model.weight * model.mass_kg?.value));
        let mean = masses.sum::<f64>()
            / models.iter().filter(|m| m.mass_kg.is_some()).map(|m| m.weight).sum::<f64>();
        let off = (mean - result.mass_kg.value) / result.mass_kg.standard_uncertainty;
        // what is not named weighs little and lies within a few u
        assert!(off.abs() < 0.05 + 4.0 * (1.0 - weight), "{name}: the parts' mean lies {off} u off");
    }
}

/// By hand from the numbers of a row: p = e B d/2, T = e U, m = p²/2T − T/2c², v = p c²/(T + m c²).
fn every_run_can_be_checked_by_hand(results: &[(String, ReductionDocument)]) {
    for (name, result) in results {
        for run in &result.runs {
            let energy = CHARGE * run.accelerating_voltage_v.unwrap().value;
            let momentum = &run.momentum_kg_m_per_s;
            let by_hand = CHARGE * 1e-3 * run.flux_density_mt.value * 5e-4 * run.ring_diameter_mm.value;
            let mass = by_hand * by_hand / (2.0 * energy) - energy / (2.0 * LIGHT * LIGHT);
            let speed = by_hand * LIGHT * LIGHT / (energy + mass * LIGHT * LIGHT);
            for (what, found, q) in
                [("p", by_hand, momentum), ("m", mass, &run.mass_kg), ("v", speed, &run.speed_m_per_s)]
            {
                // a mean of products is not the product of the means: second order in the relative uncertainties
                let second = 2.0 * relative(&run.mass_kg).powi(2);
                let off = (found / q.value - 1.0).abs();
                assert!(off < 0.05 * relative(q) + second, "{name}, run {}, {what}: {off}", run.run);
            }
        }
    }
}

/// A run's mass differs from the result by what its ring differs from the model's: d goes as √m.
fn run_masses_and_result_are_one_models(results: &[(String, ReductionDocument)]) {
    for (name, result) in results {
        for run in result.runs.iter().filter(|run| !run.struck && !run.set_aside) {
            let off = (run.mass_kg.value / result.mass_kg.value).ln();
            let measured = run.measured_diameter_mm.value;
            let by_ring = 2.0 * (measured / (measured - run.residual_mm)).ln();
            let u = relative(&result.mass_kg);
            let allowed = 0.25 * u + 0.1 * by_ring.abs() + u * u;
            assert!(
                (off - by_ring).abs() < allowed,
                "{name}, run {}: {off} against {by_ring}, u {u}",
                run.run
            );
        }
    }
}

fn no_finding_claims_what_the_intervals_do_not_hold(results: &[(String, ReductionDocument)]) {
    for (name, result) in results {
        for finding in &result.findings {
            let effects = result.effects.iter().filter(|effect| effect.code == finding.code);
            let holds_nothing = |q: &Q| q.interval_95[0] > 0.0 || q.interval_95[1] < 0.0;
            match finding.code.as_str() {
                "law-not-followed" => {
                    let law = result.law.corrected.as_ref().unwrap();
                    let off = |q: &Q, ideal: f64| ideal < q.interval_95[0] || ideal > q.interval_95[1];
                    assert!(off(&law.voltage_exponent, 0.5) || off(&law.current_exponent, -1.0), "{name}");
                }
                "outlier-run" | "field-scale" | "stray-field-transverse" => {}
                _ if finding.confidence > 0.98 => {
                    assert!(effects.clone().any(|e| holds_nothing(&e.posterior)), "{name}: {finding:?}");
                }
                _ => assert!(effects.count() > 0, "{name}: {finding:?}"),
            }
        }
        let distance = (result.mass_kg.value - result.reference.mass_kg.value)
            / result.mass_kg.standard_uncertainty.hypot(result.reference.mass_kg.standard_uncertainty);
        assert!((distance - result.reference.difference_in_u).abs() < 1e-6, "{name}");
    }
}

fn effects_that_only_matter_together_have_one_shift(results: &[(String, ReductionDocument)]) {
    for (name, result) in results {
        for effect in &result.effects {
            for other in &effect.together_with {
                let other = result.effects.iter().find(|own| own.name == *other).unwrap();
                assert!(other.together_with.contains(&effect.name), "{name}: {effect:?}");
                assert_eq!(other.shift_of_mass_percent, effect.shift_of_mass_percent, "{name}");
            }
        }
    }
    // the probe's line has one intercept: its own zero and the field along the axis are told apart by the rings alone
    let s01 = &results[0].1;
    let zero = s01.effects.iter().find(|effect| effect.code == "probe-zero").unwrap();
    assert!(zero.together_with.iter().any(|name| name.contains("along the axis")), "{zero:?}");
}
