//! The Earth's field by place and date, and how uniform the coils' field is over the rings.

use arcmass_lab::Desk;
use arcmass_lab::field::{FieldQuestion, field};

use super::bench::{BENCH, field_of, notebook};

fn place(date: &str, bearing: &str) -> String {
    format!(
        "{BENCH}\n[surroundings]\nlatitude = \"80 deg\"\nlongitude = \"0 deg\"\nheight = \"0 m\"\ndate = {date}\naxis_bearing = \"{bearing}\"\n"
    )
}

#[test]
fn the_earths_field_comes_in_the_benchs_frame_with_the_models_uncertainty() {
    // WMM2025 published test value at 80° N, 0° E, 2025.0: X 6521.6, Y 145.9, Z 54791.5 nT
    let document = field_of(&[("bench.toml", &place("2025-01-01", "90 deg"))]);
    let [x, y, z] = document.background_mt;
    // +z east, y up, so +x = y × z = up × east is north
    assert!((z.value - 145.9e-6).abs() < 1e-7, "east along +z: {}", z.value);
    assert!((y.value + 54_791.5e-6).abs() < 1e-7, "down along −y: {}", y.value);
    assert!((x.value - 6521.6e-6).abs() < 1e-7, "north along +x: {}", x.value);
    for q in [x, y, z] {
        let u = 1e6 * q.standard_uncertainty;
        assert!((80.0..300.0).contains(&u), "the model's published uncertainty is 0.1 to 0.2 µT, got {u} nT");
    }
    assert!(document.caveats.iter().all(|caveat| caveat.code != "background-not-stated"));
}

#[test]
fn a_date_outside_the_model_is_one_clear_error() {
    let (_folder, notebook) = notebook(&[("bench.toml", &place("2031-06-01", "0 deg"))]);
    let said = field(&notebook, &FieldQuestion::default(), &Desk::default()).unwrap_err().to_string();
    assert!(said.contains("2025") && said.contains("2030") && said.contains("date"), "{said}");
}

#[test]
fn a_silent_background_is_said_with_its_part_in_the_mass() {
    let document = field_of(&[("bench.toml", BENCH)]);
    let caveat = document.caveats.iter().find(|caveat| caveat.code == "background-not-stated").unwrap();
    // 2 · 30 µT over 0.743 mT at 1 A, half the rating
    assert!(caveat.sentence.contains("at 1.00 A that is 8.1 % of the mass"), "{}", caveat.sentence);
}

#[test]
fn rings_run_from_the_smallest_the_ratings_make_to_the_largest_the_glass_lets_through() {
    let over = field_of(&[("bench.toml", BENCH)]).uniformity.unwrap();
    assert_eq!(over.basis, "ratings");
    let (first, last) = (over.rings.first().unwrap(), over.rings.last().unwrap());
    // 120 V and 2 A: r = √(2 m V/e)/B with B = 1.4865 mT, 3.372 mT mm √V⁻¹ … = 24.85 mm
    assert!((first.ring_diameter_mm - 49.7).abs() < 0.2, "{first:?}");
    // from 40 mm below the centre to 70.5 mm (78.5 − 8) above it
    assert!((last.ring_diameter_mm - 110.5).abs() < 0.5, "{last:?}");
    // fall-off of a pair at R in the mid-plane, centred ring: −x⁴(0.6583 + 0.29 x²)² … the ring hangs, so only the size
    assert!(
        last.largest_deviation_percent < last.mean_deviation_percent && last.mean_deviation_percent < 0.0
    );
}

#[test]
fn without_ratings_the_readings_tell_the_rings_and_without_both_they_are_assumed() {
    let silent = BENCH.replace("current_limit = \"2 A\"\n", "");
    assert_eq!(field_of(&[("bench.toml", &silent)]).uniformity.unwrap().basis, "assumed");
    let readings = "run,voltage_V,current_A,diameter_mm\na,200,1.5,80\nb,250,1.5,90\n";
    let over = field_of(&[("bench.toml", &silent), ("readings.csv", readings)]).uniformity.unwrap();
    assert_eq!(over.basis, "readings");
    // √(2 m · 200 V/e)/1.1149 mT = 42.78 mm
    assert!((over.rings[0].ring_diameter_mm - 85.6).abs() < 0.2, "{:?}", over.rings[0]);
}

#[test]
fn a_centred_ring_falls_off_as_the_known_series_says() {
    // muzzle below the centre by one radius: the ring is centred on the axis; B(r)/B₀ ≈ 1 − x⁴(0.6583 + 0.29 x²)²
    let bench = BENCH.replace("-40 mm", "-52.5 mm").replace("clearance = \"8 mm\"", "clearance = \"26 mm\"");
    let over = field_of(&[("bench.toml", &bench)]).uniformity.unwrap();
    let ring = over.rings.last().unwrap();
    assert!((ring.ring_diameter_mm - 105.0).abs() < 0.6, "{ring:?}");
    let x: f64 = 0.5 * ring.ring_diameter_mm / 150.0;
    let ratio = (1.0 - x.powi(4) * (0.6583 + 0.29 * x * x).powi(2) - 1.0) * 100.0;
    assert!(
        (ring.mean_deviation_percent - ratio).abs() < 0.05,
        "{} against {ratio}",
        ring.mean_deviation_percent
    );
}

#[test]
fn the_map_is_made_when_asked_and_is_zero_at_the_centre() {
    let (_folder, notebook) = notebook(&[("bench.toml", BENCH)]);
    let question = FieldQuestion { with_map: true, ..FieldQuestion::default() };
    let map = field(&notebook, &question, &Desk::default()).unwrap().map.unwrap();
    let (columns, rows) = (map.x_mm.len(), map.y_mm.len());
    assert_eq!(map.across_percent.len(), columns * rows);
    let middle = map.across_percent[columns * (rows / 2) + columns / 2].unwrap();
    assert!(middle.abs() < 1e-9, "{middle}");
    assert!((map.x_mm[0] + 80.0).abs() < 1e-9 && (map.x_mm[columns - 1] - 80.0).abs() < 1e-9);
}
