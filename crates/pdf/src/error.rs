//! Why there is no PDF.

use typst::diag::SourceDiagnostic;

/// Why a page could not be set.
#[derive(Debug, thiserror::Error, Clone, PartialEq, Eq)]
#[non_exhaustive]
pub enum PdfError {
    /// A picture inside the page is none that can be set.
    #[error(
        "a picture of the page must be a JPEG or PNG written into it, got `{0}`; make the report again with this version"
    )]
    Picture(String),
    /// The page holds nothing to set.
    #[error(
        "the page must hold a body with at least one sentence, got none; make the report again with this version"
    )]
    Empty,
    /// The typesetter's own words.
    #[error(
        "the typesetter could not set the page: {0}; write the report as HTML and print it from the browser"
    )]
    Typesetter(String),
}

impl PdfError {
    pub(crate) fn of(faults: &[SourceDiagnostic]) -> Self {
        let words: Vec<&str> = faults.iter().map(|fault| fault.message.as_str()).collect();
        PdfError::Typesetter(words.join("; "))
    }
}
