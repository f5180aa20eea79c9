//! The job `path`: the ring or helix that a setting will make, in the real field.

use arcmass_notebook::Notebook;
use arcmass_physics::{
    BenchField, FieldError, GunShape, MagneticField, Surroundings, TraceOptions, Vec3, motion, summarise,
};
use arcmass_quantity::constants::ELEMENTARY_CHARGE;
use nalgebra::DVector;

mod beam;
mod learnt;
mod notes;
mod way;

use crate::assume::Apparatus;
use crate::calibrate;
use crate::desk::{Desk, LabError};
use crate::document::{CaveatEntry, PathDocument, Q};
use crate::field::{field_only, inner_radius_m};
use crate::model::{FieldShape, Unknown, aimed, turned};

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
/// The gun's body, which no bench file states: length and radius, mm; common practice, no source.
pub const GUN_BODY_MM: [f64; 2] = [30.0, 6.0];
const GUN: GunShape = GunShape { radius_m: 1e-3 * GUN_BODY_MM[1], length_m: 1e-3 * GUN_BODY_MM[0] };
/// Highest voltage asked for, V, and largest current, A: far above any bench of this kind; common practice, no source.
const MOST_VOLTAGE_V: f64 = 1e6;
const MOST_CURRENT_A: f64 = 1e3;

/// Predicts the path of one setting: field per ampere in use, background, gun, relativistic motion.
///
/// - **Fails** where the voltage or current is not above 0 or beyond any bench, the field is unknown, or no turn is completed.
pub fn path(notebook: &Notebook, setting: &Setting, desk: &Desk) -> Result<PathDocument, LabError> {
    check(setting)?;
    Calibrated::of(notebook, desk)?.followed(notebook, setting, desk, true)
}

/// A bench with its field fixed once, to predict one setting after another while a slider moves.
#[derive(Debug, Clone)]
pub struct Calibrated {
    apparatus: Apparatus,
    shape: FieldShape,
    /// Of the shape at the centre, for one ampere.
    centre_t: f64,
    /// Field per ampere in use, T/A.
    best_t: f64,
    background_t: Vec3,
    in_use: Q,
    /// Of the ammeter, as the field tables taught: gain and zero, A.
    ammeter: [f64; 2],
    has_probe: bool,
    clash: Option<CaveatEntry>,
    learnt: Option<CaveatEntry>,
}

impl Calibrated {
    /// Fits the field of a notebook.
    ///
    /// - **Fails** where the field is unknown.
    pub fn of(notebook: &Notebook, desk: &Desk) -> Result<Self, LabError> {
        let apparatus = Apparatus::of(&notebook.bench)?;
        let bench = field_only(notebook, &apparatus)?;
        let joint = calibrate::fit(&bench.model)?;
        let per_ampere = calibrate::field_per_ampere(&bench, &joint, desk)?;
        let [bx, by, bz] = calibrate::background(&bench.model, &joint).map(|q| q.value);
        let best_t = bench.model.field_per_ampere(&bench.model.values(&joint.estimate))?;
        let start = DVector::from_vec(bench.model.unknowns.start());
        let shape = bench.model.shape(&bench.model.values(&start))?;
        let centre_t = shape.at(Vec3::ZERO, apparatus.field_direction)?.norm();
        let has_probe = bench.scope.has_probe;
        let clash = crate::field::clash(&per_ampere).map(notes::clash);
        let background_t = Vec3::new(bx, by, bz);
        let fitted = bench.model.values(&joint.estimate);
        let ammeter = [fitted.get(Unknown::AmmeterGain), fitted.get(Unknown::AmmeterZero)];
        drop(bench);
        let offset_v = apparatus.voltage_offset.value;
        let learnt = learnt::finding(notebook).map(|finding| learnt::caveat(&finding, offset_v));
        Ok(Self {
            apparatus,
            shape,
            centre_t,
            best_t,
            background_t,
            in_use: per_ampere.in_use,
            ammeter,
            has_probe,
            clash,
            learnt,
        })
    }

    /// The path of one setting of the notebook it was made of, like [`path`] but without the beam's width.
    ///
    /// - **Fails** where the voltage or current is not above 0 or beyond any bench, or no turn is completed.
    pub fn path(
        &self,
        notebook: &Notebook,
        setting: &Setting,
        desk: &Desk,
    ) -> Result<PathDocument, LabError> {
        check(setting)?;
        self.followed(notebook, setting, desk, false)
    }

