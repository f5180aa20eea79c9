//! Writes SVG: numbers of two decimals, escaped words, colours by name.

use super::clip::Frame;
use super::label::{escape, to_tspans};
use super::meaning::{COLOURS, Meaning, Theme};
use crate::inside::data_uri;

/// Height of text, in the figure's units.
pub(super) const TEXT: f64 = 14.0;

/// Where colours come from.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Paint {
    /// The page's custom properties, light values when it has none.
    Page,
    /// Fixed colours on a ground of its own.
    File(Theme),
}

/// Which end of a text stands at its place.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Anchor {
    Start,
    Middle,
    End,
}

/// An SVG document in the making.
pub(super) struct Svg {
    out: String,
    id: String,
    paint: Paint,
}

/// A coordinate: two decimals at most, never a sign on zero, never anything but a number.
pub(super) fn num(value: f64) -> String {
    if !value.is_finite() {
        return "0".to_owned();
    }
    let text = format!("{value:.2}");
    let text = text.trim_end_matches('0').trim_end_matches('.');
    if text == "-0" { "0".to_owned() } else { text.to_owned() }
}

impl Svg {
    pub(super) fn new(paint: Paint, id: &str, [width, height]: [f64; 2]) -> Self {
        let (w, h) = (num(width), num(height));
        let mut out = format!(
            "<svg xmlns=\"http://www.w3.org/2000/svg\" id=\"{id}\" class=\"figure\" viewBox=\"0 0 {w} {h}\" \
             width=\"{w}\" height=\"{h}\" role=\"img\" aria-labelledby=\"{id}-title {id}-desc\">\n"
        );
        let style = style(paint, id);
        let ground = match paint {
            Paint::Page => String::new(),
            Paint::File(_) => format!("<rect class=\"ground\" width=\"{w}\" height=\"{h}\"/>\n"),
        };
        out.push_str(&format!("<style>{style}</style>\n{ground}"));
        Svg { out, id: id.to_owned(), paint }
    }

    pub(super) fn title(&mut self, title: &str, description: &str) {
        // The first children name the picture; the style before them does no harm to that.
        let id = &self.id;
        self.out.push_str(&format!(
            "<title id=\"{id}-title\">{}</title>\n<desc id=\"{id}-desc\">{}</desc>\n",
            escape(title),
            escape(description)
        ));
    }

    /// Whether it stands on dark ground whatever the page.
    pub(super) fn is_dark(&self) -> bool {
        self.paint == Paint::File(Theme::Dark)
    }

    pub(super) fn finish(mut self) -> String {
        self.out.push_str("</svg>\n");
        self.out
    }

    pub(super) fn raw_line(&mut self, element: &str) {
        self.out.push_str(element);
        self.out.push('\n');
    }

    pub(super) fn line(&mut self, class: &str, points: &[[f64; 2]]) {
        if points.len() > 1 {
            let data = path_data(points);
            self.raw_line(&format!("<path class=\"{class}\" d=\"{data}\"/>"));
        }
    }

    pub(super) fn area(&mut self, class: &str, points: &[[f64; 2]]) {
        if points.len() > 2 {
            let data = path_data(points);
            self.raw_line(&format!("<path class=\"{class}\" d=\"{data}Z\"/>"));
        }
    }

    /// An area with a hole in it, whichever way round either runs.
    pub(super) fn area_with_hole(&mut self, class: &str, points: &[[f64; 2]], hole: &[[f64; 2]]) {
        if points.len() > 2 && hole.len() > 2 {
            let data = format!("{}Z{}Z", path_data(points), path_data(hole));
            self.raw_line(&format!("<path class=\"{class}\" fill-rule=\"evenodd\" d=\"{data}\"/>"));
        } else {
            self.area(class, points);
        }
    }

    /// Several areas of one colour as one element, so that no seam shows between them.
    pub(super) fn areas(&mut self, colour: &str, areas: &[Vec<[f64; 2]>]) {
        let data: String =
            areas.iter().filter(|a| a.len() > 2).map(|area| format!("{}Z", path_data(area))).collect();
        if !data.is_empty() {
            self.raw_line(&format!("<path fill=\"{colour}\" d=\"{data}\"/>"));
        }
    }

