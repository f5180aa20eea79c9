//! Each table of `bench.toml`, from keys to records, with what physics forbids.

use arcmass_quantity::Stated;
use arcmass_quantity::dimension::{self, Dimension};
use toml::de::DeTable;

use super::section::{Must, Section};
use crate::fault::{Sink, Source, said};
use crate::record::{
    Bench, Bulb, Camera, Coil, CoilShape, Gun, Meter, Pair, PairGeometry, Particle, Place, Scale, ScaleKind,
    Sense, Surroundings,
};

const SHAPES: [(&str, CoilShape); 2] = [("circular", CoilShape::Circular), ("square", CoilShape::Square)];
const DIRECTIONS: [(&str, Sense); 2] = [("+z", Sense::Plus), ("-z", Sense::Minus)];
const SENSES: [(&str, Sense); 2] = [("+", Sense::Plus), ("-", Sense::Minus)];
const SCALES: [(&str, ScaleKind); 4] = [
    ("ruler", ScaleKind::Ruler),
    ("grid", ScaleKind::Grid),
    ("board", ScaleKind::Board),
    ("mirror", ScaleKind::Mirror),
];

/// More turns than any laboratory coil has; a slip of the keyboard is likelier.
const MOST_TURNS: i64 = 1_000_000;

const INDEX: Must = Must::Between(1.0, 4.0, "a refractive index from 1 to 4");
const LATITUDE: Must = Must::Between(
    -std::f64::consts::FRAC_PI_2,
    std::f64::consts::FRAC_PI_2,
    "a latitude from -90 deg (south) to 90 deg (north)",
);
const TURN: Must =
    Must::Between(-std::f64::consts::TAU, std::f64::consts::TAU, "an angle from -360 deg to 360 deg");

/// The keys that together say how large a pair is.
const GEOMETRY: [&str; 7] =
    ["mean_radius", "mean_half_side", "separation", "turns", "winding_radial", "winding_axial", "shape"];

pub(super) fn pair(section: &mut Section<'_>, sink: &mut Sink, with_list: bool) -> Option<Pair> {
    if let (Some(key), true) = (section.first_of(&GEOMETRY), with_list) {
        let said = said(
            format!("`{key}` in `[coils]` beside `[[coil]]`"),
            "a pair in `[coils]`, or any number of `[[coil]]` tables",
            "keep one way; `[coils]` may then still hold field_direction, current_limit and field_per_ampere",
        );
        sink.push_made(|| section.value_fault(key, said));
    }
    let (geometry, geometry_lacks) = geometry(section, sink);
    Some(Pair {
        geometry,
        geometry_lacks,
        field_direction: section.choice("field_direction", &DIRECTIONS, sink),
        current_limit_a: section.plain("current_limit", dimension::CURRENT, Must::Positive, sink),
        field_per_ampere: section.stated(
            "field_per_ampere",
            dimension::FIELD_PER_AMPERE,
            Must::Positive,
            sink,
        ),
    })
}

/// The pair's sizes; if they are begun but not complete, which keys are still lacking.
fn geometry(section: &Section<'_>, sink: &mut Sink) -> (Option<PairGeometry>, Vec<&'static str>) {
    if section.first_of(&GEOMETRY).is_none() {
        return (None, Vec::new());
    }
    let shape = section.choice("shape", &SHAPES, sink).unwrap_or_default();
    let (mean_radius, key) = size(section, shape, sink);
    let separation = section.stated("separation", dimension::LENGTH, Must::Positive, sink);
    let turns = turns(section, sink);
    let (winding_radial, winding_axial) = windings(section, sink);
    let lacks = [key, "separation"].into_iter().filter(|key| !section.has(key)).collect();
    let sizes = mean_radius.zip(separation);
    let geometry = sizes.map(|(mean_radius, separation)| PairGeometry {
        shape,
        mean_radius,
        separation,
        turns,
        winding_radial,
        winding_axial,
    });
    (geometry, lacks)
}

/// `mean_radius` of a circle, `mean_half_side` of a square, and which of these it is.
fn size(section: &Section<'_>, shape: CoilShape, sink: &mut Sink) -> (Option<Stated>, &'static str) {
    let (right, wrong) = match shape {
        CoilShape::Circular => ("mean_radius", "mean_half_side"),
        CoilShape::Square => ("mean_half_side", "mean_radius"),
    };
    if section.has(wrong) {
        let said = said(
            format!("`{wrong}` of this shape of coil"),
            format!("`{right}`"),
            "give the size that belongs to the shape, to the middle of the winding",
        );
        sink.push_made(|| section.value_fault(wrong, said));
    }
    (section.stated(right, dimension::LENGTH, Must::Positive, sink), right)
}

fn turns(section: &Section<'_>, sink: &mut Sink) -> Option<u32> {
    section.integer("turns", sink, 1, MOST_TURNS).and_then(|turns| u32::try_from(turns).ok())
}

type Windings = (Option<Stated>, Option<Stated>);

