//! The apparatus drawn to scale from the numbers of the bench file: from the front and from the side.

use std::f64::consts::TAU;

use arcmass_notebook::{Bench, Coil, CoilShape, PairGeometry, Particle, Sense};

use crate::figure::{Axis, Figure, Meaning, Outline, Panel};
use crate::input::ReportInput;

/// Points of a drawn circle.
const POINTS: u32 = 96;
/// Length and half width of the drawn gun, mm: its body is not in the bench file, so it is drawn as the prediction takes it.
const GUN_MM: [f64; 2] = arcmass_lab::path::GUN_BODY_MM;

/// The two projections: places of the horizontal and of the upright coordinate in `[x, y, z]`.
pub(crate) const FRONT: [usize; 2] = [0, 1];
pub(crate) const SIDE: [usize; 2] = [2, 1];

/// Both views; nothing where the bench file states no size at all.
pub(crate) fn apparatus(input: &ReportInput<'_>) -> Option<Figure> {
    of_bench(&input.notebook.bench, &ring(input))
}

/// Both views of a bench, with the points of a ring or path (mm, bench frame) if there are any.
pub(crate) fn of_bench(bench: &Bench, ring: &[[f64; 3]]) -> Option<Figure> {
    let drawn = bulb_mm(bench).is_some() || !coil_corners(bench).is_empty() || muzzle_mm(bench).is_some();
    if !drawn {
        return None;
    }
    let front = view(bench, ring, FRONT, Panel::drawing(Axis::new("*x* / mm"), Axis::new("*y* / mm")));
    let side = view(bench, ring, SIDE, Panel::drawing(Axis::new("*z* / mm"), Axis::new("*y* / mm")));
    let figure = Figure::new("Apparatus from the front and from the side", described(bench, ring));
    Some(figure.id("apparatus").width(540.0).panel(front).panel_beside(side))
}

fn described(bench: &Bench, ring: &[[f64; 3]]) -> String {
    let mut parts = Vec::new();
    if !coil_corners(bench).is_empty() {
        parts.push("the coils as shaded sections");
    }
    if bulb_mm(bench).is_some() {
        parts.push("the bulb as a circle");
    }
    if muzzle_mm(bench).is_some() {
        parts.push("the end of the gun at the anode aperture (schematic)");
    }
    if !ring.is_empty() {
        parts.push("the beam's ring as a glowing line");
    }
    format!("Left: seen along the coils' axis; right: seen across it. Shown: {}.", parts.join(", "))
}

/// Coils, glass and gun, seen along one axis.
pub(crate) fn bodies(
    bench: &Bench,
    gun_at: Option<([f64; 3], [f64; 3])>,
    axes: [usize; 2],
    mut panel: Panel,
) -> Panel {
    for winding in coil_corners(bench) {
        panel = match seen_along_axis(&winding, axes) {
            Some([outer, inner]) => panel.polygon_with_hole(Outline::Coil, "", outer, inner),
            None => panel.polygon(Outline::Coil, "", outline(&winding, axes)),
        };
    }
    if let Some((outer, inner)) = bulb_mm(bench) {
        panel = panel.circle(Outline::Glass, "", [0.0, 0.0], outer);
        if let Some(inner) = inner {
            panel = panel.polyline(Outline::Construction, "", circle(inner));
        }
    }
    if let Some((muzzle, direction)) = gun_at {
        panel = panel.polygon(Outline::Body, "", gun(muzzle, direction, axes));
    }
    panel
}

fn view(bench: &Bench, ring: &[[f64; 3]], axes: [usize; 2], panel: Panel) -> Panel {
    let gun_at = muzzle_mm(bench).map(|muzzle| (muzzle, direction(bench)));
    let mut panel = bodies(bench, gun_at, axes, panel);
    if !ring.is_empty() {
        panel = panel.curve(Meaning::Beam, "", ring.iter().map(|point| flat(*point, axes)).collect());
    }
    panel
}

