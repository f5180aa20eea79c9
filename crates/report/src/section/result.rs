//! The result in large figures, with the sentence that compares it.

use arcmass_lab::document::{ReductionDocument, probability, verdict};
use maud::{Markup, html};

use crate::input::ReportInput;
use crate::table::{self, Row, numbers, words};
use crate::words::{apart, interval_95, percent, sentence, short, symbol, told};

/// Mass, interval, comparison, and what must not be overlooked.
pub(crate) fn body(input: &ReportInput<'_>) -> Markup {
    let reduction = input.reduction;
    let mass = &reduction.mass_kg;
    let reference = &reduction.reference;
    let relative = 100.0 * mass.standard_uncertainty / mass.value;
    html! {
        div.result {
            p.large { span { (symbol("m")) " = " (short(mass)) " kg" } }
            p { "The digits in brackets are the standard uncertainty of the last digits, " (percent(relative)) " %. Given the stated inputs, the mass lies in " span.unit { (interval_95(mass)) " kg" } " with 95 % probability." }
            p {
                "It " b { (verdict(reference.difference_in_u)) } " the accepted value, " span.unit { (short(&reference.mass_kg)) " kg" }
                " (" (reference.source) "): it lies " (apart(reference.difference_in_u)) " it, where " (symbol("u")) " is the standard uncertainty of the difference."
            }
            p {
                "Specific charge: " span.unit { (symbol("e")) "/" (symbol("m")) " = " (short(&reduction.charge_to_mass_c_per_kg)) " C/kg" } "."
            }
        }
        (beside(input))
        p {
            (counted(input)) " The textbook’s formula on the readings as read gives "
            span.unit { (textbook(input)) " kg" } " in the mean, with no correction at all."
            @if let Some(widened) = &reduction.mass_widened_kg {
                " With everything as stated in the bench file the model gives " span.unit { (short(&reduction.mass_as_stated_kg)) " kg" }
                ", with the likeliest alternative left free " span.unit { (short(widened)) " kg" } "."
            }
        }
        (mixture(reduction))
    }
}

/// Which models the result is made of, with what each gives alone.
fn mixture(reduction: &ReductionDocument) -> Markup {
    let columns =
        [words("model"), numbers(html! { "posterior probability" }), numbers(html! { "mass if it holds" })];
    let rows: Vec<Row> = reduction
        .mixture
        .told()
        .map(|model| {
            Row::new(vec![
                html! { (model.name) },
                html! { (probability(model.weight)) },
                html! { @match &model.mass_kg { Some(mass) => { (short(mass)) " kg" } None => "–" } },
            ])
        })
        .collect();
    html! {
        p { (sentence(&reduction.mixture.sentence())) " Every table and figure here is that mixture’s." }
        @if rows.len() > 1 { (table::table("Models of the mixture", &columns, &rows)) }
    }
}

/// The mean of the textbook's masses, to a digit beyond the result's uncertainty.
fn textbook(input: &ReportInput<'_>) -> String {
    arcmass_quantity::print::significant(input.reduction.textbook_mean_mass_kg, 4)
}

fn counted(input: &ReportInput<'_>) -> String {
    let runs = &input.reduction.runs;
    let struck = runs.iter().filter(|run| run.struck).count();
    let counting = runs.len() - struck;
    let plural = if counting == 1 { "run counts" } else { "runs count" };
    let rest = if struck > 0 { format!(", {struck} excluded") } else { String::new() };
    format!("{counting} {plural}{rest}.")
}

/// What a reader of the result alone has to know: an unchecked scale, and how many caveats follow.
fn beside(input: &ReportInput<'_>) -> Markup {
    let caveats = &input.reduction.caveats;
    let findings = &input.reduction.findings;
    let count = super::open::gathered(input).len();
    html! {
        @if let Some(caveat) = caveats.iter().find(|caveat| caveat.code == "scale-unchecked") {
            div.mark { p { b { "Scale unchecked" } ". " (told(&caveat.sentence, input.field_unit)) " " (told(&caveat.remedy, input.field_unit)) } }
        }
        @if let Some(finding) = findings.first() {
            div.mark { p { b { "Likeliest finding" } ". " (told(&finding.sentence, input.field_unit)) " " a href="#findings" { "All findings" } "." } }
        }
        @if count > 0 {
            p { (count) @if count == 1 { " caveat stands" } @else { " caveats stand" } " under " a href="#caveats" { "What was not corrected" } "." }
        }
    }
}
