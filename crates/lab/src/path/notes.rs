//! What must be said beside a predicted path.

use arcmass_physics::{PathSummary, Vec3};
use arcmass_quantity::Caveat;

use super::Asked;
use crate::document::{CaveatEntry, Finding};

/// Two ways to the field that clash, as a caveat of the prediction.
pub(super) fn clash(finding: Finding) -> CaveatEntry {
    CaveatEntry {
        code: finding.code,
        sentence: format!("the predicted diameter rests on a field that is in doubt: {}", finding.sentence),
        remedy: finding.remedy,
    }
}

pub(super) fn caveats(asked: &Asked<'_>, summary: &PathSummary, at_muzzle_t: Vec3) -> Vec<Caveat> {
    let mut caveats = ratings(asked);
    let apparatus = asked.apparatus;
    caveats.push(Caveat::new(
        "prediction-from-accepted-mass",
        "the path is computed with the particle's accepted mass, not with a mass from readings",
        "compare it with a measured ring; it is no measurement",
    ));
    if apparatus.gun.muzzle_m.is_none() {
        caveats.push(Caveat::new(
            "muzzle-not-stated",
            "the position of the anode aperture is not stated; the ring is taken as centred on the axis of the coils",
            "state muzzle and direction under [gun]",
        ));
    }
    if apparatus.coils.is_none() {
        caveats.push(Caveat::new(
            "field-fall-off",
            "the coil geometry is not stated; the field is taken as uniform",
            "state mean_radius and separation under [coils]",
        ));
    }
    if apparatus.silent.iter().any(|silent| silent.code == "background-not-stated") && !asked.has_probe {
        caveats.push(Caveat::new(
            "background-not-stated",
            "the background field is not stated; the path is calculated without it, and the field of the Earth moves the far \
             side of the ring by millimetres along z",
            "read the probe with the coils off along x, y and z, or state [surroundings]",
        ));
    }
    if summary.turns_to_glass.is_some_and(|turns| turns < 1.0) {
        caveats.push(glass(asked, at_muzzle_t));
    }
    caveats
}

/// Why the beam meets the glass before it comes round.
fn glass(asked: &Asked<'_>, at_muzzle_t: Vec3) -> Caveat {
    let apparatus = asked.apparatus;
    let tilt = asked.setting.gun_tilt_deg;
    let direction = crate::model::aimed(apparatus.gun.direction, tilt.to_radians(), 0.0);
    let towards_centre = direction.cross(at_muzzle_t) * asked.launch.rigidity_t_m.signum();
    let inwards =
        apparatus.gun.muzzle_m.map_or(0.0, |[x, y, _]| -(towards_centre.x * x + towards_centre.y * y));
    if inwards < 0.0 {
        let turned = if tilt.abs() > 90.0 { 0 } else { 180 };
        let leads = if asked.setting.field_sense < 0.0 { "+" } else { "-" };
        return Caveat::new(
            "meets-glass",
            format!(
                "the beam bends away from the bulb's middle and runs into the glass: with the gun tilted by {tilt}° the leads \
                 are the wrong way round"
            ),
            format!(
                "rotate the tube by 180° (`--gun-tilt {turned}`), or reverse the coil leads (`--field-sense {leads}`): voltage \
                     and coil current to 0 and supplies off before either"
            ),
        );
    }
    Caveat::new(
        "meets-glass",
        "the beam bends the right way, but strikes the glass before it comes round",
        "raise the current within its rating, or lower the voltage",
    )
}

fn ratings(asked: &Asked<'_>) -> Vec<Caveat> {
    let bench = &asked.notebook.bench;
    let (voltage_v, current_a) = (asked.setting.voltage_v, asked.setting.current_a);
    let mut caveats = Vec::new();
    let gun = bench.gun.as_ref();
    if let Some(limit) = gun.and_then(|gun| gun.voltage_limit_v).filter(|limit| voltage_v > *limit) {
        caveats.push(Caveat::new(
            "beyond-rating",
            format!("{voltage_v} V is above the gun's limit of {limit} V"),
            "do not set it; choose a lower voltage",
        ));
    }
    if let Some(least) = gun.and_then(|gun| gun.voltage_minimum_v).filter(|least| voltage_v < *least) {
        caveats.push(Caveat::new(
            "beam-not-seen",
            format!(
                "the bench file says that the beam can't be seen below {least} V; {voltage_v} V is asked for"
            ),
            "choose a higher voltage",
        ));
    }
    let limit = bench.pair.as_ref().and_then(|pair| pair.current_limit_a);
    if let Some(limit) = limit.filter(|limit| current_a > *limit) {
        caveats.push(Caveat::new(
            "beyond-rating",
            format!("{current_a} A is above the coils' limit of {limit} A"),
            "do not set it; choose a smaller current",
        ));
    }
    caveats
}
