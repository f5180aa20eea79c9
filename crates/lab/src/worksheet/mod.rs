//! The class's worksheet as numbers: what is printed on it, and the way from them to the mass as a pupil goes it.

mod slip;

use arcmass_notebook::{Bench, CoilShape, Notebook, Run, Sense};

use crate::as_read;
use crate::document::ReductionDocument;
use crate::field_unit::FieldUnit;
pub use slip::Slip;

/// The elementary charge as the worksheet prints it, C.
pub const CHARGE_C: f64 = 1.602e-19;
/// The magnetic constant as the worksheet prints it, T m/A.
pub const MAGNETIC_CONSTANT: f64 = 1.2566e-6;
/// The speed of light as the worksheet prints it, m/s.
pub const SPEED_OF_LIGHT: f64 = 2.998e8;
/// By how much a diameter read on a ruler may be wrong, as the worksheet proposes, mm.
pub const DIAMETER_LIMIT_MM: f64 = 0.5;
/// Digits of a size or a coil constant on the sheet.
const DIGITS: usize = 6;

/// Where the coil constant comes from on this sheet.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum CoilConstant {
    /// Printed, in the sheet's unit per ampere.
    Stated(f64),
    /// By the formula from the printed sizes.
    FromSizes,
    /// From the class's own line through probe readings.
    Measured,
}

/// The coils' sizes as printed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Sizes {
    /// Circle or square.
    pub shape: CoilShape,
    /// Mean radius, or half the side of a square, mm.
    pub mean_radius_mm: f64,
    /// Mid-plane to mid-plane, mm.
    pub separation_mm: f64,
    /// On each coil.
    pub turns: Option<u32>,
}

/// One row of the sheet's table.
#[derive(Debug, Clone, PartialEq)]
pub struct Setting {
    /// Name of the run.
    pub run: String,
    /// As printed.
    pub voltage: Printed,
    /// As printed.
    pub current: Printed,
    /// Whether the coils' leads are reversed.
    pub is_reversed: bool,
}

/// A number as it stands on paper: text, and the value that a reader takes from it.
#[derive(Debug, Clone, PartialEq)]
pub struct Printed {
    /// Without unit.
    pub text: String,
    /// Of the text.
    pub value: f64,
}

impl Printed {
    /// `value` with its digits ending at ten to `place`.
    pub fn fixed(value: f64, place: i32) -> Self {
        let step = 10.0_f64.powi(place);
        let text = arcmass_quantity::print::fixed(value, place);
        let value = text.replace('\u{2212}', "-").parse().unwrap_or((value / step).round() * step);
        Self { text, value }
    }
}

/// Everything that the worksheet prints of a bench.
#[derive(Debug, Clone, PartialEq)]
pub struct Worksheet {
    /// None where the bench file states no pair.
    pub sizes: Option<Sizes>,
    /// Where k comes from.
    pub constant: CoilConstant,
    /// Settings of the runs that count; empty before any reading.
    pub settings: Vec<Setting>,
    /// Unit of flux densities.
    pub unit: FieldUnit,
}

/// One run on its way from the sheet's numbers to the mass. SI units.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Way {
    /// T/A.
    pub constant_t_per_a: f64,
    /// m.
    pub radius_m: f64,
    /// T.
    pub flux_density_t: f64,
    /// kg m/s.
    pub momentum: f64,
    /// kg.
    pub mass_kg: f64,
    /// m/s.
    pub speed: f64,
}

impl Worksheet {
    /// The sheet of a notebook, every number rounded as it is printed.
    pub fn of(notebook: &Notebook, unit: &FieldUnit) -> Self {
        let bench = &notebook.bench;
        let sizes = sizes(bench);
        let stated = bench.pair.as_ref().and_then(|pair| pair.field_per_ampere.as_ref());
        let is_formula = sizes.is_some_and(|s| s.shape == CoilShape::Circular && s.turns.is_some());
        let constant = match stated {
            Some(k) => CoilConstant::Stated(rounded(1e3 * unit.per_millitesla * k.value.abs(), DIGITS)),
            None if is_formula => CoilConstant::FromSizes,
            None => CoilConstant::Measured,
        };
        Self { sizes, constant, settings: settings(notebook), unit: unit.clone() }
    }

