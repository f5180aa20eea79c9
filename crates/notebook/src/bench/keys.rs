//! The tables and keys of `bench.toml`, as the contract lists them.

use crate::fault::{Said, quote, said};
use crate::table::list;

/// Every table and its keys, as the contract lists them.
const TABLES: [(&str, &[&str]); 11] = [
    ("bench", &["format", "name"]),
    (
        "coils",
        &[
            "shape",
            "mean_radius",
            "mean_half_side",
            "separation",
            "turns",
            "winding_radial",
            "winding_axial",
            "field_direction",
            "current_limit",
            "field_per_ampere",
        ],
    ),
    (
        "coil",
        &[
            "shape",
            "mean_radius",
            "mean_half_side",
            "turns",
            "winding_radial",
            "winding_axial",
            "centre",
            "axis",
            "sense",
        ],
    ),
    (
        "gun",
        &[
            "muzzle",
            "muzzle_uncertainty",
            "direction",
            "direction_uncertainty",
            "voltage_limit",
            "voltage_minimum",
            "voltage_offset",
            "beam_width",
            "particle",
            "charge_number",
            "mass",
        ],
    ),
    ("bulb", &["outer_radius", "glass_thickness", "glass_index", "clearance", "gas", "pressure"]),
    ("meters.voltage", METER),
    ("meters.current", METER),
    ("meters.probe", METER),
    ("surroundings", &["background", "latitude", "longitude", "height", "date", "axis_bearing"]),
    ("camera", &["distance", "fixed"]),
    ("scale", &["kind", "spacing", "offset", "relative_uncertainty"]),
];

const METER: &[&str] = &["name", "of_reading", "digits", "resolution", "noise", "zero", "full_scale"];

/// Names that may stand at the top of the file.
pub(crate) fn known_tables() -> Vec<&'static str> {
    let whole = TABLES.iter().map(|table| table.0).filter(|name| !name.contains('.'));
    whole.chain(std::iter::once("meters")).collect()
}

/// Every table, in the contract's order.
pub(crate) fn table_names() -> impl Iterator<Item = &'static str> {
    TABLES.iter().map(|table| table.0)
}

pub(crate) fn keys_of(table: &str) -> &'static [&'static str] {
    if table == "meters" {
        return &["voltage", "current", "probe"];
    }
    TABLES.iter().find(|row| row.0 == table).map_or(&[], |row| row.1)
}

/// What to say of a key that is known nowhere near here.
pub(crate) fn unknown_key(name: &str, place: &str, known: &[&str]) -> Said {
    if known_tables().contains(&name) {
        let remedy = format!("write `[{name}]` on a line of its own, below this table, and its keys below");
        return said(format!("{} {place}", quote(name)), list(known), remedy);
    }
    let home = TABLES.iter().find(|table| table.1.contains(&name));
    let remedy = home.map_or("delete it, or write it as a `#` comment".to_owned(), |home| {
        format!("`{name}` belongs in `[{}]`", home.0)
    });
    said(format!("unknown key {} {place}", quote(name)), list(known), remedy)
}
