//! What a plan promises: budget, what it separates, the floor below it, and what would lower that.

use arcmass_fit::joint::Prior;
use nalgebra::{DMatrix, DVector};

use super::document::{Floor, Remedy, Separation};
use super::ground::{Ground, Rows, WIDE_EDGE_M, WIDE_OFFSET_V, WIDE_STRAY_T};
use crate::desk::LabError;
use crate::document::BudgetLine;
use crate::model::{ProbeDatum, Unknown};
use crate::reduce::budget::kind_of;

/// As good as any number of runs: each setting this many times.
const UNLIMITED: f64 = 1e6;
/// A remedy that gains less than this share of the uncertainty is not named.
const WORTH_NAMING: f64 = 0.04;
/// Most remedies that are named.
const MOST_REMEDIES: usize = 6;

/// Standard uncertainty of the mass in percent, from the variance of ln m.
pub(super) fn percent(variance: f64) -> f64 {
    100.0 * variance.max(0.0).sqrt()
}

/// The parts of the mass's uncertainty, each planned row read `times` times (JCGM 100:2008, 5.1, as in a reduction).
///
/// - **Takes** the whole in percent: the squares of the parts add up to its square.
pub(super) fn budget(
    ground: &Ground<'_>,
    rows: &Rows,
    planned: &[DVector<f64>],
    times: f64,
    whole_percent: f64,
) -> Vec<BudgetLine> {
    let priors = ground.model.unknowns.priors();
    let expected = ground.fit_expected(rows, &priors, planned, times);
    let Some(joint) = expected.and_then(|joint| joint.matched::<LabError>().ok()) else { return Vec::new() };
    let mut parts: Vec<(&'static str, f64)> = Vec::new();
    let mut add = |words: &'static str, variance: f64| match parts.iter_mut().find(|line| line.0 == words) {
        Some(line) => line.1 += variance,
        None => parts.push((words, variance)),
    };
    let counts = [rows.known_runs(), ground.model.probe.len(), ground.model.balance.len()];
    let known = rows.known().count();
    for (place, sensitivity) in joint.sensitivity_to_data(ground.mass()).iter().enumerate() {
        let words = if place < known { kind_of(counts, place) } else { kind_of([1, 0, 0], 0) };
        add(words, sensitivity * sensitivity);
    }
    for ((_, unknown, _), sensitivity) in
        ground.model.unknowns.iter().zip(joint.sensitivity_to_priors(ground.mass()))
    {
        add(unknown.naming().words, sensitivity * sensitivity);
    }
    let total: f64 = parts.iter().map(|part| part.1).sum();
    let mut lines: Vec<BudgetLine> = parts
        .into_iter()
        .filter(|part| part.1 > 1e-6 * total)
        .map(|(words, variance)| BudgetLine {
            input: words.to_owned(),
            standard_uncertainty_percent: whole_percent * (variance / total).sqrt(),
            share: variance / total,
        })
        .collect();
    lines.sort_by(|a, b| b.share.total_cmp(&a.share));
    lines
}

/// What the plan's runs tell apart from the mass: the three wide doubts first, then what the bench file states.
pub(super) fn separations(
    ground: &Ground<'_>,
    stated: &DMatrix<f64>,
    widened: &DMatrix<f64>,
) -> Vec<Separation> {
    let edge = widened.nrows().saturating_sub(1);
    let unknowns = &ground.model.unknowns;
    let mut found = Vec::new();
    let wide = [
        (
            unknowns.place(Unknown::VoltageOffset),
            "voltage-offset",
            "voltage offset of the gun",
            "V",
            1.0,
            WIDE_OFFSET_V,
        ),
        (
            unknowns.place(Unknown::BackgroundZ),
            "stray-field-axial",
            "stray field along the axis",
            "uT",
            1e6,
            WIDE_STRAY_T,
        ),
        (Some(edge), "edge-offset", "edge or zero offset of the diameter", "mm", 1e3, WIDE_EDGE_M),
    ];
    for (place, code, name, unit, factor, before) in wide {
        if let Some(place) = place {
            found.push(separation(code, name, unit, factor * before, factor * root(widened, place), true));
        }
    }
    for (place, unknown, prior) in unknowns.iter() {
        let naming = unknown.naming();
        if let Some((_, u)) = Prior::moments(prior) {
            let after = naming.factor * root(stated, place);
            found.push(separation(naming.code, naming.words, naming.unit, naming.factor * u, after, false));
        }
    }
    found
}

