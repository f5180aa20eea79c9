//! The printed report of two notebooks: what must stand in it, and what must never.
//!
//! The open bench is `tests/data/S01` (MIT, notice beside it), the simulated one `tests/data/typical`, with rings as the
//! exact camera would measure them. `ARCMASS_REPORT_TO=folder` keeps the pages to look at.
#![allow(clippy::unwrap_used, clippy::panic)]

use std::fmt::Write as _;
use std::path::{Path, PathBuf};

use arcmass_lab::Desk;
use arcmass_lab::document::{
    CaveatEntry, FailedPhoto, FieldDocument, Finding, MadeBy, PhotoEntry, Q, ReductionDocument, RingsDocument,
};
use arcmass_lab::field::{FieldQuestion, field};
use arcmass_lab::field_unit::FieldUnit;
use arcmass_lab::reduce::{AcceptedMass, reduce};
use arcmass_notebook::Notebook;
use arcmass_report::figure::HAS_PNG;
use arcmass_report::{Overlay, ReportError, ReportInput, figures, key_html, report_html, worksheet_html};
use serde_json::Value;

struct Case {
    notebook: Notebook,
    reduction: ReductionDocument,
    rings: Option<RingsDocument>,
    field: Option<FieldDocument>,
    overlays: Vec<Overlay>,
    unit: FieldUnit,
}

impl Case {
    fn of(notebook: Notebook, rings: Option<RingsDocument>) -> Self {
        let reduction =
            reduce(&notebook, rings.as_ref(), &AcceptedMass::default(), &Desk::default()).unwrap();
        let question = FieldQuestion { with_map: true, ..FieldQuestion::default() };
        let field = field(&notebook, &question, &Desk::default()).ok();
        Case { notebook, reduction, rings, field, overlays: Vec::new(), unit: FieldUnit::default() }
    }

    fn input(&self) -> ReportInput<'_> {
        ReportInput {
            notebook: &self.notebook,
            reduction: &self.reduction,
            rings: self.rings.as_ref(),
            field: self.field.as_ref(),
            overlays: &self.overlays,
            field_unit: &self.unit,
            path: None,
        }
    }

    fn html(&self) -> String {
        report_html(&self.input()).unwrap()
    }
}

fn data(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../../tests/data").join(name)
}

fn numbers(name: &str) -> Vec<Vec<f64>> {
    let text = std::fs::read_to_string(data("S01").join(name)).unwrap();
    let rows = text.lines().filter(|line| !line.starts_with('#') && !line.trim().is_empty());
    rows.map(|line| line.split_whitespace().map(|cell| cell.parse().unwrap()).collect()).collect()
}

/// The open bench's tables with a name and, in the first two runs, a reason to strike and a remark.
fn open_bench(name: &str, reason: &str, remark: &str) -> Case {
    let folder = tempfile::tempdir().unwrap();
    let mut probe = String::from("current_A,flux_density_G\n");
    for row in numbers("calibration.txt") {
        writeln!(probe, "{},{}", row[0], row[1]).unwrap();
    }
    let mut readings = String::from("run,voltage_V,current_A,diameter_mm,struck_because,remark\n");
    let usable = numbers("e_over_m.txt").into_iter().filter(|row| row[2] > 0.0);
    for (index, row) in usable.enumerate() {
        let reason = if index == 0 { reason } else { "" };
        let remark = if index == 1 { remark } else { "" };
        writeln!(readings, "{},{},{},{},\"{reason}\",\"{remark}\"", index + 1, row[0], row[1], 1e3 * row[2])
            .unwrap();
    }
    std::fs::write(folder.path().join("bench.toml"), format!("[bench]\nformat = 1\nname = '{name}'\n"))
        .unwrap();
    std::fs::write(folder.path().join("field-probe.csv"), probe).unwrap();
    std::fs::write(folder.path().join("readings.csv"), readings).unwrap();
    Case::of(Notebook::open(folder.path()).unwrap(), None)
}

fn q(value: f64, u: f64) -> Q {
    let interval = |k: f64| [value - k * u, value + k * u];
    Q { value, standard_uncertainty: u, interval_68: interval(1.0), interval_95: interval(1.96) }
}

