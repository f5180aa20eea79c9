//! Motion of particles against `reference/motion.toml`.

use std::f64::consts::TAU;

use arcmass_physics::motion::{Particle, uniform_field_path};
use arcmass_physics::neighbours::{self, PlatePair};
use arcmass_physics::{BenchField, CoilSet, PreparedField, TraceOptions, Until, Vec3, trace};
use arcmass_quantity::constants::{ELECTRON_MASS, ELEMENTARY_CHARGE, SPEED_OF_LIGHT};

use crate::table::{Case, Outcome, run};

#[test]
fn motion_agrees_with_the_table() {
    run(include_str!("../../../../reference/motion.toml"), &[], |case, all| {
        check(case, all);
        Outcome::Checked
    });
}

fn check(case: &Case<'_>, all: &[Case<'_>]) {
    if case.has_input("m_kg") && case.has_input("c_m_per_s") {
        // the table's constants must be the ones in use, or the comparison would mean nothing
        assert_eq!(case.input("m_kg"), ELECTRON_MASS.value);
        assert_eq!(case.input("q_C"), -ELEMENTARY_CHARGE.value);
        assert_eq!(case.input("c_m_per_s"), SPEED_OF_LIGHT.value);
    }
    match case.id.split('-').next().unwrap_or("") {
        "accel" => accelerated(case),
        "helix" => helix(case),
        "uniform" => uniform(case),
        "reduce" | "sensitivity" => reduction(case),
        "busch" => focusing(case),
        "plates" => plates(case),
        "openstax" => openstax(case),
        "thomson1897" => thomson(case),
        "traj" if case.has_input("case") => points(case, all),
        "traj" => crossings(case),
        other => panic!("{other}: no check for {}", case.id),
    }
}

fn electron() -> Particle {
    Particle::default()
}

/// p/q of a slow electron, `−√(2 m V/e)`.
fn slow_momentum_over_charge(voltage_v: f64) -> f64 {
    -(2.0 * ELECTRON_MASS.value * voltage_v / ELEMENTARY_CHARGE.value).sqrt()
}

fn accelerated(case: &Case<'_>) {
    let (v, b) = (case.input("V_volt"), case.input("B_T"));
    let m = electron().accelerated(v).unwrap();
    let slow = slow_momentum_over_charge(v).abs();
    let slow_speed = slow * ELEMENTARY_CHARGE.value / ELECTRON_MASS.value;
    case.agree("v_nonrel", &[slow_speed]);
    case.agree("v_rel", &[m.speed_m_per_s()]);
    case.agree("beta", &[m.speed_m_per_s() / SPEED_OF_LIGHT.value]);
    case.agree("gamma", &[m.gamma()]);
    case.agree("p_rel_kg_m_per_s", &[m.momentum_kg_m_per_s]);
    case.agree("B_rho_T_m", &[m.momentum_over_charge_t_m().abs()]);
    case.agree("r_nonrel_m", &[slow / b]);
    case.agree("r_rel_m", &[m.gyroradius_m(b).unwrap()]);
    case.agree("T_nonrel_s", &[neighbours::slow_period_s(ELECTRON_MASS.value, ELEMENTARY_CHARGE.value, b)]);
    case.agree("T_rel_s", &[m.period_s(b).unwrap()]);
    case.agree("r_ratio", &[m.gyroradius_m(b).unwrap() * b / slow]);
    // e/m by the textbook on a relativistic beam, less by (γ − 1)/(γ + 1)
    let naive = neighbours::textbook_charge_to_mass(v, b, m.gyroradius_m(b).unwrap());
    let error = naive * ELECTRON_MASS.value / ELEMENTARY_CHARGE.value - 1.0;
    case.agree_within("e_over_m_naive_rel_error", &[-m.gamma_minus_1 / (2.0 + m.gamma_minus_1)], 1e-9, 0.0);
    // by subtraction it loses the digits the table's note says: 1e-16 over the error itself
    case.agree_within("e_over_m_naive_rel_error", &[error], 0.0, 2e-15);
    // and the mass comes back from momentum and energy
    let back = arcmass_physics::motion::mass_from_momentum(m.momentum_kg_m_per_s, m.kinetic_energy_j);
    assert!((back / ELECTRON_MASS.value - 1.0).abs() < 1e-14, "{}: {back:e}", case.id);
}

