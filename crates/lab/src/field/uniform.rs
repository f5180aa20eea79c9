//! How uniform the coils' field is over the rings the bench will make, and a map of it across and along the axis.

use arcmass_notebook::Notebook;
use arcmass_physics::{Vec3, motion};
use arcmass_quantity::constants::ELEMENTARY_CHARGE;
use nalgebra::DVector;

use crate::assume::{Apparatus, CoilsKnown};
use crate::desk::LabError;
use crate::document::{FieldMap, RingOfMap, RingUniformity, Uniformity};
use crate::model::{FieldShape, Model};

/// Rings looked at between the smallest and the largest.
const RINGS: usize = 13;
/// Points around a ring.
const POINTS: usize = 72;
/// Rings where neither ratings nor readings tell which, as shares of the coil radius; common practice, no source.
const ASSUMED: [f64; 2] = [0.15, 0.45];
/// A ring larger than this share of the coil radius is not looked at.
const LARGEST_SHARE: f64 = 0.7;
/// Places along each side of a map.
const GRID: usize = 49;
/// Half the width of a map in coil radii where no bulb is stated.
const MAP_SHARE: f64 = 0.6;

/// The radii of the rings, smallest and largest, m, and where they come from.
struct Span {
    radii_m: [f64; 2],
    basis: &'static str,
}

/// The coils' field along the rings the bench will make; none where no coil sizes are stated.
pub(super) fn uniformity(
    notebook: &Notebook,
    model: &Model<'_>,
    per_ampere_t: f64,
) -> Result<Option<Uniformity>, LabError> {
    let Some(place) = Place::of(model)? else { return Ok(None) };
    let Span { radii_m: [low, high], basis } = span(notebook, &place, model.apparatus, per_ampere_t);
    let mut rings = Vec::with_capacity(RINGS);
    for index in 0..RINGS {
        let radius_m = low + (high - low) * index as f64 / (RINGS - 1) as f64;
        rings.push(place.along_ring(radius_m)?);
    }
    let middle = rings.get(RINGS / 2).cloned();
    Ok(middle.map(|middle| Uniformity {
        ring_diameter_mm: middle.ring_diameter_mm,
        mean_deviation_percent: middle.mean_deviation_percent,
        largest_deviation_percent: middle.largest_deviation_percent,
        basis: basis.to_owned(),
        rings,
    }))
}

/// The coils' field against the centre's in the ring's plane and in the plane x = 0, with the ring of `diameter_mm`.
pub(super) fn map(
    notebook: &Notebook,
    model: &Model<'_>,
    diameter_mm: f64,
) -> Result<Option<FieldMap>, LabError> {
    let Some(place) = Place::of(model)? else { return Ok(None) };
    let half_m = model.apparatus.bulb_radius_m.unwrap_or(MAP_SHARE * place.coil_radius_m);
    let at_m: Vec<f64> = (0..GRID).map(|k| half_m * (2.0 * k as f64 / (GRID - 1) as f64 - 1.0)).collect();
    let centre = place.centre_of_ring(0.5e-3 * diameter_mm);
    // on a wire there is no value; everything else has one
    let over = |at: &dyn Fn(f64, f64) -> Vec3| -> Vec<Option<f64>> {
        let row = |v: &f64| at_m.iter().map(|u| place.deviation_percent(at(*u, *v)).ok()).collect::<Vec<_>>();
        at_m.iter().flat_map(row).collect()
    };
    let at_mm: Vec<f64> = at_m.iter().map(|x| 1e3 * x).collect();
    Ok(Some(FieldMap {
        across_percent: over(&|x, y| Vec3::new(x, y, centre.z)),
        along_percent: over(&|z, y| Vec3::new(0.0, y, z)),
        x_mm: at_mm.clone(),
        y_mm: at_mm.clone(),
        z_mm: at_mm,
        ring: RingOfMap { centre_mm: [1e3 * centre.x, 1e3 * centre.y, 1e3 * centre.z], diameter_mm },
        glass_radius_mm: inner_radius_m(notebook).map(|radius| 1e3 * radius),
    }))
}

/// Inner radius of the glass, m.
pub(crate) fn inner_radius_m(notebook: &Notebook) -> Option<f64> {
    let bulb = notebook.bench.bulb.as_ref()?;
    let outer = bulb.outer_radius.as_ref()?.value;
    Some(outer - bulb.glass_thickness.as_ref().map_or(0.0, |thickness| thickness.value))
}

/// The coils' field with the gun in it.
struct Place<'a> {
    model: &'a Model<'a>,
    shape: FieldShape,
    centre_field: Vec3,
    coil_radius_m: f64,
}

