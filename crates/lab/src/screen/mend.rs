//! The slip that brings a row back to the others, in words.

use arcmass_quantity::misread::exchanged_figures;
use arcmass_quantity::print;

/// What a row would be if it had been written as it was read.
pub(super) struct Mended {
    /// A, as read.
    pub(super) current_a: f64,
    /// T, as read.
    pub(super) flux_density_t: f64,
    /// The slip.
    pub(super) words: String,
}

/// Powers of ten and signs, in the order of how common they are.
pub(super) fn slips(current_a: f64, flux_density_t: f64) -> Vec<Mended> {
    let mut list = Vec::new();
    let mut add = |current_a: f64, flux_density_t: f64, words: &str| {
        list.push(Mended { current_a, flux_density_t, words: words.to_owned() });
    };
    add(current_a, 0.1 * flux_density_t, "the flux density is ten times too large (a decimal point)");
    add(current_a, 10.0 * flux_density_t, "the flux density is a tenth (a decimal point)");
    add(0.1 * current_a, flux_density_t, "the current is ten times too large (a decimal point)");
    add(10.0 * current_a, flux_density_t, "the current is a tenth (a decimal point)");
    add(current_a, -flux_density_t, "the sign of the flux density is the other one");
    add(-current_a, flux_density_t, "the sign of the current is the other one");
    add(
        current_a,
        0.01 * flux_density_t,
        "the flux density is a hundred times too large (the decimal point is missing)",
    );
    add(
        current_a,
        1e-3 * flux_density_t,
        "the flux density is a thousand times too large (written in a unit a thousandth as large)",
    );
    add(
        current_a,
        1e3 * flux_density_t,
        "the flux density is a thousandth (written in a unit a thousand times as large)",
    );
    add(
        current_a,
        1e-6 * flux_density_t,
        "the flux density is a million times too large (written in a unit a millionth as large)",
    );
    add(
        current_a,
        1e-4 * flux_density_t,
        "the flux density is 10 000 times too large (written in gauss for tesla)",
    );
    add(1e-3 * current_a, flux_density_t, "the current is written in milliamperes");
    add(
        0.01 * current_a,
        flux_density_t,
        "the current is a hundred times too large (the decimal point is missing)",
    );
    list.extend(transposed(current_a, flux_density_t));
    list
}

/// Two neighbouring digits exchanged in the current or in the flux density in millitesla.
fn transposed(current_a: f64, flux_density_t: f64) -> Vec<Mended> {
    let mut list = Vec::new();
    for (value, read) in exchanged(current_a) {
        let words = format!("two digits of the current are exchanged ({read} for {} A)", number(value));
        list.push(Mended { current_a: value, flux_density_t, words });
    }
    for (value, read) in exchanged(1e3 * flux_density_t) {
        let words = format!("two digits of the flux density are exchanged ({read} for {} mT)", number(value));
        list.push(Mended { current_a, flux_density_t: 1e-3 * value, words });
    }
    list
}

fn number(value: f64) -> String {
    format!("{value:.6}").trim_end_matches('0').trim_end_matches('.').to_owned()
}

/// A number with two neighbouring digits exchanged, in every way; as it would have been, and as it was read.
fn exchanged(value: f64) -> Vec<(f64, String)> {
    let read = number(value);
    let near = exchanged_figures(&read).into_iter().filter(|(_, are_neighbours)| *are_neighbours);
    near.map(|(other, _)| (other, read.clone())).collect()
}

/// What a whole column off by a factor was written in, where a unit gives the factor within a third.
pub(super) fn unit_of_column(ratio: f64) -> Option<String> {
    let near = |factor: f64| (ratio / factor).ln().abs() < 0.3;
    let units = [
        (
            1e3,
            "the flux densities were written in a unit a thousandth as large as the column's name says (µT for mT)",
        ),
        (
            1e-3,
            "the flux densities were written in a unit a thousand times as large as the column's name says (T for mT), or the currents in mA",
        ),
        (
            1e6,
            "the flux densities were written in a unit a millionth as large as the column's name says (nT for mT)",
        ),
        (
            1e-6,
            "the flux densities were written in a unit a million times as large as the column's name says",
        ),
        (
            10.0,
            "the flux densities were written in gauss where the column's name says mT, or on a range ten times off",
        ),
        (
            0.1,
            "the flux densities were written in mT where the column's name says gauss, or on a range ten times off",
        ),
        (1e4, "the flux densities were written in gauss where the column's name says tesla"),
        (1e-4, "the flux densities were written in tesla where the column's name says gauss"),
    ];
    units.into_iter().find(|(factor, _)| near(*factor)).map(|(_, words)| words.to_owned())
}

/// A flux density for a sentence, mT.
pub(super) fn millitesla(flux_density_t: f64) -> String {
    format!("{} mT", print::significant(1e3 * flux_density_t, 4))
}
