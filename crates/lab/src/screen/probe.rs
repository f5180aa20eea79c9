//! Rows of the probe: one coil constant for all, one offset (background and zero) for each component, sense and heading.

use std::collections::BTreeSet;

use arcmass_fit::{mad_scale, median};
use arcmass_notebook::Axis;
use arcmass_physics::Vec3;

use super::{FAR_SPREADS, Geometry, Placed, RejectedRow, check_share, mend, split, weighted_median};
use crate::assume::Apparatus;
use crate::desk::LabError;
use crate::model::data::ProbeDatum;

/// Fewest rows along the current that can judge each other without the coils' sizes.
const FEWEST: usize = 4;
/// The others' spread is taken for at least this share of the largest field: what a probe read by eye repeats to.
const LEAST_SHARE: f64 = 1e-3;
/// Away from the centre the model of the field may itself be off by this share: coils that are not quite where they are stated.
const OFF_CENTRE_SHARE: f64 = 0.03;
/// How well a probe's place away from the centre is known, m; common practice, no source.
const PLACE_M: f64 = 4e-3;
/// Places so far apart are as different as no current and the largest, m.
const PLACES_M: f64 = 0.1;
/// A coils-off reading above this is neither the Earth's field nor a probe's zero, T; common practice, no source.
const LARGEST_OFFSET_T: f64 = 5e-3;
/// A row stands alone where it is off by this many times its neighbours in current: saturation bends several, a slip one.
const ABOVE_NEIGHBOURS: f64 = 2.5;
/// Nor does saturation bend a row this many times beyond what is allowed.
const FAR_BEYOND: f64 = 8.0;

/// A row as the straight line sees it.
struct Point {
    /// Of the coils' field at the centre, with the probe's sign, times the current, A.
    drive_a: f64,
    /// As read, T.
    read_t: f64,
    /// Through the coils, A, and where, m: what makes two rows neighbours.
    current_a: f64,
    at_m: Vec3,
    /// Which offset it shares with others.
    group: usize,
    /// What place and sizes may make of it, T per T/A.
    slack_a: f64,
}

/// The rows that follow one coil constant and background, and those that don't.
pub(super) fn screen(
    rows: Vec<Placed<ProbeDatum>>,
    apparatus: &Apparatus,
    geometry: &Geometry<'_>,
) -> Result<(Vec<ProbeDatum>, Vec<RejectedRow>), LabError> {
    let points = points(&rows, geometry)?;
    let used: Vec<usize> =
        (0..points.len()).filter(|index| points.get(*index).is_some_and(|p| p.is_some())).collect();
    let at = |index: &usize| points.get(*index).and_then(Option::as_ref);
    let Some(line) = Line::of(used.iter().filter_map(at).collect(), apparatus, geometry) else {
        return Ok((rows.into_iter().map(|row| row.datum).collect(), Vec::new()));
    };
    let mut rejected: BTreeSet<usize> = BTreeSet::new();
    for index in &used {
        let Some(point) = at(index) else { continue };
        if line.is_far(point, &used.iter().filter_map(at).collect::<Vec<_>>()) {
            rejected.insert(*index);
        }
    }
    check_share(&rows, &rejected, "probe")?;
    let file = rows.first().map_or("field-probe.csv", |row| row.file.as_str());
    if line.has_slope {
        geometry.check_constant(file, line.constant_t_per_a)?;
    }
    let named = rejected
        .iter()
        .filter_map(|index| Some(line.named(rows.get(*index)?, points.get(*index)?.as_ref()?)))
        .collect();
    Ok((split(&rows, &rejected), named))
}

/// Each row against the coil constant; none for rows that say nothing here.
fn points(rows: &[Placed<ProbeDatum>], geometry: &Geometry<'_>) -> Result<Vec<Option<Point>>, LabError> {
    let mut groups: Vec<(Axis, i64, bool)> = Vec::new();
    let mut points = Vec::new();
    for row in rows {
        let datum = &row.datum;
        let is_centre = datum.at_m.norm() < 1e-3;
        if !is_centre && !geometry.has_sizes() {
            points.push(None);
            continue;
        }
        let key = (datum.axis, datum.turned_rad.to_degrees().round() as i64, datum.sign > 0.0);
        let group = groups.iter().position(|known| *known == key).unwrap_or_else(|| {
            groups.push(key);
            groups.len() - 1
        });
        let component = |v: Vec3| datum.sign * [v.x, v.y, v.z][datum.axis.index()];
        let here = component(geometry.relative(datum.at_m)?);
        let slack = if is_centre { 0.002 } else { slack(datum, geometry, here)? };
        points.push(Some(Point {
            drive_a: here * datum.current_read_a,
            read_t: datum.flux_density_read_t,
            current_a: datum.current_read_a,
            at_m: datum.at_m,
            group,
            slack_a: slack * datum.current_read_a.abs(),
        }));
    }
    Ok(points)
}

