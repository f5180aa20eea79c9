//! House rules that a program can check: no machine's paths, no dead links, no term without its code.

use std::path::Path;

use crate::repository::{files, rust_text, text, word_places};

/// Beginnings of paths of one machine; written in two parts so that this file does not break its own rule.
const MACHINE_PATHS: &[&str] = &[
    concat!("/wo", "rk/"),
    concat!("/ro", "ot/"),
    concat!("/ho", "me/"),
    concat!("/fa", "rm/"),
    concat!("/Us", "ers/"),
];

/// Hosts of package registries.
const REGISTRY_HOSTS: &[&str] = &[
    concat!("crates", ".io"),
    concat!("registry.npm", "js"),
    concat!("py", "pi.org"),
    concat!("deb.deb", "ian"),
];

/// Macros that stand for work not done.
const UNDONE: &[&str] = &[concat!("todo", "!("), concat!("unimplemented", "!("), concat!("db", "g!(")];

/// Made by cargo, which writes the registry's host itself.
const LEFT_OUT: &[&str] = &["Cargo.lock"];

/// One sentence for each broken rule.
pub(crate) fn offences(root: &Path) -> Result<Vec<String>, String> {
    let names = files(root)?;
    let mut offences = Vec::new();
    for name in names.iter().filter(|name| !LEFT_OUT.contains(&name.as_str())) {
        if let Some(text) = text(&root.join(name)) {
            offences.extend(in_text(name, &text));
            if name.ends_with(".md") {
                offences.extend(dead_links(root, name, &text));
            }
        }
    }
    offences.extend(dead_paths(root));
    offences.extend(terms_without_code(root));
    offences.extend(unread_references(root));
    offences.extend(crate::words::offences(root)?);
    Ok(offences)
}

fn in_text(name: &str, text: &str) -> Vec<String> {
    let mut offences = Vec::new();
    for (number, line) in (1..).zip(text.lines()) {
        let found = MACHINE_PATHS.iter().find(|path| starts_a_path(line, path));
        if let Some(found) = found.or_else(|| REGISTRY_HOSTS.iter().find(|host| line.contains(**host))) {
            offences.push(format!("{name}:{number}: `{found}` belongs to one machine or registry"));
        }
        if let Some(found) = UNDONE.iter().find(|word| name.ends_with(".rs") && line.contains(**word)) {
            offences.push(format!("{name}:{number}: `{found}…` stands for work that is not done"));
        }
    }
    if name.ends_with(".rs") && !text.starts_with("//!") {
        offences.push(format!("{name}: does not open with a `//!` sentence"));
    }
    offences
}

/// Whether the path stands at its beginning here: a folder of that name deeper in a path is not one.
fn starts_a_path(line: &str, path: &str) -> bool {
    let is_inside = |letter: char| letter.is_alphanumeric() || "._-/".contains(letter);
    line.match_indices(path).any(|(at, _)| !line[..at].ends_with(is_inside))
}

/// Relative links and pictures of a page that lead nowhere.
fn dead_links(root: &Path, name: &str, text: &str) -> Vec<String> {
    let folder = root.join(name).parent().map(Path::to_path_buf).unwrap_or_default();
    let targets = text.split("](").skip(1).filter_map(|rest| rest.split(')').next());
    let relative = targets.filter(|target| !target.contains("://") && !target.starts_with('#'));
    let files = relative.map(|target| target.split('#').next().unwrap_or_default());
    let dead = files.filter(|file| !folder.join(file).exists());
    dead.map(|file| format!("{name}: the link to `{file}` leads nowhere")).collect()
}

/// Paths in the README's table of wishes that do not exist.
fn dead_paths(root: &Path) -> Vec<String> {
    let readme = text(&root.join("README.md")).unwrap_or_default();
    let paths = wish_paths(&readme);
    if paths.is_empty() {
        return vec!["README.md: has no table under a heading `Where do I change …?`".to_owned()];
    }
    let dead = paths.into_iter().filter(|path| !root.join(path).exists());
    dead.map(|path| format!("README.md: `{path}` in the table of wishes does not exist")).collect()
}

/// What stands in backquotes in the last column of the table.
fn wish_paths(readme: &str) -> Vec<String> {
    let after = readme.lines().skip_while(|line| !line.to_lowercase().contains("where do i change")).skip(1);
    let table = after.take_while(|line| !line.starts_with('#')).filter(|line| line.starts_with('|'));
    table.filter_map(|row| row.trim_matches('|').split('|').next_back()).flat_map(quoted).collect()
}

