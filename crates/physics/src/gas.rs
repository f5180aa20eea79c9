//! What a little gas does to the beam: collisions, mean energy loss, the light's photon energies.
//!
//! A simple model for a caution, not for a correction: ionisation by the binary-encounter-Bethe formula (about 20 % for these
//! gases), the mean loss by the Bethe formula with the low-energy term of Joy and Luo (about 30 %).

use arcmass_quantity::constants::{BOLTZMANN, ELEMENTARY_CHARGE, SPEED_OF_LIGHT, VACUUM_PERMITTIVITY};

use crate::error::MotionError;

/// Pascal in one torr, by definition 101325/760.
pub const TORR_PA: f64 = 101_325.0 / 760.0;
/// Pascal in one millibar, by definition.
pub const MILLIBAR_PA: f64 = 100.0;
/// Planck constant, J s, exact by the definition of the kilogram (SI, 9th brochure).
pub const PLANCK_J_S: f64 = 6.626_070_15e-34;
/// Rydberg energy, eV, CODATA 2022.
const RYDBERG_EV: f64 = 13.605_693_122_99;
/// Bohr radius, m, CODATA 2022.
const BOHR_RADIUS_M: f64 = 5.291_772_105_44e-11;
/// Steps over a path along which the energy falls.
const LOSS_STEPS: usize = 64;

/// First ionisation energies in eV: NIST Atomic Spectra Database for atoms, NIST CCCBDB for molecules, for H₂ the
/// spectroscopic 124417.491 cm⁻¹.
pub const IONISATION_ENERGY_EV: [(&str, f64); 13] = [
    ("H", 13.598_434_599_702),
    ("He", 24.587_389_011),
    ("N", 14.534_13),
    ("Ne", 21.564_541),
    ("Ar", 15.759_611_9),
    ("Kr", 13.999_605_5),
    ("Xe", 12.129_843_7),
    ("Hg", 10.437_504),
    ("H2", 15.425_8),
    ("N2", 15.58),
    ("O2", 12.07),
    ("CO2", 13.78),
    ("H2O", 12.62),
];

/// First ionisation energy of an atom or molecule by its formula, eV.
pub fn ionisation_energy_ev(formula: &str) -> Option<f64> {
    IONISATION_ENERGY_EV.iter().find(|(name, _)| *name == formula).map(|(_, energy)| *energy)
}

/// The gases of beam tubes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[non_exhaustive]
pub enum Gas {
    /// H₂.
    Hydrogen,
    /// He.
    Helium,
    /// Ne.
    Neon,
    /// Ar.
    Argon,
}

/// A shell of a gas: binding energy, mean kinetic energy over its principal number (eV), electrons.
type ShellOf = (f64, f64, f64);

impl Gas {
    /// Chemical formula, the key of [`IONISATION_ENERGY_EV`].
    pub fn formula(self) -> &'static str {
        match self {
            Self::Hydrogen => "H2",
            Self::Helium => "He",
            Self::Neon => "Ne",
            Self::Argon => "Ar",
        }
    }

    /// Shells: binding energies and kinetic energies from Hwang, Kim, Rudd, J. Chem. Phys. 104 (1996) 2956 and the NIST
    /// electron-impact tables, from memory; a principal number of 3 divides the kinetic energy.
    fn shells(self) -> &'static [ShellOf] {
        match self {
            Self::Hydrogen => &[(15.43, 15.98, 2.0)],
            Self::Helium => &[(24.587, 39.51, 2.0)],
            Self::Neon => &[(21.565, 116.02, 6.0), (48.47, 141.88, 2.0)],
            Self::Argon => &[(15.760, 78.07 / 3.0, 6.0), (29.24, 103.5 / 3.0, 2.0)],
        }
    }

    /// Electrons in a molecule and its mean excitation energy (eV): ICRU Report 37, from memory.
    fn stopping(self) -> (f64, f64) {
        match self {
            Self::Hydrogen => (2.0, 19.2),
            Self::Helium => (2.0, 41.8),
            Self::Neon => (10.0, 137.0),
            Self::Argon => (18.0, 188.0),
        }
    }

    /// Cross section for ionisation by an electron, m².
    ///
    /// Binary-encounter-Bethe, each shell `S/(t + u + 1) (ln t/2 (1 − 1/t²) + 1 − 1/t − ln t/(t + 1))`, `t = T/B`, `u = U/B`,
    /// `S = 4π a₀² N (R/B)²`. **Source** Y.-K. Kim, M. E. Rudd, Phys. Rev. A 50 (1994) 3954.
    pub fn ionisation_cross_section_m2(self, energy_ev: f64) -> f64 {
        self.shells().iter().map(|shell| binary_encounter_bethe(*shell, energy_ev)).sum()
    }

    /// Mean energy loss over length for a number density of 1 m⁻³, eV m².
    ///
    /// `(e²/4πε₀)² 2π Z/T ln(1.166 (T + 0.85 J)/J)`. **Source** Bethe; D. C. Joy, S. Luo, Scanning 11 (1989) 176 for the
    /// low-energy term. **Holds** to about 30 % from 50 eV to 10 keV.
    pub fn stopping_cross_section_ev_m2(self, energy_ev: f64) -> f64 {
        let (electrons, excitation) = self.stopping();
        let coulomb = ELEMENTARY_CHARGE.value / (4.0 * std::f64::consts::PI * VACUUM_PERMITTIVITY.value);
        let logarithm =
            ((0.5 * std::f64::consts::E).sqrt() * (energy_ev + 0.85 * excitation) / excitation).ln();
        std::f64::consts::TAU * coulomb * coulomb * electrons / energy_ev * logarithm.max(0.0)
    }
}

