//! Which readings to take, for a bench in a uniform field: a published table of designs, and designs better than any grid.
//!
//! V = 150, 225, 300 V; I = 1.3, 1.6, 2.0 A; 0.7792861 mT/A; noise 0.5 mm on the radius, then 0.2 mm; nothing known beforehand
//! of e/m, gun offset, axial field and radius offset. The figures to meet (±39 %, ±2.6 %, ±1.1 % and their neighbours) were
//! computed once with NumPy 2.4.6 from the same formula.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

use arcmass_lab::plan::exchange::{Candidate, choose, cost};
use arcmass_lab::plan::information::View;
use nalgebra::DVector;

const CHARGE_TO_MASS: f64 = 1.758_820_008e11;
const FIELD_PER_AMPERE_T: f64 = 0.779_286_1e-3;
const VOLTAGES: [f64; 3] = [150.0, 225.0, 300.0];
const CURRENTS: [f64; 3] = [1.3, 1.6, 2.0];

/// r = √(2 (V + V₀)/(e/m)) / |k I + s B| + δ, by ln(e/m), V₀ in V, B in µT, δ in mm; over the noise.
fn row(voltage: f64, current: f64, sense: f64, noise_mm: f64) -> DVector<f64> {
    let field = FIELD_PER_AMPERE_T * current;
    let r_mm = 1e3 * (2.0 * voltage / CHARGE_TO_MASS).sqrt() / field;
    DVector::from_vec(vec![-0.5 * r_mm, 0.5 * r_mm / voltage, -sense * 1e-6 * r_mm / field, 1.0]) / noise_mm
}

fn grid(voltages: &[f64], currents: &[f64], senses: &[f64], noise_mm: f64) -> Vec<DVector<f64>> {
    let mut rows = Vec::new();
    for voltage in voltages {
        for current in currents {
            rows.extend(senses.iter().map(|sense| row(*voltage, *current, *sense, noise_mm)));
        }
    }
    rows
}

/// Standard uncertainties of ln(e/m), V₀, B, δ with nothing known before.
fn uncertainties(rows: &[DVector<f64>]) -> [f64; 4] {
    let view = View::new(&[0.0; 4], 0);
    let covariance = view.covariance(rows.iter().map(|row| (row, 1.0))).unwrap();
    [0, 1, 2, 3].map(|place| covariance[(place, place)].sqrt())
}

/// Agreement to the digits that the table prints.
fn near(got: f64, printed: f64, last_digit: f64) {
    assert!((got - printed).abs() <= 0.5 * last_digit * 1.001, "got {got}, the table prints {printed}");
}

#[test]
fn one_direction_is_hopeless_and_both_are_not() {
    let [m, offset, stray, edge] = uncertainties(&grid(&VOLTAGES, &CURRENTS, &[1.0], 0.5));
    near(100.0 * m, 39.0, 1.0);
    near(offset, 27.0, 1.0);
    near(stray, 155.0, 1.0);
    near(edge, 5.0, 1.0);

    let [m, offset, stray, edge] = uncertainties(&grid(&VOLTAGES, &CURRENTS, &[1.0, -1.0], 0.5));
    near(100.0 * m, 2.6, 0.1);
    near(offset, 5.6, 0.1);
    near(stray, 3.0, 1.0);
    near(edge, 0.7, 0.1);

    let [m, offset, stray, edge] = uncertainties(&grid(&VOLTAGES, &CURRENTS, &[1.0, -1.0], 0.2));
    near(100.0 * m, 1.1, 0.1);
    near(offset, 2.3, 0.1);
    near(stray, 1.0, 1.0);
    near(edge, 0.3, 0.1);
}

#[test]
fn one_current_can_t_tell_mass_from_stray_field() {
    let view = View::new(&[0.0; 4], 0);
    let rows = grid(&VOLTAGES, &[1.6], &[1.0], 0.5);
    assert!(view.covariance(rows.iter().map(|row| (row, 1.0))).is_none());
}

/// All steps of 5 V and 0.05 A that the table's ranges hold, both senses.
fn everything() -> Vec<Candidate> {
    let voltages: Vec<f64> = (30..=60).map(|k| 5.0 * f64::from(k)).collect();
    let currents: Vec<f64> = (26..=40).map(|k| 0.05 * f64::from(k)).collect();
    grid(&voltages, &currents, &[1.0, -1.0], 0.5).into_iter().map(|row| vec![row]).collect()
}

/// The best regular grid of `a` voltages by `b` currents, both senses, from the table's ranges (levels in steps of 12.5 V,
/// 0.05 A).
fn best_grid(a: usize, b: usize) -> f64 {
    let voltages: Vec<f64> = (12..=24).map(|k| 12.5 * f64::from(k)).collect();
    let currents: Vec<f64> = (26..=40).map(|k| 0.05 * f64::from(k)).collect();
    let mut least = f64::INFINITY;
    for some_voltages in subsets(&voltages, a) {
        for some_currents in subsets(&currents, b) {
            let rows = grid(&some_voltages, &some_currents, &[1.0, -1.0], 0.5);
            least = least.min(uncertainties(&rows)[0]);
        }
    }
    least
}

fn subsets(from: &[f64], count: usize) -> Vec<Vec<f64>> {
    if count == 0 {
        return vec![Vec::new()];
    }
    let mut found = Vec::new();
    for (place, first) in from.iter().enumerate() {
        for mut rest in subsets(&from[place + 1..], count - 1) {
            rest.insert(0, *first);
            found.push(rest);
        }
    }
    found
}

#[test]
fn twelve_chosen_runs_beat_the_best_grid_of_twelve_by_a_fifth() {
    let candidates = everything();
    let views = [View::new(&[0.0; 4], 0)];
    // as often as it likes; and no setting more than twice, as `plan` proposes them
    for repeats in [12, 2] {
        let chosen = choose(&views, &candidates, 12, repeats).unwrap();
        assert_eq!(chosen.len(), 12);
        let u = (0.5 * cost(&views, &candidates, &chosen).unwrap()).exp();
        for (a, b) in [(3, 2), (2, 3)] {
            let grid = best_grid(a, b);
            println!(
                "{repeats} repeats: {:.3} % against the best {a} x {b} x 2 grid's {:.3} %",
                100.0 * u,
                100.0 * grid
            );
            assert!(u <= 0.8 * grid, "{u} against the {a} x {b} x 2 grid's {grid}");
        }
    }
}

#[test]
fn a_choice_is_kept_by_every_single_exchange() {
    let candidates = everything();
    let views = [View::new(&[0.0; 4], 0)];
    let chosen = choose(&views, &candidates, 6, 6).unwrap();
    let least = cost(&views, &candidates, &chosen).unwrap();
    for slot in 0..chosen.len() {
        for other in (0..candidates.len()).step_by(7) {
            let mut moved = chosen.clone();
            moved[slot] = other;
            if let Some(found) = cost(&views, &candidates, &moved) {
                assert!(found > least - 1e-5, "slot {slot} at {other}: {found} below {least}");
            }
        }
    }
}
