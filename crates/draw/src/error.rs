//! What cannot be drawn, and why.

/// Why a picture could not be drawn.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum DrawError {
    /// A number of the scene is not finite.
    #[error("{name} must be a finite number; got {value}")]
    NotFinite {
        /// Which number.
        name: &'static str,
        /// What it was.
        value: f64,
    },
    /// A number of the scene lies outside what can be drawn.
    #[error("{name} must be {accepted}; got {value}")]
    OutOfRange {
        /// Which number.
        name: &'static str,
        /// What is accepted, in words.
        accepted: &'static str,
        /// What it was.
        value: f64,
    },
    /// A direction has no length, or the camera looks straight along its own upright.
    #[error("{name} must have a direction; it is zero or points straight up or down")]
    NoDirection {
        /// Which direction.
        name: &'static str,
    },
    /// The picture has no pixels, or more than can be held in memory.
    #[error("a picture must have between 16 and 16384 pixels a side; got {width_px} by {height_px}")]
    PictureSize {
        /// Width asked for.
        width_px: u32,
        /// Height asked for.
        height_px: u32,
    },
    /// The lens distortion folds the picture over itself before its corner.
    #[error(
        "the lens distortion k1 = {k1}, k2 = {k2} folds the picture over itself inside the frame; use smaller terms"
    )]
    LensFolds {
        /// First radial term.
        k1: f64,
        /// Second radial term.
        k2: f64,
    },
    /// There is no beam to draw.
    #[error("a ring picture needs a beam of at least two points; got {points}")]
    NoBeam {
        /// Number of points handed in.
        points: usize,
    },
    /// The widths along the path do not belong to its points.
    #[error("the beam has {points} points, so it needs 1 or {points} widths; got {widths}")]
    WidthCount {
        /// Number of points.
        points: usize,
        /// Number of widths.
        widths: usize,
    },
    /// A path of the bundle does not go with the centre line.
    #[error("each path of the bundle must have as many points as the beam, {points}; one has {found}")]
    BundleCount {
        /// Number of points of the centre line.
        points: usize,
        /// Number of points of the first other path.
        found: usize,
    },
    /// A point of the beam lies outside the glass.
    #[error(
        "point {index} of the beam is {radius_mm:.1} mm from the bulb's centre, outside the glass at {outer_radius_mm:.1} mm; end the path at the glass"
    )]
    BeamOutsideBulb {
        /// Which point, counted from 0.
        index: usize,
        /// Its distance from the bulb's centre.
        radius_mm: f64,
        /// The bulb's outer radius.
        outer_radius_mm: f64,
    },
    /// A point lies behind the camera or too close to it.
    #[error("{what} is behind the camera or nearer than 1 mm to it; move the camera back")]
    BehindCamera {
        /// What cannot be seen.
        what: &'static str,
    },
    /// The camera stands inside the bulb.
    #[error(
        "the camera must stand outside the bulb; it is {distance_mm:.1} mm from the centre, the bulb's outer radius is {outer_radius_mm:.1} mm"
    )]
    CameraInsideBulb {
        /// Distance of the camera from the bulb's centre.
        distance_mm: f64,
        /// The bulb's outer radius.
        outer_radius_mm: f64,
    },
    /// The scale is seen edge on or from its back.
    #[error("the scale's face must be turned towards the camera; it is seen edge on or from the back")]
    ScaleTurnedAway,
    /// The picture could not be written as JPEG.
    #[error("the picture could not be written as a JPEG: {0}")]
    Encode(String),
}
