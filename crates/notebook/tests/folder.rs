//! What may be read from and written into a notebook folder: names, links, sizes, whole files only.
#![allow(clippy::unwrap_used, clippy::panic)]

use std::fs;
use std::path::Path;

use arcmass_notebook::{Notebook, PhotoFault, WriteFault};
use tempfile::TempDir;

const BENCH: &str = "[bench]\nformat = 1\nname = \"Window bench\"\n";

fn notebook() -> (TempDir, Notebook) {
    let folder = tempfile::tempdir().unwrap();
    fs::write(folder.path().join("bench.toml"), BENCH).unwrap();
    fs::create_dir(folder.path().join("photos")).unwrap();
    let notebook = Notebook::open(folder.path()).unwrap();
    (folder, notebook)
}

fn found(path: &Path) -> String {
    Notebook::open(path).unwrap_err().to_string()
}

#[test]
fn no_folder_a_file_or_no_bench_file_is_one_clear_fault() {
    let folder = tempfile::tempdir().unwrap();
    assert!(found(&folder.path().join("none")).contains("none: no such folder\n"));
    assert!(found(folder.path()).starts_with("bench.toml: no such file in the notebook folder\n"));
    let file = folder.path().join("bench.toml");
    fs::write(&file, BENCH).unwrap();
    assert!(found(&file).contains("bench.toml: a file\n accepted: a notebook folder"));
}

#[test]
fn faults_of_all_files_come_at_once_and_nothing_is_written() {
    let folder = tempfile::tempdir().unwrap();
    let write = |name: &str, text: &[u8]| fs::write(folder.path().join(name), text).unwrap();
    write("bench.toml", b"[bench]\nformat = 1\n[gun]\nvoltage_limit = \"3 mm\"\n");
    write("readings.csv", b"run,voltage_V,current_A\n1,200,-1\n");
    write("field-probe.csv", b"\xff");
    write("field-balance.csv", b"");
    fs::create_dir(folder.path().join("marks")).unwrap();
    write("marks/a.jpg.csv", b"what,x_px,y_px\nscale,1,2\n");
    let faults = Notebook::open(folder.path()).unwrap_err();
    let places: Vec<_> = faults.0.iter().map(|f| (f.file.as_str(), f.line, f.column)).collect();
    assert_eq!(
        places,
        [
            ("bench.toml", Some(4), Some(17)),
            ("readings.csv", Some(2), Some(7)),
            ("field-probe.csv", Some(1), Some(1)),
            ("field-balance.csv", Some(1), Some(1)),
            ("marks/a.jpg.csv", Some(2), Some(1)),
        ]
    );
    assert!(faults.to_string().ends_with("5 faults in 5 files; nothing was written"));
    assert_eq!(fs::read_dir(folder.path()).unwrap().count(), 5);
}

#[test]
fn files_beyond_their_limit_are_refused_before_they_are_read() {
    let (folder, _) = notebook();
    for (name, size) in
        [("readings.csv", 200 << 20), ("bench.toml", (1 << 20) + 1), ("photos/a.jpg", 201 << 20)]
    {
        // a hole of that size: it takes no room on the disk
        fs::File::create(folder.path().join(name)).unwrap().set_len(size).unwrap();
    }
    let begun = std::time::Instant::now();
    let text = found(folder.path());
    assert!(text.contains("readings.csv: 200 MB\n accepted: at most 64 MB\n"), "{text}");
    assert!(text.contains("bench.toml: 2 MB\n accepted: at most 1 MB\n"), "{text}");
    let fault = arcmass_notebook::folder::photo_bytes(folder.path(), "a.jpg").unwrap_err();
    assert_eq!(fault.to_string(), "`photos/a.jpg` has 201 MB; at most 200 MB are read");
    assert!(begun.elapsed().as_secs() < 1, "a refusal must not read the file");
}

#[test]
fn a_photograph_that_is_missing_is_no_fault_of_the_folder() {
    let (folder, _) = notebook();
    let row = "run,voltage_V,current_A,ring_photo\n1,200,1,ring 1 größe.jpg\n";
    fs::write(folder.path().join("readings.csv"), row).unwrap();
    let notebook = Notebook::open(folder.path()).unwrap();
    let name = notebook.readings.as_ref().unwrap().runs[0].ring_photo.clone().unwrap();
    let fault = notebook.photo_bytes(&name).unwrap_err();
    assert_eq!(fault.to_string(), "there is no photograph `photos/ring 1 größe.jpg`");
    assert!(!fault.remedy().is_empty());
    fs::write(folder.path().join("photos/ring 1 größe.jpg"), "light").unwrap();
    assert_eq!(notebook.photo_bytes(&name).unwrap().bytes, b"light");
}

#[test]
fn names_that_lead_out_of_the_folder_are_refused() {
    let (folder, notebook) = notebook();
    fs::write(folder.path().join("photos/a.jpg"), "a").unwrap();
    for name in [
        "",
        "/a.jpg",
        "../bench.toml",
        "a/../../b",
        "C:/a.jpg",
        "c:a.jpg",
        "a\\b.jpg",
        "a//b",
        "./a.jpg",
        "a\0b",
    ] {
        let fault = notebook.photo_bytes(name).unwrap_err();
        assert!(matches!(fault, PhotoFault::Name { .. }), "{name}: {fault}");
        let fault = notebook.write_result(name, b"x").unwrap_err();
        assert!(matches!(fault, WriteFault::Name { .. }), "{name}: {fault}");
    }
    assert!(!folder.path().join("results").exists());
    assert!(matches!(notebook.photo_bytes("sub").unwrap_err(), PhotoFault::Missing(_)));
    fs::create_dir(folder.path().join("photos/sub")).unwrap();
    assert!(matches!(notebook.photo_bytes("sub").unwrap_err(), PhotoFault::NotAFile(_)));
}

