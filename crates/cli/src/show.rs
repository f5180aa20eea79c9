//! Printing for people: aligned columns, marks before colour, 80 columns wide.

use std::io::Write;

use arcmass_lab::document::{CaveatEntry, Finding, Q};
use arcmass_notebook::printable;
use arcmass_quantity::print;

use crate::ending::Ending;

/// Width of the text, columns.
const WIDTH: usize = 80;

/// Lines collected, then written at once.
#[derive(Debug, Default)]
pub(crate) struct Sheet {
    text: String,
}

impl Sheet {
    /// One line.
    pub(crate) fn line(&mut self, text: impl AsRef<str>) {
        self.text.push_str(&printable(text.as_ref()));
        self.text.push('\n');
    }

    /// An empty line.
    pub(crate) fn gap(&mut self) {
        self.text.push('\n');
    }

    /// A paragraph folded at the width, with a mark before its first line.
    pub(crate) fn paragraph(&mut self, mark: &str, text: &str) {
        let indent = mark.chars().count();
        let mut line = mark.to_owned();
        let mut used = indent;
        for word in printable(text).split_whitespace() {
            let length = word.chars().count();
            if used + 1 + length > WIDTH && used > indent {
                self.text.push_str(line.trim_end());
                self.text.push('\n');
                line = " ".repeat(indent);
                used = indent;
            }
            if used > indent {
                line.push(' ');
                used += 1;
            }
            line.push_str(word);
            used += length;
        }
        self.text.push_str(line.trim_end());
        self.text.push('\n');
    }

    /// A table: first row the heading, cells aligned to the right but for the first column.
    pub(crate) fn table(&mut self, rows: &[Vec<String>]) {
        let columns = rows.iter().map(Vec::len).max().unwrap_or(0);
        let widths: Vec<usize> = (0..columns)
            .map(|c| {
                rows.iter().filter_map(|row| row.get(c)).map(|cell| cell.chars().count()).max().unwrap_or(0)
            })
            .collect();
        for row in rows {
            let mut line = String::from("  ");
            for (c, cell) in row.iter().enumerate() {
                let space = " ".repeat(widths[c] - cell.chars().count());
                if c == 0 {
                    line.push_str(cell);
                    line.push_str(&space);
                } else {
                    line.push_str("  ");
                    line.push_str(&space);
                    line.push_str(cell);
                }
            }
            self.line(line.trim_end());
        }
    }

    /// Findings and caveats with their remedies.
    pub(crate) fn notes(&mut self, findings: &[Finding], caveats: &[CaveatEntry]) {
        for finding in findings {
            self.gap();
            self.paragraph("▲ ", &format!("{}.", capital(&finding.sentence)));
            self.paragraph("    remedy: ", &finding.remedy);
        }
        if caveats.is_empty() {
            return;
        }
        self.gap();
        self.line("Caveats:");
        for caveat in caveats {
            self.paragraph("  ○ ", &format!("{}.", capital(&caveat.sentence)));
            self.paragraph("      remedy: ", &caveat.remedy);
        }
    }

    /// Writes all of it to standard output.
    pub(crate) fn out(self) -> Result<(), Ending> {
        let mut stdout = anstream::stdout().lock();
        stdout.write_all(self.text.as_bytes())?;
        stdout.flush()?;
        Ok(())
    }
}

/// First letter raised.
pub(crate) fn capital(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().map_or_else(String::new, |first| first.to_uppercase().chain(letters).collect())
}

/// `45.63(8) mm`.
pub(crate) fn with_unit(q: &Q, unit: &str) -> String {
    format!("{} {unit}", bare(q))
}

/// `45.63(8)`; without idle zeros where nothing is uncertain.
pub(crate) fn bare(q: &Q) -> String {
    if q.standard_uncertainty > 0.0 {
        return print::short(q.value, q.standard_uncertainty);
    }
    let text = print::significant(q.value, 6);
    if text.contains('.') && !text.contains('×') {
        text.trim_end_matches('0').trim_end_matches('.').to_owned()
    } else {
        text
    }
}

/// Says which files were written.
pub(crate) fn written(sheet: &mut Sheet, files: &[String]) {
    if files.is_empty() {
        return;
    }
    sheet.gap();
    sheet.line("Figures, each as SVG and beside it as text:");
    for file in files {
        sheet.line(format!("  {file}"));
    }
}

/// One JSON document on standard output; caveats on standard error.
pub(crate) fn json<T: serde::Serialize>(document: &T, caveats: &[CaveatEntry]) -> Result<(), Ending> {
    let text = serde_json::to_string_pretty(document)
        .map_err(|fault| Ending::Program(format!("the result can't be written as JSON: {fault}")))?;
    for caveat in caveats {
        crate::ending::say(&format!("○ {}; {}", caveat.sentence, caveat.remedy));
    }
    let mut stdout = std::io::stdout().lock();
    stdout.write_all(text.as_bytes())?;
    stdout.write_all(b"\n")?;
    stdout.flush()?;
    Ok(())
}
