//! One picture with its notebook: what is drawn, and what a person would have written down.

use std::path::Path;

use arcmass_draw::{FoundCondition, FoundPath, FoundScene, draw_found, found_by_lot};
use arcmass_physics::winding::CoilSet;
use arcmass_physics::{BenchField, PreparedField, TraceOptions, Until, Vec3, trace};

use super::super::dice::Dice;
use super::truth::{self, Truth};

/// The picture's name in its notebook; it holds ring and scale.
pub(super) const PHOTO: &str = "bench.jpg";
/// Standard uncertainty of the camera's distance in parts of it: measured with a tape, or guessed.
const DISTANCE_U: [f64; 2] = [0.02, 0.10];
/// Of the scale's distance from the ring's plane, and of the bulb's and the rim's radius.
const OFFSET_U_MM: f64 = 2.0;
/// Turns to ask for beyond which the second one is drawn; see the condition.
const ONE: f64 = 1.0;

/// Draws a picture and its notebook; gives the truth.
pub(super) fn draw_into(folder: &Path, condition: &FoundCondition, seed: u64) -> Result<Truth, String> {
    let asked = std::cell::Cell::new(ONE);
    let fault = std::cell::RefCell::new(None);
    let path = |path: &FoundPath| {
        asked.set(path.turns);
        traced(path).unwrap_or_else(|why| {
            *fault.borrow_mut() = Some(why);
            Vec::new()
        })
    };
    let scene = found_by_lot(condition, seed, &path);
    if let Some(why) = fault.into_inner() {
        return Err(why);
    }
    let drawn = draw_found(&scene).map_err(|fault| fault.to_string())?;
    let truth = truth::of(&scene, drawn.truth, asked.get())?;
    std::fs::create_dir_all(folder.join("photos")).map_err(|fault| fault.to_string())?;
    let write = |name: &str, bytes: &[u8]| {
        std::fs::write(folder.join(name), bytes).map_err(|fault| format!("{name}: {fault}"))
    };
    write(&format!("photos/{PHOTO}"), &drawn.jpeg)?;
    let mut dice = Dice::new(seed ^ 0xF0_0D);
    write("bench.toml", bench_file(&scene, &truth, &mut dice).as_bytes())?;
    let readings = format!("run,voltage_V,current_A,ring_photo,scale_photo\n1,200.0,1.5,{PHOTO},{PHOTO}\n");
    write("readings.csv", readings.as_bytes())?;
    truth::write(folder, &truth)?;
    Ok(truth)
}

/// The electrons' way through the field of a coil pair and a stray one.
fn traced(path: &FoundPath) -> Result<Vec<[f64; 3]>, String> {
    let set = CoilSet::pair(0.155, 0.155, 126.0, 0.012, 0.015, 1.0);
    let prepared = PreparedField::new(&set, 0.09).map_err(|fault| fault.to_string())?;
    let background_t = Vec3::new(8e-6, -35e-6, 12e-6);
    let field = BenchField { prepared: &prepared, current_a: 1.5, scale: 1.0, background_t };
    let centre = prepared.flux_density_per_ampere(Vec3::ZERO).map_err(|fault| fault.to_string())?.z;
    let rigidity = 1.5 * centre * 1e-3 * path.radius_mm;
    let vector = |[x, y, z]: [f64; 3], scale: f64| Vec3::new(x * scale, y * scale, z * scale);
    let (start, along) = (vector(path.muzzle_mm, 1e-3), vector(path.direction, 1.0));
    let way = trace(&field, start, along, -rigidity, Until::Turns(path.turns), &TraceOptions::default())
        .map_err(|fault| fault.to_string())?;
    let count = (1e3 * way.length_m()).ceil() as usize;
    Ok(way.points(count, false).iter().map(|p| [1e3 * p.x, 1e3 * p.y, 1e3 * p.z]).collect())
}

fn bench_file(scene: &FoundScene, truth: &Truth, dice: &mut Dice) -> String {
    let distance_u = DISTANCE_U[dice.below(2)] * truth.distance_mm;
    let distance = truth.distance_mm + distance_u * dice.normal();
    let coils = &scene.coils;
    let [x, y, z] = scene.gun.muzzle_mm;
    let radius = scene.bulb.outer_radius_mm + 0.5 * dice.normal();
    let scale = truth.plane_offset_mm.map_or_else(
        || "[scale]\nkind = \"ruler\"\nspacing = \"1 mm\"\n".to_owned(),
        |offset| {
            let offset = offset + OFFSET_U_MM * dice.normal();
            let fine =
                scene.scale.as_ref().map_or(1, |scale| if scale.fine_mm == 0 { 10 } else { scale.fine_mm });
            format!(
                "[scale]\nkind = \"ruler\"\nspacing = \"{fine} mm\"\nrelative_uncertainty = \"0.1 %\"\n\
                 offset = \"{offset:.1} mm ± {OFFSET_U_MM:.1} mm\"\n"
            )
        },
    );
    format!(
        "# drawn for a study of the photographs\n\
         [bench]\nformat = 1\nname = \"Drawn bench\"\n\
         [coils]\nshape = \"circular\"\nmean_radius = \"{0:.1} mm ± 1 mm\"\nseparation = \"{1:.1} mm ± 1 mm\"\nturns = 126\n\
         winding_radial = \"{2:.0} mm\"\nwinding_axial = \"{3:.0} mm\"\nfield_direction = \"+z\"\n\
         [gun]\nmuzzle = [\"{x:.1} mm\", \"{y:.1} mm\", \"{z:.1} mm\"]\nmuzzle_uncertainty = \"2 mm\"\n\
         [bulb]\nouter_radius = \"{radius:.1} mm ± 1 mm\"\nglass_thickness = \"{4:.1} mm ± 0.4 mm\"\nglass_index = \"1.48 ± 0.02\"\n\
         [camera]\ndistance = \"{distance:.0} mm ± {distance_u:.0} mm\"\n{scale}",
        coils.mean_radius_mm,
        coils.separation_mm,
        coils.winding_radial_mm,
        coils.winding_axial_mm,
        scene.bulb.glass_thickness_mm,
    )
}
