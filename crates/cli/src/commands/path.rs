//! `arcmass path`: the ring or helix of a setting.

use arcmass_lab::document::PathDocument;
use arcmass_lab::path::{Setting, path};
use arcmass_notebook::Notebook;
use arcmass_quantity::print;

use crate::arguments::{Arguments, PathArguments};
use crate::ending::Ending;
use crate::show::{self, Sheet};

pub(crate) fn run(asked: &PathArguments, arguments: &Arguments) -> Result<(), Ending> {
    let notebook = Notebook::open(&asked.notebook)?;
    let setting = Setting {
        voltage_v: asked.voltage,
        current_a: asked.current,
        gun_tilt_deg: asked.gun_tilt,
        field_sense: if asked.field_sense == "-" { -1.0 } else { 1.0 },
        bench_turned_deg: asked.bench_turned,
    };
    let document = path(&notebook, &setting, &arguments.desk())?;
    if arguments.json {
        return show::json(&document, &document.caveats);
    }
    let mut sheet = Sheet::default();
    sheet.line(format!(
        "At {} V, {} A, gun tilt {}°, sense {}, bench turned {}°:",
        asked.voltage, asked.current, asked.gun_tilt, asked.field_sense, asked.bench_turned
    ));
    lines(&mut sheet, &document);
    sheet.notes(&[], &document.caveats);
    sheet.out()
}

fn lines(sheet: &mut Sheet, document: &PathDocument) {
    let mm = |value: Option<f64>| {
        value.map_or_else(
            || "none: the glass comes first".to_owned(),
            |v| format!("{} mm", print::fixed(v, -2)),
        )
    };
    sheet.line(format!("  fitted diameter   {}", mm(document.fitted_diameter_mm)));
    sheet.line(format!("  across the gun    {}", mm(document.chord_diameter_mm)));
    sheet.line(format!("  pitch             {}", mm(document.pitch_mm)));
    let glass = match (document.turns_to_glass, document.glass_point_mm) {
        (Some(turns), Some([x, y, z])) => format!(
            "after {} turns at ({}, {}, {}) mm",
            print::fixed(turns, -2),
            print::fixed(x, -1),
            print::fixed(y, -1),
            print::fixed(z, -1)
        ),
        _ => "not met".to_owned(),
    };
    sheet.line(format!("  glass             {glass}"));
    sheet.line(format!("  meets the gun     {}", if document.meets_gun { "yes" } else { "no" }));
    sheet.line(format!("  speed             {} m/s", print::significant(document.speed_m_per_s, 4)));
    let [x, y, z] = document.flux_density_at_muzzle_mt.map(|b| print::fixed(b, -4));
    sheet.line(format!("  field at muzzle   ({x}, {y}, {z}) mT"));
}
