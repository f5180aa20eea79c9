//! One bench as every group of it needs it: the diameter of each setting's ring in the real field, and how it changes with
//! what the bench's groups share.

use arcmass_lab::assume::{Apparatus, CoilsKnown};
use arcmass_lab::model::{FieldShape, Launch, Sight, Unknown, aimed, turned};
use arcmass_lab::{Desk, LabError, calibrate, field};
use arcmass_notebook::{DiameterKind, Notebook};
use arcmass_physics::{Vec3, motion};
use arcmass_quantity::constants::{ELECTRON_MASS, ELEMENTARY_CHARGE, VACUUM_PERMEABILITY};
use nalgebra::{DMatrix, DVector};

use crate::curve::{Curve, Sample};

/// Something that all groups of one bench share, beside the mass.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum Shared {
    /// Relative.
    AmmeterGain,
    /// A.
    AmmeterZero,
    /// Anything that changes the coils' field per ampere: its unit changes ln k by so much.
    Field(f64),
    /// T, along x, y, z.
    Background(usize),
    /// V.
    VoltageOffset,
    /// Relative.
    VoltmeterGain,
    /// V.
    VoltmeterZero,
    /// m, along x, y, z.
    Muzzle(usize),
    /// rad: in the ring's plane, towards z.
    Direction(usize),
    /// m, read too much in every diameter; 0 unless the bench lies outside its file.
    Edge,
    /// V, lost by the beam of a typical ring; 0 unless the bench lies outside its file.
    GasLoss,
}

/// A setting as the group's meters showed it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Setting {
    /// V.
    pub(crate) voltage_v: f64,
    /// A.
    pub(crate) current_a: f64,
    /// +1 or −1.
    pub(crate) sense: f64,
    /// rad.
    pub(crate) turned_rad: f64,
    /// rad.
    pub(crate) tilt_rad: f64,
}

/// A predicted diameter.
#[derive(Debug, Clone)]
pub(crate) struct Predicted {
    /// ln(d / m).
    pub(crate) ln_d: f64,
    /// Derivative of `ln_d` by each shared unknown.
    pub(crate) by_shared: Vec<f64>,
    /// Derivative of `ln_d` by ln m.
    pub(crate) by_ln_m: f64,
}

/// What a group may rightly take for the field: T/A, and T at no current.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct RightField {
    pub(crate) per_ampere: f64,
    pub(crate) at_zero: f64,
}

/// One bench of the class.
#[derive(Debug, Clone)]
pub(crate) struct BenchPhysics {
    pub(crate) apparatus: Apparatus,
    pub(crate) shared: Vec<Shared>,
    /// Of the shared unknowns, before any group.
    pub(crate) mean: DVector<f64>,
    pub(crate) covariance: DMatrix<f64>,
    curve: Curve,
    ln_k: f64,
    /// What the group may take for the field per ampere.
    pub(crate) right: Vec<RightField>,
    /// The winding's inner radius over its mean radius, with and without the separation changed alike.
    pub(crate) inner_radius_factors: Vec<f64>,
    /// Largest diameter that fits the bulb, m.
    pub(crate) largest_m: Option<f64>,
}

/// The loss in the gas goes as 1/V; at this voltage it is the stated one.
const TYPICAL_VOLTAGE_V: f64 = 200.0;
/// Field in which the curve is traced, T; the shape of a path depends on the gyroradius alone.
const TRACE_FIELD_T: f64 = 1e-3;

impl BenchPhysics {
    /// Calibrates the bench's field and traces its rings.
    ///
    /// - **Fails** where the notebook does not give the field.
    pub(crate) fn of(notebook: &Notebook, desk: &Desk) -> Result<Self, LabError> {
        let apparatus = Apparatus::of(&notebook.bench)?;
        let fitted = fitted_field(notebook, &apparatus, desk)?;
        let curve = curve(&apparatus, &fitted.shape, fitted.centre_t)?;
        let (mut shared, mut mean, mut covariance) = (fitted.shared, fitted.mean, fitted.covariance);
        let mut add = |what: Shared, value: f64, u: f64| {
            shared.push(what);
            mean.push(value);
            let n = mean.len();
            let mut wider = DMatrix::zeros(n, n);
            wider.view_mut((0, 0), (n - 1, n - 1)).copy_from(&covariance);
            wider[(n - 1, n - 1)] = u * u;
            covariance = wider;
        };
        add(Shared::VoltageOffset, apparatus.voltage_offset.value, apparatus.voltage_offset.spread.u());
        add(Shared::VoltmeterGain, 0.0, apparatus.voltmeter.gain.u());
        add(Shared::VoltmeterZero, apparatus.voltmeter.zero.value, apparatus.voltmeter.zero.spread.u());
        if apparatus.gun.muzzle_m.is_some() {
            (0..3).for_each(|axis| add(Shared::Muzzle(axis), 0.0, apparatus.gun.muzzle_spread.u()));
        }
        (0..2).for_each(|way| add(Shared::Direction(way), 0.0, apparatus.gun.direction_spread.u()));
        add(Shared::Edge, 0.0, 0.0);
        add(Shared::GasLoss, 0.0, 0.0);
        let reach = apparatus.gun.muzzle_m.map_or(0.0, |[x, y, z]| x.hypot(y).hypot(z));
        let largest_m = apparatus.bulb_radius_m.map(|radius| radius + reach);
        let inner_radius_factors = inner_radius_factors(&apparatus);
        Ok(Self {
            shared,
            mean: DVector::from_vec(mean),
            covariance,
            curve,
            ln_k: fitted.per_ampere_t.ln(),
            right: fitted.right,
            inner_radius_factors,
            largest_m,
            apparatus,
        })
    }

