//! The textbook's way beside the model's: two classic straight lines, what their intercepts say, and the shapes that
//! each run's excess follows.

use arcmass_fit::{Intercept, Line, fit_line};
use arcmass_quantity::constants::ELEMENTARY_CHARGE;
use arcmass_quantity::print;
use serde::{Deserialize, Serialize};
use statrs::distribution::{ContinuousCDF, StudentsT};

use crate::assume::{Apparatus, CoilsKnown};
use crate::model::RunDatum;

/// Runs whose fixed reading differs by no more than this share of it stand on one line.
const ALIKE: f64 = 0.005;
/// The other reading must vary by this share of its mean, or a line says nothing.
const SPREAD: f64 = 0.05;

/// One classic straight line through runs that share a reading.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct TextbookLine {
    /// `diameter-squared-against-voltage` or `current-against-inverse-radius`.
    pub line: String,
    /// The reading that the runs share: A for the first kind, V for the second.
    pub fixed: f64,
    /// `A` or `V`.
    pub fixed_unit: String,
    /// Of x.
    pub x_unit: String,
    /// Of y.
    pub y_unit: String,
    /// Names of the runs, in the order of the points.
    pub runs: Vec<String>,
    /// As read: x, y.
    pub points: Vec<[f64; 2]>,
    /// Forced through the origin.
    pub through_origin: Fitted,
    /// With a free intercept; null with fewer than three runs.
    pub free: Option<Fitted>,
    /// What the free intercept says, in words.
    pub sentence: String,
}

/// One fit of a line.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Fitted {
    /// In y unit over x unit.
    pub slope: f64,
    /// From the scatter about the line; null with too few runs to tell.
    pub slope_standard_uncertainty: f64,
    /// In y unit; 0 where forced.
    pub intercept: f64,
    /// As the slope's.
    pub intercept_standard_uncertainty: f64,
    /// That the slope gives, not relativistic, with the field per ampere in use.
    pub mass_kg: f64,
    /// From the slope's alone.
    pub mass_standard_uncertainty_kg: f64,
    /// What the intercept would be if it were one effect: V of gun offset, or µT along the coils' field; null where forced.
    pub offset: Option<f64>,
    /// Of `offset`.
    pub offset_standard_uncertainty: Option<f64>,
    /// Runs minus what the line leaves free.
    #[serde(default)]
    pub degrees_of_freedom: usize,
    /// Chance of an intercept as far off 0 without any, by Student's t; null where forced.
    #[serde(default)]
    pub p_value: Option<f64>,
}

/// Both kinds of lines for every group of runs that has one.
///
/// - **Takes** runs as read (struck ones are left out) and the field per ampere in T/A.
/// - **Gives** `d² = 8 m (V + V₀)/(e B²)` at one current, so m = e B² slope/8 and V₀ = intercept/slope; and
///   `I = √(2 m V/e)/(k r) − B_s/k` at one voltage, so m = e (k slope)²/2V and B_s = −k · intercept.
pub fn lines(runs: &[RunDatum], field_per_ampere_t: f64) -> Vec<TextbookLine> {
    let kept: Vec<&RunDatum> = runs.iter().filter(|run| !run.is_struck && run.diameter_m > 0.0).collect();
    let mut found = Vec::new();
    for group in groups(&kept, |run| run.current_read_a, |run| run.voltage_read_v) {
        found.extend(squared_diameters(&group, field_per_ampere_t));
    }
    for group in groups(&kept, |run| run.voltage_read_v, |run| run.current_read_a) {
        found.extend(inverse_radii(&group, field_per_ampere_t));
    }
    found
}

/// Runs with the same stand of the bench and nearly the same fixed reading, where the other reading varies.
fn groups<'a>(
    runs: &[&'a RunDatum],
    fixed: impl Fn(&RunDatum) -> f64,
    varied: impl Fn(&RunDatum) -> f64,
) -> Vec<Vec<&'a RunDatum>> {
    let mut left: Vec<&RunDatum> = runs.to_vec();
    left.sort_by(|a, b| fixed(a).total_cmp(&fixed(b)));
    let mut groups: Vec<Vec<&RunDatum>> = Vec::new();
    for run in left {
        let fits = |group: &&mut Vec<&RunDatum>| {
            group.first().is_some_and(|first| {
                (fixed(run) - fixed(first)).abs() <= ALIKE * fixed(first)
                    && run.sense == first.sense
                    && run.turned_rad == first.turned_rad
            })
        };
        match groups.iter_mut().rev().find(fits) {
            Some(group) => group.push(run),
            None => groups.push(vec![run]),
        }
    }
    let varies = |group: &Vec<&RunDatum>| {
        let values: Vec<f64> = group.iter().map(|run| varied(run)).collect();
        let (low, high) = values.iter().fold((f64::INFINITY, 0.0_f64), |(l, h), v| (l.min(*v), h.max(*v)));
        group.len() >= 3 && high - low >= SPREAD * high
    };
    groups.retain(varies);
    groups
}

