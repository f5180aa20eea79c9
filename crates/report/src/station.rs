//! Pieces of the report for a page that is served: sections and figures without style of their own, and one sheet for all.

use arcmass_lab::document::PathDocument;
use arcmass_notebook::Bench;

use crate::figure::{Figure, Theme, css_variables};
use crate::input::{ReportError, ReportInput};
use crate::{section, sketch, style};

/// One section of the report as a piece of a page.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Piece {
    /// Fixed name, such as `budget`.
    pub id: &'static str,
    /// Its heading.
    pub heading: &'static str,
    /// HTML without style, script or address.
    pub html: String,
}

/// Every section that has something to say, in the report's order; `beside` gives what stands at the end of each figure,
/// such as links to its file, by the figure's name.
///
/// - **Fails** as [`crate::report_html`] does.
pub fn pieces(input: &ReportInput<'_>, beside: impl Fn(&str) -> String) -> Result<Vec<Piece>, ReportError> {
    input.check()?;
    let all = section::all(input).into_iter();
    let piece = |section: section::Section| Piece {
        id: section.id,
        heading: section.heading,
        html: with_beside(&without_style(&section.body.into_string()), &beside),
    };
    Ok(all.map(piece).collect())
}

/// The cautions that stand wherever a person is about to act.
pub fn cautions() -> String {
    section::cautions::body().into_string()
}

/// The apparatus drawn to scale from the front and from the side, with a predicted path where there is one.
pub fn apparatus(bench: &Bench, path: Option<&PathDocument>) -> Option<Figure> {
    let ring = path.map(|path| path.points_mm.clone()).unwrap_or_default();
    sketch::of_bench(bench, &ring)
}

/// A figure for a page whose sheet is [`sheet`].
pub fn figure_html(figure: &Figure, caption: &str) -> String {
    without_style(&crate::table::figure(figure, maud::html! { (caption) }).into_string())
}

/// The style sheet that pieces and figures need: colours of both themes under `[data-theme]`, rules for the rest.
pub fn sheet() -> String {
    let figure = Figure::new("", "").id("x").to_svg();
    let rules =
        figure.split("<style>").nth(1).and_then(|rest| rest.split("</style>").next()).unwrap_or_default();
    format!(
        ":root{{color-scheme:dark;{}}}\n:root[data-theme=light]{{color-scheme:light;{}}}\n{}\n{}",
        css_variables(Theme::Dark),
        css_variables(Theme::Light),
        style::RULES,
        rules.replace("#figure-x ", "svg.figure ")
    )
}

/// Takes out the style blocks of figures: a served page allows no style but its sheet's.
fn without_style(html: &str) -> String {
    let mut rest = html;
    let mut kept = String::with_capacity(html.len());
    while let Some((before, after)) = rest.split_once("<style>") {
        kept.push_str(before);
        rest = after.split_once("</style>").map_or("", |(_, after)| after);
    }
    kept.push_str(rest);
    kept
}

/// Puts what stands beside a figure before the end of its `<figure>`.
fn with_beside(html: &str, beside: &impl Fn(&str) -> String) -> String {
    let mut kept = String::with_capacity(html.len());
    for part in html.split_inclusive("</figure>") {
        let name = part
            .rsplit_once("<figure class=\"drawn\"")
            .and_then(|(_, drawn)| drawn.split("id=\"figure-").nth(1)?.split('"').next());
        match (part.strip_suffix("</figure>"), name) {
            (Some(figure), Some(name)) => {
                kept.push_str(figure);
                kept.push_str(&beside(name));
                kept.push_str("</figure>");
            }
            _ => kept.push_str(part),
        }
    }
    kept
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::figure::{Axis, Meaning, Panel, Point};

    #[test]
    fn what_stands_beside_a_figure_comes_at_its_end() {
        let panel = Panel::new(Axis::new("*I* / A"), Axis::new("*B* / mT"));
        let figure = Figure::new("a", "b").id("law").panel(panel);
        let html = format!("<p>x</p>{}<figure class=\"photo\"></figure>", figure_html(&figure, "A line."));
        let with = with_beside(&html, &|name: &str| format!("[{name}]"));
        assert!(with.contains("[law]</figure><figure class=\"photo\"></figure>"), "{with}");
        assert_eq!(with.matches('[').count(), html.matches('[').count() + 1);
    }

    #[test]
    fn a_figure_on_the_page_has_no_style_but_every_class_is_in_the_sheet() {
        let panel = Panel::new(Axis::new("*I* / A"), Axis::new("*B* / mT"));
        let points = vec![Point::new(1.0, 1.0), Point::new(2.0, 2.0)];
        let figure = Figure::new("a", "b").panel(panel.points(Meaning::Measured, "read", points));
        let html = figure_html(&figure, "A line.");
        assert!(!html.contains("style"), "{html}");
        let sheet = sheet();
        for class in html.split("class=\"").skip(1).filter_map(|rest| rest.split('"').next()) {
            let known = sheet.contains(&format!(".{class}"));
            assert!(known || ["figure", "drawn", "scroll", "data", "number"].contains(&class), "{class}");
        }
        assert!(sheet.contains("svg.figure .measured-fill{fill:var(--measured"));
    }
}
