//! The wording of every fault, as a person reads it on a terminal; each snapshot was read line by line.
#![allow(clippy::unwrap_used, clippy::panic)]

use arcmass_notebook::Notebook;

/// What a notebook with this one file reports.
fn shown(file: &str, text: &str) -> String {
    let folder = tempfile::tempdir().unwrap();
    std::fs::write(folder.path().join("bench.toml"), "[bench]\nformat = 1\nname = \"Window bench\"\n")
        .unwrap();
    std::fs::write(folder.path().join(file), text).unwrap();
    match Notebook::open(folder.path()) {
        Ok(_) => panic!("no fault found in {file}:\n{text}"),
        Err(faults) => faults.to_string(),
    }
}

#[test]
fn every_key_of_the_bench_file_wrong_at_once() {
    let text = r#"[bench]
format = 1
name = "w"
[coils]
mean_radius = "12 V"
separation = "150,0 mm"
turns = 1.5
winding_radail = "12 mm"
current_limit = "-2 A"
field_direction = "z"
field_per_ampere = 0.7
[gun]
muzzle = ["0 mm", "-40 mm"]
muzzle_uncertainty = "0.5 mm ± 1 mm"
direction = [0, 0, 0]
voltage_limit = "300 V"
voltage_minimum = "400 V"
Voltage_offset = "0 V"
beam_width = "2 mm ± -1 mm"
outer_radius = "3 mm"
[bulb]
outer_radius = 80
glass_index = "0.5"
clearance = "nan mm"
gas = 3
[meters]
volt = 3
[meters.voltage]
of_reading = "0.5"
digits = -1
resolution = "0.1 mT"
[meters.probe]
of_reading = "500 %"
[surroundings]
background = ["0 uT", "1 uT", "q uT"]
latitude = "3 deg"
[camara]
distance = "1 m"
[scale]
kind = "rular"
spacing = "1"
offset = true
"#;
    insta::assert_snapshot!(shown("bench.toml", text));
}

#[test]
fn a_newer_format() {
    let text = r#"[bench]
format = 2
name = "w"
[new]
"#;
    insta::assert_snapshot!(shown("bench.toml", text));
}

#[test]
fn broken_lines_of_the_bench_file() {
    let text = r#"[bench]
name = "w"
format = 1
name = "x"
[gun]
muzzle = 12 mm
[gun]
x = "unclosed
"#;
    insta::assert_snapshot!(shown("bench.toml", text));
}

#[test]
fn no_bench_table() {
    let text = r#"[coils]
"#;
    insta::assert_snapshot!(shown("bench.toml", text));
}

#[test]
fn an_empty_bench_file() {
    let text = r#""#;
    insta::assert_snapshot!(shown("bench.toml", text));
}

#[test]
fn bench_as_a_number() {
    let text = r#"bench = 3
"#;
    insta::assert_snapshot!(shown("bench.toml", text));
}

#[test]
fn single_coils_and_a_gun_that_cannot_be() {
    let text = r#"[bench]
format = 1
name = "w"
[[coil]]
mean_radius = "10 mm"
turns = 0
[[coil]]
shape = "square"
mean_radius = "10 mm"
turns = 3
centre = [0, 1, 2]
axis = [1, nan, 0]
sense = "+z"
[coils]
turns = 3
[gun]
charge_number = 0
particle = "electron"
muzzle = ["0 mm", "90 mm", "0 mm"]
direction = [0,0,1]
[bulb]
outer_radius = "80 mm"
glass_thickness = "90 mm"
[camera]
distance = "50 mm"
[surroundings]
latitude = "100 deg"
date = "2026-13-12"
"#;
    insta::assert_snapshot!(shown("bench.toml", text));
}

#[test]
fn near_misses_of_columns() {
    let text = r#"run,voltage_v,curent_A
1,2,3
"#;
    insta::assert_snapshot!(shown("readings.csv", text));
}

#[test]
fn columns_twice_nameless_and_in_other_units() {
    let text = r#"run;current_A;current_A;;diameter_cm
1;0,5
"#;
    insta::assert_snapshot!(shown("readings.csv", text));
}

