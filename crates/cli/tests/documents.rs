//! Every JSON document that the command prints is one that `schemas/` describes, and the schemas hold what the contract requires.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

mod simulated;

use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;

use serde_json::{Value, json};
use tempfile::TempDir;

use simulated::typical;

fn repository() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../..")
}

fn schema(name: &str) -> Value {
    let path = repository().join("schemas").join(format!("{name}.json"));
    serde_json::from_str(&fs::read_to_string(path).unwrap()).unwrap()
}

/// What in a document the schema does not allow, one line each.
fn offences(name: &str, document: &Value) -> Vec<String> {
    let validator = jsonschema::draft202012::new(&schema(name)).unwrap();
    validator.iter_errors(document).map(|fault| format!("{}: {fault}", fault.instance_path())).collect()
}

fn assert_follows(name: &str, document: &Value) {
    let offences = offences(name, document);
    assert!(offences.is_empty(), "arcmass.{name}/1: {offences:#?}\n{document:#}");
}

/// Runs `arcmass … --json`: exit status, and the one document on standard output.
fn arcmass(words: &[&str], notebook: &Path) -> (i32, Value) {
    let (command, options) = words.split_first().unwrap();
    let output = Command::new(env!("CARGO_BIN_EXE_arcmass"))
        .arg(command)
        .arg(notebook)
        .args(options)
        .arg("--json")
        .output()
        .unwrap();
    let text = String::from_utf8(output.stdout).unwrap();
    let said = String::from_utf8_lossy(&output.stderr);
    let document =
        serde_json::from_str(&text).unwrap_or_else(|why| panic!("{words:?}: {why}\n{text}\n{said}"));
    (output.status.code().unwrap(), document)
}

fn result(words: &[&str], notebook: &Path) -> Value {
    let (status, document) = arcmass(words, notebook);
    assert_eq!(status, 0, "{words:?}: {document:#}");
    document
}

/// Diameters by hand for a bench of that field per ampere, by d = 2 √(2 m V/e)/B, in whole tenths of a millimetre.
fn table(field_per_ampere_mt: f64, settings: &[(f64, f64)]) -> String {
    let rows = settings.iter().zip(1..).map(|((voltage, current), run)| {
        let radius_m =
            (2.0 * 9.109e-31 * voltage / 1.602e-19).sqrt() / (field_per_ampere_mt * 1e-3 * current);
        format!("{run},{voltage},{current},{:.1}\n", 2e3 * radius_m)
    });
    format!("run,voltage_V,current_A,diameter_mm\n{}", rows.collect::<String>())
}

/// The simulated bench with diameters in the table instead of photographs.
fn by_hand() -> TempDir {
    let folder = typical();
    let settings = [(260.0, 2.64), (135.0, 1.79), (140.0, 1.55), (160.0, 1.42), (170.0, 1.23), (200.0, 1.80)];
    fs::write(folder.path().join("readings.csv"), table(0.72, &settings)).unwrap();
    folder
}

/// As little as a notebook can hold: a stated coil constant and one run.
fn bare() -> TempDir {
    let folder = TempDir::new().unwrap();
    let bench = "[bench]\nformat = 1\nname = \"Bare\"\n\n[coils]\nfield_per_ampere = \"0.78(1) mT/A\"\nfield_direction = \"+z\"\n";
    fs::write(folder.path().join("bench.toml"), bench).unwrap();
    fs::write(folder.path().join("readings.csv"), table(0.78, &[(200.0, 1.5)])).unwrap();
    folder
}

#[test]
fn the_field_is_told_as_the_schema_has_it() {
    let document = result(&["field", "--current", "1.5", "--at", "0,0,0", "--at=-10,20,5"], by_hand().path());
    assert_follows("field", &document);
    assert_eq!(document["points"].as_array().unwrap().len(), 2);
    assert!(document["geometry_mt_per_a"].is_object() && document["probe_mt_per_a"].is_object());
    let bare = result(&["field"], bare().path());
    assert_follows("field", &bare);
    assert!(bare["geometry_mt_per_a"].is_null() && bare["probe_mt_per_a"].is_null());
}

#[test]
fn a_path_is_told_as_the_schema_has_it() {
    let ring = result(&["path", "--voltage", "200", "--current", "2"], by_hand().path());
    assert_follows("path", &ring);
    assert!(ring["fitted_diameter_mm"].is_number());
    // so weak a field bends the beam too little to miss the glass
    let cut = result(&["path", "--voltage", "300", "--current", "0.3"], by_hand().path());
    assert_follows("path", &cut);
    assert!(cut["fitted_diameter_mm"].is_null() && cut["glass_point_mm"].is_array());
    assert_follows("path", &result(&["path", "--voltage", "200", "--current", "1.5"], bare().path()));
}

