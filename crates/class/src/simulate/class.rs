//! A simulated class: benches, groups, one table.

use std::fmt::Write;

use rand::{Rng, SeedableRng};
use rand_pcg::Pcg64;

use super::bench::SimBench;
use super::group::{GroupTruth, Sheet};
use super::random::{chance, normal, pick, round_to, uniform};
use super::spoil::{self, Done, READING, Sum, WORKING};

/// What is asked of a simulated class.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Asked {
    /// Of the random stream.
    pub seed: u64,
    /// In the class.
    pub groups: usize,
    /// In the class.
    pub benches: usize,
    /// Share of groups with no slip.
    pub honest: f64,
    /// Share of benches outside their files.
    pub bad_benches: f64,
}

/// A class's files and what is true of it.
#[derive(Debug, Clone, PartialEq)]
pub struct SimulatedClass {
    /// The table.
    pub csv: String,
    /// Name, `bench.toml`, `field-probe.csv` of each bench.
    pub benches: Vec<(String, String, Option<String>)>,
    /// In the order of the table.
    pub truths: Vec<GroupTruth>,
}

/// What the table asks for.
#[derive(Debug, Clone)]
pub(super) struct Layout {
    pub(super) is_radius: bool,
    /// In V.
    pub(super) voltage_unit: f64,
    /// In A.
    pub(super) current_unit: f64,
    /// In mm.
    pub(super) length_unit: f64,
    /// In T; 0 without a column.
    pub(super) field_unit: f64,
    pub(super) has_speed: bool,
    pub(super) has_mass: bool,
    pub(super) has_u: bool,
    pub(super) claims_ratio: bool,
    pub(super) has_method: bool,
    /// Of the diameter, mm.
    pub(super) rounding: f64,
    pub(super) separator: char,
}

impl Layout {
    fn draw<R: Rng>(rng: &mut R) -> Self {
        Self {
            is_radius: chance(rng, 0.35),
            voltage_unit: if chance(rng, 0.07) { 1e3 } else { 1.0 },
            current_unit: if chance(rng, 0.08) { 1e-3 } else { 1.0 },
            length_unit: if chance(rng, 0.12) { 10.0 } else { 1.0 },
            field_unit: *pick(rng, &[0.0, 0.0, 0.0, 1e-3, 1e-3, 1e-3, 1e-3, 1e-4, 1.0]),
            has_speed: chance(rng, 0.2),
            has_mass: chance(rng, 0.2),
            has_u: chance(rng, 0.6),
            claims_ratio: chance(rng, 0.2),
            has_method: chance(rng, 0.7),
            rounding: *pick(rng, &[0.5, 0.5, 1.0, 1.0, 0.1]),
            separator: *pick(rng, &[',', ',', ';', '\t']),
        }
    }

    pub(super) fn has_field(&self) -> bool {
        self.field_unit > 0.0
    }

    pub(super) fn voltage_decimals(&self) -> usize {
        if self.voltage_unit == 1.0 { 1 } else { 4 }
    }

    pub(super) fn current_decimals(&self) -> usize {
        if self.current_unit == 1.0 { 3 } else { 0 }
    }

    /// The column's unit as mm of diameter.
    pub(super) fn length_in_mm(&self) -> f64 {
        if self.is_radius { 2.0 * self.length_unit } else { self.length_unit }
    }

    pub(super) fn length_decimals(&self) -> usize {
        let finest = if self.is_radius { 0.5 * self.rounding } else { self.rounding } / self.length_unit;
        if finest >= 0.999 {
            0
        } else if finest >= 0.0999 {
            1
        } else if finest >= 0.00999 {
            2
        } else {
            3
        }
    }
}

