//! Pages of HTML: structured data first, CSS selectors where there is none or to correct it.
//!
//! Keys: `structured_data` (in order of trust, of `"json-ld"`, `"microdata"`, `"rdfa"` and
//! `"opengraph"`; default the first three), `products` (`"main"` for the one that a page is about,
//! or `"all"`), `records` (a selector: each element is one record, read by selectors alone),
//! `next_page` and `links` (selectors of links). A selector that the settings give for a field
//! wins over structured data, and the difference is noted.

mod dom;
mod markup;
mod metas;
mod offers;
mod page;
mod price_spec;
mod repair;
mod selectors;
mod text;
mod things;

use super::fault::DecodeFault;
use super::format::{Decoder, Format};
use super::layers::Context;
use super::records::Records;
use crate::catalogue::table::Table;
use crate::feeds::mapping::{Mapping, Rule, Source};
use crate::market::{Field, RawOffer};
use dom::{parse_page, read_page};
use page::{Answer, Products, read_things};
use scraper::{Html as Page, Selector};
pub(super) use selectors::links_of;
use selectors::{HtmlPlace, parse_selector, read_selectors};
use std::io::BufRead;
use std::sync::Arc;
use things::{Thing, collect_json_ld};

pub(super) struct Html;

#[derive(Debug)]
struct HtmlDecoder {
    structured_data: Vec<StructuredData>,
    products: Products,
    records: Option<Selector>,
    rules: Vec<Rule<HtmlPlace>>,
    next_page: Option<HtmlPlace>,
    links: Option<HtmlPlace>,
}

/// A way to write data into a page.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum StructuredData {
    JsonLd,
    Microdata,
    Rdfa,
    OpenGraph,
}

impl StructuredData {
    const NAMES: [(&str, StructuredData); 4] = [
        ("json-ld", StructuredData::JsonLd),
        ("microdata", StructuredData::Microdata),
        ("rdfa", StructuredData::Rdfa),
        ("opengraph", StructuredData::OpenGraph),
    ];

    fn name(self) -> &'static str {
        let mut names = StructuredData::NAMES.iter();
        names
            .find(|(_, way)| *way == self)
            .map_or("", |(name, _)| name)
    }
}

impl Format for Html {
    fn name(&self) -> &'static str {
        "html"
    }

    fn reads(&self) -> &'static str {
        "pages with schema.org data (JSON-LD, microdata, RDFa Lite) or CSS selectors"
    }

    fn endings(&self) -> &'static [&'static str] {
        &["html", "htm", "xhtml"]
    }

    fn configure(&self, table: &mut Table<'_, '_>, mapping: &Mapping) -> Option<Arc<dyn Decoder>> {
        let structured_data = read_structured_data(table);
        let products = read_products(table);
        let records = read_selector(table, "records", parse_selector);
        let next_page = read_selector(table, "next_page", HtmlPlace::parse);
        let links = read_selector(table, "links", HtmlPlace::parse);
        let rules = mapping.compile(table.document(), |rule, place| {
            let place = HtmlPlace::parse(place)?;
            Ok(place.with_attribute(rule.attribute.as_deref()))
        });
        let decoder = HtmlDecoder {
            structured_data: structured_data?,
            products: products?,
            records: records?,
            rules: rules?,
            next_page: next_page?,
            links: links?,
        };
        if decoder.rules.is_empty()
            && (decoder.records.is_some() || decoder.structured_data.is_empty())
        {
            table.require("fields")?;
        }
        Some(Arc::new(decoder))
    }
}

fn read_structured_data(table: &mut Table<'_, '_>) -> Option<Vec<StructuredData>> {
    if !table.has("structured_data") {
        let _ = table.texts("structured_data");
        let trusted = StructuredData::NAMES.iter().take(3);
        return Some(trusted.map(|(_, way)| *way).collect());
    }
    let mut ways = Vec::new();
    for name in table.texts("structured_data")?.value {
        let known = StructuredData::NAMES
            .iter()
            .find(|(known, _)| *known == name.value);
        let Some((_, way)) = known else {
            let names: Vec<&str> = StructuredData::NAMES
                .iter()
                .map(|(name, _)| *name)
                .collect();
            let message = format!("unknown structured data \"{}\"", name.value);
            let remedy = format!("known: {}", names.join(", "));
            table.document().fault(&name.span, message, remedy);
            return None;
        };
        ways.push(*way);
    }
    Some(ways)
}

