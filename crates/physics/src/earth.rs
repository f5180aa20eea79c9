//! Earth's main field from the World Magnetic Model 2025, and the background it makes on the bench.
//!
//! The coefficients are U.S. Government material (NOAA NCEI with the British Geological Survey), in the public domain;
//! see `reference/README.md` for the notice.

use std::sync::OnceLock;

use crate::vec3::Vec3;

/// Coefficients as released: degree, order, g, h in nT and their change a year.
const TABLE: &str = include_str!("../../../reference/wmm2025_coefficients.csv");
const DEGREE: usize = 12;
/// The model's epoch and the end of its validity, decimal years.
pub const VALID_FROM: f64 = 2025.0;
/// End of the model's validity, decimal year.
pub const VALID_TO: f64 = 2030.0;
/// Heights the model is offered for, kilometres above the ellipsoid.
const HEIGHT_KM: std::ops::RangeInclusive<f64> = -1.0..=850.0;
const REFERENCE_RADIUS_KM: f64 = 6371.2;
/// WGS 84.
const SEMI_MAJOR_KM: f64 = 6378.137;
const FLATTENING: f64 = 1.0 / 298.257_223_563;

/// Why Earth's field can't be given.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum EarthError {
    /// The date is outside the model.
    #[error(
        "the World Magnetic Model 2025 holds from 2025.0 to 2030.0; got {0:.3}; \
         state the background itself (a measured one, or from a model of that time)"
    )]
    DateOutside(f64),
    /// The calendar date does not exist.
    #[error("a date needs a month from 1 to 12 and a day of that month; got {year}-{month}-{day}")]
    NoSuchDate {
        /// Year.
        year: i32,
        /// Month.
        month: u32,
        /// Day.
        day: u32,
    },
    /// A coordinate is out of range.
    #[error("{what} must be {must}; got {got}")]
    OutOfRange {
        /// Which coordinate, with its unit.
        what: &'static str,
        /// What it must be.
        must: &'static str,
        /// What was found.
        got: f64,
    },
}

/// A place on WGS 84.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Place {
    /// Geodetic latitude, north positive.
    pub latitude_deg: f64,
    /// Longitude, east positive.
    pub longitude_deg: f64,
    /// Height above the ellipsoid.
    pub height_m: f64,
}

/// Components towards geographic north, east and down; tesla, or tesla a year for the change.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct NorthEastDown {
    /// Towards true north.
    pub north: f64,
    /// Towards east.
    pub east: f64,
    /// Downwards.
    pub down: f64,
}

impl NorthEastDown {
    /// Components from strength, inclination (below the horizon) and declination (east of true north).
    pub fn from_strength(strength: f64, inclination_deg: f64, declination_deg: f64) -> Self {
        let (i, d) = (inclination_deg.to_radians(), declination_deg.to_radians());
        Self {
            north: strength * i.cos() * d.cos(),
            east: strength * i.cos() * d.sin(),
            down: strength * i.sin(),
        }
    }

    /// Horizontal strength.
    pub fn horizontal(&self) -> f64 {
        self.north.hypot(self.east)
    }

    /// Strength.
    pub fn strength(&self) -> f64 {
        self.horizontal().hypot(self.down)
    }

    /// Inclination below the horizon, degrees.
    pub fn inclination_deg(&self) -> f64 {
        self.down.atan2(self.horizontal()).to_degrees()
    }

    /// Declination east of true north, degrees.
    pub fn declination_deg(&self) -> f64 {
        self.east.atan2(self.north).to_degrees()
    }

    /// The same field in the bench's frame: y up, z horizontal along the true bearing `axis_bearing_deg` (clockwise from
    /// north), x completing the right-handed frame.
    pub fn on_bench(&self, axis_bearing_deg: f64) -> Vec3 {
        let (sine, cosine) = axis_bearing_deg.to_radians().sin_cos();
        Vec3::new(self.north * sine - self.east * cosine, -self.down, self.north * cosine + self.east * sine)
    }
}

/// Earth's main field at a place and time.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct EarthField {
    /// The field, tesla.
    pub field_t: NorthEastDown,
    /// Its change, tesla a year.
    pub change_t_per_year: NorthEastDown,
}

/// Standard uncertainty of the model against the field at the ground, tesla (north, east, down): what it leaves out of the
/// crust's field and of the currents above. Buildings come on top, and are usually more.
///
/// **Source** The US/UK World Magnetic Model for 2025–2030, technical report, error model table.
pub const STANDARD_UNCERTAINTY_T: NorthEastDown = NorthEastDown { north: 137e-9, east: 89e-9, down: 141e-9 };

/// Standard uncertainty of each component in the bench's frame, tesla.
pub fn standard_uncertainty_on_bench_t(axis_bearing_deg: f64) -> Vec3 {
    let (sine, cosine) = axis_bearing_deg.to_radians().sin_cos();
    let u = STANDARD_UNCERTAINTY_T;
    Vec3::new((u.north * sine).hypot(u.east * cosine), u.down, (u.north * cosine).hypot(u.east * sine))
}

