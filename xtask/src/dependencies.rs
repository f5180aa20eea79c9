//! Dependencies that no code names, found without a further tool.

use std::collections::BTreeSet;
use std::path::Path;

use crate::metadata::{Member, Metadata};
use crate::repository::{rust_text, text, word_places};

/// Dependencies that are needed though no code names them: package, dependency, reason.
const NEEDED_UNSEEN: &[(&str, &str, &str)] = &[];

/// One sentence for each dependency that could go or stands in the wrong table.
pub(crate) fn offences(root: &Path, metadata: &Metadata) -> Vec<String> {
    let members = metadata.members();
    let mut offences: Vec<String> = members.iter().flat_map(of_member).collect();
    offences.extend(unused_in_workspace(root, &members));
    offences
}

fn of_member(member: &Member) -> Vec<String> {
    let in_folder = |name: &str| member.folder.join(name);
    let own = rust_text(&[in_folder("src")]);
    let aside = rust_text(&["tests", "benches", "examples"].map(in_folder));
    let mut offences = Vec::new();
    for need in &member.needs {
        let is_allowed =
            NEEDED_UNSEEN.iter().any(|(of, what, _)| *of == member.name && *what == need.package);
        let in_own = is_named(&own, &need.in_code);
        let in_any = in_own || is_named(&aside, &need.in_code);
        if is_allowed || in_own || (in_any && !need.is_normal) {
            continue;
        }
        let remedy = if in_any {
            "only tests, benches or examples name it: move it to dev-dependencies"
        } else {
            "no code names it: take it out"
        };
        offences.push(format!("{} depends on {}: {remedy}", member.name, need.package));
    }
    offences
}

/// Whether the text has a path that begins with the name, or a `use` of it.
fn is_named(text: &str, name: &str) -> bool {
    word_places(text, name).any(|at| {
        let before = text[..at].trim_end();
        let after = &text[at + name.len()..];
        let is_start = !before.ends_with("::")
            || before.trim_end_matches("::").ends_with(|c: char| !c.is_alphanumeric());
        let is_used = before.ends_with("use") || before.ends_with("extern crate");
        is_start && (after.starts_with("::") || is_used)
    })
}

fn unused_in_workspace(root: &Path, members: &[Member]) -> Vec<String> {
    let manifest = text(&root.join("Cargo.toml")).unwrap_or_default();
    let used: BTreeSet<&str> =
        members.iter().flat_map(|member| &member.needs).map(|need| need.package.as_str()).collect();
    let listed = workspace_names(&manifest);
    let unused = listed.into_iter().filter(|name| !used.contains(name.as_str()));
    unused.map(|name| format!("the workspace lists {name}: no member depends on it")).collect()
}

/// Names under `[workspace.dependencies]`.
fn workspace_names(manifest: &str) -> Vec<String> {
    let after = manifest.lines().skip_while(|line| line.trim() != "[workspace.dependencies]").skip(1);
    let table = after.take_while(|line| !line.starts_with('['));
    let names = table.filter(|line| !line.starts_with('#')).filter_map(|line| line.split_once('='));
    names.map(|(name, _)| name.trim().to_owned()).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_path_a_use_and_a_derive_name_a_crate() {
        for text in [
            "let x = toml::from_str(t);",
            "use toml as t;",
            "#[derive(toml::Thing)]",
            "use {toml::Value}",
            "use ::toml::Value;",
        ] {
            assert!(is_named(text, "toml"), "{text}");
        }
    }

    #[test]
    fn a_variable_or_another_crates_module_does_not() {
        for text in ["let toml = 3;", "mine::toml::from_str(t)", "toml_edit::parse()", "\"a toml file\""] {
            assert!(!is_named(text, "toml"), "{text}");
        }
    }

    #[test]
    fn workspace_names_end_with_their_table() {
        let manifest = "[workspace.dependencies]\n# a note\nclap = \"4\" # why\nrand = { version = \"1\" }\n\n[profile.dev]\nopt-level = 1\n";
        assert_eq!(workspace_names(manifest), ["clap", "rand"]);
    }
}
