//! Probe and balance tables of every kind.

use std::fmt::Write as _;

use super::bench::{BENCH, Line, Noise, TRUTH, Truth, assert_holds, at_centre, field_of};

/// No absolute sizes: only the tables tell the field.
fn without_turns() -> String {
    BENCH.replace("turns = 124\n", "")
}

#[test]
fn both_signs_of_current_give_slope_and_intercept() {
    let lines: Vec<Line> = [-2.0, -1.0, -0.5, 0.5, 1.0, 2.0].map(at_centre).to_vec();
    let document = field_of(&[
        ("bench.toml", &without_turns()),
        ("field-probe.csv", &TRUTH.table(&lines, &mut Noise(1))),
    ]);
    let line = document.line_fit.unwrap();
    assert!((line.slope_mt_per_a - 1e3 * TRUTH.per_ampere()).abs() < 2e-3, "{line:?}");
    // the probe shows background − zero where the coils are off
    let intercept = 1e3 * (TRUTH.background_t[2] - TRUTH.probe_zero_t);
    assert!((line.intercept_mt - intercept).abs() < 2e-3, "{line:?}");
    assert_holds(&document.probe_mt_per_a.unwrap(), 1e3 * TRUTH.per_ampere(), 3.0, "probe");
    assert_holds(&document.field_per_ampere_mt_per_a, 1e3 * TRUTH.per_ampere(), 3.0, "in use");
    assert!(document.geometry_mt_per_a.is_none());
}

#[test]
fn without_reversal_the_probes_zero_stays_open_and_is_said() {
    let lines: Vec<Line> = [0.0, 0.5, 1.0, 2.0].map(at_centre).to_vec();
    let document =
        field_of(&[("bench.toml", BENCH), ("field-probe.csv", &TRUTH.table(&lines, &mut Noise(2)))]);
    assert!(document.probe_zero_mt.unwrap().standard_uncertainty > 20e-3);
    let caveat = document.caveats.iter().find(|caveat| caveat.code == "probe-zero-not-separated").unwrap();
    assert!(caveat.sentence.contains("% of the mass at 1.00 A"), "{}", caveat.sentence);
    // one of the two must be off when the other is: they are almost fully correlated
    let covariance = &document.covariance;
    let place = |name: &str| covariance.of.iter().position(|of| of == name).unwrap();
    let (b, z) = (place("background_z_mt"), place("probe_zero_mt"));
    let correlation = covariance.matrix[b][z] / (covariance.matrix[b][b] * covariance.matrix[z][z]).sqrt();
    assert!(correlation > 0.99, "{correlation}");
}

#[test]
fn a_reversed_probe_separates_its_zero_from_the_background() {
    let mut lines: Vec<Line> = [0.0, 0.5, 1.0, 2.0].map(at_centre).to_vec();
    lines.extend([0.0, 1.0].map(|current| Line { reversed: true, ..at_centre(current) }));
    let document =
        field_of(&[("bench.toml", BENCH), ("field-probe.csv", &TRUTH.table(&lines, &mut Noise(3)))]);
    let zero = document.probe_zero_mt.unwrap();
    assert!(zero.standard_uncertainty < 2e-3, "{zero:?}");
    assert_holds(&zero, 1e3 * TRUTH.probe_zero_t, 3.0, "zero");
    assert_holds(&document.background_mt[2], 1e3 * TRUTH.background_t[2], 3.0, "background along z");
    assert!(document.caveats.iter().all(|caveat| caveat.code != "probe-zero-not-separated"));
}

#[test]
fn a_turned_bench_separates_them_too_and_tells_x_from_z() {
    let at = |turned_deg: f64| Line { turned_deg, ..at_centre(0.0) };
    let lines = [at(0.0), at(90.0), at(180.0), at(-90.0), at_centre(1.0), at_centre(2.0)];
    let document =
        field_of(&[("bench.toml", BENCH), ("field-probe.csv", &TRUTH.table(&lines, &mut Noise(4)))]);
    for (axis, name) in [(0, "x"), (2, "z")] {
        let q = document.background_mt[axis];
        assert!(q.standard_uncertainty < 2e-3, "{name}: {q:?}");
        assert_holds(&q, 1e3 * TRUTH.background_t[axis], 3.0, name);
    }
    assert_holds(&document.probe_zero_mt.unwrap(), 1e3 * TRUTH.probe_zero_t, 3.0, "zero");
}

#[test]
fn several_tables_and_all_components_are_joined() {
    let across: Vec<Line> = [0, 1, 2]
        .iter()
        .flat_map(|axis| [false, true].map(|reversed| Line { axis: *axis, reversed, ..at_centre(0.0) }))
        .collect();
    let mut noise = Noise(5);
    let along = TRUTH.table(&[0.5, 1.0, 2.0].map(at_centre), &mut noise);
    let document = field_of(&[
        ("bench.toml", BENCH),
        ("field-probe.csv", &along),
        ("field-probe-2.csv", &TRUTH.table(&across, &mut noise)),
    ]);
    for (axis, truth) in TRUTH.background_t.iter().enumerate() {
        assert!(document.background_mt[axis].standard_uncertainty < 3e-3);
        assert_holds(&document.background_mt[axis], 1e3 * truth, 3.0, "background");
    }
    assert_eq!(document.made_by.inputs.len(), 3);
}

#[test]
fn readings_off_the_centre_alone_still_give_the_field_per_ampere() {
    let lines: Vec<Line> = [-40.0, -20.0, 20.0, 40.0]
        .iter()
        .flat_map(|z| [-1.5, 1.5].map(|current_a| Line { at_mm: [0.0, 0.0, *z], ..at_centre(current_a) }))
        .collect();
    let document = field_of(&[
        ("bench.toml", &without_turns()),
        ("field-probe.csv", &TRUTH.table(&lines, &mut Noise(6))),
    ]);
    assert!(document.line_fit.is_none());
    assert_holds(&document.probe_mt_per_a.unwrap(), 1e3 * TRUTH.per_ampere(), 3.0, "probe off the centre");
}

