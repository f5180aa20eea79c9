//! What is on the bench, where the camera stands, and what its sensor does.

use crate::error::DrawError;

/// A pinhole camera with radial distortion.
///
/// With `x`, `y` the place of an undistorted point in units of the focal length from the principal point,
/// the picture shows it at `(x, y)·(1 + k1 r² + k2 r⁴)`, `r² = x² + y²`.
#[derive(Debug, Clone, PartialEq)]
pub struct Camera {
    /// Centre of the lens.
    pub position_mm: [f64; 3],
    /// The point on the optical axis the camera is turned to; it is in focus.
    pub look_at_mm: [f64; 3],
    /// Turn about the optical axis; positive turns the picture's content counter-clockwise.
    pub roll_deg: f64,
    /// Focal length in pixels.
    pub focal_px: f64,
    /// Width of the displayed picture.
    pub width_px: u32,
    /// Height of the displayed picture.
    pub height_px: u32,
    /// Where the optical axis meets the picture.
    pub principal_px: [f64; 2],
    /// First radial distortion term.
    pub k1: f64,
    /// Second radial distortion term.
    pub k2: f64,
}

impl Camera {
    /// A camera on the +z axis, turned to the bulb's centre, without distortion.
    pub fn on_axis(distance_mm: f64, focal_px: f64, width_px: u32, height_px: u32) -> Self {
        Camera {
            position_mm: [0.0, 0.0, distance_mm],
            look_at_mm: [0.0; 3],
            roll_deg: 0.0,
            focal_px,
            width_px,
            height_px,
            principal_px: [(f64::from(width_px) - 1.0) / 2.0, (f64::from(height_px) - 1.0) / 2.0],
            k1: 0.0,
            k2: 0.0,
        }
    }
}

/// The glass bulb, a concentric shell about the origin.
#[derive(Debug, Clone, PartialEq)]
pub struct Bulb {
    /// Outer radius.
    pub outer_radius_mm: f64,
    /// Thickness of the glass.
    pub glass_thickness_mm: f64,
    /// Refractive index of the glass.
    pub glass_index: f64,
}

/// The coil pair, coaxial with z and centred on the origin.
#[derive(Debug, Clone, PartialEq)]
pub struct Coils {
    /// Radius to the middle of the winding.
    pub mean_radius_mm: f64,
    /// Mid-plane to mid-plane.
    pub separation_mm: f64,
    /// Radial size of the winding.
    pub winding_radial_mm: f64,
    /// Axial size of the winding.
    pub winding_axial_mm: f64,
}

/// The electron gun: a cylinder that ends at the muzzle.
#[derive(Debug, Clone, PartialEq)]
pub struct Gun {
    /// Where the beam leaves the anode.
    pub muzzle_mm: [f64; 3],
    /// Direction of the beam at the muzzle; need not be of unit length.
    pub direction: [f64; 3],
    /// Length of the body behind the muzzle.
    pub length_mm: f64,
    /// Radius of the body.
    pub radius_mm: f64,
    /// Direction from the bulb's centre to its neck, where the leads run.
    pub neck_direction: [f64; 3],
}

/// Slow electrons that lost energy in a collision and curl inside the ring.
#[derive(Debug, Clone, PartialEq)]
pub struct Haze {
    /// Light of the haze as a fraction of the light of the beam.
    pub strength: f64,
    /// Mean fraction of the kinetic energy lost in a collision (exponentially distributed).
    pub mean_loss: f64,
}

/// The glowing beam.
#[derive(Debug, Clone, PartialEq)]
pub struct Beam {
    /// The centre line from the muzzle on, points equally spaced in path length.
    pub points_mm: Vec<[f64; 3]>,
    /// Standard deviation of the glow across the beam: one value, or one a point.
    pub sigma_mm: Vec<f64>,
    /// Further paths that leave the muzzle at other angles and energies, each with as many points as the centre line; the
    /// light is then shared evenly by the centre line and these, so that width and lopsidedness come from the paths.
    pub bundle_mm: Vec<Vec<[f64; 3]>>,
    /// Peak of the glow at the muzzle, seen square on; 1 saturates the sensor at exposure 1.
    pub brightness: f64,
    /// Path length over which the glow falls to 1/e.
    pub fading_length_mm: f64,
    /// Linear red, green, blue of the glow.
    pub colour: [f32; 3],
    /// Light scattered by lens and glass into a wide halo, as a fraction of the beam's light.
    pub halo: f64,
    /// Slow electrons inside the ring.
    pub haze_inside: Option<Haze>,
}