fn binary_encounter_bethe((binding, kinetic, electrons): ShellOf, energy_ev: f64) -> f64 {
    let (t, u) = (energy_ev / binding, kinetic / binding);
    if !(t > 1.0) {
        return 0.0;
    }
    let ratio = RYDBERG_EV / binding;
    let s = 4.0 * std::f64::consts::PI * BOHR_RADIUS_M * BOHR_RADIUS_M * electrons * ratio * ratio;
    let l = t.ln();
    s / (t + u + 1.0) * (0.5 * l * (1.0 - 1.0 / (t * t)) + 1.0 - 1.0 / t - l / (t + 1.0))
}

/// What a path through gas does to a beam.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct GasLoss {
    /// Share of the electrons that have ionised at least once.
    pub collided_share: f64,
    /// Mean energy loss, eV (over all electrons, also those that lost nothing).
    pub mean_energy_loss_ev: f64,
}

/// Share of electrons that have collided and mean loss after a path of `length_m` in `gas`.
///
/// The beam's mean energy is carried along the path; the share is `1 − exp(−∫ n σ ds)`.
///
/// - **Fails** for an energy, pressure, temperature or length that is not above (pressure, length: at or above) zero.
/// - **Holds** for losses small against the energy; see the module about its accuracy.
pub fn loss(
    gas: Gas,
    pressure_pa: f64,
    temperature_k: f64,
    energy_ev: f64,
    length_m: f64,
) -> Result<GasLoss, MotionError> {
    let along = loss_along(gas, pressure_pa, temperature_k, energy_ev, length_m, LOSS_STEPS)?;
    Ok(along.last().copied().unwrap_or(GasLoss { collided_share: 0.0, mean_energy_loss_ev: 0.0 }))
}

/// [`loss`] after each of `n` equal parts of a path of `length_m`, in order: how the beam fades and slows along its way.
///
/// ```
/// use arcmass_physics::gas::{Gas, loss_along};
/// // once round a ring of 9 cm in 1 Pa of helium, with 200 eV
/// let along = loss_along(Gas::Helium, 1.0, 300.0, 200.0, 0.28, 28)?;
/// assert!(along.windows(2).all(|w| w[1].collided_share > w[0].collided_share));
/// let end = along[27];
/// // about one electron in five ionises an atom on the way; the mean loss is below a tenth of the energy
/// assert!((0.1..0.4).contains(&end.collided_share) && end.mean_energy_loss_ev < 20.0, "{end:?}");
/// # Ok::<(), arcmass_physics::MotionError>(())
/// ```
pub fn loss_along(
    gas: Gas,
    pressure_pa: f64,
    temperature_k: f64,
    energy_ev: f64,
    length_m: f64,
    n: usize,
) -> Result<Vec<GasLoss>, MotionError> {
    let density = number_density_per_m3(pressure_pa, temperature_k)?;
    require("beam energy in eV", "above 0 and finite", energy_ev, energy_ev > 0.0)?;
    require("length in metres", "0 or above and finite", length_m, length_m >= 0.0)?;
    let slope = |e: f64| density * gas.stopping_cross_section_ev_m2(e.max(1.0));
    // parts of a part, so that the whole has at least as many steps as are needed
    let finer = LOSS_STEPS.div_ceil(n.max(1));
    let step = length_m / (n * finer).max(1) as f64;
    let (mut energy, mut depth) = (energy_ev, 0.0f64);
    let part = |_| {
        for _ in 0..finer {
            let middle = energy - 0.5 * step * slope(energy);
            depth += density * gas.ionisation_cross_section_m2(middle) * step;
            energy = (energy - step * slope(middle)).max(0.0);
        }
        GasLoss { collided_share: -(-depth).exp_m1(), mean_energy_loss_ev: energy_ev - energy }
    };
    Ok((0..n).map(part).collect())
}