fn quoted(text: &str) -> Vec<String> {
    text.split('`').skip(1).step_by(2).map(str::to_owned).collect()
}

/// Types named in the list of words that the code does not define.
fn terms_without_code(root: &Path) -> Vec<String> {
    let Some(words) = text(&root.join("docs/words.md")) else {
        return vec!["docs/words.md is missing".to_owned()];
    };
    let code = rust_text(&[root.join("crates")]);
    let types = quoted(&words).into_iter().filter(|word| is_type_name(word));
    let unknown = types.filter(|name| !is_defined(&code, name));
    unknown.map(|name| format!("docs/words.md: no type `{name}` is defined in the code")).collect()
}

/// `FluxDensity`, or `Q`; not `V_0` or `mass_kg`. A type's parameters are left out before.
fn is_type_name(word: &str) -> bool {
    let has_small = word.chars().skip(1).any(char::is_lowercase);
    word.starts_with(char::is_uppercase)
        && word.chars().all(char::is_alphanumeric)
        && (has_small || word == "Q")
}

/// What stands before the name of a type where it is defined; the last two begin the macro that makes typed quantities.
const DEFINING: &[&str] = &["struct", "enum", "trait", "type", "quantity!(", "quantity! {"];

fn is_defined(code: &str, name: &str) -> bool {
    word_places(code, name).any(|at| {
        let before = code[..at].trim_end();
        DEFINING.iter().any(|word| before.ends_with(word))
    })
}

/// Reference files that no test reads.
fn unread_references(root: &Path) -> Vec<String> {
    let unread = reference_readers(root).into_iter().filter(|(_, readers)| readers.is_empty());
    unread.map(|(file, _)| format!("reference/{file}: no test reads it")).collect()
}

/// Each file of reference values with the crates whose code or tests read it.
pub(crate) fn reference_readers(root: &Path) -> Vec<(String, Vec<String>)> {
    let crates = folder_names(&root.join("crates"));
    let texts: Vec<_> = crates
        .into_iter()
        .map(|name| {
            let folder = root.join("crates").join(&name);
            (name, rust_text(&[folder.join("src"), folder.join("tests")]))
        })
        .collect();
    let tables = folder_names(&root.join("reference")).into_iter().filter(|name| !name.ends_with(".md"));
    tables
        .map(|table| {
            let stem = table.trim_end_matches(".toml").to_owned();
            let readers = texts.iter().filter(|(_, text)| reads(text, &table, &stem));
            let readers = readers.map(|(name, _)| format!("crates/{name}")).collect();
            (table, readers)
        })
        .collect()
}

/// A table is read by its file name, or by its stem handed to the crate's own reader.
fn reads(text: &str, table: &str, stem: &str) -> bool {
    text.contains(table) || text.contains(&format!("\"{stem}\""))
}

fn folder_names(folder: &Path) -> Vec<String> {
    let entries = std::fs::read_dir(folder).into_iter().flatten().flatten();
    let mut names: Vec<String> =
        entries.map(|entry| entry.file_name().to_string_lossy().into_owned()).collect();
    names.sort();
    names
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_machines_path_is_found_and_a_module_is_not() {
        let path = MACHINE_PATHS[0];
        assert!(starts_a_path(&format!("see {path}main"), path));
        assert!(!starts_a_path(&format!("lab/photograph{path}x"), path));
    }

    #[test]
    fn the_last_column_holds_the_paths() {
        let readme = "# Where do I change …?\n\n| wish | place |\n| --- | --- |\n| a `word` | `a/b.rs`, `c` |\n\n# Next\n| x | `y` |\n";
        assert_eq!(wish_paths(readme), ["a/b.rs", "c"]);
    }

    #[test]
    fn types_are_told_from_symbols() {
        assert!(is_type_name("FluxDensity") && is_type_name("Q"));
        assert!(!is_type_name("V_0") && !is_type_name("B") && !is_type_name("mass_kg"));
        assert!(
            is_defined("pub struct Measured<T> {", "Measured") && !is_defined("Measured::new()", "Measured")
        );
    }

    #[test]
    fn a_file_without_its_sentence_is_an_offence() {
        assert_eq!(in_text("a.rs", "use x;\n").len(), 1);
        assert!(in_text("a.rs", "//! Says what.\n").is_empty());
    }
}
