//! Figures of the field: the probe's line, the map's shape, contours across and along the axis, uniformity over the rings.

use arcmass_lab::document::{FieldDocument, FieldMap, LineReading, MapReading, Profile};
use arcmass_quantity::print;

use crate::figure::{Axis, Figure, Map, Meaning, Outline, Palette, Panel, Point, Side};
use crate::sketch;

/// Width of a figure with one column, in its own units.
const WIDTH: f64 = 500.0;
/// Deviations at which a map gets a line, %.
const LEVELS: [f64; 9] = [0.1, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0, 20.0, 50.0];
/// Lines to each side of zero.
const MOST_LEVELS: usize = 7;

/// Every figure the field has, with a name for its file.
pub fn all(field: &FieldDocument) -> Vec<(&'static str, Figure)> {
    let figures = [
        ("field-line", line(field)),
        ("field-profile", profile(field)),
        ("field-map", map(field)),
        ("field-uniformity", uniformity(field)),
    ];
    figures.into_iter().filter_map(|(name, figure)| Some((name, figure?))).collect()
}

/// The probe's line with its residuals, and the line that the coils' sizes give; nothing with fewer than two readings.
pub fn line(field: &FieldDocument) -> Option<Figure> {
    let fitted = |r: &LineReading| [r.current_a, r.flux_density_mt - r.residual_mt];
    let mut ends: Vec<[f64; 2]> =
        field.line.iter().map(fitted).filter(|p| p[0].is_finite() && p[1].is_finite()).collect();
    ends.sort_by(|a, b| a[0].total_cmp(&b[0]));
    let (first, last) = (*ends.first()?, *ends.last()?);
    if first[0] == last[0] {
        return None;
    }
    let readings = field.line.iter().map(|r| Point::new(r.current_a, r.flux_density_mt)).collect();
    let residuals = field
        .line
        .iter()
        .map(|r| Point::new(r.current_a, 1e3 * r.residual_mt).y_bar(1e3 * r.standard_uncertainty_mt));
    let mut panel = Panel::new(Axis::new("*I* / A"), Axis::new("*B* / mT")).height(230.0).curve(
        Meaning::Predicted,
        "line fitted",
        vec![first, last],
    );
    let mut beside = "";
    if let Some(geometry) = field.geometry_mt_per_a {
        // the same sign of slope and the same intercept, so that only the scale differs
        let rise = geometry.value.abs() * (last[1] - first[1]).signum();
        let zero = field.intercept_mt.map_or(0.0, |q| q.value);
        let at = |current: f64| [current, zero + rise * current];
        panel = panel.curve(Meaning::Stated, "by the coil geometry", vec![at(first[0]), at(last[0])]);
        beside = ", with the line that the coil geometry gives";
    }
    let described = format!(
        "{} readings of the probe and the straight line through them{beside}; below, the residuals with the \
         noise of one reading as a bar.",
        field.line.len()
    );
    Some(
        Figure::new("Flux density against coil current", described)
            .id("field")
            .width(WIDTH)
            .panel(panel.points(Meaning::Measured, "probe, as read", readings))
            .panel(
                Panel::residuals(Axis::new("residual / µT"))
                    .rule(Meaning::Predicted, Side::Level, 0.0, "")
                    .points(Meaning::Measured, "", residuals.collect()),
            ),
    )
}

