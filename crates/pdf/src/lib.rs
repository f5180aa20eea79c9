//! The report, the worksheet and its key as PDF: the page that `arcmass-report` writes, set by a typesetter.
//!
//! [`pdf`] takes the HTML page, reads it into a tree of what is said, hands that tree to the typesetter as
//! **data**, and has it set by one fixed template (`template.typ`). No word of a notebook is ever read as markup.

mod error;
mod html;
mod pictures;
mod table;
mod tree;
mod world;

pub use error::PdfError;

use typst::foundations::Smart;
use typst_layout::PagedDocument;
use typst_pdf::PdfOptions;

use world::Desk;

/// Size of the sheets.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub enum Paper {
    /// 210 mm × 297 mm (ISO 216).
    #[default]
    A4,
    /// 215.9 mm × 279.4 mm (ANSI/ASME Y14.1, size A).
    Letter,
}

impl Paper {
    fn name(self) -> &'static str {
        match self {
            Paper::A4 => "a4",
            Paper::Letter => "us-letter",
        }
    }
}

/// Sets a page of `arcmass-report` as PDF: tagged, with an outline, fonts inside, figures as curves.
///
/// - **Takes** the page's HTML, whole, as `report_html`, `worksheet_html` or `key_html` write it.
/// - **Gives** the same bytes for the same page and paper; no clock, no file and no address is read.
/// - **Fails** where the page holds a picture that can't be decoded, or the typesetter refuses it; its own words say why.
pub fn pdf(html: &str, paper: Paper) -> Result<Vec<u8>, PdfError> {
    let page = tree::read(html)?;
    let creator = page.made_by.clone();
    let document = set(page, paper)?;
    let options = PdfOptions { creator: Smart::Custom(Some(creator)), ..PdfOptions::default() };
    let bytes = typst_pdf::pdf(&document, &options).map_err(|faults| PdfError::of(&faults));
    // a served page may ask for many: what one setting keeps for the next is let go of in time
    typst::comemo::evict(2);
    bytes
}

/// The pages, not yet written.
fn set(page: tree::Page, paper: Paper) -> Result<PagedDocument, PdfError> {
    let desk = Desk::new(page, paper.name())?;
    typst::compile::<PagedDocument>(&desk).output.map_err(|faults| PdfError::of(&faults))
}

#[cfg(test)]
mod tests;
