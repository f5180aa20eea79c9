//! What stands on the sheets: every word as it was written, no more and no less, whatever it looks like.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

use typst::layout::{Frame, FrameItem};

use super::*;

fn page(body: &str) -> String {
    format!("<!DOCTYPE html><html><head><title>Window bench</title></head><body>{body}</body></html>")
}

fn sheets(html: &str, paper: Paper) -> PagedDocument {
    set(tree::read(html).unwrap(), paper).unwrap()
}

/// The words of a sheet in drawing order, without the spaces between them.
fn words(frame: &Frame, into: &mut String) {
    for (_, item) in frame.items() {
        match item {
            FrameItem::Text(text) => into.extend(text.text.chars().filter(|c| !c.is_whitespace())),
            FrameItem::Group(group) => words(&group.frame, into),
            _ => {}
        }
    }
}

fn all_words(html: &str) -> String {
    let mut text = String::new();
    for sheet in sheets(html, Paper::A4).pages() {
        words(&sheet.frame, &mut text);
    }
    text
}

#[test]
fn words_that_look_like_markup_are_set_as_they_stand() {
    let hostile = [
        "#read(\"/bench.toml\")",
        "$x^2$",
        "*bold*_low_",
        "@ref<label>",
        "\\#panic()",
        "//no-comment",
        "=heading",
        "`code`",
        "]#eval(\"1+1\")[",
    ];
    for word in hostile {
        let escaped = word.replace('&', "&amp;").replace('<', "&lt;").replace('>', "&gt;");
        let html = page(&format!("<h2>{escaped}</h2><p>{escaped}</p><ul><li>{escaped}</li></ul>"));
        let text = all_words(&html);
        assert_eq!(text.matches(word).count(), 3, "{word}: {text}");
    }
}

#[test]
fn the_title_may_hold_anything() {
    let html = page("<p>x</p>").replace("Window bench", "#panic(1) &amp; \"two\"");
    assert!(all_words(&html).contains("#panic(1)&\"two\""));
}

#[test]
fn sheets_have_their_standard_s_size() {
    // ISO 216 and ANSI/ASME Y14.1, in millimetres
    for (paper, size) in [(Paper::A4, [210.0, 297.0]), (Paper::Letter, [215.9, 279.4])] {
        let document = sheets(&page("<p>one</p>"), paper);
        let frame = &document.pages()[0].frame;
        let mm = [frame.width().to_mm(), frame.height().to_mm()];
        assert!((mm[0] - size[0]).abs() < 0.05 && (mm[1] - size[1]).abs() < 0.05, "{mm:?}");
    }
}

#[test]
fn what_is_for_the_screen_stays_off_the_paper() {
    let html = page(
        "<nav class=\"screen\"><ul><li>links</li></ul></nav><p>kept</p><details><summary>folded</summary></details>",
    );
    let text = all_words(&html);
    assert!(text.contains("kept") && !text.contains("links") && !text.contains("folded"), "{text}");
}

#[test]
fn a_table_keeps_its_cells_its_notes_and_its_struck_rows() {
    let html = page(
        "<div class=\"table whole\"><p class=\"caption\">Runs</p><table><thead><tr><th>run</th><th class=\"number\"><i class=\"symbol\">V</i> / V</th></tr></thead>\
         <tbody><tr class=\"struck\"><th>7</th><td class=\"number\">200</td></tr>\
         <tr class=\"note struck\"><td colspan=\"2\">Struck: lamp on.</td></tr></tbody></table></div>",
    );
    let text = all_words(&html);
    for word in ["Runs", "run", "V/V", "7", "200", "Struck:lampon."] {
        assert!(text.contains(word), "{word} in {text}");
    }
    // a strike is a line drawn over the number, and a note is told by its sign
    assert!(text.contains('⊘'), "{text}");
}

#[test]
fn a_long_table_goes_on_under_its_heads_on_the_next_sheet() {
    let rows: String =
        (0..120).map(|i| format!("<tr><th>{i}</th><td class=\"number\">1.5</td></tr>")).collect();
    let html = page(&format!(
        "<div class=\"table\"><table><thead><tr><th>run</th><th class=\"number\">current</th></tr></thead><tbody>{rows}</tbody></table></div>"
    ));
    let document = sheets(&html, Paper::A4);
    assert!(document.pages().len() > 1);
    for sheet in document.pages() {
        let mut text = String::new();
        words(&sheet.frame, &mut text);
        assert!(text.contains("current"), "{text}");
    }
}

