//! The invented bench's files as a person would have written them, and what its photographs would have given.

use std::fmt::Write as _;
use std::path::Path;
use std::{fs, io};

use super::truth::{
    AMMETER, BEAM_WIDTH_M, CAMERA_M, PLANE_RELATIVE_U, PROBE, SCALE_RELATIVE_U, Truth, VOLTMETER, WINDING_M,
};
use super::{Design, Diameters};
use crate::document::{MadeBy, PhotoEntry, Q, RingsDocument};
use crate::spread::{Spread, quantity};

pub(super) fn write(folder: &Path, design: &Design, truth: &Truth) -> io::Result<()> {
    fs::write(folder.join("bench.toml"), bench(design, truth))?;
    fs::write(folder.join("readings.csv"), readings(design, truth))?;
    if !truth.probe.is_empty() {
        fs::write(folder.join("field-probe.csv"), probe(truth))?;
    }
    Ok(())
}

fn meter(name: &str, unit: &str, [percent, digits, resolution, noise]: [f64; 4]) -> String {
    format!(
        "[meters.{name}]\nof_reading = \"{percent} %\"\ndigits = {digits}\nresolution = \"{resolution} {unit}\"\nnoise = \"{noise} {unit}\"\n"
    )
}

fn bench(design: &Design, truth: &Truth) -> String {
    let (nominal, u) = (&truth.nominal, &truth.uncertain);
    let mm = |length_m: f64, u_m: f64| {
        if design.silent {
            format!("\"{} mm\"", 1e3 * length_m)
        } else {
            format!("\"{} mm ± {} mm\"", 1e3 * length_m, 1e3 * u_m)
        }
    };
    let mut text =
        String::from("[bench]\nformat = 1\nname = \"Invented bench\"\n[coils]\nshape = \"circular\"\n");
    let _ = writeln!(text, "mean_radius = {}", mm(nominal.radius_m, u.radius_m));
    let _ = writeln!(text, "separation = {}", mm(nominal.separation_m, u.separation_m));
    let _ = writeln!(text, "turns = {}", nominal.turns);
    let (radial, axial) = WINDING_M;
    let _ =
        writeln!(text, "winding_radial = \"{} mm\"\nwinding_axial = \"{} mm\"", 1e3 * radial, 1e3 * axial);
    text.push_str("field_direction = \"+z\"\n[gun]\n");
    let _ = writeln!(
        text,
        "muzzle = [\"0 mm\", \"{} mm\", \"0 mm\"]\ndirection = [1, 0, 0]",
        1e3 * nominal.muzzle_y_m
    );
    let (width, width_u) = BEAM_WIDTH_M;
    let _ = writeln!(text, "beam_width = \"{} mm ± {} mm\"", 1e3 * width, 1e3 * width_u);
    if !design.silent {
        let _ = writeln!(text, "muzzle_uncertainty = \"{} mm\"", 1e3 * u.muzzle_m);
        let _ = writeln!(text, "direction_uncertainty = \"{} deg\"", u.direction_rad.to_degrees());
        let _ = writeln!(text, "voltage_offset = \"0 V ± {} V\"", u.voltage_offset_v);
        let component = |b: f64| format!("\"{:.0} uT ± {:.0} uT\"", 1e6 * b, 1e6 * u.background_t);
        let [x, y, z] = nominal.background_t.map(component);
        let _ = writeln!(text, "[surroundings]\nbackground = [{x}, {y}, {z}]");
    }
    text.push_str("[bulb]\nouter_radius = \"80 mm\"\n");
    text.push_str(&meter("voltage", "V", VOLTMETER));
    text.push_str(&meter("current", "A", AMMETER));
    text.push_str(&meter("probe", "mT", PROBE));
    if matches!(design.diameters, Diameters::Photographs { .. }) {
        let (distance, distance_u) = CAMERA_M;
        let _ = writeln!(text, "[camera]\ndistance = \"{} mm ± {} mm\"", 1e3 * distance, 1e3 * distance_u);
        let _ = writeln!(text, "[scale]\nkind = \"ruler\"\nspacing = \"1 mm\"");
        let _ = writeln!(text, "relative_uncertainty = \"{} %\"", 100.0 * SCALE_RELATIVE_U);
        if !design.silent {
            let _ = writeln!(text, "offset = \"0 mm ± {} mm\"", 1e3 * u.scale_offset_m);
        }
    }
    text
}