/// Number density of an ideal gas, `p/(k T)`.
pub fn number_density_per_m3(pressure_pa: f64, temperature_k: f64) -> Result<f64, MotionError> {
    require("gas pressure in Pa", "0 or above and finite", pressure_pa, pressure_pa >= 0.0)?;
    require("gas temperature in K", "above 0 and finite", temperature_k, temperature_k > 0.0)?;
    Ok(pressure_pa / (BOLTZMANN.value * temperature_k))
}

/// Mean free path of a fast particle among resting targets, `1/(n σ)`.
pub fn mean_free_path_m(number_density_per_m3: f64, cross_section_m2: f64) -> f64 {
    1.0 / (number_density_per_m3 * cross_section_m2)
}

/// Share of a beam that has not collided after a length, `exp(−L/λ)`.
pub fn unscattered_share(length_m: f64, mean_free_path_m: f64) -> f64 {
    (-length_m / mean_free_path_m).exp()
}

/// Mean free path of the gas's own molecules of diameter d, `k T/(√2 π d² p)`.
pub fn molecule_mean_free_path_m(
    diameter_m: f64,
    pressure_pa: f64,
    temperature_k: f64,
) -> Result<f64, MotionError> {
    let density = number_density_per_m3(pressure_pa, temperature_k)?;
    Ok(1.0 / (2f64.sqrt() * std::f64::consts::PI * diameter_m * diameter_m * density))
}

/// Energy of a photon from its vacuum wavelength, `h c/(e λ)`, eV.
pub fn photon_energy_ev(wavelength_m: f64) -> f64 {
    PLANCK_J_S * SPEED_OF_LIGHT.value / (ELEMENTARY_CHARGE.value * wavelength_m)
}

fn require(what: &'static str, must: &'static str, got: f64, holds: bool) -> Result<(), MotionError> {
    if holds && got.is_finite() { Ok(()) } else { Err(MotionError::OutOfRange { what, must, got }) }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Measured peaks (Rapp, Englander-Golden, J. Chem. Phys. 43 (1965) 1464), from memory.
    #[test]
    fn ionisation_peaks_are_as_measured_within_the_models_accuracy() {
        for (gas, energy_ev, peak_m2) in [
            (Gas::Hydrogen, 70.0, 0.97e-20),
            (Gas::Helium, 120.0, 0.37e-20),
            (Gas::Argon, 100.0, 2.85e-20),
            (Gas::Neon, 200.0, 0.78e-20),
        ] {
            let sigma = gas.ionisation_cross_section_m2(energy_ev);
            assert!((sigma / peak_m2 - 1.0).abs() < 0.35, "{gas:?}: {sigma:e} against {peak_m2:e}");
        }
    }

    #[test]
    fn losses_along_a_path_add_up_to_the_loss_over_it() {
        // thin enough that the energy hardly changes; eight parts divide the steps of the whole evenly
        let whole = loss(Gas::Hydrogen, 0.05, 300.0, 150.0, 0.4).unwrap();
        let along = loss_along(Gas::Hydrogen, 0.05, 300.0, 150.0, 0.4, 8).unwrap();
        assert_eq!(along.len(), 8);
        let end = along.last().unwrap();
        assert!((end.mean_energy_loss_ev / whole.mean_energy_loss_ev - 1.0).abs() < 1e-12);
        assert!((end.collided_share / whole.collided_share - 1.0).abs() < 1e-12);
        let first = along.first().unwrap();
        assert!((8.0 * first.mean_energy_loss_ev / whole.mean_energy_loss_ev - 1.0).abs() < 0.02);
        assert!(loss_along(Gas::Hydrogen, 2.0, 300.0, 150.0, 0.4, 0).unwrap().is_empty());
    }

    #[test]
    fn nothing_is_ionised_below_the_threshold_and_no_gas_takes_nothing() {
        assert_eq!(Gas::Helium.ionisation_cross_section_m2(24.0), 0.0);
        let vacuum = loss(Gas::Argon, 0.0, 300.0, 200.0, 0.3).unwrap();
        assert_eq!((vacuum.collided_share, vacuum.mean_energy_loss_ev), (0.0, 0.0));
        assert!(loss(Gas::Argon, -1.0, 300.0, 200.0, 0.3).is_err());
    }
}
