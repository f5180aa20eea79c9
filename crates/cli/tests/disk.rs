//! A full disk and a folder that can't be written: said at once, and nothing that was there is lost.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]
#![cfg(unix)]

mod served;

use std::collections::BTreeMap;
use std::path::Path;
use std::process::Command;

use served::{Server, ask_whole, photograph, start_with};

/// Every file of a notebook with its bytes.
fn all(root: &Path) -> BTreeMap<String, Vec<u8>> {
    let mut found = BTreeMap::new();
    for folder in [root.to_owned(), root.join("photos"), root.join("marks")] {
        for entry in std::fs::read_dir(folder).into_iter().flatten().flatten() {
            if let Ok(bytes) = std::fs::read(entry.path()) {
                found.insert(entry.path().display().to_string(), bytes);
            }
        }
    }
    found
}

fn post(server: &Server, path: &str, body: &str) -> (u16, String) {
    let (status, _, body) = ask_whole(server.port, &server.cookie, "POST", path, body.as_bytes()).unwrap();
    (status, body)
}

fn end(mut server: Server) {
    server.child.kill().unwrap();
    server.child.wait().unwrap();
}

/// The shell's limit on a file's size stands for a disk with no room left: the system breaks a write off half way.
#[test]
fn where_the_disk_is_full_it_is_said_and_nothing_is_lost() {
    let folder = tempfile::tempdir().unwrap();
    let root = folder.path().join("bench");
    arcmass_notebook::new_notebook(&root).unwrap();
    // the limit counts blocks of 512 or 1024 bytes, so the filling leaves no room for one row more under either
    let reading = |n: usize| format!("{n},200,1.5,,,,,,,,,,,\n");
    let readings = root.join("readings.csv");
    let mut table = std::fs::read_to_string(&readings).unwrap();
    table.push_str(&reading(1));
    table.push_str(&format!("# {}\n", "x".repeat(4096 - 3 - table.len())));
    assert_eq!(table.len(), 4096);
    std::fs::write(&readings, &table).unwrap();
    let before = all(&root);
    for blocks in ["4", "8"] {
        let mut command = Command::new("sh");
        let words = format!(
            "export ARCMASS_CONFIG=; trap '' XFSZ; ulimit -f {blocks}; exec \"$0\" serve --no-open --port 0 \"$1\""
        );
        command.args(["-c", &words, env!("CARGO_BIN_EXE_arcmass")]).arg(&root);
        let server = start_with(command);
        let row = r#"{"cells":[["run","2"],["voltage_V","210"],["current_A","1.6"]]}"#;
        let (status, said) = post(&server, "/readings/add", row);
        if status == 200 {
            // blocks of 1024 bytes: there was room for this one
            assert_eq!(blocks, "8");
            std::fs::write(&readings, &table).unwrap();
        } else {
            assert_eq!(status, 500, "{said}");
            assert!(said.contains("readings.csv` can't be written"), "{said}");
        }
        let big: Vec<u8> = photograph(1).into_iter().chain(std::iter::repeat_n(0, 1 << 20)).collect();
        let put = ask_whole(server.port, &server.cookie, "PUT", "/photos/new?name=p1.tif", &big);
        let (status, _, said) = put.unwrap();
        assert_eq!(status, 500, "{said}");
        assert!(said.contains("p1.tif` can't be written"), "{said}");
        assert_eq!(all(&root), before, "nothing is lost and no part stays");
        end(server);
    }
}

/// As root every folder can be written, so this holds only for others; the check of the file itself is in the page's tests.
#[test]
fn where_the_folder_is_read_only_it_is_said_and_nothing_is_lost() {
    use std::os::unix::fs::PermissionsExt;
    let folder = tempfile::tempdir().unwrap();
    let root = folder.path().join("bench");
    arcmass_notebook::new_notebook(&root).unwrap();
    let set = |mode: u32| {
        for place in [root.join("photos"), root.clone()] {
            std::fs::set_permissions(place, std::fs::Permissions::from_mode(mode)).unwrap();
        }
    };
    set(0o555);
    if std::fs::write(root.join("try"), "").is_ok() {
        println!("not checked: this user may write everywhere");
        std::fs::remove_file(root.join("try")).unwrap();
        return;
    }
    let before = all(&root);
    let mut command = Command::new(env!("CARGO_BIN_EXE_arcmass"));
    command.env("ARCMASS_CONFIG", "").args(["serve", "--no-open", "--port", "0"]).arg(&root);
    let server = start_with(command);
    let row = r#"{"cells":[["run","1"],["voltage_V","210"],["current_A","1.6"]]}"#;
    let (status, said) = post(&server, "/readings/add", row);
    assert_eq!(status, 500, "{said}");
    assert!(said.contains("can't be written"), "{said}");
    assert_eq!(all(&root), before);
    end(server);
    set(0o755);
}
