//! One bench of the study: drawn into a notebook, measured through the same door as everybody's, compared with its truth.

use std::path::Path;

use arcmass_draw::{Beam, RingTruth, Scene, draw_bench, draw_ring};
use arcmass_lab::desk::Desk;
use arcmass_lab::photograph::{RingsQuestion, Silent, rings};
use arcmass_notebook::Notebook;
use arcmass_physics::{Vec3, fit_circle};
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

/// What is known of a drawn ring and hidden from the measurement.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
struct Truth {
    /// Diameter in the scale's plane.
    diameter_mm: f64,
    /// The centre line from the muzzle to the gun, point by point: through the glass, without it, and on the scale's plane.
    seen_px: Vec<[f64; 2]>,
    straight_px: Vec<[f64; 2]>,
    plane_mm: Vec<[f64; 2]>,
}

/// Name of the file that holds the truth of a drawn notebook's rings; the measurement leaves it alone.
const TRUTH: &str = "truth.json";

/// The true diameters of a bench drawn before.
fn drawn_before(folder: &Path) -> Option<Vec<f64>> {
    let text = std::fs::read_to_string(folder.join(TRUTH)).ok()?;
    let truths: Vec<Truth> = serde_json::from_str(&text).ok()?;
    Some(truths.iter().map(|truth| truth.diameter_mm).collect())
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
    let mut truths = Vec::new();
    for (index, ring) in rings.iter().enumerate() {
        let (jpeg, truth) = ring_photo(&setup, ring, index)?;
        write(folder, &format!("photos/{}", ring_name(index)), &jpeg)?;
        truths.push(setup.truth(truth)?);
    }
    if !setup.is_together {
        write(folder, "photos/scale.jpg", &scale_photo(&setup)?)?;
    }
    write(folder, "bench.toml", bench_file(&setup, &mut dice).as_bytes())?;
    write(folder, "readings.csv", readings(&setup, rings.len()).as_bytes())?;
    let text = serde_json::to_string(&truths).map_err(|fault| fault.to_string())?;
    write(folder, TRUTH, text.as_bytes())?;
    Ok(truths.iter().map(|truth| truth.diameter_mm).collect())
}

/// The first ring's photograph of a condition's first bench, its sides so many times as long.
pub(crate) fn small_ring(condition: &Condition, factor: f64) -> Result<Vec<u8>, String> {
    let (setup, mut dice) = small_setup(condition, factor);
    let rings = setup.rings(&mut dice)?;
    Ok(ring_photo(&setup, rings.first().ok_or("no ring")?, 0)?.0)
}

/// The same bench's scale.
pub(crate) fn small_scale(condition: &Condition, factor: f64) -> Result<Vec<u8>, String> {
    scale_photo(&small_setup(condition, factor).0)
}

fn small_setup(condition: &Condition, factor: f64) -> (Setup, Dice) {
    let mut dice = Dice::new(1);
    let mut setup = Setup::by_lot(&mut dice);
    (condition.change)(&mut setup, &mut dice);
    setup.finer(factor);
    (setup, dice)
}

fn write(folder: &Path, name: &str, bytes: &[u8]) -> Result<(), String> {
    std::fs::write(folder.join(name), bytes).map_err(|fault| format!("{name}: {fault}"))
}

fn ring_name(index: usize) -> String {
    format!("ring-{}.jpg", index + 1)
}