/// Simulates a class.
pub fn simulate(asked: &Asked) -> SimulatedClass {
    let mut rng = Pcg64::seed_from_u64(asked.seed);
    let layout = Layout::draw(&mut rng);
    let mut benches = Vec::new();
    while benches.len() < asked.benches {
        let is_bad = chance(&mut rng, asked.bad_benches);
        benches.extend(SimBench::draw(&mut rng, &format!("bench-{}", benches.len() + 1), is_bad));
    }
    let mut csv = heading(&layout);
    let mut truths = Vec::new();
    let mut line = 2;
    while truths.len() < asked.groups {
        let bench = &benches[truths.len() % benches.len()];
        let name = format!("group {}", truths.len() + 1);
        let Some((text, truth)) = group(&mut rng, bench, &layout, asked, &name, line) else { continue };
        line += truth.lines.len();
        csv += &text;
        truths.push(truth);
    }
    let benches = benches.into_iter().map(|bench| (bench.name, bench.file, bench.probe)).collect();
    SimulatedClass { csv, benches, truths }
}

fn heading(layout: &Layout) -> String {
    let length = if layout.is_radius { "radius" } else { "diameter" };
    let unit = if layout.length_unit == 1.0 { "mm" } else { "cm" };
    let mut names = vec![
        "group".to_owned(),
        "bench".to_owned(),
        if layout.voltage_unit == 1.0 { "voltage_V" } else { "voltage_kV" }.to_owned(),
        if layout.current_unit == 1.0 { "current_A" } else { "current_mA" }.to_owned(),
        format!("{length}_{unit}"),
    ];
    if layout.has_u {
        names.push(format!("{length}_u_{unit}"));
    }
    let fields = [(1e-3, "flux_density_mT"), (1e-4, "flux_density_G"), (1.0, "flux_density_T")];
    names.extend(
        fields.iter().filter(|(unit, _)| *unit == layout.field_unit).map(|(_, name)| (*name).to_owned()),
    );
    if layout.has_speed {
        names.push("speed_m_per_s".to_owned());
    }
    if layout.has_mass {
        names.push("mass_kg".to_owned());
    }
    names.push(
        if layout.claims_ratio { "claimed_charge_to_mass_C_per_kg" } else { "claimed_mass_kg" }.to_owned(),
    );
    if layout.has_method {
        names.push("method".to_owned());
    }
    names.join(&layout.separator.to_string()) + "\n"
}

/// True settings of a group, V and A: a grid, anything, or one current.
fn settings<R: Rng>(rng: &mut R, bench: &SimBench, method: &str, n: usize) -> Vec<(f64, f64)> {
    let mut list = Vec::new();
    let steady = round_to(uniform(rng, 1.2, 1.6), 0.01);
    let is_grid = chance(rng, 0.4);
    for _ in 0..200 {
        if list.len() == n {
            break;
        }
        let voltage =
            if is_grid { round_to(uniform(rng, 140.0, 300.0), 20.0) } else { uniform(rng, 130.0, 300.0) };
        let current = match method {
            "slope" => steady,
            _ => round_to(
                bench.current_for(voltage, 1e-3 * uniform(rng, 52.0, 108.0)),
                if is_grid { 0.1 } else { 0.01 },
            ),
        };
        let fits = bench.diameter_m(voltage, current).is_some_and(|d| (0.045..0.114).contains(&d));
        if fits && !list.contains(&(voltage, current)) {
            list.push((voltage, current));
        }
    }
    list
}

