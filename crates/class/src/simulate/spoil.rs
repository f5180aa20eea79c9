//! Each slip done to a simulated group, from its definition.

use rand::Rng;

use super::bench::SimBench;
use super::class::Layout;
use super::group::{Sheet, TrueSlip};
use super::random::{chance, normal, pick, sign, uniform};

/// How the simulated group works; right unless spoilt.
#[derive(Debug, Clone)]
pub(super) struct Sum {
    pub(super) field_times: f64,
    pub(super) field_is_per_ampere: bool,
    pub(super) field_used_times: f64,
    pub(super) radius_times: f64,
    pub(super) voltage_times: f64,
    pub(super) mass_times: f64,
    pub(super) field_power: i32,
    pub(super) radius_power: i32,
    pub(super) speed_times: f64,
    pub(super) uses_accepted_speed: bool,
    pub(super) weights: i32,
    pub(super) through_origin: bool,
    pub(super) upside_down: bool,
    pub(super) result: &'static str,
    pub(super) column_times: f64,
    pub(super) column_is_used: bool,
}

impl Default for Sum {
    fn default() -> Self {
        Self {
            field_times: 1.0,
            field_is_per_ampere: false,
            field_used_times: 1.0,
            radius_times: 1.0,
            voltage_times: 1.0,
            mass_times: 1.0,
            field_power: 2,
            radius_power: 2,
            speed_times: 1.0,
            uses_accepted_speed: false,
            weights: 0,
            through_origin: false,
            upside_down: false,
            result: "",
            column_times: 1.0,
            column_is_used: false,
        }
    }
}

/// A slip done: what is true of it, what equals it, whether its trace is too small.
pub(super) struct Done {
    pub(super) slip: TrueSlip,
    pub(super) equal: Vec<&'static str>,
    pub(super) is_subtle: bool,
}

fn done(code: &'static str, place: &'static str) -> Option<Done> {
    Some(Done { slip: TrueSlip { code, place, rows: None }, equal: Vec::new(), is_subtle: false })
}

/// Slips of the table.
pub(super) const READING: [&str; 17] = [
    "diameter-as-radius",
    "radius-in-diameter-column",
    "total-current",
    "half-current",
    "columns-swapped",
    "unit-current",
    "unit-voltage",
    "unit-length",
    "range-factor-ten",
    "outer-edge",
    "inner-edge",
    "scale-zero",
    "one-side-of-scale",
    "parallax",
    "chord-not-diameter",
    "digits-transposed",
    "one-row-differs",
];

/// Slips of the sum.
pub(super) const WORKING: [&str; 27] = [
    "diameter-as-radius",
    "radius-halved-twice",
    "double-field",
    "half-field",
    "single-loop-field",
    "pair-factor-omitted",
    "pair-factor-inverted",
    "pair-factor-wrong-power",
    "closed-form-power",
    "factor-two-omitted",
    "factor-two-twice",
    "field-not-squared",
    "radius-not-squared",
    "field-per-ampere-as-field",
    "unit-current",
    "unit-voltage",
    "unit-length",
    "unit-field",
    "unit-field",
    "vacuum-permeability",
    "inner-coil-radius",
    "accepted-mass-used",
    "ratio-for-mass",
    "exponent-sign",
    "slope-inverted",
    "slope-through-origin",
    "weights-not-squared",
];

