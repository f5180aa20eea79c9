//! One slip of the pen in a table: the row is named with its file and line, the table is refused, or the mass stays.

#![allow(clippy::unwrap_used, clippy::panic)]

use std::path::PathBuf;

use arcmass_lab::Desk;
use arcmass_lab::document::ReductionDocument;
use arcmass_lab::reduce::{AcceptedMass, reduce};
use arcmass_notebook::Notebook;

fn source(file: &str) -> String {
    let path = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("../../tests/data/typed").join(file);
    std::fs::read_to_string(&path).unwrap_or_else(|fault| panic!("{}: {fault}", path.display()))
}

/// Reduces the typed notebook with one of its files changed.
fn with(file: &str, change: impl Fn(&str) -> String) -> Result<ReductionDocument, String> {
    let folder = tempfile::tempdir().unwrap();
    for name in ["bench.toml", "field-probe.csv", "readings.csv"] {
        let text = source(name);
        let text = if name == file { change(&text) } else { text };
        std::fs::write(folder.path().join(name), text).unwrap();
    }
    let notebook = Notebook::open(folder.path()).map_err(|faults| faults.to_string())?;
    reduce(&notebook, None, &AcceptedMass::default(), &Desk::default()).map_err(|fault| fault.to_string())
}

/// A row of a table with one cell replaced.
fn cell(text: &str, line: usize, old: &str, new: &str) -> String {
    let rows = text.lines().enumerate().map(|(index, row)| {
        if index + 1 == line {
            assert!(row.contains(old), "line {line} is {row}");
            row.replacen(old, new, 1)
        } else {
            row.to_owned()
        }
    });
    rows.collect::<Vec<_>>().join("\n") + "\n"
}

/// A column with every number multiplied.
fn column(text: &str, name: &str, factor: f64) -> String {
    let mut place = None;
    let rows = text.lines().map(|row| {
        if row.starts_with('#') {
            return row.to_owned();
        }
        let mut cells: Vec<String> = row.split(',').map(str::to_owned).collect();
        match place {
            None => place = cells.iter().position(|cell| cell == name),
            Some(at) => cells[at] = (factor * cells[at].parse::<f64>().unwrap()).to_string(),
        }
        cells.join(",")
    });
    rows.collect::<Vec<_>>().join("\n") + "\n"
}

fn plain() -> ReductionDocument {
    with("", str::to_owned).unwrap_or_else(|fault| panic!("{fault}"))
}

#[test]
fn a_sound_notebook_loses_no_row() {
    let codes: Vec<String> = plain().findings.into_iter().map(|finding| finding.code).collect();
    assert!(codes.is_empty(), "{codes:?}");
}

#[test]
fn a_mistyped_row_of_the_probe_is_named_and_the_mass_stays() {
    let whole = plain().mass_kg;
    for (line, old, new, words) in [
        (15, "0.890", "8.90", "ten times too large"),
        (27, "1.090", "109", "the decimal point is missing"),
        (13, "0.597", "5.97", "ten times too large"),
        (18, "1.553", "-1.553", "sign"),
        (14, "0.670", "670", "a thousand times too large"),
        (17, "1.332", "3.132", "two digits"),
        (8, "-0.047", "-47", "a thousand times too large"),
        (19, "1.775", "-1e6", "line 19"),
    ] {
        let reduced = with("field-probe.csv", |text| cell(text, line, old, new))
            .unwrap_or_else(|fault| panic!("{fault}"));
        let said: Vec<&str> = reduced.findings.iter().map(|finding| finding.sentence.as_str()).collect();
        let place = format!("field-probe.csv, line {line}:");
        assert!(said.iter().any(|text| text.starts_with(&place) && text.contains(words)), "{new}: {said:?}");
        assert_eq!(said.len(), 1, "{new}: {said:?}");
        let off = (reduced.mass_kg.value - whole.value).abs() / whole.standard_uncertainty;
        assert!(off < 1.0, "{new}: the mass moves by {off} u");
    }
}

#[test]
fn a_background_in_another_unit_is_left_out_row_by_row() {
    let reduced = with("field-probe.csv", |text| {
        let rows = text.lines().enumerate().map(|(index, row)| match index {
            2..=10 => column(
                &format!("current_A,flux_density_mT,component,x_mm,y_mm,z_mm\n{row}"),
                "flux_density_mT",
                1e6,
            )
            .lines()
            .nth(1)
            .unwrap_or_default()
            .to_owned(),
            _ => row.to_owned(),
        });
        rows.collect::<Vec<_>>().join("\n") + "\n"
    })
    .unwrap_or_else(|fault| panic!("{fault}"));
    let rows = reduced.findings.iter().filter(|finding| finding.code == "outlier-row").count();
    assert_eq!(rows, 9, "{:?}", reduced.findings);
    let whole = plain().mass_kg;
    assert!((reduced.mass_kg.value / whole.value - 1.0).abs() < 0.03);
}

#[test]
fn a_whole_table_in_another_unit_is_refused_with_the_unit() {
    for (name, factor, words) in [
        ("flux_density_mT", 1e3, "µT for mT"),
        ("flux_density_mT", 1e-3, "T for mT"),
        ("flux_density_mT", 10.0, "gauss"),
        ("current_A", 1e3, "mA"),
    ] {
        let said = with("field-probe.csv", |text| column(text, name, factor)).err().unwrap_or_default();
        assert!(said.contains("field-probe.csv") && said.contains(words), "{name} × {factor}: {said}");
    }
}

#[test]
fn a_whole_column_of_readings_in_another_unit_is_said() {
    for (name, factor, words) in [
        ("current_A", 1e3, "milliamperes"),
        ("current_A", 10.0, "ten times too large"),
        ("voltage_V", 1e-3, "kilovolts"),
        ("voltage_V", 0.1, "read a tenth of the true ones"),
        ("voltage_V", 10.0, "ten times too large"),
        ("diameter_mm", 0.1, "a tenth"),
        ("diameter_mm", 10.0, "ten times too large"),
    ] {
        let said = match with("readings.csv", |text| column(text, name, factor)) {
            Ok(reduced) => {
                let findings = reduced.findings.iter().map(|finding| finding.sentence.as_str());
                findings
                    .chain(reduced.caveats.iter().map(|caveat| caveat.sentence.as_str()))
                    .collect::<Vec<_>>()
                    .join("\n")
            }
            Err(said) => said,
        };
        assert!(said.contains(words), "{name} × {factor}: {said}");
    }
}

#[test]
fn an_uncertainty_larger_than_its_diameter_is_a_fault_of_its_row() {
    let said = with("readings.csv", |text| column(text, "diameter_u_mm", 1e3)).err().unwrap_or_default();
    assert!(said.contains("readings.csv:3:") && said.contains("a third of the diameter"), "{said}");
}
