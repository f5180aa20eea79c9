//! A check from common practice, no source: one bench's numbers to two digits.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

use arcmass_lab::Desk;
use arcmass_lab::reduce::{AcceptedMass, reduce};
use arcmass_notebook::Notebook;
use arcmass_physics::motion;
use arcmass_quantity::constants::ELEMENTARY_CHARGE;
use arcmass_quantity::{dimension, print, text};

#[test]
fn a_hundred_volts_and_a_ring_of_five_and_a_half_centimetres_give_the_known_mass_and_speed() {
    let voltage = text::parse("100 V", dimension::VOLTAGE).unwrap().value;
    let field = text::parse("0.97e-22 N per e·m/s", dimension::FLUX_DENSITY).unwrap().value;
    let radius = text::parse("5.5 cm", dimension::LENGTH).unwrap().value;
    let momentum = ELEMENTARY_CHARGE.value * field * radius;
    let energy = ELEMENTARY_CHARGE.value * voltage;
    let mass = motion::mass_from_momentum(momentum, energy);
    assert_eq!(print::fixed(mass * 1e30, -2), "0.89");
    assert_eq!(print::fixed(motion::speed(momentum, energy, mass) * 1e-6, 0), "6");
}

/// Mass from diameters that a person read on a scale of this kind, with this offset of it, the camera or eye one metre away.
fn mass_read_on(scale: &str) -> f64 {
    let folder = tempfile::tempdir().unwrap();
    let bench = format!(
        "[bench]\nformat = 1\nname = \"Bench\"\n[coils]\nshape = \"circular\"\nmean_radius = \"150.0(2) mm\"\nseparation = \"150.0(2) mm\"\nturns = 130\n\
         field_direction = \"+z\"\n[gun]\nvoltage_offset = \"0(1) V\"\n[surroundings]\nbackground = [\"0(1) uT\", \"0(1) uT\", \"0(1) uT\"]\n\
         [camera]\ndistance = \"1.000(5) m\"\n[scale]\nspacing = \"1 mm\"\n{scale}\n"
    );
    std::fs::write(folder.path().join("bench.toml"), bench).unwrap();
    let readings = "run,voltage_V,current_A,diameter_mm\n1,200,1.5,81.6\n2,250,1.6,85.6\n3,300,1.8,83.3\n";
    std::fs::write(folder.path().join("readings.csv"), readings).unwrap();
    let notebook = Notebook::open(folder.path()).unwrap();
    reduce(&notebook, None, &AcceptedMass::default(), &Desk { seed: 1, workers: 1 }).unwrap().mass_kg.value
}

/// Parallax: a scale nearer by z at the distance L changes the mass by (L/(L − z))² (geometry; the mass goes with the square of the
/// diameter), and a mirror scale by nothing.
#[test]
fn diameters_read_on_a_scale_behind_the_ring_are_corrected_and_those_on_a_mirror_are_not() {
    let in_plane = mass_read_on("offset = \"0(1) mm\"");
    let behind = mass_read_on("offset = \"-50(1) mm\"");
    let expected = (1.0_f64 / 1.05).powi(2);
    assert!((behind / in_plane / expected - 1.0).abs() < 0.003, "{behind} for {in_plane}");
    let mirror = mass_read_on("kind = \"mirror\"\noffset = \"-50(1) mm\"");
    assert!((mirror / in_plane - 1.0).abs() < 1e-6, "{mirror} for {in_plane}");
}