/// Rings as the exact camera of `answer.json` would measure them.
fn perfect_rings(folder: &Path, notebook: &Notebook) -> RingsDocument {
    let answer: Value =
        serde_json::from_str(&std::fs::read_to_string(folder.join("answer.json")).unwrap()).unwrap();
    let entry = |run: &arcmass_notebook::Run| {
        let name = run.ring_photo.clone().unwrap();
        let truth = &answer["photos"][&name];
        let vector = |v: &Value| [0, 1, 2].map(|i| v[i].as_f64().unwrap());
        let (camera, centre) = (vector(&truth["camera"]["pos"]), vector(&truth["centre_true_mm"]));
        let towards = [0, 1, 2].map(|i| camera[i] - centre[i]);
        let norm = towards.iter().map(|x| x * x).sum::<f64>().sqrt();
        let diameter = truth["diameter_in_scale_plane_mm"].as_f64().unwrap();
        PhotoEntry {
            photo: name,
            run: Some(run.run.clone()),
            scale_photo: run.scale_photo.clone(),
            ring_diameter_in_scale_plane_mm: Some(q(diameter, 1e-3 * diameter)),
            ring_diameter_mm: None,
            u_trace_mm: Some(5e-4 * diameter),
            u_plane_mm: Some(2e-4 * diameter),
            beam_width_mm: None,
            inner_edge_diameter_mm: None,
            outer_edge_diameter_mm: None,
            centre_px: None,
            semi_axes_px: None,
            axis_angle_deg: None,
            arc_seen_deg: Some(231.4),
            scale_px_per_mm: None,
            camera_direction: Some(towards.map(|x| x / norm)),
            status: arcmass_lab::document::PhotoStatus::Measured,
            pitch_mm: None,
            helix_diameter_mm: None,
            caveats: Vec::new(),
        }
    };
    RingsDocument {
        schema: "arcmass.rings/1".into(),
        made_by: MadeBy { version: String::new(), seed: 1, inputs: Vec::new() },
        photos: notebook.readings.as_ref().unwrap().runs.iter().map(entry).collect(),
        failed: Vec::new(),
    }
}

fn typical() -> Case {
    let folder = data("typical");
    let notebook = Notebook::open(&folder).unwrap();
    let rings = perfect_rings(&folder, &notebook);
    let mut case = Case::of(notebook, Some(rings));
    let jpeg = std::fs::read(folder.join("photos/ring-01.jpg")).unwrap();
    case.overlays.push(Overlay {
        photo: "ring-01.jpg".into(),
        caption: "the ring followed over 231°".into(),
        png_or_jpeg: jpeg,
        mime: "image/jpeg",
    });
    case
}

const SECTIONS: [&str; 15] = [
    "result",
    "method",
    "apparatus",
    "cautions",
    "readings",
    "field",
    "effects",
    "budget",
    "law",
    "agreement",
    "findings",
    "caveats",
    "comparison",
    "sources",
    "inputs",
];

/// What the reader sees and what attributes say, without style sheets and pictures' bytes.
fn body(html: &str) -> String {
    let mut out = String::new();
    for (index, part) in html.split("<style>").enumerate() {
        out.push_str(if index == 0 { part } else { part.split_once("</style>").unwrap().1 });
    }
    let pieces = out.split(";base64,").enumerate();
    pieces.map(|(i, p)| if i == 0 { p } else { p.split_once('"').unwrap().1 }).collect()
}

