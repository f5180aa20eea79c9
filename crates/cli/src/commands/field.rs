//! `arcmass field`: the field per ampere by every way, the probe's map, uniformity, and the flux density at points.

use arcmass_lab::document::{FieldDocument, Q};
use arcmass_lab::field::{FieldQuestion, field};
use arcmass_notebook::Notebook;
use arcmass_quantity::print;
use arcmass_report::field_figures;

use crate::arguments::{Arguments, Field};
use crate::columns;
use crate::ending::Ending;
use crate::figure_files;
use crate::show::{self, Sheet, bare};

pub(crate) fn run(asked: &Field, arguments: &Arguments) -> Result<(), Ending> {
    let notebook = Notebook::open(&asked.notebook)?;
    let question = FieldQuestion {
        current_a: asked.current,
        at_mm: asked.at.iter().map(|point| point.0).collect(),
        with_map: asked.map || asked.figures.is_some(),
    };
    let document = field(&notebook, &question, &arguments.desk())?;
    let written = match &asked.figures {
        Some(folder) => figure_files::write(folder, &field_figures::all(&document), asked.dark)?,
        None => Vec::new(),
    };
    if arguments.json {
        return show::json(&document, &document.caveats);
    }
    let mut sheet = Sheet::default();
    ways(&mut sheet, &document);
    probe(&mut sheet, &document);
    at_zero(&mut sheet, &document);
    map(&mut sheet, &document);
    uniformity(&mut sheet, &document);
    points(&mut sheet, &document);
    sheet.notes(&document.findings, &document.caveats);
    show::written(&mut sheet, &written);
    sheet.out()
}

/// Name, value, what follows it.
type Row = (String, String, String);

fn row(name: &str, value: String, after: &str) -> Row {
    (name.to_owned(), value, after.to_owned())
}

fn block(sheet: &mut Sheet, heading: &str, rows: &[Row]) {
    if !heading.is_empty() {
        sheet.gap();
        sheet.line(heading);
    }
    for line in columns::lines(rows) {
        sheet.line(line);
    }
}

fn ways(sheet: &mut Sheet, document: &FieldDocument) {
    sheet.line("Coil constant k = B/I at the centre");
    let all: [(&str, &Option<Q>); 5] = [
        ("in use, all combined", &Some(document.field_per_ampere_mt_per_a)),
        ("by the coil geometry", &document.geometry_mt_per_a),
        ("by the probe", &document.probe_mt_per_a),
        ("by the current balance", &document.balance_mt_per_a),
        ("as stated", &document.stated_mt_per_a),
    ];
    let rows: Vec<Row> =
        all.iter().filter_map(|(name, q)| q.as_ref().map(|q| row(name, bare(q), "mT/A"))).collect();
    block(sheet, "", &rows);
    if let (Some(apart), Some(probe), Some(geometry)) =
        (document.probe_minus_geometry_in_u, document.probe_mt_per_a, document.geometry_mt_per_a)
    {
        let percent = 100.0 * (probe.value.abs() / geometry.value.abs() - 1.0);
        sheet.line(format!(
            "  The probe gives {} % {} than the coil geometry: {} standard uncertainties.",
            print::significant(percent.abs(), 2),
            if percent < 0.0 { "less" } else { "more" },
            print::significant(apart.abs(), 2)
        ));
    }
}

fn probe(sheet: &mut Sheet, document: &FieldDocument) {
    let Some(line) = &document.line_fit else { return };
    let [[intercept, _], [_, slope]] = line.covariance;
    let from = if line.from_scatter { "from its own scatter" } else { "stated noise" };
    block(
        sheet,
        &format!("Line through {} readings of the probe at the centre ({from})", document.line.len()),
        &[
            row("slope", print::short(line.slope_mt_per_a, slope.max(0.0).sqrt()), "mT/A"),
            row(
                "intercept",
                print::short(1e3 * line.intercept_mt, 1e3 * intercept.max(0.0).sqrt()),
                "µT  (background and zero offset of the probe)",
            ),
            row("scatter", print::significant(1e3 * line.scatter_mt, 2), "µT"),
        ],
    );
}

fn at_zero(sheet: &mut Sheet, document: &FieldDocument) {
    let micro = |q: &Q| bare(&q.times(1e3));
    let [x, y, z] = &document.background_mt;
    let mut rows = vec![
        row("background along x", micro(x), "µT"),
        row("background along y", micro(y), "µT"),
        row("background along z", micro(z), "µT"),
    ];
    if let Some(zero) = &document.probe_zero_mt {
        rows.push(row("zero offset of the probe", micro(zero), "µT"));
    }
    block(sheet, "With the coils off", &rows);
}

fn map(sheet: &mut Sheet, document: &FieldDocument) {
    let Some(fit) = &document.map_fit else { return };
    let off = fit.readings.iter().filter(|reading| reading.at_mm.iter().any(|x| x.abs() > 1.0)).count();
    let pair = |name: &str, fitted: &Option<Q>, stated: &Option<Q>| -> Option<Row> {
        let stated = stated.as_ref()?;
        let after = format!("mm  (stated {})", bare(stated));
        Some(match fitted {
            Some(fitted) => row(name, bare(fitted), &after),
            None => row(name, "–".to_owned(), &format!("{after}; the map does not fix it")),
        })
    };
    let rows: Vec<Row> = [
        pair("mean radius", &fit.effective_radius_mm, &fit.stated_radius_mm),
        pair("separation", &fit.effective_separation_mm, &fit.stated_separation_mm),
        fit.field_per_ampere_mt_per_a.as_ref().map(|q| row("coil constant", bare(q), "mT/A")),
    ]
    .into_iter()
    .flatten()
    .collect();
    block(sheet, &format!("Shape of the map, {off} readings away from the centre"), &rows);
    let freedom = fit.degrees_of_freedom.max(1) as f64;
    sheet.line(format!(
        "  The readings scatter about the model {} times as much as their noise.",
        print::significant((fit.chi_squared / freedom).sqrt(), 2)
    ));
}

fn uniformity(sheet: &mut Sheet, document: &FieldDocument) {
    let Some(over) = &document.uniformity else { return };
    let basis = match over.basis.as_str() {
        "ratings" => "as ratings and glass allow a particle of the accepted mass",
        "readings" => "as the readings make them with the accepted mass",
        _ => "of 0.15 to 0.45 coil radii, for want of ratings and readings",
    };
    sheet.gap();
    sheet.line("Field along the ring relative to the centre");
    sheet.line(format!("  (rings {basis})"));
    let mut rows = vec![["ring mm", "mean %", "largest %"].map(str::to_owned).to_vec()];
    for ring in over.rings.iter().step_by(2) {
        rows.push(vec![
            print::fixed(ring.ring_diameter_mm, 0),
            print::fixed(ring.mean_deviation_percent, -2),
            print::fixed(ring.largest_deviation_percent, -2),
        ]);
    }
    sheet.table(&rows);
}

fn points(sheet: &mut Sheet, document: &FieldDocument) {
    if document.points.is_empty() {
        return;
    }
    sheet.gap();
    sheet.line(format!("Flux density at {} A", document.current_a));
    let mut rows = vec![["at x, y, z mm", "Bx mT", "By mT", "Bz mT"].map(str::to_owned).to_vec()];
    for point in &document.points {
        let [x, y, z] = point.at_mm;
        let [bx, by, bz] = point.flux_density_mt.map(|b| print::fixed(b, -4));
        rows.push(vec![format!("{x}, {y}, {z}").replace('-', "−"), bx, by, bz]);
    }
    sheet.table(&rows);
}
