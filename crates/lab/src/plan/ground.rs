//! What is known of a bench before the next reading: its model at the best estimate, with everything already read.

use arcmass_fit::joint::{self, Joint, Linearised, Prior};
use arcmass_notebook::{DiameterKind, Notebook, Run, View as PhotoView};
use arcmass_photo::plane::TO_THE_GUN;
use nalgebra::{DMatrix, DVector};

use super::document::MeasuredAs;
use super::information::View;
use super::window::{Setting, Stand};
use crate::assume::Apparatus;
use crate::bench;
use crate::calibrate;
use crate::desk::LabError;
use crate::document::RingsDocument;
use crate::model::{FieldShape, MASS_UNIT_KG, Model, RunDatum, RunState, Scope, Unknown, Unknowns};

/// Of a diameter measured on a photograph where no run tells, m: a third of a beam's sharpness, common practice, no source.
const PHOTOGRAPH_U_M: f64 = 0.3e-3;
/// Of a diameter read by eye, m: half a millimetre on each side, as published student benches scatter.
const BY_EYE_U_M: f64 = 1.0e-3;
/// No ring set anew comes back closer than this, m: knobs, beam and focus, common practice, no source.
const FINEST_U_M: f64 = 0.1e-3;
/// Of the scale's plane as found on one photograph of a ruler, relative.
const PLANE_U: f64 = 1e-3;

/// Doubts as wide as the alternatives that a reduction weighs: gun offset, V.
pub(super) const WIDE_OFFSET_V: f64 = 50.0;
/// Stray field along the axis, T.
pub(super) const WIDE_STRAY_T: f64 = 200e-6;
/// Edge of the beam or zero of the scale, on the diameter, m.
pub(super) const WIDE_EDGE_M: f64 = 3e-3;

/// The bench as it is known now.
pub(super) struct Ground<'a> {
    /// With the unknowns of the plan; its runs are those already read, then those read but not yet measured.
    pub(super) model: Model<'a>,
    /// Best estimate of the unknowns.
    pub(super) theta: DVector<f64>,
    /// The coils' field at that estimate.
    pub(super) shape: FieldShape,
    /// Runs with a diameter.
    pub(super) taken: usize,
    /// Runs that wait for their diameter.
    pub(super) pending: usize,
    /// Whether the mass comes from these runs (else it is the particle's, for prediction only).
    pub(super) mass_is_measured: bool,
    /// How the new diameters will be measured.
    pub(super) measured_as: MeasuredAs,
    /// Place of the new scale photograph, if photographs are taken.
    plane: Option<usize>,
    /// How the bench stood at the last run.
    pub(super) stands: Option<Stand>,
}

impl<'a> Ground<'a> {
    pub(super) fn of(
        notebook: &Notebook,
        apparatus: &'a Apparatus,
        rings: Option<&RingsDocument>,
    ) -> Result<Self, LabError> {
        let photos = rings.map_or(&[][..], |rings| &rings.photos);
        let mut bench = bench::bench(notebook, apparatus, photos)?;
        let taken = bench.model.runs.len();
        if taken == 0 {
            bench.model.unknowns =
                Unknowns::of(apparatus, &Scope { has_probe: bench.scope.has_probe, ..Scope::default() });
        }
        let joint = calibrate::fit(&bench.model)?;
        let by_photograph = if taken > 0 {
            bench.scope.has_photos
        } else {
            notebook.bench.camera.is_some() || notebook.bench.scale.is_some()
        };
        let measured_as = measured_as(&bench.model.runs, by_photograph);
        let mut scope = Scope { has_runs: true, ..bench.scope.clone() };
        let plane = by_photograph.then_some(scope.planes.len());
        if by_photograph {
            scope.has_photos = true;
            scope.planes.push(PLANE_U);
        }
        let unknowns = Unknowns::of(apparatus, &scope);
        let theta = carried_over(&unknowns, &bench.model.unknowns, &joint, apparatus);
        let model = Model { unknowns, ..bench.model };
        let stands = last_stand(notebook);
        let shape = model.shape(&model.values(&theta))?;
        let mut ground = Self {
            model,
            theta,
            shape,
            taken,
            pending: 0,
            mass_is_measured: taken > 0,
            measured_as,
            plane,
            stands,
        };
        ground.add_pending(notebook, &bench.without_diameter);
        Ok(ground)
    }

    /// Runs whose photograph is not measured yet count as if it were, at the expected diameter.
    fn add_pending(&mut self, notebook: &Notebook, names: &[String]) {
        let runs = notebook.readings.iter().flat_map(|readings| &readings.runs);
        for run in runs.filter(|run| run.view == PhotoView::Front && names.contains(&run.run)) {
            let setting = Setting {
                voltage_v: run.mean_voltage_v(),
                current_a: run.mean_current_a(),
                stand: stand_of(run),
            };
            if let Some((datum, _)) = self.expected(&setting) {
                self.model.runs.push(datum);
                self.pending += 1;
            }
        }
    }

