//! The gas in the bulb as the bench file states it, and what it may take from the beam on one turn.

use arcmass_notebook::{Bench, Bulb, Particle};
use arcmass_physics::gas::{self, Gas};

use crate::spread::Spread;

/// Temperature of the gas, K: a warm room's; the bench file has no key for it.
pub(crate) const TEMPERATURE_K: f64 = 300.0;
/// Of the mean loss by the Bethe formula with its low-energy term, relative (`arcmass_physics::gas`).
const FORMULA_U: f64 = 0.3;
/// The run that the unknown loss is counted by: V, m. Others lose in proportion to path length and stopping power.
const REFERENCE: (f64, f64) = (220.0, 75e-3);
/// Parts of a turn over which the loss is averaged.
const PARTS: usize = 16;

/// A gas that is known, at a stated pressure.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct GasKnown {
    gas: Gas,
    pressure_pa: f64,
    relative_u: f64,
}

impl GasKnown {
    /// From `[bulb]`; none where gas or pressure is not stated, the gas is none of the known ones, or the particle is no
    /// electron.
    pub fn of(bench: &Bench) -> Option<Self> {
        if !matches!(bench.gun.as_ref().map(|gun| &gun.particle), None | Some(Particle::Electron)) {
            return None;
        }
        let (gas, pressure) = stated(bench.bulb.as_ref()?)?;
        let relative_u = pressure.standard_uncertainty().map_or(0.0, |u| u / pressure.value);
        Some(Self { gas: named(gas)?, pressure_pa: pressure.value, relative_u })
    }

    /// Mean loss of all electrons, averaged over one turn of a ring, V; a circle through the turn sees about this mean.
    pub fn mean_loss_v(&self, voltage_v: f64, diameter_m: f64) -> f64 {
        let length_m = std::f64::consts::PI * diameter_m;
        let along = gas::loss_along(self.gas, self.pressure_pa, TEMPERATURE_K, voltage_v, length_m, PARTS);
        along.map_or(0.0, |along| {
            along.iter().map(|part| part.mean_energy_loss_ev).sum::<f64>() / along.len().max(1) as f64
        })
    }

    /// The run's loss against the reference run's.
    pub fn share(&self, voltage_v: f64, diameter_m: f64) -> f64 {
        let reference = self.mean_loss_v(REFERENCE.0, REFERENCE.1);
        if reference > 0.0 { self.mean_loss_v(voltage_v, diameter_m) / reference } else { 0.0 }
    }

    /// Loss of the reference run beforehand: middle of its limits, V, and the limits.
    ///
    /// The line that is read lies somewhere between the electrons that never collided, which lost nothing, and the mean of all
    /// electrons; the upper limit carries the uncertainty of the pressure and of the formula.
    pub fn beforehand(&self) -> (f64, Spread) {
        let most = self.mean_loss_v(REFERENCE.0, REFERENCE.1) * (1.0 + self.relative_u.hypot(FORMULA_U));
        (0.5 * most, if most > 0.0 { Spread::Limits(0.5 * most) } else { Spread::Exact })
    }
}

/// Name and pressure, where both are stated.
pub(crate) fn stated(bulb: &Bulb) -> Option<(&str, &arcmass_quantity::Stated)> {
    Some((bulb.gas.as_deref()?, bulb.pressure.as_ref()?))
}

/// A gas by its name or formula.
pub(crate) fn named(name: &str) -> Option<Gas> {
    let name = name.trim().to_lowercase();
    let known =
        [(Gas::Hydrogen, "hydrogen"), (Gas::Helium, "helium"), (Gas::Neon, "neon"), (Gas::Argon, "argon")];
    known
        .into_iter()
        .find(|(gas, word)| name == *word || name == gas.formula().to_lowercase())
        .map(|(gas, _)| gas)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// needs of a demonstrator: hydrogen at 1.33 Pa, half a turn of a ring of 90 mm takes 13 eV at 250 V and 17 eV at 150 V by
    /// Bethe's formula; the mean over a turn is about the loss at half a turn.
    #[test]
    fn hydrogen_takes_what_bethes_formula_says() {
        let gas = GasKnown { gas: Gas::Hydrogen, pressure_pa: 1.33, relative_u: 0.0 };
        let (fast, slow) = (gas.mean_loss_v(250.0, 0.09), gas.mean_loss_v(150.0, 0.09));
        assert!((fast / 13.0 - 1.0).abs() < 0.2 && (slow / 17.0 - 1.0).abs() < 0.25, "{fast} {slow}");
        let (middle, spread) = gas.beforehand();
        assert_eq!(spread, Spread::Limits(middle), "from nothing to the mean of all");
        assert!(gas.share(150.0, 0.09) > 1.3 * gas.share(250.0, 0.09));
    }
}
