//! Figures of a predicted path: from the front, from the side, and in perspective, with coils, glass and gun to scale.

use arcmass_lab::document::{PathDocument, PathEnd};
use arcmass_lab::path::GUN_BODY_MM;
use arcmass_notebook::Bench;
use arcmass_quantity::print;

use crate::figure::{Axis, Figure, Meaning, Outline, Panel, Point};
use crate::perspective::{Eye, Place};
use crate::sketch::{self, FRONT, SIDE, flat};

/// Every figure a path has, with a name for its file.
pub fn all(bench: &Bench, path: &PathDocument) -> Vec<(&'static str, Figure)> {
    vec![("path-views", views(bench, path)), ("path-perspective", perspective(bench, path))]
}

/// From the front along the coils' axis, and from the side across it.
pub fn views(bench: &Bench, path: &PathDocument) -> Figure {
    let front = view(bench, path, FRONT, Panel::drawing(Axis::new("*x* / mm"), Axis::new("*y* / mm")));
    let side = view(bench, path, SIDE, Panel::drawing(Axis::new("*z* / mm"), Axis::new("*y* / mm")));
    Figure::new(
        title(path),
        format!(
            "Left: seen along the coils’ axis from the front; right: seen across it, with z to the right. {}",
            told(path)
        ),
    )
    .id("path-views")
    .panel(front)
    .panel_beside(side)
}

fn view(bench: &Bench, path: &PathDocument, axes: [usize; 2], panel: Panel) -> Panel {
    let panel = sketch::bodies(bench, Some((path.muzzle_mm, path.direction)), axes, panel);
    let seen = path.drawn_mm.iter().map(|point| flat(*point, axes)).collect();
    let panel = panel.curve(Meaning::Beam, "beam, predicted", seen);
    match end_mark(path) {
        Some((at, word)) => {
            let [x, y] = flat(at, axes);
            panel.points(Meaning::Caution, "", vec![Point::new(x, y).label(word)])
        }
        None => panel,
    }
}

/// Where the beam ends on the glass.
fn end_mark(path: &PathDocument) -> Option<(Place, &'static str)> {
    let last = path.drawn_mm.last().filter(|_| path.end == PathEnd::Glass)?;
    Some((*last, "glass"))
}

/// The whole bench seen from above and to the right of the front camera.
pub fn perspective(bench: &Bench, path: &PathDocument) -> Figure {
    let mut windings = sketch::coil_corners(bench);
    let bulb = sketch::bulb_mm(bench);
    let size = windings
        .iter()
        .map(|w| w.outer_mm + w.centre.iter().map(|c| c * c).sum::<f64>().sqrt())
        .chain(bulb.map(|(outer, _)| outer))
        .chain(path.drawn_mm.iter().flatten().map(|x| x.abs()))
        .fold(1.0, f64::max);
    let eye = Eye::at(size);
    windings.sort_by(|a, b| eye.depth(a.centre).total_cmp(&eye.depth(b.centre)));
    let mut panel = Panel::picture();
    let (behind, before): (Vec<_>, Vec<_>) = windings.iter().partition(|w| eye.depth(w.centre) < 0.0);
    for winding in behind {
        panel = eye.winding(winding, panel);
    }
    if let Some((outer, _)) = bulb {
        let ring: Vec<Place> = sketch::circle(outer).into_iter().map(|[x, y]| [x, y, 0.0]).collect();
        panel = panel.circle(Outline::Glass, "", [0.0, 0.0], eye.sphere_mm(outer)).polyline(
            Outline::Construction,
            "",
            eye.line(&ring),
        );
    }
    let reach = 0.62 * size;
    panel = panel.polyline(Outline::Construction, "", eye.line(&[[0.0, 0.0, -reach], [0.0, 0.0, reach]]));
    panel = panel.polygon(Outline::Body, "", eye.gun(path.muzzle_mm, path.direction, GUN_BODY_MM));
    for winding in before {
        panel = eye.winding(winding, panel);
    }
    panel = panel.curve(Meaning::Beam, "beam, predicted", eye.line(&path.drawn_mm));
    if let Some((at, word)) = end_mark(path) {
        let [x, y] = eye.sees(at);
        panel = panel.points(Meaning::Caution, "", vec![Point::new(x, y).label(word)]);
    }
    panel = panel.note(eye.sees([0.0, 0.0, reach]), "*z*");
    Figure::new(
        format!("{}, in perspective", title(path)),
        format!(
            "Seen from the front, to the right and from above; the dashed line is the coils’ axis z, the dashed circle the glass \
             in the plane of the bulb’s centre. {}",
            told(path)
        ),
    )
    .id("path-perspective")
    .width(560.0)
    .panel(panel)
}

fn title(path: &PathDocument) -> String {
    let kind = match (path.end, path.pitch_mm) {
        (PathEnd::Glass, None) => "Path to the glass",
        (_, Some(pitch)) if pitch.abs() < 5.0 => "Ring",
        _ => "Helix",
    };
    format!(
        "{kind} at {} V and {} A, meters corrected",
        print::significant(path.accelerating_voltage_v, 4),
        print::significant(path.current_a, 4)
    )
}

/// The path in a sentence or two.
fn told(path: &PathDocument) -> String {
    let mut parts = Vec::new();
    if let Some(diameter) = path.fitted_diameter_mm {
        parts.push(format!("diameter {} mm", print::fixed(diameter, -1)));
    }
    if let Some(pitch) = path.pitch_mm {
        parts.push(format!("pitch {} mm", print::fixed(pitch, -1)));
    }
    let end = match (path.end, path.drawn_mm.last()) {
        (PathEnd::Gun, _) => "it ends at the gun's back".to_owned(),
        (PathEnd::Glass, Some([x, y, z])) => format!(
            "it ends at the glass at ({}, {}, {}) mm",
            print::fixed(*x, 0),
            print::fixed(*y, 0),
            print::fixed(*z, 0)
        ),
        _ => "three turns are drawn".to_owned(),
    };
    parts.push(end);
    format!(
        "Coils and bulb are to scale, the body of the gun is schematic. The beam: {}.",
        parts.join(", ").replace("gun's", "gun’s")
    )
}