pub(crate) fn flat(point: [f64; 3], axes: [usize; 2]) -> [f64; 2] {
    axes.map(|axis| point.get(axis).copied().unwrap_or(0.0))
}

pub(crate) fn circle(radius: f64) -> Vec<[f64; 2]> {
    let angles = (0..=POINTS).map(|k| f64::from(k) * TAU / f64::from(POINTS));
    angles.map(|angle| [radius * angle.cos(), radius * angle.sin()]).collect()
}

/// Outer and inner radius of the glass.
pub(crate) fn bulb_mm(bench: &Bench) -> Option<(f64, Option<f64>)> {
    let bulb = bench.bulb.as_ref()?;
    let outer = 1e3 * bulb.outer_radius.as_ref()?.value;
    Some((outer, bulb.glass_thickness.as_ref().map(|thickness| outer - 1e3 * thickness.value)))
}

fn muzzle_mm(bench: &Bench) -> Option<[f64; 3]> {
    let muzzle = bench.gun.as_ref()?.muzzle.as_ref()?;
    let [x, y, z] = muzzle;
    Some([x, y, z].map(|part| 1e3 * part.value))
}

fn direction(bench: &Bench) -> [f64; 3] {
    bench.gun.as_ref().and_then(|gun| gun.direction).unwrap_or([1.0, 0.0, 0.0])
}

/// A short body that ends at the muzzle.
fn gun(muzzle: [f64; 3], direction: [f64; 3], axes: [usize; 2]) -> Vec<[f64; 2]> {
    let [length, half] = GUN_MM;
    let [at, along] = [flat(muzzle, axes), flat(direction, axes)];
    let seen = along[0].hypot(along[1]);
    if seen < 0.1 {
        // seen from behind the gun is only as large as it is thick
        return [[-half, -half], [half, -half], [half, half], [-half, half]]
            .map(|[u, v]| [at[0] + u, at[1] + v])
            .to_vec();
    }
    let unit = [along[0] / seen, along[1] / seen];
    let corner = |back: f64, up: f64| {
        [at[0] - back * seen * unit[0] - up * unit[1], at[1] - back * seen * unit[1] + up * unit[0]]
    };
    vec![
        corner(0.0, -0.5 * half),
        corner(0.3 * length, -half),
        corner(length, -half),
        corner(length, half),
        corner(0.3 * length, half),
        corner(0.0, 0.5 * half),
    ]
}

/// One coil as two closed loops: the outer and the inner edge of its winding, on both faces.
pub(crate) struct Winding {
    pub(crate) centre: [f64; 3],
    axis: [f64; 3],
    shape: CoilShape,
    pub(crate) outer_mm: f64,
    pub(crate) inner_mm: f64,
    pub(crate) half_axial_mm: f64,
}

/// The windings of the bench, each as the rims whose shadow is drawn.
pub(crate) fn coil_corners(bench: &Bench) -> Vec<Winding> {
    let geometry = bench.pair.as_ref().and_then(|pair| pair.geometry.as_ref());
    let pair = geometry.map(pair_windings).unwrap_or_default();
    pair.into_iter().chain(bench.coil_list.iter().map(list_winding)).collect()
}

fn pair_windings(pair: &PairGeometry) -> Vec<Winding> {
    let half = |stated: &Option<arcmass_quantity::Stated>| stated.as_ref().map_or(1.0, |s| 500.0 * s.value);
    let (radial, axial) = (half(&pair.winding_radial), half(&pair.winding_axial));
    let mean = 1e3 * pair.mean_radius.value;
    let at = |side: f64| Winding {
        centre: [0.0, 0.0, side * 500.0 * pair.separation.value],
        axis: [0.0, 0.0, 1.0],
        shape: pair.shape,
        outer_mm: mean + radial,
        inner_mm: mean - radial,
        half_axial_mm: axial,
    };
    vec![at(-1.0), at(1.0)]
}

