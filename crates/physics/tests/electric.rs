//! Motion between plates and in crossed fields against what can be written down, and the neighbours' textbook formulas.

// A test that can't go on must fail loudly.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

use std::f64::consts::{PI, TAU};

use arcmass_physics::motion::{Particle, uniform_field_path};
use arcmass_physics::neighbours;
use arcmass_physics::ring::GunShape;
use arcmass_physics::{
    BenchField, CoilSet, Ended, FieldError, MotionOptions, MotionUntil, Plates, PreparedField, TraceOptions,
    Until, Vec3, follow_motion, trace,
};
use arcmass_quantity::constants::{ELECTRON_MASS, ELEMENTARY_CHARGE, SPEED_OF_LIGHT};
use proptest::prelude::*;

const C: f64 = SPEED_OF_LIGHT.value;
const E: f64 = ELEMENTARY_CHARGE.value;

fn none(_: Vec3) -> Result<Vec3, FieldError> {
    Ok(Vec3::ZERO)
}

fn uniform(b: Vec3) -> impl Fn(Vec3) -> Result<Vec3, FieldError> {
    move |_| Ok(b)
}

/// Plates whose field fills whatever the test needs.
fn everywhere(voltage_v: f64) -> Plates {
    Plates {
        centre_m: Vec3::ZERO,
        along: Vec3::X,
        across: Vec3::Y,
        gap_m: 2.0,
        length_m: 2.0,
        width_m: f64::INFINITY,
        voltage_v,
    }
}

fn ev(t: f64) -> f64 {
    t * E
}

#[test]
fn a_uniform_field_alone_makes_the_relativistic_parabola() {
    let electron = Particle::default();
    for energy_ev in [50.0, 5e3, 4e5] {
        let plates = everywhere(2000.0);
        let force = plates.field_v_per_m() * electron.charge_c();
        let path = follow_motion(
            &none,
            &[plates],
            &electron,
            ev(energy_ev),
            Vec3::ZERO,
            Vec3::X,
            MotionUntil::Time(1e-9),
            &MotionOptions::default(),
        )
        .unwrap();
        let p0 = electron.with_kinetic_energy(ev(energy_ev)).unwrap().momentum_kg_m_per_s;
        let rest = ELECTRON_MASS.value * C * C;
        let e0 = rest + ev(energy_ev);
        for time in [1e-10, 5e-10, 1e-9] {
            // Landau, Lifshitz, The Classical Theory of Fields, § 20: motion in a uniform field at right angles to the start
            let impulse = force.y * time * C;
            let energy = e0.hypot(impulse);
            let x = p0 * C * C / force.y.abs() * (impulse.abs() / e0).asinh() / C;
            // (E − E₀)/F without the difference
            let y = impulse * impulse / ((energy + e0) * force.y);
            let got = path.at(time);
            let size = x.abs() + y.abs();
            assert!(
                (got.place_m - Vec3::new(x, y, 0.0)).norm() < 2e-13 * size,
                "{energy_ev} eV, {time:e} s: {got:?} {x} {y}"
            );
            assert!(
                (got.kinetic_energy_j - (energy - rest)).abs()
                    < 1e-12 * rest.min(energy - rest) + 1e-16 * rest
            );
        }
    }
}

