//! What is wrong with a notebook, where, and what to do about it.

use std::collections::HashSet;
use std::fmt;
use std::ops::Range;

/// Faults listed of one file before the rest is only counted.
pub(crate) const LISTED_PER_FILE: usize = 500;

/// Longest piece of a file that a fault repeats, characters.
const LONGEST_QUOTE: usize = 80;

/// Longest source line shown, characters.
const LONGEST_EXCERPT: usize = 100;

/// One thing wrong with a notebook.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Fault {
    /// File, relative to the notebook folder where it lies inside.
    pub file: String,
    /// Line, counted from 1; none where the fault is the file itself.
    pub line: Option<usize>,
    /// Column in characters, counted from 1.
    pub column: Option<usize>,
    /// What is there.
    pub found: String,
    /// What may be there.
    pub accepted: String,
    /// What to do.
    pub remedy: String,
    /// The line as it stands in the file.
    pub excerpt: Option<Excerpt>,
}

/// A line of a file with the piece that is meant.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Excerpt {
    /// The line, or the part of it around the piece; no control characters.
    pub text: String,
    /// Characters before the piece.
    pub before: usize,
    /// Characters of the piece, at least 1.
    pub length: usize,
}

impl Fault {
    /// A fault of a whole file or folder.
    pub fn of_file(
        file: impl AsRef<str>,
        found: impl AsRef<str>,
        accepted: impl AsRef<str>,
        remedy: impl AsRef<str>,
    ) -> Self {
        Self {
            file: printable(file.as_ref()),
            line: None,
            column: None,
            found: printable(found.as_ref()),
            accepted: printable(accepted.as_ref()),
            remedy: printable(remedy.as_ref()),
            excerpt: None,
        }
    }
}

impl fmt::Display for Fault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}", self.file)?;
        if let (Some(line), Some(column)) = (self.line, self.column) {
            write!(f, ":{line}:{column}")?;
        }
        writeln!(f, ": {}", self.found)?;
        if let (Some(line), Some(excerpt)) = (self.line, &self.excerpt) {
            let number = line.to_string();
            let gap = " ".repeat(excerpt.before);
            let carets = "^".repeat(excerpt.length);
            writeln!(f, "{number:>9} | {}", excerpt.text)?;
            writeln!(f, "{:>9} | {gap}{carets}", "")?;
        }
        writeln!(f, " accepted: {}", self.accepted)?;
        write!(f, "   remedy: {}", self.remedy)
    }
}

/// All that is wrong with a notebook.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Faults(pub Vec<Fault>);

impl fmt::Display for Faults {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for fault in &self.0 {
            writeln!(f, "{fault}\n")?;
        }
        let mut files: Vec<_> = self.0.iter().map(|fault| &fault.file).collect();
        files.sort();
        files.dedup();
        let (faults, in_files) = (counted(self.0.len(), "fault"), counted(files.len(), "file"));
        write!(f, "{faults} in {in_files}; nothing was written")
    }
}

impl std::error::Error for Faults {}

fn counted(count: usize, word: &str) -> String {
    if count == 1 { format!("1 {word}") } else { format!("{count} {word}s") }
}

/// What a fault says, before its place is known.
pub(crate) struct Said {
    pub(crate) found: String,
    pub(crate) accepted: String,
    pub(crate) remedy: String,
}

/// The three parts of a fault.
pub(crate) fn said(found: impl Into<String>, accepted: impl Into<String>, remedy: impl Into<String>) -> Said {
    Said { found: found.into(), accepted: accepted.into(), remedy: remedy.into() }
}

/// A file's text, to find places in.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Source<'a> {
    pub(crate) file: &'a str,
    pub(crate) text: &'a str,
}

