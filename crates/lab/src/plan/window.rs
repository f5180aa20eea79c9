//! Which settings serve at all: every one is traced, and must keep the ratings, clear the glass, glow, and stay where the
//! field is uniform.

use arcmass_notebook::Notebook;
use arcmass_physics::{Vec3, motion};
use arcmass_quantity::constants::ELEMENTARY_CHARGE;

use super::allowed::{AllowedSetting, Ratings};
use super::document::{Arrangement, Window, WindowLine};
use super::ground::Ground;
use crate::desk::LabError;
use crate::model::{RunDatum, RunState, Unknown, turned};

/// Smallest ring worth reading, m: published benches use radii of 2 to 6 cm.
const SMALLEST_DIAMETER_M: f64 = 0.04;
/// Largest difference of the mean field along the ring from the centre's.
const FALL_OFF: f64 = 0.02;
/// Where the bench file is silent, the beam is taken to glow from here on, V: published benches lose it at 100 to 200 V.
const FAINTEST_V: f64 = 120.0;
/// Where the bench file is silent, a ring keeps a tenth of the bulb's radius from the glass: near it the glass bends the view.
const CLEARANCE: f64 = 0.1;
/// Most steps of each knob that are looked at.
const MOST_VOLTAGES: usize = 11;
const MOST_CURRENTS: usize = 24;

/// How the bench stands.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Stand {
    /// +1 or −1.
    pub(super) sense: f64,
    /// Bench turned about the vertical.
    pub(super) turned_deg: f64,
    /// Gun tilt.
    pub(super) tilt_deg: f64,
}

impl Stand {
    /// Whether this is the same, but for a slight tilt of the gun.
    pub(super) fn is_like(&self, other: &Self) -> bool {
        // 180 where both are alike, 0 where they are opposite
        let alike = |a: f64, b: f64| ((a - b).rem_euclid(360.0) - 180.0).abs();
        self.sense == other.sense
            && alike(self.turned_deg, other.turned_deg) > 150.0
            && alike(self.tilt_deg, other.tilt_deg) > 150.0
    }
}

/// A setting, allowed or already taken.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Setting {
    pub(super) voltage_v: f64,
    pub(super) current_a: f64,
    pub(super) stand: Stand,
}

/// A setting that serves.
#[derive(Debug, Clone)]
pub(super) struct Possible {
    pub(super) allowed: AllowedSetting,
    pub(super) stand: Stand,
    pub(super) datum: RunDatum,
}

/// What bounds the settings of one bench.
pub(super) struct Bounds {
    ratings: Ratings,
    pub(super) voltage_minimum_v: f64,
    pub(super) voltage_minimum_is_stated: bool,
    /// How far from the bulb's centre the beam may come; none where the bulb is not stated.
    pub(super) reach_m: Option<f64>,
    pub(super) clearance_m: f64,
    voltages: Vec<f64>,
    currents: Vec<f64>,
}

impl Bounds {
    pub(super) fn of(notebook: &Notebook, ground: &Ground<'_>, ratings: Ratings) -> Result<Self, LabError> {
        let gun = notebook.bench.gun.as_ref();
        let stated = gun.and_then(|gun| gun.voltage_minimum_v);
        let minimum = stated.unwrap_or_else(|| FAINTEST_V.min(0.6 * ratings.voltage_limit_v()));
        let (reach_m, clearance_m) = reach(notebook, ground);
        let meters = &notebook.bench.meters;
        let finest =
            |meter: Option<&arcmass_notebook::Meter>| meter.and_then(|m| m.resolution).unwrap_or(0.0);
        let voltages = voltage_levels(minimum, ratings.highest_reading_v(), finest(meters.voltage.as_ref()));
        if voltages.is_empty() {
            return Err(LabError::lacking(
                "bench.toml",
                format!(
                    "no voltage lies between voltage_minimum ({minimum} V) and what the gun's rating allows \
                     ({:.1} V as the meter reads)",
                    ratings.highest_reading_v()
                ),
                "check voltage_minimum and voltage_limit under [gun]",
            ));
        }
        let [low, high] = current_range(ground, &voltages, reach_m)?;
        let currents = levels(
            low,
            high.min(ratings.highest_reading_a()),
            finest(meters.current.as_ref()),
            MOST_CURRENTS,
            &CURRENT_STEPS,
        );
        Ok(Self {
            ratings,
            voltage_minimum_v: minimum,
            voltage_minimum_is_stated: stated.is_some(),
            reach_m,
            clearance_m,
            voltages,
            currents,
        })
    }

