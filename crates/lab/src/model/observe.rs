//! From unknowns to residuals: what every reading should have been, and how that changes with each unknown.

use arcmass_fit::joint::Linearised;
use arcmass_physics::Vec3;
use arcmass_quantity::constants::ELEMENTARY_CHARGE;
use nalgebra::DVector;

use super::coils::FieldShape;
use super::data::{BalanceDatum, ProbeDatum, RunDatum};
use super::orbit::{Camera, Launch, Ring, Sight};
use super::rows::{Rows, Shapes};
use super::unknowns::{Unknown, Unknowns};
use super::values::{MASS_UNIT_KG, Readings, Values, aimed, size_change};
use crate::assume::{Apparatus, Known};
use crate::desk::LabError;
use crate::spread::Spread;

/// Standard uncertainty of a diameter of which nobody stated one, before its own scatter is seen, m; common practice, no
/// source.
pub const GUESSED_DIAMETER_U_M: f64 = 0.5e-3;

/// Everything a fit of one bench needs.
#[derive(Debug, Clone)]
pub struct Model<'a> {
    /// The bench.
    pub apparatus: &'a Apparatus,
    /// What is not known.
    pub unknowns: Unknowns,
    /// Runs that count.
    pub runs: Vec<RunDatum>,
    /// Probe readings.
    pub probe: Vec<ProbeDatum>,
    /// Noise of one probe reading, T.
    pub probe_u_t: f64,
    /// Balance readings.
    pub balance: Vec<BalanceDatum>,
    /// Noise of one balance reading, T.
    pub balance_u_t: f64,
    /// Diameters whose uncertainty nobody stated get this one, m.
    pub unstated_diameter_u_m: f64,
}

/// A run as the model sees it at given unknowns.
#[derive(Debug, Clone)]
pub struct RunState {
    /// Corrected for meter and gun offset, V: kinetic energy over charge.
    pub accelerating_voltage_v: f64,
    /// Corrected for the meter, V.
    pub voltage_v: f64,
    /// Corrected for the meter, A.
    pub current_a: f64,
    /// kg m/s.
    pub momentum_kg_m_per_s: f64,
    /// Derivative of ln p by ln m.
    pub log_p_by_log_m: f64,
    /// Derivative of ln p by the accelerating voltage, 1/V.
    pub log_p_by_volt: f64,
    /// Predicted ring.
    pub ring: Ring,
    /// Predicted diameter as the person would have measured it, m.
    pub diameter_m: f64,
}

impl<'a> Model<'a> {
    /// The unknowns' values at `theta`.
    pub fn values<'b>(&'b self, theta: &'b DVector<f64>) -> Values<'b> {
        Values { apparatus: self.apparatus, unknowns: &self.unknowns, theta }
    }

    /// The coils' field shape at given unknowns.
    pub fn shape(&self, values: &Values<'_>) -> Result<FieldShape, LabError> {
        FieldShape::of(self.apparatus, &size_change(values))
    }

    /// Factor between the field shape and one ampere: 1 where the sizes give the field absolutely.
    pub fn per_ampere(&self, values: &Values<'_>) -> f64 {
        let stated = if self.is_absolute() { 1.0 } else { values.get(Unknown::FieldPerAmpere) };
        stated * (1.0 + values.get(Unknown::CoilFactor))
    }

    /// Whether the coils' sizes and turns give the field without a measurement.
    pub fn is_absolute(&self) -> bool {
        use crate::assume::CoilsKnown;
        match &self.apparatus.coils {
            Some(CoilsKnown::Pair { turns, .. }) => turns.is_some(),
            Some(CoilsKnown::List { .. }) => true,
            None => false,
        }
    }

    /// Magnitude of the coils' field at the centre for one ampere, T/A.
    pub fn field_per_ampere(&self, values: &Values<'_>) -> Result<f64, LabError> {
        let shape = self.shape(values)?;
        Ok(self.per_ampere(values) * shape.at(Vec3::ZERO, self.apparatus.field_direction)?.norm())
    }

