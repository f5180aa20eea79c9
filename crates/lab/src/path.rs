//! The job `path`: the ring or helix that a setting will make, in the real field.

use arcmass_notebook::Notebook;
use arcmass_physics::{BenchField, GunShape, Surroundings, TraceOptions, Vec3, motion, summarise};
use arcmass_quantity::Caveat;
use arcmass_quantity::constants::ELEMENTARY_CHARGE;
use nalgebra::DVector;

use crate::assume::Apparatus;
use crate::bench;
use crate::calibrate;
use crate::desk::{Desk, LabError};
use crate::document::{CaveatEntry, PathDocument};
use crate::model::{FieldShape, Scope, Unknowns, aimed, turned};

/// A setting to predict.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Setting {
    /// As read, V.
    pub voltage_v: f64,
    /// As read, A.
    pub current_a: f64,
    /// Gun tilt, degrees.
    pub gun_tilt_deg: f64,
    /// +1 or −1.
    pub field_sense: f64,
    /// Bench turned about the vertical, degrees.
    pub bench_turned_deg: f64,
}

/// Points of one predicted turn.
const POINTS: usize = 180;
/// Half the thickness of a gun whose body nobody stated, m: common practice, no source.
const GUN_RADIUS_M: f64 = 6e-3;
/// Length of such a gun, m: common practice, no source.
const GUN_LENGTH_M: f64 = 30e-3;

/// Predicts the path of one setting: field per ampere in use, background, gun, relativistic motion.
///
/// - **Fails** where the voltage or current is not above 0, the field is unknown, or no turn is completed.
pub fn path(notebook: &Notebook, setting: &Setting, desk: &Desk) -> Result<PathDocument, LabError> {
    check(setting)?;
    let apparatus = Apparatus::of(&notebook.bench)?;
    let mut bench = bench::bench(notebook, &apparatus, &[])?;
    bench.model.runs.clear();
    bench.model.unknowns =
        Unknowns::of(&apparatus, &Scope { has_probe: bench.scope.has_probe, ..Scope::default() });
    let joint = calibrate::fit_field(&bench.model)?;
    let values = bench.model.values(&joint.estimate);
    let per_ampere = bench.model.field_per_ampere(&values)?;
    let [bx, by, bz] = calibrate::background(&bench.model, &joint).map(|q| q.value);
    let background_t = turned(Vec3::new(bx, by, bz), setting.bench_turned_deg.to_radians());
    let start = DVector::from_vec(bench.model.unknowns.start());
    let shape = bench.model.shape(&bench.model.values(&start))?;
    let centre = shape.at(Vec3::ZERO, apparatus.field_direction)?.norm();
    let drive = per_ampere / centre * setting.current_a * setting.field_sense;
    let motion = Launch::new(&apparatus, setting)?;
    let direction = aimed(apparatus.gun.direction, setting.gun_tilt_deg.to_radians(), 0.0);
    let at = |point: Vec3| -> Result<Vec3, LabError> {
        Ok(shape.at(point, apparatus.field_direction)? * drive + background_t)
    };
    let muzzle = match apparatus.gun.muzzle_m {
        Some([x, y, z]) => Vec3::new(x, y, z),
        None => centred_start(at(Vec3::ZERO)?, direction, motion.rigidity_t_m)?,
    };
    let surroundings = Surroundings {
        glass_inner_radius_m: inner_radius_m(notebook),
        gun: Some(GunShape { radius_m: GUN_RADIUS_M, length_m: GUN_LENGTH_M }),
    };
    let options = TraceOptions::default();
    let summary = match &shape {
        FieldShape::Coils { prepared, factor } => {
            let field = BenchField { prepared, current_a: drive, scale: *factor, background_t };
            summarise(&field, muzzle, direction, motion.rigidity_t_m, &surroundings, POINTS, &options)
        }
        FieldShape::Uniform => {
            let uniform = at(Vec3::ZERO)?;
            let field = move |_: Vec3| -> Result<Vec3, arcmass_physics::FieldError> { Ok(uniform) };
            summarise(&field, muzzle, direction, motion.rigidity_t_m, &surroundings, POINTS, &options)
        }
    }
    .map_err(|fault| no_path(&fault.to_string()))?;
    let at_muzzle = at(muzzle)?;
    let mm = |p: Vec3| [1e3 * p.x, 1e3 * p.y, 1e3 * p.z];
    Ok(PathDocument {
        schema: "arcmass.path/1".to_owned(),
        made_by: desk.made_by(notebook.inputs()),
        fitted_diameter_mm: summary.fitted_diameter_m.map(|d| 1e3 * d),
        chord_diameter_mm: summary.chord_diameter_m.map(|d| 1e3 * d),
        pitch_mm: summary.pitch_m.map(|p| 1e3 * p),
        turns_to_glass: summary.turns_to_glass,
        glass_point_mm: summary.glass_point_m.map(mm),
        meets_gun: summary.meets_gun,
        speed_m_per_s: motion.speed_m_per_s,
        flux_density_at_muzzle_mt: [1e3 * at_muzzle.x, 1e3 * at_muzzle.y, 1e3 * at_muzzle.z],
        points_mm: summary.points_m.iter().map(|p| mm(*p)).collect(),
        caveats: caveats(notebook, &apparatus, setting, &summary)
            .into_iter()
            .map(CaveatEntry::from)
            .collect(),
    })
}

