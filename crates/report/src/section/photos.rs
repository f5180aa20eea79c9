//! The photographs: ring drawn over, what was measured, what could not be.

use arcmass_lab::document::PhotoEntry;
use maud::{Markup, html};

use crate::input::ReportInput;
use crate::inside::data_uri;
use crate::table::{self, Column, Row, numbers, words};
use crate::words::{fixed, sentence, short};

/// Nothing where there are neither pictures nor measurements of any.
pub(crate) fn body(input: &ReportInput<'_>) -> Option<Markup> {
    let photos = input.rings.map(|rings| rings.photos.as_slice()).unwrap_or_default();
    let failed = input.rings.map(|rings| rings.failed.as_slice()).unwrap_or_default();
    if photos.is_empty() && failed.is_empty() && input.overlays.is_empty() {
        return None;
    }
    Some(html! {
        @if !photos.is_empty() { p { "The rings were measured before any reading or prediction was known to the measurement." } (measured(photos)) }
        @for one in failed {
            div.mark { p { b { (one.photo) } " could not be measured. " (sentence(&one.sentence)) " " (sentence(&one.remedy)) } }
        }
        div.photos {
            @for overlay in input.overlays {
                figure.photo {
                    img src=(data_uri(overlay.mime, &overlay.png_or_jpeg)) alt={ "Photograph " (overlay.photo) ": " (overlay.caption) };
                    figcaption { (overlay.photo) ". " (sentence(&overlay.caption)) }
                }
            }
        }
    })
}

/// A column of the table: its head, and its cell for a photograph.
type Measure = (&'static str, fn(&PhotoEntry) -> Option<String>);

const MEASURES: [Measure; 9] = [
    ("diameter in the scale’s plane / mm", |photo| {
        photo.ring_diameter_in_scale_plane_mm.as_ref().map(short)
    }),
    ("diameter in the plane of the anode aperture / mm", |photo| photo.ring_diameter_mm.as_ref().map(short)),
    ("beam width / mm", |photo| photo.beam_width_mm.as_ref().map(short)),
    ("inner edge, diameter / mm", |photo| photo.inner_edge_diameter_mm.as_ref().map(short)),
    ("outer edge, diameter / mm", |photo| photo.outer_edge_diameter_mm.as_ref().map(short)),
    ("pitch / mm", |photo| photo.pitch_mm.as_ref().map(short)),
    ("helix diameter / mm", |photo| photo.helix_diameter_mm.as_ref().map(short)),
    ("arc seen", |photo| photo.arc_seen_deg.map(|arc| format!("{}°", fixed(arc, 0)))),
    ("scale / (px/mm)", |photo| photo.scale_px_per_mm.as_ref().map(short)),
];

/// What was measured; a measure that no photograph has gets no column.
fn measured(photos: &[PhotoEntry]) -> Markup {
    let had: Vec<&Measure> =
        MEASURES.iter().filter(|(_, of)| photos.iter().any(|photo| of(photo).is_some())).collect();
    let heads = had.iter().map(|(head, _)| numbers(html! { (head) }));
    let columns: Vec<Column> = [words("photograph"), words("run")].into_iter().chain(heads).collect();
    let row = |photo: &PhotoEntry| {
        let names = [photo.photo.as_str(), photo.run.as_deref().unwrap_or("–")];
        let cells = had.iter().map(|(_, of)| of(photo).unwrap_or_else(|| "–".to_owned()));
        Row::new(names.map(str::to_owned).into_iter().chain(cells).map(|cell| html! { (cell) }).collect())
    };
    let rows: Vec<Row> = photos.iter().map(row).collect();
    table::table("Measured on the photographs", &columns, &rows)
}