fn read_products(table: &mut Table<'_, '_>) -> Option<Products> {
    let Some(text) = table.text("products") else {
        return (!table.has("products")).then_some(Products::Main);
    };
    match text.value.as_str() {
        "main" => Some(Products::Main),
        "all" => Some(Products::All),
        other => {
            let message = format!("`products` is \"{other}\"");
            table
                .document()
                .fault(&text.span, message, "write \"main\" or \"all\"");
            None
        }
    }
}

/// Absent is `Some(None)`, a fault `None`.
fn read_selector<S>(
    table: &mut Table<'_, '_>,
    key: &'static str,
    parse: impl Fn(&str) -> Result<S, String>,
) -> Option<Option<S>> {
    let is_there = table.has(key);
    let Some(text) = table.text(key) else {
        return (!is_there).then_some(None);
    };
    match parse(&text.value) {
        Ok(selector) => Some(Some(selector)),
        Err(message) => {
            let remedy = "write a CSS selector such as \"a.next\"";
            table.document().fault(&text.span, message, remedy);
            None
        }
    }
}

impl Decoder for HtmlDecoder {
    fn decode(
        &self,
        text: &mut dyn BufRead,
        context: &Context<'_>,
        records: &mut Records<'_>,
    ) -> Result<(), DecodeFault> {
        let page = parse_page(&read_page(text)?)?;
        if let Some(next_page) = &self.next_page {
            let addresses = next_page.attributes(page.root_element(), "href");
            records.next_page(addresses.into_iter().next().unwrap_or_default());
        }
        match &self.records {
            Some(selector) => self.read_list(&page, selector, records),
            None => self.read_one(&page, context, records),
        }
    }

    fn reads_links(&self) -> bool {
        self.links.is_some()
    }

    fn links(&self, text: &mut dyn BufRead) -> Result<Vec<String>, DecodeFault> {
        let page = parse_page(&read_page(text)?)?;
        let links = self.links.as_ref();
        Ok(links.map_or_else(Vec::new, |links| {
            links.attributes(page.root_element(), "href")
        }))
    }
}

impl HtmlDecoder {
    /// A list: every element that the selector finds is a record.
    fn read_list(
        &self,
        page: &Page,
        selector: &Selector,
        records: &mut Records<'_>,
    ) -> Result<(), DecodeFault> {
        for element in page.select(selector) {
            records.accept(read_selectors(&self.rules, element))?;
        }
        if records.records() == 0 {
            let detail = "the selector of `records` finds nothing on the page".to_owned();
            return Err(DecodeFault::NoData { detail });
        }
        Ok(())
    }

    fn read_one(
        &self,
        page: &Page,
        context: &Context<'_>,
        records: &mut Records<'_>,
    ) -> Result<(), DecodeFault> {
        let mut notes = Vec::new();
        let mut stated: Option<(StructuredData, Vec<RawOffer>)> = None;
        let mut ambiguous = None;
        for way in &self.structured_data {
            match self.structured(*way, page, context, &mut notes) {
                Answer::Nothing => {}
                Answer::Ambiguous { titles } => {
                    ambiguous.get_or_insert(titles);
                }
                Answer::Offers(offers) => match &stated {
                    None => stated = Some((*way, offers)),
                    Some(trusted) => notes.extend(conflict(trusted, &(*way, offers))),
                },
            }
        }
        let selected = read_selectors(&self.rules, page.root_element());
        let places = self
            .rules
            .iter()
            .filter(|rule| matches!(rule.source, Source::Place(_)));
        let has_selected = places
            .into_iter()
            .any(|rule| selected.first(rule.field).is_some());
        for note in &notes {
            records.note(note.clone());
        }
        match (stated, ambiguous) {
            (Some((_, offers)), _) => {
                let is_single = offers.len() == 1;
                for mut offer in offers {
                    overlay(&mut offer, &selected, is_single);
                    offer.notes.extend(notes.iter().cloned());
                    records.accept(offer)?;
                }
                Ok(())
            }
            (None, Some(titles)) if !has_selected => records.reject(format!(
                "{} products on the page and nothing says which is meant: {}",
                titles.len(),
                titles.join("; ")
            )),
            _ if has_selected => {
                let mut offer = selected;
                offer.notes.extend(notes);
                records.accept(offer)
            }
            _ => {
                let detail = match notes.first() {
                    Some(note) => format!("no product on the page ({note})"),
                    None => "no product on the page".to_owned(),
                };
                Err(DecodeFault::NoData { detail })
            }
        }
    }

