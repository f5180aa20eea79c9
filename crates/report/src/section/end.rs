//! The comparison, the sources, and what went in.

use arcmass_lab::document::{Q, ReductionDocument, verdict};
use arcmass_quantity::constants::{ELECTRON_MASS, ELEMENTARY_CHARGE, SPEED_OF_LIGHT, VACUUM_PERMEABILITY};
use arcmass_quantity::{Constant, print};
use maud::{Markup, html};

use crate::input::ReportInput;
use crate::table::{self, Row, numbers, words};
use crate::words::{apart, fixed, short_in, signed};

/// Each answer beside the accepted value.
pub(crate) fn comparison(input: &ReportInput<'_>) -> Markup {
    let reduction = input.reduction;
    let accepted = &reduction.reference.mass_kg;
    let percent = |value: f64| signed(100.0 * (value / accepted.value - 1.0), -1);
    let line = |name: &str, q: &Q| {
        Row::new(vec![
            html! { (name) },
            html! { (short_in(q, 1e31)) " × 10⁻³¹ kg" },
            html! { (percent(q.value)) " %" },
        ])
    };
    let mut rows = vec![line("this bench, mixture of models", &reduction.mass_kg)];
    if let Some(widened) = &reduction.mass_widened_kg {
        rows.push(line("everything as stated", &reduction.mass_as_stated_kg));
        rows.push(line("likeliest alternative left free", widened));
    }
    rows.push(Row::new(vec![
        html! { "textbook’s formula, mean of the runs" },
        html! { (fixed(1e31 * reduction.textbook_mean_mass_kg, -2)) " × 10⁻³¹ kg" },
        html! { (percent(reduction.textbook_mean_mass_kg)) " %" },
    ]));
    rows.push(Row::new(vec![
        html! { "accepted (" (reduction.reference.source) ")" },
        html! { (short_in(accepted, 1e31)) " × 10⁻³¹ kg" },
        html! { "–" },
    ]));
    let difference = reduction.reference.difference_in_u;
    html! {
        p { "The result lies " (apart(difference)) " the accepted value and " (verdict(difference)) " it. No part of the fit used the accepted value; it enters only where a finished result is compared with it." }
        (table::table("Masses side by side", &[words("from"), numbers(html! { "mass" }), numbers(html! { "from the accepted" })], &rows))
        p.quiet { "Up to 2 standard uncertainties apart is called agreement, from 3 on disagreement, between them tension." }
    }
}

/// Constants and methods.
pub(crate) fn sources() -> Markup {
    let constants = [ELEMENTARY_CHARGE, ELECTRON_MASS, SPEED_OF_LIGHT, VACUUM_PERMEABILITY];
    let value = |c: &Constant| {
        if c.standard_uncertainty > 0.0 {
            print::short(c.value, c.standard_uncertainty)
        } else {
            exact(c.value)
        }
    };
    let rows: Vec<Row> = constants
        .iter()
        .map(|c| {
            Row::new(vec![
                html! { (c.name) },
                html! { (value(c)) " " (unit(c.unit)) @if c.standard_uncertainty <= 0.0 { " (exact)" } },
                html! { (c.source) },
            ])
        })
        .collect();
    html! {
        (table::table("Constants", &[words("constant"), numbers(html! { "value" }), words("source")], &rows))
        ul {
            li { "JCGM 100:2008, " cite { "Evaluation of measurement data: Guide to the expression of uncertainty in measurement" } ". Words and symbols of uncertainty, budget." }
            li { "JCGM 101:2008, " cite { "Supplement 1: Propagation of distributions using a Monte Carlo method" } ". Intervals." }
            li { "D. York, N. M. Evensen, M. López Martínez, J. De Basabe Delgado, “Unified equations for the slope, intercept, and standard errors of the best straight line”, " cite { "American Journal of Physics" } " 72 (2004) 367. Line through readings uncertain in both coordinates." }
            li { "R. T. Birge, “The calculation of errors by the method of least squares”, " cite { "Physical Review" } " 40 (1932) 207. Scatter of the runs against their uncertainties." }
        }
    }
}

/// All digits of an exact constant.
fn exact(value: f64) -> String {
    let text = format!("{value:e}");
    match text.split_once('e').and_then(|(digits, power)| Some((digits, power.parse::<i32>().ok()?))) {
        Some((_, power)) if (0..9).contains(&power) => format!("{value}"),
        Some((digits, power)) => format!("{digits} × 10{}", print::superscript(power)),
        None => text,
    }
}

/// `m s^-1` as `m s⁻¹`.
fn unit(text: &str) -> String {
    let mut parts = text.split('^');
    let mut out = parts.next().unwrap_or_default().to_owned();
    for part in parts {
        let end = part.find(|c: char| c != '-' && !c.is_ascii_digit()).unwrap_or(part.len());
        let (power, rest) = part.split_at(end);
        out.push_str(&power.parse::<i32>().map_or_else(|_| format!("^{power}"), print::superscript));
        out.push_str(rest);
    }
    out
}

/// Files with their hashes, version and seed.
pub(crate) fn inputs(reduction: &ReductionDocument) -> Markup {
    let made_by = &reduction.made_by;
    let rows: Vec<Row> = made_by
        .inputs
        .iter()
        .map(|input| {
            Row::new(vec![
                html! { (arcmass_notebook::printable(&input.file)) },
                html! { span.hash { (input.sha256) } },
            ])
        })
        .collect();
    html! {
        p { "Made by arcmass " (made_by.version) " with seed " (made_by.seed) " from the files below. The same files, version and seed give the same numbers again." }
        @if rows.is_empty() { p { "No input is on record." } }
        @else { (table::table("Files and their SHA-256", &[words("file"), words("SHA-256")], &rows)) }
    }
}