fn mean(group: &[&RunDatum], of: impl Fn(&RunDatum) -> f64) -> f64 {
    group.iter().map(|run| of(run)).sum::<f64>() / group.len().max(1) as f64
}

fn squared_diameters(group: &[&RunDatum], k: f64) -> Option<TextbookLine> {
    let current = mean(group, |run| run.current_read_a);
    let field = k * current;
    let points: Vec<[f64; 2]> =
        group.iter().map(|run| [run.voltage_read_v, (1e3 * run.diameter_m).powi(2)]).collect();
    let charge = ELEMENTARY_CHARGE.value;
    let mass = |slope: f64| charge * field * field * 1e-6 * slope / 8.0;
    let fit = |intercept: Intercept| -> Option<Fitted> {
        let line = fitted(&points, intercept)?;
        let (offset, u) = ratio(&line);
        Some(written(&line, mass, 1.0, (intercept == Intercept::Free).then_some((offset, u))))
    };
    let (through_origin, free) = (fit(Intercept::Zero)?, fit(Intercept::Free));
    let sentence = sentence(
        &format!("At {} A", print::significant(current, 3)),
        free.as_ref(),
        &through_origin,
        "V",
        "as for a voltage offset of the gun",
        "no voltage offset of the gun is seen",
    );
    Some(TextbookLine {
        line: "diameter-squared-against-voltage".to_owned(),
        fixed: current,
        fixed_unit: "A".to_owned(),
        x_unit: "V".to_owned(),
        y_unit: "mm2".to_owned(),
        runs: group.iter().map(|run| run.run.clone()).collect(),
        points,
        through_origin,
        free,
        sentence,
    })
}

fn inverse_radii(group: &[&RunDatum], k: f64) -> Option<TextbookLine> {
    let voltage = mean(group, |run| run.voltage_read_v);
    let points: Vec<[f64; 2]> = group.iter().map(|run| [2.0 / run.diameter_m, run.current_read_a]).collect();
    let charge = ELEMENTARY_CHARGE.value;
    let mass = |slope: f64| charge * (k * slope).powi(2) / (2.0 * voltage);
    let fit = |intercept: Intercept| -> Option<Fitted> {
        let line = fitted(&points, intercept)?;
        let offset = (-1e6 * k * line.intercept, 1e6 * k * line.intercept_uncertainty());
        Some(written(&line, mass, 2.0, (intercept == Intercept::Free).then_some(offset)))
    };
    let (through_origin, free) = (fit(Intercept::Zero)?, fit(Intercept::Free));
    let sentence = sentence(
        &format!("At {} V", print::significant(voltage, 3)),
        free.as_ref(),
        &through_origin,
        "µT",
        "as for a stray field along the field of the coils",
        "no stray field along the axis is seen",
    );
    Some(TextbookLine {
        line: "current-against-inverse-radius".to_owned(),
        fixed: voltage,
        fixed_unit: "V".to_owned(),
        x_unit: "1/m".to_owned(),
        y_unit: "A".to_owned(),
        runs: group.iter().map(|run| run.run.clone()).collect(),
        points,
        through_origin,
        free,
        sentence,
    })
}

fn fitted(points: &[[f64; 2]], intercept: Intercept) -> Option<Line> {
    let (x, y): (Vec<f64>, Vec<f64>) = points.iter().map(|p| (p[0], p[1])).unzip();
    fit_line(&x, &y, intercept).ok().filter(|line| line.slope > 0.0)
}

/// Intercept over slope and its standard uncertainty.
fn ratio(line: &Line) -> (f64, f64) {
    let value = line.intercept / line.slope;
    let c = &line.covariance;
    let variance =
        (c[(0, 0)] - 2.0 * value * c[(0, 1)] + value * value * c[(1, 1)]) / (line.slope * line.slope);
    (value, variance.max(0.0).sqrt())
}