    /// One run worked as the sheet asks for it, or with one slip.
    ///
    /// k = µ₀ N R²/(R² + (s/2)²)^{3/2} where sizes give it; r = d/2, B = k I, p = e B r, m = e (B r)²/2V, v = p/m.
    ///
    /// - **Takes** a row of the table, the diameter written beside it in mm, and the class's own k in T/A for a sheet that asks for it.
    /// - **Gives** nothing where the sheet leaves k to be measured and none is given, or where the slip can't happen on this sheet.
    /// - **Holds** for one elementary charge; not relativistic, nothing corrected.
    pub fn work(
        &self,
        setting: &Setting,
        diameter_mm: f64,
        measured_t_per_a: Option<f64>,
        slip: Option<Slip>,
    ) -> Option<Way> {
        let is = |asked: Slip| slip == Some(asked);
        if slip.is_some_and(|slip| !self.allows(slip)) {
            return None;
        }
        let constant_t_per_a = self.coil_constant(measured_t_per_a, slip)?;
        let radius_m = match slip {
            Some(Slip::RadiusInMillimetres) => diameter_mm / 2.0,
            Some(Slip::RadiusInCentimetres) => diameter_mm / 20.0,
            Some(Slip::DiameterForRadius) => diameter_mm / 1000.0,
            Some(Slip::RadiusHalvedTwice) => diameter_mm / 4000.0,
            _ => diameter_mm / 2000.0,
        };
        let current = setting.current.value * if is(Slip::CurrentOfBothCoils) { 2.0 } else { 1.0 };
        let to_unit = if is(Slip::FluxDensityNotInTesla) { 1e3 * self.unit.per_millitesla } else { 1.0 };
        let flux_density_t = to_unit * constant_t_per_a * current;
        let momentum = CHARGE_C * flux_density_t * radius_m;
        let squared = if is(Slip::SquareOmitted) {
            flux_density_t * radius_m
        } else {
            (flux_density_t * radius_m).powi(2)
        };
        let two = if is(Slip::TwoOmitted) { 1.0 } else { 2.0 };
        let mass_kg = CHARGE_C * squared / (two * setting.voltage.value);
        Some(Way { constant_t_per_a, radius_m, flux_density_t, momentum, mass_kg, speed: momentum / mass_kg })
    }

    /// The coil constant in T/A that the sheet leads to.
    pub fn coil_constant(&self, measured_t_per_a: Option<f64>, slip: Option<Slip>) -> Option<f64> {
        match self.constant {
            CoilConstant::Stated(in_unit) => Some(in_unit / (1e3 * self.unit.per_millitesla)),
            CoilConstant::FromSizes => self.sizes.and_then(|sizes| by_formula(&sizes, slip)),
            CoilConstant::Measured if slip == Some(Slip::SlopeInverted) => {
                // amperes per unit taken for units per ampere
                let in_unit = 1e3 * self.unit.per_millitesla;
                measured_t_per_a.map(|k| 1.0 / (k * in_unit * in_unit))
            }
            CoilConstant::Measured => measured_t_per_a,
        }
    }

    /// Whether a group could make this slip with this sheet in hand.
    pub fn allows(&self, slip: Slip) -> bool {
        match slip {
            Slip::TurnsOfBothCoils
            | Slip::CoilDiameterForRadius
            | Slip::SeparationNotHalved
            | Slip::PowerOmitted
            | Slip::SizesInMillimetres => self.constant == CoilConstant::FromSizes,
            Slip::SlopeInverted => self.constant == CoilConstant::Measured,
            Slip::FluxDensityNotInTesla => self.unit.shown != "T",
            _ => true,
        }
    }

    /// The class's own k where the sheet asks for it: the one in use in the reduction, T/A, to four digits.
    pub fn measured_constant(reduction: &ReductionDocument) -> f64 {
        rounded(1e-3 * reduction.field_per_ampere_mt_per_a.value.abs(), 4)
    }

    /// The row of a run.
    pub fn setting(&self, run: &str) -> Option<&Setting> {
        self.settings.iter().find(|setting| setting.run == run)
    }
}

/// µ₀ N R²/(R² + (s/2)²)^{3/2}.
fn by_formula(sizes: &Sizes, slip: Option<Slip>) -> Option<f64> {
    let is = |asked: Slip| slip == Some(asked);
    let metre = if is(Slip::SizesInMillimetres) { 1.0 } else { 1e-3 };
    let turns = f64::from(sizes.turns?) * if is(Slip::TurnsOfBothCoils) { 2.0 } else { 1.0 };
    let radius = metre * sizes.mean_radius_mm * if is(Slip::CoilDiameterForRadius) { 2.0 } else { 1.0 };
    let half = metre * sizes.separation_mm / if is(Slip::SeparationNotHalved) { 1.0 } else { 2.0 };
    let power = if is(Slip::PowerOmitted) { 1.0 } else { 1.5 };
    let field = MAGNETIC_CONSTANT * turns * radius * radius / (radius * radius + half * half).powf(power);
    (field > 0.0 && field.is_finite()).then_some(field)
}

