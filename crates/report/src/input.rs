//! What goes into a report, and the ways it can't be printed.

use arcmass_lab::document::{FieldDocument, PathDocument, ReductionDocument, RingsDocument};
use arcmass_lab::field_unit::FieldUnit;
use arcmass_lab::photograph::OverlayPicture;
use arcmass_notebook::Notebook;

/// A photograph with the measured ring drawn over it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Overlay {
    /// Name under `photos/`.
    pub photo: String,
    /// A sentence that says what is seen.
    pub caption: String,
    /// The picture, encoded.
    pub png_or_jpeg: Vec<u8>,
    /// `image/png` or `image/jpeg`.
    pub mime: &'static str,
}

impl Overlay {
    /// A photograph drawn back, with a caption that names its run, or says that it is the scale.
    pub fn captioned(picture: OverlayPicture, rings: Option<&RingsDocument>) -> Self {
        let entry = rings.iter().flat_map(|rings| &rings.photos).find(|photo| photo.photo == picture.photo);
        let caption = match entry.and_then(|photo| photo.run.as_ref()) {
            Some(run) => format!(
                "Run {run}: accepted and rejected points on the beam, and the circle in the scale's plane."
            ),
            None => "The scale: every mark found, with its reading in millimetres.".to_owned(),
        };
        Overlay { photo: picture.photo, caption, png_or_jpeg: picture.jpeg, mime: "image/jpeg" }
    }
}

/// All that a report tells: the notebook and what was made of it.
#[derive(Debug, Clone, Copy)]
pub struct ReportInput<'a> {
    /// The notebook, as read.
    pub notebook: &'a Notebook,
    /// The result.
    pub reduction: &'a ReductionDocument,
    /// The photographs' measurement, if there were photographs.
    pub rings: Option<&'a RingsDocument>,
    /// The field's calibration, if it was asked for.
    pub field: Option<&'a FieldDocument>,
    /// Photographs with the ring drawn over them, in the order to show them.
    pub overlays: &'a [Overlay],
    /// The unit that flux densities are told in.
    pub field_unit: &'a FieldUnit,
    /// A predicted path to draw into the apparatus; without it a typical measured ring is drawn.
    pub path: Option<&'a PathDocument>,
}

/// Why there is no report.
#[derive(Debug, thiserror::Error, Clone, PartialEq, Eq)]
#[non_exhaustive]
pub enum ReportError {
    /// The reduction is of a kind this version does not know.
    #[error(
        "the reduction must be of schema `arcmass.reduction/1`, got `{0}`; reduce the notebook again with this version"
    )]
    Schema(String),
    /// There is nothing to tell.
    #[error(
        "a report needs at least one run in the reduction, got none; take readings and reduce the notebook first"
    )]
    NoRuns,
    /// A picture that a page can't show.
    #[error(
        "the picture of `{photo}` must be `image/png` or `image/jpeg` and not empty, got `{mime}` of {bytes} bytes; encode it again"
    )]
    Picture {
        /// Name under `photos/`.
        photo: String,
        /// As given.
        mime: &'static str,
        /// Its length.
        bytes: usize,
    },
}

impl ReportInput<'_> {
    /// Whether all of it can be printed.
    pub(crate) fn check(&self) -> Result<(), ReportError> {
        if self.reduction.schema != "arcmass.reduction/1" {
            return Err(ReportError::Schema(self.reduction.schema.clone()));
        }
        if self.reduction.runs.is_empty() {
            return Err(ReportError::NoRuns);
        }
        let fits = |o: &&Overlay| !["image/png", "image/jpeg"].contains(&o.mime) || o.png_or_jpeg.is_empty();
        match self.overlays.iter().find(fits) {
            Some(Overlay { photo, mime, png_or_jpeg, .. }) => {
                Err(ReportError::Picture { photo: photo.clone(), mime, bytes: png_or_jpeg.len() })
            }
            None => Ok(()),
        }
    }
}
