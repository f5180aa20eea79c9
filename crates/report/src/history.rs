//! Several notebooks in one figure: their masses about the mean, and each bench's control charts.

use arcmass_lab::combine::document::{CombinationDocument, ControlChart};

use crate::figure::{Axis, Figure, Meaning, Panel, Point, Side};

/// Width of the figure, in its own units.
const WIDTH: f64 = 560.0;
/// A mass is shown in units of 10⁻³¹ kg.
const KG: f64 = 1e31;

/// Masses of all notebooks with the mean's 95 % band, then one control chart below the other.
pub fn history(document: &CombinationDocument) -> Figure {
    let [low, high] = document.mass_kg.interval_95;
    let points = document.notebooks.iter().zip(1..).map(|(one, place): (_, i32)| {
        Point::new(f64::from(place), KG * one.mass_kg.value).y_bar(KG * one.mass_kg.standard_uncertainty)
    });
    let count = document.notebooks.len() as f64;
    let masses = Panel::new(
        Axis::new("notebook, in the order given").range(0.4, count + 0.6).counted(),
        Axis::new("*m* / (10^{-31} kg)"),
    )
    .height(200.0)
    .span(Meaning::Predicted, "mean, 95 %", Side::Level, KG * low, KG * high)
    .rule(Meaning::Accepted, Side::Level, KG * document.reference.mass_kg.value, "accepted")
    .points(Meaning::Measured, "each notebook, *k* = 1", points.collect());
    let figure = Figure::new("Several notebooks, and each bench’s history", document.sentences.join(". "))
        .id("history")
        .width(WIDTH)
        .panel(masses);
    document.charts.iter().fold(figure, |figure, chart| figure.panel(control(chart)))
}

fn control(chart: &ControlChart) -> Panel {
    let places = chart.points.iter().zip(1..).map(|(point, place): (_, i32)| (point, f64::from(place)));
    let unit = match chart.unit.as_str() {
        "1e-31 kg" => "10^{-31} kg",
        "uT" => "µT",
        other => other,
    };
    let what = match chart.quantity.as_str() {
        "mass" => "*m*",
        "field-per-ampere" => "*B*/*I*",
        "voltage-offset" => "*V*_{0}",
        _ => "*B*_{z}",
    };
    let limits = |pick: fn(&arcmass_lab::combine::document::ChartPoint) -> [f64; 2]| {
        let steps = places.clone().flat_map(move |(point, x)| {
            let [low, high] = pick(point);
            [[x - 0.5, low, high], [x + 0.5, low, high]]
        });
        steps.collect::<Vec<_>>()
    };
    let of = |wanted: bool| {
        places
            .clone()
            .filter(move |(point, _)| (point.state == "action") == wanted)
            .map(|(point, x)| Point::new(x, point.value).y_bar(point.standard_uncertainty))
            .collect::<Vec<_>>()
    };
    let x = Axis::new(format!("{}, day by day", chart.bench))
        .range(0.4, chart.points.len() as f64 + 0.6)
        .counted();
    let mut panel =
        Panel::new(x, Axis::new(format!("{what} / {unit}").replace("/ 10^{-31} kg", "/ (10^{-31} kg)")))
            .height(150.0)
            .band(Meaning::Stated, "the other days, 3 s.d.", limits(|point| point.action))
            .rule(Meaning::Predicted, Side::Level, chart.centre, "")
            .points(Meaning::Measured, "", of(false));
    let outside = of(true);
    if !outside.is_empty() {
        panel = panel.points(Meaning::Caution, "outside", outside);
    }
    panel
}
