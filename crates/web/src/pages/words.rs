//! Numbers in words for the page, each ending where its uncertainty begins.

use arcmass_lab::document::Q;
use arcmass_quantity::print;

/// `9.12(7)`.
pub(crate) fn short(q: &Q) -> String {
    if q.standard_uncertainty > 0.0 {
        print::short(q.value, q.standard_uncertainty)
    } else {
        print::significant(q.value, 5)
    }
}

/// `9.12 ± 0.07`, where a class reads.
pub(crate) fn plus_minus(q: &Q) -> String {
    if q.standard_uncertainty > 0.0 {
        print::plus_minus(q.value, q.standard_uncertainty)
    } else {
        print::significant(q.value, 5)
    }
}

/// Digits ending at ten to `place`; a dash for what is no number.
pub(crate) fn fixed(value: f64, place: i32) -> String {
    if value.is_finite() { print::fixed(value, place) } else { "–".to_owned() }
}

/// A sentence with a capital and a full stop.
pub(crate) fn sentence(text: &str) -> String {
    let clean = arcmass_notebook::printable(text);
    let mut letters = clean.trim().chars();
    let head: String = letters.next().map(|c| c.to_uppercase().collect()).unwrap_or_default();
    let tail = letters.as_str();
    let stop = if tail.ends_with(['.', '!', '?']) || head.is_empty() { "" } else { "." };
    format!("{head}{tail}{stop}")
}
