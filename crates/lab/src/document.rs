//! The JSON documents other programs may rely on, key by key.

use serde::{Deserialize, Serialize};

mod field;
mod judged;
mod path;

pub use field::{
    Covariance, FieldDocument, FieldMap, FieldPoint, LineFit, LineReading, MapFit, MapReading, Profile,
    RingOfMap, RingUniformity, Uniformity,
};
pub use judged::{probability, verdict};
pub use path::{BeamEntry, Deviation, Focus, GasEntry, PathDocument, PathEnd, Width};

/// A measured value: unit as the suffix of its key, intervals equal-tailed.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Q {
    /// Best estimate.
    pub value: f64,
    /// One standard uncertainty.
    pub standard_uncertainty: f64,
    /// From the 16 % to the 84 % quantile.
    pub interval_68: [f64; 2],
    /// From the 2.5 % to the 97.5 % quantile.
    pub interval_95: [f64; 2],
}

impl Q {
    /// The same quantity in another unit: every number times `factor` (above 0).
    pub fn times(self, factor: f64) -> Self {
        let both = |[low, high]: [f64; 2]| [low * factor, high * factor];
        Self {
            value: self.value * factor,
            standard_uncertainty: self.standard_uncertainty * factor,
            interval_68: both(self.interval_68),
            interval_95: both(self.interval_95),
        }
    }
}

/// An input file and the hash of its bytes.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct InputHash {
    /// Relative to the notebook.
    pub file: String,
    /// SHA-256, lower-case hexadecimal.
    pub sha256: String,
}

/// What made a document.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct MadeBy {
    /// Of arcmass.
    pub version: String,
    /// Of the random stream.
    pub seed: u64,
    /// Files that went in.
    pub inputs: Vec<InputHash>,
}

/// Something to know beside a result.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct CaveatEntry {
    /// Fixed name.
    pub code: String,
    /// What is so.
    pub sentence: String,
    /// What to do.
    pub remedy: String,
}

impl From<arcmass_quantity::Caveat> for CaveatEntry {
    fn from(caveat: arcmass_quantity::Caveat) -> Self {
        Self { code: caveat.code.to_owned(), sentence: caveat.sentence, remedy: caveat.remedy }
    }
}

/// One fault of the input.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct FaultEntry {
    /// Where.
    pub file: String,
    /// From 1; null where the whole file is meant.
    pub line: Option<usize>,
    /// From 1; null where the whole line is meant.
    pub column: Option<usize>,
    /// What was found.
    pub found: String,
    /// What is accepted.
    pub accepted: String,
    /// What to do.
    pub remedy: String,
}

/// `arcmass.faults/1`.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct FaultsDocument {
    /// Fixed.
    pub schema: &'static str,
    /// What made it.
    pub made_by: MadeBy,
    /// All at once.
    pub faults: Vec<FaultEntry>,
}

/// One measured photograph.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct PhotoEntry {
    /// Name under `photos/`.
    pub photo: String,
    /// Run it belongs to.
    pub run: Option<String>,
    /// Name of the scale's photograph.
    pub scale_photo: Option<String>,
    /// In the scale's plane, u without the scale's offset.
    pub ring_diameter_in_scale_plane_mm: Option<Q>,
    /// Moved to the muzzle's plane.
    pub ring_diameter_mm: Option<Q>,
    /// Part of u that is this photograph's own, mm.
    pub u_trace_mm: Option<f64>,
    /// Part of u shared by all photographs of one scale, mm.
    pub u_plane_mm: Option<f64>,
    /// Of the glowing beam.
    pub beam_width_mm: Option<Q>,
    /// Of the circle along the beam's inner edge, moved to the muzzle's plane.
    #[serde(default)]
    pub inner_edge_diameter_mm: Option<Q>,
    /// Of the circle along the beam's outer edge, moved to the muzzle's plane.
    #[serde(default)]
    pub outer_edge_diameter_mm: Option<Q>,
    /// Of the ellipse in the picture.
    pub centre_px: Option<[f64; 2]>,
    /// Major first.
    pub semi_axes_px: Option<[f64; 2]>,
    /// From +x towards +y of the picture.
    pub axis_angle_deg: Option<f64>,
    /// How much of the ring could be followed.
    pub arc_seen_deg: Option<f64>,
    /// At the ring's centre, mean of directions.
    pub scale_px_per_mm: Option<Q>,
    /// From the ring's centre to the camera, bench frame.
    pub camera_direction: Option<[f64; 3]>,
    /// Side views.
    pub pitch_mm: Option<Q>,
    /// Side views.
    pub helix_diameter_mm: Option<Q>,
    /// How the ring was found; one that is `unsure` takes part in no mass until a person marks it.
    #[serde(default)]
    pub status: PhotoStatus,
    /// Said beside the result.
    pub caveats: Vec<CaveatEntry>,
}

