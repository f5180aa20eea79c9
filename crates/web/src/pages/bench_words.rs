//! Bench: how each key of the bench file is called on the page, and what stands for it where it is not known.

/// A table of the bench file on the page: its name, heading, and what to know.
pub(super) const TABLES: [(&str, &str, &str); 11] = [
    ("bench", "Name", ""),
    ("coils", "Coils", "A coaxial pair. Radius and separation are measured to the middle of the winding."),
    (
        "gun",
        "Gun",
        "x to the right, y up, z along the coils' axis towards the camera; origin at the centre of the coils.",
    ),
    ("bulb", "Bulb", ""),
    ("meters.voltage", "Voltmeter", "From the meter's manual: percent of reading plus digits."),
    ("meters.current", "Ammeter", ""),
    ("meters.probe", "Field probe", ""),
    (
        "surroundings",
        "Surroundings",
        "A stated background field, or a place and a day for the Earth's field.",
    ),
    ("camera", "Camera", ""),
    ("scale", "Scale", "What was photographed in the ring's plane to count millimetres."),
    ("coil", "", ""),
];

/// Label, hint and example of a key.
pub(super) fn wording(table: &str, key: &str) -> (&'static str, &'static str, &'static str) {
    match (table, key) {
        ("bench", _) => ("Name of the bench", "", "Window bench"),
        (_, "shape") => ("Shape", "", ""),
        (_, "mean_radius") => ("Mean radius", "to the middle of the winding", "150 mm ± 0.5 mm"),
        (_, "mean_half_side") => ("Mean half side", "of square coils only", "150 mm ± 0.5 mm"),
        (_, "separation") => ("Separation", "mid-plane to mid-plane", "150.0(7) mm"),
        (_, "turns") => ("Turns on each coil", "", "124"),
        (_, "winding_radial") => ("Winding, radial", "thickness along the radius", "12 mm"),
        (_, "winding_axial") => ("Winding, axial", "width along the axis", "16 mm"),
        (_, "field_direction") => ("Field direction", "for a positive ammeter reading; a compass tells", ""),
        (_, "current_limit") => ("Current limit", "rating of each coil", "2 A"),
        (_, "field_per_ampere") => {
            ("Coil constant k", "as stated, instead of the coil geometry or in addition", "0.743(4) mT/A")
        }
        (_, "muzzle") => ("Anode aperture x, y, z", "where the beam leaves the anode", "0 mm, -40 mm, 0 mm"),
        (_, "muzzle_uncertainty") => ("Its uncertainty", "of each coordinate", "0.5 mm"),
        (_, "direction") => ("Direction x, y, z", "of the beam, tube not rotated", "1, 0, 0"),
        (_, "direction_uncertainty") => ("Its uncertainty", "", "0.4 deg"),
        (_, "voltage_limit") => ("Voltage limit", "rating of the tube", "300 V"),
        (_, "voltage_minimum") => ("Voltage minimum", "below it the beam can't be seen", "120 V"),
        (_, "voltage_offset") => ("Voltage offset", "effective voltage minus reading", "0(1) V"),
        (_, "beam_width") => ("Beam width", "of the glowing beam", "2(1) mm"),
        (_, "particle") => ("Particle", "the electron if empty", "electron"),
        (_, "charge_number") => ("Charge number", "of another particle", "-1"),
        (_, "mass") => ("Mass", "of another particle", "9.11e-31 kg"),
        (_, "outer_radius") => ("Outer radius", "of the glass", "80.0(5) mm"),
        (_, "glass_thickness") => ("Glass thickness", "", "1.5(2) mm"),
        (_, "glass_index") => ("Refractive index", "", "1.48(2)"),
        (_, "clearance") => ("Clearance", "a ring keeps this far from the glass", "8 mm"),
        (_, "gas") => ("Gas", "", "hydrogen"),
        (_, "pressure") => ("Pressure", "", "1.0(3) Pa"),
        (_, "of_reading") => ("Calibration (gain)", "limit, percent of reading", "0.5 %"),
        (_, "digits") => ("Digits", "limit, in steps of the last digit", "2"),
        ("meters.voltage", "resolution") => ("Resolution", "one step of the last digit", "0.1 V"),
        ("meters.current", "resolution") => ("Resolution", "one step of the last digit", "0.01 A"),
        (_, "resolution") => ("Resolution", "one step of the last digit", "0.001 mT"),
        ("meters.voltage", "noise") => ("Noise", "standard deviation of one reading", "0.1 V"),
        ("meters.current", "noise") => ("Noise", "standard deviation of one reading", "0.002 A"),
        (_, "noise") => ("Noise", "standard deviation of one reading", "0.001 mT"),
        (_, "zero") => ("Zero offset", "if known, instead of digits", ""),
        ("meters.voltage", "full_scale") => ("Full scale", "where no accuracy is known", "300 V"),
        ("meters.current", "full_scale") => ("Full scale", "where no accuracy is known", "5 A"),
        (_, "full_scale") => ("Full scale", "where no accuracy is known", "20 mT"),
        (_, "background") => {
            ("Background x, y, z", "field without coil current", "0(30) uT, -45(10) uT, 0(30) uT")
        }
        (_, "latitude") => ("Latitude", "north positive", "52.1 deg"),
        (_, "longitude") => ("Longitude", "east positive", "4.3 deg"),
        (_, "height") => ("Height", "above sea level", "20 m"),
        (_, "date") => ("Day", "", "2026-03-12"),
        (_, "axis_bearing") => ("Bearing of +z", "true, clockwise from north", "120 deg"),
        (_, "distance") => ("Distance", "lens to the bulb's centre", "1.20(2) m"),
        (_, "fixed") => ("Fixed", "nobody touched it between ring and scale", ""),
        (_, "kind") => ("Kind", "", ""),
        (_, "spacing") => ("Spacing", "between marks", "1 mm"),
        (_, "offset") => {
            ("Offset", "from the plane of the anode aperture, positive towards the camera", "-95(3) mm")
        }
        (_, "relative_uncertainty") => {
            ("Of its length", "standard uncertainty of the scale itself", "0.05 %")
        }
        _ => ("", "", ""),
    }
}

