//! The readings as the model takes them: runs, probe rows, balance rows, each with its own noise.

use arcmass_notebook::{Axis, DiameterKind, Edge, Load, Notebook, Run, View};
use arcmass_photo::plane::TO_THE_GUN;
use arcmass_physics::Vec3;

use super::unknowns::Scope;
use crate::assume::{Apparatus, MeterKnown};
use crate::document::{PhotoEntry, PhotoStatus};

/// One run that can be reduced.
#[derive(Debug, Clone, PartialEq)]
pub struct RunDatum {
    /// Its name.
    pub run: String,
    /// Its place among all runs with a diameter.
    pub place: usize,
    /// Mean of the readings as read, V.
    pub voltage_read_v: f64,
    /// Noise of that mean.
    pub voltage_u_v: f64,
    /// Mean of the readings as read, A.
    pub current_read_a: f64,
    /// Noise of that mean.
    pub current_u_a: f64,
    /// +1 or −1.
    pub sense: f64,
    /// Bench turned about the vertical.
    pub turned_rad: f64,
    /// Gun tilt.
    pub tilt_rad: f64,
    /// As measured: on the photograph in the scale's plane, or in the table.
    pub diameter_m: f64,
    /// Independent from run to run; none where nobody stated it.
    pub diameter_u_m: Option<f64>,
    /// What was measured.
    pub kind: DiameterKind,
    /// +1 for the outer edge, −1 for the inner, 0 for the centre line.
    pub edge: f64,
    /// Towards the camera, from a photograph.
    pub camera_direction: Option<[f64; 3]>,
    /// Which scale photograph, from a photograph.
    pub plane: Option<usize>,
    /// Part of a turn, from the muzzle on, that the measured circle goes through: 1 from the table.
    pub part_of_turn: f64,
    /// Energy lost on the way round against that of a typical run: path length × stopping power ∝ d/V.
    pub loss_share: f64,
    /// Whether it stands in the table only.
    pub is_struck: bool,
}

/// One probe reading.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ProbeDatum {
    /// As read, A.
    pub current_read_a: f64,
    /// As read, T.
    pub flux_density_read_t: f64,
    /// What the noise of the ammeter's reading makes of it, T; a number beforehand, for a noise that followed the unknowns
    /// would draw them to where it is largest.
    pub current_noise_t: f64,
    /// Which component.
    pub axis: Axis,
    /// +1, or −1 where the probe was turned end for end.
    pub sign: f64,
    /// Where.
    pub at_m: Vec3,
    /// Bench turned about the vertical.
    pub turned_rad: f64,
}

impl ProbeDatum {
    /// Whether it lies on the I → B line: z component at the centre, bench and probe not turned.
    pub fn is_on_line(&self) -> bool {
        self.axis == Axis::Z && self.at_m.norm() < 1e-3 && self.turned_rad == 0.0 && self.sign > 0.0
    }
}

/// One reading of the current balance.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BalanceDatum {
    /// Through the coils, as read, A.
    pub current_read_a: f64,
    /// Force per wire current and length, T.
    pub flux_density_t: f64,
}

/// Acceleration of free fall for balances that show a mass, m/s² (standard value, exact by convention).
const STANDARD_GRAVITY: f64 = 9.806_65;

/// All probe rows of all tables.
pub fn probe_rows(notebook: &Notebook) -> Vec<ProbeDatum> {
    let rows = notebook.probe_tables.iter().flat_map(|table| &table.rows);
    rows.map(|row| ProbeDatum {
        current_read_a: row.current_a,
        flux_density_read_t: row.flux_density_t,
        current_noise_t: 0.0,
        axis: row.component,
        sign: if row.probe_reversed { -1.0 } else { 1.0 },
        at_m: Vec3::new(row.at_m[0], row.at_m[1], row.at_m[2]),
        turned_rad: row.bench_turned_deg.to_radians(),
    })
    .collect()
}

/// All balance rows.
pub fn balance_rows(notebook: &Notebook) -> Vec<BalanceDatum> {
    let rows = notebook.balance.iter().flat_map(|table| &table.rows);
    rows.map(|row| {
        let force_n = match row.load {
            Load::Force(force_n) => force_n,
            Load::Mass(mass_kg) => mass_kg * STANDARD_GRAVITY,
        };
        BalanceDatum {
            current_read_a: row.current_a,
            flux_density_t: force_n / (row.wire_current_a * row.wire_length_m),
        }
    })
    .collect()
}

/// Noise of the mean of `n` readings; where the meter states none, from their own scatter if there are enough of them.
fn mean_noise(values: &[f64], meter: &MeterKnown) -> f64 {
    let n = values.len().max(1) as f64;
    if meter.per_reading_u > 0.0 {
        return meter.per_reading_u / n.sqrt();
    }
    if values.len() < 2 {
        return 0.0;
    }
    let mean = values.iter().sum::<f64>() / n;
    (values.iter().map(|v| (v - mean).powi(2)).sum::<f64>() / (n - 1.0) / n).sqrt()
}