fn group<R: Rng>(
    rng: &mut R,
    bench: &SimBench,
    layout: &Layout,
    asked: &Asked,
    name: &str,
    line: usize,
) -> Option<(String, GroupTruth)> {
    let method =
        if layout.has_method { *pick(rng, &["mean", "mean", "mean-ratio", "slope"]) } else { "mean" };
    let n = if chance(rng, 0.08) { 2 } else { uniform(rng, 5.0, 10.0) as usize };
    let n = if method == "slope" { n.max(5) } else { n };
    let mut sheet = Sheet { u_mm: round_to(uniform(rng, 0.5, 0.9), 0.1), ..Sheet::default() };
    sheet.noise_mm = sheet.u_mm * if chance(rng, 0.15) { 2.0 } else { uniform(rng, 0.75, 1.15) };
    for (voltage, current) in settings(rng, bench, method, n) {
        let d_mm = 1e3 * bench.diameter_m(voltage, current)?;
        let (v, i) = bench.read(rng, voltage, current);
        // a heavier tail than normal now and then
        let noise = normal(rng) * if chance(rng, 0.03) { 2.0 } else { 1.0 };
        sheet.voltage.push(v);
        sheet.current.push(i);
        sheet.diameter.push(d_mm + sheet.noise_mm * noise);
    }
    if sheet.voltage.len() < n {
        return None;
    }
    let rounded = |d: f64| round_to(d, layout.rounding);
    sheet.diameter.iter_mut().for_each(|d| *d = rounded(*d));
    sheet.sum_voltage = sheet.voltage.clone();
    sheet.sum_current = sheet.current.clone();
    sheet.sum_diameter = sheet.diameter.clone();
    let has_claim = chance(rng, 0.85);
    let mut sum = Sum::default();
    let deeds = deeds(rng, &mut sheet, &mut sum, bench, layout, method, asked.honest)?;
    compute(rng, &mut sheet, &sum, bench, layout, method);
    // a line that falls gives a mass below 0: nobody would hand that in
    let is_number = sheet.claim > 0.0 && sheet.claim.is_finite();
    if !is_number {
        return None;
    }
    let judgeable =
        deeds.iter().all(|deed| deed.slip.place == "reading" || has_claim || is_seen(deed, layout));
    let text = table(&sheet, bench, layout, method, name, has_claim);
    let mut truth = GroupTruth {
        group: name.to_owned(),
        bench: bench.name.clone(),
        lines: (line..line + sheet.voltage.len()).collect(),
        slips: deeds.iter().map(|deed| deed.slip.clone()).collect(),
        equal: deeds.iter().flat_map(|deed| deed.equal.clone()).collect(),
        is_subtle: !judgeable
            || deeds.iter().any(|deed| deed.is_subtle)
            || n < 3 && deeds.iter().any(|d| d.slip.place == "reading"),
        is_bad_bench: bench.is_bad,
    };
    truth.is_subtle |= is_close(&sheet, &sum, bench);
    Some((text, truth))
}

/// Whether a slip of the sum shows without a claim.
fn is_seen(deed: &Done, layout: &Layout) -> bool {
    let in_field = [
        "double-field",
        "half-field",
        "single-loop-field",
        "pair-factor-omitted",
        "pair-factor-inverted",
        "pair-factor-wrong-power",
        "field-per-ampere-as-field",
        "unit-current",
        "vacuum-permeability",
        "inner-coil-radius",
    ];
    layout.has_field() && in_field.contains(&deed.slip.code)
}

/// Slips whose result happens to lie beside the right one.
fn is_close(sheet: &Sheet, sum: &Sum, bench: &SimBench) -> bool {
    let right =
        Sum { weights: 0, through_origin: false, result: "", uses_accepted_speed: false, ..sum.clone() };
    let is_delicate =
        sum.weights != 0 || sum.through_origin || sum.result == "accepted" || sum.uses_accepted_speed;
    let claim = |sum: &Sum| result_of(sheet, sum, bench);
    is_delicate && (claim(sum) / claim(&right) - 1.0).abs() < 0.02
}

fn deeds<R: Rng>(
    rng: &mut R,
    sheet: &mut Sheet,
    sum: &mut Sum,
    bench: &SimBench,
    layout: &Layout,
    method: &str,
    honest: f64,
) -> Option<Vec<Done>> {
    if chance(rng, honest) {
        return Some(Vec::new());
    }
    let kind = *pick(rng, &[0, 0, 1, 1, 2]);
    let mut deeds = Vec::new();
    if kind != 1 {
        let code = *pick(rng, &READING);
        let is_carried = chance(rng, 0.7);
        deeds.push(spoil::reading(rng, code, sheet, bench, layout, is_carried)?);
    }
    if kind != 0 {
        let code = *pick(rng, &WORKING);
        deeds.push(spoil::working(rng, code, sum, bench, layout, method)?);
    }
    Some(deeds)
}

