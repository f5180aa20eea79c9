//! Worksheets of ten benches worked from their printed text, by arithmetic of this test's own, against the key.
#![allow(clippy::unwrap_used, clippy::panic)]

use std::fmt::Write as _;

use arcmass_lab::Desk;
use arcmass_lab::field_unit::FieldUnit;
use arcmass_lab::reduce::{AcceptedMass, reduce};
use arcmass_notebook::Notebook;
use arcmass_report::{key_html, worksheet_html};

/// A bench as its file describes it, and the unit of its sheet.
struct Bench {
    name: &'static str,
    coils: &'static str,
    unit: &'static str,
    /// mT/A that the readings are made with; also the probe's where there is a probe.
    per_ampere_mt: f64,
    has_probe: bool,
    /// Added to every voltage before the rings are made, V.
    offset_v: f64,
}

const fn bench(name: &'static str, coils: &'static str, unit: &'static str, per_ampere_mt: f64) -> Bench {
    Bench { name, coils, unit, per_ampere_mt, has_probe: false, offset_v: 0.0 }
}

const BENCHES: [Bench; 10] = [
    bench("a", "mean_radius='150 mm'\nseparation='150 mm'\nturns=124\n", "mT", 0.744),
    bench("b", "mean_radius='200 mm'\nseparation='200 mm'\nturns=154\n", "G", 0.69),
    bench("c", "mean_radius='150.25 mm'\nseparation='148.5 mm'\nturns=130\n", "T", 0.78),
    Bench {
        has_probe: true,
        offset_v: -12.0,
        ..bench("d", "mean_radius='110.0(5) mm'\nseparation='115 mm ± 0.7 mm'\nturns=200\n", "mT", 1.59)
    },
    bench("e", "field_per_ampere='0.743(4) mT/A'\n", "mT", 0.743),
    bench("f", "field_per_ampere='0.743(4) mT/A'\n", "G", 0.743),
    bench(
        "g",
        "mean_radius='150 mm'\nseparation='150 mm'\nturns=124\nfield_per_ampere='0.7312(40) mT/A'\n",
        "N/(e·m/s)",
        0.7312,
    ),
    Bench { has_probe: true, offset_v: 6.0, ..bench("h", "", "mT", 0.81) },
    Bench {
        has_probe: true,
        ..bench("i", "shape='square'\nmean_half_side='140 mm'\nseparation='152 mm'\nturns=120\n", "G", 0.72)
    },
    Bench {
        offset_v: -7.0,
        ..bench("j", "mean_radius='0.315 m'\nseparation='30 cm'\nturns=200\n", "mT", 0.60)
    },
];

/// Rings of an electron in that field, to a tenth of a millimetre.
fn notebook(bench: &Bench, folder: &std::path::Path) -> Notebook {
    let mut readings = String::from("run,voltage_V,current_A,field_sense,diameter_mm,diameter_u_mm\n");
    for (i, (voltage, current)) in
        [(150.0, 1.2), (200.3, 1.5), (300.0, 1.8), (299.6, 1.415)].into_iter().enumerate()
    {
        let current: f64 = current * 0.75 / bench.per_ampere_mt;
        let current = (1e3 * current).round() / 1e3;
        let field = 1e-3 * bench.per_ampere_mt * current;
        let momentum = (2.0 * 9.11e-31 * 1.602e-19 * (voltage + bench.offset_v)).sqrt();
        let diameter = 2e3 * momentum / (1.602e-19 * field);
        let sense = if i == 2 { "-" } else { "+" };
        writeln!(readings, "{},{voltage},{current},{sense},{diameter:.1},0.5", i + 1).unwrap();
    }
    if bench.has_probe {
        let mut probe = String::from("current_A,flux_density_mT\n");
        for current in [0.0_f64, 0.3, 0.6, 0.9, 1.2] {
            let noise = 2e-3 * (17.0 * current).sin();
            writeln!(probe, "{current},{:.4}", current * bench.per_ampere_mt + noise).unwrap();
        }
        std::fs::write(folder.join("field-probe.csv"), probe).unwrap();
    }
    std::fs::write(folder.join("readings.csv"), readings).unwrap();
    let coils = if bench.coils.is_empty() { String::new() } else { format!("[coils]\n{}", bench.coils) };
    let text = format!("[bench]\nformat = 1\nname = 'Bench {}'\n{coils}", bench.name);
    std::fs::write(folder.join("bench.toml"), text).unwrap();
    Notebook::open(folder).unwrap_or_else(|faults| panic!("{faults}"))
}

