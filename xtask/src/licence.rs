//! Licences of everything the project builds on, read as SPDX expressions.

use crate::metadata::Metadata;

/// Licences that may stand beside `MIT OR Apache-2.0`: all permissive.
const ALLOWED: &[&str] = &[
    "MIT",
    "MIT-0",
    "Apache-2.0",
    "BSD-2-Clause",
    "BSD-3-Clause",
    "ISC",
    "Zlib",
    "Unicode-3.0",
    "Unlicense",
    "CC0-1.0",
    "0BSD",
    "BSL-1.0",
];

/// Exceptions after `WITH`: they only add permission.
const ALLOWED_EXCEPTIONS: &[&str] = &["LLVM-exception"];

/// One sentence for each package whose licence is missing or not among the allowed ones.
pub(crate) fn offences(metadata: &Metadata) -> Vec<String> {
    let mut offences = Vec::new();
    for (name, version, licence) in metadata.foreign_packages() {
        match licence {
            None => offences.push(format!("{name} {version} names no licence")),
            Some(licence) => match is_allowed(&licence) {
                Ok(true) => {}
                Ok(false) => offences
                    .push(format!("{name} {version} is under `{licence}`, which is not among the allowed")),
                Err(why) => offences.push(format!("{name} {version} is under `{licence}`: {why}")),
            },
        }
    }
    offences
}

/// Whether an expression leaves a way that the allowed licences cover.
///
/// `AND` binds closer than `OR`; `/`, an older spelling, means `OR`. Source: SPDX specification 2.3, annex D.
fn is_allowed(expression: &str) -> Result<bool, String> {
    let spaced = expression.replace('/', " OR ").replace('(', " ( ").replace(')', " ) ");
    let mut words = spaced.split_whitespace().collect::<Vec<_>>();
    words.reverse();
    let verdict = either(&mut words)?;
    words.pop().map_or(Ok(verdict), |word| Err(format!("`{word}` stands where the expression should end")))
}

fn either(words: &mut Vec<&str>) -> Result<bool, String> {
    let mut verdict = both(words)?;
    while words.last() == Some(&"OR") {
        words.pop();
        verdict |= both(words)?;
    }
    Ok(verdict)
}

fn both(words: &mut Vec<&str>) -> Result<bool, String> {
    let mut verdict = one(words)?;
    while words.last() == Some(&"AND") {
        words.pop();
        verdict &= one(words)?;
    }
    Ok(verdict)
}

fn one(words: &mut Vec<&str>) -> Result<bool, String> {
    let word = words.pop().ok_or("the expression ends too early")?;
    if word == "(" {
        let verdict = either(words)?;
        return if words.pop() == Some(")") {
            Ok(verdict)
        } else {
            Err("a bracket is not closed".to_owned())
        };
    }
    let mut verdict = ALLOWED.contains(&word);
    if words.last() == Some(&"WITH") {
        words.pop();
        let exception = words.pop().ok_or("no exception follows WITH")?;
        verdict &= ALLOWED_EXCEPTIONS.contains(&exception);
    }
    Ok(verdict)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_allowed_way_is_enough_and_all_parts_are_needed() {
        for (expression, verdict) in [
            ("MIT", true),
            ("GPL-3.0-only", false),
            ("MIT OR GPL-3.0-only", true),
            ("MIT AND GPL-3.0-only", false),
            ("(MIT OR Apache-2.0) AND Unicode-3.0", true),
            ("GPL-3.0-only OR MIT AND ISC", true),
            ("(GPL-3.0-only OR MIT) AND MPL-2.0", false),
            ("MIT/Apache-2.0", true),
            ("Apache-2.0 WITH LLVM-exception", true),
            ("Apache-2.0 WITH another-exception", false),
        ] {
            assert_eq!(is_allowed(expression), Ok(verdict), "{expression}");
        }
    }

    #[test]
    fn an_expression_that_cannot_be_read_is_an_offence() {
        for expression in ["", "MIT OR", "(MIT", "MIT Apache-2.0", "MIT)"] {
            assert!(is_allowed(expression).is_err(), "{expression}");
        }
    }
}
