//! What must be said beside the field: what clashes, what had to be assumed, and how much each is in the mass.

use arcmass_notebook::Notebook;
use arcmass_quantity::{Caveat, print};

use crate::bench::Bench;
use crate::calibrate::FieldPerAmpere;
use crate::document::{CaveatEntry, Finding, MapFit, Q};

/// Two values farther apart than this many standard uncertainties clash (common practice, no source).
const CLASH_U: f64 = 3.0;
/// Above this an axial stray field is more than the Earth's, T.
const STRONG_AXIAL_T: f64 = 70e-6;
/// A map whose χ² lies above this many times its degrees of freedom is not followed.
const NOT_FOLLOWED: f64 = 2.5;

/// The field as it was found.
pub(super) struct Found<'a> {
    pub(super) notebook: &'a Notebook,
    pub(super) bench: &'a Bench<'a>,
    pub(super) per_ampere: &'a FieldPerAmpere,
    pub(super) background: &'a [Q; 3],
    pub(super) probe_zero: Option<&'a Q>,
    pub(super) map: Option<&'a MapFit>,
}

/// The finding `field-scale`: what each pair of ways says, largest clash first.
pub(crate) fn clash(per_ampere: &FieldPerAmpere) -> Option<Finding> {
    let ways = [
        ("the probe", per_ampere.probe),
        ("the current balance", per_ampere.balance),
        ("the stated constant", per_ampere.stated),
        ("the coil geometry and turns", per_ampere.geometry),
    ];
    let known: Vec<(&str, Q)> = ways
        .into_iter()
        .filter_map(|(name, q)| {
            // a probe with its leads the other way round reads a negative slope; its size is what counts here
            q.map(|q| (name, Q { value: q.value.abs(), ..q }))
        })
        .collect();
    let pairs = known.iter().enumerate().flat_map(|(index, first)| {
        known.iter().skip(index + 1).map(move |second| {
            let u = first.1.standard_uncertainty.hypot(second.1.standard_uncertainty);
            ((first.1.value - second.1.value) / u, first, second)
        })
    });
    let clashing = pairs.filter(|(apart, ..)| apart.is_finite() && apart.abs() > CLASH_U);
    let (apart, (by, q), (other_way, other)) = clashing.max_by(|a, b| a.0.abs().total_cmp(&b.0.abs()))?;
    let ratio = q.value / other.value;
    let shown = |q: &Q| print::short(1e3 * q.value, 1e3 * q.standard_uncertainty);
    Some(Finding {
        code: "field-scale".to_owned(),
        confidence: certainty(apart),
        sentence: format!(
            "two values of the coil constant disagree: {by} gives {} mT/A, {other_way} {} mT/A, {} % {} and {} standard uncertainties \
             apart; the mass follows the square of the field, so it is {} % {} by the one than by the other",
            shown(q),
            shown(other),
            percent(100.0 * (ratio - 1.0)),
            if ratio > 1.0 { "more" } else { "less" },
            print::significant(apart.abs(), 2),
            percent(100.0 * (ratio * ratio - 1.0)),
            if ratio > 1.0 { "larger" } else { "smaller" },
        ),
        remedy: "measure separation and mean radius again, count the turns of each coil, see whether the ammeter reads one \
                 coil or both, and check the probe in a known field; until they agree, rely on neither"
            .to_owned(),
    })
}

/// Surest first.
pub(super) fn findings(found: &Found<'_>) -> Vec<Finding> {
    let mut findings: Vec<Finding> = clash(found.per_ampere).into_iter().collect();
    findings.extend(found.bench.rejected_rows.iter().map(crate::screen::RejectedRow::finding));
    findings.extend(found.map.into_iter().flat_map(sizes_off));
    findings.extend(strong_axial(&found.background[2]));
    findings.sort_by(|a, b| b.confidence.total_cmp(&a.confidence));
    findings
}

fn sizes_off(map: &MapFit) -> Vec<Finding> {
    let one = |code: &str, what: &str, fitted: Option<Q>, stated: Option<Q>| -> Option<Finding> {
        let (fitted, stated) = (fitted?, stated?);
        let u = fitted.standard_uncertainty.hypot(stated.standard_uncertainty);
        let apart = (fitted.value - stated.value) / u;
        (apart.abs() > CLASH_U).then(|| Finding {
            code: code.to_owned(),
            confidence: certainty(apart),
            sentence: format!(
                "the shape of the map corresponds to a {what} of {} mm where {} mm is stated, {} standard uncertainties apart",
                print::short(fitted.value, fitted.standard_uncertainty),
                print::short(stated.value, stated.standard_uncertainty),
                print::significant(apart.abs(), 2),
            ),
            remedy: "measure it again from the middle of one winding to the middle of the other, at several places, and \
                     check the origin of the probe positions"
                .to_owned(),
        })
    };
    let separation =
        one("coil-separation", "separation", map.effective_separation_mm, map.stated_separation_mm);
    let radius = one("coil-radius", "mean radius", map.effective_radius_mm, map.stated_radius_mm);
    separation.into_iter().chain(radius).collect()
}

fn strong_axial(background_z: &Q) -> Option<Finding> {
    let u = background_z.standard_uncertainty.max(f64::MIN_POSITIVE);
    let beyond = (background_z.value.abs() - STRONG_AXIAL_T) / u;
    (beyond > 0.0).then(|| Finding {
        code: "stray-field-axial".to_owned(),
        confidence: 0.5 + 0.5 * certainty(beyond),
        sentence: format!(
            "a stray field of {} µT runs along the axis, more than the Earth's",
            print::short(1e6 * background_z.value, 1e6 * background_z.standard_uncertainty)
        ),
        remedy:
            "look for magnets, iron or another bench nearby, and take every setting with both field senses"
                .to_owned(),
    })
}

