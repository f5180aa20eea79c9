//! The law tested: diameters on a line through the origin, exponents, agreement of the runs.

use arcmass_lab::document::{Exponents, Q, ReductionDocument};
use arcmass_lab::field_unit::FieldUnit;
use maud::{Markup, html};

use crate::chart;
use crate::table::{self, Row, numbers, words};
use crate::words::{sentence, short, signed, symbol};

/// Figure and exponents.
pub(crate) fn body(reduction: &ReductionDocument, unit: &FieldUnit) -> Markup {
    let caption = html! {
        "Diameters against √(" (symbol("V")) " + " (crate::words::indexed("V", "0")) ")/" (symbol("B"))
        ". One mass for all runs puts them on a line through the origin. Below: measured minus modelled diameter; bars are the uncertainty of the measured diameter alone."
    };
    html! {
        (table::figure(&chart::law(reduction, unit), caption))
        (exponents(reduction))
    }
}

fn exponents(reduction: &ReductionDocument) -> Markup {
    let both = [("as read", &reduction.law.raw), ("corrected", &reduction.law.corrected)];
    let rows: Vec<Row> =
        both.iter().filter_map(|(name, found)| found.as_ref().map(|found| row(name, found))).collect();
    let (a, b) = (symbol("a"), symbol("b"));
    html! {
        @if rows.is_empty() {
            p { "The exponents can’t be determined: all runs share one voltage or one current. Take runs at other voltages and currents to test the law." }
        } @else {
            p { "Fitted to the runs, the radius goes as " (symbol("V")) sup { (a) } " " (symbol("I")) sup { (b) } "; the law says " (a) " = ½ and " (b) " = −1." }
            (table::table(
                "Exponents of the law, and their distance from ½ and −1 in standard uncertainties",
                &[words("readings"), numbers(html! { (a) }), numbers(html! { "from ½" }), numbers(html! { (b) }), numbers(html! { "from −1" })],
                &rows,
            ))
        }
    }
}

fn row(name: &str, found: &Exponents) -> Row {
    let away = |q: &Q, law: f64| {
        let distance = (q.value - law) / q.standard_uncertainty;
        html! { (signed(distance, -1)) " " (symbol("u")) }
    };
    Row::new(vec![
        html! { (name) },
        html! { (short(&found.voltage_exponent)) },
        away(&found.voltage_exponent, 0.5),
        html! { (short(&found.current_exponent)) },
        away(&found.current_exponent, -1.0),
    ])
}

/// χ², p, Birge ratio in words.
pub(crate) fn agreement(reduction: &ReductionDocument) -> Markup {
    let agreement = &reduction.agreement;
    html! {
        p { (agreement.numbers()) "." }
        p { (sentence(&agreement.sentence())) }
    }
}