fn check(html: &str) {
    let at =
        |id: &str| html.find(&format!("<section id=\"{id}\"")).unwrap_or_else(|| panic!("no section {id}"));
    let places: Vec<usize> = SECTIONS.iter().map(|id| at(id)).collect();
    assert!(places.is_sorted(), "sections out of order");
    let seen = body(html);
    assert!(
        !html.contains("<script")
            && !html.contains("<link")
            && !html.contains("@import")
            && !html.contains("url(")
    );
    for attribute in ["src=\"", "href=\""] {
        for address in html.split(attribute).skip(1) {
            assert!(
                address.starts_with("data:image/") || address.starts_with('#'),
                "{}",
                &address[..40.min(address.len())]
            );
        }
    }
    // words like "information" hold "inf", numbers never do
    let words = seen.split(|c: char| !c.is_alphanumeric());
    assert!(!words.into_iter().any(|word| ["NaN", "nan", "inf", "Inf", "None", "Some"].contains(&word)));
    let mut ids: Vec<&str> = html.split(" id=\"").skip(1).map(|t| t.split('"').next().unwrap()).collect();
    let count = ids.len();
    ids.sort_unstable();
    ids.dedup();
    assert_eq!(ids.len(), count, "an id stands twice");
    for target in seen.split("href=\"#").skip(1).map(|t| t.split('"').next().unwrap()) {
        assert!(ids.contains(&target), "nothing is called {target}");
    }
    let svgs = seen.matches("<svg").count();
    assert!(svgs >= 3);
    assert_eq!(svgs, seen.matches("<desc").count());
    assert_eq!(svgs, seen.matches("<summary>Numbers of this figure").count());
}

/// The judgement that the page must carry: up to 2.0 u agrees, from 3.0 u disagrees.
fn judged(case: &Case) -> String {
    let word = match (10.0 * case.reduction.reference.difference_in_u.abs()).round() as i64 {
        ..=20 => "agrees with",
        21..=29 => "is in tension with",
        _ => "disagrees with",
    };
    format!("<b>{word}</b>")
}

fn keep(name: &str, html: &str) {
    if let Ok(folder) = std::env::var("ARCMASS_REPORT_TO") {
        std::fs::write(Path::new(&folder).join(name), html).unwrap();
    }
}

#[test]
fn an_open_bench_without_sizes_is_told_whole() {
    let case = open_bench("Open bench S01", "", "");
    let html = case.html();
    keep("open.html", &html);
    check(&html);
    assert!(html.contains(&judged(&case)));
    assert!(html.contains("Scale unchecked"));
    assert!(html.contains("The bench file states no geometry"));
    assert!(!html.contains("<section id=\"photographs\""));
    assert!(!html.contains("Not a measurement"));
}

#[test]
fn a_simulated_bench_with_photographs_is_told_whole_and_says_so() {
    let case = typical();
    let html = case.html();
    keep("typical.html", &html);
    check(&html);
    assert!(html.contains(&judged(&case)));
    assert!(html.contains("Not a measurement"));
    assert!(
        html.contains("<section id=\"photographs\"") && html.contains("src=\"data:image/jpeg;base64,/9j/")
    );
    assert!(html.contains("id=\"figure-apparatus\""));
    let mass = arcmass_quantity::print::short(
        case.reduction.mass_kg.value,
        case.reduction.mass_kg.standard_uncertainty,
    );
    assert!(html.contains(&mass));
    for input in &case.reduction.made_by.inputs {
        assert!(html.contains(&input.sha256), "{}", input.file);
    }
}

#[test]
fn a_struck_run_stands_with_its_reason() {
    let html = open_bench("Bench", "the door was open", "dim").html();
    check(&html);
    assert!(html.contains("Excluded: The door was open."));
    assert!(html.contains("16 runs count, 1 excluded."));
}

#[test]
fn hostile_words_stay_words() {
    let html =
        open_bench("<script>alert(1)</script> & \"co\"", "<img src=x onerror=y>", "</td></table><b>*_{")
            .html();
    check(&html);
    assert!(html.contains("&lt;script&gt;alert(1)&lt;/script&gt; &amp; &quot;co&quot;"));
    assert!(html.contains("&lt;img src=x") && html.contains("&lt;/td&gt;&lt;/table&gt;"));
    assert!(!html.contains("<img") && !html.contains("onerror=y>"));
}

#[test]
fn numbers_that_are_none_print_as_dashes() {
    let mut case = open_bench("Bench", "", "");
    let nothing = q(f64::NAN, f64::INFINITY);
    case.reduction.runs[0].mass_kg = nothing;
    case.reduction.runs[1].flux_density_mt = nothing;
    case.reduction.runs[2].textbook_mass_kg = f64::NAN;
    case.reduction.effects[0].posterior = nothing;
    case.reduction.effects[0].shift_of_mass_percent = f64::NAN;
    case.reduction.budget[0].share = f64::NAN;
    case.reduction.agreement.birge_ratio = Some(f64::INFINITY);
    check(&case.html());
}