const E: f64 = 1.602e-19;
const ACCEPTED: f64 = 9.109e-31;

fn compute<R: Rng>(
    rng: &mut R,
    sheet: &mut Sheet,
    sum: &Sum,
    bench: &SimBench,
    layout: &Layout,
    method: &str,
) {
    let _ = layout;
    let told = bench.told_t_per_a * sum.field_times;
    sheet.field =
        sheet.sum_current.iter().map(|i| if sum.field_is_per_ampere { told } else { told * i }).collect();
    // written with four figures, and used so
    sheet.field.iter_mut().for_each(|b| *b = figures(*b, 4));
    let e = if chance(rng, 0.3) { 1.6e-19 } else { E };
    sheet.field_column = sum.column_times;
    let (speeds, masses) = rows_of(sheet, sum, e);
    (sheet.speed, sheet.mass) = (speeds, masses);
    sheet.claims_ratio = layout.claims_ratio;
    sheet.claim = claim_of(sheet, sum, method, e);
}

fn rows_of(sheet: &Sheet, sum: &Sum, e: f64) -> (Vec<f64>, Vec<f64>) {
    let used = sum.field_used_times * if sum.column_is_used { sum.column_times } else { 1.0 };
    let n = sheet.sum_voltage.len();
    let mut speeds = Vec::new();
    let mut masses = Vec::new();
    for row in 0..n {
        let b = sheet.field[row] * used;
        let r = 0.5e-3 * sheet.sum_diameter[row] * sum.radius_times;
        let v = sheet.sum_voltage[row] * sum.voltage_times;
        let honest_speed = 2.0 * v / (b * r) * sum.speed_times;
        let accepted_speed = (2.0 * e * v / ACCEPTED).sqrt();
        if sum.uses_accepted_speed {
            speeds.push(accepted_speed);
            masses.push(e * b * r / accepted_speed);
        } else {
            speeds.push(honest_speed);
            masses.push(e * b.powi(sum.field_power) * r.powi(sum.radius_power) / (2.0 * v) * sum.mass_times);
        }
    }
    (speeds, masses)
}

fn claim_of(sheet: &Sheet, sum: &Sum, method: &str, e: f64) -> f64 {
    let n = sheet.mass.len() as f64;
    let own = match method {
        "slope" => slope_claim(sheet, sum, e),
        "mean-ratio" => n / sheet.mass.iter().map(|m| 1.0 / m).sum::<f64>(),
        _ if sum.weights == 1 => {
            let u: Vec<f64> =
                sheet.mass.iter().zip(&sheet.sum_diameter).map(|(m, d)| 2.0 * m * sheet.u_mm / d).collect();
            let weights: f64 = u.iter().map(|u| 1.0 / u).sum();
            sheet.mass.iter().zip(&u).map(|(m, u)| m / u).sum::<f64>() / weights
        }
        _ => sheet.mass.iter().sum::<f64>() / n,
    };
    match sum.result {
        "accepted" => 9.11e-31,
        "ratio" => e / own,
        "inverse" => own / e,
        "sign" if sheet.claims_ratio => {
            let ratio = e / own;
            e / (ratio * 10.0_f64.powi(-2 * (ratio.log10().floor() as i32)))
        }
        "sign" => own * 10.0_f64.powi(-2 * (own.log10().floor() as i32)),
        _ => own,
    }
}