    /// Every setting that serves while the bench stands like this.
    pub(super) fn possible(&self, ground: &Ground<'_>, stand: Stand) -> Vec<Possible> {
        let mut found = Vec::new();
        for voltage_v in &self.voltages {
            for current_a in &self.currents {
                let Ok(allowed) = self.ratings.allow(*voltage_v, *current_a) else { continue };
                let setting = Setting { voltage_v: *voltage_v, current_a: *current_a, stand };
                let Some((datum, state)) = ground.expected(&setting) else { continue };
                if self.serves(ground, &datum, &state) {
                    found.push(Possible { allowed, stand, datum });
                }
            }
        }
        found
    }

    fn serves(&self, ground: &Ground<'_>, run: &RunDatum, state: &RunState) -> bool {
        let reaches = state.ring.turn.points_m(1.0).iter().map(|p| p.norm()).fold(0.0, f64::max);
        run.diameter_m >= SMALLEST_DIAMETER_M
            && self.reach_m.is_none_or(|reach| reaches <= reach)
            && fall_off(ground, run, state).is_some_and(|fall_off| fall_off.abs() <= FALL_OFF)
    }

    pub(super) fn document(&self, arrangements: Vec<Arrangement>) -> Window {
        Window {
            voltage_limit_v: self.ratings.voltage_limit_v(),
            current_limit_a: self.ratings.current_limit_a(),
            highest_voltage_reading_v: self.ratings.highest_reading_v(),
            highest_current_reading_a: self.ratings.highest_reading_a(),
            voltage_minimum_v: self.voltage_minimum_v,
            clearance_mm: 1e3 * self.clearance_m,
            arrangements,
        }
    }
}

/// Mean field along the ring against the centre's, less one.
fn fall_off(ground: &Ground<'_>, run: &RunDatum, state: &RunState) -> Option<f64> {
    let model = &ground.model;
    let values = model.values(&ground.theta);
    let [x, y, z] = [Unknown::BackgroundX, Unknown::BackgroundY, Unknown::BackgroundZ].map(|u| values.get(u));
    let background = turned(Vec3::new(x, y, z), run.turned_rad);
    let coils = ground.shape.at(Vec3::ZERO, model.apparatus.field_direction).ok()?
        * (run.sense * model.per_ampere(&values) * state.current_a);
    let centre = (coils + background).norm();
    (centre > 0.0).then(|| state.ring.mean_field_t / centre - 1.0)
}

/// How far from its centre the beam may come, and the clearance in that.
fn reach(notebook: &Notebook, ground: &Ground<'_>) -> (Option<f64>, f64) {
    let bulb = notebook.bench.bulb.as_ref();
    let outer = bulb.and_then(|bulb| bulb.outer_radius.as_ref()).map(|stated| stated.value);
    let clearance =
        bulb.and_then(|bulb| bulb.clearance_m).or(outer.map(|outer| CLEARANCE * outer)).unwrap_or(0.0);
    let reach = outer.map(|outer| {
        let thickness =
            bulb.and_then(|bulb| bulb.glass_thickness.as_ref()).map_or(0.0, |stated| stated.value);
        let inner = outer - thickness;
        // a gun that sits close to the glass can't keep clear of it at its own place
        let muzzle = ground.model.apparatus.gun.muzzle_m.map_or(0.0, |[x, y, z]| Vec3::new(x, y, z).norm());
        (inner - clearance).max(muzzle + 1e-3).min(inner)
    });
    (reach, clearance)
}

/// Currents between which a ring can have a fitting size, A, by r = p/(e B) in a uniform field.
fn current_range(ground: &Ground<'_>, voltages: &[f64], reach_m: Option<f64>) -> Result<[f64; 2], LabError> {
    let values = ground.model.values(&ground.theta);
    let per_ampere = ground.model.field_per_ampere(&values)?;
    let apparatus = ground.model.apparatus;
    let charge = ELEMENTARY_CHARGE.value * f64::from(apparatus.charge_number.abs());
    let mass = ground.model.mass_kg(&values);
    let rigidity = |voltage: f64| motion::momentum(charge * voltage, mass) / charge;
    let largest = reach_m.unwrap_or(0.08);
    let (first, last) = (voltages.first().copied().unwrap_or(0.0), voltages.last().copied().unwrap_or(0.0));
    let low = 0.9 * rigidity(first) / (per_ampere * largest);
    let high = 1.1 * rigidity(last) / (per_ampere * 0.5 * SMALLEST_DIAMETER_M);
    Ok([low, high])
}

