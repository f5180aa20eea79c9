//! Raw photographs: the JPEG that the camera itself wrote into the file, with the file's own notes of the shot.

use zune_jpeg::JpegDecoder;
use zune_jpeg::zune_core::bytestream::ZCursor;

use super::boxes::{self, Boxed};
use super::directories::{Directory, directories, tag};

/// A raw photograph, taken apart.
#[derive(Debug)]
pub(super) struct RawFile<'b> {
    /// Kind of file, such as `CR2`.
    pub(super) kind: &'static str,
    /// The largest JPEG in it: its bytes, its width and height in pixels.
    pub(super) jpeg: Option<(&'b [u8], [usize; 2])>,
    /// Notes of the shot as a TIFF block, then those about exposure and lens where they are kept apart.
    pub(super) notes: Vec<&'b [u8]>,
}

/// The raw photograph in these bytes; `None` where they hold something else, such as a plain TIFF picture.
pub(super) fn raw_file(bytes: &[u8]) -> Option<RawFile<'_>> {
    if boxes::brands(bytes).first() == Some(b"crx ") {
        return Some(from_boxes(bytes));
    }
    let directories = directories(bytes);
    let kind = kind(bytes, &directories)?;
    let jpegs = directories.iter().filter_map(|d| jpeg_of(bytes, d));
    Some(RawFile { kind, jpeg: largest(jpegs), notes: vec![bytes] })
}

/// Colours that only raw data have: a mosaic of filters, or linear light (DNG 1.7, PhotometricInterpretation).
const MOSAIC: [u32; 2] = [32_803, 34_892];
/// Ways of packing that Nikon and Sony use for raw data (observed in their files, no source).
const NEF_PACKED: u32 = 34_713;
const ARW_PACKED: [u32; 2] = [32_767, 32_766];

fn kind(bytes: &[u8], directories: &[Directory]) -> Option<&'static str> {
    let any = |tag: u16, values: &[u32]| {
        directories.iter().any(|d| d.number(tag).is_some_and(|n| values.contains(&n)))
    };
    if bytes.get(8..10) == Some(b"CR") {
        return Some("CR2");
    }
    if directories.iter().any(|d| !d.numbers(tag::DNG_VERSION).is_empty()) {
        return Some("DNG");
    }
    if any(tag::COMPRESSION, &[NEF_PACKED]) {
        return Some("NEF");
    }
    if any(tag::COMPRESSION, &ARW_PACKED) {
        return Some("ARW");
    }
    any(tag::PHOTOMETRIC, &MOSAIC).then_some("raw")
}

/// The JPEG that a directory points to; raw data, which may be packed as another kind of JPEG, are none.
fn jpeg_of<'b>(bytes: &'b [u8], directory: &Directory) -> Option<&'b [u8]> {
    if directory.number(tag::PHOTOMETRIC).is_some_and(|n| MOSAIC.contains(&n)) {
        return None;
    }
    let place = |offset: u16, length: u16| directory.number(offset).zip(directory.number(length));
    let packed = directory.number(tag::COMPRESSION).is_some_and(|n| n == 6 || n == 7);
    let strip = || place(tag::STRIP_OFFSETS, tag::STRIP_LENGTHS).filter(|_| packed);
    let (at, length) = place(tag::JPEG_OFFSET, tag::JPEG_LENGTH).or_else(strip)?;
    bytes.get(at as usize..(at as usize).checked_add(length as usize)?)
}

/// The largest of them that is a JPEG as pictures are.
fn largest<'b>(jpegs: impl Iterator<Item = &'b [u8]>) -> Option<(&'b [u8], [usize; 2])> {
    jpegs.filter_map(|jpeg| Some((jpeg, size_px(jpeg)?))).max_by_key(|(_, [width, height])| width * height)
}

/// Width and height; the lossless kind, which only raw data use, has none here (ITU-T T.81, start of frame 3).
fn size_px(jpeg: &[u8]) -> Option<[usize; 2]> {
    let mut decoder = JpegDecoder::new(ZCursor::new(jpeg.starts_with(&[0xff, 0xd8]).then_some(jpeg)?));
    decoder.decode_headers().ok()?;
    decoder.dimensions().map(|(width, height)| [width, height])
}

/// A CR3 file: each track names one piece of the file, one of them the full-size JPEG.
fn from_boxes(bytes: &[u8]) -> RawFile<'_> {
    let all = boxes::all(bytes);
    let content = |name: &[u8; 4]| all.iter().find(|b| &b.name == name).map(|b| b.content);
    let tracks = all.split(|b| &b.name == b"trak").skip(1).filter_map(|track| sample(bytes, track));
    let preview = content(b"PRVW").and_then(|c| c.get(c.windows(3).position(|w| w == [0xff, 0xd8, 0xff])?..));
    let notes = [b"CMT1", b"CMT2"].into_iter().filter_map(content).collect();
    RawFile { kind: "CR3", jpeg: largest(tracks.chain(preview)), notes }
}

/// The bytes of a track's first sample: its place in `co64` or `stco`, its length in `stsz`.
fn sample<'b>(bytes: &'b [u8], track: &[Boxed<'b>]) -> Option<&'b [u8]> {
    let content = |name: &[u8; 4]| track.iter().find(|b| &b.name == name).map(|b| b.content);
    let long = |c: &[u8], at: usize| Some(u32::from_be_bytes(c.get(at..at + 4)?.try_into().ok()?));
    let sizes = content(b"stsz")?;
    // one size for all samples, or else a table of them
    let length = long(sizes, 4).filter(|size| *size > 0).or_else(|| long(sizes, 12))? as usize;
    let at = match content(b"co64") {
        Some(c) => usize::try_from(u64::from_be_bytes(c.get(8..16)?.try_into().ok()?)).ok()?,
        None => long(content(b"stco")?, 8)? as usize,
    };
    bytes.get(at..at.checked_add(length)?)
}