/// What is read on paper: blocks on lines of their own, words within a line run on.
fn read(html: &str) -> String {
    let body = html.split("<body>").nth(1).unwrap();
    let without_drawings: String = body
        .split("<figure")
        .enumerate()
        .map(|(i, part)| if i == 0 { part } else { part.split_once("</figure>").unwrap().1 })
        .collect();
    let mut text = String::new();
    for (i, part) in without_drawings.split('<').enumerate() {
        let (tag, words) = if i == 0 { ("", part) } else { part.split_once('>').unwrap() };
        let name: String =
            tag.trim_start_matches('/').chars().take_while(char::is_ascii_alphanumeric).collect();
        let runs_on = ["i", "b", "sub", "sup", "span", "a", "code", ""].contains(&name.as_str());
        text.push_str(if runs_on { "" } else { "\n" });
        text.push_str(words);
    }
    text
}

/// Rows of the table under a caption, cell by cell; the first row is the heads.
fn table(html: &str, caption: &str) -> Vec<Vec<String>> {
    let after = html.split(&format!(">{caption}</p>")).nth(1).unwrap_or_else(|| panic!("no table {caption}"));
    let rows = after.split("</table>").next().unwrap().split("<tr").skip(1);
    let cells = |row: &str| {
        let parts = row.split(['<']).filter(|part| !part.is_empty());
        let mut cells: Vec<String> = Vec::new();
        for part in parts {
            let Some((tag, words)) = part.split_once('>') else { continue };
            if tag.starts_with("th") || tag.starts_with("td") {
                cells.push(String::new());
            }
            if let Some(cell) = cells.last_mut() {
                cell.push_str(words);
            }
        }
        cells
    };
    rows.map(cells).collect()
}

/// The first number of a text, with its power of ten: `9.07 × 10⁻³¹ kg`, `10⁶`.
fn number(text: &str) -> f64 {
    let start = text.find(|c: char| c.is_ascii_digit()).unwrap_or_else(|| panic!("no number: {text}"));
    let mantissa: String = text[start..].chars().take_while(|c| c.is_ascii_digit() || *c == '.').collect();
    let raised = |text: &str| -> i32 {
        let digits = "⁰¹²³⁴⁵⁶⁷⁸⁹";
        let size = text.trim_start_matches('⁻').chars().map_while(|c| digits.chars().position(|d| d == c));
        let size = size.fold(0, |sum, digit| 10 * sum + digit as i32);
        if text.starts_with('⁻') { -size } else { size }
    };
    let rest = &text[start + mantissa.len()..];
    let power = match rest.strip_prefix(" × 10") {
        Some(rest) => raised(rest),
        None if mantissa == "10" && rest.starts_with(|c| "⁻⁰¹²³⁴⁵⁶⁷⁸⁹".contains(c)) => {
            return 10.0_f64.powi(raised(rest));
        }
        None => 0,
    };
    mantissa.trim_end_matches('.').parse::<f64>().unwrap() * 10.0_f64.powi(power)
}

/// What stands in `text` between two phrases.
fn between<'a>(text: &'a str, before: &str, after: &str) -> &'a str {
    let rest = text.split_once(before).unwrap_or_else(|| panic!("no `{before}` in {text}")).1;
    rest.split(after).next().unwrap()
}

/// The half of the last digit printed, relative: four digits, three digits.
const FOUR: f64 = 5.1e-4;
const THREE: f64 = 5.1e-3;

fn near(name: &str, found: f64, expected: f64, limit: f64) {
    assert!(
        (found / expected - 1.0).abs() < limit,
        "{name}: the key says {found}, the sheet gives {expected}"
    );
}

/// What a pupil reads on the sheet. SI units but for the sizes, which are as printed.
struct Sheet {
    sizes_mm: Option<[f64; 2]>,
    turns: f64,
    by_formula: bool,
    is_measured: bool,
    tesla_per_unit: f64,
    constant: f64,
}