/// The runs with a diameter, from the table or from the photographs; and their names for what has none.
///
/// `photos` holds what was measured; `planes` collects the relative uncertainty of each scale photograph.
pub fn runs(
    notebook: &Notebook,
    apparatus: &Apparatus,
    photos: &[PhotoEntry],
) -> (Vec<RunDatum>, Vec<String>, Scope) {
    let mut scope = Scope { has_camera: apparatus.camera_distance.is_some(), ..Scope::default() };
    let mut planes: Vec<(String, f64)> = Vec::new();
    let mut data: Vec<RunDatum> = Vec::new();
    let mut without = Vec::new();
    for run in notebook.readings.iter().flat_map(|readings| &readings.runs) {
        let of_run = |entry: &&PhotoEntry| entry.run.as_deref() == Some(run.run.as_str());
        let photo = photos.iter().filter(|entry| entry.status != PhotoStatus::Unsure).find(of_run);
        match datum(run, apparatus, photo, &mut planes) {
            Some(datum) => {
                scope.has_edges |= datum.edge != 0.0;
                scope.has_photos |= datum.plane.is_some();
                scope.has_parallax |= datum.plane.is_none() && apparatus.reads_with_parallax;
                scope.has_runs |= !datum.is_struck;
                data.push(RunDatum { place: data.len(), ..datum });
            }
            None if run.is_struck() => {}
            None => without.push(run.run.clone()),
        }
    }
    scope.planes = planes.into_iter().map(|(_, u)| u).collect();
    let count = data.len().max(1) as f64;
    let typical = data.iter().map(|run| run.diameter_m / run.voltage_read_v).sum::<f64>() / count;
    for run in &mut data {
        run.loss_share = match &apparatus.gas {
            Some(gas) => gas.share(run.voltage_read_v, run.diameter_m),
            None => run.diameter_m / run.voltage_read_v / typical,
        };
    }
    (data, without, scope)
}

/// Part of a turn that a photograph's circle goes through: to where the gun hides the line for good, or to the usual place.
fn part_of_turn(arc_seen_deg: Option<f64>) -> f64 {
    arc_seen_deg.map_or(TO_THE_GUN, |arc_deg| (arc_deg / 360.0).clamp(TO_THE_GUN, 1.0))
}

fn datum(
    run: &Run,
    apparatus: &Apparatus,
    photo: Option<&PhotoEntry>,
    planes: &mut Vec<(String, f64)>,
) -> Option<RunDatum> {
    if run.view == View::Side {
        return None;
    }
    let voltages: Vec<f64> = run.readings.iter().map(|reading| reading.voltage_v).collect();
    let currents: Vec<f64> = run.readings.iter().map(|reading| reading.current_a).collect();
    let mut datum = RunDatum {
        run: run.run.clone(),
        place: 0,
        loss_share: 1.0,
        voltage_read_v: run.mean_voltage_v(),
        voltage_u_v: mean_noise(&voltages, &apparatus.voltmeter),
        current_read_a: run.mean_current_a(),
        current_u_a: mean_noise(&currents, &apparatus.ammeter),
        sense: run.field_sense.sign(),
        turned_rad: run.bench_turned_deg.to_radians(),
        tilt_rad: run.gun_tilt_deg.to_radians(),
        diameter_m: 0.0,
        diameter_u_m: None,
        kind: DiameterKind::Fit,
        edge: 0.0,
        camera_direction: None,
        plane: None,
        part_of_turn: 1.0,
        is_struck: run.is_struck(),
    };
    if let Some(diameter) = &run.diameter {
        datum.diameter_m = diameter.value_m;
        datum.diameter_u_m = diameter.standard_uncertainty_m;
        datum.kind = diameter.kind;
        datum.edge = match diameter.edge {
            Some(Edge::Outer) => 1.0,
            Some(Edge::Inner) => -1.0,
            Some(Edge::Centre) | None => 0.0,
        };
        return Some(datum);
    }
    let photo = photo?;
    let measured = photo.ring_diameter_in_scale_plane_mm?;
    datum.diameter_m = 1e-3 * measured.value;
    datum.diameter_u_m = photo.u_trace_mm.map(|u| 1e-3 * u);
    datum.camera_direction = photo.camera_direction;
    datum.part_of_turn = part_of_turn(photo.arc_seen_deg);
    let scale = photo.scale_photo.clone().unwrap_or_else(|| photo.photo.clone());
    let relative = photo.u_plane_mm.unwrap_or(0.0) / measured.value;
    let index = planes.iter().position(|(name, _)| *name == scale);
    datum.plane = Some(match index {
        Some(index) => {
            planes[index].1 = planes[index].1.max(relative);
            index
        }
        None => {
            planes.push((scale, relative));
            planes.len() - 1
        }
    });
    Some(datum)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_circle_goes_as_far_as_the_line_is_seen_and_at_least_to_the_usual_gun() {
        let at = |arc: f64| part_of_turn(Some(arc));
        assert_eq!((at(200.0), at(360.0), at(400.0)), (TO_THE_GUN, 1.0, 1.0));
        assert!((at(340.0) - 340.0 / 360.0).abs() < 1e-15);
        assert_eq!(part_of_turn(None), TO_THE_GUN, "a photograph that does not say how much it shows");
    }
}
