//! The two simulated notebooks and the tables of a real bench are read whole.
#![allow(clippy::unwrap_used, clippy::panic)]

use std::path::{Path, PathBuf};

use arcmass_notebook::{Axis, CoilShape, Load, Notebook, Sense};

fn data(set: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../../tests/data").join(set)
}

#[test]
fn the_typical_notebook_is_read() {
    let notebook = Notebook::open(data("typical")).unwrap_or_else(|faults| panic!("{faults}"));
    let bench = &notebook.bench;
    assert_eq!(bench.name, "Sample bench: typical");
    let pair = bench.pair.as_ref().unwrap();
    let geometry = pair.geometry.as_ref().unwrap();
    assert_eq!((geometry.shape, geometry.turns), (CoilShape::Circular, Some(129)));
    assert_eq!((geometry.mean_radius.value, pair.current_limit_a), (0.161, Some(4.0)));
    assert_eq!(pair.field_direction, Some(Sense::Plus));
    let gun = bench.gun.as_ref().unwrap();
    assert_eq!((gun.direction, gun.voltage_limit_v), (Some([1.0, 0.0, 0.0]), Some(350.0)));
    assert_eq!(bench.meters.voltage.as_ref().unwrap().of_reading, Some(0.005));
    let readings = notebook.readings.as_ref().unwrap();
    assert_eq!(readings.runs.len(), 5);
    assert!(readings.runs.iter().all(|run| run.readings.len() == 3 && run.ring_photo.is_some()));
    assert!((readings.runs[0].mean_voltage_v() - (260.0 + 260.2 + 260.0) / 3.0).abs() < 1e-12);
    let probe = &notebook.probe_tables[0];
    assert_eq!((probe.unit.as_str(), probe.rows[0].component), ("mT", Axis::X));
    assert!((probe.rows[0].flux_density_t - 15e-6).abs() < 1e-18);
    let files: Vec<_> = notebook.inputs().into_iter().map(|input| input.file).collect();
    assert_eq!(files, ["bench.toml", "readings.csv", "field-probe.csv"]);
    let photo = notebook.photo_bytes("ring-01.jpg").unwrap();
    assert!(photo.bytes.starts_with(&[0xff, 0xd8]) && photo.input.file == "photos/ring-01.jpg");
}

#[test]
fn the_notebook_of_the_tilted_camera_is_read() {
    let notebook = Notebook::open(data("tilted-camera")).unwrap_or_else(|faults| panic!("{faults}"));
    assert_eq!(notebook.bench.gun.as_ref().unwrap().direction, Some([-1.0, 0.0, 0.0]));
    assert_eq!(notebook.readings.unwrap().runs.len(), 5);
}

/// The columns of a real bench's tables (tests/data/S01, MIT), renamed as the contract has them.
#[test]
fn a_real_bench_with_tabs_gauss_and_metres_is_read() {
    let folder = tempfile::tempdir().unwrap();
    let write = |name: &str, text: &str| std::fs::write(folder.path().join(name), text).unwrap();
    write("bench.toml", "[bench]\nformat = 1\nname = \"Real bench\"\n");
    let raw = std::fs::read_to_string(data("S01").join("calibration.txt")).unwrap();
    let rows = raw.split_once('\n').unwrap().1;
    write("field-probe.csv", &format!("current_A\tflux_density_G\n{rows}"));
    let notebook = Notebook::open(folder.path()).unwrap_or_else(|faults| panic!("{faults}"));
    let table = &notebook.probe_tables[0];
    assert_eq!(table.unit, "G");
    assert!((table.rows[0].flux_density_t - 3.9e-4).abs() < 1e-17);
    assert_eq!((table.rows[0].component, table.rows[0].at_m), (Axis::Z, [0.0; 3]));

    // as it came, its header is a comment: the fault says that names are missing
    write("field-probe.csv", &raw);
    let faults = Notebook::open(folder.path()).unwrap_err();
    assert!(
        faults.to_string().contains("put a line with the names of the columns above the numbers"),
        "{faults}"
    );
}

#[test]
fn further_probe_tables_balance_and_marks_are_read_in_order() {
    let folder = tempfile::tempdir().unwrap();
    let write = |name: &str, text: &str| {
        let path = folder.path().join(name);
        std::fs::create_dir_all(path.parent().unwrap()).unwrap();
        std::fs::write(path, text).unwrap();
    };
    write("bench.toml", "[bench]\nformat = 1\nname = \"Window bench\"\n");
    write("field-probe-10.csv", "current_A,flux_density_T\n0,1e-5\n");
    write("field-probe-2.csv", "current_A,flux_density_N_per_e_m_per_s,probe_reversed\n1,1.25e-22,yes\n");
    write("field-probe-02.csv", "left alone");
    write("field-balance.csv", "current_A;wire_current_A;wire_length_mm;mass_mg\n1,5;5,0;100;38,2\n");
    write("marks/ring one.jpg.csv", "what,x_px,y_px,along_mm\nbeam,10.5,20,\nscale,1,2,30\n");
    write("marks/day 2/größe.png.csv", "what,x_px,y_px\nleave-out,1,2\n");
    write("marks/notes.txt", "left alone");
    write("marks/._ring one.jpg.csv", "left alone");
    let notebook = Notebook::open(folder.path()).unwrap_or_else(|faults| panic!("{faults}"));
    let units: Vec<_> = notebook.probe_tables.iter().map(|table| table.unit.as_str()).collect();
    assert_eq!(units, ["N_per_e_m_per_s", "T"]);
    let row = &notebook.probe_tables[0].rows[0];
    // F = q v B: 1.25e-22 N on e = 1.602176634e-19 C (SI) at 1 m/s
    assert!((row.flux_density_t - 1.25e-22 / 1.602_176_634e-19).abs() < 1e-18 && row.probe_reversed);
    let balance = notebook.balance.as_ref().unwrap().rows[0].clone();
    assert_eq!((balance.current_a, balance.wire_length_m), (1.5, 0.1));
    assert!(matches!(balance.load, Load::Mass(m) if (m - 38.2e-6).abs() < 1e-18));
    let marks = notebook.marks_of("ring one.jpg").unwrap();
    assert_eq!((marks.marks[0].along_m, marks.marks[1].along_m), (None, Some(0.03)));
    assert!(notebook.marks_of("day 2/größe.png").is_some());
}
