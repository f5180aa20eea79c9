//! The long work: photographs measured, everything reduced, with progress and a way to stop.

use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

use arcmass_lab::document::{FieldDocument, ReductionDocument, RingsDocument};
use arcmass_lab::field::{FieldQuestion, field};
use arcmass_lab::photograph::{self, OverlayPicture, Progress};
use arcmass_lab::reduce::{AcceptedMass, reduce};
use arcmass_lab::{Desk, LabError};
use arcmass_notebook::Notebook;
use arcmass_report::{Overlay, ReportInput};
use serde::Serialize;

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
    pub(crate) fn input(&self) -> ReportInput<'_> {
        ReportInput {
            notebook: &self.notebook,
            reduction: &self.reduction,
            rings: self.rings.as_ref(),
            field: Some(&self.field),
            overlays: &self.overlays,
            path: None,
        }
    }
}

/// How far it is.
#[derive(Clone, Default)]
pub(crate) enum Stand {
    /// Nothing was asked for yet.
    #[default]
    Idle,
    /// Under way.
    Running(Running),
    /// Made from the folder as it was at this stamp.
    Done(String, Arc<Derived>),
    /// Not possible, with what to do.
    Failed(String, Trouble),
}

/// Why there is no result.
#[derive(Debug, Clone, Serialize)]
pub(crate) struct Trouble {
    pub(crate) sentence: String,
    pub(crate) remedy: String,
}

impl From<LabError> for Trouble {
    fn from(error: LabError) -> Self {
        match error {
            LabError::Lacking { sentence, remedy, .. } => Self { sentence, remedy },
            LabError::Faults(faults) => faults.0.first().map_or_else(
                || Self { sentence: "the notebook has faults".to_owned(), remedy: String::new() },
                |fault| Self { sentence: fault.found.clone(), remedy: fault.remedy.clone() },
            ),
            other => Self { sentence: other.to_string(), remedy: "try again".to_owned() },
        }
    }
}

/// Work under way.
#[derive(Debug, Clone)]
pub(crate) struct Running {
    pub(crate) stamp: String,
    pub(crate) what: String,
    pub(crate) done: usize,
    pub(crate) of: usize,
    stop: Arc<AtomicBool>,
}

/// The one long work of a server: a second wish waits for the first to end.
#[derive(Default)]
pub(crate) struct Work {
    stand: Mutex<Stand>,
}

impl Work {
    fn lock(&self) -> MutexGuard<'_, Stand> {
        self.stand.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// How far it is now.
    pub(crate) fn stand(&self) -> Stand {
        self.lock().clone()
    }

    /// What was made of the folder as it stands at this stamp.
    pub(crate) fn done(&self, stamp: &str) -> Option<Arc<Derived>> {
        match &*self.lock() {
            Stand::Done(of, derived) if of == stamp => Some(Arc::clone(derived)),
            _ => None,
        }
    }

    /// Asks the work to end after the photographs it has in hand.
    pub(crate) fn stop(&self) {
        if let Stand::Running(running) = &*self.lock() {
            running.stop.store(true, Ordering::Relaxed);
        }
    }
}

/// Begins the work unless it is done, failed or under way for this stamp; `again` tries once more after a failure.
pub(crate) fn begin(app: &Arc<App>, stamp: &str, notebook: &Arc<Notebook>, again: bool) {
    let stop = Arc::new(AtomicBool::new(false));
    {
        let mut stand = app.work.lock();
        match &*stand {
            Stand::Running(running) => {
                if running.stamp != stamp {
                    running.stop.store(true, Ordering::Relaxed); // what it makes is out of date
                }
                return;
            }
            Stand::Done(of, _) if of == stamp => return,
            Stand::Failed(of, _) if of == stamp && !again => return,
            _ => {}
        }
        *stand = Stand::Running(Running {
            stamp: stamp.to_owned(),
            what: "reading the notebook".to_owned(),
            done: 0,
            of: 0,
            stop: Arc::clone(&stop),
        });
    }
    let (app, notebook, stamp) = (Arc::clone(app), Arc::clone(notebook), stamp.to_owned());
    let work = move || {
        let watch = Watch { app: &app, stop };
        let run = std::panic::AssertUnwindSafe(|| derive(&notebook, &app.desk, &watch));
        let outcome = std::panic::catch_unwind(run);
        *app.work.lock() = match outcome {
            Ok(Ok(derived)) => Stand::Done(stamp, Arc::new(derived)),
            Ok(Err(trouble)) => Stand::Failed(stamp, trouble),
            Err(_) => Stand::Failed(
                stamp,
                Trouble {
                    sentence: "a fault of the program ended this work; nothing was half written".to_owned(),
                    remedy: "please report the notebook that led here".to_owned(),
                },
            ),
        };
    };
    std::thread::spawn(work);
}

struct Watch<'a> {
    app: &'a App,
    stop: Arc<AtomicBool>,
}

impl Watch<'_> {
    fn says(&self, what: &str) {
        if let Stand::Running(running) = &mut *self.app.work.lock() {
            what.clone_into(&mut running.what);
        }
    }
}

impl Progress for Watch<'_> {
    fn done(&self, done: usize, of: usize, name: &str) {
        if let Stand::Running(running) = &mut *self.app.work.lock() {
            running.what = format!("measuring photographs: {}", arcmass_notebook::printable(name));
            (running.done, running.of) = (done, of);
        }
    }

    fn is_stopped(&self) -> bool {
        self.stop.load(Ordering::Relaxed)
    }
}

fn derive(notebook: &Arc<Notebook>, desk: &Desk, watch: &Watch<'_>) -> Result<Derived, Trouble> {
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
    watch: &Watch<'_>,
) -> Result<(Option<RingsDocument>, Vec<OverlayPicture>), LabError> {
    if photograph::needs_photographs(notebook)
        && let Some(rings) = photograph::kept(notebook, desk)
    {
        let drawn = kept_overlays(notebook, &rings);
        if !drawn.is_empty() {
            return Ok((Some(rings), drawn));
        }
    }
    let Some(measured) = photograph::drawn_back(notebook, desk, watch)? else {
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