/// Steps that a person dials without thinking.
const VOLTAGE_STEPS: [f64; 10] = [1.0, 2.0, 5.0, 10.0, 20.0, 25.0, 50.0, 100.0, 200.0, 500.0];
const CURRENT_STEPS: [f64; 9] = [0.01, 0.02, 0.05, 0.1, 0.2, 0.5, 1.0, 2.0, 5.0];

/// Round values from `low` to `high`, at most `most`, no finer than the meter shows.
fn levels(low: f64, high: f64, resolution: f64, most: usize, steps: &[f64]) -> Vec<f64> {
    if !(high >= low && high.is_finite()) {
        return Vec::new();
    }
    let fits = |step: &&f64| **step >= resolution && ((high - low) / **step) < most as f64;
    let step = steps.iter().find(fits).or(steps.last()).copied().unwrap_or(1.0);
    // the smallest amount keeps a limit that is itself round from being lost to rounding
    let (first, last) = ((low / step - 1e-9).ceil() as i64, (high / step + 1e-9).floor() as i64);
    (first..=last).map(|k| rounded(k as f64 * step)).filter(|level| *level > 0.0).collect()
}

/// Round voltages, with the lowest and the highest multiple of 5 V (or of what the meter shows) at the ends: the ends tell most.
fn voltage_levels(low: f64, high: f64, resolution: f64) -> Vec<f64> {
    let mut found = levels(low, high, resolution, MOST_VOLTAGES, &VOLTAGE_STEPS);
    let fine = if resolution > 5.0 { resolution } else { 5.0 };
    let ends = levels(low, high, fine, usize::MAX, &[fine]);
    found.extend(ends.first().into_iter().chain(ends.last()));
    found.sort_unstable_by(f64::total_cmp);
    found.dedup();
    found
}

/// Takes out the last bits of k · step.
fn rounded(value: f64) -> f64 {
    (value * 1e6).round() / 1e6
}

/// At each voltage the smallest and the largest current that serve.
pub(super) fn arrangement(stand: Stand, possible: &[Possible]) -> Arrangement {
    let mut lines: Vec<WindowLine> = Vec::new();
    for one in possible {
        let (voltage_v, current_a) = (one.allowed.voltage_v(), one.allowed.current_a());
        match lines.last_mut().filter(|line| line.voltage_v == voltage_v) {
            Some(line) => line.current_to_a = line.current_to_a.max(current_a),
            None => lines.push(WindowLine { voltage_v, current_from_a: current_a, current_to_a: current_a }),
        }
    }
    Arrangement {
        field_sense: sign(stand.sense).to_owned(),
        bench_turned_deg: stand.turned_deg,
        gun_tilt_deg: stand.tilt_deg,
        lines,
    }
}

pub(super) fn sign(sense: f64) -> &'static str {
    if sense < 0.0 { "-" } else { "+" }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn levels_are_round_and_keep_both_ends() {
        assert_eq!(levels(1.0, 2.0, 0.01, 24, &CURRENT_STEPS).len(), 21);
        assert_eq!(
            levels(0.93, 2.0, 0.1, 24, &CURRENT_STEPS),
            [1.0, 1.1, 1.2, 1.3, 1.4, 1.5, 1.6, 1.7, 1.8, 1.9, 2.0]
        );
        assert_eq!(voltage_levels(150.0, 298.4, 0.1).last(), Some(&295.0));
        assert!(voltage_levels(120.0, 350.0, 0.1).len() <= 14);
        assert!(levels(3.0, 2.0, 0.1, 10, &CURRENT_STEPS).is_empty());
    }

    #[test]
    fn a_stand_turned_once_round_is_the_same() {
        let stand = Stand { sense: 1.0, turned_deg: 0.0, tilt_deg: 0.0 };
        assert!(stand.is_like(&Stand { turned_deg: 360.0, tilt_deg: 5.0, ..stand }));
        assert!(!stand.is_like(&Stand { turned_deg: 180.0, ..stand }));
        assert!(!stand.is_like(&Stand { sense: -1.0, ..stand }));
    }
}
