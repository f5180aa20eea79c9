//! `arcmass combine`: several notebooks to one mass, and each bench's history.

use arcmass_lab::combine::document::{CombinationDocument, ControlChart, Member};
use arcmass_lab::combine::{Reduced, combine};
use arcmass_lab::reduce::AcceptedMass;
use arcmass_notebook::Notebook;
use arcmass_quantity::print;

use crate::arguments::{Arguments, CombineArguments};
use crate::commands::rings;
use crate::ending::Ending;
use crate::figure_files::FigureFile;
use crate::show::{self, Sheet, bare, capital, with_unit};

pub(crate) fn run(asked: &CombineArguments, arguments: &Arguments) -> Result<(), Ending> {
    let file = FigureFile::asked(asked.to.as_deref())?;
    let mut reduced = Vec::new();
    for folder in &asked.notebooks {
        let notebook = Notebook::open(folder)?;
        let reduction = rings::reduce_notebook(folder, arguments)?;
        reduced.push(Reduced { folder: folder.display().to_string(), notebook, reduction });
    }
    let document = combine(&reduced, &AcceptedMass::default(), &arguments.desk())?;
    if let Some(file) = file {
        file.write(&arcmass_report::history(&document))?;
    }
    if arguments.json {
        return show::json(&document, &document.caveats);
    }
    let mut sheet = Sheet::default();
    print_combination(&mut sheet, &document);
    sheet.out()
}

fn print_combination(sheet: &mut Sheet, document: &CombinationDocument) {
    sheet.line(format!("Mass of the particle   {}", with_unit(&document.mass_kg, "kg")));
    let [low, high] = document.mass_kg.interval_95;
    sheet.line(format!("  95 % interval        {} kg", print::interval(low, high)));
    for sentence in &document.sentences {
        sheet.paragraph("  ", &format!("{}.", capital(sentence)));
    }
    sheet.gap();
    sheet.table(&rows(&document.notebooks));
    if !document.shared_causes.is_empty() {
        sheet.gap();
        sheet.line("Shared, and so not averaged away:");
        for cause in document.shared_causes.iter().filter(|cause| cause.standard_uncertainty_percent >= 0.005)
        {
            sheet.line(format!(
                "  {:>5} %  {} ({} notebooks)",
                print::fixed(cause.standard_uncertainty_percent, -2),
                cause.cause,
                cause.notebooks.len()
            ));
        }
    }
    for chart in &document.charts {
        sheet.gap();
        history(sheet, chart);
    }
    sheet.gap();
    sheet.paragraph("  Rule: ", &format!("{}.", document.rule));
    sheet.notes(&[], &document.caveats);
}

fn rows(members: &[Member]) -> Vec<Vec<String>> {
    let heading = ["notebook", "bench", "m/10⁻³¹ kg", "own %", "shared %", "weight", "from mean"];
    let mut rows = vec![heading.map(str::to_owned).to_vec()];
    rows.extend(members.iter().map(|member| {
        vec![
            format!("● {}", member.folder),
            member.bench.clone(),
            bare(&member.mass_kg.times(1e31)),
            print::fixed(member.own_percent, -2),
            print::fixed(member.shared_percent, -2),
            print::fixed(member.weight, -2),
            format!("{} u", print::fixed(member.deviation_in_u, -1)),
        ]
    }));
    rows
}

fn history(sheet: &mut Sheet, chart: &ControlChart) {
    let unit = match chart.unit.as_str() {
        "1e-31 kg" => "10⁻³¹ kg",
        "uT" => "µT",
        other => other,
    };
    sheet.line(format!("{}, {} in {unit}:", chart.bench, chart.quantity));
    let mut rows = vec![["notebook", "taken", "value", "others say", "state"].map(str::to_owned).to_vec()];
    for point in &chart.points {
        let mark = if point.state == "in" { "●" } else { "▲" };
        let [low, high] = point.warning;
        rows.push(vec![
            format!("{mark} {}", point.folder),
            point.taken_at.clone().unwrap_or_else(|| "–".to_owned()),
            print::short(point.value, point.standard_uncertainty),
            print::interval(low, high),
            point.state.clone(),
        ]);
    }
    sheet.table(&rows);
}