    fn structured(
        &self,
        way: StructuredData,
        page: &Page,
        context: &Context<'_>,
        notes: &mut Vec<String>,
    ) -> Answer {
        let things = match way {
            StructuredData::JsonLd => json_ld_things(page, notes),
            StructuredData::Microdata => markup::collect_markup(page, &markup::MICRODATA, notes),
            StructuredData::Rdfa => markup::collect_markup(page, &markup::RDFA, notes),
            StructuredData::OpenGraph => {
                return match metas::read_metas(page) {
                    Some(offer) => Answer::Offers(vec![offer]),
                    None => Answer::Nothing,
                };
            }
        };
        read_things(&things, self.products, context)
    }
}

/// The things of every JSON-LD script. A broken one is noted with its place and costs no other.
fn json_ld_things(page: &Page, notes: &mut Vec<String>) -> Vec<Thing> {
    let mut things = Vec::new();
    let Ok(scripts) = Selector::parse("script[type]") else {
        return things;
    };
    let is_json_ld = |kind: &str| kind.to_ascii_lowercase().contains("ld+json");
    let blocks = page
        .select(&scripts)
        .filter(|script| script.attr("type").is_some_and(is_json_ld));
    for (index, script) in blocks.enumerate() {
        let text: String = script.text().collect();
        match repair::parse_lenient(&text) {
            Ok(Some(json)) => collect_json_ld(&json, &mut things),
            Ok(None) => {}
            Err(error) => {
                let (block, line, column) = (index + 1, error.line(), error.column());
                let reason = super::json_stream::without_position(&error);
                notes.push(format!(
                    "JSON-LD block {block} was skipped: line {line}, column {column}: {reason}"
                ));
            }
        }
    }
    things
}

/// Lays what selectors found over what the page's data says. Where the page has several offers,
/// one selector cannot mean all of them, so it only fills what is missing.
fn overlay(offer: &mut RawOffer, selected: &RawOffer, is_single: bool) {
    for (field, values) in selected.fields.iter() {
        let stated = offer.first(field).map(|value| value.text.clone());
        let Some(first) = values.first() else {
            continue;
        };
        match stated {
            Some(stated) if !same_value(&stated, &first.text) && is_single => {
                let name = field.name();
                offer.notes.push(format!(
                    "`{name}` is \"{stated}\" in the page's data and \"{}\" at the selector, which is used",
                    first.text
                ));
            }
            Some(_) if !is_single => continue,
            _ => {}
        }
        offer.fields.replace(field, values);
    }
    for note in &selected.notes {
        if !offer.notes.contains(note) {
            offer.notes.push(note.clone());
        }
    }
}

/// Two ways of structured data that give one price each and disagree.
fn conflict(
    trusted: &(StructuredData, Vec<RawOffer>),
    other: &(StructuredData, Vec<RawOffer>),
) -> Option<String> {
    let price = |offers: &[RawOffer]| match offers {
        [only] => only
            .first(Field::Price)
            .map(|price| price.text.trim().to_owned()),
        _ => None,
    };
    let (first, second) = (price(&trusted.1)?, price(&other.1)?);
    if same_value(&first, &second) {
        return None;
    }
    let (trusted, other) = (trusted.0.name(), other.0.name());
    Some(format!(
        "{trusted} says {first}, {other} says {second}; {trusted} is used"
    ))
}

/// Equal letters and digits, not counting `.00`: enough to tell a note worth writing.
fn same_value(first: &str, second: &str) -> bool {
    let fold = |text: &str| {
        let letters = text.to_lowercase();
        let kept: String = letters.chars().filter(|c| c.is_alphanumeric()).collect();
        kept
    };
    let (first, second) = (fold(first), fold(second));
    first == second || format!("{first}00") == second || first == format!("{second}00")
}
