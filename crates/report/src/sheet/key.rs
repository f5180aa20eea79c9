//! The key: the worksheet worked from its own printed numbers, rightly and with each slip it allows; the full model in an
//! appendix.

use arcmass_lab::document::{ReductionDocument, RunEntry};
use arcmass_lab::worksheet::{
    self, CHARGE_C, CoilConstant, Printed, SPEED_OF_LIGHT, Setting, Slip, Way, Worksheet, share_with_missing,
};
use arcmass_notebook::Notebook;
use arcmass_quantity::print;
use maud::{Markup, html};

use super::work::SECTIONS;
use crate::marked::marked;
use crate::section::open;
use crate::table::{self, Row, numbers, words};
use crate::words::{fixed, percent, short, short_in, signed, symbol};

/// Digits of a number on its way, and of a mass.
const DIGITS: i32 = 4;
const MASS_DIGITS: i32 = 3;
/// A diameter measured on a ruler ends here: tenths of a millimetre.
const DIAMETER_PLACE: i32 = -1;
/// A factor on the mass that changes by more than this from run to run is printed as a range.
const SAME: f64 = 5e-3;
/// Voltage missing in the example of question 4.4.
const MISSING_V: f64 = 15.0;

/// One run with what a group writes down of it.
struct Line<'a> {
    setting: &'a Setting,
    diameter: Printed,
    way: Way,
}

struct Key<'a> {
    notebook: &'a Notebook,
    reduction: &'a ReductionDocument,
    sheet: &'a Worksheet,
    /// T/A, for a sheet that leaves it to the class.
    measured: Option<f64>,
    lines: Vec<Line<'a>>,
}

pub(super) fn body(notebook: &Notebook, reduction: &ReductionDocument, sheet: &Worksheet) -> Markup {
    let measured =
        (sheet.constant == CoilConstant::Measured).then(|| Worksheet::measured_constant(reduction));
    let line = |entry: &RunEntry| {
        let setting = sheet.setting(&entry.run)?;
        let diameter = Printed::fixed(entry.measured_diameter_mm.value, DIAMETER_PLACE);
        let way = sheet.work(setting, diameter.value, measured, None)?;
        Some(Line { setting, diameter, way })
    };
    let lines = reduction.runs.iter().filter(|entry| !entry.struck).filter_map(line).collect();
    let key = Key { notebook, reduction, sheet, measured, lines };
    html! {
        p {
            "For the teacher. Everything here is worked from the worksheet’s own printed numbers, with the diameters measured on this bench’s photographs or entered by hand: "
            "a group that makes no slip finds these masses, not the accepted one. Answers are numbered as the questions."
        }
        (key.answers())
        h2 { "The slip behind a wrong mass" }
        (key.slips())
        div.appendix { (key.appendix()) }
    }
}

fn n(value: f64) -> String {
    print::significant(value, DIGITS)
}

fn kilograms(value: f64) -> String {
    print::significant(value, MASS_DIGITS)
}