fn helix(case: &Case<'_>) {
    let (v, b, tilt) = (case.input("V_volt"), case.input("B_T"), case.input("tilt_deg").to_radians());
    let slow = slow_momentum_over_charge(v).abs();
    // cos 90° is 6e-17 in double precision: absolute for what is zero there
    let abs = 1e-16;
    case.agree_within("v_m_per_s", &[slow * ELEMENTARY_CHARGE.value / ELECTRON_MASS.value], 1e-13, 0.0);
    case.agree_within("radius_m", &[slow * tilt.cos() / b], 1e-13, abs);
    case.agree("period_s", &[neighbours::slow_period_s(ELECTRON_MASS.value, ELEMENTARY_CHARGE.value, b)]);
    case.agree_within("pitch_m", &[TAU * slow * tilt.sin() / b], 1e-13, abs);
    let (radius, pitch) = electron().accelerated(v).unwrap().helix_m(b, tilt).unwrap();
    case.agree_within("radius_rel_m", &[radius], 1e-13, abs);
    case.agree_within("pitch_rel_m", &[pitch], 1e-13, abs);
    if tilt.to_degrees() < 89.0 {
        traced_helix(case, b, tilt, radius, pitch);
    }
}

/// The same helix by following the path for one turn.
fn traced_helix(case: &Case<'_>, b: f64, tilt: f64, radius: f64, pitch: f64) {
    let field = move |_: Vec3| Ok(Vec3::new(0.0, 0.0, b));
    let p = electron().accelerated(case.input("V_volt")).unwrap().momentum_over_charge_t_m();
    let direction = Vec3::new(tilt.cos(), 0.0, tilt.sin());
    let path = trace(&field, Vec3::ZERO, direction, p, Until::Turns(1.0), &TraceOptions::default()).unwrap();
    let end = path.at(path.length_m()).0;
    assert!((end - Vec3::new(0.0, 0.0, pitch)).norm() < 1e-12, "{}: {end:?}", case.id);
    let far = path.at(0.5 * path.length_m()).0;
    assert!((far.x.hypot(far.y) - 2.0 * radius).abs() < 1e-12, "{}", case.id);
}

fn vector(v: &[f64]) -> Vec3 {
    let [x, y, z] = v else { panic!("three components") };
    Vec3::new(*x, *y, *z)
}

fn uniform(case: &Case<'_>) {
    let velocity = vector(&case.input_list("v0_m_per_s"));
    let b = vector(&case.input_list("B_T"));
    let speed = velocity.norm();
    // non-relativistic: p = m v
    let p = -ELECTRON_MASS.value * speed / ELEMENTARY_CHARGE.value;
    let start = vector(&case.input_list("x0_m"));
    let length = speed * case.input("t_s");
    let (abs, rel) = (case.tolerance("x_abs_m").unwrap(), case.tolerance("v_rel_of_norm").unwrap());
    let (place, direction) = uniform_field_path(start, velocity / speed, b, p, length);
    case.agree_within("x_m", &<[f64; 3]>::from(place), 0.0, abs);
    case.agree_vector("v_m_per_s", &<[f64; 3]>::from(direction * speed), rel);
    let field = move |_: Vec3| Ok(b);
    let path = trace(&field, start, velocity, p, Until::Length(length), &TraceOptions::default()).unwrap();
    let (place, direction) = path.at(length);
    case.agree_within("x_m", &<[f64; 3]>::from(place), 0.0, abs);
    case.agree_vector("v_m_per_s", &<[f64; 3]>::from(direction * speed), rel);
}

fn textbook_mass(v: f64, b: f64, r: f64) -> f64 {
    ELEMENTARY_CHARGE.value / neighbours::textbook_charge_to_mass(v, b, r)
}