    pub(super) fn rect(&mut self, class: &str, [left, top, right, foot]: Frame) {
        let (x, y, w, h) = (num(left), num(top), num(right - left), num(foot - top));
        self.raw_line(&format!("<rect class=\"{class}\" x=\"{x}\" y=\"{y}\" width=\"{w}\" height=\"{h}\"/>"));
    }

    /// A JPEG filling a frame.
    pub(super) fn jpeg(&mut self, [left, top, right, foot]: Frame, jpeg: &[u8]) {
        let (x, y, w, h) = (num(left), num(top), num(right - left), num(foot - top));
        let picture = data_uri("image/jpeg", jpeg);
        self.raw_line(&format!(
            "<image x=\"{x}\" y=\"{y}\" width=\"{w}\" height=\"{h}\" preserveAspectRatio=\"none\" href=\"{picture}\"/>"
        ));
    }

    /// Small round dots as one element: strokes of no length with round ends.
    pub(super) fn dots(&mut self, class: &str, points: &[[f64; 2]]) {
        let data: String = points.iter().map(|[x, y]| format!("M{} {}h0", num(*x), num(*y))).collect();
        if !data.is_empty() {
            self.raw_line(&format!("<path class=\"{class}\" d=\"{data}\"/>"));
        }
    }

    /// Opens a group whose marks lie on a photograph: the colours of dark ground whatever the ground.
    pub(super) fn begin_on_picture(&mut self) {
        let id = &self.id;
        let rules: String = EVERY_MEANING
            .iter()
            .filter_map(|meaning| {
                // a quiet line would be lost on the beam
                let wanted = if *meaning == Meaning::Plain { "text" } else { meaning.colour() };
                let (_, _, dark) = COLOURS.iter().find(|(name, ..)| *name == wanted)?;
                let class = meaning.class();
                Some(format!(
                    "#{id} .on-picture .{class}-line,#{id} .on-picture .{class}-bar,#{id} .on-picture .{class}-open{{stroke:{dark}}}"
                ))
            })
            .collect();
        self.out.push_str(&format!(
            "<style>{rules}#{id} .on-picture [class$=-open]{{fill:none}}</style>\n<g class=\"on-picture\">\n"
        ));
    }

    pub(super) fn circle(&mut self, class: &str, [x, y]: [f64; 2], radius: f64) {
        let (x, y, r) = (num(x), num(y), num(radius));
        self.raw_line(&format!("<circle class=\"{class}\" cx=\"{x}\" cy=\"{y}\" r=\"{r}\"/>"));
    }

    pub(super) fn text(&mut self, class: &str, [x, y]: [f64; 2], anchor: Anchor, markup: &str) {
        self.turned_text(class, [x, y], anchor, markup, false);
    }

    /// Text, upright or turned to read from below.
    pub(super) fn turned_text(
        &mut self,
        class: &str,
        [x, y]: [f64; 2],
        anchor: Anchor,
        markup: &str,
        turned: bool,
    ) {
        let words = to_tspans(markup);
        if words.is_empty() {
            return;
        }
        let (x, y) = (num(x), num(y));
        let class = if class.is_empty() { String::new() } else { format!(" class=\"{class}\"") };
        let anchor = match anchor {
            Anchor::Start => "",
            Anchor::Middle => " text-anchor=\"middle\"",
            Anchor::End => " text-anchor=\"end\"",
        };
        let turn = if turned { format!(" transform=\"rotate(-90 {x} {y})\"") } else { String::new() };
        self.raw_line(&format!("<text{class} x=\"{x}\" y=\"{y}\"{anchor}{turn}>{words}</text>"));
    }
}

fn path_data(points: &[[f64; 2]]) -> String {
    let mut data = String::with_capacity(points.len() * 12);
    for (index, [x, y]) in points.iter().enumerate() {
        data.push(if index == 0 { 'M' } else { 'L' });
        data.push_str(&format!("{} {}", num(*x), num(*y)));
    }
    data
}

