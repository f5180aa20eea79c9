//! From unknowns to residuals: what every reading should have been, and how that changes with each unknown.

use arcmass_fit::joint::Linearised;
use arcmass_physics::{Vec3, motion};
use arcmass_quantity::constants::{ELEMENTARY_CHARGE, SPEED_OF_LIGHT};
use nalgebra::{DMatrix, DVector};

use super::coils::{FieldShape, SizeChange};
use super::data::{BalanceDatum, ProbeDatum, RunDatum};
use super::orbit::{Launch, Ring, Sight, no_ring};
use super::unknowns::{Unknown, Unknowns};
use crate::assume::{Apparatus, Known};
use crate::desk::LabError;
use crate::spread::Spread;

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

/// The unknowns' values, with exact ones from the apparatus.
#[derive(Clone, Copy)]
pub struct Values<'a> {
    apparatus: &'a Apparatus,
    unknowns: &'a Unknowns,
    theta: &'a DVector<f64>,
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
            Unknown::BeamWidth => self.apparatus.beam_width.map_or(0.0, exact),
            _ => 0.0,
        }
    }

    fn background(&self, turned_rad: f64) -> Vec3 {
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
        if self.is_absolute() { 1.0 } else { values.get(Unknown::FieldPerAmpere) }
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

    fn as_measured(&self, run: &RunDatum, values: &Values<'_>, diameter_m: f64) -> f64 {
        match run.plane {
            Some(plane) => {
                diameter_m * (1.0 + values.get(Unknown::LengthScale) + values.get(Unknown::Plane(plane)))
            }
            None => diameter_m + run.edge * values.get(Unknown::BeamWidth),
        }
    }

    fn sight(&self, run: &RunDatum, values: &Values<'_>) -> Sight {
        match (run.camera_direction, self.apparatus.camera_distance) {
            (Some(direction), Some(distance)) => Sight::Camera {
                direction,
                distance_m: distance.value + values.get(Unknown::CameraDistance),
                plane_z_m: self.apparatus.gun.muzzle_m.map_or(0.0, |muzzle| muzzle[2])
                    + values.get(Unknown::ScaleOffset),
            },
            _ => Sight::AlongAxis(run.kind),
        }
    }

    fn launch(&self, run: &RunDatum, values: &Values<'_>) -> Result<(Launch, Readings), LabError> {
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
            self.run_row(run, theta, &shapes, &mut rows)?;
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
            rows.residual((stated.value - centre.base) / u);
            for (place, change) in &centre.by_size {
                rows.derivative(*place, -change / u);
            }
        }
        Ok(rows.done())
    }

    /// Mass at given unknowns, kg.
    pub fn mass_kg(&self, values: &Values<'_>) -> f64 {
        MASS_UNIT_KG * values.get(Unknown::LogMass).exp()
    }

    /// The Jacobian's row of a run that is not among those that count.
    pub fn row_of(&self, run: &RunDatum, theta: &DVector<f64>) -> Result<DVector<f64>, LabError> {
        let shapes = Shapes::of(self, theta)?;
        let mut rows = Rows::new(1, self.unknowns.len());
        self.run_row(run, theta, &shapes, &mut rows)?;
        Ok(rows.done().jacobian.row(0).transpose())
    }

    /// Whitened residuals alone.
    pub fn residuals(&self, theta: &DVector<f64>) -> Result<DVector<f64>, LabError> {
        let values = self.values(theta);
        let shape = self.shape(&values)?;
        let direction = self.apparatus.field_direction;
        let mut residuals = Vec::with_capacity(self.runs.len() + self.probe.len() + self.balance.len() + 1);
        for run in &self.runs {
            let state = self.state(run, &values, &shape)?;
            residuals.push((run.diameter_m - state.diameter_m) / self.run_noise(run));
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
            residuals.push((stated.value - centre) / stated.spread.u());
        }
        Ok(DVector::from_vec(residuals))
    }

    /// A stated constant is a reading of its own where the sizes give the field too.
    pub fn stated_constant(&self) -> Option<Known> {
        self.apparatus.field_per_ampere.filter(|known| self.is_absolute() && known.spread != Spread::Exact)
    }

    fn run_row(
        &self,
        run: &RunDatum,
        theta: &DVector<f64>,
        shapes: &Shapes,
        rows: &mut Rows,
    ) -> Result<(), LabError> {
        let values = self.values(theta);
        let (launch, readings) = self.launch(run, &values)?;
        let sight = self.sight(run, &values);
        let ring = launch.ring(&shapes.base)?;
        let raw = ring.diameter_m(&sight)?;
        let modelled = self.as_measured(run, &values, raw);
        let scale = if run.plane.is_some() { modelled / raw } else { 1.0 };
        let again = |launch: &Launch, shape: &FieldShape| launch.ring(shape)?.diameter_m(&sight);

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
                Unknown::BeamWidth => run.edge,
                Unknown::LengthScale if run.plane.is_some() => raw,
                Unknown::Plane(index) if run.plane == Some(index) => raw,
                Unknown::ProbeGain | Unknown::ProbeZero | Unknown::LengthScale | Unknown::Plane(_) => 0.0,
                Unknown::CoilRadius
                | Unknown::CoilSeparation
                | Unknown::CoilSize
                | Unknown::CoilTiltX
                | Unknown::CoilTiltY => match shapes.changed.iter().find(|(other, _, _)| *other == unknown) {
                    Some((_, step, shape)) => scale * (again(&launch, shape)? - raw) / step,
                    None => 0.0,
                },
                Unknown::ScaleOffset | Unknown::CameraDistance => {
                    let step = step_of(unknown);
                    let moved = nudged(theta, place, step);
                    scale * (ring.diameter_m(&self.sight(run, &self.values(&moved)))? - raw) / step
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

    /// Noise of a run's diameter together with that of its meters' readings (d follows √V and 1/I), m.
    pub fn run_noise(&self, run: &RunDatum) -> f64 {
        let own = run.diameter_u_m.unwrap_or(self.unstated_diameter_u_m);
        let from_voltage = 0.5 * run.diameter_m * run.voltage_u_v / run.voltage_read_v;
        let from_current = run.diameter_m * run.current_u_a / run.current_read_a;
        own.hypot(from_voltage).hypot(from_current)
    }

    /// One probe reading against the model.
    fn probe_terms(
        &self,
        probe: &ProbeDatum,
        values: &Values<'_>,
        shape: &FieldShape,
    ) -> Result<ProbeTerms, LabError> {
        let component = |v: Vec3| probe.sign * [v.x, v.y, v.z][probe.axis.index()];
        let per_ampere = self.per_ampere(values);
        // a coil that carries nothing has no ammeter zero either: the reading 0 is the open circuit
        let is_live = probe.current_read_a != 0.0;
        let current_a = if is_live {
            probe.current_read_a * (1.0 + values.get(Unknown::AmmeterGain)) + values.get(Unknown::AmmeterZero)
        } else {
            0.0
        };
        let shape_here = component(shape.at(probe.at_m, self.apparatus.field_direction)?);
        let modelled = shape_here * per_ampere * current_a + component(values.background(probe.turned_rad));
        let measured = probe.flux_density_read_t * (1.0 + values.get(Unknown::ProbeGain))
            + values.get(Unknown::ProbeZero);
        let noise = self.probe_u_t.hypot(shape_here * per_ampere * self.apparatus.ammeter.per_reading_u);
        Ok(ProbeTerms { shape_here, per_ampere, current_a, difference: measured - modelled, noise })
    }

    fn probe_row(
        &self,
        probe: &ProbeDatum,
        values: &Values<'_>,
        shapes: &Shapes,
        rows: &mut Rows,
    ) -> Result<(), LabError> {
        let terms = self.probe_terms(probe, values, &shapes.base)?;
        let component = |v: Vec3| probe.sign * [v.x, v.y, v.z][probe.axis.index()];
        let slope = terms.shape_here * terms.per_ampere;
        rows.begin();
        rows.residual(terms.residual());
        for (place, unknown, _) in self.unknowns.iter() {
            let change = match unknown {
                Unknown::ProbeGain => probe.flux_density_read_t,
                Unknown::ProbeZero => 1.0,
                Unknown::AmmeterGain => -slope * probe.current_read_a,
                Unknown::AmmeterZero if probe.current_read_a != 0.0 => -slope,
                Unknown::FieldPerAmpere => -terms.shape_here * terms.current_a,
                Unknown::BackgroundX => -component(turned(Vec3::new(1.0, 0.0, 0.0), probe.turned_rad)),
                Unknown::BackgroundY => -component(Vec3::new(0.0, 1.0, 0.0)),
                Unknown::BackgroundZ => -component(turned(Vec3::new(0.0, 0.0, 1.0), probe.turned_rad)),
                other => match shapes.changed.iter().find(|(unknown, _, _)| *unknown == other) {
                    Some((_, step, shape)) => {
                        let moved = component(shape.at(probe.at_m, self.apparatus.field_direction)?);
                        -(moved - terms.shape_here) / step * terms.per_ampere * terms.current_a
                    }
                    None => 0.0,
                },
            };
            rows.derivative(place, change / terms.noise);
        }
        Ok(())
    }

    fn balance_row(&self, balance: &BalanceDatum, values: &Values<'_>, centre: &Centre, rows: &mut Rows) {
        // the balance feels the coils' field and the background across its wire; only the coils' part is known to lie
        // along the axis, and the force is read as a change when the coil current is switched on
        let per_ampere = self.per_ampere(values);
        let current = balance.current_read_a * (1.0 + values.get(Unknown::AmmeterGain))
            + values.get(Unknown::AmmeterZero);
        let modelled = centre.base * per_ampere * current;
        let noise = self.balance_u_t.max(f64::MIN_POSITIVE);
        rows.begin();
        rows.residual((balance.flux_density_t - modelled) / noise);
        for (place, unknown, _) in self.unknowns.iter() {
            let change = match unknown {
                Unknown::AmmeterGain => -centre.base * per_ampere * balance.current_read_a,
                Unknown::AmmeterZero => -centre.base * per_ampere,
                Unknown::FieldPerAmpere => -centre.base * current,
                _ => centre
                    .by_size
                    .iter()
                    .find(|(own, _)| *own == place)
                    .map_or(0.0, |(_, change)| -change * per_ampere * current),
            };
            rows.derivative(place, change / noise);
        }
    }
}

fn size_change(values: &Values<'_>) -> SizeChange {
    SizeChange {
        radius_m: values.get(Unknown::CoilRadius),
        separation_m: values.get(Unknown::CoilSeparation),
        size: values.get(Unknown::CoilSize),
        tilt_rad: [values.get(Unknown::CoilTiltX), values.get(Unknown::CoilTiltY)],
    }
}

fn nudged(theta: &DVector<f64>, place: usize, step: f64) -> DVector<f64> {
    let mut moved = theta.clone();
    moved[place] += step;
    moved
}

/// Step of the numeric derivative, small against what matters and large against rounding of the traced path.
fn step_of(unknown: Unknown) -> f64 {
    match unknown {
        Unknown::BackgroundX | Unknown::BackgroundY | Unknown::BackgroundZ => 1e-6,
        Unknown::CoilTiltX | Unknown::CoilTiltY | Unknown::DirectionInPlane | Unknown::DirectionAcross => {
            1e-3
        }
        Unknown::CoilSize => 1e-4,
        Unknown::CameraDistance => 1e-3,
        _ => 1e-4,
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
struct Readings {
    voltage_v: f64,
    accelerating_voltage_v: f64,
    current_a: f64,
    momentum: f64,
    log_p_by_log_m: f64,
    log_p_by_volt: f64,
}

/// Unit of the unknown mass, kg: near any light particle's, and no accepted value.
pub const MASS_UNIT_KG: f64 = 1e-30;

impl Readings {
    fn of(run: &RunDatum, values: &Values<'_>, charges: f64) -> Result<Self, LabError> {
        let voltage_v = run.voltage_read_v * (1.0 + values.get(Unknown::VoltmeterGain))
            + values.get(Unknown::VoltmeterZero);
        let accelerating_voltage_v = voltage_v + values.get(Unknown::VoltageOffset);
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

/// The field shape at the estimate and with each size changed a little.
struct Shapes {
    base: FieldShape,
    changed: Vec<(Unknown, f64, FieldShape)>,
    places: Vec<usize>,
}

/// Field at the centre per unit of drive, and how it changes with the sizes.
struct Centre {
    base: f64,
    by_size: Vec<(usize, f64)>,
}

impl Shapes {
    fn of(model: &Model<'_>, theta: &DVector<f64>) -> Result<Self, LabError> {
        let base = model.shape(&model.values(theta))?;
        let mut changed = Vec::new();
        let mut places = Vec::new();
        for (place, unknown, _) in model.unknowns.iter() {
            let is_size = matches!(
                unknown,
                Unknown::CoilRadius
                    | Unknown::CoilSeparation
                    | Unknown::CoilSize
                    | Unknown::CoilTiltX
                    | Unknown::CoilTiltY
            );
            if is_size {
                let step = step_of(unknown);
                let moved = nudged(theta, place, step);
                changed.push((unknown, step, model.shape(&model.values(&moved))?));
                places.push(place);
            }
        }
        Ok(Self { base, changed, places })
    }

    fn centre(&self, field_direction: f64) -> Result<Centre, LabError> {
        let base = self.base.at(Vec3::ZERO, field_direction)?.norm();
        let mut by_size = Vec::new();
        for (place, (_, step, shape)) in self.places.iter().zip(&self.changed) {
            by_size.push((*place, (shape.at(Vec3::ZERO, field_direction)?.norm() - base) / step));
        }
        Ok(Centre { base, by_size })
    }
}

/// One probe reading against the model, T.
struct ProbeTerms {
    shape_here: f64,
    per_ampere: f64,
    current_a: f64,
    difference: f64,
    noise: f64,
}

impl ProbeTerms {
    fn residual(&self) -> f64 {
        self.difference / self.noise
    }
}

/// Residuals and Jacobian while they are filled, row by row.
struct Rows {
    at: Linearised,
    row: usize,
}

impl Rows {
    fn new(count: usize, unknowns: usize) -> Self {
        let at = Linearised { residuals: DVector::zeros(count), jacobian: DMatrix::zeros(count, unknowns) };
        Self { at, row: usize::MAX }
    }

    fn begin(&mut self) {
        self.row = self.row.wrapping_add(1);
    }

    fn residual(&mut self, value: f64) {
        self.at.residuals[self.row] = value;
    }

    fn derivative(&mut self, place: usize, value: f64) {
        self.at.jacobian[(self.row, place)] = value;
    }

    fn done(self) -> Linearised {
        self.at
    }
}