#[test]
fn crossed_fields_make_the_cycloid_and_drift_at_e_over_b() {
    // the frame that moves with E × B/B² sees no electric field: there the path is a circle (Jackson, 3rd ed., § 12.3)
    let electron = Particle::default();
    let (b, plates) = (Vec3::Z * 2e-3, everywhere(4000.0));
    let e = plates.field_v_per_m();
    let drift = e.cross(b) / b.dot(b);
    assert!((drift.norm() - 1e6).abs() < 1e-3 && drift.x < 0.0);
    let kinetic = ev(30.0);
    let path = follow_motion(
        &uniform(b),
        &[plates],
        &electron,
        kinetic,
        Vec3::ZERO,
        Vec3::X,
        MotionUntil::Time(3e-7),
        &MotionOptions::default(),
    )
    .unwrap();
    // velocity and time in the moving frame
    let motion = electron.with_kinetic_energy(kinetic).unwrap();
    let u = motion.momentum_kg_m_per_s / (ELECTRON_MASS.value * C);
    let beta = drift.x / C;
    let gamma = 1.0 / (1.0 - beta * beta).sqrt();
    let u0_x = gamma * (u - beta * (1.0 + u * u).sqrt());
    let (field, own) = (2e-3 / gamma, (1.0 + u0_x * u0_x).sqrt());
    let rate = E * field / (ELECTRON_MASS.value * own);
    let mut worst = 0.0f64;
    for k in 1..=60 {
        // of the circle at the moving frame's time t', x' = (v'/ω) sin ωt', y' = (v'/ω)(1 − cos ωt')
        let t_own = 3e-7 / gamma * 0.99 * f64::from(k) / 60.0;
        let radius = u0_x / own * C / rate;
        let (x_own, y) = (radius * (rate * t_own).sin(), radius * 2.0 * (0.5 * rate * t_own).sin().powi(2));
        let t = gamma * (t_own + beta * x_own / C);
        let x = gamma * (x_own + beta * C * t_own);
        let got = path.at(t).place_m;
        worst = worst.max((got - Vec3::new(x, y, 0.0)).norm());
    }
    // the path is 40 cm long and turns seventeen times
    assert!(worst < 1e-12, "{worst:e}");
    // energy: the work of the plates' field
    let end = path.at(path.duration_s());
    // a hundred steps at 1e-13 each, some that way and some the other
    assert!((end.kinetic_energy_j - kinetic - path.work_j(path.duration_s())).abs() < 1e-12 * kinetic);
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 24, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn energy_with_the_potentials_is_kept_in_coils_background_and_plates(
        voltage in -300.0..300.0f64, accelerating in 100.0..400.0f64, current in 0.5..2.0f64, tilt in -0.3..0.3f64,
        background in -6e-5..6e-5f64,
    ) {
        let set = CoilSet::pair(0.15, 0.15, 124.0, 0.0, 0.0, 1.0);
        let prepared = PreparedField::new(&set, 0.1).unwrap();
        let field = BenchField { prepared: &prepared, current_a: current, scale: 1.0, background_t: Vec3::new(background, -4.5e-5, 0.0) };
        let plates = Plates {
            centre_m: Vec3::new(0.02, -0.04, 0.0), along: Vec3::X, across: Vec3::Y, gap_m: 0.03, length_m: 0.02, width_m: 0.04, voltage_v: voltage,
        };
        let electron = Particle::default();
        let kinetic = ev(accelerating);
        let start = Vec3::new(0.0, -0.04, 0.0);
        let direction = Vec3::new(tilt.cos(), 0.0, tilt.sin());
        let until = MotionUntil::Glass { inner_radius_m: 0.0785 };
        let options = MotionOptions { most_time_s: 1e-7, ..MotionOptions::default() };
        let path = follow_motion(&field, &[plates], &electron, kinetic, start, direction, until, &options).unwrap();
        for k in 0..=20 {
            let time = path.duration_s() * f64::from(k) / 20.0;
            let now = path.at(time);
            prop_assert!((now.kinetic_energy_j - kinetic - path.work_j(time)).abs() < 1e-12 * kinetic,
                "{:e}", (now.kinetic_energy_j - kinetic - path.work_j(time)) / kinetic);
        }
        if path.ended == Ended::AsAsked {
            prop_assert!((path.at(path.duration_s()).place_m.norm() - 0.0785).abs() < 1e-12);
        }
    }
}

#[test]
fn without_plates_it_is_the_path_by_arc_length() {
    let set = CoilSet::pair(0.15, 0.15, 124.0, 0.012, 0.016, 1.0);
    let prepared = PreparedField::new(&set, 0.1).unwrap();
    let field = BenchField {
        prepared: &prepared,
        current_a: 1.4,
        scale: 1.0,
        background_t: Vec3::new(1e-5, -4.5e-5, 2e-5),
    };
    let electron = Particle::default();
    let motion = electron.accelerated(220.0).unwrap();
    let (start, direction) = (Vec3::new(0.0, -0.04, 0.0), Vec3::new(0.98, 0.0, 0.2).unit().unwrap());
    let path = trace(
        &field,
        start,
        direction,
        motion.momentum_over_charge_t_m(),
        Until::Turns(1.0),
        &TraceOptions::default(),
    )
    .unwrap();
    let moving = follow_motion(
        &field,
        &[],
        &electron,
        ev(220.0),
        start,
        direction,
        MotionUntil::Turns(1.0),
        &MotionOptions::default(),
    )
    .unwrap();
    assert_eq!(moving.ended, Ended::AsAsked);
    assert!((moving.duration_s() * motion.speed_m_per_s() / path.length_m() - 1.0).abs() < 1e-11);
    for share in [0.2, 0.7, 1.0] {
        let apart = moving.at(share * moving.duration_s()).place_m - path.at(share * path.length_m()).0;
        assert!(apart.norm() < 1e-12, "{share}: {:e}", apart.norm());
    }
    assert!((moving.turned_rad() - path.turned_rad()).abs() < 1e-10);
    // and the far side is the same place by either's events
    let far = path.crossings_m(start, Vec3::X)[0];
    let far_s = moving.crossings_s(start, Vec3::X)[0];
    assert!((path.at(far).0 - moving.at(far_s).place_m).norm() < 1e-11);
}