#[test]
fn the_current_balance_gives_the_field_per_ampere() {
    // F = B I L, as a force in one table and as a mass at 9.80665 m/s² in the other
    let (wire_a, wire_mm) = (2.0, 80.0);
    let mut force = String::from("current_A,wire_current_A,wire_length_mm,force_mN\n");
    let mut mass = String::from("current_A,wire_current_A,wire_length_mm,mass_mg\n");
    for (index, current) in [0.5, 1.0, 1.5, 2.0].iter().enumerate() {
        let off = 1.0 + if index % 2 == 0 { 1e-3 } else { -1e-3 };
        let newton = TRUTH.per_ampere() * current * wire_a * 1e-3 * wire_mm * off;
        writeln!(force, "{current},{wire_a},{wire_mm},{}", 1e3 * newton).unwrap();
        writeln!(mass, "{current},{wire_a},{wire_mm},{}", 1e6 * newton / 9.806_65).unwrap();
    }
    for table in [force, mass] {
        let document = field_of(&[("bench.toml", &without_turns()), ("field-balance.csv", &table)]);
        let balance = document.balance_mt_per_a.unwrap();
        assert_holds(&balance, 1e3 * TRUTH.per_ampere(), 3.0, "balance");
        assert!(balance.standard_uncertainty < 2e-3 * balance.value);
        assert_holds(&document.field_per_ampere_mt_per_a, 1e3 * TRUTH.per_ampere(), 3.0, "in use");
    }
}

#[test]
fn a_stated_constant_stands_alone_or_beside_the_sizes() {
    let constant = "field_per_ampere = \"0.740(4) mT/A\"\n";
    let alone = "[bench]\nformat = 1\n[coils]\nfield_direction = \"+z\"\n".to_owned() + constant;
    let document = field_of(&[("bench.toml", &alone)]);
    assert!((document.field_per_ampere_mt_per_a.value - 0.74).abs() < 1e-12);
    assert!((document.field_per_ampere_mt_per_a.standard_uncertainty - 0.004).abs() < 1e-12);
    let both = BENCH.replace("turns = 124\n", &format!("turns = 124\n{constant}"));
    let document = field_of(&[("bench.toml", &both)]);
    let (joined, sizes) = (document.field_per_ampere_mt_per_a, document.geometry_mt_per_a.unwrap());
    // two independent values join to their weighted mean
    let weight = |u: f64| 1.0 / (u * u);
    let (a, b) = (weight(0.004), weight(sizes.standard_uncertainty));
    let mean = (a * 0.74 + b * sizes.value) / (a + b);
    assert!((joined.value - mean).abs() < 2e-4, "{} against {mean}", joined.value);
    assert!((joined.standard_uncertainty / (a + b).sqrt().recip() - 1.0).abs() < 0.05);
}

#[test]
fn uncertainties_hold_the_truth_as_often_as_they_say() {
    // 80 tables with fresh noise: the mean square of (value − truth)/u lies near 1 where noise is all there is
    let exact = "of_reading = \"0 %\"\n";
    let bench = without_turns()
        .replace("of_reading = \"0.5 %\"\n", exact)
        .replace("of_reading = \"0.05 %\"\n", exact);
    let mut lines: Vec<Line> = [-2.0, -1.0, 0.0, 1.0, 2.0].map(at_centre).to_vec();
    lines.extend([0.0, 1.0].map(|current| Line { reversed: true, ..at_centre(current) }));
    const SEED: u64 = 0x5eed;
    println!("seed {SEED}");
    let mut noise = Noise(SEED);
    let (mut slope, mut zero, trials) = (0.0, 0.0, 80);
    for _ in 0..trials {
        let table = TRUTH.table(&lines, &mut noise);
        let document = field_of(&[("bench.toml", &bench), ("field-probe.csv", &table)]);
        let k = document.field_per_ampere_mt_per_a;
        slope += ((k.value - 1e3 * TRUTH.per_ampere()) / k.standard_uncertainty).powi(2);
        let z = document.probe_zero_mt.unwrap();
        zero += ((z.value - 1e3 * TRUTH.probe_zero_t) / z.standard_uncertainty).powi(2);
    }
    // χ² with 80 degrees of freedom lies between 0.60 and 1.48 of them in 99.8 % of cases (statrs)
    for (what, sum) in [("field per ampere", slope), ("probe's zero", zero)] {
        let mean = sum / f64::from(trials);
        assert!((0.60..1.48).contains(&mean), "{what}: {mean} after seed {SEED}");
    }
}

#[test]
fn a_reading_of_a_bench_turned_more_than_once_round_is_refused() {
    let folder = tempfile::tempdir().unwrap();
    std::fs::write(folder.path().join("bench.toml"), BENCH).unwrap();
    let table = "current_A,flux_density_mT,bench_turned_deg\n0,0.1,720\n";
    std::fs::write(folder.path().join("field-probe.csv"), table).unwrap();
    let faults = arcmass_notebook::Notebook::open(folder.path()).unwrap_err();
    assert_eq!((faults.0[0].line, faults.0[0].column), (Some(2), Some(7)), "{faults}");
    assert!(faults.to_string().contains("360"), "{faults}");
}

#[test]
fn truths_differ_from_what_is_assumed() {
    // else the tests above would hold for a program that returns its defaults
    let Truth { background_t, probe_zero_t, .. } = TRUTH;
    assert!(background_t.iter().all(|b| *b != 0.0) && probe_zero_t != 0.0);
}
