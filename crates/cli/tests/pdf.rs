//! The report, the worksheet and its key as PDF from the command, in a build with the typesetter.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]
#![cfg(feature = "pdf")]

mod simulated;

use std::fs;
use std::path::Path;
use std::process::{Command, Output};

use simulated::typical;

fn report(notebook: &Path, words: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_arcmass")).arg("report").arg(notebook).args(words).output().unwrap()
}

/// How often a name of the PDF's own language (ISO 32000-2) stands in it outside compressed streams.
fn count(pdf: &[u8], word: &str) -> usize {
    pdf.windows(word.len()).filter(|window| *window == word.as_bytes()).count()
}

#[test]
fn a_report_ends_in_pdf_with_its_photographs_inside() {
    let folder = typical();
    let to = folder.path().join("for-the-file.pdf");
    let output = report(folder.path(), &["--to", to.to_str().unwrap()]);
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    let pdf = fs::read(&to).unwrap();
    assert!(pdf.starts_with(b"%PDF-") && pdf.trim_ascii_end().ends_with(b"%%EOF"));
    // five rings and at least one scale, as the JPEG that they are
    assert!(count(&pdf, "/DCTDecode") >= 6, "{}", count(&pdf, "/DCTDecode"));
    assert!(count(&pdf, "/MediaBox[0 0 595.") > 0 || count(&pdf, "/MediaBox [0 0 595.") > 0);
}

#[test]
fn worksheet_and_key_are_set_on_letter_sheets_too() {
    let folder = typical();
    for sheet in ["worksheet", "key"] {
        let to = folder.path().join(format!("{sheet}.pdf"));
        let words = ["--sheet", sheet, "--paper", "letter", "--to", to.to_str().unwrap()];
        let output = report(folder.path(), &words);
        assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
        assert!(fs::read(&to).unwrap().starts_with(b"%PDF-"), "{sheet}");
    }
}
