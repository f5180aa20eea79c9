//! What a photograph as found in laboratories shows, and what the phone made of it.

use crate::error::DrawError;
use crate::scene::{Bulb, Camera, Coils, Gun, finite, positive, within};
use crate::vector::{Vec3, norm};

/// The beam as such photographs show it: broad, saturated, fading, with a straight stub at the gun.
#[derive(Debug, Clone, PartialEq)]
pub struct FoundBeam {
    /// The centre line from the muzzle on, points equally spaced in path length.
    pub points_mm: Vec<Vec3>,
    /// Standard deviation of the glow across the beam at the muzzle.
    pub sigma_mm: f64,
    /// Standard deviation at the end of the path, over the one at the muzzle.
    pub widening: f64,
    /// Peak at the muzzle: 1 saturates the brightest channel at exposure 1.
    pub brightness: f64,
    /// Path length over which the glow falls to 1/e.
    pub fading_length_mm: f64,
    /// Linear red, green, blue of the beam.
    pub colour: [f32; 3],
    /// Length of the straight stub of light that leaves the gun along the tangent.
    pub stub_mm: f64,
    /// Light of electrons slowed by the gas, inside the ring, as a share of the beam's.
    pub slowed: f64,
}

/// Light of the gas besides the beam.
#[derive(Debug, Clone, PartialEq)]
pub struct Gas {
    /// Glow that fills the bulb, as a share of the beam's peak.
    pub fill: f64,
    /// How much brighter it is about the ring's middle than at the bulb's wall: 0 for even.
    pub towards_middle: f64,
    /// A broad fan of light from the gun, as a share of the beam's peak.
    pub fan: f64,
    /// Linear red, green, blue, of size 1.
    pub colour: [f32; 3],
}

/// What the bulb's wall throws back.
#[derive(Debug, Clone, PartialEq)]
pub struct Ghosts {
    /// The smaller, upside-down ring in the far wall, as a share of the beam's light.
    pub mirrored: f64,
    /// Arcs of the beam seen once more, aside, as a share of the beam's light.
    pub arcs: f64,
}

/// What a scale is made of.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Material {
    /// White plastic or paper on a dark bar.
    White,
    /// Clear acrylic, its edges lit.
    Acrylic,
    /// A mirror with marks on a strip beside it; the ring is seen in it once more.
    Mirror,
    /// Dark with light marks.
    Dark,
}

/// How the centimetres are numbered.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Numbering {
    /// From 0 at one end.
    FromEnd,
    /// From 0 in the middle both ways; the left half counts as negative.
    FromMiddle,
}

/// A scale that stands in the ring's own photograph, lying in a plane that looks along +z.
#[derive(Debug, Clone, PartialEq)]
pub struct FoundScale {
    /// What it is made of.
    pub material: Material,
    /// How it is numbered.
    pub numbering: Numbering,
    /// Whole centimetres from the first mark to the last.
    pub length_cm: u32,
    /// Numbers stand at every so many centimetres.
    pub number_every_cm: u32,
    /// Distance between fine marks, 0 for none but centimetres.
    pub fine_mm: u32,
    /// Width of the strip with the marks.
    pub width_mm: f64,
    /// Height of the numerals.
    pub numeral_mm: f64,
    /// Middle of the strip.
    pub middle_mm: Vec3,
    /// Turn of the strip in its plane, counter-clockwise as seen from +z.
    pub turn_deg: f64,
    /// Light of the strip's ground: 1 saturates at exposure 1.
    pub light: f64,
    /// Linear red, green, blue of that light.
    pub colour: [f32; 3],
    /// Places of sliding pointers, in millimetres from the strip's middle.
    pub pointers_mm: Vec<f64>,
}

/// What the wall behind the bench is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Wall {
    /// Plaster.
    Plain,
    /// Painted blocks with joints.
    Blocks,
    /// Small tiles.
    Tiles,
    /// Wooden boards.
    Boards,
    /// A curtain or black cloth.
    Cloth,
}

/// Everything around tube and scale.
#[derive(Debug, Clone, PartialEq)]
pub struct Surroundings {
    /// Light of the room: 1 for a well lit wall near saturation, 0 for none.
    pub light: f64,
    /// The wall.
    pub wall: Wall,
    /// Distance of the wall behind the bulb's centre.
    pub wall_mm: f64,
    /// Linear red, green, blue of the wall.
    pub wall_colour: [f32; 3],
    /// Linear red, green, blue of the coils' rims.
    pub rim_colour: [f32; 3],
    /// Whether rims show the grain of wood.
    pub is_wooden: bool,
    /// Light of the rims besides the room's, of a lamp that stands near: 0 for none.
    pub rim_light: f64,
    /// Supplies with red digits beside the coils.
    pub supplies: u32,
    /// Side on which they stand: -1 left, 1 right.
    pub supplies_side: f64,
    /// Leads that run over the table.
    pub leads: u32,
    /// Windows and lamps mirrored in the bulb, in the units of the room's light.
    pub reflections: f64,
    /// A hood of cloth over the coils.
    pub has_hood: bool,
    /// Rungs inside the bulb, at these heights over the muzzle.
    pub rungs_mm: Vec<f64>,
    /// Coils are drawn.
    pub has_coils: bool,
    /// Height of the table's top.
    pub table_mm: f64,
}

