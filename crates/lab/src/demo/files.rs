//! The demo's files, as a person would have written them.

use std::fmt::Write as _;
use std::fs;
use std::io;
use std::path::Path;

use super::pictures::Picture;
use super::truth::{Truth, stated};

/// Writes the whole notebook into an empty folder.
pub(super) fn write(folder: &Path, truth: &Truth, pictures: &[Picture]) -> io::Result<()> {
    let photos = folder.join("photos");
    fs::create_dir(&photos)?;
    for picture in pictures {
        fs::write(photos.join(&picture.name), &picture.jpeg)?;
    }
    fs::write(folder.join("bench.toml"), bench())?;
    fs::write(folder.join("readings.csv"), readings(truth))?;
    fs::write(folder.join("field-probe.csv"), probe(truth))?;
    let hidden = serde_json::to_vec_pretty(truth).map_err(io::Error::other)?;
    fs::write(folder.join("hidden-truth.json"), hidden)
}

fn readings(truth: &Truth) -> String {
    let mut text = String::from(
        "# simulated: readings and photographs of the invented lantern bench\n\
         run,voltage_V,current_A,ring_photo,scale_photo,remark\n",
    );
    for (index, run) in truth.runs.iter().enumerate() {
        let number = index + 1;
        for [voltage_v, current_a] in &run.readings {
            let _ = writeln!(
                text,
                "{number},{voltage_v:.1},{current_a:.3},ring-{number:02}.jpg,scale-01.jpg,simulated"
            );
        }
    }
    text
}

fn probe(truth: &Truth) -> String {
    let mut text = String::from(
        "# simulated: background with the coils off, the line at the centre, then other places\n\
         current_A,flux_density_mT,component,x_mm,y_mm,z_mm\n",
    );
    for row in &truth.probe_rows {
        let [x, y, z] = row.at_mm;
        let _ =
            writeln!(text, "{:.3},{:.3},{},{x},{y},{z}", row.current_a, row.flux_density_mt, row.component);
    }
    text
}

fn meter([percent, digits, resolution, noise]: [f64; 4], unit: &str) -> String {
    format!(
        "of_reading = \"{percent} %\"\ndigits = {digits}\nresolution = \"{resolution} {unit}\"\nnoise = \"{noise} {unit}\"\n"
    )
}

fn bench() -> String {
    let ((radius, radius_u), (separation, separation_u)) = (stated::MEAN_RADIUS_MM, stated::SEPARATION_MM);
    let (radial, axial) = stated::WINDING_MM;
    let ([x, y, z], muzzle_u) = stated::MUZZLE_MM;
    let (bulb, glass, index) = stated::BULB_MM;
    let (distance, distance_u) = stated::CAMERA_DISTANCE_MM;
    let (turns, direction_u) = (stated::TURNS, stated::DIRECTION_U_DEG);
    let (offset_u, scale_u) = (stated::VOLTAGE_OFFSET_U_V, stated::SCALE_OFFSET_U_MM);
    let voltmeter = meter(stated::VOLTMETER, "V");
    let ammeter = meter(stated::AMMETER, "A");
    let probe = meter(stated::PROBE, "mT");
    let cautions = arcmass_notebook::cautions::as_comment();
    format!(
        r#"# The lantern bench: invented. Its readings are simulated and its photographs drawn.
#
{cautions}

[bench]
format = 1
name = "Lantern bench (simulated)"

[coils]                                  # a coaxial pair
shape = "circular"
mean_radius = "{radius} mm ± {radius_u} mm"         # to the middle of the winding
separation = "{separation} mm ± {separation_u} mm"          # mid-plane to mid-plane
turns = {turns}                              # on each coil
winding_radial = "{radial} mm"
winding_axial = "{axial} mm"
field_direction = "+z"                   # towards the camera
current_limit = "3 A"

[gun]
muzzle = ["{x} mm", "{y} mm", "{z} mm"]
muzzle_uncertainty = "{muzzle_u} mm"
direction = [1.0, 0.0, 0.0]
direction_uncertainty = "{direction_u} deg"
voltage_limit = "320 V"
voltage_minimum = "120 V"
voltage_offset = "0 V ± {offset_u} V"

[bulb]
outer_radius = "{bulb} mm ± 0.5 mm"
glass_thickness = "{glass} mm ± 0.2 mm"
glass_index = "{index} ± 0.02"
clearance = "8 mm"

[meters.voltage]
{voltmeter}
[meters.current]
{ammeter}
[meters.probe]
{probe}
[camera]
distance = "{distance} mm ± {distance_u} mm"         # lens to the bulb's centre

[scale]                                  # a ruler put in the ring's plane once the tube was out
kind = "ruler"
spacing = "1 mm"
relative_uncertainty = "0.05 %"
offset = "0 mm ± {scale_u} mm"
"#
    )
}
