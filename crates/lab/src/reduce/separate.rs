//! What these readings cannot tell apart, which readings would, and which errors happen to cancel: in sentences.

use arcmass_quantity::{Caveat, print};

use super::Solved;
use super::advice::{self, Way, is_one};
use super::alternatives::Alternative;
use super::budget::Budget;
use super::findings::by_code;
use super::mixture::Mixture;
use crate::document::{EffectEntry, probability};
use crate::model::Unknown;

/// An effect that makes less than this share of the mass's variance is not worth a sentence.
const SHARE_WORTH_SAYING: f64 = 0.1;
/// The scatter of the diameters is said when it is this much larger than stated.
const SCATTERS_MORE: f64 = 1.5;

pub(super) fn caveats(
    solved: &Solved<'_>,
    mixture: &Mixture<'_>,
    alternatives: &[Alternative],
    budget: &Budget,
    effects: &[EffectEntry],
    birge_ratio: Option<f64>,
) -> Vec<Caveat> {
    let mut list: Vec<Caveat> = inseparable(mixture, budget, effects);
    list.extend(undecided(mixture, alternatives));
    list.extend(cancelling(effects));
    list.extend(scatter(solved, birge_ratio));
    list
}

/// Readings that are seen to help on simulated ones; where none are, what else does.
fn or_else(readings: Option<String>, else_do: &str) -> String {
    readings.unwrap_or_else(|| {
        format!("no four readings within the range and ratings here tell them apart: {else_do}")
    })
}

/// Effects that the readings leave as they were stated, though the mass hangs on them.
fn inseparable(mixture: &Mixture<'_>, budget: &Budget, effects: &[EffectEntry]) -> Vec<Caveat> {
    let runs = &mixture.leading().model.runs;
    let matters = |unknown: Unknown| {
        let code = unknown.naming().code;
        let is_open = effects.iter().any(|effect| effect.code == code && !effect.separable);
        is_open && budget.share_of(unknown) > SHARE_WORTH_SAYING
    };
    let mut list = Vec::new();
    if matters(Unknown::BackgroundZ) {
        let one_way = is_one(runs, |run| 2.0 + run.sense * run.turned_rad.cos());
        let why = if is_one(runs, |run| run.current_read_a) && one_way {
            "at one current, a stray field along the axis is not separable from m"
        } else if one_way {
            "with the field in one sense only, a stray field along the axis is hardly separable from m"
        } else {
            "with these readings a stray field along the axis is hardly separable from m"
        };
        list.push(Caveat::new(
            "not-separable",
            why,
            or_else(
                advice::for_unknown(mixture, Unknown::BackgroundZ, Way::BothWays),
                "read the probe along the axis with the coils off and state [surroundings]",
            ),
        ));
    }
    if matters(Unknown::VoltageOffset) {
        let why = if is_one(runs, |run| run.voltage_read_v) {
            "at one voltage, the voltage offset is not separable from m"
        } else {
            "over this range of voltages the voltage offset is hardly separable from m"
        };
        list.push(Caveat::new(
            "not-separable",
            why,
            or_else(
                advice::for_unknown(mixture, Unknown::VoltageOffset, Way::Plain),
                "measure the accelerating voltage at the tube and the gun's offset, and state voltage_offset under [gun]",
            ),
        ));
    }
    if matters(Unknown::BeamWidth) {
        let why = if is_one(runs, |run| run.diameter_m) {
            "with rings of one diameter, the edge that was read is not separable from m"
        } else {
            "over this range of diameters the edge that was read is hardly separable from m"
        };
        list.push(Caveat::new(
            "not-separable",
            why,
            or_else(
                advice::for_unknown(mixture, Unknown::BeamWidth, Way::Plain),
                "read both edges of the beam, or its centre line",
            ),
        ));
    }
    list
}

/// Something is off, but the readings do not say what.
fn undecided(mixture: &Mixture<'_>, alternatives: &[Alternative]) -> Option<Caveat> {
    let sums = by_code(alternatives);
    let total: f64 = sums.iter().map(|sum| sum.1).sum();
    let mut likely: Vec<_> = sums.into_iter().filter(|sum| sum.1 > 0.1).collect();
    likely.sort_by(|a, b| b.1.total_cmp(&a.1));
    if total <= 0.5 || likely.first().is_none_or(|first| first.1 > 0.5) {
        return None;
    }
    let names: Vec<String> =
        likely.iter().map(|(code, weight)| format!("{code} {}", probability(*weight))).collect();
    Some(Caveat::new(
        "not-separable",
        format!(
            "the readings behave as if something lay outside what is stated, but do not separate the causes (posterior probabilities: {})",
            names.join(", ")
        ),
        or_else(
            advice::for_models(mixture),
            "look for each of them on the bench; a wider range of voltages and rings tells more",
        ),
    ))
}

/// Two large effects with opposite sign, so that the textbook's way comes out right by luck.
fn cancelling(effects: &[EffectEntry]) -> Option<Caveat> {
    /// %, of the mass.
    const LARGE: f64 = 1.0;
    // those that only matter together count once
    let once: Vec<&EffectEntry> = effects
        .iter()
        .enumerate()
        .filter(|(i, effect)| !effects[..*i].iter().any(|before| effect.together_with.contains(&before.name)))
        .map(|(_, effect)| effect)
        .collect();
    let large: Vec<&EffectEntry> =
        once.iter().copied().filter(|effect| effect.shift_of_mass_percent.abs() > LARGE).collect();
    let sum: f64 = once.iter().map(|effect| effect.shift_of_mass_percent).sum();
    let up = large.iter().max_by(|a, b| a.shift_of_mass_percent.total_cmp(&b.shift_of_mass_percent))?;
    let down = large.iter().min_by(|a, b| a.shift_of_mass_percent.total_cmp(&b.shift_of_mass_percent))?;
    let (a, b) = (up.shift_of_mass_percent, down.shift_of_mass_percent);
    let smaller = a.abs().min(b.abs());
    (a > 0.0 && b < 0.0 && sum.abs() < 0.3 * smaller).then(|| {
        Caveat::new(
            "errors-cancel",
            format!(
                "two errors cancel here: {} (+{} % of the mass) and {} (−{} %)",
                up.name,
                print::significant(a, 2),
                down.name,
                print::significant(b.abs(), 2)
            ),
            "do not take the textbook's result for a confirmation: at other settings they will not cancel",
        )
    })
}

/// The factor that the diameters' uncertainty is taken larger by is the posterior's, not √(χ²/ν): both are named.
fn scatter(solved: &Solved<'_>, birge_ratio: Option<f64>) -> Option<Caveat> {
    let factor = solved.averaged.factor();
    (!solved.from_scatter && factor > SCATTERS_MORE).then(|| {
        let ratio = birge_ratio
            .map_or_else(String::new, |ratio| format!(" (Birge ratio {})", print::fixed(ratio, -2)));
        Caveat::new(
            "diameters-scatter-more",
            format!(
                "the diameters scatter more than their stated uncertainties say{ratio}; the fit takes those as {} times as large, and \
                 the mass's uncertainty with them",
                print::significant(factor, 2)
            ),
            "state what repeated readings of one ring show, by more than one person",
        )
    })
}