const E: f64 = 1.602e-19;
const MU: f64 = 1.2566e-6;

fn pair(radius: f64, half: f64, turns: f64, power: f64) -> f64 {
    MU * turns * radius * radius / (radius * radius + half * half).powf(power)
}

fn sheet(html: &str, key: &str) -> Sheet {
    let text = read(html);
    let tesla_per_unit = if text.contains("in tesla already") {
        1.0
    } else {
        // "divide gauss by 10 000."
        let words =
            between(&text, "In tesla: divide ", "\n").split(" by ").nth(1).unwrap().trim_end_matches('.');
        1.0 / number(&words.replace("10 000", "10000"))
    };
    let by_formula = text.contains("k = B / I = µ0 N R2 / (R2 + (s/2)2)3/2");
    let cell = |name: &str| {
        let rows = if text.contains("Stated for this bench") {
            table(html, "Stated for this bench")
        } else {
            Vec::new()
        };
        rows.iter().find(|row| row[0] == name).map(|row| number(&row[1]))
    };
    let sizes_mm = cell("coils: mean radius R").zip(cell("coils: separation s")).map(|(r, s)| [r, s]);
    let turns = cell("turns on each coil N").unwrap_or(f64::NAN);
    let is_measured = text.contains("read its slope");
    let constant = if by_formula {
        let [radius, separation] = sizes_mm.unwrap();
        pair(1e-3 * radius, 5e-4 * separation, turns, 1.5)
    } else if is_measured {
        tesla_per_unit * number(between(&read(key), "1. The field of the coils\n\nk = ", ","))
    } else {
        tesla_per_unit * number(between(&text, "The coil constant is stated: k = ", "/A"))
    };
    Sheet { sizes_mm, turns, by_formula, is_measured, tesla_per_unit, constant }
}

/// Masses of the runs over the right ones where a group makes this slip in all of them.
fn slip(words: &str, sheet: &Sheet, br: &[f64]) -> Vec<f64> {
    let k = |changed: f64| vec![(changed / sheet.constant).powi(2); br.len()];
    let [radius, separation] = sheet.sizes_mm.map_or([f64::NAN; 2], |sizes| sizes.map(|mm| 1e-3 * mm));
    match words {
        "turns of both coils for N" => k(pair(radius, separation / 2.0, 2.0 * sheet.turns, 1.5)),
        "the coils’ diameter for R" => k(pair(2.0 * radius, separation / 2.0, sheet.turns, 1.5)),
        "s for s/2" => k(pair(radius, separation, sheet.turns, 1.5)),
        "power 3/2 omitted" => k(pair(radius, separation / 2.0, sheet.turns, 1.0)),
        "R and s left in millimetres" => k(pair(1e3 * radius, 5e2 * separation, sheet.turns, 1.5)),
        "slope inverted: I/B for B/I" => {
            let in_unit = sheet.constant / sheet.tesla_per_unit;
            k(sheet.tesla_per_unit / in_unit)
        }
        "the diameter d for r" => vec![4.0; br.len()],
        "r halved twice" => vec![0.25; br.len()],
        "r left in millimetres" => vec![1e6; br.len()],
        "r in centimetres" => vec![1e4; br.len()],
        "current of both coils for I" => vec![4.0; br.len()],
        "B not converted to tesla" => vec![sheet.tesla_per_unit.powi(-2); br.len()],
        "factor 2 of 2V omitted" => vec![2.0; br.len()],
        "B r not squared" => br.iter().map(|br| 1.0 / br).collect(),
        other => panic!("a slip that this test does not know: {other}"),
    }
}

