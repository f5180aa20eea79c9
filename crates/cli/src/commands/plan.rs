//! `arcmass plan`: which settings to take next, as a card for the dark room.

use arcmass_lab::photograph;
use arcmass_lab::plan::document::{PlanDocument, PlannedSetting};
use arcmass_lab::plan::{PlanQuestion, plan};
use arcmass_notebook::Notebook;
use arcmass_quantity::print;

use crate::arguments::{Arguments, PlanArguments};
use crate::ending::Ending;
use crate::figure_files::FigureFile;
use crate::show::{self, Sheet};

/// Lines of the budget that stand on the card.
const BUDGET_SHOWN: usize = 5;

pub(crate) fn run(asked: &PlanArguments, arguments: &Arguments) -> Result<(), Ending> {
    let file = FigureFile::asked(asked.to.as_deref())?;
    let notebook = Notebook::open(&asked.notebook)?;
    let desk = arguments.desk();
    let rings = photograph::kept(&notebook, &desk);
    let document = plan(&notebook, rings.as_ref(), PlanQuestion { runs: asked.runs }, &desk)?;
    if let Some(file) = file {
        file.write(&arcmass_report::window(&document))?;
    }
    if arguments.json {
        return show::json(&document, &document.caveats);
    }
    let mut sheet = Sheet::default();
    card(&mut sheet, &notebook.bench.name, &document);
    sheet.out()
}

fn card(sheet: &mut Sheet, bench: &str, document: &PlanDocument) {
    sheet.line(format!("{bench}: the next {} runs", document.settings.len()));
    sheet.gap();
    for caution in &document.cautions {
        sheet.paragraph("  ▲ ", caution);
    }
    sheet.gap();
    limits(sheet, document);
    settings(sheet, document);
    sheet.gap();
    outlook(sheet, document);
    sheet.notes(&[], &document.caveats);
}

fn limits(sheet: &mut Sheet, document: &PlanDocument) {
    let window = &document.window;
    sheet.line(format!(
        "Never above {} V and {} A: the ratings. Read at most {} V and {} A.",
        window.voltage_limit_v,
        window.current_limit_a,
        print::fixed(window.highest_voltage_reading_v.floor(), 0),
        print::fixed((100.0 * window.highest_current_reading_a).floor() / 100.0, -2),
    ));
}

/// The table, broken where leads or bench change; what a person writes down stands beside it.
fn settings(sheet: &mut Sheet, document: &PlanDocument) {
    let mut rows = heading();
    let mut stands = None;
    for setting in &document.settings {
        let change = document.changes.iter().find(|change| change.before == setting.order);
        let now = (setting.field_sense.clone(), setting.bench_turned_deg, setting.gun_tilt_deg);
        if change.is_some() || stands.as_ref() != Some(&now) {
            if rows.len() > 1 {
                sheet.table(&rows);
                rows = heading();
            }
            sheet.gap();
            if let Some(change) = change {
                sheet.line(format!("Before run {}:", change.before));
                for (number, step) in (1..).zip(&change.steps) {
                    sheet.paragraph(&format!("  {number}. "), step);
                }
                sheet.gap();
            }
            sheet.line(stand(setting));
            stands = Some(now);
        }
        rows.push(row(setting));
    }
    sheet.table(&rows);
    sheet.paragraph(
        "  ",
        "A diameter outside the go limits: stop, voltage to 0, and find the cause before the next run.",
    );
}

fn heading() -> Vec<Vec<String>> {
    vec![
        ["run", "V", "A", "expect mm", "go from", "to", "V read", "A read", "photo"]
            .map(str::to_owned)
            .to_vec(),
    ]
}

fn row(setting: &PlannedSetting) -> Vec<String> {
    let blank = || "......".to_owned();
    vec![
        format!("{}", setting.order),
        print::fixed(setting.voltage_v, if setting.voltage_v.fract() == 0.0 { 0 } else { -1 }),
        print::fixed(setting.current_a, -2),
        print::fixed(setting.expected_diameter_mm.value, -1),
        print::fixed(setting.go_from_mm, -1),
        print::fixed(setting.go_to_mm, -1),
        blank(),
        blank(),
        blank(),
    ]
}

fn stand(setting: &PlannedSetting) -> String {
    let leads =
        if setting.field_sense == "-" { "leads reversed (sense -)" } else { "leads as wired (sense +)" };
    let bench = if setting.bench_turned_deg == 0.0 {
        "bench not rotated".to_owned()
    } else {
        format!("bench rotated by {}°", setting.bench_turned_deg)
    };
    let tube = if setting.gun_tilt_deg == 0.0 {
        "tube not rotated (tilt 0)".to_owned()
    } else {
        format!("tube rotated by {}°", setting.gun_tilt_deg)
    };
    format!("With {leads}, {bench}, {tube}:")
}

fn outlook(sheet: &mut Sheet, document: &PlanDocument) {
    let percent = |value: f64| format!("{} %", print::fixed(value, -2));
    let expected = &document.expected;
    if let Some(now) = expected.now_percent {
        sheet.line(format!(
            "Mass now                       u = {} (from {} runs)",
            percent(now),
            document.runs_taken
        ));
    }
    sheet.line(format!("Mass with these runs           u = {}", percent(expected.as_stated_percent)));
    sheet.line(format!(
        "  with all offsets free        u = {}",
        percent(expected.if_offsets_are_free_percent)
    ));
    sheet.line(format!(
        "  however many runs            u = {}",
        percent(document.floor.standard_uncertainty_percent)
    ));
    sheet.gap();
    sheet.line("Expected uncertainty budget:");
    for line in document.budget.iter().take(BUDGET_SHOWN) {
        sheet.line(format!(
            "  {:>7}  {:>3.0} %  {}",
            percent(line.standard_uncertainty_percent),
            100.0 * line.share,
            line.input
        ));
    }
    sheet.gap();
    sheet.line("Separable from m (●) with these runs, standard uncertainty before and after:");
    for one in document.separates.iter().filter(|one| one.is_wide) {
        let mark = if one.separable { "●" } else { "○" };
        let unit = if one.unit == "uT" { "µT" } else { &one.unit };
        sheet.line(format!(
            "  {mark} {}: u = {} {unit} becomes {} {unit}",
            one.name,
            print::significant(one.before, 2),
            print::significant(one.after, 2)
        ));
    }
    if document.would_lower.is_empty() {
        return;
    }
    sheet.gap();
    sheet.line("What would help more than further runs:");
    for remedy in &document.would_lower {
        sheet.paragraph(
            "  ○ ",
            &format!(
                "{}: u = {} with these runs, {} at best",
                remedy.what,
                percent(remedy.expected_percent),
                percent(remedy.floor_percent)
            ),
        );
    }
}
