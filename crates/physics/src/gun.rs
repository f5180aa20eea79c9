//! The gun's beam as a fan of rays: how wide it is along its path and where it comes to a focus.

use crate::error::PathError;
use crate::motion::Particle;
use crate::path::{MagneticField, Path, TraceOptions, Until, trace};
use crate::vec3::Vec3;

/// How a gun sends out its beam.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Gun {
    /// Which particle.
    pub particle: Particle,
    /// Where the beam leaves the anode.
    pub muzzle_m: Vec3,
    /// Mean direction.
    pub direction: Vec3,
    /// Accelerating voltage as read.
    pub voltage_v: f64,
    /// Added to the reading: contact potential, filament drop.
    pub voltage_offset_v: f64,
    /// Half angle of the beam, in the plane of the ring and at right angles to it.
    pub divergence_rad: f64,
    /// Half spread of the kinetic energy, in electronvolt.
    pub energy_spread_ev: f64,
}

/// The beam's width at one place of its central ray.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct BeamWidth {
    /// Arc length along the central ray.
    pub arc_length_m: f64,
    /// Place of the central ray.
    pub place_m: Vec3,
    /// Full width in the x–y projection, across the beam: that of the angles and that of the energies in quadrature, for they are
    /// independent.
    pub in_plane_m: f64,
    /// Full width along z, likewise.
    pub along_z_m: f64,
}

/// A gun's beam, followed.
#[derive(Clone, Debug)]
pub struct Beam {
    /// The central ray.
    pub central: Path,
    /// Rays of another direction, and rays of another energy.
    rays: [Vec<Path>; 2],
}

impl Gun {
    /// Follows the central ray and the fan's outer rays (two angles, two energies) for `turns` turns of the central one.
    ///
    /// ```
    /// use arcmass_physics::{FieldError, Gun, Particle, TraceOptions, Vec3};
    /// let gun = Gun {
    ///     particle: Particle::default(), muzzle_m: Vec3::new(0.0, -0.04, 0.0), direction: Vec3::X,
    ///     voltage_v: 220.0, voltage_offset_v: -1.0, divergence_rad: 0.02, energy_spread_ev: 0.5,
    /// };
    /// let field = |_: Vec3| -> Result<Vec3, FieldError> { Ok(Vec3::Z * 1.1e-3) };
    /// let beam = gun.follow(&field, 0.9, &TraceOptions::default())?;
    /// let focus = beam.focus(300).ok_or("no focus")?;
    /// // half a turn from the gun the beam is narrower than a quarter turn from it
    /// let turned = beam.central.turned_at_rad(focus.arc_length_m).abs();
    /// assert!((turned - std::f64::consts::PI).abs() < 0.3, "{turned}");
    /// assert!(focus.in_plane_m < 0.5 * beam.widths(300)[83].in_plane_m);
    /// # Ok::<(), Box<dyn std::error::Error>>(())
    /// ```
    ///
    /// - **Fails** as [`trace`] does, and for a voltage that does not accelerate.
    /// - **Source** semicircular focusing of a divergent beam: A. Septier (ed.), *Focusing of Charged Particles* (from memory); the rays
    ///   themselves are traced.
    pub fn follow<F: MagneticField>(
        &self,
        field: &F,
        turns: f64,
        options: &TraceOptions,
    ) -> Result<Beam, PathError> {
        let along = self.direction.unit().ok_or(PathError::NoDirection(self.direction))?;
        let voltage = self.voltage_v + self.voltage_offset_v;
        let charge = self.particle.charge_number.abs();
        let ray = |aside: f64, up: f64, energy_ev: f64, until: Until| {
            let p = self.particle.accelerated(voltage + energy_ev / charge).map_err(|_| {
                PathError::OutOfRange {
                    what: "accelerating voltage with offset and energy spread, in V",
                    must: "above 0 and finite",
                    got: voltage + energy_ev / charge,
                }
            })?;
            let across = along.cross(Vec3::Z).unit().or_else(|| along.any_perpendicular()).unwrap_or(Vec3::X);
            let direction = along.rotated(Vec3::Z, aside).rotated(across, up);
            trace(field, self.muzzle_m, direction, p.momentum_over_charge_t_m(), until, options)
        };
        let central = ray(0.0, 0.0, 0.0, Until::Turns(turns))?;
        // rays of more energy run farther: a little more length reaches the central ray's last plane
        let longer = Until::Length(1.1 * central.length_m());
        let (d, e) = (self.divergence_rad, self.energy_spread_ev);
        let mut rays = [Vec::new(), Vec::new()];
        for (aside, up, energy) in
            [(d, 0.0, 0.0), (-d, 0.0, 0.0), (0.0, d, 0.0), (0.0, -d, 0.0), (0.0, 0.0, e), (0.0, 0.0, -e)]
        {
            if aside != 0.0 || up != 0.0 || energy != 0.0 {
                let kind = usize::from(energy != 0.0);
                rays[kind].push(ray(aside, up, energy, longer)?);
            }
        }
        Ok(Beam { central, rays })
    }
}