fn readings(design: &Design, truth: &Truth) -> String {
    let mut text = String::from("run,voltage_V,current_A,bench_turned_deg");
    text.push_str(match design.diameters {
        Diameters::Table { is_stated: true, .. } => ",diameter_mm,edge,diameter_u_mm\n",
        Diameters::Table { .. } => ",diameter_mm,edge\n",
        Diameters::Photographs { .. } => ",ring_photo,scale_photo\n",
    });
    for (index, run) in truth.runs.iter().enumerate() {
        let (number, turned) = (index + 1, if run.turned { 180 } else { 0 });
        for [voltage_v, current_a] in &run.readings {
            let _ = write!(text, "{number},{voltage_v:.1},{current_a:.4},{turned}");
            let _ = match design.diameters {
                Diameters::Table { u_mm, is_stated, outer_edge } => {
                    let edge = if outer_edge { "outer" } else { "centre" };
                    let u = if is_stated { format!(",{u_mm}") } else { String::new() };
                    writeln!(text, ",{:.2},{edge}{u}", 1e3 * run.diameter_m)
                }
                Diameters::Photographs { .. } => {
                    writeln!(text, ",ring-{number}.jpg,scale-{}.jpg", run.scale)
                }
            };
        }
    }
    text
}

fn probe(truth: &Truth) -> String {
    let mut text = String::from("current_A,flux_density_mT,component,x_mm,y_mm,z_mm\n");
    for row in &truth.probe {
        let [x, y, z] = row.at_mm;
        let _ =
            writeln!(text, "{:.3},{:.3},{},{x},{y},{z}", row.current_a, row.flux_density_mt, row.component);
    }
    text
}

/// The document that `rings` would have made of the photographs.
pub(super) fn rings(design: &Design, truth: &Truth) -> Option<RingsDocument> {
    let Diameters::Photographs { u_trace_mm, .. } = design.diameters else { return None };
    let photos = truth.runs.iter().enumerate().map(|(index, run)| {
        let diameter_mm = 1e3 * run.diameter_m;
        let (plane, scale) = (PLANE_RELATIVE_U * diameter_mm, SCALE_RELATIVE_U * diameter_mm);
        let parts = [u_trace_mm, plane, scale].map(Spread::Normal);
        let diameter: Q = quantity(diameter_mm, &parts);
        PhotoEntry {
            photo: format!("ring-{}.jpg", index + 1),
            run: Some((index + 1).to_string()),
            scale_photo: Some(format!("scale-{}.jpg", run.scale)),
            ring_diameter_in_scale_plane_mm: Some(diameter),
            ring_diameter_mm: None,
            u_trace_mm: Some(u_trace_mm),
            u_plane_mm: Some(plane),
            beam_width_mm: None,
            inner_edge_diameter_mm: None,
            outer_edge_diameter_mm: None,
            centre_px: None,
            semi_axes_px: None,
            axis_angle_deg: None,
            arc_seen_deg: Some(360.0 * run.seen),
            scale_px_per_mm: None,
            camera_direction: Some(run.camera_direction),
            status: crate::document::PhotoStatus::Measured,
            pitch_mm: None,
            helix_diameter_mm: None,
            caveats: Vec::new(),
        }
    });
    Some(RingsDocument {
        schema: "arcmass.rings/1".to_owned(),
        made_by: MadeBy { version: String::new(), seed: 0, inputs: Vec::new() },
        photos: photos.collect(),
        failed: Vec::new(),
    })
}
