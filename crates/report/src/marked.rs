//! Formulas of the library, marked like a figure's labels, as HTML.

use maud::{Markup, html};

use crate::figure::{LabelRun, label_runs};

/// `*V*_{0} / V` as HTML: the symbol in italics, its index lowered, everything escaped.
pub fn marked(text: &str) -> Markup {
    html! { @for run in label_runs(text) { (of_run(&run)) } }
}

fn of_run(run: &LabelRun) -> Markup {
    let text = html! { @if run.italic { i.symbol { (run.text) } } @else { (run.text) } };
    match run.level {
        1 => html! { sup { (text) } },
        -1 => html! { sub { (text) } },
        _ => text,
    }
}