#[test]
fn a_beam_is_deflected_as_the_plates_formula_says_and_meets_a_plate_beyond_it() {
    let electron = Particle::default();
    let plates = |voltage_v: f64| Plates {
        centre_m: Vec3::new(0.03, 0.0, 0.0),
        along: Vec3::X,
        across: Vec3::Y,
        gap_m: 0.02,
        length_m: 0.06,
        width_m: 0.1,
        voltage_v,
    };
    let screen = MotionUntil::Plane { point: Vec3::X * 0.26, normal: Vec3::X };
    let follow = |voltage: f64| {
        follow_motion(
            &none,
            &[plates(voltage)],
            &electron,
            ev(2000.0),
            Vec3::X * -0.01,
            Vec3::X,
            screen,
            &MotionOptions::default(),
        )
        .unwrap()
    };
    let path = follow(100.0);
    assert_eq!(path.ended, Ended::AsAsked);
    let simple = neighbours::PlatePair { voltage_v: 100.0, gap_m: 0.02, length_m: 0.06 };
    let wanted = simple.deflect(2000.0).unwrap().at_screen_m(0.2);
    let got = path.at(path.duration_s()).place_m;
    // the simple formula leaves out relativity: y = q E L²/(2 p v) instead of q E L²/(4 T), higher by (γ + 1)/2γ·… = T/2mc² to first order
    let gamma = 1.0 + ev(2000.0) / (ELECTRON_MASS.value * C * C);
    let corrected = wanted * 2.0 * gamma / (gamma + 1.0);
    // what is left is second order in the deflection: the energy gained between the plates stretches nothing along x but by γ
    assert!(
        (got.x - 0.26).abs() < 1e-14 && (got.y / corrected - 1.0).abs() < 2e-4,
        "{} {corrected} {wanted}",
        got.y
    );
    assert!((got.y / wanted - 1.0) > 1e-3, "relativity must show");
    assert_eq!(follow(2000.0).ended, Ended::AtPlate);
    let at_plate = follow(2000.0);
    assert!((at_plate.at(at_plate.duration_s()).place_m.y.abs() - 0.01).abs() < 1e-12);
}

#[test]
fn the_selector_lets_its_speed_through_straight() {
    let plates = Plates {
        centre_m: Vec3::new(0.05, 0.0, 0.0),
        along: Vec3::X,
        across: Vec3::Y,
        gap_m: 0.01,
        length_m: 0.1,
        width_m: 0.02,
        voltage_v: 60.0,
    };
    let b = 1e-3;
    let e = plates.field_v_per_m();
    let speed = neighbours::selected_speed_m_per_s(e.norm(), b);
    // −v × B balances E: with E along −y and v along x, B along −z
    let field = uniform(Vec3::Z * -b);
    let wanted = neighbours::undeflecting_field_v_per_m(Vec3::X * speed, Vec3::Z * -b);
    assert!((wanted - e).norm() < 1e-9 * e.norm(), "{wanted:?} {e:?}");
    let beta = speed / C;
    let gamma = 1.0 / (1.0 - beta * beta).sqrt();
    let kinetic = ELECTRON_MASS.value * C * C * beta * beta * gamma * gamma / (gamma + 1.0);
    let until = MotionUntil::Plane { point: Vec3::X * 0.1, normal: Vec3::X };
    let follow = |kinetic: f64| {
        follow_motion(
            &field,
            &[plates],
            &Particle::default(),
            kinetic,
            Vec3::ZERO,
            Vec3::X,
            until,
            &MotionOptions::default(),
        )
        .unwrap()
    };
    let straight = follow(kinetic);
    assert!(straight.at(straight.duration_s()).place_m.y.abs() < 1e-13);
    let fast = follow(1.1 * kinetic);
    assert!(fast.at(fast.duration_s()).place_m.y.abs() > 1e-4);
}

