//! One bench of the study: drawn into a notebook, measured through the same door as everybody's, compared with its truth.

use std::path::Path;

use arcmass_draw::{Beam, Scene, draw_bench, draw_ring};
use arcmass_lab::desk::Desk;
use arcmass_lab::photograph::{RingsQuestion, Silent, rings};
use arcmass_notebook::Notebook;
use serde::{Deserialize, Serialize};

use super::condition::Condition;
use super::dice::Dice;
use super::setup::{Ring, Setup};

/// Standard uncertainty of the camera's stated distance, in parts of it.
const DISTANCE_U: f64 = 0.008;

/// What became of one ring's photograph.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub(crate) struct Row {
    pub(crate) condition: String,
    pub(crate) bench: u64,
    pub(crate) ring: usize,
    pub(crate) truth_mm: f64,
    /// Diameter in the scale's plane with its standard uncertainty; none where it could not be measured.
    pub(crate) measured_mm: Option<[f64; 2]>,
    pub(crate) caveats: Vec<String>,
    /// Why it could not be measured.
    pub(crate) failed: Option<String>,
}

/// Draws a bench under a condition into a folder; the folder then holds a whole notebook. Gives the true diameters.
pub(crate) fn draw_into(folder: &Path, condition: &Condition, bench: u64) -> Result<Vec<f64>, String> {
    // one stream for each bench: the same benches whatever else is drawn
    let name: u64 = condition.name.bytes().fold(7, |sum, byte| sum.wrapping_mul(131) ^ u64::from(byte));
    let mut dice = Dice::new(name.wrapping_add(bench.wrapping_mul(0x1_0001)));
    let mut setup = Setup::by_lot(&mut dice);
    (condition.change)(&mut setup, &mut dice);
    let rings = setup.rings(&mut dice)?;
    std::fs::create_dir_all(folder.join("photos")).map_err(|fault| fault.to_string())?;
    for (index, ring) in rings.iter().enumerate() {
        write(folder, &format!("photos/{}", ring_name(index)), &ring_photo(&setup, ring, index)?)?;
    }
    if !setup.is_together {
        write(folder, "photos/scale.jpg", &scale_photo(&setup)?)?;
    }
    write(folder, "bench.toml", bench_file(&setup, &mut dice).as_bytes())?;
    write(folder, "readings.csv", readings(&setup, rings.len()).as_bytes())?;
    Ok(rings.iter().map(|ring| ring.seen_diameter_mm).collect())
}

fn write(folder: &Path, name: &str, bytes: &[u8]) -> Result<(), String> {
    std::fs::write(folder.join(name), bytes).map_err(|fault| format!("{name}: {fault}"))
}

fn ring_name(index: usize) -> String {
    format!("ring-{}.jpg", index + 1)
}

fn ring_photo(setup: &Setup, ring: &Ring, index: usize) -> Result<Vec<u8>, String> {
    let beam =
        Beam { points_mm: ring.points_mm.clone(), bundle_mm: ring.bundle_mm.clone(), ..setup.beam.clone() };
    let seed = setup.scene.seed.wrapping_add(index as u64 + 1);
    let mut scene = Scene { beam: Some(beam), seed, ..setup.scene.clone() };
    scene.sensor.blur_px = setup.ring_blur_px.unwrap_or(scene.sensor.blur_px);
    let drawn = if setup.is_together {
        draw_bench(&scene, &setup.scales).map(|drawn| drawn.jpeg)
    } else {
        draw_ring(&scene).map(|drawn| drawn.jpeg)
    };
    drawn.map_err(|fault| fault.to_string())
}

fn scale_photo(setup: &Setup) -> Result<Vec<u8>, String> {
    let scene = Scene {
        camera: setup.scale_camera.clone(),
        room: setup.scale_room.clone(),
        bulb: None,
        gun: None,
        beam: None,
        ..setup.scene.clone()
    };
    draw_bench(&scene, &setup.scales).map(|drawn| drawn.jpeg).map_err(|fault| fault.to_string())
}

