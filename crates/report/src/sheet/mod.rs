//! What a class gets on paper: the worksheet with the bench's own numbers, and the teacher's key to it.

mod key;
mod work;

use arcmass_lab::document::ReductionDocument;
use arcmass_lab::field_unit::FieldUnit;
use arcmass_lab::worksheet::Worksheet;
use arcmass_notebook::Notebook;
use maud::{DOCTYPE, Markup, PreEscaped, html};

use crate::input::ReportError;
use crate::style;

/// A blank worksheet for this bench: its sizes, the way from reading to mass as blanks, a table to fill.
///
/// - **Takes** the notebook and the unit of flux densities. Where it holds readings, their settings stand in the table, without any ring.
/// - **Gives** one HTML file that stands alone; nothing in it was measured, so it can be handed out before the lesson.
pub fn worksheet_html(notebook: &Notebook, unit: &FieldUnit) -> String {
    let name = arcmass_notebook::printable(&notebook.bench.name);
    page(&format!("Worksheet: {name}"), work::body(notebook, &Worksheet::of(notebook, unit)))
}

/// The key to the worksheet: its questions answered from its own printed numbers, and what each slip makes of the mass.
///
/// - **Fails** where the reduction holds no run.
pub fn key_html(
    notebook: &Notebook,
    reduction: &ReductionDocument,
    unit: &FieldUnit,
) -> Result<String, ReportError> {
    if reduction.runs.is_empty() {
        return Err(ReportError::NoRuns);
    }
    let name = arcmass_notebook::printable(&notebook.bench.name);
    let sheet = Worksheet::of(notebook, unit);
    Ok(page(&format!("Key to the worksheet: {name}"), key::body(notebook, reduction, &sheet)))
}

fn page(title: &str, body: Markup) -> String {
    let page = html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                title { (title) }
                style { (PreEscaped(style::sheet())) }
            }
            body { main { h1 { (title) } (body) } }
        }
    };
    page.into_string()
}