#[test]
fn a_plan_is_told_as_the_schema_has_it_and_keeps_every_rating() {
    let document = result(&["plan", "--runs", "8"], by_hand().path());
    assert_follows("plan", &document);
    let settings = document["settings"].as_array().unwrap();
    assert_eq!(settings.len(), 8);
    for setting in settings {
        // the sample's ratings with its meters' limits: 350 V less 0.5 % and 0.2 V, 4 A less 1 % and 3 mA
        assert!(
            setting["voltage_v"].as_f64().unwrap() <= 348.1
                && setting["voltage_v"].as_f64().unwrap() >= 120.0
        );
        assert!(setting["current_a"].as_f64().unwrap() <= 3.958);
        let (from, to) = (setting["go_from_mm"].as_f64().unwrap(), setting["go_to_mm"].as_f64().unwrap());
        let expected = setting["expected_diameter_mm"]["value"].as_f64().unwrap();
        assert!(from < expected && expected < to);
    }
    assert!(document["expected"]["now_percent"].is_number(), "six runs have a diameter already");
    assert!(!document["cautions"].as_array().unwrap().is_empty());
    let (status, refused) = arcmass(&["plan"], bare().path());
    assert_eq!(status, 2, "no ratings, no plan");
    assert_follows("faults", &refused);
    assert!(refused["faults"][0]["remedy"].as_str().unwrap().contains("voltage_limit"), "{refused:#}");
}

#[test]
fn a_reduction_is_told_as_the_schema_has_it() {
    let folder = by_hand();
    let document = result(&["reduce"], folder.path());
    assert_follows("reduction", &document);
    assert_eq!(document["runs"].as_array().unwrap().len(), 6);
    assert!(document["law"]["raw"].is_object());
    let kept = fs::read_to_string(folder.path().join("results/reduction.json")).unwrap();
    assert_eq!(serde_json::from_str::<Value>(&kept).unwrap(), document);
}

#[test]
fn several_notebooks_are_told_together_as_the_schema_has_it() {
    let (spring, autumn) = (by_hand(), by_hand());
    let readings = fs::read_to_string(autumn.path().join("readings.csv")).unwrap();
    fs::write(autumn.path().join("readings.csv"), readings.replace("6,200", "6,201")).unwrap();
    let figure = spring.path().join("history.svg");
    let other = autumn.path().to_str().unwrap();
    let document = result(&["combine", other, "--to", figure.to_str().unwrap()], spring.path());
    assert_follows("combination", &document);
    assert_eq!(document["notebooks"].as_array().unwrap().len(), 2);
    assert!(document["shared_causes"].as_array().unwrap().len() > 3, "one bench shares its apparatus");
    assert!(fs::read_to_string(figure).unwrap().starts_with("<?xml"));
    let (status, refused) = arcmass(&["combine"], spring.path());
    assert_eq!(status, 2, "one notebook is nothing to combine");
    assert_follows("faults", &refused);
}

#[test]
fn a_report_says_where_it_is() {
    let folder = by_hand();
    let document = result(&["report"], folder.path());
    assert_follows("report", &document);
    assert!(Path::new(document["report"].as_str().unwrap()).is_file());
}

#[test]
fn one_run_is_reduced_without_a_law() {
    let document = result(&["reduce"], bare().path());
    assert_follows("reduction", &document);
    assert!(document["law"]["raw"].is_null() && document["agreement"]["birge_ratio"].is_null());
}

#[test]
fn photographs_and_what_follows_from_them_are_told_as_the_schemas_have_it() {
    let folder = typical();
    fs::write(folder.path().join("photos/ring-02.jpg"), b"no picture").unwrap();
    let rings = result(&["rings"], folder.path());
    assert_follows("rings", &rings);
    assert_eq!(rings["photos"].as_array().unwrap().len(), 4);
    assert_eq!(rings["failed"][0]["photo"], "ring-02.jpg");
    let kept = fs::read_to_string(folder.path().join("results/rings.json")).unwrap();
    assert_follows("rings", &serde_json::from_str(&kept).unwrap());
    let figures = folder.path().join("results/figures");
    for photo in ["ring-01.jpg", "ring-05.jpg"] {
        let read = |ending: &str| fs::read_to_string(figures.join(format!("{photo}-{ending}"))).unwrap();
        let svg = read("beam.svg");
        assert!(svg.contains("<title") && svg.contains("<desc") && svg.contains("data:image/jpeg;base64,"));
        assert!(read("beam.txt").contains("centre line"));
        assert!(read("beam.csv").starts_with("along_deg,x_px,y_px,residual_mm,"));
        assert!(figures.join(format!("{photo}-found.jpg")).exists());
    }
    assert!(
        !figures.join("ring-02.jpg-beam.svg").exists() && !figures.join("scale-01.jpg-beam.svg").exists()
    );
    assert_follows("reduction", &result(&["reduce"], folder.path()));
}

