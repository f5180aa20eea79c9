//! All that is made of a notebook: photographs measured, everything reduced.

use std::sync::Arc;

use arcmass_lab::document::{FieldDocument, ReductionDocument, RingsDocument};
use arcmass_lab::field::{FieldQuestion, field};
use arcmass_lab::field_unit::FieldUnit;
use arcmass_lab::photograph::{self, OverlayPicture, Progress};
use arcmass_lab::reduce::{AcceptedMass, reduce};
use arcmass_lab::{Desk, LabError};
use arcmass_notebook::Notebook;
use arcmass_report::{Overlay, ReportInput};

use crate::long::{self, Trouble, View, Watch};
use crate::state::App;

/// A notebook with all that was made of it.
pub(crate) struct Derived {
    pub(crate) notebook: Arc<Notebook>,
    pub(crate) rings: Option<RingsDocument>,
    pub(crate) reduction: ReductionDocument,
    pub(crate) field: FieldDocument,
    pub(crate) overlays: Vec<Overlay>,
}

impl Derived {
    /// What the report is made from.
    pub(crate) fn input<'a>(&'a self, field_unit: &'a FieldUnit) -> ReportInput<'a> {
        ReportInput {
            notebook: &self.notebook,
            reduction: &self.reduction,
            rings: self.rings.as_ref(),
            field: Some(&self.field),
            overlays: &self.overlays,
            field_unit,
            path: None,
        }
    }
}

/// The result as it stands under this stamp; begins the work where nothing was tried yet.
pub(crate) fn look(app: &Arc<App>, stamp: &str, notebook: &Arc<Notebook>) -> View<Derived> {
    let notebook = Arc::clone(notebook);
    long::look(app, |app| &app.work, stamp, move |app, watch| derive(&notebook, &app.desk, watch))
}

/// Says which photograph is measured.
struct Photographs<'a>(&'a Watch);

impl Progress for Photographs<'_> {
    fn done(&self, done: usize, of: usize, name: &str) {
        self.0.done(done, of, &format!("measuring photographs: {name}"));
    }

    fn is_stopped(&self) -> bool {
        self.0.is_stopped()
    }
}

fn derive(notebook: &Arc<Notebook>, desk: &Desk, watch: &Watch) -> Result<Derived, Trouble> {
    let (rings, pictures) = measured(notebook, desk, watch)?;
    watch.says("fitting all readings together");
    let reduction = reduce(notebook, rings.as_ref(), &AcceptedMass::default(), desk)?;
    if let Ok(text) = serde_json::to_vec_pretty(&reduction) {
        // a folder that can't be written is said where the report is kept
        let _ = notebook.write_result("reduction.json", &text);
    }
    let field = field(notebook, &FieldQuestion::default(), desk)?;
    let overlays = pictures.into_iter().map(|picture| Overlay::captioned(picture, rings.as_ref())).collect();
    Ok(Derived { notebook: Arc::clone(notebook), rings, reduction, field, overlays })
}

/// The rings, stored or measured now, with every photograph drawn back.
fn measured(
    notebook: &Notebook,
    desk: &Desk,
    watch: &Watch,
) -> Result<(Option<RingsDocument>, Vec<OverlayPicture>), LabError> {
    if photograph::needs_photographs(notebook)
        && let Some(rings) = photograph::kept(notebook, desk)
    {
        let drawn = kept_overlays(notebook, &rings);
        if !drawn.is_empty() {
            return Ok((Some(rings), drawn));
        }
    }
    let Some(measured) = photograph::drawn_back(notebook, desk, &Photographs(watch))? else {
        return Ok((None, Vec::new()));
    };
    let _ = photograph::store(notebook, &measured.document);
    for picture in &measured.overlays {
        let _ = notebook.write_result(&OverlayPicture::result_name(&picture.photo), &picture.jpeg);
    }
    Ok((Some(measured.document), measured.overlays))
}

fn kept_overlays(notebook: &Notebook, rings: &RingsDocument) -> Vec<OverlayPicture> {
    let mut names: Vec<&str> = rings.photos.iter().map(|photo| photo.photo.as_str()).collect();
    names.extend(rings.photos.iter().filter_map(|photo| photo.scale_photo.as_deref()));
    let mut seen = std::collections::BTreeSet::new();
    let names = names.into_iter().filter(|name| seen.insert(*name));
    let read = names.map(|name| {
        let jpeg =
            std::fs::read(notebook.root.join("results").join(OverlayPicture::result_name(name))).ok()?;
        Some(OverlayPicture { photo: name.to_owned(), jpeg })
    });
    read.collect::<Option<Vec<_>>>().unwrap_or_default()
}