#[test]
fn an_arc_and_two_ions_are_where_the_neighbours_formulas_say() {
    // arc in a deflection tube: from the place where the beam passes a mark
    let b = 1.2e-3;
    let electron = Particle::default();
    let m = electron.accelerated(3000.0).unwrap();
    let (radius, _) = m.helix_m(b, 0.0).unwrap();
    let path = trace(
        &uniform(Vec3::Z * b),
        Vec3::ZERO,
        Vec3::X,
        m.momentum_over_charge_t_m(),
        Until::Length(0.1),
        &TraceOptions::default(),
    )
    .unwrap();
    let mark = path.at(0.08).0;
    assert!((neighbours::arc_radius_m(mark.x, mark.y).unwrap() / radius - 1.0).abs() < 1e-11);
    // mass separation: two singly charged ions of one speed, 20 u and 22 u, land after half a turn apart by 2 Δm v/(q B)
    let u = 1.660_539_068_92e-27; // CODATA 2022
    let (speed, field) = (1e5, 0.3);
    let land = |mass_kg: f64| {
        let ion = Particle { charge_number: 1.0, mass_kg };
        let beta = speed / C;
        let kinetic = mass_kg * C * C * beta * beta / 2.0 * (1.0 + 0.75 * beta * beta);
        let until = MotionUntil::Turns(0.5);
        let options = MotionOptions { most_time_s: 1e-3, ..MotionOptions::default() };
        let path = follow_motion(
            &uniform(Vec3::Z * field),
            &[],
            &ion,
            kinetic,
            Vec3::ZERO,
            Vec3::X,
            until,
            &options,
        )
        .unwrap();
        path.at(path.duration_s()).place_m.norm()
    };
    let apart = land(22.0 * u) - land(20.0 * u);
    let wanted = neighbours::separation_after_half_turn_m(20.0 * u, 22.0 * u, speed, E, field);
    // slow: (v/c)² = 1e-7
    assert!((apart / wanted - 1.0).abs() < 1e-6, "{apart} {wanted}");
}

#[test]
fn electrons_from_a_point_meet_again_where_the_field_integral_says() {
    // axial focusing in a long coil: a bundle of small angles
    let coil = CoilSet {
        windings: vec![arcmass_physics::Winding {
            shape: arcmass_physics::Shape::Circular,
            mean_radius_m: 0.04,
            turns: 1000.0,
            sense: 1.0,
            centre_m: Vec3::ZERO,
            axis: Vec3::Z,
            winding_radial_m: 0.004,
            winding_axial_m: 0.4,
        }],
    };
    let current = 1.1;
    let electron = Particle::default().accelerated(800.0).unwrap();
    let along_axis = |z: f64| Ok(coil.flux_density_per_ampere(Vec3::Z * z)?.z * current);
    let p = electron.momentum_over_charge_t_m();
    let (foci, integral) = neighbours::axial_foci(along_axis, -0.15, 0.15, p).unwrap();
    assert!(!foci.is_empty() && integral > 0.0, "{foci:?} {integral}");
    let field = |x: Vec3| Ok(coil.flux_density_per_ampere(x)? * current);
    let start = Vec3::Z * -0.15;
    let ray = |angle: f64| {
        let direction = Vec3::new(angle.sin(), 0.0, angle.cos());
        let path = trace(
            &field,
            start,
            direction,
            p,
            Until::Length(0.3),
            &TraceOptions { tolerance: 1e-10, ..TraceOptions::default() },
        )
        .unwrap();
        path.at(path.crossings_m(Vec3::Z * foci[0], Vec3::Z)[0]).0
    };
    let off = ray(1e-3);
    // the field changes over a gyration by its fall-off near the coil's end, which the field integral leaves out: the focus is where
    // it says to 1 % of the 18 cm from the start, seen by a ray of a milliradian
    assert!(off.x.hypot(off.y) < 0.01 * (foci[0] + 0.15) * 1e-3, "{off:?}");
}

#[test]
fn a_ring_meets_the_gun_and_a_helix_of_enough_pitch_does_not() {
    let b = Vec3::Z * 1.2e-3;
    let gun = GunShape { radius_m: 0.006, length_m: 0.03 };
    let electron = Particle::default();
    let m = electron.accelerated(250.0).unwrap();
    let (radius, _) = m.helix_m(1.2e-3, 0.0).unwrap();
    for (tilt, meets) in [(0.0f64, true), (0.01, true), (0.05, false)] {
        // the pitch: 2π r tan t against the gun's radius
        assert_eq!(TAU * radius * tilt.sin() < 0.006, meets);
        let direction = Vec3::new(tilt.cos(), 0.0, tilt.sin());
        let start = Vec3::new(0.0, -0.04, 0.0);
        let surroundings = arcmass_physics::Surroundings { gun: Some(gun), ..Default::default() };
        let summary = arcmass_physics::summarise(
            &uniform(b),
            start,
            direction,
            m.momentum_over_charge_t_m(),
            &surroundings,
            360,
            &TraceOptions::default(),
        )
        .unwrap();
        assert_eq!(summary.meets_gun, meets, "tilt {tilt}");
        let moving = follow_motion(
            &uniform(b),
            &[],
            &electron,
            ev(250.0),
            start,
            direction,
            MotionUntil::Turns(1.25),
            &MotionOptions::default(),
        )
        .unwrap();
        let time = moving.meets_gun_s(gun);
        assert_eq!(time.is_some(), meets);
        if let Some(time) = time {
            // it comes from behind: the body's far end lies its length before a whole turn, or where its side is met
            let turned = time / m.period_s(1.2e-3).unwrap() * TAU;
            assert!(turned > PI && turned < TAU, "{turned}");
        }
    }
}