    /// A reading of this setting as it will be taken, and its predicted path; none where no ring comes about.
    pub(super) fn expected(&self, setting: &Setting) -> Option<(RunDatum, RunState)> {
        let apparatus = self.model.apparatus;
        let mut datum = RunDatum {
            run: String::new(),
            place: self.model.runs.len(),
            loss_share: 1.0,
            voltage_read_v: setting.voltage_v,
            voltage_u_v: apparatus.voltmeter.per_reading_u,
            current_read_a: setting.current_a,
            current_u_a: apparatus.ammeter.per_reading_u,
            sense: setting.stand.sense,
            turned_rad: setting.stand.turned_deg.to_radians(),
            tilt_rad: setting.stand.tilt_deg.to_radians(),
            diameter_m: 0.0,
            diameter_u_m: Some(1e-3 * self.measured_as.standard_uncertainty_mm),
            kind: DiameterKind::Fit,
            edge: 0.0,
            camera_direction: self.plane.map(|_| [0.0, 0.0, 1.0]),
            plane: self.plane,
            part_of_turn: if self.plane.is_some() { TO_THE_GUN } else { 1.0 },
            is_struck: false,
        };
        let values = self.model.values(&self.theta);
        let mut state = self.model.state(&datum, &values, &self.shape).ok()?;
        if let Some(gas) = &apparatus.gas {
            datum.loss_share = gas.share(setting.voltage_v, state.diameter_m);
            state = self.model.state(&datum, &values, &self.shape).ok()?;
        }
        datum.diameter_m = state.diameter_m;
        Some((datum, state))
    }

    /// Whitened rows of everything already read, and of `further` runs, in this order: runs, field tables, further.
    pub(super) fn rows(&self, further: &[RunDatum]) -> Result<Rows, LabError> {
        let mut model = self.model.clone();
        model.runs.extend_from_slice(further);
        let at = model.linearise(&self.theta)?;
        Ok(Rows { at, runs: self.model.runs.len(), further: further.len() })
    }

    /// Inverse squares of the priors' standard uncertainties, 0 where nothing is known.
    pub(super) fn precisions(&self) -> Vec<f64> {
        let precision = |prior: Prior| prior.moments().map_or(0.0, |(_, u)| 1.0 / (u * u));
        self.model.unknowns.priors().into_iter().map(precision).collect()
    }

    /// Place of ln m.
    pub(super) fn mass(&self) -> usize {
        self.model.unknowns.place(Unknown::LogMass).unwrap_or(0)
    }

    /// The bench as the file states it.
    pub(super) fn as_stated(&self, rows: &Rows) -> View {
        let mut view = View::new(&self.precisions(), self.mass());
        for row in rows.known() {
            view.add(&row);
        }
        view
    }

    /// The same with gun offset, axial stray field and edge as wide as a reduction tries them; the edge is one unknown more.
    pub(super) fn widened(&self, rows: &Rows) -> View {
        let mut precisions = self.precisions();
        for (unknown, u) in [(Unknown::VoltageOffset, WIDE_OFFSET_V), (Unknown::BackgroundZ, WIDE_STRAY_T)] {
            if let Some(precision) =
                self.model.unknowns.place(unknown).and_then(|place| precisions.get_mut(place))
            {
                *precision = precision.min(1.0 / (u * u));
            }
        }
        precisions.push(1.0 / (WIDE_EDGE_M * WIDE_EDGE_M));
        let mut view = View::new(&precisions, self.mass());
        for (place, row) in rows.known().enumerate() {
            let by_edge = self.model.runs.get(place).map_or(0.0, |run| -1.0 / self.model.run_noise(run));
            view.add(&with_edge(&row, by_edge));
        }
        view
    }

    /// Standard uncertainty of the mass in percent with limits kept as the rectangles they are, and without chance, so that two
    /// plans can be told apart by less than draws would scatter:
    /// with everything read so far, and each further row read `times` times with the expected outcome.
    ///
    /// - **Takes** what is known beforehand of each unknown, in their order.
    pub(super) fn mass_percent(
        &self,
        rows: &Rows,
        priors: &[Prior],
        further: &[DVector<f64>],
        times: f64,
    ) -> Option<f64> {
        let joint = self.fit_expected(rows, priors, further, times)?;
        Some(100.0 * joint.u_within_limits::<LabError>(self.mass()).ok()?)
    }

