//! Measured rings kept in `results/rings.json` and used again while nothing they came from has changed.

use std::fs;
use std::io::Read;

use arcmass_notebook::{Notebook, View, WriteFault};

use super::{Progress, Rings, RingsQuestion, rings};
use crate::desk::{Desk, LabError, VERSION};
use crate::document::{InputHash, RingsDocument};

/// Name under `results/`.
const FILE: &str = "rings.json";
/// A larger file was not written by arcmass.
const LARGEST_BYTES: u64 = 16 << 20;

/// Writes the rings to `results/rings.json`, whole or not at all.
pub fn store(notebook: &Notebook, document: &RingsDocument) -> Result<(), WriteFault> {
    // a document made of numbers and strings always serialises; an empty file would only be measured again
    let text = serde_json::to_vec_pretty(document).unwrap_or_default();
    notebook.write_result(FILE, &text).map(|_| ())
}

/// The rings that a reduction needs: none where every run has its diameter in the table, the stored ones where their
/// inputs are unchanged, else measured now.
///
/// - **Fails** only where no run has a diameter in the table and no photograph can be measured.
pub fn for_reduction(
    notebook: &Notebook,
    desk: &Desk,
    progress: &dyn Progress,
) -> Result<Option<RingsDocument>, LabError> {
    if !needs_photographs(notebook) {
        return Ok(None);
    }
    if let Some(stored) = unchanged(notebook, desk) {
        return Ok(Some(stored));
    }
    let measured = where_needed(notebook, &RingsQuestion::default(), desk, progress)?;
    Ok(measured.map(|rings| rings.document))
}

/// The rings that a report needs, measured now with every photograph drawn back: none where every run has its diameter in
/// the table.
///
/// - **Fails** as [`for_reduction`] does.
pub fn drawn_back(
    notebook: &Notebook,
    desk: &Desk,
    progress: &dyn Progress,
) -> Result<Option<Rings>, LabError> {
    if !needs_photographs(notebook) {
        return Ok(None);
    }
    where_needed(notebook, &RingsQuestion { with_overlays: true, ..RingsQuestion::default() }, desk, progress)
}

/// Photographs that can't be measured are no fault where a run has its diameter in the table; work that was stopped is one.
fn where_needed(
    notebook: &Notebook,
    question: &RingsQuestion,
    desk: &Desk,
    progress: &dyn Progress,
) -> Result<Option<Rings>, LabError> {
    match rings(notebook, question, desk, progress) {
        Ok(rings) => Ok(Some(rings)),
        Err(_) if has_table_diameters(notebook) && !progress.is_stopped() => Ok(None),
        Err(fault) => Err(fault),
    }
}

/// Whether some run has its diameter only on a photograph.
pub fn needs_photographs(notebook: &Notebook) -> bool {
    let mut runs = notebook.readings.iter().flat_map(|readings| &readings.runs);
    runs.any(|run| run.diameter.is_none() && run.ring_photo.is_some() && run.view == View::Front)
}

/// Whether some run that counts has its diameter in the table.
fn has_table_diameters(notebook: &Notebook) -> bool {
    let mut runs = notebook.readings.iter().flat_map(|readings| &readings.runs);
    runs.any(|run| run.diameter.is_some() && !run.is_struck())
}

/// The stored rings, if nothing they came from has changed since; nothing is measured.
pub fn kept(notebook: &Notebook, desk: &Desk) -> Option<RingsDocument> {
    unchanged(notebook, desk)
}

/// The stored rings, if they were made by this version from the very same files.
fn unchanged(notebook: &Notebook, desk: &Desk) -> Option<RingsDocument> {
    let path = notebook.root.join("results").join(FILE);
    // a pipe or a device would be waited for without end
    if !fs::metadata(&path).ok()?.is_file() {
        return None;
    }
    let mut bytes = Vec::new();
    fs::File::open(path).ok()?.take(LARGEST_BYTES).read_to_end(&mut bytes).ok()?;
    let stored: RingsDocument = serde_json::from_slice(&bytes).ok()?;
    if stored.schema != "arcmass.rings/1"
        || stored.made_by.version != VERSION
        || stored.made_by.seed != desk.seed
    {
        return None;
    }
    let mut now: Vec<InputHash> = desk.made_by(notebook.inputs()).inputs;
    for name in photographs(notebook) {
        if let Ok(photo) = notebook.photo_bytes(&name) {
            now.push(InputHash { file: photo.input.file, sha256: photo.input.sha256 });
        }
    }
    now.sort_by(|a, b| a.file.cmp(&b.file));
    now.dedup();
    (now == stored.made_by.inputs).then_some(stored)
}

fn photographs(notebook: &Notebook) -> Vec<String> {
    let runs = notebook.readings.iter().flat_map(|readings| &readings.runs);
    let mut names: Vec<String> = runs
        .filter(|run| run.ring_photo.is_some())
        .flat_map(|run| [run.ring_photo.clone(), run.scale_photo.clone()])
        .flatten()
        .collect();
    names.sort();
    names.dedup();
    names
}
