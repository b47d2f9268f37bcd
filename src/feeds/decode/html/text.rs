//! The text of an element as a person reads it.

use ego_tree::iter::Edge;
use scraper::{ElementRef, Node};

/// Elements whose borders divide words (HTML Standard 15.3, abridged to what shop pages use).
const DIVIDING: [&str; 27] = [
    "address",
    "article",
    "aside",
    "blockquote",
    "br",
    "dd",
    "div",
    "dl",
    "dt",
    "figcaption",
    "figure",
    "footer",
    "h1",
    "h2",
    "h3",
    "h4",
    "header",
    "hr",
    "li",
    "main",
    "ol",
    "p",
    "section",
    "table",
    "td",
    "tr",
    "ul",
];
const HIDDEN: [&str; 4] = ["script", "style", "template", "noscript"];

pub(super) struct ElementText {
    /// Runs of blanks are one space.
    pub text: String,
    /// Digits meet at the border of two elements, so where one number ends is not known:
    /// `1.299<sup>99</sup>` is neither 1.29999 nor 129999.
    pub is_number_split: bool,
}

pub(super) fn element_text(element: ElementRef<'_>) -> ElementText {
    let mut text = String::new();
    let mut is_number_split = false;
    let mut hidden = 0usize;
    let mut at_border = false;
    for edge in element.traverse() {
        let (node, is_open) = match edge {
            Edge::Open(node) => (node, true),
            Edge::Close(node) => (node, false),
        };
        match node.value() {
            Node::Text(piece) if is_open && hidden == 0 => {
                let first = piece.chars().next();
                let meets =
                    text.ends_with(|c: char| c.is_numeric()) && first.is_some_and(char::is_numeric);
                is_number_split |= at_border && meets;
                text.push_str(piece);
                at_border = false;
            }
            Node::Element(inner) => {
                let name = inner.name();
                if HIDDEN.contains(&name) {
                    hidden = if is_open {
                        hidden + 1
                    } else {
                        hidden.saturating_sub(1)
                    };
                }
                if DIVIDING.contains(&name) {
                    text.push(' ');
                }
                at_border = true;
            }
            _ => {}
        }
    }
    ElementText {
        text: fold_blanks(&text),
        is_number_split,
    }
}

/// ASCII blanks alone: a no-break space inside a price is part of it.
fn fold_blanks(text: &str) -> String {
    let words: Vec<&str> = text.split_ascii_whitespace().collect();
    words.join(" ")
}