#[test]
fn a_result_is_written_whole_and_replaced_whole() {
    let (folder, notebook) = notebook();
    let path = notebook.write_result("figures/law.svg", b"first").unwrap();
    assert_eq!(fs::read(&path).unwrap(), b"first");
    notebook.write_result("figures/law.svg", b"second").unwrap();
    assert_eq!(fs::read(folder.path().join("results/figures/law.svg")).unwrap(), b"second");
    let left: Vec<_> = fs::read_dir(folder.path().join("results/figures")).unwrap().collect();
    assert_eq!(left.len(), 1, "no temporary file may stay");
}

#[test]
fn a_result_that_cannot_be_written_is_named_and_leaves_nothing() {
    let (folder, notebook) = notebook();
    fs::create_dir_all(folder.path().join("results/rings.json/x")).unwrap();
    let fault = notebook.write_result("rings.json", b"{}").unwrap_err();
    assert!(fault.to_string().starts_with("`results/rings.json` can't be written: "), "{fault}");
    assert_eq!(fs::read_dir(folder.path().join("results")).unwrap().count(), 1);
    fs::remove_dir_all(folder.path().join("results")).unwrap();
    fs::write(folder.path().join("results"), "a file").unwrap();
    let fault = notebook.write_result("rings.json", b"{}").unwrap_err();
    assert!(fault.to_string().contains("results/rings.json"), "{fault}");
    assert_eq!(fs::read(folder.path().join("results")).unwrap(), b"a file");
}

#[cfg(unix)]
mod links {
    use std::os::unix::fs::{PermissionsExt, symlink};

    use super::*;

    #[test]
    fn a_photograph_linked_from_outside_is_refused_and_one_from_inside_is_read() {
        let (folder, notebook) = notebook();
        let outside = tempfile::tempdir().unwrap();
        fs::write(outside.path().join("secret"), "secret").unwrap();
        symlink(outside.path().join("secret"), folder.path().join("photos/out.jpg")).unwrap();
        symlink(outside.path(), folder.path().join("photos/away")).unwrap();
        symlink("../bench.toml", folder.path().join("photos/in.jpg")).unwrap();
        for name in ["out.jpg", "away/secret"] {
            let fault = notebook.photo_bytes(name).unwrap_err();
            assert!(matches!(fault, PhotoFault::LeavesFolder(_)), "{fault}");
        }
        assert_eq!(notebook.photo_bytes("in.jpg").unwrap().bytes, BENCH.as_bytes());
        let rows = "run,voltage_V,current_A,ring_photo\n1,200,1,out.jpg\n2,200,1,out.jpg\n";
        fs::write(folder.path().join("readings.csv"), rows).unwrap();
        assert!(found(folder.path()).starts_with("photos/out.jpg: `out.jpg` is a link that leaves"));
    }

    #[test]
    fn results_never_follow_a_link_out_or_on_to_originals() {
        for target in ["outside", "photos", "nowhere"] {
            let (folder, notebook) = notebook();
            let outside = tempfile::tempdir().unwrap();
            let to = match target {
                "outside" => outside.path().to_owned(),
                other => folder.path().join(other),
            };
            symlink(&to, folder.path().join("results")).unwrap();
            let fault = notebook.write_result("ring-01.jpg", b"x").unwrap_err();
            assert!(matches!(fault, WriteFault::LeavesFolder(_)), "{target}: {fault}");
            assert_eq!(fs::read_dir(outside.path()).unwrap().count(), 0);
            assert_eq!(fs::read_dir(folder.path().join("photos")).unwrap().count(), 0);
            assert!(!folder.path().join("nowhere").exists());
        }
    }

    #[test]
    fn a_link_in_the_place_of_a_result_is_replaced_and_not_followed() {
        let (folder, notebook) = notebook();
        fs::create_dir(folder.path().join("results")).unwrap();
        symlink("../bench.toml", folder.path().join("results/rings.json")).unwrap();
        notebook.write_result("rings.json", b"{}").unwrap();
        assert_eq!(fs::read_to_string(folder.path().join("bench.toml")).unwrap(), BENCH);
        assert_eq!(fs::read(folder.path().join("results/rings.json")).unwrap(), b"{}");
    }

    #[test]
    fn a_result_is_as_readable_as_other_files() {
        let (folder, notebook) = notebook();
        let path = notebook.write_result("rings.json", b"{}").unwrap();
        let mode = |path: &Path| fs::metadata(path).unwrap().permissions().mode() & 0o777;
        assert_eq!(mode(&path), mode(&folder.path().join("bench.toml")));
    }

    #[test]
    fn a_folder_that_is_read_only_is_named() {
        let (folder, notebook) = notebook();
        fs::set_permissions(folder.path(), fs::Permissions::from_mode(0o555)).unwrap();
        let writable = fs::write(folder.path().join("probe"), "x").is_ok(); // the superuser may write anywhere
        let result = notebook.write_result("rings.json", b"{}");
        fs::set_permissions(folder.path(), fs::Permissions::from_mode(0o755)).unwrap();
        match result {
            Ok(_) => assert!(writable),
            Err(fault) => {
                assert!(fault.to_string().starts_with("`results/rings.json` can't be written"), "{fault}")
            }
        }
    }
}
