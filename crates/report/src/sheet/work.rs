//! The worksheet: everything a group needs, and room for what it finds.

use arcmass_lab::worksheet::{CoilConstant, Setting, Sizes, Worksheet};
use arcmass_notebook::{CoilShape, Notebook};
use maud::{Markup, html};

use crate::marked::marked;
use crate::section::cautions;
use crate::sketch;
use crate::table::{self, Row, numbers, words};
use crate::words::{plain, symbol};

/// Rows of an empty table.
const EMPTY_ROWS: usize = 8;

/// Headings of the numbered sections; the key uses the same.
pub(super) const SECTIONS: [&str; 5] =
    ["1. The field of the coils", "2. Readings", "3. From ring to mass", "4. How sure are you?", "5. Result"];

pub(super) fn body(notebook: &Notebook, sheet: &Worksheet) -> Markup {
    let [field, taken, way, doubts, result] = SECTIONS;
    html! {
        p.names { "Group " span.blank {} " Date " span.blank {} }
        p { "What is the mass of an electron? You bend a beam of electrons into a ring, measure the ring, and calculate the mass from it." }
        h2 { "Before you touch the bench" }
        (cautions::for_pupils())
        h2 { "This bench" }
        (bench(notebook, sheet))
        h2 { (field) }
        (constant(sheet))
        h2 { (taken) }
        p {
            "Set voltage and current as listed, then write down what the meters show, with every digit. " (symbol("d")) " is the " b { "diameter" }
            " of the ring, straight across, measured to the middle of the bright line, in millimetres."
            @if sheet.settings.iter().any(|setting| setting.is_reversed) { " Where the leads are reversed, the responsible person reverses them." }
        }
        (readings(sheet))
        h2 { (way) }
        ol.questions {
            li { b { "3.1 " } "Radius: " (marked("*r* = *d* / 2")) ". In metres: divide millimetres by 1000." }
            li { b { "3.2 " } "Flux density: " (marked("*B* = *k* *I*")) ". " (in_tesla(sheet)) }
            li { b { "3.3 " } "The field bends the beam; its momentum is " (marked("*p* = *e* *B* *r*")) " with " (marked("*e* = 1.602 × 10^{−19} C")) "." }
            li { b { "3.4 " } "The gun gives each electron the energy " (marked("*e* *V* = *p*^{2} / 2*m*")) ". Solve for the mass, then put numbers in: " (symbol("m")) " = " span.blank.wide {} }
            li { b { "3.5 " } "Speed: " (marked("*v* = *p* / *m*")) ". Is it below the speed of light, " (marked("*c* = 2.998 × 10^{8} m/s")) "? " span.blank.wide {} }
        }
        (results(sheet))
        h2 { (doubts) }
        ol.questions {
            li { b { "4.1 " } "By how many percent could " (symbol("V")) ", " (symbol("I")) ", " (symbol("d")) " and " (symbol("k")) " be wrong? Take half a millimetre for " (symbol("d")) ". " span.blank.wide {} }
            li { b { "4.2 " } "Which of them counts twice in " (symbol("m")) ", and why? " span.blank.wide {} }
            li { b { "4.3 " } "Which of them would you improve first? " span.blank.wide {} }
            li { b { "4.4 " } "Do your runs agree with each other? Does " (symbol("m")) " change with " (symbol("V")) " or with " (symbol("I")) "? What could do that? " span.blank.wide {} }
        }
        h2 { (result) }
        p { (symbol("m")) " = " span.blank {} " kg with a standard uncertainty " (symbol("u")) " = " span.blank {} " kg" }
        p { "Only now look up the accepted mass. By how many " (symbol("u")) " do they differ? " span.blank {} }
    }
}

/// How a flux density in the sheet's unit becomes one in tesla.
fn in_tesla(sheet: &Worksheet) -> String {
    match sheet.unit.shown.as_str() {
        "T" => "It is in tesla already.".to_owned(),
        "mT" => "In tesla: divide millitesla by 1000.".to_owned(),
        "G" => "In tesla: divide gauss by 10 000.".to_owned(),
        other => format!("In tesla: divide {other} by 1.602 × 10⁻¹⁹."),
    }
}

