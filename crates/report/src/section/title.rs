//! The title, and whether the notebook itself says that its data are made up.

use maud::{Markup, html};

use crate::input::ReportInput;
use crate::words::particle;

/// Words in a bench's name that say the data are no measurement.
const IN_A_NAME: [&str; 8] =
    ["simulated", "simulation", "drawn", "synthetic", "demo", "sample", "invented", "example"];
/// The same in a remark, where everyday words prove nothing.
const IN_A_REMARK: [&str; 4] = ["simulated", "simulation", "synthetic", "drawn photograph"];

/// The title as plain words.
pub(crate) fn title(input: &ReportInput<'_>) -> String {
    let name = arcmass_notebook::printable(&input.notebook.bench.name);
    let particle = particle(input.notebook.bench.gun.as_ref().map(|gun| &gun.particle));
    format!("{name}: mass of the {particle}")
}

/// The title with what must be known before anything else.
pub(crate) fn head(input: &ReportInput<'_>) -> Markup {
    let bench = &input.notebook.bench;
    let particle = particle(bench.gun.as_ref().map(|gun| &gun.particle));
    html! {
        h1 { (arcmass_notebook::printable(&bench.name)) }
        p.quiet { "Mass of the " (particle) " from rings in a known magnetic field. " (days(input)) }
        p.names.paper { "Observer " span.blank {} " Date " span.blank {} }
        @if let Some(word) = made_up(input) {
            div.mark { p { b { "Not a measurement" } ": the notebook calls itself “" (word) "”. Read the numbers below as an exercise." } }
        }
    }
}

/// First and last day of the readings, where they say so.
fn days(input: &ReportInput<'_>) -> String {
    let runs = input.notebook.readings.iter().flat_map(|readings| &readings.runs);
    let mut days: Vec<&str> = runs.filter_map(|run| run.taken_at.as_deref()?.get(..10)).collect();
    days.sort_unstable();
    match (days.first(), days.last()) {
        (Some(first), Some(last)) if first == last => format!("Readings of {first}."),
        (Some(first), Some(last)) => format!("Readings from {first} to {last}."),
        _ => String::new(),
    }
}

/// The word by which the notebook says that its data are made up.
fn made_up(input: &ReportInput<'_>) -> Option<&'static str> {
    let holds = |text: &str, words: &[&'static str]| {
        let text = text.to_lowercase();
        let has = |word: &str| {
            text.split(|c: char| !c.is_alphanumeric() && c != ' ')
                .any(|part| format!(" {part} ").contains(&format!(" {word} ")))
        };
        words.iter().copied().find(|word| has(word))
    };
    let remarks = input
        .notebook
        .readings
        .iter()
        .flat_map(|readings| &readings.runs)
        .filter_map(|run| run.remark.as_deref());
    holds(&input.notebook.bench.name, &IN_A_NAME)
        .or_else(|| remarks.into_iter().find_map(|remark| holds(remark, &IN_A_REMARK)))
}