/// The room around the bench.
#[derive(Debug, Clone, PartialEq)]
pub struct Room {
    /// Light level: 1 for a lit room, about 0.01 for a darkened one.
    pub light: f64,
    /// Strength of a window mirrored in the bulb, in the units of the light level.
    pub reflections: f64,
    /// Linear red, green, blue of the wall behind the bench.
    pub background: [f32; 3],
    /// Direction from the bench to the lamp, of unit length.
    pub lamp: [f64; 3],
    /// Seed of the grain of walls, table and coils, where it is not the scene's: pictures of one bench share it.
    pub grain: Option<u64>,
}

/// The usual lamp: above, left, before the bench.
const LAMP: [f64; 3] = [-0.40, 0.72, 0.57];

impl Room {
    /// A darkened room with a faint window.
    pub fn dark() -> Self {
        Room { light: 0.012, reflections: 0.6, background: [0.36, 0.34, 0.31], lamp: LAMP, grain: None }
    }

    /// The same room with the lights on.
    pub fn lit() -> Self {
        Room { light: 1.0, reflections: 0.0, background: [0.36, 0.34, 0.31], lamp: LAMP, grain: None }
    }
}

/// What happens behind the lens.
#[derive(Debug, Clone, PartialEq)]
pub struct Sensor {
    /// Factor on all light.
    pub exposure: f64,
    /// Standard deviation of the read noise, as a fraction of saturation.
    pub read_noise: f64,
    /// Standard deviation of the shot noise at saturation, as a fraction of saturation.
    pub shot_noise: f64,
    /// Standard deviation of the focus blur.
    pub blur_px: f64,
    /// Number of pixels that always read bright.
    pub hot_pixels: u32,
    /// Fall-off of light towards the corners: 0 for none, 1 for the fourth power of the cosine.
    pub vignetting: f64,
    /// JPEG quality, 1 to 100.
    pub jpeg_quality: u8,
    /// Orientation tag, 1 to 8; the stored pixels are turned so that the tag brings them upright.
    pub orientation: u8,
}

impl Sensor {
    /// A good camera at low sensitivity.
    pub fn good() -> Self {
        Sensor {
            exposure: 1.0,
            read_noise: 0.0012,
            shot_noise: 0.012,
            blur_px: 0.9,
            hot_pixels: 24,
            vignetting: 1.0,
            jpeg_quality: 92,
            orientation: 1,
        }
    }

    /// No noise, no blur, nothing lost but the rounding to whole levels: for tests of geometry.
    pub fn ideal() -> Self {
        Sensor {
            exposure: 1.0,
            read_noise: 0.0,
            shot_noise: 0.0,
            blur_px: 0.0,
            hot_pixels: 0,
            vignetting: 0.0,
            jpeg_quality: 100,
            orientation: 1,
        }
    }
}

/// Everything in front of the camera and in it.
#[derive(Debug, Clone, PartialEq)]
pub struct Scene {
    /// The camera.
    pub camera: Camera,
    /// The bulb; left out of scale pictures, for which the tube has been taken out.
    pub bulb: Option<Bulb>,
    /// The coil pair.
    pub coils: Option<Coils>,
    /// The gun; left out of scale pictures.
    pub gun: Option<Gun>,
    /// The beam; left out of scale pictures.
    pub beam: Option<Beam>,
    /// The room.
    pub room: Room,
    /// The sensor.
    pub sensor: Sensor,
    /// Seed of noise, hot pixels and textures.
    pub seed: u64,
}

/// Passes a number on when it lies in the accepted range.
pub(crate) fn within(
    name: &'static str,
    value: f64,
    accepted: &'static str,
    allowed: impl Fn(f64) -> bool,
) -> Result<(), DrawError> {
    if !value.is_finite() {
        return Err(DrawError::NotFinite { name, value });
    }
    if allowed(value) { Ok(()) } else { Err(DrawError::OutOfRange { name, accepted, value }) }
}

pub(crate) fn positive(name: &'static str, value: f64) -> Result<(), DrawError> {
    within(name, value, "above 0", |v| v > 0.0)
}

fn not_negative(name: &'static str, value: f64) -> Result<(), DrawError> {
    within(name, value, "0 or more", |v| v >= 0.0)
}

pub(crate) fn finite(name: &'static str, values: &[f64]) -> Result<(), DrawError> {
    values.iter().try_for_each(|v| within(name, *v, "finite", |_| true))
}

