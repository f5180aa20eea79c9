//! The beam as more than a line: its width along the way, its focus, and what the gas takes from it.

use arcmass_notebook::Notebook;
use arcmass_physics::gas;
use arcmass_physics::{BeamWidth, Gun, MagneticField, Particle, PathSummary, TraceOptions, Vec3};
use arcmass_quantity::Caveat;

use super::Asked;
use super::way::Drawn;
use crate::document::{BeamEntry, Focus, GasEntry, Width};
use crate::gas::{TEMPERATURE_K, named, stated};

/// Half angle of a gun's beam that nobody stated, degrees: common practice, no source.
const DIVERGENCE_DEG: f64 = 1.0;
/// Half spread of its energy, eV: the drop along a filament of a few volts; common practice, no source.
const ENERGY_SPREAD_EV: f64 = 2.0;
/// Width of a beam at the muzzle that nobody stated, mm: common practice, no source.
const OWN_WIDTH_MM: f64 = 1.0;
/// A path that turns less than this has no width worth telling, turns.
const SHORTEST_TURNS: f64 = 0.02;
/// Places at which the width is looked at in search of the focus.
const PLACES: usize = 72;

/// The gun's fan of rays through the same field; none where it can't be followed.
pub(super) fn beam<F: MagneticField>(
    asked: &Asked<'_>,
    field: &F,
    muzzle_m: Vec3,
    direction: Vec3,
    summary: &PathSummary,
) -> Option<BeamEntry> {
    let turns = (summary.path.turned_rad().abs() / std::f64::consts::TAU).min(1.0);
    if turns < SHORTEST_TURNS {
        return None;
    }
    let apparatus = asked.apparatus;
    let gun = Gun {
        particle: Particle {
            charge_number: f64::from(apparatus.charge_number),
            mass_kg: apparatus.assumed_mass_kg,
        },
        muzzle_m,
        direction,
        voltage_v: asked.launch.accelerating_voltage_v,
        voltage_offset_v: 0.0,
        divergence_rad: DIVERGENCE_DEG.to_radians(),
        energy_spread_ev: ENERGY_SPREAD_EV.min(0.2 * asked.launch.energy_ev(apparatus)),
    };
    let fan = gun.follow(field, turns, &TraceOptions::default()).ok()?;
    let own_width_mm = apparatus.beam_width.map_or(OWN_WIDTH_MM, |known| 1e3 * known.value);
    let whole = |width: &BeamWidth| Width {
        in_plane_mm: 1e3 * width.in_plane_m + own_width_mm,
        along_z_mm: 1e3 * width.along_z_m + own_width_mm,
    };
    let at_end = fan.widths(1);
    let focus = fan.focus(PLACES).map(|narrowest| Focus {
        turned_deg: fan.central.turned_at_rad(narrowest.arc_length_m).abs().to_degrees(),
        place_mm: [narrowest.place_m.x, narrowest.place_m.y, narrowest.place_m.z].map(|x| 1e3 * x),
        width: whole(&narrowest),
    });
    Some(BeamEntry {
        divergence_deg: DIVERGENCE_DEG,
        energy_spread_ev: gun.energy_spread_ev,
        own_width_mm,
        own_width_assumed: apparatus.beam_width.is_none(),
        at_end: whole(at_end.first()?),
        focus,
    })
}

/// Mean loss and share collided over the drawn path; a caveat where gas and pressure are stated but can't be used.
pub(super) fn gas(notebook: &Notebook, energy_ev: f64, drawn: &Drawn) -> (Option<GasEntry>, Option<Caveat>) {
    let Some((name, pressure)) = notebook.bench.bulb.as_ref().and_then(stated) else {
        return (None, None);
    };
    let Some(known) = named(name) else {
        let caveat = Caveat::new(
            "gas-unknown",
            format!("no data for the gas `{name}`; its energy loss is not given"),
            "hydrogen, helium, neon and argon are known",
        );
        return (None, Some(caveat));
    };
    match gas::loss(known, pressure.value, TEMPERATURE_K, energy_ev, drawn.length_m) {
        Ok(loss) => {
            let entry = GasEntry {
                gas: name.to_owned(),
                pressure_pa: pressure.value,
                temperature_k: TEMPERATURE_K,
                path_length_mm: 1e3 * drawn.length_m,
                mean_energy_loss_ev: loss.mean_energy_loss_ev,
                collided_share: loss.collided_share,
            };
            (Some(entry), None)
        }
        Err(fault) => {
            let caveat = Caveat::new(
                "gas-unknown",
                format!("the energy loss in the gas can't be calculated: {fault}"),
                "check pressure under [bulb]",
            );
            (None, Some(caveat))
        }
    }
}