/// The style of one figure; every rule begins with the figure's id, so that figures cannot reach each other.
fn style(paint: Paint, id: &str) -> String {
    let colour = |wanted: &str| {
        let (name, light, dark) = COLOURS.iter().find(|(name, ..)| *name == wanted).unwrap_or(&COLOURS[0]);
        match paint {
            Paint::Page => format!("var(--{name},{light})"),
            Paint::File(theme) => theme.pick(light, dark).to_owned(),
        }
    };
    let (text, quiet, hairline, ground) =
        (colour("text"), colour("quiet"), colour("hairline"), colour("ground"));
    let panel = colour("panel");
    // a map has colours of its own, dark only in a file for dark ground
    let (ink, halo) =
        if paint == Paint::File(Theme::Dark) { ("#EDE8DA", "#0E1013") } else { ("#111", "#FFF") };
    let mut rules = vec![
        (
            "text".to_owned(),
            format!("font:{TEXT}px system-ui,sans-serif;font-variant-numeric:tabular-nums;fill:{text}"),
        ),
        (".sym".to_owned(), "font-family:Georgia,'Times New Roman',serif;font-style:italic".to_owned()),
        (".sub".to_owned(), "font-size:10.5px".to_owned()),
        (".quiet".to_owned(), format!("fill:{quiet}")),
        (".ground".to_owned(), format!("fill:{ground}")),
        (".frame".to_owned(), format!("fill:none;stroke:{text};stroke-width:1")),
        (".tick".to_owned(), format!("fill:none;stroke:{text};stroke-width:1")),
        (".hair".to_owned(), format!("fill:none;stroke:{hairline};stroke-width:1")),
        (
            ".onmap".to_owned(),
            format!("fill:{ink};stroke:{halo};stroke-opacity:.75;stroke-width:3;paint-order:stroke"),
        ),
        (".level".to_owned(), format!("fill:none;stroke:{ink};stroke-opacity:.6;stroke-width:.8")),
        (".o-body".to_owned(), format!("fill:{panel};stroke:{text};stroke-width:1.2")),
        (".o-glass".to_owned(), format!("fill:{panel};fill-opacity:.45;stroke:{quiet};stroke-width:1.4")),
        (".o-coil".to_owned(), format!("fill:{hairline};stroke:{quiet};stroke-width:1.2")),
        (".o-thin".to_owned(), format!("fill:none;stroke:{quiet};stroke-width:1;stroke-dasharray:8 3 2 3")),
        (
            ".glow".to_owned(),
            format!("fill:none;stroke:{};stroke-width:15;stroke-opacity:.13", colour("beam")),
        ),
        (".halo".to_owned(), format!("fill:none;stroke:{};stroke-width:7;stroke-opacity:.3", colour("beam"))),
        (".core".to_owned(), format!("fill:none;stroke:{};stroke-width:1", colour("core"))),
    ];
    for meaning in EVERY_MEANING {
        let (class, tint) = (meaning.class(), colour(meaning.colour()));
        let (dash, width) = meaning.line();
        let dash = dash.map(|d| format!(";stroke-dasharray:{d}")).unwrap_or_default();
        let cap = if meaning == Meaning::Stated { ";stroke-linecap:round" } else { "" };
        rules.push((
            format!(".{class}-line"),
            format!("fill:none;stroke:{tint};stroke-width:{width};stroke-linejoin:round{dash}{cap}"),
        ));
        rules.push((format!(".{class}-bar"), format!("fill:none;stroke:{tint};stroke-width:1.4")));
        rules.push((format!(".{class}-fill"), format!("fill:{tint}")));
        rules.push((format!(".{class}-open"), format!("fill:{ground};stroke:{tint};stroke-width:1.4")));
        rules.push((format!(".{class}-band"), format!("fill:{tint};fill-opacity:.2")));
    }
    rules.push((".dots".to_owned(), "stroke-width:2.8;stroke-linecap:round".to_owned()));
    rules.iter().map(|(selector, body)| format!("#{id} {selector}{{{body}}}")).collect()
}

const EVERY_MEANING: [Meaning; 9] = [
    Meaning::Measured,
    Meaning::Predicted,
    Meaning::Textbook,
    Meaning::Rejected,
    Meaning::Stated,
    Meaning::Accepted,
    Meaning::Caution,
    Meaning::Beam,
    Meaning::Plain,
];
