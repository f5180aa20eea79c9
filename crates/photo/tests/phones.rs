//! HEIC photographs: read in builds with the feature `heic`, refused with what to set in the others.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

use arcmass_photo::{PhotoError, Picture};

fn bytes(name: &str) -> Vec<u8> {
    let path = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("../../tests/data/decode").join(name);
    std::fs::read(path).expect("a file of the set")
}

#[cfg(not(feature = "heic"))]
#[test]
fn a_build_without_heic_says_what_to_set_on_the_phone() {
    let error = Picture::from_bytes(&bytes("phone.heic")).expect_err("not built in");
    assert_eq!(error, PhotoError::NoHeic);
    assert!(error.to_string().contains("this one is HEIC"), "{error}");
    let remedy = error.remedy();
    assert!(remedy.contains("JPEG") && remedy.contains("--features heic"), "{remedy}");
}

#[cfg(feature = "heic")]
mod built_in {
    use super::*;
    use arcmass_photo::load::DecodeLimits;

    const WIDTH: usize = 96;
    const HEIGHT: usize = 72;

    /// Red, green, blue of the drawn picture, as its notice says.
    fn drawn(x: usize, y: usize) -> [f64; 3] {
        let (x, y) = (x as f64, y as f64);
        [30.0 + 1.6 * x + 0.4 * y, 40.0 + 1.9 * y, 200.0 - 1.2 * x - 0.5 * y].map(|v| v.clamp(0.0, 255.0))
    }

    /// Mean difference from the drawn picture, in steps of 8 bits.
    fn mean_off(picture: &Picture, stored: impl Fn(usize, usize) -> (usize, usize)) -> f64 {
        let mut sum = 0.0;
        for y in 0..picture.height() {
            for x in 0..picture.width() {
                let (i, j) = stored(x, y);
                for (channel, wanted) in drawn(i, j).into_iter().enumerate() {
                    sum +=
                        (255.0 * f64::from(picture.encoded(x as isize, y as isize, channel)) - wanted).abs();
                }
            }
        }
        sum / (3 * WIDTH * HEIGHT) as f64
    }

    #[test]
    fn every_kind_of_heic_gives_the_same_picture() {
        for name in ["phone.heic", "tiles.heic", "ten.heic"] {
            let picture = Picture::from_bytes(&bytes(name)).unwrap_or_else(|error| panic!("{name}: {error}"));
            assert_eq!((picture.width(), picture.height(), picture.channels()), (WIDTH, HEIGHT, 3), "{name}");
            assert_eq!(picture.is_sixteen_bit(), name == "ten.heic", "{name}");
            let off = mean_off(&picture, |x, y| (x, y));
            // what the packing itself takes; a mixed-up channel or tile costs tens
            assert!(off < 1.5, "{name}: {off} of 255");
        }
    }

    #[test]
    fn a_turned_photograph_is_turned_once_and_keeps_its_notes() {
        let picture = Picture::from_bytes(&bytes("turned.heic")).expect("a HEIC file");
        assert_eq!((picture.width(), picture.height()), (HEIGHT, WIDTH));
        // tag 6: the stored left side is up
        let off = mean_off(&picture, |x, y| (y, HEIGHT - 1 - x));
        assert!(off < 1.5, "{off} of 255");
        let facts = picture.facts();
        assert_eq!((facts.kind, facts.focal_length_35mm), ("HEIC", Some(26.0)));
        assert_eq!(facts.camera.as_deref(), Some("drawn"));
        assert!((facts.focal_length_mm.unwrap() - 5.7).abs() < 1e-12);
    }

    #[test]
    fn the_limit_holds_for_what_the_file_says_and_for_what_its_data_say() {
        let small = DecodeLimits { most_px: 5_000 };
        let error = Picture::from_bytes_within(&bytes("phone.heic"), small).expect_err("96 × 72 is 6912");
        assert!(matches!(error, PhotoError::TooLarge { width: 96, height: 72, .. }), "{error:?}");
        // the file's own word for its size, both sides a sixteenth: the coded piece is still what it is
        let mut sly = bytes("phone.heic");
        let at = sly.windows(4).position(|w| w == b"ispe").unwrap() + 8;
        sly[at..at + 8].copy_from_slice(&[0, 0, 0, 64, 0, 0, 0, 64]);
        let error = Picture::from_bytes_within(&sly, DecodeLimits { most_px: 4_096 }).err();
        assert!(
            error.is_none_or(|e| matches!(e, PhotoError::TooLarge { .. } | PhotoError::HeicFault { .. }))
        );
        let tight = DecodeLimits { most_px: 4_100 };
        let mut tiles = bytes("tiles.heic");
        while let Some(at) = tiles.windows(8).position(|w| w == [0, 0, 0, 96, 0, 0, 0, 72]) {
            tiles[at..at + 8].copy_from_slice(&[0, 0, 0, 64, 0, 0, 0, 64]);
        }
        let error = Picture::from_bytes_within(&tiles, tight).expect_err("four coded pieces of 64 × 64");
        assert!(matches!(error, PhotoError::TooLarge { .. }), "{error:?}");
    }

    #[test]
    fn a_cut_or_spoilt_file_is_refused_in_one_sentence_and_never_stops_the_program() {
        let whole = bytes("tiles.heic");
        for part in 1..60 {
            let cut = &whole[..whole.len() * part / 60];
            if let Err(error) = Picture::from_bytes(cut) {
                assert!(!error.to_string().contains("::"), "{error}");
            }
        }
        let mut state = 0x9e37_79b9_7f4a_7c15_u64;
        println!("seed {state:#x}");
        let mut next = |below: usize| {
            state ^= state << 13;
            state ^= state >> 7;
            state ^= state << 17;
            (state >> 11) as usize % below
        };
        for _ in 0..1500 {
            let mut spoilt = whole.clone();
            for _ in 0..1 + next(4) {
                let at = next(spoilt.len());
                spoilt[at] = next(256) as u8;
            }
            let _ = Picture::from_bytes_within(&spoilt, DecodeLimits { most_px: 1_000_000 });
        }
    }
}
