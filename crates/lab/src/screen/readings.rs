//! The readings of the runs against what the bench bears: ratings of gun and coils, the bulb round the ring, rows copied.
//!
//! The accepted mass has no say here: only what the bench file states.

use arcmass_quantity::print;

use crate::assume::Apparatus;
use crate::document::Finding;
use crate::model::RunDatum;

/// A reading this far above a rating is a supply's usual margin; common practice, no source.
const MARGIN: f64 = 1.1;
/// Above this many times a rating nothing would have survived: the unit or the range is another one.
const UNBEARABLE: f64 = 3.0;
/// A ring narrower than this can't be told from the gun's mouth, m; common practice, no source.
const SMALLEST_RING_M: f64 = 8e-3;
/// Runs that agree in every digit, beyond which they are copies.
const COPIES: usize = 3;

/// What a whole column may have been written in: factor on what was written, words.
const UNITS: [(f64, &str); 4] = [
    (1e-3, "the column is in a unit a thousandth as large as its name says"),
    (1e3, "the column is in a unit a thousand times as large as its name says"),
    (0.1, "every reading is ten times too large (range or decimal point)"),
    (10.0, "every reading is a tenth (range or decimal point)"),
];

/// What gun, coils and bulb allow, as the bench file states it.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(crate) struct Bears {
    voltage_v: Option<f64>,
    current_a: Option<f64>,
    bulb_radius_m: Option<f64>,
}

impl Bears {
    /// From the bench file.
    pub(crate) fn of(apparatus: &Apparatus) -> Self {
        let ratings = &apparatus.ratings;
        Self {
            voltage_v: ratings.voltage_v,
            current_a: ratings.current_a,
            bulb_radius_m: apparatus.bulb_radius_m,
        }
    }
}

/// What the readings can't be, as a bench of this kind stands.
pub(crate) fn findings(runs: &[RunDatum], bears: &Bears) -> Vec<Finding> {
    let counted: Vec<&RunDatum> = runs.iter().filter(|run| !run.is_struck).collect();
    let mut findings = Vec::new();
    let volts: Vec<f64> = counted.iter().map(|run| run.voltage_read_v).collect();
    let amperes: Vec<f64> = counted.iter().map(|run| run.current_read_a.abs()).collect();
    let named = |name: &'static str, unit: &'static str, rating: Option<f64>| Rated { name, unit, rating };
    findings.extend(named("voltage", "V", bears.voltage_v).finding(&counted, &volts));
    findings.extend(named("coil current", "A", bears.current_a).finding(&counted, &amperes));
    findings.extend(rings(&counted, bears));
    findings.extend(copies(&counted));
    findings
}

fn list(runs: &[&str]) -> String {
    let shown: Vec<&str> = runs.iter().take(6).copied().collect();
    let more = runs.len().saturating_sub(shown.len());
    let word = if runs.len() == 1 { "run" } else { "runs" };
    if more > 0 {
        format!("{word} {} and {more} more", shown.join(", "))
    } else {
        format!("{word} {}", shown.join(", "))
    }
}

/// One quantity with its rating.
struct Rated {
    name: &'static str,
    unit: &'static str,
    rating: Option<f64>,
}

impl Rated {
    fn finding(&self, runs: &[&RunDatum], readings: &[f64]) -> Option<Finding> {
        let rating = self.rating?;
        let above: Vec<&str> = runs
            .iter()
            .zip(readings)
            .filter(|(_, reading)| **reading > MARGIN * rating)
            .map(|(run, _)| run.run.as_str())
            .collect();
        let largest = readings.iter().copied().fold(0.0, f64::max);
        if above.is_empty() {
            return None;
        }
        let shown = |value: f64| format!("{} {}", print::significant(value, 4), self.unit);
        let cause = if above.len() == runs.len() && largest > UNBEARABLE * rating {
            let fits = |(factor, _): &&(f64, &str)| {
                let scaled = factor * largest;
                *factor < 1.0 && (0.03 * rating..=MARGIN * rating).contains(&scaled)
            };
            UNITS.iter().find(fits).map_or_else(String::new, |(_, words)| format!("; as if {words}"))
        } else {
            String::new()
        };
        Some(Finding {
            code: "beyond-rating".to_owned(),
            confidence: if largest > UNBEARABLE * rating { 0.999 } else { 0.9 },
            sentence: format!(
                "the {} of {} is above the rating of {} that the bench file states, {} at most{cause}",
                self.name,
                list(&above),
                shown(rating),
                shown(largest)
            ),
            remedy: "check the column's unit and the meter's range; if the reading is right, the rating or the bench is in \
                     danger: ask the responsible person"
                .to_owned(),
        })
    }
}

