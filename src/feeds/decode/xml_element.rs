//! One element of XML with its content, as the stream builds it for a record.

use std::borrow::Cow;
use std::rc::Rc;

#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub(super) struct Name {
    pub namespace: Option<Rc<str>>,
    /// As written; empty for none.
    pub prefix: Rc<str>,
    pub local: Rc<str>,
}

#[derive(Debug, Default)]
pub(super) struct Element {
    pub name: Name,
    pub attributes: Vec<(Name, String)>,
    pub nodes: Vec<Node>,
}

#[derive(Debug)]
pub(super) enum Node {
    Text(String),
    Element(Element),
}

impl Element {
    pub(super) fn children(&self) -> impl Iterator<Item = &Element> {
        self.nodes.iter().filter_map(|node| match node {
            Node::Element(element) => Some(element),
            Node::Text(_) => None,
        })
    }

    /// All text inside, CDATA included, without blanks at its ends.
    pub(super) fn text(&self) -> Cow<'_, str> {
        let is_blank = |c: char| c.is_ascii_whitespace();
        // Nearly every element that has text has nothing else.
        if let [Node::Text(text)] = self.nodes.as_slice() {
            return text.trim_matches(is_blank).into();
        }
        let mut text = String::new();
        self.add_text(&mut text);
        text.trim_matches(is_blank).to_owned().into()
    }

    // Recursion is bounded: a record is at most `DEPTH_MAX` deep.
    fn add_text(&self, text: &mut String) {
        for node in &self.nodes {
            match node {
                Node::Text(piece) => text.push_str(piece),
                Node::Element(element) => element.add_text(text),
            }
        }
    }

    pub(super) fn push_text(&mut self, piece: &str) {
        match self.nodes.last_mut() {
            Some(Node::Text(text)) => text.push_str(piece),
            _ => self.nodes.push(Node::Text(piece.to_owned())),
        }
    }
}

impl Name {
    /// Whether the name is written so, prefix and all.
    pub(super) fn is_written(&self, name: &str) -> bool {
        match name.split_once(':') {
            Some((prefix, local)) => *self.prefix == *prefix && *self.local == *local,
            None => self.prefix.is_empty() && *self.local == *name,
        }
    }
}
