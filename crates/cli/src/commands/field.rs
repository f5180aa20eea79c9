//! `arcmass field`: the field per ampere by every way, and the flux density at points.

use arcmass_lab::document::{FieldDocument, Q};
use arcmass_lab::field::{FieldQuestion, field};
use arcmass_notebook::Notebook;
use arcmass_quantity::print;

use crate::arguments::{Arguments, Field};
use crate::ending::Ending;
use crate::show::{self, Sheet, with_unit};

pub(crate) fn run(asked: &Field, arguments: &Arguments) -> Result<(), Ending> {
    let notebook = Notebook::open(&asked.notebook)?;
    let question =
        FieldQuestion { current_a: asked.current, at_mm: asked.at.iter().map(|point| point.0).collect() };
    let document = field(&notebook, &question, &arguments.desk())?;
    if arguments.json {
        return show::json(&document, &document.caveats);
    }
    let mut sheet = Sheet::default();
    ways(&mut sheet, &document);
    points(&mut sheet, &document);
    sheet.notes(&[], &document.caveats);
    sheet.out()
}

fn ways(sheet: &mut Sheet, document: &FieldDocument) {
    sheet.line(format!(
        "Field per ampere in use   {}",
        with_unit(&document.field_per_ampere_mt_per_a, "mT/A")
    ));
    let rows: [(&str, &Option<Q>); 4] = [
        ("by the coils' sizes", &document.geometry_mt_per_a),
        ("by the probe's line", &document.probe_mt_per_a),
        ("by the current balance", &document.balance_mt_per_a),
        ("as stated", &document.stated_mt_per_a),
    ];
    for (name, q) in rows {
        if let Some(q) = q {
            sheet.line(format!("  {name:<24}{}", with_unit(q, "mT/A")));
        }
    }
    if let Some(z) = document.probe_minus_geometry_in_u {
        sheet.line(format!("  probe minus sizes       {} standard uncertainties", print::fixed(z, -1)));
    }
    if let Some(q) = &document.intercept_mt {
        sheet.line(format!(
            "  intercept of the line   {} (background plus the probe's zero)",
            with_unit(q, "mT")
        ));
    }
    let [x, y, z] = document.background_mt.map(|q| show::bare(&q.times(1e3)));
    sheet.line(format!("Background along x, y, z  {x}, {y}, {z} µT"));
    if let Some(uniformity) = &document.uniformity {
        sheet.line(format!(
            "Over a ring of {} mm    mean {} %, largest {} % against the centre",
            print::fixed(uniformity.ring_diameter_mm, 0),
            print::fixed(uniformity.mean_deviation_percent, -2),
            print::fixed(uniformity.largest_deviation_percent, -2)
        ));
    }
}

fn points(sheet: &mut Sheet, document: &FieldDocument) {
    if document.points.is_empty() {
        return;
    }
    sheet.gap();
    sheet.line(format!("At {} A, along x, y, z:", document.current_a));
    let cell = |value: f64, place: i32| print::fixed(value, place);
    let mut rows = vec![["at mm", "Bx mT", "By mT", "Bz mT"].map(str::to_owned).to_vec()];
    for point in &document.points {
        let [x, y, z] = point.at_mm;
        let [bx, by, bz] = point.flux_density_mt;
        rows.push(vec![
            format!("({x}, {y}, {z})").replace('-', "−"),
            cell(bx, -4),
            cell(by, -4),
            cell(bz, -4),
        ]);
    }
    sheet.table(&rows);
}
