//! The worksheet: everything a group needs, and room for what it finds.

use arcmass_lab::field_unit::FieldUnit;
use arcmass_notebook::{CoilShape, Notebook, Run, Sense};
use arcmass_quantity::print;
use maud::{Markup, html};

use crate::marked::marked;
use crate::section::cautions;
use crate::sketch;
use crate::table::{self, Row, numbers, words};
use crate::words::{plain, symbol};

/// Rows of an empty table.
const EMPTY_ROWS: usize = 8;

pub(super) fn body(notebook: &Notebook, unit: &FieldUnit) -> Markup {
    html! {
        p.names { "Group " span.blank {} " Date " span.blank {} }
        p { "Question: how heavy is one electron? You bend a beam of electrons into a ring, measure the ring, and weigh the electron with it." }
        h2 { "Before touching the bench" }
        (cautions::body())
        h2 { "This bench" }
        (bench(notebook))
        h2 { "1. The field of the coils" }
        (field(notebook, unit))
        h2 { "2. Readings" }
        p {
            "Write down what the meters show, with every digit. " (symbol("d")) " is the " b { "diameter" } " of the ring, straight across, measured to the middle of the bright line. "
            "Write its unit. If you are unsure by half a millimetre, write ± 0.5 mm."
        }
        (readings(notebook))
        h2 { "3. From ring to mass" }
        ol {
            li { "Radius: " (marked("*r* = *d* / 2")) ". In metres: divide millimetres by 1000." }
            li { "Flux density: " (marked("*B* = *k* *I*")) ". " (in_tesla(unit)) }
            li { "The coils’ field turns the beam: its momentum is " (marked("*p* = *e* *B* *r*")) " with " (marked("*e* = 1.602 × 10^{-19} C")) "." }
            li { "The gun gave each electron the energy " (marked("*e* *V* = *p*^{2} / 2*m*")) ". Solve for the mass, then put numbers in:" p.formula { (symbol("m")) " = " span.blank.wide {} } }
            li { "Speed: " (marked("*v* = *p* / *m*")) ". Is it below the speed of light?" }
        }
        h2 { "4. How sure are you?" }
        ol {
            li { "By how many percent could " (symbol("V")) ", " (symbol("I")) ", " (symbol("d")) " and " (symbol("k")) " be wrong? " span.blank.wide {} }
            li { "Which of them counts twice in " (symbol("m")) ", and why? " span.blank.wide {} }
            li { "Which one would you measure better first? " span.blank.wide {} }
            li { "Do your runs agree with each other? Does " (symbol("m")) " change with " (symbol("V")) " or with " (symbol("I")) "? What could do that? " span.blank.wide {} }
        }
        h2 { "5. Result" }
        p.formula { (symbol("m")) " = ( " span.blank {} " ± " span.blank {} " ) kg" }
        p { "Only now look up the accepted mass. How many of your ± lie between? " span.blank {} }
    }
}

/// How the field per ampere in this unit becomes a flux density in tesla.
fn in_tesla(unit: &FieldUnit) -> String {
    match unit.shown.as_str() {
        "T" => "It is in tesla already.".to_owned(),
        "mT" => "In tesla: divide millitesla by 1000.".to_owned(),
        "G" => "In tesla: divide gauss by 10 000.".to_owned(),
        other => format!("In tesla: divide {other} by 1.602 × 10⁻¹⁹."),
    }
}

/// The numbers a group needs, without their uncertainties: to judge these is part of the work.
fn bench(notebook: &Notebook) -> Markup {
    let bench = &notebook.bench;
    let geometry = bench.pair.as_ref().and_then(|pair| pair.geometry.as_ref());
    let mut rows = Vec::new();
    let mut add = |name: &str, value: String| rows.push(Row::new(vec![html! { (name) }, html! { (value) }]));
    if let Some(geometry) = geometry {
        let size = match geometry.shape {
            CoilShape::Circular => "coils: mean radius R",
            CoilShape::Square => "coils: mean half side a",
        };
        add(size, format!("{} mm", plain(1e3 * geometry.mean_radius.value)));
        add("coils: separation s", format!("{} mm", plain(1e3 * geometry.separation.value)));
        if let Some(turns) = geometry.turns {
            add("turns on each coil N", turns.to_string());
        }
    }
    if let Some(limit) = bench.pair.as_ref().and_then(|pair| pair.current_limit_a) {
        add("never more coil current than", format!("{} A", plain(limit)));
    }
    if let Some(limit) = bench.gun.as_ref().and_then(|gun| gun.voltage_limit_v) {
        add("never more voltage on the gun than", format!("{} V", plain(limit)));
    }
    html! {
        @if let Some(figure) = sketch::of_bench(bench, &[]) {
            (table::figure(&figure, html! { "The bench to scale: left from the front, right from the side." }))
        }
        @if !rows.is_empty() { (table::table("Stated for this bench", &[words("part"), words("value")], &rows)) }
    }
}

fn field(notebook: &Notebook, unit: &FieldUnit) -> Markup {
    let pair = notebook.bench.pair.as_ref();
    let circular = pair
        .and_then(|pair| pair.geometry.as_ref())
        .is_some_and(|geometry| geometry.shape == CoilShape::Circular && geometry.turns.is_some());
    let stated = pair.and_then(|pair| pair.field_per_ampere.as_ref());
    html! {
        @if let Some(stated) = stated {
            p { "Your teacher states the field per ampere: " (symbol("k")) " = " (plain(1e3 * unit.per_millitesla * stated.value.abs())) " " (unit.shown) "/A." }
        } @else if circular {
            p { "At the centre of two coils with the same current, turns and sense:" }
            p.formula { (marked("*k* = *B* / *I* = µ_{0} *N* *R*^{2} / (*R*^{2} + (*s*/2)^{2})^{3/2}")) }
            p { "with " (marked("µ_{0} = 1.2566 × 10^{-6} T m/A")) ". Put the numbers in:" }
        } @else {
            p { "Measure the flux density at the centre for at least five coil currents, draw the line, and read its slope:" }
        }
        p.formula { (symbol("k")) " = " span.blank {} " " (unit.shown) "/A" }
    }
}

fn readings(notebook: &Notebook) -> Markup {
    let runs = notebook.readings.iter().flat_map(|table| &table.runs).filter(|run| !run.is_struck());
    let settings: Vec<&Run> = runs.collect();
    let blank = || html! { span.blank.cell {} };
    let row = |run: &Run| {
        Row::new(vec![
            html! { (run.run) },
            html! { (print::significant(run.mean_voltage_v(), 3)) },
            html! { (print::significant(run.mean_current_a(), 3)) },
            html! { (if run.field_sense == Sense::Minus { "reversed" } else { "as built" }) },
            blank(),
            blank(),
            blank(),
            blank(),
            blank(),
        ])
    };
    let empty = |i: usize| {
        Row::new(vec![
            html! { (i + 1) },
            blank(),
            blank(),
            blank(),
            blank(),
            blank(),
            blank(),
            blank(),
            blank(),
        ])
    };
    let rows: Vec<Row> = if settings.is_empty() {
        (0..EMPTY_ROWS).map(empty).collect()
    } else {
        settings.into_iter().map(row).collect()
    };
    let heads = ["*d* /", "*r* / m", "*B* / T", "*m* / kg", "*v* / (m/s)"];
    let mut columns =
        vec![words("run"), numbers(marked("*V* / V")), numbers(marked("*I* / A")), words("leads")];
    columns.extend(heads.map(|head| numbers(marked(head))));
    table::table(
        "Your readings; dial the settings as they stand, and write down what the meters then show",
        &columns,
        &rows,
    )
}