/// Probability that a normal deviation stays below |z|.
fn certainty(z: f64) -> f64 {
    1.0 - statrs::function::erf::erfc(z.abs() * std::f64::consts::FRAC_1_SQRT_2)
}

/// A share of the mass, two digits that count.
fn percent(value: f64) -> String {
    print::significant(value.abs(), 2)
}

/// The current that sizes are told for: the middle of the readings', else half the rating, else 1 A.
fn usual_current_a(notebook: &Notebook) -> f64 {
    let mut currents: Vec<f64> =
        notebook.readings.iter().flat_map(|r| &r.runs).map(arcmass_notebook::Run::mean_current_a).collect();
    currents.sort_by(f64::total_cmp);
    let rating = notebook.bench.pair.as_ref().and_then(|pair| pair.current_limit_a);
    currents.get(currents.len() / 2).copied().or(rating.map(|limit| 0.5 * limit)).unwrap_or(1.0)
}

/// Everything that limits the field, each with its part in the mass.
pub(super) fn caveats(found: &Found<'_>) -> Vec<CaveatEntry> {
    let mut caveats = silent(found);
    caveats.extend(probe(found));
    if found.bench.model.apparatus.coils.is_none() {
        caveats.push(Caveat::new(
            "field-fall-off",
            "the coil geometry is not stated, so the field is taken as uniform; with a ring of 0.3 to 0.45 coil \
             radii the mass is then 0.8 to 4 % too large",
            "state mean_radius and separation under [coils]",
        ));
    }
    if found.bench.probe_rows_left_out > 0 {
        caveats.push(Caveat::new(
            "probe-rows-left-out",
            format!("{} probe readings away from the centre are not used", found.bench.probe_rows_left_out),
            "state mean_radius and separation under [coils]",
        ));
    }
    if let Some(map) = found.map
        && map.chi_squared > NOT_FOLLOWED * map.degrees_of_freedom.max(1) as f64
    {
        caveats.push(Caveat::new(
            "map-not-followed",
            format!(
                "the probe's readings scatter about the model {} times as much as their noise",
                print::significant((map.chi_squared / map.degrees_of_freedom.max(1) as f64).sqrt(), 2)
            ),
            "check the places and components in the table, and the probe's noise under [meters.probe]; look for iron nearby",
        ));
    }
    caveats.into_iter().map(CaveatEntry::from).collect()
}

/// What the file is silent about.
fn silent(found: &Found<'_>) -> Vec<Caveat> {
    let apparatus = found.bench.model.apparatus;
    let (in_use, current_a) = (found.per_ampere.in_use, usual_current_a(found.notebook));
    let field_t = (in_use.value * current_a).abs();
    let mut caveats = Vec::new();
    for silent in &apparatus.silent {
        // m ∝ B², so a part δB of B is 2 δB/B of the mass
        let part = match silent.code {
            "background-not-stated" if !found.bench.scope.has_probe => {
                let percent_of_mass = percent(200.0 * found.background[2].standard_uncertainty / field_t);
                format!("at {} A that is {percent_of_mass} % of the mass", print::significant(current_a, 3))
            }
            "coil-size-uncertainty-not-stated" => {
                let geometry = found.per_ampere.geometry.unwrap_or(in_use);
                let relative = geometry.standard_uncertainty / geometry.value.abs();
                format!(
                    "the coil geometry as a whole contributes {} % to the uncertainty of the mass",
                    percent(200.0 * relative)
                )
            }
            _ => continue,
        };
        caveats.push(Caveat::new(silent.code, format!("{}; {part}", silent.sentence), silent.remedy));
    }
    caveats
}

/// What limits the probe's word.
fn probe(found: &Found<'_>) -> Vec<Caveat> {
    if !found.bench.scope.has_probe {
        return Vec::new();
    }
    let mut caveats = Vec::new();
    let apparatus = found.bench.model.apparatus;
    if !apparatus.probe.is_stated {
        caveats.push(Caveat::new(
            "meter-not-stated",
            "the accuracy of the probe is not stated; taken as limits of 2.5 % of the reading, class 2.5, and each percent is 2 % \
             of the mass by the probe",
            "state [meters.probe] from the data sheet of the probe",
        ));
    }
    if !apparatus.ammeter.is_stated {
        caveats.push(Caveat::new(
            "meter-not-stated",
            "the accuracy of the ammeter is not stated; taken as limits of 2.5 %, class 2.5, and each percent is 2 % of the mass, \
             unless the same meter reads the runs and the probe gives the field",
            "state [meters.current] from the data sheet of the meter",
        ));
    }
    let field_t = (found.per_ampere.in_use.value * usual_current_a(found.notebook)).abs();
    let reversed = found.bench.model.probe.iter().any(|row| row.sign < 0.0);
    let turned = found.bench.model.probe.iter().any(|row| row.turned_rad != 0.0);
    if let Some(zero) = found.probe_zero.filter(|_| !reversed && !turned)
        && 200.0 * zero.standard_uncertainty / field_t > 0.5
    {
        caveats.push(Caveat::new(
            "probe-zero-not-separated",
            format!(
                "readings with the coils off give only the sum of background and zero offset of the probe; the zero offset stays uncertain by u = {} µT, \
                 and the background with it, {} % of the mass at {} A",
                print::significant(1e6 * zero.standard_uncertainty, 2),
                percent(200.0 * zero.standard_uncertainty / field_t),
                print::significant(usual_current_a(found.notebook), 3),
            ),
            "take a few readings with the probe reversed end for end (probe_reversed = yes), or state its zero offset",
        ));
    }
    caveats
}
