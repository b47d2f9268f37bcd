//! Values found by CSS selectors, where a page carries no structured data or says better.

use super::dom::parse_page;
use super::text::element_text;
use crate::feeds::decode::guess::Link;
use crate::feeds::mapping::{Rule, Source};
use crate::market::{Field, Origin, RawOffer};
use scraper::{ElementRef, Selector};

/// Fields whose text is money, where a number split over elements must not be glued.
const MONEY: [Field; 4] = [
    Field::Price,
    Field::SalePrice,
    Field::ListPrice,
    Field::Shipping,
];

/// Elements to look for, and what to take of them.
#[derive(Debug, Clone)]
pub(super) struct HtmlPlace {
    /// None for the record's own element.
    selector: Option<Selector>,
    attribute: Option<String>,
}

impl HtmlPlace {
    /// Reads `css selector`, `css selector @attribute` or `@attribute`.
    pub(super) fn parse(place: &str) -> Result<HtmlPlace, String> {
        let (selector, attribute) = split_attribute(place);
        let selector = match selector {
            "" => None,
            text => Some(parse_selector(text)?),
        };
        if selector.is_none() && attribute.is_none() {
            return Err("the selector is empty".to_owned());
        }
        Ok(HtmlPlace {
            selector,
            attribute: attribute.map(str::to_owned),
        })
    }

    pub(super) fn with_attribute(mut self, attribute: Option<&str>) -> HtmlPlace {
        self.attribute = self.attribute.or(attribute.map(str::to_owned));
        self
    }

    /// The elements inside `scope`, or `scope` itself.
    pub(super) fn elements<'e>(&self, scope: ElementRef<'e>) -> Vec<ElementRef<'e>> {
        match &self.selector {
            Some(selector) => scope.select(selector).collect(),
            None => vec![scope],
        }
    }

    /// The attribute's values, such as the addresses of links.
    pub(super) fn attributes(&self, scope: ElementRef<'_>, default: &str) -> Vec<String> {
        let name = self.attribute.as_deref().unwrap_or(default);
        let elements = self.elements(scope);
        let values = elements.iter().filter_map(|element| element.attr(name));
        values.map(str::to_owned).collect()
    }
}

/// Every link of a page, for a first look at it; `None` when it cannot be read.
pub(in crate::feeds::decode) fn links_of(page: &str) -> Option<Vec<Link>> {
    let page = parse_page(page).ok()?;
    let links = Selector::parse("a[href]").ok()?;
    let link = |element: ElementRef<'_>| Link {
        address: element.attr("href").unwrap_or_default().to_owned(),
        classes: element.value().classes().map(str::to_owned).collect(),
    };
    Some(page.select(&links).map(link).collect())
}

pub(super) fn parse_selector(text: &str) -> Result<Selector, String> {
    Selector::parse(text).map_err(|error| format!("\"{text}\" is not a CSS selector: {error}"))
}

fn split_attribute(place: &str) -> (&str, Option<&str>) {
    let place = place.trim();
    let Some(at) = place.rfind('@') else {
        return (place, None);
    };
    let (before, name) = (&place[..at], &place[at + 1..]);
    let is_name = !name.is_empty()
        && name
            .chars()
            .all(|c| c.is_ascii_alphanumeric() || matches!(c, '-' | '_' | ':'));
    let is_apart = before.is_empty() || before.ends_with(char::is_whitespace);
    if is_name && is_apart {
        (before.trim_end(), Some(name))
    } else {
        (place, None)
    }
}

/// Reads every mapped field inside `scope`.
pub(super) fn read_selectors(rules: &[Rule<HtmlPlace>], scope: ElementRef<'_>) -> RawOffer {
    let mut offer = RawOffer::default();
    for rule in rules {
        match &rule.source {
            Source::Always(value) => {
                if let Some(value) = rule.value(value, Origin::Person) {
                    offer.push(rule.field, value);
                }
            }
            Source::Place(place) => read_place(rule, place, scope, &mut offer),
        }
    }
    offer
}

fn read_place(
    rule: &Rule<HtmlPlace>,
    place: &HtmlPlace,
    scope: ElementRef<'_>,
    offer: &mut RawOffer,
) {
    let mut first: Option<String> = None;
    for element in place.elements(scope) {
        let value = match &place.attribute {
            Some(name) => element
                .attr(name)
                .and_then(|value| rule.value(value, attribute_origin(name))),
            None => {
                let read = element_text(element);
                if read.is_number_split && MONEY.contains(&rule.field) {
                    let (field, text) = (rule.field.name(), read.text);
                    offer.notes.push(format!(
                        "`{field}` is \"{text}\", a number split over elements; select its parts or an attribute"
                    ));
                    continue;
                }
                rule.value(&read.text, Origin::Person)
            }
        };
        let Some(value) = value.filter(|value| !value.text.trim().is_empty()) else {
            continue;
        };
        match &first {
            None => first = Some(value.text.clone()),
            Some(_) if rule.field == Field::Gtin => {}
            Some(first) => {
                if *first != value.text {
                    let field = rule.field.name();
                    let note = format!("`{field}` has several different values; the first is used");
                    if !offer.notes.contains(&note) {
                        offer.notes.push(note);
                    }
                }
                continue;
            }
        }
        offer.push(rule.field, value);
    }
}

/// `content`, `value` and `data-…` attributes are written for programs; `title`, `alt` and
/// `aria-label` are read out to people.
fn attribute_origin(name: &str) -> Origin {
    match name {
        "title" | "alt" | "aria-label" | "placeholder" => Origin::Person,
        _ => Origin::Machine,
    }
}
