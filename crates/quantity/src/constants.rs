//! Fundamental constants, each with its uncertainty and its source.

/// A constant of nature that cannot be written down without its source.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Constant {
    /// What it is, in words.
    pub name: &'static str,
    /// Usual symbol.
    pub symbol: &'static str,
    /// Value in `unit`.
    pub value: f64,
    /// Standard uncertainty in `unit`; 0 where the value is exact by definition.
    pub standard_uncertainty: f64,
    /// SI unit.
    pub unit: &'static str,
    /// Where the value was taken from.
    pub source: &'static str,
}

const CODATA_2022: &str = "CODATA recommended values of the fundamental physical constants, 2022 adjustment";

const fn codata(
    name: &'static str,
    symbol: &'static str,
    value: f64,
    standard_uncertainty: f64,
    unit: &'static str,
) -> Constant {
    Constant { name, symbol, value, standard_uncertainty, unit, source: CODATA_2022 }
}

/// Elementary charge, exact since 2019.
pub const ELEMENTARY_CHARGE: Constant = codata("elementary charge", "e", 1.602_176_634e-19, 0.0, "C");
/// Electron mass. No measurement may read it before its last comparison.
pub const ELECTRON_MASS: Constant = codata("electron mass", "m_e", 9.109_383_713_9e-31, 2.8e-40, "kg");
/// Speed of light in vacuum, exact since 1983.
pub const SPEED_OF_LIGHT: Constant = codata("speed of light in vacuum", "c", 299_792_458.0, 0.0, "m s^-1");
/// Magnetic constant.
pub const VACUUM_PERMEABILITY: Constant =
    codata("vacuum magnetic permeability", "mu_0", 1.256_637_061_27e-6, 2.0e-16, "N A^-2");
/// Electric constant.
pub const VACUUM_PERMITTIVITY: Constant =
    codata("vacuum electric permittivity", "epsilon_0", 8.854_187_818_8e-12, 1.4e-21, "F m^-1");
/// Atomic mass constant (one unified atomic mass unit).
pub const ATOMIC_MASS: Constant = codata("atomic mass constant", "m_u", 1.660_539_068_92e-27, 5.2e-37, "kg");
/// Proton mass.
pub const PROTON_MASS: Constant = codata("proton mass", "m_p", 1.672_621_925_95e-27, 5.2e-37, "kg");
/// Deuteron mass.
pub const DEUTERON_MASS: Constant = codata("deuteron mass", "m_d", 3.343_583_776_8e-27, 1.0e-36, "kg");
/// Alpha particle mass.
pub const ALPHA_MASS: Constant = codata("alpha particle mass", "m_alpha", 6.644_657_345_0e-27, 2.1e-36, "kg");
/// Muon mass.
pub const MUON_MASS: Constant = codata("muon mass", "m_mu", 1.883_531_627e-28, 4.2e-36, "kg");
/// Boltzmann constant, exact since 2019.
pub const BOLTZMANN: Constant = codata("Boltzmann constant", "k_B", 1.380_649e-23, 0.0, "J K^-1");

/// Every constant the program holds, for the report's list of sources.
pub const ALL: [Constant; 11] = [
    ELEMENTARY_CHARGE,
    ELECTRON_MASS,
    SPEED_OF_LIGHT,
    VACUUM_PERMEABILITY,
    VACUUM_PERMITTIVITY,
    ATOMIC_MASS,
    PROTON_MASS,
    DEUTERON_MASS,
    ALPHA_MASS,
    MUON_MASS,
    BOLTZMANN,
];