/// By how much each input of the mass may be wrong, relative standard uncertainties.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct InputUncertainties {
    /// Of the voltage at the middle of the table.
    pub voltage: f64,
    /// Of the current there.
    pub current: f64,
    /// Of the diameter there, [`DIAMETER_LIMIT_MM`] being half-width of what was read.
    pub diameter: f64,
    /// Of the coil constant.
    pub constant: f64,
}

/// How far the bench file vouches for each input of the mass.
///
/// - **Takes** a reduction of the same notebook, for the diameters and for a constant that the class measures itself.
/// - **Gives** nothing without a run, or where the bench can't be read as a model.
pub fn input_uncertainties(
    notebook: &Notebook,
    sheet: &Worksheet,
    reduction: &ReductionDocument,
) -> Option<InputUncertainties> {
    let apparatus = crate::assume::Apparatus::of(&notebook.bench).ok()?;
    let settings = &sheet.settings;
    let count = settings.len().max(1) as f64;
    let voltage = settings.iter().map(|s| s.voltage.value).sum::<f64>() / count;
    let current = settings.iter().map(|s| s.current.value).sum::<f64>() / count;
    let kept = reduction.runs.iter().filter(|run| !run.struck);
    let diameters: Vec<f64> = kept.map(|run| run.measured_diameter_mm.value).collect();
    let diameter = diameters.iter().sum::<f64>() / diameters.len().max(1) as f64;
    if !(voltage > 0.0 && current > 0.0 && diameter > 0.0) {
        return None;
    }
    let of = |meter: &crate::assume::MeterKnown, at: f64| {
        meter.gain.u().hypot(meter.zero.spread.u() / at).hypot(meter.per_reading_u / at)
    };
    Some(InputUncertainties {
        voltage: of(&apparatus.voltmeter, voltage),
        current: of(&apparatus.ammeter, current),
        diameter: DIAMETER_LIMIT_MM / 3.0_f64.sqrt() / diameter,
        constant: constant_u(notebook, sheet, reduction)?,
    })
}

fn constant_u(notebook: &Notebook, sheet: &Worksheet, reduction: &ReductionDocument) -> Option<f64> {
    let pair = notebook.bench.pair.as_ref();
    match sheet.constant {
        CoilConstant::Stated(_) => {
            let stated = pair?.field_per_ampere.as_ref()?;
            Some(stated.standard_uncertainty().unwrap_or(0.0) / stated.value.abs())
        }
        CoilConstant::Measured => {
            let k = &reduction.field_per_ampere_mt_per_a;
            Some(k.standard_uncertainty / k.value.abs())
        }
        CoilConstant::FromSizes => {
            let sizes = sheet.sizes?;
            let apparatus = crate::assume::Apparatus::of(&notebook.bench).ok()?;
            let Some(crate::assume::CoilsKnown::Pair { mean_radius, separation, .. }) = apparatus.coils
            else {
                return None;
            };
            let k = |radius: f64, separation: f64| {
                by_formula(&Sizes { mean_radius_mm: radius, separation_mm: separation, ..sizes }, None)
            };
            let (radius, between) = (sizes.mean_radius_mm, sizes.separation_mm);
            let right = k(radius, between)?;
            let by_radius = k(radius + 1e3 * mean_radius.spread.u(), between)? / right - 1.0;
            let by_separation = k(radius, between + 1e3 * separation.spread.u())? / right - 1.0;
            Some(by_radius.hypot(by_separation))
        }
    }
}

fn sizes(bench: &Bench) -> Option<Sizes> {
    let geometry = bench.pair.as_ref()?.geometry.as_ref()?;
    Some(Sizes {
        shape: geometry.shape,
        mean_radius_mm: rounded(1e3 * geometry.mean_radius.value, DIGITS),
        separation_mm: rounded(1e3 * geometry.separation.value, DIGITS),
        turns: geometry.turns,
    })
}

fn settings(notebook: &Notebook) -> Vec<Setting> {
    let runs: Vec<&Run> =
        notebook.readings.iter().flat_map(|table| &table.runs).filter(|run| !run.is_struck()).collect();
    let readings = || runs.iter().flat_map(|run| &run.readings);
    let meters = &notebook.bench.meters;
    let volts = as_read::last_place(meters.voltage.as_ref(), readings().map(|reading| reading.voltage_v));
    let amperes = as_read::last_place(meters.current.as_ref(), readings().map(|reading| reading.current_a));
    let row = |run: &&Run| Setting {
        run: run.run.clone(),
        voltage: Printed::fixed(run.mean_voltage_v(), volts),
        current: Printed::fixed(run.mean_current_a(), amperes),
        is_reversed: run.field_sense == Sense::Minus,
    };
    runs.iter().map(row).collect()
}

