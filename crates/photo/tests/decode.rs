//! Every kind of file a photograph comes in gives the same upright picture; what can't be one is refused in one sentence.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

use arcmass_photo::load::DecodeLimits;
use arcmass_photo::{PhotoError, Picture};

const WIDTH: usize = 96;
const HEIGHT: usize = 72;

fn bytes(name: &str) -> Vec<u8> {
    let path = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("../../tests/data/decode").join(name);
    std::fs::read(path).expect("a file of the set")
}

/// Red, green, blue of the drawn picture, as its notice says.
fn drawn(x: usize, y: usize) -> [f64; 3] {
    let (x, y) = (x as f64, y as f64);
    [30.0 + 1.6 * x + 0.4 * y, 40.0 + 1.9 * y, 200.0 - 1.2 * x - 0.5 * y].map(|v: f64| v.clamp(0.0, 255.0))
}

/// Largest difference over all pixels from the drawn picture, in steps of 8 bits.
fn worst(picture: &Picture, colour: impl Fn(usize, usize) -> [f64; 3]) -> f64 {
    let mut worst = 0.0_f64;
    for y in 0..picture.height() {
        for x in 0..picture.width() {
            for (channel, wanted) in colour(x, y).into_iter().enumerate() {
                let got = 255.0 * f64::from(picture.encoded(x as isize, y as isize, channel));
                worst = worst.max((got - wanted).abs());
            }
        }
    }
    worst
}

#[test]
fn every_kind_of_file_gives_the_same_picture() {
    // exact kinds differ by rounding alone; JPEG and lossy WebP by their own quantisation (WebP halves the colours too)
    let kinds = [
        ("eight.png", 0.51),
        ("eight.tif", 0.51),
        ("lossless.webp", 0.51),
        ("sixteen.png", 0.01),
        ("sixteen.tif", 0.01),
        ("baseline.jpg", 4.0),
        ("progressive.jpg", 4.0),
        ("lossy.webp", 12.0),
    ];
    for (name, within) in kinds {
        let picture = Picture::from_bytes(&bytes(name)).unwrap_or_else(|error| panic!("{name}: {error}"));
        assert_eq!((picture.width(), picture.height(), picture.channels()), (WIDTH, HEIGHT, 3), "{name}");
        assert_eq!(picture.is_sixteen_bit(), name.starts_with("sixteen"), "{name}");
        let off = worst(&picture, drawn);
        assert!(off <= within, "{name}: off by {off} of 255");
    }
}

#[test]
fn progressive_and_baseline_hold_the_same_coefficients() {
    let [a, b] =
        ["baseline.jpg", "progressive.jpg"].map(|name| Picture::from_bytes(&bytes(name)).expect("a JPEG"));
    for y in 0..HEIGHT as isize {
        for x in 0..WIDTH as isize {
            for channel in 0..3 {
                assert!((a.encoded(x, y, channel) - b.encoded(x, y, channel)).abs() < 1e-6, "{x}, {y}");
            }
        }
    }
}

#[test]
fn a_grey_jpeg_has_one_channel() {
    let picture = Picture::from_bytes(&bytes("grey.jpg")).expect("a JPEG");
    assert_eq!((picture.width(), picture.height(), picture.channels()), (WIDTH, HEIGHT, 1));
}

#[test]
fn printing_colours_are_refused_with_a_remedy() {
    let error = Picture::from_bytes(&bytes("printing.jpg")).expect_err("CMYK");
    assert_eq!(error, PhotoError::PrintingColours);
    assert!(error.to_string().contains("CMYK") && error.remedy().contains("RGB"));
}

/// The JPEG with an orientation tag in a first segment of camera notes (CIPA DC-008, Exif 2.32: tag 0x0112).
fn turned(tag: u8) -> Vec<u8> {
    let plain = bytes("baseline.jpg");
    let mut notes = b"Exif\0\0MM\0\x2a\0\0\0\x08\0\x01\x01\x12\0\x03\0\0\0\x01\0".to_vec();
    notes.extend([tag, 0, 0, 0, 0, 0, 0]);
    let length = u16::try_from(notes.len() + 2).unwrap().to_be_bytes();
    [&plain[..2], &[0xff, 0xe1], &length, &notes, &plain[2..]].concat()
}

#[test]
fn all_eight_orientations_come_upright() {
    for tag in 1..=8_u8 {
        let picture = Picture::from_bytes(&turned(tag)).unwrap_or_else(|error| panic!("{tag}: {error}"));
        assert_eq!(picture.facts().orientation_tag, tag);
        let size = if tag < 5 { (WIDTH, HEIGHT) } else { (HEIGHT, WIDTH) };
        assert_eq!((picture.width(), picture.height()), size, "tag {tag}");
        // where the stored pixel of an upright place lies: rows and columns as the standard's table names them
        let stored = |x: usize, y: usize| match tag {
            1 => (x, y),
            2 => (WIDTH - 1 - x, y),
            3 => (WIDTH - 1 - x, HEIGHT - 1 - y),
            4 => (x, HEIGHT - 1 - y),
            5 => (y, x),
            6 => (y, HEIGHT - 1 - x),
            7 => (WIDTH - 1 - y, HEIGHT - 1 - x),
            _ => (WIDTH - 1 - y, x),
        };
        let off = worst(&picture, |x, y| {
            let (i, j) = stored(x, y);
            drawn(i, j)
        });
        assert!(off <= 4.0, "tag {tag}: off by {off}");
    }
}

#[test]
fn the_limit_of_pixels_is_stated_and_can_be_moved() {
    let bytes = bytes("eight.png");
    let small = DecodeLimits { most_px: 5_000 };
    let error = Picture::from_bytes_within(&bytes, small).expect_err("96 × 72 is 6912");
    assert!(matches!(error, PhotoError::TooLarge { width: 96, height: 72, .. }), "{error:?}");
    assert!(
        error.to_string().contains("96 × 72") && error.remedy().contains("largest"),
        "{}",
        error.remedy()
    );
    assert!(Picture::from_bytes_within(&bytes, DecodeLimits { most_px: 6_912 }).is_ok());
    assert_eq!(DecodeLimits::default().most_px, 120_000_000);
}

#[test]
fn cut_files_are_said_to_be_cut() {
    for name in ["baseline.jpg", "progressive.jpg", "eight.png", "sixteen.png", "lossless.webp", "eight.tif"]
    {
        let whole = bytes(name);
        for part in [3, 2] {
            let cut = &whole[..whole.len() * (part - 1) / part];
            let error = Picture::from_bytes(cut).expect_err(name);
            assert!(
                matches!(error, PhotoError::Truncated | PhotoError::Decode { .. }),
                "{name} cut to {}: {error:?}",
                cut.len()
            );
            assert!(!error.to_string().contains("::"), "{error}");
        }
    }
}
