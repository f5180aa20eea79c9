//! `arcmass rings`: measures the photographs; and the way from a folder to a reduction that other commands share.

use std::path::Path;

use arcmass_lab::document::{CaveatEntry, PhotoEntry, ReductionDocument, RingsDocument};
use arcmass_lab::photograph::{self, OverlayPicture, RingsQuestion, StraightBeam, rings};
use arcmass_lab::reduce::{AcceptedMass, reduce};
use arcmass_notebook::Notebook;
use arcmass_quantity::print;
use arcmass_report::beam_figure;
use arcmass_report::figure::Theme;

use crate::arguments::{Arguments, Rings};
use crate::ending::{Ending, say};
use crate::progress::Bar;
use crate::show::{self, Sheet, bare};

pub(crate) fn run(asked: &Rings, arguments: &Arguments) -> Result<(), Ending> {
    let notebook = Notebook::open(&asked.notebook)?;
    let question = RingsQuestion {
        only: asked.photo.clone(),
        with_overlays: true,
        with_straight: true,
        largest_px: asked.largest.map(|megapixels| megapixels.saturating_mul(1_000_000)),
    };
    let bar = Bar::new("measuring photographs");
    let measured = rings(&notebook, &question, &arguments.desk(), &bar)?;
    bar.finish();
    keep_overlays(&notebook, &measured.overlays);
    keep_straight(&notebook, &measured.straight);
    let document = measured.document;
    if asked.photo.is_empty() {
        keep(&notebook, &document);
    }
    if arguments.json {
        let caveats = all_caveats(&document);
        return show::json(&document, &caveats);
    }
    let mut sheet = Sheet::default();
    table(&mut sheet, &document);
    sheet.notes(&[], &all_caveats(&document));
    sheet.out()
}

/// Stores the rings; a folder that can't be written is said and changes nothing else.
pub(crate) fn keep(notebook: &Notebook, document: &RingsDocument) {
    if let Err(fault) = photograph::store(notebook, document) {
        say(&format!("○ {fault}; the result is shown but not kept; {}", fault.remedy()));
    }
}

/// Writes the photographs drawn back to `results/figures/`.
pub(crate) fn keep_overlays(notebook: &Notebook, overlays: &[OverlayPicture]) {
    for overlay in overlays {
        let name = OverlayPicture::result_name(&overlay.photo);
        if let Err(fault) = notebook.write_result(&name, &overlay.jpeg) {
            say(&format!("○ {fault}; {}", fault.remedy()));
            return;
        }
    }
}

/// Writes the beams laid straight to `results/figures/`: as a figure, as its text, and every point as a table.
fn keep_straight(notebook: &Notebook, beams: &[StraightBeam]) {
    for beam in beams {
        let figure = beam_figure::beam(beam);
        let files =
            [("svg", figure.to_svg_file(Theme::Dark)), ("txt", figure.to_table()), ("csv", beam.to_csv())];
        for (ending, text) in files {
            if let Err(fault) = notebook.write_result(&beam.result_name(ending), text.as_bytes()) {
                say(&format!("○ {fault}; {}", fault.remedy()));
                return;
            }
        }
    }
}

fn all_caveats(document: &RingsDocument) -> Vec<CaveatEntry> {
    let mut list: Vec<CaveatEntry> = Vec::new();
    for photo in &document.photos {
        for caveat in &photo.caveats {
            let sentence = format!("{}: {}", photo.photo, caveat.sentence);
            list.push(CaveatEntry { sentence, ..caveat.clone() });
        }
    }
    list
}

fn table(sheet: &mut Sheet, document: &RingsDocument) {
    let (side, front): (Vec<&PhotoEntry>, Vec<&PhotoEntry>) =
        document.photos.iter().partition(|photo| photo.pitch_mm.is_some());
    if !front.is_empty() {
        let heading = ["photograph", "run", "ring d/mm", "arc", "beam/mm", "inner/mm", "outer/mm", "px/mm"];
        let mut rows = vec![heading.map(str::to_owned).to_vec()];
        rows.extend(front.iter().map(|photo| row(photo)));
        sheet.table(&rows);
    }
    if !side.is_empty() {
        let heading = ["side view", "run", "pitch/mm", "helix d/mm", "turns seen", "px/mm"];
        let mut rows = vec![heading.map(str::to_owned).to_vec()];
        rows.extend(side.iter().map(|photo| side_row(photo)));
        sheet.table(&rows);
    }
    if !document.failed.is_empty() {
        sheet.gap();
        sheet.line("Not measured:");
    }
    for failed in &document.failed {
        sheet.paragraph("  ▲ ", &format!("{}: {}.", failed.photo, failed.sentence));
        sheet.paragraph("      what to do: ", &failed.remedy);
    }
}

fn row(photo: &PhotoEntry) -> Vec<String> {
    let q = |q: &Option<arcmass_lab::document::Q>| q.as_ref().map_or_else(|| "–".to_owned(), bare);
    vec![
        format!("● {}", photo.photo),
        photo.run.clone().unwrap_or_default(),
        q(&photo.ring_diameter_mm),
        photo.arc_seen_deg.map_or_else(|| "–".to_owned(), |arc| format!("{}°", print::fixed(arc, 0))),
        q(&photo.beam_width_mm),
        q(&photo.inner_edge_diameter_mm),
        q(&photo.outer_edge_diameter_mm),
        q(&photo.scale_px_per_mm),
    ]
}

fn side_row(photo: &PhotoEntry) -> Vec<String> {
    let q = |q: &Option<arcmass_lab::document::Q>| q.as_ref().map_or_else(|| "–".to_owned(), bare);
    vec![
        format!("● {}", photo.photo),
        photo.run.clone().unwrap_or_default(),
        q(&photo.pitch_mm),
        q(&photo.helix_diameter_mm),
        photo.arc_seen_deg.map_or_else(|| "–".to_owned(), |arc| print::fixed(arc / 360.0, 1)),
        q(&photo.scale_px_per_mm),
    ]
}

/// Opens a notebook, measures its photographs where needed, reduces it, and keeps `results/`.
pub(crate) fn reduce_notebook(folder: &Path, arguments: &Arguments) -> Result<ReductionDocument, Ending> {
    let notebook = Notebook::open(folder)?;
    let desk = arguments.desk();
    if arguments.verbose {
        say("reading done; measuring photographs where no diameter is in the table");
    }
    let bar = Bar::new("measuring photographs");
    let rings = photograph::for_reduction(&notebook, &desk, &bar)?;
    bar.finish();
    if let Some(document) = &rings {
        keep(&notebook, document);
    }
    if arguments.verbose {
        say("fitting all readings together");
    }
    let reduction = reduce(&notebook, rings.as_ref(), &AcceptedMass::default(), &desk)?;
    keep_reduction(&notebook, &reduction)?;
    Ok(reduction)
}

/// Keeps the reduction in `results/`; a folder that can't be written is said and changes nothing else.
pub(crate) fn keep_reduction(notebook: &Notebook, reduction: &ReductionDocument) -> Result<(), Ending> {
    let text = serde_json::to_vec_pretty(reduction)
        .map_err(|fault| Ending::Program(format!("the result can't be written as JSON: {fault}")))?;
    if let Err(fault) = notebook.write_result("reduction.json", &text) {
        say(&format!("○ {fault}; the result is shown but not kept; {}", fault.remedy()));
    }
    Ok(())
}
