//! The apparatus: what is known of it, and how well.

use arcmass_quantity::{Stated, Uncertainty};

use super::{Input, Sense};

/// All that `bench.toml` says.
#[derive(Debug, Clone, PartialEq)]
pub struct Bench {
    /// Name for reports; the folder's name if the file states none.
    pub name: String,
    /// `[coils]`: the coaxial pair, or only its limits and constant when `[[coil]]` tables hold the geometry.
    pub pair: Option<Pair>,
    /// `[[coil]]` tables; empty if there are none.
    pub coil_list: Vec<Coil>,
    /// `[gun]`.
    pub gun: Option<Gun>,
    /// `[bulb]`.
    pub bulb: Option<Bulb>,
    /// `[meters]`.
    pub meters: Meters,
    /// `[surroundings]`.
    pub surroundings: Option<Surroundings>,
    /// `[camera]`.
    pub camera: Option<Camera>,
    /// `[scale]`.
    pub scale: Option<Scale>,
    /// The file's text as read.
    pub source: String,
    /// The file and its hash.
    pub input: Input,
}

/// How a coil's turns run.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum CoilShape {
    /// In a circle; `mean_radius` is its radius.
    #[default]
    Circular,
    /// In a square; `mean_half_side` takes the radius's place.
    Square,
}

/// `[coils]`: a coaxial pair.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Pair {
    /// Sizes, if they are stated completely.
    pub geometry: Option<PairGeometry>,
    /// Keys that the sizes lack, if some are stated and others aren't.
    pub geometry_lacks: Vec<&'static str>,
    /// Direction along z of the field that a positive ammeter reading makes.
    pub field_direction: Option<Sense>,
    /// Rating of each coil, A.
    pub current_limit_a: Option<f64>,
    /// Stated coil constant, T/A, positive.
    pub field_per_ampere: Option<Stated>,
}

/// Sizes of a coaxial pair.
#[derive(Debug, Clone, PartialEq)]
pub struct PairGeometry {
    /// Circle or square.
    pub shape: CoilShape,
    /// Radius, or half the side of a square, to the middle of the winding, m.
    pub mean_radius: Stated,
    /// Mid-plane to mid-plane, m.
    pub separation: Stated,
    /// Turns on each coil.
    pub turns: Option<u32>,
    /// Section of the winding along the radius, m.
    pub winding_radial: Option<Stated>,
    /// Section of the winding along the axis, m.
    pub winding_axial: Option<Stated>,
}

/// `[[coil]]`: one coil anywhere.
#[derive(Debug, Clone, PartialEq)]
pub struct Coil {
    /// Circle or square.
    pub shape: CoilShape,
    /// Radius, or half the side of a square, to the middle of the winding, m.
    pub mean_radius: Stated,
    /// Number of turns.
    pub turns: u32,
    /// Section of the winding along the radius, m.
    pub winding_radial: Option<Stated>,
    /// Section of the winding along the axis, m.
    pub winding_axial: Option<Stated>,
    /// Centre in the bench's frame, m.
    pub centre: [Stated; 3],
    /// Unit vector along the coil's axis; +z if not stated.
    pub axis: [f64; 3],
    /// Whether a positive ammeter reading makes a field along the axis or against it.
    pub sense: Sense,
}

/// `[gun]`.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Gun {
    /// Where the beam leaves the anode, m.
    pub muzzle: Option<[Stated; 3]>,
    /// Of each component, m.
    pub muzzle_uncertainty: Option<Uncertainty>,
    /// Unit vector of the beam with tilt 0.
    pub direction: Option<[f64; 3]>,
    /// Angle, rad.
    pub direction_uncertainty: Option<Uncertainty>,
    /// Rating, V.
    pub voltage_limit_v: Option<f64>,
    /// Below it the beam can't be seen, V.
    pub voltage_minimum_v: Option<f64>,
    /// Effective voltage minus reading, V.
    pub voltage_offset: Option<Stated>,
    /// Width of the glowing beam, m.
    pub beam_width: Option<Stated>,
    /// What is accelerated; the electron if not stated.
    pub particle: Particle,
}

