//! Splitting a table's text into rows and fields, each with its place.

use std::borrow::Cow;
use std::ops::Range;

/// Fields of one row that are kept; a row that has more is only counted.
const MOST_FIELDS: usize = 1024;

/// One field as written, without its quotation marks.
#[derive(Debug)]
pub(crate) struct Field<'a> {
    pub(crate) text: Cow<'a, str>,
    pub(crate) span: Range<usize>,
}

/// One row.
#[derive(Debug)]
pub(crate) struct Row<'a> {
    /// The first fields, up to more than any table has columns.
    pub(crate) fields: Vec<Field<'a>>,
    /// How many fields there are.
    pub(crate) field_count: usize,
    pub(crate) line: usize,
    pub(crate) span: Range<usize>,
    /// The quotation mark that is never closed, if there is one.
    pub(crate) open_quote: Option<Range<usize>>,
}

/// The rows of a table, one after another: no blank lines, no `#` lines.
///
/// Fields may stand in quotation marks, a doubled one inside for itself, and may then hold separators and line ends (as
/// RFC 4180 has it). Lines end in `\n`, `\r\n` or a lone `\r`.
#[derive(Debug)]
pub(crate) struct Rows<'a> {
    text: &'a str,
    at: usize,
    line: usize,
    separator: char,
}

impl<'a> Rows<'a> {
    /// Finds the separator in the first line that is no comment.
    pub(crate) fn new(text: &'a str) -> Self {
        let mut rows = Self { text, at: 0, line: 1, separator: ',' };
        rows.skip_idle_lines();
        rows.separator = sniff(rows.rest_of_line());
        rows
    }

    pub(crate) fn separator(&self) -> char {
        self.separator
    }

    fn rest(&self) -> &'a str {
        self.text.get(self.at..).unwrap_or("")
    }

    fn rest_of_line(&self) -> &'a str {
        let rest = self.rest();
        rest.split(['\n', '\r']).next().unwrap_or(rest)
    }

    fn skip_idle_lines(&mut self) {
        while !self.rest().is_empty() {
            let line = self.rest_of_line();
            // a line of bare tabs is an empty row, not a blank line, but says as little
            let idle = line.trim().is_empty() || line.trim_start().starts_with('#');
            if !idle {
                return;
            }
            self.at += line.len();
            self.pass_line_end();
        }
    }

    fn pass_line_end(&mut self) {
        let rest = self.rest();
        let width = match rest.as_bytes() {
            [b'\r', b'\n', ..] => 2,
            [b'\r' | b'\n', ..] => 1,
            _ => return,
        };
        self.at += width;
        self.line += 1;
    }

    /// A field without quotation marks.
    fn bare(&mut self) -> Field<'a> {
        let (start, rest) = (self.at, self.rest());
        let separator = self.separator;
        let end = rest.find([separator, '\n', '\r']).unwrap_or(rest.len());
        self.at += end;
        let text = rest.get(..end).unwrap_or("");
        // the place of a field is the place of its first letter
        let lead = text.len() - text.trim_start().len();
        let span = start + lead..start + text.trim_end().len().max(lead);
        Field { text: Cow::Borrowed(text), span }
    }

    /// A field in quotation marks, and whether they are closed.
    fn quoted(&mut self) -> (Field<'a>, bool) {
        let start = self.at;
        self.at += self.rest().len() - self.rest().trim_start_matches(' ').len() + 1;
        let mut text = String::new();
        let mut closed = false;
        while let Some(end) = self.rest().find('"') {
            let piece = self.rest().get(..end).unwrap_or("");
            self.line += crate::fault::line_breaks(piece);
            text.push_str(piece);
            self.at += end + 1;
            if !self.rest().starts_with('"') {
                closed = true;
                break;
            }
            text.push('"');
            self.at += 1;
        }
        if !closed {
            self.at = self.text.len();
        }
        let after = self.bare();
        text.push_str(&after.text);
        (Field { text: Cow::Owned(text), span: start..self.at }, closed)
    }
}

impl<'a> Iterator for Rows<'a> {
    type Item = Row<'a>;

    fn next(&mut self) -> Option<Row<'a>> {
        self.skip_idle_lines();
        if self.rest().is_empty() {
            return None;
        }
        let (line, start) = (self.line, self.at);
        let mut fields = Vec::new();
        let mut field_count = 0;
        let mut open_quote = None;
        loop {
            let begin = self.at;
            let quoted = self.rest().trim_start_matches(' ').starts_with('"');
            let (field, closed) = if quoted { self.quoted() } else { (self.bare(), true) };
            if !closed {
                open_quote = Some(begin..begin + 1);
            }
            field_count += 1;
            if field_count <= MOST_FIELDS {
                fields.push(field);
            }
            if !self.rest().starts_with(self.separator) {
                break;
            }
            self.at += self.separator.len_utf8();
        }
        let span = start..self.at;
        self.pass_line_end();
        Some(Row { fields, field_count, line, span, open_quote })
    }
}

/// The separator of a header line: whichever occurs most outside quotation marks.
fn sniff(header: &str) -> char {
    let mut inside = false;
    let mut counts = [('\t', 0_usize), (';', 0), (',', 0)];
    for c in header.chars() {
        inside ^= c == '"';
        if let (false, Some(count)) = (inside, counts.iter_mut().find(|count| count.0 == c)) {
            count.1 += 1;
        }
    }
    // the first of equals, and a comma where there is none
    let most = counts.iter().rev().max_by_key(|count| count.1);
    most.filter(|count| count.1 > 0).map_or(',', |count| count.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn split(text: &str) -> Vec<Vec<String>> {
        Rows::new(text).map(|row| row.fields.iter().map(|f| f.text.to_string()).collect()).collect()
    }

    #[test]
    fn separators_comments_quotes_and_line_ends() {
        for text in [
            "a,b\n1,2\n",
            "a;b\r\n1;2\r\n",
            "a\tb\r1\t2",
            "# by hand\n\na,b\n#x\n1,2",
            "\"a\",\"b\"\n\"1\",\"2\"\n\n",
        ] {
            assert_eq!(split(text), [["a", "b"], ["1", "2"]], "{text:?}");
        }
        assert_eq!(split("a,b\n\"x, \"\"y\"\"\nz\",2\n")[1], ["x, \"y\"\nz", "2"]);
        assert_eq!(split("a,b\n1,\n")[1], ["1", ""]);
        assert_eq!(split("a;b,c\n"), [["a", "b,c"]]);
        assert_eq!(split("a,b\n5\" ruler,2\n")[1], ["5\" ruler", "2"]);
        assert!(split("").is_empty());
        assert!(split("# only a comment").is_empty());
    }

    #[test]
    fn lines_are_counted_through_comments_and_quoted_line_ends() {
        let rows: Vec<_> = Rows::new("# c\r\na,b\r\n\"x\r\ny\",2\r\n3,4").collect();
        assert_eq!(rows.iter().map(|row| row.line).collect::<Vec<_>>(), [2, 3, 5]);
        assert_eq!(rows[2].fields[1].span, 22..23);
    }

    #[test]
    fn an_open_quote_is_noticed() {
        let rows: Vec<_> = Rows::new("a,b\n1,\"x\n3,4").collect();
        assert_eq!(rows[1].open_quote, Some(6..7));
    }
}
