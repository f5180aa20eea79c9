//! Our own HTML as a tree: tags that close in order, as the page's writer writes them.

use std::collections::BTreeMap;

use html5gum::{Token, Tokenizer};

/// Elements that hold nothing and have no end tag (HTML Living Standard, § 13.1.2).
const VOID: [&str; 6] = ["br", "col", "hr", "img", "input", "meta"];

/// An element or a stretch of words.
#[derive(Debug, Clone, PartialEq)]
pub(crate) enum Node {
    Text(String),
    Element(Element),
}

/// An element.
#[derive(Debug, Clone, Default, PartialEq)]
pub(crate) struct Element {
    pub(crate) name: String,
    attributes: BTreeMap<String, String>,
    pub(crate) kids: Vec<Node>,
}

impl Element {
    pub(crate) fn attribute(&self, name: &str) -> Option<&str> {
        self.attributes.get(name).map(String::as_str)
    }

    pub(crate) fn classes(&self) -> impl Iterator<Item = &str> {
        self.attribute("class").unwrap_or_default().split_ascii_whitespace()
    }

    pub(crate) fn has(&self, class: &str) -> bool {
        self.classes().any(|one| one == class)
    }

    /// The elements right inside it.
    pub(crate) fn elements(&self) -> impl Iterator<Item = &Element> {
        self.kids.iter().filter_map(|kid| match kid {
            Node::Element(element) => Some(element),
            Node::Text(_) => None,
        })
    }

    /// The first element anywhere inside it for which that holds.
    pub(crate) fn find(&self, is: &impl Fn(&Element) -> bool) -> Option<&Element> {
        self.elements().find_map(|kid| if is(kid) { Some(kid) } else { kid.find(is) })
    }

    /// All words inside it.
    pub(crate) fn text(&self) -> String {
        let of = |kid: &Node| match kid {
            Node::Text(text) => text.clone(),
            Node::Element(element) => element.text(),
        };
        self.kids.iter().map(of).collect()
    }
}

/// Reads a page; a tag left open ends with what holds it, a stray end tag is passed over.
pub(crate) fn read(html: &str) -> Element {
    let mut open = vec![Element::default()];
    for Ok(token) in Tokenizer::new(html) {
        match token {
            Token::StartTag(tag) => {
                let text = |bytes: &[u8]| String::from_utf8_lossy(bytes).into_owned();
                let attributes = tag.attributes.iter().map(|(name, value)| (text(name), text(value)));
                let name = text(&tag.name);
                let is_void = tag.self_closing || VOID.contains(&name.as_str());
                open.push(Element { name, attributes: attributes.collect(), kids: Vec::new() });
                if is_void {
                    close(&mut open);
                }
            }
            Token::EndTag(tag) => {
                let name = String::from_utf8_lossy(&tag.name);
                if let Some(depth) = open.iter().rposition(|element| element.name == name) {
                    while open.len() > depth.max(1) {
                        close(&mut open);
                    }
                }
            }
            Token::String(words) => {
                let words = String::from_utf8_lossy(&words).into_owned();
                if let Some(element) = open.last_mut() {
                    element.kids.push(Node::Text(words));
                }
            }
            _ => {}
        }
    }
    while open.len() > 1 {
        close(&mut open);
    }
    open.pop().unwrap_or_default()
}

/// Puts the innermost open element into the one that holds it.
fn close(open: &mut Vec<Element>) {
    if open.len() < 2 {
        return;
    }
    if let (Some(inner), Some(outer)) = (open.pop(), open.last_mut()) {
        outer.kids.push(Node::Element(inner));
    }
}
