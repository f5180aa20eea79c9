//! The field: the probe's line, and what each way says of the field per ampere.

use arcmass_lab::document::{FieldDocument, Q, verdict};
use arcmass_lab::field_unit::FieldUnit;
use maud::{Markup, html};

use crate::field_figures;
use crate::input::ReportInput;
use crate::table::{self, Row, numbers, words};
use crate::words::{apart, percent, short, told};

/// Figure, table and sentences.
pub(crate) fn body(input: &ReportInput<'_>) -> Markup {
    let unit = input.field_unit;
    let figure = input.field.and_then(field_figures::line).map(|figure| figure.in_field_unit(unit));
    html! {
        @if let Some(figure) = figure {
            (table::figure(&figure, html! { "Flux density at the centre against the coil current, as both meters read, with the line fitted and the line that the coil geometry gives; below, reading minus line with the noise of one reading." }))
        }
        (ways(input))
        @for finding in input.field.iter().flat_map(|field| &field.findings) {
            p { strong { "▲ " (told(&finding.sentence, unit)) } " " (told(&finding.remedy, unit)) }
        }
        (sentences(input))
        @if let Some(field) = input.field { (shape(field, unit)) }
        @if let Some(field) = input.field { (surroundings(field, unit)) }
    }
}

fn ways(input: &ReportInput<'_>) -> Markup {
    let reduction = input.reduction;
    let field = input.field;
    let in_use = Some(reduction.field_per_ampere_mt_per_a);
    let ways: [(&str, Option<Q>); 5] = [
        ("coil geometry alone", reduction.geometry_mt_per_a),
        ("probe’s line alone", reduction.probe_mt_per_a),
        ("stated in the bench file", field.and_then(|field| field.stated_mt_per_a)),
        ("current balance alone", field.and_then(|field| field.balance_mt_per_a)),
        ("in use: joint fit with the rings", in_use),
    ];
    let rows: Vec<Row> = ways
        .iter()
        .filter_map(|(name, q)| {
            q.map(|q| Row::new(vec![html! { (name) }, html! { (input.field_unit.per_ampere(&q)) }]))
        })
        .collect();
    table::table("Coil constant k = B/I at the centre", &[words("way"), numbers(html! { "value" })], &rows)
}

fn sentences(input: &ReportInput<'_>) -> Markup {
    let reduction = input.reduction;
    html! {
        @if let Some(difference) = reduction.probe_minus_geometry_in_u {
            p { "The probe’s line lies " (apart(difference)) " what the coil geometry gives: probe " (verdict(difference)) " geometry." }
        } @else {
            p { "Only one method gives the coil constant, so nothing checks it independently." }
        }
        @if let Some(intercept) = &reduction.intercept_mt {
            p { "At zero current the line reads " span.unit { (input.field_unit.small(intercept)) } ": the background along the axis together with the zero offset of the probe. Only a reversed probe or a stated zero offset separates them." }
        }
    }
}

/// What the probe's map says of the coils' sizes, and the map of the model.
fn shape(field: &FieldDocument, unit: &FieldUnit) -> Markup {
    let profile = field_figures::profile(field).map(|figure| figure.in_field_unit(unit));
    let map = field_figures::map(field);
    html! {
        @if let (Some(figure), Some(fit)) = (profile, &field.map_fit) {
            (table::figure(&figure, html! { "The axial field away from the centre over that at the centre, with the model as stated and as fitted; below, reading minus model." }))
            @if let (Some(radius), Some(separation)) = (&fit.effective_radius_mm, &fit.effective_separation_mm) {
                p {
                    "The shape of the map alone, whatever its amplitude, corresponds to a mean radius of " span.unit { (short(radius)) " mm" }
                    " and a separation of " span.unit { (short(separation)) " mm" }
                    @if let (Some(r), Some(s)) = (&fit.stated_radius_mm, &fit.stated_separation_mm) {
                        "; stated are " span.unit { (short(r)) " mm" } " and " span.unit { (short(s)) " mm" }
                    } "."
                }
            }
        }
        @if let Some(figure) = map {
            (table::figure(&figure, html! { "Deviation of the field of the coils from that at the centre, in percent, with a ring of medium size: left in the ring’s plane, right along the axis; the dashed circle is the glass." }))
        }
    }
}

fn surroundings(field: &FieldDocument, unit: &FieldUnit) -> Markup {
    let [x, y, z] = field.background_mt.map(|q| unit.small(&q));
    html! {
        p {
            "Background as the field’s fit holds it: "  "along x " span.unit { (x) } ", along y " span.unit { (y) } ", along z " span.unit { (z) }
            @if let Some(zero) = &field.probe_zero_mt { "; the zero offset of the probe " span.unit { (unit.small(zero)) } } "."
        }
        @if let Some(uniformity) = &field.uniformity {
            p {
                "Around a ring of " (crate::words::fixed(uniformity.ring_diameter_mm, 0)) " mm diameter the coils’ field differs from the centre’s by "
                (percent(uniformity.mean_deviation_percent)) " % in the mean and by " (percent(uniformity.largest_deviation_percent)) " % at most."
            }
        }
    }
}