/// How a ring was found on its photograph.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum PhotoStatus {
    /// By the program, plainly.
    #[default]
    Measured,
    /// About points that a person marked.
    ByHand,
    /// By the program, which is not sure that the line is the beam.
    Unsure,
}

/// One photograph that could not be measured.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct FailedPhoto {
    /// Name under `photos/`.
    pub photo: String,
    /// Why.
    pub sentence: String,
    /// What to do.
    pub remedy: String,
}

/// `arcmass.rings/1`.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct RingsDocument {
    /// Fixed.
    pub schema: String,
    /// What made it.
    pub made_by: MadeBy,
    /// In the order of the readings.
    pub photos: Vec<PhotoEntry>,
    /// In the order of the readings.
    pub failed: Vec<FailedPhoto>,
}

/// One run of a reduction.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct RunEntry {
    /// Its name.
    pub run: String,
    /// Effective reading: corrected for the meter.
    pub voltage_v: Q,
    /// Kinetic energy over charge: `voltage_v` with the gun's offset, less what the gas takes.
    #[serde(default)]
    pub accelerating_voltage_v: Option<Q>,
    /// Corrected for the meter.
    pub current_a: Q,
    /// Mean magnitude across the beam along the ring.
    pub flux_density_mt: Q,
    /// Of the ideal ring: 2 p / (e B), draw by draw.
    pub ring_diameter_mm: Q,
    /// As measured (on the photograph, in the scale's plane, or in the table).
    pub measured_diameter_mm: Q,
    /// Measured minus modelled, mm.
    pub residual_mm: f64,
    /// From the momentum and the measured mass.
    pub speed_m_per_s: Q,
    /// e B r.
    pub momentum_kg_m_per_s: Q,
    /// This run alone.
    pub mass_kg: Q,
    /// Textbook formula on the readings as read.
    pub textbook_mass_kg: f64,
    /// Left out of the result.
    pub r#struck: bool,
    /// Left out because it lies too far from all others; see the findings.
    #[serde(default)]
    pub set_aside: bool,
}

/// Something the model holds besides the mass.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct EffectEntry {
    /// Fixed name.
    pub code: String,
    /// In words.
    pub name: String,
    /// Of prior and posterior.
    pub unit: String,
    /// Before the readings.
    pub prior: Option<Q>,
    /// After the readings.
    pub posterior: Q,
    /// By how much the mass moves when the effect is taken into account, %.
    pub shift_of_mass_percent: f64,
    /// Whether these readings tell it apart from the mass.
    pub separable: bool,
    /// Names of the effects that only matter together with it; the shift is that of leaving all of them out.
    #[serde(default)]
    pub together_with: Vec<String>,
}

/// Exponents of r ∝ V^a I^b.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Exponents {
    /// a; ½ by the law.
    pub voltage_exponent: Q,
    /// b; −1 by the law.
    pub current_exponent: Q,
}

/// The law, raw and corrected.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Law {
    /// From the readings as read.
    pub raw: Option<Exponents>,
    /// With every correction of the model.
    pub corrected: Option<Exponents>,
}

/// One line of the budget. The shares add up to 1, the squares of the parts to the square of the mass's relative standard uncertainty.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct BudgetLine {
    /// Which input.
    pub input: String,
    /// Its part in the mass's standard uncertainty, %.
    pub standard_uncertainty_percent: f64,
    /// Its part in the variance, 0 to 1.
    pub share: f64,
}

/// Do the runs agree with one mass?
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Agreement {
    /// Of the runs about the model.
    pub chi_squared: f64,
    /// Runs minus one.
    pub degrees_of_freedom: usize,
    /// Chance of a larger chi-squared; null where the scatter itself set the uncertainty.
    pub p_value: Option<f64>,
    /// √(χ²/ν); null with one run.
    pub birge_ratio: Option<f64>,
}

