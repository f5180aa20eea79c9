//! Bad photographs among good ones: each stands under `failed` with a sentence and what to do, the rest is measured.

use std::fs;
use std::path::Path;

use serde_json::Value;

use crate::folder::{arcmass, document, good, listing, rust_words, sample, text};

/// One bad photograph.
struct Bad {
    name: &'static str,
    /// Nothing: no such file.
    bytes: fn() -> Option<Vec<u8>>,
    /// What its sentence must hold.
    words: &'static [&'static str],
}

const BAD: [Bad; 7] = [
    Bad { name: "missing.jpg", bytes: || None, words: &["no photograph", "photos/missing.jpg"] },
    Bad { name: "cut.jpg", bytes: cut, words: &["must be whole"] },
    Bad { name: "words.jpg", bytes: || Some(b"run,voltage_V\n".to_vec()), words: &["JPEG", "PNG"] },
    Bad { name: "point.png", bytes: || Some(png(1, 1, &[0])), words: &["1 × 1"] },
    Bad {
        name: "vast.png",
        bytes: || Some(png(60_000, 60_000, &[])),
        words: &["60000 × 60000", "million pixels"],
    },
    Bad { name: "black.png", bytes: || Some(png(900, 600, &[0; 900 * 600])), words: &["ring"] },
    Bad { name: "scale-01.jpg", bytes: || fs::read(sample("photos/scale-01.jpg")).ok(), words: &["ring"] },
];

fn cut() -> Option<Vec<u8>> {
    let mut bytes = fs::read(sample("photos/ring-01.jpg")).ok()?;
    bytes.truncate(bytes.len() / 2);
    Some(bytes)
}

/// A grey picture as PNG (RFC 2083) of stored blocks; the header may promise more than the samples hold.
fn png(width: u32, height: u32, samples: &[u8]) -> Vec<u8> {
    let mut header = [width.to_be_bytes(), height.to_be_bytes()].concat();
    header.extend([8, 0, 0, 0, 0]);
    let rows: Vec<u8> = samples.chunks(width as usize).flat_map(|row| [&[0], row].concat()).collect();
    let mut data = vec![0x78, 0x01];
    let blocks: Vec<&[u8]> = rows.chunks(0xffff).collect();
    for (at, block) in blocks.iter().enumerate() {
        let length = block.len() as u16;
        data.push(u8::from(at + 1 == blocks.len()));
        data.extend([length.to_le_bytes(), (!length).to_le_bytes()].concat());
        data.extend(*block);
    }
    data.extend(adler32(&rows).to_be_bytes());
    let chunks = [chunk(b"IHDR", &header), chunk(b"IDAT", &data), chunk(b"IEND", &[])];
    [b"\x89PNG\r\n\x1a\n".to_vec(), chunks.concat()].concat()
}

fn chunk(kind: &[u8; 4], data: &[u8]) -> Vec<u8> {
    let named = [kind, data].concat();
    [&(data.len() as u32).to_be_bytes()[..], &named, &crc32(&named).to_be_bytes()].concat()
}

fn crc32(bytes: &[u8]) -> u32 {
    let of_bit = |sum: u32, _| if sum & 1 == 1 { 0xedb8_8320 ^ (sum >> 1) } else { sum >> 1 };
    !bytes.iter().fold(u32::MAX, |sum, byte| (0..8).fold(sum ^ u32::from(*byte), of_bit))
}

fn adler32(bytes: &[u8]) -> u32 {
    let (a, b) = bytes.iter().fold((1, 0), |(a, b), byte| {
        let a = (a + u32::from(*byte)) % 65_521;
        (a, (b + a) % 65_521)
    });
    b << 16 | a
}

/// Copies photographs of the sample into the notebook.
fn photographs(bench: &Path, names: &[&str]) {
    for name in names {
        fs::copy(sample("photos").join(name), bench.join("photos").join(name)).unwrap();
    }
}

/// A table of runs, each with a ring and a scale.
fn readings(bench: &Path, pairs: &[(&str, &str)]) {
    let settings = [(260.0, 2.638), (135.1, 1.788)].into_iter().cycle();
    let rows = pairs.iter().zip(settings).enumerate().map(|(at, ((ring, scale), (voltage, current)))| {
        format!("{},{voltage},{current},{ring},{scale}\n", at + 1)
    });
    let header = "run,voltage_V,current_A,ring_photo,scale_photo\n";
    fs::write(bench.join("readings.csv"), header.to_owned() + &rows.collect::<String>()).unwrap();
}