fn reduction(case: &Case<'_>) {
    let pair = neighbours::ideal_pair_centre_t_per_a;
    let mass = |v: f64, i: f64, r: f64, radius: f64, turns: f64| textbook_mass(v, i * pair(turns, radius), r);
    let base = mass(200.0, 1.3, 0.05, 0.15, 130.0);
    if case.id == "reduce-e-over-m" {
        let b = case.input("I_A") * pair(case.input("turns"), case.input("coil_radius_m"));
        let (v, r) = (case.input("V_volt"), 0.5 * case.input("diameter_m"));
        case.agree("B_T", &[b]);
        case.agree("e_over_m_C_per_kg", &[neighbours::textbook_charge_to_mass(v, b, r)]);
        case.agree("m_kg", &[textbook_mass(v, b, r)]);
        case.agree("v_m_per_s", &[2.0 * v / (b * r)]);
    } else if case.id == "reduce-slip-factors" {
        let one_coil = arcmass_physics::Loop {
            radius_m: 0.15,
            centre_m: Vec3::ZERO,
            axis: Vec3::Z,
            ampere_turns_per_ampere: 130.0 * 1.3,
        };
        let single = one_coil.flux_density_per_ampere(Vec3::ZERO).unwrap().z;
        case.agree("diameter_used_as_radius", &[mass(200.0, 1.3, 0.1, 0.15, 130.0) / base]);
        case.agree("coil_diameter_used_as_coil_radius", &[mass(200.0, 1.3, 0.05, 0.3, 130.0) / base]);
        case.agree("one_coil_at_its_centre_instead_of_pair", &[textbook_mass(200.0, single, 0.05) / base]);
        case.agree("kV_vs_V", &[mass(2e5, 1.3, 0.05, 0.15, 130.0) / base]);
        case.agree("V_ten_percent_low", &[mass(180.0, 1.3, 0.05, 0.15, 130.0) / base]);
        case.agree("turns_of_both_coils_used", &[mass(200.0, 1.3, 0.05, 0.15, 260.0) / base]);
    } else {
        // the exponent of a pure power is the logarithm of the ratio for a factor of 2
        let exponent = |m: f64| (m / base).log2();
        case.agree("V", &[exponent(mass(400.0, 1.3, 0.05, 0.15, 130.0))]);
        case.agree("I", &[exponent(mass(200.0, 2.6, 0.05, 0.15, 130.0))]);
        case.agree("r", &[exponent(mass(200.0, 1.3, 0.1, 0.15, 130.0))]);
        case.agree("R_coil", &[exponent(mass(200.0, 1.3, 0.05, 0.3, 130.0))]);
        case.agree("N", &[exponent(mass(200.0, 1.3, 0.05, 0.15, 260.0))]);
    }
}

fn focusing(case: &Case<'_>) {
    let p = slow_momentum_over_charge(case.input("V_volt"));
    if case.has_input("alpha_deg") {
        let b = case.input("B_T");
        let angle = case.input("alpha_deg").to_radians();
        let length = neighbours::focus_distance_m(p, b, angle, 1);
        case.agree("L_m", &[length]);
        case.agree("rel_shift", &[length / neighbours::focus_distance_m(p, b, 0.0, 1) - 1.0]);
        // followed: after one turn the electron is back on the axis at that distance
        let field = move |_: Vec3| Ok(Vec3::new(0.0, 0.0, b));
        let start = Vec3::new(angle.sin(), 0.0, angle.cos());
        let path = trace(&field, Vec3::ZERO, start, p, Until::Turns(1.0), &TraceOptions::default()).unwrap();
        let end = path.at(path.length_m()).0;
        assert!((end - Vec3::new(0.0, 0.0, length)).norm() < 1e-11, "{}: {end:?}", case.id);
        return;
    }
    let (distance, order) = (case.input("L_m"), case.input("n") as u32);
    let b = neighbours::focusing_flux_density_t(p, distance, order);
    case.agree("B_T", &[b]);
    let ratio = neighbours::charge_to_mass_from_focusing(case.input("V_volt"), b, distance, order);
    case.agree("e_over_m", &[ratio]);
    let (foci, integral) = neighbours::axial_foci(|_| Ok(b), 0.0, 1.01 * distance, p).unwrap();
    assert_eq!(foci.len(), order as usize, "{}", case.id);
    assert!(
        (foci[order as usize - 1] / distance - 1.0).abs() < 1e-12
            && (integral / (1.01 * b * distance) - 1.0).abs() < 1e-12
    );
}

