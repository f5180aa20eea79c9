//! Runs that do not belong to the others: set aside before the fit where they are far off, and the likeliest cause in words.

use std::f64::consts::LN_2;

use arcmass_quantity::constants::ELEMENTARY_CHARGE;
use arcmass_quantity::misread::exchanged_figures;
use nalgebra::DVector;

use crate::desk::LabError;
use crate::model::{FieldShape, MASS_UNIT_KG, Model, RunDatum, Unknown, Unknowns, Values};

/// Fewest runs among which one can be called far off.
const FEWEST: usize = 4;
/// A run whose textbook mass lies further from the others' median than a factor of 1.5 and six times their spread is set
/// aside: no effect that the model holds bends one run alone by so much.
const FAR_LOG: f64 = 0.4;
const FAR_SPREADS: f64 = 6.0;

/// Logarithm of (I d)²/V: the textbook mass but for a factor that all runs share.
fn log_textbook(run: &RunDatum) -> f64 {
    2.0 * (run.current_read_a.abs() * run.diameter_m).ln() - run.voltage_read_v.ln()
}

fn median(mut values: Vec<f64>) -> f64 {
    arcmass_fit::median(&mut values).unwrap_or(0.0)
}

/// Takes runs out that lie far from all others; at most a third of them.
pub(super) fn set_aside(model: &mut Model<'_>) -> Vec<RunDatum> {
    if model.runs.len() < FEWEST {
        return Vec::new();
    }
    let middle = median(model.runs.iter().map(log_textbook).collect());
    let off = |run: &RunDatum| (log_textbook(run) - middle).abs();
    let spread = 1.4826 * median(model.runs.iter().map(off).collect());
    let is_far = |run: &RunDatum| off(run) > FAR_LOG.max(FAR_SPREADS * spread);
    let (far, near): (Vec<RunDatum>, Vec<RunDatum>) = model.runs.iter().cloned().partition(is_far);
    if 3 * far.len() > model.runs.len() {
        return Vec::new();
    }
    model.runs = near;
    far
}

/// The unknowns with the mass starting at the median of the textbook masses, so that the first rings are near the real ones.
pub(super) fn starting_near(model: &Model<'_>) -> Result<Unknowns, LabError> {
    let start = DVector::from_vec(model.unknowns.start());
    let values = model.values(&start);
    let stated = if model.is_absolute() { None } else { model.apparatus.field_per_ampere.map(|k| k.value) };
    let probed = || {
        let rows = model.probe.iter().filter(|row| row.is_on_line() && row.current_read_a != 0.0);
        let slopes: Vec<f64> = rows.map(|row| (row.flux_density_read_t / row.current_read_a).abs()).collect();
        let balance = model.balance.iter().map(|row| (row.flux_density_t / row.current_read_a).abs());
        let slopes = if slopes.is_empty() { balance.filter(|s| s.is_finite()).collect() } else { slopes };
        (!slopes.is_empty()).then(|| median(slopes))
    };
    let per_ampere = match stated {
        Some(stated) => stated.abs(),
        None if model.is_absolute() => model.field_per_ampere(&values)?,
        None => probed().unwrap_or(1e-3),
    };
    let mut unknowns = model.unknowns.clone();
    if stated.is_none() && !model.is_absolute() {
        unknowns = unknowns.starting_at(Unknown::FieldPerAmpere, per_ampere);
    }
    if model.runs.is_empty() {
        return Ok(unknowns);
    }
    let charge = ELEMENTARY_CHARGE.value * f64::from(model.apparatus.charge_number.abs());
    // e (B d)²/8V
    let log_mass =
        median(model.runs.iter().map(log_textbook).collect()) + 2.0 * per_ampere.ln() + charge.ln()
            - 3.0 * LN_2
            - MASS_UNIT_KG.ln();
    Ok(unknowns.starting_at(Unknown::LogMass, log_mass))
}

/// What the model of the other runs may itself be off by from run to run, relative.
const MODEL_SHARE: f64 = 0.004;

/// What a run would be if it were written down rightly.
struct Guess {
    words: String,
    run: RunDatum,
}