/// The sentence and remedy of a photograph that was not measured.
fn failure<'a>(rings: &'a Value, photo: &str) -> (&'a str, &'a str) {
    let failed = rings["failed"].as_array().unwrap();
    let mut entries = failed.iter().filter(|entry| entry["photo"] == photo);
    let entry = entries.next().unwrap_or_else(|| panic!("{photo} is not under failed: {failed:#?}"));
    assert!(entries.next().is_none(), "{photo} failed twice: {failed:#?}");
    (entry["sentence"].as_str().unwrap(), entry["remedy"].as_str().unwrap())
}

#[test]
fn one_bad_photograph_never_stops_the_others() {
    let room = good();
    let bench = room.path().join("bench");
    photographs(&bench, &["ring-01.jpg", "ring-02.jpg", "scale-01.jpg"]);
    for bad in &BAD {
        if let Some(bytes) = (bad.bytes)() {
            fs::write(bench.join("photos").join(bad.name), bytes).unwrap();
        }
    }
    let mut pairs = vec![("ring-01.jpg", "scale-01.jpg")];
    pairs.extend(BAD.iter().map(|bad| (bad.name, "scale-01.jpg")));
    pairs.push(("ring-02.jpg", "scale-01.jpg"));
    readings(&bench, &pairs);
    let output = arcmass(room.path(), "rings bench --json");
    let said = text(&output.stderr);
    assert_eq!(output.status.code(), Some(0), "{said}");
    let rings = document(&output).unwrap();
    let names: Vec<&str> =
        rings["photos"].as_array().unwrap().iter().map(|photo| photo["photo"].as_str().unwrap()).collect();
    assert_eq!(names, ["ring-01.jpg", "ring-02.jpg"], "{:#}", rings["failed"]);
    for bad in &BAD {
        let (sentence, remedy) = failure(&rings, bad.name);
        for word in bad.words {
            assert!(sentence.contains(word), "{}: {word:?} is not in {sentence:?}", bad.name);
        }
        assert!(remedy.len() > 10, "{}: {remedy:?}", bad.name);
        assert!(rust_words(&format!("{sentence} {remedy}")).is_empty(), "{sentence} {remedy}");
    }
    // the stored rings are used again
    let reduction = arcmass(room.path(), "reduce bench --json");
    assert_eq!(reduction.status.code(), Some(0), "{}", text(&reduction.stderr));
    assert_eq!(document(&reduction).unwrap()["runs"].as_array().unwrap().len(), 2);
}

#[test]
fn a_scale_photograph_without_a_scale_leaves_nothing_to_measure() {
    let room = good();
    let bench = room.path().join("bench");
    photographs(&bench, &["ring-01.jpg", "ring-02.jpg"]);
    readings(&bench, &[("ring-01.jpg", "ring-02.jpg")]);
    let before = listing(room.path());
    for command in ["rings bench --json", "reduce bench --json"] {
        let output = arcmass(room.path(), command);
        let said = text(&output.stderr);
        assert_eq!(output.status.code(), Some(2), "{command}: {said}");
        assert!(said.contains("no photograph could be measured") && said.contains("ring-02.jpg"), "{said}");
        assert!(said.contains("what to do: ") && rust_words(&said).is_empty(), "{said}");
        let faults = document(&output).unwrap();
        assert_eq!(faults["schema"], "arcmass.faults/1");
        assert!(!faults["faults"].as_array().unwrap().is_empty(), "{faults:#}");
    }
    assert_eq!(listing(room.path()), before);
}

#[test]
fn a_run_without_a_scale_fails_alone() {
    let room = good();
    let bench = room.path().join("bench");
    photographs(&bench, &["ring-01.jpg", "ring-02.jpg", "scale-01.jpg"]);
    readings(&bench, &[("ring-01.jpg", "scale-01.jpg"), ("ring-02.jpg", "")]);
    let output = arcmass(room.path(), "rings bench --json");
    assert_eq!(output.status.code(), Some(0), "{}", text(&output.stderr));
    let rings = document(&output).unwrap();
    assert_eq!(rings["photos"].as_array().unwrap().len(), 1);
    assert!(failure(&rings, "ring-02.jpg").1.contains("scale_photo"));
}
