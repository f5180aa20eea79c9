//! Figures of a set of measured photographs, and their table.

use super::notebook::Row;

/// Silently wrong: further off than this, no caveat, and more than so many standard uncertainties.
const WRONG_PERCENT: f64 = 1.0;
const WRONG_PULL: f64 = 4.0;

/// Figures of some photographs.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Figures {
    pub(crate) photographs: usize,
    pub(crate) measured: usize,
    pub(crate) median_percent: f64,
    pub(crate) p95_percent: f64,
    pub(crate) mean_percent: f64,
    pub(crate) pull_rms: f64,
    pub(crate) with_caveat: usize,
    pub(crate) silent_wrong: usize,
}

impl Row {
    /// Measured over true, less one, in percent.
    pub(crate) fn error_percent(&self) -> Option<f64> {
        self.measured_mm.map(|[value, _]| 100.0 * (value / self.truth_mm - 1.0))
    }

    pub(crate) fn pull(&self) -> Option<f64> {
        self.measured_mm.map(|[value, u]| (value - self.truth_mm) / u)
    }

    pub(crate) fn is_silently_wrong(&self) -> bool {
        let is_wrong = |limit: f64, value: Option<f64>| value.is_some_and(|v| v.is_nan() || v.abs() > limit);
        self.caveats.is_empty()
            && is_wrong(WRONG_PERCENT, self.error_percent())
            && is_wrong(WRONG_PULL, self.pull())
    }
}

/// The figures of some rows.
pub(crate) fn figures(rows: &[&Row]) -> Figures {
    let measured: Vec<&&Row> = rows.iter().filter(|row| row.measured_mm.is_some()).collect();
    let mut errors: Vec<f64> = measured.iter().filter_map(|row| row.error_percent()).map(f64::abs).collect();
    errors.sort_by(f64::total_cmp);
    let count = measured.len().max(1) as f64;
    let signed: f64 = measured.iter().filter_map(|row| row.error_percent()).sum();
    let squares: f64 = measured.iter().filter_map(|row| row.pull()).map(|pull| pull * pull).sum();
    Figures {
        photographs: rows.len(),
        measured: measured.len(),
        median_percent: quantile(&errors, 0.5),
        p95_percent: quantile(&errors, 0.95),
        mean_percent: signed / count,
        pull_rms: (squares / count).sqrt(),
        with_caveat: measured.iter().filter(|row| !row.caveats.is_empty()).count(),
        silent_wrong: measured.iter().filter(|row| row.is_silently_wrong()).count(),
    }
}

/// The smallest value that holds at least that share.
fn quantile(sorted: &[f64], share: f64) -> f64 {
    let index = (share * sorted.len() as f64).ceil() as usize;
    sorted.get(index.saturating_sub(1)).copied().unwrap_or(f64::NAN)
}

/// A table in Markdown: a line a condition, then all.
pub(crate) fn markdown(rows: &[Row], conditions: &[(&str, &str)]) -> String {
    let mut text = "| condition | photographs | measured | median | 95 % below | mean | pull rms | caveat | silently wrong |\n\
                    | --- | ---: | ---: | ---: | ---: | ---: | ---: | ---: | ---: |\n"
        .to_owned();
    for (name, says) in conditions {
        let own: Vec<&Row> = rows.iter().filter(|row| row.condition == *name).collect();
        if !own.is_empty() {
            text.push_str(&line(&format!("{name}: {says}"), &figures(&own)));
        }
    }
    text.push_str(&line("**all**", &figures(&rows.iter().collect::<Vec<_>>())));
    text
}

fn line(name: &str, of: &Figures) -> String {
    let percent = |count: usize, of: usize| format!("{:.0} %", 100.0 * count as f64 / of.max(1) as f64);
    format!(
        "| {name} | {} | {} | {:.3} % | {:.3} % | {:+.3} % | {:.2} | {} | {} |\n",
        of.photographs,
        percent(of.measured, of.photographs),
        of.median_percent,
        of.p95_percent,
        of.mean_percent,
        of.pull_rms,
        percent(of.with_caveat, of.measured),
        of.silent_wrong
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    fn row(measured: f64, u: f64, caveat: bool) -> Row {
        Row {
            condition: "clean".to_owned(),
            bench: 0,
            ring: 0,
            truth_mm: 80.0,
            measured_mm: Some([measured, u]),
            caveats: if caveat { vec!["short-arc".to_owned()] } else { Vec::new() },
            failed: None,
        }
    }

    #[test]
    fn figures_of_four_photographs_by_hand() {
        let failed = Row { measured_mm: None, failed: Some("no ring".to_owned()), ..row(0.0, 0.0, false) };
        let rows = [row(80.08, 0.08, false), row(79.96, 0.04, true), row(88.0, 0.8, false), failed];
        let found = figures(&rows.iter().collect::<Vec<_>>());
        // errors 0.1, -0.05, 10 %; pulls 1, -1, 10
        assert_eq!((found.photographs, found.measured, found.with_caveat, found.silent_wrong), (4, 3, 1, 1));
        assert!((found.median_percent - 0.1).abs() < 1e-9 && (found.p95_percent - 10.0).abs() < 1e-9);
        assert!((found.pull_rms - 34.0_f64.sqrt()).abs() < 1e-9);
    }

    #[test]
    fn a_wrong_diameter_with_a_caveat_or_a_wide_uncertainty_is_not_silent() {
        assert!(!row(88.0, 0.8, true).is_silently_wrong());
        assert!(!row(88.0, 4.0, false).is_silently_wrong());
        assert!(row(f64::NAN, 1.0, false).is_silently_wrong(), "no number at all is wrong");
    }
}
