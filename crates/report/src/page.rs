//! The printed report as one file that stands alone, and its figures as files.

use maud::{DOCTYPE, Markup, PreEscaped, html};

use crate::figure::{Figure, HAS_PNG, PngError, Theme};
use crate::input::{ReportError, ReportInput};
use crate::section::{self, Section};
use crate::{chart, chart_lines, field_figures, sketch, style};

/// The whole report as one HTML file: no script, no address outside itself, pictures inside.
///
/// - **Gives** the same text for the same input; every word of the notebook is escaped.
/// - **Fails** where the reduction is of another schema or holds no run, or a picture is none.
pub fn report_html(input: &ReportInput<'_>) -> Result<String, ReportError> {
    input.check()?;
    let sections = section::all(input);
    let page = html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                meta name="generator" content={ "arcmass " (input.reduction.made_by.version) };
                title { (section::title::title(input)) }
                style { (PreEscaped(style::sheet())) }
            }
            body {
                header { (section::title::head(input)) (contents(&sections)) }
                main { @for section in &sections { (of_section(section)) } }
            }
        }
    };
    Ok(page.into_string())
}

fn contents(sections: &[Section]) -> Markup {
    html! {
        nav.screen aria-label="Sections" {
            ul.contents { @for section in sections { li { a href={ "#" (section.id) } { (section.heading) } } } }
        }
    }
}

fn of_section(section: &Section) -> Markup {
    let heading_id = format!("{}-heading", section.id);
    html! {
        section id=(section.id) class=[section::WHOLE.contains(&section.id).then_some("whole")] aria-labelledby=(heading_id) {
            h2 id=(heading_id) { (section.heading) }
            (section.body)
        }
    }
}

/// The report's figures, each with its name, in the report's order.
pub fn figures_of(input: &ReportInput<'_>) -> Vec<Figure> {
    let all: [Option<Figure>; 10] = [
        sketch::apparatus(input),
        input.field.and_then(field_figures::line),
        input.field.and_then(field_figures::profile),
        input.field.and_then(field_figures::map),
        input.field.and_then(field_figures::uniformity),
        Some(chart::masses(input.reduction)),
        chart::budget(input.reduction),
        Some(chart::law(input.reduction, input.field_unit)),
        chart_lines::textbook_lines(input.reduction),
        chart_lines::signatures(input.reduction),
    ];
    all.into_iter().flatten().map(|figure| figure.in_field_unit(input.field_unit)).collect()
}

/// The report's figures as files for `results/figures/`, on light ground: name and SVG, and PNG where that is built in.
///
/// - **Fails** where a figure can't be painted.
pub fn figures(input: &ReportInput<'_>) -> Result<Vec<(String, Vec<u8>)>, PngError> {
    let mut files = Vec::new();
    for figure in figures_of(input) {
        files.push((format!("{}.svg", figure.name()), figure.to_svg_file(Theme::Light).into_bytes()));
        if HAS_PNG {
            files.push((format!("{}.png", figure.name()), figure.to_png(Theme::Light)?));
        }
    }
    Ok(files)
}
