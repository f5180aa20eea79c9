//! Figures and photographs of a page as files of the typesetter's desk.

use base64::Engine;
use base64::engine::general_purpose::STANDARD;

use crate::PdfError;

/// The typeface of the sheets, which travels with the program.
const FACE: &str = "'Libertinus Serif'";

/// A file that the template may open.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Picture {
    pub(crate) name: String,
    pub(crate) bytes: Vec<u8>,
}

/// Takes every `<svg>…</svg>` out of a page and puts `<img data-figure>` in its place.
///
/// Words of a page are escaped, so `<svg` begins a figure wherever it stands.
pub(crate) fn take_figures(html: &str) -> (String, Vec<Picture>) {
    let (mut rest, mut page, mut figures) = (html, String::with_capacity(html.len()), Vec::new());
    while let Some(start) = rest.find("<svg") {
        let Some(end) = rest[start..].find("</svg>").map(|end| start + end + "</svg>".len()) else { break };
        let name = format!("figure-{}.svg", figures.len() + 1);
        let svg = &rest[start..end];
        page.push_str(&rest[..start]);
        page.push_str(&format!("<img data-figure=\"{name}\" alt=\"{}\">", title(svg).replace('"', "&quot;")));
        figures.push(Picture { name, bytes: on_paper(svg).into_bytes() });
        rest = &rest[end..];
    }
    page.push_str(rest);
    (page, figures)
}

/// The figure's title, as escaped as it stands.
fn title(svg: &str) -> &str {
    let from = svg.find("<title").and_then(|at| Some(at + svg[at..].find('>')? + 1));
    let text = from.and_then(|from| svg[from..].split_once("</title>"));
    text.map_or("", |(text, _)| text)
}

/// A figure of the page as a figure on paper: each `var(--name,value)` its value, every word in the sheets' typeface.
fn on_paper(svg: &str) -> String {
    let (mut rest, mut out) = (svg, String::with_capacity(svg.len()));
    while let Some((before, after)) = rest.split_once("var(--") {
        out.push_str(before);
        let (_, after) = after.split_once(',').unwrap_or(("", after));
        let (value, after) = after.split_once(')').unwrap_or((after, ""));
        out.push_str(value);
        rest = after;
    }
    out.push_str(rest);
    out.replace("system-ui,sans-serif", FACE).replace("Georgia,'Times New Roman',serif", FACE)
}

/// A photograph written into the page as `data:image/jpeg;base64,…`.
pub(crate) fn of_address(address: &str, number: usize) -> Result<Picture, PdfError> {
    let shown = || PdfError::Picture(address.chars().take(40).collect());
    let (kind, text) =
        address.strip_prefix("data:image/").and_then(|rest| rest.split_once(";base64,")).ok_or_else(shown)?;
    let ending = match kind {
        "jpeg" => "jpg",
        "png" => "png",
        _ => return Err(shown()),
    };
    let bytes = STANDARD.decode(text).map_err(|_| shown())?;
    Ok(Picture { name: format!("photograph-{number}.{ending}"), bytes })
}
