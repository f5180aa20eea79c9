//! The job `field`: flux density at points, the I → B line, probe against geometry, uniformity over the ring.

use arcmass_notebook::Notebook;
use arcmass_physics::Vec3;
use arcmass_quantity::{Caveat, print};
use nalgebra::DVector;

use crate::assume::Apparatus;
use crate::bench::{self, Bench, ProbeLine};
use crate::calibrate::{self, FieldPerAmpere};
use crate::desk::{Desk, LabError};
use crate::document::{CaveatEntry, FieldDocument, FieldPoint, LineReading, Uniformity};
use crate::model::{Model, Scope, Unknowns};

/// What a person asked of the field.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct FieldQuestion {
    /// Coil current, A; none: 1 A.
    pub current_a: Option<f64>,
    /// Points, mm.
    pub at_mm: Vec<[f64; 3]>,
}

/// Largest coil current asked for, A: far above any bench of this kind; common practice, no source.
const LARGEST_CURRENT_A: f64 = 1e3;
/// Farthest point asked for, mm: 100 m; the coils' field is then a billionth of that at their centre.
const FARTHEST_MM: f64 = 1e5;

/// Refuses what no bench of this kind can mean.
fn check(question: &FieldQuestion) -> Result<(), LabError> {
    let is_vast = |current: &f64| !(-LARGEST_CURRENT_A..=LARGEST_CURRENT_A).contains(current);
    if let Some(current) = question.current_a.filter(is_vast) {
        return Err(LabError::lacking(
            "command line",
            format!(
                "the coil current must lie between −{LARGEST_CURRENT_A} A and {LARGEST_CURRENT_A} A, got {current:e} A"
            ),
            "give the value as the meter reads it, in A",
        ));
    }
    let is_far = |x: &&f64| !(-FARTHEST_MM..=FARTHEST_MM).contains(*x);
    if let Some(far) = question.at_mm.iter().flatten().find(is_far) {
        return Err(LabError::lacking(
            "command line",
            format!("a point must lie within {FARTHEST_MM} mm of the bulb's centre, got {far:e} mm"),
            "give the three numbers in mm, as in `--at 0,-40,0`",
        ));
    }
    Ok(())
}

/// Calibrates the field from whatever the notebook holds.
///
/// - **Fails** where nothing gives the field per ampere, or a point lies on a wire.
pub fn field(notebook: &Notebook, question: &FieldQuestion, desk: &Desk) -> Result<FieldDocument, LabError> {
    check(question)?;
    let apparatus = Apparatus::of(&notebook.bench)?;
    let mut bench = bench::bench(notebook, &apparatus, &[])?;
    bench.model.runs.clear();
    bench.scope.has_runs = false;
    let scope = Scope { has_probe: bench.scope.has_probe, ..Scope::default() };
    bench.model.unknowns = Unknowns::of(&apparatus, &scope);
    let joint = calibrate::fit_field(&bench.model)?;
    let per_ampere = calibrate::field_per_ampere(&bench, &joint, desk)?;
    let background = calibrate::background(&bench.model, &joint);
    let background_t = Vec3::new(background[0].value, background[1].value, background[2].value);
    let current_a = question.current_a.unwrap_or(1.0);
    let points_m: Vec<Vec3> =
        question.at_mm.iter().map(|[x, y, z]| Vec3::new(1e-3 * x, 1e-3 * y, 1e-3 * z)).collect();
    let at = calibrate::field_at(&bench.model, per_ampere.in_use.value, background_t, current_a, &points_m)?;
    let points = question
        .at_mm
        .iter()
        .zip(at)
        .map(|(at_mm, b)| FieldPoint { at_mm: *at_mm, flux_density_mt: [1e3 * b.x, 1e3 * b.y, 1e3 * b.z] })
        .collect();
    Ok(FieldDocument {
        schema: "arcmass.field/1".to_owned(),
        made_by: desk.made_by(notebook.inputs()),
        field_per_ampere_mt_per_a: per_ampere.in_use.times(1e3),
        geometry_mt_per_a: per_ampere.geometry.map(|q| q.times(1e3)),
        probe_mt_per_a: per_ampere.probe.map(|q| q.times(1e3)),
        stated_mt_per_a: per_ampere.stated.map(|q| q.times(1e3)),
        balance_mt_per_a: per_ampere.balance.map(|q| q.times(1e3)),
        probe_minus_geometry_in_u: per_ampere.probe_minus_geometry_in_u(),
        intercept_mt: per_ampere.intercept.map(|q| q.times(1e3)),
        background_mt: background.map(|q| q.times(1e3)),
        current_a,
        points,
        uniformity: uniformity(&bench.model)?,
        line: bench.line.as_ref().map(readings).unwrap_or_default(),
        caveats: caveats(&bench, &per_ampere).into_iter().map(CaveatEntry::from).collect(),
    })
}

