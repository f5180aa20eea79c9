//! The list of words in `docs/words.md`, kept: what a person reads uses the terms of the trade.

use std::path::Path;

use crate::repository::{files, text};

/// Heading of the list in `docs/words.md`: a table of `what is not written | what is written instead`.
const HEADING: &str = "## Not written";
/// Where the page's and the command's sentences are made.
const SOURCES: [&str; 10] =
    ["cli", "web", "report", "class", "lab", "notebook", "photo", "fit", "quantity", "pdf"];
/// Here a person types a value with its uncertainty, or such text is written for them to type over:
/// `150 mm ± 0.5 mm`; or a sign is left open, `d ± 2c`.
const TYPED: [&str; 11] = [
    "crates/class/src/simulate/bench.rs",
    "crates/class/src/slips.rs",
    "crates/web/src/pages/bench.rs",
    "crates/web/src/pages/bench_words.rs",
    "crates/notebook/src/edit/typed.rs",
    "crates/lab/src/demo/files.rs",
    "crates/lab/src/simulate/files.rs",
    "crates/lab/src/field_unit.rs",
    "crates/quantity/src/print.rs",
    "crates/quantity/src/text.rs",
    "crates/quantity/src/dimension.rs",
];
/// Its doc comments are the command's help.
const HELP: &str = "crates/cli/src/arguments.rs";

/// One word or phrase that is not written, and what is.
#[derive(Debug, Clone, PartialEq, Eq)]
struct Instead {
    not: String,
    but: String,
}

/// One sentence for each old word that a person would still read.
pub(crate) fn offences(root: &Path) -> Result<Vec<String>, String> {
    let list = text(&root.join("docs/words.md")).map(|words| list(&words)).unwrap_or_default();
    if list.is_empty() {
        return Ok(vec![format!("docs/words.md: has no table under `{HEADING}`")]);
    }
    let mut offences = Vec::new();
    for name in files(root)? {
        let is_source = !name.ends_with("tests.rs")
            && SOURCES.iter().any(|one| name.starts_with(&format!("crates/{one}/src/")));
        let is_script = name.starts_with("crates/web/assets/") && name.ends_with(".js");
        let is_page = name == "README.md" || (name.starts_with("docs/") && name.ends_with(".md"));
        let Some(text) = (is_source || is_script || is_page).then(|| text(&root.join(&name))).flatten()
        else {
            continue;
        };
        let read = if is_page { prose(&text) } else { sentences(&text, name == HELP) };
        for (line, words) in read {
            offences.extend(in_words(&name, line, &words, &list));
        }
    }
    Ok(offences)
}

fn in_words(name: &str, line: usize, words: &str, list: &[Instead]) -> Vec<String> {
    let seen = words.to_lowercase();
    let found = list.iter().filter(|one| holds(&seen, &one.not));
    let mut offences: Vec<String> = found
        .map(|one| format!("{name}:{line}: `{}` is not written here, but {}", one.not, one.but))
        .collect();
    if name.ends_with(".rs") && words.contains('±') && !TYPED.contains(&name) {
        offences.push(format!(
            "{name}:{line}: `±` names no k and no coverage probability; write `9.12(7)` or `u =`"
        ));
    }
    offences
}

/// Whether the phrase stands there with nothing of a word or a name on either side.
fn holds(text: &str, phrase: &str) -> bool {
    let is_inside = |letter: char| letter.is_alphanumeric() || letter == '_';
    text.match_indices(phrase).any(|(at, _)| {
        let (before, after) = (&text[..at], &text[at + phrase.len()..]);
        !before.ends_with(is_inside) && !after.starts_with(is_inside)
    })
}

/// The rows of the list; several phrases of a first cell are parted by commas.
fn list(words: &str) -> Vec<Instead> {
    let after = words.lines().skip_while(|line| *line != HEADING).skip(1);
    let rows =
        after.take_while(|line| !line.starts_with("## ")).filter(|line| line.starts_with("| ")).skip(2);
    let cells = rows.filter_map(|row| row.trim_matches('|').split_once('|'));
    cells
        .flat_map(|(not, but)| {
            let but = but.trim().to_owned();
            let phrases = not.split(',').map(|phrase| phrase.trim().to_lowercase());
            phrases.map(move |not| Instead { not, but: but.clone() }).collect::<Vec<_>>()
        })
        .collect()
}

/// A page's lines without code, and without the list itself.
fn prose(text: &str) -> Vec<(usize, String)> {
    let (mut is_code, mut is_list) = (false, false);
    let mut lines = Vec::new();
    for (number, line) in (1..).zip(text.lines()) {
        if line.starts_with("```") {
            is_code = !is_code;
        }
        if line.starts_with("## ") {
            is_list = line == HEADING;
        }
        if !is_code && !is_list && !line.starts_with("    ") {
            lines.push((number, without_code(line)));
        }
    }
    lines
}

