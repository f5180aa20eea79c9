//! What a person types into a field of the bench, as the file writes it: the field's unit where none was typed, a decimal
//! point for a decimal comma.

use super::bench::KeyForm;

/// The unit that a bare number in a field of the bench file is taken to have; empty for a key without unit.
pub fn unit_of(table: &str, key: &str) -> &'static str {
    match (table, key) {
        (_, "mean_radius" | "mean_half_side" | "separation" | "winding_radial" | "winding_axial") => "mm",
        (_, "muzzle" | "muzzle_uncertainty" | "beam_width") => "mm",
        (_, "outer_radius" | "glass_thickness" | "clearance" | "spacing" | "offset") => "mm",
        (_, "current_limit") | ("meters.current", "resolution" | "noise" | "zero" | "full_scale") => "A",
        (_, "voltage_limit" | "voltage_minimum" | "voltage_offset") => "V",
        ("meters.voltage", "resolution" | "noise" | "zero" | "full_scale") => "V",
        ("meters.probe", "resolution" | "noise" | "zero" | "full_scale") => "mT",
        (_, "field_per_ampere") => "mT/A",
        (_, "direction_uncertainty" | "latitude" | "longitude" | "axis_bearing") => "deg",
        (_, "of_reading" | "relative_uncertainty") => "%",
        (_, "height" | "distance") => "m",
        (_, "background") => "uT",
        ("bulb", "pressure") => "Pa",
        ("gun", "mass") => "kg",
        _ => "",
    }
}

/// What was typed into a field, with the field's unit and a decimal point.
///
/// - **Takes** `150,5`, `150 ± 0,5`, `150.0(5)`, or anything that has a unit already, which stays as it is.
pub(super) fn as_written(typed: &str, unit: &str, form: KeyForm) -> String {
    match form {
        KeyForm::Text if unit.is_empty() => {
            let is_number = typed.chars().all(|c| c.is_ascii_digit() || " .,()±+-".contains(c));
            if is_number { with_points(typed) } else { typed.to_owned() }
        }
        KeyForm::Text => with_unit(&with_points(typed), unit),
        KeyForm::ThreeTexts => {
            three(typed).iter().map(|part| with_unit(part, unit)).collect::<Vec<_>>().join(", ")
        }
        KeyForm::ThreeNumbers => three(typed).join(", "),
        KeyForm::Integer | KeyForm::Date | KeyForm::YesNo => typed.to_owned(),
    }
}

/// The three parts of a list: parted by semicolons, by commas before a blank, or by every comma.
fn three(typed: &str) -> Vec<String> {
    let parted =
        |separator: &str| typed.split(separator).map(|part| part.trim().to_owned()).collect::<Vec<_>>();
    let parts = [";", ", ", ","].into_iter().map(parted).find(|parts| parts.len() == 3);
    parts.unwrap_or_else(|| parted(",")).iter().map(|part| with_points(part)).collect()
}

/// A comma between two digits becomes a point.
fn with_points(text: &str) -> String {
    let letters: Vec<char> = text.chars().collect();
    let is_digit = |at: usize| letters.get(at).is_some_and(char::is_ascii_digit);
    let one = |(at, letter): (usize, &char)| {
        let is_decimal = *letter == ',' && at > 0 && is_digit(at - 1) && is_digit(at + 1);
        if is_decimal { '.' } else { *letter }
    };
    letters.iter().enumerate().map(one).collect()
}

/// The unit after the value, where neither value nor uncertainty has one.
fn with_unit(text: &str, unit: &str) -> String {
    let at = text
        .find("±")
        .or_else(|| text.find("+-"))
        .or_else(|| text.find("+/-"))
        .or_else(|| text.find("(limit)"));
    let (value, rest) = text.split_at(at.unwrap_or(text.len()));
    let rest_has_unit = rest.replace("(limit)", "").chars().any(|c| c.is_alphabetic() || c == '°');
    let is_bare = value.chars().any(|c| c.is_ascii_digit())
        && value.chars().all(|c| c.is_ascii_digit() || " .+-−()eE×*^⁻⁰¹²³⁴⁵⁶⁷⁸⁹".contains(c));
    if !is_bare || rest_has_unit {
        return text.to_owned();
    }
    let blank = if rest.is_empty() { "" } else { " " };
    format!("{} {unit}{blank}{rest}", value.trim_end())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_bare_number_takes_the_field_s_unit_and_a_point() {
        for (typed, written) in [
            ("150", "150 mm"),
            ("150,5", "150.5 mm"),
            ("150,0(5)", "150.0(5) mm"),
            ("150 ± 0,5", "150 mm ± 0.5"),
            ("150 +- 0.5", "150 mm +- 0.5"),
            ("150 ± 1 (limit)", "150 mm ± 1 (limit)"),
            ("150 ± 0,3 %", "150 mm ± 0.3 %"),
            ("150 ± 0.5 mm", "150 ± 0.5 mm"),
            ("15 cm", "15 cm"),
            ("-4,5", "-4.5 mm"),
            ("a lot", "a lot"),
            ("", ""),
        ] {
            assert_eq!(as_written(typed, "mm", KeyForm::Text), written, "{typed}");
        }
        assert_eq!(as_written("0; -36,5; 0", "mm", KeyForm::ThreeTexts), "0 mm, -36.5 mm, 0 mm");
        assert_eq!(as_written("0, -36,5, 0", "mm", KeyForm::ThreeTexts), "0 mm, -36.5 mm, 0 mm");
        assert_eq!(as_written("0,-36,0", "mm", KeyForm::ThreeTexts), "0 mm, -36 mm, 0 mm");
        assert_eq!(as_written("1,48(2)", "", KeyForm::Text), "1.48(2)");
        assert_eq!(as_written("Bench 1, left", "", KeyForm::Text), "Bench 1, left");
    }

    #[test]
    fn what_is_written_so_can_be_read() {
        for place in super::super::bench_keys().iter().filter(|place| place.form == KeyForm::Text) {
            let unit = unit_of(place.table, place.key);
            if unit.is_empty() {
                continue;
            }
            let typed = as_written("1,5", unit, place.form);
            assert!(arcmass_quantity::unit::parse(unit).is_ok() || unit == "%", "{place:?}: {typed}");
        }
    }
}
