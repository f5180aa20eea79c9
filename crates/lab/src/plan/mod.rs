//! The job `plan`: which settings to take next, what they will tell, and what no number of runs removes.

mod allowed;
pub mod document;
pub mod exchange;
mod ground;
pub mod information;
mod order;
mod outlook;
mod window;

use arcmass_notebook::Notebook;
use arcmass_quantity::Caveat;
use nalgebra::DVector;

pub use allowed::{AllowedSetting, Beyond, Ratings};
use document::{Expected, PlanDocument, PlannedSetting};
use exchange::Candidate;
use ground::{Ground, Rows};
use window::{Bounds, Possible, Stand, sign};

use crate::assume::{self, Apparatus};
use crate::desk::{Desk, LabError};
use crate::document::{CaveatEntry, RingsDocument};
use crate::photograph::{Progress, Silent};
use crate::spread::{self, Spread};

/// What is asked of a plan.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct PlanQuestion {
    /// How many settings to propose.
    pub runs: usize,
}

/// Most settings that are proposed at once.
const MOST_RUNS: usize = 100;
/// A setting is proposed at most this many times: repeats share what is wrong with that setting.
const MOST_REPEATS: usize = 2;
/// By how much repeats must be better than as many different settings to be proposed.
const WORTH_REPEATING: f64 = 0.03;
/// By how much turning the bench must be better than exchanging leads to be proposed: it needs room and moves everything.
const WORTH_TURNING: f64 = 0.03;
/// Coverage factor of go and no-go: 19 of 20 good readings lie inside.
const GO: f64 = 2.0;

/// Plans the next runs of a bench.
///
/// - **Takes** the notebook, the photographs as far as they are measured, and how many runs to plan.
/// - **Gives** settings that keep every rating, each traced; among them those that make the mass's variance small, as stated
///   and with offsets set free (product of both), in an order in which leads or bench change once.
/// - **Fails** where a rating is not stated, the field is unknown, or no setting gives a ring inside the bulb.
pub fn plan(
    notebook: &Notebook,
    rings: Option<&RingsDocument>,
    question: PlanQuestion,
    desk: &Desk,
) -> Result<PlanDocument, LabError> {
    planned(notebook, rings, question, desk, &Silent)
}

