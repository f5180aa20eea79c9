//! The figure of one photograph's beam laid straight: the strip with centre line and edges, below it the residuals.

use arcmass_lab::photograph::{StraightBeam, StraightPoint, Strip};
use arcmass_quantity::print;

use crate::figure::{Axis, Figure, Meaning, Panel, Point, Side};

/// Least half-height of the residuals' panel, mm: scatter alone is not to look like a wave.
const LEAST_RESIDUAL_MM: f64 = 0.05;
/// Marks of what was not believed stand so far apart at least, degrees: one for all between.
const STRUCK_APART_DEG: f64 = 3.0;
/// Points further apart than this along the beam, degrees, are not joined.
const GAP_DEG: f64 = 2.0;

/// The beam of one photograph about its fitted circle (of a side view: about its helix).
pub fn beam(beam: &StraightBeam) -> Figure {
    let figure = Figure::new(format!("The beam on {} unrolled along the circle", beam.photo), told(beam))
        .id(&format!("beam-{}", beam.photo));
    let along = match (&beam.strip, beam.is_from_muzzle) {
        (None, _) => "along the beam / °, 360 a turn",
        (_, true) => "along the beam from the anode aperture / °",
        (_, false) => "along the beam / °",
    };
    match &beam.strip {
        Some(strip) => figure
            .panel(strip_panel(beam, strip, Axis::new(along).range(strip.along_deg[0], strip.along_deg[1])))
            .panel(with_residuals(beam, Panel::residuals(residual_axis(beam)).height(150.0))),
        None => figure
            .panel(with_residuals(beam, Panel::new(Axis::new(along), residual_axis(beam)).height(200.0))),
    }
}

fn strip_panel(beam: &StraightBeam, strip: &Strip, x: Axis) -> Panel {
    let [low, high] = strip.across_mm;
    let [from, to] = strip.along_deg;
    let line = |of: &dyn Fn(&StraightPoint) -> Option<f64>| joined(beam, of);
    let mut struck: Vec<[f64; 2]> = Vec::new();
    for point in beam.points.iter().filter(|point| !point.is_believed) {
        let is_apart = |last: &[f64; 2]| (point.along_deg - last[0]).abs() > STRUCK_APART_DEG;
        if struck.last().is_none_or(is_apart) {
            struck.push([point.along_deg, point.residual_mm]);
        }
    }
    let panel = Panel::new(x, Axis::new("across / mm").range(low, high))
        .height(170.0)
        .jpeg([from, to], [low, high], strip.jpeg.clone())
        .curve(Meaning::Predicted, "fitted circle", vec![[from, 0.0], [to, 0.0]])
        .curve(Meaning::Plain, "edges at half height", line(&|point| point.edges_mm.map(|e| e[1])))
        .curve(Meaning::Plain, "edges at half height", line(&|point| point.edges_mm.map(|e| e[0])))
        .curve(Meaning::Measured, "centre line", line(&|point| Some(point.residual_mm)));
    if struck.is_empty() {
        return panel;
    }
    panel.points(
        Meaning::Rejected,
        "not believed",
        struck.into_iter().map(|[x, y]| Point::new(x, y)).collect(),
    )
}

/// A line through the believed points, broken where points are missing.
fn joined(beam: &StraightBeam, of: &dyn Fn(&StraightPoint) -> Option<f64>) -> Vec<[f64; 2]> {
    let mut line: Vec<[f64; 2]> = Vec::new();
    for point in beam.points.iter().filter(|point| point.is_believed) {
        let Some(value) = of(point) else { continue };
        if line.last().is_some_and(|last| (point.along_deg - last[0]).abs() > GAP_DEG) {
            line.push([f64::NAN; 2]);
        }
        line.push([point.along_deg, value]);
    }
    line
}

fn residual_axis(beam: &StraightBeam) -> Axis {
    let most = 1.15 * beam.largest_residual_mm().max(LEAST_RESIDUAL_MM);
    Axis::new("residual / mm").range(-most, most)
}

fn with_residuals(beam: &StraightBeam, panel: Panel) -> Panel {
    let believed = beam.points.iter().filter(|point| point.is_believed);
    panel.rule(Meaning::Predicted, Side::Level, 0.0, "").dots(
        Meaning::Measured,
        "",
        believed.map(|point| [point.along_deg, point.residual_mm]).collect(),
    )
}

/// What is seen, in words.
fn told(beam: &StraightBeam) -> String {
    let believed = beam.points.iter().filter(|point| point.is_believed).count();
    let share = print::fixed(100.0 * believed as f64 / beam.points.len().max(1) as f64, 0);
    let scatter = format!(
        "{believed} of {} points ({share} %) are accepted; their root-mean-square distance from the curve is {} mm, the largest {} mm.",
        beam.points.len(),
        print::significant(beam.rms_mm(), 2),
        print::significant(beam.largest_residual_mm(), 2),
    );
    let Some(strip) = &beam.strip else {
        return format!(
            "Distance of the beam from the fitted helix along the turns, run {}. {scatter}",
            beam.run
        );
    };
    let from = if beam.is_from_muzzle {
        "from the anode aperture along the beam"
    } else {
        "from the first accepted point"
    };
    format!(
        "Above: the photograph of run {} unrolled along the fitted circle of {} mm, {} mm to each side, the ring’s outside on top, brightened where it is dim; the angle counts {from}. \
         Below: distance of the centre line from the circle, outwards positive. {scatter}",
        beam.run,
        print::significant(beam.diameter_mm, 5),
        print::significant(strip.across_mm[1], 2),
    )
}