    /// The fit that will come out: what was read first, then the further rows.
    pub(super) fn fit_expected(
        &self,
        rows: &Rows,
        priors: &[Prior],
        further: &[DVector<f64>],
        times: f64,
    ) -> Option<Joint> {
        let known: Vec<(DVector<f64>, f64)> = rows.known().zip(rows.known_residuals()).collect();
        let count = known.len() + further.len();
        let mut at = Linearised {
            residuals: DVector::zeros(count),
            jacobian: DMatrix::zeros(count, self.model.unknowns.len()),
        };
        for (place, (row, residual)) in known.iter().enumerate() {
            at.residuals[place] = *residual;
            at.jacobian.row_mut(place).copy_from(&row.transpose());
        }
        for (place, row) in (known.len()..).zip(further) {
            at.jacobian.row_mut(place).copy_from(&(row * times.sqrt()).transpose());
        }
        let linear = |theta: &DVector<f64>| -> Result<Linearised, LabError> {
            let residuals = &at.residuals + &at.jacobian * (theta - &self.theta);
            Ok(Linearised { residuals, jacobian: at.jacobian.clone() })
        };
        joint::fit(priors, self.theta.as_slice(), linear).ok()
    }

    /// A further run's row as [`Ground::widened`] needs it.
    pub(super) fn with_edge(&self, row: &DVector<f64>, run: &RunDatum) -> DVector<f64> {
        with_edge(row, -1.0 / self.model.run_noise(run))
    }
}

fn with_edge(row: &DVector<f64>, by_edge: f64) -> DVector<f64> {
    row.clone().push(by_edge)
}

/// Whitened rows of a model, by what they are.
pub(super) struct Rows {
    at: Linearised,
    runs: usize,
    further: usize,
}

impl Rows {
    /// Runs already read, then probe, balance, stated constant.
    pub(super) fn known(&self) -> impl Iterator<Item = DVector<f64>> + '_ {
        let (from, to) = (self.runs, self.runs + self.further);
        let rows = (0..self.at.jacobian.nrows()).filter(move |row| !(from..to).contains(row));
        rows.map(|row| self.at.jacobian.row(row).transpose())
    }

    /// Residuals of [`Rows::known`]; those that wait for their diameter have none.
    fn known_residuals(&self) -> impl Iterator<Item = f64> + '_ {
        let (from, to) = (self.runs, self.runs + self.further);
        let rows = (0..self.at.residuals.len()).filter(move |row| !(from..to).contains(row));
        rows.map(|row| self.at.residuals[row])
    }

    /// The further runs.
    pub(super) fn further(&self) -> impl Iterator<Item = DVector<f64>> + '_ {
        (self.runs..self.runs + self.further).map(|row| self.at.jacobian.row(row).transpose())
    }

    /// How many of [`Rows::known`] are runs.
    pub(super) fn known_runs(&self) -> usize {
        self.runs
    }
}

fn stand_of(run: &Run) -> Stand {
    Stand { sense: run.field_sense.sign(), turned_deg: run.bench_turned_deg, tilt_deg: run.gun_tilt_deg }
}

fn last_stand(notebook: &Notebook) -> Option<Stand> {
    notebook.readings.as_ref()?.runs.iter().rev().find(|run| !run.is_struck()).map(stand_of)
}

fn measured_as(runs: &[RunDatum], by_photograph: bool) -> MeasuredAs {
    let how = if by_photograph { "photograph" } else { "table" };
    let mut stated: Vec<f64> = runs.iter().filter_map(|run| run.diameter_u_m).collect();
    stated.sort_unstable_by(f64::total_cmp);
    let (u_m, because) = match (stated.get(stated.len() / 2), by_photograph) {
        (Some(u), _) if *u < FINEST_U_M => {
            (FINEST_U_M, "the runs already taken claim less, but no ring repeats better")
        }
        (Some(u), _) => (*u, "the middle one of the runs already taken"),
        (None, true) => (PHOTOGRAPH_U_M, "what a sharp photograph of a ring reaches"),
        (None, false) => (BY_EYE_U_M, "what reading both sides of a ring by eye reaches"),
    };
    MeasuredAs { how: how.to_owned(), standard_uncertainty_mm: 1e3 * u_m, because: because.to_owned() }
}

/// The estimate of a fit, carried over to another list of unknowns; what the fit doesn't hold starts where it is stated.
fn carried_over(to: &Unknowns, from: &Unknowns, joint: &Joint, apparatus: &Apparatus) -> DVector<f64> {
    let mut theta = DVector::from_vec(to.start());
    for (place, unknown, _) in to.iter() {
        if let Some(value) = from.place(unknown).and_then(|own| joint.estimate.get(own)) {
            theta[place] = *value;
        } else if unknown == Unknown::LogMass {
            theta[place] = (apparatus.assumed_mass_kg / MASS_UNIT_KG).ln();
        }
    }
    theta
}
