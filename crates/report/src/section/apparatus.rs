//! The apparatus: drawn to scale, and its numbers as stated.

use arcmass_lab::field_unit::FieldUnit;
use arcmass_notebook::{Bench, CoilShape, Meter, Surroundings};
use arcmass_quantity::{Stated, print};
use maud::{Markup, html};

use crate::input::ReportInput;
use crate::sketch;
use crate::table::{self, Row, words};
use crate::words::plain;

/// Drawing and table.
pub(crate) fn body(input: &ReportInput<'_>) -> Markup {
    let bench = &input.notebook.bench;
    let lines = lines(bench, input.field_unit);
    html! {
        @match sketch::apparatus(input) {
            Some(figure) => (table::figure(&figure, caption(input))),
            None => p { "The bench file states no geometry, so there is nothing to draw. State coils, gun and bulb in bench.toml, and the shape of the field and the position of the ring enter the model." },
        }
        @if !lines.is_empty() {
            (table::table("As stated in bench.toml, each with one standard uncertainty", &[words("part"), words("value")], &lines))
        }
    }
}

fn caption(input: &ReportInput<'_>) -> Markup {
    let ring = if input.path.is_some() {
        "the predicted path of the beam"
    } else {
        "a ring as large as that of the middle run"
    };
    html! { "The bench to scale, with " (ring) ": left from the front, along the coils’ axis; right from the side. The body of the gun is schematic." }
}

fn stated(value: &Stated, factor: f64, unit: &str) -> Markup {
    let u = value.standard_uncertainty().unwrap_or(0.0);
    let number =
        if u > 0.0 { print::short(factor * value.value, factor * u) } else { plain(factor * value.value) };
    html! { (number) " " (unit) @if u <= 0.0 { span.quiet { " (no uncertainty stated)" } } }
}

fn lines(bench: &Bench, field: &FieldUnit) -> Vec<Row> {
    let mut rows = Vec::new();
    let mut add = |name: &str, value: Option<Markup>| {
        if let Some(value) = value {
            rows.push(Row::new(vec![html! { (name) }, value]));
        }
    };
    coil_lines(bench, field, &mut add);
    if let Some(gun) = &bench.gun {
        let muzzle = gun.muzzle.as_ref().map(|[x, y, z]| {
            let mm = [x, y, z].map(|part| plain(1e3 * part.value)).join(", ");
            let u = gun.muzzle_uncertainty.and_then(|u| u.standard()).map(|u| plain(1e3 * u));
            html! { "(" (mm) ") mm" @if let Some(u) = u { ", each with u = " (u) " mm" } }
        });
        add("anode aperture (x, y, z)", muzzle);
        add("gun’s voltage offset", gun.voltage_offset.as_ref().map(|v| stated(v, 1.0, "V")));
        add("gun’s voltage limit", gun.voltage_limit_v.map(|v| html! { (plain(v)) " V" }));
    }
    if let Some(bulb) = &bench.bulb {
        add("bulb’s outer radius", bulb.outer_radius.as_ref().map(|r| stated(r, 1e3, "mm")));
        add("glass thickness", bulb.glass_thickness.as_ref().map(|t| stated(t, 1e3, "mm")));
        add("gas pressure", bulb.pressure.as_ref().map(|p| stated(p, 1.0, "Pa")));
    }
    add("voltmeter", bench.meters.voltage.as_ref().map(|m| meter(m, 1.0, "V")));
    add("ammeter", bench.meters.current.as_ref().map(|m| meter(m, 1.0, "A")));
    add(
        "field probe",
        bench.meters.probe.as_ref().map(|m| meter(m, 1e3 * field.per_millitesla, &field.shown)),
    );
    if let Some(Surroundings::Background([x, y, z])) = &bench.surroundings {
        let parts = [("x", x), ("y", y), ("z", z)];
        let (factor, unit) = field.told("uT");
        add(
            "background field",
            Some(
                html! { @for (name, part) in parts { div { (name) ": " (stated(part, 1e6 * factor, &unit)) } } },
            ),
        );
    }
    add(
        "camera to the bulb’s centre",
        bench.camera.as_ref().and_then(|c| c.distance.as_ref()).map(|d| stated(d, 1e3, "mm")),
    );
    if let Some(scale) = &bench.scale {
        add(
            "scale, from the plane of the anode aperture towards +z",
            scale.offset.as_ref().map(|o| stated(o, 1e3, "mm")),
        );
    }
    rows
}

fn coil_lines(bench: &Bench, field: &FieldUnit, add: &mut impl FnMut(&str, Option<Markup>)) {
    let Some(pair) = &bench.pair else {
        let count = bench.coil_list.len();
        add("coils", (count > 0).then(|| html! { (count) ", each by itself" }));
        return;
    };
    if let Some(geometry) = &pair.geometry {
        let size = match geometry.shape {
            CoilShape::Circular => "coils’ mean radius",
            CoilShape::Square => "coils’ mean half side",
        };
        add(size, Some(stated(&geometry.mean_radius, 1e3, "mm")));
        add("coils’ separation", Some(stated(&geometry.separation, 1e3, "mm")));
        add("turns on each coil", geometry.turns.map(|turns| html! { (turns) }));
    }
    add(
        "stated coil constant",
        pair.field_per_ampere.as_ref().map(|k| {
            let (factor, unit) = field.told("mT/A");
            stated(k, 1e3 * factor, &unit)
        }),
    );
    add("current limit", pair.current_limit_a.map(|limit| html! { (plain(limit)) " A" }));
}

fn meter(meter: &Meter, factor: f64, unit: &str) -> Markup {
    let shown = |value: f64| plain(factor * value);
    let mut parts = Vec::new();
    if let Some(gain) = meter.of_reading {
        parts.push(format!("limits {} % of reading", plain(100.0 * gain)));
    }
    if let (Some(digits), Some(resolution)) = (meter.digits, meter.resolution) {
        parts.push(format!("{} {unit} zero", shown(digits * resolution)));
    }
    if let Some(noise) = meter.noise {
        parts.push(format!("noise {} {unit}", shown(noise)));
    }
    html! { (if parts.is_empty() { "accuracy not stated".to_owned() } else { parts.join(", ") }) }
}
