//! Builds and their parts in the shapes that pages show.

use crate::catalogue::{Catalogue, PartId};
use crate::decide::{AnswerRecord, PickRecord, ProofStatus, shown_instant};
use crate::ledger::{HeldOffer, JournalLine};
use crate::optimise::Build;
use crate::web::view;
use crate::web::view::{ChangeView, HeldView, ShortPick};
use std::collections::BTreeMap;

pub(super) fn short_picks(build: &Build) -> Vec<ShortPick> {
    let picks = build.picks.iter();
    picks
        .map(|pick| {
            let purchase = pick.purchase.as_ref();
            ShortPick {
                role: pick.role.to_string(),
                part: pick.part.to_string(),
                name: pick.name.clone(),
                quantity: pick.quantity,
                retailer: purchase.map(|one| one.retailer.to_string()),
                price_minor: purchase.map(|one| one.price.minor()),
                landed_minor: pick.landed.minor(),
                availability: purchase.map(|one| one.availability.name().to_owned()),
                lead_days: purchase.and_then(|one| one.lead_days),
            }
        })
        .collect()
}

pub(super) fn short_pick(pick: &PickRecord) -> ShortPick {
    ShortPick {
        role: pick.role.to_string(),
        part: pick.part.to_string(),
        name: pick.name.clone(),
        quantity: pick.quantity,
        retailer: pick.retailer.as_ref().map(ToString::to_string),
        price_minor: pick.price_minor,
        landed_minor: pick.landed_minor,
        availability: pick.availability.clone(),
        lead_days: pick.lead_days,
    }
}

/// What differs between two answers, by role.
pub(super) fn changes(from: &AnswerRecord, to: &AnswerRecord) -> Vec<ChangeView> {
    let of = |record: &AnswerRecord| {
        let picks = record.picks.iter();
        let picks = picks.map(|pick| {
            (
                pick.role.to_string(),
                (pick.part.to_string(), pick.name.clone()),
            )
        });
        picks.collect::<BTreeMap<_, _>>()
    };
    let (before, after) = (of(from), of(to));
    let mut roles: Vec<&String> = after.keys().collect();
    roles.extend(before.keys().filter(|role| !after.contains_key(*role)));
    let differ = roles.into_iter().filter(|role| {
        let part =
            |side: &BTreeMap<String, (String, String)>| side.get(*role).map(|one| one.0.clone());
        part(&before) != part(&after)
    });
    differ
        .map(|role| {
            let (from, from_name) = before.get(role).cloned().unzip();
            let (to, to_name) = after.get(role).cloned().unzip();
            ChangeView {
                role: role.clone(),
                from,
                to,
                from_name,
                to_name,
            }
        })
        .collect()
}

pub(super) fn proof(status: ProofStatus) -> String {
    let name = match status {
        ProofStatus::Optimal => "optimal",
        ProofStatus::Bounded => "bounded",
        ProofStatus::Infeasible => "infeasible",
    };
    name.to_owned()
}

pub(super) fn entry(line: JournalLine) -> view::JournalLine {
    let entry = line.entry;
    view::JournalLine {
        number: line.number,
        at: shown_instant(entry.at),
        kind: entry.kind,
        feed: entry.feed.map(|feed| feed.to_string()),
        brief: entry.brief,
        part: entry.part,
        text: entry.text,
        data: entry.data,
    }
}

pub(super) fn held(held: &HeldOffer) -> HeldView {
    let current = held.current_price;
    HeldView {
        id: held.id.0,
        feed: held.feed.to_string(),
        retailer: held.retailer.to_string(),
        sku: held.sku.to_string(),
        seller: held.seller.clone(),
        title: held.title.clone(),
        part: held.part.clone(),
        price_minor: held.price.minor(),
        currency: held.price.currency().to_string(),
        current_price_minor: current.map(|price| price.minor()),
        current_currency: current.map(|price| price.currency().to_string()),
        reason: held.reason.clone(),
        times: held.times,
        first_seen: shown_instant(held.first_seen),
        last_seen: shown_instant(held.last_seen),
    }
}

/// A part's name, or its id where the catalogue has it no more.
pub(super) fn name(catalogue: &Catalogue, part: &PartId) -> String {
    let known = catalogue.parts.get(part);
    known.map_or_else(|| part.to_string(), |part| part.name.clone())
}