    /// The run's prediction.
    pub fn state(
        &self,
        run: &RunDatum,
        values: &Values<'_>,
        shape: &FieldShape,
    ) -> Result<RunState, LabError> {
        let (launch, readings) = self.launch(run, values)?;
        let ring = launch.ring(shape)?;
        let diameter_m = self.as_measured(run, values, ring.diameter_m(&self.sight(run, values))?);
        Ok(RunState {
            accelerating_voltage_v: readings.accelerating_voltage_v,
            voltage_v: readings.voltage_v,
            current_a: readings.current_a,
            momentum_kg_m_per_s: readings.momentum,
            log_p_by_log_m: readings.log_p_by_log_m,
            log_p_by_volt: readings.log_p_by_volt,
            ring,
            diameter_m,
        })
    }

    /// The diameter that the run should have given, m.
    pub fn diameter_m(
        &self,
        run: &RunDatum,
        values: &Values<'_>,
        shape: &FieldShape,
    ) -> Result<f64, LabError> {
        let (launch, _) = self.launch(run, values)?;
        let turn = launch.turn(shape)?;
        Ok(self.as_measured(run, values, turn.diameter_m(&self.sight(run, values))?))
    }

    /// The diameter as the person would have got it from the true one.
    pub(super) fn as_measured(&self, run: &RunDatum, values: &Values<'_>, diameter_m: f64) -> f64 {
        let width = if run.plane.is_some() { 0.0 } else { run.edge * values.get(Unknown::BeamWidth) };
        let read = diameter_m * self.scale_of(run, values) + width + values.get(Unknown::DiameterOffset);
        read * (1.0 + values.get(Unknown::Run(run.place)))
    }

    /// Length on the run's scale per true length.
    pub(super) fn scale_of(&self, run: &RunDatum, values: &Values<'_>) -> f64 {
        match run.plane {
            Some(plane) => 1.0 + values.get(Unknown::LengthScale) + values.get(Unknown::Plane(plane)),
            None if self.apparatus.reads_with_parallax => self.parallax(values),
            None => 1.0,
        }
    }

    /// What a length in the ring's plane comes to on a scale before or behind it: (D − offset)/D.
    fn parallax(&self, values: &Values<'_>) -> f64 {
        let distance =
            self.apparatus.camera_distance.map(|known| known.value + values.get(Unknown::CameraDistance));
        distance.map_or(1.0, |distance| 1.0 - values.get(Unknown::ScaleOffset) / distance)
    }

    pub(super) fn sight(&self, run: &RunDatum, values: &Values<'_>) -> Sight {
        if run.plane.is_none() {
            return Sight::AlongAxis(run.kind);
        }
        let camera =
            run.camera_direction.zip(self.apparatus.camera_distance).map(|(direction, distance)| Camera {
                direction,
                distance_m: distance.value + values.get(Unknown::CameraDistance),
                plane_z_m: self.apparatus.gun.muzzle_m.map_or(0.0, |muzzle| muzzle[2])
                    + values.get(Unknown::ScaleOffset),
                glass: self.apparatus.glass,
            });
        Sight::Photograph { part: run.part_of_turn, camera }
    }

    pub(super) fn launch(&self, run: &RunDatum, values: &Values<'_>) -> Result<(Launch, Readings), LabError> {
        let readings = Readings::of(run, values, f64::from(self.apparatus.charge_number.abs()))?;
        let charge = f64::from(self.apparatus.charge_number) * ELEMENTARY_CHARGE.value;
        let gun = &self.apparatus.gun;
        let muzzle_m = gun.muzzle_m.map(|[x, y, z]| {
            Vec3::new(
                x + values.get(Unknown::MuzzleX),
                y + values.get(Unknown::MuzzleY),
                z + values.get(Unknown::MuzzleZ),
            )
        });
        let launch = Launch {
            rigidity_t_m: readings.momentum / charge,
            drive: run.sense * self.per_ampere(values) * readings.current_a,
            field_direction: self.apparatus.field_direction,
            background_t: values.background(run.turned_rad),
            muzzle_m,
            direction: aimed(
                gun.direction,
                run.tilt_rad + values.get(Unknown::DirectionAcross),
                values.get(Unknown::DirectionInPlane),
            ),
        };
        Ok((launch, readings))
    }

