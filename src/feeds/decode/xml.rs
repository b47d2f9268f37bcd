//! XML with any record element, and the two feeds that have a standard: RSS 2.0 and Atom.
//!
//! Keys: `records` (the record's element, `name`, `{namespace}name` or the end of a path such as
//! `products/product`; RSS and Atom know theirs), `variants` (a path inside a record to its
//! variants), `namespaces` (prefixes that the paths use), `next_page` and `updated` (paths outside
//! records: where the list goes on, and the feed's own date, for which RSS and Atom have a place).
//! Element text is for people, attributes are for programs.

use super::fault::DecodeFault;
use super::format::{Decoder, Format};
use super::layers::Context;
use super::lines::require_bytes;
use super::presence::Presence;
use super::records::Records;
use super::xml_element::Element;
use super::xml_path::{Prefixes, XmlPath, attribute};
use super::xml_tree::{Piece, XmlStream};
use crate::catalogue::table::Table;
use crate::feeds::mapping::{Mapping, Rule, Source};
use crate::market::{Field, Origin, RawOffer};
use std::io::BufRead;
use std::sync::Arc;

const NAMES_SHOWN: usize = 40;

pub(super) struct Xml;
pub(super) struct Rss;
pub(super) struct Atom;

#[derive(Debug)]
struct XmlDecoder {
    records: XmlPath,
    records_text: String,
    variants: Option<XmlPath>,
    next_page: Option<XmlPath>,
    updated: Option<XmlPath>,
    rules: Vec<Rule<XmlPath>>,
}

/// The places that a format has by its standard.
#[derive(Default)]
struct Standard {
    records: &'static str,
    next_page: Option<&'static str>,
    updated: Option<&'static str>,
}

impl Format for Xml {
    fn name(&self) -> &'static str {
        "xml"
    }

    fn reads(&self) -> &'static str {
        "XML with any record element, by local name or namespace"
    }

    fn endings(&self) -> &'static [&'static str] {
        &["xml"]
    }

    fn configure(&self, table: &mut Table<'_, '_>, mapping: &Mapping) -> Option<Arc<dyn Decoder>> {
        table.require("fields")?;
        table.require("records")?;
        XmlDecoder::configure(table, mapping, &Standard::default())
    }
}

impl Format for Rss {
    fn name(&self) -> &'static str {
        "rss"
    }

    fn reads(&self) -> &'static str {
        "RSS 2.0; title, link and guid are known, the price needs a mapping"
    }

    fn endings(&self) -> &'static [&'static str] {
        &["rss", "xml"]
    }

    fn configure(&self, table: &mut Table<'_, '_>, mapping: &Mapping) -> Option<Arc<dyn Decoder>> {
        table.require("fields")?;
        let mapping = mapping
            .clone()
            .with_default(Field::Title, &["title"])
            .with_default(Field::Link, &["link"])
            .with_default(Field::Sku, &["guid"]);
        let standard = Standard {
            records: "item",
            next_page: None,
            updated: Some("channel/lastBuildDate"),
        };
        XmlDecoder::configure(table, &mapping, &standard)
    }
}

impl Format for Atom {
    fn name(&self) -> &'static str {
        "atom"
    }

    fn reads(&self) -> &'static str {
        "Atom (RFC 4287); title, link and id are known, the price needs a mapping"
    }

    fn endings(&self) -> &'static [&'static str] {
        &["atom", "xml"]
    }

    fn configure(&self, table: &mut Table<'_, '_>, mapping: &Mapping) -> Option<Arc<dyn Decoder>> {
        table.require("fields")?;
        // A link without `rel` is an alternate (RFC 4287 section 4.2.7.2).
        let links = ["link[@rel='alternate']/@href", "link[@rel='']/@href"];
        let mapping = mapping
            .clone()
            .with_default(Field::Title, &["title"])
            .with_default(Field::Link, &links)
            .with_default(Field::Sku, &["id"]);
        let standard = Standard {
            records: "entry",
            // RFC 5005 section 3.
            next_page: Some("link[@rel='next']/@href"),
            // RFC 4287 section 4.2.15.
            updated: Some("feed/updated"),
        };
        XmlDecoder::configure(table, &mapping, &standard)
    }
}

impl XmlDecoder {
    fn configure(
        table: &mut Table<'_, '_>,
        mapping: &Mapping,
        standard: &Standard,
    ) -> Option<Arc<dyn Decoder>> {
        let prefixes: Prefixes = match table.table("namespaces") {
            None => Prefixes::new(),
            Some(names) => names
                .named_texts()
                .into_iter()
                .map(|(prefix, address)| (prefix.value, address.value))
                .collect(),
        };
        let (records_text, records) =
            read_path(table, "records", Some(standard.records), &prefixes)?;
        let (_, variants) = read_path(table, "variants", None, &prefixes)?;
        let (_, next_page) = read_path(table, "next_page", standard.next_page, &prefixes)?;
        let (_, updated) = read_path(table, "updated", standard.updated, &prefixes)?;
        let rules = mapping.compile(table.document(), |_, place| {
            XmlPath::parse(place, &prefixes)
        })?;
        Some(Arc::new(XmlDecoder {
            records: records?,
            records_text,
            variants,
            next_page,
            updated,
            rules,
        }))
    }

    fn is_record(&self, open: &[Element]) -> bool {
        ends_with(open, &self.records)
    }

