//! `arcmass reduce`: everything measured becomes the mass.

use arcmass_lab::document::{Q, ReductionDocument, RunEntry, probability};
use arcmass_quantity::print;

use crate::arguments::{Arguments, NotebookArguments};
use crate::commands::rings;
use crate::ending::Ending;
use crate::show::{self, Sheet, bare, capital, with_unit};

/// Lines of the budget that are shown; the rest is in the document.
const BUDGET_SHOWN: usize = 8;

pub(crate) fn run(asked: &NotebookArguments, arguments: &Arguments) -> Result<(), Ending> {
    let reduction = rings::reduce_notebook(&asked.notebook, arguments)?;
    if arguments.json {
        return show::json(&reduction, &reduction.caveats);
    }
    let mut sheet = Sheet::default();
    print_reduction(&mut sheet, &reduction);
    sheet.out()
}

/// The whole result as text: mass, comparison, runs, budget, law, findings, caveats.
pub(crate) fn print_reduction(sheet: &mut Sheet, document: &ReductionDocument) {
    result(sheet, document);
    sheet.gap();
    runs(sheet, &document.runs);
    sheet.gap();
    field(sheet, document);
    sheet.gap();
    budget(sheet, document);
    law(sheet, document);
    sheet.notes(&document.findings, &document.caveats);
}

fn result(sheet: &mut Sheet, document: &ReductionDocument) {
    let mass = &document.mass_kg;
    sheet.line(format!("Mass of the particle   {}", with_unit(mass, "kg")));
    let [low, high] = mass.interval_95;
    sheet.line(format!("  95 % interval        {} kg, given the stated inputs", print::interval(low, high)));
    sheet.line(format!("  specific charge e/m  {}", with_unit(&document.charge_to_mass_c_per_kg, "C/kg")));
    let textbook = document.textbook_mean_mass_kg;
    let percent = 100.0 * (textbook / mass.value - 1.0);
    sheet.line(format!(
        "  textbook formula     {} kg ({}{} % against the full model)",
        print::significant(textbook, 4),
        if percent > 0.0 { "+" } else { "" },
        print::fixed(percent, -1)
    ));
    let reference = &document.reference;
    let z = reference.difference_in_u;
    sheet.paragraph(
        "  ",
        &format!(
            "This {} the accepted {} kg ({}): {} standard uncertainties {}.",
            reference.verdict(),
            print::significant(reference.mass_kg.value, 5),
            short_source(&reference.source),
            print::fixed(z.abs(), -1),
            if z > 0.0 { "above" } else { "below" }
        ),
    );
    sheet.paragraph("  ", &format!("{}.", capital(&document.mixture.sentence())));
    for model in document.mixture.told() {
        if let Some(mass) = &model.mass_kg {
            sheet.line(format!(
                "    {} {}: {}",
                probability(model.weight),
                model.name,
                with_unit(mass, "kg")
            ));
        }
    }
}

/// "CODATA 2022" from the long title, where it is that one.
fn short_source(source: &str) -> &str {
    if source.starts_with("CODATA") && source.contains("2022") { "CODATA 2022" } else { source }
}

/// Every row can be checked by hand: p = e B d/2, T = p²/2m = m v²/2, and T/e is the voltage with the gun's offset.
fn runs(sheet: &mut Sheet, runs: &[RunEntry]) {
    let heading = ["run", "V/V", "T/eV", "I/A", "B/mT", "d/mm", "v/(10⁶ m/s)", "m/10⁻³¹ kg"];
    let mut rows = vec![heading.map(str::to_owned).to_vec()];
    for run in runs {
        let name = match (run.r#struck, run.set_aside) {
            (true, _) => format!("○ {} (excluded)", run.run),
            (false, true) => format!("○ {} (set aside)", run.run),
            (false, false) => format!("● {}", run.run),
        };
        rows.push(vec![
            name,
            bare(&run.voltage_v),
            run.accelerating_voltage_v.as_ref().map_or_else(|| "–".to_owned(), bare),
            bare(&run.current_a),
            bare(&run.flux_density_mt),
            bare(&run.ring_diameter_mm),
            bare(&run.speed_m_per_s.times(1e-6)),
            bare(&run.mass_kg.times(1e31)),
        ]);
    }
    sheet.table(&rows);
    sheet.line("  T = e (V + V₀), less what the gas takes; d = 2 p/(e B); m = p²/2T − T/2c²");
}

fn field(sheet: &mut Sheet, document: &ReductionDocument) {
    sheet.line(format!("Coil constant k    {}", with_unit(&document.field_per_ampere_mt_per_a, "mT/A")));
    let mut ways = Vec::new();
    if let Some(q) = &document.geometry_mt_per_a {
        ways.push(format!("geometry {}", bare(q)));
    }
    if let Some(q) = &document.probe_mt_per_a {
        ways.push(format!("probe {}", bare(q)));
    }
    if let Some(z) = document.probe_minus_geometry_in_u {
        ways.push(format!("{} u apart", print::fixed(z.abs(), -1)));
    }
    if !ways.is_empty() {
        sheet.line(format!("                   {}", ways.join(", ")));
    }
}

fn budget(sheet: &mut Sheet, document: &ReductionDocument) {
    sheet.line("Uncertainty budget of the mass:");
    let mut rows = vec![["input", "u/%", "share"].map(str::to_owned).to_vec()];
    for line in document.budget.iter().take(BUDGET_SHOWN) {
        rows.push(vec![
            line.input.clone(),
            print::fixed(line.standard_uncertainty_percent, -2),
            format!("{} %", print::fixed(100.0 * line.share, 0)),
        ]);
    }
    let rest: f64 = document.budget.iter().skip(BUDGET_SHOWN).map(|line| line.share).sum();
    if rest > 0.0 {
        rows.push(vec![
            "all others".to_owned(),
            String::new(),
            format!("{} %", print::fixed(100.0 * rest, 0)),
        ]);
    }
    sheet.table(&rows);
}

fn law(sheet: &mut Sheet, document: &ReductionDocument) {
    let agreement = &document.agreement;
    if agreement.degrees_of_freedom > 0 {
        sheet.gap();
        sheet.paragraph(
            "",
            &format!("Do the runs agree?  {}: {}.", agreement.numbers(), agreement.sentence()),
        );
    }
    let exponents = |name: &str, pair: &Option<arcmass_lab::document::Exponents>| -> Option<String> {
        let pair = pair.as_ref()?;
        let of = |q: &Q| bare(q);
        Some(format!("  {name:<12}V^{}  I^{}", of(&pair.voltage_exponent), of(&pair.current_exponent)))
    };
    let lines = [exponents("as read", &document.law.raw), exponents("corrected", &document.law.corrected)];
    if lines.iter().any(Option::is_some) {
        sheet.line("Does r follow √V / I?  Exponents ½ and −1 by the law:");
    }
    for line in lines.into_iter().flatten() {
        sheet.line(line);
    }
}