/// `value` to so many significant digits.
fn rounded(value: f64, digits: usize) -> f64 {
    format!("{value:.*e}", digits.saturating_sub(1)).parse().unwrap_or(value)
}

/// Share of the right mass that the formula gives where the electrons run through `missing_v` less than the meter shows:
/// (V − missing)/V, below 1 and rising with V.
pub fn share_with_missing(voltage_v: f64, missing_v: f64) -> f64 {
    (voltage_v - missing_v) / voltage_v
}

#[cfg(test)]
mod tests {
    use std::f64::consts::PI;

    use super::*;

    fn sheet(constant: CoilConstant) -> Worksheet {
        let sizes = Sizes {
            shape: CoilShape::Circular,
            mean_radius_mm: 150.0,
            separation_mm: 150.0,
            turns: Some(124),
        };
        Worksheet { sizes: Some(sizes), constant, settings: Vec::new(), unit: FieldUnit::default() }
    }

    fn setting() -> Setting {
        let [voltage, current] = [(250.0, 0), (1.5, -1)].map(|(value, place)| Printed::fixed(value, place));
        Setting { run: "1".into(), voltage, current, is_reversed: false }
    }

    /// A pair whose separation is its radius: (4/5)^{3/2} µ₀ N/R on its axis (any textbook of electrodynamics).
    #[test]
    fn the_formula_is_the_textbooks_where_separation_is_radius() {
        let k = sheet(CoilConstant::FromSizes).coil_constant(None, None).unwrap_or(f64::NAN);
        let expected = 0.8_f64.powf(1.5) * 4.0 * PI * 1e-7 * 124.0 / 0.15;
        assert!((k / expected - 1.0).abs() < 1e-4, "µ₀ has five digits on the sheet: {k} {expected}");
    }

    #[test]
    fn slips_have_the_factors_that_algebra_gives() {
        let sheet = sheet(CoilConstant::FromSizes);
        let right = sheet.work(&setting(), 101.0, None, None).map_or(f64::NAN, |way| way.mass_kg);
        let factor = |slip| {
            sheet.work(&setting(), 101.0, None, Some(slip)).map_or(f64::NAN, |way| way.mass_kg / right)
        };
        // with s = R: k ∝ R²/(R² + R²/4)^{3/2}; with 2R for R: 4 R²/(4 R² + R²/4)^{3/2}
        let coil = (4.0 * (1.25_f64 / 4.25).powf(1.5)).powi(2);
        let cases = [
            (Slip::RadiusInMillimetres, 1e6),
            (Slip::RadiusInCentimetres, 1e4),
            (Slip::DiameterForRadius, 4.0),
            (Slip::RadiusHalvedTwice, 0.25),
            (Slip::CurrentOfBothCoils, 4.0),
            (Slip::TurnsOfBothCoils, 4.0),
            (Slip::FluxDensityNotInTesla, 1e6),
            (Slip::TwoOmitted, 2.0),
            (Slip::CoilDiameterForRadius, coil),
            (Slip::SeparationNotHalved, (1.25_f64 / 2.0).powi(3)),
            (Slip::PowerOmitted, 1.25 * 0.15 * 0.15),
            (Slip::SizesInMillimetres, 1e-6),
        ];
        for (slip, expected) in cases {
            assert!((factor(slip) / expected - 1.0).abs() < 1e-9, "{slip:?}: {} {expected}", factor(slip));
        }
        assert!((coil - 0.407).abs() < 1e-3);
    }

    #[test]
    fn a_slip_that_the_sheets_formula_cant_have_is_none() {
        let stated = sheet(CoilConstant::Stated(0.743));
        assert!(!stated.allows(Slip::CoilDiameterForRadius) && !stated.allows(Slip::SlopeInverted));
        assert!(stated.work(&setting(), 101.0, None, Some(Slip::TurnsOfBothCoils)).is_none());
        let measured = sheet(CoilConstant::Measured);
        assert!(measured.work(&setting(), 101.0, None, None).is_none(), "no k, no mass");
        assert!(measured.allows(Slip::SlopeInverted));
    }

    #[test]
    fn lost_energy_makes_the_mass_rise_with_the_voltage() {
        assert!((share_with_missing(150.0, 15.0) - 0.90).abs() < 1e-12);
        assert!((share_with_missing(300.0, 15.0) - 0.95).abs() < 1e-12);
    }
}