    fn followed(
        &self,
        notebook: &Notebook,
        setting: &Setting,
        desk: &Desk,
        with_beam: bool,
    ) -> Result<PathDocument, LabError> {
        let apparatus = &self.apparatus;
        let launch = Launch::new(apparatus, self.ammeter, setting)?;
        let drive = self.best_t / self.centre_t * launch.current_a * setting.field_sense;
        let background_t = turned(self.background_t, setting.bench_turned_deg.to_radians());
        let (has_probe, in_use) = (self.has_probe, self.in_use);
        let asked = Asked { notebook, setting, apparatus, has_probe, launch, in_use, with_beam };
        let mut document = match &self.shape {
            FieldShape::Coils { prepared, factor } => {
                asked.follow(&BenchField { prepared, current_a: drive, scale: *factor, background_t }, desk)
            }
            FieldShape::Uniform => {
                let uniform = Vec3::new(0.0, 0.0, apparatus.field_direction) * drive + background_t;
                asked.follow(&move |_: Vec3| -> Result<Vec3, FieldError> { Ok(uniform) }, desk)
            }
        }?;
        for said in [&self.learnt, &self.clash].into_iter().flatten() {
            document.caveats.insert(0, said.clone());
        }
        Ok(document)
    }
}

/// One setting on one bench.
struct Asked<'a> {
    notebook: &'a Notebook,
    setting: &'a Setting,
    apparatus: &'a Apparatus,
    has_probe: bool,
    launch: Launch,
    in_use: Q,
    with_beam: bool,
}

impl Asked<'_> {
    fn follow<F: MagneticField>(&self, field: &F, desk: &Desk) -> Result<PathDocument, LabError> {
        let (apparatus, launch) = (self.apparatus, &self.launch);
        let no_field = |fault: FieldError| no_path(&fault.to_string());
        let centre_t = field.flux_density(Vec3::ZERO).map_err(no_field)?;
        let direction = aimed(apparatus.gun.direction, self.setting.gun_tilt_deg.to_radians(), 0.0);
        let muzzle = match apparatus.gun.muzzle_m {
            Some([x, y, z]) => Vec3::new(x, y, z),
            None => centred_start(centre_t, direction, launch.rigidity_t_m)?,
        };
        let at_muzzle_t = field.flux_density(muzzle).map_err(no_field)?;
        let around = Surroundings { glass_inner_radius_m: inner_radius_m(self.notebook), gun: Some(GUN) };
        let rigidity = launch.rigidity_t_m;
        let summary =
            summarise(field, muzzle, direction, rigidity, &around, POINTS, &TraceOptions::default())
                .map_err(|fault| no_path(&fault.to_string()))?;
        let (drawn, end) = way::drawn(field, muzzle, direction, rigidity, &around)
            .map_err(|fault| no_path(&fault.to_string()))?;
        let (gas, gas_caveat) = beam::gas(self.notebook, launch.energy_ev(apparatus), &drawn);
        let mut caveats = notes::caveats(self, &summary, at_muzzle_t);
        caveats.extend(gas_caveat);
        let strength_t = at_muzzle_t.norm().max(f64::MIN_POSITIVE);
        let diameter_mm = summary.fitted_diameter_m.map(|d| 1e3 * d);
        Ok(PathDocument {
            schema: "arcmass.path/1".to_owned(),
            made_by: desk.made_by(self.notebook.inputs()),
            fitted_diameter_mm: diameter_mm,
            chord_diameter_mm: summary.chord_diameter_m.map(|d| 1e3 * d),
            pitch_mm: summary.pitch_m.map(|p| 1e3 * p),
            turns_to_glass: summary.turns_to_glass,
            glass_point_mm: summary.glass_point_m.map(mm),
            meets_gun: summary.meets_gun,
            speed_m_per_s: launch.speed_m_per_s,
            flux_density_at_muzzle_mt: mm(at_muzzle_t),
            points_mm: summary.points_m.iter().map(|p| mm(*p)).collect(),
            fitted_diameter_standard_uncertainty_mm: diameter_mm.map(|d| d * self.relative_u()),
            centre_mm: summary.fitted_circle.map(|c| [1e3 * c.centre_x_m, 1e3 * c.centre_y_m]),
            muzzle_mm: mm(muzzle),
            direction: [direction.x, direction.y, direction.z],
            accelerating_voltage_v: launch.accelerating_voltage_v,
            current_a: launch.current_a,
            // p⊥/(q B) = (p/q) |t × B| / B²
            gyroradius_mm: 1e3 * rigidity.abs() * at_muzzle_t.cross(direction).norm() / strength_t.powi(2),
            pitch_angle_deg: (at_muzzle_t.dot(direction) / strength_t).clamp(-1.0, 1.0).acos().to_degrees(),
            deviation: way::deviation(&summary, centre_t, rigidity),
            beam: if self.with_beam { beam::beam(self, field, muzzle, direction, &summary) } else { None },
            gas,
            end,
            drawn_mm: way::points(&drawn).into_iter().map(mm).collect(),
            caveats: caveats.into_iter().map(CaveatEntry::from).collect(),
        })
    }

    /// Of the diameter, relative, to first order: d ∝ √V / (k I).
    fn relative_u(&self) -> f64 {
        let apparatus = self.apparatus;
        let (volts, amperes) = (&apparatus.voltmeter, &apparatus.ammeter);
        let of_voltage = (volts.gain.u() * self.setting.voltage_v)
            .hypot(volts.zero.spread.u())
            .hypot(volts.per_reading_u)
            .hypot(apparatus.voltage_offset.spread.u());
        let of_current = (amperes.gain.u() * self.setting.current_a)
            .hypot(amperes.zero.spread.u())
            .hypot(amperes.per_reading_u);
        let of_field = self.in_use.standard_uncertainty / self.in_use.value.abs();
        (0.5 * of_voltage / self.launch.accelerating_voltage_v)
            .hypot(of_current / self.launch.current_a)
            .hypot(of_field)
    }
}