/// Writes the table wrong; `carried` says whether the sum starts from what is written.
pub(super) fn reading<R: Rng>(
    rng: &mut R,
    code: &'static str,
    sheet: &mut Sheet,
    bench: &SimBench,
    layout: &Layout,
    is_carried: bool,
) -> Option<Done> {
    let mut result = done(code, "reading")?;
    let n = sheet.voltage.len();
    let all = |list: &mut Vec<f64>, factor: f64| list.iter_mut().for_each(|x| *x *= factor);
    match code {
        "diameter-as-radius" if layout.is_radius => {
            // unless the true rings, taken for radii once more, would not fit the bulb
            let fits = sheet.diameter.iter().all(|d| 2.0 * d < 115.0);
            all(&mut sheet.diameter, 2.0);
            if fits && (is_carried || !layout.has_field()) {
                result.equal.push("total-current");
            }
        }
        "radius-in-diameter-column" if !layout.is_radius => all(&mut sheet.diameter, 0.5),
        "total-current" => {
            all(&mut sheet.current, 2.0);
            let bears = sheet.current.iter().all(|i| *i < 5.0);
            if layout.is_radius && bears && (is_carried || !layout.has_field()) {
                result.equal.push("diameter-as-radius");
            }
        }
        "half-current" => all(&mut sheet.current, 0.5),
        "columns-swapped" => {
            // the numbers change places, whatever the units above them
            let (volt, ampere) = (layout.voltage_unit, layout.current_unit);
            for (v, i) in sheet.voltage.iter_mut().zip(&mut sheet.current) {
                (*v, *i) = (*i / ampere * volt, *v / volt * ampere);
            }
        }
        "unit-current" => {
            let factor = if layout.current_unit == 1.0 { 1e3 } else { 1e-3 };
            all(&mut sheet.current, factor);
        }
        "unit-voltage" => {
            let factor = if layout.voltage_unit == 1.0 { 1e-3 } else { 1e3 };
            all(&mut sheet.voltage, factor);
        }
        "unit-length" => {
            let others: &[f64] = if layout.length_unit == 1.0 { &[0.1, 1e-3] } else { &[10.0, 0.01] };
            all(&mut sheet.diameter, *pick(rng, others));
        }
        "range-factor-ten" => {
            let factor = if chance(rng, 0.5) { 10.0 } else { 0.1 };
            let which = *pick(rng, &[0, 1, 2]);
            let from = match *pick(rng, &[0, 1, 2]) {
                0 => 0..n,
                1 if n > 3 => {
                    let from = 1 + (uniform(rng, 0.0, n as f64 - 2.0) as usize);
                    from..n
                }
                _ => {
                    let row = uniform(rng, 0.0, n as f64) as usize;
                    row.min(n - 1)..row.min(n - 1) + 1
                }
            };
            let is_unit = (factor - 0.1 * layout.length_unit / layout.length_unit).abs() < 1e-12
                && layout.length_unit == 1.0
                || factor > 1.0 && layout.length_unit > 1.0;
            if which == 2 && from.len() == n && is_unit {
                result.slip.code = "unit-length";
            }
            let list = match which {
                0 => &mut sheet.voltage,
                1 => &mut sheet.current,
                _ => &mut sheet.diameter,
            };
            from.clone().for_each(|row| list[row] *= factor);
            if from.len() < n {
                result.slip.rows = Some(from.collect());
            }
        }
        "outer-edge" | "inner-edge" => {
            let sign = if code == "outer-edge" { 1.0 } else { -1.0 };
            let width = bench.beam_width_mm + 0.2 * normal(rng);
            sheet.diameter.iter_mut().for_each(|d| *d += sign * (width + 0.05 * normal(rng)));
            result.is_subtle = true;
        }
        "scale-zero" => {
            sheet.diameter.iter_mut().for_each(|d| *d += 10.0);
            result.is_subtle = is_alike(sheet, 10.0);
        }
        "one-side-of-scale" => {
            let shift = sign(rng) * uniform(rng, 4.0, 18.0);
            sheet.diameter.iter_mut().for_each(|d| *d += shift);
            let near_ten = (shift - 10.0).abs() < 2.0;
            let near_width = (shift.abs() - bench.beam_width_mm).abs() < 2.0;
            result.is_subtle = near_ten || near_width || is_alike(sheet, shift);
        }
        "parallax" => {
            let ratio = 1.0 + sign(rng) * uniform(rng, 0.03, 0.12);
            all(&mut sheet.diameter, ratio);
            let shift = (ratio - 1.0) * sheet.diameter.iter().sum::<f64>() / n as f64;
            result.is_subtle = is_alike(sheet, shift);
        }
        "chord-not-diameter" => {
            let typical = uniform(rng, 0.15, 0.45);
            sheet.diameter.iter_mut().for_each(|d| {
                let beside = (typical * uniform(rng, 0.3, 1.4)).min(0.8);
                *d *= (1.0 - beside * beside).sqrt();
            });
            result.is_subtle = true;
        }
        "digits-transposed" => {
            let row = (uniform(rng, 0.0, n as f64) as usize).min(n - 1);
            let which = *pick(rng, &[0, 1, 2, 2]);
            let (list, unit, decimals) = match which {
                0 => (&mut sheet.voltage, layout.voltage_unit, layout.voltage_decimals()),
                1 => (&mut sheet.current, layout.current_unit, layout.current_decimals()),
                _ => (&mut sheet.diameter, layout.length_in_mm(), layout.length_decimals()),
            };
            let text = format!("{:.*}", decimals, list[row] / unit);
            let figures: Vec<usize> =
                text.char_indices().filter(|c| c.1.is_ascii_digit()).map(|c| c.0).collect();
            let at =
                (uniform(rng, 0.0, figures.len() as f64 - 1.0) as usize).min(figures.len().saturating_sub(2));
            let mut bytes = text.clone().into_bytes();
            bytes.swap(*figures.get(at)?, *figures.get(at + 1)?);
            if bytes.first() == Some(&b'0') && text.as_bytes().first() != Some(&b'0') {
                return None;
            }
            let other: f64 = String::from_utf8(bytes).ok()?.parse().ok()?;
            if other <= 0.0 || other * unit == list[row] {
                return None;
            }
            let size = (other * unit / list[row]).ln().abs();
            list[row] = other * unit;
            let power = if which == 0 { 0.5 } else { 1.0 };
            result.is_subtle = power * size < 7.0 * sheet.noise_mm / 80.0;
            result.slip.rows = Some(vec![row]);
        }
        "one-row-differs" => {
            if n < 4 {
                return None;
            }
            let row = (uniform(rng, 0.0, n as f64) as usize).min(n - 1);
            let factor = (sign(rng) * uniform(rng, 0.15, 0.5)).exp();
            sheet.diameter[row] *= factor;
            result.slip.rows = Some(vec![row]);
        }
        _ => return None,
    }
    if is_carried {
        sheet.sum_voltage = sheet.voltage.clone();
        sheet.sum_current = sheet.current.clone();
        sheet.sum_diameter = sheet.diameter.clone();
    }
    Some(result)
}

