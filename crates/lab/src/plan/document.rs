//! The JSON document of a plan, key by key.

use serde::{Deserialize, Serialize};

use crate::document::{BudgetLine, CaveatEntry, MadeBy, Q};

/// `arcmass.plan/1`.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct PlanDocument {
    /// Fixed.
    pub schema: String,
    /// What made it.
    pub made_by: MadeBy,
    /// What is possible at all.
    pub window: Window,
    /// How a diameter is taken to be measured.
    pub measured_as: MeasuredAs,
    /// Runs with a diameter that count already, from the notebook.
    pub runs_taken: usize,
    /// What to take, in this order.
    pub settings: Vec<PlannedSetting>,
    /// What to do between two settings where leads or bench change.
    pub changes: Vec<Change>,
    /// What the mass will be known to.
    pub expected: Expected,
    /// Whose part that is; largest first.
    pub budget: Vec<BudgetLine>,
    /// What the settings tell apart from the mass.
    pub separates: Vec<Separation>,
    /// What no number of runs removes.
    pub floor: Floor,
    /// What would lower it, the most helpful first.
    pub would_lower: Vec<Remedy>,
    /// The safe act first.
    pub cautions: Vec<String>,
    /// Said beside the result.
    pub caveats: Vec<CaveatEntry>,
}

/// Settings that keep every rating and give a ring inside the bulb.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Window {
    /// Of the gun, as stated.
    pub voltage_limit_v: f64,
    /// Of the coils, as stated.
    pub current_limit_a: f64,
    /// Highest reading that is surely within the rating.
    pub highest_voltage_reading_v: f64,
    /// Highest reading that is surely within the rating.
    pub highest_current_reading_a: f64,
    /// Below it the beam can't be seen.
    pub voltage_minimum_v: f64,
    /// How far the ring keeps from the glass, mm.
    pub clearance_mm: f64,
    /// Each way the bench can stand.
    pub arrangements: Vec<Arrangement>,
}

/// One way the bench can stand, and what is possible in it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Arrangement {
    /// `+` or `-`.
    pub field_sense: String,
    /// Degrees.
    pub bench_turned_deg: f64,
    /// Degrees.
    pub gun_tilt_deg: f64,
    /// At each voltage, the currents that serve.
    pub lines: Vec<WindowLine>,
}

/// Currents that serve at one voltage.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct WindowLine {
    /// As read.
    pub voltage_v: f64,
    /// Smallest, as read.
    pub current_from_a: f64,
    /// Largest, as read.
    pub current_to_a: f64,
}

/// How a diameter is taken to be measured.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct MeasuredAs {
    /// `photograph` or `table`.
    pub how: String,
    /// Of one diameter, independent from run to run, mm.
    pub standard_uncertainty_mm: f64,
    /// Where that comes from.
    pub because: String,
}

/// One setting to take.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct PlannedSetting {
    /// From 1.
    pub order: usize,
    /// As the voltmeter is to read.
    pub voltage_v: f64,
    /// As the ammeter is to read.
    pub current_a: f64,
    /// `+` or `-`.
    pub field_sense: String,
    /// Degrees.
    pub bench_turned_deg: f64,
    /// Degrees.
    pub gun_tilt_deg: f64,
    /// As it will be measured, with everything that is not known yet but the reading's own noise.
    pub expected_diameter_mm: Q,
    /// Go: a diameter read between these fits what is known of the bench.
    pub go_from_mm: f64,
    /// No-go outside: stop and look before the next run.
    pub go_to_mm: f64,
}

/// What to do before a setting.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Change {
    /// Number of the setting that it stands before.
    pub before: usize,
    /// One act each, in order.
    pub steps: Vec<String>,
}

/// What the mass will be known to, in percent of it (one standard uncertainty).
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Expected {
    /// By the runs taken already; null where there are none.
    pub now_percent: Option<f64>,
    /// With the plan, everything as the bench file states it.
    pub as_stated_percent: f64,
    /// With the plan, if gun offset, axial stray field and edge may be anything.
    pub if_offsets_are_free_percent: f64,
}

/// Something that could spoil the mass, and what the plan will know of it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Separation {
    /// Fixed name.
    pub code: String,
    /// In words.
    pub name: String,
    /// Of the numbers.
    pub unit: String,
    /// Taken beforehand: what the bench file states, or a wide doubt.
    pub before: f64,
    /// After the plan's runs.
    pub after: f64,
    /// Whether that is at most half.
    pub separable: bool,
    /// Whether `before` is the wide doubt and not what the bench file states.
    pub is_wide: bool,
}

/// What no number of runs removes.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Floor {
    /// One standard uncertainty of the mass, in percent of it.
    pub standard_uncertainty_percent: f64,
    /// Whose part that is; largest first.
    pub budget: Vec<BudgetLine>,
    /// In words.
    pub sentence: String,
}

/// Something that would lower the floor.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Remedy {
    /// What to do.
    pub what: String,
    /// Expected of the mass with it and this plan, in percent.
    pub expected_percent: f64,
    /// The floor with it, in percent.
    pub floor_percent: f64,
}
