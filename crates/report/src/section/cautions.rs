//! What keeps people safe at the bench, from the one list of cautions.

use arcmass_notebook::cautions;
use maud::{Markup, html};

/// Every caution, for whoever runs the bench: a bench is often run again from its report.
pub(crate) fn body() -> Markup {
    listed(cautions::all())
}

/// The cautions on a sheet for pupils.
pub(crate) fn for_pupils() -> Markup {
    listed(cautions::for_pupils())
}

/// The first stands above the list: it goes before all others.
fn listed(mut texts: impl Iterator<Item = &'static str>) -> Markup {
    html! {
        @if let Some(first) = texts.next() { p.caution { (first) } }
        ol { @for text in texts { li { (text) } } }
    }
}