fn slope_claim(sheet: &Sheet, sum: &Sum, e: f64) -> f64 {
    let used = sum.field_used_times * if sum.column_is_used { sum.column_times } else { 1.0 };
    let n = sheet.field.len() as f64;
    let b = used * sheet.field.iter().sum::<f64>() / n;
    let x: Vec<f64> = sheet.sum_voltage.iter().map(|v| v * sum.voltage_times).collect();
    let y: Vec<f64> =
        sheet.sum_diameter.iter().map(|d| (0.5e-3 * d * sum.radius_times).powi(sum.radius_power)).collect();
    let (mx, my) =
        if sum.through_origin { (0.0, 0.0) } else { (x.iter().sum::<f64>() / n, y.iter().sum::<f64>() / n) };
    let slope = x.iter().zip(&y).map(|(x, y)| (x - mx) * (y - my)).sum::<f64>()
        / x.iter().map(|x| (x - mx).powi(2)).sum::<f64>();
    let slope = if sum.upside_down { 1.0 / slope } else { slope };
    e * b.powi(sum.field_power) * slope / 2.0 * sum.mass_times
}

fn result_of(sheet: &Sheet, sum: &Sum, bench: &SimBench) -> f64 {
    let mut sheet = sheet.clone();
    let told = bench.told_t_per_a * sum.field_times;
    sheet.field =
        sheet.sum_current.iter().map(|i| if sum.field_is_per_ampere { told } else { told * i }).collect();
    (sheet.speed, sheet.mass) = rows_of(&sheet, sum, E);
    let steady = sheet.sum_current.iter().all(|i| (i / sheet.sum_current[0] - 1.0).abs() < 0.02);
    claim_of(&sheet, sum, if steady && sheet.sum_current.len() > 4 { "slope" } else { "mean" }, E)
}

/// Rounded to so many figures.
fn figures(value: f64, count: i32) -> f64 {
    let step = 10.0_f64.powi(value.abs().log10().floor() as i32 - count + 1);
    round_to(value, step)
}

/// As a person writes it: so many figures, zeros kept.
fn written(value: f64, count: i32) -> String {
    let power = value.abs().log10().floor() as i32;
    if (-3..5).contains(&power) {
        let decimals = usize::try_from(count - 1 - power).unwrap_or(0);
        format!("{:.*}", decimals, figures(value, count))
    } else {
        format!("{:.*e}", usize::try_from(count - 1).unwrap_or(2), value)
    }
}

fn table(
    sheet: &Sheet,
    bench: &SimBench,
    layout: &Layout,
    method: &str,
    name: &str,
    has_claim: bool,
) -> String {
    let mut text = String::new();
    let n = sheet.voltage.len();
    let s = layout.separator;
    for row in 0..n {
        let mut cells = vec![
            name.to_owned(),
            bench.name.clone(),
            number(sheet.voltage[row] / layout.voltage_unit, layout.voltage_decimals()),
            number(sheet.current[row] / layout.current_unit, layout.current_decimals()),
            number(sheet.diameter[row] / layout.length_in_mm(), layout.length_decimals()),
        ];
        if layout.has_u {
            cells.push(number(sheet.u_mm / layout.length_in_mm(), 3));
        }
        if layout.has_field() {
            cells.push(written(sheet.field[row] * sheet.field_column / layout.field_unit, 4));
        }
        if layout.has_speed {
            cells.push(written(sheet.speed[row], 4));
        }
        if layout.has_mass {
            cells.push(written(sheet.mass[row], 4));
        }
        let claim = if layout.claims_ratio { 1.602e-19 / sheet.claim } else { sheet.claim };
        cells.push(if has_claim && row + 1 == n { written(claim, 3) } else { String::new() });
        if layout.has_method {
            cells.push(method.to_owned());
        }
        let line = cells.join(&s.to_string());
        let line = if s == ';' { line.replace('.', ",") } else { line };
        let _ = writeln!(text, "{line}");
    }
    text
}

/// With as many decimals as asked for, or more where that would leave fewer than three figures.
fn number(value: f64, decimals: usize) -> String {
    let needed = if value > 0.0 { (2.0 - value.log10().floor()).max(0.0) as usize } else { 0 };
    let text = format!("{:.*}", decimals.max(needed), value);
    if decimals >= needed || !text.contains('.') {
        return text;
    }
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}