/// Rings that don't fit into the bulb, or are too small to be seen.
fn rings(runs: &[&RunDatum], bears: &Bears) -> Option<Finding> {
    let (mut misfit, mut largest, mut smallest) = (Vec::new(), 0.0_f64, f64::INFINITY);
    let most = bears.bulb_radius_m.map(|radius| 2.0 * radius);
    for run in runs {
        if most.is_some_and(|most| run.diameter_m > most) || run.diameter_m < SMALLEST_RING_M {
            misfit.push(run.run.as_str());
            largest = largest.max(run.diameter_m);
            smallest = smallest.min(run.diameter_m);
        }
    }
    misfit.first()?;
    let is_large = most.is_some_and(|most| largest > most);
    let found = if is_large { largest } else { smallest };
    let bound = match most.filter(|_| is_large) {
        Some(most) => format!("wider than the bulb of {} mm", print::significant(1e3 * most, 4)),
        None => format!(
            "too small to be told from the gun's mouth ({} mm)",
            print::significant(1e3 * SMALLEST_RING_M, 1)
        ),
    };
    let fits = |(factor, _): &&(f64, &str)| {
        let scaled = factor * found;
        scaled > 2.0 * SMALLEST_RING_M && scaled < most.unwrap_or(0.2)
    };
    let cause = UNITS
        .iter()
        .find(fits)
        .filter(|_| 2 * misfit.len() > runs.len())
        .map(|(_, words)| format!("; as if {words}"));
    let doubled = (is_large && most.is_some_and(|most| 0.5 * largest < most) && cause.is_none())
        .then(|| "; as if a diameter stood in the radius column".to_owned());
    Some(Finding {
        code: "ring-beyond-bulb".to_owned(),
        confidence: 0.999,
        sentence: format!(
            "the ring of {} is {} mm across, {bound}{}",
            list(&misfit),
            print::significant(1e3 * found, 3),
            cause.or(doubled).unwrap_or_default()
        ),
        remedy: "check the unit of the diameter's column, and outer_radius under [bulb]".to_owned(),
    })
}

/// Runs whose readings agree in every digit.
fn copies(runs: &[&RunDatum]) -> Option<Finding> {
    let same = |a: &RunDatum, b: &RunDatum| {
        a.voltage_read_v == b.voltage_read_v
            && a.current_read_a == b.current_read_a
            && a.diameter_m == b.diameter_m
            && a.sense == b.sense
            && a.turned_rad == b.turned_rad
            && a.tilt_rad == b.tilt_rad
    };
    let mut most: Vec<&str> = Vec::new();
    let mut seen: Vec<bool> = vec![false; runs.len()];
    for (index, run) in runs.iter().enumerate() {
        if seen.get(index).copied().unwrap_or(true) {
            continue;
        }
        let alike: Vec<usize> =
            (index..runs.len()).filter(|other| runs.get(*other).is_some_and(|b| same(run, b))).collect();
        for other in &alike {
            if let Some(flag) = seen.get_mut(*other) {
                *flag = true;
            }
        }
        if alike.len() > most.len() {
            most = alike.iter().filter_map(|other| runs.get(*other)).map(|run| run.run.as_str()).collect();
        }
    }
    (most.len() >= COPIES).then(|| Finding {
        code: "copied-runs".to_owned(),
        confidence: 0.99,
        sentence: format!(
            "{} agree in every digit of voltage, current and diameter: copies of one reading count as one, not as {}",
            list(&most),
            most.len()
        ),
        remedy: "delete the copies, or give them the same run's name so that they count as repeated readings".to_owned(),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn run(name: &str, voltage_v: f64, current_a: f64, diameter_m: f64) -> RunDatum {
        RunDatum {
            run: name.to_owned(),
            place: 0,
            voltage_read_v: voltage_v,
            voltage_u_v: 0.1,
            current_read_a: current_a,
            current_u_a: 0.001,
            sense: 1.0,
            turned_rad: 0.0,
            tilt_rad: 0.0,
            diameter_m,
            diameter_u_m: Some(2e-4),
            kind: arcmass_notebook::DiameterKind::Fit,
            edge: 0.0,
            camera_direction: None,
            plane: None,
            part_of_turn: 1.0,
            loss_share: 1.0,
            is_struck: false,
        }
    }

    fn codes(scale: [f64; 3]) -> Vec<String> {
        let bears = Bears { voltage_v: Some(320.0), current_a: Some(3.0), bulb_radius_m: Some(0.082) };
        let [v, a, d] = scale;
        let runs = [
            run("1", 150.0 * v, 1.9 * a, 0.0596 * d),
            run("2", 250.0 * v, 1.7 * a, 0.0837 * d),
            run("3", 300.0 * v, 2.1 * a, 0.0759 * d),
        ];
        findings(&runs, &bears)
            .iter()
            .map(|finding| format!("{}: {}", finding.code, finding.sentence))
            .collect()
    }

    #[test]
    fn a_column_in_another_unit_is_said_and_a_sound_table_is_not() {
        assert!(codes([1.0; 3]).is_empty());
        for (scale, code, words) in [
            ([1.0, 1e3, 1.0], "beyond-rating", "a thousandth as large"),
            ([1e3, 1.0, 1.0], "beyond-rating", "a thousandth as large"),
            ([10.0, 1.0, 1.0], "beyond-rating", "ten times too large"),
            ([1.0, 1.0, 10.0], "ring-beyond-bulb", "ten times too large"),
            ([1.0, 1.0, 1e-3], "ring-beyond-bulb", "a thousand times as large"),
            ([1.0, 1.0, 0.1], "ring-beyond-bulb", "a tenth"),
            ([1.0, 1.0, 2.1], "ring-beyond-bulb", "radius column"),
        ] {
            let said = codes(scale);
            assert!(said.len() == 1, "{scale:?}: {said:?}");
            assert!(
                said.iter().all(|text| text.starts_with(code) && text.contains(words)),
                "{scale:?}: {said:?}"
            );
        }
    }

    #[test]
    fn one_run_copied_forty_times_is_noticed() {
        let bears = Bears::default();
        let mut runs: Vec<RunDatum> = (0..40).map(|n| run(&n.to_string(), 150.0, 1.9, 0.06)).collect();
        runs.push(run("other", 250.0, 1.7, 0.083));
        let said = findings(&runs, &bears);
        assert!(said.iter().any(|finding| finding.code == "copied-runs"), "{said:?}");
        assert!(findings(&runs[38..], &bears).is_empty(), "two alike are no copies");
    }
}
