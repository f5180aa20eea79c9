//! What cargo knows of the workspace and of everything it builds on.

use std::path::{Path, PathBuf};
use std::process::Command;

use serde_json::Value;

/// A dependency of a member as its code names it.
pub(crate) struct Named {
    /// Name in code, renamed or with `_` for `-`.
    pub(crate) in_code: String,
    /// Package it stands for.
    pub(crate) package: String,
    /// Used by the library or command itself, not only by tests, benches and examples.
    pub(crate) is_normal: bool,
}

/// A package of the workspace.
pub(crate) struct Member {
    /// Its name.
    pub(crate) name: String,
    /// Its folder.
    pub(crate) folder: PathBuf,
    /// What it depends on.
    pub(crate) needs: Vec<Named>,
}

/// The answer of `cargo metadata`.
pub(crate) struct Metadata {
    json: Value,
    /// Said where only part of the graph could be had.
    pub(crate) remark: Option<String>,
}

impl Metadata {
    /// Asks cargo for all systems' dependencies, or for this system's alone where the others cannot be fetched.
    pub(crate) fn read(root: &Path) -> Result<Self, String> {
        match ask(root, &[]) {
            Ok(json) => Ok(Self { json, remark: None }),
            Err(_) => {
                let host = host(root)?;
                let json = ask(root, &["--filter-platform", &host])?;
                let remark =
                    format!("only the packages used on {host} could be had; other systems' are not checked");
                Ok(Self { json, remark: Some(remark) })
            }
        }
    }

    /// Name, version and licence of every package that is not of this workspace.
    pub(crate) fn foreign_packages(&self) -> Vec<(String, String, Option<String>)> {
        let packages = list(&self.json, "packages").iter().filter(|package| !package["source"].is_null());
        packages
            .map(|package| {
                let licence = package["license"].as_str().map(str::to_owned);
                (string(package, "name"), string(package, "version"), licence)
            })
            .collect()
    }

    /// The packages of the workspace with what each depends on.
    pub(crate) fn members(&self) -> Vec<Member> {
        let own = list(&self.json, "packages").iter().filter(|package| package["source"].is_null());
        own.map(|package| Member {
            name: string(package, "name"),
            folder: Path::new(&string(package, "manifest_path"))
                .parent()
                .map(Path::to_path_buf)
                .unwrap_or_default(),
            needs: self.needs(&string(package, "id")),
        })
        .collect()
    }

    fn needs(&self, id: &str) -> Vec<Named> {
        let nodes = list(&self.json["resolve"], "nodes");
        let node = nodes.iter().find(|node| node["id"] == id);
        let needs = node.map_or(&[][..], |node| list(node, "deps"));
        needs
            .iter()
            .map(|need| Named {
                in_code: string(need, "name"),
                package: self.package_name(&need["pkg"]),
                is_normal: list(need, "dep_kinds").iter().any(|kind| kind["kind"].is_null()),
            })
            .collect()
    }

    fn package_name(&self, id: &Value) -> String {
        let packages = list(&self.json, "packages");
        packages
            .iter()
            .find(|package| &package["id"] == id)
            .map_or_else(String::new, |found| string(found, "name"))
    }
}

fn ask(root: &Path, more: &[&str]) -> Result<Value, String> {
    let whole = ["metadata", "--format-version", "1", "--all-features"];
    let text = cargo_says(root, &[&whole[..], more].concat())?;
    serde_json::from_str(&text).map_err(|why| format!("cargo metadata gave no JSON: {why}"))
}

fn host(root: &Path) -> Result<String, String> {
    let text = cargo_says(root, &["-vV"])?;
    let line = text.lines().find_map(|line| line.strip_prefix("host: "));
    line.map(str::to_owned).ok_or_else(|| "cargo -vV names no host".to_owned())
}

fn cargo_says(root: &Path, words: &[&str]) -> Result<String, String> {
    let output = Command::new(crate::stage::cargo()).args(words).current_dir(root).output();
    let output = output.map_err(|why| format!("cargo could not be run: {why}"))?;
    if output.status.success() {
        return Ok(String::from_utf8_lossy(&output.stdout).into_owned());
    }
    Err(String::from_utf8_lossy(&output.stderr).trim().to_owned())
}

fn list<'j>(json: &'j Value, key: &str) -> &'j [Value] {
    json[key].as_array().map_or(&[], Vec::as_slice)
}

fn string(json: &Value, key: &str) -> String {
    json[key].as_str().unwrap_or_default().to_owned()
}
