//! Figures of measured pictures as found, and their table.

use arcmass_draw::FOUND_CONDITIONS;

use super::measure::{Reading, Row};

/// A line a condition, then all.
pub(super) fn markdown(rows: &[Row]) -> String {
    let mut text = "| condition | pictures | unaided right, px | mm | unsure | no ring | no mm | silently wrong | wrong into a mass | three clicks within 1 % | two on the scale within 1.5 % | median px | median by clicks px | mm | pull rms px | mm |\n\
                    | --- | ---: | ---: | ---: | ---: | ---: | ---: | ---: | ---: | ---: | ---: | ---: | ---: | ---: | ---: | ---: |\n"
        .to_owned();
    for condition in FOUND_CONDITIONS {
        let own: Vec<&Row> = rows.iter().filter(|row| row.condition == condition.name).collect();
        if !own.is_empty() {
            text.push_str(&line(&format!("{}: {}", condition.name, condition.says), &own));
        }
    }
    text.push_str(&line("**all**", &rows.iter().collect::<Vec<_>>()));
    text
}

fn line(name: &str, rows: &[&Row]) -> String {
    let count = |holds: &dyn Fn(&Row) -> bool| rows.iter().filter(|row| holds(row)).count();
    // of those for which there is an answer at all
    let share = |of: &dyn Fn(&Row) -> Option<bool>| {
        let known: Vec<bool> = rows.iter().filter_map(|row| of(row)).collect();
        if known.is_empty() {
            return "–".to_owned();
        }
        format!("{:.0} %", 100.0 * known.iter().filter(|right| **right).count() as f64 / known.len() as f64)
    };
    let has_scale = |row: &Row| row.true_in_scale_plane_mm.is_some();
    let right_mm = |row: &Row| has_scale(row).then(|| row.is_right_mm(&row.unaided) == Some(true));
    let median = |of: &dyn Fn(&Row) -> Option<f64>| median(rows.iter().filter_map(|row| of(row)).collect());
    format!(
        "| {name} | {} | {} | {} | {} | {} | {} | {} | {} | {} | {} | {} | {} | {} | {} | {} |\n",
        rows.len(),
        share(&|row| Some(row.is_right_px(&row.unaided) == Some(true))),
        share(&right_mm),
        count(&|row| row.unaided.is_unsure()),
        count(&|row| row.unaided.radius_px.is_none()),
        count(&|row| has_scale(row) && row.unaided.in_scale_plane_mm.is_none()),
        count(&Row::is_silently_wrong),
        count(&Row::is_wrong_into_a_mass),
        share(&Row::is_clicked_right),
        share(&Row::is_scaled_right),
        median(&|row| row.error_px(&row.unaided)),
        median(&|row| row.clicked.as_ref().and_then(|reading| row.error_px(reading))),
        median(&|row| row.scaled.as_ref().and_then(|reading| row.error_mm(reading))),
        pulls(rows, &|row, reading| row.pull_px(reading)),
        pulls(rows, &|row, reading| row.pull_mm(reading)),
    )
}

/// Root mean square of the pulls of all that was read, by whatever way.
fn pulls(rows: &[&Row], of: &dyn Fn(&Row, &Reading) -> Option<f64>) -> String {
    let readings = |row: &&Row| {
        let ways = [Some(&row.unaided), row.clicked.as_ref(), row.scaled.as_ref()];
        ways.into_iter().flatten().filter_map(|reading| of(row, reading)).collect::<Vec<f64>>()
    };
    let pulls: Vec<f64> = rows.iter().flat_map(readings).collect();
    if pulls.is_empty() {
        return "–".to_owned();
    }
    let squares: f64 = pulls.iter().map(|pull| pull * pull).sum();
    format!("{:.2}", (squares / pulls.len() as f64).sqrt())
}

/// Median of the sizes in percent; a dash where there is none.
fn median(mut errors: Vec<f64>) -> String {
    errors.iter_mut().for_each(|error| *error = error.abs());
    errors.sort_by(f64::total_cmp);
    errors.get(errors.len() / 2).map_or_else(|| "–".to_owned(), |error| format!("{:.2} %", 100.0 * error))
}

/// Names what went wrong, so that it can be drawn again and mended.
pub(super) fn tell_of_the_worst(rows: &[Row]) {
    let percent =
        |error: Option<f64>| error.map_or_else(|| "none".to_owned(), |e| format!("{:+.2} %", 100.0 * e));
    for row in rows {
        let place = format!("{} {}", row.condition, row.seed);
        let tell = |what: &str, reading: &Reading| {
            let why = reading.failed.as_deref().unwrap_or_default();
            let (px, mm) = (percent(row.error_px(reading)), percent(row.error_mm(reading)));
            println!("{what}: {place}: px {px}, mm {mm}, caveats: {}; {why}", reading.caveats.join(", "));
        };
        if row.is_silently_wrong() {
            tell("silently wrong", &row.unaided);
        }
        if row.is_wrong_into_a_mass() {
            tell("wrong into a mass", &row.unaided);
        }
        match &row.clicked {
            Some(reading) if row.is_clicked_right() == Some(false) => tell("three clicks", reading),
            _ => (),
        }
        match &row.scaled {
            Some(reading) if row.is_scaled_right() == Some(false) => tell("two on the scale", reading),
            _ => (),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn row(radius_px: f64, mm: Option<[f64; 2]>) -> Row {
        let reading = Reading {
            centre_px: Some([100.0, 80.0]),
            radius_px: Some(radius_px),
            in_scale_plane_mm: mm,
            diameter_mm: mm,
            ..Reading::default()
        };
        Row {
            condition: "lit room".to_owned(),
            seed: 0,
            true_centre_px: [100.0, 80.0],
            true_radius_px: 50.0,
            true_in_scale_plane_mm: Some(80.0),
            true_diameter_mm: 80.0,
            visible_deg: 300.0,
            clicked: Some(reading.clone()),
            scaled: Some(reading.clone()),
            unaided: reading,
        }
    }

    #[test]
    fn a_ring_two_percent_off_is_wrong_and_silent_until_something_says_so() {
        let mut found = row(51.0, Some([81.6, 0.1]));
        assert!(found.is_silently_wrong() && found.is_wrong_into_a_mass());
        assert_eq!((found.is_clicked_right(), found.is_scaled_right()), (Some(false), Some(false)));
        found.unaided.status = Some("unsure".to_owned());
        assert!(!found.is_silently_wrong() && !found.is_wrong_into_a_mass());
    }

    #[test]
    fn a_wide_uncertainty_holds_the_truth_and_a_ring_elsewhere_does_not() {
        let mut found = row(50.2, Some([81.6, 0.8]));
        assert!(!found.is_silently_wrong() && !found.is_wrong_into_a_mass());
        assert_eq!(found.is_right_px(&found.unaided), Some(true));
        found.unaided.centre_px = Some([110.0, 80.0]);
        assert_eq!(found.is_right_px(&found.unaided), Some(false));
    }

    #[test]
    fn the_table_counts_by_hand() {
        let text = markdown(&[row(50.1, Some([80.4, 0.4])), row(55.0, None)]);
        let last = text.lines().last().unwrap_or_default();
        // 50 % right in px and mm, none unsure, none without a ring, one without mm, one silent, none into a mass
        assert!(
            last.starts_with("| **all** | 2 | 50 % | 50 % | 0 | 0 | 1 | 1 | 0 | 50 % | 50 % |"),
            "{last}"
        );
    }
}
