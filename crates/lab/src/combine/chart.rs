//! Control charts of one bench over its history: which day is off what the others say.

use arcmass_notebook::Notebook;
use arcmass_quantity::print;

use super::Reduced;
use super::document::{ChartPoint, ControlChart};

/// Days on one side of the centre, one after the other, that are called a drift (Western Electric's rule counts eight).
const DRIFT: usize = 8;

/// When the first reading was taken, as written.
pub(super) fn taken_at(notebook: &Notebook) -> Option<String> {
    notebook.readings.as_ref()?.runs.iter().find_map(|run| run.taken_at.clone())
}

/// A notebook's value with its uncertainty, from it and its own part of the mass's.
type ValueOf<'a> = &'a dyn Fn(&Reduced, f64) -> Option<(f64, f64)>;

/// One day's value with its own uncertainty.
struct Day<'a> {
    one: &'a Reduced,
    value: f64,
    u: f64,
}

/// Charts of every bench with at least two notebooks.
///
/// - **Takes** each notebook's own relative uncertainty of the mass (without what all days share), and the relative variance
///   between days.
pub(super) fn charts(notebooks: &[Reduced], own: &[f64], days: Option<f64>) -> Vec<ControlChart> {
    let mut names: Vec<&str> = notebooks.iter().map(|one| one.notebook.bench.name.as_str()).collect();
    names.sort_unstable();
    names.dedup();
    let mut found = Vec::new();
    for name in names {
        let mut history: Vec<(&Reduced, f64)> = notebooks
            .iter()
            .zip(own.iter().copied())
            .filter(|(one, _)| one.notebook.bench.name == name)
            .collect();
        if history.len() < 2 {
            continue;
        }
        if history.iter().all(|(one, _)| taken_at(&one.notebook).is_some()) {
            history.sort_by_key(|(one, _)| taken_at(&one.notebook));
        }
        let of = |value: ValueOf<'_>| -> Vec<Day<'_>> {
            let day = |(one, own): &(&'_ Reduced, f64)| value(one, *own);
            history
                .iter()
                .filter_map(|entry| day(entry).map(|(value, u)| Day { one: entry.0, value, u }))
                .collect()
        };
        let mass = of(&|one, own| {
            let value = one.reduction.mass_kg.value;
            Some((1e31 * value, 1e31 * value * own.hypot(days.unwrap_or(0.0).sqrt())))
        });
        found.extend(chart(name, "mass", "1e-31 kg", &mass));
        let field = of(&|one, _| {
            let q = one.reduction.field_per_ampere_mt_per_a;
            Some((q.value, q.standard_uncertainty))
        });
        found.extend(chart(name, "field-per-ampere", "mT/A", &field));
        for (code, unit) in [("voltage-offset", "V"), ("stray-field-axial", "uT")] {
            let effect = of(&|one, _| {
                let entry =
                    one.reduction.effects.iter().find(|effect| effect.code == code && effect.unit == unit)?;
                Some((entry.posterior.value, entry.posterior.standard_uncertainty))
            });
            found.extend(chart(name, code, unit, &effect));
        }
    }
    found
}

fn chart(bench: &str, quantity: &str, unit: &str, days: &[Day<'_>]) -> Option<ControlChart> {
    let usable = days.len() >= 2 && days.iter().all(|day| day.u > 0.0 && day.value.is_finite());
    if !usable {
        return None;
    }
    let centre = mean(days.iter())?.0;
    let points: Vec<ChartPoint> =
        days.iter().enumerate().filter_map(|(place, day)| point(days, place, day)).collect();
    let sentence = sentence(bench, quantity, &points, centre);
    Some(ControlChart {
        bench: bench.to_owned(),
        quantity: quantity.to_owned(),
        unit: unit.to_owned(),
        centre,
        points,
        sentence,
    })
}

/// Weighted mean and its standard uncertainty.
fn mean<'a>(days: impl Iterator<Item = &'a Day<'a>>) -> Option<(f64, f64)> {
    let (mut weights, mut sum) = (0.0, 0.0);
    for day in days {
        let weight = 1.0 / (day.u * day.u);
        weights += weight;
        sum += weight * day.value;
    }
    (weights > 0.0).then(|| (sum / weights, weights.sqrt().recip()))
}

/// A day against what all the others say.
fn point(days: &[Day<'_>], place: usize, day: &Day<'_>) -> Option<ChartPoint> {
    let others = days.iter().enumerate().filter(|(other, _)| *other != place).map(|(_, day)| day);
    let (centre, u) = mean(others)?;
    let sd = u.hypot(day.u);
    let off = (day.value - centre).abs() / sd;
    let state = match off {
        off if off > 3.0 => "action",
        off if off > 2.0 => "warning",
        _ => "in",
    };
    Some(ChartPoint {
        folder: day.one.folder.clone(),
        taken_at: taken_at(&day.one.notebook),
        value: day.value,
        standard_uncertainty: day.u,
        warning: [centre - 2.0 * sd, centre + 2.0 * sd],
        action: [centre - 3.0 * sd, centre + 3.0 * sd],
        state: state.to_owned(),
    })
}

fn sentence(bench: &str, quantity: &str, points: &[ChartPoint], centre: f64) -> String {
    let words = match quantity {
        "mass" => "mass",
        "field-per-ampere" => "coil constant",
        "voltage-offset" => "gun's voltage offset",
        _ => "stray field along the axis",
    };
    let named = |state: &str| -> Vec<&str> {
        points.iter().filter(|point| point.state == state).map(|point| point.folder.as_str()).collect()
    };
    let (action, warning) = (named("action"), named("warning"));
    let place = format!("{bench}, {words} over {} notebooks", points.len());
    if !action.is_empty() {
        return format!(
            "{place}: {} lies outside three standard deviations of what the others say; find out what changed before \
             it is used",
            action.join(", ")
        );
    }
    if let Some((side, count)) = run_on_one_side(points, centre).filter(|(_, count)| *count >= DRIFT) {
        return format!("{place}: the last {count} in a row lie {side} the centre line: a drift");
    }
    if !warning.is_empty() {
        return format!("{place}: {} lies outside two standard deviations; check it", warning.join(", "));
    }
    let spread = points.iter().map(|point| (point.value - centre).abs()).fold(0.0, f64::max);
    format!(
        "{place}: all inside their limits, the farthest {} from the centre",
        print::significant(spread, 2)
    )
}

/// How many days at the end lie on one side.
fn run_on_one_side(points: &[ChartPoint], centre: f64) -> Option<(&'static str, usize)> {
    let last = points.last()?;
    let above = last.value > centre;
    let count = points.iter().rev().take_while(|point| (point.value > centre) == above).count();
    Some((if above { "above" } else { "below" }, count))
}