/// What the gun accelerates.
#[derive(Debug, Clone, PartialEq, Default)]
pub enum Particle {
    /// The electron.
    #[default]
    Electron,
    /// Something else.
    Other {
        /// Charge in elementary charges, signed.
        charge_number: i32,
        /// Mass, kg.
        mass: Stated,
    },
}

/// `[bulb]`.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Bulb {
    /// Outer radius of the glass, m.
    pub outer_radius: Option<Stated>,
    /// Thickness of the glass, m.
    pub glass_thickness: Option<Stated>,
    /// Refractive index of the glass.
    pub glass_index: Option<Stated>,
    /// How far a ring keeps from the glass, m.
    pub clearance_m: Option<f64>,
    /// Name of the gas.
    pub gas: Option<String>,
    /// Pressure of the gas, Pa.
    pub pressure: Option<Stated>,
}

/// `[meters]`.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Meters {
    /// `[meters.voltage]`, V.
    pub voltage: Option<Meter>,
    /// `[meters.current]`, A.
    pub current: Option<Meter>,
    /// `[meters.probe]`, T.
    pub probe: Option<Meter>,
}

/// A meter's accuracy: percent of reading plus digits, as limits of rectangular distributions.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Meter {
    /// Its own name or serial number: notebooks that state the same one used the same instrument.
    pub name: Option<String>,
    /// Limit of the gain, a ratio (0.005 for 0.5 %).
    pub of_reading: Option<f64>,
    /// Limit of the zero in steps of the last digit.
    pub digits: Option<f64>,
    /// One step of the last digit, in SI.
    pub resolution: Option<f64>,
    /// Standard deviation of one reading, in SI.
    pub noise: Option<f64>,
    /// A stated zero, in SI, instead of digits.
    pub zero: Option<Stated>,
    /// Largest value that it shows, in SI; what the class of a meter without a data sheet is taken of.
    pub full_scale: Option<f64>,
}

impl Meter {
    /// Whether anything says how true it is; a resolution does not.
    pub fn has_accuracy(&self) -> bool {
        self.of_reading.is_some() || self.digits.is_some() || self.zero.is_some()
    }
}

/// `[surroundings]`: what the Earth and the building add.
#[derive(Debug, Clone, PartialEq)]
pub enum Surroundings {
    /// A stated background field in the bench's frame, T.
    Background([Stated; 3]),
    /// A place and a date, for a model of the Earth's field.
    Place(Place),
}

/// Where and when the bench stands.
#[derive(Debug, Clone, PartialEq)]
pub struct Place {
    /// Geodetic, north positive, rad.
    pub latitude: Stated,
    /// East positive, rad.
    pub longitude: Stated,
    /// Above sea level, m.
    pub height: Option<Stated>,
    /// Day.
    pub date: Date,
    /// True bearing of +z, clockwise from north, rad.
    pub axis_bearing: Stated,
}

/// A day of the calendar.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct Date {
    /// Year.
    pub year: u16,
    /// Month, 1 to 12.
    pub month: u8,
    /// Day, 1 to 31.
    pub day: u8,
}

/// `[camera]`.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Camera {
    /// Lens to the bulb's centre, m.
    pub distance: Option<Stated>,
    /// Whether nobody touched the camera between the photographs of ring and scale.
    pub is_fixed: bool,
}

/// What carries the marks that stand for millimetres.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ScaleKind {
    /// A ruler.
    Ruler,
    /// A grid of lines.
    Grid,
    /// A chequered board.
    Board,
    /// A ruler on a mirror, read so that the pointer hides its own image: without parallax.
    Mirror,
}

/// `[scale]`.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Scale {
    /// Ruler, grid, board or mirror.
    pub kind: Option<ScaleKind>,
    /// Between marks, m.
    pub spacing: Option<Stated>,
    /// Of the scale from the muzzle's plane, m, positive towards +z (side view: from x = 0, towards the camera).
    pub offset: Option<Stated>,
    /// Standard uncertainty of the scale's own length, a ratio.
    pub relative_uncertainty: Option<f64>,
}