impl Scene {
    /// Checks every number that does not need the camera's geometry.
    pub(crate) fn check(&self) -> Result<(), DrawError> {
        self.check_sensor()?;
        not_negative("the light level", self.room.light)?;
        not_negative("the strength of reflections", self.room.reflections)?;
        if let Some(bulb) = &self.bulb {
            bulb.check(&self.camera)?;
        }
        if let Some(coils) = &self.coils {
            coils.check()?;
        }
        if let Some(gun) = &self.gun {
            finite("the muzzle", &gun.muzzle_mm)?;
            finite("the gun's direction", &gun.direction)?;
            positive("the gun's length", gun.length_mm)?;
            positive("the gun's radius", gun.radius_mm)?;
        }
        self.beam.as_ref().map_or(Ok(()), |beam| beam.check(self.bulb.as_ref()))
    }

    fn check_sensor(&self) -> Result<(), DrawError> {
        let sensor = &self.sensor;
        positive("the exposure", sensor.exposure)?;
        not_negative("the read noise", sensor.read_noise)?;
        not_negative("the shot noise", sensor.shot_noise)?;
        within("the focus blur", sensor.blur_px, "0 to 50 px", |v| (0.0..=50.0).contains(&v))?;
        within("the vignetting", sensor.vignetting, "0 to 1", |v| (0.0..=1.0).contains(&v))?;
        within("the JPEG quality", f64::from(sensor.jpeg_quality), "1 to 100", |v| {
            (1.0..=100.0).contains(&v)
        })?;
        within("the orientation tag", f64::from(sensor.orientation), "1 to 8", |v| (1.0..=8.0).contains(&v))
    }
}

impl Bulb {
    pub(crate) fn inner_radius_mm(&self) -> f64 {
        self.outer_radius_mm - self.glass_thickness_mm
    }

    fn check(&self, camera: &Camera) -> Result<(), DrawError> {
        positive("the bulb's outer radius", self.outer_radius_mm)?;
        let outer = self.outer_radius_mm;
        within("the glass thickness", self.glass_thickness_mm, "0 or more, below half the radius", |v| {
            (0.0..outer / 2.0).contains(&v)
        })?;
        within("the glass index", self.glass_index, "1 to 3", |v| (1.0..=3.0).contains(&v))?;
        let distance_mm = crate::vector::norm(camera.position_mm);
        if distance_mm <= outer {
            return Err(DrawError::CameraInsideBulb { distance_mm, outer_radius_mm: outer });
        }
        Ok(())
    }
}

impl Coils {
    fn check(&self) -> Result<(), DrawError> {
        positive("the coils' mean radius", self.mean_radius_mm)?;
        positive("the coils' separation", self.separation_mm)?;
        let radius = self.mean_radius_mm;
        within(
            "the winding's radial size",
            self.winding_radial_mm,
            "above 0, below twice the radius",
            |v| v > 0.0 && v < 2.0 * radius,
        )?;
        positive("the winding's axial size", self.winding_axial_mm)
    }
}

impl Beam {
    fn check(&self, bulb: Option<&Bulb>) -> Result<(), DrawError> {
        let (points, widths) = (self.points_mm.len(), self.sigma_mm.len());
        if points < 2 {
            return Err(DrawError::NoBeam { points });
        }
        if widths != 1 && widths != points {
            return Err(DrawError::WidthCount { points, widths });
        }
        self.points_mm.iter().try_for_each(|p| finite("a point of the beam", p))?;
        if let Some(other) = self.bundle_mm.iter().find(|path| path.len() != points) {
            return Err(DrawError::BundleCount { points, found: other.len() });
        }
        self.bundle_mm.iter().flatten().try_for_each(|p| finite("a point of the bundle", p))?;
        self.sigma_mm.iter().try_for_each(|s| positive("the beam's width", *s))?;
        not_negative("the beam's brightness", self.brightness)?;
        not_negative("the halo", self.halo)?;
        // An infinite length is a beam that does not fade.
        if self.fading_length_mm != f64::INFINITY {
            positive("the fading length", self.fading_length_mm)?;
        }
        if let Some(haze) = &self.haze_inside {
            not_negative("the haze", haze.strength)?;
            within("the mean energy loss", haze.mean_loss, "above 0, below 1", |v| v > 0.0 && v < 1.0)?;
        }
        bulb.map_or(Ok(()), |bulb| self.check_inside(bulb))
    }

    fn check_inside(&self, bulb: &Bulb) -> Result<(), DrawError> {
        for (index, point) in self.points_mm.iter().enumerate() {
            let radius_mm = crate::vector::norm(*point);
            if radius_mm > bulb.outer_radius_mm {
                let outer_radius_mm = bulb.outer_radius_mm;
                return Err(DrawError::BeamOutsideBulb { index, radius_mm, outer_radius_mm });
            }
        }
        Ok(())
    }

    /// Width at a point; one value stands for all.
    pub(crate) fn sigma_at(&self, index: usize) -> f64 {
        self.sigma_mm.get(index).or(self.sigma_mm.last()).copied().unwrap_or(1.0)
    }
}
