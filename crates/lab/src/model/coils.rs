//! The coils' field per ampere for given differences from the stated sizes.

use arcmass_notebook::CoilShape;
use arcmass_physics::{CoilSet, PreparedField, Shape, Vec3, Winding};

use crate::assume::{Apparatus, CoilsKnown};
use crate::desk::LabError;

/// Differences from the stated sizes.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct SizeChange {
    /// m.
    pub radius_m: f64,
    /// m.
    pub separation_m: f64,
    /// Relative, of a list of coils.
    pub size: f64,
    /// rad, about x and about y: of each coil of a pair about its own centre; the first of a list as a whole.
    pub tilt_rad: [[f64; 2]; 2],
}

/// How the coils' field is distributed in space; T/A where the sizes give it absolutely, else relative to the centre.
#[derive(Debug, Clone)]
pub enum FieldShape {
    /// No sizes are known: uniform along z.
    Uniform,
    /// From the coils' sizes.
    Coils {
        /// Ready to be evaluated.
        prepared: Box<PreparedField>,
        /// Brings the field at the centre to 1 where the number of turns is unknown; else 1.
        factor: f64,
    },
}

impl FieldShape {
    /// Shape for the given sizes.
    pub fn of(apparatus: &Apparatus, change: &SizeChange) -> Result<Self, LabError> {
        let Some(coils) = &apparatus.coils else {
            return Ok(Self::Uniform);
        };
        let set = coil_set(coils, apparatus.field_direction, change);
        let prepared = prepare(&set, apparatus.bulb_radius_m)?;
        let absolute = !matches!(coils, CoilsKnown::Pair { turns: None, .. });
        let factor = if absolute {
            1.0
        } else {
            let centre = prepared.flux_density_per_ampere(Vec3::ZERO).map_err(bad_coils)?.norm();
            if centre > 0.0 { 1.0 / centre } else { return Err(no_field()) }
        };
        Ok(Self::Coils { prepared: Box::new(prepared), factor })
    }

    /// Field at a point, along +x, +y, +z, for one ampere (or for 1 T at the centre, see the type).
    ///
    /// `field_direction` is used where no sizes are known.
    pub fn at(&self, point_m: Vec3, field_direction: f64) -> Result<Vec3, LabError> {
        match self {
            Self::Uniform => Ok(Vec3::new(0.0, 0.0, field_direction)),
            Self::Coils { prepared, factor } => {
                Ok(prepared.flux_density_per_ampere(point_m).map_err(bad_coils)? * *factor)
            }
        }
    }
}

/// The coils with their sizes changed.
pub fn coil_set(coils: &CoilsKnown, field_direction: f64, change: &SizeChange) -> CoilSet {
    match coils {
        CoilsKnown::Pair { shape, mean_radius, separation, turns, winding_radial_m, winding_axial_m } => {
            let half = 0.5 * (separation.value + change.separation_m);
            let winding = |z_m: f64, tilt: [f64; 2]| Winding {
                shape: shape_of(*shape),
                mean_radius_m: mean_radius.value + change.radius_m,
                turns: turns.unwrap_or(1.0),
                sense: field_direction,
                centre_m: Vec3::new(0.0, 0.0, z_m),
                axis: tilted(tilt),
                winding_radial_m: *winding_radial_m,
                winding_axial_m: *winding_axial_m,
            };
            CoilSet { windings: vec![winding(-half, change.tilt_rad[0]), winding(half, change.tilt_rad[1])] }
        }
        CoilsKnown::List { coils, .. } => {
            let grow = 1.0 + change.size;
            let windings = coils.iter().map(|coil| listed(coil, field_direction, grow)).collect();
            let [about_x, about_y] = change.tilt_rad[0];
            CoilSet { windings }.moved(Vec3::new(about_x, about_y, 0.0), Vec3::ZERO)
        }
    }
}

/// The z axis turned by small angles about x and about y.
fn tilted([about_x, about_y]: [f64; 2]) -> Vec3 {
    Vec3::new(about_y, -about_x, 1.0).unit().unwrap_or(Vec3::new(0.0, 0.0, 1.0))
}

fn listed(coil: &arcmass_notebook::Coil, field_direction: f64, grow: f64) -> Winding {
    let section = |stated: &Option<arcmass_quantity::Stated>| stated.as_ref().map_or(0.0, |s| s.value) * grow;
    let [x, y, z] = [0, 1, 2].map(|axis| coil.centre[axis].value * grow);
    let [ax, ay, az] = coil.axis;
    Winding {
        shape: shape_of(coil.shape),
        mean_radius_m: coil.mean_radius.value * grow,
        turns: f64::from(coil.turns),
        sense: coil.sense.sign() * field_direction,
        centre_m: Vec3::new(x, y, z),
        axis: Vec3::new(ax, ay, az),
        winding_radial_m: section(&coil.winding_radial),
        winding_axial_m: section(&coil.winding_axial),
    }
}

fn shape_of(shape: CoilShape) -> Shape {
    match shape {
        CoilShape::Circular => Shape::Circular,
        CoilShape::Square => Shape::Square,
    }
}

/// Prepares for the bulb, or for the largest sphere below it that stays clear of the conductors.
fn prepare(set: &CoilSet, bulb_radius_m: Option<f64>) -> Result<PreparedField, LabError> {
    let nearest =
        set.windings.iter().map(|w| w.mean_radius_m.hypot(w.centre_m.norm())).fold(f64::INFINITY, f64::min);
    let mut radius = bulb_radius_m.unwrap_or(0.55 * nearest).min(0.7 * nearest);
    let mut last = None;
    for _ in 0..12 {
        match PreparedField::new(set, radius) {
            Ok(prepared) => return Ok(prepared),
            Err(fault) => last = Some(fault),
        }
        radius *= 0.75;
    }
    Err(last.map_or_else(no_field, bad_coils))
}

fn bad_coils(fault: arcmass_physics::FieldError) -> LabError {
    LabError::lacking(
        "bench.toml",
        format!("the coils' field can't be computed: {fault}"),
        "check the geometry under [coils]",
    )
}

fn no_field() -> LabError {
    LabError::lacking(
        "bench.toml",
        "the coils make no field at the centre",
        "check turns, sense and field_direction of the coils",
    )
}