    /// Place of a shared unknown.
    pub(crate) fn place(&self, what: Shared) -> Option<usize> {
        self.shared.iter().position(|shared| *shared == what)
    }

    /// The diameter that a particle of this mass makes.
    ///
    /// - **Gives** none where the voltage or the current is not above 0 once corrected.
    pub(crate) fn predict(&self, setting: &Setting, theta: &DVector<f64>, mass_kg: f64) -> Option<Predicted> {
        let mut at = At::default();
        for (shared, value) in self.shared.iter().zip(theta.iter()) {
            at.take(*shared, *value);
        }
        let lost_share = (TYPICAL_VOLTAGE_V / setting.voltage_v).min(4.0);
        let volts = setting.voltage_v * (1.0 + at.voltmeter_gain) + at.voltmeter_zero + at.offset
            - at.gas_loss * lost_share;
        let amperes = setting.current_a * (1.0 + at.ammeter_gain) + at.ammeter_zero;
        if volts <= 0.0 || amperes <= 0.0 {
            return None;
        }
        let energy = ELEMENTARY_CHARGE.value * volts;
        let momentum = motion::momentum(energy, mass_kg);
        let k = (self.ln_k + at.ln_field).exp();
        let field = k * amperes;
        let background =
            turned(Vec3::new(at.background[0], at.background[1], at.background[2]), setting.turned_rad);
        let sign = setting.sense * self.apparatus.field_direction;
        // a field along the axis adds to the coils' own: what it does to a ring is what more current would
        let axial = sign * background.z / field;
        if axial <= -0.9 {
            return None;
        }
        let x = (momentum / ELEMENTARY_CHARGE.value / field).ln();
        let sample = self.curve.at(x - (self.curve.at(x).axial * axial).ln_1p());
        let gamma = sample.axial;
        let across = [background.x / field, background.y / field];
        let mut ln_d = sample.ln_d + setting.tilt_rad.cos().abs().max(1e-3).ln();
        let muzzle: f64 = (0..3).map(|axis| sample.muzzle[axis] * at.muzzle[axis]).sum();
        let direction: f64 = (0..2).map(|way| sample.direction[way] * at.direction[way]).sum();
        let transverse: f64 = (0..2)
            .map(|axis| {
                sample.across[axis] * across[axis] + sample.across_squared[axis] * across[axis].powi(2)
            })
            .sum();
        ln_d += muzzle + direction + transverse;
        let d = ln_d.exp();
        let with_edge = d + at.edge;
        if with_edge <= 0.0 {
            return None;
        }
        let scale = d / with_edge;
        let slope = sample.slope;
        let c2 = arcmass_quantity::constants::SPEED_OF_LIGHT.value.powi(2);
        let p2 = momentum * momentum;
        let ln_p_by_volt = (energy / c2 + mass_kg) / p2 * ELEMENTARY_CHARGE.value;
        let by_shared = self.shared.iter().map(|shared| {
            let by = match shared {
                Shared::AmmeterGain => -slope * setting.current_a / amperes / (1.0 + gamma * axial),
                Shared::AmmeterZero => -slope / amperes / (1.0 + gamma * axial),
                Shared::Field(by) => -slope * by / (1.0 + gamma * axial),
                Shared::Background(axis) => self.by_background(*axis, setting, &sample, field, axial, across),
                Shared::VoltageOffset | Shared::VoltmeterZero => slope * ln_p_by_volt,
                Shared::VoltmeterGain => slope * ln_p_by_volt * setting.voltage_v,
                Shared::Muzzle(axis) => sample.muzzle[*axis],
                Shared::Direction(way) => sample.direction[*way],
                Shared::Edge => 1.0 / d,
                Shared::GasLoss => -slope * ln_p_by_volt * lost_share,
            };
            by * scale
        });
        Some(Predicted {
            ln_d: with_edge.ln(),
            by_shared: by_shared.collect(),
            by_ln_m: slope * scale * mass_kg * energy / p2,
        })
    }

