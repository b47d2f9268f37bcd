//! Finds which of a page's products the page is about.

use super::offers::{Graph, is_called, is_product, offers_of, product_of_offer};
use super::things::{Thing, Value};
use crate::feeds::decode::layers::Context;
use crate::market::RawOffer;
use std::borrow::Cow;
use std::collections::BTreeSet;

/// Which products of a page are read (`products`).
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Products {
    /// The one that the page is about; several that cannot be told apart are refused.
    Main,
    /// Each, as on a list of search results.
    All,
}

/// What a page's things come to.
pub(super) enum Answer {
    Offers(Vec<RawOffer>),
    /// Several products, and nothing says which is meant.
    Ambiguous {
        titles: Vec<String>,
    },
    Nothing,
}

pub(super) fn read_things(things: &[Thing], products: Products, context: &Context<'_>) -> Answer {
    let graph = Graph::new(things);
    let found = find_products(things, &graph);
    let chosen: Vec<&Found<'_>> = match (products, found.as_slice()) {
        (_, []) => return Answer::Nothing,
        (Products::All, all) => all.iter().collect(),
        (Products::Main, all) => match main_of(all, context) {
            Some(main) => vec![main],
            None => {
                let titles = all.iter().filter_map(|found| found.product.text("name"));
                let titles = titles.map(|title| title.text.trim().to_owned()).collect();
                return Answer::Ambiguous { titles };
            }
        },
    };
    let mut offers = Vec::new();
    for found in chosen {
        match &found.product {
            Cow::Borrowed(product) => offers.extend(offers_of(product, &graph, context)),
            Cow::Owned(product) => {
                let own = std::slice::from_ref(product);
                offers.extend(offers_of(product, &Graph::new(own), context));
            }
        }
    }
    Answer::Offers(offers)
}

struct Found<'t> {
    product: Cow<'t, Thing>,
    /// Reached as the main entity of the page, or says so itself.
    is_main_entity: bool,
}

/// The products that stand by themselves: not the variants, accessories or recommendations
/// inside another product.
fn find_products<'t>(things: &'t [Thing], graph: &Graph<'t>) -> Vec<Found<'t>> {
    let mut found: Vec<Found<'t>> = Vec::new();
    let mut seen: BTreeSet<*const Thing> = BTreeSet::new();
    let mut waiting: Vec<(&Thing, bool)> =
        things.iter().rev().map(|thing| (thing, false)).collect();
    while let Some((thing, is_main_entity)) = waiting.pop() {
        let thing = graph.resolve(thing);
        if !seen.insert(std::ptr::from_ref(thing)) {
            if is_main_entity {
                mark_main(thing, &mut found);
            }
            continue;
        }
        let product = if is_product(thing) {
            Some(Cow::Borrowed(thing))
        } else {
            product_of_offer(thing, graph).map(Cow::Owned)
        };
        if let Some(product) = product {
            if !found.iter().any(|other| other.product == product) {
                let is_main_entity = is_main_entity || product.has("mainEntityOfPage");
                found.push(Found {
                    product,
                    is_main_entity,
                });
            }
            continue;
        }
        for (name, value) in thing.properties.iter().rev() {
            if let Value::Thing(inner) = value {
                waiting.push((inner, name == "mainEntity"));
            }
        }
    }
    drop_variants_of_groups(found, graph)
}

fn mark_main(thing: &Thing, found: &mut [Found<'_>]) {
    for other in found.iter_mut() {
        other.is_main_entity |= *other.product == *thing;
    }
}

/// A variant may stand beside its group in a graph; it is read through the group.
fn drop_variants_of_groups<'t>(found: Vec<Found<'t>>, graph: &Graph<'t>) -> Vec<Found<'t>> {
    let variants: Vec<Thing> = found
        .iter()
        .filter_map(|found| match &found.product {
            Cow::Borrowed(group) => Some(*group),
            Cow::Owned(_) => None,
        })
        .flat_map(|group| group.things("hasVariant"))
        .map(|variant| graph.resolve(variant).clone())
        .collect();
    let stands_alone = |found: &Found<'_>| !variants.contains(&found.product);
    found.into_iter().filter(stands_alone).collect()
}

/// The product that the page is about: the only one, else the one that is wanted, that has the
/// page's address, or that is marked as main entity.
fn main_of<'f, 't>(found: &'f [Found<'t>], context: &Context<'_>) -> Option<&'f Found<'t>> {
    if let [only] = found {
        return Some(only);
    }
    let address = context.address.map(folded_address);
    let is_wanted = |found: &Found<'_>| is_called(&found.product, context.wanted);
    let is_here = |found: &Found<'_>| {
        let product = &found.product;
        let mut addresses = product
            .texts("url")
            .chain(product.texts("mainEntityOfPage"));
        let id = product.id.as_deref().map(folded_address);
        address.is_some()
            && (id == address || addresses.any(|url| Some(folded_address(&url.text)) == address))
    };
    only(found, is_wanted)
        .or_else(|| only(found, is_here))
        .or_else(|| only(found, |found| found.is_main_entity))
}

fn only<'f, 't>(
    found: &'f [Found<'t>],
    fits: impl Fn(&Found<'_>) -> bool,
) -> Option<&'f Found<'t>> {
    let mut fitting = found.iter().filter(|found| fits(found));
    let first = fitting.next()?;
    fitting.next().is_none().then_some(first)
}

/// An address without scheme, fragment and a slash at its end.
fn folded_address(address: &str) -> String {
    let address = address.trim();
    let address = address.split('#').next().unwrap_or(address);
    let address = address.split_once("://").map_or(address, |(_, rest)| rest);
    address.trim_end_matches('/').to_lowercase()
}
