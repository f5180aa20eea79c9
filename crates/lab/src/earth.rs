//! The Earth's field at the bench's place and date, in the bench's frame.

use arcmass_notebook::Place;
use arcmass_physics::earth::{self, decimal_year, earth_field, standard_uncertainty_on_bench_t};

use crate::assume::Known;
use crate::desk::LabError;
use crate::spread::Spread;

/// Background along +x, +y, +z from the World Magnetic Model, with the model's published uncertainty.
///
/// Steel in a building changes the field by far more than that; the probe's zero-current readings, where there are any,
/// then show it.
///
/// - **Fails** for a date outside the model's years or a place off the Earth.
pub fn background(place: &Place) -> Result<[Known; 3], LabError> {
    let bad = |fault: earth::EarthError| {
        LabError::lacking(
            "bench.toml",
            fault.to_string(),
            "check latitude, longitude, height and date under [surroundings]",
        )
    };
    let year =
        decimal_year(i32::from(place.date.year), u32::from(place.date.month), u32::from(place.date.day))
            .map_err(bad)?;
    let at = earth::Place {
        latitude_deg: place.latitude.value.to_degrees(),
        longitude_deg: place.longitude.value.to_degrees(),
        height_m: place.height.as_ref().map_or(0.0, |height| height.value),
    };
    let bearing_deg = place.axis_bearing.value.to_degrees();
    let field = earth_field(at, year).map_err(bad)?.field_t;
    let (b, u) = (field.on_bench(bearing_deg), standard_uncertainty_on_bench_t(bearing_deg));
    // an uncertain bearing turns the horizontal part from x to z and back
    let bearing_u = place.axis_bearing.standard_uncertainty().unwrap_or(0.0);
    let known = |value: f64, own: f64, turned: f64| Known {
        value,
        spread: Spread::Normal(own.hypot(turned * bearing_u)),
    };
    Ok([known(b.x, u.x, b.z), known(b.y, u.y, 0.0), known(b.z, u.z, b.x)])
}

#[cfg(test)]
mod tests {
    use super::*;
    use arcmass_notebook::Date;
    use arcmass_quantity::{dimension, text};

    fn place(year: u16) -> Place {
        let angle = |text: &str| text::parse(text, dimension::ANGLE).unwrap();
        Place {
            latitude: angle("80 deg"),
            longitude: angle("0 deg"),
            height: None,
            date: Date { year, month: 1, day: 1 },
            axis_bearing: angle("0 deg"),
        }
    }

    #[test]
    fn a_bench_facing_north_has_north_along_z_and_down_along_minus_y() {
        // WMM2025 published test value: X 6521.6, Y 145.9, Z 54791.5 nT at 80° N, 0° E, height 0, 2025.0
        let [x, y, z] = background(&place(2025)).unwrap();
        assert!((z.value - 6521.6e-9).abs() < 0.1e-9);
        assert!((y.value + 54791.5e-9).abs() < 0.1e-9);
        assert!((x.value + 145.9e-9).abs() < 0.1e-9, "west is +x: {}", x.value);
    }

    #[test]
    fn a_date_outside_the_model_is_an_error_that_names_the_years() {
        let said = background(&place(2031)).unwrap_err().to_string();
        assert!(said.contains("2025") && said.contains("2030"), "{said}");
    }
}