/// The same, telling how far it is, and ending early where it is asked to.
///
/// - **Fails** as [`plan`] does, and where it was stopped.
pub fn planned(
    notebook: &Notebook,
    rings: Option<&RingsDocument>,
    question: PlanQuestion,
    desk: &Desk,
    progress: &dyn Progress,
) -> Result<PlanDocument, LabError> {
    let step = |done: usize, what: &str| {
        progress.done(done, STEPS, what);
        if progress.is_stopped() { Err(stopped()) } else { Ok(()) }
    };
    check(question)?;
    step(0, "tracing the settings that keep every rating")?;
    let ratings = Ratings::of(&notebook.bench)?;
    let apparatus = Apparatus::of(&notebook.bench)?;
    let ground = Ground::of(notebook, &apparatus, rings)?;
    let bounds = Bounds::of(notebook, &ground, ratings)?;
    let groups = arrangements(&ground, &bounds);
    let possible: Vec<Possible> = groups.iter().flat_map(|(_, group)| group.iter().cloned()).collect();
    if possible.is_empty() {
        return Err(no_ring());
    }
    step(1, "calculating what each setting would contribute")?;
    let data: Vec<_> = possible.iter().map(|one| one.datum.clone()).collect();
    let rows = ground.rows(&data)?;
    let further: Vec<DVector<f64>> = rows.further().collect();
    let candidates: Vec<Candidate> = further
        .iter()
        .zip(&data)
        .map(|(row, datum)| vec![row.clone(), ground.with_edge(row, datum)])
        .collect();
    let views = [ground.as_stated(&rows), ground.widened(&rows)];
    step(2, "choosing the best set of runs")?;
    let chosen = best(&views, &candidates, &groups, question.runs).ok_or_else(no_ring)?;
    let planned: Vec<DVector<f64>> = chosen.iter().filter_map(|place| further.get(*place).cloned()).collect();
    let wide: Vec<DVector<f64>> =
        chosen.iter().filter_map(|place| candidates.get(*place)?.get(1).cloned()).collect();

    step(3, "finding what no number of runs removes")?;
    let [stated, widened] = &views;
    let after = |view: &information::View, rows: &[DVector<f64>]| {
        view.covariance(rows.iter().map(|row| (row, 1.0))).ok_or_else(undetermined)
    };
    let (stated_after, widened_after) = (after(stated, &planned)?, after(widened, &wide)?);
    let priors = ground.model.unknowns.priors();
    let of_mass = |rows_of: &[DVector<f64>]| ground.mass_percent(&rows, &priors, rows_of, 1.0);
    let target = ground.mass();
    let as_stated_percent = of_mass(&planned).ok_or_else(undetermined)?;
    let floor = outlook::floor(&ground, &rows, &planned).ok_or_else(undetermined)?;
    let promised = [as_stated_percent, floor.standard_uncertainty_percent];
    let settings: Vec<&Possible> = chosen.iter().filter_map(|place| possible.get(*place)).collect();
    let start = ground.stands.or(settings.first().map(|one| one.stand)).unwrap_or(AS_DESCRIBED);
    let order = order::order(&settings, start);
    let (settings, changes) = written(&ground, &rows, &settings, &planned, &order, start)?;
    Ok(PlanDocument {
        schema: "arcmass.plan/1".to_owned(),
        made_by: desk.made_by(notebook.inputs()),
        window: bounds
            .document(groups.iter().map(|(stand, group)| window::arrangement(*stand, group)).collect()),
        measured_as: ground.measured_as.clone(),
        runs_taken: ground.taken + ground.pending,
        changes,
        expected: Expected {
            now_percent: (ground.taken > 0).then(|| of_mass(&[])).flatten(),
            as_stated_percent,
            if_offsets_are_free_percent: outlook::percent(widened_after[(target, target)]),
        },
        budget: outlook::budget(&ground, &rows, &planned, 1.0, as_stated_percent),
        separates: outlook::separations(&ground, &stated_after, &widened_after),
        would_lower: outlook::remedies(&ground, &rows, &planned, promised),
        floor,
        cautions: arcmass_notebook::cautions::all().map(str::to_owned).collect(),
        caveats: caveats(&apparatus, &ground, &bounds, &groups, &settings),
        settings,
    })
}

/// Steps of the work that are told.
const STEPS: usize = 4;
const AS_DESCRIBED: Stand = Stand { sense: 1.0, turned_deg: 0.0, tilt_deg: 0.0 };

fn check(question: PlanQuestion) -> Result<(), LabError> {
    if (1..=MOST_RUNS).contains(&question.runs) {
        return Ok(());
    }
    Err(LabError::lacking(
        "command line",
        format!("a plan has 1 to {MOST_RUNS} runs, got {}", question.runs),
        "12 runs are a good evening's work",
    ))
}

/// Each way the bench can stand with the settings that serve: as described, leads exchanged, bench turned.
fn arrangements(ground: &Ground<'_>, bounds: &Bounds) -> Vec<(Stand, Vec<Possible>)> {
    let best_tilt = |sense: f64, turned_deg: f64| {
        // a reversed field normally needs the tube turned half round; where it doesn't, tilt 0 serves more settings
        let of = |tilt_deg: f64| {
            let stand = Stand { sense, turned_deg, tilt_deg };
            (stand, bounds.possible(ground, stand))
        };
        let first = of(if sense > 0.0 { 0.0 } else { 180.0 });
        if first.1.is_empty() { of(if sense > 0.0 { 180.0 } else { 0.0 }) } else { first }
    };
    let mut found = vec![best_tilt(1.0, 0.0), best_tilt(-1.0, 0.0), best_tilt(1.0, 180.0)];
    if let Some(stands) = ground.stands.filter(|own| !found.iter().any(|(other, _)| other.is_like(own))) {
        found.push((stands, bounds.possible(ground, stands)));
    }
    found.retain(|(_, possible)| !possible.is_empty());
    found
}