/// The map's readings over the field at the centre, with the model's profile and residuals; nothing without a map.
pub fn profile(field: &FieldDocument) -> Option<Figure> {
    let fit = field.map_fit.as_ref().filter(|fit| !fit.profiles.is_empty())?;
    // at the centre only readings at about the map's own current: weaker ones tell nothing of the shape
    let off = |r: &MapReading| r.at_mm.iter().any(|place| place.abs() > 1.0);
    let of_map: Vec<f64> = fit.readings.iter().filter(|r| off(r)).map(|r| r.current_a.abs()).collect();
    let least = 0.8 * of_map.iter().copied().fold(f64::INFINITY, f64::min);
    let counts = |r: &MapReading| off(r) || r.current_a.abs() >= least;
    let mut figure = Figure::new("Field away from the centre", "").width(WIDTH);
    let mut told = Vec::new();
    for (index, profile) in fit.profiles.iter().enumerate() {
        let on_it: Vec<&MapReading> =
            fit.readings.iter().filter(|r| lies_on(r, &profile.along) && counts(r)).collect();
        told.push(format!("{} along {}", on_it.len(), profile.along));
        let (above, below) = profile_panels(profile, &on_it, index == 0);
        figure = figure.panel(above).panel(below);
    }
    let sizes = match (fit.effective_radius_mm, fit.effective_separation_mm) {
        (Some(radius), Some(separation)) => format!(
            " A pair of radius {} mm and separation {} mm fits best.",
            print::short(radius.value, radius.standard_uncertainty),
            print::short(separation.value, separation.standard_uncertainty)
        ),
        _ => String::new(),
    };
    let described = format!(
        "Readings of the axial field over that at the centre ({}), with the model as stated and as fitted; below each, reading \
         minus model.{sizes}",
        told.join(", ")
    );
    Some(figure.described(described).id("field-profile"))
}

/// Whether a reading of the axial field lies on the line through the centre along an axis.
fn lies_on(reading: &MapReading, along: &str) -> bool {
    let axis = ["x", "y", "z"].iter().position(|name| *name == along);
    let off = |(index, place): (usize, &f64)| Some(index) != axis && place.abs() > 1.0;
    reading.relative_to_centre.is_some() && !reading.at_mm.iter().enumerate().any(off)
}

fn profile_panels(profile: &Profile, readings: &[&MapReading], with_names: bool) -> (Panel, Panel) {
    let axis = match profile.along.as_str() {
        "x" => 0,
        "y" => 1,
        _ => 2,
    };
    let at = |reading: &MapReading| reading.at_mm.get(axis).copied().unwrap_or(0.0);
    let pairs = |values: &[f64]| profile.at_mm.iter().zip(values).map(|(x, b)| [*x, *b]).collect::<Vec<_>>();
    let name = |text: &'static str| if with_names { text } else { "" };
    let axis_label = Axis::new(format!("*{}* / mm", profile.along));
    let mut above = Panel::new(axis_label, Axis::new("*B*_{z}/*B*_{0}")).height(170.0).curve(
        Meaning::Stated,
        name("geometry as stated"),
        pairs(&profile.stated),
    );
    if let Some(fitted) = &profile.fitted {
        above = above.curve(Meaning::Predicted, name("geometry fitted"), pairs(fitted));
    }
    let marks = readings.iter().filter_map(|r| {
        // the bar of a reading, carried to the ratio
        let ratio = r.relative_to_centre?;
        let bar = (ratio / r.flux_density_mt * r.standard_uncertainty_mt).abs();
        Some(Point::new(at(r), ratio).y_bar(if bar.is_finite() { bar } else { 0.0 }))
    });
    let residuals = readings
        .iter()
        .map(|r| Point::new(at(r), 1e3 * r.residual_mt).y_bar(1e3 * r.standard_uncertainty_mt))
        .collect();
    let below = Panel::residuals(Axis::new("residual / µT"))
        .rule(Meaning::Predicted, Side::Level, 0.0, "")
        .points(Meaning::Measured, "", residuals);
    (above.points(Meaning::Measured, name("probe"), marks.collect()), below)
}

