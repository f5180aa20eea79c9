//! From textbook to full model: every effect with its size, and the budget.

use arcmass_lab::document::{BudgetLine, EffectEntry, ReductionDocument};
use arcmass_lab::field_unit::FieldUnit;
use maud::{Markup, html};

use crate::chart;
use crate::table::{self, Row, numbers, words};
use crate::words::{percent, short, short_in, signed, unit};

/// The effects, largest shift of the mass first.
pub(crate) fn body(reduction: &ReductionDocument, unit: &FieldUnit) -> Markup {
    let mut effects: Vec<&EffectEntry> = reduction.effects.iter().collect();
    // those left out together have one shift and so stand together
    effects.sort_by(|a, b| b.shift_of_mass_percent.abs().total_cmp(&a.shift_of_mass_percent.abs()));
    let columns = [
        words("effect"),
        numbers(html! { "prior" }),
        numbers(html! { "posterior" }),
        numbers(html! { "shift of the mass" }),
        words("separable from m"),
    ];
    let rows: Vec<Row> = effects.into_iter().map(|effect| row(effect, unit)).collect();
    html! {
        p {
            "The textbook’s formula gives " span.unit { (arcmass_quantity::print::significant(reduction.textbook_mean_mass_kg, 4)) " kg" }
            " in the mean of the runs, the full model " span.unit { (short(&reduction.mass_kg)) " kg" }
            ". The difference is what the model includes and the formula does not. The shift is the mass of the fit minus that of the same fit with the effect left out and everything else fitted anew; effects that only matter together are left out together."
        }
        (table::table("Effects, the largest shift of the mass first", &columns, &rows))
    }
}

fn row(effect: &EffectEntry, told: &FieldUnit) -> Row {
    let (factor, name) = told.told(&effect.unit);
    let unit = unit(&name);
    let space = if unit.is_empty() || unit == "°" { "" } else { " " };
    let shift = effect.shift_of_mass_percent;
    let place = if shift.abs() >= 1.0 { -1 } else { -2 };
    Row::new(vec![
        html! {
            (effect.name) " " code.quiet { (effect.code) }
            @if !effect.together_with.is_empty() { br; span.quiet { "together with " (effect.together_with.join(", ")) } }
        },
        html! { @match &effect.prior { Some(prior) => { (short_in(prior, factor)) (space) (unit) }, None => "–" } },
        html! { (short_in(&effect.posterior, factor)) (space) (unit) },
        html! { (signed(shift, place)) " %" },
        html! { (if effect.separable { "yes" } else { "no" }) },
    ])
}

/// Which input gives how much of the uncertainty.
pub(crate) fn budget(reduction: &ReductionDocument) -> Markup {
    let columns = [
        words("input"),
        numbers(html! { "contribution to the standard uncertainty of the mass" }),
        numbers(html! { "share of the variance" }),
    ];
    let (shown, small): (Vec<&BudgetLine>, Vec<&BudgetLine>) =
        reduction.budget.iter().partition(|line| line.share >= 0.0005);
    let rows: Vec<Row> = shown
        .into_iter()
        .map(|line| {
            Row::new(vec![
                html! { (line.input) },
                html! { (percent(line.standard_uncertainty_percent)) " %" },
                html! { (percent(100.0 * line.share)) " %" },
            ])
        })
        .collect();
    let caption = html! { "Shares of the inputs in the variance of the mass: what was measured here, and what the bench file states or leaves open." };
    let names: Vec<&str> = small.iter().map(|line| line.input.as_str()).collect();
    html! {
        @if let Some(figure) = chart::budget(reduction) { (table::figure(&figure, caption)) }
        @if let Some(first) = reduction.budget.first() {
            p { "The largest part is the " (first.input) "." }
        }
        (table::table("The same in numbers", &columns, &rows))
        @if !names.is_empty() { p.quiet { "Each below 0.05 % of the variance: " (names.join(", ")) "." } }
    }
}