    fn by_background(
        &self,
        axis: usize,
        setting: &Setting,
        sample: &Sample,
        field: f64,
        axial: f64,
        across: [f64; 2],
    ) -> f64 {
        let unit = |i: usize| if i == axis { 1.0 } else { 0.0 };
        let part = turned(Vec3::new(unit(0), unit(1), unit(2)), setting.turned_rad);
        let sign = setting.sense * self.apparatus.field_direction;
        let along = -sample.slope * sample.axial * sign * part.z / field / (1.0 + sample.axial * axial);
        let by_across = |i: usize, part: f64| {
            (sample.across[i] + 2.0 * sample.across_squared[i] * across[i]) * part / field
        };
        along + by_across(0, part.x) + by_across(1, part.y)
    }
}

/// The shared unknowns' values by name.
#[derive(Default)]
struct At {
    ammeter_gain: f64,
    ammeter_zero: f64,
    ln_field: f64,
    background: [f64; 3],
    offset: f64,
    voltmeter_gain: f64,
    voltmeter_zero: f64,
    muzzle: [f64; 3],
    direction: [f64; 2],
    edge: f64,
    gas_loss: f64,
}

impl At {
    fn take(&mut self, shared: Shared, value: f64) {
        match shared {
            Shared::AmmeterGain => self.ammeter_gain = value,
            Shared::AmmeterZero => self.ammeter_zero = value,
            Shared::Field(by) => self.ln_field += by * value,
            Shared::Background(axis) => self.background[axis] = value,
            Shared::VoltageOffset => self.offset = value,
            Shared::VoltmeterGain => self.voltmeter_gain = value,
            Shared::VoltmeterZero => self.voltmeter_zero = value,
            Shared::Muzzle(axis) => self.muzzle[axis] = value,
            Shared::Direction(way) => self.direction[way] = value,
            Shared::Edge => self.edge = value,
            Shared::GasLoss => self.gas_loss = value,
        }
    }
}

/// The field tables' part of the shared unknowns.
struct FittedField {
    shared: Vec<Shared>,
    mean: Vec<f64>,
    covariance: DMatrix<f64>,
    per_ampere_t: f64,
    shape: FieldShape,
    centre_t: f64,
    right: Vec<RightField>,
}

