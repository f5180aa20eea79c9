//! `arcmass report`: everything on one page that stands alone.

use std::fs;
use std::io::Write;
use std::path::{Path, PathBuf};

use arcmass_lab::document::{CaveatEntry, FieldDocument, MadeBy, ReductionDocument, RingsDocument};
use arcmass_lab::field::{FieldQuestion, field};
use arcmass_lab::field_unit::FieldUnit;
use arcmass_lab::photograph;
use arcmass_lab::reduce::{AcceptedMass, reduce};
use arcmass_notebook::Notebook;
use arcmass_report::{Overlay, ReportInput, key_html, report_html, worksheet_html};

use crate::arguments::{Arguments, Report, Sheet as SheetKind};
use crate::commands::form::{Form, form};
use crate::commands::rings::{keep, keep_overlays};
use crate::ending::{Ending, say};
use crate::progress::Bar;
use crate::show::Sheet;

pub(crate) fn run(asked: &Report, arguments: &Arguments) -> Result<(), Ending> {
    let form = asked.to.as_deref().map_or(Ok(Form::Html), form)?;
    if asked.sheet == SheetKind::Worksheet {
        return worksheet(asked, form, arguments);
    }
    let whole = make(&asked.notebook, arguments)?;
    let unit = asked.flux_density.unit();
    let target = asked.to.as_deref();
    let path = match asked.sheet {
        SheetKind::Key => {
            let key = key_html(&whole.notebook, &whole.reduction, &unit)
                .map_err(|fault| Ending::Program(fault.to_string()))?;
            put(&whole.notebook, "worksheet-key.html", target, &form.of(&key, asked.paper)?)?
        }
        _ => write(&whole, &unit, target, |html| form.of(html, asked.paper))?,
    };
    keep_reduction(&whole)?;
    told(asked.sheet, &path, &whole.reduction.made_by, &whole.reduction.caveats, arguments)
}

/// The blank sheet needs no measurement, so a notebook without readings has one too.
fn worksheet(asked: &Report, form: Form, arguments: &Arguments) -> Result<(), Ending> {
    let notebook = Notebook::open(&asked.notebook)?;
    let sheet = form.of(&worksheet_html(&notebook, &asked.flux_density.unit()), asked.paper)?;
    let path = put(&notebook, "worksheet.html", asked.to.as_deref(), &sheet)?;
    let made_by = arguments.desk().made_by(notebook.inputs());
    told(asked.sheet, &path, &made_by, &[], arguments)
}

/// Says where it is.
fn told(
    kind: SheetKind,
    path: &Path,
    made_by: &MadeBy,
    caveats: &[CaveatEntry],
    arguments: &Arguments,
) -> Result<(), Ending> {
    let shown = path.display().to_string();
    if arguments.json {
        let document = serde_json::json!({
            "schema": "arcmass.report/1",
            "made_by": made_by,
            "report": shown,
        });
        return crate::show::json(&document, caveats);
    }
    let name = match kind {
        SheetKind::Report => "report",
        SheetKind::Worksheet => "worksheet",
        SheetKind::Key => "key to the worksheet",
    };
    let mut sheet = Sheet::default();
    sheet.line(format!("The {name} is in {shown}"));
    sheet.out()
}

/// A notebook with all that was made of it.
pub(crate) struct Whole {
    pub(crate) notebook: Notebook,
    pub(crate) rings: Option<RingsDocument>,
    pub(crate) reduction: ReductionDocument,
    field: FieldDocument,
    overlays: Vec<Overlay>,
}

