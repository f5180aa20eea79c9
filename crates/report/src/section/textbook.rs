//! The textbook's way: straight lines, what their intercepts say, and the shape of the excess.

use arcmass_lab::document::ReductionDocument;
use arcmass_lab::field_unit::FieldUnit;
use maud::{Markup, html};

use crate::chart_lines;
use crate::table;
use crate::words::{symbol, told};

/// What is drawn: both kinds of lines, or the one that these runs have.
fn caption(reduction: &ReductionDocument) -> Markup {
    let has = |kind: &str| reduction.textbook_lines.iter().any(|line| line.line == kind);
    let squares = html! { (symbol("d")) "² against " (symbol("V")) " at one current" };
    let currents = html! { (symbol("I")) " against 1/" (symbol("r")) " at one voltage" };
    match (has("diameter-squared-against-voltage"), has("current-against-inverse-radius")) {
        (true, true) => html! { "Above: " (squares) ". Below: " (currents) ". " },
        (true, false) => html! { (squares) ". " },
        _ => html! { (currents) ". " },
    }
}

/// Nothing where there is neither a line nor a shape to show.
pub(crate) fn body(reduction: &ReductionDocument, unit: &FieldUnit) -> Option<Markup> {
    let (lines, shapes) = (chart_lines::textbook_lines(reduction), chart_lines::signatures(reduction));
    (lines.is_some() || shapes.is_some()).then(|| {
        html! {
            @if let Some(figure) = &lines {
                p { "Two straight lines are asked for almost everywhere. Forced through the origin, whatever is added to a reading goes into the slope and so into the mass; let free, the intercept says how much is added." }
                (table::figure(figure, html! { (caption(reduction)) "Dashes are forced through the origin, thin lines are free." }))
                ul { @for line in &reduction.textbook_lines { li { (told(&line.sentence, unit)) } } }
            }
            @if lines.is_none() {
                p { "The two classic straight lines, " (symbol("d")) "² against " (symbol("V")) " at one current and " (symbol("I")) " against 1/" (symbol("r")) " at one voltage, can't be drawn here: no three runs with the leads and the bench alike share a current or a voltage." }
            }
            @if let Some(figure) = &shapes {
                (table::figure(figure, html! { "Specific charge of each run by the textbook formula relative to the joint result, minus one, against the five shapes: voltage offset of the gun, stray field along the axis, edge read or zero offset of the scale, fall-off of the field, energy lost in the gas. A slope in one of them and scatter in the others points to its cause." }))
            }
        }
    })
}