/// The best choice that changes leads or bench at most once.
fn best(
    views: &[information::View],
    candidates: &[Candidate],
    groups: &[(Stand, Vec<Possible>)],
    count: usize,
) -> Option<Vec<usize>> {
    let mut from = 0;
    let mut ranges = Vec::new();
    for (stand, group) in groups {
        ranges.push((*stand, from..from + group.len()));
        from += group.len();
    }
    let mut pairs: Vec<(f64, Vec<usize>)> = Vec::new();
    for (a, (first, one)) in ranges.iter().enumerate() {
        let others = ranges.iter().skip(a + 1).map(|(stand, range)| (Some(stand), range.clone()));
        for (second, other) in others.chain(std::iter::once((None, 0..0))) {
            let places: Vec<usize> = one.clone().chain(other).collect();
            let few: Vec<Candidate> =
                places.iter().filter_map(|place| candidates.get(*place).cloned()).collect();
            let turns = second.is_some_and(|second| second.turned_deg != first.turned_deg);
            // a share of u that something must gain, in terms of the cost
            let price = |asked: bool, gain: f64| {
                if asked { -2.0 * views.len() as f64 * (1.0 - gain).ln() } else { 0.0 }
            };
            for repeats in 1..=MOST_REPEATS.max(count.div_ceil(few.len().max(1))) {
                let Some(chosen) = exchange::choose(views, &few, count, repeats) else { continue };
                let Some(cost) = exchange::cost(views, &few, &chosen) else { continue };
                let price = price(turns, WORTH_TURNING) + price(repeats > 1, WORTH_REPEATING);
                let chosen = chosen.into_iter().filter_map(|own| places.get(own).copied()).collect();
                pairs.push((cost + price, chosen));
            }
        }
    }
    pairs.into_iter().min_by(|a, b| a.0.total_cmp(&b.0)).map(|(_, chosen)| chosen)
}

/// Settings and changes as the document has them.
fn written(
    ground: &Ground<'_>,
    rows: &Rows,
    settings: &[&Possible],
    planned: &[DVector<f64>],
    order: &[usize],
    start: Stand,
) -> Result<(Vec<PlannedSetting>, Vec<document::Change>), LabError> {
    let mut view = ground.as_stated(rows);
    if !ground.mass_is_measured {
        // the expected diameter is that of the known particle: its mass is no doubt here
        view.change_precision(view.target(), 0.0, 1e18);
    }
    let before = view.covariance(std::iter::empty()).ok_or_else(undetermined)?;
    let mut stands = start;
    let (mut list, mut changes) = (Vec::new(), Vec::new());
    for (number, place) in (1..).zip(order) {
        let (Some(one), Some(row)) = (settings.get(*place), planned.get(*place)) else { continue };
        changes.extend(order::change(number, stands, one.stand));
        stands = one.stand;
        let noise = ground.model.run_noise(&one.datum);
        let u = noise * (&before * row).dot(row).max(0.0).sqrt();
        let go = GO * u.hypot(noise);
        list.push(PlannedSetting {
            order: number,
            voltage_v: one.allowed.voltage_v(),
            current_a: one.allowed.current_a(),
            field_sense: sign(one.stand.sense).to_owned(),
            bench_turned_deg: one.stand.turned_deg,
            gun_tilt_deg: one.stand.tilt_deg,
            expected_diameter_mm: spread::quantity(one.datum.diameter_m, &[Spread::Normal(u)]).times(1e3),
            go_from_mm: 1e3 * (one.datum.diameter_m - go),
            go_to_mm: 1e3 * (one.datum.diameter_m + go),
        });
    }
    Ok((list, changes))
}

