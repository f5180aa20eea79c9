//! What these readings cannot tell apart, which readings would, and which errors happen to cancel: in sentences.

use arcmass_quantity::{Caveat, print};

use super::alternatives::Alternative;
use super::findings::by_code;
use super::{Solved, mass_place};
use crate::document::EffectEntry;
use crate::model::{RunDatum, Unknown};

/// Settings closer than this, relative, count as one.
const SAME_SETTING: f64 = 0.02;
/// An effect that makes less than this share of the mass's variance is not worth a sentence.
const SHARE_WORTH_SAYING: f64 = 0.1;
/// An effect is told apart from the mass when the readings halve what was known of it beforehand.
const NARROWED: f64 = 0.5;
/// The scatter of the diameters is said when it is this much larger than stated.
const SCATTERS_MORE: f64 = 1.5;

pub(super) fn caveats(
    solved: &Solved<'_>,
    alternatives: &[Alternative],
    effects: &[EffectEntry],
) -> Vec<Caveat> {
    let mut list: Vec<Caveat> = inseparable(solved);
    list.extend(undecided(solved, alternatives));
    list.extend(cancelling(effects));
    list.extend(scatter(solved));
    list
}

fn range(runs: &[RunDatum], of: impl Fn(&RunDatum) -> f64) -> (f64, f64) {
    runs.iter().map(of).fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), x| (low.min(x), high.max(x)))
}

fn is_one(runs: &[RunDatum], of: impl Fn(&RunDatum) -> f64) -> bool {
    let (low, high) = range(runs, of);
    high <= low * (1.0 + SAME_SETTING)
}

/// Corners of the range of settings: lowest and highest voltage, smallest and largest ring.
fn four_settings(solved: &Solved<'_>, way: &str) -> String {
    let model = &solved.bench.model;
    let runs = &model.runs;
    let (v_low, v_high) = range(runs, |run| run.voltage_read_v);
    // from one voltage only, to where most tubes still show a beam
    let (v_low, v_high) =
        if is_one(runs, |run| run.voltage_read_v) { (0.75 * v_low, 1.25 * v_high) } else { (v_low, v_high) };
    // d I / √V is one constant for all runs
    let product: f64 =
        runs.iter().map(|run| run.diameter_m * run.current_read_a / run.voltage_read_v.sqrt()).sum::<f64>()
            / runs.len().max(1) as f64;
    let (d_low, d_high) = range(runs, |run| run.diameter_m);
    let (d_low, d_high) =
        if is_one(runs, |run| run.diameter_m) { (0.75 * d_low, 1.1 * d_high) } else { (d_low, d_high) };
    let ratings = &model.apparatus.ratings;
    let v_high = v_high.min(ratings.voltage_v.unwrap_or(f64::INFINITY));
    let most_a = most_current(runs, ratings.current_a);
    let setting = |v: f64, d: f64| {
        let current = (product * v.sqrt() / d).min(most_a);
        format!("{} V and {} A", print::significant(v, 2), print::significant(current, 2))
    };
    format!(
        "take these four readings{way}: {}; {}; {}; {}",
        setting(v_low, d_low),
        setting(v_low, d_high),
        setting(v_high, d_low),
        setting(v_high, d_high)
    )
}

/// The largest current worth proposing: the rating where it is stated, else no more than what the coils have carried.
fn most_current(runs: &[RunDatum], rating_a: Option<f64>) -> f64 {
    rating_a.unwrap_or_else(|| range(runs, |run| run.current_read_a).1)
}

/// Effects that the readings leave as they were stated, though the mass hangs on them.
fn inseparable(solved: &Solved<'_>) -> Vec<Caveat> {
    let model = &solved.bench.model;
    let runs = &model.runs;
    let place = mass_place(solved);
    let variance = solved.joint.u(place).powi(2).max(f64::MIN_POSITIVE);
    let sensitivities = solved.joint.sensitivity_to_priors(place);
    let matters = |unknown: Unknown| {
        model.unknowns.iter().find(|(_, own, _)| *own == unknown).is_some_and(|(at, _, prior)| {
            let share = sensitivities.get(at).map_or(0.0, |s| s * s) / variance;
            let before = prior.moments().map_or(f64::INFINITY, |(_, u)| u);
            share > SHARE_WORTH_SAYING && solved.joint.u(at) > NARROWED * before
        })
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
            four_settings(solved, " with the bench rotated by 180°, or with the field reversed"),
        ));
    }
    if matters(Unknown::VoltageOffset) {
        let why = if is_one(runs, |run| run.voltage_read_v) {
            "at one voltage, the voltage offset is not separable from m"
        } else {
            "over this range of voltages the voltage offset is hardly separable from m"
        };
        list.push(Caveat::new("not-separable", why, four_settings(solved, "")));
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
            four_settings(solved, "; or read both edges of the beam"),
        ));
    }
    list
}

/// Something is off, but the readings do not say what.
fn undecided(solved: &Solved<'_>, alternatives: &[Alternative]) -> Option<Caveat> {
    let sums = by_code(alternatives);
    let total: f64 = sums.iter().map(|sum| sum.1).sum();
    let mut likely: Vec<_> = sums.into_iter().filter(|sum| sum.1 > 0.1).collect();
    likely.sort_by(|a, b| b.1.total_cmp(&a.1));
    if total <= 0.5 || likely.first().is_none_or(|first| first.1 > 0.5) {
        return None;
    }
    let names: Vec<String> =
        likely.iter().map(|(code, weight)| format!("{code} ({:.0} %)", 100.0 * weight)).collect();
    Some(Caveat::new(
        "not-separable",
        format!(
            "something lies outside what is stated, but these readings do not separate {}",
            names.join(", ")
        ),
        four_settings(solved, ", each also with the bench rotated by 180° or the field reversed"),
    ))
}

/// Two large effects with opposite sign, so that the textbook's way comes out right by luck.
fn cancelling(effects: &[EffectEntry]) -> Option<Caveat> {
    /// %, of the mass.
    const LARGE: f64 = 1.0;
    let large: Vec<&EffectEntry> = effects.iter().filter(|e| e.shift_of_mass_percent.abs() > LARGE).collect();
    let sum: f64 = effects.iter().map(|effect| effect.shift_of_mass_percent).sum();
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

fn scatter(solved: &Solved<'_>) -> Option<Caveat> {
    let factor = solved.averaged.factor();
    (!solved.from_scatter && factor > SCATTERS_MORE).then(|| {
        Caveat::new(
            "diameters-scatter-more",
            format!(
                "the diameters scatter {} times more than their stated uncertainty; the mass's uncertainty is widened for it",
                print::significant(factor, 2)
            ),
            "state what repeated readings of one ring show, by more than one person",
        )
    })
}