#[test]
fn check_and_new_are_told_as_the_schemas_have_it() {
    assert_follows("check", &result(&["check"], typical().path()));
    let bare = result(&["check"], bare().path());
    assert_follows("check", &bare);
    assert!(!bare["lacks"].as_array().unwrap().is_empty());
    let folder = TempDir::new().unwrap();
    let notebook = folder.path().join("bench");
    assert_follows("new", &result(&["new"], &notebook));
    assert_follows("check", &result(&["check"], &notebook));
}

#[test]
fn where_the_page_is_served_is_told_as_the_schema_has_it() {
    let folder = bare();
    for more in [&[][..], &["--listen", "0.0.0.0"]] {
        let mut server = Command::new(env!("CARGO_BIN_EXE_arcmass"))
            .args(["serve", "--port", "0", "--json"])
            .args(more)
            .arg(folder.path())
            .stdout(std::process::Stdio::piped())
            .stderr(std::process::Stdio::null())
            .spawn()
            .unwrap();
        let told = std::io::BufReader::new(server.stdout.take().unwrap());
        let mut documents = serde_json::Deserializer::from_reader(told).into_iter::<Value>();
        let document = documents.next().unwrap().unwrap();
        server.kill().unwrap();
        server.wait().unwrap();
        assert_follows("serve", &document);
        assert_eq!(document["outside"].is_null(), more.is_empty(), "{document:#}");
    }
}

/// Runs `arcmass class check … --json` in the folder of a simulated class.
fn class(words: &[&str], folder: &Path) -> (i32, Value) {
    let output = Command::new(env!("CARGO_BIN_EXE_arcmass"))
        .args(["class", "check"])
        .args(words)
        .arg("--json")
        .current_dir(folder)
        .output()
        .unwrap();
    let text = String::from_utf8(output.stdout).unwrap();
    (output.status.code().unwrap(), serde_json::from_str(&text).unwrap_or_else(|why| panic!("{why}: {text}")))
}

#[test]
fn a_class_is_told_as_the_schema_has_it() {
    let data = repository().join("tests/data");
    let (status, document) = class(&["class.csv", "--bench", "bench-4"], &data.join("class-b"));
    assert_eq!(status, 0);
    assert_follows("class", &document);
    let (status, named) = class(&["class.csv", "--bench", "bench-4=bench-4"], &data.join("class-b"));
    assert_eq!((status, &named["groups"]), (0, &document["groups"]));
    let (status, alone) = class(&["class.csv"], &data.join("class-a"));
    assert_eq!(status, 0);
    assert_follows("class", &alone);
    assert!(alone["pooled_mass_kg"].is_null());
}

#[test]
fn a_group_that_cannot_be_read_stops_no_other_and_a_class_of_them_is_a_fault() {
    let folder = TempDir::new().unwrap();
    let heading = "group,voltage_V,current_A,diameter_mm,claimed_mass_kg\n";
    let good = "A,250,1.5,91,9.1e-31\nA,200,1.5,82,\n";
    fs::write(folder.path().join("class.csv"), format!("{heading}{good}B,2OO,1.5,91,\nC,200,1.5,82,\n"))
        .unwrap();
    let (status, document) = class(&["class.csv"], folder.path());
    assert_eq!(status, 0);
    assert_follows("class", &document);
    let verdicts: Vec<_> =
        document["groups"].as_array().unwrap().iter().map(|group| group["verdict"].clone()).collect();
    assert_eq!(verdicts, ["honest", "unreadable", "too-few"], "{document:#}");
    assert_eq!(document["groups"][1]["faults"][0]["line"], 4);
    fs::write(folder.path().join("class.csv"), format!("{heading}B,2OO,1.5,91,\n")).unwrap();
    let (status, document) = class(&["class.csv"], folder.path());
    assert_eq!(status, 2);
    assert_follows("faults", &document);
}