#[test]
fn the_key_is_what_the_sheets_own_numbers_give() {
    for bench in &BENCHES {
        let folder = tempfile::tempdir().unwrap();
        let notebook = notebook(bench, folder.path());
        let reduction = reduce(&notebook, None, &AcceptedMass::default(), &Desk::default())
            .unwrap_or_else(|fault| panic!("bench {}: {fault}", bench.name));
        let unit = FieldUnit::named(bench.unit).unwrap();
        let sheet_html = worksheet_html(&notebook, &unit);
        let key = key_html(&notebook, &reduction, &unit).unwrap();
        let sheet = sheet(&sheet_html, &key);
        let settings = table(&sheet_html, "Your readings");
        let expected = table(&key, "What a group finds that makes no slip");
        assert_eq!(settings.len(), expected.len(), "bench {}", bench.name);
        let (mut masses, mut products) = (Vec::new(), Vec::new());
        for (setting, line) in settings.iter().zip(&expected).skip(1) {
            let name = format!("bench {} run {}", bench.name, setting[0]);
            let [voltage, current] = [1, 2].map(|i| number(&setting[i]));
            assert_eq!([&setting[0], &setting[1], &setting[2]], [&line[0], &line[1], &line[2]], "{name}");
            let radius = number(&line[3]) / 2000.0;
            let field = sheet.constant * current;
            let mass = E * (field * radius).powi(2) / (2.0 * voltage);
            near(&name, number(&line[4]), radius, FOUR);
            near(&name, number(&line[5]), field, FOUR);
            near(&name, number(&line[6]), mass, THREE);
            near(&name, number(&line[7]), E * field * radius / mass, THREE);
            masses.push(mass);
            products.push(field * radius);
        }
        let mean = |values: &[f64]| values.iter().sum::<f64>() / values.len() as f64;
        near(
            "mean",
            number(between(&read(&key), "The mean of the runs is m = ", "kg")),
            mean(&masses),
            THREE,
        );
        let slips = table(&key, "One slip made in every run, all else right");
        for row in slips.iter().skip(1) {
            let factors = slip(&row[0], &sheet, &products);
            let wrong: Vec<f64> = masses.iter().zip(&factors).map(|(m, f)| m * f).collect();
            near(&row[0], number(&row[2]), mean(&wrong), THREE);
            near(&row[0], number(&row[1]), factors.iter().copied().fold(f64::INFINITY, f64::min), THREE);
            let last = row[1].split(" to ").last().unwrap();
            near(&row[0], number(last), factors.iter().copied().fold(0.0, f64::max), 2.0 * THREE);
        }
        let has = |words: &str| slips.iter().any(|row| row[0] == words);
        assert_eq!(has("the coils’ diameter for R"), sheet.by_formula, "bench {}", bench.name);
        assert_eq!(has("slope inverted: I/B for B/I"), sheet.is_measured, "bench {}", bench.name);
        assert_eq!(has("B not converted to tesla"), bench.unit != "T", "bench {}", bench.name);
        answers(&sheet_html, &key);
    }
}

/// Every question has its answer, in the questions' order, and a mass with volts missing rises with the voltage.
fn answers(sheet: &str, key: &str) {
    let numbers = |html: &str| -> Vec<String> {
        let marks = read(html);
        let starts = marks.lines().filter_map(|line| line.split_once(' ')).map(|(head, _)| head.to_owned());
        starts.filter(|head| head.len() == 3 && head.as_bytes()[1] == b'.').collect()
    };
    assert_eq!(numbers(sheet), ["3.1", "3.2", "3.3", "3.4", "3.5", "4.1", "4.2", "4.3", "4.4"]);
    assert_eq!(numbers(key), numbers(sheet));
    let text = read(key);
    let said = between(&text, "V missing the formula gives ", " V. ");
    let (low, high) = said.split_once(" and ").unwrap();
    let pairs = [low, high].map(|part| {
        let (share, voltage) =
            part.split_once(" of the right mass at ").unwrap_or_else(|| part.split_once(" at ").unwrap());
        (number(share), number(voltage))
    });
    for (share, voltage) in pairs {
        assert!((share - (voltage - 15.0) / voltage).abs() < 0.0051, "{share} at {voltage} V");
    }
    assert!(pairs[0].1 < pairs[1].1 && pairs[0].0 < pairs[1].0);
}

#[test]
fn a_pupils_sheet_holds_no_step_that_pupils_must_not_do() {
    let folder = tempfile::tempdir().unwrap();
    let sheet = read(&worksheet_html(&notebook(&BENCHES[0], folder.path()), &FieldUnit::default()));
    for words in
        ["Ask the responsible person", "pacemakers", "emergency-off", "the responsible person reverses them"]
    {
        assert!(sheet.contains(words), "{words}");
    }
    for words in ["taken out", "reverse its leads", "lead is moved"] {
        assert!(!sheet.contains(words), "{words}");
    }
}