    fn take(
        &self,
        record: &Element,
        presence: &mut Presence,
        records: &mut Records<'_>,
    ) -> Result<(), DecodeFault> {
        presence.first_names(|| names_of(record));
        let variants = match &self.variants {
            None => Vec::new(),
            Some(path) => path.elements(record),
        };
        if variants.is_empty() {
            return records.accept(self.offer(record, record, presence));
        }
        for variant in variants {
            records.accept(self.offer(variant, record, presence))?;
        }
        Ok(())
    }

    fn offer(&self, record: &Element, outer: &Element, presence: &mut Presence) -> RawOffer {
        let mut offer = RawOffer::default();
        for (index, rule) in self.rules.iter().enumerate() {
            match &rule.source {
                Source::Always(value) => {
                    if let Some(value) = rule.value(value, Origin::Person) {
                        offer.push(rule.field, value);
                    }
                }
                Source::Place(path) => {
                    let start = if path.is_outer { outer } else { record };
                    for (text, is_attribute) in path.texts(start) {
                        presence.see(index);
                        let origin = if is_attribute {
                            Origin::Machine
                        } else {
                            Origin::Person
                        };
                        let value = rule.value(&text, origin);
                        if let Some(value) = value.filter(|value| !value.text.trim().is_empty()) {
                            offer.push(rule.field, value);
                        }
                    }
                }
            }
        }
        offer
    }

    /// The address of the next page, if the element that just opened has it.
    fn next_page_at(&self, element: &Element, open: &[Element]) -> Option<String> {
        let path = self.next_page.as_ref()?;
        let name = path.attribute.as_ref()?;
        let last = path.steps.last()?;
        if !last.admits(element) || !ends_with(open, path) {
            return None;
        }
        attribute(element, name).map(str::to_owned)
    }

    /// True where the text of the element that holds the feed's own date stands.
    fn is_date(&self, open: &[Element]) -> bool {
        let path = self.updated.as_ref();
        path.is_some_and(|path| path.attribute.is_none() && ends_with(open, path))
    }
}

/// Absent is an empty text with `None`; a fault is `None` as a whole.
fn read_path(
    table: &mut Table<'_, '_>,
    key: &'static str,
    default: Option<&str>,
    prefixes: &Prefixes,
) -> Option<(String, Option<XmlPath>)> {
    let is_there = table.has(key);
    let (text, span) = match (table.text(key), default) {
        (Some(text), _) => (text.value, text.span),
        (None, Some(default)) if !is_there => (default.to_owned(), table.span()),
        (None, _) => return (!is_there).then(|| (String::new(), None)),
    };
    match XmlPath::parse(&text, prefixes) {
        Ok(path) => Some((text, Some(path))),
        Err(message) => {
            let remedy = "write an element's name or a path such as \"products/product\"";
            table.document().fault(&span, message, remedy);
            None
        }
    }
}

/// Whether the open elements end with the path's steps.
fn ends_with(open: &[Element], path: &XmlPath) -> bool {
    let n_steps = path.steps.len();
    if n_steps == 0 || open.len() < n_steps {
        return false;
    }
    let tail = &open[open.len() - n_steps..];
    tail.iter()
        .zip(&path.steps)
        .all(|(element, step)| step.name.is_met(&element.name) && step.admits(element))
}

/// What a record has, for messages: its children and attributes.
fn names_of(record: &Element) -> Vec<String> {
    let children = record.children().map(|child| child.name.local.to_string());
    let attributes = record
        .attributes
        .iter()
        .map(|(name, _)| format!("@{}", name.local));
    let mut names: Vec<String> = Vec::new();
    for name in children.chain(attributes) {
        if names.len() < NAMES_SHOWN && !names.contains(&name) {
            names.push(name);
        }
    }
    names
}

impl Decoder for XmlDecoder {
    fn decode(
        &self,
        text: &mut dyn BufRead,
        _context: &Context<'_>,
        records: &mut Records<'_>,
    ) -> Result<(), DecodeFault> {
        require_bytes(text)?;
        let mut presence = Presence::new(self.rules.len());
        let mut outside: Vec<String> = Vec::new();
        let mut stream = XmlStream::new(text);
        loop {
            match stream.next(&|open| self.is_record(open))? {
                Piece::Outside(element) => {
                    if let Some(address) = self.next_page_at(&element, stream.open()) {
                        records.next_page(address);
                    }
                    let name = element.name.local.to_string();
                    if outside.len() < NAMES_SHOWN && !outside.contains(&name) {
                        outside.push(name);
                    }
                }
                Piece::Text(text) => {
                    let is_start = outside.is_empty() && records.records() == 0;
                    if is_start && !text.trim().is_empty() {
                        let (expected, found) = ("XML", "text without a tag".to_owned());
                        return Err(DecodeFault::OtherFormat { expected, found });
                    }
                    if self.is_date(stream.open()) {
                        records.updated(&text);
                    }
                }
                Piece::Record(record) => self.take(&record, &mut presence, records)?,
                Piece::Broken(reason) => records.reject(reason)?,
                Piece::End => break,
            }
        }
        if records.records() == 0 {
            return Err(DecodeFault::NoRecords {
                place: format!("<{}>", self.records_text),
                found: format!("elements {}", outside.join(", ")),
            });
        }
        presence.judge(&self.rules, records)
    }
}