impl Key<'_> {
    fn answers(&self) -> Markup {
        let [field, taken, way, doubts, result] = SECTIONS;
        let mean = self.mean(|line| line.way.mass_kg);
        html! {
            h2 { (field) }
            (self.constant())
            h2 { (taken) " and results" }
            (self.expected())
            h2 { (way) }
            @if let Some(line) = self.lines.first() { (self.worked(line)) }
            h2 { (doubts) }
            (self.doubts())
            h2 { (result) }
            p { "The mean of the runs is " (symbol("m")) " = " span.unit { (kilograms(mean)) " kg" } ". A group that finds the accepted mass to 0.1 % may have used it: ask how it found the speed." }
        }
    }

    fn mean(&self, of: impl Fn(&Line) -> f64) -> f64 {
        self.lines.iter().map(of).sum::<f64>() / self.lines.len().max(1) as f64
    }

    fn in_unit(&self, tesla: f64) -> String {
        n(1e3 * self.sheet.unit.per_millitesla * tesla)
    }

    fn constant(&self) -> Markup {
        let k = self.sheet.coil_constant(self.measured, None).unwrap_or(f64::NAN);
        html! {
            p {
                (symbol("k")) " = " span.unit { (self.in_unit(k)) " " (self.sheet.unit.shown) "/A" }
                @match self.sheet.constant {
                    CoilConstant::Stated(_) => ", as stated.",
                    CoilConstant::FromSizes => ", from the formula with the printed sizes.",
                    CoilConstant::Measured => ", the constant in use in the analysis; a class’s own line gives its own.",
                }
            }
        }
    }

    fn expected(&self) -> Markup {
        let row = |line: &Line| {
            Row::new(vec![
                html! { (line.setting.run) },
                html! { (line.setting.voltage.text) },
                html! { (line.setting.current.text) },
                html! { (line.diameter.text) },
                html! { (n(line.way.radius_m)) },
                html! { (n(line.way.flux_density_t)) },
                html! { (kilograms(line.way.mass_kg)) },
                html! { (print::significant(line.way.speed, MASS_DIGITS)) },
            ])
        };
        let rows: Vec<Row> = self.lines.iter().map(row).collect();
        let heads = ["*V* / V", "*I* / A", "*d* / mm", "*r* / m", "*B* / T", "*m* / kg", "*v* / (m/s)"];
        let columns: Vec<_> =
            std::iter::once(words("run")).chain(heads.map(|head| numbers(marked(head)))).collect();
        table::table("What a group finds that makes no slip", &columns, &rows)
    }

    /// One run with every step; the others differ in their numbers only.
    fn worked(&self, line: &Line) -> Markup {
        let (way, current, voltage) = (&line.way, &line.setting.current.text, &line.setting.voltage.text);
        let unit = &self.sheet.unit.shown;
        let field = self.in_unit(way.flux_density_t);
        let tesla = if unit == "T" { String::new() } else { format!(" = {} T", n(way.flux_density_t)) };
        let of_light = percent(100.0 * way.speed / SPEED_OF_LIGHT);
        html! {
            p { "Run " (line.setting.run) ":" }
            ol.questions {
                li { b { "3.1 " } (marked(&format!("*r* = {} mm / 2 = {} m", line.diameter.text, n(way.radius_m)))) }
                li { b { "3.2 " } (marked(&format!("*B* = {} {unit}/A × {current} A = {field} {unit}{tesla}", self.in_unit(way.constant_t_per_a)))) }
                li { b { "3.3 " } (marked(&format!("*p* = {} C × {} T × {} m = {} kg m/s", n(CHARGE_C), n(way.flux_density_t), n(way.radius_m), n(way.momentum)))) }
                li { b { "3.4 " } (marked(&format!("*m* = *p*^{{2}} / 2*e* *V* = *e* (*B* *r*)^{{2}} / 2*V* = ({} kg m/s)^{{2}} / (2 × {} C × {voltage} V) = {} kg", n(way.momentum), n(CHARGE_C), kilograms(way.mass_kg)))) }
                li { b { "3.5 " } (marked(&format!("*v* = {} kg m/s / {} kg = {} m/s, {of_light} % of *c*: so slow that relativity changes the mass by less than 0.1 %", n(way.momentum), kilograms(way.mass_kg), print::significant(way.speed, MASS_DIGITS)))) }
            }
        }
    }

    fn doubts(&self) -> Markup {
        html! {
            ol.questions {
                li { b { "4.1 " } (self.how_wrong()) }
                li { b { "4.2 " } (symbol("B")) " and " (symbol("r")) " enter as squares: one percent in " (symbol("I")) ", " (symbol("k")) " or " (symbol("d")) " is two percent in " (symbol("m")) "; one percent in " (symbol("V")) " is one." }
                li { b { "4.3 " } (self.first_to_better()) }
                li { b { "4.4 " } (self.change()) }
            }
        }
    }

    /// The four inputs' relative uncertainties in percent, with the power by which each enters the mass.
    fn inputs(&self) -> Option<[(&'static str, f64, f64); 4]> {
        let u = worksheet::input_uncertainties(self.notebook, self.sheet, self.reduction)?;
        Some([
            ("V", 100.0 * u.voltage, 1.0),
            ("I", 100.0 * u.current, 2.0),
            ("d", 100.0 * u.diameter, 2.0),
            ("k", 100.0 * u.constant, 2.0),
        ])
    }

    fn how_wrong(&self) -> Markup {
        html! {
            @if let Some(inputs) = self.inputs() {
                "As standard uncertainties, from the bench file: "
                @for (i, (name, u, _)) in inputs.iter().enumerate() { @if i > 0 { ", " } (symbol(name)) " " (percent(*u)) " %" }
                ". Groups judge by what their meters and ruler show; the order of magnitude counts."
            } @else { "The bench file does not say; the order of magnitude counts." }
        }
    }

    fn first_to_better(&self) -> Markup {
        let largest = self.inputs().and_then(|inputs| {
            let part = |input: &(&'static str, f64, f64)| input.1 * input.2;
            inputs.into_iter().max_by(|a, b| part(a).total_cmp(&part(b)))
        });
        html! {
            @match largest {
                Some((name, u, power)) if u > 0.0 => {
                    (symbol(name)) ": its " (percent(u)) " % " @if power > 1.0 { "count twice, " } "make " (percent(u * power)) " % of " (symbol("m")) ", the largest part of the four."
                }
                _ => { (symbol("d")) " or " (symbol("k")) ": they count twice." }
            }
        }
    }

    /// What the formula's mass does on this bench, and what it would mean.
    fn change(&self) -> Markup {
        let by_voltage = |a: &&Line, b: &&Line| a.setting.voltage.value.total_cmp(&b.setting.voltage.value);
        let ends = self.lines.iter().min_by(by_voltage).zip(self.lines.iter().max_by(by_voltage));
        html! {
            @if let Some((low, high)) = ends && low.setting.voltage.value < high.setting.voltage.value {
                "Here the masses go from " span.unit { (kilograms(self.mean_at(low))) " kg" } " at " (low.setting.voltage.text) " V to "
                span.unit { (kilograms(self.mean_at(high))) " kg" } " at " (high.setting.voltage.text) " V. "
                "A mass that rises with the voltage: the electrons are slower than the voltmeter says, by a negative voltage offset of the gun or by energy lost in the gas; with "
                (print::significant(MISSING_V, 2)) " V missing the formula gives " (share(low)) " of the right mass at " (low.setting.voltage.text) " V and "
                (share(high)) " at " (high.setting.voltage.text) " V. "
            } @else { "A mass that rises with the voltage: the electrons are slower than the voltmeter says, by a negative voltage offset of the gun or by energy lost in the gas. " }
            "A mass that falls with it: a positive voltage offset. A mass that changes with the current, and the other way with the leads reversed: a stray field along the axis. "
            "One that changes with the size of the ring alone: an edge of the beam read instead of its middle, or the fall-off of the field away from the centre."
        }
    }

    /// Mean mass of all runs at the voltage of this one.
    fn mean_at(&self, at: &Line) -> f64 {
        let same = self.lines.iter().filter(|line| line.setting.voltage.value == at.setting.voltage.value);
        let masses: Vec<f64> = same.map(|line| line.way.mass_kg).collect();
        masses.iter().sum::<f64>() / masses.len().max(1) as f64
    }

    fn slips(&self) -> Markup {
        let rows: Vec<Row> = Slip::ALL.into_iter().filter_map(|slip| self.slip(slip)).collect();
        table::table(
            "One slip made in every run, all else right",
            &[
                words("slip"),
                numbers(html! { "factor on " (symbol("m")) }),
                numbers(html! { "mean " (symbol("m")) " / kg" }),
                words("told by"),
            ],
            &rows,
        )
    }

    fn slip(&self, slip: Slip) -> Option<Row> {
        let work =
            |line: &Line| self.sheet.work(line.setting, line.diameter.value, self.measured, Some(slip));
        let wrong: Vec<Way> = self.lines.iter().map(work).collect::<Option<_>>()?;
        let factors = wrong.iter().zip(&self.lines).map(|(wrong, line)| wrong.mass_kg / line.way.mass_kg);
        let (low, high) = factors.fold((f64::INFINITY, 0.0_f64), |(l, h), f| (l.min(f), h.max(f)));
        let mean = wrong.iter().map(|way| way.mass_kg).sum::<f64>() / wrong.len().max(1) as f64;
        let told = wrong.first().zip(self.lines.first()).map(|(wrong, line)| told_by(wrong, &line.way));
        Some(Row::new(vec![
            marked(slip.words()),
            html! { span.unit { @if high - low <= SAME * high { (factor(low)) } @else { (factor(low)) " to " (factor(high)) } } },
            html! { (kilograms(mean)) },
            html! { (told.unwrap_or_default()) },
        ]))
    }

    /// Why the formula is off on this bench, and each run by the full model.
    fn appendix(&self) -> Markup {
        let unit = &self.sheet.unit;
        html! {
            h2 { "Appendix: why the formula is off on this bench" }
            p { "All runs together, with every correction: " span.unit { (symbol("m")) " = " (short(&self.reduction.mass_kg)) " kg" } "; coil constant in use " span.unit { (unit.per_ampere(&self.reduction.field_per_ampere_mt_per_a)) } "." }
            (open::findings(self.reduction, unit))
            (corrections(self.reduction))
            h2 { "Appendix: each run by the full model" }
            p { "Meters, field and ring corrected as the joint fit finds them; digits in brackets are one standard uncertainty. " (marked("*p* = *e* *B* *r*, *T* = *e* (*V* + *V*_{0}), *m* = *p*^{2}/2*T* − *T*/2*c*^{2}")) "." }
            (self.full())
        }
    }

    fn full(&self) -> Markup {
        let per_unit = self.sheet.unit.per_millitesla;
        let row = |run: &RunEntry| {
            Row::new(vec![
                html! { (run.run) },
                html! { (short(&run.voltage_v)) },
                html! { (short(&run.current_a)) },
                html! { (short_in(&run.flux_density_mt, per_unit)) },
                html! { (short(&run.ring_diameter_mm)) },
                html! { (short_in(&run.momentum_kg_m_per_s, 1e24)) },
                html! { (short_in(&run.mass_kg, 1e31)) },
            ])
        };
        let rows: Vec<Row> = self.reduction.runs.iter().filter(|run| !run.struck).map(row).collect();
        let columns = [
            words("run"),
            numbers(marked("*V* / V")),
            numbers(marked("*I* / A")),
            numbers(html! { (symbol("B")) " / " (self.sheet.unit.shown) }),
            numbers(marked("*d* / mm")),
            numbers(marked("*p* / (10^{−24} kg m/s)")),
            numbers(marked("*m* / (10^{−31} kg)")),
        ];
        table::table("Corrected values", &columns, &rows)
    }
}

fn share(line: &Line) -> String {
    fixed(share_with_missing(line.setting.voltage.value, MISSING_V), -2)
}

/// Powers of ten as such, others to three digits.
fn factor(value: f64) -> String {
    let exponent = value.log10().round() as i32;
    let is_power = (value / 10.0_f64.powi(exponent) - 1.0).abs() < 1e-9 && exponent.abs() > 2;
    if is_power {
        format!("10{}", print::superscript(exponent))
    } else {
        print::significant(value, MASS_DIGITS)
    }
}

/// What in a group's table shows the slip.
fn told_by(wrong: &Way, right: &Way) -> String {
    let off = |wrong: f64, right: f64| {
        let ratio = wrong / right;
        ((ratio - 1.0).abs() > 1e-6).then(|| factor(ratio))
    };
    let constant = off(wrong.constant_t_per_a, right.constant_t_per_a);
    let field = off(wrong.flux_density_t, right.flux_density_t);
    match (off(wrong.radius_m, right.radius_m), constant, field) {
        (Some(ratio), _, _) => format!("r is {ratio} times the key’s"),
        (_, Some(ratio), _) => format!("k is {ratio} times the key’s"),
        (_, _, Some(ratio)) => format!("k is right, B is {ratio} times the key’s"),
        _ => "k, r and B are right".to_owned(),
    }
}

/// What the model holds and the formula does not, where it matters: 0.2 % of the mass and more.
fn corrections(reduction: &ReductionDocument) -> Markup {
    let mut large: Vec<_> =
        reduction.effects.iter().filter(|effect| effect.shift_of_mass_percent.abs() >= 0.2).collect();
    large.sort_by(|a, b| b.shift_of_mass_percent.abs().total_cmp(&a.shift_of_mass_percent.abs()));
    html! {
        @if !large.is_empty() {
            p { "What the full model corrects and the formula does not, and by how much leaving it out would change the mass:" }
            ul { @for effect in large { li { (effect.name) ": " (signed(effect.shift_of_mass_percent, -1)) " %" } } }
        }
    }
}