impl<'a> Place<'a> {
    /// None without coil sizes, and where the coils make no field at the centre.
    fn of(model: &'a Model<'a>) -> Result<Option<Self>, LabError> {
        let coil_radius_m = match &model.apparatus.coils {
            None => return Ok(None),
            Some(CoilsKnown::Pair { mean_radius, .. }) => mean_radius.value,
            Some(CoilsKnown::List { coils, .. }) => {
                coils.iter().map(|coil| coil.mean_radius.value).fold(f64::INFINITY, f64::min)
            }
        };
        let shape = model.shape(&model.values(&DVector::from_vec(model.unknowns.start())))?;
        let centre_field = shape.at(Vec3::ZERO, model.apparatus.field_direction)?;
        let has_field = centre_field.norm() > 0.0;
        Ok(has_field.then_some(Self { model, shape, centre_field, coil_radius_m }))
    }

    fn deviation_percent(&self, point_m: Vec3) -> Result<f64, LabError> {
        let here = self.shape.at(point_m, self.model.apparatus.field_direction)?;
        Ok(100.0 * (here.norm() / self.centre_field.norm() - 1.0))
    }

    /// Centre of the ring that leaves the muzzle along its direction; of one centred on the axis where no muzzle is stated.
    fn centre_of_ring(&self, radius_m: f64) -> Vec3 {
        let apparatus = self.model.apparatus;
        let Some([x, y, z]) = apparatus.gun.muzzle_m else { return Vec3::ZERO };
        let [dx, dy, dz] = apparatus.gun.direction;
        let sign = f64::from(apparatus.charge_number.signum());
        let towards = Vec3::new(dx, dy, dz).cross(Vec3::new(0.0, 0.0, self.centre_field.z)) * sign;
        match towards.unit() {
            Some(unit) => Vec3::new(x, y, z) + unit * radius_m,
            None => Vec3::ZERO,
        }
    }

    fn along_ring(&self, radius_m: f64) -> Result<RingUniformity, LabError> {
        let centre = self.centre_of_ring(radius_m);
        let (mut sum, mut largest) = (0.0, 0.0_f64);
        for index in 0..POINTS {
            let angle = std::f64::consts::TAU * index as f64 / POINTS as f64;
            let point = centre + Vec3::new(radius_m * angle.cos(), radius_m * angle.sin(), 0.0);
            let deviation = self.deviation_percent(point)?;
            sum += deviation;
            if deviation.abs() > largest.abs() {
                largest = deviation;
            }
        }
        Ok(RingUniformity {
            ring_diameter_mm: 2e3 * radius_m,
            mean_deviation_percent: sum / POINTS as f64,
            largest_deviation_percent: largest,
        })
    }
}

/// From the ratings if they are stated, else from the readings, else assumed.
fn span(notebook: &Notebook, place: &Place<'_>, apparatus: &Apparatus, per_ampere_t: f64) -> Span {
    let radius = |voltage_v: f64, current_a: f64| -> Option<f64> {
        let charge = f64::from(apparatus.charge_number.abs()) * ELEMENTARY_CHARGE.value;
        let energy = charge * (voltage_v + apparatus.voltage_offset.value);
        let field = (per_ampere_t * current_a).abs();
        let radius = motion::momentum(energy, apparatus.assumed_mass_kg) / (charge * field);
        (energy > 0.0 && radius.is_finite()).then_some(radius)
    };
    let room = largest_in_glass(notebook, place).unwrap_or(LARGEST_SHARE * place.coil_radius_m);
    let room = room.min(LARGEST_SHARE * place.coil_radius_m);
    let gun = notebook.bench.gun.as_ref();
    let lowest = gun.and_then(|gun| gun.voltage_minimum_v);
    let highest = gun.and_then(|gun| gun.voltage_limit_v);
    let most = notebook.bench.pair.as_ref().and_then(|pair| pair.current_limit_a);
    if let (Some(voltage), Some(_), Some(current)) = (lowest, highest, most)
        && let Some(smallest) = radius(voltage, current)
        && smallest < room
    {
        return Span { radii_m: [smallest, room], basis: "ratings" };
    }
    let runs = notebook.readings.iter().flat_map(|readings| &readings.runs).filter(|run| !run.is_struck());
    let taken: Vec<f64> = runs
        .filter_map(|run| radius(run.mean_voltage_v(), run.mean_current_a()))
        .filter(|radius| *radius < LARGEST_SHARE * place.coil_radius_m)
        .collect();
    let low = taken.iter().copied().fold(f64::INFINITY, f64::min);
    let high = taken.iter().copied().fold(0.0, f64::max);
    if high > 0.0 {
        return Span { radii_m: [low, high], basis: "readings" };
    }
    Span { radii_m: ASSUMED.map(|share| share * place.coil_radius_m), basis: "assumed" }
}

/// Radius of the largest ring from the muzzle that keeps the stated clearance from the glass, m.
fn largest_in_glass(notebook: &Notebook, place: &Place<'_>) -> Option<f64> {
    const STEPS: usize = 400;
    let clearance = notebook.bench.bulb.as_ref()?.clearance_m.unwrap_or(0.0);
    let free = inner_radius_m(notebook)? - clearance;
    let fits = |radius: &f64| {
        let centre = place.centre_of_ring(*radius);
        let off = centre.x.hypot(centre.y) + radius;
        off.hypot(centre.z) <= free
    };
    (1..=STEPS).map(|k| free * k as f64 / STEPS as f64).rfind(fits)
}
