//! Reading a file of bounded size as text, with its hash.

use std::fs::File;
use std::io::{self, Read};
use std::path::Path;

use sha2::{Digest, Sha256};

use crate::fault::Fault;
use crate::record::Input;

/// Largest table that is read, bytes.
pub const LARGEST_TABLE: u64 = 64 << 20;
/// Largest `bench.toml` that is read, bytes.
pub const LARGEST_BENCH_FILE: u64 = 1 << 20;
/// Largest photograph that is read, bytes.
pub const LARGEST_PHOTO: u64 = 200 << 20;

/// Why a file's bytes can't be had.
#[derive(Debug)]
pub(crate) enum ReadFault {
    Missing,
    NotAFile,
    TooLarge(u64),
    Unreadable(io::Error),
}

/// A file's text and hash.
pub(crate) struct TextFile {
    pub(crate) text: String,
    pub(crate) input: Input,
}

/// Reads at most `limit` bytes; the size is looked at before anything is read.
pub(crate) fn read_bounded(path: &Path, limit: u64) -> Result<Vec<u8>, ReadFault> {
    let of = |error: io::Error| match error.kind() {
        io::ErrorKind::NotFound | io::ErrorKind::NotADirectory => ReadFault::Missing,
        _ => ReadFault::Unreadable(error),
    };
    let about = std::fs::metadata(path).map_err(of)?;
    if !about.is_file() {
        return Err(ReadFault::NotAFile);
    }
    if about.len() > limit {
        return Err(ReadFault::TooLarge(about.len()));
    }
    let mut bytes = Vec::new();
    // it may grow while it is read
    File::open(path).map_err(of)?.take(limit + 1).read_to_end(&mut bytes).map_err(of)?;
    let length = bytes.len() as u64;
    if length > limit { Err(ReadFault::TooLarge(length)) } else { Ok(bytes) }
}

/// SHA-256 as lower-case hexadecimal digits.
pub(crate) fn sha256(bytes: &[u8]) -> String {
    Sha256::digest(bytes).iter().map(|byte| format!("{byte:02x}")).collect()
}

/// Reads a file as UTF-8 text without its byte order mark; nothing if there is no such file.
pub(crate) fn read_text(path: &Path, file: &str, limit: u64) -> Result<Option<TextFile>, Vec<Fault>> {
    let bytes = match read_bounded(path, limit) {
        Ok(bytes) => bytes,
        Err(ReadFault::Missing) => return Ok(None),
        Err(fault) => return Err(vec![read_fault(file, &fault, limit)]),
    };
    text_file(file, bytes).map(Some)
}

/// Takes bytes as UTF-8 text without its byte order mark.
pub(crate) fn text_file(file: &str, bytes: Vec<u8>) -> Result<TextFile, Vec<Fault>> {
    let input = Input { file: file.to_owned(), sha256: sha256(&bytes) };
    let text = String::from_utf8(bytes)
        .map_err(|error| vec![not_utf8(file, error.as_bytes(), error.utf8_error())])?;
    let text = text.strip_prefix('\u{feff}').map(str::to_owned).unwrap_or(text);
    Ok(TextFile { text, input })
}

pub(crate) fn read_fault(file: &str, fault: &ReadFault, limit: u64) -> Fault {
    let mib = limit >> 20;
    match fault {
        ReadFault::Missing => {
            Fault::of_file(file, "no such file", "a file", "check the name, or put the file there")
        }
        ReadFault::NotAFile => Fault::of_file(
            file,
            "something that is no plain file",
            "a plain file",
            "move it away and put a plain file there",
        ),
        ReadFault::TooLarge(size) => Fault::of_file(
            file,
            format!("{} MB", size.div_ceil(1 << 20)),
            format!("at most {mib} MB"),
            "check that this is the file you mean; split it if it is",
        ),
        ReadFault::Unreadable(error) => Fault::of_file(
            file,
            format!("a file that can't be read: {error}"),
            "a readable file",
            "check who may read it, and whether the disk is there",
        ),
    }
}

fn not_utf8(file: &str, bytes: &[u8], error: std::str::Utf8Error) -> Fault {
    let utf16 = bytes.starts_with(&[0xff, 0xfe]) || bytes.starts_with(&[0xfe, 0xff]);
    let good = bytes.get(..error.valid_up_to()).unwrap_or_default();
    let before = String::from_utf8_lossy(good);
    let byte = bytes.get(error.valid_up_to()).copied().unwrap_or_default();
    let found =
        if utf16 { "UTF-16 text".to_owned() } else { format!("byte 0x{byte:02x}, which is not UTF-8 text") };
    let remedy = "save the file again as UTF-8 (a spreadsheet calls it `CSV UTF-8`)";
    let mut fault = Fault::of_file(file, found, "UTF-8 text", remedy);
    let line_start = before.rfind(['\n', '\r']).map_or(0, |at| at + 1);
    let in_line = before.get(line_start..).unwrap_or("").trim_start_matches('\u{feff}').chars().count();
    fault.line = Some(1 + crate::fault::line_breaks(&before));
    fault.column = Some(1 + in_line);
    fault
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read(bytes: &[u8]) -> Result<Option<TextFile>, Vec<Fault>> {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("t.csv");
        std::fs::write(&path, bytes).unwrap();
        read_text(&path, "t.csv", 100)
    }

    #[test]
    fn the_byte_that_is_not_utf8_is_placed() {
        let fault = read(b"run,remark\n1,gr\xfcn\n").err().unwrap().remove(0);
        assert_eq!((fault.line, fault.column), (Some(2), Some(5)));
        assert_eq!(fault.found, "byte 0xfc, which is not UTF-8 text");
        assert_eq!(read(b"\xff\xfer\0").err().unwrap().remove(0).found, "UTF-16 text");
    }

    #[test]
    fn a_byte_order_mark_is_left_out_and_the_hash_is_of_the_whole_file() {
        let file = read(b"\xef\xbb\xbfrun").unwrap().unwrap();
        assert_eq!(file.text, "run");
        assert_eq!(file.input.sha256, sha256(b"\xef\xbb\xbfrun"));
        // FIPS 180-2, appendix B.1
        assert_eq!(sha256(b"abc"), "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad");
    }

    #[test]
    fn a_file_beyond_the_limit_or_no_file_is_refused() {
        let fault = read(&[b'a'; 101]).err().unwrap().remove(0);
        assert_eq!((fault.found.as_str(), fault.accepted.as_str()), ("1 MB", "at most 0 MB"));
        let folder = tempfile::tempdir().unwrap();
        assert!(read_text(&folder.path().join("none"), "none", 10).unwrap().is_none());
        let fault = read_text(folder.path(), "readings.csv", 10).err().unwrap().remove(0);
        assert_eq!(fault.found, "something that is no plain file");
    }
}