fn windings(section: &Section<'_>, sink: &mut Sink) -> Windings {
    let mut one = |key| section.stated(key, dimension::LENGTH, Must::NotNegative, sink);
    (one("winding_radial"), one("winding_axial"))
}

pub(super) fn coil(section: &Section<'_>, sink: &mut Sink) -> Option<Coil> {
    let shape = section.choice("shape", &SHAPES, sink).unwrap_or_default();
    let (mean_radius, key) = size(section, shape, sink);
    for (key, remedy) in [
        (key, "write it, measured to the middle of the winding"),
        ("turns", "write how many turns the coil has"),
        ("centre", "write where its centre is, such as `[\"0 mm\", \"0 mm\", \"75 mm\"]`"),
    ] {
        if !section.has(key) {
            section.lacks(key, remedy, sink);
        }
    }
    let turns = turns(section, sink);
    let (winding_radial, winding_axial) = windings(section, sink);
    let centre = section.vector("centre", dimension::LENGTH, sink);
    let axis = if section.has("axis") { section.direction("axis", sink) } else { Some([0.0, 0.0, 1.0]) };
    let sense = section.choice("sense", &SENSES, sink).unwrap_or_default();
    Some(Coil {
        shape,
        mean_radius: mean_radius?,
        turns: turns?,
        winding_radial,
        winding_axial,
        centre: centre?,
        axis: axis?,
        sense,
    })
}

pub(super) fn gun(section: &Section<'_>, sink: &mut Sink) -> Option<Gun> {
    let voltage = |key, must, sink: &mut Sink| section.plain(key, dimension::VOLTAGE, must, sink);
    let gun = Gun {
        muzzle: section.vector("muzzle", dimension::LENGTH, sink),
        muzzle_uncertainty: section.uncertainty("muzzle_uncertainty", dimension::LENGTH, sink),
        direction: section.direction("direction", sink),
        direction_uncertainty: section.uncertainty("direction_uncertainty", dimension::ANGLE, sink),
        voltage_limit_v: voltage("voltage_limit", Must::Positive, sink),
        voltage_minimum_v: voltage("voltage_minimum", Must::NotNegative, sink),
        voltage_offset: section.stated("voltage_offset", dimension::VOLTAGE, Must::Any, sink),
        beam_width: section.stated("beam_width", dimension::LENGTH, Must::Positive, sink),
        particle: particle(section, sink)?,
    };
    if gun.voltage_minimum_v.zip(gun.voltage_limit_v).is_some_and(|(minimum, limit)| minimum >= limit) {
        let said = said(
            "a `voltage_minimum` that is not below `voltage_limit`",
            "a voltage below the limit",
            "check both against the tube's data sheet",
        );
        sink.push_made(|| section.value_fault("voltage_minimum", said));
    }
    if gun.direction.is_some_and(|[x, y, _]| x.hypot(y) < 1e-6) {
        let said = said(
            "a `direction` along z",
            "a direction across the coils' axis",
            "write the beam's direction with the tube not tilted; a tilt stands in readings.csv as `gun_tilt_deg`",
        );
        sink.push_made(|| section.value_fault("direction", said));
    }
    Some(gun)
}

/// The electron, or a charge and a mass.
fn particle(section: &Section<'_>, sink: &mut Sink) -> Option<Particle> {
    let electron = section.choice("particle", &[("electron", ())], sink).is_some();
    let other = section.first_of(&["charge_number", "mass"]);
    if let (Some(key), true) = (other, electron) {
        let said = said(
            format!("`{key}` beside `particle`"),
            "`particle = \"electron\"`, or `charge_number` and `mass`",
            "keep one way",
        );
        sink.push_made(|| section.value_fault(key, said));
    }
    if other.is_none() {
        return Some(Particle::Electron);
    }
    for key in ["charge_number", "mass"] {
        if !section.has(key) {
            section.lacks(key, "charge_number and mass are stated together", sink);
        }
    }
    let charge = section.integer("charge_number", sink, -200, 200);
    if charge == Some(0) {
        let said = said(
            "a `charge_number` of 0",
            "a whole number that is not 0",
            "a beam without charge isn't bent",
        );
        sink.push_made(|| section.value_fault("charge_number", said));
    }
    let mass = section.stated("mass", dimension::MASS, Must::Positive, sink);
    Some(Particle::Other { charge_number: i32::try_from(charge?).ok()?, mass: mass? })
}

