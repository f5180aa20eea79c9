//! Changes of the notebook that can be taken back, also after a page was loaded again or from another page.

use std::path::Path;
use std::sync::{Mutex, MutexGuard, PoisonError};

use arcmass_notebook::edit::{EditFault, RawFile, keep_text, move_file, raw_file};

/// Changes kept while the server runs.
const MOST_CHANGES: usize = 200;
/// A table of marks before its first mark.
const NO_MARKS: &str = "what,x_px,y_px,along_mm,across_mm\n";

/// One change: texts that were rewritten, files that were moved.
#[derive(Debug, Default)]
pub(crate) struct Change {
    /// What was done, as the button that takes it back says it.
    pub(crate) words: String,
    texts: Vec<Text>,
    moves: Vec<(String, String)>,
}

#[derive(Debug)]
struct Text {
    file: String,
    before: String,
    after_sha256: Option<String>,
}

impl Change {
    pub(crate) fn new(words: impl Into<String>) -> Self {
        Self { words: words.into(), ..Self::default() }
    }

    /// A file's text was rewritten just now; `before` is what stood there.
    pub(crate) fn with_text(mut self, root: &Path, file: &str, before: &RawFile) -> Self {
        let after_sha256 = raw_file(root, file).ok().and_then(|raw| raw.sha256);
        if after_sha256 != before.sha256 {
            let text = match before.sha256 {
                Some(_) => before.text.clone(),
                None if file.starts_with("marks/") => NO_MARKS.to_owned(),
                // a table that was not there before keeps its head
                None => raw_file(root, file)
                    .ok()
                    .and_then(|raw| Some(raw.text.lines().next()?.to_owned() + "\n"))
                    .unwrap_or_default(),
            };
            self.texts.push(Text { file: file.to_owned(), before: text, after_sha256 });
        }
        self
    }

    /// Moves a file, and remembers it.
    pub(crate) fn moving(&mut self, root: &Path, from: &str, to: &str) -> Result<(), EditFault> {
        move_file(root, from, to)?;
        self.moves.push((from.to_owned(), to.to_owned()));
        Ok(())
    }

    /// Moves everything back where it was.
    pub(crate) fn unmove(&self, root: &Path) -> Result<(), EditFault> {
        self.moves.iter().rev().try_for_each(|(from, to)| move_file(root, to, from))
    }

    fn touches(&self, file: &str) -> bool {
        self.texts.iter().any(|text| text.file == file)
            || self.moves.iter().any(|(from, to)| from == file || to == file)
    }

    fn is_empty(&self) -> bool {
        self.texts.is_empty() && self.moves.is_empty()
    }
}

/// The changes since the server started, the last one last.
#[derive(Default)]
pub(crate) struct Undo(Mutex<Vec<Change>>);

impl Undo {
    fn lock(&self) -> MutexGuard<'_, Vec<Change>> {
        self.0.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Remembers a change; one that changed nothing is none.
    pub(crate) fn remember(&self, change: Change) {
        let mut changes = self.lock();
        if !change.is_empty() {
            changes.push(change);
        }
        let surplus = changes.len().saturating_sub(MOST_CHANGES);
        changes.drain(..surplus);
    }

    /// What would be taken back of the changes to this station's files.
    pub(crate) fn next(&self, of: Of<'_>) -> Option<String> {
        self.lock().iter().rev().find(|change| of.holds(change)).map(|change| change.words.clone())
    }

    /// Takes the last change back.
    ///
    /// - **Gives** what was taken back; none where there is nothing.
    /// - **Fails** with [`EditFault::Changed`] where a file has been changed since: then nothing is written, and the change is
    ///   forgotten.
    pub(crate) fn take_back(&self, root: &Path, of: Of<'_>) -> Result<Option<String>, EditFault> {
        let mut changes = self.lock();
        let Some(at) = changes.iter().rposition(|change| of.holds(change)) else { return Ok(None) };
        let change = changes.remove(at);
        for text in &change.texts {
            let now = raw_file(root, &text.file).map_err(EditFault::Faults)?.sha256;
            if now != text.after_sha256 {
                let now = "a later change, so that the one before can't be taken back".to_owned();
                return Err(EditFault::Changed { file: text.file.clone(), now });
            }
        }
        change.unmove(root)?;
        for text in &change.texts {
            keep_text(root, &text.file, text.after_sha256.as_deref(), &text.before)?;
        }
        Ok(Some(change.words))
    }
}

