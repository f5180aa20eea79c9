//! The report's charts: masses, law, budget.

use arcmass_lab::document::{ReductionDocument, RunEntry};
use arcmass_lab::field_unit::FieldUnit;
use arcmass_quantity::print;

use crate::figure::{Axis, Bar, Figure, Meaning, Panel, Point, Side};
use crate::words;

/// Width of every chart, in its own units.
const WIDTH: f64 = 500.0;
/// A mass is shown in units of 10⁻³¹ kg.
const KG: f64 = 1e31;
/// Bars of a budget; the table beneath has the rest.
const MOST_BARS: usize = 12;

/// A person's own words as a label: none of them is a mark.
fn literal(text: &str) -> String {
    let mut out = String::new();
    for letter in text.chars() {
        if matches!(letter, '*' | '^' | '_' | '\\' | '-' | '}') {
            out.push('\\');
        }
        out.push(letter);
    }
    out
}

/// Each run's mass by the model and by the textbook, beside the result and the accepted value.
pub(crate) fn masses(reduction: &ReductionDocument) -> Figure {
    let place = |i: usize| i as f64 + 1.0;
    let of = |struck: bool| {
        let kept = reduction.runs.iter().enumerate().filter(move |(_, run)| run.struck == struck);
        kept.map(|(i, run)| {
            Point::new(place(i), KG * run.mass_kg.value).y_bar(KG * run.mass_kg.standard_uncertainty)
        })
        .collect::<Vec<_>>()
    };
    let textbook: Vec<Point> = reduction
        .runs
        .iter()
        .enumerate()
        .filter(|(_, run)| !run.struck)
        .map(|(i, run)| Point::new(place(i), KG * run.textbook_mass_kg))
        .collect();
    let [low, high] = reduction.mass_kg.interval_95;
    let x =
        Axis::new("run, in the order of the table").range(0.4, place(reduction.runs.len()) - 0.4).counted();
    let mut panel = Panel::new(x, Axis::new("*m* / (10^{-31} kg)"))
        .height(220.0)
        .span(Meaning::Predicted, "result, 95 %", Side::Level, KG * low, KG * high)
        .rule(Meaning::Accepted, Side::Level, KG * reduction.reference.mass_kg.value, "accepted")
        .points(Meaning::Textbook, "textbook formula", textbook)
        .points(Meaning::Measured, "full model, *k* = 1", of(false));
    let struck = of(true);
    if !struck.is_empty() {
        panel = panel.points(Meaning::Rejected, "excluded", struck);
    }
    Figure::new(
        "Mass from each run",
        "Each run's mass by the full model with its standard uncertainty and by the textbook formula, the joint result as a band, the accepted value as a line.",
    )
    .id("masses")
    .width(WIDTH)
    .panel(panel)
}

/// √(V + V₀)/B of a run in √V per unit of flux density.
fn drive(run: &RunEntry, unit: &FieldUnit) -> f64 {
    let accelerating = run.accelerating_voltage_v.unwrap_or(run.voltage_v).value;
    accelerating.max(0.0).sqrt() / (run.flux_density_mt.value * unit.per_millitesla)
}

/// Ring diameter against √V/B: the law is a line through the origin.
pub(crate) fn law(reduction: &ReductionDocument, unit: &FieldUnit) -> Figure {
    let kept: Vec<&RunEntry> = reduction.runs.iter().filter(|run| !run.struck).collect();
    let at = |run: &RunEntry| {
        Point::new(drive(run, unit), run.ring_diameter_mm.value)
            .y_bar(run.ring_diameter_mm.standard_uncertainty)
    };
    let slopes = kept.iter().map(|run| (run.ring_diameter_mm.value - run.residual_mm) / drive(run, unit));
    let slope = slopes.filter(|s| s.is_finite()).sum::<f64>() / kept.len().max(1) as f64;
    let most =
        reduction.runs.iter().map(|run| drive(run, unit)).filter(|x| x.is_finite()).fold(0.0, f64::max);
    let residuals = kept.iter().map(|run| {
        Point::new(drive(run, unit), run.residual_mm).y_bar(run.measured_diameter_mm.standard_uncertainty)
    });
    let mut panel = Panel::new(
        Axis::new(format!("√(*V* + *V*_{{0}}) / *B* / (√V / {})", literal(&unit.shown))).from_zero(),
        Axis::new("*d* / mm").from_zero(),
    )
    .height(240.0)
    .curve(
        Meaning::Predicted,
        "law with the joint mass",
        vec![[0.0, 0.0], [1.04 * most, 1.04 * most * slope]],
    )
    .points(Meaning::Measured, "measured, *k* = 1", kept.iter().map(|run| at(run)).collect());
    let struck: Vec<Point> = reduction.runs.iter().filter(|run| run.struck).map(at).collect();
    if !struck.is_empty() {
        panel = panel.points(Meaning::Rejected, "excluded", struck);
    }
    let below = Panel::residuals(Axis::new("residual / mm"))
        .rule(Meaning::Predicted, Side::Level, 0.0, "")
        .points(Meaning::Measured, "", residuals.collect());
    Figure::new(
        "Ring diameter against the square root of the voltage over the flux density",
        "Diameters corrected to an ideal ring, with the line through the origin that one mass for all runs demands; below, measured minus modelled diameter.",
    )
    .id("law")
    .width(WIDTH)
    .panel(panel)
    .panel(below)
}

/// Shares of the mass's variance, largest first.
pub(crate) fn budget(reduction: &ReductionDocument) -> Option<Figure> {
    let bars: Vec<Bar> = reduction
        .budget
        .iter()
        .filter(|line| line.share.is_finite() && line.share >= 0.0005)
        .take(MOST_BARS)
        .map(|line| {
            let scatter = line.input.ends_with("each on its own");
            let meaning = if scatter { Meaning::Measured } else { Meaning::Stated };
            let share = 100.0 * line.share;
            Bar::new(meaning, literal(&line.input), share, format!("{} %", words::percent(share)))
        })
        .collect();
    let largest = reduction.budget.first()?;
    let described = format!(
        "Each input's share in the variance of the mass; the largest is {} with {} %.",
        largest.input,
        print::significant(100.0 * largest.share, 2)
    );
    (!bars.is_empty()).then(|| {
        let panel = Panel::bars(Axis::new("share of the variance / %"), bars);
        Figure::new("Uncertainty budget", described).id("budget").width(WIDTH).panel(panel)
    })
}
