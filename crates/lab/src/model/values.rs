//! The unknowns' values as the model uses them: exact numbers filled in, readings corrected, directions turned.

use arcmass_physics::{Vec3, motion};
use arcmass_quantity::constants::{ELEMENTARY_CHARGE, SPEED_OF_LIGHT};
use nalgebra::DVector;

use super::coils::SizeChange;
use super::data::RunDatum;
use super::orbit::no_ring;
use super::unknowns::{Unknown, Unknowns};
use crate::assume::{Apparatus, DEFAULT_BEAM_WIDTH, Known};
use crate::desk::LabError;

/// The unknowns' values, with exact ones from the apparatus.
#[derive(Clone, Copy)]
pub struct Values<'a> {
    pub(super) apparatus: &'a Apparatus,
    pub(super) unknowns: &'a Unknowns,
    pub(super) theta: &'a DVector<f64>,
}

impl Values<'_> {
    /// Value of an unknown, or what is known exactly in its place.
    pub fn get(&self, unknown: Unknown) -> f64 {
        if let Some(place) = self.unknowns.place(unknown) {
            return self.theta[place];
        }
        let exact = |known: Known| known.value;
        match unknown {
            Unknown::VoltageOffset => exact(self.apparatus.voltage_offset),
            Unknown::VoltmeterZero => exact(self.apparatus.voltmeter.zero),
            Unknown::AmmeterZero => exact(self.apparatus.ammeter.zero),
            Unknown::ProbeZero => exact(self.apparatus.probe.zero),
            Unknown::FieldPerAmpere => self.apparatus.field_per_ampere.map_or(1.0, exact),
            Unknown::BackgroundX => exact(self.apparatus.background[0]),
            Unknown::BackgroundY => exact(self.apparatus.background[1]),
            Unknown::BackgroundZ => exact(self.apparatus.background[2]),
            Unknown::ScaleOffset => exact(self.apparatus.scale_offset),
            Unknown::BeamWidth => exact(self.apparatus.beam_width.unwrap_or(DEFAULT_BEAM_WIDTH)),
            _ => 0.0,
        }
    }

    pub(super) fn background(&self, turned_rad: f64) -> Vec3 {
        turned(
            Vec3::new(
                self.get(Unknown::BackgroundX),
                self.get(Unknown::BackgroundY),
                self.get(Unknown::BackgroundZ),
            ),
            turned_rad,
        )
    }
}

/// The background in a bench turned by θ about the vertical: R_y(−θ) · background.
pub fn turned(background_t: Vec3, turned_rad: f64) -> Vec3 {
    let (sin, cos) = turned_rad.sin_cos();
    Vec3::new(
        background_t.x * cos - background_t.z * sin,
        background_t.y,
        background_t.x * sin + background_t.z * cos,
    )
}

pub(super) fn size_change(values: &Values<'_>) -> SizeChange {
    SizeChange {
        radius_m: values.get(Unknown::CoilRadius),
        separation_m: values.get(Unknown::CoilSeparation),
        size: values.get(Unknown::CoilSize),
        tilt_rad: [0, 1]
            .map(|coil| [values.get(Unknown::CoilTiltX(coil)), values.get(Unknown::CoilTiltY(coil))]),
    }
}

/// The beam's direction: the stated one turned in the ring's plane, then tilted towards +z.
pub fn aimed(direction: [f64; 3], tilt_rad: f64, in_plane_rad: f64) -> Vec3 {
    let [x, y, z] = direction;
    let (sin, cos) = in_plane_rad.sin_cos();
    let turned = Vec3::new(x * cos - y * sin, x * sin + y * cos, z);
    let (sin, cos) = tilt_rad.sin_cos();
    let aimed = turned * cos + Vec3::new(0.0, 0.0, 1.0) * sin;
    aimed * (1.0 / aimed.norm())
}

/// A run's readings corrected for its meters, and how its momentum follows from them.
pub(super) struct Readings {
    pub(super) voltage_v: f64,
    pub(super) accelerating_voltage_v: f64,
    pub(super) current_a: f64,
    pub(super) momentum: f64,
    pub(super) log_p_by_log_m: f64,
    pub(super) log_p_by_volt: f64,
}

/// Unit of the unknown mass, kg: near any light particle's, and no accepted value.
pub const MASS_UNIT_KG: f64 = 1e-30;

impl Readings {
    pub(super) fn of(run: &RunDatum, values: &Values<'_>, charges: f64) -> Result<Self, LabError> {
        let voltage_v = run.voltage_read_v * (1.0 + values.get(Unknown::VoltmeterGain))
            + values.get(Unknown::VoltmeterZero);
        let accelerating_voltage_v =
            voltage_v + values.get(Unknown::VoltageOffset) - run.loss_share * values.get(Unknown::BeamLoss);
        let current_a =
            run.current_read_a * (1.0 + values.get(Unknown::AmmeterGain)) + values.get(Unknown::AmmeterZero);
        let energy = ELEMENTARY_CHARGE.value * charges * accelerating_voltage_v;
        if energy <= 0.0 || current_a <= 0.0 {
            return Err(no_ring("voltage or current is not above 0 once corrected"));
        }
        let mass = MASS_UNIT_KG * values.get(Unknown::LogMass).exp();
        let momentum = motion::momentum(energy, mass);
        let c2 = SPEED_OF_LIGHT.value.powi(2);
        // p² = T²/c² + 2 m T
        let log_p_by_log_m = mass * energy / (momentum * momentum);
        let log_p_by_joule = (energy / c2 + mass) / (momentum * momentum);
        Ok(Self {
            voltage_v,
            accelerating_voltage_v,
            current_a,
            momentum,
            log_p_by_log_m,
            log_p_by_volt: log_p_by_joule * ELEMENTARY_CHARGE.value * charges,
        })
    }
}