/// The decimal year of a calendar day (its beginning).
pub fn decimal_year(year: i32, month: u32, day: u32) -> Result<f64, EarthError> {
    let leap = (year % 4 == 0 && year % 100 != 0) || year % 400 == 0;
    let days = [31, if leap { 29 } else { 28 }, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31];
    let fault = EarthError::NoSuchDate { year, month, day };
    let index = month.checked_sub(1).ok_or(fault.clone())? as usize;
    let in_month = *days.get(index).ok_or(fault.clone())?;
    if day < 1 || day > in_month {
        return Err(fault);
    }
    let before: u32 = days.iter().take(index).sum::<u32>() + day - 1;
    Ok(f64::from(year) + f64::from(before) / if leap { 366.0 } else { 365.0 })
}

/// Earth's main field by the World Magnetic Model 2025.
///
/// `V = a Σ (a/r)^(n+1) (g cos mλ + h sin mλ) P_n^m(cos θ)`, Schmidt semi-normalised, to degree 12, linear in time from 2025.0.
///
/// - **Takes** the place (height −1 … 850 km) and the decimal year, 2025.0 … 2030.0.
/// - **Fails** with [`EarthError::DateOutside`] or [`EarthError::OutOfRange`].
/// - **Source** NOAA NCEI and BGS, World Magnetic Model 2025.
///
/// ```
/// use arcmass_physics::earth::{Place, decimal_year, earth_field};
/// let place = Place { latitude_deg: 52.1, longitude_deg: 4.3, height_m: 20.0 };
/// let here = earth_field(place, decimal_year(2026, 3, 12)?)?;
/// // in north-west Europe some 49 µT, steeply downwards
/// assert!((here.field_t.strength() - 49e-6).abs() < 1e-6 && here.field_t.inclination_deg() > 60.0);
/// // on a bench whose axis z points north-east, y up: what points down is negative along y
/// let background = here.field_t.on_bench(45.0);
/// assert!(background.y < -40e-6);
/// # Ok::<(), arcmass_physics::earth::EarthError>(())
/// ```
pub fn earth_field(place: Place, decimal_year: f64) -> Result<EarthField, EarthError> {
    if !(VALID_FROM..=VALID_TO).contains(&decimal_year) {
        return Err(EarthError::DateOutside(decimal_year));
    }
    check(place)?;
    let height_km = place.height_m * 1e-3;
    let (latitude, longitude) = (place.latitude_deg.to_radians(), place.longitude_deg.to_radians());
    let (sine, cosine) = latitude.sin_cos();
    let e2 = FLATTENING * (2.0 - FLATTENING);
    let across = SEMI_MAJOR_KM / (1.0 - e2 * sine * sine).sqrt();
    let (out, up) = ((across + height_km) * cosine, (across * (1.0 - e2) + height_km) * sine);
    let radius_km = out.hypot(up);
    let (sin_theta, cos_theta) = (out / radius_km, up / radius_km);
    // geocentric less geodetic latitude
    let lean = up.atan2(out) - latitude;
    let sums = sum(radius_km, sin_theta, cos_theta, longitude, decimal_year - VALID_FROM);
    let [field_t, change_t_per_year] = sums.map(|[x, y, z]| NorthEastDown {
        north: 1e-9 * (x * lean.cos() - z * lean.sin()),
        east: 1e-9 * y,
        down: 1e-9 * (x * lean.sin() + z * lean.cos()),
    });
    Ok(EarthField { field_t, change_t_per_year })
}

fn check(place: Place) -> Result<(), EarthError> {
    let out = |what, must, got| Err(EarthError::OutOfRange { what, must, got });
    if !(-90.0..=90.0).contains(&place.latitude_deg) {
        return out("latitude in degrees", "from -90 to 90", place.latitude_deg);
    }
    if !(-360.0..=360.0).contains(&place.longitude_deg) {
        return out("longitude in degrees", "from -360 to 360", place.longitude_deg);
    }
    if !HEIGHT_KM.contains(&(place.height_m * 1e-3)) {
        return out("height in metres", "from -1000 to 850000", place.height_m);
    }
    Ok(())
}

/// One row of the table: degree, order, g, h and their change.
type Row = (usize, usize, [f64; 2], [f64; 2]);

fn table() -> &'static [Row] {
    static ROWS: OnceLock<Vec<Row>> = OnceLock::new();
    ROWS.get_or_init(|| TABLE.lines().filter_map(row).collect())
}

fn row(line: &str) -> Option<Row> {
    let mut fields = line.split(',').map(str::trim);
    let (n, m) = (fields.next()?.parse().ok()?, fields.next()?.parse().ok()?);
    let mut number = || fields.next().and_then(|f| f.parse::<f64>().ok());
    let (g, h, g_dot, h_dot) = (number()?, number()?, number()?, number()?);
    Some((n, m, [g, h], [g_dot, h_dot]))
}

