//! What was found beyond the stated, and what stands uncorrected.

use arcmass_lab::document::{CaveatEntry, ReductionDocument};
use arcmass_lab::field_unit::FieldUnit;
use maud::{Markup, html};

use crate::input::ReportInput;
use crate::words::told;

/// Findings with remedy.
pub(crate) fn findings(reduction: &ReductionDocument, unit: &FieldUnit) -> Markup {
    html! {
        @if reduction.findings.is_empty() {
            p { "Nothing in these readings lies outside what the bench file states." }
        } @else {
            ol {
                @for finding in &reduction.findings {
                    li {
                        (told(&finding.sentence, unit)) " " (told(&finding.remedy, unit))
                        " " code.quiet { (finding.code) }
                    }
                }
            }
        }
    }
}

/// Every caveat once, whichever part of the work raised it, with the photograph it is about.
pub(crate) fn gathered<'a>(input: &ReportInput<'a>) -> Vec<(&'a CaveatEntry, Option<&'a str>)> {
    let mut all: Vec<(&'a CaveatEntry, Option<&'a str>)> = Vec::new();
    let mut add = |caveat: &'a CaveatEntry, photo: Option<&'a str>| {
        if !all.iter().any(|(known, of)| *known == caveat && *of == photo) {
            all.push((caveat, photo));
        }
    };
    for caveat in &input.reduction.caveats {
        add(caveat, None);
    }
    // the reduction calibrates the field too and says so in its own words
    let said = |code: &str| input.reduction.caveats.iter().any(|known| known.code == code);
    for caveat in input.field.iter().flat_map(|field| &field.caveats).filter(|caveat| !said(&caveat.code)) {
        add(caveat, None);
    }
    for photo in input.rings.iter().flat_map(|rings| &rings.photos) {
        for caveat in &photo.caveats {
            add(caveat, Some(photo.photo.as_str()));
        }
    }
    all
}

/// All caveats with their remedies.
pub(crate) fn caveats(input: &ReportInput<'_>) -> Markup {
    let all = gathered(input);
    html! {
        @if all.is_empty() { p { "No caveats." } }
        @else {
            ul {
                @for (caveat, photo) in all {
                    li {
                        @if let Some(photo) = photo { (photo) ": " }
                        (told(&caveat.sentence, input.field_unit)) " " (told(&caveat.remedy, input.field_unit)) " " code.quiet { (caveat.code) }
                    }
                }
            }
        }
    }
}