fn plates(case: &Case<'_>) {
    let pair =
        PlatePair { voltage_v: case.input("Vd_volt"), gap_m: case.input("d_m"), length_m: case.input("L_m") };
    let got = pair.deflect(case.input("Va_volt")).unwrap();
    case.agree("y_exit_m", &[got.at_exit_m]);
    case.agree("angle_deg", &[got.angle_rad.to_degrees()]);
    case.agree("y_screen_m", &[got.at_screen_m(case.input("D_m"))]);
}

fn thomson(case: &Case<'_>) {
    let (speed, ratio) = neighbours::mass_to_charge_from_equal_deflections(
        case.input("theta_rad"),
        case.input("H_gauss"),
        case.input("F_emu_per_cm"),
        case.input("l_cm"),
    );
    case.agree("v_cm_per_s", &[speed]);
    case.agree("m_over_e_g_per_emu", &[ratio]);
    // 1 g over 1 emu of charge (10 C)
    case.agree("m_over_e_kg_per_C", &[ratio * 1e-3 / 10.0]);
}

fn openstax(case: &Case<'_>) {
    use neighbours::*;
    let i = |key: &str| case.input(key);
    match case.id {
        "openstax-beam-deflector" => {
            let t = slow_period_s(i("m_kg"), i("q_C"), i("B_T"));
            case.agree("T_s", &[t]);
            case.agree("t_s", &[t * i("turn_deg") / 360.0]);
        }
        "openstax-helical-angle" => {
            // pitch = radius: v cos θ T = v sin θ T/2π; found by bisection on the helix itself
            let radius = ion_radius_m(i("m_kg"), i("v_m_per_s"), i("q_C"), i("B_T"));
            let pitch = i("v_m_per_s") * slow_period_s(i("m_kg"), i("q_C"), i("B_T"));
            let (mut low, mut high) = (0.1f64, 1.57f64);
            for _ in 0..80 {
                let middle = 0.5 * (low + high);
                if pitch * middle.cos() > radius * middle.sin() { low = middle } else { high = middle }
            }
            case.agree("theta_deg", &[low.to_degrees()]);
        }
        "openstax-force-proton" => {
            let v = Vec3::X * i("v_m_per_s");
            case.agree("F_N", &[lorentz_force_n(i("q_C"), Vec3::ZERO, v, Vec3::Y * i("B_T")).norm()]);
        }
        "openstax-cosmic-electron" => {
            case.agree("r_m", &[ion_radius_m(i("m_kg"), i("v_m_per_s"), i("q_C"), i("B_T"))]);
        }
        "openstax-oxygen-charge" => {
            let q = ion_radius_m(i("m_kg"), i("v_m_per_s"), 1.0, i("B_T")) / i("r_m");
            case.agree("q_C", &[q]);
            // the book's elementary charge, 1.6e-19 C
            case.agree("q_over_e", &[q / 1.6e-19]);
        }
        "openstax-proton-vs-electron" => {
            let (me, mp, v) = (i("me_kg"), i("mp_kg"), i("v_m_per_s"));
            let r = |m: f64, v: f64| ion_radius_m(m, v, i("q_C"), i("B_T"));
            case.agree("v_same_radius", &[v * r(me, v) / r(mp, v)]);
            case.agree("r_same_speed", &[r(mp, v)]);
            case.agree("r_same_energy", &[r(mp, v * (me / mp).sqrt())]);
            case.agree("r_same_momentum", &[r(mp, v * me / mp)]);
        }
        "openstax-alpha-25cm" => {
            let v = i("r_m") / ion_radius_m(i("m_kg"), 1.0, i("q_C"), i("B_T"));
            let energy = 0.5 * i("m_kg") * v * v;
            case.agree("v_m_per_s", &[v]);
            case.agree("E_eV", &[energy / i("e_C")]);
            case.agree("V_volt", &[energy / i("q_C")]);
        }
        "openstax-velocity-selector" => {
            let v = selected_speed_m_per_s(i("E_V_per_m"), i("B_T"));
            case.agree("v_m_per_s", &[v]);
            let force = lorentz_force_n(i("q_C"), Vec3::ZERO, Vec3::X * v, Vec3::Y * i("B_T")).norm();
            case.agree("a_m_per_s2", &[force / i("m_kg")]);
            case.agree("r_m", &[ion_radius_m(i("m_kg"), v, i("q_C"), i("B_T"))]);
        }
        "openstax-selector-q-over-m" => {
            case.agree("q_over_m", &[charge_to_mass_from_selector(i("E_V_per_m"), i("B_T"), i("r_m"))]);
        }
        "openstax-crossed-2keV" => {
            let v = (2.0 * i("E_eV") * i("e_C") / i("m_kg")).sqrt();
            let plates = PlatePair { voltage_v: i("V_plates"), gap_m: i("d_m"), length_m: 0.0 };
            // the flux density that selects v is E/v
            case.agree("B_T", &[selected_speed_m_per_s(plates.field_v_per_m(), v)]);
        }
        "openstax-electron-75deg" => {
            let angle = i("angle_deg").to_radians();
            let (v, b) = (i("v_m_per_s"), i("B_T"));
            case.agree("pitch_m", &[v * angle.cos() * slow_period_s(i("m_kg"), i("q_C"), b)]);
            case.agree("radius_m", &[ion_radius_m(i("m_kg"), v * angle.sin(), i("q_C"), b)]);
        }
        "openstax-ion-8-revolutions" => {
            case.agree("m_kg", &[mass_from_turns_kg(i("q_C"), i("B_T"), i("t_s"), i("revolutions"))]);
        }
        "openstax-cyclotron-protons" => {
            case.agree("T_s", &[slow_period_s(i("m_kg"), i("q_C"), i("B_T"))]);
            case.agree("r_m", &[ion_radius_m(i("m_kg"), i("v_m_per_s"), i("q_C"), i("B_T"))]);
        }
        "openstax-cyclotron-alpha" => {
            case.agree("T_s", &[slow_period_s(i("m_kg"), i("q_C"), i("B_T"))]);
            let v = i("R_m") / ion_radius_m(i("m_kg"), 1.0, i("q_C"), i("B_T"));
            let energy = 0.5 * i("m_kg") * v * v;
            case.agree("E_J", &[energy]);
            case.agree("E_MeV", &[energy / i("e_C") * 1e-6]);
        }
        "openstax-isotopes-U" => {
            let d = separation_after_half_turn_m(i("m1_kg"), i("m2_kg"), i("v_m_per_s"), i("q_C"), i("B_T"));
            case.agree("separation_m", &[d]);
        }
        "openstax-undeflected-E" => {
            let (v, b) = (vector(&case.input_list("v_m_per_s")), vector(&case.input_list("B_T")));
            case.agree("E_V_per_m", &<[f64; 3]>::from(undeflecting_field_v_per_m(v, b)));
        }
        "openstax-proton-10keV-force" => {
            let v = (2.0 * i("E_eV") * i("q_C") / i("m_kg")).sqrt();
            case.agree("v_m_per_s", &[v]);
            // axes east, north, up: 1.8e-5 T north, 5.0e-5 T down, as the case's text says
            let b = Vec3::new(0.0, 1.8e-5, -5.0e-5);
            case.agree("F_N", &<[f64; 3]>::from(lorentz_force_n(i("q_C"), Vec3::ZERO, Vec3::X * v, b)));
        }
        "openstax-radii-p-d-alpha" => {
            // one voltage: v = √(2 q V/m); deuteron twice the proton's mass, alpha four times with twice the charge
            let r = |m: f64, q: f64| ion_radius_m(m, (2.0 * q / m).sqrt(), q, 1.0);
            case.agree("r_d_over_r_p", &[r(2.0, 1.0) / r(1.0, 1.0)]);
            case.agree("r_alpha_over_r_p", &[r(4.0, 2.0) / r(1.0, 1.0)]);
        }
        other => panic!("{other}: no check"),
    }
}

