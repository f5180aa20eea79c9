//! The simulated notebook with its photographs, for tests of the command.

use std::fs;
use std::path::Path;

use tempfile::TempDir;

/// A copy of the simulated notebook without the truth.
pub(crate) fn typical() -> TempDir {
    let from = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../tests/data/typical");
    let folder = TempDir::new().unwrap();
    fs::create_dir(folder.path().join("photos")).unwrap();
    for name in ["bench.toml", "readings.csv", "field-probe.csv"] {
        fs::copy(from.join(name), folder.path().join(name)).unwrap();
    }
    for photo in fs::read_dir(from.join("photos")).unwrap() {
        let photo = photo.unwrap();
        fs::copy(photo.path(), folder.path().join("photos").join(photo.file_name())).unwrap();
    }
    folder
}
