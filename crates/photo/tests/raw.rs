//! Raw photographs: the JPEG that the camera wrote into them is read, upright and with the notes of the shot.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

use arcmass_photo::{PhotoError, Picture};
use image::codecs::jpeg::JpegEncoder;

/// A drawn JPEG, dark but for a bright corner at the top left.
fn jpeg(width: u32, height: u32) -> Vec<u8> {
    let picture = image::RgbImage::from_fn(width, height, |x, y| {
        image::Rgb(if x < width / 4 && y < height / 4 { [250, 240, 230] } else { [10, 20, 40] })
    });
    let mut bytes = Vec::new();
    JpegEncoder::new_with_quality(&mut bytes, 90).encode_image(&picture).unwrap();
    bytes
}

/// A value of a TIFF entry: its kind and its numbers.
enum Entry {
    Short(u16),
    Long(u32),
    Longs(Vec<u32>),
    Bytes(Vec<u8>),
    Text(&'static str),
    Rational(u32, u32),
}

/// A TIFF file in parts, little-endian, each part appended with its place known.
struct Tiff {
    bytes: Vec<u8>,
}

impl Tiff {
    fn new(magic: &[u8]) -> Self {
        Self { bytes: magic.to_vec() }
    }

    fn data(&mut self, data: &[u8]) -> u32 {
        let at = self.bytes.len() as u32;
        self.bytes.extend_from_slice(data);
        at
    }

    fn directory(&mut self, entries: &[(u16, Entry)], next: u32) -> u32 {
        let mut table = (entries.len() as u16).to_le_bytes().to_vec();
        for (tag, entry) in entries {
            let (kind, count, data) = match entry {
                Entry::Short(n) => (3_u16, 1, n.to_le_bytes().to_vec()),
                Entry::Long(n) => (4, 1, n.to_le_bytes().to_vec()),
                Entry::Longs(all) => {
                    (4, all.len(), all.iter().flat_map(|n| n.to_le_bytes()).collect::<Vec<u8>>())
                }
                Entry::Bytes(all) => (1, all.len(), all.clone()),
                Entry::Text(text) => (2, text.len() + 1, [text.as_bytes(), &[0]].concat()),
                Entry::Rational(a, b) => (5, 1, [a.to_le_bytes(), b.to_le_bytes()].concat()),
            };
            let mut value = data;
            if value.len() > 4 {
                value = self.data(&value).to_le_bytes().to_vec();
            }
            value.resize(4, 0);
            table.extend([tag.to_le_bytes(), kind.to_le_bytes()].concat());
            table.extend((count as u32).to_le_bytes());
            table.extend(value);
        }
        table.extend(next.to_le_bytes());
        self.data(&table)
    }