fn list_winding(coil: &Coil) -> Winding {
    let half = |stated: &Option<arcmass_quantity::Stated>| stated.as_ref().map_or(1.0, |s| 500.0 * s.value);
    let mean = 1e3 * coil.mean_radius.value;
    let [x, y, z] = &coil.centre;
    Winding {
        centre: [x, y, z].map(|part| 1e3 * part.value),
        axis: coil.axis,
        shape: coil.shape,
        outer_mm: mean + half(&coil.winding_radial),
        inner_mm: mean - half(&coil.winding_radial),
        half_axial_mm: half(&coil.winding_axial),
    }
}

/// Outer and inner rim of a winding that is seen along its axis.
fn seen_along_axis(winding: &Winding, axes: [usize; 2]) -> Option<[Vec<[f64; 2]>; 2]> {
    let [u, v] = flat(winding.axis, axes);
    let rim = |radius: f64| rim(winding, radius, 0.0).into_iter().map(|point| flat(point, axes)).collect();
    (u.hypot(v) < 0.02).then(|| [rim(winding.outer_mm), rim(winding.inner_mm)])
}

/// Seen across its axis a winding is the rectangle that its rims fill; else the rim at the middle.
fn outline(winding: &Winding, axes: [usize; 2]) -> Vec<[f64; 2]> {
    let along = flat(winding.axis, axes);
    let centre = flat(winding.centre, axes);
    let seen_edge_on = along[0].hypot(along[1]);
    if seen_edge_on > 0.98 {
        let [u, v] = along;
        let corner = |across: f64, axial: f64| {
            [centre[0] + axial * u - across * v, centre[1] + axial * v + across * u]
        };
        let (r, a) = (winding.outer_mm, winding.half_axial_mm);
        return vec![corner(-r, -a), corner(r, -a), corner(r, a), corner(-r, a)];
    }
    let mean = 0.5 * (winding.outer_mm + winding.inner_mm);
    rim(winding, mean, 0.0).into_iter().map(|point| flat(point, axes)).collect()
}

/// A closed loop about the winding's axis.
pub(crate) fn rim(winding: &Winding, radius: f64, axial: f64) -> Vec<[f64; 3]> {
    let [a, b] = across(winding.axis);
    let at = |angle: f64| {
        let (sin, cos) = angle.sin_cos();
        // a square's half side is reached at its sides' middles; its corners lie on the diagonals
        let reach = match winding.shape {
            CoilShape::Circular => radius,
            CoilShape::Square => radius / sin.abs().max(cos.abs()),
        };
        let part = |i: usize| {
            let pick = |v: [f64; 3]| v.get(i).copied().unwrap_or(0.0);
            pick(winding.centre) + reach * (cos * pick(a) + sin * pick(b)) + axial * pick(winding.axis)
        };
        [part(0), part(1), part(2)]
    };
    (0..=POINTS).map(|k| at(f64::from(k) * TAU / f64::from(POINTS))).collect()
}

/// Two unit vectors across an axis; for z they are x and y.
pub(crate) fn across(axis: [f64; 3]) -> [[f64; 3]; 2] {
    let [x, y, z] = axis;
    let helper = if y.abs() < 0.9 { [0.0, 1.0, 0.0] } else { [0.0, 0.0, -1.0] };
    let cross = |p: [f64; 3], q: [f64; 3]| {
        [p[1] * q[2] - p[2] * q[1], p[2] * q[0] - p[0] * q[2], p[0] * q[1] - p[1] * q[0]]
    };
    let first = cross(helper, [x, y, z]);
    let norm = first.iter().map(|v| v * v).sum::<f64>().sqrt().max(f64::MIN_POSITIVE);
    let first = first.map(|v| v / norm);
    [first, cross([x, y, z], first)]
}

