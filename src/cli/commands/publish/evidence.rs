//! Names the offers that an answer rests on, as the ledger knows them.

use super::super::asking::Asked;
use super::super::published::of_ledger;
use crate::cli::report::Failure;
use crate::decide::{AnswerRecord, PickRecord, shown_instant};
use crate::guide::edition::{Considered, Evidence, EvidenceAbroad, Observation, PickEvidence};
use crate::ledger::{CurrentOffer, ObservationId, Reader};
use crate::market::{Market, market};
use crate::money::Money;
use crate::watch::join::{Joined, brief_abroad};
use anyhow::anyhow;
use chrono::SecondsFormat;
use std::collections::BTreeSet;

/// The prices that the picks rest on, by what the ledger calls them.
pub type Seen = Vec<(ObservationId, Money)>;

/// The evidence of a guide of now in all its countries, and the prices that must still stand when it is
/// frozen.
pub fn of(asked: &Asked, reader: &Reader, joined: &Joined) -> Result<(Evidence, Seen), Failure> {
    let current = reader.current_offers().map_err(of_ledger)?;
    let mut seen = Seen::new();
    let (picks, considered) = of_answer(&current, &asked.market(), &joined.answer, &mut seen)?;
    let abroad = joined.abroad.iter().map(|there| {
        let brief = brief_abroad(&asked.brief, &asked.retailers, &there.country);
        let catalogue = &asked.settings.catalogue;
        let market = market(&brief, catalogue, &asked.retailers, &asked.listed);
        let (picks, considered) = of_answer(&current, &market, &there.answer, &mut seen)?;
        Ok(EvidenceAbroad {
            country: there.country.clone(),
            picks,
            considered,
        })
    });
    let evidence = Evidence {
        picks,
        considered,
        abroad: abroad.collect::<Result<_, Failure>>()?,
    };
    Ok((evidence, seen))
}

/// The offers of the picks, and those that could have been picked.
fn of_answer(
    current: &[CurrentOffer],
    market: &Market<'_>,
    answer: &AnswerRecord,
    seen: &mut Seen,
) -> Result<(Vec<PickEvidence>, Vec<Considered>), Failure> {
    let mut picks = Vec::new();
    for pick in answer.picks.iter().filter(|pick| pick.sku.is_some()) {
        let found = current.iter().find(|offer| is_of(offer, pick));
        let found = found.ok_or_else(moved)?;
        seen.push((found.observation, found.offer.price));
        picks.push(pick_evidence(pick, found));
    }
    let bought = market.candidates.iter().flatten();
    let bought = bought.filter_map(|candidate| candidate.bought.as_ref());
    let keys: BTreeSet<_> = bought
        .map(|one| {
            let listed = one.listed;
            let price = listed.price.minor();
            (listed.part.as_str(), &listed.retailer, &listed.sku, price)
        })
        .collect();
    let considered = current.iter().filter(|one| {
        let offer = &one.offer;
        let price = offer.price.minor();
        keys.contains(&(one.part.part.as_str(), &offer.retailer, &offer.sku, price))
    });
    Ok((picks, considered.map(considered_offer).collect()))
}

/// Why an edition could not be frozen while a poll went on.
pub fn moved() -> Failure {
    Failure::Other(anyhow!(
        "a price moved while the guide was written, and nothing is published; try again"
    ))
}

fn is_of(current: &CurrentOffer, pick: &PickRecord) -> bool {
    let offer = &current.offer;
    current.part.part == pick.part.as_str()
        && Some(&offer.retailer) == pick.retailer.as_ref()
        && Some(&offer.sku) == pick.sku.as_ref()
        && Some(offer.price.minor()) == pick.price_minor
}

fn observation(current: &CurrentOffer) -> Observation {
    let ObservationId { offer, from } = current.observation;
    Observation {
        offer: offer.0,
        from: from.to_rfc3339_opts(SecondsFormat::Millis, true),
    }
}

fn pick_evidence(pick: &PickRecord, current: &CurrentOffer) -> PickEvidence {
    let offer = &current.offer;
    PickEvidence {
        role: pick.role.to_string(),
        part: pick.part.to_string(),
        observation: observation(current),
        feed: current.feed.to_string(),
        retailer: offer.retailer.to_string(),
        sku: offer.sku.to_string(),
        seller: offer.seller.clone(),
        condition: offer.condition.name().to_owned(),
        title: offer.title.clone(),
        link: offer.link.clone(),
        price_minor: offer.price.minor(),
        currency: offer.price.currency().to_string(),
        tax_included: offer.tax_included,
        shipping_minor: offer.shipping.map(|shipping| shipping.minor()),
        availability: offer.availability.name().to_owned(),
        seen_at: shown_instant(current.seen_at),
        matched_by: current.part.by.clone(),
        confidence_percent: current.part.confidence_percent,
    }
}

fn considered_offer(current: &CurrentOffer) -> Considered {
    let offer = &current.offer;
    Considered {
        observation: observation(current),
        part: current.part.part.clone(),
        retailer: offer.retailer.to_string(),
        sku: offer.sku.to_string(),
        price_minor: offer.price.minor(),
        currency: offer.price.currency().to_string(),
    }
}