fn check(setting: &Setting) -> Result<(), LabError> {
    let bad = |what: &str, found: f64, unit: &str| {
        Err(LabError::lacking(
            "command line",
            format!("{what} must be above 0 {unit}, got {found} {unit}"),
            "give the value as the meter reads it; reversed leads are `--field-sense -`",
        ))
    };
    if !(setting.voltage_v > 0.0 && setting.voltage_v.is_finite()) {
        return bad("the voltage", setting.voltage_v, "V");
    }
    if !(setting.current_a > 0.0 && setting.current_a.is_finite()) {
        return bad("the coil current", setting.current_a, "A");
    }
    if !(setting.gun_tilt_deg > -180.0 && setting.gun_tilt_deg <= 180.0) {
        return Err(LabError::lacking(
            "command line",
            format!("the gun tilt must lie above −180° and up to 180°, got {}°", setting.gun_tilt_deg),
            "0 is a ring, 180 the tube turned half round",
        ));
    }
    if !(-360.0..=360.0).contains(&setting.bench_turned_deg) {
        return Err(LabError::lacking(
            "command line",
            format!("the bench must be turned by at most 360°, got {}°", setting.bench_turned_deg),
            "give the angle from the bench's first place, counter-clockwise seen from above",
        ));
    }
    Ok(())
}

/// What leaves the gun.
struct Launch {
    rigidity_t_m: f64,
    speed_m_per_s: f64,
}

impl Launch {
    fn new(apparatus: &Apparatus, setting: &Setting) -> Result<Self, LabError> {
        let charge = f64::from(apparatus.charge_number) * ELEMENTARY_CHARGE.value;
        let voltage = setting.voltage_v + apparatus.voltmeter.zero.value + apparatus.voltage_offset.value;
        if voltage <= 0.0 {
            return Err(no_path("the accelerating voltage, corrected for its offset, is not above 0 V"));
        }
        let energy = charge.abs() * voltage;
        let momentum = motion::momentum(energy, apparatus.assumed_mass_kg);
        Ok(Self {
            rigidity_t_m: momentum / charge,
            speed_m_per_s: motion::speed(momentum, energy, apparatus.assumed_mass_kg),
        })
    }
}

/// Start of a ring that is centred on the axis.
fn centred_start(field: Vec3, direction: Vec3, rigidity_t_m: f64) -> Result<Vec3, LabError> {
    let across = direction.cross(field) * rigidity_t_m.signum();
    let strength = across.norm();
    if strength <= 0.0 {
        return Err(no_path("the beam runs along the field"));
    }
    Ok(across * (-rigidity_t_m.abs() / (strength * strength)))
}

fn inner_radius_m(notebook: &Notebook) -> Option<f64> {
    let bulb = notebook.bench.bulb.as_ref()?;
    let outer = bulb.outer_radius.as_ref()?.value;
    Some(outer - bulb.glass_thickness.as_ref().map_or(0.0, |thickness| thickness.value))
}

fn no_path(why: &str) -> LabError {
    LabError::lacking(
        "bench.toml",
        format!("no path can be predicted: {why}"),
        "check voltage, current, gun and coils",
    )
}

fn caveats(
    notebook: &Notebook,
    apparatus: &Apparatus,
    setting: &Setting,
    summary: &arcmass_physics::PathSummary,
) -> Vec<Caveat> {
    let mut caveats = Vec::new();
    let limits = notebook.bench.gun.as_ref();
    if let Some(limit) = limits.and_then(|gun| gun.voltage_limit_v)
        && setting.voltage_v > limit
    {
        caveats.push(Caveat::new(
            "beyond-rating",
            format!("{} V is above the gun's limit of {limit} V", setting.voltage_v),
            "do not set it; choose a lower voltage",
        ));
    }
    if let Some(limit) = notebook.bench.pair.as_ref().and_then(|pair| pair.current_limit_a)
        && setting.current_a > limit
    {
        caveats.push(Caveat::new(
            "beyond-rating",
            format!("{} A is above the coils' limit of {limit} A", setting.current_a),
            "do not set it; choose a smaller current",
        ));
    }
    if apparatus.gun.muzzle_m.is_none() {
        caveats.push(Caveat::new(
            "muzzle-not-stated",
            "the gun's place is not stated; the ring is taken as centred on the coils' axis",
            "state muzzle and direction under [gun]",
        ));
    }
    if apparatus.coils.is_none() {
        caveats.push(Caveat::new(
            "field-fall-off",
            "the coils' sizes are not stated; the field is taken as uniform",
            "state mean_radius and separation under [coils]",
        ));
    }
    if summary.turns_to_glass.is_some_and(|turns| turns < 1.0) {
        caveats.push(Caveat::new(
            "meets-glass",
            "the beam meets the glass before it comes round",
            "raise the current, lower the voltage, or turn the tube by 180° if the leads are reversed",
        ));
    }
    caveats
}