/// What an error of the place makes of the field there, over that at the centre.
fn slack(datum: &ProbeDatum, geometry: &Geometry<'_>, here: f64) -> Result<f64, LabError> {
    let component = |v: Vec3| datum.sign * [v.x, v.y, v.z][datum.axis.index()];
    let mut square = (OFF_CENTRE_SHARE * here.abs().max(0.3)).powi(2);
    for step in [Vec3::new(PLACE_M, 0.0, 0.0), Vec3::new(0.0, PLACE_M, 0.0), Vec3::new(0.0, 0.0, PLACE_M)] {
        // a place beside a conductor says nothing of how fast the field changes there
        let Ok(moved) = geometry.relative(datum.at_m + step) else { continue };
        square += (component(moved) - here).powi(2);
    }
    Ok(square.sqrt())
}

/// The coil constant and the offsets that most rows follow.
struct Line {
    constant_t_per_a: f64,
    /// Whether rows at different currents gave it.
    has_slope: bool,
    offsets_t: Vec<f64>,
    /// Standard deviation of a row about the others, T.
    spread_t: f64,
    /// Current that most rows stay below, A.
    largest_a: f64,
}

impl Line {
    /// None where there are too few rows to judge any.
    fn of(points: Vec<&Point>, apparatus: &Apparatus, geometry: &Geometry<'_>) -> Option<Self> {
        let measured = slope(&points);
        let (constant_t_per_a, has_slope) = match (measured, geometry.constant_t_per_a) {
            (Some((slope, pairs)), None) => (slope, pairs >= FEWEST * (FEWEST - 1) / 2),
            (Some((slope, pairs)), Some(computed)) => {
                // few rows can't outvote a slip among them: then sizes and turns judge
                let is_firm = pairs >= FEWEST * (FEWEST - 1) / 2;
                (if is_firm { slope } else { computed * slope.signum() }, is_firm)
            }
            (None, Some(computed)) => (computed, false),
            (None, None) => (0.0, false),
        };
        if !has_slope
            && geometry.constant_t_per_a.is_none()
            && points.iter().any(|point| point.drive_a != 0.0)
        {
            return None;
        }
        let count = points.iter().map(|point| point.group + 1).max()?;
        let rest = |point: &Point| point.read_t - constant_t_per_a * point.drive_a;
        let offsets_t: Vec<f64> = (0..count)
            .map(|group| {
                offset(points.iter().filter(|point| point.group == group).map(|point| rest(point)).collect())
            })
            .collect();
        let largest = exceeded_by_few(&points, constant_t_per_a);
        let largest_a = largest / constant_t_per_a.abs().max(f64::MIN_POSITIVE);
        let mut line = Self { constant_t_per_a, has_slope, offsets_t, spread_t: 0.0, largest_a };
        let residuals: Vec<f64> = points.iter().map(|point| line.residual_t(point)).collect();
        let seen = mad_scale(&residuals, 0.0).unwrap_or(0.0);
        let noise = apparatus.probe.per_reading_u.hypot(constant_t_per_a * apparatus.ammeter.per_reading_u);
        let few = if has_slope { 0.0 } else { 0.1 * largest };
        line.spread_t = seen.max(noise).max(LEAST_SHARE * largest).max(few);
        Some(line)
    }

    fn residual_t(&self, point: &Point) -> f64 {
        let offset = self.offsets_t.get(point.group).copied().unwrap_or(0.0);
        point.read_t - self.constant_t_per_a * point.drive_a - offset
    }

    fn allowed_t(&self, point: &Point) -> f64 {
        FAR_SPREADS * self.spread_t + 3.0 * (self.constant_t_per_a * point.slack_a).abs()
    }

    fn is_far(&self, point: &Point, all: &[&Point]) -> bool {
        let offset = self.offsets_t.get(point.group).copied().unwrap_or(0.0);
        if !point.read_t.is_finite()
            || offset.abs() > LARGEST_OFFSET_T && offset.abs() > self.spread_t * FAR_SPREADS
        {
            return true;
        }
        let own = self.residual_t(point).abs();
        let allowed = self.allowed_t(point);
        own > allowed && (own > FAR_BEYOND * allowed || own > ABOVE_NEIGHBOURS * self.beside_t(point, all))
    }

    /// The smaller residual of the two rows next in current and place of the same group, T.
    fn beside_t(&self, point: &Point, all: &[&Point]) -> f64 {
        let apart = |other: &Point| {
            let currents = (other.current_a - point.current_a) / self.largest_a.max(f64::MIN_POSITIVE);
            currents.hypot((other.at_m - point.at_m).norm() / PLACES_M)
        };
        let mut others: Vec<(f64, f64)> = all
            .iter()
            .filter(|other| !std::ptr::eq(**other, point) && other.group == point.group)
            .map(|other| (apart(other), self.residual_t(other).abs()))
            .collect();
        others.sort_by(|a, b| a.0.total_cmp(&b.0));
        others.iter().take(2).map(|other| other.1).reduce(f64::min).unwrap_or(0.0)
    }