#[test]
fn the_same_notebook_gives_the_same_page() {
    assert_eq!(open_bench("Bench", "", "").html(), open_bench("Bench", "", "").html());
}

/// The words of a page, without its style and without what only a person wrote.
fn all_words(html: &str) -> String {
    let bare = |text: &str| {
        text.split('<').filter_map(|part| Some(part.split_once('>')?.1.to_owned())).collect::<String>()
    };
    let without_style: String = html
        .split("<style>")
        .map(|part| part.split_once("</style>").map_or(part, |(_, rest)| rest))
        .collect();
    bare(&without_style)
}

#[test]
fn every_flux_density_of_report_sheets_and_figures_follows_the_unit_chosen() {
    let mut case = typical();
    let stray = "a stray field of 182(13) µT runs along the axis beyond what is stated; with it the mass is 1.2 % larger";
    case.reduction.findings.push(Finding {
        code: "stray-field-axial".into(),
        confidence: 0.9,
        sentence: stray.into(),
        remedy: "read the field to 2 µT".into(),
    });
    let before = serde_json::to_value(&case.reduction).unwrap();
    let usual = all_words(&case.html());
    assert!(usual.contains("182(13) µT") && usual.contains("mT/A"), "what is to be told otherwise is there");
    let k = &case.reduction.field_per_ampere_mt_per_a;
    for (shown, stray_told) in
        [("G", "1.82(13) G"), ("T", "1.82(13) × 10⁻⁴ T"), ("N/(e·m/s)", "2.92(21) × 10⁻²³ N/(e·m/s)")]
    {
        case.unit = FieldUnit::named(shown).unwrap();
        let told = case.unit.per_ampere(k);
        let report = all_words(&case.html());
        assert!(report.contains(&told) && report.contains(stray_told), "{shown}: {told}, {stray_told}");
        let sheet = all_words(&worksheet_html(&case.notebook, &case.unit));
        let key = all_words(&key_html(&case.notebook, &case.reduction, &case.unit).unwrap());
        assert!(key.contains(&told) && sheet.contains(&format!("{shown}/A")));
        let figures: String = figures(&case.input())
            .unwrap()
            .into_iter()
            .filter(|(name, _)| name.ends_with(".svg"))
            .map(|(_, svg)| all_words(&String::from_utf8(svg).unwrap()))
            .collect();
        for (what, words) in
            [("report", &report), ("worksheet", &sheet), ("key", &key), ("figures", &figures)]
        {
            let left = ["mT", "µT", "uT"].into_iter().find_map(|unit| words.split_once(unit));
            let near = left.map(|(before, _)| before.chars().rev().take(60).collect::<String>());
            let near = near.map(|letters| letters.chars().rev().collect::<String>());
            assert_eq!(near, None, "{what} in {shown}");
        }
        assert_eq!(serde_json::to_value(&case.reduction).unwrap(), before, "the document keeps its units");
    }
}

#[test]
fn figures_stand_alone_as_files() {
    let case = typical();
    let files = figures(&case.input()).unwrap();
    let (pictures, files): (Vec<_>, Vec<_>) = files.into_iter().partition(|(name, _)| name.ends_with(".png"));
    let names: Vec<&str> = files.iter().map(|(name, _)| name.as_str()).collect();
    assert_eq!(
        names,
        [
            "apparatus.svg",
            "field.svg",
            "field-profile.svg",
            "field-map.svg",
            "field-uniformity.svg",
            "masses.svg",
            "budget.svg",
            "law.svg",
            "signatures.svg"
        ]
    );
    for (name, svg) in &files {
        let svg = std::str::from_utf8(svg).unwrap();
        assert!(svg.starts_with("<?xml") && svg.contains("<desc") && !svg.contains("var("), "{name}");
    }
    // each as PNG too, or none where that is not built in
    assert_eq!(pictures.len(), if HAS_PNG { files.len() } else { 0 });
    for ((name, png), (of, _)) in pictures.iter().zip(&files) {
        assert_eq!(name.strip_suffix(".png"), of.strip_suffix(".svg"));
        assert!(png.starts_with(b"\x89PNG"), "{name}");
    }
}

