//! The report's sections, in their order.

mod apparatus;
pub(crate) mod cautions;
mod effects;
mod end;
mod field;
mod law;
mod method;
pub(crate) mod open;
mod photos;
mod readings;
mod result;
mod textbook;
pub(crate) mod title;

use maud::Markup;

use crate::input::ReportInput;

/// A heading and what stands under it.
pub(crate) struct Section {
    pub(crate) id: &'static str,
    pub(crate) heading: &'static str,
    pub(crate) body: Markup,
}

/// Sections short enough never to be broken over two sheets.
pub(crate) const WHOLE: [&str; 3] = ["cautions", "agreement", "comparison"];

/// Every section that has something to say.
pub(crate) fn all(input: &ReportInput<'_>) -> Vec<Section> {
    let (reduction, unit) = (input.reduction, input.field_unit);
    let of = |id, heading, body| Some(Section { id, heading, body });
    let sections = [
        of("result", "Result", result::body(input)),
        of("method", "Question and method", method::body(input)),
        of("apparatus", "Apparatus", apparatus::body(input)),
        of("cautions", "Before touching the bench", cautions::body()),
        of("readings", "Readings", readings::body(input)),
        photos::body(input).and_then(|body| of("photographs", "Photographs", body)),
        of("field", "Field", field::body(input)),
        of("effects", "From the textbook’s formula to the full model", effects::body(reduction, unit)),
        of("budget", "Budget of the uncertainty", effects::budget(reduction)),
        textbook::body(reduction, unit).and_then(|body| of("textbook", "The textbook’s two lines", body)),
        of("law", "The law", law::body(reduction, unit)),
        of("agreement", "Do the runs agree?", law::agreement(reduction)),
        of("findings", "Findings", open::findings(reduction, unit)),
        of("caveats", "What was not corrected", open::caveats(input)),
        of("comparison", "Comparison with the accepted value", end::comparison(input)),
        of("sources", "Sources", end::sources()),
        of("inputs", "Inputs", end::inputs(reduction)),
    ];
    sections.into_iter().flatten().collect()
}