/// Metres to millimetres, tesla to millitesla.
fn mm(v: Vec3) -> [f64; 3] {
    [1e3 * v.x, 1e3 * v.y, 1e3 * v.z]
}

fn check(setting: &Setting) -> Result<(), LabError> {
    let bad = |what: &str, found: f64, most: f64, unit: &str| {
        let plain = (1e-3..1e6).contains(&found.abs()) || found == 0.0 || !found.is_finite();
        let got = if plain { format!("{found}") } else { format!("{found:e}") };
        Err(LabError::lacking(
            "command line",
            format!("{what} must be above 0 {unit} and at most {most} {unit}, got {got} {unit}"),
            "give the value as the meter reads it; reversed leads are `--field-sense -`",
        ))
    };
    if !(setting.voltage_v > 0.0 && setting.voltage_v <= MOST_VOLTAGE_V) {
        return bad("the voltage", setting.voltage_v, MOST_VOLTAGE_V, "V");
    }
    if !(setting.current_a > 0.0 && setting.current_a <= MOST_CURRENT_A) {
        return bad("the coil current", setting.current_a, MOST_CURRENT_A, "A");
    }
    if !(setting.gun_tilt_deg > -180.0 && setting.gun_tilt_deg <= 180.0) {
        return Err(LabError::lacking(
            "command line",
            format!("the gun tilt must lie above −180° and up to 180°, got {}°", setting.gun_tilt_deg),
            "0 is a ring, 180 the tube rotated by half a turn",
        ));
    }
    if !(-360.0..=360.0).contains(&setting.bench_turned_deg) {
        return Err(LabError::lacking(
            "command line",
            format!("the bench must be rotated by at most 360°, got {}°", setting.bench_turned_deg),
            "give the angle from the bench's first place, counter-clockwise seen from above",
        ));
    }
    Ok(())
}

/// What leaves the gun.
struct Launch {
    accelerating_voltage_v: f64,
    current_a: f64,
    rigidity_t_m: f64,
    speed_m_per_s: f64,
}

impl Launch {
    /// Readings corrected for the voltmeter's stated zero, the gun's stated offset and the ammeter's gain and zero.
    fn new(apparatus: &Apparatus, [gain, zero_a]: [f64; 2], setting: &Setting) -> Result<Self, LabError> {
        let charge = f64::from(apparatus.charge_number) * ELEMENTARY_CHARGE.value;
        let voltage = setting.voltage_v + apparatus.voltmeter.zero.value + apparatus.voltage_offset.value;
        if voltage <= 0.0 {
            return Err(no_path("the accelerating voltage, corrected for its offset, is not above 0 V"));
        }
        let current_a = setting.current_a * (1.0 + gain) + zero_a;
        if current_a <= 0.0 {
            return Err(no_path(
                "the coil current, corrected for the zero offset of the ammeter, is not above 0 A",
            ));
        }
        let energy = charge.abs() * voltage;
        let momentum = motion::momentum(energy, apparatus.assumed_mass_kg);
        Ok(Self {
            accelerating_voltage_v: voltage,
            current_a,
            rigidity_t_m: momentum / charge,
            speed_m_per_s: motion::speed(momentum, energy, apparatus.assumed_mass_kg),
        })
    }

    fn energy_ev(&self, apparatus: &Apparatus) -> f64 {
        self.accelerating_voltage_v * f64::from(apparatus.charge_number.abs())
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

fn no_path(why: &str) -> LabError {
    LabError::lacking(
        "bench.toml",
        format!("no path can be predicted: {why}"),
        "check voltage, current, gun and coils",
    )
}
