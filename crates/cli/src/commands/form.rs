//! The form of a printed page, by the ending of its file: HTML, or PDF where the typesetter is built in.

use std::path::Path;

use crate::arguments::Paper;
use crate::ending::Ending;

/// A page's form.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Form {
    /// One file that stands alone, print-ready.
    Html,
    /// Set by the typesetter.
    Pdf,
}

/// The form that a name's ending asks for.
pub(crate) fn form(path: &Path) -> Result<Form, Ending> {
    form_where(path, cfg!(feature = "pdf"))
}

fn form_where(path: &Path, has_typesetter: bool) -> Result<Form, Ending> {
    let ending = path.extension().and_then(|ending| ending.to_str()).unwrap_or_default().to_lowercase();
    match ending.as_str() {
        "html" | "htm" => Ok(Form::Html),
        "pdf" if has_typesetter => Ok(Form::Pdf),
        "pdf" => Err(Ending::input(
            "command line",
            "this build writes no PDF: the typesetter is not built in",
            "write HTML and print it from the browser, or build with `cargo build --release --features pdf`",
        )),
        _ => Err(Ending::input(
            "command line",
            &format!("the report's name must end in .html or .pdf; found `{}`", path.display()),
            "write, for example, --to report.html",
        )),
    }
}

impl Form {
    /// A page of HTML in this form.
    pub(crate) fn of(self, html: &str, paper: Paper) -> Result<Vec<u8>, Ending> {
        match self {
            Form::Html => Ok(html.as_bytes().to_vec()),
            Form::Pdf => typeset(html, paper),
        }
    }
}

#[cfg(feature = "pdf")]
fn typeset(html: &str, paper: Paper) -> Result<Vec<u8>, Ending> {
    let paper = match paper {
        Paper::A4 => arcmass_pdf::Paper::A4,
        Paper::Letter => arcmass_pdf::Paper::Letter,
    };
    arcmass_pdf::pdf(html, paper).map_err(|fault| Ending::Program(fault.to_string()))
}

#[cfg(not(feature = "pdf"))]
fn typeset(_: &str, _: Paper) -> Result<Vec<u8>, Ending> {
    Err(Ending::Program("a PDF was asked of a build without typesetter".to_owned()))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_build_without_typesetter_says_what_to_do_and_one_with_it_sets() {
        assert!(form_where(Path::new("a/report.pdf"), false).is_err());
        assert!(matches!(form_where(Path::new("report.PDF"), true), Ok(Form::Pdf)));
        assert!(matches!(form_where(Path::new("report.html"), false), Ok(Form::Html)));
        assert!(form_where(Path::new("report.doc"), true).is_err());
    }
}
