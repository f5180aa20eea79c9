//! The contract's own examples are read, and each rule of the tables holds.
#![allow(clippy::unwrap_used, clippy::panic)]

use arcmass_notebook::{
    CoilShape, Date, DiameterKind, Edge, Faults, LARGEST_TABLE, Notebook, Particle, Sense, Surroundings, View,
};
use arcmass_quantity::Uncertainty;

/// Reads a notebook that holds these files.
fn open(files: &[(&str, &str)]) -> Result<Notebook, Faults> {
    let folder = tempfile::tempdir().unwrap();
    std::fs::write(folder.path().join("bench.toml"), "[bench]\nformat = 1\nname = \"Window bench\"\n")
        .unwrap();
    for (name, text) in files {
        std::fs::write(folder.path().join(name), text).unwrap();
    }
    Notebook::open(folder.path())
}

fn good(files: &[(&str, &str)]) -> Notebook {
    open(files).unwrap_or_else(|faults| panic!("{faults}"))
}

/// What the first fault found.
fn found(files: &[(&str, &str)]) -> String {
    open(files).unwrap_err().0[0].found.clone()
}

fn bench(tables: &str) -> String {
    format!("[bench]\nformat = 1\n{tables}")
}

#[test]
fn a_bench_in_every_form_of_the_contract_is_read() {
    let text = bench(
        r#"
[coils]
shape = "square"
mean_half_side = "150 mm ± 1 mm (limit)"
separation = "163.4mm ± 0.3 %"
turns = 0x7c
field_direction = "−z"
field_per_ampere = "7.773(0.043) G/A"
[gun]
muzzle = ["0 mm", "−4 cm", "0 mm"]
muzzle_uncertainty = "1 mm (limit)"
direction = [2, 0.0, 0]
direction_uncertainty = "0.5 deg"
voltage_offset = "0 ± 1 V"
charge_number = -1
mass = "207(1)e-30 kg"
[bulb]
glass_index = 1.48
gas = "hydrogen"
pressure = "1.0(3) Pa"
[meters]
voltage = { of_reading = "0.5 %", digits = 2, resolution = "0.1 V" }
[meters.probe]
digits = 3
zero = "0(5) uT"
[surroundings]
latitude = "52.1 deg"
longitude = "4.3 deg"
height = "20 m"
date = 2026-03-12
axis_bearing = "120 deg"
"#,
    );
    let bench = good(&[("bench.toml", &text)]).bench;
    let pair = bench.pair.unwrap();
    let sizes = pair.geometry.unwrap();
    assert_eq!((sizes.shape, sizes.turns), (CoilShape::Square, Some(124)));
    assert_eq!((sizes.mean_radius.value, sizes.mean_radius.uncertainty), (0.15, Uncertainty::Limit(0.001)));
    assert!((sizes.separation.standard_uncertainty().unwrap() - 0.003 * 0.1634).abs() < 1e-12);
    assert_eq!(pair.field_direction, Some(Sense::Minus));
    assert!((pair.field_per_ampere.unwrap().value - 7.773e-4).abs() < 1e-18);
    let gun = bench.gun.unwrap();
    assert_eq!(
        (gun.direction, gun.muzzle_uncertainty),
        (Some([1.0, 0.0, 0.0]), Some(Uncertainty::Limit(0.001)))
    );
    assert_eq!(gun.muzzle.unwrap()[1].value, -0.04);
    assert!(
        matches!(gun.direction_uncertainty, Some(Uncertainty::Standard(u)) if (u - 0.5_f64.to_radians()).abs() < 1e-15)
    );
    assert!(
        matches!(gun.particle, Particle::Other { charge_number: -1, mass } if (mass.value - 2.07e-28).abs() < 1e-40)
    );
    assert_eq!(bench.bulb.unwrap().glass_index.unwrap().value, 1.48);
    assert_eq!(bench.meters.voltage.unwrap().digits, Some(2.0));
    assert_eq!(bench.meters.probe.unwrap().zero.unwrap().uncertainty, Uncertainty::Standard(5e-6));
    let Some(Surroundings::Place(place)) = bench.surroundings else { panic!("no place") };
    assert_eq!(place.date, Date { year: 2026, month: 3, day: 12 });
    assert!((place.axis_bearing.value - 120_f64.to_radians()).abs() < 1e-15);
    assert!(bench.scale.is_none() && bench.camera.is_none() && bench.coil_list.is_empty());
}

