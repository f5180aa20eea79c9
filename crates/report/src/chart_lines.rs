//! The textbook's two straight lines, and the shapes that each run's excess follows.

use arcmass_lab::document::ReductionDocument;
use arcmass_lab::textbook::{Fitted, Signature, TextbookLine};

use crate::figure::{Axis, Figure, Meaning, Panel, Point, Side};

/// Width of every chart, in its own units.
const WIDTH: f64 = 500.0;

/// Both kinds of lines, one panel each; nothing where no group of runs has a line.
pub(crate) fn textbook_lines(reduction: &ReductionDocument) -> Option<Figure> {
    let of = |kind: &str| -> Vec<&TextbookLine> {
        reduction.textbook_lines.iter().filter(|line| line.line == kind).collect()
    };
    let (squares, currents) = (of("diameter-squared-against-voltage"), of("current-against-inverse-radius"));
    let mut panels = Vec::new();
    if !squares.is_empty() {
        // mm² are shown as cm²
        panels.push(panel(Axis::new("*V* / V"), Axis::new("*d*² / cm²"), &squares, [1.0, 0.01], "A"));
    }
    if !currents.is_empty() {
        // 1/m are shown as 1/cm
        panels.push(panel(Axis::new("1/*r* / (1/cm)"), Axis::new("*I* / A"), &currents, [0.01, 1.0], "V"));
    }
    let mut panels = panels.into_iter();
    let first = panels.next()?;
    let figure = Figure::new(
        "The two textbook straight lines",
        "Readings as read with straight lines through them, forced through the origin and free: squared diameter against voltage at one current, current against the reciprocal of the radius at one voltage.",
    )
    .id("textbook-lines")
    .width(WIDTH);
    Some(panels.fold(figure.panel(first), Figure::panel))
}

fn panel(x: Axis, y: Axis, lines: &[&TextbookLine], scale: [f64; 2], unit: &str) -> Panel {
    let mut panel = Panel::new(x.from_zero(), y.from_zero()).height(230.0);
    let largest = |axis: usize| {
        lines.iter().flat_map(|line| &line.points).map(|p| p[axis].abs()).fold(1e-300, f64::max)
    };
    let span = [largest(0), largest(1)];
    let mut named: Vec<[f64; 2]> = Vec::new();
    for (place, line) in lines.iter().enumerate() {
        let far = 1.05 * line.points.iter().map(|p| p[0]).fold(0.0, f64::max);
        let ends = |fit: &Fitted| {
            let at = |x: f64| [scale[0] * x, scale[1] * (fit.intercept + fit.slope * x)];
            vec![at(0.0), at(far)]
        };
        let name = |text: &str| if place == 0 { text.to_owned() } else { String::new() };
        panel = panel.curve(Meaning::Textbook, name("through the origin"), ends(&line.through_origin));
        if let Some(free) = &line.free {
            panel = panel.curve(Meaning::Plain, name("free"), ends(free));
        }
        let label = format!("{} {unit}", arcmass_quantity::print::significant(line.fixed, 3));
        let at = label_at(&line.points, span, &named);
        named.extend(at.and_then(|i| line.points.get(i)));
        let points = line.points.iter().enumerate().map(|(i, p)| {
            let point = Point::new(scale[0] * p[0], scale[1] * p[1]);
            if Some(i) == at { point.label(label.clone()) } else { point }
        });
        panel = panel.points(Meaning::Measured, name("as read"), points.collect());
    }
    panel
}

/// Labels closer together than this part of a panel's span run into one another.
const LABEL: f64 = 0.13;

/// The outermost point whose label meets none of those placed before; the outermost where all do.
fn label_at(points: &[[f64; 2]], span: [f64; 2], named: &[[f64; 2]]) -> Option<usize> {
    let mut order: Vec<usize> = (0..points.len()).collect();
    order.sort_by(|a, b| points[*b][0].total_cmp(&points[*a][0]));
    let is_free = |i: &&usize| {
        let p = points[**i];
        named.iter().all(|q| {
            // a label is wide and low
            let apart = [0, 1].map(|k| (p[k] - q[k]).abs() / span[k]);
            apart[0] > LABEL || apart[1] > 0.5 * LABEL
        })
    };
    order.iter().find(is_free).or_else(|| order.first()).copied()
}

/// Each run's excess against the five shapes, one small panel each; nothing with fewer than three runs.
pub(crate) fn signatures(reduction: &ReductionDocument) -> Option<Figure> {
    let shown: Vec<&Signature> = reduction.signatures.iter().filter(|one| one.points.len() >= 3).collect();
    let (first, rest) = shown.split_first()?;
    let strongest = shown
        .iter()
        .filter_map(|one| Some((*one, one.correlation?)))
        .max_by(|a, b| a.1.abs().total_cmp(&b.1.abs()));
    let said = strongest.map_or_else(
        || "No shape varies enough over these runs to be recognised.".to_owned(),
        |(one, r)| {
            format!("The excess follows {} most closely (correlation {r:.2}): {}.", one.shape, one.means)
        },
    );
    let figure = Figure::new(
        "Which shape does the excess follow?",
        format!("Specific charge e/m of each run by the textbook formula relative to the joint result, minus one, against the five shapes of systematic effects. {said}"),
    )
    .id("signatures")
    .width(WIDTH)
    .panel(small(first));
    let mut figure = figure;
    for (place, one) in rest.iter().enumerate() {
        // two beside one another
        figure = if place % 2 == 0 { figure.panel_beside(small(one)) } else { figure.panel(small(one)) };
    }
    Some(figure)
}

fn small(one: &Signature) -> Panel {
    let x = match one.shape.as_str() {
        "1/V" => "1/*V* / (1/kV)",
        "1/I" => "sign × 1/*I* / (1/A)",
        "1/r" => "1/*r* / (1/m)",
        "(r/R)^4" => "(*r*/*R*)⁴",
        _ => "*r*/*V*² / (mm/kV²)",
    };
    let points = one.points.iter().map(|p| Point::new(p[0], p[1])).collect();
    Panel::new(Axis::new(x), Axis::new("excess / %"))
        .height(130.0)
        .rule(Meaning::Predicted, Side::Level, 0.0, "")
        .points(Meaning::Measured, "", points)
}
