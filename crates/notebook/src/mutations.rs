//! Thousands of spoiled files are read without a panic, and every fault has a place inside its file.

use rand::{Rng, RngExt, SeedableRng};
use rand_pcg::Pcg64Mcg;

use crate::bench::read_bench;
use crate::fault::Fault;
use crate::file::text_file;
use crate::table::{read_probe, read_readings};

const SEED: u64 = 20_260_312;
const CASES: usize = 20_000;

const READINGS: &str = "# spring\nrun;voltage_V;current_A;field_sense;gun_tilt_deg;ring_photo;view;diameter_mm;edge;\
                        taken_at;struck_because;remark;mood\n1;250,1;1,50;+;0;ring-01.jpg;front;92,5;outer;\
                        2026-03-12T14:05:00+01:00;;\"a; \"\"b\"\"\";good\r\n1;250,2;1,50;;;;;;;;;;\n\
                        é;120.0;0.91;-;180;größe 2.jpg;side;;;;blurred;;\n";

/// What spoils files: structure, signs, words, broken letters.
const PIECES: [&[u8]; 28] = [
    b"\"",
    b"\"\"\"",
    b"[",
    b"]",
    b"[[",
    b"{",
    b"}",
    b"=",
    b",",
    b";",
    b"\t",
    b"\n",
    b"\r",
    b"#",
    b"\0",
    b"\xff",
    b"\xc3",
    b"\xef\xbb\xbf",
    "\u{202e}".as_bytes(),
    b"-",
    b"e999",
    b"nan",
    b"inf",
    b"(",
    b")",
    "±".as_bytes(),
    b"9",
    b"\\u0000",
];

fn spoil(text: &str, random: &mut impl Rng) -> Vec<u8> {
    let mut bytes = text.as_bytes().to_vec();
    for _ in 0..random.random_range(1..6) {
        let at = random.random_range(0..=bytes.len());
        let end = (at + random.random_range(0..12)).min(bytes.len());
        let piece = PIECES[random.random_range(0..PIECES.len())];
        match random.random_range(0..5) {
            0 => drop(bytes.splice(at..end, [])),
            1 => drop(bytes.splice(at..at, piece.iter().copied())),
            2 => drop(bytes.splice(at..end, piece.iter().copied())),
            3 => bytes.truncate(at.max(bytes.len() / 2)),
            _ => {
                let copy = bytes[at..end].to_vec();
                let to = random.random_range(0..=bytes.len());
                drop(bytes.splice(to..to, copy));
            }
        }
    }
    bytes
}

fn check_place(fault: &Fault, text: &str) {
    let lines = 1 + text.replace("\r\n", "\n").matches(['\n', '\r']).count();
    if let (Some(line), Some(column)) = (fault.line, fault.column) {
        assert!(line >= 1 && line <= lines, "seed {SEED}: {fault}\nin {text:?}");
        assert!(column >= 1 && column <= text.chars().count() + 1, "seed {SEED}: {fault}\nin {text:?}");
    }
    let shown = fault.to_string();
    assert!(!shown.chars().any(|c| c.is_control() && c != '\n'), "seed {SEED}: {shown:?}");
    assert!(!fault.found.is_empty() && !fault.accepted.is_empty() && !fault.remedy.is_empty(), "{shown}");
}

/// Reads `CASES` spoiled copies of one file; both good and bad ones must occur.
fn read_spoiled(text: &str, stream: u64, read: fn(&[u8]) -> Result<(), Vec<Fault>>) {
    let mut random = Pcg64Mcg::seed_from_u64(SEED + stream);
    assert_eq!(read(text.as_bytes()), Ok(()));
    let mut bad = 0;
    for _ in 0..CASES {
        let bytes = spoil(text, &mut random);
        if let Err(faults) = read(&bytes) {
            bad += 1;
            assert!(!faults.is_empty());
            let text = String::from_utf8_lossy(&bytes);
            faults.iter().for_each(|fault| check_place(fault, &text));
        }
    }
    assert!(bad > CASES / 2 && bad < CASES, "seed {SEED}: {bad} of {CASES} were bad");
}

#[test]
fn spoiled_bench_files_never_panic() {
    read_spoiled(&crate::example_bench(), 0, |bytes| {
        read_bench(&text_file("bench.toml", bytes.to_vec())?).map(drop)
    });
}

#[test]
fn spoiled_readings_never_panic() {
    read_spoiled(READINGS, 1, |bytes| read_readings(&text_file("readings.csv", bytes.to_vec())?).map(drop));
}

#[test]
fn spoiled_probe_tables_never_panic() {
    let table = "current_A,flux_density_mT,component,x_mm\n0.000,-0.004,x,0\n1.5,1.1,z,\"0\"\n";
    read_spoiled(table, 2, |bytes| read_probe(&text_file("field-probe.csv", bytes.to_vec())?).map(drop));
}

#[test]
fn bench_files_made_to_hurt_are_refused_soon() {
    let many = |piece: &str| piece.repeat((1 << 20) / piece.len());
    let numbered: String = (0..90_000).map(|n| format!("k{n}=1\n")).collect();
    let hurtful = [
        many("[[coil]]\n"),
        many("=\n"),
        many("["),
        many("[[a]]\n"),
        format!("a={}", many("[")),
        format!("a={}", many("{a=")),
        format!("{}=1", many("a.")),
        format!("[{}b]", many("a.")),
        format!("[bench]\nformat=1\n{numbered}"),
        format!("[gun]\ndirection=[{}]", many("1,")),
        format!("[bench]\nformat=1\nname='{}'\nx=1", many("é")),
        format!("[bench]\nformat=1\nname=\"{}", many("\\u00e9")),
        many("#\r"),
        many("a = 1\n"),
    ];
    for text in hurtful {
        let begun = std::time::Instant::now();
        let file = text_file("bench.toml", text.as_bytes().to_vec()).unwrap_or_else(|_| panic!("no text"));
        let faults = read_bench(&file).unwrap_err();
        let head: String = text.chars().take(30).collect();
        assert!(!faults.is_empty() && faults.len() <= 501, "{head}");
        assert!(begun.elapsed().as_secs() < 20, "{head:?} took {:?}", begun.elapsed());
    }
}