impl Beam {
    /// The width where the rays cross the plane at right angles to the central ray, at `n` places equally spaced along it.
    ///
    /// A ray that does not cross the plane near the central one (within a quarter of the path's length so far) is left out there.
    pub fn widths(&self, n: usize) -> Vec<BeamWidth> {
        let spacing = self.central.length_m() / n.max(1) as f64;
        (1..=n).map(|i| self.width_at(spacing * i as f64)).collect()
    }

    fn width_at(&self, arc_length_m: f64) -> BeamWidth {
        let (place, along) = self.central.at(arc_length_m);
        let aside = Vec3::Z.cross(along).unit().unwrap_or(Vec3::X);
        let extent = |rays: &[Path]| {
            let (mut low, mut high) = ([0.0f64; 2], [0.0f64; 2]);
            for ray in rays {
                let crossings = ray.crossings_m(place, along);
                let nearest = crossings
                    .into_iter()
                    .min_by(|a, b| (a - arc_length_m).abs().total_cmp(&(b - arc_length_m).abs()));
                let Some(s) = nearest.filter(|s| (s - arc_length_m).abs() < 0.25 * arc_length_m) else {
                    continue;
                };
                let apart = ray.at(s).0 - place;
                for (k, v) in [apart.dot(aside), apart.z].into_iter().enumerate() {
                    low[k] = low[k].min(v);
                    high[k] = high[k].max(v);
                }
            }
            [high[0] - low[0], high[1] - low[1]]
        };
        let [angles, energies] = [extent(&self.rays[0]), extent(&self.rays[1])];
        BeamWidth {
            arc_length_m,
            place_m: place,
            in_plane_m: angles[0].hypot(energies[0]),
            along_z_m: angles[1].hypot(energies[1]),
        }
    }

    /// Where the beam is narrowest in the plane of the ring, of `n` places between a quarter and three quarters of a turn: for a
    /// divergent beam in a uniform field, half a turn from the gun, whatever its spread of energies (semicircular focusing).
    pub fn focus(&self, n: usize) -> Option<BeamWidth> {
        let quarter = std::f64::consts::FRAC_PI_2;
        let between = |w: &BeamWidth| {
            (quarter..3.0 * quarter).contains(&self.central.turned_at_rad(w.arc_length_m).abs())
        };
        self.widths(n).into_iter().filter(between).min_by(|a, b| a.in_plane_m.total_cmp(&b.in_plane_m))
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;
    use crate::error::FieldError;

    /// Semicircular focusing: in a uniform field the angles come together after half a turn, where the energies are widest apart; added in
    /// quadrature both are stationary there.
    #[test]
    fn a_uniform_field_focuses_after_half_a_turn_whatever_the_energies() {
        let field = |_: Vec3| -> Result<Vec3, FieldError> { Ok(Vec3::Z * 1.1e-3) };
        for energy_spread_ev in [0.0, 0.5, 2.0] {
            let gun = Gun {
                particle: Particle::default(),
                muzzle_m: Vec3::new(0.0, -0.04, 0.0),
                direction: Vec3::X,
                voltage_v: 220.0,
                voltage_offset_v: 0.0,
                divergence_rad: 0.02,
                energy_spread_ev,
            };
            let beam = gun.follow(&field, 1.0, &TraceOptions::default()).unwrap();
            let focus = beam.focus(360).unwrap();
            let turned_deg = beam.central.turned_at_rad(focus.arc_length_m).abs().to_degrees();
            assert!((turned_deg - 180.0).abs() < 2.0, "± {energy_spread_ev} eV: {turned_deg}°");
        }
    }
}