fn readings(line: &ProbeLine) -> Vec<LineReading> {
    line.points
        .iter()
        .map(|(current_a, flux_density_t)| LineReading {
            current_a: *current_a,
            flux_density_mt: 1e3 * flux_density_t,
            residual_mt: 1e3 * (flux_density_t - line.line.intercept - line.line.slope * current_a),
        })
        .collect()
}

/// Over a ring of 0.3 coil radii that leaves the muzzle along its direction, or one centred on the axis.
fn uniformity(model: &Model<'_>) -> Result<Option<Uniformity>, LabError> {
    const SHARE_OF_COIL_RADIUS: f64 = 0.3;
    const POINTS: usize = 72;
    let Some(coils) = &model.apparatus.coils else { return Ok(None) };
    let coil_radius_m = match coils {
        crate::assume::CoilsKnown::Pair { mean_radius, .. } => mean_radius.value,
        crate::assume::CoilsKnown::List { coils, .. } => {
            coils.iter().map(|coil| coil.mean_radius.value).fold(f64::INFINITY, f64::min)
        }
    };
    let radius_m = SHARE_OF_COIL_RADIUS * coil_radius_m;
    let direction = model.apparatus.field_direction;
    let shape = model.shape(&model.values(&DVector::from_vec(model.unknowns.start())))?;
    let centre_field = shape.at(Vec3::ZERO, direction)?;
    if centre_field.norm() <= 0.0 {
        return Ok(None);
    }
    let centre = ring_centre(model, radius_m, centre_field);
    let mut sum = 0.0;
    let mut largest: f64 = 0.0;
    for index in 0..POINTS {
        let angle = std::f64::consts::TAU * index as f64 / POINTS as f64;
        let point = centre + Vec3::new(radius_m * angle.cos(), radius_m * angle.sin(), 0.0);
        let deviation = shape.at(point, direction)?.norm() / centre_field.norm() - 1.0;
        sum += deviation;
        if deviation.abs() > largest.abs() {
            largest = deviation;
        }
    }
    Ok(Some(Uniformity {
        ring_diameter_mm: 2e3 * radius_m,
        mean_deviation_percent: 100.0 * sum / POINTS as f64,
        largest_deviation_percent: 100.0 * largest,
    }))
}

fn ring_centre(model: &Model<'_>, radius_m: f64, field: Vec3) -> Vec3 {
    let gun = &model.apparatus.gun;
    let Some([x, y, z]) = gun.muzzle_m else { return Vec3::ZERO };
    let [dx, dy, dz] = gun.direction;
    let towards = Vec3::new(dx, dy, dz).cross(field) * f64::from(model.apparatus.charge_number.signum());
    let length = towards.norm();
    if length > 0.0 { Vec3::new(x, y, z) + towards * (radius_m / length) } else { Vec3::ZERO }
}

fn caveats(bench: &Bench<'_>, per_ampere: &FieldPerAmpere) -> Vec<Caveat> {
    let mut caveats = Vec::new();
    let apparatus = bench.model.apparatus;
    let measured_background = bench.scope.has_probe;
    for silent in &apparatus.silent {
        let is_silent = match silent.code {
            "background-not-stated" => !measured_background,
            code => code == "coil-size-uncertainty-not-stated",
        };
        if is_silent {
            caveats.push(Caveat::new(silent.code, silent.sentence.clone(), silent.remedy));
        }
    }
    if let (Some(z), Some(probe), Some(geometry)) =
        (per_ampere.probe_minus_geometry_in_u(), per_ampere.probe, per_ampere.geometry)
        && z.abs() > 3.0
    {
        caveats.push(Caveat::new(
            "field-scale",
            format!(
                "probe and geometry clash: {} against {} mT/A, {:.1} standard uncertainties apart",
                print::short(1e3 * probe.value, 1e3 * probe.standard_uncertainty),
                print::short(1e3 * geometry.value, 1e3 * geometry.standard_uncertainty),
                z.abs()
            ),
            "measure separation and mean radius again, count the turns, and check the probe in a known field",
        ));
    }
    if bench.scope.has_probe && !apparatus.probe.is_stated {
        caveats.push(Caveat::new(
            "meter-not-stated",
            "the probe's accuracy is not stated; the line's uncertainty holds its scatter only",
            "state [meters.probe] from the probe's data sheet",
        ));
    }
    if apparatus.coils.is_none() {
        caveats.push(Caveat::new(
            "field-fall-off",
            "the coils' sizes are not stated; the field is taken as the same everywhere",
            "state mean_radius and separation under [coils]",
        ));
    }
    if bench.probe_rows_left_out > 0 {
        caveats.push(Caveat::new(
            "probe-rows-left-out",
            format!("{} probe readings away from the centre are left out", bench.probe_rows_left_out),
            "state mean_radius and separation under [coils]",
        ));
    }
    caveats
}
