//! Numbers and judgements in words: every number ends where its uncertainty begins.

use arcmass_lab::document::Q;
use arcmass_lab::field_unit::FieldUnit;
use arcmass_notebook::Particle;
use arcmass_quantity::print;
use maud::{Markup, html};

/// `9.12(7)` of a quantity; a dash for what is not a number.
pub(crate) fn short(q: &Q) -> String {
    if q.standard_uncertainty > 0.0 { print::short(q.value, q.standard_uncertainty) } else { plain(q.value) }
}

/// A number without uncertainty, to six digits at most and without idle zeros.
pub(crate) fn plain(value: f64) -> String {
    let text = print::significant(value, 6);
    match text.contains('.') && !text.contains('×') {
        true => text.trim_end_matches('0').trim_end_matches('.').to_owned(),
        false => text,
    }
}

/// Like [`short`], in a unit `factor` times smaller.
pub(crate) fn short_in(q: &Q, factor: f64) -> String {
    short(&q.times(factor))
}

/// `[9.04, 9.18]`, 95 %.
pub(crate) fn interval_95(q: &Q) -> String {
    let [low, high] = q.interval_95;
    print::interval(low, high)
}

/// Digits ending at ten to `place`, a dash for what is not a number.
pub(crate) fn fixed(value: f64, place: i32) -> String {
    if value.is_finite() { print::fixed(value, place) } else { "\u{2013}".to_owned() }
}

/// A signed number, its plus sign too.
pub(crate) fn signed(value: f64, place: i32) -> String {
    let text = fixed(value, place);
    let is_zero = text.chars().all(|c| matches!(c, '0' | '.'));
    if value > 0.0 && value.is_finite() && !is_zero { format!("+{text}") } else { text }
}

/// A percentage with two digits that count, never more than two decimals.
pub(crate) fn percent(value: f64) -> String {
    match value.abs() {
        size if size >= 10.0 => fixed(value, 0),
        size if size >= 1.0 => fixed(value, -1),
        _ => fixed(value, -2),
    }
}

/// A unit as people write it.
pub(crate) fn unit(name: &str) -> &str {
    match name {
        "deg" => "°",
        "1" => "",
        other => other,
    }
}

/// A symbol, set in italics.
pub(crate) fn symbol(name: &str) -> Markup {
    html! { i.symbol { (name) } }
}

/// A symbol with a lowered sign.
pub(crate) fn indexed(name: &str, index: &str) -> Markup {
    html! { i.symbol { (name) } sub { (index) } }
}

/// The particle in words.
pub(crate) fn particle(particle: Option<&Particle>) -> &'static str {
    match particle {
        None | Some(Particle::Electron) => "electron",
        Some(_) => "particle",
    }
}

/// `2.1 u above`.
pub(crate) fn apart(difference_in_u: f64) -> Markup {
    let side = if difference_in_u < 0.0 { "below" } else { "above" };
    html! { (fixed(difference_in_u.abs(), -1)) " " (symbol("u")) " " (side) }
}

/// A sentence as the library says it, with a capital and a full stop.
pub(crate) fn sentence(text: &str) -> String {
    let clean = arcmass_notebook::printable(text);
    let clean = clean.trim();
    let mut letters = clean.chars();
    let head: String = letters.next().map(|c| c.to_uppercase().collect()).unwrap_or_default();
    let stop = if clean.ends_with(['.', '!', '?']) || clean.is_empty() { "" } else { "." };
    format!("{head}{}{stop}", letters.as_str())
}

/// Likewise, with its flux densities in the unit chosen.
pub(crate) fn told(text: &str, unit: &FieldUnit) -> String {
    sentence(&unit.in_words(text))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn idle_zeros_are_not_printed() {
        assert_eq!(plain(0.08), "0.08");
        assert_eq!(plain(153.2), "153.2");
        assert_eq!(plain(f64::NAN), "–");
    }

    #[test]
    fn no_number_is_printed_as_nan_and_signs_are_true() {
        assert_eq!(fixed(f64::NAN, -1), "–");
        assert_eq!(signed(0.04, -1), "0.0");
        assert_eq!(signed(1.25, -2), "+1.25");
        assert_eq!(signed(-1.25, -2), "−1.25");
        assert_eq!(sentence("the field is not uniform"), "The field is not uniform.");
    }
}
