//! The printed report as one file that stands alone, and its figures as files.

use maud::{DOCTYPE, Markup, PreEscaped, html};

use crate::figure::{Figure, Theme};
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
        section id=(section.id) aria-labelledby=(heading_id) {
            h2 id=(heading_id) { (section.heading) }
            (section.body)
        }
    }
}

/// The report's figures as files for `results/figures/`: name and SVG, on light ground.
pub fn figures(input: &ReportInput<'_>) -> Vec<(String, String)> {
    let all: [(&str, Option<Figure>); 10] = [
        ("apparatus.svg", sketch::apparatus(input)),
        ("field.svg", input.field.and_then(field_figures::line)),
        ("field-profile.svg", input.field.and_then(field_figures::profile)),
        ("field-map.svg", input.field.and_then(field_figures::map)),
        ("field-uniformity.svg", input.field.and_then(field_figures::uniformity)),
        ("masses.svg", Some(chart::masses(input.reduction))),
        ("budget.svg", chart::budget(input.reduction)),
        ("law.svg", Some(chart::law(input.reduction))),
        ("textbook-lines.svg", chart_lines::textbook_lines(input.reduction)),
        ("signatures.svg", chart_lines::signatures(input.reduction)),
    ];
    let kept = all.into_iter().filter_map(|(name, figure)| Some((name, figure?)));
    kept.map(|(name, figure)| (name.to_owned(), figure.to_svg_file(Theme::Light))).collect()
}
