//! The job `rings`: every photograph measured, side by side, one bad one never stopping the others.

mod calibrated;
mod glass;
mod measure;
pub mod opened;
mod side;
mod stands;
mod still;
mod stored;
mod straight;
pub mod view;
mod work;

use arcmass_notebook::{Input, MarkKind, Notebook, View};
use arcmass_photo::load::DecodeLimits;

pub use stored::{drawn_back, for_reduction, kept, needs_photographs, store};
pub use straight::{StraightBeam, StraightPoint, Strip};
pub(crate) use work::side_by_side;

use crate::assume::Apparatus;
use crate::desk::{Desk, LabError};
use crate::document::{FailedPhoto, PhotoEntry, RingsDocument};
use measure::{Outcome, Scale, Shot};

/// What long work tells while it runs.
pub trait Progress: Sync {
    /// So many of so many are done, the last one being `name`.
    fn done(&self, done: usize, of: usize, name: &str);

    /// Whether the person asked to stop: no further photograph is begun.
    fn is_stopped(&self) -> bool {
        false
    }
}

/// Nobody is told.
pub struct Silent;

impl Progress for Silent {
    fn done(&self, _done: usize, _of: usize, _name: &str) {}
}

/// A photograph drawn back with what was found on it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct OverlayPicture {
    /// Name under `photos/`.
    pub photo: String,
    /// JPEG.
    pub jpeg: Vec<u8>,
}

impl OverlayPicture {
    /// Name under `results/` of the picture of a photograph drawn back.
    pub fn result_name(photo: &str) -> String {
        format!("figures/{}-found.jpg", photo.replace('/', "-"))
    }
}

/// The measured photographs.
#[derive(Debug, Clone)]
pub struct Rings {
    /// What is written down.
    pub document: RingsDocument,
    /// Drawn back, where asked for.
    pub overlays: Vec<OverlayPicture>,
    /// Laid straight, where asked for.
    pub straight: Vec<StraightBeam>,
}

/// Which photographs, and what to show beside their numbers.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct RingsQuestion {
    /// Names under `photos/`; empty: all.
    pub only: Vec<String>,
    /// Draw each photograph back with what was found.
    pub with_overlays: bool,
    /// Lay each beam straight about its fitted circle.
    pub with_straight: bool,
    /// Most pixels of a photograph, where not the usual limit.
    pub largest_px: Option<u64>,
}

/// Measures the photographs that the readings name.
///
/// - **Gives** at least one measured photograph; the others stand under `failed`.
/// - **Fails** where the readings name no photograph, or none can be measured.
pub fn rings(
    notebook: &Notebook,
    question: &RingsQuestion,
    desk: &Desk,
    progress: &dyn Progress,
) -> Result<Rings, LabError> {
    let apparatus = Apparatus::of(&notebook.bench)?;
    let shots = shots(notebook, &question.only)?;
    if apparatus.scale_spacing_m.is_none() && !has_marked_length(notebook) {
        return Err(LabError::lacking(
            "bench.toml",
            "the distance between the scale's marks is not stated, and no photograph has two numbers of its scale marked by hand",
            "write `spacing = \"1 mm\"` under [scale], or mark two numbers of the scale on the page (Ring)",
        )
        .accepting("`spacing` under [scale]: a length, as in \"1 mm\""));
    }
    let limits = question.largest_px.map_or_else(DecodeLimits::default, |most_px| DecodeLimits { most_px });
    let job = measure::Job {
        notebook,
        apparatus: &apparatus,
        with_overlays: question.with_overlays,
        with_straight: question.with_straight,
        limits,
    };
    let scale_names = unique(shots.iter().filter_map(|shot| shot.scale_photo.clone()));
    let total = shots.len() + scale_names.len();
    let scales: Vec<Scale> = work::side_by_side(
        &scale_names,
        desk.workers,
        |name| if progress.is_stopped() { Scale::stopped(name) } else { job.scale(name) },
        |done, name| progress.done(done, total, name),
    );
    let measured = work::side_by_side(
        &shots,
        desk.workers,
        |shot| if progress.is_stopped() { Outcome::stopped(shot) } else { job.ring(shot, &scales) },
        |done, shot| progress.done(scale_names.len() + done, total, &shot.ring_photo),
    );
    if progress.is_stopped() {
        return Err(LabError::lacking("photos/", "the measurement was stopped", "start it again"));
    }
    let mut inputs: Vec<Input> = notebook.inputs();
    let mut photos: Vec<PhotoEntry> = Vec::new();
    let mut failed: Vec<FailedPhoto> = Vec::new();
    let (mut overlays, mut straight) = (Vec::new(), Vec::new());
    for scale in &scales {
        inputs.extend(scale.input.clone());
        overlays.extend(scale.overlay.clone());
        failed.extend(scale.failure());
    }
    for outcome in measured {
        inputs.extend(outcome.input);
        match outcome.result {
            Ok(entry) => photos.push(entry),
            Err(failure) => failed.push(failure),
        }
        overlays.extend(outcome.overlay);
        straight.extend(outcome.straight);
    }
    once_a_scale(&mut photos);
    inputs.sort_by(|a, b| a.file.cmp(&b.file));
    inputs.dedup();
    if photos.is_empty() {
        return Err(none_measured(&failed));
    }
    let document =
        RingsDocument { schema: "arcmass.rings/1".to_owned(), made_by: desk.made_by(inputs), photos, failed };
    Ok(Rings { document, overlays, straight })
}