/// Geocentric north, east, down of the field and of its change, nT.
fn sum(radius_km: f64, sin_theta: f64, cos_theta: f64, longitude: f64, years: f64) -> [[f64; 3]; 2] {
    let (p, q) = harmonics(sin_theta, cos_theta);
    let ratio = REFERENCE_RADIUS_KM / radius_km;
    let mut sums = [[0.0; 3]; 2];
    for (n, m, gh, change) in table() {
        let (n, m) = (*n, *m);
        let scale = ratio.powi(n as i32 + 2);
        let (sine, cosine) = (m as f64 * longitude).sin_cos();
        let slope = slope(&p, &q, n, m, cos_theta);
        let now = [gh[0] + years * change[0], gh[1] + years * change[1]];
        for (sum, [g, h]) in sums.iter_mut().zip([now, *change]) {
            let along = g * cosine + h * sine;
            sum[0] += scale * along * slope;
            sum[1] += scale * m as f64 * (g * sine - h * cosine) * q[n][m];
            sum[2] -= scale * (n as f64 + 1.0) * along * p[n][m];
        }
    }
    sums
}

type Triangle = [[f64; DEGREE + 1]; DEGREE + 1];

/// Schmidt semi-normalised `P_n^m`, and `P_n^m / sin θ` for m ≥ 1, which is finite at the poles.
fn harmonics(sin_theta: f64, cos_theta: f64) -> (Triangle, Triangle) {
    let mut p = [[0.0; DEGREE + 1]; DEGREE + 1];
    let mut q = [[0.0; DEGREE + 1]; DEGREE + 1];
    p[0][0] = 1.0;
    q[1][1] = 1.0;
    for m in 2..=DEGREE {
        let k = m as f64;
        q[m][m] = ((2.0 * k - 1.0) / (2.0 * k)).sqrt() * sin_theta * q[m - 1][m - 1];
    }
    for n in 1..=DEGREE {
        for m in 0..n {
            let (a, b) = (n as f64, m as f64);
            let norm = (a * a - b * b).sqrt();
            let back = ((a - 1.0) * (a - 1.0) - b * b).max(0.0).sqrt();
            let step = |t: &Triangle| {
                let older = if n >= 2 { t[n - 2][m] } else { 0.0 };
                ((2.0 * a - 1.0) * cos_theta * t[n - 1][m] - back * older) / norm
            };
            if m == 0 {
                p[n][0] = step(&p);
            } else {
                q[n][m] = step(&q);
            }
        }
        for m in 1..=n {
            p[n][m] = q[n][m] * sin_theta;
        }
    }
    (p, q)
}

/// `dP_n^m/dθ`.
fn slope(p: &Triangle, q: &Triangle, n: usize, m: usize, cos_theta: f64) -> f64 {
    let (a, b) = (n as f64, m as f64);
    if m == 0 {
        return -(0.5 * a * (a + 1.0)).sqrt() * p[n][1];
    }
    let before = if n > m { q[n - 1][m] } else { 0.0 };
    a * cos_theta * q[n][m] - (a * a - b * b).sqrt() * before
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_table_holds_every_degree_and_order() {
        let rows = table();
        assert_eq!(rows.len(), 90);
        for n in 1..=DEGREE {
            for m in 0..=n {
                assert_eq!(rows.iter().filter(|r| (r.0, r.1) == (n, m)).count(), 1, "degree {n} order {m}");
            }
        }
    }

    #[test]
    fn a_date_outside_the_model_is_an_error_that_says_what_to_do() {
        let here = Place { latitude_deg: 52.0, longitude_deg: 4.0, height_m: 0.0 };
        let fault = earth_field(here, 2031.2).unwrap_err();
        assert_eq!(
            fault.to_string(),
            "the World Magnetic Model 2025 holds from 2025.0 to 2030.0; got 2031.200; \
             state the background itself (a measured one, or from a model of that time)"
        );
        assert!(decimal_year(2026, 2, 29).is_err() && decimal_year(2028, 2, 29).is_ok());
        assert_eq!(decimal_year(2026, 1, 1), Ok(2026.0));
    }

    #[test]
    fn the_bench_frame_is_right_handed_with_y_up() {
        let f = NorthEastDown { north: 1.0, east: 2.0, down: 3.0 };
        // axis to the north: z is north, x is west
        assert!((f.on_bench(0.0) - Vec3::new(-2.0, -3.0, 1.0)).norm() < 1e-15);
        // axis to the east: z is east, x is north
        assert!((f.on_bench(90.0) - Vec3::new(1.0, -3.0, 2.0)).norm() < 1e-15);
        assert!((f.on_bench(37.0).norm() - f.strength()).abs() < 1e-15);
    }

    #[test]
    fn the_field_is_finite_and_continuous_at_the_poles() {
        let at = |latitude_deg: f64| {
            let place = Place { latitude_deg, longitude_deg: 33.0, height_m: 0.0 };
            earth_field(place, 2026.0).unwrap().field_t
        };
        let (pole, beside) = (at(90.0), at(89.999_99));
        assert!((pole.strength() - beside.strength()).abs() < 1e-9 && pole.strength() > 5e-5);
        assert!((pole.north - beside.north).abs() < 1e-8);
    }
}
