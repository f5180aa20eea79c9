//! The field: the probe's line, and what each way says of the field per ampere.

use arcmass_lab::document::{FieldDocument, Q};
use maud::{Markup, html};

use crate::chart;
use crate::input::ReportInput;
use crate::table::{self, Row, numbers, words};
use crate::words::{apart, percent, short, symbol, verdict};

/// Figure, table and sentences.
pub(crate) fn body(input: &ReportInput<'_>) -> Markup {
    let figure = input.field.and_then(chart::field_line);
    html! {
        @if let Some(figure) = figure {
            (table::figure(&figure, html! { "Flux density at the centre against the coil current, as both meters read, with the line fitted; below, reading minus line." }))
        }
        (ways(input))
        (sentences(input))
        @if let Some(field) = input.field { (surroundings(field)) }
    }
}

fn ways(input: &ReportInput<'_>) -> Markup {
    let reduction = input.reduction;
    let field = input.field;
    let in_use = Some(reduction.field_per_ampere_mt_per_a);
    let ways: [(&str, Option<Q>); 5] = [
        ("coils’ sizes alone", reduction.geometry_mt_per_a),
        ("probe’s line alone", reduction.probe_mt_per_a),
        ("stated in the bench file", field.and_then(|field| field.stated_mt_per_a)),
        ("current balance alone", field.and_then(|field| field.balance_mt_per_a)),
        ("in use: joint fit with the rings", in_use),
    ];
    let rows: Vec<Row> = ways
        .iter()
        .filter_map(|(name, q)| q.map(|q| Row::new(vec![html! { (name) }, html! { (short(&q)) " mT/A" }])))
        .collect();
    table::table("Field per ampere at the centre", &[words("way"), numbers(html! { "value" })], &rows)
}

fn sentences(input: &ReportInput<'_>) -> Markup {
    let reduction = input.reduction;
    html! {
        @if let Some(difference) = reduction.probe_minus_geometry_in_u {
            p { "The probe’s line lies " (apart(difference)) " what the coils’ sizes give: probe " (verdict(difference)) " geometry." }
        } @else {
            p { "Only one way gives the field per ampere, so nothing checks it from outside." }
        }
        @if let Some(intercept) = &reduction.intercept_mt {
            p { "At zero current the line reads " span.unit { (short(&intercept.times(1e3))) " µT" } ": the background along the axis together with the probe’s own zero. Only a reversed probe or a stated zero tells them apart." }
        }
    }
}

fn surroundings(field: &FieldDocument) -> Markup {
    let [x, y, z] = field.background_mt.map(|q| short(&q.times(1e3)));
    html! {
        p { "Background as the field’s fit holds it: " (symbol("B")) " = (" (x) ", " (y) ", " (z) ") µT along x, y, z." }
        @if let Some(uniformity) = &field.uniformity {
            p {
                "Around a ring of " (crate::words::fixed(uniformity.ring_diameter_mm, 0)) " mm diameter the coils’ field differs from the centre’s by "
                (percent(uniformity.mean_deviation_percent)) " % in the mean and by " (percent(uniformity.largest_deviation_percent)) " % at most."
            }
        }
    }
}