fn fitted_field(notebook: &Notebook, apparatus: &Apparatus, desk: &Desk) -> Result<FittedField, LabError> {
    let bench = field::field_only(notebook, apparatus)?;
    let model = &bench.model;
    let joint = calibrate::fit(model)?;
    let per_ampere_t = model.field_per_ampere(&model.values(&joint.estimate))?;
    let (mut shared, mut places) = (Vec::new(), Vec::new());
    for (place, unknown, _) in model.unknowns.iter() {
        let what = match unknown {
            Unknown::AmmeterGain => Shared::AmmeterGain,
            Unknown::AmmeterZero => Shared::AmmeterZero,
            Unknown::BackgroundX => Shared::Background(0),
            Unknown::BackgroundY => Shared::Background(1),
            Unknown::BackgroundZ => Shared::Background(2),
            Unknown::CoilRadius
            | Unknown::CoilSeparation
            | Unknown::CoilSize
            | Unknown::FieldPerAmpere
            | Unknown::CoilFactor => {
                let step = joint.covariance[(place, place)].sqrt().max(1e-12);
                let mut moved = joint.estimate.clone();
                moved[place] += step;
                let changed = model.field_per_ampere(&model.values(&moved))?;
                Shared::Field((changed / per_ampere_t).ln() / step)
            }
            _ => continue,
        };
        shared.push(what);
        places.push(place);
    }
    // sizes as differences from the estimate: ln k is that of the estimate
    let mean = places.iter().zip(&shared).map(|(place, what)| match what {
        Shared::Field(_) => 0.0,
        _ => joint.estimate[*place],
    });
    let mut mean: Vec<f64> = mean.collect();
    let mut covariance =
        DMatrix::from_fn(places.len(), places.len(), |i, j| joint.covariance[(places[i], places[j])]);
    for axis in 0..3 {
        if !shared.contains(&Shared::Background(axis)) {
            shared.push(Shared::Background(axis));
            mean.push(apparatus.background[axis].value);
            let n = mean.len();
            covariance = covariance.resize(n, n, 0.0);
        }
    }
    if !shared.iter().any(|what| matches!(what, Shared::Field(_))) {
        shared.push(Shared::Field(1.0));
        mean.push(0.0);
        covariance = covariance.resize(mean.len(), mean.len(), 0.0);
    }
    let start = DVector::from_vec(model.unknowns.start());
    let shape = model.shape(&model.values(&start))?;
    let centre_t = shape.at(Vec3::ZERO, apparatus.field_direction)?.norm();
    let ways = calibrate::field_per_ampere(&bench, &joint, desk)?;
    let mut right = Vec::new();
    let mut way = |per_ampere: f64, at_zero: f64| {
        let known = right.iter().any(|r: &RightField| {
            (r.per_ampere / per_ampere - 1.0).abs() < 2e-4 && (r.at_zero - at_zero).abs() < 1e-7
        });
        if per_ampere > 0.0 && !known {
            right.push(RightField { per_ampere, at_zero });
        }
    };
    for q in [ways.stated, ways.probe, ways.geometry, ways.balance, Some(ways.in_use)].into_iter().flatten() {
        way(q.value.abs(), 0.0);
    }
    if let (Some(slope), Some(intercept)) = (ways.probe, ways.intercept) {
        way(slope.value.abs(), intercept.value * slope.value.signum());
    }
    if let Some(CoilsKnown::Pair { mean_radius, separation, turns: Some(turns), .. }) = &apparatus.coils {
        let [formula, on_axis] = pair_formulas(mean_radius.value, separation.value, *turns);
        way(formula, 0.0);
        way(on_axis, 0.0);
    }
    Ok(FittedField { shared, mean, covariance, per_ampere_t, shape, centre_t, right })
}

/// µ₀ N (4/5)^{3/2} / R, and µ₀ N R² / (R² + s²/4)^{3/2}; T/A.
fn pair_formulas(radius_m: f64, separation_m: f64, turns: f64) -> [f64; 2] {
    let mu0 = VACUUM_PERMEABILITY.value;
    let on_axis = radius_m.powi(2) / (radius_m.powi(2) + 0.25 * separation_m.powi(2)).powf(1.5);
    [mu0 * turns * 0.8_f64.powf(1.5) / radius_m, mu0 * turns * on_axis]
}

/// What the field grows by where the winding's inner radius is taken for its mean: in the pair's formula, and with the
/// separation kept.
fn inner_radius_factors(apparatus: &Apparatus) -> Vec<f64> {
    let Some(CoilsKnown::Pair { mean_radius, separation, turns, winding_radial_m, .. }) = &apparatus.coils
    else {
        return Vec::new();
    };
    let (mean, inner) = (mean_radius.value, mean_radius.value - 0.5 * winding_radial_m);
    if *winding_radial_m <= 0.0 || inner <= 0.0 {
        return Vec::new();
    }
    let turns = turns.unwrap_or(1.0);
    let of = |radius: f64| pair_formulas(radius, separation.value, turns);
    (0..2).map(|way| of(inner)[way] / of(mean)[way]).collect()
}

/// Traces rings of one field and many gyroradii, and what each shared thing does to them.
fn curve(apparatus: &Apparatus, shape: &FieldShape, centre_t: f64) -> Result<Curve, LabError> {
    let gun = &apparatus.gun;
    let muzzle = gun.muzzle_m.map(|[x, y, z]| Vec3::new(x, y, z));
    let charge = f64::from(apparatus.charge_number).signum();
    let trace = |gyroradius_m: f64, background_t: Vec3, moved_m: Vec3, turned_rad: [f64; 2]| {
        let launch = Launch {
            rigidity_t_m: charge * gyroradius_m * TRACE_FIELD_T,
            drive: TRACE_FIELD_T / centre_t,
            field_direction: apparatus.field_direction,
            background_t,
            muzzle_m: muzzle.map(|muzzle| muzzle + moved_m),
            direction: aimed(gun.direction, turned_rad[1], turned_rad[0]),
        };
        launch.turn(shape)?.diameter_m(&Sight::AlongAxis(DiameterKind::Fit)).map(f64::ln)
    };
    Curve::traced(apparatus.field_direction, TRACE_FIELD_T, muzzle.is_some(), &trace)
}

/// The accepted mass, for predictions.
pub(crate) fn accepted_mass_kg() -> f64 {
    ELECTRON_MASS.value
}