impl Source<'_> {
    /// A fault at a span of bytes; `line` if it is known already, which saves counting.
    pub(crate) fn fault(&self, span: Range<usize>, line: Option<usize>, said: Said) -> Fault {
        let start = self.floor(span.start);
        let (before, _) = self.text.split_at_checked(start).unwrap_or((self.text, ""));
        let line_start = before.rfind(['\n', '\r']).map_or(0, |at| at + 1);
        let whole_line = self.text.get(line_start..).unwrap_or("");
        let whole_line = whole_line.split(['\n', '\r']).next().unwrap_or("");
        let in_line = before.get(line_start..).unwrap_or("").trim_start_matches('\u{feff}').chars().count();
        let end = self.floor(span.end.min(line_start + whole_line.len()).max(start));
        let length = self.text.get(start..end).unwrap_or("").chars().count().max(1);
        let mut fault = Fault::of_file(self.file, said.found, said.accepted, said.remedy);
        fault.line = Some(line.unwrap_or_else(|| 1 + line_breaks(before)));
        fault.column = Some(in_line + 1);
        fault.excerpt = Some(excerpt(whole_line.trim_start_matches('\u{feff}'), in_line, length));
        fault
    }

    /// The nearest boundary of a character at or below a byte.
    fn floor(&self, mut at: usize) -> usize {
        at = at.min(self.text.len());
        while !self.text.is_char_boundary(at) {
            at -= 1;
        }
        at
    }
}

/// Line ends in a text: `\n`, `\r\n` or a lone `\r`.
pub(crate) fn line_breaks(text: &str) -> usize {
    let bytes = text.as_bytes();
    let ends = |pair: (usize, &u8)| match pair.1 {
        b'\n' => true,
        b'\r' => bytes.get(pair.0 + 1) != Some(&b'\n'),
        _ => false,
    };
    bytes.iter().enumerate().filter(|pair| ends(*pair)).count()
}

fn excerpt(line: &str, before: usize, length: usize) -> Excerpt {
    let skip = if before + length > LONGEST_EXCERPT { before.saturating_sub(LONGEST_EXCERPT / 2) } else { 0 };
    let shown = line.chars().skip(skip).take(LONGEST_EXCERPT);
    // one character for one, so that the carets stay below what they mean
    let text: String = shown.map(|c| if hidden(c) { ' ' } else { c }).collect();
    let before = before - skip;
    let room = text.chars().count().saturating_sub(before).max(1);
    Excerpt { text: text.trim_end().to_owned(), before, length: length.min(room) }
}

/// Whether printing a character could move the cursor, colour the screen or turn the reading direction.
fn hidden(c: char) -> bool {
    c.is_control() || matches!(c, '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}' | '\u{feff}')
}

/// A text without control characters, safe to print.
pub fn printable(text: &str) -> String {
    text.chars().filter(|c| !hidden(*c)).collect()
}

/// A piece of a file in quotes, shortened if it is long.
pub(crate) fn quote(text: &str) -> String {
    let clean = printable(text);
    if clean.chars().count() > LONGEST_QUOTE {
        let head: String = clean.chars().take(LONGEST_QUOTE).collect();
        format!("`{head}…`")
    } else {
        format!("`{clean}`")
    }
}

/// Gathers the faults of one file, up to a number no person reads through.
#[derive(Debug, Default)]
pub(crate) struct Sink {
    faults: Vec<Fault>,
    unlisted: usize,
    /// Part of the file could not be understood, so that what seems missing may be in that part.
    in_part: bool,
}

impl Sink {
    /// A sink for what was understood of a file, the whole of it or a part.
    pub(crate) fn of_part(in_part: bool) -> Self {
        Self { in_part, ..Self::default() }
    }

    pub(crate) fn push(&mut self, fault: Fault) {
        self.push_made(|| fault);
    }

    /// Makes the fault only if it is listed.
    pub(crate) fn push_made(&mut self, make: impl FnOnce() -> Fault) {
        if self.faults.len() < LISTED_PER_FILE {
            self.faults.push(make());
        } else {
            self.unlisted += 1;
        }
    }

    /// A fault that something is missing, or stands where it shouldn't.
    pub(crate) fn push_missing(&mut self, make: impl FnOnce() -> Fault) {
        if !self.in_part {
            self.push_made(make);
        }
    }

    pub(crate) fn is_empty(&self) -> bool {
        self.faults.is_empty()
    }

