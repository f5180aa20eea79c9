//! The photographs: ring drawn over, what was measured, what could not be.

use arcmass_lab::document::PhotoEntry;
use maud::{Markup, html};

use crate::base64::data_uri;
use crate::input::ReportInput;
use crate::table::{self, Row, numbers, words};
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
        @for overlay in input.overlays {
            figure.photo {
                img src=(data_uri(overlay.mime, &overlay.png_or_jpeg)) alt={ "Photograph " (overlay.photo) ": " (overlay.caption) };
                figcaption { (overlay.photo) ". " (sentence(&overlay.caption)) }
            }
        }
    })
}

fn measured(photos: &[PhotoEntry]) -> Markup {
    let q = |value: &Option<arcmass_lab::document::Q>| value.as_ref().map_or_else(|| "–".to_owned(), short);
    let columns = [
        words("photograph"),
        words("run"),
        numbers(html! { "diameter in the scale’s plane / mm" }),
        numbers(html! { "in the muzzle’s plane / mm" }),
        numbers(html! { "beam width / mm" }),
        numbers(html! { "arc seen" }),
        numbers(html! { "scale / (px/mm)" }),
    ];
    let row = |photo: &PhotoEntry| {
        let arc = photo.arc_seen_deg.map_or_else(|| "–".to_owned(), |arc| format!("{}°", fixed(arc, 0)));
        Row::new(vec![
            html! { (photo.photo) },
            html! { (photo.run.as_deref().unwrap_or("–")) },
            html! { (q(&photo.ring_diameter_in_scale_plane_mm)) },
            html! { (q(&photo.ring_diameter_mm)) },
            html! { (q(&photo.beam_width_mm)) },
            html! { (arc) },
            html! { (q(&photo.scale_px_per_mm)) },
        ])
    };
    let rows: Vec<Row> = photos.iter().map(row).collect();
    table::table("Measured on the photographs", &columns, &rows)
}