#[test]
fn single_coils_stand_beside_limits_and_a_constant() {
    let text = bench(
        r#"
[coils]
current_limit = "2 A"
[[coil]]
mean_radius = "150 mm"
turns = 100
centre = ["0 mm", "0 mm", "75 mm"]
[[coil]]
shape = "square"
mean_half_side = "150 mm"
turns = 100
centre = ["0 mm", "0 mm", "-75 mm"]
axis = [0, 3, 4]
sense = "-"
"#,
    );
    let bench = good(&[("bench.toml", &text)]).bench;
    let pair = bench.pair.unwrap();
    assert_eq!((pair.geometry, pair.current_limit_a), (None, Some(2.0)));
    assert_eq!(bench.coil_list[0].axis, [0.0, 0.0, 1.0]);
    assert_eq!((bench.coil_list[1].axis, bench.coil_list[1].sense), ([0.0, 0.6, 0.8], Sense::Minus));
}

#[test]
fn a_bench_that_says_little_is_no_fault_and_says_what_it_lacks() {
    let bench = good(&[("bench.toml", &bench("[coils]\nmean_radius = \"150 mm\"\n"))]).bench;
    assert!(!bench.name.is_empty(), "the folder lends its name");
    let pair = bench.pair.unwrap();
    assert_eq!((pair.geometry, pair.geometry_lacks), (None, vec!["separation"]));
}

#[test]
fn a_share_without_percent_is_not_guessed() {
    let text = bench("[meters.voltage]\nof_reading = 0.5\n[scale]\nrelative_uncertainty = \"0.0005\"\n");
    let faults = open(&[("bench.toml", &text)]).unwrap_err();
    let found: Vec<_> = faults.0.iter().map(|fault| fault.found.as_str()).collect();
    assert_eq!(found, ["`0.5` in `of_reading`, without %", "`0.0005` in `relative_uncertainty`, without %"]);
}

#[test]
fn repeated_readings_make_one_run_and_every_column_is_kept() {
    let table = "\u{feff}# spring\r\nrun;voltage_V;current_A;field_sense;bench_turned_deg;gun_tilt_deg;ring_photo;view;\
                 diameter_mm;diameter_u_mm;diameter_kind;edge;beam_width_mm;taken_at;struck_because;remark;mood\r\n\
                 007;250,1;1,50;−;90;-12,5;day 1/ring größe.jpg;side;92,5;0,3;chord;outer;2;\
                 2026-03-12T14:05:00+01:00;;\"a; \"\"b\"\"\";good\r\n\
                 8;120.0;.91;;;;;;;;;;;;glare;;\r\n\
                 007;250,3;1,52;-;90,0;;;;;;;;;;;;bad\r\n;;;;;;;;;;;;;;;;\r\n";
    let readings = good(&[("readings.csv", table)]).readings.unwrap();
    assert_eq!(readings.further_columns, ["mood"]);
    let [first, second] = readings.runs.as_slice() else { panic!("{:?}", readings.runs) };
    assert_eq!((first.run.as_str(), first.lines()), ("007", vec![3, 5]));
    assert!((first.mean_voltage_v() - 250.2).abs() < 1e-12 && (first.mean_current_a() - 1.51).abs() < 1e-12);
    assert_eq!((first.field_sense, first.bench_turned_deg, first.gun_tilt_deg), (Sense::Minus, 90.0, -12.5));
    assert_eq!(first.ring_photo.as_deref(), Some("day 1/ring größe.jpg"));
    assert_eq!((first.view, first.beam_width_m), (View::Side, Some(0.002)));
    let diameter = first.diameter.unwrap();
    assert_eq!((diameter.value_m, diameter.standard_uncertainty_m), (0.0925, Some(0.0003)));
    assert_eq!(
        (diameter.kind, diameter.edge, diameter.from_radius),
        (DiameterKind::Chord, Some(Edge::Outer), false)
    );
    assert_eq!(first.remark.as_deref(), Some("a; \"b\""));
    assert_eq!(first.taken_at.as_deref(), Some("2026-03-12T14:05:00+01:00"));
    assert_eq!(first.readings[1].further["mood"], "bad");
    assert!(!first.is_struck() && second.is_struck());
    assert_eq!(second.struck_because.as_deref(), Some("glare"));
    assert_eq!((second.field_sense, second.view, second.diameter), (Sense::Plus, View::Front, None));
}