/// Contours of the coils' field against the centre's, across and along the axis, with the ring; nothing unless it was mapped.
pub fn map(field: &FieldDocument) -> Option<Figure> {
    let map = field.map.as_ref()?;
    let levels = levels(map);
    let layer = |places: &[f64], percent: &[Option<f64>]| {
        let values = percent.iter().map(|value| value.unwrap_or(f64::NAN)).collect();
        Map::new(places.to_vec(), map.y_mm.clone(), values, levels.clone(), "*B*/*B*_{0} - 1 / %")
            .palette(Palette::Diverging)
    };
    let across = panel(map, layer(&map.x_mm, &map.across_percent).without_bar(), "*x* / mm");
    let along = panel(map, layer(&map.z_mm, &map.along_percent), "*z* / mm");
    let ring = &map.ring;
    let [x, y, z] = ring.centre_mm;
    let radius = 0.5 * ring.diameter_mm;
    let seen = sketch::circle(radius).into_iter().map(|[u, v]| [x + u, y + v]).collect();
    let across = across.curve(Meaning::Beam, "a ring the bench makes", seen);
    let along = along.curve(Meaning::Beam, "", vec![[z, y - radius], [z, y + radius]]);
    let over = field.uniformity.as_ref().map_or_else(String::new, |over| {
        format!(
            " Along the ring of {} mm the field differs from the centre’s by {} % in the mean and {} % at most.",
            print::fixed(over.ring_diameter_mm, 0),
            print::fixed(over.mean_deviation_percent, -2),
            print::fixed(over.largest_deviation_percent, -2)
        )
    });
    let described = format!(
        "Deviation of the field of the coils from that at the centre, in percent: left in the ring’s plane, right in the plane that \
         holds the axis z and the vertical y. The glowing line is the ring, the dashed circle the glass.{over}"
    );
    Some(
        Figure::new("Coils’ field across and along the axis", described)
            .id("field-map")
            .panel(across)
            .panel_beside(along),
    )
}

fn panel(map: &FieldMap, layer: Map, label: &str) -> Panel {
    let panel = Panel::drawing(Axis::new(label), Axis::new("*y* / mm")).map(layer);
    match map.glass_radius_mm {
        Some(radius) => panel.polyline(Outline::Construction, "", sketch::circle(radius)),
        None => panel,
    }
}

/// Levels on both sides of zero, so that the neutral colour is the centre's field; as many as the map reaches.
fn levels(map: &FieldMap) -> Vec<f64> {
    let values = map.across_percent.iter().chain(&map.along_percent).flatten();
    let most = values.fold(0.0_f64, |most, value| most.max(value.abs()));
    let reached = LEVELS.iter().filter(|level| **level < most).count().max(1);
    let kept = &LEVELS[reached.saturating_sub(MOST_LEVELS)..reached];
    kept.iter().rev().map(|level| -level).chain(kept.iter().copied()).collect()
}

/// Mean and largest deviation along the ring against its diameter; nothing where the coils' sizes are not stated.
pub fn uniformity(field: &FieldDocument) -> Option<Figure> {
    let over = field.uniformity.as_ref().filter(|over| over.rings.len() > 1)?;
    let (first, last) = (over.rings.first()?, over.rings.last()?);
    let of = |value: fn(&arcmass_lab::document::RingUniformity) -> f64| {
        over.rings.iter().map(|ring| [ring.ring_diameter_mm, value(ring)]).collect::<Vec<_>>()
    };
    let panel = Panel::new(Axis::new("*d* / mm"), Axis::new("*B*/*B*_{0} - 1 / %"))
        .height(200.0)
        .rule(Meaning::Plain, Side::Level, 0.0, "centre")
        .curve(Meaning::Predicted, "mean along the ring", of(|ring| ring.mean_deviation_percent))
        .curve(Meaning::Plain, "largest along the ring", of(|ring| ring.largest_deviation_percent));
    let described = format!(
        "Coils’ field along rings of {} to {} mm from the gun, against the field at the centre; the rings are {}.",
        print::fixed(first.ring_diameter_mm, 0),
        print::fixed(last.ring_diameter_mm, 0),
        basis(&over.basis)
    );
    Some(
        Figure::new("How uniform the field is over the ring", described)
            .id("field-uniformity")
            .width(WIDTH)
            .panel(panel),
    )
}

/// Where the rings come from, in words.
pub(crate) fn basis(basis: &str) -> &'static str {
    match basis {
        "ratings" => "those that ratings and glass allow a particle of the accepted mass",
        "readings" => "those that the readings make with the accepted mass",
        _ => "taken as 0.15 to 0.45 coil radii, for want of ratings and readings",
    }
}