#[test]
fn what_cannot_be_printed_is_said() {
    let mut case = open_bench("Bench", "", "");
    case.overlays.push(Overlay {
        photo: "a.gif".into(),
        caption: String::new(),
        png_or_jpeg: vec![1],
        mime: "image/gif",
    });
    let fault = report_html(&case.input()).unwrap_err();
    assert_eq!(
        fault.to_string(),
        "the picture of `a.gif` must be `image/png` or `image/jpeg` and not empty, got `image/gif` of 1 bytes; encode it again"
    );
    case.overlays.clear();
    case.reduction.runs.clear();
    assert_eq!(report_html(&case.input()), Err(ReportError::NoRuns));
    case.reduction.schema = "arcmass.reduction/2".into();
    assert!(matches!(report_html(&case.input()), Err(ReportError::Schema(_))));
}

#[test]
fn findings_failures_and_caveats_stand_with_their_remedies() {
    let mut case = typical();
    let entry = |n: &str| CaveatEntry {
        code: "short-arc".into(),
        sentence: format!("only {n}° of the ring is bright enough to follow"),
        remedy: "darken the room".into(),
    };
    case.reduction.findings = vec![Finding {
        code: "voltage-offset".into(),
        confidence: 0.87,
        sentence: "the effective voltage is 12 V below the reading".into(),
        remedy: "measure at the gun's pins".into(),
    }];
    case.reduction.mass_widened_kg = Some(case.reduction.mass_kg);
    case.reduction.caveats = vec![entry("70")];
    let rings = case.rings.as_mut().unwrap();
    rings.photos[0].caveats = vec![entry("90")];
    rings.photos[1].caveats = vec![entry("90")];
    let sentence = "no scale is seen".to_owned();
    rings.failed =
        vec![FailedPhoto { photo: "ring-09.jpg".into(), sentence, remedy: "photograph it again".into() }];
    let field = case.field.as_mut().unwrap();
    field.caveats = vec![entry("80")]; // the same code as the reduction's, so not said twice
    let html = case.html();
    check(&html);
    assert!(html.contains("The effective voltage is 12 V below the reading. Measure at the gun's pins."));
    assert!(
        !html.contains("confidence 87 %"),
        "a posterior probability is told in the sentence, with what it is of"
    );
    assert!(html.contains("with the likeliest alternative left free"));
    assert!(html.contains("could not be measured. No scale is seen. Photograph it again."));
    assert!(html.contains("<p>3 caveats stand under"));
    assert!(html.contains("ring-02.jpg: Only 90° of the ring is bright enough to follow. Darken the room."));
    assert!(!html.contains("only 80°") && !html.contains("Only 80°"));
}

/// Force on an electron: F = −e v × B, so in a field along +z a beam along +x turns to +y (Jackson, § 12.2).
#[test]
fn the_drawn_ring_lies_on_the_side_to_which_the_beam_turns() {
    for (sense, upwards) in [("+z", true), ("-z", false)] {
        let folder = tempfile::tempdir().unwrap();
        let bench = std::fs::read_to_string(data("typical/bench.toml")).unwrap();
        let bench = bench.replace("field_direction = \"+z\"", &format!("field_direction = \"{sense}\""));
        std::fs::write(folder.path().join("bench.toml"), bench).unwrap();
        let mut case = typical();
        case.notebook.bench = Notebook::open(folder.path()).unwrap().bench;
        let html = case.html();
        let figure = html.split("id=\"figure-apparatus\"").nth(1).unwrap();
        let rows = figure.split("<tbody>").nth(1).unwrap().split("</tbody>").next().unwrap();
        let heights: Vec<f64> = rows
            .split("<tr>")
            .skip(1)
            .map(|row| {
                let cell = row.split("<td class=\"number\">").nth(2).unwrap();
                cell.split('<').next().unwrap().replace('\u{2212}', "-").parse().unwrap()
            })
            .collect();
        assert!(heights.len() > 10);
        // the muzzle stands at y = −36 mm
        assert!(
            heights.iter().all(|y| if upwards { *y > -36.1 } else { *y < -35.9 }),
            "{sense}: {heights:?}"
        );
    }
}