/// Lower ends of the pictures of a sheet, in millimetres from its upper edge.
fn picture_ends(frame: &Frame, from: f64, into: &mut Vec<f64>) {
    for (at, item) in frame.items() {
        let top = from + at.y.to_mm();
        match item {
            FrameItem::Image(_, size, _) => into.push(top + size.y.to_mm()),
            FrameItem::Group(group) => picture_ends(&group.frame, top, into),
            _ => {}
        }
    }
}

#[test]
fn a_tall_figure_is_made_to_fit_its_sheet() {
    let svg = "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 100 500\" width=\"100\" height=\"500\"><title>t</title>\
        <rect width=\"100\" height=\"500\"/></svg>";
    let html = page(&format!("<figure class=\"drawn\">{svg}<figcaption>Below.</figcaption></figure>"));
    for paper in [Paper::A4, Paper::Letter] {
        let document = sheets(&html, paper);
        assert_eq!(document.pages().len(), 1, "{paper:?}");
        let sheet = &document.pages()[0].frame;
        let mut ends = Vec::new();
        picture_ends(sheet, 0.0, &mut ends);
        assert_eq!(ends.len(), 1);
        // the margin at the foot is 22 mm, and the caption stands above it
        assert!(ends[0] < sheet.height().to_mm() - 26.0, "{paper:?}: {} mm", ends[0]);
    }
}

#[test]
fn what_belongs_together_stands_on_one_sheet() {
    let lines: String = (0..35).map(|i| format!("<p>Line {i}.</p>")).collect();
    let list: String = (0..9).map(|i| format!("<li>Step {i}.</li>")).collect();
    let row = "<tr><th>a</th><td class=\"number\">1</td></tr>".repeat(12);
    let table = format!("<div class=\"table whole\"><table><tbody>{row}</tbody></table></div>");
    let whole = format!("<section class=\"whole\"><h2>Cautions</h2><ol>{list}</ol></section>");
    let lead = format!("<section><h2>Photographs</h2><p>Measured.</p>{table}</section>");
    for (what, first, last) in [(whole, "Cautions", "Step8."), (lead, "Photographs", "a1")] {
        let document = sheets(&page(&format!("{lines}{what}")), Paper::A4);
        let on = |word: &str| {
            document.pages().iter().rposition(|sheet| {
                let mut text = String::new();
                words(&sheet.frame, &mut text);
                text.contains(word)
            })
        };
        assert_eq!(on(first), on(last), "{first}");
        assert_eq!(on(first), Some(1), "the lines before fill the first sheet");
    }
}

#[test]
fn a_figure_is_set_in_its_light_colours_and_the_sheets_typeface() {
    let svg = "<svg xmlns=\"http://www.w3.org/2000/svg\" id=\"f\" viewBox=\"0 0 10 10\" width=\"10\" height=\"10\">\
        <style>#f text{font:14px system-ui,sans-serif;fill:var(--text,#16181c)}</style><title>A \"line\"</title><text x=\"1\" y=\"9\">B</text></svg>";
    let page = tree::read(&page(&format!("<figure class=\"drawn\">{svg}</figure>"))).unwrap();
    let drawn = std::str::from_utf8(&page.pictures[0].bytes).unwrap();
    assert!(drawn.contains("fill:#16181c") && !drawn.contains("var("), "{drawn}");
    assert!(drawn.contains("'Libertinus Serif'"), "{drawn}");
    assert!(format!("{:?}", page.body).contains("A \\\"line\\\""), "{:?}", page.body);
    assert!(set(page, Paper::A4).is_ok());
}

#[test]
fn the_same_page_gives_the_same_bytes_and_they_are_a_pdf() {
    let html =
        page("<h1>Window bench</h1><h2>Result</h2><div class=\"result\"><p class=\"large\">m</p></div>");
    let first = pdf(&html, Paper::Letter).unwrap();
    assert!(first.starts_with(b"%PDF-1."));
    assert_eq!(first, pdf(&html, Paper::Letter).unwrap());
}

#[test]
fn pictures_from_elsewhere_or_of_another_kind_are_refused() {
    let foreign =
        ["photos/ring.jpg", "file:///etc/hosts", "data:image/svg+xml;base64,AAAA", "data:image/png;base64,?"];
    for address in foreign {
        let fault = pdf(&page(&format!("<img src=\"{address}\" alt=\"ring\">")), Paper::A4).unwrap_err();
        assert!(matches!(fault, PdfError::Picture(_)), "{address}: {fault}");
    }
    let spoilt = page("<img src=\"data:image/png;base64,AAAA\" alt=\"ring\">");
    assert!(matches!(pdf(&spoilt, Paper::A4), Err(PdfError::Typesetter(_))));
}

#[test]
fn a_page_without_words_is_said_to_be_none() {
    assert_eq!(pdf("", Paper::A4), Err(PdfError::Empty));
}