fn root(covariance: &DMatrix<f64>, place: usize) -> f64 {
    covariance[(place, place)].max(0.0).sqrt()
}

fn separation(code: &str, name: &str, unit: &str, before: f64, after: f64, is_wide: bool) -> Separation {
    Separation {
        code: code.to_owned(),
        name: name.to_owned(),
        unit: unit.to_owned(),
        before,
        after,
        separable: after <= 0.5 * before,
        is_wide,
    }
}

/// What no number of runs at these settings removes.
pub(super) fn floor(ground: &Ground<'_>, rows: &Rows, planned: &[DVector<f64>]) -> Option<Floor> {
    let priors = ground.model.unknowns.priors();
    let standard_uncertainty_percent = ground.mass_percent(rows, &priors, planned, UNLIMITED)?;
    let budget = budget(ground, rows, planned, UNLIMITED, standard_uncertainty_percent);
    let largest = budget.first().map_or_else(String::new, |line| {
        format!("; {:.0} % of its variance is the {}", 100.0 * line.share, line.input)
    });
    let sentence = format!(
        "no number of runs at these settings brings the standard uncertainty of the mass below {standard_uncertainty_percent:.2} %{largest}"
    );
    Some(Floor { standard_uncertainty_percent, budget, sentence })
}

/// What would lower the floor, the most helpful first.
///
/// - **Takes** what the plan and its floor promise without any of it, in percent.
pub(super) fn remedies(
    ground: &Ground<'_>,
    rows: &Rows,
    planned: &[DVector<f64>],
    [now, floor]: [f64; 2],
) -> Vec<Remedy> {
    let mut found: Vec<Remedy> = actions(ground)
        .into_iter()
        .filter_map(|action| {
            let priors = action.priors(ground)?;
            let extra = probe_rows(ground, &action.probe_at_a);
            let expected = |times: f64| {
                // a row of the probe is read once, however often the runs are
                let mut all: Vec<DVector<f64>> = planned.iter().map(|row| row * times.sqrt()).collect();
                all.extend(extra.iter().cloned());
                ground.mass_percent(rows, &priors, &all, 1.0)
            };
            let (expected_percent, floor_percent) = (expected(1.0)?, expected(UNLIMITED)?);
            let gains =
                expected_percent < (1.0 - WORTH_NAMING) * now || floor_percent < (1.0 - WORTH_NAMING) * floor;
            gains.then_some(Remedy { what: action.what, expected_percent, floor_percent })
        })
        .collect();
    found.sort_by(|a, b| a.floor_percent.total_cmp(&b.floor_percent));
    found.truncate(MOST_REMEDIES);
    found
}

/// Something a person can do beside the runs: what is then known of which unknowns.
struct Action {
    what: String,
    /// Standard uncertainties reached, SI.
    known_to: Vec<(Unknown, f64)>,
    /// Currents at which the probe would be read at the centre.
    probe_at_a: Vec<f64>,
}

impl Action {
    fn of(what: impl Into<String>, known_to: Vec<(Unknown, f64)>) -> Self {
        Self { what: what.into(), known_to, probe_at_a: Vec::new() }
    }

    /// What is then known of each unknown; none where nothing changes.
    fn priors(&self, ground: &Ground<'_>) -> Option<Vec<Prior>> {
        let mut priors = ground.model.unknowns.priors();
        let mut changed = !self.probe_at_a.is_empty();
        for (unknown, u) in &self.known_to {
            let place = ground.model.unknowns.place(*unknown);
            if let Some((place, prior)) = place.and_then(|place| Some((place, priors.get_mut(place)?)))
                && Prior::moments(*prior).is_none_or(|(_, own)| own > *u)
            {
                // what the better instrument would show is not known; it is taken to show the estimate
                *prior = Prior::Normal { mean: ground.theta[place], u: *u };
                changed = true;
            }
        }
        changed.then_some(priors)
    }
}

/// A rectangle of this half-width as a standard uncertainty.
fn limit(half_width: f64) -> f64 {
    half_width / 3.0_f64.sqrt()
}