/// The likeliest ways in which one run came to be off, in words; empty where none fits.
///
/// Each is tried on the model of the other runs: a cause fits where it brings the diameter to the predicted one within 2.5 u.
pub(super) fn causes(
    model: &Model<'_>,
    values: &Values<'_>,
    shape: &FieldShape,
    odd: &RunDatum,
) -> Vec<String> {
    let fits = |guess: &Guess| {
        model.diameter_m(&guess.run, values, shape).is_ok_and(|predicted| {
            let u = model.run_noise(odd).hypot(MODEL_SHARE * predicted);
            (guess.run.diameter_m - predicted).abs() < 2.5 * u
        })
    };
    // in the order of how common they are
    let guesses = plain_guesses(odd).into_iter().chain(exchanged(model, odd)).chain(transposed(odd));
    guesses.filter(fits).map(|guess| guess.words).take(2).collect()
}

fn plain_guesses(odd: &RunDatum) -> Vec<Guess> {
    let diameter = |words: &str, diameter_m: f64| Guess {
        words: words.to_owned(),
        run: RunDatum { diameter_m, ..odd.clone() },
    };
    let current = |words: &str, factor: f64| Guess {
        words: words.to_owned(),
        run: RunDatum { current_read_a: odd.current_read_a * factor, ..odd.clone() },
    };
    let voltage = |words: &str, factor: f64| Guess {
        words: words.to_owned(),
        run: RunDatum { voltage_read_v: odd.voltage_read_v * factor, ..odd.clone() },
    };
    let mut list = vec![
        diameter("the radius stands in the diameter column", 2.0 * odd.diameter_m),
        diameter("a diameter was taken for a radius and doubled", 0.5 * odd.diameter_m),
        diameter("the scale was read from its 10 mm mark", odd.diameter_m - 10e-3),
        diameter("the scale was read from 10 mm before its zero", odd.diameter_m + 10e-3),
        current("the current reads a tenth", 10.0),
        current("the current reads ten times too much", 0.1),
        voltage("the voltage reads a tenth", 10.0),
        voltage("the voltage reads ten times too much", 0.1),
        diameter("the diameter is given in centimetres", 10.0 * odd.diameter_m),
    ];
    list.retain(|guess| guess.run.diameter_m > 0.0);
    list
}

/// The diameter of another run's setting.
fn exchanged(model: &Model<'_>, odd: &RunDatum) -> Vec<Guess> {
    let what = if odd.plane.is_some() { "photograph" } else { "diameter" };
    let others = model.runs.iter().filter(|run| run.place != odd.place);
    others
        .map(|other| Guess {
            words: format!("the {what} belongs to run {}", other.run),
            run: RunDatum {
                diameter_m: odd.diameter_m,
                camera_direction: odd.camera_direction,
                plane: odd.plane,
                part_of_turn: odd.part_of_turn,
                edge: odd.edge,
                kind: odd.kind,
                ..other.clone()
            },
        })
        .collect()
}

/// Two neighbouring digits exchanged in one of the three numbers.
fn transposed(odd: &RunDatum) -> Vec<Guess> {
    let mut list = Vec::new();
    for (value, read) in swaps(odd.diameter_m * 1e3, 2) {
        list.push(Guess {
            words: format!("two digits of the diameter are exchanged ({read} for {value} mm)"),
            run: RunDatum { diameter_m: 1e-3 * value, ..odd.clone() },
        });
    }
    for (value, read) in swaps(odd.voltage_read_v, 1) {
        list.push(Guess {
            words: format!("two digits of the voltage are exchanged ({read} for {value} V)"),
            run: RunDatum { voltage_read_v: value, ..odd.clone() },
        });
    }
    for (value, read) in swaps(odd.current_read_a, 3) {
        list.push(Guess {
            words: format!("two digits of the current are exchanged ({read} for {value} A)"),
            run: RunDatum { current_read_a: value, ..odd.clone() },
        });
    }
    list
}

/// A number with two neighbouring digits exchanged, in every way; as it would have been, and as it was read.
fn swaps(number: f64, decimals: usize) -> Vec<(f64, String)> {
    let read = format!("{number:.decimals$}");
    let near = exchanged_figures(&read)
        .into_iter()
        .filter(|(value, are_neighbours)| *are_neighbours && *value > 0.0);
    near.map(|(value, _)| (value, read.clone())).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_pair_of_neighbouring_digits_is_exchanged() {
        let values: Vec<f64> = swaps(214.0, 0).into_iter().map(|swap| swap.0).collect();
        assert_eq!(values, [124.0, 241.0]);
    }

    #[test]
    fn the_median_of_an_even_number_is_the_mean_of_the_middle_two() {
        assert_eq!(median(vec![4.0, 1.0, 3.0, 2.0]), 2.5);
    }
}
