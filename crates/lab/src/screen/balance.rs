//! Rows of the current balance: each against the median of the others' flux density per ampere.

use std::collections::BTreeSet;

use arcmass_fit::{mad_scale, median};

use super::{FAR_SPREADS, Geometry, Placed, RejectedRow, check_share, mend, split};
use crate::desk::LabError;
use crate::model::data::BalanceDatum;

/// A balance row within this share of the others is kept however well they agree: currents read by hand.
const LEAST_SHARE: f64 = 0.03;
/// Fewest rows that can judge each other.
const FEWEST: usize = 3;

/// The rows that follow one constant, and those that don't.
pub(super) fn screen(
    rows: Vec<Placed<BalanceDatum>>,
    geometry: &Geometry<'_>,
) -> Result<(Vec<BalanceDatum>, Vec<RejectedRow>), LabError> {
    let ratio = |datum: &BalanceDatum| datum.flux_density_t / datum.current_read_a;
    let live: Vec<f64> =
        rows.iter().filter(|row| row.datum.current_read_a != 0.0).map(|row| ratio(&row.datum)).collect();
    let Some(middle) = median(&mut live.clone()) else {
        return Ok((rows.into_iter().map(|row| row.datum).collect(), Vec::new()));
    };
    let middle = match geometry.constant_t_per_a {
        // too few to judge each other: the coils' turns and sizes do
        Some(computed) if live.len() < FEWEST => computed * middle.signum(),
        None if live.len() < FEWEST => {
            return Ok((rows.into_iter().map(|row| row.datum).collect(), Vec::new()));
        }
        _ => middle,
    };
    let residual = |datum: &BalanceDatum| datum.flux_density_t - middle * datum.current_read_a;
    let residuals: Vec<f64> = rows.iter().map(|row| residual(&row.datum)).collect();
    let spread = mad_scale(&residuals, 0.0).unwrap_or(0.0);
    let own_share = if live.len() < FEWEST { 1.0 } else { LEAST_SHARE };
    let allowed = |datum: &BalanceDatum| {
        (own_share * (middle * datum.current_read_a).abs()).max(if live.len() < FEWEST {
            0.0
        } else {
            FAR_SPREADS * spread
        })
    };
    // a residual that is no number lies nowhere
    let within = |datum: &BalanceDatum| residual(datum).abs() <= allowed(datum);
    let rejected: BTreeSet<usize> =
        rows.iter().enumerate().filter(|(_, row)| !within(&row.datum)).map(|(index, _)| index).collect();
    check_share(&rows, &rejected, "current balance")?;
    let file = rows.first().map_or("field-balance.csv", |row| row.file.as_str());
    let kept = rows
        .iter()
        .enumerate()
        .filter(|(index, row)| !rejected.contains(index) && row.datum.current_read_a != 0.0);
    if let Some(constant) = median(&mut kept.map(|(_, row)| ratio(&row.datum)).collect::<Vec<_>>()) {
        geometry.check_constant(file, constant)?;
    }
    let named = rejected.iter().filter_map(|index| rows.get(*index)).map(|row| {
        let expected = middle * row.datum.current_read_a;
        let fits = |mended: &mend::Mended| {
            (mended.flux_density_t - middle * mended.current_a).abs()
                <= 0.5 * own_share.min(0.1) * (middle * mended.current_a).abs() + FAR_SPREADS * spread
        };
        let cause = mend::slips(row.datum.current_read_a, row.datum.flux_density_t).into_iter().find(fits);
        let cause = cause.map_or_else(String::new, |mended| format!("; as if {}", mended.words));
        RejectedRow {
            file: row.file.clone(),
            line: row.line,
            sentence: format!(
                "force, wire and current give {} where the other rows lead one to expect {}{cause}",
                mend::millitesla(row.datum.flux_density_t),
                mend::millitesla(expected)
            ),
        }
    });
    let named: Vec<RejectedRow> = named.collect();
    Ok((split(&rows, &rejected), named))
}