fn stopped() -> LabError {
    LabError::lacking("command line", "the plan was stopped before it was made", "plan again")
}

fn no_ring() -> LabError {
    LabError::lacking(
        "bench.toml",
        "no setting within the ratings gives a ring that clears the glass, is large enough to read and lies where the \
         field is uniform",
        "check the ratings, voltage_minimum, the bulb, muzzle and direction, and field_direction; \
         `arcmass path` shows where one setting's beam goes",
    )
}

fn undetermined() -> LabError {
    LabError::lacking(
        "bench.toml",
        "these settings would not fix the mass: nothing says how strong the field is",
        "state the coil geometry and turns, a field_per_ampere, or give a field-probe.csv",
    )
}

fn caveats(
    apparatus: &Apparatus,
    ground: &Ground<'_>,
    bounds: &Bounds,
    groups: &[(Stand, Vec<Possible>)],
    settings: &[PlannedSetting],
) -> Vec<CaveatEntry> {
    let mut list: Vec<Caveat> = Vec::new();
    if bounds.reach_m.is_none() {
        list.push(Caveat::new(
            "bulb-not-stated",
            "the bulb is not stated, so no setting was checked against the glass",
            "state outer_radius, glass_thickness and clearance under [bulb]",
        ));
    }
    if !bounds.voltage_minimum_is_stated {
        list.push(Caveat::new(
            "voltage-minimum-not-stated",
            format!(
                "the voltage below which the beam can't be seen is not stated; taken as {:.0} V",
                bounds.voltage_minimum_v
            ),
            "find it once with the lights off and state voltage_minimum under [gun]",
        ));
    }
    let reverses = |stand: &Stand| stand.sense < 0.0 || stand.turned_deg != 0.0;
    if !groups.iter().any(|(stand, _)| reverses(stand)) {
        list.push(Caveat::new(
            "no-reversal",
            "no setting with reversed leads or the bench rotated by 180° gives a ring, so a stray field along the axis is not \
             separable from m",
            "see whether the tube or the whole bench can be rotated by 180°",
        ));
    }
    if ground.pending > 0 {
        list.push(Caveat::new(
            "diameters-pending",
            format!(
                "{} runs have no diameter yet; they count as if measured at the expected one",
                ground.pending
            ),
            "measure their photographs with `arcmass rings`, then plan again",
        ));
    }
    if !ground.mass_is_measured {
        list.push(Caveat::new(
            "prediction-from-accepted-mass",
            "with no run taken yet, the expected diameters are those of the particle's accepted mass",
            "judge only slips by them; the reduction never sees them",
        ));
    }
    let repeated = settings.iter().enumerate().any(|(i, a)| {
        settings.iter().skip(i + 1).any(|b| {
            a.voltage_v == b.voltage_v
                && a.current_a == b.current_a
                && a.field_sense == b.field_sense
                && a.bench_turned_deg == b.bench_turned_deg
        })
    });
    if repeated {
        list.push(Caveat::new(
            "setting-repeated",
            "some settings appear twice",
            "set them anew for the second time, both knobs from below, and photograph again",
        ));
    }
    let matters = |silent: &&assume::Silent| {
        let is_held =
            |code| ground.model.unknowns.iter().any(|(_, unknown, _)| unknown.naming().code == code);
        let is_read = silent.code == "background-not-stated" && !ground.model.probe.is_empty();
        silent.effects.is_empty() || !is_read && silent.effects.iter().any(|code| is_held(*code))
    };
    let silent = apparatus.silent.iter().filter(matters).map(|silent| CaveatEntry {
        code: silent.code.to_owned(),
        sentence: silent.sentence.clone(),
        remedy: silent.remedy.to_owned(),
    });
    list.into_iter().map(CaveatEntry::from).chain(silent).collect()
}
