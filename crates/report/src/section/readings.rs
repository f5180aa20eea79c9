//! The readings: as read, and what the model made of each run.

use arcmass_lab::as_read::{as_read, last_place};
use arcmass_lab::document::RunEntry;
use arcmass_notebook::{Run, Sense};
use maud::{Markup, html};

use crate::chart;
use crate::input::ReportInput;
use crate::table::{self, Row, numbers, words};
use crate::words::{fixed, sentence, short, short_in, symbol};

/// Both tables and the masses of the runs.
pub(crate) fn body(input: &ReportInput<'_>) -> Markup {
    let caption = html! {
        "The mass from each run alone (filled circles; bars are one standard uncertainty, most of it shared by all runs), from the textbook’s formula on the same readings (open circles), "
        "and from all runs together (band, 95 %)."
    };
    html! {
        (as_read_table(input))
        (reduced_table(input))
        (table::figure(&chart::masses(input.reduction), caption))
    }
}

/// The notebook's run of an entry.
fn of<'a>(input: &'a ReportInput<'_>, entry: &RunEntry) -> Option<&'a Run> {
    input.notebook.readings.as_ref()?.runs.iter().find(|run| run.run == entry.run)
}

fn as_read_table(input: &ReportInput<'_>) -> Markup {
    let runs = input.notebook.readings.iter().flat_map(|readings| &readings.runs);
    let columns = [
        words("run"),
        numbers(html! { "times read" }),
        numbers(html! { span.unit { (symbol("V")) " / V" } }),
        numbers(html! { span.unit { (symbol("I")) " / A" } }),
        words("leads"),
        words("bench, tube rotated"),
        words("ring"),
    ];
    let places = places(input);
    let rows: Vec<Row> = runs.map(|run| read_row(run, places)).collect();
    table::table("As read: means of the meters, nothing corrected", &columns, &rows)
}

/// Last places of voltmeter and ammeter.
fn places(input: &ReportInput<'_>) -> [i32; 2] {
    let meters = &input.notebook.bench.meters;
    let all = || input.notebook.readings.iter().flat_map(|table| &table.runs).flat_map(|run| &run.readings);
    [
        last_place(meters.voltage.as_ref(), all().map(|reading| reading.voltage_v)),
        last_place(meters.current.as_ref(), all().map(|reading| reading.current_a)),
    ]
}

fn read_row(run: &Run, [volt_place, ampere_place]: [i32; 2]) -> Row {
    let count = run.readings.len();
    let cells = vec![
        html! { (run.run) },
        html! { (count) },
        html! { (as_read(run.mean_voltage_v(), count, volt_place)) },
        html! { (as_read(run.mean_current_a(), count, ampere_place)) },
        html! { (if run.field_sense == Sense::Minus { "reversed" } else { "as wired" }) },
        html! { (turned(run)) },
        ring(run),
    ];
    let note = html! {
        @if let Some(reason) = &run.struck_because { "Excluded: " (sentence(reason)) " " }
        @if let Some(remark) = &run.remark { (sentence(remark)) }
    };
    let has_note = run.is_struck() || run.remark.is_some();
    Row::new(cells).struck(run.is_struck()).note(has_note.then_some(note))
}

fn turned(run: &Run) -> String {
    let angle = |value: f64| format!("{}°", fixed(value, if value.fract() == 0.0 { 0 } else { -1 }));
    match (run.bench_turned_deg, run.gun_tilt_deg) {
        (bench, gun) if bench == 0.0 && gun == 0.0 => "–".to_owned(),
        (bench, gun) => format!("{}, {}", angle(bench), angle(gun)),
    }
}

fn ring(run: &Run) -> Markup {
    html! {
        @if let Some(diameter) = &run.diameter {
            (crate::words::plain(1e3 * diameter.value_m)) " mm by hand"
        } @else if let Some(photo) = &run.ring_photo { (photo) } @else { "none" }
    }
}

fn reduced_table(input: &ReportInput<'_>) -> Markup {
    let columns = [
        words("run"),
        numbers(html! { span.unit { (symbol("V")) " / V" } }),
        numbers(html! { span.unit { (symbol("T")) " / eV" } }),
        numbers(html! { span.unit { (symbol("I")) " / A" } }),
        numbers(html! { span.unit { (symbol("B")) " / " (input.field_unit.shown) } }),
        numbers(html! { span.unit { (symbol("d")) " / mm" } }),
        numbers(html! { (symbol("p")) " / " span.unit { "(10⁻²⁴ kg m/s)" } }),
        numbers(html! { (symbol("v")) " / " span.unit { "(10⁶ m/s)" } }),
        numbers(html! { (symbol("m")) " / " span.unit { "(10⁻³¹ kg)" } }),
        numbers(html! { "textbook’s " (symbol("m")) " / " span.unit { "(10⁻³¹ kg)" } }),
    ];
    let row = |run: &RunEntry| {
        let cells = vec![
            html! { (run.run) },
            html! { (short(&run.voltage_v)) },
            html! { @match &run.accelerating_voltage_v { Some(voltage) => (short(voltage)), None => "–" } },
            html! { (short(&run.current_a)) },
            html! { (short_in(&run.flux_density_mt, input.field_unit.per_millitesla)) },
            html! { (short(&run.ring_diameter_mm)) },
            html! { (short_in(&run.momentum_kg_m_per_s, 1e24)) },
            html! { (short_in(&run.speed_m_per_s, 1e-6)) },
            html! { (short_in(&run.mass_kg, 1e31)) },
            html! { (fixed(1e31 * run.textbook_mass_kg, -2)) },
        ];
        let reason = of(input, run).and_then(|run| run.struck_because.as_deref());
        let note =
            run.struck.then(|| html! { "Excluded: " (sentence(reason.unwrap_or("no reason stated"))) });
        Row::new(cells).struck(run.struck).note(note)
    };
    let rows: Vec<Row> = input.reduction.runs.iter().map(row).collect();
    table::table(
        "Corrected: meters and field as the joint fit finds them, T with the gun’s offset and less what the gas takes, d = 2p/(eB) of an ideal ring; digits in brackets are one standard uncertainty",
        &columns,
        &rows,
    )
}
