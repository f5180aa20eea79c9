//! `arcmass.field/1`: the field per ampere by every way, the map, and how uniform the field is over the ring.

use serde::{Deserialize, Serialize};

use super::{CaveatEntry, Finding, MadeBy, Q};

/// Flux density at one point.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct FieldPoint {
    /// mm, bench frame.
    pub at_mm: [f64; 3],
    /// mT along +x, +y, +z.
    pub flux_density_mt: [f64; 3],
}

/// `arcmass.field/1`.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct FieldDocument {
    /// Fixed.
    pub schema: String,
    /// What made it.
    pub made_by: MadeBy,
    /// Joined value, in use.
    pub field_per_ampere_mt_per_a: Q,
    /// From the coils' sizes alone.
    pub geometry_mt_per_a: Option<Q>,
    /// From the probe's line alone.
    pub probe_mt_per_a: Option<Q>,
    /// As stated in the bench file.
    pub stated_mt_per_a: Option<Q>,
    /// From the current balance alone.
    pub balance_mt_per_a: Option<Q>,
    /// Probe minus geometry in units of the standard uncertainty of the difference.
    pub probe_minus_geometry_in_u: Option<f64>,
    /// Of the probe's line: background plus the probe's zero.
    pub intercept_mt: Option<Q>,
    /// Along +x, +y, +z.
    pub background_mt: [Q; 3],
    /// Coil current for `points`, A.
    pub current_a: f64,
    /// Where `--at` asked.
    pub points: Vec<FieldPoint>,
    /// The probe's own zero as the joint fit holds it; null without a probe.
    pub probe_zero_mt: Option<Q>,
    /// The probe's line as fitted.
    pub line_fit: Option<LineFit>,
    /// Of the joint fit: field per ampere, background, probe's zero.
    pub covariance: Covariance,
    /// The map against the model; null without readings away from the centre.
    pub map_fit: Option<MapFit>,
    /// Over the rings the bench will make: the coils' field against the centre's.
    pub uniformity: Option<Uniformity>,
    /// Across and along the axis; null unless asked for.
    pub map: Option<FieldMap>,
    /// The probe's line, reading by reading.
    pub line: Vec<LineReading>,
    /// What clashes, surest first.
    pub findings: Vec<Finding>,
    /// Said beside the result.
    pub caveats: Vec<CaveatEntry>,
}

/// How uniform the coils' field is over a ring.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Uniformity {
    /// Diameter of the ring, mm.
    pub ring_diameter_mm: f64,
    /// Mean of the field along the ring against the centre, %.
    pub mean_deviation_percent: f64,
    /// Largest deviation along the ring from the centre, %.
    pub largest_deviation_percent: f64,
    /// Where the rings come from: `ratings`, `readings` or `assumed` (0.15 to 0.45 coil radii).
    pub basis: String,
    /// From the smallest ring to the largest.
    pub rings: Vec<RingUniformity>,
}

/// The coils' field along one ring.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct RingUniformity {
    /// mm.
    pub ring_diameter_mm: f64,
    /// Mean of the field along the ring against the centre, %.
    pub mean_deviation_percent: f64,
    /// Largest deviation along the ring from the centre, %.
    pub largest_deviation_percent: f64,
}

/// One reading of the probe on the I → B line.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct LineReading {
    /// A, as read, signed.
    pub current_a: f64,
    /// mT, as read.
    pub flux_density_mt: f64,
    /// mT, measured minus fitted.
    pub residual_mt: f64,
    /// Noise of the reading, mT; 0 where nothing tells it.
    #[serde(default)]
    pub standard_uncertainty_mt: f64,
}

/// The straight line through the probe's readings at the centre.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct LineFit {
    /// As the meters read.
    pub slope_mt_per_a: f64,
    /// As the meters read.
    pub intercept_mt: f64,
    /// Of intercept and slope, in that order, without the meters' gains and zeros.
    pub covariance: [[f64; 2]; 2],
    /// Root mean square of the residuals, two parameters counted, mT.
    pub scatter_mt: f64,
    /// Whether that scatter set the uncertainty because no noise of the probe is stated.
    pub from_scatter: bool,
}

/// Covariance of quantities, in products of their units.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Covariance {
    /// Names of the quantities, units as suffixes.
    pub of: Vec<String>,
    /// Row by row.
    pub matrix: Vec<Vec<f64>>,
}

/// The coil pair that fits the probe's map best: its amplitude is free, so that only the shape decides.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct MapFit {
    /// Radius that fits the map; null where the map does not fix it.
    pub effective_radius_mm: Option<Q>,
    /// Separation that fits the map; null where the map does not fix it.
    pub effective_separation_mm: Option<Q>,
    /// Correlation of the two.
    pub correlation: Option<f64>,
    /// Radius as stated.
    pub stated_radius_mm: Option<Q>,
    /// Separation as stated.
    pub stated_separation_mm: Option<Q>,
    /// Field per ampere at the centre by the map alone.
    pub field_per_ampere_mt_per_a: Option<Q>,
    /// Of the readings about the model.
    pub chi_squared: f64,
    /// Readings minus what was fitted.
    pub degrees_of_freedom: usize,
    /// Every reading with the coils on, in the order of the tables.
    pub readings: Vec<MapReading>,
    /// The model along the lines on which the readings lie.
    pub profiles: Vec<Profile>,
}

/// One reading of the map.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct MapReading {
    /// mm, bench frame.
    pub at_mm: [f64; 3],
    /// `x`, `y` or `z`.
    pub component: String,
    /// A, as read.
    pub current_a: f64,
    /// mT, as read.
    pub flux_density_mt: f64,
    /// mT, as read minus as modelled.
    pub residual_mt: f64,
    /// Noise of the reading, mT.
    pub standard_uncertainty_mt: f64,
    /// Axial component over that at the centre, without background and zero; null for other components.
    pub relative_to_centre: Option<f64>,
}

/// The coils' axial field along a straight line through the centre, over that at the centre.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Profile {
    /// `x`, `y` or `z`: which way the line runs.
    pub along: String,
    /// mm from the centre.
    pub at_mm: Vec<f64>,
    /// With the sizes as stated.
    pub stated: Vec<f64>,
    /// With the sizes that fit the map.
    pub fitted: Option<Vec<f64>>,
}

/// The coils' field against the centre's over two planes.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct FieldMap {
    /// Places along x in the ring's plane, rising.
    pub x_mm: Vec<f64>,
    /// Places along y in both planes, rising.
    pub y_mm: Vec<f64>,
    /// Places along z in the plane x = 0, rising.
    pub z_mm: Vec<f64>,
    /// |B|/|B at the centre| − 1 in the ring's plane, %, all x at the first y, and so on; null on a wire.
    pub across_percent: Vec<Option<f64>>,
    /// The same in the plane x = 0, all z at the first y, and so on.
    pub along_percent: Vec<Option<f64>>,
    /// The ring the bench will make.
    pub ring: RingOfMap,
    /// Inner radius of the glass, mm.
    pub glass_radius_mm: Option<f64>,
}

/// A circle parallel to the x–y plane.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct RingOfMap {
    /// mm.
    pub centre_mm: [f64; 3],
    /// mm.
    pub diameter_mm: f64,
}