/// The ring to draw: the predicted path, or a circle of the middle run's diameter that leaves the muzzle at right angles.
fn ring(input: &ReportInput<'_>) -> Vec<[f64; 3]> {
    if let Some(path) = input.path {
        return path.points_mm.clone();
    }
    let bench = &input.notebook.bench;
    let Some([x, y, z]) = muzzle_mm(bench) else { return Vec::new() };
    let mut diameters: Vec<f64> =
        input.reduction.runs.iter().map(|run| run.measured_diameter_mm.value).collect();
    diameters.sort_by(f64::total_cmp);
    let Some(diameter) = diameters.get(diameters.len() / 2).copied().filter(|d| d.is_finite()) else {
        return Vec::new();
    };
    let [u, v, _] = direction(bench);
    let radius = 0.5 * diameter * turning(bench);
    let centre = [x - v * radius, y + u * radius];
    let angles = (0..=POINTS).map(|k| f64::from(k) * TAU / f64::from(POINTS));
    let start = [x - centre[0], y - centre[1]];
    let turned = angles.map(|angle| {
        let (sin, cos) = angle.sin_cos();
        [centre[0] + start[0] * cos - start[1] * sin, centre[1] + start[0] * sin + start[1] * cos, z]
    });
    turned.collect()
}

/// +1 where the beam bends to the left of its direction seen from the front (electrons in a field along +z), −1 to the right.
fn turning(bench: &Bench) -> f64 {
    let field = bench.pair.as_ref().and_then(|pair| pair.field_direction).unwrap_or(Sense::Plus).sign();
    let charge = match bench.gun.as_ref().map(|gun| &gun.particle) {
        Some(Particle::Other { charge_number, .. }) if *charge_number > 0 => -1.0,
        _ => 1.0,
    };
    field * charge
}

#[cfg(test)]
mod tests {
    use super::*;

    fn winding(shape: CoilShape, axis: [f64; 3]) -> Winding {
        Winding {
            centre: [0.0, 0.0, 70.0],
            axis,
            shape,
            outer_mm: 156.0,
            inner_mm: 144.0,
            half_axial_mm: 8.0,
        }
    }

    fn extent(points: &[[f64; 2]], axis: usize) -> [f64; 2] {
        let values = points.iter().map(|point| point[axis]);
        values.fold([f64::INFINITY, f64::NEG_INFINITY], |[low, high], v| [low.min(v), high.max(v)])
    }

    #[test]
    fn a_winding_has_its_size_from_the_front_and_from_the_side() {
        for shape in [CoilShape::Circular, CoilShape::Square] {
            let winding = winding(shape, [0.0, 0.0, 1.0]);
            let [front, _] = seen_along_axis(&winding, FRONT).unwrap();
            for axis in [0, 1] {
                let [low, high] = extent(&front, axis);
                assert!((low + 156.0).abs() < 1e-9 && (high - 156.0).abs() < 1e-9, "{low} {high}");
            }
            let side = outline(&winding, SIDE);
            assert_eq!(extent(&side, 0), [62.0, 78.0]);
            assert_eq!(extent(&side, 1), [-156.0, 156.0]);
        }
    }

    #[test]
    fn a_square_winding_has_corners() {
        let [front, _] = seen_along_axis(&winding(CoilShape::Square, [0.0, 0.0, 1.0]), FRONT).unwrap();
        assert!(front.iter().any(|p| (p[0] - 156.0).abs() < 1e-9 && (p[1] - 156.0).abs() < 1e-9));
    }

    #[test]
    fn a_coil_across_the_bench_is_seen_edge_on_from_the_front() {
        let front = outline(&winding(CoilShape::Circular, [1.0, 0.0, 0.0]), FRONT);
        assert_eq!(extent(&front, 0), [-8.0, 8.0]);
        assert_eq!(extent(&front, 1), [-156.0, 156.0]);
    }

    #[test]
    fn the_drawn_gun_ends_at_the_muzzle() {
        let front = gun([0.0, -36.0, 0.0], [1.0, 0.0, 0.0], FRONT);
        assert_eq!(extent(&front, 0), [-30.0, 0.0]);
        assert_eq!(extent(&front, 1), [-42.0, -30.0]);
    }
}