#[test]
fn faults_are_told_all_at_once_and_nothing_is_written() {
    let folder = typical();
    let bench = fs::read_to_string(folder.path().join("bench.toml")).unwrap();
    let bench =
        bench.replace("turns = 129", "turns = 129\nturnz = 3").replace("\"161 mm ± 0.7 mm\"", "\"161 V\"");
    fs::write(folder.path().join("bench.toml"), bench).unwrap();
    fs::write(folder.path().join("readings.csv"), "run,voltage_V,current_A\n1,2OO,1.5\n").unwrap();
    for command in ["check", "field", "rings", "reduce"] {
        let (status, document) = arcmass(&[command], folder.path());
        assert_eq!(status, 2, "{command}");
        assert_follows("faults", &document);
        let files: Vec<&str> = document["faults"]
            .as_array()
            .unwrap()
            .iter()
            .map(|fault| fault["file"].as_str().unwrap())
            .collect();
        assert_eq!(files, ["bench.toml", "bench.toml", "readings.csv"], "{command}: {document:#}");
    }
    assert!(!folder.path().join("results").exists());
}

#[test]
fn slips_on_the_command_line_are_faults_too() {
    for words in
        [&["path", "--voltage", "two hundred", "--current", "1"][..], &["path"], &["field", "--at", "1,2"]]
    {
        let (status, document) = arcmass(words, bare().path());
        assert_eq!(status, 2, "{words:?}");
        assert_follows("faults", &document);
    }
    let (status, document) = arcmass(&["check"], Path::new("no-such-notebook"));
    assert_eq!(status, 2);
    assert_follows("faults", &document);
}

#[test]
fn a_schema_refuses_what_the_contract_does_not_allow() {
    let whole = result(&["reduce"], bare().path());
    for key in ["schema", "made_by", "mass_kg", "runs", "effects", "law", "budget", "agreement", "reference"]
    {
        let mut part = whole.clone();
        part.as_object_mut().unwrap().remove(key);
        assert!(!offences("reduction", &part).is_empty(), "without {key}");
    }
    for (place, wrong) in [
        ("/schema", json!("arcmass.reduction/2")),
        ("/mass_kg/interval_95", json!([1.0])),
        ("/mass_kg", json!(null)),
        ("/runs/0/run", json!(1)),
        ("/runs/0/speed_m_per_s/value", json!("fast")),
        ("/made_by/inputs/0/sha256", json!("abc")),
    ] {
        let mut document = whole.clone();
        *document.pointer_mut(place).unwrap() = wrong;
        assert!(!offences("reduction", &document).is_empty(), "{place}");
    }
}

/// What the terminal prints of a result is the document's numbers to the digits of their uncertainty, and nothing else.
#[test]
fn the_terminal_prints_the_documents_numbers() {
    use arcmass_quantity::print::short;
    let q = |value: &Value, factor: f64| {
        let number = |key: &str| factor * value[key].as_f64().unwrap();
        match number("standard_uncertainty") {
            u if u > 0.0 => short(number("value"), u),
            _ => format!("{}", number("value")),
        }
    };
    for folder in [bare(), typical()] {
        let document = result(&["reduce"], folder.path());
        let told =
            Command::new(env!("CARGO_BIN_EXE_arcmass")).arg("reduce").arg(folder.path()).output().unwrap();
        let told = String::from_utf8(told.stdout).unwrap();
        let line = |start: &str| {
            told.lines()
                .find(|line| line.trim_start().starts_with(start))
                .unwrap_or_else(|| panic!("{start}: {told}"))
        };
        assert!(line("Mass of the particle").contains(&q(&document["mass_kg"], 1.0)), "{told}");
        assert!(line("specific charge").contains(&q(&document["charge_to_mass_c_per_kg"], 1.0)), "{told}");
        for run in document["runs"].as_array().unwrap() {
            let row = line(&format!("● {} ", run["run"].as_str().unwrap()));
            for (key, factor) in [
                ("voltage_v", 1.0),
                ("accelerating_voltage_v", 1.0),
                ("current_a", 1.0),
                ("flux_density_mt", 1.0),
                ("ring_diameter_mm", 1.0),
                ("speed_m_per_s", 1e-6),
                ("mass_kg", 1e31),
            ] {
                assert!(row.contains(&q(&run[key], factor)), "{key} = {} in `{row}`", q(&run[key], factor));
            }
        }
        for budget in document["budget"].as_array().unwrap().iter().take(3) {
            let u = budget["standard_uncertainty_percent"].as_f64().unwrap();
            assert!(line(budget["input"].as_str().unwrap()).contains(&format!("{u:.2}")), "{budget}");
        }
        let is_mixture = document["mixture"]["models"].as_array().unwrap().len() > 1;
        let says = told.contains("mixture of models") && told.contains("1:20");
        assert!(says == is_mixture && (is_mixture || told.contains("model as stated")), "{told}");
        assert!(!told.contains("% sure") && !told.contains("compatible"), "{told}");
    }
}
