//! The typesetter's desk: one template, one tree of data, the pictures and the fonts; no disk and no clock.

use std::collections::HashMap;
use std::sync::OnceLock;

use serde::Serialize;
use typst::diag::{FileError, FileResult};
use typst::foundations::{Bytes, Datetime, Duration};
use typst::syntax::{FileId, RootedPath, Source, VirtualPath, VirtualRoot};
use typst::text::{Font, FontBook};
use typst::utils::LazyHash;
use typst::{Library, LibraryExt, World};
use typst_kit::fonts::{FontStore, embedded};

use crate::PdfError;
use crate::tree::{Page, Part};

const TEMPLATE: &str = include_str!("template.typ");

/// What the template reads.
#[derive(Serialize)]
struct Told<'a> {
    title: &'a str,
    made_by: &'a str,
    paper: &'a str,
    body: &'a [Part],
}

/// All that the typesetter may see.
pub(crate) struct Desk {
    library: LazyHash<Library>,
    template: Source,
    files: HashMap<FileId, Bytes>,
}

/// Loaded once: they are read from the program itself.
fn fonts() -> &'static FontStore {
    static FONTS: OnceLock<FontStore> = OnceLock::new();
    FONTS.get_or_init(|| {
        let mut store = FontStore::new();
        store.extend(embedded());
        store
    })
}

fn named(name: &str) -> Result<FileId, PdfError> {
    let path = VirtualPath::new(name).map_err(|fault| PdfError::Typesetter(fault.to_string()))?;
    Ok(RootedPath::new(VirtualRoot::Project, path).intern())
}

impl Desk {
    pub(crate) fn new(page: Page, paper: &str) -> Result<Self, PdfError> {
        let told = Told { title: &page.title, made_by: &page.made_by, paper, body: &page.body };
        let told = serde_json::to_vec(&told).map_err(|fault| PdfError::Typesetter(fault.to_string()))?;
        let mut files = HashMap::from([(named("page.json")?, Bytes::new(told))]);
        for picture in page.pictures {
            files.insert(named(&picture.name)?, Bytes::new(picture.bytes));
        }
        Ok(Desk {
            library: LazyHash::new(Library::default()),
            template: Source::new(named("template.typ")?, TEMPLATE.to_owned()),
            files,
        })
    }
}

impl World for Desk {
    fn library(&self) -> &LazyHash<Library> {
        &self.library
    }

    fn book(&self) -> &LazyHash<FontBook> {
        fonts().book()
    }

    fn main(&self) -> FileId {
        self.template.id()
    }

    fn source(&self, id: FileId) -> FileResult<Source> {
        if id == self.template.id() { Ok(self.template.clone()) } else { Err(FileError::AccessDenied) }
    }

    fn file(&self, id: FileId) -> FileResult<Bytes> {
        self.files.get(&id).cloned().ok_or(FileError::AccessDenied)
    }

    fn font(&self, index: usize) -> Option<Font> {
        fonts().font(index)
    }

    fn today(&self, _: Option<Duration>) -> Option<Datetime> {
        None
    }
}