/// What stands outside backquotes and placeholders.
fn without_code(text: &str) -> String {
    let outside: String = text.split('`').step_by(2).collect::<Vec<_>>().join(" ");
    let mut plain = String::new();
    let mut depth = 0_usize;
    for letter in outside.chars() {
        match letter {
            '{' => depth += 1,
            '}' => depth = depth.saturating_sub(1),
            _ if depth == 0 => plain.push(letter),
            _ => {}
        }
    }
    plain
}

/// The sentences in a source: its string literals with their lines, tests and names of things left out; with the doc
/// comments where they are help.
fn sentences(source: &str, with_docs: bool) -> Vec<(usize, String)> {
    let end = source.find("#[cfg(test)]\nmod ").unwrap_or(source.len());
    let source = &source[..end];
    let mut found = Vec::new();
    let mut at = 0;
    while let Some(letter) = source[at..].chars().next() {
        let rest = &source[at..];
        let length = if rest.starts_with("//") {
            let length = rest.find('\n').unwrap_or(rest.len());
            if with_docs && rest.starts_with("///") {
                found.push((at, rest[3..length].to_owned()));
            }
            length
        } else if letter == '\'' {
            length_of_letter(rest)
        } else if letter == '"' {
            let length = length_of_literal(rest, source[..at].ends_with('#'));
            found.push((at, rest[1..length].to_owned()));
            length
        } else {
            letter.len_utf8()
        };
        at += length;
    }
    let line = |at: usize| 1 + source[..at].matches('\n').count();
    let shown = found.into_iter().filter(|(_, text)| is_read(text));
    shown.map(|(at, text)| (line(at), without_code(&joined(&text)))).collect()
}

/// `'"'` or a lifetime's apostrophe: how much of it to pass over.
fn length_of_letter(rest: &str) -> usize {
    let mut letters = rest.char_indices().skip(1);
    let Some((_, first)) = letters.next() else { return rest.len() };
    if first == '\\' {
        letters.next();
    }
    letters.next().filter(|(_, letter)| *letter == '\'').map_or(1, |(at, _)| at + 1)
}

/// To the closing quote; of a raw literal to the quote with a sharp behind it.
fn length_of_literal(rest: &str, is_raw: bool) -> usize {
    if is_raw {
        return rest.find("\"#").map_or(rest.len(), |at| at + 1);
    }
    let mut is_escaped = false;
    for (at, letter) in rest.char_indices().skip(1) {
        match letter {
            _ if is_escaped => is_escaped = false,
            '\\' => is_escaped = true,
            '"' => return at + 1,
            _ => {}
        }
    }
    rest.len()
}

/// A name of a class, a key or a column is no sentence.
fn is_read(text: &str) -> bool {
    text.contains(' ') || (text.starts_with(char::is_uppercase) && !text.contains('_'))
}

/// A literal over several lines, as it is printed.
fn joined(text: &str) -> String {
    let mut parts = text.split("\\\n");
    let mut out = parts.next().unwrap_or_default().to_owned();
    for part in parts {
        out.push_str(part.trim_start());
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    const WORDS: &str = "# Words\n\n## Not written\n\nSaid why.\n\n| not | but |\n| --- | --- |\n| the muzzle, Muzzle’s | anode aperture |\n\n## Next\n| x | y |\n";

    #[test]
    fn the_list_is_read_phrase_by_phrase() {
        let words = list(WORDS);
        let not: Vec<&str> = words.iter().map(|one| one.not.as_str()).collect();
        assert_eq!(not, ["the muzzle", "muzzle’s"]);
        assert!(words.iter().all(|one| one.but == "anode aperture"));
    }

    #[test]
    fn old_words_are_found_where_a_person_reads_them_and_nowhere_else() {
        let words = list(WORDS);
        let found = |source: &str| {
            let read = sentences(source, false);
            read.iter().flat_map(|(line, text)| in_words("a.rs", *line, text, &words)).count()
        };
        assert_eq!(found("fn a() { say(\"field at the muzzle\"); }"), 1);
        assert_eq!(found("say(\"beyond \\\n    the muzzle\");"), 1, "over two lines");
        assert_eq!(found("let quote = '\"'; say(\"The muzzle stands\");"), 1, "a quote as a letter");
        assert_eq!(found("// at the muzzle\nlet a = \"muzzle\"; say(\"state `the muzzle`\");"), 0);
        assert_eq!(found("say(\"{the muzzle} the muzzle_uncertainty\");"), 0);
        assert_eq!(found("#[cfg(test)]\nmod tests { say(\"the muzzle\"); }"), 0);
        assert_eq!(found("say(\"mass ± 1 %\");"), 1, "a plus-minus names its k");
        assert_eq!(prose("at `the muzzle`\n## Not written\nthe muzzle\n").len(), 1);
    }
}