impl Setup {
    /// The circle through the seen centre line carried to the scale's plane along the light's last way to the lens: from
    /// the muzzle round to where the gun hides the first turn for good, whatever the frame cuts.
    fn truth(&self, drawn: RingTruth) -> Result<Truth, String> {
        let one_turn = (drawn.seen_px.len() as f64 / self.turns.max(1.0)).round() as usize;
        let camera = &self.scene.camera;
        let is_in_frame = |[x, y]: [f64; 2]| {
            x >= 0.0 && y >= 0.0 && x < f64::from(camera.width_px) && y < f64::from(camera.height_px)
        };
        let hidden = drawn.seen_px.iter().zip(&drawn.visible).map(|(px, seen)| is_in_frame(*px) && !seen);
        let hidden: Vec<bool> = hidden.take(one_turn).collect();
        let end = hidden.iter().rposition(|hidden| !hidden).map_or(0, |last| last + 1);
        let plane: Vec<Vec3> = drawn.seen_along.iter().take(end).map(|way| self.on_the_scale(*way)).collect();
        let circle = fit_circle(&plane).ok_or("its path is no ring")?;
        Ok(Truth {
            diameter_mm: 2e3 * circle.radius_m,
            seen_px: drawn.seen_px.into_iter().take(end).collect(),
            straight_px: drawn.straight_px.into_iter().take(end).collect(),
            plane_mm: plane.iter().map(|p| [1e3 * p.x, 1e3 * p.y]).collect(),
        })
    }
}

fn ring_photo(setup: &Setup, ring: &Ring, index: usize) -> Result<(Vec<u8>, RingTruth), String> {
    let beam =
        Beam { points_mm: ring.points_mm.clone(), bundle_mm: ring.bundle_mm.clone(), ..setup.beam.clone() };
    let seed = setup.scene.seed.wrapping_add(index as u64 + 1);
    let mut scene = Scene { beam: Some(beam), seed, ..setup.scene.clone() };
    scene.sensor.blur_px = setup.ring_blur_px.unwrap_or(scene.sensor.blur_px);
    if setup.is_together {
        let drawn = draw_bench(&scene, &setup.scales).map_err(|fault| fault.to_string())?;
        return Ok((drawn.jpeg, drawn.ring.ok_or("no ring was drawn")?));
    }
    draw_ring(&scene).map(|drawn| (drawn.jpeg, drawn.truth)).map_err(|fault| fault.to_string())
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
    let coils = if setup.are_coils_stated {
        "[coils]\nshape = \"circular\"\nmean_radius = \"155.0 mm ± 0.5 mm\"\nseparation = \"155.0 mm ± 0.5 mm\"\nturns = 126\n\
         winding_radial = \"12 mm\"\nwinding_axial = \"15 mm\"\nfield_direction = \"+z\"\n"
    } else {
        ""
    };
    format!(
        "# drawn for a study of the photographs\n\
         [bench]\nformat = 1\nname = \"Drawn bench\"\n\
         {coils}\
         [gun]\nmuzzle = [\"{x:.1} mm\", \"{y:.1} mm\", \"{z:.1} mm\"]\nmuzzle_uncertainty = \"0.5 mm\"\n\
         [bulb]\nouter_radius = \"{radius} mm ± 0.5 mm\"\nglass_thickness = \"{glass:.1} mm ± 0.2 mm\"\nglass_index = \"{index} ± 0.02\"\n\
         [camera]\ndistance = \"{distance:.0} mm ± {distance_u:.0} mm\"\n\
         [scale]\nkind = \"{}\"\nspacing = \"{} mm\"\nrelative_uncertainty = \"0.01 %\"\noffset = \"{:.2} mm ± 0.3 mm\"\n",
        setup.kind, setup.spacing_mm, setup.offset_mm
    )
}

/// Draws and measures one bench; where pictures are `kept`, one drawn before is measured again.
pub(crate) fn bench(condition: &Condition, bench: u64, kept: Option<&Path>) -> Result<Vec<Row>, String> {
    let passing = tempfile::tempdir().map_err(|fault| fault.to_string())?;
    let folder = kept.map_or_else(
        || passing.path().to_owned(),
        |kept| kept.join(format!("{}-{bench}", condition.name.replace(' ', "-"))),
    );
    let truths = match drawn_before(&folder) {
        Some(truths) => truths,
        None => draw_into(&folder, condition, bench)?,
    };
    let notebook = Notebook::open(&folder).map_err(|fault| fault.to_string())?;
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