/// Measures, reduces and calibrates, with every photograph drawn back.
pub(crate) fn make(folder: &Path, arguments: &Arguments) -> Result<Whole, Ending> {
    let notebook = Notebook::open(folder)?;
    let desk = arguments.desk();
    let bar = Bar::new("measuring photographs");
    let (rings, overlays) = match photograph::drawn_back(&notebook, &desk, &bar)? {
        Some(measured) => {
            keep(&notebook, &measured.document);
            keep_overlays(&notebook, &measured.overlays);
            (Some(measured.document), measured.overlays)
        }
        None => (None, Vec::new()),
    };
    bar.finish();
    let reduction = reduce(&notebook, rings.as_ref(), &AcceptedMass::default(), &desk)?;
    let field = field(&notebook, &FieldQuestion { with_map: true, ..FieldQuestion::default() }, &desk)?;
    let overlays = overlays.into_iter().map(|overlay| Overlay::captioned(overlay, rings.as_ref())).collect();
    Ok(Whole { notebook, rings, reduction, field, overlays })
}

/// Writes the page, in the form that `form` gives it, to `target`, or to `results/report.html` of the notebook.
pub(crate) fn write(
    whole: &Whole,
    field_unit: &FieldUnit,
    target: Option<&Path>,
    form: impl Fn(&str) -> Result<Vec<u8>, Ending>,
) -> Result<PathBuf, Ending> {
    let input = ReportInput {
        notebook: &whole.notebook,
        reduction: &whole.reduction,
        rings: whole.rings.as_ref(),
        field: Some(&whole.field),
        overlays: &whole.overlays,
        field_unit,
        path: None,
    };
    let html = report_html(&input).map_err(|fault| Ending::Program(fault.to_string()))?;
    let bytes = form(&html)?;
    let figures = arcmass_report::figures(&input).map_err(|fault| Ending::Program(fault.to_string()))?;
    for (name, bytes) in figures {
        if let Err(fault) = whole.notebook.write_result(&format!("figures/{name}"), &bytes) {
            say(&format!("○ {fault}; {}", fault.remedy()));
            break;
        }
    }
    put(&whole.notebook, "report.html", target, &bytes)
}

/// Writes a page where it was asked for, else into `results/`.
fn put(notebook: &Notebook, name: &str, target: Option<&Path>, bytes: &[u8]) -> Result<PathBuf, Ending> {
    let Some(path) = target else {
        return notebook
            .write_result(name, bytes)
            .map_err(|fault| Ending::input(&format!("results/{name}"), &fault.to_string(), fault.remedy()));
    };
    write_beside(path, bytes).map_err(|fault| {
        let shown = path.display().to_string();
        Ending::input(
            &shown,
            &format!("the page can't be written: {fault}"),
            "choose a folder you may write to",
        )
    })?;
    Ok(path.to_owned())
}

/// Keeps the reduction in `results/`; a folder that can't be written is said and changes nothing else.
pub(crate) fn keep_reduction(whole: &Whole) -> Result<(), Ending> {
    crate::commands::rings::keep_reduction(&whole.notebook, &whole.reduction)
}

/// Writes a file whole or not at all: beside it first, then renamed.
pub(crate) fn write_beside(path: &Path, bytes: &[u8]) -> std::io::Result<()> {
    let folder =
        path.parent().filter(|folder| !folder.as_os_str().is_empty()).unwrap_or_else(|| Path::new("."));
    let mut name = path.file_name().unwrap_or_default().to_owned();
    name.push(".part");
    let beside = folder.join(name);
    let written = fs::File::create(&beside).and_then(|mut file| {
        file.write_all(bytes)?;
        file.sync_all()
    });
    let renamed = written.and_then(|()| fs::rename(&beside, path));
    if renamed.is_err() {
        let _ = fs::remove_file(&beside);
    }
    renamed
}

/// Writes a figure or another file where a person asked for it.
pub(crate) fn write_file(path: &Path, bytes: &[u8]) -> Result<(), Ending> {
    write_beside(path, bytes).map_err(|fault| {
        let shown = path.display().to_string();
        Ending::input(
            &shown,
            &format!("the file can't be written: {fault}"),
            "choose a folder you may write to",
        )
    })
}