/// `power` is that of the slope in the mass.
fn written(line: &Line, mass: impl Fn(f64) -> f64, power: f64, offset: Option<(f64, f64)>) -> Fitted {
    let mass_kg = mass(line.slope);
    Fitted {
        slope: line.slope,
        slope_standard_uncertainty: line.slope_uncertainty(),
        intercept: line.intercept,
        intercept_standard_uncertainty: line.intercept_uncertainty(),
        mass_kg,
        mass_standard_uncertainty_kg: mass_kg * power * line.slope_uncertainty() / line.slope,
        offset: offset.map(|(value, _)| value),
        offset_standard_uncertainty: offset.map(|(_, u)| u),
        degrees_of_freedom: line.dof,
        p_value: offset.and_then(|_| chance(line)),
    }
}

/// An intercept is said to be there where chance alone gives one as far off 0 in less than this share of cases (common practice, no
/// source).
const SEEN: f64 = 0.05;

fn sentence(
    place: &str,
    free: Option<&Fitted>,
    origin: &Fitted,
    unit: &str,
    adds: &str,
    nothing: &str,
) -> String {
    let told =
        free.and_then(|free| Some((free, free.offset?, free.offset_standard_uncertainty?, free.p_value?)));
    let Some((free, offset, u, p)) = told else {
        return format!("{place}: the runs are too few for a free intercept");
    };
    let change = 100.0 * (free.mass_kg / origin.mass_kg - 1.0);
    // a line without scatter would print rounding errors as its uncertainty
    let size = if u > 1e-9 * offset.abs() { print::short(offset, u) } else { print::significant(offset, 3) };
    let test = format!("Student's t with ν = {}: p = {}", free.degrees_of_freedom, print::significant(p, 2));
    if p > SEEN {
        return format!(
            "{place}: the intercept of the free line is equivalent to {size} {unit}, consistent with zero ({test}); {nothing}, and the free \
             intercept only costs precision"
        );
    }
    format!(
        "{place}: the intercept of the free line is equivalent to {size} {unit} ({test}), {adds}; the mass from the slope then differs by {}{} % \
         from that of the line forced through the origin",
        if change > 0.0 { "+" } else { "" },
        print::fixed(change, -1)
    )
}

/// Chance of an intercept as far off 0 where the line runs through the origin: Student's t, for the scatter itself gives u.
fn chance(line: &Line) -> Option<f64> {
    let u = line.intercept_uncertainty();
    let law = StudentsT::new(0.0, 1.0, line.dof as f64).ok()?;
    (u > 0.0).then(|| 2.0 * law.sf((line.intercept / u).abs()))
}

/// One shape that a spoiling effect gives to the runs' excess.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Signature {
    /// `1/V`, `1/I`, `1/r`, `(r/R)^4`, `r/V^2`.
    pub shape: String,
    /// Which effects have it, in words.
    pub means: String,
    /// Unit of x.
    pub x_unit: String,
    /// One a run that counts: x, excess of the textbook's charge-to-mass ratio over the joint result in %.
    pub points: Vec<[f64; 2]>,
    /// Correlation of the excess with the shape, −1 to 1; null where the shape hardly varies.
    pub correlation: Option<f64>,
}

/// Each run's excess against the five shapes.
///
/// - **Takes** the runs, the field per ampere in T/A and the joint mass; 1/I carries the sign of sense and bench: it flips
///   where the coils' field is reversed against the surroundings.
pub fn signatures(
    runs: &[RunDatum],
    apparatus: &Apparatus,
    field_per_ampere_t: f64,
    mass_kg: f64,
) -> Vec<Signature> {
    let kept: Vec<&RunDatum> = runs.iter().filter(|run| !run.is_struck && run.diameter_m > 0.0).collect();
    let charge = ELEMENTARY_CHARGE.value * f64::from(apparatus.charge_number.abs());
    let excess = |run: &RunDatum| {
        let rigidity = field_per_ampere_t * run.current_read_a * 0.5 * run.diameter_m;
        100.0 * (mass_kg * 2.0 * run.voltage_read_v / (charge * rigidity * rigidity) - 1.0)
    };
    let radius = match &apparatus.coils {
        Some(CoilsKnown::Pair { mean_radius, .. }) => Some(mean_radius.value),
        _ => None,
    };
    let mut found = Vec::new();
    let mut add = |shape: &str, means: &str, x_unit: &str, x: &dyn Fn(&RunDatum) -> f64| {
        let points: Vec<[f64; 2]> = kept.iter().map(|run| [x(run), excess(run)]).collect();
        found.push(Signature {
            shape: shape.to_owned(),
            means: means.to_owned(),
            x_unit: x_unit.to_owned(),
            correlation: correlation(&points),
            points,
        });
    };
    add("1/V", "the voltage offset of the gun", "1/kV", &|run| 1e3 / run.voltage_read_v);
    add("1/I", "a stray field along the axis; it changes sign with the sense", "1/A", &|run| {
        run.sense * run.turned_rad.cos() / run.current_read_a
    });
    add("1/r", "an edge read for the middle of the beam, or a zero offset of the scale", "1/m", &|run| {
        2.0 / run.diameter_m
    });
    if let Some(radius) = radius {
        add("(r/R)^4", "the field's fall-off", "1", &|run| (0.5 * run.diameter_m / radius).powi(4));
    }
    add("r/V^2", "energy lost in the gas", "mm/kV2", &|run| {
        1e3 * 0.5 * run.diameter_m / (1e-3 * run.voltage_read_v).powi(2)
    });
    found
}