fn readings(setup: &Setup, count: usize) -> String {
    let mut text = "run,voltage_V,current_A,ring_photo,scale_photo\n".to_owned();
    for index in 0..count {
        let ring = ring_name(index);
        let scale = if setup.is_together { ring.clone() } else { "scale.jpg".to_owned() };
        text.push_str(&format!("{0},200.0,1.5,{ring},{scale}\n", index + 1));
    }
    text
}

/// What a person would have written: sizes of the bench, the camera's distance as measured with a tape.
fn bench_file(setup: &Setup, dice: &mut Dice) -> String {
    let distance_u = DISTANCE_U * setup.distance_mm;
    let distance = setup.distance_mm + distance_u * dice.normal();
    let (bulb, gun) = (setup.scene.bulb.as_ref(), setup.scene.gun.as_ref());
    let (radius, glass, index) =
        bulb.map_or((82.0, 1.5, 1.48), |b| (b.outer_radius_mm, b.glass_thickness_mm, b.glass_index));
    let [x, y, z] = gun.map_or([0.0, -38.0, 0.0], |gun| gun.muzzle_mm);
    format!(
        "# drawn for a study of the photographs\n\
         [bench]\nformat = 1\nname = \"Drawn bench\"\n\
         [coils]\nshape = \"circular\"\nmean_radius = \"155.0 mm ± 0.5 mm\"\nseparation = \"155.0 mm ± 0.5 mm\"\nturns = 126\n\
         winding_radial = \"12 mm\"\nwinding_axial = \"15 mm\"\nfield_direction = \"+z\"\n\
         [gun]\nmuzzle = [\"{x:.1} mm\", \"{y:.1} mm\", \"{z:.1} mm\"]\nmuzzle_uncertainty = \"0.5 mm\"\n\
         [bulb]\nouter_radius = \"{radius} mm ± 0.5 mm\"\nglass_thickness = \"{glass:.1} mm ± 0.2 mm\"\nglass_index = \"{index} ± 0.02\"\n\
         [camera]\ndistance = \"{distance:.0} mm ± {distance_u:.0} mm\"\n\
         [scale]\nkind = \"{}\"\nspacing = \"{} mm\"\nrelative_uncertainty = \"0.01 %\"\noffset = \"{:.2} mm ± 0.3 mm\"\n",
        setup.kind, setup.spacing_mm, setup.offset_mm
    )
}

/// Draws and measures one bench.
pub(crate) fn bench(condition: &Condition, bench: u64) -> Result<Vec<Row>, String> {
    let folder = tempfile::tempdir().map_err(|fault| fault.to_string())?;
    let truths = draw_into(folder.path(), condition, bench)?;
    let notebook = Notebook::open(folder.path()).map_err(|fault| fault.to_string())?;
    let desk = Desk { seed: 1, workers: 1 };
    let measured = rings(&notebook, &RingsQuestion::default(), &desk, &Silent);
    let row = |(index, truth_mm): (usize, &f64)| {
        let mut row = Row {
            condition: condition.name.to_owned(),
            bench,
            ring: index,
            truth_mm: *truth_mm,
            measured_mm: None,
            caveats: Vec::new(),
            failed: None,
        };
        match &measured {
            Ok(rings) => {
                let name = ring_name(index);
                let found = rings.document.photos.iter().find(|photo| photo.photo == name);
                if let Some(photo) = found {
                    let q = photo.ring_diameter_in_scale_plane_mm.as_ref();
                    row.measured_mm = q.map(|q| [q.value, q.standard_uncertainty]);
                    row.caveats = photo.caveats.iter().map(|caveat| caveat.code.clone()).collect();
                }
                let failed = rings.document.failed.iter().find(|failed| failed.photo == name);
                row.failed = failed.map(|failed| failed.sentence.clone());
            }
            Err(fault) => row.failed = Some(fault.to_string()),
        }
        row
    };
    Ok(truths.iter().enumerate().map(row).collect())
}
