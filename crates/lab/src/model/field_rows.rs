//! What probe, balance and a stated constant should have read, and how that changes with each unknown.

use arcmass_physics::Vec3;

use super::coils::FieldShape;
use super::data::{BalanceDatum, ProbeDatum};
use super::observe::Model;
use super::rows::{Centre, Rows, Shapes};
use super::unknowns::Unknown;
use super::values::{Values, turned};
use crate::desk::LabError;

/// One probe reading against the model, T.
pub(super) struct ProbeTerms {
    shape_here: f64,
    per_ampere: f64,
    current_a: f64,
    /// What the probe should have shown, T.
    shown_t: f64,
    /// 1 + the probe's gain.
    gain: f64,
    difference: f64,
    noise: f64,
}

impl ProbeTerms {
    pub(super) fn residual(&self) -> f64 {
        self.difference / self.noise
    }
}

impl Model<'_> {
    /// One probe reading against what the model says it should have shown.
    ///
    /// In the reading's own terms: a difference stretched by the unknown gain would be small where the gain is, and draw it there.
    pub(super) fn probe_terms(
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
        let gain = 1.0 + values.get(Unknown::ProbeGain);
        let shown_t = (modelled - values.get(Unknown::ProbeZero)) / gain;
        let difference = probe.flux_density_read_t - shown_t;
        let noise = self.probe_u_t.hypot(probe.current_noise_t);
        Ok(ProbeTerms { shape_here, per_ampere, current_a, shown_t, gain, difference, noise })
    }

    pub(super) fn probe_row(
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
                Unknown::ProbeGain => terms.shown_t,
                Unknown::ProbeZero => 1.0,
                Unknown::AmmeterGain => -slope * probe.current_read_a,
                Unknown::AmmeterZero if probe.current_read_a != 0.0 => -slope,
                Unknown::FieldPerAmpere => -slope * terms.current_a / values.get(unknown),
                Unknown::CoilFactor => -slope * terms.current_a / (1.0 + values.get(unknown)),
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
            rows.derivative(place, change / (terms.gain * terms.noise));
        }
        Ok(())
    }

    pub(super) fn balance_row(
        &self,
        balance: &BalanceDatum,
        values: &Values<'_>,
        centre: &Centre,
        rows: &mut Rows,
    ) {
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
                Unknown::FieldPerAmpere => -modelled / values.get(unknown),
                Unknown::CoilFactor => -modelled / (1.0 + values.get(unknown)),
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