/// The numbers a group needs, without their uncertainties: to judge these is part of the work.
fn bench(notebook: &Notebook, sheet: &Worksheet) -> Markup {
    let bench = &notebook.bench;
    let mut rows = Vec::new();
    let mut add = |name: &str, value: String| rows.push(Row::new(vec![html! { (name) }, html! { (value) }]));
    if let Some(sizes) = &sheet.sizes {
        let size = match sizes.shape {
            CoilShape::Circular => "coils: mean radius R",
            CoilShape::Square => "coils: mean half side a",
        };
        add(size, format!("{} mm", plain(sizes.mean_radius_mm)));
        add("coils: separation s", format!("{} mm", plain(sizes.separation_mm)));
        if let Some(turns) = sizes.turns {
            add("turns on each coil N", turns.to_string());
        }
    }
    if let Some(limit) = bench.pair.as_ref().and_then(|pair| pair.current_limit_a) {
        add("largest coil current allowed", format!("{} A", plain(limit)));
    }
    if let Some(limit) = bench.gun.as_ref().and_then(|gun| gun.voltage_limit_v) {
        add("largest anode voltage allowed", format!("{} V", plain(limit)));
    }
    html! {
        @if let Some(figure) = sketch::of_bench(bench, &[]) {
            (table::figure(&figure, html! { "The bench to scale: left from the front, right from the side." }))
        }
        @if !rows.is_empty() { (table::table("Stated for this bench", &[words("part"), words("value")], &rows)) }
    }
}

fn constant(sheet: &Worksheet) -> Markup {
    html! {
        @match (sheet.constant, sheet.sizes) {
            (CoilConstant::Stated(k), _) => p { "The coil constant is stated: " (symbol("k")) " = " (plain(k)) " " (sheet.unit.shown) "/A." },
            (CoilConstant::FromSizes, Some(Sizes { .. })) => {
                p { "The coil constant, at the centre of two coils with the same current, turns and sense:" }
                p.formula { (marked("*k* = *B* / *I* = µ_{0} *N* *R*^{2} / (*R*^{2} + (*s*/2)^{2})^{3/2}")) }
                p { "with " (marked("µ_{0} = 1.2566 × 10^{−6} T m/A")) ". Put the numbers in:" }
            }
            _ => p { "Measure the flux density at the centre for at least five coil currents, draw the line, and read its slope, the coil constant:" },
        }
        p { (symbol("k")) " = " span.blank {} " " (sheet.unit.shown) "/A" }
    }
}

fn blank() -> Markup {
    html! { span.blank.cell {} }
}

/// Settings as they are to be dialled, with places for what the meters then show.
fn readings(sheet: &Worksheet) -> Markup {
    let row = |setting: &Setting| {
        let leads = if setting.is_reversed { "reversed" } else { "as wired" };
        vec![
            html! { (setting.run) },
            html! { (setting.voltage.text) },
            html! { (setting.current.text) },
            html! { (leads) },
            blank(),
            blank(),
            blank(),
        ]
    };
    let empty = |i: usize| {
        let mut cells = vec![html! { (i + 1) }];
        cells.resize_with(7, blank);
        cells
    };
    let cells: Vec<Vec<Markup>> = if sheet.settings.is_empty() {
        (0..EMPTY_ROWS).map(empty).collect()
    } else {
        sheet.settings.iter().map(row).collect()
    };
    let rows: Vec<Row> = cells.into_iter().map(Row::new).collect();
    let columns = [
        words("run"),
        numbers(html! { "set " (marked("*V* / V")) }),
        numbers(html! { "set " (marked("*I* / A")) }),
        words("leads"),
        numbers(html! { "read " (marked("*V* / V")) }),
        numbers(html! { "read " (marked("*I* / A")) }),
        numbers(marked("*d* / mm")),
    ];
    table::table("Your readings", &columns, &rows)
}

/// Places for what is worked out of each run.
fn results(sheet: &Worksheet) -> Markup {
    let names: Vec<String> = if sheet.settings.is_empty() {
        (1..=EMPTY_ROWS).map(|i| i.to_string()).collect()
    } else {
        sheet.settings.iter().map(|setting| setting.run.clone()).collect()
    };
    let row = |name: &String| Row::new(vec![html! { (name) }, blank(), blank(), blank(), blank()]);
    let rows: Vec<Row> = names.iter().map(row).collect();
    let mut columns = vec![words("run")];
    let heads = ["*r* / m", "*B* / T", "*m* / kg", "*v* / (m/s)"];
    columns.extend(heads.map(|head| numbers(marked(head))));
    table::table("Your results", &columns, &rows)
}
