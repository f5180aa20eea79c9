//! The legend: a strip above the panels, so that it never covers a point.

use super::draw;
use super::label::width;
use super::layout::LINE;
use super::meaning::Meaning;
use super::panel::{Layer, Outline, Panel};
use super::svg::{Anchor, Svg, TEXT};

/// Width of a sample, and the room after it and after a name.
const SAMPLE: f64 = 30.0;
const SAMPLE_GAP: f64 = 7.0;
const ENTRY_GAP: f64 = 22.0;

/// What a sample shows.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Sample {
    Points(Meaning),
    Line(Meaning),
    Band(Meaning),
    /// A curve in the middle of its band.
    LineInBand(Meaning),
    Outline(Outline),
}

/// An entry with its place.
pub(super) struct Placed {
    sample: Sample,
    name: String,
    place: [f64; 2],
}

/// Every named layer once, in drawing order.
pub(super) fn entries(rows: &[Vec<Panel>]) -> Vec<(Sample, String)> {
    let mut entries: Vec<(Sample, String)> = Vec::new();
    for layer in rows.iter().flatten().flat_map(|panel| &panel.layers) {
        let Some((sample, name)) = entry(layer) else { continue };
        if name.is_empty() || entries.contains(&(sample, name.to_owned())) {
            continue;
        }
        entries.push((sample, name.to_owned()));
    }
    // A band and a curve of the same name are one entry.
    let twins: Vec<(Sample, String)> = entries.clone();
    let in_both = |m: Meaning, name: &str| {
        let has = |s: Sample| twins.iter().any(|(sample, n)| *sample == s && n == name);
        has(Sample::Line(m)) && has(Sample::Band(m))
    };
    entries.retain(|(sample, name)| !matches!(sample, Sample::Band(m) if in_both(*m, name)));
    for (sample, name) in &mut entries {
        if let Sample::Line(m) = *sample
            && in_both(m, name)
        {
            *sample = Sample::LineInBand(m);
        }
    }
    entries
}

fn entry(layer: &Layer) -> Option<(Sample, &str)> {
    match layer {
        Layer::Points { meaning, name, .. } => Some((Sample::Points(*meaning), name)),
        Layer::Curve { meaning, name, .. } => Some((Sample::Line(*meaning), name)),
        Layer::Band { meaning, name, .. } | Layer::Span { meaning, name, .. } => {
            Some((Sample::Band(*meaning), name))
        }
        Layer::Shape { outline, name, .. } => Some((Sample::Outline(*outline), name)),
        _ => None,
    }
}

/// Places the entries in rows; gives them and the height they take.
pub(super) fn place(entries: Vec<(Sample, String)>, [left, top]: [f64; 2], right: f64) -> (Vec<Placed>, f64) {
    let mut placed = Vec::new();
    let (mut x, mut y) = (left, top + 0.5 * LINE);
    for (sample, name) in entries {
        let wide = SAMPLE + SAMPLE_GAP + width(&name, TEXT);
        if x > left && x + wide > right {
            x = left;
            y += LINE + 2.0;
        }
        placed.push(Placed { sample, name, place: [x, y] });
        x += wide + ENTRY_GAP;
    }
    let height = if placed.is_empty() { 0.0 } else { y - top + 0.5 * LINE };
    (placed, height)
}

/// Draws the legend.
pub(super) fn draw(svg: &mut Svg, legend: &[Placed]) {
    for Placed { sample, name, place: [x, y] } in legend {
        let (from, to, middle) = ([*x, *y], [x + SAMPLE, *y], [x + 0.5 * SAMPLE, *y]);
        let box_of = [*x, y - 6.0, x + SAMPLE, y + 6.0];
        match sample {
            Sample::Points(meaning) => draw::mark(svg, *meaning, middle, [[0.0; 2], [7.5, 7.5]]),
            Sample::Line(meaning) => draw::stroke(svg, *meaning, &[from, to]),
            Sample::Band(meaning) => svg.rect(&format!("{}-band", meaning.class()), box_of),
            Sample::LineInBand(meaning) => {
                svg.rect(&format!("{}-band", meaning.class()), box_of);
                draw::stroke(svg, *meaning, &[from, to]);
            }
            Sample::Outline(Outline::Construction) => svg.line("o-thin", &[from, to]),
            Sample::Outline(outline) => svg.rect(draw::outline_class(*outline), box_of),
        }
        svg.text("", [x + SAMPLE + SAMPLE_GAP, y + 0.35 * TEXT], Anchor::Start, name);
    }
}