/// The keys that are asked for first, each with what stands for it where it is not known.
pub(super) const ESSENTIAL: [(&str, &str, &str); 10] = [
    (
        "coils",
        "mean_radius",
        "Without it the field must be read by a probe or a balance, at the Field, and its fall-off over the ring stays uncorrected.",
    ),
    ("coils", "separation", "Taken as the mean radius with u = 3 %, as such pairs are built."),
    ("coils", "turns", "Without it the field must be read by a probe or a balance, at the Field."),
    (
        "coils",
        "current_limit",
        "Without it no setting is proposed: look for it on the coils or in their data sheet.",
    ),
    ("gun", "voltage_limit", "Without it no setting is proposed: look for it in the tube’s data sheet."),
    ("gun", "muzzle", "The ring is then taken as centred on the coils’ axis."),
    ("bulb", "outer_radius", "No setting is then checked against the glass."),
    ("camera", "distance", "The tilt and the place of the scale are then known from its marks alone."),
    ("scale", "spacing", "Two numbers of the scale are then marked by hand, at the Ring."),
    (
        "scale",
        "offset",
        "Taken as 0 with u = 5 mm where scale and ring are on two photographs; in one picture it is asked for.",
    ),
];

/// Keys that are no good one by one: a heading, the keys that must stand together, and those that may stand with them.
pub(super) const TOGETHER: [(&str, &str, &[&str], &[&str]); 2] = [
    ("surroundings", "Place and day", &["latitude", "longitude", "date", "axis_bearing"], &["height"]),
    ("gun", "Another particle", &["charge_number", "mass"], &[]),
];
