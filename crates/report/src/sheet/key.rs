//! The key: what every run should give, step by step, and the mark that each common slip leaves on it.

use arcmass_lab::document::{ReductionDocument, RunEntry};
use arcmass_lab::field_unit::FieldUnit;
use arcmass_lab::slips::{CONSTANT_SLIPS, ConstantSlip};
use arcmass_lab::steps::{Step, worked};
use arcmass_notebook::{Notebook, Run};
use arcmass_quantity::print;
use maud::{Markup, html};

use crate::marked::marked;
use crate::section::open;
use crate::table::{self, Row, numbers, words};
use crate::words::{plus_minus, short, signed, symbol};

pub(super) fn body(notebook: &Notebook, reduction: &ReductionDocument, unit: &FieldUnit) -> Markup {
    let runs: Vec<(&RunEntry, &Run)> = reduction
        .runs
        .iter()
        .filter(|entry| !entry.struck)
        .filter_map(|entry| Some((entry, reading(notebook, entry)?)))
        .collect();
    html! {
        p { "For the teacher. Groups that do everything right get the textbook’s masses below, not the accepted one: this bench is what it is." }
        h2 { "What to expect" }
        (expected(reduction, &runs, unit))
        p {
            "All runs together, with every correction: " span.unit { (symbol("m")) " = " (plus_minus(&reduction.mass_kg)) " kg" }
            ". Field per ampere in use: " span.unit { (unit.per_ampere(&reduction.field_per_ampere_mt_per_a)) } "."
        }
        h2 { "Why the textbook’s mass is off on this bench" }
        (open::findings(reduction, unit))
        (corrections(reduction))
        h2 { "The slip behind a wrong mass" }
        (slips(reduction))
        h2 { "Each run worked through" }
        @for (entry, run) in &runs {
            @let way = worked(reduction, entry, run, unit);
            section.worked {
                h3 { "Run " (entry.run) }
                (steps("By the textbook’s formula, as a group would do it", &way.textbook))
                (steps("By the full model", &way.full))
            }
        }
        h2 { "Answers to the questions" }
        ol {
            li { "The flux density and the radius enter as squares, so a percent in " (symbol("I")) ", in " (symbol("k")) " or in " (symbol("d")) " is two percent in " (symbol("m")) "; a percent in " (symbol("V")) " is one." }
            @if let Some(first) = reduction.budget.first() { li { "To be measured better first, on this bench: " (first.input) "." } }
            li { "A mass that falls as the voltage rises points to an offset of the gun’s voltage or to electrons slowed by the gas; one that changes with the current, and the other way when the leads are reversed, to a stray field along the axis; one that changes with the ring’s size alone, to the edge that was read or to the field’s fall-off." }
            li { "The speed is a few percent of that of light, so relativity changes the mass by some hundredths of a percent only." }
        }
    }
}

fn reading<'a>(notebook: &'a Notebook, entry: &RunEntry) -> Option<&'a Run> {
    notebook.readings.as_ref()?.runs.iter().find(|run| run.run == entry.run)
}

fn expected(reduction: &ReductionDocument, runs: &[(&RunEntry, &Run)], unit: &FieldUnit) -> Markup {
    let row = |(entry, run): &(&RunEntry, &Run)| {
        let way = worked(reduction, entry, run, unit).textbook;
        let result = |i: usize| way.get(i).map(|step| step.result.clone()).unwrap_or_default();
        Row::new(vec![
            html! { (entry.run) },
            html! { (print::significant(run.mean_voltage_v(), 4)) " V" },
            html! { (print::significant(run.mean_current_a(), 4)) " A" },
            html! { (short(&entry.measured_diameter_mm)) " mm" },
            html! { (result(1)) },
            html! { (result(2)) },
            html! { (result(3)) },
        ])
    };
    let rows: Vec<Row> = runs.iter().map(row).collect();
    let heads = ["*V*", "*I*", "*d*", "*B*", "*m*", "*v*"];
    let columns: Vec<_> =
        std::iter::once(words("run")).chain(heads.map(|head| numbers(marked(head)))).collect();
    table::table("By the textbook’s formula on this bench’s own readings", &columns, &rows)
}

fn slips(reduction: &ReductionDocument) -> Markup {
    let right = reduction.textbook_mean_mass_kg;
    let row = |slip: &ConstantSlip| {
        Row::new(vec![
            html! { (marked(slip.what)) },
            html! { span.unit { "× " (factor(slip.factor_on_mass)) } },
            html! { (print::significant(right * slip.factor_on_mass, 3)) " kg" },
            html! { (slip.look_at) },
        ])
    };
    let rows: Vec<Row> = CONSTANT_SLIPS.iter().map(row).collect();
    html! {
        (table::table(
            "Done to every run alike, with this bench’s mean",
            &[words("slip"), numbers(html! { "on the mass" }), numbers(html! { "a group then finds" }), words("told from others by")],
            &rows,
        ))
        p.quiet { "A group that agrees with the accepted mass to 0.1 % has perhaps put it in: ask for its speed, and how it was found." }
    }
}

/// Whole numbers whole, others to four digits.
fn factor(value: f64) -> String {
    if value.fract() == 0.0 { format!("{value}") } else { print::significant(value, 4) }
}

/// What the model holds and the formula does not, where it matters: 0.2 % of the mass and more.
fn corrections(reduction: &ReductionDocument) -> Markup {
    let mut large: Vec<_> =
        reduction.effects.iter().filter(|effect| effect.shift_of_mass_percent.abs() >= 0.2).collect();
    large.sort_by(|a, b| b.shift_of_mass_percent.abs().total_cmp(&a.shift_of_mass_percent.abs()));
    html! {
        @if !large.is_empty() {
            p { "What the full model corrects and the formula does not, and by how much it moves the mass:" }
            ul { @for effect in large { li { (effect.name) ": " (signed(effect.shift_of_mass_percent, -1)) " %" } } }
        }
    }
}

fn steps(caption: &str, steps: &[Step]) -> Markup {
    let row = |step: &Step| {
        Row::new(vec![
            html! { (step.name) },
            html! { span.unit { (marked(&step.formula)) } },
            html! { (marked(&step.with_numbers)) },
            html! { span.unit { (step.result) } },
        ])
    };
    let rows: Vec<Row> = steps.iter().map(row).collect();
    let columns = [words("step"), words("formula"), words("numbers in"), words("result")];
    table::table(caption, &columns, &rows)
}
