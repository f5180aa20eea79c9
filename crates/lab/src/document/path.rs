//! `arcmass.path/1`: the ring or helix of one setting, how wide the beam is along it, and where it ends.

use serde::{Deserialize, Serialize};

use super::{CaveatEntry, MadeBy};

/// `arcmass.path/1`.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct PathDocument {
    /// Fixed.
    pub schema: String,
    /// What made it.
    pub made_by: MadeBy,
    /// Orthogonal-distance circle through one turn seen along z.
    pub fitted_diameter_mm: Option<f64>,
    /// From the muzzle to the far crossing.
    pub chord_diameter_mm: Option<f64>,
    /// Signed change of z over one turn.
    pub pitch_mm: Option<f64>,
    /// Turns before the glass; null if it isn't met.
    pub turns_to_glass: Option<f64>,
    /// Where the glass is met.
    pub glass_point_mm: Option<[f64; 3]>,
    /// Whether the beam comes round to the gun.
    pub meets_gun: bool,
    /// Of the particle.
    pub speed_m_per_s: f64,
    /// Along +x, +y, +z.
    pub flux_density_at_muzzle_mt: [f64; 3],
    /// Equally spaced along the path.
    pub points_mm: Vec<[f64; 3]>,
    /// Of the fitted diameter, to first order from field per ampere, meters and voltage offset.
    pub fitted_diameter_standard_uncertainty_mm: Option<f64>,
    /// Centre of the fitted circle seen along z.
    pub centre_mm: Option<[f64; 2]>,
    /// Where the beam leaves the gun.
    pub muzzle_mm: [f64; 3],
    /// Unit vector of the beam there.
    pub direction: [f64; 3],
    /// Kinetic energy over charge, corrected as in the reduction.
    pub accelerating_voltage_v: f64,
    /// Corrected for the ammeter's stated zero.
    pub current_a: f64,
    /// Momentum over charge and the field's part across the beam, at the muzzle.
    pub gyroradius_mm: f64,
    /// Angle between beam and field at the muzzle.
    pub pitch_angle_deg: f64,
    /// How far the traced turn lies from ideal ones; null where the glass cuts it.
    pub deviation: Option<Deviation>,
    /// The beam as a fan of rays; null where the path is too short for it.
    pub beam: Option<BeamEntry>,
    /// What the gas does over the path drawn; null unless gas and pressure are stated.
    pub gas: Option<GasEntry>,
    /// Where the drawn path ends.
    pub end: PathEnd,
    /// The path as far as the beam really runs: to the gun, to the glass, or three turns.
    pub drawn_mm: Vec<[f64; 3]>,
    /// Said beside the result.
    pub caveats: Vec<CaveatEntry>,
}

/// How far the traced turn lies from ideal ones, mm.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Deviation {
    /// Largest distance from the fitted circle, seen along z.
    pub from_fitted_circle_mm: f64,
    /// Largest distance from the helix in a uniform field as strong as the one at the bulb's centre.
    pub from_uniform_field_mm: f64,
}

/// Full widths of the beam at one place, mm.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Width {
    /// Across the beam, seen along z.
    pub in_plane_mm: f64,
    /// Along z.
    pub along_z_mm: f64,
}

/// The beam as a fan of rays from the muzzle.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct BeamEntry {
    /// Half angle; assumed.
    pub divergence_deg: f64,
    /// Half spread of the kinetic energy; assumed.
    pub energy_spread_ev: f64,
    /// At the muzzle: as stated, else assumed.
    pub own_width_mm: f64,
    /// Whether `own_width_mm` is assumed.
    pub own_width_assumed: bool,
    /// After one turn, or at the glass: fan and own width together.
    pub at_end: Width,
    /// Where the fan is narrowest seen along z; null where it does not turn far enough.
    pub focus: Option<Focus>,
}

/// Where the fan is narrowest.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Focus {
    /// Angle turned since the muzzle.
    pub turned_deg: f64,
    /// Where.
    pub place_mm: [f64; 3],
    /// Fan and own width together.
    pub width: Width,
}

/// What the gas does to the beam.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct GasEntry {
    /// Name.
    pub gas: String,
    /// Pa.
    pub pressure_pa: f64,
    /// Assumed.
    pub temperature_k: f64,
    /// mm of path.
    pub path_length_mm: f64,
    /// Mean over all electrons, eV.
    pub mean_energy_loss_ev: f64,
    /// Share of the electrons that have ionised at least once, 0 to 1.
    pub collided_share: f64,
}

/// What ends the drawn path.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum PathEnd {
    /// The gun's body.
    Gun,
    /// The glass.
    Glass,
    /// Neither within three turns.
    Open,
}