/// Whether a shift of every diameter and a ratio leave the same trace, within three standard uncertainties.
fn is_alike(sheet: &Sheet, shift: f64) -> bool {
    let n = sheet.diameter.len() as f64;
    let mean = sheet.diameter.iter().map(|d| 1.0 / d).sum::<f64>() / n;
    let squares: f64 =
        sheet.diameter.iter().map(|d| (shift * (1.0 / d - mean) * d / sheet.noise_mm).powi(2)).sum();
    squares.sqrt() < 4.5
}

/// Works wrong.
pub(super) fn working<R: Rng>(
    rng: &mut R,
    code: &'static str,
    sum: &mut Sum,
    bench: &SimBench,
    layout: &Layout,
    method: &str,
) -> Option<Done> {
    let mut result = done(code, "working")?;
    let has_field = layout.has_field();
    let pair = 0.8_f64.powf(1.5);
    match code {
        "diameter-as-radius" if !layout.is_radius => {
            sum.radius_times *= 2.0;
            if !has_field {
                result.equal.push("double-field");
            }
        }
        "radius-halved-twice" => {
            sum.radius_times *= 0.5;
            if !has_field {
                result.equal.push("half-field");
            }
            if !layout.has_speed {
                result.equal.push("factor-two-twice");
            }
        }
        "double-field" => {
            sum.field_times *= 2.0;
            if !has_field && !layout.is_radius {
                result.equal.push("diameter-as-radius");
            }
        }
        "half-field" => {
            sum.field_times *= 0.5;
            if !has_field {
                result.equal.push("radius-halved-twice");
                if !layout.has_speed {
                    result.equal.push("factor-two-twice");
                }
            }
        }
        "single-loop-field" => sum.field_times *= 0.5 / pair,
        "pair-factor-omitted" => sum.field_times /= pair,
        "pair-factor-inverted" => sum.field_times /= pair * pair,
        "pair-factor-wrong-power" => {
            let number = *pick(rng, &[0.512, 0.8_f64.powf(2.0 / 3.0), 0.6_f64.powf(1.5), 8.0 / 125.0]);
            sum.field_times *= number / pair;
        }
        "closed-form-power" => sum.mass_times *= 1.25,
        "factor-two-omitted" => {
            sum.mass_times *= 2.0;
            sum.speed_times = *pick(rng, &[1.0, 0.5]);
        }
        "factor-two-twice" => {
            if chance(rng, 0.5) {
                sum.mass_times *= 0.5;
                sum.speed_times = *pick(rng, &[1.0, 2.0]);
            } else {
                sum.mass_times *= 0.25;
                if !layout.has_speed {
                    result.equal.push("radius-halved-twice");
                    if !has_field {
                        result.equal.push("half-field");
                    }
                }
            }
        }
        "field-not-squared" => sum.field_power = 1,
        "radius-not-squared" => sum.radius_power = 1,
        "field-per-ampere-as-field" => sum.field_is_per_ampere = true,
        "unit-current" => {
            sum.field_times *= 1e3;
            if has_field && (layout.field_unit == 1e-3 || layout.field_unit == 1.0) {
                result.equal.push("unit-field");
            } else if !has_field {
                result.equal.extend(["unit-length", "unit-field"]);
            }
        }
        "unit-voltage" => sum.voltage_times *= 1e-3,
        "unit-length" => match *pick(rng, &[0, 0, 1, 2]) {
            0 => {
                sum.radius_times *= 1e3;
                result.equal.push("unit-field");
                if !has_field {
                    result.equal.push("unit-current");
                }
            }
            1 => sum.radius_times *= 1e2,
            _ => {
                sum.field_times *= 1e-3;
                if has_field && layout.field_unit == 1e-3 {
                    result.equal.push("unit-field");
                }
            }
        },
        "unit-field" => match *pick(rng, &[0, 1, 2, 3]) {
            0 => {
                sum.field_used_times *= 1e3;
                result.equal.push("unit-length");
                if !has_field {
                    result.equal.push("unit-current");
                }
            }
            1 => sum.field_used_times *= 1e4,
            _ => {
                if !has_field {
                    return None;
                }
                let others: Vec<f64> =
                    [1.0, 1e-3, 1e-4].into_iter().filter(|unit| *unit != layout.field_unit).collect();
                let other = *pick(rng, &others);
                sum.column_times = layout.field_unit / other;
                sum.column_is_used = chance(rng, 0.4);
                result.slip.place = "reading";
                if sum.column_is_used && (sum.column_times / 10.0 - 1.0).abs() < 1e-9 {
                    result.equal.push("vacuum-permeability");
                }
                if sum.column_is_used && (sum.column_times / 1e3 - 1.0).abs() < 1e-9 {
                    result.equal.push("unit-current");
                }
                if sum.column_is_used && (sum.column_times * 1e3 - 1.0).abs() < 1e-9 {
                    result.equal.push("unit-length");
                }
            }
        },
        "vacuum-permeability" => {
            let number = *pick(rng, &[1.0, 4.0, 40.0 * std::f64::consts::PI]);
            sum.field_times *= number / (4.0 * std::f64::consts::PI);
            if number > 100.0 && has_field && layout.field_unit == 1e-3 {
                result.equal.push("unit-field");
            }
        }
        "inner-coil-radius" => sum.field_times *= bench.radius_mm / (bench.radius_mm - 0.5 * bench.radial_mm),
        "accepted-mass-used" => {
            if chance(rng, 0.5) && method != "slope" {
                sum.uses_accepted_speed = true;
            } else {
                sum.result = "accepted";
            }
        }
        "ratio-for-mass" => {
            if layout.claims_ratio {
                return None;
            }
            let given: &[&'static str] = &["ratio", "ratio", "inverse"];
            sum.result = *pick(rng, given);
        }
        "exponent-sign" => sum.result = "sign",
        "slope-inverted" if method == "slope" => sum.upside_down = true,
        "slope-through-origin" if method == "slope" && bench.has_offset => sum.through_origin = true,
        "weights-not-squared" if layout.has_u && method == "mean" => sum.weights = 1,
        _ => return None,
    }
    Some(result)
}