/// The set-up of a trajectory case: coils, gun, p/q and speed.
struct Setup {
    coils: CoilSet,
    current_a: f64,
    background_t: Vec3,
    gun_m: Vec3,
    direction: Vec3,
    momentum_over_charge_t_m: f64,
    speed_m_per_s: f64,
}

fn setup(case: &Case<'_>) -> Setup {
    let relativistic = case.raw("inputs", "relativistic").and_then(toml::Value::as_bool).unwrap();
    let v = case.input("V_volt");
    let (p, speed) = if relativistic {
        let m = electron().accelerated(v).unwrap();
        (m.momentum_over_charge_t_m(), m.speed_m_per_s())
    } else {
        let p = slow_momentum_over_charge(v);
        (p, -p * ELEMENTARY_CHARGE.value / ELECTRON_MASS.value)
    };
    Setup {
        coils: CoilSet::pair(
            case.input("coil_radius_m"),
            case.input("coil_separation_m"),
            case.input("turns_each"),
            0.0,
            0.0,
            1.0,
        ),
        current_a: case.input("current_A"),
        background_t: vector(&case.input_list("background_B_T")),
        gun_m: vector(&case.input_list("gun_m")),
        direction: vector(&case.input_list("launch_direction")),
        momentum_over_charge_t_m: p,
        speed_m_per_s: speed,
    }
}

