//! A page as a tree of what is said: elements with their classes and children, tables with their columns.

use serde::Serialize;

use crate::PdfError;
use crate::html::{self, Element, Node};
use crate::pictures::{self, Picture};
use crate::table::{self, Table};

/// A page read: its words as data, and its pictures.
#[derive(Debug, Clone)]
pub(crate) struct Page {
    pub(crate) title: String,
    pub(crate) made_by: String,
    pub(crate) body: Vec<Part>,
    pub(crate) pictures: Vec<Picture>,
}

/// A piece of a page.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[serde(untagged)]
pub(crate) enum Part {
    /// Words.
    Text(String),
    /// A table.
    Table(Table),
    /// A figure or photograph.
    Picture {
        /// Name of the file on the desk.
        picture: String,
        /// What it shows, for who can't see it.
        alt: String,
    },
    /// An element with what stands in it.
    Element {
        /// `p`, `h2`, `ul` …
        tag: String,
        /// Its classes.
        class: Vec<String>,
        /// What stands in it.
        kids: Vec<Part>,
    },
}

/// What is for the screen only.
fn is_left_out(element: &Element) -> bool {
    let aside = ["style", "script", "nav", "details", "button", "form", "template"];
    element.has("screen") || aside.contains(&element.name.as_str())
}

/// Reads a whole page.
pub(crate) fn read(html: &str) -> Result<Page, PdfError> {
    let (html, figures) = pictures::take_figures(html);
    let tree = html::read(&html);
    let mut reader = Reader { pictures: figures };
    let body = tree.find(&|element| element.name == "body");
    let body = body.map(|body| reader.kids(body)).transpose()?.unwrap_or_default();
    if body.is_empty() {
        return Err(PdfError::Empty);
    }
    let title = tree.find(&|element| element.name == "title").map(Element::text).unwrap_or_default();
    let generator = tree.find(&|element| element.attribute("name") == Some("generator"));
    let made_by = generator.and_then(|meta| meta.attribute("content")).unwrap_or("arcmass").to_owned();
    Ok(Page { title, made_by, body, pictures: reader.pictures })
}

/// Reads parts and keeps the pictures it meets.
pub(crate) struct Reader {
    pictures: Vec<Picture>,
}

impl Reader {
    /// What stands in an element.
    pub(crate) fn kids(&mut self, element: &Element) -> Result<Vec<Part>, PdfError> {
        let mut parts = Vec::new();
        for kid in &element.kids {
            match kid {
                Node::Text(text) => parts.push(Part::Text(text.clone())),
                Node::Element(kid) if is_left_out(kid) => {}
                Node::Element(kid) => parts.push(self.part(kid)?),
            }
        }
        Ok(parts)
    }

    fn part(&mut self, element: &Element) -> Result<Part, PdfError> {
        match element.name.as_str() {
            "img" => self.picture(element),
            "table" => Ok(Part::Table(table::read(self, element)?)),
            name => Ok(Part::Element {
                tag: name.to_owned(),
                class: element.classes().map(str::to_owned).collect(),
                kids: self.kids(element)?,
            }),
        }
    }

    fn picture(&mut self, element: &Element) -> Result<Part, PdfError> {
        let alt = element.attribute("alt").unwrap_or_default().to_owned();
        if let Some(figure) = element.attribute("data-figure") {
            return Ok(Part::Picture { picture: figure.to_owned(), alt });
        }
        let address = element.attribute("src").unwrap_or_default();
        let picture = pictures::of_address(address, self.pictures.len() + 1)?;
        let name = picture.name.clone();
        self.pictures.push(picture);
        Ok(Part::Picture { picture: name, alt })
    }
}