/// What the phone does behind its lens.
#[derive(Debug, Clone, PartialEq)]
pub struct Phone {
    /// Factor on all light.
    pub exposure: f64,
    /// Factors on red, green, blue.
    pub white_balance: [f32; 3],
    /// Focus blur, a standard deviation in pixels of the sensor.
    pub blur_px: f64,
    /// How far the hand moved during the exposure, in pixels of the sensor.
    pub shake_px: [f64; 2],
    /// Light scattered in the lens round bright things.
    pub bloom: f64,
    /// Standard deviation of noise in the dark, as a share of saturation.
    pub read_noise: f64,
    /// Standard deviation of noise at saturation.
    pub shot_noise: f64,
    /// Strength of the smearing that takes noise away: 0 to 1.
    pub smear: f64,
    /// How far dark parts are lifted: 0 to 1.
    pub tone: f64,
    /// Strength of sharpening, and with it of halos along edges: 0 to 2.
    pub sharpen: f64,
    /// Factor on the colours' distance from grey.
    pub saturation: f64,
    /// Size of the picture that is kept over the sensor's.
    pub rescale: f64,
    /// JPEG quality of the phone, then of whoever saved it once more.
    pub qualities: Vec<u8>,
    /// Colours are kept at half the resolution.
    pub is_subsampled: bool,
    /// Orientation tag, 1 to 8; the stored pixels are turned so that the tag brings them upright.
    pub orientation: u8,
    /// Focal length on film of 36 mm × 24 mm that the phone writes into the file; none where that was lost.
    pub film_focal_mm: Option<u16>,
}

/// A whole photograph.
#[derive(Debug, Clone, PartialEq)]
pub struct FoundScene {
    /// The camera, in pixels of the sensor.
    pub camera: Camera,
    /// The bulb.
    pub bulb: Bulb,
    /// The coil pair.
    pub coils: Coils,
    /// The gun; its body lies along the beam's direction behind the muzzle.
    pub gun: Gun,
    /// The beam.
    pub beam: FoundBeam,
    /// Other light of the gas.
    pub gas: Gas,
    /// Reflections in the bulb.
    pub ghosts: Ghosts,
    /// The scale, where there is one.
    pub scale: Option<FoundScale>,
    /// The rest.
    pub around: Surroundings,
    /// The phone.
    pub phone: Phone,
    /// Seed of all that is left to chance.
    pub seed: u64,
}

impl FoundScene {
    pub(crate) fn check(&self) -> Result<(), DrawError> {
        let points = self.beam.points_mm.len();
        if points < 3 {
            return Err(DrawError::NoBeam { points });
        }
        self.beam.points_mm.iter().try_for_each(|p| finite("a point of the beam", p))?;
        positive("the beam's width", self.beam.sigma_mm)?;
        positive("the beam's widening", self.beam.widening)?;
        positive("the beam's brightness", self.beam.brightness)?;
        positive("the fading length", self.beam.fading_length_mm)?;
        positive("the bulb's outer radius", self.bulb.outer_radius_mm)?;
        let distance_mm = norm(self.camera.position_mm);
        if distance_mm <= self.bulb.outer_radius_mm {
            let outer_radius_mm = self.bulb.outer_radius_mm;
            return Err(DrawError::CameraInsideBulb { distance_mm, outer_radius_mm });
        }
        self.phone.check()
    }
}

impl Phone {
    fn check(&self) -> Result<(), DrawError> {
        positive("the exposure", self.exposure)?;
        within("the focus blur", self.blur_px, "0 to 50 px", |v| (0.0..=50.0).contains(&v))?;
        within("the orientation tag", f64::from(self.orientation), "1 to 8", |v| (1.0..=8.0).contains(&v))?;
        within("the picture's size over the sensor's", self.rescale, "0.05 to 4", |v| {
            (0.05..=4.0).contains(&v)
        })?;
        let lowest = self.qualities.iter().copied().min().unwrap_or(0);
        within("the JPEG quality", f64::from(lowest), "1 to 100", |v| (1.0..=100.0).contains(&v))
    }
}
