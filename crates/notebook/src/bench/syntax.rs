//! What isn't TOML in a bench file: one fault a line, and none that only follow from an earlier one.

use toml::de::Error;

use crate::fault::{Said, Sink, Source, line_breaks, printable, said};

/// Reports the parser's errors.
///
/// - **Gives** the line from which on nothing was understood, if a list isn't closed and swallows what follows.
pub(super) fn faults(source: Source<'_>, errors: &[Error], sink: &mut Sink) -> Option<usize> {
    let mut in_order: Vec<_> = errors.iter().collect();
    in_order.sort_by_key(|error| error.span().map(|span| span.start));
    // lines are counted from one error to the next, because a file may hold a hundred thousand of them
    let (mut line, mut counted_to, mut last) = (1, 0, None);
    for error in in_order {
        let span = error.span().unwrap_or(0..0);
        let to = before_a_pair(source.text, span.start);
        line += line_breaks(source.text.get(counted_to..to).unwrap_or(""));
        counted_to = to.max(counted_to);
        if let Some(open) = open_list(source.text, error) {
            let said = said(
                "a list that is not closed",
                "a list in brackets, such as `[\"0 mm\", \"-40 mm\", \"0 mm\"]`",
                "close it with `]`",
            );
            let fault = source.fault(open..open + 1, None, said);
            let first_line = fault.line;
            sink.push(fault);
            return first_line;
        }
        if last != Some(line) {
            last = Some(line);
            sink.push_made(|| source.fault(span, Some(line), what_to_say(error.message())));
        }
    }
    None
}

/// A place inside `\r\n` is taken for the one before it, so that the pair is counted as one line's end.
fn before_a_pair(text: &str, at: usize) -> usize {
    let is_inside = at > 0 && text.get(at - 1..at + 1) == Some("\r\n");
    if is_inside { at - 1 } else { at }
}

/// Where the list begins that an error shows to be open: the error stands below the line of the key.
fn open_list(text: &str, error: &Error) -> Option<usize> {
    if !error.message().contains("array") {
        return None;
    }
    let before = text.get(..error.span()?.start)?;
    let key = before.rfind('=')?;
    let open = key + text.get(key..)?.find('[')?;
    let between = before.get(key..)?;
    (open < before.len() && line_breaks(between) > 0).then_some(open)
}

fn what_to_say(message: &str) -> Said {
    let remedy = if message.contains("duplicate key") {
        "keep one of the two and delete the other"
    } else if message.contains("must be quoted") || message.contains("mantissa") {
        "put text and values with a unit in quotation marks, as in `mean_radius = \"150.0(5) mm\"`"
    } else if message.contains("key with no value") || message.contains("unquoted key") {
        "write `=` between key and value, or write the line as a `#` comment"
    } else if message.contains("string") {
        "close the quotation mark on the same line"
    } else {
        "correct this line, or write it as a `#` comment"
    };
    said(printable(message), "`key = value`, a `[table]` or a `#` comment, as TOML has it", remedy)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_line_end_of_two_letters_is_counted_once_wherever_the_error_lies() {
        let text = "a = \"b\r\nc";
        assert_eq!((before_a_pair(text, 7), before_a_pair(text, 6), before_a_pair(text, 8)), (6, 6, 8));
        assert_eq!(before_a_pair("x", 0), 0);
    }
}