/// The number at the head of a step's result, `9.05(7) × 10⁻³¹ kg` or `1.2345 mT`.
fn number(text: &str) -> f64 {
    let digits: String =
        text.chars().take_while(|c| c.is_ascii_digit() || matches!(c, '.' | '\u{2212}')).collect();
    let power = text.split_once("× 10").map_or(0, |(_, tail)| {
        let raised = "⁰¹²³⁴⁵⁶⁷⁸⁹";
        let place = |c: char| raised.chars().position(|r| r == c);
        let sign = if tail.starts_with('⁻') { -1 } else { 1 };
        sign * tail.trim_start_matches('⁻').chars().map_while(place).fold(0, |n, d| 10 * n + d as i32)
    });
    digits.replace('\u{2212}', "-").parse::<f64>().unwrap() * 10_f64.powi(power)
}

#[test]
fn a_run_worked_through_multiplies_out() {
    let (e, c) = (1.602_176_634e-19, 299_792_458.0);
    let case = typical();
    for entry in &case.reduction.runs {
        let run = case.notebook.readings.as_ref().unwrap().runs.iter().find(|r| r.run == entry.run).unwrap();
        let way = arcmass_lab::steps::worked(entry, run, &FieldUnit::default());
        let textbook: Vec<f64> = way.textbook.iter().map(|step| number(&step.result)).collect();
        let [radius, field, mass, speed] = textbook[..] else { panic!("{:?}", way.textbook) };
        let near = |found: f64, expected: f64, limit: f64| {
            assert!((found / expected - 1.0).abs() < limit, "run {}: {found} for {expected}", entry.run);
        };
        near(mass, e * (1e-6 * field * radius).powi(2) / (2.0 * run.mean_voltage_v()), 2e-4);
        near(mass, entry.textbook_mass_kg, 1e-4);
        near(speed, 1e-6 * e * field * radius / mass, 2e-4);
        let full: Vec<f64> = way.full.iter().map(|step| number(&step.result)).collect();
        let [volts, _, field, radius, momentum, energy, mass, speed] = full[..] else {
            panic!("{:?}", way.full)
        };
        // rounded to their own uncertainties, so they multiply out to these
        near(energy, e * volts, 1e-3);
        near(momentum, e * 1e-6 * field * radius, 3e-3);
        near(mass, momentum * momentum / (2.0 * energy) - energy / (2.0 * c * c), 5e-3);
        near(speed, momentum * c * c / (energy + mass * c * c), 5e-3);
    }
}

#[test]
fn a_class_gets_a_blank_sheet_and_its_teacher_the_key() {
    let case = typical();
    let sheet = worksheet_html(&case.notebook, &case.unit);
    let key = key_html(&case.notebook, &case.reduction, &case.unit).unwrap();
    keep("worksheet.html", &sheet);
    keep("worksheet-key.html", &key);
    // nothing that was measured stands on the sheet: no ring, no mass (a drawing's coordinates aside)
    let drawings = body(&sheet);
    let words: String = drawings
        .split("<svg")
        .enumerate()
        .map(|(i, part)| if i == 0 { part } else { part.split_once("</svg>").unwrap().1 })
        .collect();
    for entry in &case.reduction.runs {
        for digits in [entry.measured_diameter_mm.value, 1e31 * entry.mass_kg.value] {
            assert!(!words.contains(&format!("{digits:.2}")), "{digits}");
        }
    }
    assert!(sheet.contains("Before you touch the bench") && key.contains("Run 1"));
    for html in [&sheet, &key] {
        assert!(!html.contains("<script") && !html.contains("NaN") && !html.contains("src=\"http"));
    }
    let hostile = open_bench("<b>x</b>", "", "");
    assert!(worksheet_html(&hostile.notebook, &hostile.unit).contains("&lt;b&gt;x&lt;/b&gt;"));
}