fn correlation(points: &[[f64; 2]]) -> Option<f64> {
    let (x, y): (Vec<f64>, Vec<f64>) = points.iter().map(|p| (p[0], p[1])).unzip();
    let (low, high) = x.iter().fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), v| (l.min(*v), h.max(*v)));
    let scale = x.iter().fold(0.0_f64, |m, v| m.max(v.abs()));
    if points.len() < 3 || high - low < SPREAD * scale {
        return None;
    }
    arcmass_fit::sample_correlation(&x, &y).ok()
}

#[cfg(test)]
mod tests {
    use arcmass_notebook::DiameterKind;

    use super::*;

    const MASS: f64 = 9.0e-31;
    const K: f64 = 0.78e-3;

    /// Rings of a bench with that gun offset and stray field, uniform field, not relativistic.
    fn runs(offset_v: f64, stray_t: f64) -> Vec<RunDatum> {
        let mut found = Vec::new();
        for voltage in [150.0, 200.0, 250.0, 300.0] {
            for current in [1.2, 1.5, 2.0] {
                let field = K * current + stray_t;
                let radius = (2.0 * MASS * (voltage + offset_v) / ELEMENTARY_CHARGE.value).sqrt() / field;
                found.push(RunDatum {
                    place: found.len(),
                    loss_share: 1.0,
                    run: format!("{voltage}/{current}"),
                    voltage_read_v: voltage,
                    voltage_u_v: 0.1,
                    current_read_a: current,
                    current_u_a: 1e-3,
                    sense: 1.0,
                    turned_rad: 0.0,
                    tilt_rad: 0.0,
                    diameter_m: 2.0 * radius,
                    diameter_u_m: Some(5e-4),
                    kind: DiameterKind::Fit,
                    edge: 0.0,
                    camera_direction: None,
                    plane: None,
                    part_of_turn: 1.0,
                    is_struck: false,
                });
            }
        }
        found
    }

    #[test]
    fn the_intercepts_give_back_what_was_put_in() {
        let found = lines(&runs(20.0, 0.0), K);
        assert_eq!(found.len(), 7, "three currents and four voltages");
        for line in found.iter().filter(|line| line.fixed_unit == "A") {
            let free = line.free.as_ref().unwrap_or(&line.through_origin);
            assert!((free.offset.unwrap_or(0.0) - 20.0).abs() < 1e-6, "{line:?}");
            assert!((free.mass_kg / MASS - 1.0).abs() < 1e-9);
            assert!(
                line.through_origin.mass_kg > 1.05 * MASS,
                "the forced line hides the offset in the mass"
            );
            assert!(line.sentence.contains("20.0"), "{}", line.sentence);
        }
        for line in lines(&runs(0.0, 40e-6), K).iter().filter(|line| line.fixed_unit == "V") {
            let free = line.free.as_ref().unwrap_or(&line.through_origin);
            assert!((free.offset.unwrap_or(0.0) - 40.0).abs() < 1e-6, "{line:?}");
            assert!((free.mass_kg / MASS - 1.0).abs() < 1e-9);
        }
    }

    #[test]
    fn runs_of_one_setting_make_no_line() {
        let all = runs(0.0, 0.0);
        assert!(lines(all.get(..1).unwrap_or_default(), K).is_empty());
        let mut struck = all;
        struck.iter_mut().for_each(|run| run.is_struck = true);
        assert!(lines(&struck, K).is_empty());
    }
}
