//! The picks of a guide: each with its offer, its link, and where its price stands.

use super::position;
use crate::guide::view::PickView;
use crate::ledger::Reader;
use crate::market::{ReaderLink, Retailer, RetailerId};
use crate::optimise::{Build, Pick};
use crate::watch::asking::{AskFault, Asked};
use std::collections::{BTreeMap, BTreeSet};

pub(super) fn picks(
    asked: &Asked,
    reader: &Reader,
    build: &Build,
) -> Result<Vec<PickView>, AskFault> {
    build
        .picks
        .iter()
        .map(|pick| pick_view(asked, reader, pick))
        .collect()
}

pub fn pick_view(asked: &Asked, reader: &Reader, pick: &Pick) -> Result<PickView, AskFault> {
    let part = asked.settings.catalogue.parts.get(&pick.part);
    let purchase = pick.purchase.as_ref();
    let retailer = purchase.and_then(|one| asked.retailers.get(&one.retailer));
    let link = match (purchase, retailer) {
        (Some(purchase), Some(retailer)) => {
            let (offered, sku) = (purchase.link.as_deref(), purchase.sku.as_str());
            link(&asked.retailers, retailer, offered, sku)
        }
        _ => None,
    };
    let price_position = match purchase {
        Some(purchase) => position::of(asked, reader, &pick.part, purchase.price)?,
        None => None,
    };
    let currency = purchase.map_or(pick.landed.currency(), |one| one.price.currency());
    Ok(PickView {
        role: pick.role.to_string(),
        part: pick.part.to_string(),
        name: pick.name.clone(),
        brand: part.and_then(|part| part.brand.as_deref().map(str::to_owned)),
        mpn: part.and_then(|part| part.mpns.first().cloned()),
        gtin: part.and_then(|part| part.gtins.first().map(ToString::to_string)),
        quantity: pick.quantity,
        retailer: purchase.map(|one| {
            retailer.map_or_else(
                || one.retailer.to_string(),
                |retailer| retailer.name.clone(),
            )
        }),
        sku: purchase.map(|one| one.sku.to_string()),
        price_minor: purchase.map(|one| one.price.minor()),
        price_currency: currency.to_string(),
        tax_included: retailer.is_none_or(|retailer| retailer.prices_include_tax),
        landed_minor: pick.landed.minor(),
        is_paid_link: link.as_ref().is_some_and(|link| link.is_paid),
        link: link.map(|link| link.address),
        seen_at: purchase.map(|one| crate::decide::shown_instant(one.seen_at)),
        availability: purchase.and_then(|one| schema_name(one.availability.name())),
        lead_days: purchase.and_then(|one| one.lead_days),
        price_position: price_position.map(|position| position.words()),
    })
}

/// Where readers find an offer, with its retailer's own tag and nobody else's.
pub fn link(
    retailers: &BTreeMap<RetailerId, Retailer>,
    own: &Retailer,
    offered: Option<&str>,
    sku: &str,
) -> Option<ReaderLink> {
    own.links.link(offered, sku, &foreign_tags(retailers, own))
}

/// The author's tags at other retailers, which this one must not see.
fn foreign_tags<'a>(retailers: &'a BTreeMap<RetailerId, Retailer>, own: &Retailer) -> Vec<&'a str> {
    let others = retailers.values();
    let tags = others.filter_map(|retailer| retailer.links.tag());
    tags.filter(|tag| Some(*tag) != own.links.tag()).collect()
}

/// `in_stock` as schema.org writes it; what nobody stated is not in it.
fn schema_name(name: &str) -> Option<String> {
    if name == "unknown" {
        return None;
    }
    let words = name.split('_').map(|word| {
        let (first, rest) = word.split_at_checked(1).unwrap_or((word, ""));
        first.to_uppercase() + rest
    });
    Some(words.collect())
}

/// What the retailers of paid links are to be disclosed with, each wording once.
pub(super) fn disclosures(asked: &Asked, build: &Build) -> Vec<String> {
    let purchases = build.picks.iter().filter_map(|pick| pick.purchase.as_ref());
    let retailers: BTreeSet<_> = purchases.map(|one| &one.retailer).collect();
    let retailers = retailers
        .into_iter()
        .filter_map(|id| asked.retailers.get(id));
    let mut words: Vec<String> = Vec::new();
    for said in retailers.filter_map(|retailer| retailer.links.disclosure()) {
        if !words.iter().any(|known| known == said) {
            words.push(said.to_owned());
        }
    }
    words
}