    /// Whitened residuals of all readings and their derivatives by all unknowns.
    pub fn linearise(&self, theta: &DVector<f64>) -> Result<Linearised, LabError> {
        let values = self.values(theta);
        let shapes = Shapes::of(self, theta)?;
        let stated = self.stated_constant();
        let count = self.runs.len() + self.probe.len() + self.balance.len() + usize::from(stated.is_some());
        let mut rows = Rows::new(count, self.unknowns.len());
        for run in &self.runs {
            self.run_row(run, theta, &shapes, &mut rows).map_err(|fault| fault.of_run(run))?;
        }
        for probe in &self.probe {
            self.probe_row(probe, &values, &shapes, &mut rows)?;
        }
        let centre = shapes.centre(self.apparatus.field_direction)?;
        for balance in &self.balance {
            self.balance_row(balance, &values, &centre, &mut rows);
        }
        if let Some(stated) = stated {
            rows.begin();
            let u = stated.spread.u();
            let factor = self.per_ampere(&values);
            rows.residual((stated.value - centre.base * factor) / u);
            for (place, change) in &centre.by_size {
                rows.derivative(*place, -change * factor / u);
            }
            if let Some(place) = self.unknowns.place(Unknown::CoilFactor) {
                rows.derivative(place, -centre.base / u);
            }
        }
        Ok(rows.done())
    }

    /// Mass at given unknowns, kg.
    pub fn mass_kg(&self, values: &Values<'_>) -> f64 {
        MASS_UNIT_KG * values.get(Unknown::LogMass).exp()
    }

    /// The Jacobian's row of one run, whether it counts or not.
    pub fn row_of(
        &self,
        run: &RunDatum,
        theta: &DVector<f64>,
        shapes: &Shapes,
    ) -> Result<DVector<f64>, LabError> {
        let mut rows = Rows::new(1, self.unknowns.len());
        self.run_row(run, theta, shapes, &mut rows)?;
        Ok(rows.done().jacobian.row(0).transpose())
    }

    /// Whitened residuals alone.
    pub fn residuals(&self, theta: &DVector<f64>) -> Result<DVector<f64>, LabError> {
        let values = self.values(theta);
        let shape = self.shape(&values)?;
        let direction = self.apparatus.field_direction;
        let mut residuals = Vec::with_capacity(self.runs.len() + self.probe.len() + self.balance.len() + 1);
        for run in &self.runs {
            let modelled = self.diameter_m(run, &values, &shape).map_err(|fault| fault.of_run(run))?;
            residuals.push((run.diameter_m - modelled) / self.run_noise(run));
        }
        let centre = shape.at(Vec3::ZERO, direction)?.norm();
        for probe in &self.probe {
            residuals.push(self.probe_terms(probe, &values, &shape)?.residual());
        }
        let current =
            |read: f64| read * (1.0 + values.get(Unknown::AmmeterGain)) + values.get(Unknown::AmmeterZero);
        for balance in &self.balance {
            let modelled = centre * self.per_ampere(&values) * current(balance.current_read_a);
            residuals.push((balance.flux_density_t - modelled) / self.balance_u_t.max(f64::MIN_POSITIVE));
        }
        if let Some(stated) = self.stated_constant() {
            residuals.push((stated.value - centre * self.per_ampere(&values)) / stated.spread.u());
        }
        Ok(DVector::from_vec(residuals))
    }

    /// A stated constant is a reading of its own where the sizes give the field too.
    pub fn stated_constant(&self) -> Option<Known> {
        self.apparatus.field_per_ampere.filter(|known| self.is_absolute() && known.spread != Spread::Exact)
    }

    /// Noise of a run's diameter together with that of its meters' readings (d follows √V and 1/I), m.
    pub fn run_noise(&self, run: &RunDatum) -> f64 {
        self.noise_of(run, run.diameter_u_m.unwrap_or(self.unstated_diameter_u_m))
    }

    /// The same with another uncertainty of the diameter alone, m.
    pub(crate) fn noise_of(&self, run: &RunDatum, own_m: f64) -> f64 {
        let from_voltage = 0.5 * run.diameter_m * run.voltage_u_v / run.voltage_read_v;
        let from_current = run.diameter_m * run.current_u_a / run.current_read_a;
        own_m.hypot(from_voltage).hypot(from_current)
    }
}
