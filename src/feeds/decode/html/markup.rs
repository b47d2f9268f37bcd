//! Microdata and RDFa Lite: things written into the attributes of a page's elements.
//!
//! Both say with one attribute that an element is a thing, with another of which type, and with
//! a third of which property an element is a value (HTML Standard 5.2; RDFa Lite 1.1 section 2).
//! A thing of microdata may also take in elements from elsewhere on the page, by `itemref`; their
//! properties come behind those inside the thing.

use super::text::element_text;
use super::things::{Thing, Value, local_name};
use crate::market::RawText;
use ego_tree::iter::Edge;
use ego_tree::{NodeId, NodeRef};
use scraper::{ElementRef, Html, Node};
use std::collections::{BTreeMap, BTreeSet};

/// Things inside things; deeper ones are read as part of the thing around them.
const DEPTH_MAX: usize = 32;
/// Elements that one thing may refer to; more are passed over.
const REFERENCES_MAX: usize = 100;
/// References that lead to references are followed so far.
const REFERENCES_DEEP_MAX: usize = 8;
/// Elements read through references. A small page can refer to itself over and over.
const REFERRED_ELEMENTS_MAX: usize = 100_000;
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
    /// Names the elements elsewhere that belong to a thing, if the syntax has that.
    references: Option<&'static str>,
}

pub(super) const MICRODATA: Syntax = Syntax {
    is_thing: "itemscope",
    types: "itemtype",
    property: "itemprop",
    identities: &["itemid"],
    references: Some("itemref"),
};

pub(super) const RDFA: Syntax = Syntax {
    is_thing: "typeof",
    types: "typeof",
    property: "property",
    identities: &["resource", "about"],
    references: None,
};

/// A thing whose element is still open.
struct Open {
    node: NodeId,
    thing: Thing,
    /// The properties of the thing around it that it is the value of.
    properties: Vec<String>,
    /// The ids of elements elsewhere that belong to it.
    references: Vec<String>,
}

/// Every outermost thing of the page. Notes say what could not be read for certain.
pub(super) fn collect_markup(page: &Html, syntax: &Syntax, notes: &mut Vec<String>) -> Vec<Thing> {
    let mut reading = Reading {
        page,
        syntax,
        ids: ids_of(page, syntax),
        notes,
        following: Vec::new(),
        taken_in: BTreeSet::new(),
        referred_left: REFERRED_ELEMENTS_MAX,
    };
    let mut things = Vec::new();
    reading.walk(page.tree.root(), &mut Vec::new(), &mut things);
    let taken_in = reading.taken_in;
    things.retain(|(node, _)| !taken_in.contains(node));
    things.into_iter().map(|(_, thing)| thing).collect()
}

/// The first element of each id, where anything on the page refers to ids.
fn ids_of<'p>(page: &'p Html, syntax: &Syntax) -> BTreeMap<&'p str, NodeId> {
    let mut ids = BTreeMap::new();
    let Some(references) = syntax.references else {
        return ids;
    };
    let elements = || page.tree.root().descendants().filter_map(ElementRef::wrap);
    if elements().any(|element| element.attr(references).is_some()) {
        for element in elements() {
            if let Some(id) = element.attr("id") {
                ids.entry(id).or_insert(element.id());
            }
        }
    }
    ids
}

struct Reading<'r> {
    page: &'r Html,
    syntax: &'r Syntax,
    ids: BTreeMap<&'r str, NodeId>,
    notes: &'r mut Vec<String>,
    /// The elements that references led to and that are being read.
    following: Vec<NodeId>,
    /// Things that a reference made the value of another, so that they are not outermost.
    taken_in: BTreeSet<NodeId>,
    referred_left: usize,
}

impl<'r> Reading<'r> {
    fn walk(
        &mut self,
        root: NodeRef<'r, Node>,
        open: &mut Vec<Open>,
        things: &mut Vec<(NodeId, Thing)>,
    ) {
        let around = open.len();
        for edge in root.traverse() {
            match edge {
                Edge::Open(node) => {
                    if !self.following.is_empty() {
                        let Some(left) = self.referred_left.checked_sub(1) else {
                            self.notes
                                .push("the page's `itemref` lead too far and were cut".to_owned());
                            open.truncate(around);
                            return;
                        };
                        self.referred_left = left;
                    }
                    if let Some(element) = ElementRef::wrap(node) {
                        self.enter(element, open);
                    }
                }
                Edge::Close(node) => {
                    let is_last =
                        open.len() > around && open.last().is_some_and(|top| top.node == node.id());
                    if is_last && let Some(mut done) = open.pop() {
                        self.refer(&mut done);
                        self.close(done, open, things);
                    }
                }
            }
        }
    }

    fn enter(&mut self, element: ElementRef<'_>, open: &mut Vec<Open>) {
        let syntax = self.syntax;
        let properties = names(element.attr(syntax.property));
        if element.attr(syntax.is_thing).is_some() && open.len() < DEPTH_MAX {
            let identities = syntax.identities.iter();
            let id = identities.filter_map(|name| element.attr(name)).next();
            let references = syntax.references.and_then(|name| element.attr(name));
            let references = references.unwrap_or("").split_ascii_whitespace();
            open.push(Open {
                node: element.id(),
                thing: Thing {
                    types: names(element.attr(syntax.types)),
                    id: id.map(|id| id.trim().to_owned()),
                    properties: Vec::new(),
                },
                properties,
                references: references.take(REFERENCES_MAX).map(str::to_owned).collect(),
            });
            return;
        }
        let Some(around) = open.last_mut() else {
            return;
        };
        for property in properties {
            match value_of(element, &property) {
                Some(value) => around.thing.properties.push((property, Value::Text(value))),
                None => self.notes.push(format!(
                    "`{property}` is a number split over elements and was not read"
                )),
            }
        }
    }

    /// Takes in what the thing refers to (HTML Standard 5.2.5). An element inside the thing
    /// belongs to it anyway, and one around it would hold the thing itself.
    fn refer(&mut self, thing: &mut Open) {
        let is_inside = |inner: NodeId, outer: NodeId| {
            let inner = self.page.tree.get(inner);
            inner.is_some_and(|inner| inner.ancestors().any(|node| node.id() == outer))
        };
        let mut targets: Vec<NodeId> = Vec::new();
        for id in &thing.references {
            if let Some(target) = self.ids.get(id.as_str()).copied()
                && target != thing.node
                && !is_inside(target, thing.node)
                && !is_inside(thing.node, target)
                && !self.following.contains(&target)
                && !targets.contains(&target)
            {
                targets.push(target);
            }
        }
        for target in targets {
            let Some(element) = self.page.tree.get(target) else {
                continue;
            };
            if self.following.len() >= REFERENCES_DEEP_MAX {
                return;
            }
            let mut open = vec![Open {
                node: thing.node,
                thing: Thing::default(),
                properties: Vec::new(),
                references: Vec::new(),
            }];
            self.following.push(target);
            self.walk(element, &mut open, &mut Vec::new());
            self.following.pop();
            let found = open.into_iter().flat_map(|open| open.thing.properties);
            thing.thing.properties.extend(found);
        }
    }

    fn close(&mut self, done: Open, open: &mut [Open], things: &mut Vec<(NodeId, Thing)>) {
        match open.last_mut() {
            Some(around) if !done.properties.is_empty() => {
                if !self.following.is_empty() {
                    self.taken_in.insert(done.node);
                }
                for property in done.properties {
                    let value = Value::Thing(done.thing.clone());
                    around.thing.properties.push((property, value));
                }
            }
            _ => things.push((done.node, done.thing)),
        }
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