pub(super) fn bulb(section: &Section<'_>, sink: &mut Sink) -> Option<Bulb> {
    let bulb = Bulb {
        outer_radius: section.stated("outer_radius", dimension::LENGTH, Must::Positive, sink),
        glass_thickness: section.stated("glass_thickness", dimension::LENGTH, Must::NotNegative, sink),
        glass_index: section.stated("glass_index", dimension::RATIO, INDEX, sink),
        clearance_m: section.plain("clearance", dimension::LENGTH, Must::NotNegative, sink),
        gas: section.text("gas", sink),
        pressure: section.stated("pressure", dimension::PRESSURE, Must::Positive, sink),
    };
    let radius = bulb.outer_radius.as_ref().map(|radius| radius.value);
    let thickness = bulb.glass_thickness.as_ref().map(|thickness| thickness.value);
    for (key, value) in [("glass_thickness", thickness), ("clearance", bulb.clearance_m)] {
        if value.zip(radius).is_some_and(|(value, radius)| value >= radius) {
            let said = said(
                format!("a `{key}` that is not below `outer_radius`"),
                "a length below the bulb's radius",
                "check both numbers and their units",
            );
            sink.push_made(|| section.value_fault(key, said));
        }
    }
    Some(bulb)
}

pub(super) fn meter(section: &Section<'_>, kind: Dimension, sink: &mut Sink) -> Meter {
    Meter {
        name: section.text("name", sink).filter(|name| !name.trim().is_empty()),
        of_reading: section.percent("of_reading", sink),
        digits: section.integer("digits", sink, 0, 10_000).map(|digits| digits as f64),
        resolution: section.plain("resolution", kind, Must::Positive, sink),
        noise: section.plain("noise", kind, Must::NotNegative, sink),
        zero: section.stated("zero", kind, Must::Any, sink),
        full_scale: section.plain("full_scale", kind, Must::Positive, sink),
    }
}

pub(super) fn surroundings(section: &Section<'_>, sink: &mut Sink) -> Option<Surroundings> {
    const PLACE: [&str; 5] = ["latitude", "longitude", "date", "axis_bearing", "height"];
    let place = section.first_of(&PLACE);
    if section.has("background") {
        if let Some(key) = place {
            let said = said(
                format!("`{key}` beside `background`"),
                "a stated background field, or a place and a date",
                "keep one way",
            );
            sink.push_made(|| section.value_fault(key, said));
        }
        return section.vector("background", dimension::FLUX_DENSITY, sink).map(Surroundings::Background);
    }
    place?;
    for key in PLACE.iter().take(4) {
        if !section.has(key) {
            section.lacks(key, "latitude, longitude, date and axis_bearing are stated together", sink);
        }
    }
    let latitude = section.stated("latitude", dimension::ANGLE, LATITUDE, sink);
    let longitude = section.stated("longitude", dimension::ANGLE, TURN, sink);
    let height = section.stated("height", dimension::LENGTH, Must::Any, sink);
    let date = section.date("date", sink);
    let axis_bearing = section.stated("axis_bearing", dimension::ANGLE, TURN, sink);
    Some(Surroundings::Place(Place {
        latitude: latitude?,
        longitude: longitude?,
        height,
        date: date?,
        axis_bearing: axis_bearing?,
    }))
}

pub(super) fn camera(section: &Section<'_>, sink: &mut Sink) -> Camera {
    Camera {
        distance: section.stated("distance", dimension::LENGTH, Must::Positive, sink),
        is_fixed: section.yes("fixed", sink),
    }
}

pub(super) fn scale(section: &Section<'_>, sink: &mut Sink) -> Scale {
    Scale {
        kind: section.choice("kind", &SCALES, sink),
        spacing: section.stated("spacing", dimension::LENGTH, Must::Positive, sink),
        offset: section.stated("offset", dimension::LENGTH, Must::Any, sink),
        relative_uncertainty: section.percent("relative_uncertainty", sink),
    }
}

/// What only two tables together can get wrong.
pub(super) fn check_together(tree: &DeTable<'_>, source: Source<'_>, bench: &Bench, sink: &mut Sink) {
    let muzzle = bench.gun.as_ref().and_then(|gun| gun.muzzle.as_ref());
    let radius = bench.bulb.as_ref().and_then(|bulb| bulb.outer_radius.as_ref()).map(|radius| radius.value);
    let distance = bench.camera.as_ref().and_then(|camera| camera.distance.as_ref()).map(|at| at.value);
    let from_centre = muzzle.map(|at| at.iter().map(|c| c.value * c.value).sum::<f64>().sqrt());
    let mut fault = |table: &str, key: &str, parts: crate::fault::Said| {
        let value = tree.get(table).and_then(|value| value.get_ref().as_table()?.get(key));
        sink.push_made(|| source.fault(value.map_or(0..0, toml::Spanned::span), None, parts));
    };
    if from_centre.zip(radius).is_some_and(|(at, radius)| at >= radius) {
        let parts = said(
            "a `muzzle` outside the bulb",
            "a place nearer to the bulb's centre than `outer_radius`",
            "check both; the frame's origin is the centre of the bulb",
        );
        fault("gun", "muzzle", parts);
    }
    if distance.zip(radius).is_some_and(|(distance, radius)| distance <= radius) {
        let parts = said(
            "a `distance` that puts the camera inside the bulb",
            "the distance from the lens to the bulb's centre, above `outer_radius`",
            "check the number and its unit",
        );
        fault("camera", "distance", parts);
    }
}