fn actions(ground: &Ground<'_>) -> Vec<Action> {
    let mut list = vec![
        Action::of(
            "check the ammeter against a shunt of 0.1 % over the currents used",
            vec![(Unknown::AmmeterGain, limit(1e-3)), (Unknown::AmmeterZero, limit(1e-3))],
        ),
        Action::of(
            "check the voltmeter against one good to 0.1 %",
            vec![(Unknown::VoltmeterGain, limit(1e-3)), (Unknown::VoltmeterZero, limit(0.1))],
        ),
        Action::of(
            "measure the coils' separation at several places to 0.1 mm",
            vec![(Unknown::CoilSeparation, 1e-4)],
        ),
        Action::of(
            "measure the windings' inner and outer diameter at several places, so that the mean radius is known to 0.1 mm",
            vec![(Unknown::CoilRadius, 1e-4)],
        ),
        Action::of(
            "measure the gun's voltage offset to 0.5 V (retarding voltage, or the filament's drop)",
            vec![(Unknown::VoltageOffset, 0.5)],
        ),
        Action::of(
            "measure the distance of the scale from the plane of the anode aperture to 0.3 mm, with the tube out and the supplies off",
            vec![(Unknown::ScaleOffset, 0.3e-3)],
        ),
        Action::of("measure the camera's distance to 2 mm", vec![(Unknown::CameraDistance, 2e-3)]),
        Action::of(
            "measure the position of the anode aperture to 0.2 mm and the direction of the beam to 0.2°",
            vec![
                (Unknown::MuzzleX, 0.2e-3),
                (Unknown::MuzzleY, 0.2e-3),
                (Unknown::MuzzleZ, 0.2e-3),
                (Unknown::DirectionInPlane, 0.2_f64.to_radians()),
                (Unknown::DirectionAcross, 0.2_f64.to_radians()),
            ],
        ),
        Action::of(
            "read the background field along x, y and z with a reversed probe, to 2 µT",
            vec![(Unknown::BackgroundX, 2e-6), (Unknown::BackgroundY, 2e-6), (Unknown::BackgroundZ, 2e-6)],
        ),
        Action::of("have the ruler's length checked to 0.01 %", vec![(Unknown::LengthScale, 1e-4)]),
    ];
    if ground.model.probe.is_empty() {
        list.push(Action {
            probe_at_a: (1..=10).map(|k| f64::from(k) * 0.1 * largest_current(ground)).collect(),
            ..Action::of(
                "map the field at the centre with a probe good to 0.5 %, at ten currents, each way round",
                Vec::new(),
            )
        });
    } else {
        list.push(Action::of(
            "have the probe calibrated to 0.2 % (a long solenoid of counted turns, or a calibrated probe)",
            vec![(Unknown::ProbeGain, limit(2e-3))],
        ));
    }
    list
}

/// A probe's gain shows at any current; the runs' own are the ones it is wanted for.
fn largest_current(ground: &Ground<'_>) -> f64 {
    let read = ground.model.runs.iter().map(|run| run.current_read_a).fold(0.0, f64::max);
    if read > 0.0 { read } else { 2.0 }
}

/// Rows of a probe that is not there yet, its gain good to 0.5 % (limit), each reading to 2 µT: one shared gain, so the
/// readings' common part is one row more.
fn probe_rows(ground: &Ground<'_>, currents: &[f64]) -> Vec<DVector<f64>> {
    if currents.is_empty() {
        return Vec::new();
    }
    let mut model = ground.model.clone();
    model.runs.clear();
    model.balance.clear();
    let per_ampere = ground.model.field_per_ampere(&ground.model.values(&ground.theta)).unwrap_or(0.0);
    let current_noise_t = per_ampere * ground.model.apparatus.ammeter.per_reading_u;
    model.probe = currents
        .iter()
        .map(|current_a| ProbeDatum {
            current_read_a: *current_a,
            flux_density_read_t: 0.0,
            current_noise_t,
            axis: arcmass_notebook::Axis::Z,
            sign: 1.0,
            at_m: arcmass_physics::Vec3::ZERO,
            turned_rad: 0.0,
        })
        .collect();
    let Ok(at) = model.linearise(&ground.theta) else { return Vec::new() };
    // the slope B/I by such a probe: one number, as good as its gain (the background's part drops out of a line)
    let Some(last) = currents.last() else { return Vec::new() };
    let row = at.jacobian.row(currents.len() - 1).transpose();
    let noise = ground.model.probe_u_t.hypot(current_noise_t);
    let wanted = limit(5e-3) * per_ampere * last;
    let mut row = row * (noise / wanted.max(f64::MIN_POSITIVE));
    let dropped = [Unknown::BackgroundX, Unknown::BackgroundY, Unknown::BackgroundZ];
    // nor is it the probe that may be there already
    for unknown in dropped.into_iter().chain([Unknown::ProbeGain, Unknown::ProbeZero]) {
        if let Some(place) = ground.model.unknowns.place(unknown) {
            row[place] = 0.0;
        }
    }
    vec![row]
}