/// Why a camera could not be compared is said at length with one ring of each photograph of a scale; the others name it.
fn once_a_scale(photos: &mut [PhotoEntry]) {
    let mut said: Vec<(Option<String>, String)> = Vec::new();
    for photo in photos {
        let own = photo.caveats.iter_mut().find(|caveat| caveat.code == still::UNCHECKED);
        let Some(caveat) = own else { continue };
        match said.iter().find(|(scale, _)| *scale == photo.scale_photo) {
            Some((_, first)) => {
                caveat.sentence = format!("whether the camera stood still could not be checked: see {first}");
            }
            None => said.push((photo.scale_photo.clone(), photo.photo.clone())),
        }
    }
}

/// Whether a person marked something of known length on any photograph.
fn has_marked_length(notebook: &Notebook) -> bool {
    let is_length = |kind| matches!(kind, MarkKind::Scale | MarkKind::Bulb | MarkKind::Coil);
    notebook.marks.iter().any(|own| own.marks.iter().filter(|mark| is_length(mark.what)).count() >= 2)
}

/// The photographs of rings that the readings name, each once a run.
fn shots(notebook: &Notebook, only: &[String]) -> Result<Vec<Shot>, LabError> {
    let runs = notebook.readings.as_ref().map_or(&[][..], |readings| &readings.runs);
    let named: Vec<Shot> = runs
        .iter()
        .filter_map(|run| {
            let ring_photo = run.ring_photo.clone()?;
            Some(Shot {
                run: run.run.clone(),
                scale_photo: run.scale_photo.clone(),
                is_side_view: run.view == View::Side,
                ring_photo,
            })
        })
        .collect();
    if named.is_empty() {
        return Err(LabError::lacking(
            "readings.csv",
            "the readings name no photograph of a ring",
            "fill in the columns ring_photo and scale_photo with names under photos/",
        )
        .accepting("at least one run with ring_photo and scale_photo"));
    }
    if only.is_empty() {
        return Ok(named);
    }
    if let Some(unknown) = only.iter().find(|name| !named.iter().any(|shot| shot.ring_photo == **name)) {
        let known = named.iter().map(|shot| shot.ring_photo.as_str()).collect::<Vec<_>>().join(", ");
        return Err(LabError::lacking(
            "command line",
            format!("`{unknown}` is not among the ring photographs that readings.csv names"),
            format!("choose one of {known}"),
        ));
    }
    Ok(named.into_iter().filter(|shot| only.contains(&shot.ring_photo)).collect())
}

fn unique(names: impl Iterator<Item = String>) -> Vec<String> {
    let mut list: Vec<String> = names.collect();
    list.sort();
    list.dedup();
    list
}

fn none_measured(failed: &[FailedPhoto]) -> LabError {
    let first = failed.first();
    let others = failed.len().saturating_sub(1);
    let more = if others > 0 { format!(" (and {others} more)") } else { String::new() };
    let sentence = first.map_or_else(
        || "no photograph could be measured".to_owned(),
        |f| format!("no photograph could be measured: {}: {}{more}", f.photo, f.sentence),
    );
    let file = first.map_or_else(|| "readings.csv".to_owned(), |f| format!("photos/{}", f.photo));
    let remedy = first.map_or_else(|| "see readings.csv".to_owned(), |f| f.remedy.clone());
    LabError::lacking(&file, sentence, remedy)
        .accepting("at least one photograph on which ring and scale can be measured")
}