#[test]
fn turns_to_the_glass_are_those_of_the_helix_written_down() {
    let b = Vec3::new(0.0, 0.0, 1.5e-3);
    let m = Particle::default().accelerated(200.0).unwrap();
    let (start, inner) = (Vec3::new(0.0, -0.035, 0.0), 0.0785);
    for tilt in [0.15f64, 0.3, 0.8, -0.4] {
        let direction = Vec3::new(tilt.cos(), 0.0, tilt.sin());
        let surroundings =
            arcmass_physics::Surroundings { glass_inner_radius_m: Some(inner), ..Default::default() };
        let p = m.momentum_over_charge_t_m();
        let summary = arcmass_physics::summarise(
            &uniform(b),
            start,
            direction,
            p,
            &surroundings,
            360,
            &TraceOptions::default(),
        )
        .unwrap();
        let (turns, point) = (summary.turns_to_glass.unwrap(), summary.glass_point_m.unwrap());
        assert!((point.norm() - inner).abs() < 1e-12);
        // the exact helix after so many turns is at that point, and nowhere outside the glass before
        let length = turns * TAU * p.abs() / b.norm();
        let exact = |s: f64| uniform_field_path(start, direction, b, p, s).0;
        assert!((exact(length) - point).norm() < 1e-10, "tilt {tilt}");
        assert!((0..1000).all(|k| exact(length * f64::from(k) / 1000.0).norm() < inner));
    }
    // where the turn ends just before the glass, the turn is whole: both fall into one step
    let direction = Vec3::new(0.3f64.cos(), 0.0, 0.3f64.sin());
    let p = m.momentum_over_charge_t_m();
    let end = uniform_field_path(start, direction, b, p, 1.005 * TAU * p.abs() / b.norm()).0;
    let just = arcmass_physics::Surroundings { glass_inner_radius_m: Some(end.norm()), ..Default::default() };
    let summary =
        arcmass_physics::summarise(&uniform(b), start, direction, p, &just, 360, &TraceOptions::default())
            .unwrap();
    assert!((summary.turns_to_glass.unwrap() - 1.005).abs() < 1e-9);
    let pitch = TAU * p.abs() / b.norm() * 0.3f64.sin();
    assert!((summary.pitch_m.unwrap() / pitch - 1.0).abs() < 1e-11 && summary.fitted_diameter_m.is_some());
    // a ring that fits never meets it
    let surroundings =
        arcmass_physics::Surroundings { glass_inner_radius_m: Some(inner), ..Default::default() };
    let ring = arcmass_physics::summarise(
        &uniform(b),
        start,
        Vec3::X,
        m.momentum_over_charge_t_m(),
        &surroundings,
        360,
        &TraceOptions::default(),
    )
    .unwrap();
    assert!(ring.turns_to_glass.is_none() && ring.glass_point_m.is_none());
}

#[test]
fn plates_that_make_no_box_and_motions_without_energy_are_told_plainly() {
    let follow = |plates: Plates, kinetic: f64| {
        follow_motion(
            &none,
            &[plates],
            &Particle::default(),
            kinetic,
            Vec3::ZERO,
            Vec3::X,
            MotionUntil::Time(1e-9),
            &MotionOptions::default(),
        )
    };
    let fault = follow(Plates { gap_m: 0.0, ..everywhere(1.0) }, ev(1.0)).unwrap_err();
    assert_eq!(fault.to_string(), "gap of the plates in m must be above 0 and finite; got 0");
    let fault = follow(Plates { across: Vec3::X, ..everywhere(1.0) }, ev(1.0)).unwrap_err();
    assert!(fault.to_string().starts_with("deviation of the plates' directions"), "{fault}");
    assert!(follow(everywhere(1.0), 0.0).is_err());
    assert!(follow(everywhere(1.0), f64::NAN).is_err());
}
