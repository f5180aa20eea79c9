//! The job `field`: flux density at points, the I → B line, probe against geometry, uniformity over the ring.

use arcmass_notebook::Notebook;
use arcmass_physics::Vec3;

pub mod map;
mod notes;
mod uniform;

use crate::assume::Apparatus;
use crate::bench::{self, Bench, ProbeLine};
use crate::calibrate;
use crate::desk::{Desk, LabError};
use crate::document::{FieldDocument, FieldPoint, LineFit, LineReading};
use crate::model::{Scope, Unknowns};

pub(crate) use notes::clash;
pub(crate) use uniform::inner_radius_m;

/// What a person asked of the field.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct FieldQuestion {
    /// Coil current, A; none: 1 A.
    pub current_a: Option<f64>,
    /// Points, mm.
    pub at_mm: Vec<[f64; 3]>,
    /// Whether the field is mapped across and along the axis.
    pub with_map: bool,
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

/// A bench with its field tables alone: the runs are left out, so that they can't pull the field towards a mass.
pub fn field_only<'a>(notebook: &Notebook, apparatus: &'a Apparatus) -> Result<Bench<'a>, LabError> {
    let mut bench = bench::bench(notebook, apparatus, &[])?;
    bench.model.runs.clear();
    bench.scope.has_runs = false;
    let scope = Scope { has_probe: bench.scope.has_probe, ..Scope::default() };
    bench.model.unknowns = Unknowns::of(apparatus, &scope);
    Ok(bench)
}

/// Calibrates the field from whatever the notebook holds.
///
/// - **Fails** where nothing gives the field per ampere, or a point lies on a wire.
pub fn field(notebook: &Notebook, question: &FieldQuestion, desk: &Desk) -> Result<FieldDocument, LabError> {
    check(question)?;
    let apparatus = Apparatus::of(&notebook.bench)?;
    let bench = field_only(notebook, &apparatus)?;
    let joint = calibrate::fit(&bench.model)?;
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
    let noise_is_stated = notebook.bench.meters.probe.as_ref().is_some_and(|meter| meter.noise.is_some());
    let map_fit = map::fit(&bench.model, &joint, noise_is_stated)?;
    let uniformity = uniform::uniformity(notebook, &bench.model, per_ampere.in_use.value)?;
    let map = match &uniformity {
        Some(over) if question.with_map => uniform::map(notebook, &bench.model, over.ring_diameter_mm)?,
        _ => None,
    };
    let probe_zero = calibrate::probe_zero(&bench.model, &joint);
    let found = notes::Found {
        notebook,
        bench: &bench,
        per_ampere: &per_ampere,
        background: &background,
        probe_zero: probe_zero.as_ref(),
        map: map_fit.as_ref(),
    };
    let (findings, caveats) = (notes::findings(&found), notes::caveats(&found));
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
        probe_zero_mt: probe_zero.map(|q| q.times(1e3)),
        line_fit: bench.line.as_ref().map(line_fit),
        covariance: calibrate::covariance(&bench.model, &joint)?,
        map_fit,
        current_a,
        points,
        uniformity,
        map,
        line: bench.line.as_ref().map(|line| readings(line, &bench)).unwrap_or_default(),
        findings,
        caveats,
    })
}

fn line_fit(line: &ProbeLine) -> LineFit {
    let covariance = |i: usize, j: usize| 1e6 * line.line.covariance[(i, j)];
    LineFit {
        slope_mt_per_a: 1e3 * line.line.slope,
        intercept_mt: 1e3 * line.line.intercept,
        covariance: [[covariance(0, 0), covariance(0, 1)], [covariance(1, 0), covariance(1, 1)]],
        scatter_mt: 1e3 * bench::scatter(line),
        from_scatter: line.from_scatter,
    }
}

fn readings(line: &ProbeLine, bench: &Bench<'_>) -> Vec<LineReading> {
    let u_t = bench.model.probe_u_t.hypot(line.line.slope * bench.model.apparatus.ammeter.per_reading_u);
    line.points
        .iter()
        .map(|(current_a, flux_density_t)| LineReading {
            current_a: *current_a,
            flux_density_mt: 1e3 * flux_density_t,
            residual_mt: 1e3 * (flux_density_t - line.line.intercept - line.line.slope * current_a),
            standard_uncertainty_mt: 1e3 * u_t,
        })
        .collect()
}