#[test]
fn a_radius_is_doubled_and_remembered() {
    let table = "run,voltage_V,current_A,radius_mm\n1,200,1,37.25\n2,200,1,\n";
    let readings = good(&[("readings.csv", table)]).readings.unwrap();
    let diameter = readings.runs[0].diameter.unwrap();
    assert_eq!((diameter.value_m, diameter.from_radius, diameter.kind), (0.0745, true, DiameterKind::Fit));
    assert_eq!(readings.runs[1].diameter, None);
}

#[test]
fn reversed_probe_currents_carry_their_sign_but_readings_must_not() {
    let table = "current_A,flux_density_uT\n-1.5,-1100\n0,40\n";
    assert_eq!(good(&[("field-probe.csv", table)]).probe_tables[0].rows[0].current_a, -1.5);
    let table = "run,voltage_V,current_A\n1,250,-1.5\n";
    assert_eq!(found(&[("readings.csv", table)]), "`-1.5` in `current_A`");
}

#[test]
fn a_comma_in_a_number_is_a_fault_only_where_commas_separate() {
    assert!(found(&[("readings.csv", "run,voltage_V,current_A\n1,250,1,5\n")]).starts_with("4 fields"));
    let quoted = "run,voltage_V,current_A\n1,250,\"1,5\"\n";
    assert_eq!(found(&[("readings.csv", quoted)]), "`1,5` in `current_A`, with a decimal comma");
    for table in ["run;voltage_V;current_A\n1;250;1,5\n", "run\tvoltage_V\tcurrent_A\n1\t250\t1,5\n"] {
        assert_eq!(good(&[("readings.csv", table)]).readings.unwrap().runs[0].readings[0].current_a, 1.5);
    }
}

#[test]
fn hashes_name_the_bytes_that_were_read() {
    use sha2::Digest;
    let table = "\u{feff}run,voltage_V,current_A\r\n";
    let inputs = good(&[("readings.csv", table)]).inputs();
    let sum: String =
        sha2::Sha256::digest(table.as_bytes()).iter().map(|byte| format!("{byte:02x}")).collect();
    assert_eq!((inputs[1].file.as_str(), inputs[1].sha256.as_str()), ("readings.csv", sum.as_str()));
}

#[test]
fn a_table_with_a_fault_in_every_row_lists_the_first_and_counts_the_rest() {
    let mut table = "run,voltage_V,current_A\n".to_owned();
    (0..20_000).for_each(|run| table.push_str(&format!("{run},abc,1\n")));
    assert!((table.len() as u64) < LARGEST_TABLE);
    let faults = open(&[("readings.csv", &table)]).unwrap_err();
    assert_eq!(faults.0.len(), 501);
    assert_eq!(faults.0[500].found, "19500 more faults in this file");
}

#[test]
fn a_quotation_mark_that_swallows_the_table_is_a_fault() {
    let table = "run,voltage_V,current_A\n\"\n1,250,1.5\n";
    assert_eq!(found(&[("readings.csv", table)]), "a quotation mark that is never closed");
}

#[test]
fn tables_of_absurd_shape_are_refused_soon() {
    let wide = format!("run,voltage_V,current_A\n{}\n", "1,".repeat(3_000_000));
    assert_eq!(found(&[("readings.csv", &wide)]), "3000001 fields");
    let wide = format!("{}run\n", "run,".repeat(1_000_000));
    assert_eq!(found(&[("readings.csv", &wide)]), "1000001 columns");
    let long = format!("current_A,flux_density_mT\n{}", "1,2\n".repeat(500_001));
    let faults = open(&[("field-probe.csv", &long)]).unwrap_err();
    assert_eq!((faults.0[0].found.as_str(), faults.0[0].line), ("more than 500000 rows", Some(500_002)));
}
