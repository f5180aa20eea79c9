//! One definition of a figure, drawn as SVG for page, report and file alike, and told as text.
//!
//! A [`Figure`] holds rows of [`Panel`]s; a panel holds two [`Axis`] and layers whose [`Meaning`] decides mark,
//! line and colour. [`Figure::to_svg`] gives SVG for a page, whose colours follow the page's custom properties;
//! [`Figure::to_svg_file`] and [`Figure::to_png`] give files that stand alone; [`Figure::to_table`] gives the same data as text.

mod axis;
mod clip;
mod contour;
mod draw;
mod label;
mod layout;
mod legend;
mod meaning;
mod panel;
mod place;
mod png;
mod svg;
mod table;
#[cfg(test)]
mod tests;
mod unit;

pub use axis::Axis;
pub(crate) use label::{Run as LabelRun, runs as label_runs};
pub use meaning::{Meaning, Theme, css_variables};
pub use panel::{Bar, Map, Outline, Palette, Panel, Point, Side};
pub use png::{HAS_PNG, PngError};
pub use table::TextTable;

use svg::{Paint, Svg};

/// Width of a figure in its own units when none is asked for.
const WIDTH: f64 = 720.0;

/// A figure: a title and a description in words, and panels.
#[derive(Debug, Clone, PartialEq)]
pub struct Figure {
    title: String,
    description: String,
    id: String,
    width: f64,
    rows: Vec<Vec<Panel>>,
}

impl Figure {
    /// A figure without panels yet.
    ///
    /// `title` names it for a screen reader; `description` says in a sentence or two what it shows. Neither is
    /// drawn: the caption is the page's.
    pub fn new(title: impl Into<String>, description: impl Into<String>) -> Self {
        let (title, description) = (title.into(), description.into());
        let id = format!("figure-{:08x}", fnv(&[title.as_bytes(), description.as_bytes()]));
        Figure { title, description, id, width: WIDTH, rows: Vec::new() }
    }

    /// Names the figure in its page; every name inside it begins with this one.
    ///
    /// Without it the name is made from title and description, so only two figures alike in both need one.
    #[must_use]
    pub fn id(mut self, id: &str) -> Self {
        let plain = |c: char| if c.is_ascii_alphanumeric() || c == '-' { c } else { '-' };
        self.id = format!("figure-{}", id.chars().map(plain).collect::<String>());
        self
    }

    /// Replaces the description, where it can only be told once the panels are known.
    #[must_use]
    pub fn described(mut self, description: impl Into<String>) -> Self {
        self.description = description.into();
        self
    }

    /// Sets the width in the figure's own units (a text line is 14 of them high); at least 240.
    #[must_use]
    pub fn width(mut self, width: f64) -> Self {
        self.width = if width.is_finite() { width.max(240.0) } else { WIDTH };
        self
    }

    /// Adds a panel below the others.
    #[must_use]
    pub fn panel(mut self, panel: Panel) -> Self {
        self.rows.push(vec![panel]);
        self
    }

    /// Adds a panel to the right of the last one.
    ///
    /// Two drawings to scale beside each other get the same scale.
    #[must_use]
    pub fn panel_beside(mut self, panel: Panel) -> Self {
        match self.rows.last_mut() {
            Some(row) => row.push(panel),
            None => self.rows.push(vec![panel]),
        }
        self
    }

    /// The name given by [`Figure::id`].
    pub fn name(&self) -> &str {
        self.id.strip_prefix("figure-").unwrap_or(&self.id)
    }

    /// The title, as given.
    pub fn title(&self) -> &str {
        &self.title
    }

    /// The description, as given.
    pub fn description(&self) -> &str {
        &self.description
    }

    /// SVG to put into a page; its colours are the page's custom properties (see [`css_variables`]).
    pub fn to_svg(&self) -> String {
        self.render(Paint::Page)
    }

    /// SVG as a file of its own, with ground and fixed colours.
    pub fn to_svg_file(&self, theme: Theme) -> String {
        format!("<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n{}", self.render(Paint::File(theme)))
    }

    fn render(&self, paint: Paint) -> String {
        let layout = layout::lay_out(&self.rows, self.width);
        let mut svg = Svg::new(paint, &self.id, [self.width, layout.height]);
        svg.title(&self.title, &self.description);
        legend::draw(&mut svg, &layout.legend);
        for cell in &layout.cells {
            draw::panel(&mut svg, cell);
        }
        svg.finish()
    }

    /// The data of every panel as tables, in drawing order.
    pub fn tables(&self) -> Vec<TextTable> {
        table::of_rows(&self.rows)
    }

    /// The figure as text: title, description and tables in aligned columns.
    pub fn to_table(&self) -> String {
        let mut text = format!("{}\n{}\n", self.title, self.description);
        for table in self.tables() {
            text.push('\n');
            text.push_str(&table.to_string());
        }
        text
    }
}

/// The 32-bit FNV-1a hash (constants from memory); only to tell figures of a page apart.
fn fnv(parts: &[&[u8]]) -> u32 {
    let bytes = parts.iter().flat_map(|part| part.iter());
    bytes.fold(0x811C_9DC5, |hash, byte| (hash ^ u32::from(*byte)).wrapping_mul(0x0100_0193))
}