impl Setup {
    fn path(&self, length: f64, prepared: bool) -> arcmass_physics::Path {
        let until = Until::Length(length);
        let options = TraceOptions::default();
        let (x, t, p) = (self.gun_m, self.direction, self.momentum_over_charge_t_m);
        if prepared {
            let prepared = PreparedField::new(&self.coils, 0.12).unwrap();
            let field = BenchField {
                prepared: &prepared,
                current_a: self.current_a,
                scale: 1.0,
                background_t: self.background_t,
            };
            return trace(&field, x, t, p, until, &options).unwrap();
        }
        let field = |x: Vec3| Ok(self.coils.flux_density_per_ampere(x)? * self.current_a + self.background_t);
        trace(&field, x, t, p, until, &options).unwrap()
    }
}

fn crossings(case: &Case<'_>) {
    let s = setup(case);
    let (abs, rel) = (case.tolerance("x_abs_m").unwrap(), case.tolerance("t_rel").unwrap());
    let centre = s.coils.flux_density_per_ampere(Vec3::ZERO).unwrap().z * s.current_a;
    case.agree_within("speed_m_per_s", &[s.speed_m_per_s], 1e-13, 0.0);
    case.agree_within("B_centre_coils_T", &[centre], 1e-12, 0.0);
    case.agree_within("r_uniform_m", &[s.momentum_over_charge_t_m.abs() / centre], 1e-12, 0.0);
    let expected = |which: &str, key: &str| {
        crate::table::numbers(case.raw("expected", which).and_then(|t| t.get(key)).unwrap())
    };
    let longest = 1.02 * s.speed_m_per_s * expected("second_crossing", "t_s")[0];
    for prepared in [false, true] {
        let path = s.path(longest, prepared);
        let at = path.crossings_m(s.gun_m, Vec3::Y);
        assert!(at.len() >= 2, "{}: {} crossings", case.id, at.len());
        let first = path.at(at[0]).0;
        case.agree_within("diameter_m", &[first.x - s.gun_m.x], 0.0, abs);
        for (which, length) in ["first_crossing", "second_crossing"].iter().zip(&at) {
            let (x, t) = path.at(*length);
            case.close(which, &[x.x], &expected(which, "x_m"), 0.0, abs);
            case.close(which, &[x.z], &expected(which, "z_m"), 0.0, abs);
            case.close(which, &[length / s.speed_m_per_s], &expected(which, "t_s"), rel, 0.0);
            case.close(which, &<[f64; 3]>::from(t), &expected(which, "direction"), 0.0, 1e-10);
        }
    }
}

fn points(case: &Case<'_>, all: &[Case<'_>]) {
    let other = case.input_text("case").unwrap();
    let s = setup(all.iter().find(|c| c.id == other).unwrap());
    let times = case.input_list("t_s");
    let last = times.iter().fold(0.0f64, |m, t| m.max(*t));
    let path = s.path(last * s.speed_m_per_s, true);
    let got: Vec<f64> = times.iter().flat_map(|t| <[f64; 3]>::from(path.at(t * s.speed_m_per_s).0)).collect();
    case.agree_within("x_m", &got, 0.0, case.tolerance("x_abs_m").unwrap());
}