/// Which changes are meant.
#[derive(Debug, Clone, Copy)]
pub(crate) enum Of<'a> {
    /// The bench file.
    Bench,
    /// The tables of the field.
    Field,
    /// The table of readings and the photographs named there.
    Readings,
    /// The marks of one photograph.
    Marks(&'a str),
}

impl Of<'_> {
    fn holds(self, change: &Change) -> bool {
        match self {
            Self::Bench => change.touches("bench.toml"),
            Self::Field => change.texts.iter().any(|text| text.file.starts_with("field-")),
            Self::Readings => change.touches("readings.csv") || !change.moves.is_empty(),
            Self::Marks(photo) => change.moves.is_empty() && change.touches(&format!("marks/{photo}.csv")),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn write(root: &Path, undo: &Undo, words: &str, text: &str) {
        let before = raw_file(root, "readings.csv").unwrap();
        keep_text(root, "readings.csv", before.sha256.as_deref(), text).unwrap();
        undo.remember(Change::new(words).with_text(root, "readings.csv", &before));
    }

    #[test]
    fn the_last_change_is_taken_back_first_and_never_over_a_later_one() {
        let folder = tempfile::tempdir().unwrap();
        let root = folder.path();
        let undo = Undo::default();
        std::fs::write(root.join("readings.csv"), "a\n").unwrap();
        write(root, &undo, "one", "b\n");
        write(root, &undo, "two", "c\n");
        write(root, &undo, "nothing", "c\n");
        assert_eq!(undo.next(Of::Readings).as_deref(), Some("two"));
        assert_eq!(undo.take_back(root, Of::Readings).unwrap().as_deref(), Some("two"));
        std::fs::write(root.join("readings.csv"), "by a spreadsheet\n").unwrap();
        assert!(matches!(undo.take_back(root, Of::Readings), Err(EditFault::Changed { .. })));
        assert_eq!(std::fs::read_to_string(root.join("readings.csv")).unwrap(), "by a spreadsheet\n");
        assert_eq!(undo.take_back(root, Of::Readings).unwrap(), None);
    }

    #[test]
    fn moved_files_go_back_and_marks_have_a_history_of_their_own() {
        let folder = tempfile::tempdir().unwrap();
        let root = folder.path();
        let undo = Undo::default();
        std::fs::create_dir(root.join("photos")).unwrap();
        std::fs::write(root.join("photos/a.jpg"), "x").unwrap();
        let mut change = Change::new("removed a.jpg");
        change.moving(root, "photos/a.jpg", "removed/photos/a.jpg").unwrap();
        undo.remember(change);
        let before = raw_file(root, "marks/b.jpg.csv").unwrap();
        keep_text(root, "marks/b.jpg.csv", None, "what,x_px,y_px\nbeam,1,2\n").unwrap();
        undo.remember(Change::new("marks").with_text(root, "marks/b.jpg.csv", &before));
        assert_eq!(undo.take_back(root, Of::Readings).unwrap().as_deref(), Some("removed a.jpg"));
        assert!(root.join("photos/a.jpg").exists() && !root.join("removed/photos/a.jpg").exists());
        assert_eq!(undo.next(Of::Marks("a.jpg")), None);
        assert_eq!(undo.take_back(root, Of::Marks("b.jpg")).unwrap().as_deref(), Some("marks"));
        assert_eq!(std::fs::read_to_string(root.join("marks/b.jpg.csv")).unwrap(), NO_MARKS);
    }
}