#[test]
fn every_cell_wrong_at_once() {
    let text = r#"run,voltage_V,current_A,diameter_mm,radius_mm,ring_photo,view,edge,taken_at,gun_tilt_deg,field_sense
1,200,0,1,1,../a.jpg,top,outside,yesterday,400,x
2,-3,-1,-5,,/etc/passwd,,,,,
3,nan,1e999,"5,5",,c:\a.jpg,,,2026-03-12T14:05:00,,
4,,250 V,,,a\b.jpg,,,,,
5,1,5,2
6,250,1,5,,,,,,,,,
7,250,1,,,"x
8,250,1
"#;
    insta::assert_snapshot!(shown("readings.csv", text));
}

#[test]
fn rows_of_one_run_that_disagree() {
    let text = r#"run,voltage_V,current_A,ring_photo,gun_tilt_deg,struck_because
1,200,1,a.jpg,0,
1,200,1,a.jpg,0.0,
1,200,1,,,
1,200,1,b.jpg,1,blurred
"#;
    insta::assert_snapshot!(shown("readings.csv", text));
}

#[test]
fn no_names_above_the_numbers() {
    let text = r#"0.5	3.9
1	7
"#;
    insta::assert_snapshot!(shown("readings.csv", text));
}

#[test]
fn only_a_comment() {
    let text = r#"# nothing
"#;
    insta::assert_snapshot!(shown("readings.csv", text));
}

#[test]
fn probe_words() {
    let text = r#"current_A,flux_density_mt,component,probe_reversed
1,2,w,true
"#;
    insta::assert_snapshot!(shown("field-probe.csv", text));
}

#[test]
fn two_fields() {
    let text = r#"current_A,flux_density_mT,flux_density_T
1,2,w
"#;
    insta::assert_snapshot!(shown("field-probe.csv", text));
}

#[test]
fn no_field() {
    let text = r#"current_A,component
1,z
"#;
    insta::assert_snapshot!(shown("field-probe.csv", text));
}

#[test]
fn a_balance_without_load() {
    let text = r#"current_A,wire_current_A,wire_length_mm
1,2,0
"#;
    insta::assert_snapshot!(shown("field-balance.csv", text));
}

#[test]
fn a_balance_with_two_loads() {
    let text = r#"current_A,wire_current_A,wire_length_mm,force_mN,mass_mg
1,2,0,3,4
"#;
    insta::assert_snapshot!(shown("field-balance.csv", text));
}

#[test]
fn a_list_that_is_not_closed() {
    let text = r#"[bench]
format = 1
[coils]
mean_radius = 150.0(5) mm
separation = "150 mm
turns = 124
winding_radial = "12 V"
[gun]
muzzle = ["0 mm", "-40 mm", "0 mm"
direction = [1, 0, 0]
voltage_limit = "300 mm"
"#;
    insta::assert_snapshot!(shown("bench.toml", text));
}

#[test]
fn a_heading_that_is_not_closed() {
    let text = r#"[bench]
format = 1
[coils]
mean_radius = "150.0(5) mm"
separation = "150 mm"
turns = "124"
[gun
muzzle = ["0 mm", "-40 mm", "0 mm"]
voltage_limit = "300 mm"
"#;
    insta::assert_snapshot!(shown("bench.toml", text));
}

#[test]
fn dotted_keys_and_colons() {
    let text = r#"[bench]
format = 1
coils.mean_radius = "3 V"
[coils]
x = 3
[gun]
voltage_limit = 300 V
voltage_minimum: "3 V"
voltage_offset "3 V"
beam_width = "3 V"
"#;
    insta::assert_snapshot!(shown("bench.toml", text));
}

#[test]
fn rows_of_other_lengths() {
    let text = r#"run,voltage_V,current_A
 1 , 250 ,"1"
1,250
1,250,1,
1;250;1
"#;
    insta::assert_snapshot!(shown("readings.csv", text));
}

#[test]
fn marks_between_thousands() {
    let text = r#"run	voltage_V	current_A	diameter_mm
1	250,0	1,5	1.234,5
1	250,0	1,5	"92,5"
"#;
    insta::assert_snapshot!(shown("readings.csv", text));
}

#[test]
fn a_line_after_a_quoted_line_end() {
    let text = r#"run,voltage_V,current_A,remark
1,250,1,"two
lines"
2,250,-1,x
"#;
    insta::assert_snapshot!(shown("readings.csv", text));
}
