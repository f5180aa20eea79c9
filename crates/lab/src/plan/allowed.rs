//! Settings within every rating: a proposal beyond one can't be built.

use arcmass_notebook::{Bench, Meter};

use crate::desk::LabError;

/// What gun and coils bear, as their meters show it at the worst: the rating less what the meter may read too low.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Ratings {
    voltage_limit_v: f64,
    current_limit_a: f64,
    highest_reading_v: f64,
    highest_reading_a: f64,
}

/// One setting that keeps every rating. Only [`Ratings::allow`] makes one.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct AllowedSetting {
    voltage_v: f64,
    current_a: f64,
}

/// Why a setting is not allowed.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum Beyond {
    /// Above the gun's rating.
    #[error("{found} V may be above the gun's rating of {limit} V once the meter's own limits are counted")]
    Voltage {
        /// As asked.
        found: f64,
        /// As stated.
        limit: f64,
    },
    /// Above the coils' rating.
    #[error("{found} A may be above the coils' rating of {limit} A once the meter's own limits are counted")]
    Current {
        /// As asked.
        found: f64,
        /// As stated.
        limit: f64,
    },
    /// Not above 0.
    #[error("a setting must be above 0, got {0}")]
    NotPositive(f64),
}

impl Ratings {
    /// The ratings of a bench.
    ///
    /// - **Fails** where one of the two is not stated: nothing can then be proposed.
    pub fn of(bench: &Bench) -> Result<Self, LabError> {
        let voltage = bench.gun.as_ref().and_then(|gun| gun.voltage_limit_v);
        let current = bench.pair.as_ref().and_then(|pair| pair.current_limit_a);
        match (voltage, current) {
            (Some(voltage_limit_v), Some(current_limit_a)) => Ok(Self {
                voltage_limit_v,
                current_limit_a,
                highest_reading_v: highest(voltage_limit_v, bench.meters.voltage.as_ref()),
                highest_reading_a: highest(current_limit_a, bench.meters.current.as_ref()),
            }),
            (voltage, current) => Err(LabError::lacking(
                "bench.toml",
                format!(
                    "settings are proposed only within stated ratings, and {} not stated",
                    match (voltage, current) {
                        (None, None) => "voltage_limit under [gun] and current_limit under [coils] are",
                        (None, _) => "voltage_limit under [gun] is",
                        _ => "current_limit under [coils] is",
                    }
                ),
                "read the ratings from the tube's and the coils' own sheets and write them down, as in \
                 `voltage_limit = \"300 V\"` under [gun] and `current_limit = \"2 A\"` under [coils]",
            )),
        }
    }

    /// The setting, if neither reading can stand for more than its rating.
    pub fn allow(&self, voltage_v: f64, current_a: f64) -> Result<AllowedSetting, Beyond> {
        for value in [voltage_v, current_a] {
            if !(value > 0.0 && value.is_finite()) {
                return Err(Beyond::NotPositive(value));
            }
        }
        if voltage_v > self.highest_reading_v {
            return Err(Beyond::Voltage { found: voltage_v, limit: self.voltage_limit_v });
        }
        if current_a > self.highest_reading_a {
            return Err(Beyond::Current { found: current_a, limit: self.current_limit_a });
        }
        Ok(AllowedSetting { voltage_v, current_a })
    }

    /// Of the gun, V.
    pub fn voltage_limit_v(&self) -> f64 {
        self.voltage_limit_v
    }

    /// Of each coil, A.
    pub fn current_limit_a(&self) -> f64 {
        self.current_limit_a
    }

    /// Highest reading that is surely within the gun's rating, V.
    pub fn highest_reading_v(&self) -> f64 {
        self.highest_reading_v
    }

    /// Highest reading that is surely within the coils' rating, A.
    pub fn highest_reading_a(&self) -> f64 {
        self.highest_reading_a
    }
}

/// Reading r whose largest true value r (1 + gain) + zero is the rating.
fn highest(limit: f64, meter: Option<&Meter>) -> f64 {
    let known = meter.filter(|meter| meter.has_accuracy());
    let class = crate::assume::DEFAULT_METER_CLASS;
    let (gain, zero) = match (known, meter.and_then(|meter| meter.full_scale)) {
        (Some(meter), _) => {
            (meter.of_reading.unwrap_or(0.0), meter.digits.unwrap_or(0.0) * meter.resolution.unwrap_or(0.0))
        }
        (None, Some(full_scale)) => (0.0, class * full_scale),
        (None, None) => (class, 0.0),
    };
    ((limit - zero) / (1.0 + gain)).max(0.0)
}

impl AllowedSetting {
    /// As the voltmeter is to read, V.
    pub fn voltage_v(&self) -> f64 {
        self.voltage_v
    }

    /// As the ammeter is to read, A.
    pub fn current_a(&self) -> f64 {
        self.current_a
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn ratings() -> Ratings {
        let meter =
            Meter { of_reading: Some(0.01), digits: Some(3.0), resolution: Some(0.01), ..Meter::default() };
        Ratings {
            voltage_limit_v: 300.0,
            current_limit_a: 2.0,
            highest_reading_v: highest(300.0, Some(&Meter { of_reading: Some(0.0), ..Meter::default() })),
            highest_reading_a: highest(2.0, Some(&meter)),
        }
    }

    #[test]
    fn a_setting_beyond_a_rating_is_not_built() {
        let ratings = ratings();
        assert!(ratings.allow(300.0, 1.5).is_ok());
        assert_eq!(ratings.allow(300.1, 1.5), Err(Beyond::Voltage { found: 300.1, limit: 300.0 }));
        assert_eq!(ratings.allow(200.0, 2.1), Err(Beyond::Current { found: 2.1, limit: 2.0 }));
        assert!(ratings.allow(-1.0, 1.0).is_err() && ratings.allow(200.0, f64::NAN).is_err());
    }

    #[test]
    fn the_meter_s_own_limits_are_kept_from_the_rating() {
        // 1.95 A read may be 1.95 · 1.01 + 0.03 = 1.9995 A; 1.96 A may be 2.0096 A
        assert!(ratings().allow(200.0, 1.95).is_ok());
        assert!(ratings().allow(200.0, 1.96).is_err());
        // without a data sheet a meter is of class 2.5
        assert!((highest(300.0, None) - 300.0 / 1.025).abs() < 1e-9);
        let full = Meter { full_scale: Some(400.0), ..Meter::default() };
        assert!((highest(300.0, Some(&full)) - 290.0).abs() < 1e-9);
    }
}