    fn named(&self, row: &Placed<ProbeDatum>, point: &Point) -> RejectedRow {
        let datum = &row.datum;
        let offset = self.offsets_t.get(point.group).copied().unwrap_or(0.0);
        let offset = if offset.abs() > LARGEST_OFFSET_T { 0.0 } else { offset };
        let relative = if datum.current_read_a == 0.0 { 0.0 } else { point.drive_a / datum.current_read_a };
        let expected = |current_a: f64| self.constant_t_per_a * relative * current_a + offset;
        let near = 2.0 * self.spread_t + (self.constant_t_per_a * point.slack_a).abs();
        let is_off = datum.current_read_a == 0.0;
        let fits = |mended: &mend::Mended| {
            let allowed =
                if is_off { near.max(0.15e-3) } else { near.max(0.01 * expected(mended.current_a).abs()) };
            (mended.flux_density_t - expected(mended.current_a)).abs() <= allowed
        };
        let all = mend::slips(datum.current_read_a, datum.flux_density_read_t);
        let is_inside = |mended: &&mend::Mended| mended.current_a.abs() <= 1.1 * self.largest_a;
        let fitting = || all.iter().filter(|mended| fits(mended));
        let cause = fitting().find(is_inside).or_else(|| fitting().next());
        let cause = cause.map_or_else(String::new, |mended| format!("; as if {}", mended.words));
        let expected = if is_off {
            "with the coils off the other rows and the Earth's field lead one to expect far less".to_owned()
        } else {
            format!("the other rows lead one to expect {}", mend::millitesla(expected(datum.current_read_a)))
        };
        RejectedRow {
            file: row.file.clone(),
            line: row.line,
            sentence: format!(
                "the probe reads {} where {expected}{cause}",
                mend::millitesla(datum.flux_density_read_t)
            ),
        }
    }
}

/// The offset of one group: its median; of two rows the one nearer to none, since a background is small.
fn offset(mut rests: Vec<f64>) -> f64 {
    rests.sort_by(|a, b| a.abs().total_cmp(&b.abs()));
    if rests.len() <= 2 { rests.first().copied().unwrap_or(0.0) } else { median(&mut rests).unwrap_or(0.0) }
}

/// A field that most rows stay below, T.
fn exceeded_by_few(points: &[&Point], constant_t_per_a: f64) -> f64 {
    let mut fields: Vec<f64> = points.iter().map(|point| (constant_t_per_a * point.drive_a).abs()).collect();
    fields.sort_by(f64::total_cmp);
    let most = (0.8 * fields.len() as f64) as usize;
    fields.get(most.min(fields.len().saturating_sub(1))).copied().unwrap_or(0.0)
}

/// The slope that half of the pairs of rows lie below, weighted by how far apart their currents are (Sen, J. Am. Stat. Assoc.
/// 63 (1968) 1379), and the number of pairs; stays right while fewer than about 29 % of the rows are wrong.
fn slope(points: &[&Point]) -> Option<(f64, usize)> {
    let mut currents: Vec<f64> = points.iter().map(|point| point.current_a.abs()).collect();
    currents.sort_by(f64::total_cmp);
    let widest = currents.get(currents.len() / 2).copied().unwrap_or(0.0);
    // rows with the coils off fix the offsets; for the slope they are needed only where there are few others
    let live = slopes(points.iter().filter(|point| point.current_a != 0.0).copied().collect(), widest);
    let pairs = if live.len() >= FEWEST * (FEWEST - 1) / 2 { live } else { slopes(points.to_vec(), widest) };
    let count = pairs.len();
    weighted_median(pairs).map(|slope| (slope, count))
}

/// Slopes of all pairs of one group whose currents differ, with their weights.
fn slopes(points: Vec<&Point>, widest: f64) -> Vec<(f64, f64)> {
    let mut pairs = Vec::new();
    for (index, first) in points.iter().enumerate() {
        for second in points.iter().skip(index + 1).filter(|second| second.group == first.group) {
            let apart = second.drive_a - first.drive_a;
            // places alone tell of the coils' shape, not of their constant
            let currents = (second.current_a - first.current_a).abs();
            if currents > 0.1 * widest && apart.abs() > 0.1 * widest && apart != 0.0 {
                // a row with its decimal point wrong must not outweigh the others
                pairs.push(((second.read_t - first.read_t) / apart, apart.abs().min(2.0 * widest)));
            }
        }
    }
    pairs
}
