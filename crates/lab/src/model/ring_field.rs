//! The field that a run's beam meets, and how it changes with each unknown while the momentum stays.

use nalgebra::DVector;

use super::data::RunDatum;
use super::observe::Model;
use super::orbit::Launch;
use super::rows::{Shapes, nudged, step_of};
use super::unknowns::Unknown;
use crate::desk::LabError;

/// Mean flux density across the beam along one turn.
#[derive(Debug, Clone)]
pub struct FieldMet {
    /// T.
    pub mean_t: f64,
    /// Change with ln p, T: a larger ring reaches further out.
    pub by_log_p: f64,
    /// Change with each unknown at the same momentum, T per its SI unit.
    pub by_unknown: DVector<f64>,
}

impl Model<'_> {
    /// The field shapes that derivatives at these unknowns need; one set serves all runs.
    pub fn shapes(&self, theta: &DVector<f64>) -> Result<Shapes, LabError> {
        Shapes::of(self, theta)
    }

    /// The field that a run's beam meets, with its derivatives, from traced rings.
    ///
    /// - **Takes** the unknowns' values and their [`Model::shapes`].
    /// - **Fails** where no ring follows.
    pub fn field_met(
        &self,
        run: &RunDatum,
        theta: &DVector<f64>,
        shapes: &Shapes,
    ) -> Result<FieldMet, LabError> {
        const STEP: f64 = 1e-4;
        let values = self.values(theta);
        let (launch, readings) = self.launch(run, &values)?;
        let mean_t = launch.ring(&shapes.base)?.mean_field_t;
        let change = |launch: &Launch, shape| -> Result<f64, LabError> {
            Ok(launch.ring(shape)?.mean_field_t - mean_t)
        };
        let harder = Launch { rigidity_t_m: launch.rigidity_t_m * (1.0 + STEP), ..launch };
        let stronger = Launch { drive: launch.drive * (1.0 + STEP), ..launch };
        let by_log_i = change(&stronger, &shapes.base)? / STEP;
        let mut by_unknown = DVector::zeros(self.unknowns.len());
        for (place, unknown, _) in self.unknowns.iter() {
            by_unknown[place] = match unknown {
                Unknown::AmmeterGain => by_log_i * run.current_read_a / readings.current_a,
                Unknown::AmmeterZero => by_log_i / readings.current_a,
                Unknown::FieldPerAmpere => by_log_i / values.get(unknown),
                Unknown::CoilFactor => by_log_i / (1.0 + values.get(unknown)),
                Unknown::BackgroundX
                | Unknown::BackgroundY
                | Unknown::BackgroundZ
                | Unknown::MuzzleX
                | Unknown::MuzzleY
                | Unknown::MuzzleZ
                | Unknown::DirectionInPlane
                | Unknown::DirectionAcross => {
                    let step = step_of(unknown);
                    let (moved, _) = self.launch(run, &self.values(&nudged(theta, place, step)))?;
                    change(&moved, &shapes.base)? / step
                }
                size if size.is_size() => shapes
                    .changed
                    .iter()
                    .find(|(other, _, _)| *other == size)
                    .map(|(_, step, shape)| Ok::<f64, LabError>(change(&launch, shape)? / step))
                    .transpose()?
                    .unwrap_or(0.0),
                _ => 0.0,
            };
        }
        Ok(FieldMet { mean_t, by_log_p: change(&harder, &shapes.base)? / STEP, by_unknown })
    }
}