/// The law of propagation of uncertainty against the draws (JCGM 101:2008, 8), for the stated model.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Propagation {
    /// Estimate ± 1.96 u.
    pub interval_95_kg: [f64; 2],
    /// Half a unit of u's second digit.
    pub tolerance_kg: f64,
    /// Of either end from the drawn interval's.
    pub largest_difference_kg: f64,
    /// Whether the simple way would have done.
    pub agrees: bool,
}

/// The second answer: the model as it is on draws of the first, which takes it as straight about the best estimate.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Posterior {
    /// `checked`: the first answer stands; `re-weighted`: its draws were given the exact weights; `walked`: an adaptive walk.
    pub method: String,
    /// Draws on which the exact model was evaluated.
    pub draws: usize,
    /// Independent draws that would tell as much.
    pub effective_number: f64,
    /// Exact mean minus the first answer's, in its u.
    pub shift_in_u: f64,
    /// Whether the two answers agree.
    pub agrees: bool,
}

/// The last comparison.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Reference {
    /// Of the accepted value.
    pub source: String,
    /// Accepted value.
    pub mass_kg: Q,
    /// Measured minus accepted in units of the joint standard uncertainty.
    pub difference_in_u: f64,
}

/// One model of the mixture that the result is.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct ModelPart {
    /// `as-stated`, or the code of what is set free.
    pub code: String,
    /// In words.
    pub name: String,
    /// Posterior probability among the models tried.
    pub weight: f64,
    /// The mass if this model holds; null where its weight is too small for draws.
    pub mass_kg: Option<Q>,
}

/// The models that `mass_kg` and every table are a mixture of.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct MixtureEntry {
    /// Prior odds of each alternative against the model as stated; all odd runs together count as one.
    pub prior_odds: f64,
    /// Likeliest first; those below a weight of 0.01 are left out.
    pub models: Vec<ModelPart>,
}

/// Something outside what was stated.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Finding {
    /// Fixed name.
    pub code: String,
    /// 0 to 1.
    pub confidence: f64,
    /// What is so.
    pub sentence: String,
    /// What to do.
    pub remedy: String,
}

/// `arcmass.reduction/1`.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct ReductionDocument {
    /// Fixed.
    pub schema: String,
    /// What made it.
    pub made_by: MadeBy,
    /// The answer.
    pub mass_kg: Q,
    /// With everything as stated.
    pub mass_as_stated_kg: Q,
    /// With the likeliest effect set free.
    pub mass_widened_kg: Option<Q>,
    /// What `mass_kg`, and with it every table, is a mixture of.
    #[serde(default)]
    pub mixture: MixtureEntry,
    /// e/m: the mass's reciprocal, interval ends exchanged.
    pub charge_to_mass_c_per_kg: Q,
    /// In use.
    pub field_per_ampere_mt_per_a: Q,
    /// From the coils' sizes alone.
    pub geometry_mt_per_a: Option<Q>,
    /// From the probe's line alone.
    pub probe_mt_per_a: Option<Q>,
    /// Of the probe's line: background plus the probe's zero.
    pub intercept_mt: Option<Q>,
    /// Their difference in its standard uncertainty.
    pub probe_minus_geometry_in_u: Option<f64>,
    /// Mean of the textbook formula over the runs.
    pub textbook_mean_mass_kg: f64,
    /// The two classic straight lines, for every group of runs that has one.
    #[serde(default)]
    pub textbook_lines: Vec<crate::textbook::TextbookLine>,
    /// Each run's excess against the shapes that spoiling effects have.
    #[serde(default)]
    pub signatures: Vec<crate::textbook::Signature>,
    /// In the order of the readings.
    pub runs: Vec<RunEntry>,
    /// All the model holds.
    pub effects: Vec<EffectEntry>,
    /// r ∝ V^a I^b.
    pub law: Law,
    /// Largest share first.
    pub budget: Vec<BudgetLine>,
    /// Do the runs agree?
    pub agreement: Agreement,
    /// The scatter of the diameters in units of what is stated, or of 0.5 mm where nothing is; 1 before any reading.
    #[serde(default)]
    pub scatter_factor: f64,
    /// The simple way against the draws.
    #[serde(default)]
    pub propagation: Option<Propagation>,
    /// The second answer beside the first.
    #[serde(default)]
    pub posterior: Option<Posterior>,
    /// The last comparison.
    pub reference: Reference,
    /// Likeliest first.
    pub findings: Vec<Finding>,
    /// Said beside the result.
    pub caveats: Vec<CaveatEntry>,
}