    fn finish(mut self, first: u32) -> Vec<u8> {
        self.bytes[4..8].copy_from_slice(&first.to_le_bytes());
        self.bytes
    }
}

fn shot_notes() -> Vec<(u16, Entry)> {
    vec![
        (0x829a, Entry::Rational(1, 4)),
        (0x8827, Entry::Short(800)),
        (0x920a, Entry::Rational(50, 1)),
        (0xa405, Entry::Short(75)),
    ]
}

/// A raw file as cameras write it on a TIFF frame: a thumbnail first, the full JPEG and the mosaic in directories below.
fn framed(magic: &[u8], first: Vec<(u16, Entry)>, packing: u16, full: [u32; 2]) -> Vec<u8> {
    let mut tiff = Tiff::new(magic);
    let [small, large] = [jpeg(160, 120), jpeg(full[0], full[1])];
    let [small_at, large_at] = [tiff.data(&small), tiff.data(&large)];
    let notes = tiff.directory(&shot_notes(), 0);
    let preview = tiff.directory(
        &[
            (0x00fe, Entry::Long(1)),
            (0x0103, Entry::Short(6)),
            (0x0201, Entry::Long(large_at)),
            (0x0202, Entry::Long(large.len() as u32)),
        ],
        0,
    );
    let mosaic = tiff.directory(
        &[
            (0x0103, Entry::Short(packing)),
            (0x0106, Entry::Short(32_803)),
            (0x0111, Entry::Long(8)),
            (0x0117, Entry::Long(small.len() as u32)),
        ],
        0,
    );
    let mut entries = vec![
        (0x0103, Entry::Short(6)),
        (0x0110, Entry::Text("drawn")),
        (0x0111, Entry::Long(small_at)),
        (0x0112, Entry::Short(8)),
        (0x0117, Entry::Long(small.len() as u32)),
        (0x014a, Entry::Longs(vec![preview, mosaic])),
        (0x8769, Entry::Long(notes)),
    ];
    entries.extend(first);
    let root = tiff.directory(&entries, 0);
    tiff.finish(root)
}

fn is_whole(bytes: &[u8], kind: &str) {
    let picture = Picture::from_bytes(bytes).unwrap_or_else(|error| panic!("{kind}: {error}"));
    // turned by the tag 8: what was stored at the top left is at the bottom left
    assert_eq!((picture.width(), picture.height()), (800, 1200), "{kind}");
    assert!(picture.encoded(20, 1180, 0) > 0.9 && picture.encoded(20, 20, 0) < 0.1, "{kind}");
    let facts = picture.facts();
    assert_eq!((facts.kind, facts.focal_length_35mm), (kind, Some(75.0)));
    assert_eq!((facts.focal_length_mm, facts.iso, facts.exposure_s), (Some(50.0), Some(800.0), Some(0.25)));
    assert_eq!(facts.camera.as_deref(), Some("drawn"), "{kind}");
    assert_eq!(facts.written_px, Some([1200.0, 800.0]), "{kind}");
}

#[test]
fn the_full_jpeg_of_each_kind_on_a_tiff_frame_is_read() {
    let plain = b"II\x2a\0\0\0\0\0";
    is_whole(&framed(b"II\x2a\0\0\0\0\0CR\x02\0", vec![], 6, [1200, 800]), "CR2");
    is_whole(&framed(plain, vec![], 34_713, [1200, 800]), "NEF");
    is_whole(&framed(plain, vec![], 32_767, [1200, 800]), "ARW");
    is_whole(&framed(plain, vec![(0xc612, Entry::Bytes(vec![1, 4, 0, 0]))], 7, [1200, 800]), "DNG");
    is_whole(&framed(plain, vec![], 1, [1200, 800]), "raw");
}

fn boxed(name: &[u8; 4], content: &[u8]) -> Vec<u8> {
    [&(content.len() as u32 + 8).to_be_bytes()[..], name, content].concat()
}

/// A CR3 file: notes in blocks of their own, tracks that point into the data.
fn cr3(full: [u32; 2]) -> Vec<u8> {
    let block = |entries: &[(u16, Entry)]| {
        let mut tiff = Tiff::new(b"II\x2a\0\0\0\0\0");
        let root = tiff.directory(entries, 0);
        tiff.finish(root)
    };
    let [small, large] = [jpeg(160, 120), jpeg(full[0], full[1])];
    let first = block(&[(0x0110, Entry::Text("drawn")), (0x0112, Entry::Short(8))]);
    let notes = [&[0x85; 16][..], &boxed(b"CMT1", &first), &boxed(b"CMT2", &block(&shot_notes()))].concat();
    let track = |at: u64, length: usize| {
        let sizes = boxed(b"stsz", &[0_u32, length as u32, 1].map(u32::to_be_bytes).concat());
        let places =
            boxed(b"co64", &[&[0_u32, 1].map(u32::to_be_bytes).concat()[..], &at.to_be_bytes()].concat());
        let table = boxed(b"stbl", &[sizes, places].concat());
        boxed(b"trak", &boxed(b"mdia", &boxed(b"minf", &table)))
    };
    let head = boxed(b"ftyp", b"crx \0\0\0\x01crx isom");
    let index = |from: u64| {
        let tracks = [track(from, small.len()), track(from + small.len() as u64, large.len())].concat();
        boxed(b"moov", &[boxed(b"uuid", &notes), tracks].concat())
    };
    let from = (head.len() + index(0).len() + 8) as u64;
    [head, index(from), boxed(b"mdat", &[small, large].concat())].concat()
}

#[test]
fn the_full_jpeg_of_a_cr3_file_is_read() {
    is_whole(&cr3([1200, 800]), "CR3");
}

#[test]
fn a_raw_file_with_a_thumbnail_alone_says_what_to_set_on_the_camera() {
    let error =
        Picture::from_bytes(&framed(b"II\x2a\0\0\0\0\0", vec![], 34_713, [640, 424])).expect_err("small");
    assert_eq!(error, PhotoError::RawWithoutJpeg { kind: "NEF", found_px: Some([640, 424]) });
    assert_eq!(
        error.to_string(),
        "a raw file must hold the camera's own JPEG, at least 1000 pixels long; this NEF file holds one of 640 × 424 at most"
    );
    assert!(error.remedy().contains("RAW + JPEG"), "{}", error.remedy());
    let empty = boxed(b"ftyp", b"crx \0\0\0\x01crx isom");
    let error = Picture::from_bytes(&empty).expect_err("no JPEG");
    assert!(error.to_string().ends_with("this CR3 file holds none"), "{error}");
}

#[test]
fn a_cut_or_spoilt_raw_file_never_stops_the_program() {
    let mut state = 0x2545_f491_4f6c_dd1d_u64;
    println!("seed {state:#x}");
    let mut next = |below: usize| {
        state ^= state << 13;
        state ^= state >> 7;
        state ^= state << 17;
        (state >> 11) as usize % below
    };
    for whole in [framed(b"II\x2a\0\0\0\0\0", vec![], 34_713, [320, 240]), cr3([320, 240])] {
        for _ in 0..2000 {
            let mut spoilt = whole[..whole.len() - next(whole.len() / 2)].to_vec();
            for _ in 0..1 + next(6) {
                // the directories stand at either end
                let from = [0, spoilt.len().saturating_sub(400)][next(2)];
                let at = from + next(400.min(spoilt.len() - from));
                spoilt[at] = next(256) as u8;
            }
            if let Err(error) = Picture::from_bytes(&spoilt) {
                assert!(!error.to_string().contains("::"), "{error}");
            }
        }
    }
}
