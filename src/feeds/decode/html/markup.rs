//! Microdata and RDFa Lite: things written into the attributes of a page's elements.
//!
//! Both say with one attribute that an element is a thing, with another of which type, and with
//! a third of which property an element is a value (HTML Standard 5.2; RDFa Lite 1.1 section 2).

use super::text::element_text;
use super::things::{Thing, Value, local_name};
use crate::market::RawText;
use ego_tree::NodeId;
use ego_tree::iter::Edge;
use scraper::{ElementRef, Html};

/// Things inside things; deeper ones are read as part of the thing around them.
const DEPTH_MAX: usize = 32;
/// Properties whose text is money, where a number split over elements must not be glued.
const MONEY: [&str; 3] = ["price", "lowPrice", "highPrice"];
/// Properties that a link's address may be the value of. Templates also put `itemprop="name"` on
/// a link, and then the text is meant.
const ADDRESSES: [&str; 12] = [
    "url",
    "availability",
    "itemCondition",
    "image",
    "logo",
    "sameAs",
    "priceType",
    "additionalType",
    "mainEntityOfPage",
    "businessFunction",
    "acceptedPaymentMethod",
    "isRelatedTo",
];

/// Which attributes say what.
pub(super) struct Syntax {
    is_thing: &'static str,
    types: &'static str,
    property: &'static str,
    identities: &'static [&'static str],
}

pub(super) const MICRODATA: Syntax = Syntax {
    is_thing: "itemscope",
    types: "itemtype",
    property: "itemprop",
    identities: &["itemid"],
};

pub(super) const RDFA: Syntax = Syntax {
    is_thing: "typeof",
    types: "typeof",
    property: "property",
    identities: &["resource", "about"],
};

/// A thing whose element is still open.
struct Open {
    node: NodeId,
    thing: Thing,
    /// The properties of the thing around it that it is the value of.
    properties: Vec<String>,
}

/// Every outermost thing of the page. Notes say what could not be read for certain.
pub(super) fn collect_markup(page: &Html, syntax: &Syntax, notes: &mut Vec<String>) -> Vec<Thing> {
    let mut things = Vec::new();
    let mut open: Vec<Open> = Vec::new();
    for edge in page.tree.root().traverse() {
        match edge {
            Edge::Open(node) => {
                if let Some(element) = ElementRef::wrap(node) {
                    enter(element, syntax, &mut open, notes);
                }
            }
            Edge::Close(node) => {
                if open.last().is_some_and(|top| top.node == node.id())
                    && let Some(done) = open.pop()
                {
                    close(done, &mut open, &mut things);
                }
            }
        }
    }
    things
}

fn enter(element: ElementRef<'_>, syntax: &Syntax, open: &mut Vec<Open>, notes: &mut Vec<String>) {
    let properties = names(element.attr(syntax.property));
    if element.attr(syntax.is_thing).is_some() && open.len() < DEPTH_MAX {
        let identities = syntax.identities.iter();
        let id = identities.filter_map(|name| element.attr(name)).next();
        open.push(Open {
            node: element.id(),
            thing: Thing {
                types: names(element.attr(syntax.types)),
                id: id.map(|id| id.trim().to_owned()),
                properties: Vec::new(),
            },
            properties,
        });
        return;
    }
    let Some(around) = open.last_mut() else {
        return;
    };
    for property in properties {
        match value_of(element, &property) {
            Some(value) => around.thing.properties.push((property, Value::Text(value))),
            None => notes.push(format!(
                "`{property}` is a number split over elements and was not read"
            )),
        }
    }
}

fn close(done: Open, open: &mut [Open], things: &mut Vec<Thing>) {
    match open.last_mut() {
        Some(around) if !done.properties.is_empty() => {
            for property in done.properties {
                let value = Value::Thing(done.thing.clone());
                around.thing.properties.push((property, value));
            }
        }
        _ => things.push(done.thing),
    }
}

fn names(attribute: Option<&str>) -> Vec<String> {
    let tokens = attribute.unwrap_or("").split_ascii_whitespace();
    tokens.map(|token| local_name(token).to_owned()).collect()
}

/// The value of a property's element (HTML Standard 5.2.4), with `content` winning everywhere as
/// in RDFa; `None` when a price cannot be read for certain.
fn value_of(element: ElementRef<'_>, property: &str) -> Option<RawText> {
    let is_address = ADDRESSES.contains(&property);
    let attribute = match element.value().name() {
        "meta" => Some(element.attr("content").unwrap_or("")),
        "audio" | "embed" | "iframe" | "img" | "source" | "track" | "video" => element.attr("src"),
        "link" | "area" => element.attr("href"),
        "a" if is_address => element.attr("href"),
        "object" => element.attr("data"),
        "data" | "meter" => element.attr("value"),
        "time" => element.attr("datetime"),
        _ if is_address => element.attr("href").or_else(|| element.attr("resource")),
        _ => None,
    };
    if let Some(value) = element.attr("content").or(attribute) {
        return Some(RawText::machine(value));
    }
    let read = element_text(element);
    if read.is_number_split && MONEY.contains(&property) {
        return None;
    }
    Some(RawText::person(read.text))
}
