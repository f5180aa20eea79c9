//! Gas and Earth's field against `reference/gas_beam.toml` and `reference/geomagnetic.toml`.

use arcmass_physics::earth::{NorthEastDown, Place, earth_field};
use arcmass_physics::gas;
use arcmass_physics::motion::Particle;
use arcmass_quantity::constants::ELEMENTARY_CHARGE;

use crate::table::{Case, Outcome, run};

#[test]
fn the_gas_agrees_with_the_table() {
    run(include_str!("../../../../reference/gas_beam.toml"), &[], |case, _| {
        check_gas(case);
        Outcome::Checked
    });
}

fn check_gas(case: &Case<'_>) {
    if let Some(formula) = case.input_text("element").or_else(|| case.input_text("molecule")) {
        let energy = gas::ionisation_energy_ev(formula).unwrap_or_else(|| panic!("{}: no energy", case.id));
        case.agree_within("E_eV", &[energy], 0.0, case.tolerance("abs_eV").unwrap());
        if case.has_input("wavenumber_per_cm") {
            let from = gas::photon_energy_ev(0.01 / case.input("wavenumber_per_cm"));
            case.agree_within("E_from_wavenumber_eV", &[from], 0.0, case.tolerance("abs_eV").unwrap());
        }
        return;
    }
    if case.id.starts_with("line-") {
        return case.agree("E_eV", &[gas::photon_energy_ev(1e-9 * case.input("wavelength_nm"))]);
    }
    if case.id == "pressure-units" {
        case.agree("torr_Pa", &[gas::TORR_PA]);
        return case.agree("mbar_Pa", &[gas::MILLIBAR_PA]);
    }
    if case.id == "threshold-speed-He" {
        let energy = case.input("E_eV") * ELEMENTARY_CHARGE.value;
        let motion = Particle { charge_number: -1.0, mass_kg: case.input("m_kg") }
            .with_kinetic_energy(energy)
            .unwrap();
        // the table's value is non-relativistic: the exact speed is lower by 3/4 (γ − 1) to first order, to 1e-9 here
        let slow = motion.speed_m_per_s() * (1.0 + 0.75 * motion.gamma_minus_1);
        return case.agree("v_m_per_s", &[slow]);
    }
    let (p, t) = (case.input("p_Pa"), case.input("T_K"));
    if case.id == "molecule-mfp" {
        return case.agree("lambda_m", &[gas::molecule_mean_free_path_m(case.input("d_m"), p, t).unwrap()]);
    }
    let density = gas::number_density_per_m3(p, t).unwrap();
    if case.has_expected("n_per_m3") {
        return case.agree("n_per_m3", &[density]);
    }
    let path = gas::mean_free_path_m(density, case.input("sigma_m2"));
    case.agree("lambda_m", &[path]);
    case.agree("fraction", &[gas::unscattered_share(case.input("L_m"), path)]);
}

const NO_IGRF: &str =
    "the crate ships WMM2025 only; the licence of the IGRF-14 table was not stated in any copy read";

#[test]
fn earths_field_agrees_with_the_table() {
    let skipped = [
        ("igrf14-mid-north", NO_IGRF),
        ("igrf14-mid-north-west", NO_IGRF),
        ("igrf14-equator", NO_IGRF),
        ("igrf14-south", NO_IGRF),
        ("igrf14-high-north", NO_IGRF),
    ];
    run(include_str!("../../../../reference/geomagnetic.toml"), &skipped, |case, _| check_earth(case));
}

fn check_earth(case: &Case<'_>) -> Outcome {
    if case.id.starts_with("igrf14") {
        return Outcome::Skipped;
    }
    if case.id == "horizontal-vector" {
        let f = NorthEastDown::from_strength(case.input("F_nT"), case.input("I_deg"), case.input("D_deg"));
        for (key, v) in [("X", f.north), ("Y", f.east), ("Z", f.down)] {
            case.agree(key, &[v]);
        }
        return Outcome::Checked;
    }
    let place = Place {
        latitude_deg: case.input("latitude_deg"),
        longitude_deg: case.input("longitude_deg"),
        height_m: 1e3 * case.input("height_km_above_WGS84"),
    };
    let got = earth_field(place, case.input("decimal_year")).unwrap();
    let (nt, deg) = (case.tolerance("abs_nT").unwrap(), case.tolerance("abs_deg").unwrap());
    let f = got.field_t;
    for (key, value) in
        [("X", f.north), ("Y", f.east), ("Z", f.down), ("H", f.horizontal()), ("F", f.strength())]
    {
        case.agree_within(key, &[1e9 * value], 0.0, nt);
    }
    case.agree_within("I", &[f.inclination_deg()], 0.0, deg);
    case.agree_within("D", &[f.declination_deg()], 0.0, deg);
    if case.has_expected("Xdot") {
        change(case, &f, &got.change_t_per_year);
    }
    Outcome::Checked
}

/// The published changes, all from X, Y, Z and theirs.
fn change(case: &Case<'_>, f: &NorthEastDown, d: &NorthEastDown) {
    let nt = case.tolerance("abs_nT_per_yr").unwrap();
    let deg = case.tolerance("abs_deg_per_yr").unwrap();
    let (h, s) = (f.horizontal(), f.strength());
    let h_dot = (f.north * d.north + f.east * d.east) / h;
    let f_dot = (h * h_dot + f.down * d.down) / s;
    for (key, v) in [("Xdot", d.north), ("Ydot", d.east), ("Zdot", d.down), ("Hdot", h_dot), ("Fdot", f_dot)]
    {
        case.agree_within(key, &[1e9 * v], 0.0, nt);
    }
    let i_dot = (h * d.down - f.down * h_dot) / (s * s);
    let d_dot = (f.north * d.east - f.east * d.north) / (h * h);
    case.agree_within("Idot", &[i_dot.to_degrees()], 0.0, deg);
    case.agree_within("Ddot", &[d_dot.to_degrees()], 0.0, deg);
}
