//! How a run's diameter changes with each unknown: one row of the Jacobian, by traced orbits.

use arcmass_fit::joint::Linearised;
use arcmass_physics::Vec3;
use nalgebra::{DMatrix, DVector};

use super::coils::FieldShape;
use super::data::RunDatum;
use super::observe::Model;
use super::orbit::Launch;
use super::unknowns::Unknown;
use crate::desk::LabError;

impl Model<'_> {
    pub(super) fn run_row(
        &self,
        run: &RunDatum,
        theta: &DVector<f64>,
        shapes: &Shapes,
        rows: &mut Rows,
    ) -> Result<(), LabError> {
        let values = self.values(theta);
        let (launch, readings) = self.launch(run, &values)?;
        let sight = self.sight(run, &values);
        let points = launch.turn(&shapes.base)?;
        let raw = points.diameter_m(&sight)?;
        let modelled = self.as_measured(run, &values, raw);
        let own = 1.0 + values.get(Unknown::Run(run.place));
        let scale = own * self.scale_of(run, &values);
        let again = |launch: &Launch, shape: &FieldShape| launch.turn(shape)?.diameter_m(&sight);

        const STEP: f64 = 1e-4;
        let harder = Launch { rigidity_t_m: launch.rigidity_t_m * (1.0 + STEP), ..launch };
        let by_log_p = scale * (again(&harder, &shapes.base)? - raw) / STEP;
        let stronger = Launch { drive: launch.drive * (1.0 + STEP), ..launch };
        let by_log_i = scale * (again(&stronger, &shapes.base)? - raw) / STEP;

        let noise = self.run_noise(run);
        rows.begin();
        rows.residual((run.diameter_m - modelled) / noise);
        for (place, unknown, _) in self.unknowns.iter() {
            let change = match unknown {
                Unknown::LogMass => by_log_p * readings.log_p_by_log_m,
                Unknown::VoltmeterGain => by_log_p * readings.log_p_by_volt * run.voltage_read_v,
                Unknown::VoltmeterZero | Unknown::VoltageOffset => by_log_p * readings.log_p_by_volt,
                Unknown::AmmeterGain => by_log_i * run.current_read_a / readings.current_a,
                Unknown::AmmeterZero => by_log_i / readings.current_a,
                Unknown::FieldPerAmpere => by_log_i / values.get(Unknown::FieldPerAmpere),
                Unknown::BeamWidth => own * run.edge,
                Unknown::DiameterOffset => own,
                Unknown::Run(place) => {
                    if place == run.place {
                        modelled / own
                    } else {
                        0.0
                    }
                }
                Unknown::BeamLoss => -run.loss_share * by_log_p * readings.log_p_by_volt,
                Unknown::CoilFactor => by_log_i / (1.0 + values.get(unknown)),
                Unknown::LengthScale if run.plane.is_some() => own * raw,
                Unknown::Plane(index) if run.plane == Some(index) => own * raw,
                Unknown::ProbeGain | Unknown::ProbeZero | Unknown::LengthScale | Unknown::Plane(_) => 0.0,
                size if size.is_size() => match shapes.changed.iter().find(|(other, _, _)| *other == size) {
                    Some((_, step, shape)) => scale * (again(&launch, shape)? - raw) / step,
                    None => 0.0,
                },
                Unknown::ScaleOffset | Unknown::CameraDistance => {
                    let step = step_of(unknown);
                    let moved = nudged(theta, place, step);
                    if run.plane.is_none() {
                        let there = self.scale_of(run, &self.values(&moved));
                        let change = own * raw * (there - self.scale_of(run, &values)) / step;
                        rows.derivative(place, -change / noise);
                        continue;
                    }
                    scale * (points.diameter_m(&self.sight(run, &self.values(&moved)))? - raw) / step
                }
                _ => {
                    let step = step_of(unknown);
                    let moved = nudged(theta, place, step);
                    let (launch, _) = self.launch(run, &self.values(&moved))?;
                    scale * (again(&launch, &shapes.base)? - raw) / step
                }
            };
            rows.derivative(place, -change / noise);
        }
        Ok(())
    }
}

pub(super) fn nudged(theta: &DVector<f64>, place: usize, step: f64) -> DVector<f64> {
    let mut moved = theta.clone();
    moved[place] += step;
    moved
}

/// Step of the numeric derivative, small against what matters and large against rounding of the traced path.
pub(super) fn step_of(unknown: Unknown) -> f64 {
    match unknown {
        Unknown::BackgroundX | Unknown::BackgroundY | Unknown::BackgroundZ => 1e-6,
        Unknown::CoilTiltX(_)
        | Unknown::CoilTiltY(_)
        | Unknown::DirectionInPlane
        | Unknown::DirectionAcross => 1e-3,
        Unknown::CoilSize => 1e-4,
        Unknown::CameraDistance => 1e-3,
        _ => 1e-4,
    }
}

/// The field shape at the estimate and with each size changed a little.
pub struct Shapes {
    pub(super) base: FieldShape,
    pub(super) changed: Vec<(Unknown, f64, FieldShape)>,
    places: Vec<usize>,
}

/// Field at the centre per unit of drive, and how it changes with the sizes.
pub(super) struct Centre {
    pub(super) base: f64,
    pub(super) by_size: Vec<(usize, f64)>,
}

impl Shapes {
    pub(super) fn of(model: &Model<'_>, theta: &DVector<f64>) -> Result<Self, LabError> {
        let base = model.shape(&model.values(theta))?;
        let mut changed = Vec::new();
        let mut places = Vec::new();
        for (place, unknown, _) in model.unknowns.iter() {
            if unknown.is_size() {
                let step = step_of(unknown);
                let moved = nudged(theta, place, step);
                changed.push((unknown, step, model.shape(&model.values(&moved))?));
                places.push(place);
            }
        }
        Ok(Self { base, changed, places })
    }

    pub(super) fn centre(&self, field_direction: f64) -> Result<Centre, LabError> {
        let base = self.base.at(Vec3::ZERO, field_direction)?.norm();
        let mut by_size = Vec::new();
        for (place, (_, step, shape)) in self.places.iter().zip(&self.changed) {
            by_size.push((*place, (shape.at(Vec3::ZERO, field_direction)?.norm() - base) / step));
        }
        Ok(Centre { base, by_size })
    }
}

/// Residuals and Jacobian while they are filled, row by row.
pub(super) struct Rows {
    at: Linearised,
    row: usize,
}

impl Rows {
    pub(super) fn new(count: usize, unknowns: usize) -> Self {
        let at = Linearised { residuals: DVector::zeros(count), jacobian: DMatrix::zeros(count, unknowns) };
        Self { at, row: usize::MAX }
    }

    pub(super) fn begin(&mut self) {
        self.row = self.row.wrapping_add(1);
    }

    pub(super) fn residual(&mut self, value: f64) {
        self.at.residuals[self.row] = value;
    }

    pub(super) fn derivative(&mut self, place: usize, value: f64) {
        self.at.jacobian[(self.row, place)] = value;
    }

    pub(super) fn done(self) -> Linearised {
        self.at
    }
}