    /// Adds the faults of another sink that lie on lines without a fault so far, and above `end` if there is one.
    pub(crate) fn add_on_other_lines(&mut self, other: Self, end: Option<usize>) {
        let lines: HashSet<_> = self.faults.iter().map(|fault| fault.line).collect();
        let above = |line: Option<usize>| end.is_none() || line < end;
        let good = other.faults.into_iter().filter(|fault| !lines.contains(&fault.line) && above(fault.line));
        good.for_each(|fault| self.push(fault));
        self.unlisted += other.unlisted;
    }

    /// The faults in the order of their places.
    pub(crate) fn into_faults(mut self) -> Vec<Fault> {
        self.faults.sort_by_key(|fault| (fault.line, fault.column));
        if let (Some(last), true) = (self.faults.last(), self.unlisted > 0) {
            let found = format!("{} more faults in this file", self.unlisted);
            let fault = Fault::of_file(&last.file, found, "a file without faults", "mend those above first");
            self.faults.push(fault);
        }
        self.faults
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_fault_shows_its_line_and_points_at_the_piece() {
        let text = "[gun]\nvoltage_limit = \"12 mm\"\n";
        let source = Source { file: "bench.toml", text };
        let start = text.find("\"12").unwrap();
        let fault = source.fault(start..start + 7, None, said("a length", "a voltage", "write `12 V`"));
        assert_eq!((fault.line, fault.column), (Some(2), Some(17)));
        assert_eq!(
            fault.to_string(),
            "bench.toml:2:17: a length\n        2 | voltage_limit = \"12 mm\"\n          |                 ^^^^^^^\n \
             accepted: a voltage\n   remedy: write `12 V`"
        );
    }

    #[test]
    fn lines_are_counted_whatever_ends_them() {
        for text in ["a\nb\nc", "a\r\nb\r\nc", "a\rb\rc"] {
            let source = Source { file: "x", text };
            let fault = source.fault(text.len() - 1..text.len(), None, said("", "", ""));
            assert_eq!((fault.line, fault.column), (Some(3), Some(1)), "{text:?}");
        }
    }

    #[test]
    fn control_characters_never_reach_the_screen() {
        let text = "\u{1b}[31mred\u{7}\u{202e}";
        let source = Source { file: "ring\u{1b}[2J.csv", text };
        let shown = source.fault(5..8, None, said(quote(text), "", "")).to_string();
        assert!(!shown.chars().any(|c| c != '\n' && hidden(c)), "{shown:?}");
    }

    #[test]
    fn a_long_line_is_cut_around_the_piece() {
        let text = format!("{}X{}", "a".repeat(5000), "b".repeat(5000));
        let source = Source { file: "x", text: &text };
        let excerpt = source.fault(5000..5001, None, said("", "", "")).excerpt.unwrap();
        assert_eq!(excerpt.text.chars().nth(excerpt.before), Some('X'));
        assert!(excerpt.text.len() <= LONGEST_EXCERPT);
        assert!(quote(&text).chars().count() < 90);
    }

    #[test]
    fn offsets_inside_a_character_or_beyond_the_end_are_survived() {
        let source = Source { file: "x", text: "é\n" };
        for start in 0..6 {
            for end in 0..6 {
                let _ = source.fault(start..end, None, said("", "", ""));
            }
        }
    }

    #[test]
    fn the_end_of_the_list_counts_faults_and_files() {
        let one = Faults(vec![Fault::of_file("a", "b", "c", "d")]);
        assert!(one.to_string().ends_with("1 fault in 1 file; nothing was written"));
        let two = Faults(vec![Fault::of_file("a", "b", "c", "d"), Fault::of_file("e", "b", "c", "d")]);
        assert!(two.to_string().ends_with("2 faults in 2 files; nothing was written"));
    }

    #[test]
    fn faults_beyond_the_list_are_counted() {
        let mut sink = Sink::default();
        for _ in 0..LISTED_PER_FILE + 3 {
            sink.push(Fault::of_file("a", "b", "c", "d"));
        }
        assert_eq!(sink.into_faults().last().unwrap().found, "3 more faults in this file");
    }
}
